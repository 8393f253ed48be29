"""What was sown, as a grower says, draws or records it: read, checked, and made the layout."""

from __future__ import annotations

import hashlib
import json

import geopandas as gpd
import pytest
from shapely.geometry import LineString, shape

from trialkit.errors import TrialFolderError
from trialkit.trial import check_folder, open_trial
from trialkit.trial.provenance import input_files

#: One degree of the trial's drawings in metres, see `tests/conftest.py`; within a share of it.
AREA = 5e-3


def write(folder, name, text):
    path = folder / name
    path.parent.mkdir(exist_ok=True)
    path.write_text(text)


def faults(folder):
    _, checks = check_folder(folder)
    return [check.sentence() for check in checks if check.outcome == "fault"]


def treatments(trial):
    strips = trial.layout[trial.layout["role"] == "strip"]
    return dict(zip(strips["strip"], strips["treatment"], strict=True))


def drawing(*features):
    return json.dumps({"type": "FeatureCollection", "features": list(features)})


def feature(geometry, **properties):
    return {"type": "Feature", "properties": properties, "geometry": geometry}


def test_without_files_the_plan_is_analysed(trial_folder):
    trial = open_trial(trial_folder)
    assert trial.layout is trial.planned_layout
    assert trial.sown_differences == ()
    assert trial.sown_notes == ()


def test_a_table_with_headings_only_says_nothing(trial_folder):
    write(trial_folder, "as-sown.csv", "strip,treatment,lost,note\n")
    trial = open_trial(trial_folder)
    assert trial.layout is trial.planned_layout


def test_rows_as_a_field_card_has_them(trial_folder):
    write(
        trial_folder,
        "as-sown.csv",
        "strip,treatment,lost,from_m,to_m,from_end,note\n"
        "S0,,,,,,\n"
        "S1,UNTREATED,no,,,,wrong bin\n"
        "S2,,,,,,\n"
        "S5,,yes,,,,bog\n"
        "S6,,yes,,120,N,drowned\n"
        "S7,dressed,,250,,north,auger ran on\n",
    )
    trial = open_trial(trial_folder)
    assert treatments(trial) == {
        **{"S0": "untreated", "S1": "untreated", "S2": "dressed", "S3": "untreated"},
        **{"S4": "untreated", "S6": "dressed", "S7": "untreated"},
    }
    told = {one.strip: (one.what, one.note) for one in trial.sown_differences}
    assert told == {
        "S1": ("other treatment", "wrong bin"),
        "S5": ("left out", "bog"),
        "S6": ("part left out", "drowned"),
        "S7": ("part left out", "auger ran on"),
    }
    lost = {one.strip: one.lost_pct for one in trial.sown_differences}
    assert lost["S6"] == pytest.approx(100 * 120 / 300, rel=AREA)
    assert lost["S7"] == pytest.approx(100 * 50 / 300, rel=2 * AREA)
    # North is where latitudes are greater.
    south = shape(trial.layout.set_index("strip").query("role == 'strip'").loc["S6", "geometry"])
    plan = trial.planned_layout.set_index("strip").loc["S6", "geometry"]
    assert south.bounds[1] == pytest.approx(plan.bounds[1], abs=1e-8)
    assert south.bounds[3] < plan.bounds[3] - 0.001


def test_the_plan_and_every_input_stay_as_they_are(trial_folder):
    write(trial_folder, "as-sown.csv", "strip,treatment\nS0,dressed\n")
    before = {path: path.read_bytes() for path in trial_folder.rglob("*") if path.is_file()}
    trial = open_trial(trial_folder)
    assert trial.planned_treatments["S0"] == "untreated"
    assert {path: path.read_bytes() for path in before} == before
    listed = {entry.file: entry.sha256 for entry in input_files(trial)}
    wanted = hashlib.sha256(before[trial_folder / "as-sown.csv"]).hexdigest()
    assert listed["as-sown.csv"] == wanted


def test_the_whole_lot_shifted(trial_folder):
    write(trial_folder, "as-sown.csv", "strip,moved_m,toward\nall,24,east\n")
    trial = open_trial(trial_folder)
    strips = trial.layout.set_index("strip")
    plan = trial.planned_layout.set_index("strip")
    # S0 now lies where S1 was planned, but for the corners' rounding.
    there = strips.loc["S0", "geometry"].symmetric_difference(plan.loc["S1", "geometry"]).area
    assert there < 0.02 * plan.loc["S1", "geometry"].area
    assert trial.sown_notes[1].endswith("S7: sown 24 m to the east of the plan.")


