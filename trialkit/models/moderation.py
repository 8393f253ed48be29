"""Where does it work? The gain by zone, and along something measured on the go.

"It protects against frost" says that the gain is larger where it freezes. In the model that is
an interaction of the treatment with the zone, or with elevation as a stand-in for frost; here
it is tested, and the gain is told for each zone or along the covariate.
"""

from __future__ import annotations

import warnings
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from trialkit.errors import ModelError, ModelWarning
from trialkit.language import say
from trialkit.models.contrasts import comparisons
from trialkit.models.estimates import estimate_table
from trialkit.models.mixed_fit import MixedFit
from trialkit.models.model_frame import Design
from trialkit.models.records import Floats

#: Points of the grid along a covariate, and how far it reaches, in standard deviations.
_POINTS, _REACH = 9, 2.0
#: So many times the degrees of freedom of the treatment itself, and the interaction is judged
#: by points inside strips: plots inside a plot of a split-plot design stay well below.
_TOO_SURE = 10.0
#: A p below this is called a finding in the sentence.
_LEVEL = 0.05


@dataclass(frozen=True, slots=True)
class Interaction:
    """Whether the gain depends on the place.

    Parameters
    ----------
    statistic
        F, scaled where Kenward-Roger asks for it.
    df_num, df_den
        Degrees of freedom of numerator and denominator.
    p
        Chance of a larger F were the gain the same everywhere.
    too_sure
        Whether points inside strips count as independent here, so that p is too small.
    sentence
        What this says, in words.
    """

    statistic: float
    df_num: int
    df_den: float
    p: float
    too_sure: bool
    sentence: str


def interaction(fit: MixedFit, factor: str, moderator: str) -> Interaction:
    """Test whether the gain of a treatment depends on a zone or a covariate.

    Parameters
    ----------
    fit
        A model with `factor * moderator` in its formula.
    factor
        The column of treatments.
    moderator
        The column of zones, or of the covariate.

    Returns
    -------
    Interaction

    Raises
    ------
    ModelError
        If the formula does not hold the interaction, or it cannot be estimated.

    Warns
    -----
    ModelWarning
        If the moderator changes inside strips and nothing in the model says that neighbouring
        points are alike.

    Notes
    -----
    The test is that of `MixedFit.test`, Kenward-Roger where the model has it. A moderator that
    changes inside strips is judged by the scatter between points, of which there are thousands;
    points nearer than the range of the soil's own patches are no replicates. On the maize of Las
    Rosas 1999, nitrogen by topography has F 3.5 with independent points and 0.36 with
    correlation along the strips.

    For zones that strips run through, take the mean of each strip in each zone, and give
    `["block", "strip", "block:zone"]` as random terms: zones differ from block to block by their
    soil, which is no error of the gain. In simulated fields without any effect (6 and 12 pairs,
    two zones, 400 trials each, give or take 1) the test called 4 to 8 in 100 with `block:zone`,
    and 1 to 5 without it, which loses power.

    Examples
    --------
    >>> import pandas as pd
    >>> from trialkit.models import fit_mixed
    >>> halves = pd.DataFrame({
    ...     "block": list("111122223333"),
    ...     "treatment": ["dressed", "dressed", "untreated", "untreated"] * 3,
    ...     "zone": ["hollow", "slope"] * 6,
    ...     "yield_t_ha": [2.9, 3.3, 2.5, 3.2, 2.4, 3.0, 2.1, 3.1, 2.8, 3.4, 2.3, 3.3],
    ... })
    >>> fit = fit_mixed("yield_t_ha ~ treatment * zone", halves, ["block", "block:treatment"])
    >>> interaction(fit, "treatment", "zone").sentence
    "The gain of 'treatment' changes with 'zone' (F 9.31 on 1 and 4, p 0.038)."
    """
    _require_interaction(fit, factor, moderator)
    found = fit.test(f"{factor}:{moderator}")
    too_sure = _points_as_replicates(fit, factor, moderator)
    if too_sure:
        warnings.warn(_too_sure_message(factor, moderator), ModelWarning, stacklevel=2)
    evidence = say(
        "F {statistic:.2f} on {df_num} and {df_den:.3g}, p {p:.2g}",
        statistic=found.statistic, df_num=found.df_num, df_den=found.df_den, p=found.p,
    )  # fmt: skip
    if found.p < _LEVEL:
        sentence = say(
            "The gain of '{factor}' changes with '{moderator}' ({evidence}).",
            factor=factor, moderator=moderator, evidence=evidence,
        )  # fmt: skip
    else:
        sentence = say(
            "These records do not show that the gain of '{factor}' changes with '{moderator}' "
            "({evidence}). That is not to say that it is the same everywhere.",
            factor=factor, moderator=moderator, evidence=evidence,
        )  # fmt: skip
    if too_sure:
        sentence += " " + say(
            "Points inside strips count as independent here, so this p is too small."
        )
    return Interaction(found.statistic, found.df_num, found.df_den, found.p, too_sure, sentence)


