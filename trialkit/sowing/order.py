"""In what order the strips are sown, so that no dressed seed comes onto untreated ground."""

from __future__ import annotations

import difflib
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import pandas as pd

from trialkit.errors import SowingError
from trialkit.language import marked, say, say_counted
from trialkit.shown import as_line, as_table
from trialkit.sowing.sensible import listed, number, optional, shown

_NEEDED = ("strip", "block", "treatment")

#: The end of the field that a strip's first pass starts from, in a word.
ENDS = {"near": marked("near"), "far": marked("far")}

_EMPTY = marked(
    "Run the tank empty; drive stopped and locked out, take out what is left by hand or vacuum."
)
_BRUSH = marked(
    "Brush or blow out tank, meters and hoses; dressing sticks. Mask, gloves, eye protection."
)
_RUN = marked(
    "Run bare seed through all outlets onto a sheet until it comes clean; catch and keep apart."
)
_LOOK = marked("Look into tank, meters and the outlets at both ends: no seed of the last lot.")
_LOAD = marked(
    "Load '{treatment}'; run it until it comes at every outlet; check the setting of the meter."
)
_WRITE = marked("Write down the time, who looked, and what was left.")
_APART = marked("Keep seed run out apart and labelled: never food, feed or delivered grain.")


@dataclass(frozen=True, slots=True)
class CleanOut:
    """A change of seed in a tank.

    Parameters
    ----------
    after
        Number of the strip in the order after which it is done; 0 before the first.
    tank
        Which tank.
    leaves
        Treatment that leaves; empty before the first.
    comes
        Treatment that comes; empty after the last.
    tasks
        What to do, in order.
    """

    after: int
    tank: int
    leaves: str
    comes: str
    tasks: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class SowingOrder:
    """The strips in the order they are sown, and the changes between.

    Parameters
    ----------
    steps
        One row a strip, columns `order round strip block treatment tank start_end area_ha
        seed_kg`. `start_end` is the end of the field the first pass starts from, `"near"` or
        `"far"`; areas and seed are blank (NaN) where not known.
    clean_outs
        The changes of seed, in their order.
    starts
        How often each treatment is begun, as `seed_needed` takes it.
    tanks
        Tanks for seed.
    notes
        Sentences on how to keep the comparison fair.
    warnings
        Sentences on what may spoil it.
    """

    __repr__ = as_line
    _repr_html_ = as_table

    steps: pd.DataFrame
    clean_outs: tuple[CleanOut, ...]
    starts: dict[str, int]
    tanks: int
    notes: tuple[str, ...]
    warnings: tuple[str, ...]


def sowing_order(
    strips: pd.DataFrame,
    untreated: str,
    *,
    tanks: int = 1,
    treatment_order: Sequence[str] | None = None,
    passes_per_strip: int = 1,
    seed_kg_ha: float | None = None,
) -> SowingOrder:
    """Return the order to sow the strips in.

    With one tank all untreated strips are sown first, while the seeder is clean, then each
    treatment in turn with a clean-out between. With two tanks or more the untreated seed has a
    tank of its own, and strips are sown side by side as the field lies; treatments that find no
    tank come in a later round. Either way strips are sown across the field from one side, and
    every round starts at the side where the one before it ended.

    Parameters
    ----------
    strips
        One row a strip in the order they lie across the field, columns `strip block treatment`,
        and optionally `area_ha`, `across_from_m` (which then gives the order) and `role` (rows
        that are no `strip` are left out).
    untreated
        Name of the untreated treatment.
    tanks
        Tanks for seed that can be switched apart.
    treatment_order
        The other treatments in the order to sow them, the least likely to do harm first; None
        for that in which they stand in the field.
    passes_per_strip
        Seeder passes in a strip: they decide at which end it is left.
    seed_kg_ha
        Seed rate, kg/ha, for the seed of each strip.

    Returns
    -------
    SowingOrder
        Steps, clean-outs, notes and warnings.

    Raises
    ------
    SowingError
        If columns or strips are missing, a strip stands twice, or the untreated is not there.

    Examples
    --------
    >>> import pandas as pd
    >>> strips = pd.DataFrame({
    ...     "strip": ["S1", "S2", "S3", "S4"], "block": ["B1", "B1", "B2", "B2"],
    ...     "treatment": ["untreated", "dressed", "dressed", "untreated"],
    ... })
    >>> order = sowing_order(strips, "untreated")
    >>> order.steps["strip"].tolist()
    ['S1', 'S4', 'S3', 'S2']
    """
    field = _field(strips)
    arms = _arms(field, untreated, treatment_order)
    count = _whole(tanks, "number of tanks", 12)
    passes = _whole(passes_per_strip, "number of passes in a strip", 24)
    rate = optional(seed_kg_ha, "seed rate", "kg/ha", 0.1, 999)
    rounds = _rounds(arms, count)
    steps = pd.DataFrame(_steps(field, rounds, passes))
    steps["seed_kg"] = steps["area_ha"] * (math.nan if rate is None else rate)
    return SowingOrder(
        steps=steps,
        clean_outs=tuple(_clean_outs(steps, rounds)),
        starts=dict.fromkeys(arms, 1),
        tanks=count,
        notes=tuple(_notes(count, rounds)),
        warnings=tuple(_warnings(field, arms, count, steps)),
    )