FAULTS = {
    "unknown strip": ("strip,treatment\nS99,dressed\n", "row 2, strip: The layout has no strip"),
    "unknown treatment": (
        "strip,treatment\nS1,dresed\n",
        "row 2, treatment: trial.toml has no treatment 'dresed'. Did you mean 'dressed'?",
    ),
    "strip twice": (
        "strip,treatment\nS1,dressed\nS2,dressed\nS1,untreated\n",
        "row 4, strip: Strip S1 stands twice: row 2 speaks of it too",
    ),
    "beyond the end": (
        "strip,lost,from_m,to_m,from_end\nS1,yes,200,400,north\n",
        "row 2: It is 300 m long, not 400 m",
    ),
    "no end": ("strip,lost,from_m,to_m\nS1,yes,0,50\n", "row 2, from_end: It does not say from"),
    "no such end": (
        "strip,lost,from_m,to_m,from_end\nS1,yes,0,50,east\n",
        "row 2: It runs north and south, so that names neither end",
    ),
    "no direction": (
        "strip,lost,from_m,to_m,from_end\nS1,yes,0,50,gate\n",
        "row 2, from_end: 'gate' is no direction",
    ),
    "part without a word": (
        "strip,lost,from_m,to_m,from_end\nS1,,0,50,north\n",
        "It gives a part of the strip, and not what became of it",
    ),
    "not clear": ("strip,lost\nS1,perhaps\n", "row 2, lost: 'perhaps' is not clear. Write yes"),
    "nothing said": ("strip,note\nS1,wet\n", "row 1: Nothing says what was sown. Add a column"),
    "misspelt heading": ("strip,treatmnt\nS1,dressed\n", "There is no column 'treatmnt'"),
    "empty": ("", "as-sown.csv: The file is empty. Fill it in, or delete it."),
    "half a move": ("strip,moved_m,toward\nS1,24,\n", "moved_m and toward belong together"),
    "moved along": (
        "strip,moved_m,toward\nall,24,north\n",
        "row 2, toward: It runs north and south, so that names neither side",
    ),
    "all dressed": ("strip,treatment\nall,dressed\n", "'all' cannot get one treatment"),
    "moved onto the neighbour": (
        "strip,moved_m,toward\nS1,6,east\n",
        "as-sown.csv, strip S1: Strips S1 and S2 overlap by",
    ),
    "no control left": (
        "strip,treatment\nS0,dressed\nS3,dressed\nS4,dressed\nS7,dressed\n",
        "as-sown.csv: There are no untreated strips",
    ),
    "none left": (
        "strip,lost\n" + "".join(f"S{n},yes\n" for n in range(8)),
        "as-sown.csv: No strip is left",
    ),
}


@pytest.mark.parametrize("name", FAULTS)
def test_each_fault_of_the_table_is_named_with_its_place(trial_folder, name):
    text, message = FAULTS[name]
    write(trial_folder, "as-sown.csv", text)
    found = faults(trial_folder)
    assert any(message in sentence for sentence in found), found


def test_faults_of_all_files_come_at_once(trial_folder, draw):
    write(trial_folder, "as-sown.csv", "strip,treatment,lost\nS9,dressed,\nS1,dressd,perhaps\n")
    write(trial_folder, "as-sown.geojson", drawing(feature(draw(0, 0, 5, 5), role="pond")))
    write(trial_folder, "as-sown/log.csv", "longitude,latitude,product\n85.0,-38.5,A\n")
    with pytest.raises(TrialFolderError, match="has 5 faults") as raised:
        open_trial(trial_folder)
    for place in ("row 2, strip", "row 3, treatment", "row 3, lost", "as-sown.geojson", "log.csv"):
        assert place in str(raised.value)


# Drawn -------------------------------------------------------------------------------------------


