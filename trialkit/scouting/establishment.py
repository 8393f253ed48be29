"""Plant counts compared: by strip, by treatment, and with the odd counts named."""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd

from trialkit.errors import ModelError, ScoutingError, ScoutingWarning, noted
from trialkit.language import figures, say
from trialkit.models import CountFit, ShuffleTest, fit_counts, shuffle_test
from trialkit.scouting.strip_labels import COUNTS, Flags, day_column, named_records, require_columns
from trialkit.shown import as_line, as_table

Family = Literal["poisson", "negative-binomial"]

#: A count whose scaled distance from its strip is beyond this is named (Iglewicz and Hoaglin 1993,
#: How to Detect and Handle Outliers: from memory).
_ODD = 3.5
#: Counts a strip needs to have a middle of its own.
_OWN_MIDDLE = 3
#: Days that one round of counting may last: common practice, no source.
_ROUND_DAYS = 7
_NEEDED = ("strip", "block", "treatment", "count", "area_m2", "plants_m2")


def summarise_counts(table: pd.DataFrame) -> pd.DataFrame:
    """Return one row a strip: how many places, and how many plants.

    Parameters
    ----------
    table
        From `plant_table`.

    Returns
    -------
    DataFrame
        Columns `strip block treatment places not_counted empty plants_m2 lowest highest`: places
        counted, places left blank, places with no plant at all, plants over ground counted, and
        the thinnest and thickest place, plants/m2. A strip with blanks only has NaN.

    Raises
    ------
    ScoutingError
        If a column is missing.
    """
    require_columns(table, _NEEDED, COUNTS)
    rows = []
    for strip, own in table.groupby("strip", sort=False):
        known = own[own["count"].notna()]
        density = known["plants_m2"]
        rows.append(
            {
                "strip": strip,
                "block": own["block"].iloc[0],
                "treatment": own["treatment"].iloc[0],
                "places": len(known),
                "not_counted": len(own) - len(known),
                "empty": int((known["count"] == 0).sum()),
                "plants_m2": known["count"].sum() / known["area_m2"].sum()
                if len(known)
                else np.nan,
                "lowest": density.min(),
                "highest": density.max(),
            }
        )
    return pd.DataFrame(rows)


def odd_counts(table: pd.DataFrame) -> Flags:
    """Tell which counts lie far from the others of their strip.

    Nothing is left out by this: it names counts that are worth a second look.

    Parameters
    ----------
    table
        From `plant_table`.

    Returns
    -------
    ndarray of bool
        One mark a row; False for blank counts.

    Raises
    ------
    ScoutingError
        If a column is missing.

    Notes
    -----
    Square roots of counts scatter evenly (Anscombe 1948, Biometrika 35:246-254). Each is held
    against the median density of its strip, or of its treatment where a strip has fewer than
    three counts, and scaled by the median absolute deviation of all, at least Poisson's. Of
    simulated Poisson counts, five a strip, 2 in 1,000 are named.
    """
    require_columns(table, _NEEDED, COUNTS)
    count, area = (table[name].to_numpy(dtype=np.float64) for name in ("count", "area_m2"))
    by_strip = table.groupby("strip")["plants_m2"]
    own = by_strip.transform("median").to_numpy(dtype=np.float64)
    few = by_strip.transform("count").to_numpy() < _OWN_MIDDLE
    arm = table.groupby("treatment")["plants_m2"].transform("median").to_numpy(dtype=np.float64)
    expected = np.where(few, arm, own) * area
    away = 2 * (np.sqrt(count + 0.375) - np.sqrt(expected + 0.375))
    known = np.isfinite(away)
    if not known.any():
        return np.zeros(len(table), dtype=bool)
    scale = max(1.0, 1.4826 * float(np.median(np.abs(away[known]))))
    odd: Flags = known & (np.abs(np.nan_to_num(away)) > _ODD * scale)
    return odd


