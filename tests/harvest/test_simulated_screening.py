"""Simulated harvests in which everything goes wrong that can: what is found, lost and mended.

Four seasons of sixteen strips, with some 60 planted faults each, at records of one second; and
one season each at other logging rates. The truth is known row by row.
"""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from trialkit import simulate
from trialkit.harvest import (
    assign_strips,
    estimate_delay,
    screen,
    shift_flow,
    split_passes,
    strip_table,
)
from trialkit.simulate import mishaps

SEEDS = (1, 2, 3, 4)

#: What the task asks: delay, s; least share of planted faults of each kind left out; most sound
#: records lost. Measured over eight seeds: delay off by 0.16 s at most, every fault found, at most
#: 0.7% lost.
DELAY_S, FOUND, LOST = 1.0, 0.95, 0.03

#: What the task asks of a strip mean where the raw one is off by 3% or more. 160 seasons had 324
#: such strips: 0.28% root mean square afterwards, 93% of them within 0.5%, the worst 1.02%, mean
#: 0.02%; with left-out ground at the mean of its strip 0.36%, 87% and 1.40%. What is left is no
#: fault missed: 0.18% is ground that was rightly left out and is not quite like what stands beside
#: it, 0.20% the sensors (1,500 strips without a fault, the delay known and nothing left out: 98.8%
#: within 0.5%, the worst 0.61%).
RAW, MENDED = 0.03, 0.005

#: Share of all strips within 0.5%: 93% of 2,560 measured, so 64 strips lie above this.
WITHIN = 0.85

#: Strips held against the truth of the very ground that counts: share of them within 0.5%. 98%
#: of 128 measured.
SAME_GROUND = 0.95

#: Planted in the grain sensors, so at work where the grain was cut some seconds earlier.
IN_THE_GRAIN = {mishaps.SPIKE, mishaps.FREEZE, mishaps.SURGE, mishaps.WET}

#: Seconds round a fault and at the ends of passes in which a record is not called sound.
ROUND_S = 15.0
ENDS_S = 20.0

KINDS = [
    mishaps.STOP,
    mishaps.CRAWL,
    mishaps.PART_SWATH,
    mishaps.PART_SWATH_RECORDED,
    mishaps.SPIKE,
    mishaps.JUMP,
    mishaps.BRAKE,
    mishaps.FREEZE,
    mishaps.SURGE,
    mishaps.WET,
    mishaps.REPEAT,
]


@dataclass(frozen=True)
class Screened:
    season: simulate.SimulatedHarvest
    layout: gpd.GeoDataFrame
    delay_s: float
    log: pd.DataFrame

    @property
    def clock(self) -> np.ndarray:
        time = self.season.log["time"]
        return (time - time.iloc[0]).dt.total_seconds().to_numpy()

    def rows(self, kind: str) -> np.ndarray:
        """Rows a planted fault is at work in, once the delay is out."""
        truth = self.season.truth.mishaps
        rows = truth.loc[truth["kind"] == kind, "record"].to_numpy()
        if kind not in IN_THE_GRAIN:
            return rows
        step = self.season.monitor.interval_s
        back = round(self.delay_s / step) * step
        return np.unique(np.searchsorted(self.clock, self.clock[rows] - back))

    def sound(self) -> np.ndarray:
        """Whether a record is far from every fault, turn and end of a pass."""
        clock, records = self.clock, self.season.records
        fault = np.zeros(len(clock), dtype=bool)
        planted = self.season.truth.mishaps["record"].to_numpy()
        for row in np.concatenate([planted, *(self.rows(kind) for kind in KINDS)]):
            first, last = np.searchsorted(clock, [clock[row] - ROUND_S, clock[row] + ROUND_S])
            fault[first:last] = True
        middle = (records["from_start_s"] > ENDS_S) & (records["to_end_s"] > ENDS_S)
        return ~fault & (middle & (records["strip"] != "")).to_numpy()


def harvested(seed: int, length_m: float = 500, **monitor: float) -> Screened:
    layout = simulate.lay_strips(["untreated", "dressed"], blocks=8, seed=seed, length_m=length_m)
    season = simulate.harvest_trial(
        layout,
        seed=100 + seed,
        effects={"dressed": simulate.Effect(0.3)},
        monitor=simulate.Monitor(**monitor),
        mishaps=simulate.EVERY_MISHAP,
        boundary=simulate.field_boundary(layout),
    )
    log = split_passes(season.log)
    delay_s = estimate_delay(log).delay_s
    log = shift_flow(log, delay_s)
    log = screen(log, boundary=simulate.field_boundary(layout), harvester_m=12.0)
    return Screened(season, layout, delay_s, assign_strips(log, layout))


