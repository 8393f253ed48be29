"""What the records say along the passes: likeness of neighbours, its reach, stray ends."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from trialkit.errors import ModelError
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
        sentence = f"Neighbouring records, {_metres(step)} m apart, are hardly alike ({alike:.2f})."
    else:
        sentence = (
            f"Neighbouring records, {_metres(step)} m apart, are alike (correlation {alike:.2f}): "
            f"inside strips {len(left):,} records tell no more than {max(worth, 1):,.0f} "
            "separate ones. Treatments are judged by strips."
        )
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
    about = f"for about {_metres(reach)} m" if len(far) else f"beyond {_metres(looked)} m"
    sentence = f"Records stay alike {about} along the pass"
    if reach > limit:
        sentence += ": the ground changes slowly along the strips"
    sentence += f"; {near:.0%} of the scatter inside strips lies between neighbours already."
    yield Finding("reach of likeness", reach, limit, reach <= limit, sentence)


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
        sentence = "Yields at the starts and ends of passes are like those next to them."
    else:
        side = "above" if gaps[name] > 0 else "below"
        size = f"{abs(gaps[name]):.2g}{f' {unit}' if unit else ''}"
        sentence = (
            f"At the {name} of passes yields lie {size} {side} those next to it: check the delay "
            "of the sensor and how much is trimmed there."
        )
    yield Finding("ends of passes", value, _STRAYS, value <= _STRAYS, sentence)


def _metres(distance: float) -> str:
    """Write a distance with two figures, never as a power of ten."""
    return f"{float(f'{distance:.2g}'):g}"
