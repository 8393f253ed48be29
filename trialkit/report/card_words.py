"""The sentences of the field card."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from trialkit.design import Allocation
from trialkit.design.allocation import DRAWS
from trialkit.design.pegs import PeggedOut, compass_words
from trialkit.language import marked, say, say_counted
from trialkit.report.numbers import between, number, opened, shortened

WRITE_DOWN = marked(
    "Tick what was sown. Write down at once what went otherwise, and put it into as-sown.csv: the "
    "trial is judged by what was really sown."
)
CLEAN_OUT = marked(
    "Stop. Run the seeder empty; drive stopped and locked out, clean it before the next treatment."
)
TITLE = marked("Field card: {trial}")
MORE = marked("More to heed is at the end of this card.")
DO_NOT_CHANGE = marked(
    "Do not change a strip because it looks better, lies wetter or is easier to reach. A strip "
    "that somebody chose shows the choice, not the dressing."
)
NO_DRAW = marked("This layout does not say how its treatments were allotted.")
PRACTICE = marked(
    "Untreated strips first, and the length of a pace: common practice, no source. Distances are "
    "level ground's: on a slope hold the tape level."
)

#: What stands on the card besides sentences.
HEADINGS = {
    "mark": marked("Mark"),
    "treatment": marked("Treatment"),
    "strips": marked("Strips"),
    "area": marked("Area, ha"),
    "find": marked("Find the strips without GPS"),
    "peg": marked("Peg"),
    "stands_at": marked("Stands at"),
    "along_line": marked("Along the line, m"),
    "paces": marked("Paces"),
    "then": marked("Then, m from the line"),
    "latitude": marked("Latitude"),
    "longitude": marked("Longitude"),
    "order": marked("Sowing order"),
    "place": marked("Order"),
    "strip": marked("Strip"),
    "gets": marked("Gets"),
    "as_planned": marked("Sown as planned?"),
    "yes": marked("yes"),
    "no": marked("no"),
    "changed_to": marked("Changed to"),
    "note": marked("Note"),
    "sown_by": marked("Sown by ______________________  on ______________________"),
    "as_they_lie": marked("Strips as they lie"),
    "from_left": marked(
        "From the left, seen from the reference corner; from and to along the line of pegs."
    ),
    "block": marked("Block"),
    "passes": marked("Passes"),
    "from": marked("From, m"),
    "to": marked("To, m"),
    "begins": marked("Begins, m from the line"),
    "length": marked("Length, m"),
    "leave": marked("Leave the draw as it is"),
    "before": marked("Before you drive"),
}


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
        return say(
            "The untreated seed has a tank of its own, so the strips are sown side by side. Look "
            "at the tank before each strip."
        )
    words = say("Untreated strips first, so that nothing is carried over into them.")
    if treatments < 3:
        return words
    least = say("Of the others, the one with least on the seed first: check that it is so.")
    return f"{words} {least}"


def cautions() -> Iterator[str]:
    """Return what to heed before driving, besides walking the strips."""
    yield say(
        "Power lines: know where they hang and how high your machine stands, folded and unfolded, "
        "before you drive under them. Find out what is buried before you drive a peg in."
    )
    yield say(
        "Nobody on foot near a working machine. Count the pegs out and in again: one left in the "
        "crop ends up in the harvester."
    )
    yield say(
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
    yield " ".join((_corner_words(pegged), say("Drive peg 1 in there.")))
    yield say(
        "Stand at peg 1 and face along the strips: {strips}. All strips lie ahead of you and to "
        "the right. The line of pegs runs to the right, {line}, at right angles to the strips. "
        "With a tape: 3 m along the line, 4 m along the strip's edge; when these two points are "
        "5 m apart, the angle is right.",
        strips=_direction(heading),
        line=_direction(heading + 90),
    )
    yield say(
        "Measure along the line by tape, each distance from peg 1, so that errors do not add up. "
        "Paces of {pace:.2f} m are a check only. Your own: walk 100 m and count. "
        "Yours: ________ paces.",
        pace=pace_m,
    )
    if not pegged.level:
        yield say(
            "Not all strips begin on the line. 'Before' means: from the line back, away from the "
            "strips; 'past' means: from the line on, along the strips."
        )
    yield say(
        "Write the strips' numbers on the pegs. At the far end measure the same widths again, or "
        "sight back over two pegs."
    )


def _corner_words(pegged: PeggedOut) -> str:
    first = pegged.pegs.iloc[0]
    behind = compass_words(pegged.heading_deg + 180)
    aside = compass_words(pegged.heading_deg - 90)
    words = say(
        "Find the reference corner: the {corner} corner of the trial (latitude {latitude}, "
        "longitude {longitude}).",
        corner=say(pegged.corner),
        latitude=degrees(first["latitude"]),
        longitude=degrees(first["longitude"]),
    )
    if pegged.to_fence_m is None:
        return words
    back, left = pegged.to_fence_m
    lies = say(
        "It lies {back} m in from the field's outline behind it (to the {behind}, measured along "
        "the strips) and {left} m from that on its left (to the {aside}, measured along the line).",
        back=number(back, 1),
        left=number(left, 1),
        behind=say(behind),
        aside=say(aside),
    )
    return f"{words} {lies}"


def _direction(heading_deg: float) -> str:
    compass = compass_words(heading_deg)
    return say(
        "{compass}, {degrees}° from true north",
        compass=say(compass),
        degrees=number(heading_deg % 360, 1),
    )


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
    if right_strip:
        return say("left edge of {strip}", strip=right_strip)
    return say("right edge of {strip}", strip=left_strip)


def start_words(start_m: float) -> str:
    """Say where a strip begins against the line.

    Parameters
    ----------
    start_m
        Along the strips from the line, m.
    """
    if abs(start_m) < 0.05:
        return say("on it")
    metres = number(abs(start_m), 1)
    if start_m > 0:
        return say("{metres} past", metres=metres)
    return say("{metres} before", metres=metres)


def draw_words(allocation: Allocation | None) -> list[str]:
    """Say how the treatments were allotted, and why nobody may change that.

    Parameters
    ----------
    allocation
        The draw; None where it is not known.
    """
    if allocation is None:
        return [say(NO_DRAW), say(DO_NOT_CHANGE)]
    draw = say(DRAWS[allocation.draw])
    if allocation.systematic:
        drawn = say("The treatments were not drawn: {draw}.", draw=draw)
    else:
        drawn = say(
            "Chance put the treatments on the strips, inside each block ({draw}; seed of the draw "
            "{seed}).",
            draw=draw,
            seed=str(allocation.seed),
        )
    return [drawn, say(DO_NOT_CHANGE)]


def range_m(values: Sequence[float]) -> str:
    """Return lengths as one number or a range, m.

    Parameters
    ----------
    values
        Lengths, m.
    """
    low, high = (number(edge, 1) for edge in (min(values), max(values)))
    return f"{low} m" if low == high else f"{between(low, high)} m"


def size_words(strips: int, blocks: int) -> str:
    """Say how many strips and blocks there are.

    Parameters
    ----------
    strips, blocks
        Numbers.
    """
    return say_counted(
        "{strips} strips in {count} block", "{strips} strips in {count} blocks", blocks,
        strips=strips,
    )  # fmt: skip


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
    wide, known = range_m(widths), set(passes)
    if seeder_m is None or len(known) != 1 or "" in known:
        return say("Each {width} wide", width=wide)
    return say_counted(
        "Each {width} wide: {count} pass of {seeder:g} m",
        "Each {width} wide: {count} passes of {seeder:g} m",
        int(known.pop()),
        width=wide,
        seeder=seeder_m,
    )


def length_words(lengths: Sequence[float]) -> str:
    """Say how long the strips are.

    Parameters
    ----------
    lengths
        Of each strip, m.
    """
    return say("{length} long", length=range_m(lengths))


def heading_words(heading_deg: float) -> str:
    """Say which way the passes run.

    Parameters
    ----------
    heading_deg
        Degrees clockwise from north.
    """
    there, back = (number((heading_deg + turn) % 360, 1) for turn in (0, 180))
    return say("Direction {there}° out and {back}° back, from true north", there=there, back=back)


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
    layout = say("layout {letters}", letters=fingerprint[:12]) if fingerprint else ""
    parts = [shortened(trial, 70), str(season), layout]
    return " · ".join(part for part in parts if part)


def fingerprint_words(fingerprint: str) -> str:
    """Say which file the card is of.

    Parameters
    ----------
    fingerprint
        SHA-256 of the layout's file, hexadecimal.
    """
    return say(
        "This card is of the layout.geojson whose SHA-256 begins with {letters}. A card with other "
        "letters is of another layout.",
        letters=fingerprint[:12],
    )
