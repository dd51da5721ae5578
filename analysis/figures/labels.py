"""Words in a plan, placed so that none covers another."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import hypot

from analysis.figures.looks import width_of

SIZES = (10.0, 8.5, 7.5)
"""pt; in what sizes a word is tried where it belongs before it goes beside that."""

_INSIDE = ((0.0, 0.0), (0.0, 0.25), (0.0, -0.25), (0.25, 0.0), (-0.25, 0.0))  # shares of the area's sides
_AWAY = (0.15, 0.4, 0.8, 1.2, 1.6)  # in: how far from what it names a word may stand
_SIDES = ((0, 1), (0, -1), (1, 0), (-1, 0), (1, 1), (-1, 1), (1, -1), (-1, -1))
# What is bad about a place, in inches that one would go to avoid it: covering a word, covering a part.
_ON_WORD, _ON_PART = 100.0, 1.2


@dataclass(frozen=True)
class Box:
    """An upright rectangle, mm."""

    left: float
    low: float
    right: float
    high: float

    @property
    def middle(self) -> tuple[float, float]:
        """Its middle, mm."""
        return (self.left + self.right) / 2, (self.low + self.high) / 2

    @property
    def area(self) -> float:
        """Its area, mm²."""
        return (self.right - self.left) * (self.high - self.low)

    def overlap(self, other: "Box") -> float:
        """Return the area, mm², that both cover."""
        width = min(self.right, other.right) - max(self.left, other.left)
        height = min(self.high, other.high) - max(self.low, other.low)
        return max(width, 0.0) * max(height, 0.0)

    def apart(self, other: "Box") -> float:
        """Return how far, mm, the other is; 0 where they touch."""
        across = max(other.left - self.right, self.left - other.right, 0.0)
        return hypot(across, max(other.low - self.high, self.low - other.high, 0.0))

    def holds(self, other: "Box") -> bool:
        """Whether ``other`` lies wholly inside."""
        across = self.left <= other.left and other.right <= self.right
        return across and self.low <= other.low and other.high <= self.high


@dataclass(frozen=True)
class Spot:
    """A place for a word: its middle, mm, its size, pt, and whether it stands beside what it names."""

    middle: tuple[float, float]
    size: float
    beside: bool


class Board:
    """
    Finds places for words and remembers which are taken.

    Parameters
    ----------
    limits
        What the plan shows.
    scale
        mm of the plan to an inch of paper.
    parts
        What a word should rather not cover.
    """

    def __init__(self, limits: Box, scale: float, parts: Sequence[Box] = ()) -> None:
        self._limits = limits
        self._scale = scale
        self._parts = tuple(parts)
        self._taken: list[Box] = []

    def take(self, box: Box) -> None:
        """Let no word cover this, if it can be helped."""
        self._taken.append(box)

    def into(self, text: str, area: Box) -> Spot:
        """Return the place for a word that belongs in ``area``: there, smaller if need be, else beside it."""
        return self.inside(text, area) or self.beside(text, area)

    def inside(self, text: str, area: Box) -> Spot | None:
        """Return the place for a word in ``area``, smaller if need be; ``None`` if it finds no room."""
        (x, y), wide, tall = area.middle, area.right - area.left, area.high - area.low
        for size in SIZES:
            for side, up in _INSIDE:
                word = self._word(text, size, (x + side * wide, y + up * tall))
                if area.holds(word) and not any(word.overlap(taken) for taken in self._taken):
                    self.take(word)
                    return Spot(word.middle, size, beside=False)
        return None

    def beside(self, text: str, area: Box) -> Spot:
        """Return the best place for a word near ``area``."""
        words = [self._word(text, SIZES[0], middle) for middle in self._around(text, SIZES[0], area)]
        shown = [word for word in words if self._limits.holds(word)] or words
        word = min(shown, key=lambda word: self._badness(word, area))
        self.take(word)
        return Spot(word.middle, SIZES[0], beside=True)

    def _badness(self, word: Box, area: Box) -> float:
        on_words = sum(word.overlap(taken) for taken in self._taken) / word.area
        on_parts = sum(word.overlap(part) for part in self._parts) / word.area
        return _ON_WORD * on_words + _ON_PART * on_parts + word.apart(area) / self._scale

    def _around(self, text: str, size: float, area: Box) -> Iterable[tuple[float, float]]:
        width, height = self._size(text, size)
        (x, y), wide, tall = area.middle, area.right - area.left, area.high - area.low
        for reach in (away * self._scale for away in _AWAY):
            for side, up in _SIDES:
                yield x + side * ((wide + width) / 2 + reach), y + up * ((tall + height) / 2 + reach)

    def _size(self, text: str, size: float) -> tuple[float, float]:
        lines = 1 + text.count("\n")
        return (width_of(text, size) + 0.06) * self._scale, (1.3 * lines * size / 72 + 0.06) * self._scale

    def _word(self, text: str, size: float, middle: tuple[float, float]) -> Box:
        width, height = self._size(text, size)
        x, y = middle
        return Box(x - width / 2, y - height / 2, x + width / 2, y + height / 2)
