"""Words on pictures, below them, and in their place for who cannot see them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from trialkit.language import figures, marked, say
from trialkit.report.numbers import (
    between,
    level,
    listed,
    number,
    plain_t_ha,
    shortened,
    signed_range,
    signed_t_ha,
    yield_decimals,
)

if TYPE_CHECKING:
    from pandas import DataFrame

    from trialkit.design.pegs import PeggedOut
    from trialkit.harvest import PassEnds
    from trialkit.result import Comparison

SAME_YIELD = marked("same yield")
KEPT, LEFT_OUT = marked("kept"), marked("left out")
RECORDS, RECORDS_LEFT_OUT = marked("Records"), marked("Records left out")
DELAY_AXIS, DISAGREEMENT_AXIS = marked("Grain-flow delay, s"), marked("Disagreement")
STRIP_YIELDS_CAPTION = marked(
    "One line a block. Lines that mostly rise or fall together show a difference that repeats."
)
RESIDUAL_AXIS = marked("Left over, t/ha")
YIELD_MAP_CAPTION = marked(
    "North is up. Records kept, averaged over small squares; lines are the strips."
)
FLOW_AXIS = marked("Share of the usual yield")
START_AXIS, END_AXIS = marked("Seconds since grain came"), marked("Seconds until grain ends")
BEFORE_AFTER_CAPTION = marked("The last bar holds every yield beyond it.")

#: What the lines and the mark on the map of a layout are.
CUT = marked("middle of a harvester's cut")
TRAMLINE, CORNER = marked("tramline"), marked("reference corner")
#: The two ways along the passes, and the reason of records that are not drawn on them.
JUMP = "position jump"
THERE, BACK = marked("driven one way"), marked("driven back")


def gain_axis(control: str) -> str:
    """Return the words for the axis of gains."""
    return say("Gain over {control}, t/ha", control=shortened(control))


def pays_from(break_even_t_ha: float, decimals: int) -> str:
    """Return the words beside the break-even line."""
    if break_even_t_ha < 0:
        return say("pays down to {loss} t/ha", loss=signed_t_ha(break_even_t_ha, decimals))
    if break_even_t_ha == 0:
        return say("pays from any gain")
    return say("pays from {gain} t/ha", gain=plain_t_ha(break_even_t_ha, decimals))


def strip_map_caption(marks: dict[str, str]) -> str:
    """Say what the letters on the map stand for."""
    letters = ", ".join(f"{letter}: {name}" for name, letter in marks.items())
    return say("North is up. {letters}.", letters=letters)


def scale_bar(length_m: float) -> str:
    """Return the words beside a map's scale bar."""
    return figures(f"{length_m / 1000:g} km" if length_m >= 1000 else f"{length_m:g} m")


def layout_map_caption(*, headlands: bool, off: bool) -> str:
    """Say what the map of a layout shows without a key."""
    return say(_LAYOUT_MAP[headlands, off])


#: By whether it shows headlands, and ground to stay off.
_LAYOUT_MAP = {
    (False, False): marked(
        "North is up. A number at the near end of each strip; heavy lines go around blocks."
    ),
    (True, False): marked(
        "North is up. A number at the near end of each strip and headlands in light grey; heavy "
        "lines go around blocks."
    ),
    (False, True): marked(
        "North is up. A number at the near end of each strip and ground to stay off in dark grey; "
        "heavy lines go around blocks."
    ),
    (True, True): marked(
        "North is up. A number at the near end of each strip, headlands in light grey and ground "
        "to stay off in dark grey; heavy lines go around blocks."
    ),
}