def gains_by(
    fit: MixedFit,
    factor: str,
    zone: str,
    against: object | None = None,
    *,
    simultaneous: bool = False,
) -> pd.DataFrame:
    """Return the gain in each zone.

    Parameters
    ----------
    fit
        A model with `factor * zone` in its formula.
    factor
        The column of treatments.
    zone
        A column that acts as labels.
    against
        Treatment to subtract, such as `"untreated"`; None for all pairs, the later level
        subtracted from the earlier.
    simultaneous
        Whether p-values and intervals hold for all rows together (multivariate t).

    Returns
    -------
    DataFrame
        Index the treatment compared, or the pair; columns `at`, the zone, and `estimate
        std_error df t p low high`, in the unit of the response. Averaged over the other labels
        of the formula, at the mean of its other numbers.

    Raises
    ------
    ModelError
        If the formula does not hold the interaction, or a zone lacks a treatment.

    Warns
    -----
    ModelWarning
        As `interaction` does.

    Examples
    --------
    >>> import pandas as pd
    >>> from trialkit.models import fit_mixed
    >>> halves = pd.DataFrame({
    ...     "block": list("111122223333"),
    ...     "treatment": ["dressed", "dressed", "untreated", "untreated"] * 3,
    ...     "zone": ["hollow", "slope"] * 6,
    ...     "yield_t_ha": [2.9, 3.3, 2.5, 3.2, 2.4, 3.0, 2.1, 3.1, 2.8, 3.4, 2.3, 3.3],
    ... })
    >>> fit = fit_mixed("yield_t_ha ~ treatment * zone", halves, ["block", "block:treatment"])
    >>> gains_by(fit, "treatment", "zone", against="untreated")[["at", "estimate"]].round(2)
    ...     # doctest: +NORMALIZE_WHITESPACE
                   at  estimate
    treatment
    dressed    hollow      0.40
    dressed     slope      0.03
    """
    _require_interaction(fit, factor, zone)
    design = _design(fit)
    if zone not in design.levels:
        raise ModelError(
            f"'{zone}' acts as a number in this formula, so it has no zones. Ask for gains_along, "
            f"or write C({zone}) in the formula to treat its values as labels."
        )
    if _points_as_replicates(fit, factor, zone):
        warnings.warn(_too_sure_message(factor, zone), ModelWarning, stacklevel=2)
    places = [
        (level, replace(design, levels={**design.levels, zone: (level,)}))
        for level in design.levels[zone]
    ]
    return _gains(fit, factor, against, places, simultaneous, f"'{zone}'")


def gains_along(
    fit: MixedFit,
    factor: str,
    covariate: str,
    at: Iterable[float] | None = None,
    against: object | None = None,
    *,
    simultaneous: bool = False,
) -> pd.DataFrame:
    """Return the marginal gain along a covariate.

    Parameters
    ----------
    fit
        A model with `factor * covariate` in its formula; the covariate may bend there, as in
        `treatment * (elevation_m + I(elevation_m**2))`.
    factor
        The column of treatments.
    covariate
        A column that acts as a number, such as elevation or the yield of other years.
    at
        Values of the covariate; None for nine from two standard deviations below its mean to
        two above. Beyond the records, the straight line is all there is to go by.
    against
        Treatment to subtract, such as `"untreated"`; None for all pairs, the later level
        subtracted from the earlier.
    simultaneous
        Whether p-values and intervals hold for all rows together, as a band (multivariate t).

    Returns
    -------
    DataFrame
        Index the treatment compared, or the pair; columns `at`, the value of the covariate, and
        `estimate std_error df t p low high`, in the unit of the response. Averaged over the
        other labels of the formula, at the mean of its other numbers.

    Raises
    ------
    ModelError
        If the formula does not hold the interaction, or `at` is no list of numbers.

    Warns
    -----
    ModelWarning
        As `interaction` does.

    Examples
    --------
    >>> import pandas as pd
    >>> from trialkit.models import fit_mixed
    >>> strips = pd.DataFrame({
    ...     "block": list("11223344"),
    ...     "treatment": ["dressed", "untreated"] * 4,
    ...     "elevation_m": [201, 201.2, 203, 203.1, 204, 204.3, 207, 207.2],
    ...     "yield_t_ha": [2.9, 2.3, 3.0, 2.6, 3.1, 2.9, 3.4, 3.4],
    ... })
    >>> fit = fit_mixed("yield_t_ha ~ treatment * elevation_m", strips, ["block"])
    >>> found = gains_along(fit, "treatment", "elevation_m", at=[201, 207], against="untreated")
    >>> found[["at", "estimate"]].round(2).to_dict("list")
    {'at': [201.0, 207.0], 'estimate': [0.61, 0.01]}
    """
    _require_interaction(fit, factor, covariate)
    design = _design(fit)
    if covariate not in design.means:
        raise ModelError(
            f"'{covariate}' acts as labels in this formula, so there is nothing to go along. "
            "Ask for gains_by."
        )
    values = _grid(design, covariate, at)
    if _points_as_replicates(fit, factor, covariate):
        warnings.warn(_too_sure_message(factor, covariate), ModelWarning, stacklevel=2)
    places = [(float(value), _moved(design, covariate, float(value))) for value in values]
    return _gains(fit, factor, against, places, simultaneous, f"'{covariate}'")


