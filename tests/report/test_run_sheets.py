"""The run sheets: what they say is the plan's, and nothing from the folder can break them."""

from __future__ import annotations

import dataclasses
import re
from html.parser import HTMLParser
from io import BytesIO

import pandas as pd
import pypdf
import pytest

from trialkit.report.paper import write_pdf
from trialkit.report.run_sheets import cab_sheet, shed_sheet
from trialkit.sowing import CAUTIONS
from trialkit.trial.dressing_record import read_dressing_record
from trialkit.trial.sowing_plan import open_sowing

PRODUCTS = """
[[treatments.products]]
name = "broth"
form = "watery"
per_t = 4
pack = 10
keeps_mixed_h = 4

[[treatments.products]]
name = "syrup <b> & more"
form = "syrupy"
per_t = 2

[[treatments.products]]
name = "powder"
form = "powder"
per_t = 500
unit = "g"
"""
TABLES = """
[sowing]
seed_kg_ha = 80
seed_weight_g_1000 = 40
row_spacing_m = 0.2
cart_kg = 200

[dressing]
rate_l_t = 10
mixer_l = 1
tank_l = 2
auger_t_h = 6
"""
#: Scales show grams, jugs 5 ml: by how much one mix as measured may be off, l or kg.
JUG = 0.0051


class Page(HTMLParser):
    """Tables as rows of cell texts, all text, and the tags met."""

    def __init__(self, html):
        super().__init__()
        self.tables, self.text, self.tags, self.ticks = [], "", set(), 0
        self.headings, self._cell, self._style = [], False, False
        self.feed(html)

    def handle_starttag(self, tag, attributes):
        self.tags.add(tag)
        self.ticks += dict(attributes).get("class") == "tk-tick"
        if tag == "table":
            self.tables.append([])
        elif tag == "tr":
            self.tables[-1].append([])
        elif tag in ("td", "th"):
            self.tables[-1][-1].append("")
            self._cell = True
        elif re.fullmatch("h[1-6]", tag):
            self.headings.append(int(tag[1]))
        self._style = tag == "style"

    def handle_endtag(self, tag):
        if tag in ("td", "th"):
            self._cell = False

    def handle_data(self, data):
        if self._cell:
            self.tables[-1][-1][-1] += data
        if not self._style:
            self.text += data

    def table(self, heading):
        (found,) = [table for table in self.tables if heading in table[0]]
        return found[0], found[1:]


@pytest.fixture
def folder(trial_folder):
    path = trial_folder / "trial.toml"
    text = path.read_text().replace("cost_per_ha = 14.5\n", f"cost_per_ha = 14.5\n{PRODUCTS}")
    path.write_text(text + TABLES)
    return trial_folder


@pytest.fixture
def sowing(folder):
    return open_sowing(folder)


def amount(words):
    """Read an amount as it is printed, in l or kg."""
    value, unit = re.fullmatch(r"([\d.,]+) (l|ml|kg|g)", words.strip()).groups()
    return float(value.replace(",", "")) / (1000 if unit in ("ml", "g") else 1)


def test_one_mix_times_the_mixes_is_the_whole_lot(sowing):
    (one,) = sowing.dressed
    headings, rows = Page(shed_sheet(sowing)).table("Into the mixer")
    at, total = headings.index("One mix"), headings.index("All mixes")
    ticks = [heading for heading in headings if heading.isdigit()]
    assert len(ticks) == one.mix.mixes == 3
    planned = {"broth": 4, "syrup": 2, "powder": 0.5, "water": 4}
    assert [row[1].split()[0] for row in rows] == ["water", "broth", "powder", "syrup", "Fill"]
    for row in rows[:-1]:
        wanted = planned[row[1].split()[0]] * one.seed_t
        assert amount(row[total]) == pytest.approx(wanted, rel=5e-4)
        # The water takes the rounding of the other liquids.
        off = JUG if row[1].split()[0] != "water" else 3 * JUG
        assert amount(row[at]) * one.mix.mixes == pytest.approx(wanted, abs=one.mix.mixes * off)
    assert amount(rows[-1][at]) * one.mix.mixes == pytest.approx(10 * one.seed_t, rel=5e-4)


