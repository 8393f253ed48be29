"""Collects the words of trialkit for translators: `python -m trialkit.languages.collecting`.

Writes `words.pot`, and brings each language beside it up to date: new sentences come in without a
translation, those no longer said go out, translations that are there stay.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from datetime import UTC, datetime
from io import BytesIO
from pathlib import Path

import nbformat
from babel.messages import Catalog
from babel.messages.pofile import read_po, write_po

from trialkit.language import ENDING, texts
from trialkit.report.render import NOTEBOOK, NOTEBOOK_ONLY
from trialkit.shipped import shipped

TEMPLATE = "words.pot"
_PACKAGE = Path(__file__).parent.parent
#: How many sentences stand first in a call of each.
_SAYING = {"say": 1, "marked": 1, "say_counted": 2}
#: The file changes with the words, not with the day it is made.
_DATE = datetime(2026, 1, 1, tzinfo=UTC)
_HEADER = """\
# What trialkit says, sentence by sentence.
#
# Names in braces are places that are filled in: they stay as they are, in whatever order the
# language wants. A colon in one says how its number is written, such as {gain:.2f}: two decimals.
#"""


def collected() -> Catalog:
    """Return every sentence of the code and of the report's notebook, without translations."""
    catalog = Catalog(
        project="trialkit", header_comment=_HEADER, creation_date=_DATE, charset="utf-8",
        fuzzy=False,
    )  # fmt: skip
    for path in sorted(_PACKAGE.rglob("*.py")):
        place = path.relative_to(_PACKAGE.parent).as_posix()
        for message in said_in(path.read_text(encoding="utf-8")):
            catalog.add(message, locations=[(place, 0)])
    for text in notebook_words():
        catalog.add(text, locations=[(f"notebooks/{NOTEBOOK}", 0)])
    return catalog


def said_in(source: str) -> Iterator[str | tuple[str, ...]]:
    """Return the sentences that a module says, one that is counted as its singular and plural.

    Parameters
    ----------
    source
        Its text.
    """
    calls = [node for node in ast.walk(ast.parse(source)) if isinstance(node, ast.Call)]
    for call in sorted(calls, key=lambda call: (call.lineno, call.col_offset)):
        count = _SAYING.get(getattr(call.func, "id", ""), 0)
        first = [part.value for part in call.args[:count] if isinstance(part, ast.Constant)]
        said = [text for text in first if isinstance(text, str)]
        if said and len(said) == count:
            yield tuple(said) if count > 1 else said[0]


def notebook_words() -> Iterator[str]:
    """Return the words between the cells of the season report."""
    notebook = nbformat.read(shipped("notebooks") / NOTEBOOK, as_version=4)
    for cell in notebook.cells:
        if cell.cell_type == "markdown" and NOTEBOOK_ONLY not in cell.metadata.get("tags", ()):
            yield cell.source


def updated(content: bytes, words: Catalog) -> Catalog:
    """Return a language with the sentences that are said now.

    Parameters
    ----------
    content
        Its file.
    words
        From `collected`.
    """
    catalog = read_po(BytesIO(content), charset="utf-8")
    catalog.update(words, no_fuzzy_matching=True, update_header_comment=False)
    catalog.obsolete.clear()
    return catalog


def written(catalog: Catalog) -> bytes:
    """Return a catalogue as a file; the same words give the same bytes."""
    buffer = BytesIO()
    write_po(buffer, catalog, width=100, include_lineno=False, sort_by_file=True)
    return buffer.getvalue()


def lacking(catalog: Catalog) -> list[str]:
    """Return the sentences that a language has no words for."""
    return [
        texts(message.id)[0]
        for message in catalog
        if message.id and (message.fuzzy or not all(texts(message.string)))
    ]


def main() -> None:
    """Bring `words.pot` and the languages up to date."""
    words, here = collected(), Path(__file__).parent
    (here / TEMPLATE).write_bytes(written(words))
    for path in sorted(here.glob(f"*{ENDING}")):
        catalog = updated(path.read_bytes(), words)
        path.write_bytes(written(catalog))
        print(f"{path.name}: {len(catalog)} sentences, {len(lacking(catalog))} not translated")


if __name__ == "__main__":
    main()
