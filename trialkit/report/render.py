"""Run the season notebook on a trial and put it into one HTML file that needs nothing else."""

from __future__ import annotations

import os
import sys
import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from markupsafe import Markup

from trialkit import errors
from trialkit.errors import TrialkitError
from trialkit.language import ENVIRONMENT, language, say
from trialkit.report.paper import write_pdf
from trialkit.result import InputFile
from trialkit.shipped import shipped
from trialkit.trial.config import FILE, read_config
from trialkit.trial.folder import check_folder, check_there
from trialkit.trial.outdated import fingerprinted
from trialkit.trial.provenance import input_files
from trialkit.trial.writing import write_whole

if TYPE_CHECKING:
    from jupyter_client.kernelspec import KernelSpec
    from nbformat import NotebookNode

NOTEBOOK = "05-season-report.ipynb"

#: Cells with this tag are for who works in the notebook, not for the page.
NOTEBOOK_ONLY = "notebook-only"
PARAMETERS = "parameters"
PAPER_STYLE = "report-paper.css"

#: No season takes this long; a cell that does will never end.
_CELL_TIMEOUT_S = 600

#: Longest path that every system takes as a socket's address, less the kernel's own ending.
_LONGEST_ADDRESS = 90

Progress = Callable[[str], None]


def render(
    trial_folder: Path,
    out_file: Path,
    *,
    pdf_file: Path | None = None,
    notebook: Path | None = None,
    earlier: Sequence[Path] = (),
    progress: Progress | None = None,
) -> Path:
    """Write the season report of a trial as one self-contained HTML file, and as a PDF.

    It is in the language that is spoken, see `trialkit.language`.

    Parameters
    ----------
    trial_folder
        The trial folder.
    out_file
        Where the report goes; it is replaced only by a whole new one.
    pdf_file
        Where the same report goes as an A4 PDF; None for no PDF.
    notebook
        Notebook to run instead of the season report that comes with trialkit.
    earlier
        Trial folders of earlier seasons, to be taken together with this one.
    progress
        Called with the name of each step as it begins.

    Returns
    -------
    Path
        The file written.

    Raises
    ------
    TrialkitError
        If the trial cannot be analysed, an earlier season is no trial folder, a cell of the
        notebook stops, or the libraries that set a PDF are missing.
    """
    import nbformat

    tell = progress or (lambda _: None)
    for folder in earlier:
        check_there(folder)
    source = notebook or shipped("notebooks") / NOTEBOOK
    try:
        content = nbformat.read(source, as_version=4)
    except Exception as error:  # what is no notebook fails in many ways
        raise TrialkitError(f"{source}: this notebook cannot be read: {error}.") from error
    _set_parameters(content, trial_folder.resolve(), [folder.resolve() for folder in earlier])
    inputs = _inputs(trial_folder)
    # What only a notebook shows, such as controls, need not be worked out for the page.
    content.cells = [
        cell for cell in content.cells if cell.cell_type != "code" or not _notebook_only(cell)
    ]
    for cell in content.cells:
        if cell.cell_type == "markdown":
            cell.source = say(cell.source)
    _run(content, tell)
    tell("Writing the report")
    body, title = _body(content), _title(trial_folder)
    written = write_whole(out_file, fingerprinted(_page(body, title), inputs))
    if pdf_file is not None:
        tell("Setting the PDF")
        write_pdf(_paper(body, title), pdf_file)
    return written


def _inputs(trial_folder: Path) -> tuple[InputFile, ...]:
    """Return the files the report rests on, as they were before it was begun."""
    trial, _ = check_folder(trial_folder)
    return () if trial is None else tuple(input_files(trial))


def _set_parameters(notebook: NotebookNode, trial_folder: Path, earlier: Sequence[Path]) -> None:
    """Put a cell that sets the folders below the one that the notebook sets them in."""
    import nbformat

    for place, cell in enumerate(notebook.cells):
        if PARAMETERS in cell.metadata.get("tags", ()):
            lines = (
                f"trial_folder = {str(trial_folder)!r}",
                f"earlier = {list(map(str, earlier))}",
            )
            given = nbformat.v4.new_code_cell("\n".join(lines), id="given")
            notebook.cells.insert(place + 1, given)
            return
    raise TrialkitError(
        f"The notebook has no cell tagged '{PARAMETERS}' that sets trial_folder. Tag one."
    )


