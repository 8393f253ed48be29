"""Parts of the report as HTML, whatever comes from data escaped."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Protocol

from jinja2 import Environment, FunctionLoader, StrictUndefined
from markupsafe import Markup, escape

from trialkit.language import language


class Shown(Protocol):
    """Anything that can be shown: a picture, a table, words."""

    def html(self) -> str:
        """Return it as HTML."""

    def __html__(self) -> str:
        """Return it as HTML, so that a template does not escape it."""


@dataclass(frozen=True, slots=True)
class Piece:
    """A part of the report, shown by a notebook as it is.

    Parameters
    ----------
    markup
        HTML; text in it is already escaped.
    """

    markup: str

    def html(self) -> str:
        """Return the piece as HTML."""
        return self.markup

    def __html__(self) -> str:
        return self.markup

    def _repr_html_(self) -> str:
        return self.markup


def words(*sentences: str) -> Piece:
    """Return sentences as one paragraph; empty ones are left out."""
    text = " ".join(sentence for sentence in sentences if sentence)
    return Piece(Markup('<p class="tk-words">{}</p>').format(text) if text else "")


def bullets(items: Iterable[str]) -> Piece:
    """Return items as a list; nothing where there are none."""
    rows = Markup("").join(Markup("<li>{}</li>").format(item) for item in items)
    return Piece(Markup('<ul class="tk-list">{}</ul>').format(rows) if rows else "")


def side_by_side(*parts: Shown) -> Piece:
    """Return parts next to each other, below each other where the page is narrow."""
    inside = "".join(part.html() for part in parts)
    return Piece(f'<div class="tk-beside">{inside}</div>')


def captioned(markup: str, caption: str) -> Piece:
    """Return a table under its caption."""
    return Piece(
        f'<figure class="tk-table"><figcaption>{escape(caption)}</figcaption>'
        f'<div class="tk-scroll">{markup}</div></figure>'
    )


def style() -> Piece:
    """Return the look of all pieces, for a notebook; the page brings its own."""
    return Piece(f"<style>{page_file('pieces.css')}</style>")


def page_file(name: str) -> str:
    """Return the text of a file that belongs to the page."""
    return (files("trialkit.report") / "page" / name).read_text(encoding="utf-8")


def fill(template: str, **content: object) -> str:
    """Fill a template of the page; everything that is not a piece already is escaped."""
    return _environment().get_template(template).render(language=language().code, **content)


@cache
def _environment() -> Environment:
    return Environment(
        loader=FunctionLoader(page_file),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