@dataclass(frozen=True, slots=True, eq=False)
class CountComparison:
    """Plants/m2 by treatment.

    Parameters
    ----------
    against
        The treatment the others are held against.
    means
        Index treatment: `estimate std_error df low high`, plants/m2 of a typical strip.
    ratios
        Index treatment: `estimate std_error df t p low high`, its plants/m2 over those of
        `against`; `std_error` on the log scale.
    differences
        Index treatment: `estimate low high`, plants/m2 more than `against`: the ratio and its
        interval put to the mean of `against`, taken as known.
    ratios_without_odd
        The ratios again without the counts named in `odd`; None where there are none, or where
        nothing could be fitted without them.
    shuffles
        The exact test of the strips' plants/m2 by treatment, where blocks allow one.
    odd
        Counts far from the others of their strip, as rows of the table; all are in the result.
    family
        `"poisson"` or `"negative-binomial"`.
    counts, strips
        How many went in. The strips are the replicates.
    notes
        Sentences on blanks, empty places, odd counts, and from the model.
    sentences
        The result in words, one sentence a treatment.
    """

    __repr__ = as_line
    _repr_html_ = as_table

    against: str
    means: pd.DataFrame
    ratios: pd.DataFrame
    differences: pd.DataFrame
    ratios_without_odd: pd.DataFrame | None
    shuffles: dict[str, ShuffleTest]
    odd: pd.DataFrame
    family: Family
    counts: int
    strips: int
    notes: tuple[str, ...]
    sentences: tuple[str, ...]


def compare_counts(
    table: pd.DataFrame,
    *,
    against: str,
    family: Family | None = None,
    confidence: float = 0.95,
) -> CountComparison:
    """Compare treatments by their plants/m2, with the strip as the unit.

    Parameters
    ----------
    table
        From `plant_table`, of one round of counting.
    against
        Treatment the others are held against, such as `"untreated"`.
    family
        Scatter inside strips; by default the negative binomial's, which turns into Poisson's
        where counts scatter no more than that, and Poisson's where every strip has one count
        only: what is beyond that then is the strips' own.
    confidence
        Level of the intervals.

    Returns
    -------
    CountComparison

    Raises
    ------
    ScoutingError
        If the treatment is unknown, or there are no counts.
    ModelError
        If the counts cannot answer the question, such as with a single strip a treatment.

    Warns
    -----
    ScoutingWarning
        If the counts lie more than a week apart.

    Notes
    -----
    `trialkit.models.fit_counts` with random block and strip, and the area counted as exposure.
    Beside it the randomisation test of the strips' densities, which assumes no distribution.
    Odd counts stay in; the result without them is shown beside.

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({
    ...     "strip": list("abcdefgh"), "block": list("11223344"),
    ...     "treatment": ["dressed", "untreated"] * 4, "area_m2": 0.5,
    ...     "count": [56, 41, 62, 48, 45, 44, 51, 41]})
    >>> table["plants_m2"] = table["count"] / table["area_m2"]
    >>> found = compare_counts(table, against="untreated")
    >>> found.ratios["estimate"].round(2).to_dict(), found.family
    ({'dressed': 1.23}, 'poisson')
    >>> found.sentences[0]
    'dressed had 107 plants/m² and untreated 87: +23% (−11% to +70%). This does not settle it.'
    """
    require_columns(table, _NEEDED, COUNTS)
    table = table.reset_index(drop=True)
    known = table[table["count"].notna()]
    _check_arms(known, against)
    _check_one_round(known)
    if family is None:
        one_each = int(known.groupby("strip").size().max()) < 2
        family = "poisson" if one_each else "negative-binomial"
    fit = _fit(known, family, confidence)
    ratios = fit.rate_ratios("treatment", against=against)
    means = fit.means("treatment")
    odd = odd_counts(table)
    shuffles = _shuffles(summarise_counts(known), against, confidence)
    again, notes = _without(table, odd, against, family, confidence)
    base = float(means["estimate"][against])
    return CountComparison(
        against=against,
        means=means,
        ratios=ratios,
        differences=(ratios[["estimate", "low", "high"]] - 1) * base,
        ratios_without_odd=again,
        shuffles=shuffles,
        odd=table[odd],
        family=family,
        counts=len(known),
        strips=int(known["strip"].nunique()),
        notes=(*_blank_notes(table), *notes, *fit.notes),
        sentences=tuple(_sentence(means, ratios, str(name), against) for name in ratios.index),
    )


def _fit(known: pd.DataFrame, family: Family, confidence: float) -> CountFit:
    return fit_counts(
        "count ~ treatment",
        known,
        ["block", "strip"],
        exposure="area_m2",
        family=family,
        confidence=confidence,
    )


