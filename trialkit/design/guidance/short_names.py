"""Names that fit a terminal: cut to what it holds, and still each its own."""

from __future__ import annotations

from collections.abc import Sequence

#: Characters of a designator (ISO 11783-10 schemas).
DESIGNATOR = 32


def shortened(names: Sequence[str], room: int = DESIGNATOR) -> dict[str, str]:
    """Return a name of at most so many characters for each, no two alike.

    Parameters
    ----------
    names
        The names.
    room
        Characters there is room for.

    Returns
    -------
    dict
        What fits stays as it is. What does not is cut, and numbered where that made two alike.

    Examples
    --------
    >>> shortened(["untreated", "microbe A, 2 l/t", "microbe A, 4 l/t"], room=9)
    {'untreated': 'untreated', 'microbe A, 2 l/t': 'microbe A', 'microbe A, 4 l/t': 'microbe~2'}
    """
    short = {name: name for name in names if len(name) <= room}
    taken = {name.casefold() for name in short}
    for name in names:
        if name in short:
            continue
        cut, number = name[:room].rstrip(), 1
        while cut.casefold() in taken:
            number += 1
            tail = f"~{number}"
            cut = name[: room - len(tail)].rstrip() + tail
        short[name] = cut
        taken.add(cut.casefold())
    return {name: short[name] for name in names}
