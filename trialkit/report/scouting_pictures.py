"""Pictures of the scouting: counts by strip, frost nights through the season, scores by date."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import plotnine as p9

from trialkit.columns import label
from trialkit.days import short_day
from trialkit.language import say
from trialkit.report import numbers
from trialkit.report import scouting_captions as words
from trialkit.report.pictures import (
    AMBER,
    BLUE,
    INK,
    LINE,
    QUIET,
    Picture,
    house_theme,
    later_colours,
    tick_marks,
    treatment_marks,
)
from trialkit.scouting import (
    odd_counts,
    stage_name,
    strip_scores,
    summarise_counts,
    summarise_scores,
)

if TYPE_CHECKING:
    from datetime import date

    from trialkit.scouting import FrostNights, FrostRisk

_WIDTH_IN = 7.2
#: Letters that stand side by side under a picture before they have to be turned.
_LETTERS_ACROSS = 70
#: Loggers drawn below each other; more are named, not drawn.
_MOST_LOGGERS = 6
#: Stages written with their name; more of them would run into each other.
_NAMED_STAGES = 6
#: What a night's mark means, its shape, its fill and its size.
_VERDICTS = {
    "could have hurt": ("D", AMBER, 3.4),
    "may have hurt": ("D", "white", 3.4),
    "not known": ("X", LINE, 3.0),
    "not cold enough": ("o", BLUE, 1.3),
    "no threshold": ("o", BLUE, 1.3),
}


def counts_plot(table: pd.DataFrame, *, control: str) -> Picture:
    """Draw plants/m² strip by strip, with every count behind.

    Parameters
    ----------
    table
        From `trialkit.scouting.plant_table`.
    control
        The treatment that comes first.
    """
    strips = summarise_counts(table)
    order = strips["strip"].iloc[numbers.counting_order(strips["strip"])].tolist()
    names = [control, *(name for name in strips["treatment"].unique() if name != control)]
    known = table[table["count"].notna()]
    odd = odd_counts(table)[table["count"].notna().to_numpy()]
    counts = known.assign(
        strip=pd.Categorical(known["strip"], order),
        kind=np.where(odd, "far from its strip", "one count"),
    )
    means = strips.dropna(subset="plants_m2")
    means = means.assign(
        strip=pd.Categorical(means["strip"], order), treatment=_shown(means["treatment"], names)
    )
    crowded = sum(map(len, order)) > _LETTERS_ACROSS
    turned = {"rotation": 90, "va": "top"} if crowded else {}
    plot = (
        p9.ggplot(means, p9.aes("strip", "plants_m2"))
        + p9.geom_point(data=counts[~odd], color=LINE, size=1.8)
        + p9.geom_point(data=counts[odd], color=AMBER, size=2.6, shape="x", stroke=0.9)
        + _points(len(names))
        + p9.expand_limits(y=0)
        + p9.scale_y_continuous(expand=(0.03, 0, 0.06, 0), labels=tick_marks)
        + p9.scale_x_discrete(limits=order)
        + p9.labs(x="", y=label("plants_m2"))
        + house_theme()
        + p9.theme(
            panel_grid_major_x=p9.element_blank(),
            legend_title=p9.element_blank(),
            axis_text_x=p9.element_text(size=8.5, **turned),
        )
    )
    return Picture(
        plot,
        alt=words.counts_words(means, names),
        width_in=_WIDTH_IN,
        height_in=3.4 if crowded else 3.1,
        caption=words.counts_caption(crossed=bool(odd.any())),
    )


def frost_plot(
    frost: FrostNights, *, risk: FrostRisk | None = None, stages: pd.DataFrame | None = None
) -> Picture:
    """Draw the coldest of each night through the season.

    Parameters
    ----------
    frost
        From `trialkit.scouting.frost_nights`.
    risk
        From `trialkit.scouting.frost_risk` on the same temperatures: the published limit, and
        the nights that could have hurt. Without it the thresholds of `frost` are drawn.
    stages
        `date` and `stage` (decimal code), written along the top.
    """
    loggers = sorted(frost.nights["logger"].unique())
    shown = loggers[:_MOST_LOGGERS]
    nights = frost.nights if risk is None else risk.nights
    nights = nights[nights["logger"].isin(shown)].dropna(subset="minimum_c")
    nights = nights.assign(
        mark=nights["verdict"] if risk is not None else "not cold enough",
        logger=pd.Categorical(nights["logger"], shown),
    )
    low, high = float(nights["minimum_c"].min()), float(nights["minimum_c"].max())
    floor = min(low, -2.0) - 1.2
    layers = _limits(nights, floor) if risk is not None else _threshold_lines(frost.thresholds_c)
    joined = [p9.geom_line(color=LINE, size=0.5)]
    if nights["date"].min() == nights["date"].max():  # nothing to join
        joined = []
    top = high + (0.22 if stages is not None else 0.06) * (high - floor)
    plot = (
        p9.ggplot(nights, p9.aes("date", "minimum_c"))
        + layers
        + p9.geom_hline(yintercept=0, color=QUIET, size=0.5)
        + _stage_words(stages, nights, top)
        + joined
        + _night_marks(nights)
        + p9.scale_x_datetime(
            date_breaks=_breaks(nights["date"]),
            labels=_short_days,
            # Room for the words of a stage at the first or the last night.
            expand=(0.08 if stages is not None else 0.05, 0),
        )
        + p9.scale_y_continuous(labels=_whole)
        + p9.coord_cartesian(ylim=(floor, top))
        + p9.labs(x="", y=say(words.NIGHT_AXIS))
        + house_theme()
        + p9.theme(panel_grid_major_x=p9.element_blank())
    )
    if len(shown) > 1:
        plot += p9.facet_wrap("logger", ncol=1)
    return Picture(
        plot,
        alt=words.frost_words(frost, risk),
        width_in=_WIDTH_IN,
        height_in=0.7 + (2.6 if len(shown) == 1 else 1.75 * len(shown)),
        caption=words.frost_caption(risk, loggers[_MOST_LOGGERS:]),
    )


def _limits(nights: pd.DataFrame, floor: float) -> list[p9.geom_ribbon | p9.geom_step]:
    """Return the ground below the published limit: surely harmful, and possibly."""
    band = nights.assign(
        sure=nights["sure_below_c"].clip(lower=floor - 5),
        possible=nights["possible_below_c"].clip(lower=floor - 5),
        bottom=floor - 5,
    )
    return [
        p9.geom_ribbon(p9.aes(ymin="sure", ymax="possible"), data=band, fill="#f3e3cf"),
        p9.geom_ribbon(p9.aes(ymin="bottom", ymax="sure"), data=band, fill="#e8c9a0"),
    ]


def _threshold_lines(thresholds_c: Sequence[float]) -> list[p9.geom_hline]:
    return [
        p9.geom_hline(yintercept=limit, color=AMBER, size=0.5, linetype="dashed")
        for limit in thresholds_c
        if limit
    ]


def _night_marks(nights: pd.DataFrame) -> list[p9.geom_point]:
    return [
        p9.geom_point(data=own, shape=shape, fill=fill, color=INK if size > 2 else BLUE, size=size)
        for mark, (shape, fill, size) in reversed(_VERDICTS.items())
        if len(own := nights[nights["mark"] == mark])
    ]


def _stage_words(
    stages: pd.DataFrame | None, nights: pd.DataFrame, top: float
) -> list[p9.geom_vline | p9.geom_label]:
    if stages is None or stages.empty:
        return []
    seen = stages.assign(date=pd.to_datetime(stages["date"]).dt.normalize())
    seen = seen.groupby("date")["stage"].median().reset_index()
    seen = seen[seen["date"].between(nights["date"].min(), nights["date"].max())]
    named = len(seen) <= _NAMED_STAGES
    names = [
        f"{stage:.0f}\n{say(stage_name(stage))}" if named else f"{stage:.0f}"
        for stage in seen["stage"]
    ]
    return [
        p9.geom_vline(p9.aes(xintercept="date"), data=seen, color=LINE, size=0.5),
        p9.geom_label(
            p9.aes(y="at", label="words"),
            data=seen.assign(words=names, at=top),
            size=7.5,
            color=INK,
            fill="white",
            label_size=0,
            va="top",
        ),
    ]


def _whole(values: Sequence[float]) -> list[str]:
    return [numbers.number(value, 0) for value in values]


def _short_days(days: Sequence[date]) -> list[str]:
    return [short_day(day) for day in days]


def _breaks(dates: pd.Series) -> str:
    days = (dates.max() - dates.min()).days
    if days > 90:
        return "1 month"
    return "2 weeks" if days > 35 else "1 week" if days > 14 else "3 days"


def scores_plot(table: pd.DataFrame, score: str, *, control: str) -> Picture:
    """Draw one score through the season: each strip, and the middle of each treatment.

    Parameters
    ----------
    table
        From `trialkit.scouting.score_table`.
    score
        What was scored.
    control
        The treatment that comes first.
    """
    strips, middles = (
        found[found["score"] == score] for found in (strip_scores(table), summarise_scores(table))
    )
    names = [control, *(name for name in strips["treatment"].unique() if name != control)]
    span = (strips["date"].max() - strips["date"].min()) or pd.Timedelta(days=10)
    step = span * 0.012

    def beside(found: pd.DataFrame) -> pd.DataFrame:
        place = found["treatment"].map({name: n for n, name in enumerate(names)})
        at = found["date"] + (place - (len(names) - 1) / 2) * step
        return found.assign(at=at, treatment=_shown(found["treatment"], names))

    strips, middles = beside(strips), beside(middles)
    groups = strips.groupby(["at", "value"])["strip"].size()
    dots = groups.rename("strips").reset_index()
    dots["size"] = 1.7 * np.sqrt(dots["strips"])
    kind = str(strips["kind"].iloc[0])
    lines = [p9.geom_line(p9.aes(group="treatment", color="treatment"), size=0.7)]
    if middles["date"].nunique() < 2:  # nothing to join
        lines = []
    days = sorted(strips["date"].unique())
    # A single day would push the treatments to the ends of the axis.
    around = (days[0] - span / 2, days[-1] + span / 2) if len(days) < 2 else None
    plot = (
        p9.ggplot(middles, p9.aes("at", "middle"))
        + p9.geom_point(p9.aes(y="value", size="size"), data=dots, color=LINE)
        + lines
        + _points(len(names))
        + p9.scale_color_manual(values=[QUIET, *later_colours(len(names))], guide=None)
        + p9.scale_size_identity()
        + p9.scale_x_datetime(breaks=days, labels=_short_days, limits=around)
        + p9.scale_y_continuous(labels=tick_marks)
        + p9.labs(x="", y=words.score_axis(score, kind))
        + house_theme()
        + p9.theme(panel_grid_major_x=p9.element_blank(), legend_title=p9.element_blank())
    )
    return Picture(
        plot,
        alt=words.scores_words(middles, score, kind),
        width_in=_WIDTH_IN,
        height_in=3.0,
        caption=words.scores_caption(kind),
    )


def _shown(column: pd.Series, names: Sequence[str]) -> pd.Series:
    """Return treatments by names that fit, the control first."""
    short = [numbers.shortened(name, 18) for name in names]
    shown = column.astype(str).map(dict(zip(names, short, strict=True)))
    return shown.astype(pd.CategoricalDtype(short))


def _points(
    treatments: int,
) -> list[p9.geom_point | p9.scale_shape_manual | p9.scale_fill_manual]:
    """Return a mark a treatment, the control's empty."""
    return [
        p9.geom_point(p9.aes(shape="treatment", fill="treatment"), color=INK, size=3.3, stroke=0.6),
        *treatment_marks(treatments),
    ]
