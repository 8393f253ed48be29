"""Words on pictures, below them, and in their place for who cannot see them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from trialkit.report.numbers import level, listed, plain_t_ha, shortened, signed_range, signed_t_ha

if TYPE_CHECKING:
    from pandas import DataFrame

    from trialkit.result import Comparison

SAME_YIELD = "same yield"
KEPT, LEFT_OUT = "kept", "left out"
RECORDS, RECORDS_LEFT_OUT = "Records", "Records left out"
DELAY_AXIS, DISAGREEMENT_AXIS = "Grain-flow delay, s", "Disagreement"
STRIP_YIELDS_CAPTION = (
    "One line a block. Lines that mostly rise or fall together show a difference that repeats."
)
YIELD_MAP_CAPTION = "North is up. Records kept, averaged over small squares; lines are the strips."
BEFORE_AFTER_CAPTION = "The last bar holds every yield beyond it."


def gain_axis(control: str) -> str:
    """Return the words for the axis of gains."""
    return f"Gain over {shortened(control)}, t/ha"


def pays_from(break_even_t_ha: float) -> str:
    """Return the words beside the break-even line."""
    if break_even_t_ha <= 0:
        return "pays from any gain"
    return f"pays from {plain_t_ha(break_even_t_ha)} t/ha"


def strip_map_caption(marks: dict[str, str]) -> str:
    """Say what the letters on the map stand for."""
    return f"North is up. {', '.join(f'{letter}: {name}' for name, letter in marks.items())}."


def scale_bar(length_m: float) -> str:
    """Return the words beside a map's scale bar."""
    return f"{length_m / 1000:g} km" if length_m >= 1000 else f"{length_m:g} m"


def kept_map_caption(every: int) -> str:
    """Say which way the map lies, and whether it shows only some of the records."""
    return "North is up." if every == 1 else f"North is up. One record in {every} is drawn."


def gain_picture(comparisons: Sequence[Comparison], confidence: float) -> str:
    """Describe the picture of gains against their break-even."""
    rows = [
        f"{c.treatment} {signed_t_ha(c.gain_t_ha)} ({level(confidence)} interval "
        f"{signed_range(c.low_t_ha, c.high_t_ha)}), {pays_from(c.break_even_t_ha)}"
        for c in comparisons
    ]
    return f"Gain over {comparisons[0].control} in t/ha: {'; '.join(rows)}."


def strip_map_picture(strips: DataFrame) -> str:
    """Describe the map of strips."""
    return f"Map of {len(strips)} strips, north up, shaded by yield. {_yield_range(strips)}"


def strip_yields_picture(strips: DataFrame) -> str:
    """Describe the plot of strip yields by block and treatment."""
    means = strips.groupby("treatment", observed=True)["yield_t_ha"].mean()
    each = listed([f"{name} {plain_t_ha(mean)}" for name, mean in means.items()])
    return f"Yield of each strip by block and treatment. Plain averages, t/ha: {each}."


def _yield_range(table: DataFrame) -> str:
    values = table["yield_t_ha"].dropna()
    if values.empty:
        return "No yields."
    return f"From {plain_t_ha(values.min())} to {plain_t_ha(values.max())} t/ha."


def yield_map_picture(log: DataFrame) -> str:
    """Describe the map of kept records."""
    return f"Map of yield along the passes, {int(log['kept'].sum()):,} records kept, north up."


def kept_map_picture(log: DataFrame) -> str:
    """Describe the map of kept against left-out records."""
    return (
        f"Map of the harvest log, north up: {int(log['kept'].sum()):,} records kept, "
        f"{int((~log['kept'].astype(bool)).sum()):,} left out."
    )


def screening_picture(screening: DataFrame) -> str:
    """Describe the bars of left-out records."""
    each = [
        f"{reason} {records:,}"
        for reason, records in zip(screening["reason"], screening["records"], strict=True)
    ]
    return f"Records left out, by reason: {listed(each) or 'none'}."


def before_after_picture(log: DataFrame) -> str:
    """Describe the spread of yields before and after screening."""
    kept = log.loc[log["kept"].astype(bool), "yield_t_ha"]
    return (
        f"Yields in the log. Before screening {plain_t_ha(log['yield_t_ha'].min())} to "
        f"{plain_t_ha(log['yield_t_ha'].max())} t/ha; kept {plain_t_ha(kept.min())} to "
        f"{plain_t_ha(kept.max())} t/ha."
    )


def delay_picture(delay_s: float, sharp: bool) -> str:
    """Describe the curve that the grain-flow delay was read from."""
    return (
        f"How well neighbouring passes agree at each grain-flow delay. {delay_used(delay_s, sharp)}"
    )


def delay_used(delay_s: float, sharp: bool) -> str:
    """Say which grain-flow delay was used, and whether the log shows it clearly."""
    doubt = "" if sharp else " The log does not show it sharply; a measured delay would be better."
    return f"The delay used is {delay_s:g} s.{doubt}"
