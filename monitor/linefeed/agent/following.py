"""From what an agent observes to line numbers."""

from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass
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


@dataclass
class Choice:
    """
    Which path is followed; one that has told a line number is followed for good.

    Attributes
    ----------
    wanted
        The component's id, where somebody has named it.
    of
        The one that is.
    """

    wanted: str = ""
    of: _Whose | None = None


class Following:
    """
    Keeps what was observed last.

    Of several paths the first one in the agent's own order is followed that has a line number: which of them
    told something last says nothing, for one that stands has told its own long ago.

    ``LINE_NUMBER`` is ``ABSOLUTE`` when it counts from the program's beginning: then it is a line of the
    file, and the other kind is not looked at. ``INCREMENTAL`` counts from the last ``LINE_LABEL``, an N-word.
    Other paths and devices have states and labels of their own.

    Parameters
    ----------
    choice
        Which path was followed before.
    """

    def __init__(self, choice: Choice | None = None) -> None:
        self._begun = False
        self._choice = choice or Choice()
        self._of: _Whose | None = None
        # In order of the first answer.
        self._paths: dict[_Whose, None] = {}
        self._lines: dict[_Whose, str] = {}
        self._afters: dict[_Whose, str] = {}
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
        Take in observations, as they stand in an answer; return the line numbers among them, in order.

        Raises
        ------
        LineFeedError
            When several devices have line numbers, and nobody said which one is meant, or when the path that
            is wanted has none.
        """
        come = list(observations)
        self._choose([seen for seen in come if seen.kind == "LineNumber"])
        come.sort(key=lambda seen: seen.sequence)
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

    def others(self) -> list[str]:
        """Return the ids of the other paths that have line numbers now."""
        every = (self._lines, self._afters)
        having = {whose for told in every for whose, line in told.items() if line != UNAVAILABLE}
        return [whose[1] for whose in self._paths if whose in having and whose != self._of]

    def _choose(self, numbered: list[Observation]) -> None:
        """Choose which path is followed, unless one is that has told a line number."""
        self._paths.update(dict.fromkeys(_whose(seen) for seen in numbered))
        if not self._paths:
            return
        telling = {_whose(seen) for seen in numbered if seen.value != UNAVAILABLE}
        if self._choice.of in self._paths:
            self._of = self._choice.of
        elif self._choice.wanted:
            self._of = self._wanted(self._choice.wanted)
        else:
            first = self._of or next(iter(self._paths))
            self._of = next((whose for whose in self._paths if whose in telling), first)
        if self._of in telling:
            self._choice.of = self._of
        self._refuse_others(self._of)

    def _wanted(self, path: str) -> _Whose:
        for whose in self._paths:
            if whose[1] == path:
                return whose
        has = ", ".join(path for _, path in self._paths)
        raise LineFeedError(f"the agent has no line numbers of the path {path}: it has those of {has}")

    def _refuse_others(self, ours: _Whose | None) -> None:
        """Refuse several devices: only a person knows which one is meant."""
        for device, _ in self._paths:
            if ours is not None and device != ours[0]:
                raise LineFeedError(
                    f"the agent has several devices: name one behind the port, /{ours[0]} or /{device}"
                )

    def _note(self, seen: Observation) -> bool:
        """Take in one; return whether it may have changed the line number."""
        whose = _whose(seen)
        match seen.kind:
            case "LineNumber":
                told = self._afters if seen.sub_type == "INCREMENTAL" else self._lines
                told[whose] = seen.value
                return whose == self._of
            case "LineLabel":
                self._labels[whose] = seen.value.strip().lstrip("Nn")
                # The lines that come after it are still to be counted.
                self._afters[whose] = "0"
                return self._of in (None, whose)
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

    @property
    def _line(self) -> str | None:
        return self._of_path(self._lines)

    @property
    def _after(self) -> str | None:
        return self._of_path(self._afters)

    def _of_path(self, told: Mapping[_Whose, _Value]) -> _Value | None:
        """Return what was told of the path that is followed; of the only one, while none has line numbers."""
        return _only(told.values()) if self._of is None else told.get(self._of)

    def _of_device(self, told: Mapping[_Whose, _Value]) -> _Value | None:
        """Return the same; or what its device tells elsewhere alone, as of a controller above the path."""
        own = self._of_path(told)
        if own is not None or self._of is None:
            return own
        return _only(value for (device, _), value in told.items() if device == self._of[0])


def _whose(seen: Observation) -> _Whose:
    return seen.device, seen.component


def _only(values: Iterable[_Value]) -> _Value | None:
    """Return what all values are; ``None`` where they are several, or none."""
    found = set(values)
    return found.pop() if len(found) == 1 else None


def _whole(text: str | None) -> int | None:
    return int(text) if text is not None and text.isascii() and text.isdigit() and len(text) < 10 else None
