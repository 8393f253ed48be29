"""What a trial folder tells of itself, in another language: sentences whole, codes as they were."""

from __future__ import annotations

import csv
import json
from dataclasses import replace

import geopandas as gpd
import pytest
from shapely.geometry import LineString

from trialkit.language import speaking
from trialkit.shipped import copy_demo
from trialkit.trial import (
    check_folder,
    check_scouting,
    config_faults,
    drawings,
    dressing_record,
    kept_layout,
    laying_out,
    open_trial,
    outdated,
    read_scouting,
    scouting_checks,
    scouting_files,
    seeder_record,
    sowing_notes,
    sowing_plan,
    sowing_remarks,
    sown_layout,
    stored_result,
)
from trialkit.trial.dressing_record import read_dressing_record
from trialkit.trial.kept_layout import changes_since_draw, read_allocation, read_plan
from trialkit.trial.laying_out import how_drawn, lay_out_folder
from trialkit.trial.sown_results import write_sown

PRODUCTS = """
[[treatments.products]]
name = "broth"
form = "watery"
per_t = 4
keeps_mixed_h = 4
keeps_on_seed_h = 24

[[treatments.products]]
name = "powder"
form = "powder"
per_t = 500
unit = "g"
"""
TABLES = "\n[sowing]\nseed_kg_ha = 80\n[dressing]\nrate_l_t = 10\nmixer_l = 20\n"
SOWN = """
[sowing]
seed_kg_ha = 80.5
target_plants_m2 = 250
seed_weight_g_1000 = 38
germination_pct = 90
establishment_pct = 80
"""
HEADINGS = "date,treatment,product,amount,unit,seed_t,litres,start,end,last_sown"
ROWS = [
    "2025-05-12,dressed,water,3,l,0.5,5,7:40,8:10,15:00",
    "2025-05-12,dressed,broth,2,l,0.5,,7:40,,",
    "2025-05-12,dressed,powder,0.25,kg,0.5,,7:40,,",
]


def checks(folder):
    return [check.sentence() for check in open_trial(folder).checks]


def placed(sentence):
    """What a check says, without the name of the file it looked at."""
    return sentence.partition(": ")[2]


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("broth,2,l", "broth,3,l"), ("broth,2,l", "broth,2,ml"), ("0.25,kg", "0.25,bags"),
        ("0.5,5,", "0.5,6,"), ("8:10", "12:10"), ("15:00", "2025-05-13 15:00"), ("8:10", "7:10"),
        ("15:00", "8:00"), (",0.5,", ",,"), ("powder,0.25,kg", "water,1,l"),
        ("dressed,water", ",water"),
    ],
)  # fmt: skip
def test_dressing(trial_folder, said_whole, old, new):
    toml = trial_folder / "trial.toml"
    text = toml.read_text().replace("cost_per_ha = 14.5\n", f"cost_per_ha = 14.5\n{PRODUCTS}")
    toml.write_text(text + TABLES)
    rows = [row.replace(old, new) for row in [*ROWS, *ROWS[1:]]]
    (trial_folder / "dressing.csv").write_text("\n".join([HEADINGS, *rows]) + "\n")
    trial = open_trial(trial_folder)
    notes = said_whole(
        lambda: read_dressing_record(trial.config, trial.dressing).notes, dressing_record
    )
    assert old == "dressed,water" or notes


def test_dressing_in_german(trial_folder, german):
    toml = trial_folder / "trial.toml"
    text = toml.read_text().replace("cost_per_ha = 14.5\n", f"cost_per_ha = 14.5\n{PRODUCTS}")
    toml.write_text(text + TABLES)
    rows = [row.replace("8:10", "12:10") for row in ROWS]
    (trial_folder / "dressing.csv").write_text("\n".join([HEADINGS, *rows]) + "\n")
    words = {
        "The mix of {when} for '{treatment}' was {age} h old when the last of it went on the seed, "
        "and '{product}' keeps {keeps} h once mixed.": "Die Mischung vom {when} war {age} h alt; "
        "'{product}' hält {keeps} h.",
        "water": "Wasser",
    }
    with speaking(german(words)):
        trial = open_trial(trial_folder)
        found = read_dressing_record(trial.config, trial.dressing)
    assert "Die Mischung vom 2025-05-12 07:40 war 4,5 h alt; 'broth' hält 4 h." in found.notes
    assert "water" in found.rates["product"].tolist()


