"""From what an agent observes to line numbers."""

from collections.abc import Iterable, Mapping
from contextlib import suppress
from typing import TypeVar

from monitor.linefeed.agent.document import UNAVAILABLE, Observation
from monitor.linefeed.reading import Said
from monitor.linefeed.source import LineFeedError

# In these states of execution a line is not being cut: a program waits to be started, or is over.
_IDLE = frozenset({"READY", "PROGRAM_COMPLETED", UNAVAILABLE})
_SUBTYPES = frozenset({"", "ACTUAL"})

# A device's name, and a component's id.
_Whose = tuple[str, str]
_Value = TypeVar("_Value")


class Following:
    """
    Keeps what was observed last.

    ``LINE_NUMBER`` is ``ABSOLUTE`` when it counts from the program's beginning: then it is a line of the
    file, and the other kind is not looked at. ``INCREMENTAL`` counts from the last ``LINE_LABEL``, an N-word.
    Other paths and devices, as a loader beside the machine, have states and labels of their own.
    """

    def __init__(self) -> None:
        self._begun = False
        self._of: _Whose | None = None
        self._line: str | None = None
        self._after: str | None = None
        self._labels: dict[_Whose, str] = {}
        self._executions: dict[_Whose, str] = {}
        self._speeds: dict[_Whose, float] = {}

    @property
    def machine(self) -> dict[str, str | float]:
        """What else is known of the machine."""
        told = {"execution": self._execution, "rotary_velocity": self._of_device(self._speeds)}
        return {name: value for name, value in told.items() if value is not None}

    def take(self, observations: Iterable[Observation]) -> list[Said]:
        """
        Take in observations, in order; return the line numbers among them.

        Raises
        ------
        LineFeedError
            When several devices have line numbers, and nobody said which one is meant.
        """
        come = list(observations)
        numbered = ((seen.device, seen.component) for seen in come if seen.kind == "LineNumber")
        self._of = self._of or next(numbered, None)
        told = [said for seen in come if self._note(seen) and (said := self.now())]
        if not self._begun:
            # What comes first holds at once: a line told before the program was over is none now.
            self._begun, now = True, self.now()
            return [] if now is None else [now]
        return told

    def now(self) -> Said | None:
        """Return the line number that holds now; ``None`` when there is none, or nothing is executed."""
        if self._execution in _IDLE:
            return None
        line, word, after = _whole(self._line), _whole(self._of_path(self._labels)), _whole(self._after)
        if line is not None:
            return Said(line, None) if line > 0 else None
        return None if word is None or after is None else Said(None, word, after=after)

    def trouble(self) -> str:
        """Return why there can be no line numbers; empty when there can."""
        label = self._of_path(self._labels)
        if self._execution == UNAVAILABLE:
            return "the agent has no line numbers now (UNAVAILABLE): is the machine on?"
        if self._of is None and label is None:
            return "the agent tells no LINE_NUMBER: its adapter has to give it"
        if self._execution in _IDLE:
            return f"the controller is {self._execution}: no line is being cut"
        if self.now() is None and UNAVAILABLE in (self._line, self._after, label):
            return "the agent has no line numbers now (UNAVAILABLE): is the machine on?"
        if self._line is None and label is None:
            return "the agent tells INCREMENTAL line numbers without LINE_LABEL, and these name no line"
        return ""

    def _note(self, seen: Observation) -> bool:
        """Take in one; return whether it may have changed the line number."""
        whose = seen.device, seen.component
        match seen.kind:
            case "LineNumber" if self._is_ours(seen) and seen.sub_type == "INCREMENTAL":
                self._after = seen.value
                return True
            case "LineNumber" if self._is_ours(seen):
                self._line = seen.value
                return True
            case "LineLabel":
                self._labels[whose] = seen.value.strip().lstrip("Nn")
                if self._of not in (None, whose):
                    return False
                # The lines that come after it are still to be counted.
                self._after = "0"
                return True
            case "Execution":
                self._executions[whose] = seen.value
                return True
            case "RotaryVelocity" if seen.sub_type in _SUBTYPES:
                with suppress(ValueError):  # it may be unavailable
                    self._speeds[whose] = float(seen.value)
        return False

    @property
    def _execution(self) -> str | None:
        return self._of_device(self._executions)

    def _of_path(self, told: Mapping[_Whose, _Value]) -> _Value | None:
        """Return what was told of the path that is followed; of the only one, while none has line numbers."""
        return _only(told.values()) if self._of is None else told.get(self._of)

    def _of_device(self, told: Mapping[_Whose, _Value]) -> _Value | None:
        """Return the same; or what its device tells elsewhere alone, as of a controller above the path."""
        own = self._of_path(told)
        if own is not None or self._of is None:
            return own
        return _only(value for (device, _), value in told.items() if device == self._of[0])

    def _is_ours(self, seen: Observation) -> bool:
        """Return whether it is of the device and the path that is followed: the first that there is."""
        self._of = self._of or (seen.device, seen.component)
        if seen.device != self._of[0]:
            raise LineFeedError(
                f"the agent has several devices: name one behind the port, /{self._of[0]} or /{seen.device}"
            )
        return seen.component == self._of[1]


def _only(values: Iterable[_Value]) -> _Value | None:
    """Return what all values are; ``None`` where they are several, or none."""
    found = set(values)
    return found.pop() if len(found) == 1 else None


def _whole(text: str | None) -> int | None:
    return int(text) if text is not None and text.isascii() and text.isdigit() and len(text) < 10 else None
