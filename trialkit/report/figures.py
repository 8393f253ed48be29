"""The report's plots: the gain against its break-even, the strips, the screening, the delay."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import plotnine as p9
from mizani.breaks import breaks_extended

from trialkit.columns import label
from trialkit.language import figures, say
from trialkit.report import captions, numbers
from trialkit.report.pictures import (
    AMBER,
    BLUE,
    INK,
    LINE,
    PAYS,
    QUIET,
    Picture,
    house_theme,
    level_words,
    tick_marks,
    treatment_marks,
)

if TYPE_CHECKING:
    from trialkit.result import Comparison

_WIDTH_IN = 7.2
#: Letters that stand side by side under a picture before they have to be turned.
_LETTERS_ACROSS = 70


def gains(comparisons: Sequence[Comparison], *, confidence: float = 0.95) -> Picture:
    """Draw each gain with its interval against the gain it takes to pay.

    Parameters
    ----------
    comparisons
        One row of the picture each, from the top.
    confidence
        Confidence level of the intervals, for the words.
    """
    rows = _gain_rows(comparisons)
    low, high = _span(rows[["low", "high", "needed"]].to_numpy().ravel())
    rows["end"] = high
    plot = (
        p9.ggplot(rows)
        + p9.geom_rect(p9.aes(xmin="needed", xmax="end", ymin="bottom", ymax="top"), fill=PAYS)
        + p9.geom_vline(xintercept=0, color=QUIET, size=0.6, linetype="dashed")
        + p9.geom_segment(
            p9.aes(x="needed", xend="needed", y="bottom", yend="top"), color=INK, size=0.9
        )
        + p9.geom_segment(p9.aes(x="low", xend="high", y="row", yend="row"), color=BLUE, size=1.6)
        + p9.geom_point(p9.aes(x="gain", y="row"), color=BLUE, size=4)
        + _gain_words(rows, high - low)
        + _needed_words(rows, low, high)
        + p9.annotate(
            "text",
            x=(high - low) * 0.01,
            y=len(rows) + 0.52,
            label=say(captions.SAME_YIELD),
            size=8.5,
            color=QUIET,
            ha="left",
        )
        + p9.scale_x_continuous(
            limits=(low, high), expand=(0, 0), breaks=breaks_extended(6), labels=_signed
        )
        + p9.scale_y_continuous(
            breaks=rows["row"].tolist(),
            labels=rows["treatment"].tolist(),
            limits=(0.5, len(rows) + 0.65),
            expand=(0, 0),
        )
        + p9.labs(x=captions.gain_axis(comparisons[0].control), y="")
        + house_theme()
        + p9.theme(
            panel_grid_major_y=p9.element_blank(), axis_text_y=p9.element_text(color=INK, size=10)
        )
    )
    return Picture(
        plot,
        alt=captions.gain_picture(comparisons, confidence),
        width_in=_WIDTH_IN,
        height_in=0.95 + 0.85 * len(rows),
    )


def _gain_rows(comparisons: Sequence[Comparison]) -> pd.DataFrame:
    places = numbers.yield_decimals(comparisons)
    rows = pd.DataFrame(
        {
            "row": np.arange(len(comparisons), 0, -1, dtype=float),
            "treatment": [numbers.shortened(c.treatment) for c in comparisons],
            "gain": [c.gain_t_ha for c in comparisons],
            "low": [c.low_t_ha for c in comparisons],
            "high": [c.high_t_ha for c in comparisons],
            "needed": [c.break_even_t_ha for c in comparisons],
            "gain_words": [numbers.signed_t_ha(c.gain_t_ha, places) for c in comparisons],
            "needed_words": [captions.pays_from(c.break_even_t_ha, places) for c in comparisons],
        }
    )
    rows["bottom"], rows["top"] = rows["row"] - 0.4, rows["row"] + 0.4
    rows["above"], rows["below"] = rows["row"] + 0.2, rows["row"] - 0.37
    return rows


def _gain_words(rows: pd.DataFrame, span: float) -> list[p9.geom_text]:
    """Write each gain above its point, aside where the break-even line would run through it."""
    away = rows["needed"] - rows["gain"]
    near = away.abs() < 0.07 * span
    sides = ((~near, "center"), (near & (away > 0), "right"), (near & (away <= 0), "left"))
    return [
        p9.geom_text(
            p9.aes(x="gain", y="above", label="gain_words"),
            data=rows[side],
            size=10,
            color=BLUE,
            fontweight="bold",
            ha=ha,
        )
        for side, ha in sides
        if side.any()
    ]


def _needed_words(rows: pd.DataFrame, low: float, high: float) -> list[p9.geom_text]:
    """Write from where it pays beside each line: to its right, or to its left where room lacks."""
    right = rows["needed"] < low + 0.7 * (high - low)
    step = (high - low) * 0.01
    return [
        p9.geom_text(
            p9.aes(x="needed", y="below", label="needed_words"),
            data=rows[side],
            nudge_x=nudge,
            size=8.5,
            color=INK,
            ha=ha,
            va="bottom",
        )
        for side, ha, nudge in ((right, "left", step), (~right, "right", -step))
        if side.any()
    ]


def _signed(values: Sequence[float]) -> list[str]:
    return [
        figures(f"{value:+.3g}").replace("-", numbers.MINUS) if value else "0" for value in values
    ]


def _span(values: np.ndarray) -> tuple[float, float]:
    """Return limits that hold zero and every value, with room for words at both ends."""
    low, high = min(0.0, float(values.min())), max(0.0, float(values.max()))
    room = (high - low) * 0.12 or 0.1
    return low - room, high + room * 1.6


def strip_yields(strips: pd.DataFrame, *, control: str) -> Picture:
    """Draw the yield of each strip, the treatments side by side, one line a block.

    Parameters
    ----------
    strips
        One row a strip: `strip block treatment yield_t_ha`.
    control
        The treatment that comes first.
    """
    known = strips.dropna(subset="yield_t_ha")
    names = [control, *(n for n in known["treatment"].astype(str).unique() if n != control)]
    shown = {name: numbers.shortened(name, 18) for name in names}
    known = known.assign(
        treatment=pd.Categorical(known["treatment"].astype(str).map(shown), list(shown.values())),
        block=known["block"].astype(str),
    )
    last = known[known["treatment"] == shown[names[-1]]].drop_duplicates("block")
    last = last.assign(at=_spread(last["yield_t_ha"], float(np.ptp(known["yield_t_ha"])) * 0.05))
    plot = (
        p9.ggplot(known, p9.aes("treatment", "yield_t_ha"))
        + p9.stat_summary(p9.aes(group="block"), fun_y=np.mean, geom="line", color=LINE, size=0.9)
        + p9.geom_point(p9.aes(shape="treatment", fill="treatment"), color=INK, size=3, stroke=0.6)
        + p9.geom_text(
            p9.aes(y="at", label="block"), data=last, nudge_x=0.07, ha="left", size=8, color=QUIET
        )
        + treatment_marks(len(names))
        + p9.scale_y_continuous(labels=tick_marks)
        + p9.labs(x="", y=label("yield_t_ha"))
        + house_theme()
        + p9.theme(
            panel_grid_major_x=p9.element_blank(),
            axis_text_x=p9.element_text(color=INK, size=10),
            legend_position="none",
        )
    )
    return Picture(
        plot,
        alt=captions.strip_yields_picture(known),
        width_in=min(_WIDTH_IN, 2.2 + 1.5 * len(names)),
        height_in=3.4,
        caption=say(captions.STRIP_YIELDS_CAPTION),
    )


def strip_residuals(residuals: pd.DataFrame, *, control: str) -> Picture:
    """Draw what treatment and block leave over of each strip, in the order of the strips.

    Parameters
    ----------
    residuals
        Index the strip; columns `block` (where there is one), `treatment` and `residual` (t/ha),
        as `trialkit.models.strip_residuals` returns them.
    control
        The treatment that comes first.
    """
    ordered = numbers.counting_order(residuals.index)
    table = residuals.iloc[ordered].assign(strip=residuals.index.astype(str)[ordered])
    # In the order of the table, so that each has the mark it has among the strip yields.
    given = residuals["treatment"].astype(str).unique()
    names = [control, *(name for name in given if name != control)]
    shown = {name: numbers.shortened(name, 18) for name in names}
    table = table.assign(
        treatment=pd.Categorical(table["treatment"].astype(str).map(shown), list(shown.values())),
        strip=pd.Categorical(table["strip"], table["strip"].tolist()),
    )
    crowded = table["strip"].astype(str).str.len().sum() > _LETTERS_ACROSS
    turned = {"rotation": 90, "va": "top"} if crowded else {}
    plot = (
        p9.ggplot(table, p9.aes("strip", "residual"))
        + p9.geom_hline(yintercept=0, color=QUIET, size=0.6)
        + p9.geom_segment(p9.aes(xend="strip", yend=0), color=LINE, size=0.9)
        + p9.geom_point(p9.aes(shape="treatment", fill="treatment"), color=INK, size=3, stroke=0.6)
        + treatment_marks(len(names))
        + p9.scale_y_continuous(labels=_signed)
        + p9.labs(x="", y=say(captions.RESIDUAL_AXIS))
        + house_theme()
        + p9.theme(
            panel_grid_major_x=p9.element_blank(),
            legend_title=p9.element_blank(),
            axis_text_x=p9.element_text(size=8.5, **turned),
        )
    )
    return Picture(
        plot,
        alt=captions.residuals_picture(residuals),
        width_in=_WIDTH_IN,
        height_in=3.0 if crowded else 2.7,
        caption=captions.residuals_caption(residuals),
    )


def left_out_bars(account: pd.DataFrame) -> Picture:
    """Draw how many records were left out, by reason.

    Parameters
    ----------
    account
        One row a reason: `reason records share_pct`.
    """
    bars = account.sort_values("records", ascending=True)
    bars = bars.assign(
        reason=pd.Categorical(bars["reason"].astype(str), bars["reason"].astype(str).tolist()),
        words=[
            f"{numbers.number(records, 0)}  ({numbers.percent(share / 100)})"
            for records, share in zip(bars["records"], bars["share_pct"], strict=True)
        ],
    )
    plot = (
        p9.ggplot(bars, p9.aes("reason", "records"))
        + p9.geom_col(fill=BLUE, width=0.62)
        + p9.geom_text(p9.aes(label="words"), ha="left", size=8.5, color=INK, nudge_y=_nudge(bars))
        + p9.coord_flip()
        + p9.scale_x_discrete(labels=level_words)
        + p9.scale_y_continuous(expand=(0, 0, 0.28, 0), labels=_thousands)
        + p9.labs(x="", y=say(captions.RECORDS_LEFT_OUT))
        + house_theme()
        + p9.theme(
            panel_grid_major_y=p9.element_blank(), axis_text_y=p9.element_text(color=INK, size=9.5)
        )
    )
    return Picture(
        plot,
        alt=captions.screening_picture(account),
        width_in=_WIDTH_IN,
        height_in=0.8 + 0.34 * len(bars),
    )


def before_after(log: pd.DataFrame) -> Picture:
    """Draw the spread of yields in the log: what was kept, and what was left out on top.

    Parameters
    ----------
    log
        Every record: `yield_t_ha kept`.
    """
    yields = log["yield_t_ha"].to_numpy(dtype=float)
    kept = log["kept"].to_numpy(dtype=bool) & np.isfinite(yields)
    out = ~kept & np.isfinite(yields)
    # The last bar holds everything beyond: a spike of 80 t/ha would flatten all the rest.
    top = float(np.quantile(yields[kept], 0.999)) * 1.25 if kept.any() else 1.0
    edges = np.linspace(0, top, 46)
    groups = ((captions.LEFT_OUT, out), (captions.KEPT, kept))
    bars = pd.concat(
        pd.DataFrame(
            {
                "yield_t_ha": (edges[:-1] + edges[1:]) / 2,
                "records": np.histogram(np.clip(yields[which], 0, top), edges)[0],
                "group": pd.Categorical([name] * 45, [name for name, _ in groups]),
            }
        )
        for name, which in groups
    )
    plot = (
        p9.ggplot(bars, p9.aes("yield_t_ha", "records", fill="group"))
        + p9.geom_col(width=top / 45 * 0.92)
        + p9.scale_fill_manual(values=[AMBER, BLUE], labels=level_words)
        + p9.scale_x_continuous(labels=tick_marks)
        + p9.scale_y_continuous(expand=(0, 0, 0.05, 0), labels=_thousands)
        + p9.labs(x=label("yield_t_ha"), y=say(captions.RECORDS))
        + house_theme()
        + p9.theme(legend_title=p9.element_blank(), legend_key_size=11)
    )
    return Picture(
        plot,
        alt=captions.before_after_picture(log),
        width_in=_WIDTH_IN,
        height_in=2.7,
        caption=say(captions.BEFORE_AFTER_CAPTION),
    )


def delay_curve(curve: pd.DataFrame, *, delay_s: float, sharp: bool) -> Picture:
    """Draw how well neighbouring passes agree at each grain-flow delay.

    Parameters
    ----------
    curve
        `delay_s` (s) and `disagreement`, one row a delay tried.
    delay_s
        The delay used, s.
    sharp
        Whether the curve shows it clearly.
    """
    plot = (
        p9.ggplot(curve, p9.aes("delay_s", "disagreement"))
        + p9.geom_vline(xintercept=delay_s, color=AMBER, size=0.9)
        + p9.geom_line(color=BLUE, size=1)
        + p9.geom_point(color=BLUE, size=1.6)
        + p9.scale_x_continuous(labels=_thousands)
        + p9.scale_y_continuous(labels=tick_marks)
        + p9.labs(x=say(captions.DELAY_AXIS), y=say(captions.DISAGREEMENT_AXIS))
        + house_theme()
    )
    return Picture(
        plot,
        alt=captions.delay_picture(delay_s, sharp),
        width_in=_WIDTH_IN,
        height_in=2.3,
        caption=captions.delay_used(delay_s, sharp),
    )


def _spread(values: pd.Series[float], gap: float) -> np.ndarray:
    """Return heights for labels, moved up where they would run into the one below."""
    order = np.argsort(values.to_numpy())
    heights = values.to_numpy(dtype=float).copy()
    for below, above in pairwise(order):
        heights[above] = max(heights[above], heights[below] + gap)
    return heights


def _nudge(bars: pd.DataFrame) -> float:
    return float(bars["records"].max()) * 0.012


def _thousands(values: Sequence[float]) -> list[str]:
    return [numbers.number(value, 0) for value in values]
