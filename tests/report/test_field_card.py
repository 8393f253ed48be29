"""The field card: what it says is the layout's, nothing from the folder can break it."""

from __future__ import annotations

import itertools
import re
from html.parser import HTMLParser
from io import BytesIO

import pypdf
import pytest

from trialkit.design import Wishes, plan_trial
from trialkit.design.pegs import peg_out
from trialkit.errors import LayoutError
from trialkit.report.field_card import field_card
from trialkit.report.paper import write_pdf
from trialkit.sowing import sowing_order

FIELDS = ["rectangle", "ell", "twelve"]
FINGERPRINT = "0123456789abcdef" * 4
#: Distances are printed to a decimetre, areas to 10 m², coordinates to a millionth of a degree; the
#: layout's corners are to a millimetre, 1 m² of a strip 1,000 m long.
PRINTED_M, PRINTED_HA, PRINTED_DEG = 0.051, 0.0006, 0.51e-6


class Page(HTMLParser):
    """Tables as lists of rows of cell texts, headings in order, and all tags met."""

    def __init__(self, html):
        super().__init__()
        self.tables, self.headings, self.images, self.tags, self.scopes = [], [], [], set(), []
        self.text = ""
        self._into = None
        self.feed(html)

    def handle_starttag(self, tag, attributes):
        self.tags.add(tag)
        given = dict(attributes)
        if tag == "table":
            self.tables.append([])
        elif tag == "tr":
            self.tables[-1].append([])
        elif tag in ("td", "th"):
            self.tables[-1][-1].append("")
            if tag == "th":
                self.scopes.append(given.get("scope"))
        elif re.fullmatch("h[1-6]", tag):
            self.headings.append([int(tag[1]), ""])
        elif tag == "img":
            self.images.append(given)
        if tag in ("td", "th", "style", "h1", "h2"):
            self._into = tag

    def handle_endtag(self, tag):
        if tag == self._into:
            self._into = None

    def handle_data(self, data):
        if self._into in ("td", "th"):
            self.tables[-1][-1][-1] += data
        elif self._into in ("h1", "h2"):
            self.headings[-1][1] += data
        if self._into != "style":
            self.text += data

    def table(self, heading):
        (found,) = [table for table in self.tables if table[0][1:2] == [heading]]
        return found


def number(text):
    return float(text.replace("−", "-").replace(",", "").split()[0])


def card(plan, boundary=None, **changes):
    given = {"trial": "Invented trial", "season": 2026, "control": "untreated"}
    return field_card(plan, boundary=boundary, **{**given, **changes})


@pytest.fixture(params=FIELDS, scope="module")
def case(request, plans, fields):
    plan, field = plans[request.param], fields[request.param]
    return plan, field, Page(card(plan, field, fingerprint=FINGERPRINT))


def test_the_strips_are_those_of_the_layout(case):
    plan, _, page = case
    rows = page.table("Block")[1:]
    assert [row[0] for row in rows] == plan.strips["strip"].tolist()
    assert [row[1] for row in rows] == plan.strips["block"].tolist()
    assert [row[2].split(" ", 1)[1] for row in rows] == plan.strips["treatment"].tolist()
    assert {row[3] for row in rows} == {str(plan.passes_per_strip)}
    first = plan.strips["across_from_m"].iloc[0]
    for row, strip in zip(rows, plan.strips.itertuples(), strict=True):
        long = strip.along_to_m - strip.along_from_m
        wide = strip.across_to_m - strip.across_from_m
        assert number(row[4]) == pytest.approx(strip.across_from_m - first, abs=PRINTED_M)
        assert number(row[5]) == pytest.approx(strip.across_to_m - first, abs=PRINTED_M)
        assert number(row[-2]) == pytest.approx(long, abs=PRINTED_M)
        assert number(row[-1]) == pytest.approx(long * wide / 10_000, abs=PRINTED_HA)


def test_strips_that_begin_off_the_line_say_so(case):
    plan, _, page = case
    starts = plan.strips["along_from_m"] - plan.strips["along_from_m"].iloc[0]
    header, *rows = page.table("Block")
    level = starts.abs().max() < 0.1
    assert ("Begins, m from the line" in header) is not level
    if not level:
        for row, start in zip(rows, starts, strict=True):
            sign = -1 if "before" in row[6] else 1
            said = 0 if row[6] == "on it" else sign * number(row[6])
            assert said == pytest.approx(start, abs=PRINTED_M)


