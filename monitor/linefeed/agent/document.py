"""What an agent answers: a document of the standard's Streams, or of its Error, schema."""

from dataclasses import dataclass
from xml.etree import ElementTree as ET

from monitor.linefeed.source import LineFeedError

UNAVAILABLE = "UNAVAILABLE"
"""In place of a value that the agent does not have."""


@dataclass(frozen=True)
class Observation:
    """
    A value, and of what.

    Attributes
    ----------
    device, component
        Whose it is: the device's name, and the component's id.
    kind, sub_type
        The element's name, as ``LineNumber``, and its subtype, as ``ABSOLUTE``; empty where it has none.
    value
        As it stands there.
    sequence
        Its number in the agent's memory.
    """

    device: str
    component: str
    kind: str
    sub_type: str
    value: str
    sequence: int


@dataclass(frozen=True)
class Streams:
    """
    A part of what the agent has observed.

    Attributes
    ----------
    instance
        Another one after each start of the agent, and then its numbers begin anew.
    following
        The number of the first observation that is not here yet.
    room
        How many observations the agent keeps.
    observations
        As they stand there, those of one path after those of another.
    """

    instance: str
    following: int
    room: int
    observations: tuple[Observation, ...]


class AgentError(LineFeedError):
    """
    The agent answers that it cannot do what it was asked for.

    Attributes
    ----------
    codes
        The standard's names for why, as ``OUT_OF_RANGE``.
    """

    def __init__(self, codes: tuple[str, ...], text: str) -> None:
        super().__init__(f"the agent refuses: {text or ', '.join(codes) or 'it does not say why'}")
        self.codes = codes


def read_document(text: str) -> Streams:
    """
    Read what an agent answered.

    Raises
    ------
    AgentError
        When it is an error.
    LineFeedError
        When it is nothing of the standard's.
    """
    # No document of the standard has one, and with it a short text can be made to fill the memory.
    if "<!DOCTYPE" in text:
        raise LineFeedError("the answer is not of an MTConnect agent (it declares a document type)")
    try:
        root = ET.fromstring(text)  # noqa: S314 - without a document type there are no entities
        match _name(root):
            case "MTConnectStreams":
                return _streams(root)
            case "MTConnectError":
                raise _error(root)
    except (ET.ParseError, LookupError, ValueError) as error:
        raise LineFeedError(f"the agent's answer cannot be read ({error})") from error
    raise LineFeedError("the answer is not of an MTConnect agent: check host, port and device")


def _streams(root: ET.Element) -> Streams:
    header = _all(root, "Header")[0]
    found = [
        Observation(
            device.get("name", ""),
            component.get("componentId", ""),
            _name(element),
            element.get("subType", ""),
            (element.text or "").strip(),
            int(element.attrib["sequence"]),
        )
        for device in _all(root, "DeviceStream")
        for component in _all(device, "ComponentStream")
        for kept in component
        if _name(kept) in {"Samples", "Events"}
        for element in kept
    ]
    return Streams(
        header.attrib["instanceId"],
        int(header.attrib["nextSequence"]),
        int(header.attrib["bufferSize"]),
        tuple(found),
    )


def _error(root: ET.Element) -> AgentError:
    errors = _all(root, "Error")
    codes = tuple(code for error in errors if (code := error.get("errorCode")))
    return AgentError(codes, "; ".join(" ".join((error.text or "").split()) for error in errors))


def _all(root: ET.Element, name: str) -> list[ET.Element]:
    return [element for element in root.iter() if _name(element) == name]


def _name(element: ET.Element) -> str:
    """Return an element's name without its namespace, which is another one for each version."""
    return str(element.tag).rpartition("}")[2]
