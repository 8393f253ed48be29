"""What to know about a layout before it is sown, in sentences."""

from __future__ import annotations

from collections.abc import Iterator

import pandas as pd

from trialkit.design.allocation import Allocation
from trialkit.design.starts import Starts
from trialkit.design.tramlines import SAME_M
from trialkit.design.wishes import Wishes

#: Strips of 750 ft or more did better (Washington State University, PNW STEEP on-farm testing,
#: 1994).
_BETTER_LENGTH_M = 229.0

#: Four to six complete blocks are held enough for most on-farm trials (Mississippi State
#: University Extension P3930).
_USUAL_BLOCKS = 4


def plan_notes(
    strips: pd.DataFrame,
    wishes: Wishes,
    heading_deg: float,
    starts: Starts,
    allocation: Allocation,
    control: str | None,
) -> tuple[str, ...]:
    """Return the sentences to read before sowing.

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
    return (
        *_on_the_trial(strips, allocation, control),
        *_on_the_cut(strips, wishes, starts),
        *_on_the_gradient(wishes, heading_deg, allocation),
    )


def _on_the_trial(
    strips: pd.DataFrame, allocation: Allocation, control: str | None
) -> Iterator[str]:
    if control is None:
        yield (
            "It was not said which treatment is the untreated control. Without untreated strips "
            "nobody can tell what the dressing did."
        )
    blocks = len(allocation.orders)
    if blocks < 2:
        yield "One block has no replication: no error, so no answer. This trial cannot tell."
    elif blocks < _USUAL_BLOCKS:
        yield f"{blocks} blocks are few: four to six are the usual least for on-farm strips."
    if allocation.cost:
        yield allocation.cost
    if allocation.draw == "random" and blocks > 2 and len(set(allocation.orders)) == 1:
        yield (
            "The draw gave every block the same order. It was fair, but a change across the field "
            'would look like a gain. Even sides (draw="even sides") rule that out; say so beside '
            "the trial if you draw again."
        )
    smallest = allocation.smallest_p
    if smallest is not None and 0.05 < smallest < 1:
        yield (
            f"The smallest p a randomisation test of this layout can give is {smallest:.2g}: "
            "it cannot reach 5%, whatever the yields."
        )
    length = (strips["along_to_m"] - strips["along_from_m"]).min()
    if length < _BETTER_LENGTH_M:
        yield (
            f"The shortest strips are {length:.0f} m. Longer strips vary less from one to the "
            f"next; from {_BETTER_LENGTH_M:.0f} m they do better."
        )


def _on_the_cut(strips: pd.DataFrame, wishes: Wishes, starts: Starts) -> Iterator[str]:
    wide = starts.passes * wishes.seeder_m
    cuts = int(strips["cuts"].min())
    left_over = wide - cuts * wishes.harvester_m
    full = f"{cuts} full cut{'s' if cuts > 1 else ''} of {wishes.harvester_m:g} m"
    sides = (
        f"{left_over:.3g} m along its sides count for nothing: cut them apart, before or after."
        if left_over > SAME_M
        else "there is no margin: a cut that strays takes the neighbour's grain. Steer with care."
    )
    yield f"Each strip is {wide:g} m wide and gives {full}; {sides}"
    if wishes.tramlines is None:
        return
    if starts.clean:
        yield "The tramlines stay out of every cut. Keep the cuts where the plan puts them."
    else:
        yield "The tramlines run inside the cuts, at the same place in every strip."


def _on_the_gradient(wishes: Wishes, heading_deg: float, allocation: Allocation) -> Iterator[str]:
    if wishes.gradient_deg is None:
        return
    turn = abs((wishes.gradient_deg - heading_deg + 90) % 180 - 90)
    if turn <= 30:
        yield "The strips run along the gradient: each crosses all of it, which is as it should be."
        return
    drawn = allocation.draw == "random" and not allocation.restricted
    even = ' Even sides in the draw (draw="even sides") take the rest out.' if drawn else ""
    lie = "across" if turn >= 60 else "aslant to"
    yield (
        f"The strips run {lie} the gradient, so neighbours lie on different ground. The blocks "
        f"follow each other along the gradient and take up most of it.{even}"
    )
