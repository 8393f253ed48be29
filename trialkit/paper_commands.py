"""The commands that write papers for field and shed, and the options that commands share."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from trialkit.language import ENGLISH, ENVIRONMENT, languages, speaking
from trialkit.terminal import print_json, progress, wrote

Folder = Annotated[Path, typer.Argument(help="The trial folder.", show_default=False)]
Json = Annotated[bool, typer.Option("--json", help="Print the result as JSON.")]
Spoken = Annotated[
    str,
    typer.Option(
        envvar=ENVIRONMENT,
        help=f"Language of the page: {', '.join(languages())}, or a file of translations (.po).",
    ),
]


def layout(
    folder: Folder,
    pdf: Annotated[bool, typer.Option("--pdf", help="Also set the field card as a PDF.")] = False,
    pace_m: Annotated[
        float, typer.Option(help="Length of your pace in metres, for the field card.")
    ] = 0.9,
    language: Spoken = ENGLISH,
    as_json: Json = False,
) -> None:
    """Lay the strips out and draw which gets what; map, field card, files for the terminal."""
    from trialkit.field_papers import STEPS, make_field_papers

    with speaking(language), progress(len(STEPS) if pdf else len(STEPS) - 1) as tell:
        papers = make_field_papers(folder, pdf=pdf, pace_m=pace_m, progress=tell)
    if as_json:
        print_json(papers.record())
        return
    print("\n".join(papers.says))
    wrote(papers.written, as_json)


def runsheet(
    folder: Folder,
    pdf: Annotated[bool, typer.Option("--pdf", help="Also set both sheets as PDFs.")] = False,
    language: Spoken = ENGLISH,
    as_json: Json = False,
) -> None:
    """Write the run sheets for dressing and sowing: one for the shed, one for the cab."""
    from trialkit.sowing_papers import STEPS, make_run_sheets

    with speaking(language), progress(len(STEPS) if pdf else len(STEPS) - 1) as tell:
        sheets = make_run_sheets(folder, pdf=pdf, progress=tell)
        sentences = sheets.sentences()
    if as_json:
        print_json(sheets.as_plain())
        return
    print("\n".join(sentences))
    wrote(sheets.written, as_json)


def countsheet(
    folder: Folder,
    pdf: Annotated[bool, typer.Option("--pdf", help="Also set the sheet as a PDF.")] = False,
    places: Annotated[int | None, typer.Option(help="Places to count in each strip.")] = None,
    seed: Annotated[int | None, typer.Option(help="Seed of the draw of the places.")] = None,
    language: Spoken = ENGLISH,
    as_json: Json = False,
) -> None:
    """Draw random places to count plants at, and write the sheet to carry."""
    from trialkit.counting_papers import make_counting_sheet

    with speaking(language), progress(None):
        papers = make_counting_sheet(folder, places=places, seed=seed, pdf=pdf)
    if as_json:
        print_json(papers.record())
        return
    print("\n".join(papers.says))
    wrote(papers.written, as_json)