def test_untreated_strips_are_sown_first_and_every_strip_once(case):
    plan, _, page = case
    rows = [row for row in page.table("Strip")[1:] if len(row) == 6]
    treatment = plan.strips.set_index("strip")["treatment"]
    sown = [treatment[row[1]] for row in rows]
    assert [row[0] for row in rows] == [str(n + 1) for n in range(len(treatment))]
    assert sorted(row[1] for row in rows) == sorted(treatment.index)
    assert set(sown[: (treatment == "untreated").sum()]) == {"untreated"}
    # Each treatment in one go: as many changes as clean-outs.
    changes = sum(a != b for a, b in itertools.pairwise(sown))
    stops = [row for row in page.table("Strip")[1:] if len(row) == 1]
    assert changes == len(stops) == treatment.nunique() - 1
    assert all("clean" in row[0] for row in stops)
    for row in rows:
        assert row[2].split(" ", 1)[1] == treatment[row[1]]
        assert re.sub(r"\s+", " ", row[3]).strip() == "yes no"
        assert row[4] == row[5] == ""


def test_treatments_are_sown_in_the_order_asked_for(plans, fields):
    for others in (["water only", "dressed"], ["dressed", "water only"]):
        page = Page(card(plans["twelve"], fields["twelve"], order=[*others, "untreated", "none"]))
        rows = [row for row in page.table("Strip")[1:] if len(row) == 6]
        gets = list(dict.fromkeys(row[2].split(" ", 1)[1] for row in rows))
        assert gets == ["untreated", *others]
        assert "the one with least on the seed first" in page.text


def test_two_tanks_sow_side_by_side_as_the_cab_sheet_does(plans, fields):
    plan = plans["rectangle"]
    page = Page(card(plan, fields["rectangle"], tanks=2))
    rows = [row for row in page.table("Strip")[1:] if len(row) == 6]
    steps = sowing_order(plan.strips, "untreated", tanks=2).steps
    assert [row[1] for row in rows] == steps["strip"].tolist()
    assert [row for row in page.table("Strip")[1:] if len(row) == 1] == []
    treatment = plan.strips.set_index("strip")["treatment"]
    assert all(row[2].split(" ", 1)[1] == treatment[row[1]] for row in rows)
    assert "a tank of its own" in page.text


@pytest.mark.parametrize("pace", [0.75, 0.9])
def test_pegs_with_distances_paces_and_coordinates(plans, fields, pace):
    plan = plans["ell"]
    page = Page(card(plan, fields["ell"], pace_m=pace))
    pegs = peg_out(plan.layout, plan.heading_deg).pegs
    rows = page.table("Stands at")[1:]
    assert len(rows) == len(pegs)
    for row, peg in zip(rows, pegs.itertuples(), strict=True):
        assert number(row[2]) == pytest.approx(peg.across_m, abs=PRINTED_M)
        assert number(row[3]) == pytest.approx(peg.across_m / pace, abs=0.51)
        assert number(row[4]) == pytest.approx(peg.latitude, abs=PRINTED_DEG)
        assert number(row[5]) == pytest.approx(peg.longitude, abs=PRINTED_DEG)
        assert re.fullmatch(r"−?\d+\.\d{6}", row[4])
    assert f"Paces of {pace:.2f} m are a check only" in page.text
    assert rows[0][1] == "left edge of S1"
    assert rows[1][1] == "S1 | S2"
    assert rows[-1][1] == "right edge of S12"


@pytest.mark.parametrize("pace", [0, 0.2, 2.5, float("nan")])
def test_paces_that_nobody_takes(plans, pace):
    with pytest.raises(LayoutError, match=r"A pace of .* m is none\. Walk 100 m"):
        card(plans["ell"], pace_m=pace)


def test_areas_by_treatment_add_up(case):
    plan, _, page = case
    rows = page.table("Treatment")[1:]
    assert rows[0][1] == "untreated"
    assert sum(int(row[2]) for row in rows) == len(plan.strips)
    long = plan.strips["along_to_m"] - plan.strips["along_from_m"]
    wide = plan.strips["across_to_m"] - plan.strips["across_from_m"]
    for row in rows:
        area = (long * wide)[plan.strips["treatment"] == row[1]].sum() / 10_000
        # Printed to 0.01 ha.
        assert number(row[3]) == pytest.approx(area, abs=0.0051)


