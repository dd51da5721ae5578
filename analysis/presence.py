"""Is the spindle running, and is it cutting? Told from the sound alone."""

import enum
from collections import deque
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Colour = NDArray[np.float64]

COMB_ON, COMB_OFF = 2.8, 2.0
"""
How far comb and teeth must stand out, dB, for a spindle to be heard, and below how much it no longer is.

Judgements, by simulated development runs: the noise of a quiet shop hardly reaches the one, and a spindle
that turns hardly falls below the other.
"""

HEARD_FOR = 0.2
"""Seconds for which a spindle must be heard to be running."""

HOLD = 1.0
"""Seconds for which a spindle that is no longer heard is still taken to run."""

DROWNED = 4.0
"""
Seconds for which a cut may drown comb and teeth before that: the noise of the shop may be as loud.

A judgement, by development runs: where they are heard at all a cut seldom drowns them for longer.
"""

RISE, FALL = 3.0, 2.0
"""How far a third of the bands must be above the air's to be a cut, and how close to be none, dB."""

DROP = 7.0
"""How far level and tooth-pass must fall from those of an assumed cut to be the air, dB."""

STEP = 6.0
"""How far they must rise to show that an assumed cut was none, dB."""

FIRST = 0.5
"""Seconds of running sound that make the first idea of the air."""

PATIENCE = 4.0
"""Seconds of one steady sound after which it is taken for the cut, since nothing else is heard."""

# Seconds for which a bang may last.
_LONGEST_BANG = 0.8

# Seconds before a spindle is heard in which it turned already, where it sounded alike: what tells of it is
# smoothed over longer.
_TURNED_BEFORE = 0.4


class Phase(enum.Enum):
    """What the spindle is doing."""

    OFF = "off"
    AIR = "air"
    CUT = "cut"


