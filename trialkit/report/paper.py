"""Pages for paper: one self-contained A4 page as HTML, and as a PDF."""

from __future__ import annotations

from pathlib import Path
from types import ModuleType

from trialkit.errors import TrialkitError
from trialkit.language import ENGLISH, language
from trialkit.report.pieces import Piece, Shown, fill, page_file
from trialkit.trial.writing import write_whole

#: Where names of files in a page lead: nowhere that may be read.
_BASE = "file:///page/"


def paper_page(title: str, body: Shown, *, style: str = "") -> str:
    """Return an A4 page as HTML that needs no other file.

    Parameters
    ----------
    title
        Name of the page, as plain text.
    body
        What it holds. An element with the attribute `data-foot` sets the words at the foot of
        each printed page from there on.
    style
        Further style rules, after those that all paper shares.

    Returns
    -------
    str
        The page. `write_pdf` puts it on paper, as does the print command of any browser.
    """
    rules = page_file("paper.css") + style
    if language().code != ENGLISH:
        rules += page_file("longer-words.css")
    return fill("page.html", title=title, style=Piece(rules), body=body)


def write_pdf(html: str, path: str | Path) -> Path:
    """Write a page as a PDF; the same page gives the same bytes.

    Parameters
    ----------
    html
        The page. It must hold its pictures and styles itself: nothing is fetched, neither from
        the network nor from this machine.
    path
        Where the PDF goes; it is replaced only by a whole new one.

    Returns
    -------
    Path
        The file written.

    Raises
    ------
    TrialkitError
        If the page asks for a file, or the libraries that set text are missing.
    """
    weasyprint = _typesetter()
    from weasyprint.urls import FatalURLFetchingError, URLFetcher

    own_only = URLFetcher(allowed_protocols=("data",), fail_on_errors=True)
    try:
        # With a base, a picture named by its file alone is refused, not left out unsaid.
        page = weasyprint.HTML(string=html, base_url=_BASE, url_fetcher=own_only)
        # Tagged, so that a screen reader finds headings, tables and the words for pictures.
        content = page.write_pdf(pdf_tags=True)
    except FatalURLFetchingError as error:
        raise TrialkitError(
            f"{Path(path).name}: the page asks for something it does not hold ({error}). "
            "Put it into the page."
        ) from None
    return write_whole(Path(path), content)


def _typesetter() -> ModuleType:
    try:
        import weasyprint
    except OSError as error:  # a system library that it loads is not there
        raise TrialkitError(
            "A PDF cannot be made on this machine: the text library Pango is missing "
            f"({_first_line(error)}). On Debian or Ubuntu run 'sudo apt-get install "
            "libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0', on a Mac 'brew install "
            "pango'. Or open the HTML page in a browser and print it from there."
        ) from None
    module: ModuleType = weasyprint
    return module


def _first_line(error: OSError) -> str:
    return (str(error).splitlines() or [""])[0].rstrip(".")
