"""The report on paper: the first page is one sheet, however many treatments there are."""

from __future__ import annotations

import json
from io import BytesIO

import pypdf
import pytest
from typer.testing import CliRunner

from trialkit.cli import app
from trialkit.report import figures, maps
from trialkit.report.front import front_page
from trialkit.report.paper import write_pdf
from trialkit.report.render import _paper
from trialkit.shipped import demo_folders
from trialkit.trial.config import TrialConfig

NAMES = ("dressed full rate", "water only", "kelp syrup in water, late", "powder", "half rate")
NEXT = "Use dressed full rate, as long as other seasons are like this one. " * 2


def config(names):
    return TrialConfig.model_validate(
        {
            "trial": {"name": "River flat", "season": 2025, "crop": "oats", "invented": True},
            "treatments": [
                {"name": "Untreated", "control": True},
                *({"name": name, "cost_per_ha": 20} for name in names),
            ],
            "machines": {"seeder_m": 12, "harvester_m": 12},
            "money": {"currency": "AUD", "price_per_t": 250, "price_range": [220, 280]},
        }
    )


@pytest.mark.parametrize("treatments", [1, 2, 3, 5])
def test_the_first_page_is_one_sheet(treatments, compare, make_summary, layout, strips, tmp_path):
    names = NAMES[:treatments]
    comparisons = [compare(0.05 * place, treatment=name) for place, name in enumerate(names)]
    reasons = {f"reason {n}": 1000 + n for n in range(8)}
    summary = make_summary(
        comparisons,
        warnings=("The monitor was not checked on scales. If it reads 5% high, so does all.",),
        records={"read": 20_000, "kept": 11_000, "reasons": reasons},
    )
    page = front_page(
        summary,
        config(names),
        strips,
        gains=figures.gains(comparisons),
        strip_map=maps.strip_map(layout, strips, control="Untreated"),
        what_next=[NEXT],
    )
    body = f'<div class="cell">{page.html()}</div><h2>Overleaf</h2><p>More.</p>'
    path = write_pdf(_paper(body, "River flat, <2025>"), tmp_path / "report.pdf")
    sheets = pypdf.PdfReader(BytesIO(path.read_bytes())).pages
    assert len(sheets) == 2
    first, second = (" ".join(sheet.extract_text().split()) for sheet in sheets)
    assert "River flat, <2025>" in first
    assert "the extra grain was worth more than the treatment cost." in first
    assert second.startswith("Overleaf More.")


@pytest.mark.parametrize("options", [(), ("--pdf",)])
def test_the_command_names_what_it_wrote(options, monkeypatch):
    def rendered(folder, out_file, *, pdf_file=None, earlier=(), progress=None):
        progress("a step")
        asked.append(pdf_file)
        others.append([path.name for path in earlier])
        return out_file

    asked, others = [], []
    monkeypatch.setattr("trialkit.report.render.render", rendered)
    folder = demo_folders()["oats-2023-hard-frost"]
    seasons = ("--earlier", "one", "--earlier", "two") if options else ()
    shown = CliRunner().invoke(app, ["report", str(folder), "--json", *options, *seasons])
    assert shown.exit_code == 0
    assert others == [["one", "two"] if options else []]
    wrote = [path.rsplit("/", 1)[-1] for path in json.loads(shown.stdout)["wrote"]]
    assert wrote == ["report.html", "report.pdf"][: 1 + len(options)]
    assert [path and path.name for path in asked] == ["report.pdf" if options else None]


def test_what_the_report_holds_is_markup_and_its_title_is_text():
    page = _paper("<h2>A heading</h2>", 'x" <b>')
    assert "<h2>A heading</h2>" in page
    assert 'data-foot="x&#34; &lt;b&gt;"' in page
