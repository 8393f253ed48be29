"""Binary time logs of ISO 11783-10 task data: bytes in, columns out.

A log is a run of records without length or checksum: time, position, then as many pairs of
channel and value as a count byte says. The chain of records is walked once; all else is done on
whole columns. Where the chain breaks (bytes too many, a cut file), the next two acceptable records
in a row are looked for, and the bytes between are counted.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
Flags = NDArray[np.bool_]

#: Milliseconds in a day; the day that days are counted from.
_DAY_MS = 86_400_000
_DAY_ZERO = np.datetime64("1980-01-01", "ms")

#: Fields of a position in their order: name, bytes, and numpy's code.
_POSITION = (
    ("north", "<i4"), ("east", "<i4"), ("up", "<i4"), ("status", "u1"), ("pdop", "<u2"),
    ("hdop", "<u2"), ("satellites", "u1"), ("gps_ms", "<u4"), ("gps_day", "<u2"),
)  # fmt: skip

#: Degrees of one count of latitude and longitude.
_DEGREE = 1e-7
#: Bytes of one channel and value, and of time and date together.
_PAIR, _STAMP = 5, 6
#: Records walked before they are checked, and bytes searched at once for the next sound record.
_RUN, _WINDOW = 65_536, 262_144


@dataclass(frozen=True, slots=True)
class TimeLogHeader:
    """What the XML beside a binary log says of its records.

    Parameters
    ----------
    position
        Fields of the position that are in every record, of `north east up status pdop hdop
        satellites gps_ms gps_day`.
    channels
        Number of channels declared; the binary counts them from 0.
    constants
        Value of each channel that is the same throughout and not in the binary.
    place
        Latitude and longitude where the header gives them once for all.
    """

    position: tuple[str, ...]
    channels: int
    constants: dict[int, int] = field(default_factory=dict)
    place: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True, eq=False)
class TimeLog:
    """The records of a log.

    Parameters
    ----------
    time
        As written, without a zone, shape (records,).
    latitude, longitude, elevation_m
        Degrees and metres; NaN where unknown.
    records, channels, values
        One entry each time a channel was written: the record's number from 0, the channel's
        number, the value in the channel's own counts.
    skipped_bytes
        Bytes that belong to no acceptable record.
    cut_bytes
        Bytes of a last record that is not all there.
    """

    time: NDArray[np.datetime64]
    latitude: Floats
    longitude: Floats
    elevation_m: Floats
    records: Whole
    channels: NDArray[np.uint8]
    values: NDArray[np.int32]
    skipped_bytes: int
    cut_bytes: int

    def __len__(self) -> int:
        """Return the number of records."""
        return self.time.size

    def written(self, channel: int) -> Flags:
        """Tell which records write a channel, shape (records,)."""
        flags = np.zeros(len(self), dtype=bool)
        flags[self.records[self.channels == channel]] = True
        return flags

    def carried(self, channel: int) -> Floats:
        """Return a channel in counts, each value held until the next; NaN before the first."""
        own = self.channels == channel
        at = self.records[own]
        held = np.full(len(self), np.nan)
        if at.size:
            last = np.cumsum(np.bincount(at, minlength=len(self)) > 0) - 1
            held = np.where(last >= 0, self.values[own][np.maximum(last, 0)], np.nan)
        return held


def decode(raw: bytes, header: TimeLogHeader, channels: Collection[int] | None = None) -> TimeLog:
    """Decode a binary time log.

    Parameters
    ----------
    raw
        The file.
    header
        What its header says.
    channels
        Channels wanted; None for all.

    Returns
    -------
    TimeLog
        Never fails: what cannot be read is counted in `skipped_bytes` and `cut_bytes`.

    Notes
    -----
    Record: ms since midnight (uint32), days since 1980-01-01 (uint16), the position's fields,
    number of pairs (uint8), then channel (uint8) and value (int32) of each; little-endian,
    packed. ISO 11783-10, as read by an independent decoder from real logs.
    """
    wanted = np.zeros(256, dtype=bool)
    wanted[list(range(256) if channels is None else channels)] = True
    shape = _fitting(raw, header)
    runs: list[_Run] = []
    at, skipped, day = 0, 0, None
    while len(raw) - at >= shape.least:
        starts, end = _chain(raw, at, shape, _RUN)
        if not starts.size:  # a cut record, or a damaged count that reaches past the end
            beyond = _next_pair(raw, shape, at + 1, day)
            if beyond == len(raw):
                break
            skipped, at = skipped + beyond - at, beyond
            continue
        pairs = _pairs(raw, starts, shape)
        good = _accepted(raw, shape, starts, pairs, day)
        sound = starts.size if good.all() else int(good.argmin())
        if sound:
            runs.append(_run(raw, shape, starts[:sound], pairs, wanted))
            day = int(shape.read(raw, starts[sound - 1 : sound], "day")[0])
        at = end
        if sound < starts.size:
            at = _next_pair(raw, shape, int(starts[sound]) + 1, day)
            skipped += at - int(starts[sound])
    return _joined(runs, shape, skipped, len(raw) - at)


@dataclass(frozen=True, slots=True)
class _Shape:
    """Where the fields of a record stand."""

    header: TimeLogHeader
    offsets: dict[str, tuple[int, str]]
    count_at: int

    @classmethod
    def of(cls, header: TimeLogHeader, position: tuple[str, ...]) -> _Shape:
        offsets, at = {"ms": (0, "<u4"), "day": (4, "<u2")}, _STAMP
        for name, kind in _POSITION:
            if name in position:
                offsets[name] = (at, kind)
                at += np.dtype(kind).itemsize
        return cls(header, offsets, at)

    @property
    def least(self) -> int:
        """Bytes of a record without channels."""
        return self.count_at + 1

    @property
    def most(self) -> int:
        """Most channels that a record can hold."""
        return self.header.channels - len(self.header.constants)

    def read(self, raw: bytes, starts: Whole, name: str) -> Whole:
        """Return a field of the records at some places."""
        at, kind = self.offsets[name]
        return _numbers(raw, kind)[starts + at].astype(np.int64)

    def sound(self, raw: bytes, starts: Whole) -> Flags:
        """Tell which places hold an acceptable record, its channels not looked at."""
        good = _numbers(raw, "u1")[starts + self.count_at] <= self.most
        good &= self.read(raw, starts, "ms") < _DAY_MS
        for name, most in (("north", 90 / _DEGREE), ("east", 180 / _DEGREE), ("status", 15)):
            if name in self.offsets:
                good &= np.abs(self.read(raw, starts, name)) <= most
        return np.asarray(good, dtype=bool)


def _numbers(raw: bytes, kind: str) -> NDArray[np.integer]:
    """Return the number that begins at each byte, as a view."""
    size = np.dtype(kind).itemsize
    return np.ndarray(max(len(raw) - size + 1, 0), dtype=kind, buffer=raw, strides=(1,))


@dataclass(frozen=True, slots=True)
class _Pairs:
    """Channels written in a run of records: the record of each, its channel, its first byte."""

    record: Whole
    channel: NDArray[np.uint8]
    place: Whole


@dataclass(frozen=True, slots=True)
class _Run:
    """Sound records in a row, decoded."""

    fields: dict[str, Whole]
    records: Whole
    channels: NDArray[np.uint8]
    values: NDArray[np.int32]


def _fitting(raw: bytes, header: TimeLogHeader) -> _Shape:
    """Return the header's layout; or all of the position's fields, where only these fit.

    Early sets write every field whatever the header says.
    """
    told = _Shape.of(header, header.position)
    full = _Shape.of(header, tuple(name for name, _ in _POSITION))
    if _begins(raw, told) or not _begins(raw, full):
        return told
    return full


def _begins(raw: bytes, shape: _Shape) -> bool:
    """Tell whether the first records of a log follow each other in a layout."""
    starts, end = _chain(raw, 0, shape, 3)
    if not starts.size or (starts.size == 1 and end < len(raw)):
        return False
    return bool(_accepted(raw, shape, starts, _pairs(raw, starts, shape), None).all())


def _chain(raw: bytes, at: int, shape: _Shape, most: int) -> tuple[Whole, int]:
    """Step from record to record by the count bytes; stop before one that is not all there."""
    starts: list[int] = []
    count_at, least, size = shape.count_at, shape.least, len(raw)
    last = size - least
    while at <= last and len(starts) < most:
        following = at + least + _PAIR * raw[at + count_at]
        if following > size:
            break
        starts.append(at)
        at = following
    return np.asarray(starts, dtype=np.int64), at


def _pairs(raw: bytes, starts: Whole, shape: _Shape) -> _Pairs:
    data = _numbers(raw, "u1")
    counts = data[starts + shape.count_at].astype(np.int64)
    record = np.repeat(np.arange(starts.size), counts)
    first = starts + shape.least - _PAIR * (np.cumsum(counts) - counts)
    place = first[record] + _PAIR * np.arange(record.size)
    return _Pairs(record, np.asarray(data[place], dtype=np.uint8), place)


def _accepted(raw: bytes, shape: _Shape, starts: Whole, pairs: _Pairs, day: int | None) -> Flags:
    """Tell which records of a chain are acceptable after the ones before them."""
    good = shape.sound(raw, starts)
    days = shape.read(raw, starts, "day")
    good &= np.abs(np.diff(days, prepend=days[0] if day is None else day)) <= 1
    known = np.zeros(256, dtype=bool)
    known[: shape.header.channels] = True
    known[list(shape.header.constants)] = False
    good[pairs.record[~known[pairs.channel]]] = False
    key = pairs.record * 256 + pairs.channel
    step = np.diff(key)
    if (step <= 0).any():  # not in rising order: channels may stand twice
        key = np.sort(key)
        step = np.diff(key)
    good[key[1:][step == 0] // 256] = False
    return good


def _next_pair(raw: bytes, shape: _Shape, begin: int, day: int | None) -> int:
    """Return the next place where two acceptable records follow each other, or the end.

    A last record by itself, up to the end of the file, will do.
    """
    last = len(raw) - shape.least
    for first in range(begin, last + 1, _WINDOW):
        places = np.arange(first, min(first + _WINDOW, last + 1))
        if day is not None:
            places = places[np.abs(shape.read(raw, places, "day") - day) <= 1]
        places = places[shape.sound(raw, places)]
        for place in places.tolist():
            starts, end = _chain(raw, place, shape, 2)
            alone = starts.size == 1 and end == len(raw)
            if (starts.size == 2 or alone) and _accepted(
                raw, shape, starts, _pairs(raw, starts, shape), day
            ).all():
                return place
    return len(raw)


def _run(raw: bytes, shape: _Shape, starts: Whole, pairs: _Pairs, wanted: Flags) -> _Run:
    chosen = wanted[pairs.channel] & (pairs.record < starts.size)
    names = [name for name in ("ms", "day", "north", "east", "up") if name in shape.offsets]
    values = _numbers(raw, "<i4")[pairs.place[chosen] + 1]
    return _Run(
        {name: shape.read(raw, starts, name) for name in names},
        pairs.record[chosen],
        pairs.channel[chosen],
        np.asarray(values, dtype=np.int32),
    )


def _joined(runs: list[_Run], shape: _Shape, skipped: int, cut: int) -> TimeLog:
    """Put the runs end to end."""
    count = [run.fields["ms"].size for run in runs]
    before = np.cumsum([0, *count])
    fields = {
        name: np.concatenate([run.fields[name] for run in runs])
        for name in (runs[0].fields if runs else ())
    }
    ms, days = fields.get("ms", np.zeros(0, np.int64)), fields.get("day", np.zeros(0, np.int64))
    latitude, longitude, up = _positions(fields, shape.header, int(before[-1]))
    records = [run.records + first for run, first in zip(runs, before[:-1], strict=True)]
    return TimeLog(
        _DAY_ZERO + (days * _DAY_MS + ms).astype("timedelta64[ms]"),
        latitude,
        longitude,
        up,
        np.concatenate([np.zeros(0, np.int64), *records]),
        np.concatenate([np.zeros(0, np.uint8), *(run.channels for run in runs)]),
        np.concatenate([np.zeros(0, np.int32), *(run.values for run in runs)]),
        skipped,
        cut,
    )


def _positions(
    fields: dict[str, Whole], header: TimeLogHeader, count: int
) -> tuple[Floats, Floats, Floats]:
    """Return latitude, longitude and height; NaN where there is no position."""
    unknown = np.full(count, np.nan)
    north, east = unknown, unknown
    if {"north", "east"} <= set(fields):
        north, east = fields["north"] * _DEGREE, fields["east"] * _DEGREE
    elif header.place is not None:
        north, east = (np.full(count, value) for value in header.place)
    nowhere = (north == 0) & (east == 0)
    up = fields["up"] / 1000.0 if "up" in fields else unknown
    return np.where(nowhere, np.nan, north), np.where(nowhere, np.nan, east), up