class Presence:
    """
    Follows whether the spindle runs and whether it cuts, row by row.

    A recording may begin anywhere: with silence, with the spindle in the air, in the middle of a cut.
    Until two levels of running sound were heard, a steady one is *assumed* to be the cut after some
    patience; a later, lower one shows the air, a later, higher one with more tooth-pass shows that the
    assumption was wrong.

    Parameters
    ----------
    seconds
        Seconds from one row to the next.

    Attributes
    ----------
    assumed
        Whether the cut is only assumed.
    corrected
        Whether this row showed that an assumed cut was none.
    stood
        Whether a spindle that was heard has stopped, now or before: what is cut since may be another cut.
    """

    def __init__(self, seconds: float) -> None:
        self.assumed = False
        self.corrected = False
        self.stood = False
        self._seconds = seconds
        self._running = False
        self._unheard = self._hidden = self._in_hearing = 0.0
        self._colours: deque[Colour] = deque(maxlen=3)
        self._lately: deque[Colour] = deque(maxlen=max(1, round(_TURNED_BEFORE / seconds)))
        self._begin_spindle()

    def _begin_spindle(self) -> None:
        self._first: list[Colour] = []
        self._air: Colour | None = None
        self._cutting = False
        self._cut_s = self._air_s = 0.0
        self.assumed = False
        self._settled: Colour = np.zeros(0)
        self._settled_level = 0.0
        self._settled_teeth = 0.0
        self._aside = 0

    def row(
        self,
        level: float,
        colour: NDArray[np.floating],
        stands: float,
        teeth: float,
        *,
        is_air: bool = False,
    ) -> Phase:
        """
        Return the phase after one more row.

        Parameters
        ----------
        level
            dBFS.
        colour
            Level in each of some bands, dBFS, shape (b,).
        stands
            How far comb and teeth of the spindle stand out, dB.
        teeth
            Level of the tooth-pass harmonics, dBFS.
        is_air
            Whether it is known from elsewhere that nothing is being cut: then this is what the air, and
            whatever the shop has switched on meanwhile, sounds like.
        """
        self.corrected = False
        both = np.empty(len(colour) + 1)
        both[:-1], both[-1] = colour, level
        self._colours.append(both)
        self._hear_spindle(stands)
        if not self._running:
            self._lately.append(both[:-1])
            return Phase.OFF
        middle = _middle(self._colours)
        smooth, level = middle[:-1], float(middle[-1])
        if self._air is None:
            self._first_idea(smooth)
        elif self.assumed:
            self._doubt(smooth, level, teeth)
        else:
            self._compare(smooth, level, teeth, is_air=is_air)
        return Phase.CUT if self._cutting else Phase.AIR

    def bites(self) -> None:
        """Take in that what is heard now is a cut, told by its teeth: the air is quieter than that."""
        if self._running and self._air is not None and not self._cutting:
            self._air = _middle(self._colours)[:-1] - 2.0 * RISE
            self._cutting = True

    def _hear_spindle(self, stands: float) -> None:
        limit = COMB_OFF if self._running else COMB_ON
        self._hidden = 0.0 if stands >= limit else self._hidden + self._seconds
        # The hiss of a cut can drown the comb, and what cuts is turning; but not for long.
        may_cut = self._running and self._cutting and self._hidden <= DROWNED
        heard = stands >= limit or may_cut
        self._unheard = 0.0 if heard else self._unheard + self._seconds
        self._in_hearing = self._in_hearing + self._seconds if heard else 0.0
        if self._in_hearing >= HEARD_FOR and not self._running:
            self._begin_spindle()
            now = self._colours[-1][:-1]
            self._first = [colour for colour in self._lately if _excess(now, colour) < FALL]
            self._running = True
        elif self._unheard > HOLD:
            self.stood = self.stood or self._running
            self._running = False

    @property
    def hears(self) -> bool:
        """Whether comb or teeth were heard within the time that a spindle is held."""
        return self._hidden <= HOLD

    def _first_idea(self, colour: Colour) -> None:
        self._first.append(colour)
        if len(self._first) * self._seconds >= FIRST:
            self._air = np.median(self._first, axis=0)

    def _compare(self, colour: Colour, level: float, teeth: float, *, is_air: bool) -> None:
        assert self._air is not None  # noqa: S101 - the caller looked
        if is_air:
            self._air = self._air + self._share(0.2) * (colour - self._air)
            self._air_s = 0.0
        above = _excess(colour, self._air)
        self._cutting = above > (FALL if self._cutting else RISE)
        if self._cutting:
            self._cut_s, self._air_s = self._cut_s + self._seconds, 0.0
            return
        # A cut that is not yet trusted must not raise the air.
        if above < FALL:
            self._air = self._air + self._share(1.0) * (colour - self._air)
        self._air_s += self._seconds
        if self._cut_s < 1.0 and self._air_s > PATIENCE:
            self._assume(colour, level, teeth)

    def _assume(self, colour: Colour, level: float, teeth: float) -> None:
        self.assumed = self._cutting = True
        self._settled, self._settled_level, self._settled_teeth = colour, level, teeth

    def _doubt(self, colour: Colour, level: float, teeth: float) -> None:
        rise = min(level - self._settled_level, teeth - self._settled_teeth)
        fall = max(level - self._settled_level, teeth - self._settled_teeth)
        higher, lower = rise > STEP, fall < -DROP
        self._aside = self._aside + 1 if lower or higher else 0
        # A bang is louder too, but not for long.
        if self._aside * self._seconds < (_LONGEST_BANG if higher else 0.3):
            return
        self.assumed = False
        self._cutting = self.corrected = higher
        self._air = self._settled if higher else colour
        self._cut_s = 1.0

    def _share(self, seconds: float) -> float:
        return min(1.0, self._seconds / seconds)


def _middle(rows: Sequence[Colour]) -> Colour:
    """Return the median of up to three rows; `numpy.median` takes ten times as long for so few."""
    if len(rows) < 3:
        middle: Colour = np.mean(rows, axis=0)
        return middle
    first, second, third = rows
    return np.maximum(np.minimum(first, second), np.minimum(np.maximum(first, second), third))


def _excess(colour: Colour, air: Colour) -> float:
    """Return by how much at least a third of the bands are louder than in the air, dB."""
    above = np.sort(colour - air)
    return float(above[-((len(above) + 2) // 3)])
