"""Several harvesters in one field: told apart, taken through the steps one by one, levelled.

Two monitors never read alike. Where both cut in the same blocks, what one reads more than the
other can be taken out; where each cut its own treatment, nobody can tell machine and dressing
apart.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable, Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trialkit.errors import LogWarning
from trialkit.harvest.ground import M_DEGREE, Floats, area_ha, seconds
from trialkit.harvest.metres import has_position
from trialkit.harvest.passes import JUMP_M_S, NO_PASS
from trialkit.language import say

#: Overlap of two files that is a clock's fault and no second machine, s.
_SAME_MACHINE_S = 60.0
#: Share of steps too long for one machine, beyond which several wrote by turns; a stray position
#: now and then makes two such steps.
_BY_TURNS = 0.2
#: Steps no longer than this are within any machine's reach, m; most machines told apart, and
#: records below which nothing is.
_REACH_M, _MOST_MACHINES, _LEAST_TRACK = 25.0, 6, 40
#: Share of an effect's length left beside the others, below which they say the same.
_ALIASED = 1e-8
#: Columns that a machine's factor applies to.
_GRAIN = ("flow_kg_s", "yield_t_ha", "mass_kg", "grain_kg")


def machines_of(frames: Sequence[pd.DataFrame]) -> list[list[pd.DataFrame]]:
    """Put files into groups, one a machine: one machine cannot be in two files at one time.

    Parameters
    ----------
    frames
        One a file, with `time` where the file has it.

    Returns
    -------
    list of list of DataFrame
        The files of each machine in the order of their first record. One group where there are no
        times.

    Warns
    -----
    LogWarning
        If there are several machines.
    """
    if any("time" not in frame or frame["time"].isna().all() for frame in frames):
        return [list(frames)]
    groups: list[list[pd.DataFrame]] = []
    ends: list[pd.Timestamp] = []
    for frame in sorted(frames, key=lambda frame: frame["time"].min()):
        start, end = frame["time"].min(), frame["time"].max()
        free = [
            n for n, last in enumerate(ends) if (last - start).total_seconds() < _SAME_MACHINE_S
        ]
        if free:
            groups[free[0]].append(frame)
            ends[free[0]] = max(end, ends[free[0]])
        else:
            groups.append([frame])
            ends.append(end)
    if len(groups) > 1:
        named = "; ".join(f"{n + 1}: {_files(group)}" for n, group in enumerate(groups))
        warnings.warn(
            say(
                "{number} harvesters were at work at one time ({files}). Each gets its own "
                "grain-flow delay, and their readings are levelled within blocks.",
                number=len(groups),
                files=named,
            ),
            LogWarning,
            stacklevel=3,
        )
    return groups


def _files(group: Sequence[pd.DataFrame]) -> str:
    return ", ".join(dict.fromkeys(str(frame["file"].iloc[0]) for frame in group))


def tracks_of(log: pd.DataFrame) -> list[pd.DataFrame]:
    """Part a log in which several machines wrote by turns, by where each can have been.

    Parameters
    ----------
    log
        In the order of time, with positions.

    Returns
    -------
    list of DataFrame
        One a machine; the log itself where one machine can have driven it all.

    Warns
    -----
    LogWarning
        If the log was parted.
    """
    clock = seconds(log)
    known = has_position(log)
    if clock is None or known.sum() < _LEAST_TRACK:
        return [log]
    x, y = _east_north(log)
    if _far_share(x[known], y[known], clock[known]) < _BY_TURNS:
        return [log]
    track = _tracks(x, y, clock, known)
    sizes = np.bincount(track)
    apart = [
        _far_share(x[own], y[own], clock[own])
        for own in (known & (track == number) for number in range(sizes.size))
    ]
    if sizes.size < 2 or sizes.min() < _BY_TURNS * len(log) / 2 or max(apart) > _BY_TURNS / 10:
        return [log]
    warnings.warn(
        say(
            "{file}: {number} machines wrote into one file by turns, far apart. They were told "
            "apart by where each can have been. Export them apart to be sure.",
            file=str(log["file"].iloc[0]),
            number=sizes.size,
        ),
        LogWarning,
        stacklevel=3,
    )
    return [log[track == number].reset_index(drop=True) for number in range(sizes.size)]


def _east_north(log: pd.DataFrame) -> tuple[Floats, Floats]:
    """Return places in metres, near enough to tell machines apart."""
    latitude = log["latitude"].to_numpy(dtype=np.float64)
    middle = float(np.cos(np.radians(np.nanmedian(latitude))))
    return M_DEGREE * middle * log["longitude"].to_numpy(dtype=np.float64), M_DEGREE * latitude


def _far_share(x: Floats, y: Floats, clock: Floats) -> float:
    """Return the share of steps that no machine makes."""
    if len(x) < 2:
        return 0.0
    reach = _REACH_M + JUMP_M_S * np.diff(clock)
    return float((np.hypot(np.diff(x), np.diff(y)) > reach).mean())


def _tracks(x: Floats, y: Floats, clock: Floats, known: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Give each record to the machine that can have been there, the nearest one first."""
    track = np.zeros(len(x), dtype=np.int64)
    last: list[tuple[float, float, float]] = []
    own = 0
    for number in np.flatnonzero(known).tolist():
        here = x[number], y[number], clock[number]
        away = [np.hypot(here[0] - a, here[1] - b) for a, b, _ in last]
        near = [n for n, d in enumerate(away) if d <= _REACH_M + JUMP_M_S * (here[2] - last[n][2])]
        if near:
            own = min(near, key=lambda n: away[n])
            last[own] = here
        elif len(last) < _MOST_MACHINES:
            own = len(last)
            last.append(here)
        track[number] = own
    places = np.where(known, np.arange(len(x)), 0)
    return track[np.maximum.accumulate(places)]


