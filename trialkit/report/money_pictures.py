"""Pictures of money: where the dressing pays, and what one more trial costs and brings."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd
import plotnine as p9

from trialkit.errors import MoneyError
from trialkit.language import say
from trialkit.report import money_captions as words
from trialkit.report.numbers import number
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
)
from trialkit.report.planning_captions import price_axis

if TYPE_CHECKING:
    from trialkit.money import NextStep

_WIDTH_IN = 7.2
#: Ground where a gain does not cover its cost.
_DOES_NOT_PAY = "#f1d9bf"


def break_even_picture(
    curve: pd.DataFrame,
    *,
    price_per_t: float,
    cost_per_ha: float,
    currency: str,
    price_range: tuple[float, float] | None = None,
) -> Picture:
    """Draw at which prices and costs the dressing paid, did not pay, or cannot be told.

    Parameters
    ----------
    curve
        From `trialkit.money.break_even_curve`.
    price_per_t, cost_per_ha
        Price of grain and cost of the dressing, money per tonne and per hectare.
    currency
        Code of the money, such as `AUD`.
    price_range
        Lowest and highest price thought possible, money per tonne.
    """
    lines = curve.sort_values("price_per_t").reset_index(drop=True)
    top = 1.15 * max(float(lines["did_not_pay_above"].max()), 1.25 * cost_per_ha, 1e-9)
    zones = pd.concat(
        [
            _zone(lines, words.NOT_PAID_ZONE, "did_not_pay_above", None, top),
            _zone(lines, words.OPEN_ZONE, "paid_below", "did_not_pay_above", top),
            _zone(lines, words.PAID_ZONE, None, "paid_below", top),
        ],
        ignore_index=True,
    )
    names = [words.NOT_PAID_ZONE, words.OPEN_ZONE, words.PAID_ZONE]
    zones["zone"] = pd.Categorical(zones["zone"], names)
    even = lines[(lines["even_at"] >= 0) & (lines["even_at"] <= top)]
    plot = (
        p9.ggplot(zones, p9.aes("price_per_t"))
        + p9.geom_ribbon(p9.aes(ymin="low", ymax="high", fill="zone"))
        + p9.geom_line(even, p9.aes("price_per_t", "even_at"), color=INK, size=1)
    )
    if price_range is not None:
        plot += p9.annotate(
            "segment", x=price_range[0], xend=price_range[1], y=cost_per_ha, yend=cost_per_ha,
            color=BLUE, size=1.4,
        )  # fmt: skip
    plot = (
        plot
        + p9.annotate("point", x=price_per_t, y=cost_per_ha, color=BLUE, size=3.6)
        + p9.scale_fill_manual(
            values=[_DOES_NOT_PAY, PALE, PAYS],
            breaks=names,
            labels=[say(name) for name in names],
            drop=False,
        )
        + p9.scale_y_continuous(limits=(0, top), expand=(0, 0), labels=tick_marks)
        + p9.scale_x_continuous(expand=(0, 0), labels=tick_marks)
        + p9.labs(x=price_axis(currency), y=words.cost_axis(currency), fill="")
        + house_theme()
        + p9.theme(legend_key=p9.element_rect(color=LINE), panel_grid_major=p9.element_blank())
    )
    return Picture(
        plot,
        alt=words.break_even_words(lines, price_per_t, cost_per_ha, currency),
        width_in=_WIDTH_IN,
        height_in=3.6,
        caption=say(words.BREAK_EVEN_CAPTION),
    )


def next_step_picture(step: NextStep, currency: str) -> Picture:
    """Draw what one more trial costs and can be expected to bring, by its pairs of strips.

    Parameters
    ----------
    step
        From `trialkit.money.next_step`.
    currency
        Code of the money, such as `AUD`.

    Raises
    ------
    MoneyError
        If there is no room for any trial.
    """
    if step.table.empty:
        raise MoneyError("There is no room for a trial, so there is nothing to draw.")
    table = step.table.assign(worth=step.table[["cost", "benefit"]].max(axis=1))
    lines = pd.concat(
        [
            table[["pairs", "benefit"]].set_axis(["pairs", "money"], axis=1).assign(
                what=words.BRINGS
            ),
            table[["pairs", "cost"]].set_axis(["pairs", "money"], axis=1).assign(what=words.COSTS),
        ],
        ignore_index=True,
    )  # fmt: skip
    kinds = [words.BRINGS, words.COSTS]
    lines["what"] = pd.Categorical(lines["what"], kinds)
    named = [say(kind) for kind in kinds]
    top = 1.12 * float(lines["money"].max())
    plot = p9.ggplot(lines, p9.aes("pairs", "money"))
    if len(table) > 1:
        plot += p9.geom_ribbon(
            table, p9.aes("pairs", ymin="cost", ymax="worth"), fill=PAYS, inherit_aes=False
        )
        plot += p9.geom_line(p9.aes(color="what", linetype="what"), size=1.1)
        plot += p9.scale_linetype_manual(values=["solid", "dashed"], labels=named)
    label = words.marked_pairs(step)
    if label:
        last = step.pairs > float(table["pairs"].mean())
        plot += p9.geom_vline(xintercept=step.pairs, color=QUIET, size=0.6, linetype="dashed")
        plot += p9.annotate(
            "text", x=step.pairs, y=0.98 * top, label=f" {label} ", size=9, color=INK,
            ha="right" if last else "left", va="top",
        )  # fmt: skip
    plot = (
        plot
        + p9.geom_point(p9.aes(color="what"), size=1.8)
        + p9.scale_color_manual(values=[BLUE, AMBER], labels=named)
        + p9.scale_y_continuous(limits=(0, top), expand=(0, 0), labels=_with_commas)
        + p9.scale_x_continuous(breaks=_whole_breaks(table["pairs"].tolist()), labels=tick_marks)
        + p9.labs(x=say(words.PAIRS_AXIS), y=words.money_axis(currency), color="", linetype="")
        + house_theme()
    )
    return Picture(
        plot,
        alt=words.next_step_words(step, currency),
        width_in=_WIDTH_IN,
        height_in=3.4,
        caption=words.next_step_caption(step, currency),
    )


def _zone(
    lines: pd.DataFrame, name: str, lower: str | None, upper: str | None, top: float
) -> pd.DataFrame:
    """Return one verdict's ground: between two costs at each price, cut to the picture."""
    low = lines[lower].clip(0, top) if lower else 0.0
    high = lines[upper].clip(0, top) if upper else top
    return pd.DataFrame(
        {"price_per_t": lines["price_per_t"], "low": low, "high": high, "zone": name}
    )


def _whole_breaks(pairs: list[int]) -> list[int]:
    step = 1 if len(pairs) <= 10 else 2
    return pairs[::step]


def _with_commas(values: list[float]) -> list[str]:
    return [number(value, 0) for value in values]