def _run(notebook: NotebookNode, tell: Progress) -> None:
    """Run the notebook in a fresh kernel of the running interpreter."""
    from jupyter_client.kernelspec import KernelSpecManager
    from jupyter_client.manager import AsyncKernelManager
    from nbclient import NotebookClient
    from nbclient.exceptions import CellExecutionError, CellTimeoutError, DeadKernelError

    class OwnKernel(KernelSpecManager):
        """Whatever kernels are installed, the report is made by this interpreter."""

        def get_kernel_spec(self, kernel_name: str) -> KernelSpec:
            return _kernel_spec(kernel_name, home)

    def before_cell(cell: NotebookNode, cell_index: int) -> None:  # noqa: ARG001  hook's names
        tell(_step(notebook, cell_index) or f"Running cell {cell_index + 1}")

    with tempfile.TemporaryDirectory(prefix="trialkit-") as home:
        client = NotebookClient(
            notebook,
            km=AsyncKernelManager(kernel_spec_manager=OwnKernel(), **_channel(home)),
            timeout=_CELL_TIMEOUT_S,
            resources={"metadata": {"path": home}},
            on_cell_start=before_cell,
        )
        try:
            client.execute(cleanup_kc=True)
        except CellExecutionError as error:
            raise _cell_fault(error.ename, error.evalue) from None
        except CellTimeoutError as error:
            raise TrialkitError("The report took too long and was stopped.") from error
        except (DeadKernelError, RuntimeError, OSError) as error:
            raise TrialkitError(
                f"The report could not be made: Python stopped while running it ({error}). "
                "Close other programs if memory is short, and try again."
            ) from error


def _channel(home: str) -> dict[str, str]:
    """Return how to talk to the kernel: through files of our own where the system has such."""
    address = str(Path(home) / "kernel")
    if sys.platform == "win32" or len(address) > _LONGEST_ADDRESS:
        return {}
    return {"transport": "ipc", "ip": address}


def _kernel_spec(name: str, home: str) -> KernelSpec:
    from jupyter_client.kernelspec import KernelSpec

    # The kernel sees the packages this process sees, and none of the user's start-up files.
    path = os.pathsep.join(entry or str(Path.cwd()) for entry in sys.path)
    return KernelSpec(
        argv=[sys.executable, "-m", "ipykernel_launcher", "-f", "{connection_file}"],
        display_name=name,
        language="python",
        env={"PYTHONPATH": path, "IPYTHONDIR": home, ENVIRONMENT: language().source},
    )


def _cell_fault(name: str, message: str) -> TrialkitError:
    """Return the cell's error as ours: as it is where it was ours, else with its kind."""
    kind = getattr(errors, name, None)
    if isinstance(kind, type) and issubclass(kind, TrialkitError):
        return kind(message)
    return TrialkitError(f"The report stopped. {name}: {message}")


def _step(notebook: NotebookNode, cell_index: int) -> str:
    """Return the heading above a cell."""
    for cell in reversed(notebook.cells[: cell_index + 1]):
        if cell.cell_type == "markdown" and cell.source.startswith("#"):
            heading: str = cell.source.splitlines()[0].lstrip("# ")
            return heading
    return ""


def _notebook_only(cell: NotebookNode) -> bool:
    return NOTEBOOK_ONLY in cell.metadata.get("tags", ())


def _body(notebook: NotebookNode) -> str:
    """Return the notebook's words and results as HTML, without its code."""
    from nbconvert import HTMLExporter

    for cell in notebook.cells:
        if cell.cell_type == "code":
            # Warnings stand in the report's own words; what else is printed is not for readers.
            cell.outputs = [out for out in cell.outputs if out.output_type != "stream"]
    notebook.cells = [
        cell
        for cell in notebook.cells
        if not _notebook_only(cell) and (cell.cell_type == "markdown" or cell.get("outputs"))
    ]
    exporter = HTMLExporter(
        template_name="basic",
        exclude_input=True,
        exclude_input_prompt=True,
        exclude_output_prompt=True,
        exclude_anchor_links=True,
    )
    body: str
    body, _ = exporter.from_notebook_node(notebook)
    return body


def _page(body: str, title: str) -> str:
    from trialkit.report.pieces import Piece, fill, page_file

    style = page_file("page.css") + page_file("pieces.css")
    return fill("page.html", title=title, style=Piece(style), body=Piece(body))


def _paper(body: str, title: str) -> str:
    """Return the report as it goes on paper: the same words, with a foot on each page."""
    from trialkit.report.pieces import Piece, fill, page_file

    style = "".join(map(page_file, ("page.css", "pieces.css", PAPER_STYLE)))
    foot = Markup('<div data-foot="{}">').format(title)
    return fill("page.html", title=title, style=Piece(style), body=Piece(f"{foot}{body}</div>"))


def _title(trial_folder: Path) -> str:
    config, _ = read_config(trial_folder / FILE)
    return say("Season report") if config is None else f"{config.trial.name}, {config.trial.season}"