def _field(strips: object) -> pd.DataFrame:
    if not isinstance(strips, pd.DataFrame):
        raise SowingError("Give the strips as a table with columns strip, block and treatment.")
    missing = [name for name in _NEEDED if name not in strips.columns]
    if missing:
        raise SowingError(
            f"The table of strips has no column {', '.join(missing)}. It must have strip, block "
            "and treatment."
        )
    field = pd.DataFrame(strips)
    if "role" in field.columns:
        field = field[field["role"] == "strip"]
    field = field.reset_index(drop=True)
    if field.empty:
        raise SowingError("There are no strips to sow. Lay the trial out first.")
    for name in _NEEDED:
        blank = field[name].isna() | (field[name].astype(str).str.strip() == "")
        if blank.any():
            at = blank.tolist().index(True) + 1
            raise SowingError(f"Strip {at} of the table has no {name}.")
        field[name] = field[name].astype(str).str.strip()
    twice = field["strip"][field["strip"].duplicated()]
    if not twice.empty:
        raise SowingError(f"The strip '{twice.iloc[0]}' stands twice. Give each strip once.")
    field["area_ha"] = _areas(field)
    if "across_from_m" in field.columns:
        across = [number(v, "place of a strip", "m", -1e6, 1e6) for v in field["across_from_m"]]
        field = field.iloc[pd.Series(across).argsort(kind="stable")].reset_index(drop=True)
    return field


def _areas(field: pd.DataFrame) -> list[float]:
    if "area_ha" not in field.columns:
        return [math.nan] * len(field)
    pairs = zip(field["strip"], field["area_ha"], strict=True)
    return [number(area, f"area of strip '{strip}'", "ha", 1e-4, 10_000) for strip, area in pairs]


def _arms(field: pd.DataFrame, untreated: str, order: Sequence[str] | None) -> list[str]:
    """Return the treatments in the order they are sown, the untreated first."""
    found = list(dict.fromkeys(field["treatment"]))
    if not isinstance(untreated, str) or untreated not in found:
        near = difflib.get_close_matches(str(untreated), found, n=1)
        hint = f"Did you mean '{near[0]}'? " if near else ""
        raise SowingError(
            f"No strip has the treatment '{untreated}'. {hint}The strips have: {', '.join(found)}. "
            "Without untreated strips nobody can tell what the dressing did."
        )
    others = [name for name in found if name != untreated]
    if order is None:
        return [untreated, *others]
    given = listed(order)
    if given is None or sorted(map(str, given)) != sorted(others):
        raise SowingError(
            f"The order of the treatments is {order!r}. Name each once, without '{untreated}': "
            f"{', '.join(others)}."
        )
    return [untreated, *map(str, given)]


def _whole(value: object, words: str, most: int) -> int:
    found = number(value, words, "", 1, most)
    if found != int(found):
        raise SowingError(f"The {words} is {shown(found)}. It must be a whole number.")
    return int(found)


def _rounds(arms: list[str], tanks: int) -> list[dict[str, int]]:
    """Return for each round the treatments sown in it and the tank that holds each."""
    if tanks == 1:
        return [{arm: 1} for arm in arms]
    others = arms[1:]
    groups = [others[at : at + tanks - 1] for at in range(0, len(others), tanks - 1)] or [[]]
    rounds = [{arm: tank for tank, arm in enumerate(group, start=2)} for group in groups]
    rounds[0] = {arms[0]: 1} | rounds[0]
    return rounds


