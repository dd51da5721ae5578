"""Windows in, rows out."""

import numpy as np
from numpy.typing import NDArray

from analysis.features.ear import Ear
from analysis.features.lines import levels, powers, standing
from analysis.features.ripple import Ripple
from analysis.features.rows import ABSENT, Rows
from analysis.features.smoothing import Array32, Smoother
from analysis.features.turning import Combs, SpeedReader
from analysis.health import FULL
from analysis.orders import above_floor, between_lines, foreign_tones, local_floor, squared
from analysis.spectrum import decibels

# Seconds over which spectra are smoothed before tones off the orders are looked for: chance has many.
_TONES_LAST = 0.3

# No converter gives such a sample; its power would outlast all memory of the sound, or overflow.
_WILD = np.float32(1e6)

TURNS = np.array([1.0, 0.5, 1.5])
"""The orders at which the swell of the hiss is looked at; all but the first only as far as it is in step."""


class FeatureReader:
    """
    Turns windows into rows.

    Of the windows before it remembers the speed, what is smoothed over the last few (lines, swell, tones),
    the room's ripple, and the last one's envelope, and nothing else.

    Parameters
    ----------
    ear
        What to look for.
    """

    def __init__(self, ear: Ear) -> None:
        self.ear = ear
        self._speed = SpeedReader(ear)
        self._lines = Smoother(ear.smooth)
        self._swell = Smoother(ear.smooth)
        self._ripple = Ripple(ear.seconds)
        self._foreign = Smoother(ear.smooth)
        self._tones = Smoother(_TONES_LAST / ear.seconds)
        self._before: NDArray[np.complex64] | None = None

    def expect(self, loses: Array32) -> None:
        """Reckon from now on with what each speed loses for being unlikely, dB, shape (g,)."""
        self._speed.expect(loses)

    def read(self, windows: Array32) -> Rows:
        """
        Return the rows of windows that follow those read before.

        Parameters
        ----------
        windows
            Samples, shape (k, size).
        """
        ear = self.ear
        finite, health = _health(windows)
        clean = windows if finite.all() else np.where(finite[:, np.newaxis], windows, np.float32(0))
        spectra = ear.spectrum.transform(clean)
        power = ear.spectrum.power_of(spectra)
        delta_f = ear.spectrum.delta_f
        floor = local_floor(power, ear.turn, ear.highest)
        above = above_floor(power[:, : ear.highest], floor)
        hiss = ear.modulation.envelope(spectra)
        envelope = squared(hiss)
        combs = Combs.of(ear, above, envelope)
        speed, prominence, stands, bites = self._speed.read(combs)
        heard = levels(ear, self._lines.smooth(powers(ear, power, floor, speed)))
        spindle, between, half = standing(heard["tells"], heard["hides"], len(ear.telling)).T
        depths = ear.modulation.depths(envelope, speed, TURNS)
        steps = self._in_step(hiss, depths, speed)
        once, every_second = self._swells(depths)
        others = self._ripple.take_off(between_lines(power, delta_f, speed))
        tones = foreign_tones(others)[:, np.newaxis]
        beats, tone = ear.sidebands.find(self._tones.smooth(above[:, : ear.sidebands.wanted]), speed)
        summed = decibels(ear.sums.powers(power))
        return Rows(
            **heard,
            spindle=spindle,
            between=between,
            half=half,
            level=summed[:, -1],
            colour=np.ascontiguousarray(summed[:, :-2]),
            modulation=once,
            rocking=every_second,
            hiss=summed[:, -2],
            foreign=self._foreign.smooth(tones)[:, 0],
            beats=beats,
            tone=tone,
            speed=speed,
            prominence=prominence,
            stands=stands,
            bites=bites,
            power=power,
            envelope=envelope,
            steps=steps,
            combs=combs.lines,
            teeth=combs.teeth,
            **health,
        )

    def _in_step(self, hiss: NDArray[np.complex64], depths: Array32, speed: NDArray[np.float64]) -> Array32:
        """Leave, in place, of the depths of half orders what is in step; return it, and all, (k, 2, m)."""
        # Nothing is in step with what was before all windows.
        first = np.zeros_like(hiss[:1]) if self._before is None else self._before
        before = np.concatenate((first, hiss))[:-1]
        if len(hiss):
            self._before = hiss[-1:].copy()
        halves = depths[:, :, 1:]
        steps = np.empty_like(halves)
        steps[:, 1] = halves[:, 0]
        halves[:] = self.ear.modulation.in_step(hiss, before, self.ear.hop, speed, TURNS[1:])
        np.subtract(halves[:, 0], halves[:, 1], out=steps[:, 0])
        return steps

    def _swells(self, depths: Array32) -> Array32:
        """Return how deep the hiss swells once per turn and every second turn, dB, shape (2, k)."""
        smooth = self._swell.smooth(depths.reshape(len(depths), 2 * len(TURNS)))
        deep = decibels(smooth[:, : len(TURNS)] - smooth[:, len(TURNS) :], 10 ** (ABSENT / 10))
        deep[:, 1] = np.float32(0.5) * (deep[:, 1] + deep[:, 2])
        return deep[:, :2].T


def _health(windows: Array32) -> tuple[NDArray[np.bool_], dict[str, Array32]]:
    """Return which windows are finite, and what tells whether each can be heard at all."""
    high, low = windows.max(axis=1), windows.min(axis=1)
    finite = (high < _WILD) & (low > -_WILD)
    with np.errstate(invalid="ignore", over="ignore"):
        greatest, spread = np.maximum(high, -low), high - low
    clipped = np.zeros(len(windows), dtype=np.float32)
    for row in np.flatnonzero(~(greatest < FULL)):
        clipped[row] = np.count_nonzero(np.abs(windows[row]) >= FULL) / windows.shape[1]
    return finite, {
        "clipped": clipped,
        "peak": np.where(finite, greatest, np.float32("nan")),
        "spread": np.where(finite, spread, np.float32(0)),
    }
