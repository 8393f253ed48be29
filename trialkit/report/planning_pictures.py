"""Pictures for planning: how many strips it takes, and what a layout would see."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import plotnine as p9

from trialkit.errors import DesignError
from trialkit.language import figures, marked, say
from trialkit.report import planning_captions as words
from trialkit.report.captions import pays_from
from trialkit.report.pictures import (
    AMBER,
    BLUE,
    INK,
    LINE,
    PAYS,
    QUIET,
    Picture,
    house_theme,
    tick_marks,
)  # fmt: skip

if TYPE_CHECKING:
    from trialkit.design import Rehearsal

_WIDTH_IN = 7.2
#: Lines told apart by pattern as well as by shade.
_PATTERNS = ("solid", "dashed", "dotted", "dashdot")
_SHADES = (BLUE, AMBER, INK, QUIET)
#: Chance of seeing a gain that a trial is planned for.
_WANTED = 0.8
#: More pairs or blocks than this no farm sows; the picture ends there.
_MOST_SHOWN = 40
_NOT_DRAWN = marked("None of the layouts is drawn at random, so what they would see is not known.")


def replicates_picture(table: pd.DataFrame, currency: str, layout: str = "pairs") -> Picture:
    """Draw how many pairs or blocks it takes, by the price of grain and how strips differ.

    Parameters
    ----------
    table
        From `trialkit.design.replicates_table`; up to four variations.
    currency
        Code of the money, such as `AUD`.
    layout
        What is counted: `"pairs"` or `"blocks"`.

    Raises
    ------
    DesignError
        If no number of them would do at any price.
    """
    shown = table.dropna(subset=["replicates"]).astype({"replicates": float})
    if shown.empty:
        raise DesignError(f"At these prices no number of {layout} would do. Ask for less.")
    names = [words.variation_name(cv) for cv in sorted(shown["cv_pct"].unique())]
    shown = shown.assign(
        varies=pd.Categorical(shown["cv_pct"].map(words.variation_name), names),
        replicates=shown["replicates"].clip(upper=_MOST_SHOWN),
    )
    plot = (
        p9.ggplot(shown, p9.aes("price_per_t", "replicates", color="varies", linetype="varies"))
        + p9.geom_line(size=1)
        + p9.geom_point(size=1.6)
        + p9.scale_color_manual(values=list(_SHADES[: len(names)]))
        + p9.scale_linetype_manual(values=list(_PATTERNS[: len(names)]))
        + p9.scale_x_continuous(labels=tick_marks)
        + p9.scale_y_continuous(limits=(0, _MOST_SHOWN), expand=(0, 0.5), labels=tick_marks)
        + p9.labs(
            x=words.price_axis(currency),
            y=words.replicates_axis(layout),
            color=say(words.VARIATION),
            linetype=say(words.VARIATION),
        )
        + house_theme()
    )
    return Picture(
        plot,
        alt=words.replicates_words(table, currency, layout),
        width_in=_WIDTH_IN,
        height_in=3.4,
        caption=words.replicates_caption(layout, _MOST_SHOWN),
    )


def rehearsal_picture(
    rehearsals: Mapping[str, Rehearsal], break_even_t_ha: float | None = None
) -> Picture:
    """Draw how often a true gain would be seen, for one layout or several.

    Parameters
    ----------
    rehearsals
        Name to rehearsal, up to four; systematic layouts cannot be drawn and are passed over.
    break_even_t_ha
        Gain that just covers the cost, t/ha.

    Raises
    ------
    DesignError
        If none of them is drawn.
    """
    drawn = {name: each for name, each in rehearsals.items() if each.detectable_t_ha > 0}
    if not drawn:
        raise DesignError(say(_NOT_DRAWN))
    most = 1.5 * max(each.detectable_t_ha for each in drawn.values())
    most = max(most, 1.2 * (break_even_t_ha or 0))
    gains = np.linspace(0, most, 121)
    lines = pd.concat(
        [
            pd.DataFrame(
                {"gain": gains, "seen": [each.chance_seen(gain) for gain in gains], "layout": name}
            )
            for name, each in drawn.items()
        ],
        ignore_index=True,
    )
    lines["layout"] = pd.Categorical(lines["layout"], list(drawn))
    plot = p9.ggplot(lines, p9.aes("gain", "seen", color="layout", linetype="layout"))
    if break_even_t_ha is not None:
        plot += p9.annotate(
            "rect", xmin=break_even_t_ha, xmax=most, ymin=0, ymax=1, fill=PAYS, color=PAYS
        )
        plot += p9.annotate(
            "text", x=break_even_t_ha, y=0.03, ha="left", size=8.5, color=QUIET,
            label=f" {pays_from(break_even_t_ha, 2)}",
        )  # fmt: skip
    plot = (
        plot
        + p9.geom_hline(yintercept=_WANTED, color=QUIET, size=0.6, linetype="dashed")
        + p9.geom_line(size=1.1)
        + p9.scale_color_manual(values=list(_SHADES[: len(drawn)]))
        + p9.scale_linetype_manual(values=list(_PATTERNS[: len(drawn)]))
        + p9.scale_y_continuous(limits=(0, 1), labels=_percent, breaks=[0, 0.2, 0.4, 0.6, 0.8, 1])
        + p9.scale_x_continuous(limits=(0, most), expand=(0, 0), labels=tick_marks)
        + p9.labs(x=say(words.TRUE_GAIN_AXIS), y=say(words.SEEN_AXIS), color="", linetype="")
        + house_theme()
    )
    if len(drawn) == 1:
        plot += p9.theme(legend_position="none")
    return Picture(
        plot,
        alt=words.rehearsal_words(drawn, break_even_t_ha),
        width_in=_WIDTH_IN,
        height_in=3.4,
        caption=say(words.REHEARSAL_CAPTION),
    )


def comparison_picture(table: pd.DataFrame, break_even_t_ha: float | None = None) -> Picture:
    """Draw the gain that each layout sees against the gain it takes to pay.

    Parameters
    ----------
    table
        From `trialkit.design.compare_layouts`.
    break_even_t_ha
        Gain that just covers the cost, t/ha.

    Raises
    ------
    DesignError
        If none of them is drawn.
    """
    rows = table.dropna(subset=["detectable_t_ha"]).reset_index(drop=True)
    if rows.empty:
        raise DesignError(say(_NOT_DRAWN))
    rows["layout"] = pd.Categorical(rows["layout"], rows["layout"][::-1])
    most = 1.12 * max(float(rows["detectable_t_ha"].max()), break_even_t_ha or 0.0)
    plot = p9.ggplot(rows, p9.aes("detectable_t_ha", "layout"))
    if break_even_t_ha is not None:
        plot += p9.geom_vline(xintercept=break_even_t_ha, color=INK, size=0.9)
        plot += p9.annotate(
            "text", x=break_even_t_ha, y=len(rows) + 0.62, ha="left", va="bottom", size=8.5,
            color=QUIET, label=f" {pays_from(break_even_t_ha, 2)}",
        )  # fmt: skip
    plot = (
        plot
        + p9.geom_segment(p9.aes(x=0, xend="detectable_t_ha", yend="layout"), color=LINE, size=1.2)
        + p9.geom_point(color=BLUE, size=3)
        + p9.scale_x_continuous(limits=(0, most), expand=(0, 0), labels=tick_marks)
        + p9.scale_y_discrete(expand=(0, 0.6, 0, 1.2))
        + p9.labs(x=say(words.DETECTABLE_AXIS), y="")
        + house_theme()
        + p9.theme(
            panel_grid_major_y=p9.element_blank(), axis_text_y=p9.element_text(color=INK, size=9)
        )
    )
    return Picture(
        plot,
        alt=words.comparison_words(table, break_even_t_ha),
        width_in=_WIDTH_IN,
        height_in=1.0 + 0.24 * len(rows),
        caption=words.comparison_caption(table),
    )


def _percent(shares: list[float]) -> list[str]:
    return [figures(f"{share:.0%}") for share in shares]
