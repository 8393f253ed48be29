"""The sentences of the field card."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from trialkit.design import Allocation
from trialkit.design.pegs import PeggedOut, compass_words
from trialkit.report.numbers import number, opened, shortened

WRITE_DOWN = (
    "Tick what was sown. Write down at once what went otherwise, and put it into as-sown.csv: the "
    "trial is judged by what was really sown."
)
CLEAN_OUT = (
    "Stop. Run the seeder empty; drive stopped and locked out, clean it before the next treatment."
)
MORE = "More to heed is at the end of this card."
DO_NOT_CHANGE = (
    "Do not change a strip because it looks better, lies wetter or is easier to reach. A strip "
    "that somebody chose shows the choice, not the dressing."
)
NO_DRAW = "This layout does not say how its treatments were allotted."
PRACTICE = (
    "Untreated strips first, and the length of a pace: common practice, no source. Distances are "
    "level ground's: on a slope hold the tape level."
)


def why_this_order(treatments: int, tanks: int = 1) -> str:
    """Say why the strips are sown in this order: common practice, no source.

    Parameters
    ----------
    treatments
        Number of treatments, the untreated among them.
    tanks
        Tanks for seed.
    """
    if tanks > 1:
        return (
            "The untreated seed has a tank of its own, so the strips are sown side by side. Look "
            "at the tank before each strip."
        )
    words = "Untreated strips first, so that nothing is carried over into them."
    if treatments < 3:
        return words
    return f"{words} Of the others, the one with least on the seed first: check that it is so."


def cautions() -> Iterator[str]:
    """Return what to heed before driving, besides walking the strips."""
    yield (
        "Power lines: know where they hang and how high your machine stands, folded and unfolded, "
        "before you drive under them. Find out what is buried before you drive a peg in."
    )
    yield (
        "Nobody on foot near a working machine. Count the pegs out and in again: one left in the "
        "crop ends up in the harvester."
    )
    yield (
        "Dressed seed: label and safety data sheet first; gloves, eye protection and dust mask. "
        "Keep it from stock and birds, and never let it become food or feed. The label and local "
        "rules stand above this card."
    )


def how_to_find(pegged: PeggedOut, pace_m: float) -> Iterator[str]:
    """Return the steps that find the strips with a tape and without GPS.

    Parameters
    ----------
    pegged
        The layout as measured from its reference corner.
    pace_m
        Length of a pace, m.
    """
    heading = pegged.heading_deg
    yield f"{_corner_words(pegged)} Drive peg 1 in there."
    yield (
        f"Stand at peg 1 and face along the strips: {_direction(heading)}. All strips lie ahead "
        f"of you and to the right. The line of pegs runs to the right, {_direction(heading + 90)}, "
        "at right angles to the strips. With a tape: 3 m along the line, 4 m along the strip's "
        "edge; when these two points are 5 m apart, the angle is right."
    )
    yield (
        "Measure along the line by tape, each distance from peg 1, so that errors do not add up. "
        f"Paces of {number(pace_m, 2)} m are a check only. Your own: walk 100 m and count. "
        "Yours: ________ paces."
    )
    if not pegged.level:
        yield (
            "Not all strips begin on the line. 'Before' means: from the line back, away from the "
            "strips; 'past' means: from the line on, along the strips."
        )
    yield (
        "Write the strips' numbers on the pegs. At the far end measure the same widths again, or "
        "sight back over two pegs."
    )


def _corner_words(pegged: PeggedOut) -> str:
    first = pegged.pegs.iloc[0]
    place = f"latitude {degrees(first['latitude'])}, longitude {degrees(first['longitude'])}"
    words = f"Find the reference corner: the {pegged.corner} corner of the trial ({place})."
    if pegged.to_fence_m is None:
        return words
    back, left = pegged.to_fence_m
    behind, aside = pegged.heading_deg + 180, pegged.heading_deg - 90
    return (
        f"{words} It lies {number(back, 1)} m in from the field's outline behind it (to the "
        f"{compass_words(behind)}, measured along the strips) and {number(left, 1)} m from that "
        f"on its left (to the {compass_words(aside)}, measured along the line)."
    )


def _direction(heading_deg: float) -> str:
    return f"{compass_words(heading_deg)}, {number(heading_deg % 360, 1)}° from true north"


def degrees(value: float) -> str:
    """Return a coordinate to six decimals, about 0.1 m.

    Parameters
    ----------
    value
        Longitude or latitude, degrees.
    """
    return number(value, 6)


def edge_words(left_strip: str, right_strip: str) -> str:
    """Say which edge a peg stands at.

    Parameters
    ----------
    left_strip, right_strip
        Names of the strips beside it; empty for none.
    """
    if left_strip and right_strip:
        return f"{left_strip} | {right_strip}"
    return f"left edge of {right_strip}" if right_strip else f"right edge of {left_strip}"


def start_words(start_m: float) -> str:
    """Say where a strip begins against the line.

    Parameters
    ----------
    start_m
        Along the strips from the line, m.
    """
    if abs(start_m) < 0.05:
        return "on it"
    return f"{number(abs(start_m), 1)} {'past' if start_m > 0 else 'before'}"


def draw_words(allocation: Allocation | None) -> list[str]:
    """Say how the treatments were allotted, and why nobody may change that.

    Parameters
    ----------
    allocation
        The draw; None where it is not known.
    """
    if allocation is None:
        return [NO_DRAW, DO_NOT_CHANGE]
    if allocation.systematic:
        drawn = f"The treatments were not drawn: {allocation.draw}."
    else:
        drawn = (
            f"Chance put the treatments on the strips, inside each block ({allocation.draw}; seed "
            f"of the draw {allocation.seed})."
        )
    return [drawn, DO_NOT_CHANGE]


def range_m(values: Sequence[float]) -> str:
    """Return lengths as one number or a range, m.

    Parameters
    ----------
    values
        Lengths, m.
    """
    low, high = (number(edge, 1) for edge in (min(values), max(values)))
    return f"{low} m" if low == high else f"{low} to {high} m"


def size_words(strips: int, blocks: int) -> str:
    """Say how many strips and blocks there are.

    Parameters
    ----------
    strips, blocks
        Numbers.
    """
    return f"{strips} strips in {blocks} block{'' if blocks == 1 else 's'}"


def width_words(widths: Sequence[float], passes: Sequence[str], seeder_m: float | None) -> str:
    """Say how wide the strips are.

    Parameters
    ----------
    widths
        Of each strip, m.
    passes
        Of each strip; empty where not known.
    seeder_m
        Working width of the seeder, m; None where not known.
    """
    words = f"Each {range_m(widths)} wide"
    known = set(passes)
    if seeder_m is None or len(known) != 1 or "" in known:
        return words
    (count,) = known
    return f"{words}: {count} pass{'' if count == '1' else 'es'} of {seeder_m:g} m"


def about(*parts: object) -> str:
    """Return what is known of the trial in one line.

    Parameters
    ----------
    *parts
        Such as paddock, crop and season; empty ones are left out.
    """
    return opened(", ".join(str(part) for part in parts if part not in ("", None)))


def foot(trial: str, season: object, fingerprint: str) -> str:
    """Return the words at the foot of each page.

    Parameters
    ----------
    trial, season
        Name and year.
    fingerprint
        SHA-256 of the layout's file, hexadecimal; empty where not known.
    """
    parts = [shortened(trial, 70), str(season)] + (
        [f"layout {fingerprint[:12]}"] if fingerprint else []
    )
    return " · ".join(part for part in parts if part)


def fingerprint_words(fingerprint: str) -> str:
    """Say which file the card is of.

    Parameters
    ----------
    fingerprint
        SHA-256 of the layout's file, hexadecimal.
    """
    return (
        f"This card is of the layout.geojson whose SHA-256 begins with {fingerprint[:12]}. A card "
        "with other letters is of another layout."
    )
