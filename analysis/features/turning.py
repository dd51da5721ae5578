"""What is heard to turn, by the comb of lines and the teeth in the swell, row after row."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from analysis.features.ear import Ear
from analysis.features.smoothing import Array32, Smoother
from analysis.orders import above_floor, local_floor

# Windows over which the comb's lines and the teeth in the swell are smoothed: these scatter more.
_COMB_LASTS, _TEETH_LAST, _BITE_LASTS = 3.0, 8.0, 2.0


class Turning(NamedTuple):
    """
    What is heard to turn.

    Attributes
    ----------
    speed
        Spindle frequency, Hz, shape (k,).
    prominence
        How far the comb at that speed stands above all others, dB, shape (k,).
    stands
        How far comb, teeth and nearness to what was set stand out together, dB, shape (k,).
    bites
        How far the swell of the hiss with the teeth stands out, dB, shape (k,): only what cuts has any.
    """

    speed: NDArray[np.float64]
    prominence: Array32
    stands: Array32
    bites: Array32

    def first(self, rows: int) -> "Turning":
        """Return the first rows."""
        speed, prominence, stands, bites = self
        return Turning(speed[:rows], prominence[:rows], stands[:rows], bites[:rows])


class Combs(NamedTuple):
    """
    How well each speed of an ear's grid fits rows that were heard.

    Attributes
    ----------
    lines, teeth
        From `SpeedGrid.scores` and `SpeedGrid.teeth`, dB, shape (k, g).
    """

    lines: Array32
    teeth: Array32

    @classmethod
    def of(cls, ear: Ear, above: Array32, envelope: Array32) -> "Combs":
        """
        Return how well each speed fits rows.

        Parameters
        ----------
        ear
            What to look for.
        above
            Spectra in dB above their local floor, shape (k, bins).
        envelope
            Squared transform of `TurnModulation.envelope`, shape (k, b).
        """
        # A block of the floor holds two teeth of a bit with one.
        floor = local_floor(envelope, 2 * ear.turn)
        return cls(ear.grid.scores(above), ear.grid.teeth(above_floor(envelope, floor)))


class SpeedReader:
    """
    Follows the speed; remembers the combs of the last few rows.

    Parameters
    ----------
    ear
        What to look for.
    """

    def __init__(self, ear: Ear) -> None:
        self._ear = ear
        self._loses = ear.grid.remote
        # One window of noise tells too little; a speed changes slowly.
        nothing, window = np.zeros(len(ear.grid.frequencies), dtype=np.float32), ear.size / ear.hop
        self._comb = Smoother(_COMB_LASTS * window, nothing)
        self._teeth = Smoother(_TEETH_LAST * window, nothing)
        self._bites = Smoother(_BITE_LASTS * window)

    def read(self, heard: Combs) -> Turning:
        """Return what the evidence so far tells of rows that follow those read before."""
        grid = self._ear.grid
        comb = self._comb.smooth(heard.lines)
        speed, prominence, stands = grid.best(comb, self._teeth.smooth(heard.teeth), self._loses)
        bites = self._bites.smooth(grid.at(heard.teeth, speed)[:, np.newaxis])
        return Turning(speed, prominence, stands, bites[:, 0])

    def expect(self, loses: Array32) -> None:
        """Reckon from now on with what each speed loses for being unlikely, dB, shape (g,)."""
        self._loses = loses

    def keep(self, rows: int) -> None:
        """Go on after the first of the rows that were read last."""
        self._comb.keep(rows)
        self._teeth.keep(rows)
        self._bites.keep(rows)


def above_lines(ear: Ear, power: Array32) -> Array32:
    """Return how far spectra stand above their local floor, dB, as high as an ear listens to lines."""
    return above_floor(power[:, : ear.highest], local_floor(power, ear.turn, ear.highest))
