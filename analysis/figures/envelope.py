"""Hours of rows in a thousand columns, without losing a peak."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

COLUMNS = 800
"""Into how many columns a picture's width is cut: about as many as an eye tells apart at arm's length."""

_FIRST = 4  # rows: so much longer than a row may the first window have been


@dataclass(frozen=True, eq=False)
class Envelope:
    """
    A series as blocks, each from the time it begins to the time it ends, ready to draw.

    Every block stands for one row, or for all rows that share a column. It gives two points; where the
    series has a gap there is a NaN between.

    Attributes
    ----------
    x
        s, shape (m,).
    low, mean, high
        Least, mean and greatest value of the block's rows, shape (m,).
    """

    x: Floats
    low: Floats
    mean: Floats
    high: Floats


@dataclass(frozen=True, eq=False)
class Columns:
    """
    How rows are gathered.

    Attributes
    ----------
    at
        When each row ends, s, increasing, shape (n,).
    begin, end
        What the picture shows, s.
    spacing
        Seconds from row to row; 0 where there are not two.
    """

    at: Floats
    begin: float
    end: float
    spacing: float

    @classmethod
    def of(cls, at: Floats, until: float = 0.0) -> "Columns":
        """Return the columns for rows that end at ``at``; the picture ends with them, or ``until``, s."""
        if not len(at):
            return cls(at, 0.0, until or 1.0, 0.0)
        spacing = float(np.median(np.diff(at))) if len(at) > 1 else float(at[0]) or 1.0
        return cls(at, max(0.0, float(at[0]) - _FIRST * spacing), max(float(at[-1]), until), spacing)

    @property
    def width(self) -> float:
        """Seconds in a column, or in a row where there are fewer of them than columns."""
        return max((self.end - self.begin) / COLUMNS, self.spacing)

    @property
    def gathered(self) -> bool:
        """Whether rows have to share columns."""
        return len(self.at) > COLUMNS

    def column(self, at: Floats) -> NDArray[np.intp]:
        """Return the column, counted from 0, in which moments lie, shape of ``at``."""
        share = (at - self.begin) / max(self.end - self.begin, 1e-9)
        return np.clip((share * COLUMNS).astype(np.intp), 0, COLUMNS - 1)

    def envelope(self, values: Floats, shown: NDArray[np.bool_]) -> Envelope:
        """
        Return the envelope of the rows that are to be shown.

        Parameters
        ----------
        values
            One for each row, shape (n,); those that are not finite are left out.
        shown
            Which rows are meant, shape (n,).
        """
        kept = np.flatnonzero(shown & np.isfinite(values))
        if not len(kept):
            return Envelope(*np.empty((4, 0)))
        key = self.column(self.at[kept]) if self.gathered else kept
        first = np.flatnonzero(np.diff(key, prepend=-1))
        last = np.append(first[1:], len(kept)) - 1
        heard = values[kept]
        mean = np.add.reduceat(heard, first) / (last - first + 1)
        blocks = np.stack([np.minimum.reduceat(heard, first), mean, np.maximum.reduceat(heard, first)])
        return self._drawn(self.at[kept[first]] - self.spacing, self.at[kept[last]], blocks)

    def _drawn(self, begin: Floats, end: Floats, blocks: Floats) -> Envelope:
        """Return two points for each block, and a NaN before each that does not follow closely."""
        x = np.stack([begin, end], axis=1).ravel()
        gap = begin[1:] - end[:-1]
        breaks = 2 * (np.flatnonzero(gap > 1.5 * self.width) + 1)
        drawn = np.insert(np.vstack([x, np.repeat(blocks, 2, axis=1)]), breaks, np.nan, axis=1)
        return Envelope(*drawn)
