"""What is believed of the mean gain over seasons: normal for each error that strips may have.

The strips show a gain d with a variance v of its error, estimated with df degrees of freedom. Given
v the mean gain over seasons is normal: about d with variance v + tau2, weighed with what earlier
seasons showed where that is given. What v is, is not known; it is df × std_error² / chi² with a
chi-squared of df degrees, and less likely where it fits the earlier seasons badly. So belief is a
mixture of normals over v. Without tau2 and earlier seasons it is the t distribution.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy import optimize, special

from trialkit.errors import MoneyError
from trialkit.money.money_checks import check_number
from trialkit.money.net_money import Floats

#: Points that stand for the variance of the strips' error.
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(240)
#: Beyond this many degrees of freedom the variance is known.
_KNOWN_DF = 1e8
#: Chi-squared so small has no share of the probability, and its inverse would overflow.
_LEAST = 1e-200


@dataclass(frozen=True, slots=True, eq=False)
class Belief:
    """A mixture of normals, one for each variance the strips' error may have.

    Parameters
    ----------
    weights
        Probabilities, shape (points,); they sum to one.
    means, variances
        Of the mean gain over seasons given each, t/ha and (t/ha)².
    error_variances
        Variance of the error of the trial's gain itself, (t/ha)².
    """

    weights: Floats
    means: Floats
    variances: Floats
    error_variances: Floats

    @property
    def estimate(self) -> float:
        """The mean, t/ha."""
        return float(self.weights @ self.means)

    @property
    def std_error(self) -> float:
        """A typical standard error, t/ha."""
        return float(1 / math.sqrt(self.weights @ (1 / self.variances)))

    def above(self, values: Floats) -> Floats:
        """Return the chance that the mean gain is above each of some values."""
        apart = np.asarray(values)[..., None] - self.means
        return np.asarray(special.ndtr(-apart / np.sqrt(self.variances)) @ self.weights)

    def reach(self, tail: float) -> float:
        """Return a distance from the estimate beyond which neither tail holds more than that."""
        far = self.std_error

        def beyond(distance: float) -> float:
            ends = self.above(np.array([self.estimate + distance, self.estimate - distance]))
            return float(max(ends[0], 1 - ends[1])) - tail

        while beyond(far) > 0:
            far *= 2
        return float(optimize.brentq(beyond, 0.0, far, xtol=1e-12)) if beyond(0.0) > 0 else far

    def loss(self, threshold: float, moved: Floats) -> float:
        """Return what the better-looking side of a threshold forgoes on average, t/ha.

        Parameters
        ----------
        threshold
            Gain that just pays, t/ha.
        moved
            Standard deviation that further knowledge moves each mean by, t/ha.

        Returns
        -------
        float
        """
        side = 1.0 if self.estimate > threshold else -1.0
        margins = side * (self.means - threshold)
        safe = np.where(moved > 0, moved, 1.0)
        scaled = np.clip(margins / safe, -1e9, 1e9)
        smooth = moved * (np.exp(-(scaled**2) / 2) / math.sqrt(2 * math.pi))
        lost = smooth - margins * special.ndtr(-scaled)
        return float(self.weights @ np.maximum(np.where(moved > 0, lost, -margins), 0.0))

    def turned(self, threshold: float, moved: Floats) -> float:
        """Return the chance that further knowledge ends on the other side of a threshold.

        Parameters
        ----------
        threshold
            Gain that just pays, t/ha.
        moved
            Standard deviation that further knowledge moves each mean by, t/ha.

        Returns
        -------
        float
        """
        side = 1.0 if self.estimate > threshold else -1.0
        margins = side * (self.means - threshold)
        safe = np.where(moved > 0, moved, 1.0)
        crossed = np.where(moved > 0, special.ndtr(-margins / safe), margins < 0)
        return float(self.weights @ crossed)

    def moved_by(self, trial_variances: Floats) -> Floats:
        """Return the standard deviation that a trial moves each mean by, t/ha.

        Parameters
        ----------
        trial_variances
            Variance of the trial's result about the truth, given each error variance, (t/ha)².

        Returns
        -------
        ndarray
        """
        return np.asarray(self.variances / np.sqrt(self.variances + trial_variances))


def believed(
    gain_t_ha: float,
    std_error: float,
    df: float,
    *,
    between: float = 0.0,
    earlier: tuple[float, float] | None = None,
) -> Belief:
    """Return what is believed of the mean gain over seasons.

    Parameters
    ----------
    gain_t_ha, std_error, df
        Estimated gain over the control and its standard error, t/ha, and degrees of freedom.
    between
        Variance between seasons to be added to that of the error, (t/ha)².
    earlier
        Mean gain that earlier seasons showed and its standard error, t/ha; None for nothing.

    Returns
    -------
    Belief

    Raises
    ------
    MoneyError
        If a number makes no sense, or there is no more than one degree of freedom and nothing

    Examples
    --------
    >>> from trialkit.money.belief import believed
    >>> belief = believed(0.3, 0.07, float("inf"), earlier=(0.0, 0.07))
    >>> round(belief.estimate, 3)
    0.15
    """
    weights, errors = _error_variances(std_error**2, df)
    spread = errors + between
    if earlier is None:
        return Belief(weights, np.full_like(spread, gain_t_ha), spread, errors)
    mean, error = _checked(earlier)
    share = error**2 / (error**2 + spread)
    apart = (gain_t_ha - mean) ** 2 / (error**2 + spread)
    log_fit = -(apart + np.log(error**2 + spread)) / 2
    weights = weights * np.exp(log_fit - log_fit.max())
    return Belief(
        weights / weights.sum(), share * gain_t_ha + (1 - share) * mean, share * spread, errors
    )


def _error_variances(variance: float, df: float) -> tuple[Floats, Floats]:
    """Return weights and the variances that the error of the gain may have."""
    if df > _KNOWN_DF:
        return np.array([1.0]), np.array([variance])
    # Shares u = x^power, so that the long tail of large variances is smooth in x.
    power = 2 * df / (df - 1) if df > 1.05 else 42.0
    places = (_NODES + 1) / 2
    weights = _WEIGHTS / 2 * power * places ** (power - 1)
    quantiles = 2 * special.gammaincinv(df / 2, places**power)
    kept = quantiles > _LEAST
    weights = weights[kept]
    variances = np.asarray(variance * df / quantiles[kept], dtype=float)
    return np.asarray(weights / weights.sum(), dtype=float), variances


def _checked(earlier: tuple[float, float]) -> tuple[float, float]:
    try:
        mean, error = earlier
    except (TypeError, ValueError):
        raise MoneyError(
            f"What earlier seasons showed is {earlier}. Give the mean gain and its standard error."
        ) from None
    return (
        check_number(mean, "The gain of earlier seasons", least=-math.inf),
        check_number(error, "The standard error of earlier seasons", above=True),
    )