def _design(fit: MixedFit) -> Design:
    return fit._estimator.design


def _moved(design: Design, covariate: str, value: float) -> Design:
    return replace(design, means={**design.means, covariate: value})


def _grid(design: Design, covariate: str, at: Iterable[float] | None) -> Floats:
    if at is None:
        steps = np.linspace(-_REACH, _REACH, _POINTS)
        return np.asarray(design.means[covariate] + design.spreads[covariate] * steps)
    try:
        values = np.atleast_1d(np.asarray(list(at), dtype=float))
    except (TypeError, ValueError) as error:
        raise ModelError(
            f"at={at!r} is no list of numbers. Give values of '{covariate}'."
        ) from error
    if not values.size or not np.isfinite(values).all():
        raise ModelError(f"at={at!r} holds no plain numbers. Give values of '{covariate}'.")
    return values


def _gains(
    fit: MixedFit,
    factor: str,
    against: object | None,
    places: Sequence[tuple[object, Design]],
    simultaneous: bool,
    along: str,
) -> pd.DataFrame:
    """Compare the levels of a factor at each place, a design with one thing held there."""
    estimator = fit._estimator
    rows, names, where = [], [], []
    for place, design in places:
        word = f"at {along} {place} less"
        kept, index = comparisons(design, estimator.part, factor, against, word)
        rows.append(kept)
        names.append(index)
        where += [place] * len(index)
    table = estimate_table(
        *estimator.judge(np.vstack(rows)), fit.confidence, simultaneous=simultaneous
    )
    table.insert(0, "at", where)
    table.index = names[0].append(names[1:])
    return table


def _require_interaction(fit: MixedFit, factor: str, moderator: str) -> None:
    design = _design(fit)
    asked = {factor, moderator}
    known = {*design.levels, *design.means}
    missing = sorted(asked - known)
    if missing:
        raise ModelError(
            f"The formula has no column '{missing[0]}'. It has: {', '.join(sorted(known))}."
        )
    used = [{str(name) for name in names} for names in design.spec.term_variables.values()]
    if factor == moderator or not any(asked <= names for names in used):
        raise ModelError(
            f"The formula '{fit.formula}' has no interaction of '{factor}' and '{moderator}': it "
            f"takes the gain to be the same everywhere. Write '{factor} * {moderator}'."
        )


def _points_as_replicates(fit: MixedFit, factor: str, moderator: str) -> bool:
    """Whether the moderator changes inside strips and points there count as independent.

    The fit does not keep the records, but its degrees of freedom tell: the treatment itself is
    judged by strips, the interaction by whatever its moderator changes between.
    """
    if "along" in fit.variances.index or fit.df_method == "residual":
        return False
    design, estimator = _design(fit), fit._estimator
    if moderator in design.levels:
        levels = design.levels[moderator]
        ends = [
            replace(design, levels={**design.levels, moderator: (level,)})
            for level in (levels[0], levels[-1])
        ]
    else:
        middle, spread = design.means[moderator], design.spreads[moderator]
        ends = [_moved(design, moderator, middle), _moved(design, moderator, middle + spread)]
    try:
        rows = [comparisons(end, estimator.part, factor, None, "less")[0] for end in ends]
        itself = comparisons(design, estimator.part, factor, None, "less")[0]
    except ModelError:  # a zone without a treatment: the question itself will say so
        return False
    apart = float(np.min(estimator.judge(rows[1] - rows[0])[2]))
    return apart > _TOO_SURE * float(np.min(estimator.judge(itself)[2]))


def _too_sure_message(factor: str, moderator: str) -> str:
    return say(
        "'{moderator}' changes inside strips, so the interaction with '{factor}' is judged by the "
        "scatter between neighbouring points as if each were a replicate. They are alike, and the "
        "answer is too sure. Fit correlation along the pass (along=AlongPass()), or average each "
        "strip by '{moderator}' first.",
        moderator=moderator, factor=factor,
    )  # fmt: skip
