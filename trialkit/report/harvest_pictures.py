"""The pictures of the harvest, one file each: what was driven, shifted, left out and kept."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from trialkit.harvest import settled_ends
from trialkit.report import curves, figures, maps
from trialkit.report.pictures import Picture

if TYPE_CHECKING:
    from geopandas import GeoDataFrame
    from pandas import DataFrame

    from trialkit.harvest import Delay, PassEnds, Screening


def save_harvest_pictures(
    folder: Path,
    log: DataFrame,
    account: DataFrame,
    layout: GeoDataFrame,
    *,
    boundary: GeoDataFrame | None = None,
    delay: Delay | None = None,
    ends: PassEnds | None = None,
    screening: Screening | None = None,
) -> list[Path]:
    """Draw the harvest and write each picture as PNG.

    Parameters
    ----------
    folder
        Where the pictures go; made if need be.
    log
        Every record, screened and put into strips.
    account
        Records left out by reason, from `screening_account`.
    layout
        Strips.
    boundary
        The field's outline.
    delay
        The grain-flow delay used, for its curve.
    ends
        Where passes begin and end in earnest, for the flow curve.
    screening
        Limits used.

    Returns
    -------
    list of Path
        The files written.
    """
    folder.mkdir(parents=True, exist_ok=True)
    drawn = {
        "passes": maps.pass_map(log, layout, boundary=boundary),
        "yield": maps.yield_map(log, layout, boundary=boundary),
        "kept": maps.kept_map(log, layout, boundary=boundary),
        "before-after": figures.before_after(log),
        **dict(_curves(log, account, delay, ends, screening)),
    }
    return [_saved(picture, folder, f"{name}.png") for name, picture in drawn.items()]


def _saved(picture: Picture, folder: Path, name: str) -> Path:
    """Write a picture whole: a run that breaks off leaves the last good one."""
    return picture.save(folder / f".{name}").replace(folder / name)


def _curves(
    log: DataFrame,
    account: DataFrame,
    delay: Delay | None,
    ends: PassEnds | None,
    screening: Screening | None,
) -> Iterator[tuple[str, Picture]]:
    if len(account):
        yield "left-out", figures.left_out_bars(account)
    if delay is not None and len(delay.curve):
        yield (
            "delay",
            figures.delay_curve(delay.curve, delay_s=delay.delay_s, sharp=delay.sharp),
        )
    if ends is not None and len(ends.curve):
        limits = None if screening is None else settled_ends(log, screening, ends)
        yield "pass-ends", curves.flow_curve(ends, limits)