def test_each_mix_has_a_box_and_its_blanks(sowing):
    page = Page(shed_sheet(sowing))
    headings, rows = page.table("For seed")
    assert [row[0].strip() for row in rows] == ["1", "2", "3"]
    assert headings[3] == "Use by (+ 4 h)"
    assert all(cell == "" for row in rows for cell in row[2:])
    # A box for each step of each mix and the mark, one a mix, one a caution.
    shed = [caution for caution in CAUTIONS if "shed" in caution.pages]
    assert page.ticks == 3 * 5 + 3 + len(shed)


def test_the_band_of_the_catch_test_in_litres_and_in_seconds(sowing):
    text = Page(shed_sheet(sowing)).text
    # 10 l/t at 6 t/h is 1 l/min; ±5% are 0.95 to 1.05 l/min, a litre in 57.1 to 63.2 s.
    assert "Pump 1 l/min: 0.5 l in 30 s. Right: 29 to 31 s, 0.95 to 1.05 l/min." in text
    assert "Auger 6 t/h: 50 kg in 30 s. Right: 29 to 31 s, 5.7 to 6.3 t/h." in text
    assert "Longer than 31 s: too slow, open it." in text


def test_what_lives_on_a_seed_is_on_the_sheet(folder):
    path = folder / "trial.toml"
    alive = "per_t = 4\nliving_per_ml = 1e8\nminimum_per_seed = 1e4"
    path.write_text(path.read_text().replace("per_t = 4", alive, 1))
    # 4 l/t of 10⁸ a millilitre on 25 million seeds of 40 mg: 16,000 each.
    text = Page(shed_sheet(open_sowing(folder))).text
    assert "Living on a seed at mixing: 'broth' 16,000 (at least 10,000 wanted)." in text


def test_cautions_are_those_of_the_page(sowing):
    pages = {"shed": Page(shed_sheet(sowing)).text, "cab": Page(cab_sheet(sowing)).text}
    for caution in CAUTIONS:
        for name, text in pages.items():
            assert (caution.text in text) == (name in caution.pages), caution.topic


def test_the_cab_has_every_strip_once_between_the_clean_outs(sowing):
    _, rows = Page(cab_sheet(sowing)).table("Begun at")
    strips = [row[1] for row in rows if len(row) == 9]
    assert strips == sowing.order.steps["strip"].tolist()
    heads = [row[0] for row in rows if len(row) == 1 and row[0].startswith("Tank")]
    assert heads == [
        "Tank 1, before the first strip: clean, then 'untreated'",
        "Tank 1: 'untreated' out, clean, then 'dressed'",
        "Tank 1, after the last strip: 'dressed' out, clean",
    ]
    seed = [float(row[5]) for row in rows if len(row) == 9]
    assert sum(seed) == pytest.approx(1000 * sowing.need.table["sown_t"].sum(), abs=0.5 * len(seed))


def test_the_cab_says_what_is_loaded_and_what_the_drill_puts_out(sowing):
    _, rows = Page(cab_sheet(sowing)).table("To load, kg")
    need = sowing.need.table.set_index("treatment")
    for row in rows:
        assert float(row[4]) == pytest.approx(need.loc[row[1], "drill_kg_ha"], abs=0.051)
        assert float(row[5]) == pytest.approx(1000 * need.loc[row[1], "load_t"], abs=0.51)
    text = Page(cab_sheet(sowing)).text
    assert "200 seeds/m²" in text
    assert "40 seeds" in text


def test_before_the_layout_the_sheets_say_so(folder):
    (folder / "layout.geojson").unlink()
    sowing = open_sowing(folder)
    cab, shed = Page(cab_sheet(sowing)), Page(shed_sheet(sowing))
    assert "There is no layout yet" in cab.text
    assert "Begun at" not in cab.text
    assert "full mixes of 1 l for 100 kg of seed" in shed.text
    headings, _ = shed.table("Into the mixer")
    assert "All mixes" not in headings
    _, mixes = shed.table("For seed")
    assert len(mixes) == 6


def test_more_mixes_than_columns_are_ticked_row_by_row(folder):
    path = folder / "trial.toml"
    path.write_text(path.read_text().replace("mixer_l = 1\ntank_l = 2", "mixer_l = 0.2"))
    sowing = open_sowing(folder)
    page = Page(shed_sheet(sowing))
    assert not any(heading.isdigit() for heading in page.table("Into the mixer")[0])
    assert len(page.table("For seed")[1]) == sowing.dressed[0].mix.mixes == 13


