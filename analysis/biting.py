"""A cut that was taken for air, told by its teeth: the hiss of the air does not swell with them."""

from analysis.presence import Phase
from analysis.which_bit import BITES

# Over so many s it is listened whether the hiss swells, and so many s of it in what is taken for air are a
# cut. It is one until the swell is less than this share of what the air hardly ever has. Judgements, by
# development runs: over 2 s the mean hardly ever came to that but in a cut, whatever else the shop did.
_OVER, _LONG, _LEAST = 1.0, 3.0, 0.5


class Biting:
    """
    Tells whether what is taken for air is a cut.

    The level may fall in mid-cut, and the place in the program be another one. What cuts has teeth, for
    whoever can hear them.

    Parameters
    ----------
    seconds
        Seconds from one row to the next.
    """

    def __init__(self, seconds: float) -> None:
        self._seconds = seconds
        self._share = min(1.0, seconds / _OVER)
        self._mean = self._aside = 0.0

    def row(self, bites: float, phase: Phase) -> bool:
        """
        Take in one row; return whether it is a cut, for some seconds taken for air.

        Parameters
        ----------
        bites
            How far the swell of the hiss with the teeth stands out, dB.
        phase
            What it is taken for.
        """
        # What swells deeply for a moment must not count for longer.
        self._mean += self._share * (min(bites, 2.0 * BITES) - self._mean)
        least = BITES * (_LEAST if self._aside > _LONG else 1.0)
        is_aside = phase is Phase.AIR and self._mean > least
        self._aside = self._aside + self._seconds if is_aside else 0.0
        return self._aside > _LONG