def layout_map_picture(pegged: PeggedOut, bounded: bool) -> str:
    """Describe the map of a layout: every strip with its treatment, in the order they lie."""
    strips = pegged.strips
    each = ", ".join(f"{row.strip} {row.treatment}" for row in strips.itertuples())
    if bounded:
        template = marked(
            "Map of {count} strips in the field in {blocks} blocks, north up. From the reference "
            "corner in the {corner}: {strips}."
        )
    else:
        template = marked(
            "Map of {count} strips in {blocks} blocks, north up. From the reference corner in the "
            "{corner}: {strips}."
        )
    return say(
        template,
        count=len(strips),
        blocks=strips["block"].nunique(),
        corner=say(pegged.corner),
        strips=each,
    )


def kept_map_caption(every: int, beyond: int) -> str:
    """Say which way the map lies, and which records it does not show."""
    sentences = (
        say("North is up."),
        say("One record in {every} is drawn.", every=every) if every > 1 else "",
        say("Records beyond the map: {beyond:,}.", beyond=beyond) if beyond else "",
    )
    return " ".join(sentence for sentence in sentences if sentence)


def gain_picture(comparisons: Sequence[Comparison], confidence: float) -> str:
    """Describe the picture of gains against their break-even."""
    places = yield_decimals(comparisons)
    rows = [
        say(
            "{treatment} {gain} ({level} interval {span}), {pays}",
            treatment=c.treatment,
            gain=signed_t_ha(c.gain_t_ha, places),
            level=level(confidence),
            span=signed_range(c.low_t_ha, c.high_t_ha, places),
            pays=pays_from(c.break_even_t_ha, places),
        )
        for c in comparisons
    ]
    return say(
        "Gain over {control} in t/ha: {gains}.",
        control=comparisons[0].control,
        gains="; ".join(rows),
    )


def strip_map_picture(strips: DataFrame) -> str:
    """Describe the map of strips."""
    shown = say("Map of {count} strips, north up, shaded by yield.", count=len(strips))
    return f"{shown} {_yield_range(strips)}"


def strip_yields_picture(strips: DataFrame) -> str:
    """Describe the plot of strip yields by block and treatment."""
    means = strips.groupby("treatment", observed=True)["yield_t_ha"].mean()
    each = listed([f"{name} {plain_t_ha(mean)}" for name, mean in means.items()])
    return say(
        "Yield of each strip by block and treatment. Plain averages, t/ha: {averages}.",
        averages=each,
    )


def residuals_caption(residuals: DataFrame) -> str:
    """Say what the plot of what is left over shows, and why pairs are mirrored in it."""
    caption = say(
        "What treatment and block leave over of each strip: above the line it yielded more than "
        "they give."
    )
    if "block" not in residuals or residuals.groupby("block").size().max() != 2:
        return caption
    mirrored = say("In a block of two, one strip is the mirror of the other.")
    return f"{caption} {mirrored}"


def residuals_picture(residuals: DataFrame) -> str:
    """Describe the plot of what is left over of each strip."""
    left = residuals["residual"]
    above = f"{left.idxmax()} {signed_t_ha(left.max())} t/ha"
    below = f"{left.idxmin()} {signed_t_ha(left.min())} t/ha"
    return say(
        "What treatment and block leave over of {count} strips. Most above: {above}; most below: "
        "{below}.",
        count=len(left),
        above=above,
        below=below,
    )


def _yield_range(table: DataFrame) -> str:
    values = table["yield_t_ha"].dropna()
    if values.empty:
        return say("No yields.")
    low, high = plain_t_ha(values.min()), plain_t_ha(values.max())
    return say("From {low} to {high} t/ha.", low=low, high=high)


def yield_map_picture(log: DataFrame) -> str:
    """Describe the map of kept records."""
    return say(
        "Map of yield along the passes, {kept:,} records kept, north up.",
        kept=int(log["kept"].sum()),
    )


def kept_map_picture(log: DataFrame) -> str:
    """Describe the map of kept against left-out records."""
    return say(
        "Map of the harvest log, north up: {kept:,} records kept, {out:,} left out.",
        kept=int(log["kept"].sum()),
        out=int((~log["kept"].astype(bool)).sum()),
    )


