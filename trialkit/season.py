"""The main job in its order: read, screen, strips, fit, payoff. No other module knows the order."""

from __future__ import annotations

import warnings
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from trialkit.answer import check_costs, compare, fit_strips, outlooks, what_next
from trialkit.cross_checks import by_other_yields, by_records, by_shuffling, disagreements
from trialkit.errors import LogError, LogWarning, noted
from trialkit.grain_quality import grain_quality
from trialkit.harvest import (
    against_scales,
    assign_strips,
    by_machine,
    calibrate,
    find_delay,
    find_moisture_delay,
    find_pass_ends,
    given_delay,
    level_machines,
    screen,
    screening_account,
    shift_flow,
    split_passes,
    strip_table,
    weigh_strips,
)
from trialkit.language import say
from trialkit.result import CrossCheck, Summary
from trialkit.scrutiny import Scrutiny, odd_strips, scrutinise
from trialkit.season_counts import record_counts, strip_counts
from trialkit.selling import Selling, selling_of
from trialkit.sensitivity import Sensitivity, by_screening
from trialkit.several_treatments import best_of, ranked
from trialkit.shown import as_line, as_table
from trialkit.trial.folder import Trial
from trialkit.trial.kept_layout import read_allocation
from trialkit.trial.provenance import input_files, software
from trialkit.trial.sown_results import not_as_planned, write_sown
from trialkit.trial.writing import write_csv, write_whole

if TYPE_CHECKING:
    from geopandas import GeoDataFrame
    from pandas import DataFrame

    from trialkit.harvest import Delay, PassEnds
    from trialkit.models import MixedFit
    from trialkit.money import Ranking
    from trialkit.trial.config import TrialConfig

#: Steps of the main job, in order, as a progress bar shows them.
STEPS = (
    "Reading the harvest log",
    "Finding passes and the grain-flow delay",
    "Screening records",
    "Making strip yields",
    "Fitting the model",
    "Cross-checking",
)

Progress = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Harvested:
    """What the harvest station made of a season.

    Parameters
    ----------
    source
        `"monitor"` or `"scales"`: where the strip yields come from.
    strips
        One row a strip: `strip block treatment yield_t_ha area_ha n moisture_pct`.
    log
        Every record, with `kept` and `reason`; None where only scales were used.
    screening
        Records left out by reason; None where only scales were used.
    delay
        The grain-flow delay used; None where only scales were used.
    scales
        Strip yields by the scales, where the strips were weighed.
    warnings
        What the user should know.
    ends
        How starts and ends of passes were judged, of the first machine; None without a log.
    moisture_delay
        The delay of the moisture sensor that was used, of the first machine; None without a log.
    """

    __repr__ = as_line
    _repr_html_ = as_table

    source: str
    strips: DataFrame
    log: DataFrame | None
    screening: DataFrame | None
    delay: Delay | None
    scales: DataFrame | None
    warnings: tuple[str, ...]
    ends: PassEnds | None = None
    moisture_delay: Delay | None = None


@dataclass(frozen=True, slots=True)
class Result:
    """One run of the main job: the answer, and every table behind it.

    Parameters
    ----------
    summary
        What `results/result.json` holds.
    config
        What `trial.toml` said.
    boundary, layout
        Field and strips, WGS 84.
    harvested
        Strip yields and how they came about.
    fit
        The main model.
    scrutiny
        What to look at before it is believed; None where there are too few strips for that.
    sensitivity
        The gain under other screenings; None where the strip yields do not come from a log.
    selling
        What the grain was taken to be sold for.
    ranking
        The treatments side by side in money; None where there is only one.
    """

    __repr__ = as_line

    summary: Summary
    config: TrialConfig
    boundary: GeoDataFrame | None
    layout: GeoDataFrame
    harvested: Harvested
    fit: MixedFit
    scrutiny: Scrutiny | None
    sensitivity: Sensitivity | None = None
    selling: Selling | None = None
    ranking: Ranking | None = None

    def to_json(self) -> str:
        """Return the summary as JSON text: `results/result.json`."""
        return self.summary.to_json()

    def _repr_html_(self) -> str:
        return as_table(self.summary)


