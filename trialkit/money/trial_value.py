"""What it is worth to know the gain: for certain, or from one more season of strips.

The choice is between using the dressing and not using it. Belief about the mean net money b is
t-distributed with estimate d, scale s and df degrees of freedom. One takes the better-looking
choice; better knowledge is worth what it spares of taking the wrong one.

Perfect information is worth s L(|d| / s). A trial whose result has standard deviation v about the
truth moves the estimate to a place that is not known before, spread about d with scale

    s* = s² / sqrt(s² + v²),

so its information is worth s* L(|d| / s*). With known variances that is exact and normal. With
strip errors estimated from n0 pairs and n new pairs of the same kind, s*² = s² n / (n0 + n), and
the spread is again t with the df of the belief (Raiffa and Schlaifer 1961, chapters 5 and 11).
Where seasons differ too, or earlier seasons are weighed in, no closed form is left:
`trialkit.money.belief` averages the normal one over the errors that strips may have.
"""

from __future__ import annotations

import math

from trialkit.money.loss_integrals import check_spread, t_loss
from trialkit.money.money_checks import check_number


def value_of_knowing(estimate: float, std_error: float, df: float) -> float:
    """Return the expected value of perfect information.

    Parameters
    ----------
    estimate
        Mean net money a hectare of one choice over the other.
    std_error
        Its standard error; zero if it is known.
    df
        Degrees of freedom, above one; infinity for a known standard error.

    Returns
    -------
    float
        Money per hectare.

    Raises
    ------
    MoneyError
        If a number makes no sense.

    Examples
    --------
    >>> from trialkit.money import value_of_knowing
    >>> round(value_of_knowing(10, 20, float("inf")), 2)
    3.96
    """
    d = check_number(estimate, "The net money a hectare", least=-math.inf)
    s = check_number(std_error, "The standard error of the net money")
    check_spread(df)
    margin = abs(d) / s if s else math.inf
    return s * t_loss(margin, df) if math.isfinite(margin) else 0.0


def value_of_trial(estimate: float, std_error: float, df: float, trial_sd: float) -> float:
    """Return the expected value of the information of one more trial, before its cost.

    Parameters
    ----------
    estimate
        Mean net money a hectare of one choice over the other.
    std_error
        Its standard error; zero if it is known.
    df
        Degrees of freedom, above one; infinity for a known standard error.
    trial_sd
        Standard deviation of the trial's result about the true mean, money per hectare: error
        of the strips, and differences between seasons.

    Returns
    -------
    float
        Money per hectare; never more than `value_of_knowing`.

    Raises
    ------
    MoneyError
        If a number makes no sense.

    Examples
    --------
    >>> from trialkit.money import value_of_trial
    >>> round(value_of_trial(10, 20, float("inf"), 20), 2)
    2.0
    """
    s = check_number(std_error, "The standard error of the net money")
    return value_of_knowing(estimate, moved_by(s, trial_sd), df)


def moved_by(std_error: float, trial_sd: float) -> float:
    """Return the scale by which a trial is expected to move the estimate.

    Parameters
    ----------
    std_error
        Standard error of the estimate before the trial.
    trial_sd
        Standard deviation of the trial's result about the truth, in the same unit.

    Returns
    -------
    float
    """
    sd = check_number(trial_sd, "The standard deviation of the trial's result")
    return std_error * (std_error / math.hypot(std_error, sd)) if std_error else 0.0
