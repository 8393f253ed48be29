"""XML that others wrote: read as far as it is whole, entities and references refused."""

from __future__ import annotations

import re
from xml.etree.ElementTree import Element, ParseError

from trialkit.errors import LogError
from trialkit.incoming.file_set import FileSet

#: No set's XML is larger than this.
_LARGEST_XML = 200_000_000


def parse_xml(raw: bytes, file: str, *, keep_text: bool = False) -> tuple[Element, bool]:
    """Parse XML from somebody else.

    Parameters
    ----------
    raw
        The file.
    file
        Its name, for messages.
    keep_text
        Whether the text inside elements is wanted; task data hold none.

    Returns
    -------
    Element, bool
        The root, and whether the file was whole: what stands before a break is kept.

    Raises
    ------
    LogError
        If it holds entities or references to elsewhere, is too large, or is no XML.
    """
    from defusedxml.common import DefusedXmlException

    if len(raw) > _LARGEST_XML:
        raise LogError(f"{file}: {len(raw) / 1e6:,.0f} MB of XML are more than a field needs.")
    for text in (raw, _as_windows(raw)):
        try:
            root, whole = _fed(text, keep_text)
        except DefusedXmlException as error:
            raise LogError(
                f"{file}: it holds entities or references to other files, which no field "
                "needs and which can do harm. It was not read."
            ) from error
        except (ValueError, LookupError):
            continue
        if root is not None and (whole or text is not raw):
            return root, whole
    raise LogError(f"{file}: this is not XML, or it is damaged. Copy or export it again.")


def external_elements(root: Element, files: FileSet, home: str) -> list[Element]:
    """Return what the files hold that task data refer to.

    Parameters
    ----------
    root
        Of `TASKDATA.XML`.
    files
        The set.
    home
        Path of `TASKDATA.XML` in the set; the files lie beside it.

    Returns
    -------
    list
        Elements as they would stand below the root; a file that is missing or unreadable is
        passed over.
    """
    found: list[Element] = []
    for reference in root.iter("XFR"):
        path = files.named(f"{attribute(reference, 'A')}.xml", beside=home)
        if path is None:
            continue
        try:
            found += list(parse_xml(files.read(path), path.rsplit("/", 1)[-1])[0])
        except LogError:
            continue
    return found


def _as_windows(raw: bytes) -> bytes:
    """Return the file as UTF-8, taken for Windows' Latin alphabet, its declaration left out."""
    text = raw.decode("cp1252", errors="replace").lstrip("ï»¿")
    return re.sub(r"^\s*<\?xml.*?\?>", "", text, count=1, flags=re.DOTALL).encode()


def _fed(raw: bytes, keep_text: bool) -> tuple[Element | None, bool]:
    """Return the first element with all that was read below it, and whether it was closed."""
    from defusedxml.ElementTree import DefusedXMLParser

    class _Kept:
        """A target that keeps elements as they begin."""

        def __init__(self) -> None:
            self.root: Element | None = None
            self.open: list[Element] = []
            self.pieces: dict[int, list[str]] = {}

        def start(self, tag: str, attributes: dict[str, str]) -> None:
            new = Element(tag, attributes)
            if self.open:
                self.open[-1].append(new)
            elif self.root is None:
                self.root = new
            self.open.append(new)

        def end(self, _tag: str) -> None:
            closed = self.open.pop()
            if keep_text:
                closed.text = "".join(self.pieces.pop(id(closed), []))

        def data(self, text: str) -> None:
            if keep_text and self.open:
                self.pieces.setdefault(id(self.open[-1]), []).append(text)

        def close(self) -> Element | None:
            return self.root

    kept = _Kept()
    parser = DefusedXMLParser(target=kept, forbid_dtd=True)
    try:
        parser.feed(raw)
        parser.close()
    except ParseError:
        return kept.root, False
    return kept.root, True


def attribute(element: Element, name: str) -> str:
    """Return an attribute, whatever its case; empty where it is absent."""
    value = element.get(name)
    if value is None:
        value = element.get(name.lower(), "")
    return value.strip()
