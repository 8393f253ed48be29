"""Pictures of the sowing: the morning in the shed, the catch test, the strips in their order."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import plotnine as p9

from trialkit.language import say
from trialkit.report import numbers
from trialkit.report import sowing_captions as words
from trialkit.report.pictures import (
    AMBER,
    BLUE,
    INK,
    LINE,
    PALE,
    PAYS,
    QUIET,
    Picture,
    house_theme,
    tick_marks,
)  # fmt: skip
from trialkit.sowing import mix_times

if TYPE_CHECKING:
    from trialkit.sowing import DialSetting, MixPlan, PumpLine, SowingOrder

_WIDTH_IN = 7.2
#: Stirring, waiting in the tank, going on the seed; too old from the line on.
_FILLS = {words.STIRRED: LINE, words.WAITS: PALE, words.ON_SEED: BLUE}
#: The clock goes on beyond the last mix by no more than this many times the morning.
_BEYOND = 6.0
#: Treatments, the control first: the control stays white.
_TREATMENTS = ("white", BLUE, AMBER, INK, QUIET)
_LONGEST_NAME = 26


def morning_picture(mix: MixPlan, *, minutes_a_mix: float = 10.0) -> Picture:
    """Draw the mixes through the morning: stirred, waiting, on the seed, and too old when.

    Parameters
    ----------
    mix
        The mixes, with the auger's flow.
    minutes_a_mix
        Measuring and stirring one mix, minutes.

    Raises
    ------
    SowingError
        If the auger's flow is not known, or the minutes make no sense.
    """
    times = mix_times(mix, minutes_a_mix=minutes_a_mix)
    ends = (("stir_from_min", "stir_to_min"), ("stir_to_min", "seed_from_min"),
            ("seed_from_min", "seed_to_min"))  # fmt: skip
    bars = pd.concat(
        [
            pd.DataFrame({"mix": times["mix"], "what": what, "start": times[a], "end": times[b]})
            for what, (a, b) in zip(_FILLS, ends, strict=True)
        ]
    )
    bars["what"] = pd.Categorical(bars["what"].map(say), [say(what) for what in _FILLS])
    done = float(times["seed_to_min"].max())
    limit = times["use_by_min"].max()
    most = done if np.isnan(limit) else max(done, min(float(limit), _BEYOND * done))
    shown = times[times["use_by_min"] <= most]
    plot = (
        p9.ggplot(bars)
        + p9.geom_rect(
            p9.aes(xmin="start", xmax="end", ymin="mix - 0.36", ymax="mix + 0.36", fill="what"),
            color=INK,
            size=0.25,
        )
        + p9.geom_segment(
            p9.aes(x="use_by_min", xend="use_by_min", y="mix - 0.45", yend="mix + 0.45"),
            data=shown,
            color=AMBER,
            size=1.6,
        )
        + p9.scale_fill_manual(values=list(_FILLS.values()))
        + p9.scale_y_reverse(breaks=times["mix"].tolist(), expand=(0, 0.6))
        + p9.scale_x_continuous(limits=(0, most * 1.02), expand=(0, 0), labels=tick_marks)
        + p9.labs(x=say(words.MINUTES_AXIS), y=say(words.MIX_AXIS), fill="")
        + house_theme()
        + p9.theme(panel_grid_major_y=p9.element_blank())
    )
    return Picture(
        plot,
        alt=words.morning_words(times, mix.use_within_h),
        width_in=_WIDTH_IN,
        height_in=min(7.0, 1.3 + 0.24 * len(times)),
        caption=words.morning_caption(mix.use_within_h, hidden=len(shown) < len(times)),
    )


def dial_picture(
    line: PumpLine, dial: list[float], flow_l_min: list[float], setting: DialSetting, within: float
) -> Picture:
    """Draw the catches at several marks of the pump's dial, the line through them, and the mark.

    Parameters
    ----------
    line
        The line, from `trialkit.sowing.fit_pump_line`.
    dial, flow_l_min
        What was caught: mark and flow, l/min.
    setting
        The mark for the flow wanted, from `line.dial_for`.
    within
        How far the flow may be off, ± %.
    """
    caught = pd.DataFrame({"dial": dial, "flow": flow_l_min}, dtype=float)
    marks = np.array([min(line.dial_low, setting.dial), max(line.dial_high, setting.dial)])
    fitted = pd.DataFrame({"dial": marks, "flow": line.intercept + line.slope * marks})
    low, high = ((1 + sign * within / 100) * setting.flow_l_min for sign in (-1, 1))
    plot = (
        p9.ggplot(caught, p9.aes("dial", "flow"))
        + p9.annotate("rect", xmin=-np.inf, xmax=np.inf, ymin=low, ymax=high, fill=PAYS)
        + p9.geom_line(data=fitted, color=BLUE, size=1)
        + p9.geom_point(color=INK, size=2.6)
        + p9.annotate(
            "segment", x=setting.dial, xend=setting.dial, y=0, yend=setting.flow_l_min,
            color=AMBER, size=1, linetype="dashed",
        )
        + p9.annotate("point", x=setting.dial, y=setting.flow_l_min, color=AMBER, size=3.6)
        + p9.scale_x_continuous(labels=tick_marks)
        + p9.scale_y_continuous(limits=(0, None), labels=tick_marks)
        + p9.labs(x=say(words.DIAL_AXIS), y=say(words.FLOW_AXIS))
        + house_theme()
    )  # fmt: skip
    return Picture(
        plot,
        alt=words.dial_words(setting, line.points, within),
        width_in=_WIDTH_IN,
        height_in=3.2,
        caption=words.dial_caption(within),
    )


def order_picture(order: SowingOrder, strips: pd.DataFrame, *, control: str) -> Picture:
    """Draw the strips as they lie, each with its place in the order and the way it is driven.

    Parameters
    ----------
    order
        The order of the strips.
    strips
        As they lie: `strip from_m to_m start_m length_m`, as `PeggedOut.strips` has them.
    control
        The untreated treatment.
    """
    names = [control, *(name for name in order.starts if name != control)]
    letters = numbers.letters(names)
    labels = {name: f"{letters[name]} {numbers.shortened(name, _LONGEST_NAME)}" for name in names}
    table = strips.merge(order.steps[["strip", "order", "start_end"]], on="strip")
    far = table["start_m"] + table["length_m"]
    near_first = table["start_end"] == "near"
    inside = 0.1 * table["length_m"]
    table = table.assign(
        far_m=far,
        middle_m=(table["from_m"] + table["to_m"]) / 2,
        gets=pd.Categorical(table["treatment"].map(labels), list(labels.values())),
        leaves_m=np.where(near_first, table["start_m"] + inside, far - inside),
        arrives_m=np.where(near_first, far - inside, table["start_m"] + inside),
        text_m=(table["start_m"] + far) / 2,
        mark=[f"{n}\n{letters[name]}" for n, name in table[["order", "treatment"]].to_numpy()],
    )
    fills = dict.fromkeys(labels.values(), LINE)  # beyond the colours, the letters tell
    fills |= dict(zip(labels.values(), _TREATMENTS, strict=False))
    arrow = p9.arrow(length=0.07, type="closed")
    plot = (
        p9.ggplot(table)
        + p9.geom_rect(
            p9.aes(xmin="from_m", xmax="to_m", ymin="start_m", ymax="far_m", fill="gets"),
            color=INK,
            size=0.4,
        )
        + p9.geom_segment(
            p9.aes(x="middle_m", xend="middle_m", y="leaves_m", yend="arrives_m"),
            color=AMBER,
            size=0.7,
            arrow=arrow,
        )
        + p9.geom_label(
            p9.aes("middle_m", "text_m", label="mark"), size=9, fill="white", label_size=0.2
        )
        + p9.geom_text(
            p9.aes("middle_m", "start_m", label="strip"),
            size=7.5,
            va="top",
            nudge_y=-0.02 * float(far.max()),
            color=INK,
        )
        + p9.scale_fill_manual(values=fills)
        + p9.scale_x_continuous(labels=tick_marks)
        + p9.scale_y_continuous(labels=tick_marks)
        + p9.labs(x=say(words.ACROSS_AXIS), y=say(words.ALONG_AXIS), fill="")
        + house_theme()
        + p9.theme(panel_grid_major=p9.element_blank())
    )
    return Picture(
        plot,
        alt=words.order_words(order),
        width_in=_WIDTH_IN,
        height_in=3.8,
        caption=say(words.ORDER_CAPTION),
    )