def test_a_strip_drawn_anew_and_a_bog(trial_folder, draw):
    write(
        trial_folder,
        "as-sown.geojson",
        drawing(
            feature(draw(24, 0, 24, 200), strip="S1", treatment="untreated", note="cut short"),
            feature(draw(100, 250, 40, 100), role="lost", note="bog"),
        ),
    )
    trial = open_trial(trial_folder)
    told = {one.strip: one for one in trial.sown_differences}
    assert set(told) == {"S1", "S4", "S5"}
    assert told["S1"].what == "other treatment, lies elsewhere"
    assert told["S4"].note == told["S5"].note == "bog"
    assert told["S4"].lost_pct == pytest.approx(100 * 50 / 300 * 20 / 24, rel=AREA)


def test_a_copy_of_the_layout_with_one_treatment_changed(trial_folder):
    copied = json.loads((trial_folder / "layout.geojson").read_text())
    copied["features"][2]["properties"]["treatment"] = "untreated"
    write(trial_folder, "as-sown.geojson", json.dumps(copied))
    trial = open_trial(trial_folder)
    (one,) = trial.sown_differences
    assert (one.strip, one.what) == ("S2", "other treatment")
    assert trial.layout["geometry"].equals(trial.planned_layout["geometry"])


def test_a_strip_deleted_from_a_copy_is_asked_for(trial_folder):
    copied = json.loads((trial_folder / "layout.geojson").read_text())
    del copied["features"][2]
    write(trial_folder, "as-sown.geojson", json.dumps(copied))
    _, checks = check_folder(trial_folder)
    assert any("Not drawn here: S2" in check.sentence() for check in checks)


@pytest.mark.parametrize(
    ("properties", "where", "message"),
    [
        ({"strip": "S11"}, (24, 0, 24, 300), "The layout has no strip 'S11'. Did you mean"),
        ({"strip": "S1", "treatment": "oil"}, (24, 0, 24, 300), "no treatment 'oil'"),
        ({}, (24, 0, 24, 300), "Nothing says what this ground is"),
        ({"role": "lost"}, (5000, 0, 24, 300), "This lost ground touches no strip"),
        ({"strip": "S1"}, (30, 0, 24, 300), "Strips S1 and S2 overlap"),
    ],
)
def test_each_fault_of_the_drawing_is_named(trial_folder, draw, properties, where, message):
    write(trial_folder, "as-sown.geojson", drawing(feature(draw(*where), **properties)))
    (sentence,) = faults(trial_folder)
    assert sentence.startswith("as-sown.geojson")
    assert message in sentence


def test_a_strip_drawn_outside_the_field_is_a_fault(trial_folder, draw):
    write(trial_folder, "boundary.geojson", drawing(feature(draw(0, 0, 192, 300))))
    write(trial_folder, "as-sown.geojson", drawing(feature(draw(0, -80, 24, 300), strip="S0")))
    (sentence,) = faults(trial_folder)
    assert "m² of strip S0 lie outside boundary.geojson" in sentence


def test_swapped_coordinates_are_recognised(trial_folder, draw):
    swapped = draw(24, 0, 24, 300)
    swapped["coordinates"] = [[corner[::-1] for corner in ring] for ring in swapped["coordinates"]]
    write(trial_folder, "as-sown.geojson", drawing(feature(swapped, strip="S1")))
    assert faults(trial_folder) == [
        "as-sown.geojson: Strip S1 is drawn far from the trial. Longitude and latitude are "
        "swapped: longitude comes first."
    ]


def test_an_empty_drawing_is_a_fault(trial_folder):
    write(trial_folder, "as-sown.geojson", drawing())
    assert faults(trial_folder) == [
        "as-sown.geojson: There is nothing in it. Draw what was sown otherwise, or delete the file."
    ]


def test_table_and_drawing_must_agree(trial_folder, draw):
    write(trial_folder, "as-sown.csv", "strip,treatment\nS1,untreated\n")
    again = feature(draw(24, 0, 24, 300), strip="S1", treatment="dressed")
    write(trial_folder, "as-sown.geojson", drawing(again))
    (sentence,) = faults(trial_folder)
    assert "It says untreated for S1, and as-sown.geojson dressed" in sentence


# The seeder's own record --------------------------------------------------------------------------

METRE = (1 / 87_000, 1 / 111_000)