def _check_arms(known: pd.DataFrame, against: str) -> None:
    if known.empty:
        raise ScoutingError(
            say(
                "All counts are blank: nobody looked anywhere. Enter 0 where somebody looked and "
                "found no plants."
            )
        )
    arms = list(dict.fromkeys(known["treatment"].astype(str)))
    if against not in arms:
        raise ScoutingError(
            say(
                "No count is of treatment '{treatment}'. There are: {treatments}.",
                treatment=against, treatments=", ".join(arms),
            )
        )  # fmt: skip
    if len(arms) < 2:
        raise ScoutingError(
            say(
                "All counts are of '{treatment}'. Count the strips of another treatment too.",
                treatment=against,
            )
        )


def _check_one_round(known: pd.DataFrame) -> None:
    if "date" not in known:
        return
    days = day_column(known, COUNTS).dropna()
    if len(days) and (days.max() - days.min()).days > _ROUND_DAYS:
        warnings.warn(
            say(
                "The counts were made from {first:%Y-%m-%d} to {last:%Y-%m-%d}. Plants come up and "
                "die in between. Pass the rows of one round of counting.",
                first=days.min(),
                last=days.max(),
            ),
            ScoutingWarning,
            stacklevel=3,
        )


def _shuffles(strips: pd.DataFrame, against: str, confidence: float) -> dict[str, ShuffleTest]:
    """Return the exact test of each treatment against one, where blocks hold both."""
    found = {}
    for name in strips["treatment"].unique():
        two = strips[strips["treatment"].isin([name, against])]
        if name == against:
            continue
        try:
            found[str(name)] = shuffle_test(
                two, "plants_m2", "treatment", "block", against=against, seed=1,
                confidence=confidence,
            )  # fmt: skip
        except ModelError:  # no block with both, or the same everywhere: then there is no test
            continue
    return found


def _without(
    table: pd.DataFrame, odd: Flags, against: str, family: Family, confidence: float
) -> tuple[pd.DataFrame | None, tuple[str, ...]]:
    """Fit again without the odd counts, and say what that changes."""
    if not odd.any():
        return None, ()
    named = named_records(table, odd, COUNTS)
    found = say(
        "Far from the others of their strip: {records}. All are in the result. Look again, or read "
        "the note of who counted.",
        records=named,
    )
    try:
        with noted():
            fit = _fit(table[~odd & table["count"].notna()], family, confidence)
            again = fit.rate_ratios("treatment", against=against)
    except ModelError:
        return None, (found,)
    changes = ", ".join(
        say(
            "{treatment} {ratio:.2f} ({low:.2f} to {high:.2f})",
            treatment=str(name), ratio=row["estimate"], low=row["low"], high=row["high"],
        )
        for name, row in again.iterrows()
    )  # fmt: skip
    without = say(
        "Without them the ratios to {control} are: {changes}.", control=against, changes=changes
    )
    return again, (f"{found} {without}",)


def _blank_notes(table: pd.DataFrame) -> tuple[str, ...]:
    blank = table["count"].isna().to_numpy(dtype=bool)
    empty = (table["count"] == 0).to_numpy(dtype=bool)
    notes: tuple[str, ...] = ()
    if blank.any():
        notes += (
            say(
                "Left out, since nobody looked there: {records}.",
                records=named_records(table, blank, COUNTS),
            ),
        )
    if empty.any():
        notes += (
            say(
                "No plant at all, and counted as such: {records}.",
                records=named_records(table, empty, COUNTS),
            ),
        )
    return notes


def _sentence(means: pd.DataFrame, ratios: pd.DataFrame, name: str, against: str) -> str:
    ratio = ratios.loc[name]
    change, low, high = (
        figures(f"{100 * (ratio[end] - 1):+.0f}%").replace("-", "−")
        for end in ("estimate", "low", "high")
    )
    sentence = say(
        "{treatment} had {own:.0f} plants/m² and {control} {base:.0f}: {change} ({low} to {high}).",
        treatment=name, own=float(means["estimate"][name]),
        control=against, base=float(means["estimate"][against]),
        change=change, low=low, high=high,
    )  # fmt: skip
    if ratio["low"] > 1 or ratio["high"] < 1:
        return sentence
    unsettled = say("This does not settle it.")
    return f"{sentence} {unsettled}"
