"""The language that people read: English in the code, every other language in one file.

A sentence is a whole template with named places, `say("{treatment} paid.", treatment=name)`, so
that a translation may order them as its grammar wants. A language is a file of translations in
gettext's open format, `trialkit/languages/de.po`; what it lacks is said in English.

The language holds for the whole process, since a notebook's cells share nothing smaller. It is
English unless the environment variable `TRIALKIT_LANGUAGE` or `use_language` says otherwise.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from gettext import GNUTranslations, NullTranslations
from importlib.resources import files
from io import BytesIO
from pathlib import Path
from string import Formatter
from typing import TYPE_CHECKING, Any, TypeVar

from trialkit.errors import TrialkitError

if TYPE_CHECKING:
    from babel.messages import Catalog

#: Names the language of a process that is started, such as a notebook's kernel.
ENVIRONMENT = "TRIALKIT_LANGUAGE"
ENGLISH = "en"
#: Ending of the files that hold a language.
ENDING = ".po"

_Text = TypeVar("_Text", bound=str)


@dataclass(frozen=True, slots=True)
class Language:
    """A language: its words, and how it writes numbers.

    Parameters
    ----------
    code
        Code of the language by BCP 47, such as `de` or `pt-BR`, as an HTML page names it.
    source
        What `use_language` takes to speak it: its code, or the full name of its file.
    words
        Its translations.
    decimal, thousands, percent
        Its decimal mark, what it puts between thousands, and its percent sign.
    """

    code: str
    source: str
    words: NullTranslations
    decimal: str = "."
    thousands: str = ","
    percent: str = "%"


class _Filler(Formatter):
    """Fills the places of a template, numbers written as the language does."""

    def get_field(
        self,
        field_name: str,
        args: Sequence[Any],  # noqa: ARG002  the base's name
        kwargs: Mapping[str, Any],
    ) -> Any:
        # A translation comes from a file: it may name places, and reach into nothing.
        return kwargs[field_name], field_name

    def format_field(self, value: Any, format_spec: str) -> Any:
        text = format(value, format_spec)
        plain = isinstance(value, str | bool) or not hasattr(value, "__float__")
        return text if plain else figures(text)


_filler = _Filler()
_spoken: Language | None = None


def say(template: str, /, **values: object) -> str:
    """Return a sentence in the language that is spoken.

    Parameters
    ----------
    template
        The English sentence, with places such as `{name}` or `{gain:.2f}`. A name that stands for
        one must have been through `marked` where it was written.
    **values
        What goes into the places. Numbers are written as the language writes them; text goes in
        as it is.

    Examples
    --------
    >>> from trialkit.language import say
    >>> say("{name}: {area:,.1f} ha", name="Dam Hill", area=1234.56)
    'Dam Hill: 1,234.6 ha'
    """
    text = language().words.gettext(template) if template else ""
    return _filler.vformat(text, (), values) if values else text


def say_counted(one: str, many: str, count: int, /, **values: object) -> str:
    """Return a sentence that depends on how many there are, in the language that is spoken.

    Parameters
    ----------
    one, many
        The English sentence for one, and for any other number; `{count}` is the number, which
        need not stand in it.
    count
        How many there are.
    **values
        What else goes into the places.

    Examples
    --------
    >>> from trialkit.language import say_counted
    >>> say_counted("one strip", "{count:,} strips", 1200)
    '1,200 strips'
    """
    text = language().words.ngettext(one, many, count)
    return _filler.vformat(text, (), {"count": count, **values})


def marked(text: _Text) -> _Text:
    """Return words as they are: they are English here, and said where they are shown.

    Parameters
    ----------
    text
        The English words. Whoever collects the words of trialkit finds them by this mark.
    """
    return text


def figures(text: str) -> str:
    """Return a number written in English as the language writes it.

    Parameters
    ----------
    text
        The number, with a point before decimals and commas between thousands.
    """
    spoken = language()
    marks = {".": spoken.decimal, ",": spoken.thousands, "%": spoken.percent}
    return "".join(marks.get(sign, sign) for sign in text)


def language() -> Language:
    """Return the language that is spoken."""
    global _spoken
    if _spoken is None:
        _spoken = read_language(os.environ.get(ENVIRONMENT) or ENGLISH)
    return _spoken


def use_language(name: str | Path) -> None:
    """Speak a language from now on.

    Parameters
    ----------
    name
        Code of a language that trialkit has, see `languages`, or a file of translations.

    Raises
    ------
    TrialkitError
        If there is no such language, or its file cannot be used.
    """
    global _spoken
    _spoken = read_language(name)


@contextmanager
def speaking(name: str | Path) -> Iterator[None]:
    """Speak a language for a while.

    Parameters
    ----------
    name
        As `use_language` takes it.

    Raises
    ------
    TrialkitError
        If there is no such language, or its file cannot be used.
    """
    global _spoken
    before = _spoken
    use_language(name)
    try:
        yield
    finally:
        _spoken = before


def languages() -> list[str]:
    """Return the codes of the languages that trialkit has, English first."""
    held = sorted(
        entry.name.removesuffix(ENDING)
        for entry in files("trialkit.languages").iterdir()
        if entry.name.endswith(ENDING)
    )
    return [ENGLISH, *held]


def read_language(name: str | Path) -> Language:
    """Read a language.

    Parameters
    ----------
    name
        Code of a language that trialkit has, or a file of translations, `*.po`.

    Returns
    -------
    Language

    Raises
    ------
    TrialkitError
        If there is no such language, or its file cannot be used: the message names the file, the
        line and what to do.
    """
    asked = str(name)
    if asked.lower() == ENGLISH:
        return Language(ENGLISH, ENGLISH, NullTranslations())
    if asked.endswith(ENDING):
        try:
            return _language(Path(asked).read_bytes(), asked, str(Path(asked).resolve()))
        except OSError as error:
            raise TrialkitError(
                f"{asked}: the file of translations cannot be read ({error.strerror}). "
                "Check its name."
            ) from None
    known = {code.lower(): code for code in languages()}
    code = known.get(asked.replace("_", "-").lower())
    if code is None:
        raise TrialkitError(
            f"There is no language '{asked}'. There are {', '.join(languages())}. For another, "
            "copy trialkit/languages/words.pot to a file that ends in .po, translate it, and give "
            "that file."
        )
    return _shipped(code)


@cache
def _shipped(code: str) -> Language:
    content = (files("trialkit.languages") / f"{code}{ENDING}").read_bytes()
    return _language(content, f"{code}{ENDING}", code)


def _language(content: bytes, file: str, source: str) -> Language:
    from babel import Locale, UnknownLocaleError
    from babel.messages.mofile import write_mo
    from babel.messages.pofile import PoFileError, read_po

    try:
        catalog = read_po(BytesIO(content), abort_invalid=True, charset="utf-8")
    except (PoFileError, ValueError) as error:
        raise TrialkitError(
            f"{file}: this is no file of translations that can be read: {error}. Save it from the "
            "program it was translated with, as UTF-8."
        ) from None
    try:
        locale = catalog.locale or Locale.parse(Path(file).stem, sep="-")
    except (UnknownLocaleError, ValueError):
        raise TrialkitError(
            f"{file}: the file does not say which language it is in. Write a line such as "
            '"Language: de\\n" into its head.'
        ) from None
    _check_places(catalog, file)
    compiled = BytesIO()
    write_mo(compiled, catalog)
    compiled.seek(0)
    marks = locale.number_symbols["latn"]
    # As the language sets the sign off, without what stands for the digits.
    sign = locale.percent_formats[None].pattern.strip("#,.0").replace("%", marks["percentSign"])
    return Language(
        str(locale).replace("_", "-"), source, GNUTranslations(compiled),
        marks["decimal"], marks["group"], sign,
    )  # fmt: skip


def _check_places(catalog: Catalog, file: str) -> None:
    """Refuse a translation with places that its English sentence does not have."""
    for message in catalog:
        if not message.id:
            continue
        originals = texts(message.id)
        known = {"count"} if message.pluralizable else set[str]()
        known = known.union(*map(places, originals))
        for text in texts(message.string):
            try:
                unknown = places(text) - known
            except ValueError as error:
                raise TrialkitError(
                    f"{file}: in the translation of '{originals[0]}' a brace is left open or "
                    f"closed once too often ({error}). A brace itself is written twice."
                ) from None
            if unknown:
                raise TrialkitError(
                    f"{file}: the translation of '{originals[0]}' has the place "
                    f"{{{sorted(unknown)[0]}}}, which the sentence does not have. It has "
                    f"{', '.join(f'{{{name}}}' for name in sorted(known)) or 'none'}."
                )


def texts(held: str | Sequence[str] | None) -> tuple[str, ...]:
    """Return the one text of a sentence in a catalogue, or the several of one with a plural.

    Parameters
    ----------
    held
        What the catalogue holds.
    """
    return (held or "",) if isinstance(held, str | None) else tuple(held)


def places(template: str) -> set[str]:
    """Return the names of the places in a template.

    Parameters
    ----------
    template
        A sentence with places such as `{name}`.

    Raises
    ------
    ValueError
        If its braces do not match.
    """
    return {name for _, name, _, _ in Formatter().parse(template) if name is not None}
