"""The counting sheet as a page: fits on paper, reads aloud, holds what it was given."""

from __future__ import annotations

import re
from io import BytesIO

import geopandas as gpd
import pypdf
import pytest
from shapely.geometry import box

from trialkit.report.counting_page import counting_page
from trialkit.report.paper import write_pdf
from trialkit.scouting import counting_sheet, counts_for_difference


def strips(number):
    east = 24 / 87_000
    shapes = [box(85 + n * east, -38.507, 85 + (n + 1) * east, -38.5) for n in range(number)]
    names = [f"S{n + 1}" for n in range(number)]
    return gpd.GeoDataFrame({"strip": names}, geometry=shapes, crs="EPSG:4326")


def page_of(number=16, places=5, spacing=0.25, **given):
    sheet = counting_sheet(strips(number), places=places, seed=3, row_spacing_m=spacing)
    words = {"trial": "Invented trial", "season": 2026, "row_spacing_m": spacing} | given
    return counting_page(sheet, **words)


def sheets(html, folder):
    return pypdf.PdfReader(BytesIO(write_pdf(html, folder / "sheet.pdf").read_bytes())).pages


def test_sixteen_strips_of_five_places_are_one_sheet_of_paper(tmp_path):
    wanted = counts_for_difference(15, mean_count=40, strip_cv_pct=8, pairs=8)
    html = page_of(wanted=wanted, assumed="That takes some of this.", paddock="Ridge", crop="oats")
    (sheet,) = sheets(html, tmp_path)
    text = " ".join(sheet.extract_text().split())
    assert "That takes some of this." in text
    assert "seed of the draw 3" in text


@pytest.mark.parametrize(("number", "places"), [(6, 3), (40, 5), (12, 20)])
def test_every_place_is_on_the_sheet_once(number, places):
    html = page_of(number, places)
    assert len(re.findall(r"<span>\d+ m · row \d+</span>", html)) == number * places


def test_forty_strips_go_over_to_a_second_sheet_with_headings(tmp_path):
    pages = [" ".join(sheet.extract_text().split()) for sheet in sheets(page_of(40), tmp_path)]
    assert len(pages) == 2
    assert all("Metres from the south end" in text for text in pages)


def test_strips_are_walked_out_and_back_and_their_places_read_from_the_start():
    html = page_of(4, 3)
    assert re.findall(r'tk-walk">(\w+)', html) == ["out", "back", "out", "back"]
    for row in re.findall(r"<tr><th scope=\"row\">.*?</tr>", html):
        along = [int(metres) for metres in re.findall(r"<span>(\d+) m", row)]
        assert along == sorted(along)
    assert "Begin at the south end" in html


def test_text_from_the_folder_cannot_become_markup():
    nasty = "<script>alert(1)</script>"
    html = page_of(trial=nasty, paddock=nasty, crop=nasty, season=nasty)
    assert "<script" not in html


def test_the_page_has_one_heading_and_named_columns():
    html = page_of()
    assert html.count("<h1") == 1
    assert html.count('scope="row"') == 16
    assert 'scope="colgroup" colspan="5"' in html
    assert page_of() == page_of()
