"""
Where the zeros of the coordinate systems lie, as far as the program itself says so (G10 L2, G10 L20).

Mostly they are set at the control, and then the program does not tell how far two systems lie apart.
"""

from typing import TypeAlias

Zero: TypeAlias = tuple[float | None, float | None, float | None]
"""X, Y and Z, mm, in the machine's own coordinates; ``None`` where not known."""


class Zeros:
    """The zeros that are known, by system (`Moves.system`) and axis."""

    def __init__(self) -> None:
        self._known: dict[tuple[int, int], float] = {}

    def of(self, system: int, axis: int) -> float | None:
        """Return where the zero of a system lies on an axis, mm; ``None`` where that is not known."""
        return self._known.get((system, axis))

    def set(self, system: int, axis: int, place: float | None) -> None:
        """Take in where a zero has been put, or that nobody knows where."""
        if place is None:
            self._known.pop((system, axis), None)
        else:
            self._known[system, axis] = place

    def apart(self, one: int, other: int, axis: int) -> float | None:
        """Return how far, mm, the zero of `other` lies beyond that of `one`; ``None`` unless told."""
        first, second = self.of(one, axis), self.of(other, axis)
        return None if first is None or second is None else second - first

    def all(self) -> dict[int, Zero]:
        """Return all that is known, by system."""
        systems = sorted({system for system, _ in self._known})
        return {system: (self.of(system, 0), self.of(system, 1), self.of(system, 2)) for system in systems}
