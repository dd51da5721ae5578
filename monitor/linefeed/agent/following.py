"""From what an agent observes to line numbers."""

from collections.abc import Iterable
from contextlib import suppress

from monitor.linefeed.agent.document import UNAVAILABLE, Observation
from monitor.linefeed.reading import Said
from monitor.linefeed.source import LineFeedError

# In these states of execution a line is not being cut: a program waits to be started, or is over.
_IDLE = frozenset({"READY", "PROGRAM_COMPLETED", UNAVAILABLE})
_SUBTYPES = frozenset({"", "ACTUAL"})


class Following:
    """
    Keeps what was observed last.

    ``LINE_NUMBER`` is ``ABSOLUTE`` when it counts from the program's beginning: then it is a line of the
    file, and the other kind is not looked at. ``INCREMENTAL`` counts from the last ``LINE_LABEL``, an N-word.
    """

    def __init__(self) -> None:
        self._of: tuple[str, str] | None = None
        self._line: str | None = None
        self._after: str | None = None
        self._label: str | None = None
        self.machine: dict[str, str | float] = {}

    def take(self, observations: Iterable[Observation]) -> list[Said]:
        """
        Take in observations, in order; return the line numbers among them.

        Raises
        ------
        LineFeedError
            When several devices have line numbers, and nobody said which one is meant.
        """
        return [said for seen in observations if self._note(seen) and (said := self.now())]

    def now(self) -> Said | None:
        """Return the line number that holds now; ``None`` when there is none, or nothing is executed."""
        if self.machine.get("execution") in _IDLE:
            return None
        line, word, after = _whole(self._line), _whole(self._label), _whole(self._after)
        if line is not None:
            return Said(line, None) if line > 0 else None
        return None if word is None or after is None else Said(None, word, after=after)

    def trouble(self) -> str:
        """Return why there can be no line numbers; empty when there can."""
        if self.machine.get("execution") == UNAVAILABLE or self._line == UNAVAILABLE:
            return "the agent has no line numbers now (UNAVAILABLE): is the machine on?"
        if self._of is None:
            return "the agent tells no LINE_NUMBER: its adapter has to give it"
        if self._line is None and self._label is None:
            return "the agent tells INCREMENTAL line numbers without LINE_LABEL, and these name no line"
        return ""

    def _note(self, seen: Observation) -> bool:
        """Take in one; return whether it may have changed the line number."""
        match seen.kind:
            case "LineNumber" if self._is_ours(seen) and seen.sub_type == "INCREMENTAL":
                self._after = seen.value
                return True
            case "LineNumber" if self._is_ours(seen):
                self._line = seen.value
                return True
            case "LineLabel":
                # The lines that come after it are still to be counted.
                self._label, self._after = seen.value.strip().lstrip("Nn"), "0"
                return True
            case "Execution":
                self.machine = self.machine | {"execution": seen.value}
                return True
            case "RotaryVelocity" if seen.sub_type in _SUBTYPES:
                with suppress(ValueError):  # it may be unavailable
                    self.machine = self.machine | {"rotary_velocity": float(seen.value)}
        return False

    def _is_ours(self, seen: Observation) -> bool:
        """Return whether it is of the device and the path that is followed: the first that there is."""
        self._of = self._of or (seen.device, seen.component)
        if seen.device != self._of[0]:
            raise LineFeedError(
                f"the agent has several devices: name one behind the port, /{self._of[0]} or /{seen.device}"
            )
        return seen.component == self._of[1]


def _whole(text: str | None) -> int | None:
    return int(text) if text is not None and text.isascii() and text.isdigit() and len(text) < 10 else None
