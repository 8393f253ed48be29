"""One log of a machine: its channels by what they measure, carried forward over its records."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from trialkit.harvest.readers.task_set import Channel, Part
from trialkit.harvest.readers.time_log import TimeLog

Floats = NDArray[np.float64]

#: Kind of a part that is a section of a machine.
_SECTION = 4

#: Channels that hold a state, 1 for on: work state and yield hold status. One section that is on
#: is enough; all others are amounts, which are added up.
_STATES = (141, 239)


@dataclass(frozen=True, slots=True)
class MachineLog:
    """One log, or several of the same records with other channels.

    Parameters
    ----------
    file
        Name of its binary.
    records
        Its records: when and where.
    sources
        Each binary of the same records, and what its header says of its channels.
    parts
        The parts of all machines of the set, by their id.
    joints
        Pairs of connectors by which machines are joined, by their id.
    about
        What its task was about: `partfield`, `crop` and `variety` by name, where told.
    """

    file: str
    records: TimeLog
    sources: tuple[tuple[TimeLog, tuple[Channel, ...]], ...]
    parts: dict[str, Part]
    joints: tuple[tuple[str, str], ...] = ()
    about: dict[str, str] = field(default_factory=dict)

    def find(self, ddi: int) -> list[tuple[TimeLog, int, Channel]]:
        """Return the channels of one kind: log, number and what the header says."""
        return [
            (log, number, channel)
            for log, channels in self.sources
            for number, channel in enumerate(channels)
            if channel.ddi == ddi
        ]

    def values(self, ddi: int) -> Floats | None:
        """Return a channel in counts, carried forward; of several the machine's own one.

        Where only sections of the machine have one, those that are known are added up.
        """
        series = [
            (self._kind(channel), self._carried(log, number, channel))
            for log, number, channel in self.find(ddi)
        ]
        series = [(kind, values) for kind, values in series if np.isfinite(values).any()]
        if not series:
            return None
        whole = [values for kind, values in series if kind != _SECTION]
        if whole:
            return max(whole, key=lambda values: np.isfinite(values).sum())
        sections = np.stack([values for _, values in series])
        if ddi in _STATES:
            return np.asarray((sections == 1).any(axis=0), dtype=np.float64)
        return np.asarray(np.nansum(sections, axis=0))

    def property(self, ddi: int) -> float | None:
        """Return a property of the machine, in counts; sections are added up."""
        found = [(p.kind, p.constants[ddi]) for p in self.parts.values() if ddi in p.constants]
        whole = [value for kind, value in found if kind != _SECTION]
        if whole:
            return float(max(whole))
        return float(sum(value for _, value in found)) if found else None

    def _kind(self, channel: Channel) -> int:
        part = self.parts.get(channel.element)
        return 0 if part is None else part.kind

    def _carried(self, log: TimeLog, number: int, channel: Channel) -> Floats:
        if channel.constant is not None:
            return np.full(len(log), float(channel.constant))
        return log.carried(number)

    def updated(self, ddis: Iterable[int]) -> NDArray[np.bool_]:
        """Tell which records write one of some channels."""
        flags = np.zeros(len(self.records), dtype=bool)
        for ddi in ddis:
            for log, number, _ in self.find(ddi):
                flags |= log.written(number)
        return flags
