"""Several seasons of one question, taken together: gain, money, and what the next may bring."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.special import stdtr, stdtrit

from trialkit.answer import farm_of
from trialkit.errors import MoneyError, SeasonsError
from trialkit.language import marked
from trialkit.models import Pooled, leave_one_study_out, pool
from trialkit.money import NextStep, Payoff, TrialCost, next_step, payoff
from trialkit.report import money_words, season_words
from trialkit.result import Comparison
from trialkit.season_answers import Progress, SeasonAnswer, harvested_among, season_answers
from trialkit.season_notes import season_notes
from trialkit.selling import selling_of
from trialkit.shown import as_line, as_table

_GAIN_AND_ERROR = ("gain_t_ha", "std_error_t_ha")
FROST_ROWS = (marked("with frost"), marked("without frost"), marked("difference"))

#: Seasons below which leaving one out leaves nothing to pool.
_FEWEST_TO_LEAVE_OUT = 3


@dataclass(frozen=True, slots=True, eq=False)
class PooledTreatment:
    """One treatment over the seasons it was in.

    Parameters
    ----------
    treatment, control
        Names.
    table
        One row a season, in order: `label season frost gain_t_ha low_t_ha high_t_ha std_error_t_ha
        weight_pct net_per_ha net_low net_high chance_paid verdict`.
    gain
        The gains taken together, t/ha.
    net
        The same of net money a hectare; None where the seasons were counted in several currencies.
    mean_pays
        Whether the mean gain pays at the prices and costs of the last season.
    next_season
        The same for the gain of one more such season: its error holds what seasons differ by.
    so_far
        One row a season: the answer of all seasons up to it, `label seasons gain_t_ha low_t_ha
        high_t_ha chance_paid verdict`.
    step
        What next at the prices and costs of the last season; None where that cannot be said.
    why_no_step
        Why it cannot be said, where `[money]` of the last season asks for it.
    without_one
        One row a season left out, as `leave_one_study_out` has it; None with fewer than three.
    frost
        Seasons with and without frost apart, and the difference: one row each of `FROST_ROWS`,
        `what seasons gain_t_ha low_t_ha high_t_ha p`; empty unless there are both.
    """

    __repr__ = as_line
    _repr_html_ = as_table

    treatment: str
    control: str
    table: pd.DataFrame
    gain: Pooled
    net: Pooled | None
    mean_pays: Payoff
    next_season: Payoff
    so_far: pd.DataFrame
    step: NextStep | None
    why_no_step: str
    without_one: pd.DataFrame | None
    frost: pd.DataFrame


@dataclass(frozen=True, slots=True, eq=False)
class AcrossSeasons:
    """What several trial folders say together.

    Parameters
    ----------
    seasons
        The folders' answers, in order of season.
    treatments
        One entry a treatment that is in two seasons or more.
    notes
        Sentences on what to keep in mind.
    """

    __repr__ = as_line
    _repr_html_ = as_table

    seasons: tuple[SeasonAnswer, ...]
    treatments: tuple[PooledTreatment, ...]
    notes: tuple[str, ...]

    @property
    def currency(self) -> str | None:
        """Code of the money; None where the seasons were counted in several."""
        codes = {answer.summary.currency for answer in self.seasons}
        return codes.pop() if len(codes) == 1 else None

    def sentences(self) -> list[str]:
        """Return the answer for each treatment in words, and what to keep in mind."""
        told = []
        for one in self.treatments:
            seasons = len(one.table)
            told += [
                season_words.headline(one.treatment, one.mean_pays, seasons),
                season_words.mean_sentence(one.gain, one.mean_pays, one.control),
                season_words.next_sentence(one.gain, one.next_season),
                season_words.few_sentence(seasons),
                one.why_no_step
                if one.step is None
                else money_words.next_step_headline(one.step, one.treatment),
            ]
        return [*(sentence for sentence in told if sentence), *self.notes]


def pool_seasons(
    folders: Sequence[str | Path],
    *,
    own: SeasonAnswer | None = None,
    progress: Progress | None = None,
) -> AcrossSeasons:
    """Take the trials of several folders together.

    The answer stored in a folder is used where its files are still the same; else the season is
    worked out anew. Nothing is written.

    Parameters
    ----------
    folders
        Trial folders, two or more that are harvested; files and folders of trials that are still
        to be harvested are passed over, and a note says so.
    own
        An answer that is known already, to be taken together with those of the folders.
    progress
        Called with the name of each step as it begins.

    Returns
    -------
    AcrossSeasons

    Raises
    ------
    SeasonsError
        If there are fewer than two, one is given twice, or they cannot be compared: other crops,
        other moistures that yields are stated at, no treatment in common.
    TrialkitError
        If a folder is faulty or cannot be analysed; the message names it.
    """
    tell = progress or (lambda _: None)
    paths, passed_over = harvested_among(folders)
    answers = season_answers(paths, tell, own=own)
    tell("Taking the seasons together")
    treatments = tuple(_treatments(answers))
    pooled = {(one.treatment, one.control) for one in treatments}
    notes = (*passed_over, *season_notes(answers, pooled))
    return AcrossSeasons(answers, treatments, notes)


def _treatments(answers: Sequence[SeasonAnswer]) -> list[PooledTreatment]:
    found: dict[tuple[str, str], list[tuple[SeasonAnswer, Comparison]]] = {}
    for answer in answers:
        for comparison in answer.summary.comparisons:
            name = comparison.treatment, comparison.control
            found.setdefault(name, []).append((answer, comparison))
    pooled = [_pooled(rows) for rows in found.values() if len(rows) >= 2]
    if not pooled:
        each = "; ".join(
            f"{answer.path}: " + ", ".join(c.treatment for c in answer.summary.comparisons)
            for answer in answers
        )
        raise SeasonsError(
            "No treatment is in two of these folders under the same name and against the same "
            f"control, so there is nothing to pool. They have {each}."
        )
    return pooled


def _pooled(rows: Sequence[tuple[SeasonAnswer, Comparison]]) -> PooledTreatment:
    answers, comparisons = zip(*rows, strict=True)
    confidence = answers[-1].config.analysis.confidence
    labels = [answer.label for answer in answers]
    gains = [one.gain_t_ha for one in comparisons]
    errors = [one.std_error_t_ha for one in comparisons]
    gain = pool(gains, errors, labels=labels, confidence=confidence)
    table = _table(answers, comparisons).assign(weight_pct=gain.table["weight_pct"].to_numpy())
    step, why_no_step = _step(gain, answers, comparisons)
    return PooledTreatment(
        treatment=comparisons[0].treatment,
        control=comparisons[0].control,
        table=table,
        gain=gain,
        net=_net(answers, comparisons, labels, confidence),
        mean_pays=_pays(gain.estimate, gain.std_error, gain.df, answers[-1], comparisons[-1]),
        next_season=_pays(
            gain.estimate,
            (gain.tau2 + gain.std_error**2) ** 0.5,
            gain.df,
            answers[-1],
            comparisons[-1],
        ),
        so_far=_so_far(answers, comparisons, confidence),
        step=step,
        why_no_step=why_no_step,
        without_one=leave_one_study_out(gains, errors, labels=labels, confidence=confidence)
        if len(rows) >= _FEWEST_TO_LEAVE_OUT
        else None,
        frost=_by_frost(table, [one.df for one in comparisons], confidence),
    )


def _table(answers: Sequence[SeasonAnswer], comparisons: Sequence[Comparison]) -> pd.DataFrame:
    names = ["gain_t_ha", "low_t_ha", "high_t_ha", "std_error_t_ha", "net_per_ha", "net_low"]
    names += ["net_high", "chance_paid", "verdict"]
    rows = [
        [answer.label, answer.config.trial.season, answer.config.trial.frost]
        + [getattr(one, name) for name in names]
        for answer, one in zip(answers, comparisons, strict=True)
    ]
    return pd.DataFrame(rows, columns=["label", "season", "frost", *names])


def _net(
    answers: Sequence[SeasonAnswer],
    comparisons: Sequence[Comparison],
    labels: list[str],
    confidence: float,
) -> Pooled | None:
    """Pool net money, each season at its own price and cost."""
    if len({answer.summary.currency for answer in answers}) > 1:
        return None
    errors = [
        selling_of(answer.summary.grain_quality, answer.config).net_error(one)
        for answer, one in zip(answers, comparisons, strict=True)
    ]
    nets = [one.net_per_ha for one in comparisons]
    return pool(nets, errors, labels=labels, confidence=confidence)


def _pays(
    gain: float, error: float, df: float, answer: SeasonAnswer, comparison: Comparison
) -> Payoff:
    """Judge a gain at the price and cost of a season, whatever its grade was."""
    config = answer.config
    cost_per_ha, saved_per_ha = config.extra_cost(comparison.treatment)
    analysis = config.analysis
    return payoff(
        gain, error, df,
        price_per_t=config.money.price_per_t, price_range=config.money.price_range,
        cost_per_ha=cost_per_ha, saved_per_ha=saved_per_ha, confidence=analysis.confidence,
        paid_at=analysis.paid_at, did_not_pay_at=analysis.did_not_pay_at,
    )  # fmt: skip


def _step(
    gain: Pooled, answers: Sequence[SeasonAnswer], comparisons: Sequence[Comparison]
) -> tuple[NextStep | None, str]:
    """Weigh one more season of trialling; a pair of strips differs as it did in these seasons."""
    last, comparison = answers[-1].config, comparisons[-1]
    farm = farm_of(last)
    if farm is None:
        return None, ""
    cost_per_ha, saved_per_ha = last.extra_cost(comparison.treatment)
    pair_variances = [
        one.std_error_t_ha**2 * min(answer.summary.strips["by_treatment"].values())
        for answer, one in zip(answers, comparisons, strict=True)
    ]
    try:
        return next_step(
            gain.estimate,
            gain.std_error,
            gain.df,
            price_per_t=last.money.price_per_t,
            price_range=last.money.price_range,
            cost_per_ha=cost_per_ha,
            saved_per_ha=saved_per_ha,
            area_ha=farm.area_ha,
            seasons=farm.seasons,
            trial=TrialCost(labour_per_h=farm.labour_per_h),
            pair_sd_t_ha=float(np.sqrt(np.mean(pair_variances))),
            tau2=gain.tau2,
            pooled=True,
            confidence=last.analysis.confidence,
        ), ""
    except MoneyError as error:
        return None, str(error)


def _so_far(
    answers: Sequence[SeasonAnswer], comparisons: Sequence[Comparison], confidence: float
) -> pd.DataFrame:
    first = comparisons[0]
    own = (first.gain_t_ha, first.std_error_t_ha, first.df)
    judged = _pays(*own, answers[0], first) if answers[0].by_grade else first
    rows: list[tuple[object, ...]] = [
        (answers[0].label, 1, first.gain_t_ha, first.low_t_ha, first.high_t_ha,
         judged.chance_paid, judged.verdict)
    ]  # fmt: skip
    for number in range(2, len(answers) + 1):
        those = comparisons[:number]
        found = pool(
            [one.gain_t_ha for one in those],
            [one.std_error_t_ha for one in those],
            confidence=confidence,
        )
        pays = _pays(found.estimate, found.std_error, found.df, answers[number - 1], those[-1])
        rows.append(
            (
                answers[number - 1].label,
                number,
                found.estimate,
                found.low,
                found.high,
                pays.chance_paid,
                pays.verdict,
            )
        )
    columns = ["label", "seasons", "gain_t_ha", "low_t_ha", "high_t_ha", "chance_paid", "verdict"]
    return pd.DataFrame(rows, columns=columns)


def _by_frost(table: pd.DataFrame, dfs: Sequence[float], confidence: float) -> pd.DataFrame:
    """Set seasons with and without frost apart, and take the one from the other."""
    groups = []
    for frost in (True, False):
        here = np.array([value is frost for value in table["frost"]])
        gains, errors = (table[name].to_numpy(dtype=float)[here] for name in _GAIN_AND_ERROR)
        if len(gains) == 1:
            own_df = float(np.asarray(dfs, dtype=float)[here][0])
            groups.append((1, float(gains[0]), float(errors[0]), own_df))
        elif len(gains) > 1:
            both = pool(gains, errors, confidence=confidence)
            groups.append((len(gains), both.estimate, both.std_error, both.df))
    columns = ["what", "seasons", "gain_t_ha", "low_t_ha", "high_t_ha", "p"]
    if len(groups) < 2:
        return pd.DataFrame(columns=columns)
    groups.append(_difference(groups[0], groups[1]))
    rows = []
    for what, (number, gain, error, df) in zip(FROST_ROWS, groups, strict=True):
        half = error * stdtrit(df, (1 + confidence) / 2)
        p = 2 * stdtr(df, -abs(gain / error))
        rows.append((what, number, gain, gain - half, gain + half, p))
    return pd.DataFrame(rows, columns=columns)


def _difference(
    one: tuple[int, float, float, float], other: tuple[int, float, float, float]
) -> tuple[int, float, float, float]:
    """Return seasons, difference, its error and degrees (Welch 1938, Biometrika 29:350-362)."""
    error = math.hypot(one[2], other[2])
    df = error**4 / (one[2] ** 4 / one[3] + other[2] ** 4 / other[3])
    return one[0] + other[0], one[1] - other[1], error, df
