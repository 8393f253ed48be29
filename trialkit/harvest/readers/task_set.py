"""The XML side of ISO 11783-10 task data: tasks, devices and the headers of time logs.

Read by content, never refused for a version, and tolerant of what terminals really write. The
parser in front refuses entities and external references.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import PurePosixPath
from xml.etree.ElementTree import Element

from trialkit.errors import LogError
from trialkit.harvest.readers.time_log import TimeLogHeader
from trialkit.incoming.file_set import FileSet
from trialkit.incoming.task_xml import attribute, external_elements, parse_xml

#: Name of the file a set begins with.
TASK_FILE = "taskdata.xml"

#: Attributes of a header's position, in the order of the binary.
_POSITION = {
    "A": "north", "B": "east", "C": "up", "D": "status", "E": "pdop", "F": "hdop",
    "G": "satellites", "H": "gps_ms", "I": "gps_day",
}  # fmt: skip
_MOST_CHANNELS = 255


@dataclass(frozen=True, slots=True)
class Channel:
    """One channel of a time log.

    Parameters
    ----------
    ddi
        What is measured, by the number of the standard's data dictionary.
    element
        Part of the machine it belongs to.
    constant
        Its value where the header gives it once for all.
    """

    ddi: int
    element: str
    constant: int | None = None


@dataclass(frozen=True, slots=True)
class LogHeader:
    """The header of a time log: how to read it, and what its channels are."""

    layout: TimeLogHeader
    channels: tuple[Channel, ...]


@dataclass(frozen=True, slots=True)
class Display:
    """How a machine shows a channel: (count + offset) × scale, in a unit of free text."""

    offset: int
    scale: float
    unit: str


@dataclass(frozen=True, slots=True)
class Part:
    """A part of a machine.

    Parameters
    ----------
    kind
        1 device, 2 function, 3 bin, 4 section, 5 unit, 6 connector, 7 navigation; 0 unknown.
    constants
        Value of each property, by its DDI.
    displays
        How channels of this part's machine are shown, by DDI.
    machine
        Id of the machine it is part of.
    number, above
        Its number in the machine and that of the part it belongs to; 0 for none.
    """

    kind: int = 0
    constants: dict[int, int] = field(default_factory=dict)
    displays: dict[int, Display] = field(default_factory=dict)
    machine: str = ""
    number: int = 0
    above: int = 0


@dataclass(frozen=True, slots=True)
class TaskSet:
    """What the XML of a set says.

    Parameters
    ----------
    home
        Path of TASKDATA.XML in the set.
    logs
        Names of the time logs of each task, no log twice.
    about
        What each of these tasks was about: `partfield`, `crop` and `variety` by name, where told.
    parts
        The parts of all machines, by their id.
    joints
        Pairs of connectors by which machines are joined, by their id.
    """

    home: str
    logs: tuple[tuple[str, ...], ...]
    about: tuple[dict[str, str], ...]
    parts: dict[str, Part]
    joints: tuple[tuple[str, str], ...] = ()


def read_task_set(files: FileSet) -> TaskSet:
    """Read TASKDATA.XML and the XML files it refers to.

    Raises
    ------
    LogError
        If there is none, more than one, or it cannot be read.
    """
    homes = [path for path in files.members if PurePosixPath(path).name.lower() == TASK_FILE]
    if len(homes) != 1:
        found = "no TASKDATA.XML" if not homes else f"{len(homes)} of them: {', '.join(homes)}"
        raise LogError(
            f"{files.name}: a task-data set has one TASKDATA.XML; here is {found}. Give the folder "
            "of one set."
        )
    home = homes[0]
    root, whole = parse_xml(files.read(home), PurePosixPath(home).name)
    if root.tag != "ISO11783_TaskData":
        raise LogError(f"{files.name}: {home} is no task data of ISO 11783-10 (<{root.tag[:40]}>).")
    if not whole:
        raise LogError(
            f"{files.name}: {home} breaks off before its end. Copy the set from the terminal again."
        )
    elements = [*root, *external_elements(root, files, home)]
    tasks = [element for element in elements if element.tag == "TSK"]
    seen: set[str] = set()
    logs, about = [], []
    named = {
        attribute(part, "A"): part
        for element in elements
        if element.tag in ("PFD", "CTP")
        for part in (element, *element.iter("CVT"))
    }
    for task in tasks:
        names = [attribute(log, "A").upper() for log in task.iter("TLG")]
        own = tuple(name for name in dict.fromkeys(names) if name and name not in seen)
        seen |= set(own)
        if own:
            logs.append(own)
            about.append(_about(task, named))
    parts: dict[str, Part] = {}
    for device in (element for element in elements if element.tag == "DVC"):
        parts |= _parts(device)
    joined = [connection for task in tasks for connection in task.iter("CNN")]
    joints = tuple((attribute(pair, "B"), attribute(pair, "D")) for pair in joined)
    return TaskSet(home, tuple(logs), tuple(about), parts, joints)


def _about(task: Element, named: dict[str, Element]) -> dict[str, str]:
    """Return what field, crop and variety a task names."""
    field = named.get(attribute(task, "E"))
    if field is None or field.tag != "PFD":
        return {}
    crop, variety = (named.get(attribute(field, name)) for name in "GH")
    told = {"partfield": attribute(field, "C")}
    for name, found in (("crop", crop), ("variety", variety)):
        if found is not None:
            told[name] = attribute(found, "B")
    return {name: value for name, value in told.items() if value}


def _whole(text: str, base: int = 10) -> int | None:
    try:
        return int(text, base)
    except ValueError:
        return None


def _parts(device: Element) -> dict[str, Part]:
    """Return the parts of a machine, each with the properties of its own."""
    shown = {}
    for view in device.iter("DVP"):
        offset = _whole(attribute(view, "B"))
        try:
            scale = float(attribute(view, "C"))
        except ValueError:
            continue
        shown[attribute(view, "A")] = Display(offset or 0, scale, attribute(view, "E"))
    displays, properties = {}, {}
    for data in device.iter("DPD"):
        ddi = _whole(attribute(data, "B"), 16)
        if ddi is not None and attribute(data, "F") in shown:
            displays[ddi] = shown[attribute(data, "F")]
    for data in device.iter("DPT"):
        ddi, value = _whole(attribute(data, "B"), 16), _whole(attribute(data, "C"))
        if ddi is not None and value is not None:
            properties[attribute(data, "A")] = (ddi, value)
    parts = {}
    for element in device.iter("DET"):
        objects = [attribute(reference, "A") for reference in element.iter("DOR")]
        constants = dict(properties[name] for name in objects if name in properties)
        kind, number, above = (_whole(attribute(element, name)) or 0 for name in "CBF")
        parts[attribute(element, "A")] = Part(
            kind, constants, displays, attribute(device, "A"), number, above
        )
    return parts


def read_header(raw: bytes, file: str) -> LogHeader:
    """Read the header of a time log.

    Parameters
    ----------
    raw
        `TLGnnnnn.XML`.
    file
        Its name, for messages.

    Returns
    -------
    LogHeader

    Raises
    ------
    LogError
        If it cannot be read or has too many channels.

    Notes
    -----
    An attribute that is there and empty means: in every record of the binary. One with a value
    is constant and not in the binary; one that is absent is not in the binary either.
    """
    root, _ = parse_xml(raw, file)
    position = next(iter(root.iter("PTN")), None)
    fields, place = _position(position) if position is not None else ((), None)
    channels, constants = [], {}
    for number, line in enumerate(root.iter("DLV")):
        ddi = _whole(attribute(line, "A"), 16)
        value = _whole(attribute(line, "B")) if attribute(line, "B") else None
        channels.append(Channel(-1 if ddi is None else ddi, attribute(line, "C"), value))
        if value is not None:
            constants[number] = value
    if len(channels) > _MOST_CHANNELS:
        raise LogError(f"{file}: {len(channels)} channels; a time log has at most 255.")
    return LogHeader(TimeLogHeader(fields, len(channels), constants, place), tuple(channels))


def _position(element: Element) -> tuple[tuple[str, ...], tuple[float, float] | None]:
    """Return which fields are in the binary, and the place where it is constant."""
    known = {name.upper(): value.strip() for name, value in element.attrib.items()}
    fields = tuple(name for letter, name in _POSITION.items() if known.get(letter) == "")
    try:
        place = float(known["A"]), float(known["B"])
    except (KeyError, ValueError):
        return fields, None
    return fields, place
