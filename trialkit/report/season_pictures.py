"""The picture of seasons: each one's gain or money, all together, and one more."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import plotnine as p9
from mizani.breaks import breaks_extended

from trialkit.language import say
from trialkit.report import season_words as words
from trialkit.report.captions import pays_from
from trialkit.report.pictures import (
    AMBER,
    BLUE,
    INK,
    PAYS,
    QUIET,
    Picture,
    house_theme,
    tick_marks,
)

if TYPE_CHECKING:
    from trialkit.models import Pooled

_WIDTH_IN = 7.2
#: Room beside the seasons' own intervals, as a share of what they span.
_MARGIN = 0.45
#: Room for an arrow at either end, as a share of that.
_ARROW = 0.35
#: Height of a row, inches, and with more rows than `_MANY`.
_ROW_IN, _LOW_ROW_IN, _MANY = 0.34, 0.2, 14
#: Size of the mark of the season that weighs most, of 100 for that of all seasons.
_HEAVIEST = 60.0


def gain_forest(
    table: pd.DataFrame, gain: Pooled, *, break_even_t_ha: float, control: str
) -> Picture:
    """Draw the gain of each season, of all together, and of one more.

    Parameters
    ----------
    table
        One row a season: `label gain_t_ha low_t_ha high_t_ha weight_pct`.
    gain
        The gains taken together.
    break_even_t_ha
        Gain that just covers the cost, t/ha.
    control
        The untreated control.
    """
    columns = ("gain_t_ha", "low_t_ha", "high_t_ha")
    axis = say(words.GAIN_AXIS, control=control)
    return _forest(table, gain, columns, axis, break_even_t_ha, pays_from(break_even_t_ha, 3))


def net_forest(table: pd.DataFrame, net: Pooled, *, currency: str) -> Picture:
    """Draw the net money of each season, of all together, and of one more.

    Parameters
    ----------
    table
        One row a season: `label net_per_ha net_low net_high weight_pct`.
    net
        The net money taken together.
    currency
        Code of the money.
    """
    columns = ("net_per_ha", "net_low", "net_high")
    axis = say(words.NET_AXIS, currency=currency)
    return _forest(table, net, columns, axis, 0.0, say(words.PAYS))


def _forest(
    table: pd.DataFrame,
    pooled: Pooled,
    columns: tuple[str, str, str],
    axis: str,
    pays_at: float,
    pays_words: str,
) -> Picture:
    rows = _rows(table, pooled, columns)
    seasons = rows[rows["kind"] == "season"]
    left, right = min(seasons["low"].min(), pays_at), max(seasons["high"].max(), pays_at)
    room = _MARGIN * (right - left)
    left, right = left - room, right + room
    cut = bool(((rows["low"] < left) | (rows["high"] > right)).any())
    ends = rows.assign(
        low=rows["low"].clip(left, right),
        high=rows["high"].clip(left, right),
        before=np.where(rows["low"] < left, "‹", ""),
        beyond=np.where(rows["high"] > right, "›", ""),
    )
    colours = {"season": BLUE, "all": AMBER, "next": QUIET}
    top = len(rows) + 0.55
    plot = (
        p9.ggplot(ends)
        + p9.annotate("rect", xmin=pays_at, xmax=right, ymin=0.5, ymax=top, fill=PAYS, color=PAYS)
        + p9.annotate("segment", x=pays_at, xend=pays_at, y=0.5, yend=top, color=INK, size=0.9)
        + p9.annotate(
            "text",
            x=pays_at,
            y=top + 0.22,
            label=f" {pays_words}",
            ha="left",
            size=8.5,
            color=QUIET,
        )
        + p9.geom_hline(yintercept=2.5, color=QUIET, size=0.4)
        + p9.geom_segment(p9.aes(x="low", xend="high", y="row", yend="row", color="kind"), size=1.5)
        + p9.geom_text(p9.aes(x="low", y="row", label="before", color="kind"), size=16, ha="right")
        + p9.geom_text(p9.aes(x="high", y="row", label="beyond", color="kind"), size=16, ha="left")
        + p9.geom_point(
            p9.aes(x="middle", y="row", size="weight", color="kind"), data=ends[ends["weight"] > 0]
        )
        + p9.scale_size_area(max_size=5.5, limits=(0, 100), guide=None)
        + p9.scale_color_manual(values=colours, guide=None)
        + p9.scale_x_continuous(
            limits=(left - _ARROW * room, right + _ARROW * room),
            expand=(0, 0),
            breaks=breaks_extended(6),
            labels=tick_marks,
        )
        + p9.scale_y_continuous(
            breaks=rows["row"].tolist(),
            labels=rows["label"].tolist(),
            limits=(0.5, top + 0.45),
            expand=(0, 0),
        )
        + p9.labs(x=axis, y="")
        + house_theme()
        + p9.theme(
            panel_grid_major_y=p9.element_blank(), axis_text_y=p9.element_text(color=INK, size=9.5)
        )
    )
    return Picture(
        plot,
        alt=words.forest_words(table, pooled, axis, columns[0]),
        width_in=_WIDTH_IN,
        height_in=1.0 + (_ROW_IN if len(rows) <= _MANY else _LOW_ROW_IN) * len(rows),
        caption=words.forest_caption(cut),
    )


def _rows(table: pd.DataFrame, pooled: Pooled, columns: tuple[str, str, str]) -> pd.DataFrame:
    seasons = table[["label", *columns, "weight_pct"]].set_axis(
        ["label", "middle", "low", "high", "weight"], axis=1
    )
    seasons["weight"] *= _HEAVIEST / seasons["weight"].max()
    together = pd.DataFrame(
        {
            "label": [say(words.ALL), say(words.NEXT)],
            "middle": pooled.estimate,
            "low": [pooled.low, pooled.next_low],
            "high": [pooled.high, pooled.next_high],
            "weight": [100.0, 0.0],
        }
    )
    rows = pd.concat([seasons.assign(kind="season"), together.assign(kind=["all", "next"])])
    return rows.assign(row=np.arange(len(rows), 0, -1, dtype=float)).reset_index(drop=True)
