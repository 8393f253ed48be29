"""What was really sown: the plan with its mistakes, losses and shifts becomes the layout analysed.

A plan is never corrected by guessing. A strip that got something else counts as what it got;
ground that was lost, or of which nobody knows what it got, is left out and named.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import geopandas as gpd
import pandas as pd
import shapely
from shapely.geometry.base import BaseGeometry

from trialkit.design.strip_parts import polygons_of
from trialkit.errors import LayoutError
from trialkit.language import marked, say, say_counted
from trialkit.position import local_grid

#: Role of ground that belonged to a strip and does not count.
LOST = "lost"

#: Less than this share of a strip left, and the whole strip is left out: so short a rest yields
#: much less surely than the strips it is held against. Common practice, no source.
LEAST_LEFT_SHARE = 0.25

#: Lost ground of less than this share of a strip is a slip of drawing and changes nothing.
_SLIVER_SHARE = 0.002

#: Corners of ground that was cut are rounded to this, m.
_CORNER_M = 0.001

_WGS84 = "EPSG:4326"


@dataclass(frozen=True, slots=True)
class Change:
    """What one strip got, or where it lies, where that is not as planned.

    Parameters
    ----------
    strip
        Name of the strip.
    treatment
        What it was sown with; None for as planned.
    ground
        Where it lies, WGS 84; None for where planned.
    note
        Words on it: how it came about, or how far the strip was moved.
    """

    strip: str
    treatment: str | None = None
    ground: BaseGeometry | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class LostGround:
    """Ground that does not count.

    Parameters
    ----------
    ground
        The ground, WGS 84; None for the whole strip.
    strip
        The strip it is taken from; None for every strip it covers.
    why
        Why, as a few words: `"bog"`, `"not sown"`.
    """

    ground: BaseGeometry | None = None
    strip: str | None = None
    why: str = ""


#: How a strip differs: another treatment, a part left out, lies elsewhere.
_SAID = {
    (True, False, False): marked("{strip} got {sown} instead of {planned}{note}."),
    (False, True, False): marked(
        "{strip} counts without {share:.0%} of its ground ({area:,.0f} m²){note}."
    ),
    (False, False, True): marked("{strip} does not lie where planned{note}."),
    (True, True, False): marked(
        "{strip} got {sown} instead of {planned} and counts without {share:.0%} of its ground "
        "({area:,.0f} m²){note}."
    ),
    (True, False, True): marked(
        "{strip} got {sown} instead of {planned} and does not lie where planned{note}."
    ),
    (False, True, True): marked(
        "{strip} counts without {share:.0%} of its ground ({area:,.0f} m²) and does not lie where "
        "planned{note}."
    ),
    (True, True, True): marked(
        "{strip} got {sown} instead of {planned} and counts without {share:.0%} of its ground "
        "({area:,.0f} m²) and does not lie where planned{note}."
    ),
}


@dataclass(frozen=True, slots=True)
class Difference:
    """How one strip differs from the plan.

    Parameters
    ----------
    strip, block
        Its names.
    planned
        The treatment of the plan.
    sown
        The treatment it counts with; empty where the strip is left out.
    moved
        Whether it lies elsewhere than planned.
    lost_m2, lost_pct
        Ground of the strip left out, m² and % of the strip as sown.
    note
        What was said about it.
    """

    strip: str
    block: str
    planned: str
    sown: str
    moved: bool = False
    lost_m2: float = 0.0
    lost_pct: float = 0.0
    note: str = ""

    @property
    def left_out(self) -> bool:
        """Whether nothing of the strip counts."""
        return not self.sown

    @property
    def other_treatment(self) -> bool:
        """Whether the strip counts with another treatment than planned."""
        return bool(self.sown) and self.sown != self.planned

    @property
    def what(self) -> str:
        """What happened, as a few words for a table."""
        parts = (
            (marked("left out"), self.left_out),
            (marked("other treatment"), self.other_treatment),
            (marked("part left out"), not self.left_out and self.lost_m2 > 0),
            (marked("lies elsewhere"), self.moved and not self.left_out),
        )
        return ", ".join(words for words, so in parts if so)

    def sentence(self) -> str:
        """Return the difference as one sentence."""
        note = f" ({self.note})" if self.note else ""
        if self.left_out:
            return say("{strip} is left out{note}.", strip=self.strip, note=note)
        return say(
            _SAID[self.other_treatment, self.lost_m2 > 0, self.moved],
            strip=self.strip,
            sown=self.sown,
            planned=self.planned,
            share=self.lost_pct / 100,
            area=self.lost_m2,
            note=note,
        )


@dataclass(frozen=True, slots=True, eq=False)
class Sown:
    """The layout as it was sown.

    Parameters
    ----------
    layout
        Columns `strip block treatment role geometry planned` in the plan's coordinate system:
        the strips that count in the plan's order, then other ground, then what was lost
        (`role` is `lost`). `planned` is the treatment of the plan, empty for what is no strip.
    differences
        One for each strip that is not as planned, in the plan's order.
    """

    layout: gpd.GeoDataFrame
    differences: tuple[Difference, ...]


def as_sown(
    planned: gpd.GeoDataFrame, changes: Iterable[Change] = (), lost: Iterable[LostGround] = ()
) -> Sown:
    """Return the layout that was sown, and how it differs from the plan.

    Parameters
    ----------
    planned
        The plan: `strip block treatment role geometry`.
    changes
        Strips that got something else or lie elsewhere; each strip at most once.
    lost
        Ground that does not count.

    Returns
    -------
    Sown
        Strips not named keep their treatment and every corner of the plan.

    Raises
    ------
    LayoutError
        If a strip named is not in the plan, or changes twice.

    Examples
    --------
    >>> from trialkit.design import lay_out
    >>> from shapely.geometry import box
    >>> plan = lay_out(box(85.0, -38.5, 85.01, -38.49), ["untreated", "dressed"], 4,
    ...     seeder_m=12, harvester_m=12, seed=1)
    >>> sown = as_sown(plan, [Change("S1", "dressed")], [LostGround(strip="S2", why="bog")])
    >>> [difference.sentence() for difference in sown.differences]
    ['S1 got dressed instead of untreated.', 'S2 is left out (bog).']
    """
    is_strip = (planned["role"] == "strip").to_numpy()
    strips = planned[is_strip]
    by_strip = _by_strip(changes, strips)
    grid = local_grid(strips)
    on_grid = strips.to_crs(grid).geometry
    bogs = _on_grid(lost, strips, grid)
    rows, gone, differences = [], [], []
    for (_, row), drawn in zip(strips.iterrows(), on_grid, strict=True):
        change = by_strip.get(str(row["strip"]), Change(str(row["strip"])))
        difference, left, taken = _one(row, drawn, change, bogs, planned.crs, grid)
        if left is not None:
            treatment = difference.sown
            rows.append({**row, "treatment": treatment, "planned": row["treatment"]} | left)
        gone += taken
        differences += [difference] if difference.what else []
    others = [{**row, "planned": ""} for _, row in planned[~is_strip].iterrows()]
    columns = ["strip", "block", "treatment", "role", "geometry", "planned"]
    layout = gpd.GeoDataFrame([*rows, *others, *gone], columns=columns, crs=planned.crs)
    return Sown(layout, tuple(differences))


def _by_strip(changes: Iterable[Change], strips: gpd.GeoDataFrame) -> dict[str, Change]:
    known = set(strips["strip"].astype(str))
    found: dict[str, Change] = {}
    for change in changes:
        _check_known(change.strip, known)
        if change.strip in found:
            raise LayoutError(f"Strip {change.strip} is changed twice. Give what it got once.")
        found[change.strip] = change
    return found


def _check_known(strip: str, known: set[str]) -> None:
    if strip not in known:
        raise LayoutError(f"The plan has no strip '{strip}'. It has {', '.join(sorted(known))}.")


def _on_grid(
    lost: Iterable[LostGround], strips: gpd.GeoDataFrame, grid: object
) -> list[LostGround]:
    """Return lost ground in metres."""
    bogs = list(lost)
    for bog in bogs:
        if bog.strip is not None:
            _check_known(bog.strip, set(strips["strip"].astype(str)))
    series = gpd.GeoSeries([bog.ground for bog in bogs], crs=_WGS84).to_crs(grid)
    return [
        LostGround(None if bog.ground is None else ground, bog.strip, bog.why)
        for bog, ground in zip(bogs, series, strict=True)
    ]


def _one(
    row: pd.Series,
    drawn: BaseGeometry,
    change: Change,
    bogs: Sequence[LostGround],
    crs: object,
    grid: object,
) -> tuple[Difference, dict[str, object] | None, list[dict[str, object]]]:
    """Return how one strip differs, what is left of it, and the rows of its lost ground."""
    where = row["geometry"]
    if change.ground is not None:
        drawn = gpd.GeoSeries([change.ground], crs=_WGS84).to_crs(grid).iloc[0]
        where = gpd.GeoSeries([change.ground], crs=_WGS84).to_crs(crs).iloc[0]
    bog, why = _taken(str(row["strip"]), drawn, bogs)
    left, taken = _clean(drawn.difference(bog)), _clean(drawn.intersection(bog))
    whole = left.area < LEAST_LEFT_SHARE * drawn.area
    lost = drawn if whole else taken
    said = dict.fromkeys(word for word in (change.note, *why) if word)
    difference = Difference(
        strip=str(row["strip"]),
        block=str(row["block"]),
        planned=str(row["treatment"]),
        sown="" if whole else change.treatment or str(row["treatment"]),
        moved=change.ground is not None,
        lost_m2=float(lost.area),
        lost_pct=100.0 * float(lost.area) / float(drawn.area),
        note="; ".join(said),
    )
    gone = []
    if not lost.is_empty:
        ground = where if whole else gpd.GeoSeries([lost], crs=grid).to_crs(crs).iloc[0]
        kept = {"strip": row["strip"], "block": row["block"], "planned": row["treatment"]}
        gone.append({**kept, "treatment": "", "role": LOST, "geometry": ground})
    if whole:
        return difference, None, gone
    if not lost.is_empty:
        where = gpd.GeoSeries([left], crs=grid).to_crs(crs).iloc[0]
    return difference, {"geometry": where}, gone


def _clean(ground: BaseGeometry) -> BaseGeometry:
    """Return ground without the slivers that edges drawn along each other leave behind."""
    return polygons_of(shapely.set_precision(ground, _CORNER_M))


def _taken(
    strip: str, drawn: BaseGeometry, bogs: Sequence[LostGround]
) -> tuple[BaseGeometry, list[str]]:
    """Return the ground that a strip has part in and loses, and why."""
    pieces, why = [], []
    for bog in bogs:
        if bog.strip not in (None, strip):
            continue
        ground = drawn.buffer(1.0) if bog.ground is None else bog.ground
        if drawn.intersection(ground).area > _SLIVER_SHARE * drawn.area:
            pieces.append(ground)
            why.append(bog.why)
    return shapely.union_all(pieces), why


def told(differences: Sequence[Difference], strips: int) -> tuple[str, ...]:
    """Say how what was sown differs from the plan, and what that means; empty where it does not.

    Parameters
    ----------
    differences
        From `as_sown`.
    strips
        Number of strips in the plan.

    Returns
    -------
    tuple of str
        First the whole in one sentence, for the first page; then strip by strip; then what no
        analysis can put right.
    """
    if not differences:
        return ()
    other = [d for d in differences if d.other_treatment]
    gone = [d for d in differences if d.left_out]
    parts = [d for d in differences if not d.left_out and d.lost_m2 > 0]
    moved = [d for d in differences if d.moved and not d.left_out]
    counts = (
        (say("{count} got another treatment", count=len(other)), other),
        (say_counted("{count} is left out", "{count} are left out", len(gone)), gone),
        (say("of {count} a part is left out", count=len(parts)), parts),
        (say_counted("{count} lies elsewhere", "{count} lie elsewhere", len(moved)), moved),
    )
    whole = say(
        "{changed} of {strips} strips were not sown or kept as planned ({what}). The gain compares "
        "what was sown.",
        changed=len(differences),
        strips=strips,
        what="; ".join(words for words, which in counts if which),
    )
    return (whole, *_one_by_one(differences), *_meaning(other, gone, strips))


def _one_by_one(differences: Sequence[Difference]) -> list[str]:
    """Return one sentence a strip; strips that were only moved alike are told together."""
    sentences: list[str] = []
    alike: dict[str, list[str]] = {}
    for difference in differences:
        if difference.what == "lies elsewhere" and difference.note:
            alike.setdefault(difference.note, []).append(difference.strip)
        else:
            sentences.append(difference.sentence())
    return [*(f"{', '.join(names)}: {note}." for note, names in alike.items()), *sentences]


def _meaning(other: Sequence[Difference], gone: Sequence[Difference], strips: int) -> Iterable[str]:
    if other:
        yield say(
            "What {other} of {strips} strips got was not drawn for them. If the mistakes hung on "
            "the ground or the crop, that is in the gain, and no analysis takes it out; the "
            "randomisation test goes by the draw and is not misled by it.",
            other=len(other),
            strips=strips,
        )
    if gone:
        yield say(
            "Leaving strips out is fair only if they would have been lost with any treatment. A "
            "strip lost because of its treatment is part of the answer: tell it beside the gain."
        )
