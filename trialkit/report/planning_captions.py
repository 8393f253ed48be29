"""Words on the planning pictures, below them, and in their place for who cannot see them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from trialkit.language import figures, marked, say, say_counted
from trialkit.report.numbers import listed, number

if TYPE_CHECKING:
    from pandas import DataFrame

    from trialkit.design import Rehearsal

VARIATION = marked("Strips differ by")
TRUE_GAIN_AXIS = marked("True gain of the dressing, t/ha")
SEEN_AXIS = marked("Draws in which it is seen")
DETECTABLE_AXIS = marked("Gain seen in four draws of five, t/ha")
REHEARSAL_CAPTION = marked(
    "Each draw sows the dressing on other strips of last seasons' ground and runs the season's own "
    "analysis. Dashed: four draws of five."
)

TYPICAL_TITLE = marked("How much strips and plots differ, as published")
SEASONS_TITLE = marked("This layout in past seasons, with no dressing at all")
LAYOUTS_TITLE = marked("Layouts over the same ground")
LAYOUTS_NOTE = marked(
    "Seen: the true gain that comes out significant in four draws of five. False alarms: draws "
    "that call a gain or a loss where there is none; 5% is right. A dash: not drawn at random, so "
    "it cannot be known."
)
VERDICTS_TITLE = marked("What the season report would say")
VERDICTS_NOTE = marked("Share of draws, were the gain in the first column true in every strip.")
MISFITS_TITLE = marked("What does not fit the paddock")

HEADINGS = {
    "what": marked("What was compared"),
    "source": marked("Source"),
    "cv_pct": marked("Strips differ by, %"),
    "season": marked("Season"),
    "mean_t_ha": marked("Mean yield, t/ha"),
    "layout": marked("Layout"),
    "strips": marked("Strips"),
    "blocks": marked("Blocks"),
    "width_m": marked("Width, m"),
    "length_m": marked("Length, m"),
    "area_ha": marked("Ground, ha"),
    "std_error_t_ha": marked("Standard error, t/ha"),
    "detectable_t_ha": marked("Seen from, t/ha"),
    "false_positive_pct": marked("False alarms, %"),
    "chance_seen_pct": marked("Gain hoped for seen, % of draws"),
    "gain_t_ha": marked("True gain, t/ha"),
    "paid_pct": marked("Paid, %"),
    "not_settled_pct": marked("Not settled, %"),
    "did_not_pay_pct": marked("Did not pay, %"),
    "why": marked("Why not, and what would fit"),
}


#: What is said of pairs and of blocks.
_TITLES = {
    "pairs": marked("Pairs needed, by the price of grain and how much strips differ"),
    "blocks": marked("Blocks needed, by the price of grain and how much strips differ"),
}
_AXES = {"pairs": marked("Pairs needed"), "blocks": marked("Blocks needed")}
_CAPTIONS = {
    "pairs": marked(
        "Pairs that see what must be seen in four trials of five. At {most}, it takes that many or "
        "more: no farm sows that."
    ),
    "blocks": marked(
        "Blocks that see what must be seen in four trials of five. At {most}, it takes that many "
        "or more: no farm sows that."
    ),
}
_PICTURES = {
    "pairs": marked("Pairs needed, where strips differ by {each}."),
    "blocks": marked("Blocks needed, where strips differ by {each}."),
}


def headings() -> dict[str, str]:
    """Return the headings of the tables."""
    return {name: say(heading) for name, heading in HEADINGS.items()}


def replicates_title(layout: str) -> str:
    """Return the title of the table of replicates."""
    return say(_TITLES[layout])


def variation_name(cv_pct: float) -> str:
    """Return a strip-to-strip variation as a key has it."""
    return figures(f"{cv_pct:g}%")


def price_axis(currency: str) -> str:
    """Return the words for the axis of prices."""
    return say("Price of grain, {currency} a tonne", currency=currency)


def replicates_axis(layout: str) -> str:
    """Return the words for the axis of replicates."""
    return say(_AXES[layout])


def replicates_caption(layout: str, most: int) -> str:
    """Say how to read the picture of replicates."""
    return say(_CAPTIONS[layout], most=most)


def replicates_words(table: DataFrame, currency: str, layout: str) -> str:
    """Describe the picture of replicates: the least and most at each variation."""
    parts: list[str] = []
    for cv in sorted(set(table["cv_pct"].astype(float))):
        known = table[(table["cv_pct"] == cv) & table["replicates"].notna()]
        known = known.sort_values("price_per_t")
        ends = known[["price_per_t", "replicates"]].to_numpy(dtype=float)[[0, -1][: len(known)]]
        each = [
            say("{needed:.0f} at {price:g} {currency}/t", needed=n, price=price, currency=currency)
            for price, n in ends
        ]
        words = listed(each) or say("no number would do")
        part = say("{variation}: {needed}", variation=variation_name(cv), needed=words)
        parts.append(say("by {part}", part=part) if parts else part)
    return say(_PICTURES[layout], each="; ".join(parts))


def rehearsal_words(rehearsals: Mapping[str, Rehearsal], break_even_t_ha: float | None) -> str:
    """Describe the picture of chances."""
    parts = []
    for name, each in rehearsals.items():
        seen = each.detectable_t_ha
        if break_even_t_ha is None:
            words = say("{name}: {seen:.2f} t/ha in four draws of five", name=name, seen=seen)
        else:
            words = say(
                "{name}: {seen:.2f} t/ha in four draws of five, the {pays:.2f} t/ha it takes to "
                "pay in {chance:.0%}",
                name=name,
                seen=seen,
                pays=break_even_t_ha,
                chance=each.chance_seen(break_even_t_ha),
            )
        parts.append(words)
    return say("How often a true gain would be seen. {each}.", each="; ".join(parts))


def comparison_words(table: DataFrame, break_even_t_ha: float | None) -> str:
    """Describe the picture of layouts."""
    drawn = table.dropna(subset=["detectable_t_ha"])
    sees = zip(drawn["layout"], drawn["detectable_t_ha"].astype(float), strict=True)
    each = "; ".join(f"{layout}: {number(gain, 2)}" for layout, gain in sees)
    words = say("Gain that each layout sees in four draws of five, t/ha: {each}.", each=each)
    if break_even_t_ha is None:
        return words
    pays = say("The dressing pays from {gain:.2f}.", gain=break_even_t_ha)
    return f"{words} {pays}"


def comparison_caption(table: DataFrame) -> str:
    """Say which layouts the picture cannot show."""
    left_out = int(table["detectable_t_ha"].isna().sum())
    words = say("The further left, the smaller the gain a layout sees.")
    if not left_out:
        return words
    unknown = say_counted(
        "{count} layout is not drawn at random, so what they see is not known.",
        "{count} layouts are not drawn at random, so what they see is not known.",
        left_out,
    )
    return f"{words} {unknown}"