def lines_of(order, *, start=-20.0, end=320.0):
    """Two passes of 12 m a strip, as lines, with the bin each strip was sown from."""
    rows = []
    for strip, name in enumerate(order):
        for x in (24 * strip + 6, 24 * strip + 18):
            line = [(85 + x * METRE[0], -38.5 + y * METRE[1]) for y in (start, end)]
            rows.append({"Product": name, "geometry": LineString(line)})
    return gpd.GeoDataFrame(rows, crs="EPSG:4326")


PLANNED = ["untreated", "dressed", "dressed", "untreated"] * 2
SETTINGS = (
    '\n[as_sown.columns]\ntreatment = "Product"\n'
    '\n[as_sown.names]\n"Bin 1" = "untreated"\n"Bulk" = ""\n'
)


def record(folder, lines, name="as-sown/seeder.geojson"):
    (folder / "as-sown").mkdir(exist_ok=True)
    lines.to_file(folder / name)
    toml = folder / "trial.toml"
    if "[as_sown" not in toml.read_text():
        toml.write_text(toml.read_text() + SETTINGS)


def bins(order):
    return ["Bin 1" if name == "untreated" else name for name in order]


def test_a_record_that_fits_the_plan_changes_nothing(trial_folder):
    record(trial_folder, lines_of(bins(PLANNED)))
    trial = open_trial(trial_folder)
    assert trial.sown_differences == ()
    assert "as-sown/seeder.geojson" in [entry.file for entry in input_files(trial)]


def test_a_record_shows_what_was_swapped(trial_folder):
    order = [*PLANNED]
    order[2], order[3] = order[3], order[2]
    record(trial_folder, lines_of(bins(order)), "as-sown/seeder.gpkg")
    trial = open_trial(trial_folder)
    assert treatments(trial)["S2"] == "untreated"
    assert treatments(trial)["S3"] == "dressed"
    assert [one.what for one in trial.sown_differences] == ["other treatment"] * 2
    assert "by the seeder's record" in trial.sown_differences[0].note


def test_a_strip_with_one_pass_of_each_is_mixed_and_left_out(trial_folder):
    lines = lines_of(bins(PLANNED))
    lines.loc[3, "Product"] = "Bin 1"  # the second pass of S1
    record(trial_folder, lines)
    (one,) = open_trial(trial_folder).sown_differences
    assert (one.strip, one.what) == ("S1", "left out")
    assert "mixed by the seeder's record: 50% dressed, 50% untreated" in one.note


def test_a_strip_without_a_pass_and_one_that_ends_early(trial_folder):
    lines = lines_of(bins(PLANNED))
    short = lines_of(bins(PLANNED), end=200.0)
    lines.loc[[4, 5], "geometry"] = short.loc[[4, 5], "geometry"]  # S2 ends at 200 m
    record(trial_folder, lines.drop(index=[12, 13]))  # S6 was never sown
    first, second = open_trial(trial_folder).sown_differences
    assert (first.strip, first.what) == ("S2", "part left out")
    assert first.lost_pct == pytest.approx(100 / 3, rel=2 * AREA)
    assert (second.strip, second.what) == ("S6", "left out")


def test_what_the_grower_wrote_stands_above_the_record(trial_folder):
    lines = lines_of(bins(PLANNED)).drop(index=[12, 13])
    lines.loc[[0, 1], "Product"] = "dressed"
    record(trial_folder, lines)
    write(trial_folder, "as-sown.csv", "strip,treatment,lost\nS6,,no\nS0,untreated,\n")
    trial = open_trial(trial_folder)
    assert trial.sown_differences == ()
    assert any(
        "The seeder's record says 100% dressed; what you wrote was taken: untreated."
        in check.sentence()
        for check in trial.checks
    )


def test_ground_sown_with_something_else_is_left_out(trial_folder):
    order = bins(PLANNED)
    order[4] = "Bulk"
    record(trial_folder, lines_of(order))
    (one,) = open_trial(trial_folder).sown_differences
    assert one.left_out
    assert one.note == "sown with Bulk, which is not on trial"


def test_a_name_nobody_explained_is_asked_for(trial_folder):
    order = bins(PLANNED)
    order[4] = "Tank 7"
    record(trial_folder, lines_of(order))
    (sentence,) = faults(trial_folder)
    assert "has 'Tank 7' on S4, and nobody says which treatment that is" in sentence
    assert '"Tank 7" = "dressed"' in sentence


