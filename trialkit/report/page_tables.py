"""The adviser's tables: strips, model, other methods, screening, money, inputs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import pandas as pd

from trialkit.columns import label
from trialkit.harvest.settings import FOUND, RULE_NAMES
from trialkit.language import figures, say
from trialkit.report import table_captions as words
from trialkit.report.numbers import counting_order, p_text
from trialkit.report.pieces import Piece
from trialkit.report.table_look import house_table
from trialkit.report.wording import VERDICTS

if TYPE_CHECKING:
    from trialkit.design.as_sown import Difference
    from trialkit.harvest import PassEnds
    from trialkit.result import Comparison, CrossCheck, InputFile

#: Decimal places by column; columns that are not here are shown as text.
_DECIMALS = {
    **{"yield_t_ha": 3, "area_ha": 3, "n": 0, "moisture_pct": 1},
    **{"estimate": 3, "std_error": 3, "df": 2, "t": 2, "low": 3, "high": 3, "variance": 5},
    **{"low_together": 3, "high_together": 3},
    **{"gain_t_ha": 3, "low_t_ha": 3, "high_t_ha": 3, "break_even_t_ha": 3, "chance_paid": 3},
    **{"net_per_ha": 2, "net_low": 2, "net_high": 2, "gross": 2, "net": 2, "costs_per_ha": 2},
    **{"lost_pct": 1, "marginal_return_pct": 0, "records": 0, "share_pct": 2, "grain_t": 2},
    **{"lost_m2": 0},
}


def strip_rows(strips: pd.DataFrame) -> Piece:
    """Show one row a strip.

    Parameters
    ----------
    strips
        `strip block treatment yield_t_ha area_ha n moisture_pct`; columns may be missing.
    """
    names = ("strip", "block", "treatment", "yield_t_ha", "area_ha", "n", "moisture_pct")
    ordered = strips.iloc[counting_order(strips["strip"])]
    return _table("strips", ordered[[name for name in names if name in strips]])


def sown_rows(differences: Sequence[Difference]) -> Piece:
    """Show one row a strip that was not sown or kept as planned.

    Parameters
    ----------
    differences
        How strips differ from the plan.
    """
    names = ["strip", "block", "planned", "sown", "what", "lost_m2", "lost_pct", "note"]
    rows = [[getattr(one, name) for name in names] for one in differences]
    shown = pd.DataFrame(rows, columns=names)
    shown["what"] = shown["what"].map(words.differing)
    lost = ["lost_m2", "lost_pct"]
    shown[lost] = shown[lost].where(shown[lost] > 0)
    if shown["lost_m2"].isna().all():
        shown = shown.drop(columns=lost)
    if not shown["note"].any():
        shown = shown.drop(columns="note")
    return _table("sown", shown.iloc[counting_order(shown["strip"])])


def estimates(key: str, table: pd.DataFrame, *, confidence: float) -> Piece:
    """Show estimates with their errors, as a model gives them.

    Parameters
    ----------
    key
        What the rows are: `coefficients`, `means` or `differences`.
    table
        One row a term, with columns among `estimate std_error df t p low high`.
    confidence
        Confidence level of `low` and `high`.
    """
    names = ("estimate", "std_error", "df", "t", "p", "low", "high")
    shown = table[[name for name in names if name in table]].copy()
    shown.insert(0, "term", [str(name) for name in table.index])
    return _table(key, shown, note=words.interval_note(confidence))


def gains(alone: pd.DataFrame, together: pd.DataFrame | None, *, confidence: float) -> Piece:
    """Show the gains over the control by the main model.

    Parameters
    ----------
    alone
        Differences from the control, each judged by itself.
    together
        The same judged all at once; None where there is only one.
    confidence
        Confidence level of the intervals.
    """
    if together is None:
        return estimates("differences", alone, confidence=confidence)
    shown = alone[["estimate", "std_error", "df", "p", "low", "high"]].copy()
    for name in ("p", "low", "high"):
        shown[f"{name}_together"] = together[name]
    shown.insert(0, "term", [str(name) for name in alone.index])
    return _table("differences", shown, note=words.together_note(confidence))


def variances(table: pd.Series[float]) -> Piece:
    """Show the variance of each random term.

    Parameters
    ----------
    table
        Variance by term, (t/ha)².
    """
    shown = pd.DataFrame(
        {"term": [words.term(str(name)) for name in table.index], "variance": table.to_numpy()}
    )
    return _table("variances", shown)


def methods(comparisons: Sequence[Comparison], checks: Sequence[CrossCheck]) -> Piece:
    """Show the main analysis of each treatment and, below it, the same gain by other methods.

    Parameters
    ----------
    comparisons
        The main analysis.
    checks
        Other methods.
    """
    entries: list[tuple[Comparison | CrossCheck, str]] = []
    for main in comparisons:
        entries.append((main, words.main_method(main.method)))
        entries += [(c, say(c.method)) for c in checks if c.treatment == main.treatment]
    rows = [
        (entry.treatment, method, entry.gain_t_ha, entry.low_t_ha, entry.high_t_ha, entry.p_value)
        for entry, method in entries
    ]
    names = ["treatment", "method", "gain_t_ha", "low_t_ha", "high_t_ha", "p"]
    notes = dict.fromkeys(check.note for check in checks if check.note)
    return _table("methods", pd.DataFrame(rows, columns=names), note=" ".join(notes))


def money(comparisons: Sequence[Comparison], *, currency: str) -> Piece:
    """Show what each gain is worth.

    Parameters
    ----------
    comparisons
        The main analysis.
    currency
        Code of the currency, such as `AUD`.
    """
    names = ["treatment", "break_even_t_ha", "gain_t_ha", "net_per_ha", "net_low", "net_high"]
    names += ["chance_paid", "verdict"]
    rows = [[getattr(comparison, name) for name in names] for comparison in comparisons]
    shown = pd.DataFrame(rows, columns=names)
    shown["verdict"] = [say(VERDICTS[verdict]) for verdict in shown["verdict"]]
    return _table("money", shown, currency=currency)


def budget(table: pd.DataFrame, *, currency: str) -> Piece:
    """Show a partial budget.

    Parameters
    ----------
    table
        What `trialkit.money.partial_budget` returns.
    currency
        Code of the currency, such as `AUD`.
    """
    names = ["treatment", "yield_t_ha", "gross", "costs_per_ha", "net", "dominated"]
    shown = table[[*names, "marginal_return_pct"]].copy()
    shown["dominated"] = shown["dominated"].map({True: say(words.YES), False: say(words.NO)})
    return _table("budget", shown, currency=currency, note=say(words.BUDGET_NOTE))


def left_out_rows(account: pd.DataFrame) -> Piece:
    """Show how much was left out, by reason: records, ground and grain.

    Parameters
    ----------
    account
        One row a reason: `reason records share_pct`, and where known `area_ha grain_t`.
    """
    names = [n for n in ("area_ha", "grain_t") if n in account and account[n].notna().any()]
    shown = account[["reason", "records", "share_pct", *names]]
    shown = shown.assign(reason=[say(str(reason)) for reason in shown["reason"]])
    return _table("left-out", shown, note=say(words.LEFT_OUT_NOTE))


def sensitivity(table: pd.DataFrame, *, confidence: float) -> Piece:
    """Show the gain under several screenings.

    Parameters
    ----------
    table
        One row a level and treatment: `level treatment share_pct gain_t_ha low_t_ha high_t_ha
        chance_paid verdict`.
    confidence
        Confidence level of the intervals.
    """
    shown = table.assign(
        level=[say(words.SCREENINGS[level]) for level in table["level"]],
        verdict=[say(VERDICTS.get(verdict, words.NO_ANSWER)) for verdict in table["verdict"]],
    )
    if len(set(shown["treatment"])) == 1:
        shown = shown.drop(columns="treatment")
    note = f"{say(words.SCREENINGS_NOTE)} {words.interval_note(confidence)}"
    return _table("sensitivity", shown.rename(columns={"share_pct": "lost_pct"}), note=note)


def settings(
    limits: Mapping[str, float | str | Sequence[str]], ends: PassEnds | None = None
) -> Piece:
    """Show the limits that the screening used.

    Parameters
    ----------
    limits
        Value by name, as in `[harvest.screening]` of `trial.toml`.
    ends
        What was found for starts and ends of passes.
    """
    found = {} if ends is None else {"pass_start_s": ends.start_s, "pass_end_s": ends.end_s}
    values = [_setting(value, found.get(name)) for name, value in limits.items()]
    limit = [say(words.LIMIT_WORDS.get(name, "")) for name in limits]
    table = pd.DataFrame({"limit": limit, "value": values, "setting": list(limits)})
    return _table("settings", table)


def _setting(value: float | str | Sequence[str], found: float | None) -> str:
    if isinstance(value, int | float):
        return figures(f"{value:g}")
    if value == FOUND and found is not None:
        return say("found: {seconds:g}", seconds=found)
    if isinstance(value, str):
        return value
    if tuple(value) == RULE_NAMES:
        return say(words.ALL_RULES)
    return ", ".join(value) or say(words.NO_RULES)


def inputs(entries: Sequence[InputFile]) -> Piece:
    """Show the files that the answer rests on.

    Parameters
    ----------
    entries
        Files with their SHA-256.
    """
    rows = [(entry.file, entry.sha256) for entry in entries]
    return _table("inputs", pd.DataFrame(rows, columns=["file", "sha256"]))


def versions(entries: Mapping[str, str]) -> Piece:
    """Show the software that made the numbers.

    Parameters
    ----------
    entries
        Version by package.
    """
    return _table("versions", pd.DataFrame(list(entries.items()), columns=["package", "version"]))


def _table(key: str, shown: pd.DataFrame, *, currency: str = "", note: str = "") -> Piece:
    chances = tuple(name for name in ("p", "p_together") if name in shown)
    texts = {name: [p_text(value) for value in shown[name]] for name in chances}
    return house_table(
        key,
        shown.assign(**texts),
        caption=say(words.TABLES[key]),
        headings={str(name): _heading(str(name), currency) for name in shown},
        decimals=_DECIMALS,
        right=chances,
        note=note,
    )


def _heading(name: str, currency: str) -> str:
    return say(words.HEADINGS[name], currency=currency) if name in words.HEADINGS else label(name)
