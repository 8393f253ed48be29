"""Cautions for the shed and the cab; the pages show them.

They defer to labels, safety data sheets, local rules and licensed practice, and replace none.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from trialkit.errors import SowingError
from trialkit.language import marked

Page = Literal["shed", "cab"]

_USUAL = "common practice, no source"


@dataclass(frozen=True, slots=True)
class Caution:
    """One caution.

    Parameters
    ----------
    topic
        What it is about, in a word or two.
    text
        The caution.
    pages
        Where it is shown: `"shed"`, `"cab"` or both.
    powders_only
        Whether it is only for a recipe with a powder.
    source
        Where it comes from.
    """

    topic: str
    text: str
    pages: tuple[Page, ...]
    powders_only: bool = False
    source: str = _USUAL


_BOTH: tuple[Page, ...] = ("shed", "cab")

CAUTIONS: tuple[Caution, ...] = (
    Caution(
        marked("Label first"),
        marked(
            "Read label and safety data sheet of each product before you open it. They, local "
            "rules and licensed practice come before this page."
        ),
        _BOTH,
    ),
    Caution(
        marked("Skin and eyes"),
        marked(
            "Long sleeves and trousers, shoes, chemical-resistant gloves (not leather or cloth), "
            "eye protection. Water and soap at hand."
        ),
        _BOTH,
        source="floor of protection: Univ. of Minnesota and Univ. of Nebraska extension",
    ),
    Caution(
        marked("Dust"),
        marked(
            "Powders and dressed seed make dust: dust mask and eye protection, open doors, stand "
            "upwind. Tip powder low and slowly."
        ),
        ("shed",),
        powders_only=True,
    ),
    Caution(
        marked("Dust from seed"),
        marked(
            "Dressed seed makes dust when it is loaded and cleaned out: dust mask, stand upwind."
        ),
        ("cab",),
    ),
    Caution(
        marked("Auger and shafts"),
        marked(
            "Guards on augers, belts and power shafts stay on. No loose clothes, no children, "
            "nobody alone."
        ),
        _BOTH,
    ),
    Caution(
        marked("Lock out"),
        marked(
            "Before you clear, clean or reach in: stop the drive, take the key, lock out, wait "
            "until all stands still."
        ),
        _BOTH,
    ),
    Caution(
        marked("Never into grain"),
        marked(
            "Nobody climbs into a bin, hopper or cart of seed, even to free a bridge: grain buries "
            "in seconds. Free it from outside with a pole, drive locked out."
        ),
        _BOTH,
    ),
    Caution(
        marked("Damp seed bridges"),
        marked(
            "Damp dressed seed bridges over outlets and may fall without warning. Load less, let "
            "it dry, and look at the outlets often."
        ),
        _BOTH,
    ),
    Caution(
        marked("Electrics"),
        marked(
            "Water and electricity: keep leads, plugs and motors off the wet floor, behind a "
            "residual-current device; dry hands on switches."
        ),
        ("shed",),
    ),
    Caution(
        marked("Never food or feed"),
        marked(
            "Dressed seed never goes into food, feed or delivered grain, and is kept from stock, "
            "birds and children. One dressed seed can spoil a load. Clean everything it touched."
        ),
        _BOTH,
        source="Tenn. Code 43-10-105 (wording for treated seed); Ontario pesticide-safety note",
    ),
    Caution(
        marked("Inoculant counts too"),
        marked(
            "In some places a seed inoculant counts as a hazardous substance in delivered grain, "
            "as pesticides do. Ask where you deliver."
        ),
        ("shed",),
        source="Canada Grain Regulations, s. 1",
    ),
    Caution(
        marked("Label the seed"),
        marked(
            "Mark bags, bins and carts of dressed seed: what is on it, since when, not for food, "
            "feed or oil."
        ),
        _BOTH,
        source="7 CFR 201.31a (USA); Tenn. Code 43-10-105",
    ),
    Caution(
        marked("Spills"),
        marked(
            "Cover or take up spilt dressed seed at once, at filling places and headlands above "
            "all: birds find it."
        ),
        ("cab",),
    ),
    Caution(
        marked("Store and dispose"),
        marked(
            "Store products locked, dry, in their own packs, as the label says. Rinse, packs and "
            "left-over seed go where label and local rules say: never into a drain, ditch or pond."
        ),
        _BOTH,
    ),
    Caution(
        marked("Registered here"),
        marked(
            "Use only what is registered for this crop, this use and this place, at the rate it is "
            "registered for."
        ),
        ("shed",),
    ),
)


def cautions_for(page: Page, *, powders: bool = True) -> tuple[Caution, ...]:
    """Return the cautions to show on a page.

    Parameters
    ----------
    page
        `"shed"` or `"cab"`.
    powders
        Whether the recipe has a powder.

    Raises
    ------
    SowingError
        If there is no such page.

    Examples
    --------
    >>> cautions_for("cab")[0].topic
    'Label first'
    """
    if page not in ("shed", "cab"):
        raise SowingError(f"There is no page {page!r}. Say 'shed' or 'cab'.")
    return tuple(
        caution
        for caution in CAUTIONS
        if page in caution.pages and (powders or not caution.powders_only)
    )
