"""The curve that shows how long the machine fills and empties at the ends of passes."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import pandas as pd
import plotnine as p9

from trialkit.language import say
from trialkit.report import captions
from trialkit.report.pictures import AMBER, BLUE, INK, QUIET, Picture, house_theme, tick_marks

if TYPE_CHECKING:
    from trialkit.harvest import PassEnds

WIDTH_IN = 7.2


def flow_curve(ends: PassEnds, limits_s: tuple[float, float] | None = None) -> Picture:
    """Draw how the yield rises at the start of passes and falls at their end.

    Parameters
    ----------
    ends
        What `trialkit.harvest.find_pass_ends` found, its curve not empty.
    limits_s
        Seconds left out at the start and at the end, where they were given and not found.
    """
    start, end = limits_s or (ends.start_s, ends.end_s)
    words = {"start": captions.START_AXIS, "end": captions.END_AXIS}
    sides = list(words.values())
    curve = ends.curve.assign(side=pd.Categorical(ends.curve["end"].map(words), sides))
    lines = pd.DataFrame({"side": pd.Categorical(sides, sides), "seconds": [start, end]})
    used = replace(ends, start_s=start, end_s=end)
    plot = (
        p9.ggplot(curve, p9.aes("seconds", "share"))
        + p9.geom_hline(yintercept=1, color=QUIET, size=0.6, linetype="dashed")
        + p9.geom_vline(p9.aes(xintercept="seconds"), data=lines, color=AMBER, size=0.9)
        + p9.geom_line(color=BLUE, size=1)
        + p9.geom_point(color=BLUE, size=1.4)
        + p9.facet_wrap("side", labeller=say)
        + p9.scale_x_continuous(labels=tick_marks)
        + p9.scale_y_continuous(limits=(0, None), labels=tick_marks)
        + p9.labs(x="", y=say(captions.FLOW_AXIS))
        + house_theme()
        + p9.theme(strip_text=p9.element_text(color=INK, size=9.5))
    )
    return Picture(
        plot,
        alt=captions.pass_ends_words(used),
        width_in=WIDTH_IN,
        height_in=2.5,
        caption=captions.pass_ends_words(used),
    )
