"""Two answers of one season side by side: what differs, and by how much."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import asdict, dataclass, replace

from trialkit.errors import TrialFolderError
from trialkit.result import Summary
from trialkit.season import analyse
from trialkit.trial.folder import RESULTS_FOLDER, Trial
from trialkit.trial.stored_result import RESULT_FILE, changes_since, read_stored

#: Numbers this near, as a share, are the same: other processors and libraries round otherwise, and
#: models fitted by search stop at slightly other points. What is read off a report has 4 digits.
SAME_SHARE = 1e-6

#: A share of next to nothing means nothing.
_NOTHING = 1e-9

#: Differences told one by one.
_TOLD = 12

#: Parts of an answer that are compared apart from its numbers.
_APART = ("inputs", "versions", "warnings")


@dataclass(frozen=True, slots=True)
class Difference:
    """A value that is not the same.

    Parameters
    ----------
    place
        Where it stands in `results/result.json`, in words.
    then, now
        The two values; None where there is none.
    """

    place: str
    then: object
    now: object

    def sentence(self) -> str:
        """Return the difference in words."""
        return f"{self.place}: {_told(self.then)} then, {_told(self.now)} now{self._by()}."

    def _by(self) -> str:
        share = _apart(self.then, self.now)
        return "" if share is None else f" ({share:.2g} of it)"


@dataclass(frozen=True, slots=True)
class Repeated:
    """How two answers compare.

    Parameters
    ----------
    numbers
        Numbers and verdicts that are not the same.
    largest
        Largest difference between two numbers, as a share of the larger one.
    inputs
        A sentence for each input file that is new, gone or not the same.
    versions
        Software that is not of the same version.
    notes
        Sentences that only one of the two answers says, each with which one.
    same_bytes
        Whether the two are the same to the byte as `results/result.json`.
    """

    numbers: tuple[Difference, ...]
    largest: float
    inputs: tuple[str, ...]
    versions: tuple[Difference, ...]
    notes: tuple[str, ...]
    same_bytes: bool

    @property
    def same(self) -> bool:
        """Whether the inputs and all numbers are the same."""
        return not self.numbers and not self.inputs

    def as_plain(self) -> dict[str, object]:
        """Return the comparison as plain values, for JSON."""
        return {
            "same": self.same,
            "same_bytes": self.same_bytes,
            "largest_difference": self.largest,
            "numbers": [asdict(difference) for difference in self.numbers],
            "inputs": list(self.inputs),
            "versions": [asdict(difference) for difference in self.versions],
            "notes": list(self.notes),
        }

    def sentences(self) -> list[str]:
        """Return the comparison in words, the outcome first."""
        if self.same_bytes:
            return ["Worked out again: the same to the byte."]
        if self.inputs and not self.numbers:
            first = "Worked out again: other files, and yet every number is the same."
        elif self.numbers:
            number = len(self.numbers)
            outcome = "one value is" if number == 1 else f"{number} values are"
            first = f"Worked out again: {outcome} not the same."
        else:
            first = (
                "Worked out again: every number is the same "
                f"(largest difference {self.largest:.1g} of it)."
            )
        said = [first, *self.inputs]
        said += [difference.sentence() for difference in self.numbers[:_TOLD]]
        if len(self.numbers) > _TOLD:
            said.append(f"So do {len(self.numbers) - _TOLD} more values differ.")
        said += [f"Other software: {one.sentence()}" for one in self.versions]
        return [*said, *self.notes]


def repeat(trial: Trial, *, progress: Callable[[str], None] | None = None) -> Repeated:
    """Work a season out again and compare with the answer in its folder. Nothing is written.

    Parameters
    ----------
    trial
        An opened trial.
    progress
        Called with the name of each step as it begins.

    Returns
    -------
    Repeated

    Raises
    ------
    TrialkitError
        If there is no answer to compare with, or the trial cannot be analysed.
    """
    stored = read_stored(trial)
    if stored is None:
        raise TrialFolderError(
            f"{RESULTS_FOLDER}/{RESULT_FILE}: there is no answer to compare with, or it is "
            "damaged. Run `trialkit analyse FOLDER` first."
        )
    found = repeated(stored.summary, analyse(trial, progress=progress).summary)
    return replace(found, same_bytes=found.same_bytes and _as_written(trial, stored.summary))


def _as_written(trial: Trial, stored: Summary) -> bool:
    return (trial.results / RESULT_FILE).read_bytes() == stored.to_json().encode()


def repeated(then: Summary, now: Summary) -> Repeated:
    """Compare an answer with the same season worked out again.

    Parameters
    ----------
    then
        The earlier answer.
    now
        The later one.

    Returns
    -------
    Repeated
    """
    old, new = dict(_values(then)), dict(_values(now))
    places = list(dict.fromkeys([*old, *new]))
    pairs = [Difference(place, old.get(place), new.get(place)) for place in places]
    shares = [share for pair in pairs if (share := _apart(pair.then, pair.now)) is not None]
    return Repeated(
        numbers=tuple(pair for pair in pairs if not _same(pair.then, pair.now)),
        largest=max(shares, default=0.0),
        inputs=changes_since(then.inputs, now.inputs),
        versions=_other_versions(then.versions, now.versions),
        notes=(
            *(f"Said then only: {note}" for note in then.warnings if note not in now.warnings),
            *(f"Said now only: {note}" for note in now.warnings if note not in then.warnings),
        ),
        same_bytes=then.to_json() == now.to_json(),
    )


def _values(summary: Summary) -> Iterator[tuple[str, object]]:
    """Return every number and word of an answer by its place, in words."""
    content = {key: part for key, part in asdict(summary).items() if key not in _APART}
    for entry in content.pop("comparisons"):
        yield from _leaves(f"{entry['treatment']} against {entry['control']}", entry)
    for at, entry in enumerate(content.pop("cross_checks"), 1):
        where = f"cross-check {at} ({entry['method']}), {entry['treatment']}"
        yield from _leaves(where, entry)
    yield from _leaves("", content)


def _leaves(place: str, value: object) -> Iterator[tuple[str, object]]:
    if isinstance(value, Mapping):
        for key, part in value.items():
            yield from _leaves(f"{place}, {key}" if place else str(key), part)
    elif isinstance(value, list | tuple):
        for at, part in enumerate(value, 1):
            yield from _leaves(f"{place} {at}", part)
    else:
        yield place, value


def _apart(then: object, now: object) -> float | None:
    """Return how far apart two numbers are, as a share; None where they are no numbers."""
    if not (_is_number(then) and _is_number(now)):
        return None
    one, other = float(str(then)), float(str(now))
    size = max(abs(one), abs(other))
    return 0.0 if size < _NOTHING else abs(one - other) / size


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def _same(then: object, now: object) -> bool:
    share = _apart(then, now)
    if share is None:
        return then == now
    return share <= SAME_SHARE or abs(float(str(then)) - float(str(now))) < _NOTHING


def _told(value: object) -> str:
    if value is None:
        return "nothing"
    return f"{value:.8g}" if isinstance(value, float) else str(value)


def _other_versions(then: Mapping[str, str], now: Mapping[str, str]) -> tuple[Difference, ...]:
    return tuple(
        Difference(name, then.get(name), now.get(name))
        for name in sorted({*then, *now})
        if then.get(name) != now.get(name)
    )
