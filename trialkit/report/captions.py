"""Words on pictures, below them, and in their place for who cannot see them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from trialkit.report.numbers import (
    level,
    listed,
    opened,
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

SAME_YIELD = "same yield"
KEPT, LEFT_OUT = "kept", "left out"
RECORDS, RECORDS_LEFT_OUT = "Records", "Records left out"
DELAY_AXIS, DISAGREEMENT_AXIS = "Grain-flow delay, s", "Disagreement"
STRIP_YIELDS_CAPTION = (
    "One line a block. Lines that mostly rise or fall together show a difference that repeats."
)
RESIDUAL_AXIS = "Left over, t/ha"
YIELD_MAP_CAPTION = "North is up. Records kept, averaged over small squares; lines are the strips."
FLOW_AXIS = "Share of the usual yield"
START_AXIS, END_AXIS = "Seconds since grain came", "Seconds until grain ends"
BEFORE_AFTER_CAPTION = "The last bar holds every yield beyond it."


#: What each limit of the screening is.
LIMIT_WORDS = {
    "rules": "rules used, in their order",
    "speed_low_m_s": "slowest speed at which the machine harvests, m/s",
    "speed_high_m_s": "fastest speed at which the machine harvests, m/s",
    "beside_stop_s": "left out before and after a stop, s",
    "speed_jump_share": "change of speed within a second that is too sudden, as a share",
    "beside_jump_s": "left out before and after a sudden change of speed, s",
    "yield_low_t_ha": "least yield the crop can have, t/ha",
    "yield_high_t_ha": "greatest yield the crop can have, t/ha",
    "swath_least_share": "least cut, as a share of the full width",
    "beside_part_s": "left out before and after a part swath, s",
    "pass_start_s": "left out at the start of a pass, s",
    "pass_end_s": "left out at the end of a pass, s",
    "jump_m_s": "speed between two positions that no machine makes, m/s",
    "moisture_low_pct": "driest grain the sensor is believed to read, %",
    "moisture_high_pct": "wettest grain the sensor is believed to read, %",
    "least_pass_m": "shortest pass that counts, m",
    "frozen_s": "one and the same flow for so long is a sensor that hangs, s",
    "outlier_sd": "outlier of its pass beyond so many standard deviations",
    "local_outlier_sd": "outlier among its neighbours beyond so many standard deviations",
}
#: What the lines and the mark on the map of a layout are.
CUT, TRAMLINE, CORNER = "middle of a harvester's cut", "tramline", "reference corner"
#: The two ways along the passes, and the reason of records that are not drawn on them.
JUMP = "position jump"
THERE, BACK = "driven one way", "driven back"


def gain_axis(control: str) -> str:
    """Return the words for the axis of gains."""
    return f"Gain over {shortened(control)}, t/ha"


def pays_from(break_even_t_ha: float, decimals: int) -> str:
    """Return the words beside the break-even line."""
    if break_even_t_ha <= 0:
        return "pays from any gain"
    return f"pays from {plain_t_ha(break_even_t_ha, decimals)} t/ha"


def strip_map_caption(marks: dict[str, str]) -> str:
    """Say what the letters on the map stand for."""
    return f"North is up. {', '.join(f'{letter}: {name}' for name, letter in marks.items())}."


def scale_bar(length_m: float) -> str:
    """Return the words beside a map's scale bar."""
    return f"{length_m / 1000:g} km" if length_m >= 1000 else f"{length_m:g} m"


def layout_map_caption(*, headlands: bool, off: bool) -> str:
    """Say what the map of a layout shows without a key."""
    parts = ["a number at the near end of each strip"]
    if headlands:
        parts.append("headlands in light grey")
    if off:
        parts.append("ground to stay off in dark grey")
    return f"North is up. {opened(listed(parts))}; heavy lines go around blocks."


def layout_map_picture(pegged: PeggedOut, bounded: bool) -> str:
    """Describe the map of a layout: every strip with its treatment, in the order they lie."""
    strips = pegged.strips
    each = ", ".join(f"{row.strip} {row.treatment}" for row in strips.itertuples())
    where = "in the field " if bounded else ""
    return (
        f"Map of {len(strips)} strips {where}in {strips['block'].nunique()} blocks, north up. From "
        f"the reference corner in the {pegged.corner}: {each}."
    )


def kept_map_caption(every: int, beyond: int) -> str:
    """Say which way the map lies, and which records it does not show."""
    thinned = f" One record in {every} is drawn." if every > 1 else ""
    return f"North is up.{thinned}" + (f" Records beyond the map: {beyond:,}." if beyond else "")


