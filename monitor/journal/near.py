"""Sound that is kept only where something happened."""

from dataclasses import dataclass

HAPPENED = frozenset({"alarm", "deaf", "checked", "pressed"})
"""Events of whose surroundings sound is kept."""


@dataclass(frozen=True)
class Around:
    """How much sound is kept before and after an event, s."""

    before: float = 30.0
    after: float = 30.0


class Near:
    """
    Tells which sound is near an event.

    Parameters
    ----------
    around
        How near that is.
    """

    def __init__(self, around: Around) -> None:
        self._around = around
        self._events: list[float] = []

    def event(self, name: str, at: float) -> None:
        """Note that something happened at ``at`` s."""
        if name in HAPPENED:
            self._events.append(at)

    def keeps(self, first: float, last: float) -> bool:
        """Return whether sound from ``first`` to ``last`` s is near an event so far."""
        before, after = self._around.before, self._around.after
        return any(at - before < last and first < at + after for at in self._events)

    def may_keep(self, last: float, now: float) -> bool:
        """Return whether an event that is still to come may be near sound up to ``last`` s."""
        return last > now - self._around.before
