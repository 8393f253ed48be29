"""How the tables of `trial.toml` are checked, and how their faults are told to a grower."""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Sequence
from typing import Any

from pydantic import BaseModel, ConfigDict, ValidationError
from pydantic_core import ErrorDetails

from trialkit.checks import Check

FILE = "trial.toml"


class Table(BaseModel):
    """A table of `trial.toml`: frozen, and unknown keys are faults."""

    model_config = ConfigDict(frozen=True, extra="forbid", str_strip_whitespace=True)


#: Where in the file a fault is, by key; what is wrong; and the way out.
Fault = tuple[tuple[int | str, ...], str, str]


class FaultsError(ValueError):
    """Several faults of one table at once.

    Parameters
    ----------
    faults
        Each with its place in the file, what is wrong and the way out.
    """

    def __init__(self, faults: Sequence[Fault]) -> None:
        super().__init__(" ".join(f"{found} {remedy}".strip() for _, found, remedy in faults))
        self.faults = tuple(faults)


def suggestion(name: str, known: tuple[str, ...] | list[str]) -> str:
    """Return ` Did you mean 'x'?` where a known name is near, else nothing."""
    near = difflib.get_close_matches(name, known, n=1, cutoff=0.6)
    return f" Did you mean '{near[0]}'?" if near else ""


def toml_hint(message: str) -> str:
    """Return what to do about a file that is no TOML.

    Parameters
    ----------
    message
        What the reader of TOML said.
    """
    if "Invalid value" in message:
        return "Fill in the blank, put text in quotes, and write decimals with a point."
    return "Look at that line: a missing quote or bracket is the usual cause."


def faults_of(error: ValidationError, model: type[BaseModel]) -> Iterator[Check]:
    """Yield every fault of `trial.toml` with its place and remedy.

    Parameters
    ----------
    error
        What the validation found.
    model
        The whole of `trial.toml`, for the keys that are known.
    """
    for detail in error.errors():
        place = _place(detail["loc"])
        kind, given = detail["type"], detail["input"]
        if kind == "extra_forbidden":
            known = _keys_at(model, detail["loc"][:-1])
            remedy = f"{suggestion(str(detail['loc'][-1]), known)} Known here: {', '.join(known)}."
            if detail["loc"] == ("products",):
                remedy = "Write [[treatments.products]], below the [[treatments]] that gets it."
            yield Check(FILE, place, "There is no such key.", remedy.strip())
        elif kind == "tuple_type" and isinstance(given, dict):
            wanted = (
                f"Write it with double brackets: {_LISTED.get(str(detail['loc'][-1]), '[[ ]]')}."
            )
            yield Check(FILE, place, "There may be several of it.", wanted)
        elif kind == "missing":
            yield Check(FILE, place, "It is missing.", "Add it.")
        elif given == "":
            yield Check(FILE, place, "It is still blank.", "Fill it in.")
        elif kind == "value_error" and isinstance(detail["ctx"]["error"], FaultsError):
            for where, found, remedy in detail["ctx"]["error"].faults:
                yield Check(FILE, _place(where), found, remedy)
        elif kind == "value_error":
            text = str(detail["ctx"]["error"])
            yield Check(FILE, place, f"{text[0].upper()}{text[1:]}.")
        else:
            shown = "" if isinstance(given, dict | list) else f", not {given!r}"
            yield Check(FILE, place, f"It should be {_wanted(detail)}{shown}.")


#: What a key should hold, by pydantic's kind of error; the braces are pydantic's own limits.
_WANTED = {
    "int_": "a whole number",
    "float_": "a number",
    "string_type": "text in quotes",
    "string_too_short": "filled in",
    "string_pattern_mismatch": "three capital letters, such as AUD",
    "bool_": "true or false",
    "greater_than_equal": "at least {ge:g}",
    "greater_than": "above {gt:g}",
    "less_than_equal": "at most {le:g}",
    "less_than": "below {lt:g}",
    "literal_error": "{expected}",
    "model_type": "a table of keys",
    "dict_type": "a table of keys",
    "tuple_type": "a list",
}

#: Tables that a file holds several of, by the key that leads to them.
_LISTED = {
    "treatments": "[[treatments]]",
    "products": "[[treatments.products]]",
    "grades": "[[money.grades]]",
}


def _wanted(detail: ErrorDetails) -> str:
    for kind, words in _WANTED.items():
        if detail["type"].startswith(kind):
            return words.format(**detail.get("ctx", {}))
    return detail["msg"].lower().removeprefix("input should be ")


def _place(location: tuple[int | str, ...]) -> str:
    """Return where in the file a fault is, written as the file writes it."""
    last = location[-1] if location else ""
    if location and location[0] == "treatments":
        return _place_in_list(location)
    if location[:2] == ("money", "grades"):
        return _place_in_list(location[1:])
    tables = [str(part) for part in location[:-1] if isinstance(part, str)]
    if not tables:
        return f"[{last}]" if last else ""
    return f"[{'.'.join(tables)}] {last}"


def _place_in_list(location: tuple[int | str, ...]) -> str:
    """Return a place in a list of tables: which of them, which of its products, which key."""
    words: list[str] = []
    for part in location:
        if isinstance(part, int):
            words.append(f"number {part + 1}")
        elif part in _LISTED:
            words.append(f"{',' if words else ''} {_LISTED[part]}".strip())
        else:
            words.append(part)
    return " ".join(words).replace(" ,", ",")


def _keys_at(model: Any, location: tuple[int | str, ...]) -> list[str]:
    for part in location:
        field = _fields_of(model).get(str(part))
        if field is None:  # a number in a list, or a name that the user chose
            continue
        arguments = [field.annotation, *getattr(field.annotation, "__args__", ())]
        tables = [a for a in arguments if isinstance(a, type) and issubclass(a, BaseModel)]
        model = tables[0] if tables else model
    return list(_fields_of(model))


def _fields_of(model: Any) -> dict[str, Any]:
    """Return the fields of a table by the keys that the file has for them."""
    return {field.alias or name: field for name, field in model.model_fields.items()}
