"""From a trial folder to the counting sheet: the places drawn, the page, and the table to fill."""

from __future__ import annotations

import hashlib
import math
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from trialkit.errors import ScoutingError, noted
from trialkit.language import marked, say
from trialkit.position import local_grid
from trialkit.report.counting_page import counting_page
from trialkit.report.paper import write_pdf
from trialkit.scouting import (
    ComparisonCounts,
    CountingSheet,
    count_spread,
    counting_sheet,
    counts_for_difference,
    seeds_per_m2,
)
from trialkit.trial import Trial, open_trial, read_scouting
from trialkit.trial.drawings import LAYOUT_FILE
from trialkit.trial.writing import write_csv, write_whole

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

SHEET_FILE, PDF_FILE, TABLE_FILE = (
    "counting-sheet.html",
    "counting-sheet.pdf",
    "counting-sheet.csv",
)

#: Ground left out at the ends and along the edges of a strip, m, and the most of its length and
#: width that may be: common practice, no source.
_END_M, _EDGE_M, _END_SHARE, _EDGE_SHARE = 20.0, 1.0, 0.1, 0.15
#: Where nothing is known: plants/m² of a cereal, how much strips of one treatment differ, %, and
#: the share of seeds that come up; and the least that strips are taken to differ, since few counts
#: often make it zero: common practice, no source.
_PLANTS_M2, _STRIP_CV_PCT, _COMES_UP, _LEAST_CV_PCT = 150.0, 8.0, 0.85, 5.0
#: Where the plants taken for granted come from.
_AS_WANTED = marked(
    "That takes {plants:.0f} plants/m² (as wanted in trial.toml), and strips of one treatment that "
    "differ by {strips:.0f}% (common practice, no source)."
)
_OF_SEEDS = marked(
    "That takes {plants:.0f} plants/m² ({share:.0%} of the seeds sown), and strips of one "
    "treatment that differ by {strips:.0f}% (common practice, no source)."
)
_USUAL = marked(
    "That takes {plants:.0f} plants/m² (a usual cereal), and strips of one treatment that differ "
    "by {strips:.0f}% (common practice, no source)."
)
#: Difference between treatments worth seeing, %.
_DIFFERENCE_PCT = 15.0


@dataclass(frozen=True, slots=True, eq=False)
class CountingPapers:
    """The counting sheet of a trial and what was written of it.

    Parameters
    ----------
    sheet
        The places.
    wanted
        How many places it takes to tell treatments apart; None with fewer than two strips each.
    says
        Sentences on what to know.
    written
        The files written.
    """

    sheet: CountingSheet
    wanted: ComparisonCounts | None
    says: tuple[str, ...]
    written: tuple[Path, ...]

    def record(self) -> dict[str, Any]:
        """Return everything as plain values."""
        places = self.sheet.places.astype({"drill_row": "object"})
        rows = places.where(places.notna(), None).to_dict("records")
        return {
            "start": self.sheet.start,
            "seed": self.sheet.seed,
            "end_m": self.sheet.end_m,
            "edge_m": self.sheet.edge_m,
            "places": rows,
            "says": list(self.says),
            "wrote": [str(path) for path in self.written],
        }


def make_counting_sheet(
    path: str | Path, *, places: int | None = None, seed: int | None = None, pdf: bool = False
) -> CountingPapers:
    """Draw random places to count plants at, and write the sheet to carry and the table to fill.

    Parameters
    ----------
    path
        The trial folder.
    places
        Places a strip; None for those of `trial.toml`, 5 where it does not say.
    seed
        Seed of the draw; None for that of `trial.toml`. The same seed draws the same places.
    pdf
        Whether the sheet is also set as a PDF.

    Returns
    -------
    CountingPapers
        Written into `results/`; `counts.csv` is never touched.

    Raises
    ------
    TrialFolderError
        If anything in the folder is faulty.
    ScoutingError
        If the strips have no room for so many places.
    """
    trial = open_trial(path)
    config, results = trial.config, trial.results
    scouting, about = config.scouting, config.trial
    spacing = None if config.sowing is None else config.sowing.row_spacing_m
    end_m, edge_m = _margins(trial.layout)
    sheet = counting_sheet(
        trial.layout,
        places=scouting.places if places is None else places,
        seed=next(s for s in (seed, scouting.seed, config.analysis.seed) if s is not None),
        end_m=end_m,
        edge_m=edge_m,
        row_spacing_m=spacing,
    )
    wanted, assumed = _how_many(trial, scouting.row_length_m, spacing)
    page = counting_page(
        sheet,
        trial=about.name,
        season=about.season,
        paddock=about.paddock,
        crop=about.crop,
        row_length_m=scouting.row_length_m,
        row_spacing_m=spacing,
        wanted=wanted,
        assumed=assumed,
        fingerprint=hashlib.sha256((trial.path / LAYOUT_FILE).read_bytes()).hexdigest(),
        invented=about.invented,
    )
    written = [
        write_whole(results / SHEET_FILE, page),
        write_csv(results / TABLE_FILE, _to_fill_in(sheet, scouting.row_length_m, spacing)),
    ]
    if pdf:
        written.append(write_pdf(page, results / PDF_FILE))
    says = tuple(_says(sheet, wanted, spacing))
    return CountingPapers(sheet, wanted, says, tuple(written))


