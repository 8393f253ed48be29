"""The fields a file holds, and which of them is meant."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from trialkit.design.guidance.field_drawing import FieldDrawing
from trialkit.errors import LayoutError

#: So many fields are named in a message.
_LISTED = 25


@dataclass(frozen=True, slots=True)
class Candidate:
    """A field found in a file, not yet checked.

    Parameters
    ----------
    name
        Its name; may be empty.
    code
        Its number in the file; may be empty.
    area_m2
        Its area, m².
    build
        Checks it and returns it; raises a LayoutError where it is faulty.
    """

    name: str
    code: str
    area_m2: float
    build: Callable[[], FieldDrawing]


def chosen(candidates: Sequence[Candidate], field: str | int | None, file: str) -> FieldDrawing:
    """Return the field that is meant.

    Parameters
    ----------
    candidates
        The fields of a file, at least one.
    field
        Name or code of the field, or its place in the file from 1; None where there is one only.
    file
        Name of the file, for messages.

    Raises
    ------
    LayoutError
        If there are several and none was chosen, or the one chosen is not there or is faulty.
    """
    if field is None:
        if len(candidates) == 1:
            return candidates[0].build()
        raise LayoutError(
            f"{file}: it holds {len(candidates)} fields: {_listed(candidates)}. Say which, by name "
            f"or number: field={_example(candidates)}."
        )
    return candidates[_place(candidates, field, file)].build()


def _place(candidates: Sequence[Candidate], field: str | int, file: str) -> int:
    wanted = str(field).strip().casefold()
    if isinstance(field, str):
        for key in ("name", "code"):
            found = [
                place
                for place, candidate in enumerate(candidates)
                if wanted and str(getattr(candidate, key)).casefold() == wanted
            ]
            if len(found) == 1:
                return found[0]
            if found:
                numbers = " or ".join(f"field={place + 1}" for place in found)
                raise LayoutError(
                    f"{file}: {len(found)} fields are called '{field}'. Choose by number: "
                    f"{numbers}."
                )
    elif not isinstance(field, bool) and 1 <= field <= len(candidates):
        return field - 1
    raise LayoutError(f"{file}: there is no field {field!r}. It holds {_listed(candidates)}.")


def _listed(candidates: Sequence[Candidate]) -> str:
    words = [
        f"{place} {candidate.name or candidate.code or 'without a name'} "
        f"({candidate.area_m2 / 10_000:,.1f} ha)"
        for place, candidate in enumerate(candidates[:_LISTED], start=1)
    ]
    more = len(candidates) - len(words)
    return ", ".join(words) + (f" and {more} more" if more > 0 else "")


def _example(candidates: Sequence[Candidate]) -> str:
    names = [candidate.name.casefold() for candidate in candidates]
    for candidate in candidates:
        if candidate.name and names.count(candidate.name.casefold()) == 1:
            return repr(candidate.name)
    return "1"