def joined(parts: Sequence[pd.DataFrame]) -> pd.DataFrame:
    """Put the logs of several machines end to end, numbered from 1 in `machine`."""
    files = pd.Index(dict.fromkeys(str(f) for part in parts for f in part["file"].unique()))
    parts = [part.assign(file=pd.Categorical(part["file"], categories=files)) for part in parts]
    if len(parts) == 1:
        return parts[0]
    return pd.concat(
        [part.assign(machine=number + 1) for number, part in enumerate(parts)], ignore_index=True
    )


def by_machine(log: pd.DataFrame, step: Callable[[pd.DataFrame], pd.DataFrame]) -> pd.DataFrame:
    """Take each machine's records through a step by themselves.

    Parameters
    ----------
    log
        From `read_log`.
    step
        Takes the log of one machine, in the order driven, and returns it with more columns.

    Returns
    -------
    DataFrame
        All records again; `pass_id` goes on from machine to machine.
    """
    if "machine" not in log:
        return step(log)
    parts, passes = [], 0
    for _, part in log.groupby("machine", sort=True):
        done = step(part.reset_index(drop=True))
        if "pass_id" in done:
            own = done["pass_id"].where(done["pass_id"] == NO_PASS, done["pass_id"] + passes)
            passes = max(passes, int(own.max()))
            done = done.assign(pass_id=own)
        parts.append(done)
    return pd.concat(parts, ignore_index=True)


