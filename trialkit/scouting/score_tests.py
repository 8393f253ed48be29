"""Scores compared: a mixed model where differences can be added up, ranks where they cannot."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass, replace

import numpy as np
import pandas as pd

from trialkit.errors import ModelError, ScoutingError, noted
from trialkit.language import marked, say
from trialkit.models import fit_mixed, shuffle_several, shuffle_test
from trialkit.scouting.score_words import ALIKE, ScoreRow, score_notes, score_sentence
from trialkit.scouting.scores import strip_scores
from trialkit.scouting.strip_labels import Floats
from trialkit.shown import as_line, as_table

#: Percentages between these need no other scale (Gomez and Gomez 1984, Statistical Procedures for
#: Agricultural Research, ch. 7: from memory).
_PLAIN_PCT = (30.0, 70.0)
#: How ordinal scores were compared, by their ranks and whether all labels were counted.
_BY_RANKS = {
    ("signed ranks", True): marked("exact signed-rank test"),
    ("signed ranks", False): marked("signed-rank test, sampled"),
    ("ranks inside blocks", True): marked("ranks inside blocks, labels drawn again"),
    ("ranks inside blocks", False): marked("ranks inside blocks, labels drawn again, sampled"),
}


@dataclass(frozen=True, slots=True, eq=False)
class ScoreComparison:
    """One score, treatments held against one of them, day by day.

    Parameters
    ----------
    score
        What was scored.
    kind
        `"percent"`, `"ordinal"` or `"number"`.
    against
        The treatment the others are held against.
    rows
        One row a day and treatment: `date treatment strips difference low high p method p_logit
        blocks higher lower equal smallest_p`. `difference` is treatment less `against`: of means,
        in points, with its interval; for an ordinal score the median of the differences inside
        blocks, without one. `higher lower equal` count blocks. `p_logit` is the second opinion on
        percentages near 0 or 100; `smallest_p` the least that a rank test of these blocks can
        give.
    overall
        One row a day with more than two treatments on an ordinal scale: `date statistic df p`,
        Friedman's chi-square, with p from drawing the labels inside blocks again.
    sentences
        One a row of `rows`.
    notes
        On the method, on days that could not be compared, on testing many days.
    """

    __repr__ = as_line
    _repr_html_ = as_table

    score: str
    kind: str
    against: str
    rows: pd.DataFrame
    overall: pd.DataFrame
    sentences: tuple[str, ...]
    notes: tuple[str, ...]


def compare_scores(
    table: pd.DataFrame, score: str, *, against: str, confidence: float = 0.95
) -> ScoreComparison:
    """Compare treatments by a score, with the strip as the unit.

    Parameters
    ----------
    table
        From `score_table`.
    score
        What was scored.
    against
        Treatment the others are held against, such as `"untreated"`.
    confidence
        Level of the intervals of percentages and numbers.

    Returns
    -------
    ScoreComparison

    Raises
    ------
    ScoutingError
        If the score or the treatment is unknown.

    Notes
    -----
    Percentages and numbers: strip means, random blocks, Kenward-Roger (`fit_mixed`), in the
    points a reader knows. Where strips come below 30 or above 70% the scatter depends on the
    level, so the logit is fitted too and its p shown: logit and not arcsine, whose differences
    mean nothing (Warton and Hui 2011, Ecology 92:3-10: from memory), after adding the smallest
    distance from 0 or 100 to both sides.

    Ordinal scores: where each block holds one strip of either treatment, Wilcoxon's signed-rank
    test, all sign flips counted (blocks without a difference are left out, as he did); in other
    blocks ranks inside blocks, labels drawn again. The signed-rank test takes larger differences
    for more; the count of blocks beside it does not.

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({
    ...     "score": "vigour", "date": pd.Timestamp("2024-08-03"), "kind": "ordinal",
    ...     "strip": list("abcdefghijkl"), "block": list("112233445566"),
    ...     "treatment": ["dressed", "untreated"] * 6,
    ...     "value": [7, 6, 6, 5, 8, 6, 5, 6, 7, 4, 6, 5.0]})
    >>> found = compare_scores(table, "vigour", against="untreated")
    >>> found.rows[["higher", "lower", "p"]].to_dict("list")
    {'higher': [5], 'lower': [1], 'p': [0.15625]}
    """
    known = strip_scores(table)
    own = known[known["score"] == score]
    if own.empty:
        there = ", ".join(dict.fromkeys(known["score"]))
        raise ScoutingError(
            say("Nothing was scored as '{score}'. There are: {scores}.", score=score, scores=there)
        )
    arms = list(dict.fromkeys(own["treatment"].astype(str)))
    if against not in arms:
        raise ScoutingError(
            say(
                "No {score} is of treatment '{treatment}'. There are: {treatments}.",
                score=score, treatment=against, treatments=", ".join(arms),
            )
        )  # fmt: skip
    if len(arms) < 2:
        raise ScoutingError(
            say(
                "Every {score} is of '{treatment}'. Score another treatment too.",
                score=score, treatment=against,
            )
        )  # fmt: skip
    kind = str(own["kind"].iloc[0])
    rows: list[ScoreRow] = []
    overall: list[dict[str, object]] = []
    notes: list[str] = []
    for day, strips in own.groupby("date", sort=True):
        for name in [arm for arm in arms if arm != against]:
            two = strips[strips["treatment"].isin([name, against])]
            row = _in_blocks(pd.Timestamp(str(day)), two, name, against, kind)
            try:
                row = _tested(row, strips, two, against, kind, confidence)
            except ModelError as error:
                notes.append(
                    say(
                        "{score} on {day:%Y-%m-%d}, {treatment}: not compared. {why}",
                        score=score, day=day, treatment=name, why=str(error),
                    )
                )  # fmt: skip
            rows.append(row)
        if kind == "ordinal" and strips["treatment"].nunique() > 2:
            overall += _friedman(strips, day)
    table_of_rows = pd.DataFrame([asdict(row) for row in rows])
    return ScoreComparison(
        score=score,
        kind=kind,
        against=against,
        rows=table_of_rows,
        overall=pd.DataFrame(overall, columns=["date", "statistic", "df", "p"]),
        sentences=tuple(score_sentence(row, score, kind, against) for row in rows),
        notes=(*notes, *score_notes(table_of_rows, kind)),
    )


def _in_blocks(
    day: pd.Timestamp, two: pd.DataFrame, name: str, against: str, kind: str
) -> ScoreRow:
    """Return how the treatments compare block by block, whatever the scale."""
    found = _block_differences(two, name, against, kind)
    return ScoreRow(
        date=day,
        treatment=name,
        strips=len(two),
        difference=float(found.median()) if len(found) else math.nan,
        blocks=len(found),
        higher=int((found > 0).sum()),
        lower=int((found < 0).sum()),
        equal=int((found == 0).sum()),
    )


def _block_differences(two: pd.DataFrame, name: str, against: str, kind: str) -> pd.Series:
    wide = two.pivot_table(
        index="block",
        columns="treatment",
        values="value",
        aggfunc="median" if kind == "ordinal" else "mean",
    )
    if name not in wide or against not in wide:
        return pd.Series(dtype=float)
    return (wide[name] - wide[against]).dropna()


def _tested(
    row: ScoreRow,
    strips: pd.DataFrame,
    two: pd.DataFrame,
    against: str,
    kind: str,
    confidence: float,
) -> ScoreRow:
    if not {row.treatment, against} <= set(two["treatment"]):
        raise ModelError(say("Strips of one of the two were not scored that day."))
    if np.ptp(two["value"].to_numpy(dtype=np.float64)) == 0:
        return replace(row, difference=0.0, p=1.0, method=ALIKE)
    if kind == "ordinal":
        return _by_ranks(row, two, against)
    return _by_means(row, strips, against, kind, confidence)


def _by_means(
    row: ScoreRow, strips: pd.DataFrame, against: str, kind: str, confidence: float
) -> ScoreRow:
    with noted():
        fit = fit_mixed("value ~ treatment", strips, ["block"], confidence=confidence)
    found = fit.differences("treatment", against=against)
    value = strips["value"].to_numpy(dtype=np.float64)
    p_logit = math.nan
    if kind == "percent" and (value.min() < _PLAIN_PCT[0] or value.max() > _PLAIN_PCT[1]):
        with noted():
            again = fit_mixed("value ~ treatment", strips.assign(value=_logit(value)), ["block"])
        p_logit = float(again.differences("treatment", against=against)["p"][row.treatment])
    estimate, low, high, p = (
        float(found[name][row.treatment]) for name in ("estimate", "low", "high", "p")
    )
    return replace(
        row,
        difference=estimate,
        low=low,
        high=high,
        p=p,
        method=marked("mixed model of strip means"),
        p_logit=p_logit,
    )


def _logit(pct: Floats) -> Floats:
    """Return the logit of percentages, away from 0 and 100 by the smallest distance there is."""
    away = np.concatenate([pct[pct > 0], 100 - pct[pct < 100]])
    step = float(away.min()) if pct.min() <= 0 or pct.max() >= 100 else 0.0
    return np.asarray(np.log((pct + step) / (100 - pct + step)))


def _by_ranks(row: ScoreRow, two: pd.DataFrame, against: str) -> ScoreRow:
    """Test by ranks: signed where blocks are pairs, inside blocks where they are not."""
    counts = _strips_in_blocks(two).dropna()
    inside = two[two["block"].isin(counts.index)]
    if len(counts) and bool((counts == 1).all(axis=None)):
        method, ranked = "signed ranks", _signed_ranks(inside, row.treatment, against)
    else:
        method = "ranks inside blocks"
        ranked = inside.assign(rank=inside.groupby("block")["value"].rank())
    if len(counts) and (ranked.empty or np.ptp(ranked["rank"].to_numpy(dtype=np.float64)) == 0):
        return replace(row, p=1.0, method=_BY_RANKS[method, True])
    found = shuffle_test(ranked, "rank", "treatment", "block", against=against, seed=1)
    method = _BY_RANKS[method, found.exact]
    return replace(row, p=found.p, method=method, smallest_p=found.smallest_p)


def _strips_in_blocks(strips: pd.DataFrame) -> pd.DataFrame:
    """Return how many strips of each treatment each block holds, NaN where it holds none."""
    return strips.pivot_table(index="block", columns="treatment", values="value", aggfunc="count")


def _signed_ranks(pairs: pd.DataFrame, name: str, against: str) -> pd.DataFrame:
    """Return pairs with the signed rank of their difference: on one strip, the other at zero."""
    apart = _block_differences(pairs, name, against, "ordinal")
    apart = apart[apart != 0]
    signed = np.sign(apart) * apart.abs().rank()
    own = pairs[pairs["block"].isin(apart.index)]
    rank = own["block"].map(signed).where(own["treatment"] == name, 0.0)
    return own.assign(rank=rank.astype(float))


def _friedman(strips: pd.DataFrame, day: object) -> list[dict[str, object]]:
    """Return Friedman's test of all treatments, where every block holds each once."""
    from scipy.stats import friedmanchisquare

    counts = _strips_in_blocks(strips)
    if not bool((counts == 1).all(axis=None)) or len(counts) < 2:
        return []
    wide = strips.pivot_table(index="block", columns="treatment", values="value")
    values = wide.to_numpy(dtype=np.float64)
    ranked = strips.assign(rank=strips.groupby("block")["value"].rank())
    if np.ptp(ranked["rank"].to_numpy()) == 0:
        return []
    statistic = float(friedmanchisquare(*values.T).statistic)
    p = shuffle_several(ranked, "rank", "treatment", "block", seed=1).p
    return [{"date": day, "statistic": statistic, "df": values.shape[1] - 1, "p": p}]