def pass_map_picture(log: DataFrame) -> str:
    """Describe the map of passes."""
    return say(
        "Map of the {passes} passes found in the log, {records:,} records, over the strips.",
        passes=int(log.loc[log["pass_id"] > 0, "pass_id"].nunique()),
        records=int((log["pass_id"] > 0).sum()),
    )


def pass_map_caption(passes: int, numbered: int) -> str:
    """Say what the numbers on the map are."""
    room = say("{count} of them have room for it.", count=numbered)
    sentences = (
        say("{count} passes over the strips (shaded), the number where each begins.", count=passes),
        "" if numbered == passes else room,
        say("Turns are not passes and are not drawn."),
    )
    return " ".join(sentence for sentence in sentences if sentence)


def screening_picture(screening: DataFrame) -> str:
    """Describe the bars of left-out records."""
    each = [
        f"{say(str(reason))} {number(records, 0)}"
        for reason, records in zip(screening["reason"], screening["records"], strict=True)
    ]
    return say("Records left out, by reason: {reasons}.", reasons=listed(each) or say("none"))


def before_after_picture(log: DataFrame) -> str:
    """Describe the spread of yields before and after screening."""
    kept = log.loc[log["kept"].astype(bool), "yield_t_ha"]
    return say(
        "Yields in the log. Before screening {span} t/ha; kept {kept} t/ha.",
        span=between(plain_t_ha(log["yield_t_ha"].min()), plain_t_ha(log["yield_t_ha"].max())),
        kept=between(plain_t_ha(kept.min()), plain_t_ha(kept.max())),
    )


def moisture_delay_used(delay_s: float, source: str) -> str:
    """Say which delay the moisture was given, and where it comes from."""
    template = {
        "given": marked("The moisture was put back by {delay:.1f} s: as trial.toml says."),
        "estimated": marked(
            "The moisture was put back by {delay:.1f} s: found by passes side by side, as for the "
            "grain."
        ),
    }.get(
        source,
        marked(
            "The moisture was put back by {delay:.1f} s: the same as the grain's, since the "
            "moisture itself does not tell."
        ),
    )
    return say(template, delay=delay_s)


def pass_ends_words(ends: PassEnds) -> str:
    """Say how many seconds are left out at the ends of passes, and where they come from."""
    usual = say(
        "The usual yield of {passes} passes, second by second, while the machine fills and "
        "empties.",
        passes=ends.passes,
    )
    template = _PASS_ENDS[ends.start_found, ends.end_found]
    return f"{usual} {say(template, start=ends.start_s, end=ends.end_s)}"


#: By whether the log shows the start, and the end.
_PASS_ENDS = {
    (True, True): marked(
        "Left of the line it is not the crop: {start:.0f} s at the start of each pass, {end:.0f} s "
        "at the end."
    ),
    (True, False): marked(
        "Left of the line it is not the crop: {start:.0f} s at the start of each pass, {end:.0f} s "
        "at the end (the usual; the log does not show it)."
    ),
    (False, True): marked(
        "Left of the line it is not the crop: {start:.0f} s at the start (the usual; the log does "
        "not show it) of each pass, {end:.0f} s at the end."
    ),
    (False, False): marked(
        "Left of the line it is not the crop: {start:.0f} s at the start (the usual; the log does "
        "not show it) of each pass, {end:.0f} s at the end (the usual; the log does not show it)."
    ),
}


def delay_picture(delay_s: float, sharp: bool) -> str:
    """Describe the curve that the grain-flow delay was read from."""
    shown = say("How well neighbouring passes agree at each grain-flow delay.")
    return f"{shown} {delay_used(delay_s, sharp)}"


def delay_used(delay_s: float, sharp: bool) -> str:
    """Say which grain-flow delay was used, and whether the log shows it clearly."""
    used = say("The delay used is {delay:.1f} s.", delay=delay_s)
    if sharp:
        return used
    doubt = say("The log does not show it sharply; a measured delay would be better.")
    return f"{used} {doubt}"