def analyse(trial: Trial, *, progress: Progress | None = None) -> Result:
    """Do the main job on a trial: strip yields, the gain with its error, and the money.

    Parameters
    ----------
    trial
        An opened trial, see `open_trial`.
    progress
        Called with the name of each step as it begins.

    Returns
    -------
    Result
        The verdict with its error and money, and the tables behind it. Nothing is written.

    Raises
    ------
    TrialkitError
        If the trial cannot be analysed; the message says why and what would help.

    Examples
    --------
    >>> import trialkit
    >>> from trialkit.shipped import shipped
    >>> trial = trialkit.open_trial(next(shipped("data-demo").glob("*frost*")))
    >>> result = trialkit.analyse(trial)
    >>> len(result.summary.comparisons)
    1
    """
    tell = progress or (lambda _: None)
    harvested = harvest_season(trial, progress=progress)
    tell(STEPS[4])
    with noted() as notes:
        fit = fit_strips(harvested.strips, trial.config)
        check_costs(fit, trial.config)
        quality, of_quality = grain_quality(trial.quality, harvested.strips, fit, trial.config)
        selling = selling_of(quality, trial.config)
        comparisons = compare(fit, trial.config, selling)
        ranking = ranked(fit, comparisons, trial.config, selling)
        tell(STEPS[5])
        checks = tuple(_cross_checks(harvested, trial))
        scrutiny = scrutinise(fit, harvested.strips, harvested.log, trial.config, selling)
    otherwise = _under_other_screenings(harvested, trial, selling)
    summary = Summary(
        trial=trial.config.trial.name,
        season=trial.config.trial.season,
        crop=trial.config.trial.crop,
        currency=trial.config.money.currency,
        comparisons=comparisons,
        strips=strip_counts(harvested.strips) | not_as_planned(trial),
        records=record_counts(harvested.log, harvested.screening),
        cross_checks=checks,
        warnings=(
            *(() if otherwise is None else otherwise.hangs),
            *trial.sown_notes,
            *(check.sentence() for check in trial.checks),
            *harvested.warnings,
            *dict.fromkeys(notes),
            *of_quality,
            *disagreements(comparisons, checks),
            *odd_strips(scrutiny),
        ),
        inputs=tuple(input_files(trial)),
        versions=software(),
        seed=trial.config.analysis.seed,
        what_next=what_next(outlooks(comparisons, harvested.strips, trial.config, selling)),
        grain_quality=quality,
        ranking=best_of(ranking),
    )
    field = trial.config, trial.boundary, trial.layout
    return Result(summary, *field, harvested, fit, scrutiny, otherwise, selling, ranking)


def _under_other_screenings(
    harvested: Harvested, trial: Trial, selling: Selling
) -> Sensitivity | None:
    if harvested.source != "monitor" or harvested.log is None:
        return None
    return by_screening(
        harvested.log, trial.layout, trial.config, boundary=trial.boundary, selling=selling
    )


def harvest_season(trial: Trial, *, progress: Progress | None = None) -> Harvested:
    """Make strip yields from a trial's yield-monitor exports, or its scale weights.

    Parameters
    ----------
    trial
        An opened trial.
    progress
        Called with the name of each step as it begins.

    Returns
    -------
    Harvested
        Strip yields, the screened log and the account of what was left out.

    Raises
    ------
    LogError
        If there is neither a usable log nor strip weights.
    """
    with noted() as notes:
        scales = _scales(trial)
        weighed_only = scales is not None and not trial.harvest_logs
        source = trial.config.analysis.yield_from or ("scales" if weighed_only else "monitor")
        if source == "monitor" or trial.harvest_logs:
            log, (delay, moist, ends) = _monitor(trial, progress)
            by_monitor = strip_table(log, trial.layout)
        else:
            log, delay, moist, ends, by_monitor = None, None, None, None, None
        _check_calibration(by_monitor, scales, trial)
    strips = by_monitor if source == "monitor" else scales
    if strips is None:
        raise LogError(
            "weights.csv: there are no weights by strip, but trial.toml says yield_from = "
            '"scales". Add them, or declare "monitor".'
        )
    account = None if log is None else screening_account(log)
    told = tuple(dict.fromkeys(notes))
    return Harvested(source, strips, log, account, delay, scales, told, ends, moist)