METRE = (1 / 87_000, 1 / 111_000)
PLANNED = ["untreated", "dressed", "dressed", "untreated"] * 2


def record(folder, order, aside_m=0.0):
    """Write a seeder's record: two passes of 12 m a strip."""
    rows = []
    for at, name in enumerate(order):
        for x in (24 * at + 6 + aside_m, 24 * at + 18 + aside_m):
            line = [(85 + x * METRE[0], -38.5 + y * METRE[1]) for y in (-20.0, 320.0)]
            rows.append({"treatment": name, "geometry": LineString(line)})
    (folder / "as-sown").mkdir(exist_ok=True)
    table = gpd.GeoDataFrame(rows, crs="EPSG:4326")
    table.to_file(folder / "as-sown" / "seeder.geojson")
    return table


@pytest.mark.parametrize("toward", ["north-east", "west"])
def test_what_was_sown(trial_folder, said_whole, toward):
    (trial_folder / "as-sown.csv").write_text(
        "strip,treatment,lost,from_m,to_m,from_end,moved_m,toward\n"
        f"S0,,,,,,2.5,{toward}\nS1,,yes,,,,,\nS2,,yes,0,50,south,,\nS3,dressed,,0,50,north,,\n"
    )

    def told():
        for one in open_trial(trial_folder).sown_differences:
            assert one.what in ("lies elsewhere", "left out", "part left out")
            yield one.note

    said = said_whole(told, sown_layout)
    assert any("sown 2,5 m to the" in note for note in said)
    assert "⟦lost⟧" in said


def test_the_seeders_record(trial_folder, said_whole):
    other = [*PLANNED]
    other[1], other[2] = "untreated", "untreated"
    record(trial_folder, other)
    (trial_folder / "as-sown.csv").write_text("strip,treatment\nS2,dressed\n")

    def told():
        trial = open_trial(trial_folder)
        assert [one.what for one in trial.sown_differences] == ["other treatment"]
        yield from (one.note for one in trial.sown_differences)
        yield from (one.found for one in trial.checks)
        yield from (one.place for one in trial.checks if one.place)

    said = said_whole(told, seeder_record, sown_layout, drawings)
    assert "100\N{NO-BREAK SPACE}% untreated by the seeder's record" in said[0]


def test_a_record_aside_and_strips_not_drawn(trial_folder, said_whole, features):
    record(trial_folder, PLANNED, aside_m=12.0)
    drawn = {"type": "FeatureCollection", "features": features[1:]}
    (trial_folder / "as-sown.geojson").write_text(json.dumps(drawn))

    def told():
        trial = open_trial(trial_folder)
        assert {one.what for one in trial.sown_differences} <= {"left out", "part left out"}
        yield from (one.note for one in trial.sown_differences)
        yield from map(placed, checks(trial_folder))

    said = said_whole(told, seeder_record, sown_layout, sowing_notes)
    assert any("of 8 strips come out mixed" in note for note in said)
    assert any("Not drawn here: S0." in note for note in said)


def test_codes_of_what_was_sown_stay_in_the_results(trial_folder, german):
    (trial_folder / "as-sown.csv").write_text("strip,lost\nS1,yes\n")
    words = {"lost": "verloren", "left out": "ausgelassen"}
    with speaking(german(words)):
        table, _ = write_sown(open_trial(trial_folder))
    (row,) = csv.DictReader(table.read_text().splitlines())
    assert (row["what"], row["note"]) == ("left out", "verloren")


def test_one_order_in_every_block(trial_folder, write_layout, draw, said_whole):
    def strip(number, treatment, block):
        properties = {"strip": f"S{number}", "block": block, "treatment": treatment}
        return {"type": "Feature", "properties": properties,
                "geometry": draw(24 * number, 0, 24, 300)}  # fmt: skip

    strips = [strip(n, ["untreated", "dressed"][n % 2], f"B{n // 2}") for n in range(16)]
    write_layout(trial_folder, strips)
    (order,) = said_whole(lambda: map(placed, checks(trial_folder)), drawings)
    assert "untreated, dressed" in order
    write_layout(trial_folder, [*strips, strip(16, "dressed", "B8")])
    said = said_whole(
        lambda: (c.place for c in open_trial(trial_folder).checks if c.place), drawings
    )
    assert said == ["⟦block B8⟧"]


