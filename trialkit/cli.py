"""The commands: thin, and quick to start because each imports what it needs when it runs."""

from __future__ import annotations

import json
import os
import sys
import traceback
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NoReturn

import typer

from trialkit import paper_commands
from trialkit.errors import TrialkitError
from trialkit.language import ENGLISH, speaking
from trialkit.paper_commands import Folder, Json, Spoken
from trialkit.shipped import copy_demo, demo_folders
from trialkit.terminal import (
    print_checks,
    print_harvest,
    print_json,
    print_summary,
    progress,
    wrote,
)

if TYPE_CHECKING:
    from trialkit.season import Harvested
    from trialkit.trial import Trial

BAD_INPUT = 2
OUR_FAULT = 1

app = typer.Typer(
    name="trialkit",
    help="Find out on your own farm whether dressing seed with biological products pays.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)


@app.command()
def new(
    folder: Folder,
    field: Annotated[
        Path | None,
        typer.Option(
            help="The field as your terminal or map program exports it: task data, shapefile, "
            "GeoPackage, KML or GeoJSON. Outline and guidance line are taken from it.",
            show_default=False,
        ),
    ] = None,
    field_name: Annotated[
        str, typer.Option(help="Which field, where the export holds several.", show_default=False)
    ] = "",
    as_json: Json = False,
) -> None:
    """Write a new trial folder, with comments and blanks to fill in."""
    from trialkit.trial.template import new_folder

    drawing = None
    if field is not None:
        from trialkit.design import read_field_drawing

        drawing = read_field_drawing(field, field=field_name or None)
    written = new_folder(folder, drawing)
    if drawing is not None and drawing.notes and not as_json:
        print("\n".join(drawing.notes))
    wrote(written, as_json)
    if not as_json:
        print(f"\nNow fill in the blanks in {folder / 'trial.toml'},")
        print(f"then run: trialkit check {folder}")


@app.command()
def check(
    folder: Annotated[
        Path, typer.Argument(help="The trial folder, or a bundle of one.", show_default=False)
    ],
    as_json: Json = False,
) -> None:
    """Say what is wrong or missing in a trial folder, everything at once; or check a bundle."""
    if folder.suffix.lower() == ".zip" and folder.is_file():
        from trialkit.bundle_check import check_bundle

        with progress(None) as tell:
            found_in = check_bundle(folder, progress=tell)
        _compared(found_in.as_plain(), found_in.sentences(), found_in.right, as_json)
        return
    from trialkit.checks import faults
    from trialkit.trial import check_folder, check_harvest, check_scouting
    from trialkit.trial.outdated import check_results

    trial, checks = check_folder(folder)
    if trial is not None:
        checks += [*check_scouting(trial), *check_harvest(trial), *check_results(trial)]
    found = faults(checks)
    if as_json:
        rows = [
            {"file": c.file, "place": c.place, "found": c.found, "wanted": c.wanted}
            | {"outcome": c.outcome}
            for c in checks
        ]
        print_json({"folder": str(folder), "faults": len(found), "checks": rows})
    else:
        print_checks(checks, trial)
    if found:
        raise typer.Exit(BAD_INPUT)


app.command()(paper_commands.layout)
app.command()(paper_commands.runsheet)
app.command()(paper_commands.countsheet)


@app.command()
def harvest(folder: Folder, as_json: Json = False) -> None:
    """Screen the yield monitor's export and make strip yields."""
    from trialkit.season import STEPS, harvest_season, write_harvest
    from trialkit.trial import open_trial

    trial = open_trial(folder)
    with progress(len(STEPS) - 1) as tell:
        harvested = harvest_season(trial, progress=tell)
        written = write_harvest(trial, harvested)
        tell("Drawing")
        written += _harvest_pictures(trial, harvested)
    if as_json:
        print_json(
            {
                "source": harvested.source,
                "delay_s": None if harvested.delay is None else harvested.delay.delay_s,
                "strips": json.loads(harvested.strips.to_json(orient="records")),
                "screening": []
                if harvested.screening is None
                else json.loads(harvested.screening.to_json(orient="records")),
                "warnings": list(harvested.warnings),
                "wrote": [str(path) for path in written],
            }
        )
        return
    print_harvest(harvested)
    wrote(written, as_json)


def _harvest_pictures(trial: Trial, harvested: Harvested) -> list[Path]:
    if harvested.log is None or harvested.screening is None:
        return []
    from trialkit.report.harvest_pictures import save_harvest_pictures

    return save_harvest_pictures(
        trial.results / "pictures",
        harvested.log,
        harvested.screening,
        trial.layout,
        boundary=trial.boundary,
        delay=harvested.delay,
        ends=harvested.ends,
        screening=trial.config.harvest.screening,
    )


@app.command()
def analyse(
    folder: Folder,
    again: Annotated[
        bool,
        typer.Option("--again", help="Write nothing: compare with what results/ holds already."),
    ] = False,
    as_json: Json = False,
) -> None:
    """Say whether the treatment paid, and how sure that is."""
    from trialkit.season import STEPS, write_results
    from trialkit.season import analyse as run
    from trialkit.trial import open_trial

    trial = open_trial(folder)
    if again:
        from trialkit.repeated import repeat

        with progress(len(STEPS)) as tell:
            compared = repeat(trial, progress=tell)
        _compared(compared.as_plain(), compared.sentences(), compared.same, as_json)
        return
    with progress(len(STEPS)) as tell:
        result = run(trial, progress=tell)
    written = write_results(trial, result)
    if as_json:
        print(result.to_json(), end="")
        return
    print_summary(result.summary)
    wrote(written, as_json)


@app.command()
def report(
    folder: Folder,
    pdf: Annotated[bool, typer.Option("--pdf", help="Also set the report as a PDF.")] = False,
    earlier: Annotated[
        list[Path] | None,
        typer.Option(
            help="Folder of an earlier season, taken together with this one; may be repeated.",
            show_default=False,
        ),
    ] = None,
    language: Spoken = ENGLISH,
    as_json: Json = False,
) -> None:
    """Write the season report as one HTML file, to read, print or mail."""
    from trialkit.report.render import render
    from trialkit.trial import open_trial
    from trialkit.trial.outdated import since_last_report

    trial = open_trial(folder)
    for sentence in () if as_json else since_last_report(trial):
        print(f"Note: {sentence}")
    out_file = trial.results / "report.html"
    pdf_file = trial.results / "report.pdf" if pdf else None
    with speaking(language), progress(None) as tell:
        others = earlier or ()
        written = [render(folder, out_file, pdf_file=pdf_file, earlier=others, progress=tell)]
    wrote([*written, pdf_file] if pdf_file else written, as_json)


@app.command()
def seasons(
    folders: Annotated[
        list[Path], typer.Argument(help="Trial folders, two or more.", show_default=False)
    ],
    out: Annotated[
        Path, typer.Option(help="Folder for the report; it is made if it is not there.")
    ] = Path("across-seasons"),
    language: Spoken = ENGLISH,
    as_json: Json = False,
) -> None:
    """Take several seasons together: gain, money, and what one more season may bring."""
    from trialkit.across_seasons import pool_seasons
    from trialkit.seasons_report import plain_values, write_seasons

    with speaking(language), progress(None) as tell:
        found = pool_seasons(folders, progress=tell)
        tell("Writing the report")
        written = write_seasons(found, out)
        sentences = found.sentences()
    if as_json:
        print_json(plain_values(found) | {"wrote": [str(path) for path in written]})
        return
    print("\n".join(sentences))
    wrote(written, as_json)


@app.command()
def bundle(
    folder: Folder,
    out: Annotated[
        Path | None, typer.Option(help="Name of the zip; else beside the folder.")
    ] = None,
    shift: Annotated[bool, typer.Option("--shift", help="Move all positions elsewhere.")] = False,
    without_names: Annotated[
        bool, typer.Option("--without-names", help="Take out names of places and files, and notes.")
    ] = False,
    as_json: Json = False,
) -> None:
    """Put a trial into one zip to send, which the other side can check."""
    from trialkit.bundles import make_bundle

    with progress(None) as tell:
        made = make_bundle(folder, out, shift=shift, without_names=without_names, progress=tell)
    if as_json:
        print_json(made.as_plain())
        return
    print("\n".join(made.sentences()))
    wrote([made.path], as_json)


@app.command()
def demo(
    folder: Folder,
    trial: Annotated[
        str, typer.Option(help=f"Which demo trial: {', '.join(demo_folders())}.")
    ] = "",
    as_json: Json = False,
) -> None:
    """Copy an invented demo trial out, to try everything on."""
    written = copy_demo(folder, trial)
    wrote(written, as_json)
    if not as_json:
        command = "report" if (folder / "layout.geojson").exists() else "layout"
        print(f"\nThe farm is invented. Now run: trialkit {command} {folder}")


@app.command(context_settings={"allow_extra_args": True, "ignore_unknown_options": True})
def lab(
    context: typer.Context,
    folder: Annotated[Path, typer.Argument(help="The trial folder.")] = Path(),
    as_json: Json = False,
) -> None:
    """Open the notebooks beside a trial in JupyterLab; further options go to JupyterLab."""
    from trialkit.notebooks import lay_out_notebooks, start_lab
    from trialkit.trial.folder import check_there

    check_there(folder)
    written = lay_out_notebooks(folder)
    wrote(written, as_json)
    raise typer.Exit(start_lab(folder, context.args))


def main() -> NoReturn:
    """Run the command line: exit 0 when done, 2 on bad input, 1 on our own fault."""
    try:
        app()
    except TrialkitError as error:
        _fail(str(error), BAD_INPUT)
    except (KeyboardInterrupt, BrokenPipeError):
        raise SystemExit(OUR_FAULT) from None
    except Exception as error:  # whatever it is, a grower gets a sentence and no traceback
        if os.environ.get("TRIALKIT_TRACEBACK"):
            traceback.print_exc()
        _fail(
            f"This is a fault of trialkit's, not yours: {type(error).__name__}: {error}\n"
            "Set TRIALKIT_TRACEBACK=1, run it again, and report what it prints.",
            OUR_FAULT,
        )
    raise SystemExit(0)


def _fail(message: str, status: int) -> NoReturn:
    if "--json" in sys.argv:
        print_json({"error": message})
    print(message, file=sys.stderr)
    raise SystemExit(status)


def _compared(content: object, sentences: list[str], same: bool, as_json: bool) -> None:
    """Print a comparison; exit as on bad input where the two are not the same."""
    if as_json:
        print_json(content)
    else:
        print("\n".join(sentences))
    if not same:
        raise typer.Exit(BAD_INPUT)