def gain_picture(comparisons: Sequence[Comparison], confidence: float) -> str:
    """Describe the picture of gains against their break-even."""
    places = yield_decimals(comparisons)
    rows = [
        f"{c.treatment} {signed_t_ha(c.gain_t_ha, places)} ({level(confidence)} interval "
        f"{signed_range(c.low_t_ha, c.high_t_ha, places)}), "
        f"{pays_from(c.break_even_t_ha, places)}"
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


def residuals_caption(residuals: DataFrame) -> str:
    """Say what the plot of what is left over shows, and why pairs are mirrored in it."""
    caption = (
        "What treatment and block leave over of each strip: above the line it yielded more than "
        "they give."
    )
    if "block" not in residuals or residuals.groupby("block").size().max() != 2:
        return caption
    return f"{caption} In a block of two, one strip is the mirror of the other."


def residuals_picture(residuals: DataFrame) -> str:
    """Describe the plot of what is left over of each strip."""
    left = residuals["residual"]
    above = f"{left.idxmax()} {signed_t_ha(left.max())} t/ha"
    below = f"{left.idxmin()} {signed_t_ha(left.min())} t/ha"
    return (
        f"What treatment and block leave over of {len(left)} strips. Most above: {above}; most "
        f"below: {below}."
    )


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


def pass_map_picture(log: DataFrame) -> str:
    """Describe the map of passes."""
    passes = int(log.loc[log["pass_id"] > 0, "pass_id"].nunique())
    records = int((log["pass_id"] > 0).sum())
    return f"Map of the {passes} passes found in the log, {records:,} records, over the strips."


def pass_map_caption(passes: int, numbered: int) -> str:
    """Say what the numbers on the map are."""
    some = "" if numbered == passes else f" {numbered} of them have room for it."
    return (
        f"{passes} passes over the strips (shaded), the number where each begins.{some} Turns are "
        "not passes and are not drawn."
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


def moisture_delay_used(delay_s: float, source: str) -> str:
    """Say which delay the moisture was given, and where it comes from."""
    because = {
        "given": "as trial.toml says",
        "estimated": "found by passes side by side, as for the grain",
    }.get(source, "the same as the grain's, since the moisture itself does not tell")
    return f"The moisture was put back by {delay_s:.1f} s: {because}."


def pass_ends_words(ends: PassEnds) -> str:
    """Say how many seconds are left out at the ends of passes, and where they come from."""
    told = [
        f"{seconds:.0f} s at the {end}{'' if found else ' (the usual; the log does not show it)'}"
        for end, seconds, found in (
            ("start", ends.start_s, ends.start_found),
            ("end", ends.end_s, ends.end_found),
        )
    ]
    return (
        f"The usual yield of {ends.passes} passes, second by second, while the machine fills and "
        f"empties. Left of the line it is not the crop: {told[0]} of each pass, {told[1]}."
    )


def delay_picture(delay_s: float, sharp: bool) -> str:
    """Describe the curve that the grain-flow delay was read from."""
    return (
        f"How well neighbouring passes agree at each grain-flow delay. {delay_used(delay_s, sharp)}"
    )


def delay_used(delay_s: float, sharp: bool) -> str:
    """Say which grain-flow delay was used, and whether the log shows it clearly."""
    doubt = "" if sharp else " The log does not show it sharply; a measured delay would be better."
    return f"The delay used is {delay_s:.1f} s.{doubt}"


# Tables -----------------------------------------------------------------------------------------

#: The levels of screening in the words of a table.
SCREENINGS = {
    "none": "none: every record counts",
    "light": "light: only what cannot be a yield",
    "default": "as declared (main analysis)",
    "hard": "hard: tight limits, sound records lost",
}
SCREENINGS_NOTE = (
    "Each time the main analysis, from strip yields made of the records left. Left out: share of "
    "the records inside the strips."
)
NO_ANSWER = "too little left to compare"
NO_RULES, ALL_RULES = "none", "all, in their usual order"
LEFT_OUT_NOTE = (
    "Ground and grain as the monitor has them: width times distance, and its yield on that ground."
)

TABLES = {
    "strips": "Strips",
    "sown": "What was sown against the plan",
    "coefficients": "Coefficients of the main model",
    "means": "Yield of each treatment by the main model, t/ha",
    "differences": "Gain over the control by the main model, t/ha",
    "variances": "Where the differences between strips come from",
    "methods": "The gain by several methods",
    "money": "What the gain is worth",
    "budget": "Partial budget",
    "left-out": "Records left out",
    "sensitivity": "The gain under other screenings",
    "settings": "Limits of the screening",
    "inputs": "Input files",
    "versions": "Software",
}

#: Headings of columns that no input or log has; the others are in `trialkit.columns`.
HEADINGS = {
    "estimate": "Estimate",
    "std_error": "Std. error",
    "df": "df",
    "t": "t",
    "p": "p",
    "low": "Low",
    "high": "High",
    "p_together": "p, together",
    "low_together": "Low, together",
    "high_together": "High, together",
    "term": "Term",
    "what": "What differs",
    "variance": "Variance, (t/ha)²",
    "method": "Method",
    "gain_t_ha": "Gain, t/ha",
    "low_t_ha": "Low",
    "high_t_ha": "High",
    "break_even_t_ha": "Break-even, t/ha",
    "net_per_ha": "Net, {currency}/ha",
    "net_low": "Low",
    "net_high": "High",
    "chance_paid": "Chance it paid",
    "verdict": "Verdict",
    "gross": "Gross, {currency}/ha",
    "costs_per_ha": "Costs that vary, {currency}/ha",
    "net": "Net, {currency}/ha",
    "dominated": "Dominated",
    "marginal_return_pct": "Marginal rate of return, %",
    "records": "Records",
    "share_pct": "Share of the log, %",
    "grain_t": "Grain, t",
    "level": "Screening",
    "lost_pct": "Left out, %",
    "limit": "Limit",
    "setting": "Key in trial.toml",
    "value": "Value",
    "file": "File",
    "sha256": "SHA-256",
    "package": "Software",
    "version": "Version",
}

YES, NO = "yes", "no"
BUDGET_NOTE = (
    "Point estimates without their error: whether a difference is real is for the main model to "
    "say. Dominated: another treatment costs no more and nets at least as much."
)


def interval_note(confidence: float) -> str:
    """Say what low and high are."""
    return f"Low and high: {level(confidence)} interval."


def together_note(confidence: float) -> str:
    """Say what the two kinds of interval are."""
    return (
        f"Low and high: {level(confidence)} interval of each by itself. Together: "
        f"{level(confidence)} that all of them hold at once (multivariate t)."
    )


def main_method(method: str) -> str:
    """Return the main method's name, marked as the main one."""
    return f"{method} (main analysis)"
