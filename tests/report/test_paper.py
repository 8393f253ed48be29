"""Pages for paper. What a PDF holds is read back by pypdf, a library of its own."""

from __future__ import annotations

import os
import subprocess
import sys
from io import BytesIO

import pypdf
import pytest
from markupsafe import Markup

from trialkit.errors import TrialkitError
from trialkit.report.paper import paper_page, write_pdf
from trialkit.report.pieces import Piece

DOT = "data:image/gif;base64,R0lGODlhAQABAIAAAP///wAAACwAAAAAAQABAAACAkQBADs="
A4_PT = (595.28, 841.89)
#: Points of 1/72 inch are written to two decimals.
PT = 0.01


def page(body, title="A card"):
    return paper_page(title, Piece(Markup(body)))


def read(path):
    return pypdf.PdfReader(BytesIO(path.read_bytes()))


def test_a_page_is_a4_with_its_foot_and_page_numbers(tmp_path):
    rows = "".join(f"<tr><td>row {n}</td></tr>" for n in range(90))
    body = f'<h1 data-foot="Invented &amp; trial">Card</h1><table>{rows}</table>'
    pdf = read(write_pdf(page(body), tmp_path / "card.pdf"))
    sizes = {tuple(map(float, sheet.mediabox[2:])) for sheet in pdf.pages}
    assert [pytest.approx(size, abs=PT) for size in sizes] == [A4_PT]
    texts = [sheet.extract_text() for sheet in pdf.pages]
    assert len(texts) > 1
    for number, text in enumerate(texts, 1):
        assert "Invented & trial" in text
        assert f"{number} / {len(texts)}" in text
    assert pdf.metadata is not None
    assert pdf.metadata.title == "A card"
    assert "/StructTreeRoot" in pdf.trailer["/Root"]


def test_no_row_is_torn_in_two(tmp_path):
    rows = "".join(f"<tr><td>a{n}<br>b<br>c<br>d<br>z{n}.</td></tr>" for n in range(60))
    pdf = read(write_pdf(page(f"<table>{rows}</table>"), tmp_path / "card.pdf"))
    texts = [sheet.extract_text() for sheet in pdf.pages]
    assert len(texts) > 2
    for number in range(60):
        (where,) = [place for place, text in enumerate(texts) if f"a{number}\n" in text]
        assert f"z{number}." in texts[where]


def test_the_title_is_text_not_markup():
    assert "<title>&lt;b&gt; &amp; &#34;x</title>" in page("", title='<b> & "x')


PROGRAM = """
import sys
from trialkit.report.paper import write_pdf
write_pdf(sys.stdin.read(), sys.argv[1])
"""


def test_the_same_page_gives_the_same_bytes_in_any_process(tmp_path):
    html = page(f'<h1 data-foot="x">é − ü</h1><img alt="dot" src="{DOT}"><p><b>b</b> <i>i</i></p>')
    for seed in ("1", "2"):
        subprocess.run(
            [sys.executable, "-c", PROGRAM, str(tmp_path / seed)],
            input=html.encode(),
            env=os.environ | {"PYTHONHASHSEED": seed, "PYTHONUTF8": "1"},
            check=True,
        )
    assert (tmp_path / "1").read_bytes() == (tmp_path / "2").read_bytes()


@pytest.mark.parametrize(
    "body",
    [
        '<img alt="" src="file:///etc/hostname">',
        '<img alt="" src="map.png">',
        '<img alt="" src="http://127.0.0.1:9/x.png">',
        '<style>body { background: url("//127.0.0.1:9/x") }</style>',
        '<style>@import "other.css";</style>',
        '<link rel="stylesheet" href="ftp://127.0.0.1:9/x.css">',
        '<link rel="attachment" href="file:///etc/hostname">',
        '<object data="file:///etc/hostname"></object>',
    ],
)
def test_nothing_is_fetched_and_the_last_good_file_stays(body, tmp_path):
    earlier = write_pdf(page("<p>earlier</p>"), tmp_path / "card.pdf").read_bytes()
    with pytest.raises(TrialkitError, match=r"^card\.pdf: the page asks for something"):
        write_pdf(page(body), tmp_path / "card.pdf")
    assert [path.name for path in tmp_path.iterdir()] == ["card.pdf"]
    assert (tmp_path / "card.pdf").read_bytes() == earlier


def test_what_the_page_holds_itself_is_drawn(tmp_path):
    pdf = read(write_pdf(page(f'<img alt="dot" src="{DOT}">'), tmp_path / "card.pdf"))
    assert len(pdf.pages[0].images) == 1


def test_a_machine_without_the_text_library_gets_the_remedy(monkeypatch, tmp_path):
    class Missing:
        def find_spec(self, name, path=None, target=None):
            if name == "weasyprint":
                raise OSError("cannot load library 'libpango-1.0-0': no such file.\nmore")

    for name in [name for name in sys.modules if name.split(".")[0] == "weasyprint"]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setattr(sys, "meta_path", [Missing(), *sys.meta_path])
    wanted = r"Pango is missing \(cannot load.*no such file\)\. On Debian.*apt-get install libpango"
    with pytest.raises(TrialkitError, match=wanted):
        write_pdf(page(""), tmp_path / "card.pdf")
    assert list(tmp_path.iterdir()) == []