def _margins(layout: GeoDataFrame) -> tuple[float, float]:
    """Return the ground left out at ends and edges, m: less where strips are short or narrow."""
    strips = layout[layout["role"] == "strip"]
    boxes = strips.to_crs(local_grid(strips)).geometry.minimum_rotated_rectangle()
    around, area = boxes.length / 2, boxes.area
    width = (around - (around**2 - 4 * area).clip(lower=0) ** 0.5) / 2
    short, narrow = float((around - width).min()), float(width.min())
    return min(_END_M, _END_SHARE * short), min(_EDGE_M, _EDGE_SHARE * narrow)


def _how_many(
    trial: Trial, row_length_m: float, spacing: float | None
) -> tuple[ComparisonCounts | None, str]:
    """Return how many places it takes, and in words what that rests on."""
    strips = trial.layout[trial.layout["role"] == "strip"]
    pairs = int(strips["treatment"].value_counts().min())
    if pairs < 2 or strips["treatment"].nunique() < 2:
        return None, ""
    known = _spread_so_far(trial)
    if known is not None:
        mean_count, theta, own_cv = known
        strip_cv = max(own_cv, _LEAST_CV_PCT)
        assumed = say(
            "That rests on how the counts in counts.csv scatter, and strips of one treatment that "
            "differ by {strips:.0f}%.",
            strips=strip_cv,
        )
    else:
        plants, words = _plants_expected(trial)
        mean_count, theta = plants * row_length_m * (spacing or 0.2), math.inf
        strip_cv = _STRIP_CV_PCT
        assumed = say(words, plants=plants, strips=_STRIP_CV_PCT, share=_COMES_UP)
    wanted = counts_for_difference(
        _DIFFERENCE_PCT, mean_count=mean_count, strip_cv_pct=strip_cv, pairs=pairs, theta=theta
    )
    return wanted, assumed


def _spread_so_far(trial: Trial) -> tuple[float, float, float] | None:
    """Return count, theta and strip CV of counts made before, where they tell all three."""
    with noted():
        plants = read_scouting(trial).plants
        if plants is None:
            return None
        try:
            spread = count_spread(plants)
        except ScoutingError:
            return None
    told = (spread.mean_count, spread.theta, spread.strip_cv_pct)
    return None if any(math.isnan(value) for value in told) else told


def _plants_expected(trial: Trial) -> tuple[float, str]:
    sowing = trial.config.sowing
    if sowing is not None and sowing.target_plants_m2 is not None:
        return sowing.target_plants_m2, _AS_WANTED
    if sowing is not None and sowing.seed_weight_g_1000 is not None:
        seeds = seeds_per_m2(sowing.rate_kg_ha, sowing.seed_weight_g_1000)
        return _COMES_UP * seeds, _OF_SEEDS
    return _PLANTS_M2, _USUAL


def _to_fill_in(sheet: CountingSheet, row_length_m: float, spacing: float | None) -> pd.DataFrame:
    """Return the places as `counts.csv` holds them, the counts blank."""
    places = sheet.places
    drill_row = places["drill_row"].astype("object")
    return pd.DataFrame(
        {
            "strip": places["strip"],
            "place": places["place"],
            "along_m": places["along_m"].round().astype(int),
            "drill_row": drill_row.where(places["drill_row"].notna(), ""),
            "date": "",
            "count": "",
            "row_length_m": f"{row_length_m:g}",
            "row_spacing_m": "" if spacing is None else f"{spacing:g}",
            "longitude": places["longitude"],
            "latitude": places["latitude"],
            "note": "",
        }
    )


def _says(
    sheet: CountingSheet, wanted: ComparisonCounts | None, spacing: float | None
) -> list[str]:
    strips = sheet.places["strip"].nunique()
    says = [
        say(
            "{places} places in each of {strips} strips, drawn with seed {seed}; which strips are "
            "dressed is left out on purpose.",
            places=len(sheet.places) // strips,
            strips=strips,
            seed=str(sheet.seed),
        )
    ]
    if wanted is not None:
        says.append(wanted.sentence)
    if spacing is None:
        says.append(
            say(
                "The distance between rows is not known: give row_spacing_m under [sowing] in "
                "trial.toml, and the sheet names the row to count."
            )
        )
    fill_in = say("Fill in {file} and save it as counts.csv in the trial folder.", file=TABLE_FILE)
    return [*says, fill_in]