@pytest.fixture(scope="module")
def seasons():
    return [harvested(seed) for seed in SEEDS]


def test_the_delay_is_recovered(seasons):
    for one in seasons:
        assert one.delay_s == pytest.approx(one.season.monitor.delay_s, abs=DELAY_S)


@pytest.mark.parametrize("kind", KINDS)
def test_planted_faults_of_each_kind_are_left_out(seasons, kind):
    for one in seasons:
        rows = one.rows(kind)
        assert len(rows) > 0
        assert (~one.log["kept"].to_numpy()[rows]).mean() >= FOUND


def test_few_sound_records_are_lost(seasons):
    for one in seasons:
        sound = one.sound()
        assert sound.sum() > 4000
        assert (~one.log["kept"].to_numpy()[sound]).mean() <= LOST


@pytest.mark.parametrize(
    ("interval_s", "smear_s", "delay_s"), [(0.5, 1.0, 6.0), (2.0, 3.0, 14.0), (0.2, 2.0, 11.0)]
)
def test_at_other_logging_rates_too(interval_s, smear_s, delay_s):
    one = harvested(5, 400, interval_s=interval_s, smear_s=smear_s, delay_s=delay_s)
    kept = one.log["kept"].to_numpy()
    for kind in KINDS:
        assert (~kept[one.rows(kind)]).mean() >= FOUND, kind
    assert (~kept[one.sound()]).mean() <= LOST
    assert one.delay_s == pytest.approx(delay_s, abs=DELAY_S)


def off(strips: pd.Series, truth: pd.Series) -> pd.Series:
    """Deviation of each strip from the truth; the common factor is the monitor's calibration."""
    ratio = strips / truth
    return ratio / ratio.mean() - 1


def kept_alone(log: pd.DataFrame, value: pd.Series, ground: pd.Series) -> pd.Series:
    """Grain over ground of the records that count, left-out ground not looked at."""
    sums = pd.DataFrame({"grain": value * ground, "ground": ground})[log["kept"]]
    sums = sums.groupby(log["strip"][log["kept"]]).sum()
    return sums["grain"] / sums["ground"]


def test_strip_means_are_mended(seasons):
    raw, mended, alone = [], [], []
    for one in seasons:
        truth = one.season.truth.strips.set_index("strip")["yield_t_ha"]
        plain = assign_strips(split_passes(one.season.log), one.layout)
        raw.append(off(strip_table(plain).set_index("strip")["yield_t_ha"], truth))
        mended.append(off(strip_table(one.log).set_index("strip")["yield_t_ha"], truth))
        ground = one.log["speed_m_s"] * one.log["swath_m"]
        alone.append(off(kept_alone(one.log, one.log["yield_t_ha"], ground), truth))
    before, after, rest = (pd.concat(parts).to_numpy() for parts in (raw, mended, alone))
    wrong = np.abs(before) >= RAW
    assert wrong.sum() >= 5
    assert np.sqrt((after[wrong] ** 2).mean()) <= MENDED
    assert np.sqrt((after**2).mean()) <= MENDED
    assert (np.abs(after) <= MENDED).mean() >= WITHIN
    # Left-out ground by what stands beside it: nearer the truth than by the mean of its strip.
    assert (after**2).mean() < 0.8 * (rest**2).mean()


def test_strip_means_are_true_on_the_ground_that_counts(seasons):
    errors = []
    for one in seasons:
        log, records = one.log, one.season.records
        truth = kept_alone(log, records["yield_t_ha"], records["cut_m"] * log["speed_m_s"])
        strips = kept_alone(log, log["yield_t_ha"], log["speed_m_s"] * log["swath_m"])
        errors.append(off(strips, truth))
    assert (pd.concat(errors).abs() <= MENDED).mean() >= SAME_GROUND


def test_a_gain_survives_the_screening_unbiased(seasons):
    """A gain of 10%, records of both treatments alike: means of what is kept against the truth."""
    ratios = []
    for one in seasons:
        strips = strip_table(one.log).set_index("strip")
        truth = one.season.truth.strips.set_index("strip")["yield_t_ha"]
        found = strips.groupby("treatment")["yield_t_ha"].mean()
        true = truth.groupby(strips["treatment"]).mean()
        ratios.append((found / found["untreated"] / (true / true["untreated"]))["dressed"])
    # Sixteen strips off by 0.33% each leave a ratio open by 0.17%, four seasons by 0.08%.
    assert np.mean(ratios) == pytest.approx(1, abs=0.0025)
