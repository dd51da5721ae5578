"""A loud tone through a loudspeaker."""

import sys
from contextlib import suppress
from dataclasses import dataclass, field
from typing import ClassVar

from monitor.actions.child import Child
from monitor.actions.kind import ActionError
from monitor.actions.message import Message
from monitor.interpreter import module_path

READY = "ready to play on"
"""What the process says when it can play."""

# What it is told to begin with.
_BEGIN = "play\n"

# s that it gets to become ready, and to say why it is not.
_PATIENCE = 3.0


@dataclass
class Tone:
    """
    Plays a warble, see `monitor.actions.player`.

    It is played by a process of its own. A sound system that hangs can so be ended, and never stops the
    hearing, which uses the same one. The process is started beforehand and waits, because starting takes
    longer than an alarm should; it knows the loudspeakers that there were then, and if it fails the next
    try starts another.

    Attributes
    ----------
    seconds
        How long.
    device
        Name of the loudspeaker or a part of it; the system's default one when empty.
    """

    acts: ClassVar[bool] = False

    seconds: float
    device: str = ""
    _player: Child | None = field(default=None, init=False, repr=False, compare=False)

    def describe(self) -> str:
        """Return how long, and through what."""
        return f"tone: {self.seconds:g} s through {self.device or 'the default loudspeaker'}"

    def prepare(self) -> None:
        """Start the process that plays, which waits until it may; raise ActionError if it can't."""
        player = self._started()
        if not player.says(READY, _PATIENCE):
            player.finish("", _PATIENCE)
        self._player = player

    def close(self) -> None:
        """End the process that waits."""
        if self._player is not None:
            self._player.end()
            self._player = None

    def fire(self, message: Message, limit: float) -> str:
        """Play it."""
        del message
        player, self._player = self._player, None
        if player is None or not player.runs:
            player = self._started()
        try:
            return player.finish(_BEGIN, limit)
        finally:
            with suppress(ActionError):  # the next try says so again
                self._player = self._started()

    def _started(self) -> Child:
        words = [sys.executable, "-P", "-m", "monitor.actions.player", f"{self.seconds:g}", self.device]
        return Child(words, {"PYTHONPATH": module_path()})