def _monitor(
    trial: Trial, progress: Progress | None
) -> tuple[DataFrame, tuple[Delay, Delay, PassEnds]]:
    """Read the log and bring it to screened records inside strips."""
    tell = progress or (lambda _: None)
    settings = trial.config.harvest
    tell(STEPS[0])
    log = trial.harvest_log()
    tell(STEPS[1])
    log = by_machine(log, split_passes)
    log, delay, moist = _without_delay(log, settings.delay_s, settings.moisture_delay_s)
    tell(STEPS[2])
    ends: list[PassEnds] = []

    def screened(part: DataFrame) -> DataFrame:
        ends.append(find_pass_ends(part))
        field = {"boundary": trial.boundary, "harvester_m": trial.config.machines.harvester_m}
        return screen(part, settings.screening, ends=ends[-1], **field)

    log = by_machine(log, screened)
    tell(STEPS[3])
    log = assign_strips(log, trial.layout, edge_m=settings.edge_m)
    if "machine" in log:
        log, _ = level_machines(log)
    if trial.weights is not None and "load" in trial.weights:
        log, _ = calibrate(log, trial.weights, settings.standard_moisture_pct)
    return log, (delay, moist, ends[0])


def _without_delay(
    log: DataFrame, asked: float | str, of_moisture: float | str
) -> tuple[DataFrame, Delay, Delay]:
    """Take the delays of flow and moisture out, each machine's own; return the first one's."""
    delays: list[Delay] = []
    moist: list[Delay] = []

    def moved(part: DataFrame) -> DataFrame:
        delays.append(find_delay(part) if isinstance(asked, str) else given_delay(asked))
        moist.append(find_moisture_delay(part, delays[-1].delay_s, of_moisture))
        return shift_flow(part, delays[-1].delay_s, moisture_delay_s=moist[-1].delay_s)

    log = by_machine(log, moved)
    if len(delays) > 1:
        told = [
            say("{delay:.0f} s for {harvester}", delay=delay.delay_s, harvester=number)
            for number, delay in enumerate(delays, start=1)
        ]
        note = say("Grain-flow delay of the harvesters: {delays}.", delays=", ".join(told))
        warnings.warn(note, LogWarning, stacklevel=2)
    return log, delays[0], moist[0]


def _check_calibration(monitor: DataFrame | None, scales: DataFrame | None, trial: Trial) -> None:
    """Note how the monitor compares with scales, or that nobody knows."""
    calibrated = trial.weights is not None and "load" in trial.weights
    note = "" if monitor is None or calibrated else against_scales(monitor, scales)
    if note:
        warnings.warn(note, LogWarning, stacklevel=2)


def _scales(trial: Trial) -> DataFrame | None:
    if trial.weights is None or "strip" not in trial.weights:
        return None
    moisture_pct = trial.config.harvest.standard_moisture_pct
    return weigh_strips(trial.weights, trial.layout, standard_moisture_pct=moisture_pct)


def _cross_checks(harvested: Harvested, trial: Trial) -> Iterator[CrossCheck]:
    """Ask for the same gains by every other method the season's data allow."""
    config = trial.config
    drawn, planned = read_allocation(trial.path), trial.planned_treatments
    yield from by_shuffling(harvested.strips, config, drawn, planned)
    if harvested.source == "monitor" and harvested.log is not None:
        yield from by_records(harvested.log, config)
        if harvested.scales is not None:
            yield from by_other_yields("scales", harvested.scales, config)
    elif harvested.log is not None:
        yield from by_other_yields("monitor", strip_table(harvested.log), config)


def write_results(trial: Trial, result: Result) -> list[Path]:
    """Write `results/result.json` and the tables behind it.

    Returns
    -------
    list of Path
        The files written, each whole or not at all.
    """
    written = [
        write_whole(trial.results / "result.json", result.to_json()),
        write_csv(trial.results / "model.csv", result.fit.coefficients.reset_index()),
    ]
    if result.sensitivity is not None:
        written.append(write_csv(trial.results / "sensitivity.csv", result.sensitivity.table))
    return [*written, *write_sown(trial), *write_harvest(trial, result.harvested)]


def write_harvest(trial: Trial, harvested: Harvested) -> list[Path]:
    """Write strip yields and, where a log was read, every record with why it was left out.

    Returns
    -------
    list of Path
        The files written.
    """
    written = [write_csv(trial.results / "strips.csv", harvested.strips)]
    if harvested.log is not None and harvested.screening is not None:
        written += [
            write_csv(trial.results / "screening.csv", harvested.screening),
            write_csv(trial.results / "records.csv", harvested.log, decimals=7),
        ]
    return written
