"""What the person at the machine says while it listens, from wherever it is said."""

import queue
from dataclasses import dataclass
from typing import Literal

PRESSED = "pressed"
"""The name of the journal's event that says what a person pressed."""

ALARM, DOUBT = "alarm", "doubt"
"""What was nothing, as that event says it; older runs do not tell."""


Kind = Literal["nothing", "tightened", "mark"]


@dataclass(frozen=True)
class Press:
    """
    One thing that was said.

    Attributes
    ----------
    kind
        ``nothing``: the alarm was nothing. ``tightened``: the bit was tightened, the cut goes on. ``mark``:
        this line is being cut now.
    line
        Line of the file, for ``mark`` alone.

    Raises
    ------
    ValueError
        When a mark has no line, or a line comes with anything else.
    """

    kind: Kind
    line: int | None = None

    def __post_init__(self) -> None:
        """Refuse what means nothing."""
        if (self.kind == "mark") != (self.line is not None):
            raise ValueError(
                f"'{self.kind}' with line {self.line}: only a mark has a line, and it must have one"
            )


class Controls:
    """Holds what was pressed until the loop that listens takes it; any thread may press."""

    def __init__(self) -> None:
        self._pressed: queue.SimpleQueue[Press] = queue.SimpleQueue()

    def press(self, press: Press) -> None:
        """Say something; it is heeded after the block that is being heard."""
        self._pressed.put(press)

    def take(self) -> tuple[Press, ...]:
        """Return what was pressed since it was last taken, in order."""
        return tuple(self._pressed.get() for _ in range(self._pressed.qsize()))
