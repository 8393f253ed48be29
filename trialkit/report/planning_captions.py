"""Words on the planning pictures, below them, and in their place for who cannot see them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pandas import DataFrame

    from trialkit.design import Rehearsal

VARIATION = "Strips differ by"
TRUE_GAIN_AXIS = "True gain of the dressing, t/ha"
SEEN_AXIS = "Draws in which it is seen"
DETECTABLE_AXIS = "Gain seen in four draws of five, t/ha"
REHEARSAL_CAPTION = (
    "Each draw sows the dressing on other strips of last seasons' ground and runs the season's own "
    "analysis. Dashed: four draws of five."
)

TYPICAL_TITLE = "How much strips and plots differ, as published"
SEASONS_TITLE = "This layout in past seasons, with no dressing at all"
LAYOUTS_TITLE = "Layouts over the same ground"
LAYOUTS_NOTE = (
    "Seen: the true gain that comes out significant in four draws of five. False alarms: draws "
    "that call a gain or a loss where there is none; 5% is right. A dash: not drawn at random, so "
    "it cannot be known."
)
VERDICTS_TITLE = "What the season report would say"
VERDICTS_NOTE = "Share of draws, were the gain in the first column true in every strip."
MISFITS_TITLE = "What does not fit the paddock"

HEADINGS = {
    "what": "What was compared",
    "source": "Source",
    "cv_pct": "Strips differ by, %",
    "season": "Season",
    "mean_t_ha": "Mean yield, t/ha",
    "layout": "Layout",
    "strips": "Strips",
    "blocks": "Blocks",
    "width_m": "Width, m",
    "length_m": "Length, m",
    "area_ha": "Ground, ha",
    "std_error_t_ha": "Standard error, t/ha",
    "detectable_t_ha": "Seen from, t/ha",
    "false_positive_pct": "False alarms, %",
    "chance_seen_pct": "Gain hoped for seen, % of draws",
    "gain_t_ha": "True gain, t/ha",
    "paid_pct": "Paid, %",
    "not_settled_pct": "Not settled, %",
    "did_not_pay_pct": "Did not pay, %",
    "why": "Why not, and what would fit",
}


def replicates_title(layout: str) -> str:
    """Return the title of the table of replicates."""
    return f"{layout.capitalize()} needed, by the price of grain and how much strips differ"


def variation_name(cv_pct: float) -> str:
    """Return a strip-to-strip variation as a key has it."""
    return f"{cv_pct:g}%"


def price_axis(currency: str) -> str:
    """Return the words for the axis of prices."""
    return f"Price of grain, {currency} a tonne"


def replicates_axis(layout: str) -> str:
    """Return the words for the axis of replicates."""
    return f"{layout.capitalize()} needed"


def replicates_caption(layout: str, most: int) -> str:
    """Say how to read the picture of replicates."""
    return (
        f"{layout.capitalize()} that see what must be seen in four trials of five. At {most}, it "
        "takes that many or more: no farm sows that."
    )


def replicates_words(table: DataFrame, currency: str, layout: str) -> str:
    """Describe the picture of replicates: the least and most at each variation."""
    parts = []
    for cv in sorted(set(table["cv_pct"].astype(float))):
        known = table[(table["cv_pct"] == cv) & table["replicates"].notna()]
        known = known.sort_values("price_per_t")
        ends = known[["price_per_t", "replicates"]].to_numpy(dtype=float)[[0, -1][: len(known)]]
        each = [f"{needed:.0f} at {price:g} {currency}/t" for price, needed in ends]
        words = " and ".join(each) or "no number would do"
        parts.append(f"{variation_name(cv)}: {words}")
    return f"{replicates_axis(layout)}, where strips differ by {'; by '.join(parts)}."


def rehearsal_words(rehearsals: Mapping[str, Rehearsal], break_even_t_ha: float | None) -> str:
    """Describe the picture of chances."""
    parts = []
    for name, each in rehearsals.items():
        words = f"{name}: {each.detectable_t_ha:.2f} t/ha in four draws of five"
        if break_even_t_ha is not None:
            chance = each.chance_seen(break_even_t_ha)
            words += f", the {break_even_t_ha:.2f} t/ha it takes to pay in {chance:.0%}"
        parts.append(words)
    return f"How often a true gain would be seen. {'; '.join(parts)}."


def comparison_words(table: DataFrame, break_even_t_ha: float | None) -> str:
    """Describe the picture of layouts."""
    drawn = table.dropna(subset=["detectable_t_ha"])
    each = "; ".join(f"{row.layout}: {row.detectable_t_ha:.2f}" for row in drawn.itertuples())
    pays = "" if break_even_t_ha is None else f" The dressing pays from {break_even_t_ha:.2f}."
    return f"Gain that each layout sees in four draws of five, t/ha: {each}.{pays}"


def comparison_caption(table: DataFrame) -> str:
    """Say which layouts the picture cannot show."""
    left_out = int(table["detectable_t_ha"].isna().sum())
    words = "The further left, the smaller the gain a layout sees."
    if not left_out:
        return words
    layouts = "layout is" if left_out == 1 else "layouts are"
    return f"{words} {left_out} {layouts} not drawn at random, so what they see is not known."
