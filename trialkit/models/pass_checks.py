"""What the records say along the passes: likeness of neighbours, its reach, stray ends."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from trialkit.errors import ModelError
from trialkit.language import figures, marked, say
from trialkit.models.findings import Finding
from trialkit.models.residuals import FEWEST_PAIRS, residuals_along, variogram

#: Correlation of neighbours above which records are far from independent; our own choice.
_ALIKE = 0.2
#: Share of the full scatter at which records are as unlike as any; common practice, no source.
_FULL = 0.95
#: Share of the longest pass beyond which likeness comes from a trend rather than from patches.
_SLOW = 1 / 3
#: Share of a pass that counts as its start or end; our own choice.
_END = 0.05
#: Step there, in standard deviations inside strips, that the ground does not explain; our choice.
_STRAYS = 1.0
#: What is said of yields that stray there, by the end of the pass and whether they are too high.
_AT_THE_END = {
    ("start", True): marked(
        "At the start of passes yields lie {size} above those next to it: check the delay of the "
        "sensor and how much is trimmed there."
    ),
    ("start", False): marked(
        "At the start of passes yields lie {size} below those next to it: check the delay of the "
        "sensor and how much is trimmed there."
    ),
    ("end", True): marked(
        "At the end of passes yields lie {size} above those next to it: check the delay of the "
        "sensor and how much is trimmed there."
    ),
    ("end", False): marked(
        "At the end of passes yields lie {size} below those next to it: check the delay of the "
        "sensor and how much is trimmed there."
    ),
}


def pass_findings(
    records: pd.DataFrame, response: str, strip: str, pass_id: str, distance: str, unit: str = ""
) -> Iterator[Finding]:
    """Look along the passes.

    Parameters
    ----------
    records
        One row a record.
    response, strip, pass_id, distance
        Columns of yield, strip, pass and metres from its start.
    unit
        Unit of the response, for the sentences.

    Yields
    ------
    Finding
        Those that the records can tell.

    Raises
    ------
    ModelError
        If a column cannot be used.
    """
    left = residuals_along(records, response, strip, pass_id, distance)
    if not left["residual"].any():
        return
    yield from _neighbours(left)
    yield from _reach(left)
    yield from _ends(left, unit)


def _neighbours(left: pd.DataFrame) -> Iterator[Finding]:
    """Correlate each record with the next of its pass and strip."""
    values = left["residual"].to_numpy()
    follows = (
        (left["pass_id"].to_numpy()[1:] == left["pass_id"].to_numpy()[:-1])
        & (left["strip"].to_numpy()[1:] == left["strip"].to_numpy()[:-1])
    )  # fmt: skip
    first, second = values[:-1][follows], values[1:][follows]
    size = float(np.sqrt((first @ first) * (second @ second)))
    if size == 0:
        return
    alike = float(first @ second) / size
    step = float(np.median(np.diff(left["distance_m"].to_numpy())[follows]))
    # Worth of n records in a chain of correlation r: n (1 - r) / (1 + r), Bayley and Hammersley
    # 1946, Suppl. J. Royal Stat. Soc. 8:184-197.
    worth = len(left) * (1 - alike) / (1 + alike)
    if alike <= _ALIKE:
        sentence = say(
            "Neighbouring records, {step} m apart, are hardly alike ({alike:.2f}).",
            step=_metres(step), alike=alike,
        )  # fmt: skip
    else:
        sentence = say(
            "Neighbouring records, {step} m apart, are alike (correlation {alike:.2f}): inside "
            "strips {records:,} records tell no more than {worth:,.0f} separate ones. Treatments "
            "are judged by strips.",
            step=_metres(step), alike=alike, records=len(left), worth=max(worth, 1),
        )  # fmt: skip
    yield Finding("likeness of neighbours", alike, _ALIKE, alike <= _ALIKE, sentence)


def _reach(left: pd.DataFrame) -> Iterator[Finding]:
    """Say at which distance records are as unlike as any two."""
    try:
        table = variogram(left)
    except ModelError:  # passes too short to look along
        return
    scatter = float((left["residual"] ** 2).mean())
    far = table["distance_m"][table["semivariance"] >= _FULL * scatter]
    looked = float(table["distance_m"].iloc[-1])
    reach = float(far.iloc[0]) if len(far) else np.inf
    # A straight trend along a pass reaches the full scatter at 0.41 of its length, patches sooner.
    limit = float(left.groupby("pass_id")["distance_m"].agg(np.ptp).max()) * _SLOW
    near = min(float(table["semivariance"].iloc[0]) / scatter, 1.0)
    sentence = _stay_alike(
        _metres(reach if len(far) else looked), near, len(far) > 0, reach > limit
    )
    yield Finding("reach of likeness", reach, limit, reach <= limit, sentence)


def _stay_alike(metres: str, near: float, ends: bool, slow: bool) -> str:
    """Say how far records stay alike, and whether that is slow ground; `near` is a share."""
    if ends and slow:
        return say(
            "Records stay alike for about {metres} m along the pass: the ground changes slowly "
            "along the strips; {share:.0%} of the scatter inside strips lies between neighbours "
            "already.",
            metres=metres, share=near,
        )  # fmt: skip
    if ends:
        return say(
            "Records stay alike for about {metres} m along the pass; {share:.0%} of the scatter "
            "inside strips lies between neighbours already.",
            metres=metres, share=near,
        )  # fmt: skip
    return say(
        "Records stay alike beyond {metres} m along the pass: the ground changes slowly along the "
        "strips; {share:.0%} of the scatter inside strips lies between neighbours already.",
        metres=metres, share=near,
    )  # fmt: skip


def _ends(left: pd.DataFrame, unit: str) -> Iterator[Finding]:
    """Hold the outermost stretch of the passes against the next one.

    Soil that changes along all strips alike changes little from one short stretch to the next; a
    delay that is set wrong, or a header that fills, shows at once. Tests of significance would
    not do: neighbouring strips share their soil.
    """
    passes = left.groupby("pass_id", sort=False)["distance_m"]
    start, length = passes.transform("min"), passes.transform(np.ptp)
    share = (left["distance_m"] - start) / length.where(length > 0)
    scatter = float(np.sqrt((left["residual"] ** 2).mean()))
    gaps = {}
    for name, from_end in (("start", share), ("end", 1 - share)):
        outer = left["residual"][from_end < _END]
        next_to_it = left["residual"][(from_end >= _END) & (from_end < 2 * _END)]
        if min(outer.size, next_to_it.size) >= FEWEST_PAIRS:
            gaps[name] = float(outer.mean() - next_to_it.mean())
    if not gaps:
        return
    name = max(gaps, key=lambda end: abs(gaps[end]))
    value = abs(gaps[name]) / scatter
    if value <= _STRAYS:
        sentence = say("Yields at the starts and ends of passes are like those next to them.")
    else:
        size = figures(f"{abs(gaps[name]):.2g}") + (f" {unit}" if unit else "")
        sentence = say(_AT_THE_END[name, gaps[name] > 0], size=size)
    yield Finding("ends of passes", value, _STRAYS, value <= _STRAYS, sentence)


def _metres(distance: float) -> str:
    """Write a distance with two figures, never as a power of ten."""
    return figures(f"{float(f'{distance:.2g}'):g}")