@pytest.mark.parametrize("passes", [1, 2])
def test_a_layout_and_how_it_was_drawn(trial_folder, draw, said_whole, passes):
    field = {"type": "Polygon", "coordinates": draw(0, 0, 600, 500)["coordinates"]}
    (trial_folder / "boundary.geojson").write_text(json.dumps(field))
    toml = trial_folder / "trial.toml"
    text = toml.read_text().replace("seeder_m = 12", f"seeder_m = {24 // passes}")
    design = f"[design]\nblocks = 5\nseed = 3000\npasses_per_strip = {passes}\n"
    toml.write_text(f"{text}\n{design}")

    def told():
        (trial_folder / "layout.geojson").unlink(missing_ok=True)
        laid_out = lay_out_folder(trial_folder)
        laid, drawn, *_, caution = laid_out.sentences()
        assert how_drawn(read_allocation(trial_folder)) == drawn
        assert read_allocation(trial_folder).draw == "random"
        yield from (laid, drawn.replace("random", "⟦random⟧") if "⟦" in drawn else drawn, caution)
        plan = read_plan(trial_folder, laid_out.plan.layout, None)
        yield from changes_since_draw(plan)
        yield from changes_since_draw(_changed(plan))

    said = said_whole(told, laying_out, kept_layout)
    assert ("(1 seeder pass)" if passes == 1 else "(2 seeder passes)") in said[0]
    assert "seed 3000." in said[1]


def _changed(plan):
    other = plan.strips.assign(treatment=plan.strips["treatment"].to_numpy()[::-1].copy())
    other.loc[0, "treatment"] = "other"
    return replace(plan, strips=other)


def test_past_seasons_are_counted(tmp_path, german):
    copy_demo(tmp_path / "plan", "oats-2025-to-plan")
    words = {
        ("Rehearsed on the past season: {what}", "Rehearsed on {count} past seasons: {what}"): (
            "An einem Jahr erprobt: {what}", "An {count} Jahren erprobt: {what}",
        ),
    }  # fmt: skip
    with speaking(german(words)):
        said = lay_out_folder(tmp_path / "plan").sentences()
    assert any(line.startswith("An 2 Jahren erprobt: 16 strips") for line in said)


def test_what_is_out_of_date(trial_folder, said_whole):
    page = outdated.fingerprinted(
        "<html><head><title>A</title></head></html>",
        outdated.input_files(open_trial(trial_folder)),
    )
    (trial_folder / "results").mkdir()
    (trial_folder / "results" / "report.html").write_text(page)
    (trial_folder / "counts.csv").write_text("strip,count,area_m2\nS1,30,0.25\n")

    def told():
        trial = open_trial(trial_folder)
        yield from outdated.since_last_report(trial)
        yield from (f"{one.found} {one.wanted}" for one in outdated.check_results(trial))

    said = said_whole(told, outdated, stored_result)
    assert "counts.csv is new since the answer was worked out." in said[0]


def test_scouting_that_is_not_there(trial_folder, said_whole):
    (trial_folder / "as-sown.csv").write_text("strip,lost\nS1,yes\n")
    (trial_folder / "counts.csv").write_text("strip,count,area_m2\nS1,30,0.25\nS2,31,0.25\n")

    def told():
        scouted = read_scouting(open_trial(trial_folder))
        yield from scouted.missing
        yield from scouted.notes

    said = said_whole(told, scouting_files)
    assert "the folder temperatures/ takes" in "".join(said)
    assert "counts.csv: S1 left out, as sown." in said[-1]


def test_what_sowing_does_not_say(trial_folder, said_whole):
    toml = trial_folder / "trial.toml"
    text = toml.read_text()

    def told():
        for more in ("", SOWN):
            toml.write_text(text + more)
            sowing = sowing_plan.open_sowing(trial_folder)
            yield from (f"{one.found} {one.wanted}" for one in sowing.missing)
            yield from sowing.notes

    said = said_whole(told, sowing_remarks)
    assert any("80,5 kg/ha give about" in note for note in said)


def told_of(folder):
    """What the faults of a folder say, without the names of files and columns they stand in."""
    _, found = check_folder(folder)
    for check in found:
        yield check.found
        yield check.wanted


