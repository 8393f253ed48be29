"""What to know about a layout before it is sown, in sentences.

They are kept beside the strips, in English; `said_again` says them in the language that is spoken.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

import pandas as pd

from trialkit.design.allocation import COSTS, Allocation
from trialkit.design.starts import Starts
from trialkit.design.tramlines import SAME_M
from trialkit.design.wishes import Wishes
from trialkit.language import ENGLISH, figures, marked, places, say, speaking

#: Strips of 750 ft or more did better (Washington State University, PNW STEEP on-farm testing,
#: 1994).
_BETTER_LENGTH_M = 229.0

#: Four to six complete blocks are held enough for most on-farm trials (Mississippi State
#: University Extension P3930).
_USUAL_BLOCKS = 4

NO_CONTROL = marked(
    "It was not said which treatment is the untreated control. Without untreated strips nobody can "
    "tell what the dressing did."
)
ONE_BLOCK = marked("One block has no replication: no error, so no answer. This trial cannot tell.")
FEW_BLOCKS = marked("{blocks} blocks are few: four to six are the usual least for on-farm strips.")
SAME_ORDER = marked(
    "The draw gave every block the same order. It was fair, but a change across the field would "
    'look like a gain. Even sides (draw="even sides") rule that out; say so beside the trial if '
    "you draw again."
)
SMALLEST_P = marked(
    "The smallest p a randomisation test of this layout can give is {smallest}: it cannot reach "
    "5%, whatever the yields."
)
SHORT = marked(
    "The shortest strips are {length} m. Longer strips vary less from one to the next; from "
    "{better} m they do better."
)
#: One cut a strip or several, ground beside the cuts or none.
CUTS = {
    (True, True): marked(
        "Each strip is {width} m wide and gives {cuts} full cut of {cut} m; {side} m along its "
        "sides count for nothing: cut them apart, before or after."
    ),
    (False, True): marked(
        "Each strip is {width} m wide and gives {cuts} full cuts of {cut} m; {side} m along its "
        "sides count for nothing: cut them apart, before or after."
    ),
    (True, False): marked(
        "Each strip is {width} m wide and gives {cuts} full cut of {cut} m; there is no margin: a "
        "cut that strays takes the neighbour's grain. Steer with care."
    ),
    (False, False): marked(
        "Each strip is {width} m wide and gives {cuts} full cuts of {cut} m; there is no margin: a "
        "cut that strays takes the neighbour's grain. Steer with care."
    ),
}
CLEAN_CUTS = marked("The tramlines stay out of every cut. Keep the cuts where the plan puts them.")
TRAMLINES_IN_CUTS = marked("The tramlines run inside the cuts, at the same place in every strip.")
ALONG = marked(
    "The strips run along the gradient: each crosses all of it, which is as it should be."
)
#: Across the gradient or aslant, and whether even sides would help.
ACROSS = {
    (True, False): marked(
        "The strips run across the gradient, so neighbours lie on different ground. The blocks "
        "follow each other along the gradient and take up most of it."
    ),
    (False, False): marked(
        "The strips run aslant to the gradient, so neighbours lie on different ground. The blocks "
        "follow each other along the gradient and take up most of it."
    ),
    (True, True): marked(
        "The strips run across the gradient, so neighbours lie on different ground. The blocks "
        "follow each other along the gradient and take up most of it. Even sides in the draw "
        '(draw="even sides") take the rest out.'
    ),
    (False, True): marked(
        "The strips run aslant to the gradient, so neighbours lie on different ground. The blocks "
        "follow each other along the gradient and take up most of it. Even sides in the draw "
        '(draw="even sides") take the rest out.'
    ),
}

_ALL = (
    NO_CONTROL, ONE_BLOCK, FEW_BLOCKS, *COSTS, SAME_ORDER, SMALLEST_P, SHORT, *CUTS.values(),
    CLEAN_CUTS, TRAMLINES_IN_CUTS, ALONG, *ACROSS.values(),
)  # fmt: skip


def plan_notes(
    strips: pd.DataFrame,
    wishes: Wishes,
    heading_deg: float,
    starts: Starts,
    allocation: Allocation,
    control: str | None,
) -> tuple[str, ...]:
    """Return the sentences to read before sowing, in English, as they are kept.

    Parameters
    ----------
    strips
        One row a strip, as in `TrialPlan`.
    wishes
        What was wished for.
    heading_deg
        Direction of the passes, degrees.
    starts
        How the strips start.
    allocation
        How the treatments were drawn.
    control
        The untreated control; None if that was not said.
    """
    with speaking(ENGLISH):
        return (
            *_on_the_trial(strips, allocation, control),
            *_on_the_cut(strips, wishes, starts),
            *_on_the_gradient(wishes, heading_deg, allocation),
        )


def said_again(note: str) -> str:
    """Return a sentence of `plan_notes` in the language that is spoken.

    Parameters
    ----------
    note
        The sentence as it was kept. One that `plan_notes` does not know is returned as it is.
    """
    for template in _ALL:
        found = _pattern(template).fullmatch(note)
        if found:
            kept = {name: figures(text) for name, text in found.groupdict().items()}
            return say(template, **kept)
    return note


def _pattern(template: str) -> re.Pattern[str]:
    pattern = re.escape(template)
    for name in places(template):
        pattern = pattern.replace(re.escape(f"{{{name}}}"), rf"(?P<{name}>[\d.,e+-]+)")
    return re.compile(pattern)


def _on_the_trial(
    strips: pd.DataFrame, allocation: Allocation, control: str | None
) -> Iterator[str]:
    if control is None:
        yield say(NO_CONTROL)
    blocks = len(allocation.orders)
    if blocks < 2:
        yield say(ONE_BLOCK)
    elif blocks < _USUAL_BLOCKS:
        yield say(FEW_BLOCKS, blocks=str(blocks))
    if allocation.cost:
        yield allocation.cost
    if allocation.draw == "random" and blocks > 2 and len(set(allocation.orders)) == 1:
        yield say(SAME_ORDER)
    smallest = allocation.smallest_p
    if smallest is not None and 0.05 < smallest < 1:
        least_p = f"{smallest:.2g}"
        yield say(SMALLEST_P, smallest=least_p)
    length = (strips["along_to_m"] - strips["along_from_m"]).min()
    if length < _BETTER_LENGTH_M:
        shortest, better = (f"{metres:.0f}" for metres in (length, _BETTER_LENGTH_M))
        yield say(SHORT, length=shortest, better=better)


def _on_the_cut(strips: pd.DataFrame, wishes: Wishes, starts: Starts) -> Iterator[str]:
    wide = starts.passes * wishes.seeder_m
    cuts = int(strips["cuts"].min())
    left_over = wide - cuts * wishes.harvester_m
    beside = left_over > SAME_M
    sizes = {"width": f"{wide:g}", "cuts": str(cuts), "cut": f"{wishes.harvester_m:g}"}
    if beside:
        sizes["side"] = f"{left_over:.3g}"
    yield say(CUTS[cuts <= 1, beside], **sizes)
    if wishes.tramlines is None:
        return
    if starts.clean:
        yield say(CLEAN_CUTS)
    else:
        yield say(TRAMLINES_IN_CUTS)


def _on_the_gradient(wishes: Wishes, heading_deg: float, allocation: Allocation) -> Iterator[str]:
    if wishes.gradient_deg is None:
        return
    turn = abs((wishes.gradient_deg - heading_deg + 90) % 180 - 90)
    if turn <= 30:
        yield say(ALONG)
        return
    drawn = allocation.draw == "random" and not allocation.restricted
    yield say(ACROSS[turn >= 60, drawn])
