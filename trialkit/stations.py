"""The stations before harvest, and where it worked, as the season report shows them.

Each has a section only where the folder has something. What goes wrong in one of them is said in
its place; the gain does not hang on it.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TYPE_CHECKING

from markupsafe import Markup

from trialkit import scouting
from trialkit.design import detectable_difference
from trialkit.errors import TrialkitError, noted
from trialkit.frost_answer import cold_line, gain_along_cold
from trialkit.language import say
from trialkit.report import (
    frost_pictures,
    pieces,
    scouting_pictures,
    scouting_tables,
    sowing_tables,
    station_words,
)
from trialkit.report.pieces import Piece, Shown
from trialkit.trial import read_scouting
from trialkit.trial.dressing_record import read_dressing_record
from trialkit.trial.kept_layout import read_allocation
from trialkit.trial.laying_out import how_drawn
from trialkit.where_it_worked import MEASURE, gain_by_height

if TYPE_CHECKING:
    from pandas import DataFrame

    from trialkit.models import MixedFit
    from trialkit.trial import Scouted, Trial


def design_section(trial: Trial, fit: MixedFit) -> Piece:
    """Say how the trial was laid out and drawn, and what difference it could see.

    Parameters
    ----------
    trial
        The trial.
    fit
        The main model.
    """
    strips = trial.layout[trial.layout["role"] == "strip"]
    counts = {str(name): int(n) for name, n in strips["treatment"].value_counts(sort=False).items()}
    sowing, drawn = trial.config.sowing, read_allocation(trial.path)
    return pieces.words(
        station_words.laid_out(
            counts,
            strips["block"].nunique(),
            seed_kg_ha=None if sowing is None else sowing.rate_kg_ha,
        ),
        say(station_words.BY_HAND) if drawn is None else how_drawn(drawn),
        _could_see(min(counts.values()), len(counts), fit),
    )


def _could_see(replicates: int, treatments: int, fit: MixedFit) -> str:
    mean = float(fit.means("treatment")["estimate"].mean())
    if replicates < 3 or mean <= 0 or "block" not in fit.formula:
        return ""
    cv_pct = 100 * math.sqrt(float(fit.variances["residual"])) / mean
    return station_words.could_see(
        detectable_difference(
            replicates, cv_pct, mean=mean, layout="pairs" if treatments == 2 else "blocks",
            treatments=treatments,
        )
    )  # fmt: skip


def before_harvest(trial: Trial, log: DataFrame | None) -> Piece:
    """Show what was mixed, what came up, what was scored and what the frost did.

    Parameters
    ----------
    trial
        The trial.
    log
        Every record of the harvest inside strips; None where only scales were used.
    """
    sections = [_section(station_words.DRESSING, lambda notes: _dressing(trial, notes))]
    try:
        with noted():  # they stand in the notebook of the scouting
            scouted = read_scouting(trial)
    except TrialkitError as error:
        sections.append(pieces.words(str(error)).html())
    else:
        sections += [
            _section(station_words.PLANTS, lambda notes: _plants(trial, scouted, notes)),
            _section(station_words.SCORES, lambda notes: _scores(trial, scouted, notes)),
            _section(station_words.FROST, lambda notes: _frost(trial, scouted, log, notes)),
        ]
    shown = "".join(sections)
    return Piece(shown) if shown else pieces.words(say(station_words.NOTHING))


def _section(title: str, make: Callable[[list[str]], list[Shown]]) -> str:
    """Return a station under its heading, with what was noticed; empty where there is nothing."""
    notes: list[str] = []
    try:
        with noted() as seen:
            parts = make(notes)
    except TrialkitError as error:
        parts, seen = [pieces.words(str(error))], []
    if not parts:
        return ""
    parts.append(pieces.bullets(dict.fromkeys([*notes, *seen])))
    heading = Markup("<h3>{}</h3>").format(say(title))
    return f"{heading}{''.join(part.html() for part in parts)}"


def _dressing(trial: Trial, notes: list[str]) -> list[Shown]:
    if trial.dressing is None:
        return []
    record = read_dressing_record(trial.config, trial.dressing)
    notes += record.notes
    parts: list[Shown] = [pieces.bullets(station_words.mixed(record.batches))]
    if len(record.rates):
        parts.append(sowing_tables.rate_rows(record))
    return parts


def _plants(trial: Trial, scouted: Scouted, notes: list[str]) -> list[Shown]:
    if scouted.plants is None:
        return []
    config = trial.config
    counted = scouting.compare_counts(
        scouted.plants, against=config.control, confidence=config.analysis.confidence
    )
    notes += counted.notes
    sentences = list(counted.sentences)
    sowing = config.sowing
    if sowing is not None and sowing.seed_weight_g_1000:
        sown = scouting.seeds_per_m2(sowing.rate_kg_ha, sowing.seed_weight_g_1000)
        shares = scouting.establishment_pct(counted.means["estimate"], sown)
        sentences.append(station_words.came_up(sown, {str(k): float(v) for k, v in shares.items()}))
    return [
        pieces.bullets(sentences),
        scouting_tables.stand_rows(counted),
        scouting_pictures.counts_plot(scouted.plants, control=config.control),
    ]


def _scores(trial: Trial, scouted: Scouted, notes: list[str]) -> list[Shown]:
    if scouted.scores is None:
        return []
    sentences: list[str] = []
    for name in scouted.scores["score"].unique():
        found = scouting.compare_scores(scouted.scores, str(name), against=trial.config.control)
        sentences += found.sentences
        notes += found.notes
    return [pieces.bullets(sentences)]


def _frost(trial: Trial, scouted: Scouted, log: DataFrame | None, notes: list[str]) -> list[Shown]:
    if scouted.temperatures is None:
        return []
    frost, risk = scouting.frost_nights(scouted.temperatures), None
    how = trial.config.scouting.temperatures
    if scouted.stages is not None and how is not None:
        risk = scouting.frost_risk(
            scouted.temperatures, scouted.stages, sensor=how.sensor,
            crop=trial.config.trial.crop,
        )  # fmt: skip
        notes += risk.notes
    parts: list[Shown] = [scouting_pictures.frost_plot(frost, risk=risk, stages=scouted.stages)]
    if risk is not None:
        parts.append(scouting_tables.harmful_rows(risk))
    if log is not None and "elevation_m" in log:
        parts += _along_cold(trial, scouted, log, notes)
    return parts


def _along_cold(trial: Trial, scouted: Scouted, log: DataFrame, notes: list[str]) -> list[Shown]:
    try:
        line, why_not = cold_line(scouted, log)
        answer = gain_along_cold(log, trial.config, line=line)
    except TrialkitError as error:
        return [pieces.words(str(error))]
    notes += answer.notes
    return [
        pieces.words(why_not),
        pieces.bullets(answer.sentences),
        frost_pictures.gain_along_plot(
            answer.gains, answer.measure, control=trial.config.control,
            confidence=trial.config.analysis.confidence,
        ),
    ]  # fmt: skip


def where_section(trial: Trial, log: DataFrame | None) -> Piece:
    """Say on which ground the gain was larger.

    Parameters
    ----------
    trial
        The trial.
    log
        Every record of the harvest inside strips; None where only scales were used.
    """
    if log is None or "elevation_m" not in log:
        return pieces.words(say(station_words.NO_HEIGHTS))
    try:
        found = gain_by_height(log, trial.config)
    except TrialkitError as error:
        return pieces.words(str(error))
    picture = frost_pictures.gain_along_plot(
        found.gains, MEASURE, control=trial.config.control,
        confidence=trial.config.analysis.confidence,
    )  # fmt: skip
    parts = (pieces.bullets(found.sentences), picture, pieces.bullets(found.notes))
    return Piece("".join(part.html() for part in parts))
