"""Loss integrals: what is lost on average by a decision that more knowledge would turn round.

For a standardised quantity Z and a margin c the loss integral is E max(Z - c, 0). For a gain with
estimate d and standard error s, taking the better-looking choice forgoes s L(|d| / s) on average:
the expected value of perfect information (Raiffa and Schlaifer 1961, Applied Statistical Decision
Theory).
"""

from __future__ import annotations

import math

from scipy import stats

from trialkit.errors import MoneyError
from trialkit.language import say
from trialkit.money.money_checks import check_number

#: Beyond this many degrees of freedom t is normal.
_NORMAL = 1e8
#: So many standard errors off, whose square would overflow, nothing is left to lose.
_OFF = 1e100
#: Where the two terms cancel to nothing, the tail itself bounds the loss.
_FAR = 1e-16


def normal_loss(margin: float) -> float:
    """Return the unit normal loss integral, E max(Z - c, 0).

    Parameters
    ----------
    margin
        The margin c, in standard errors.

    Returns
    -------
    float
        In standard errors; φ(c) − c (1 − Φ(c)).

    Examples
    --------
    >>> from trialkit.money import normal_loss
    >>> round(normal_loss(0), 6), round(normal_loss(1), 6)
    (0.398942, 0.083315)
    """
    return t_loss(margin, math.inf)


def t_loss(margin: float, df: float) -> float:
    """Return the loss integral of Student's t, E max(T - c, 0).

    Parameters
    ----------
    margin
        The margin c, in standard errors.
    df
        Degrees of freedom, above one; infinity for the normal.

    Returns
    -------
    float
        In standard errors; f(c) (df + c²) / (df − 1) − c (1 − F(c)).

    Raises
    ------
    MoneyError
        If the margin is not a number, or there is no more than one degree of freedom: the mean
        of so wide a distribution does not exist.

    References
    ----------
    Raiffa and Schlaifer (1961), Applied Statistical Decision Theory, chapters 5 and 11 (from
    memory; the tests hold it against quadrature).

    Examples
    --------
    >>> from trialkit.money import t_loss
    >>> round(t_loss(1, 5), 4)
    0.1479
    """
    c = check_number(margin, "The margin", least=-math.inf)
    check_spread(df)
    if abs(c) > _OFF:
        return max(-c, 0.0)
    if df > _NORMAL:
        loss = float(stats.norm.pdf(c) - c * stats.norm.sf(c))
    else:
        loss = float(stats.t.pdf(c, df) * (df + c * c) / (df - 1) - c * stats.t.sf(c, df))
    return max(loss, 0.0) if abs(loss) > _FAR * max(abs(c), 1.0) else 0.0


def check_spread(df: float) -> None:
    """Refuse a distribution so wide that it has no mean.

    Parameters
    ----------
    df
        Degrees of freedom.

    Raises
    ------
    MoneyError
        If there is no more than one.
    """
    if not df > 1:
        raise MoneyError(
            say(
                "With so few strips or seasons it is hardly known how much they differ by chance, "
                "so what better knowledge is worth cannot be said. It takes three pairs of strips "
                "or more, or three seasons."
            )
        )