def test_a_record_of_points(trial_folder):
    order = [*PLANNED]
    order[2], order[3] = order[3], order[2]
    rows = ["time,lon,lat,Product"]
    second = 0
    for line, name in lines_of(bins(order))[["geometry", "Product"]].itertuples(index=False):
        for share in range(0, 101):
            place = line.interpolate(share / 100, normalized=True)
            second += 1
            stamp = f"2024-05-01T{second // 3600:02d}:{second // 60 % 60:02d}:{second % 60:02d}"
            rows.append(f"{stamp},{place.x:.7f},{place.y:.7f},{name}")
    write(trial_folder, "as-sown/log.csv", "\n".join(rows) + "\n")
    toml = trial_folder / "trial.toml"
    named = SETTINGS.replace(
        'treatment = "Product"\n', 'treatment = "Product"\nlongitude = "lon"\nlatitude = "lat"\n'
    )
    toml.write_text(toml.read_text() + named)
    trial = open_trial(trial_folder)
    assert [(one.strip, one.what) for one in trial.sown_differences] == [
        ("S2", "other treatment"),
        ("S3", "other treatment"),
    ]


def test_passes_beside_the_plan_are_named_as_that(trial_folder):
    lines = lines_of(bins(PLANNED))
    lines["geometry"] = lines.translate(xoff=12 * METRE[0])
    record(trial_folder, lines)
    found = [check.sentence() for check in check_folder(trial_folder)[1]]
    assert any("come out mixed: the passes lie beside the plan" in words for words in found)
    # Told that the lot was sown a pass further east, all fits.
    write(trial_folder, "as-sown.csv", "strip,moved_m,toward\nall,12,east\n")
    trial = open_trial(trial_folder)
    assert treatments(trial) == trial.planned_treatments
    assert {one.what for one in trial.sown_differences} == {"lies elsewhere"}


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("longitude,latitude,Bin\n85.0,-38.5,A\n", "there is no column 'treatment'"),
        ("lon,latitude,treatment\n85.0,-38.5,A\n", "there is no column 'longitude'"),
        (
            "longitude,latitude,treatment\n-38.4999,85.0001,dressed\n-38.4998,85.0001,dressed\n",
            "Longitude and latitude are swapped",
        ),
        (
            "longitude,latitude,treatment\n5.0,50.0,dressed\n5.001,50.001,dressed\n",
            "No pass lies on a strip",
        ),
        (
            "longitude,latitude,treatment\n500000,5700000,dressed\n500010,5700000,dressed\n",
            "its position is no place on the earth",
        ),
    ],
)
def test_each_fault_of_a_record_is_named(trial_folder, text, message):
    write(trial_folder, "as-sown/log.csv", text)
    (sentence,) = faults(trial_folder)
    assert sentence.startswith("as-sown/")
    assert message in sentence


def test_a_folder_of_unreadable_things_is_told(trial_folder):
    write(trial_folder, "as-sown/photo.jpg", "x")
    (sentence,) = faults(trial_folder)
    assert "No file here can be read. Known: .csv" in sentence


def test_a_link_out_of_the_folder_is_refused(trial_folder, tmp_path):
    (tmp_path / "secret.csv").write_text("x")
    (trial_folder / "as-sown").mkdir()
    (trial_folder / "as-sown" / "log.csv").symlink_to(tmp_path / "secret.csv")
    assert "It points outside the trial folder" in faults(trial_folder)[0]


# Weights -----------------------------------------------------------------------------------------


def test_the_weight_of_a_lost_strip_does_not_count(trial_folder):
    rows = "".join(f"S{n},{2000 + n}\n" for n in range(8))
    write(trial_folder, "weights.csv", "strip,mass_kg\n" + rows)
    write(
        trial_folder,
        "as-sown.csv",
        "strip,lost,from_m,to_m,from_end\nS2,yes,,,\nS5,yes,0,50,south\n",
    )
    trial = open_trial(trial_folder)
    assert "S2" not in set(trial.weights["strip"])
    told = [check.sentence() for check in trial.checks]
    assert any("The weight of S2 does not count" in words for words in told)
    assert any("A part of S5 is left out, and the weight must be of the rest" in w for w in told)