def _steps(
    field: pd.DataFrame, rounds: list[dict[str, int]], passes: int
) -> Iterator[dict[str, object]]:
    """Yield the strips as sown: across the field, and back in the next round."""
    last, near, order = 0, True, 0
    for turn, tanks in enumerate(rounds, start=1):
        mine = field.index[field["treatment"].isin(tanks)].tolist()
        if mine and abs(mine[-1] - last) < abs(mine[0] - last):
            mine.reverse()
        for at in mine:
            order += 1
            row = field.loc[at]
            yield {
                "order": order,
                "round": turn,
                "strip": row["strip"],
                "block": row["block"],
                "treatment": row["treatment"],
                "tank": tanks[str(row["treatment"])],
                "start_end": "near" if near else "far",
                "area_ha": float(row["area_ha"]),
            }
            near = near if passes % 2 == 0 else not near
            last = at


def _clean_outs(steps: pd.DataFrame, rounds: list[dict[str, int]]) -> Iterator[CleanOut]:
    holds: dict[int, str] = {}
    untreated = next(iter(rounds[0]))
    for turn, tanks in enumerate(rounds, start=1):
        after = int(steps.loc[steps["round"] < turn, "order"].max()) if turn > 1 else 0
        for comes, tank in tanks.items():
            yield _change(after, tank, holds.get(tank, ""), comes, untreated)
            holds[tank] = comes
    for tank, leaves in sorted(holds.items()):
        yield _change(len(steps), tank, leaves, "", untreated)


def _change(after: int, tank: int, leaves: str, comes: str, untreated: str) -> CleanOut:
    # Bare seed left behind among dressed seed spoils nothing that emptying does not mend.
    bare = leaves == untreated
    tasks = [_EMPTY] if bare else [_EMPTY, _BRUSH]
    if leaves and comes and not bare:
        tasks.append(_RUN)
    tasks.append(_LOOK)
    if comes:
        tasks.append(_LOAD)
    tasks += [_APART, _WRITE] if leaves and not bare else [_WRITE]
    said = (say(task, treatment=comes) if task == _LOAD else say(task) for task in tasks)
    return CleanOut(after, tank, leaves, comes, tuple(said))


def _notes(tanks: int, rounds: list[dict[str, int]]) -> Iterator[str]:
    if tanks == 1:
        yield say(
            "The untreated strips are sown while the seeder is clean, so nothing can be carried "
            "over onto them."
        )
    else:
        yield say(
            "The untreated seed has tank 1 to itself. Label the tanks, and say the tank aloud "
            "before each strip."
        )
        yield say(
            "Meters and hoses that the tanks share carry seed over: switch on the headland, and "
            "run them clean before the strip starts."
        )
    if len(rounds) > 1:
        yield say(
            "Treatments sown at different hours differ by the hour too. Sow all strips on one day "
            "and, if rain threatens, before or after it. Write down when each strip was sown."
        )
    yield say("Change nothing else between treatments: depth, speed, fertiliser, press, driver.")


def _warnings(
    field: pd.DataFrame, arms: list[str], tanks: int, steps: pd.DataFrame
) -> Iterator[str]:
    if len(arms) == 1:
        yield say(
            "All strips are '{treatment}': there is nothing to compare it with.", treatment=arms[0]
        )
    lacking = [
        block
        for block, treatments in field.groupby("block", sort=False)["treatment"]
        if arms[0] not in set(treatments)
    ]
    if lacking:
        yield say_counted(
            "{count:,} block has no '{treatment}' strip: {blocks}. Nothing there shows what the "
            "dressing did.",
            "{count:,} blocks have no '{treatment}' strip: {blocks}. Nothing there shows what the "
            "dressing did.",
            len(lacking),
            treatment=arms[0],
            blocks=", ".join(map(str, lacking)),
        )
    if tanks > len(arms) > 1:
        yield say_counted(
            "{tanks} tanks for {treatments} treatments: {count} stays empty.",
            "{tanks} tanks for {treatments} treatments: {count} stay empty.",
            tanks - len(arms),
            tanks=tanks,
            treatments=len(arms),
        )
    changes = int((steps["tank"].diff().fillna(0) != 0).sum())
    if tanks > 1 and changes:
        yield say_counted(
            "The tank is switched {count:,} time; each is a chance to sow a strip with the wrong "
            "seed. Tick each strip as it is sown.",
            "The tank is switched {count:,} times; each is a chance to sow a strip with the wrong "
            "seed. Tick each strip as it is sown.",
            changes,
        )
