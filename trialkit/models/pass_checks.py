"""What the records say along the passes: likeness of neighbours, its reach, stray ends."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd
from scipy.special import stdtrit

from trialkit.errors import ModelError
from trialkit.models.findings import Finding
from trialkit.models.residuals import residuals_along, variogram

#: Correlation of neighbours above which records are far from independent; our own choice.
_ALIKE = 0.2
#: Share of the full scatter at which records are as unlike as any; common practice, no source.
_FULL = 0.95
#: Share of a pass that counts as its start or end; our own choice.
_END = 0.1
#: Chance that passes without fault are flagged.
_LEVEL = 0.05


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
        sentence = f"Neighbouring records, {step:.2g} m apart, are hardly alike ({alike:.2f})."
    else:
        sentence = (
            f"Neighbouring records, {step:.2g} m apart, are alike (correlation {alike:.2f}): "
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
    longest = float(table["distance_m"].iloc[-1])
    near = min(float(table["semivariance"].iloc[0]) / scatter, 1.0)
    between = f"{near:.0%} of the scatter inside strips lies between neighbours already"
    if len(far):
        reach = float(far.iloc[0])
        sentence = f"Records stay alike for about {reach:.2g} m along the pass; {between}."
    else:
        reach = np.inf
        sentence = (
            f"Records are still alike {longest:.3g} m apart: the ground changes slowly along the "
            f"strips; {between}."
        )
    yield Finding("reach of likeness", reach, longest, bool(reach <= longest), sentence)


def _ends(left: pd.DataFrame, unit: str) -> Iterator[Finding]:
    """Hold the first and the last tenth of the passes against the rest, strips as the unit."""
    passes = left.groupby("pass_id", sort=False)["distance_m"]
    start, length = passes.transform("min"), passes.transform(np.ptp)
    share = (left["distance_m"] - start) / length.where(length > 0)
    found = []
    for name, inside in (("start", share < _END), ("end", share > 1 - _END)):
        means = left["residual"][inside].groupby(left["strip"][inside]).mean()
        rest = left["residual"][(share >= _END) & (share <= 1 - _END)]
        gaps = (means - rest.groupby(left["strip"]).mean()).dropna().to_numpy()
        error = gaps.std(ddof=1) / np.sqrt(gaps.size) if gaps.size > 1 else 0.0
        if error > 0:
            limit = float(stdtrit(gaps.size - 1, 1 - _LEVEL / 4))
            found.append((abs(gaps.mean()) / error, limit, name, float(gaps.mean())))
    if not found:
        return
    value, limit, name, gap = max(found)
    if value <= limit:
        sentence = "Yields at the starts and ends of passes are like those between."
    else:
        side = "above" if gap > 0 else "below"
        size = f"{abs(gap):.2g}{f' {unit}' if unit else ''}"
        sentence = (
            f"At the {name} of passes yields lie {size} {side} the rest of their strips: check the "
            "delay of the sensor and how much is trimmed there."
        )
    yield Finding("ends of passes", float(value), limit, bool(value <= limit), sentence)
