"""Pictures of frost: cold by height, and the gain along the cold."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd
import plotnine as p9

from trialkit.columns import label
from trialkit.language import marked, say
from trialkit.report import numbers
from trialkit.report.pictures import (
    BLUE,
    INK,
    LINE,
    PALE,
    QUIET,
    Picture,
    house_theme,
    tick_marks,
)

if TYPE_CHECKING:
    from trialkit.scouting import ColdByHeight

_WIDTH_IN = 7.2
_AXES = {
    "cold_degree_hours": marked("Frost, °C h below the threshold"),
    "below_surroundings_m": marked("Ground below its surroundings, m"),
    "relative_height_m": marked("Height above its surroundings, m"),
}
#: Which ground lies to the left, and what the gain goes along, by measure.
_COLDER = (
    marked(
        "The line is the gain, the band its {level} interval at each place alone. Milder ground "
        "lies to the left."
    ),
    marked("Gain along the cold ({measure}): {each}."),
)
_HIGHER = (
    marked(
        "The line is the gain, the band its {level} interval at each place alone. Lower ground "
        "lies to the left."
    ),
    marked("Gain by height ({measure}): {each}."),
)
_WORDS = {
    "cold_degree_hours": _COLDER,
    "below_surroundings_m": _COLDER,
    "relative_height_m": _HIGHER,
}


def gain_along_plot(
    gains: pd.DataFrame, measure: str, *, control: str, confidence: float = 0.95
) -> Picture:
    """Draw the gain over the control from the mildest ground to the coldest, or by height.

    Parameters
    ----------
    gains
        One row a treatment and place: `treatment at estimate low high`, t/ha.
    measure
        What `at` is: `cold_degree_hours`, `below_surroundings_m` or `relative_height_m`.
    control
        The treatment that gains are over.
    confidence
        Level of the intervals.
    """
    several = len(gains["treatment"].unique()) > 1
    plot = (
        p9.ggplot(gains, p9.aes("at", "estimate"))
        + p9.geom_ribbon(p9.aes(ymin="low", ymax="high"), fill=PALE)
        + p9.geom_hline(yintercept=0, color=QUIET, size=0.6)
        + p9.geom_line(p9.aes(y="low"), color=LINE, size=0.5)
        + p9.geom_line(p9.aes(y="high"), color=LINE, size=0.5)
        + p9.geom_line(color=BLUE, size=1.1)
        + p9.labs(
            x=say(_AXES[measure]),
            y=say("Gain over {control}, t/ha", control=numbers.shortened(control, 24)),
        )
        + p9.scale_y_continuous(labels=lambda values: [numbers.signed_t_ha(v, 2) for v in values])
        + p9.scale_x_continuous(
            labels=lambda values: [numbers.number(v, _places(gains)) for v in values]
        )
        + house_theme()
        + p9.theme(strip_text=p9.element_text(color=INK, size=9.5))
    )
    if several:
        plot += p9.facet_wrap("treatment")
    return Picture(
        plot,
        alt=_gain_words(gains, measure),
        width_in=_WIDTH_IN,
        height_in=3.0,
        caption=say(_WORDS[measure][0], level=numbers.level(confidence)),
    )


def _places(gains: pd.DataFrame) -> int:
    return 0 if gains["at"].max() - gains["at"].min() > 8 else 1


def _gain_words(gains: pd.DataFrame, measure: str) -> str:
    parts = []
    for name, own in gains.groupby("treatment", sort=False):
        first, last = own.to_dict("records")[0], own.to_dict("records")[-1]
        parts.append(
            say(
                "{name} from {first} t/ha at {mildest} to {last} t/ha at {coldest}",
                name=name,
                first=numbers.signed_t_ha(first["estimate"]),
                mildest=numbers.number(first["at"], _places(gains)),
                last=numbers.signed_t_ha(last["estimate"]),
                coldest=numbers.number(last["at"], _places(gains)),
            )
        )
    return say(_WORDS[measure][1], measure=say(_AXES[measure]), each="; ".join(parts))


def cold_by_height_plot(line: ColdByHeight) -> Picture:
    """Draw how frost went with height, logger by logger.

    Parameters
    ----------
    line
        From `trialkit.scouting.cold_by_height`.
    """
    shown = line.loggers.assign(logger=line.loggers["logger"].map(numbers.shortened))
    at = shown["relative_height_m"]
    ends = pd.DataFrame({"relative_height_m": [at.min(), at.max()]})
    ends["degree_hours"] = line.at_mean + line.per_m * (
        ends["relative_height_m"] - line.mean_height_m
    )
    reach = at.max() - at.min()
    plot = (
        p9.ggplot(shown, p9.aes("relative_height_m", "degree_hours"))
        + p9.geom_line(data=ends, color=LINE, size=0.8)
        + p9.geom_point(color=BLUE, size=3)
        + p9.geom_text(p9.aes(label="logger"), color=INK, size=8.5, va="bottom", ha="left",
                       nudge_x=0.012 * reach, nudge_y=0.03 * shown["degree_hours"].max())
        + p9.scale_x_continuous(
            labels=lambda values: [numbers.number(v, 1) for v in values], expand=(0.05, 0, 0.12, 0)
        )
        + p9.expand_limits(y=0)
        + p9.scale_y_continuous(expand=(0.05, 0, 0.14, 0), labels=tick_marks)
        + p9.labs(
            x=label("relative_height_m"),
            y=say(
                "Frost, °C h below {threshold} °C", threshold=numbers.number(line.threshold_c, 0)
            ),
        )
        + house_theme()
    )  # fmt: skip
    return Picture(
        plot,
        alt=say("Frost by height. {sentence}", sentence=line.sentence),
        width_in=_WIDTH_IN,
        height_in=2.8,
        caption=line.sentence,
    )