def level_machines(log: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Bring the readings of several machines to one level, by what they cut in the same blocks.

    Parameters
    ----------
    log
        From `assign_strips`, with `machine`.

    Returns
    -------
    log, factors
        The log with yield, flow and grain multiplied by their machine's factor; and one row a
        machine: `machine`, `factor` (1 where it cannot be told), `std_error` (of its logarithm),
        `strips`. The factors multiply to 1, so that the field as a whole keeps its level.

    Warns
    -----
    LogWarning
        If machines and treatments, or machines and blocks, cannot be told apart.

    Notes
    -----
    Least squares on the logarithm of each machine's yield in each strip, with block, treatment
    and machine, weighted by the area cut.

    Examples
    --------
    >>> import pandas as pd
    >>> log = pd.DataFrame({
    ...     "machine": [1, 2, 1, 2, 1, 2, 1, 2], "strip": list("aabbccdd"),
    ...     "block": list("11112222"), "treatment": list("uudddduu"),
    ...     "yield_t_ha": [2.0, 2.2, 2.1, 2.31, 3.1, 3.41, 3.0, 3.3], "kept": True,
    ...     "swath_m": 10.0, "travel_m": 2.0,
    ... })
    >>> levelled, factors = level_machines(log)
    >>> print(f"{factors['factor'][0] / factors['factor'][1]:.3f}")
    1.100
    """
    cells = _cells(log)
    machines = np.sort(log["machine"].unique())
    strips = cells.groupby("machine")["strip"].nunique().reindex(machines, fill_value=0)
    table = pd.DataFrame(
        {"machine": machines, "factor": 1.0, "std_error": np.nan, "strips": strips.to_numpy()}
    )
    effects = _effects(cells, machines)
    if effects is None:
        return log, table
    value, error = effects
    table = table.assign(factor=np.exp(-value), std_error=error)
    applied = log["machine"].map(table.set_index("machine")["factor"])
    return log.assign(**{name: log[name] * applied for name in _GRAIN if name in log}), table


def _cells(log: pd.DataFrame) -> pd.DataFrame:
    """Return what each machine cut in each strip: grain, ground and their ratio."""
    kept = log["kept"].to_numpy() & log["strip"].notna().to_numpy()
    area = area_ha(log)
    ground = np.ones(len(log)) if area is None else area
    parts = log.loc[kept, ["machine", "strip", "block", "treatment"]].assign(
        area=ground[kept], grain=(ground * log["yield_t_ha"].to_numpy())[kept]
    )
    cells = parts.groupby(["machine", "strip", "block", "treatment"], as_index=False).sum()
    return cells[(cells["grain"] > 0) & (cells["area"] > 0)]


def _effects(cells: pd.DataFrame, machines: np.ndarray) -> tuple[Floats, Floats] | None:
    """Return each machine's effect on the logarithm of yield, and its error; None if unknown."""
    level = np.log((cells["grain"] / cells["area"]).to_numpy())
    weight = np.sqrt(cells["area"] / cells["area"].mean()).to_numpy()
    own = np.stack([(cells["machine"] == m).to_numpy(dtype=float) for m in machines], axis=1)
    own = own[:, 1:] - own[:, :1]
    blocks, treatments = (
        pd.get_dummies(cells[name]).to_numpy(dtype=float) for name in ("block", "treatment")
    )
    both = np.column_stack([blocks, treatments])
    if _spanned(own, both):
        _warn_of_aliases("block" if _spanned(own, blocks) else "treatment")
        return None
    design = np.column_stack([own, both]) * weight[:, None]
    inverse = np.linalg.pinv(design.T @ design)
    found = inverse @ design.T @ (level * weight)
    spare = len(cells) - np.linalg.matrix_rank(design)
    left = level * weight - design @ found
    scatter = float(left @ left / spare) if spare > 0 else np.nan
    spread = np.vstack([-np.ones(own.shape[1]), np.eye(own.shape[1])])
    inner = inverse[: own.shape[1], : own.shape[1]]
    error = np.sqrt(scatter * np.einsum("ij,jk,ik->i", spread, inner, spread))
    return spread @ found[: own.shape[1]], error


def _spanned(own: Floats, others: Floats) -> bool:
    """Tell whether some difference between machines is one between the others too."""
    left = own - others @ np.linalg.lstsq(others, own, rcond=None)[0]
    sizes = np.linalg.svd(left, compute_uv=False)
    return bool(sizes[-1] <= _ALIASED * np.linalg.norm(own))


def _warn_of_aliases(words: str) -> None:
    if words == "block":
        message = say(
            "Each block was cut by one harvester alone, so nobody can say which monitor reads "
            "more. That does no harm: gains are differences inside blocks."
        )
    else:
        message = say(
            "Harvester and treatment cannot be told apart: inside the blocks each treatment was "
            "cut by its own harvester. A gain found here may be nothing but a difference between "
            "two monitors. Weigh strips or loads and give weights.csv."
        )
    warnings.warn(message, LogWarning, stacklevel=4)