def test_the_corner_the_draw_and_the_cautions_are_in_words(plans, fields):
    text = re.sub(r"\s+", " ", Page(card(plans["ell"], fields["ell"])).text)
    assert "the south-west corner of the trial (latitude −38.4" in text
    assert "m in from the field's outline behind it (to the south" in text
    assert "seed of the draw 5" in text
    assert "Do not change a strip because it looks better" in text
    for heed in ("Walk the strips", "Power lines", "stock and birds", "local rules", "wet holes"):
        assert heed in text


def test_the_page_can_be_read_aloud(case):
    _, _, page = case
    levels = [level for level, _ in page.headings]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after - before <= 1 for before, after in itertools.pairwise(levels))
    assert len(page.images) == 1
    assert page.images[0]["alt"].startswith("Map of ")
    assert page.images[0]["src"].startswith("data:image/")
    assert set(page.scopes) <= {"col", "row", "rowgroup"}
    assert "script" not in page.tags


def test_text_from_the_folder_cannot_become_markup(fields):
    nasty = "<script>alert(1)</script>\"'><img src=x>"
    plan = plan_trial(
        fields["rectangle"], [nasty, "a & b </td>"], 6, Wishes(12, 9), seed=1, control=nasty
    )
    layout = plan.layout.replace({"strip": {"S1": "<b>S1"}, "block": {"B1": "</table>"}})
    for given in (plan, layout):
        html = card(given, trial=nasty, control=nasty, paddock=nasty, crop=nasty, season=nasty)
        page = Page(html)
        assert "script" not in page.tags
        assert len(page.images) == 1
        assert page.headings[0][1] == f"Field card: {nasty}"
        assert page.table("Treatment")[1][1] == nasty
        assert "b" not in page.tags or "<b>S1" not in html


def test_strips_drawn_by_hand_get_a_card(layout, boundary):
    page = Page(card(layout, boundary, control="Untreated", seeder_m=12))
    rows = page.table("Block")[1:]
    assert [row[0] for row in rows] == [f"S{n}" for n in range(1, 13)]
    assert {row[3] for row in rows} == {"1"}
    assert number(rows[-1][5]) == pytest.approx(144, abs=PRINTED_M)
    assert "does not say how its treatments were allotted" in page.text
    # Nothing is made up where the seeder is not known, or does not fit.
    for seeder_m in (None, 9):
        rows = Page(card(layout, seeder_m=seeder_m, control="Untreated")).table("Block")[1:]
        assert {row[3] for row in rows} == {"–"}


def test_a_systematic_layout_does_not_call_itself_drawn(fields):
    plan = plan_trial(
        fields["rectangle"], ["untreated", "dressed"], 6, Wishes(12, 9), seed=1, draw="same order"
    )
    text = Page(card(plan)).text
    assert "The treatments were not drawn: same order." in text
    assert "Chance put" not in text


@pytest.mark.parametrize("name", ["rectangle", "ell"])
def test_twelve_strips_fit_on_two_pages(plans, fields, name, tmp_path):
    html = card(plans[name], fields[name], fingerprint=FINGERPRINT, paddock="Ridge", crop="oats")
    pdf = pypdf.PdfReader(BytesIO(write_pdf(html, tmp_path / "card.pdf").read_bytes()))
    texts = [sheet.extract_text() for sheet in pdf.pages]
    assert len(texts) == 2
    assert all(f"layout {FINGERPRINT[:12]}" in text for text in texts)
    assert "Find the strips without GPS" in texts[0]
    assert "Sowing order" in texts[1]


def test_forty_strips_and_long_names_stay_inside_the_page(fields, tmp_path):
    names = ["untreated", "Averylongnamewithoutanybreak" * 3]
    plan = plan_trial(fields["twelve"], names, 20, Wishes(12, 9), seed=1, control="untreated")
    html = card(plan, fields["twelve"], trial="Averylongnamewithoutanybreak" * 5)
    pdf = pypdf.PdfReader(BytesIO(write_pdf(html, tmp_path / "card.pdf").read_bytes()))
    right_edges = []
    for sheet in pdf.pages:
        sheet.extract_text(
            visitor_text=lambda text, cm, tm, font, size: right_edges.append(
                (tm[4] * cm[0] + cm[4], text)
            )
        )
    width = float(pdf.pages[0].mediabox.width)
    assert max(edge for edge, text in right_edges if text.strip()) < width
    rows = Page(html).table("Block")[1:]
    assert len(rows) == 40


def test_the_same_plan_gives_the_same_card(plans, fields):
    assert card(plans["twelve"], fields["twelve"]) == card(plans["twelve"], fields["twelve"])
