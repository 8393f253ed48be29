"""Several seasons as a page to read and as plain values."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

from trialkit.across_seasons import AcrossSeasons, PooledTreatment, pool_seasons
from trialkit.errors import TrialkitError
from trialkit.language import say
from trialkit.report import pieces, season_page, season_words
from trialkit.report.pieces import Piece, Shown
from trialkit.report.season_pictures import gain_forest, net_forest
from trialkit.season_answers import SeasonAnswer
from trialkit.trial.writing import write_whole

if TYPE_CHECKING:
    from collections.abc import Sequence

    from trialkit.result import Summary
    from trialkit.trial import Trial

PAGE_FILE, VALUES_FILE = "seasons.html", "seasons.json"


def write_seasons(found: AcrossSeasons, folder: Path) -> list[Path]:
    """Write the report of several seasons.

    Parameters
    ----------
    found
        What they say together.
    folder
        Where it goes; made if it is not there.

    Returns
    -------
    list of Path
        The files written, each whole or not at all.
    """
    parts = [part for treatment in found.treatments for part in treatment_parts(treatment, found)]
    text = json.dumps(plain_values(found), indent=2, ensure_ascii=False, allow_nan=False)
    return [
        write_whole(folder / PAGE_FILE, season_page.season_page(parts, found.notes)),
        write_whole(folder / VALUES_FILE, text + "\n"),
    ]


def treatment_parts(
    treatment: PooledTreatment, found: AcrossSeasons, *, level: int = 2
) -> list[Shown]:
    """Return answer, pictures and tables of one treatment, in order.

    Parameters
    ----------
    treatment
        One of `found.treatments`.
    found
        All of them.
    level
        Level of headings on their page.
    """
    one = treatment
    pictures: list[Shown] = [
        gain_forest(
            one.table, one.gain, break_even_t_ha=one.mean_pays.break_even_t_ha, control=one.control
        )
    ]
    if one.net is not None:
        pictures.append(net_forest(one.table, one.net, currency=found.currency or ""))
    return [
        season_page.answer(one.treatment, one.control, one.gain, one.mean_pays, one.next_season),
        *pictures,
        season_page.next_step(
            one.step,
            one.why_no_step,
            one.treatment,
            found.seasons[-1].summary.currency,
            level=level,
        ),
        season_page.season_table(one.table, found.currency),
        season_page.so_far_table(one.so_far),
        season_page.frost_table(one.frost),
        season_page.without_table(one.without_one),
    ]


def with_earlier(trial: Trial, summary: Summary, earlier: Sequence[str | Path]) -> Piece:
    """Show a season taken together with earlier ones, as a section of its report.

    Parameters
    ----------
    trial
        The trial of this season.
    summary
        Its answer.
    earlier
        Folders of earlier seasons; empty where none was named.
    """
    if not earlier:
        return pieces.words(say(season_words.ALONE))
    try:
        own = SeasonAnswer(trial.path, trial.config, summary, ())
        found = pool_seasons(earlier, own=own)
    except TrialkitError as error:
        return pieces.words(str(error))
    parts = [
        part
        for treatment in found.treatments
        for part in treatment_parts(treatment, found, level=3)
    ]
    return Piece("".join(part.html() for part in (*parts, pieces.bullets(found.notes))))


def plain_values(found: AcrossSeasons) -> dict[str, Any]:
    """Return what the seasons say as plain values, ready for JSON.

    Parameters
    ----------
    found
        What they say together.
    """
    return {
        "seasons": [
            {
                "folder": answer.path.name,
                "trial": answer.summary.trial,
                "season": answer.summary.season,
                "inputs": [
                    {"file": entry.file, "sha256": entry.sha256} for entry in answer.summary.inputs
                ],
            }
            for answer in found.seasons
        ],
        "treatments": [_treatment(one) for one in found.treatments],
        "notes": list(found.notes),
    }


def _treatment(one: PooledTreatment) -> dict[str, Any]:
    gain = one.gain
    return {
        "treatment": one.treatment,
        "control": one.control,
        "gain_t_ha": gain.estimate,
        "std_error_t_ha": gain.std_error,
        "df": gain.df if math.isfinite(gain.df) else None,
        "low_t_ha": gain.low,
        "high_t_ha": gain.high,
        "next_low_t_ha": gain.next_low,
        "next_high_t_ha": gain.next_high,
        "between_seasons_sd_t_ha": gain.tau2**0.5,
        "break_even_t_ha": one.mean_pays.break_even_t_ha,
        "chance_mean_pays": one.mean_pays.chance_paid,
        "chance_next_pays": one.next_season.chance_paid,
        "verdict": one.mean_pays.verdict,
        "next_step": None if one.step is None else one.step.answer,
        "net_per_ha": None if one.net is None else one.net.estimate,
        "by_season": json.loads(one.table.to_json(orient="records")),
        "so_far": json.loads(one.so_far.to_json(orient="records")),
        "frost": json.loads(one.frost.to_json(orient="records")),
    }
