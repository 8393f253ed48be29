"""From a trial folder to the counting sheet, and from the filled-in sheet back into the folder."""

from __future__ import annotations

import json

import pandas as pd
import pytest
from typer.testing import CliRunner

from trialkit.cli import app
from trialkit.counting_papers import make_counting_sheet
from trialkit.errors import ScoutingError, TrialFolderError
from trialkit.scouting import plant_table
from trialkit.trial import open_trial

SOWING = "\n[sowing]\nseed_kg_ha = 75\nrow_spacing_m = 0.25\n"


@pytest.fixture
def folder(trial_folder):
    with (trial_folder / "trial.toml").open("a") as settings:
        settings.write(SOWING)
    return trial_folder


def settings(folder, text):
    path = folder / "trial.toml"
    path.write_text(path.read_text() + text)


def test_the_sheet_and_the_table_hold_the_same_places(folder):
    papers = make_counting_sheet(folder)
    names = [path.relative_to(folder).as_posix() for path in papers.written]
    assert names == ["results/counting-sheet.html", "results/counting-sheet.csv"]
    table = pd.read_csv(papers.written[1])
    assert table["strip"].tolist() == papers.sheet.places["strip"].tolist()
    assert len(table) == 8 * 5
    assert table[["count", "date", "note"]].isna().all(axis=None)
    assert (table["row_spacing_m"] == 0.25).all()
    page = papers.written[0].read_text(encoding="utf-8")
    for row in table.itertuples():
        assert f"{row.along_m} m · row {row.drill_row}" in page


def test_filled_in_it_is_a_counts_table_with_blanks_left_blank(folder):
    papers = make_counting_sheet(folder, places=3)
    text = papers.written[1].read_text()
    (folder / "counts.csv").write_text(text)
    assert open_trial(folder).counts["count"].isna().all()
    table = pd.read_csv(papers.written[1], dtype=str, keep_default_na=False)
    table["count"], table["date"] = "46", "2024-06-04"
    table.loc[4, "count"], table.loc[7, "count"] = "0", ""
    table.to_csv(folder / "counts.csv", index=False)
    trial = open_trial(folder)
    plants = plant_table(trial.counts, trial.layout)
    assert plants["plants_m2"].tolist()[4] == 0
    assert plants["plants_m2"].isna().tolist().count(True) == 1
    assert plants["place"].tolist()[:6] == [1, 2, 3, 3, 2, 1]  # out along S0, back along S1


def test_the_treatment_is_nowhere_on_the_sheet(folder):
    papers = make_counting_sheet(folder)
    table = papers.written[1].read_text()
    page = papers.written[0].read_text(encoding="utf-8").lower()
    assert "untreated" not in page
    assert "treatment" not in table
    assert "dressed" not in page.replace("which strips are dressed is left out", "")


def test_the_seed_is_that_of_the_command_then_the_file_then_the_analysis(folder):
    def places(**given):
        sheet = make_counting_sheet(folder, **given).sheet
        return sheet.seed, sheet.places["along_m"].tolist()

    first = places()
    assert first[0] == 1  # that of the analysis
    assert places() == first
    settings(folder, "\n[scouting]\nseed = 5\n")
    assert places()[0] == 5
    assert places(seed=9)[0] == 9
    assert places(seed=9)[1] != first[1]


def test_what_it_takes_rests_on_what_is_known(folder):
    page = make_counting_sheet(folder).written[0].read_text(encoding="utf-8")
    assert "150 plants/m² (a usual cereal)" in page
    path = folder / "trial.toml"
    path.write_text(path.read_text() + "seed_weight_g_1000 = 37.5\n")
    page = make_counting_sheet(folder).written[0].read_text(encoding="utf-8")
    assert "170 plants/m² (85% of the seeds sown)" in page  # 75 kg/ha of 37.5 g: 200 seeds/m²
    rows = "".join(f"S{n},{40 + n % 3 + 4 * p},0.25\n" for n in range(8) for p in range(3))
    (folder / "counts.csv").write_text("strip,count,area_m2\n" + rows)
    page = make_counting_sheet(folder).written[0].read_text(encoding="utf-8")
    assert "how the counts in counts.csv scatter" in page


def test_without_a_row_spacing_there_are_metres_and_a_blank(trial_folder):
    papers = make_counting_sheet(trial_folder)
    page = papers.written[0].read_text(encoding="utf-8")
    assert "______ m" in page
    assert " m in</span>" in page
    assert "row_spacing_m under [sowing]" in papers.says[-2]
    assert pd.read_csv(papers.written[1])["row_spacing_m"].isna().all()


def test_short_strips_get_smaller_margins(folder, features, write_layout, draw):
    for n, feature in enumerate(features):
        feature["geometry"] = draw(3 * n, 0, 3, 40)
    write_layout(folder, features)
    sheet = make_counting_sheet(folder).sheet
    assert sheet.end_m == pytest.approx(4, abs=0.05)
    assert sheet.edge_m == pytest.approx(0.45, abs=0.01)
    assert sheet.places["along_m"].between(4, 36).all()


def test_lost_strips_are_not_counted(folder):
    (folder / "as-sown.csv").write_text("strip,lost\nS3,yes\n")
    assert "S3" not in set(make_counting_sheet(folder).sheet.places["strip"])


def test_no_places_and_a_faulty_folder_are_refused(folder):
    with pytest.raises(ScoutingError, match="places=0 is no number of places"):
        make_counting_sheet(folder, places=0)
    (folder / "layout.geojson").write_text("{")
    with pytest.raises(TrialFolderError, match=r"layout\.geojson"):
        make_counting_sheet(folder)


def test_the_command_writes_the_same(folder):
    shown = CliRunner().invoke(app, ["countsheet", str(folder), "--places", "2", "--json"])
    assert shown.exit_code == 0, shown.output
    answer = json.loads(shown.stdout)
    assert len(answer["places"]) == 16
    assert [path.rsplit("/", 1)[1] for path in answer["wrote"]] == [
        "counting-sheet.html",
        "counting-sheet.csv",
    ]
    told = CliRunner().invoke(app, ["countsheet", str(folder), "--pdf"])
    assert "5 places in each of 8 strips, drawn with seed 1" in told.stdout
    assert "counting-sheet.pdf" in told.stdout
