"""Tables of the scouting: stands, how many counts, harmful nights, sterility, scores."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from trialkit.columns import label
from trialkit.days import plain_day
from trialkit.language import figures, marked, say
from trialkit.report import numbers
from trialkit.report.pieces import Piece
from trialkit.report.table_look import house_table

if TYPE_CHECKING:
    from trialkit.scouting import ComparisonCounts, CountComparison, FrostRisk, ScoreComparison

_WORDS = {
    "against": marked("Change"),
    "interval": marked("Interval"),
    "p": marked("p"),
    "p_logit": marked("p, logit scale"),
    "strips": marked("Strips"),
    "counts_a_strip": marked("Places a strip"),
    "detectable_pct": marked("Difference it shows, %"),
    "date": marked("Morning of"),
    "threshold_c": marked("Harmful below, °C"),
    "hours_sure": marked("Hours below it"),
    "stage_name": marked("Growth stage"),
    "verdict": marked("What that says"),
    "heads": marked("Heads"),
    "loss_pct": marked("Yield it can have cost, %"),
    "difference": marked("Difference"),
    "blocks": marked("Blocks higher / lower / equal"),
    "method": marked("Method"),
}


#: Columns of a score's table that are set to the right.
_RIGHT = ("difference", "interval", "blocks", "p", "p_logit")


def _headings(table: pd.DataFrame) -> dict[str, str]:
    names = [str(name) for name in table]
    return {name: say(_WORDS[name]) if name in _WORDS else label(name) for name in names}


def stand_rows(found: CountComparison) -> Piece:
    """Show plants/m² by treatment, with the change against the control.

    Parameters
    ----------
    found
        From `trialkit.scouting.compare_counts`.
    """
    ratios = found.ratios.to_dict("index")
    rows = []
    for name, mean in found.means.to_dict("index").items():
        plants = [numbers.number(mean[end], 0) for end in ("estimate", "low", "high")]
        counted = say("{plants} ({low} to {high})", plants=plants[0], low=plants[1], high=plants[2])
        row = {"treatment": str(name), "plants_m2": counted}
        if name in ratios:
            own = ratios[name]
            row["against"] = _change(own["estimate"])
            row["interval"] = numbers.between(_change(own["low"]), _change(own["high"]))
            row["p"] = numbers.p_text(float(own["p"]))
        rows.append(row)
    table = pd.DataFrame(rows)
    return house_table(
        "stands",
        table,
        caption=say(
            "Plants/m², from {counts} counts in {strips} strips",
            counts=found.counts,
            strips=found.strips,
        ),
        headings=_headings(table),
        decimals={},
        right=("plants_m2", "against", "interval", "p"),
    )


def _change(ratio: float) -> str:
    text = numbers.number(100 * (ratio - 1), 0)
    return f"{'+' if ratio > 1 and text != '0' else ''}{text}{figures('%')}"


def places_rows(wanted: ComparisonCounts) -> Piece:
    """Show what each number of places to count can show.

    Parameters
    ----------
    wanted
        From `trialkit.scouting.counts_for_difference`.
    """
    return house_table(
        "places",
        wanted.table,
        caption=say("What counting shows, with {pairs} pairs of strips", pairs=wanted.pairs),
        headings=_headings(wanted.table),
        decimals={"counts_a_strip": 0, "detectable_pct": 0},
    )


def harmful_rows(risk: FrostRisk) -> Piece:
    """Show the nights that could or may have hurt, or of which nothing is known.

    Parameters
    ----------
    risk
        From `trialkit.scouting.frost_risk`.
    """
    told = risk.nights[~risk.nights["verdict"].isin(["not cold enough", "no threshold"])]
    if told.empty:
        return Piece("")
    table = pd.DataFrame(
        {
            "date": [plain_day(day) for day in told["date"]],
            "logger": told["logger"],
            "minimum_c": told["minimum_c"],
            "stage_name": [
                f"{say(name)} ({numbers.number(code, 0)})" if name else say("not known")
                for name, code in zip(told["stage_name"], told["stage"], strict=True)
            ],
            "threshold_c": told["sure_below_c"].replace(-float("inf"), float("nan")),
            "hours_sure": told["hours_sure"],
            "verdict": told["verdict"].map(say),
        }
    )
    return house_table(
        "harmful-nights",
        table,
        caption=say("Nights to follow up"),
        headings=_headings(table),
        decimals={"minimum_c": 1, "threshold_c": 1, "hours_sure": 1},
    )


def sterility_rows(strips: pd.DataFrame) -> Piece:
    """Show sterile florets by strip.

    Parameters
    ----------
    strips
        From `trialkit.scouting.sterility_by_strip`.
    """
    order = numbers.counting_order(strips["strip"])
    names = ["strip", "block", "treatment", "heads", "florets", "sterile_pct", "loss_pct"]
    table = strips.iloc[order][names]
    return house_table(
        "sterility",
        table,
        caption=say("Sterile florets by strip"),
        headings=_headings(table),
        decimals={"heads": 0, "florets": 0, "sterile_pct": 1, "loss_pct": 1},
        note=say("The yield lost is at most this: grains that are left may grow larger."),
    )


def score_rows(found: ScoreComparison) -> Piece:
    """Show the comparisons of one score, day by day.

    Parameters
    ----------
    found
        From `trialkit.scouting.compare_scores`.
    """
    rows = [
        {
            "date": plain_day(row["date"]),
            "treatment": row["treatment"],
            "difference": numbers.signed_t_ha(row["difference"], 1),
            "interval": ""
            if pd.isna(row["low"])
            else numbers.signed_range(row["low"], row["high"], 1),
            "blocks": f"{row['higher']} / {row['lower']} / {row['equal']}",
            "p": numbers.p_text(float(row["p"])),
            "p_logit": numbers.p_text(float(row["p_logit"])),
            "method": say(row["method"]),
        }
        for row in found.rows.to_dict("records")
    ]
    table = pd.DataFrame(rows)
    if found.rows["p_logit"].isna().all():
        table = table.drop(columns="p_logit")
    return house_table(
        f"score-{len(rows)}",
        table,
        caption=say("{score}: difference from {against}", score=found.score, against=found.against),
        headings=_headings(table) | {"date": say("Day")},
        decimals={},
        right=tuple(name for name in _RIGHT if name in table),
    )