def test_thousands_of_mixes_do_not_fill_thousands_of_rows(folder):
    path = folder / "trial.toml"
    text = path.read_text().replace("mixer_l = 1\ntank_l = 2", "mixer_l = 0.1")
    path.write_text(text.replace("cost_per_ha = 14.5", "cost_per_ha = 14.5\nseed_t = 5000"))
    page = Page(shed_sheet(open_sowing(folder)))
    assert len(page.table("For seed")[1]) == 60
    assert "500,000 mixes, and rows for 60" in page.text
    assert "The mixer is too small" in page.text


def test_without_the_augers_flow_a_table_gives_the_pump(folder):
    path = folder / "trial.toml"
    path.write_text(path.read_text().replace("auger_t_h = 6\n", ""))
    page = Page(shed_sheet(open_sowing(folder)))
    (match,) = [t for t in page.tables if t[0][0].startswith("If the auger")]
    flows = zip(match[0][1:], match[1][1:], strict=True)
    assert all(float(pump) == pytest.approx(float(auger) / 6, rel=1e-3) for auger, pump in flows)
    assert "Pump: what matches your auger" in page.text


def test_what_was_written_down_is_shown_beside_the_plan(sowing):
    rows = [["broth", 1.2, "l"], ["powder", 100.0, "g"], ["syrup <b> & more", 0.4, "l"]]
    table = pd.DataFrame(rows, columns=["product", "amount", "unit"])
    table = table.assign(date=pd.Timestamp("2025-05-12"), treatment="dressed", seed_t=0.2)
    record = read_dressing_record(sowing.config, table.assign(litres=2.0))
    page = Page(shed_sheet(sowing, record))
    _, rows = page.table("Done, a tonne")
    assert [row[1:] for row in rows] == [
        ["water", "4 l", "–", "–"],
        ["broth", "4 l", "6 l", "+50%"],
        ["syrup <b> & more", "2 l", "2 l", "0%"],
        ["powder", "500 g", "500 g", "0%"],
    ]
    assert "got 6 l of 'broth' on a tonne of seed" in page.text
    assert "10 l/t" in page.text


def test_nothing_from_the_folder_becomes_markup(sowing):
    for html in (shed_sheet(sowing), cab_sheet(sowing)):
        page = Page(html)
        assert not {"script", "link", "iframe", "object"} & page.tags
        assert not re.search(r"(src|href)=", html)
        assert not re.search(r"\bnan\b|\bNone\b|\binf\b", page.text)
    assert "syrup <b> & more" in Page(shed_sheet(sowing)).text
    assert "<b> & more" not in shed_sheet(sowing)


def test_headings_step_down_one_at_a_time(sowing):
    for html in (shed_sheet(sowing), cab_sheet(sowing)):
        headings = Page(html).headings
        assert headings[0] == 1
        assert set(headings[1:]) == {2}


def test_each_sheet_is_two_sides_of_a4(sowing, tmp_path):
    for name, html in (("shed", shed_sheet(sowing)), ("cab", cab_sheet(sowing))):
        pages = pypdf.PdfReader(BytesIO(write_pdf(html, tmp_path / name).read_bytes())).pages
        assert len(pages) == 2
        assert all("Invented trial" in page.extract_text() for page in pages)


def test_several_treatments_each_begin_a_page(folder, features, write_layout, tmp_path):
    path = folder / "trial.toml"
    other = '[[treatments]]\nname = "twice as much"\ncost_per_ha = 20\n' + PRODUCTS.replace(
        "4", "5"
    )
    path.write_text(path.read_text().replace("[machines]", f"{other}\n[machines]"))
    for feature in features[4:]:
        names = feature["properties"]
        names["treatment"] = names["treatment"].replace("dressed", "twice as much")
    write_layout(folder, features)
    sowing = open_sowing(folder)
    assert [one.treatment for one in sowing.dressed] == ["dressed", "twice as much"]
    html = shed_sheet(sowing)
    assert html.count('class="tk-lot tk-next"') == 1
    sheet = write_pdf(html, tmp_path / "shed.pdf")
    texts = [page.extract_text() for page in pypdf.PdfReader(BytesIO(sheet.read_bytes())).pages]
    starts = [at for at, text in enumerate(texts) if "Into the mixer" in text]
    assert len(starts) == 2


def test_a_plan_without_products_still_makes_a_cab_sheet(sowing):
    bare = dataclasses.replace(sowing, dressed=(), weight_gain_pct={})
    text = Page(cab_sheet(bare)).text
    assert "Set the meter" not in text
    assert "Sowing order" in text