@pytest.mark.parametrize(
    "rows",
    [
        "S1,,perhaps,,,,,", "S1,,,,,,2,up", "all,dressed,,,,,,", "S1,,,10,20,,,",
        "S1,,,10,20,north,,", "S1,,yes,10,20,north,2,east", "S1,,,,,,2,", "S99,dressed,,,,,,",
        "S1,dressed,,,,,,\nS1,untreated,,,,,,", "S1,other,,,,,,",
    ],
)  # fmt: skip
def test_faults_of_what_was_sown(trial_folder, said_whole, rows):
    (trial_folder / "as-sown.csv").write_text(
        f"strip,treatment,lost,from_m,to_m,from_end,moved_m,toward\n{rows}\n"
    )
    assert said_whole(lambda: told_of(trial_folder), sowing_notes, config_faults)


def test_faults_of_drawings(trial_folder, features, draw, said_whole):
    def feature(shape, **properties):
        return {"type": "Feature", "properties": properties, "geometry": shape}

    elsewhere = feature(draw(50_000, 0, 24, 300), strip="S1")
    twice = feature(draw(24, 0, 24, 300), strip="S2")
    sown = [elsewhere, twice, twice, feature(draw(48, 0, 24, 300)),
            feature(draw(9000, 0, 5, 5), role="lost")]  # fmt: skip
    point = {"type": "Point", "coordinates": [1, 2]}
    unnamed, alike = {"strip": "S7"}, {"treatment": "dressed"}
    collections = [
        [],
        [*features, features[0]],
        [*features[:-1], {**features[-1], "properties": unnamed}],
        [*features[:-1], {**features[-1], "geometry": point}],
        [one | {"properties": one["properties"] | alike} for one in features],
    ]
    layouts = ["", "[]", *(json.dumps({"type": "FeatureCollection", "features": collection})
                           for collection in collections)]  # fmt: skip

    def told():
        for layout in layouts:
            (trial_folder / "layout.geojson").write_text(layout)
            yield from (told for told in told_of(trial_folder) if "JSON:" not in told)
        good = json.dumps({"type": "FeatureCollection", "features": features})
        (trial_folder / "layout.geojson").write_text(good)
        (trial_folder / "boundary.geojson").write_text(json.dumps(draw(9000, 0, 24, 300)))
        yield from told_of(trial_folder)
        (trial_folder / "boundary.geojson").write_text(json.dumps(draw(100, 0, 900, 280)))
        yield from told_of(trial_folder)
        (trial_folder / "boundary.geojson").unlink()
        drawn = {"type": "FeatureCollection", "features": sown}
        (trial_folder / "as-sown.geojson").write_text(json.dumps(drawn))
        yield from told_of(trial_folder)

    said = said_whole(told, drawings, sowing_notes, config_faults)
    assert any("strip S0 lie outside boundary.geojson" in one for one in said)
    assert any("overlap by 7." in one for one in said)


def test_faults_of_scouting(trial_folder, said_whole):
    (trial_folder / "trial.toml").write_text(
        (trial_folder / "trial.toml").read_text()
        + "\n[scouting]\nsown = 2024-05-20\n[scouting.scores.rust]\nlow = 1\nhigh = 9\n"
        '[scouting.temperatures]\nsensor = "canopy"\n'
    )
    (trial_folder / "counts.csv").write_text(
        "strip,date,count,area_m2\n" + "S1,2024-05-01,30.5,0.5\n" * 5
    )
    (trial_folder / "heads.csv").write_text(
        "strip,date,florets,sterile\nS1,2024-09-01,30,40\nS2,2024-09-01,,5\n"
    )
    (trial_folder / "stages.csv").write_text("date,zadoks\n2024-06-01,40\n2024-07-01,30\n")
    said = said_whole(lambda: told_of(trial_folder), scouting_checks)
    assert any("30,5 is no whole number" in one for one in said)
    assert any("2 more rows" in one for one in said)
    for name in ("counts", "heads", "stages"):
        (trial_folder / f"{name}.csv").unlink()
    (trial_folder / "scores.csv").write_text(
        "strip,date,score,value\nS1,2024-08-01,mildew_pct,0.5\nS2,2024-08-01,mildew_pct,0.25\n"
    )

    def told():
        trial = open_trial(trial_folder)
        for check in check_scouting(trial):
            yield check.found
            if "0.35" not in check.wanted:
                yield check.wanted

    said = said_whole(told, scouting_checks, scouting_files, config_faults)
    assert any("mildew_pct runs up to 0,5 only" in one for one in said)
