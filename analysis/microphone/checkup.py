"""
A checkup of a microphone: levels, headroom, floor, and what the other files of this folder find.

Levels are in dBFS, of a full-scale sine (see `spectrum`), a constant in the samples left out.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.cutting import Bit
from analysis.health import FULL, PATIENCE, trouble
from analysis.microphone.hum import Hum, hum
from analysis.microphone.own_gain import OwnGain, own_gain
from analysis.microphone.spindle import Spindle, spindle
from analysis.spectrum import decibels

# Seconds over which a level is taken, and the share of them, in a hundred, that is called quiet.
_FRAME, _QUIET = 0.05, 10

# Seconds that are looked at for whether anything is heard in them.
_LOOKED_AT = 0.25


@dataclass(frozen=True)
class Checkup:
    """
    What was found of a microphone.

    Attributes
    ----------
    rate
        Samples per second, Hz.
    seconds
        For how long it was heard.
    wrong
        Why nothing can be heard with it, in words; empty when something can.
    level, peak
        Of all that was heard, and of the highest sample as it comes, dBFS: a constant takes its headroom.
    swing
        Half the way from the lowest sample to the highest, dBFS.
    clipped
        Share of samples at full scale.
    floor
        Level of the quietest tenth, dBFS.
    hum
        ``None`` when there is none.
    gain
        ``None`` when no short loud sound came between steady quiet.
    told
        The speed, rpm, at which a spindle was said to run; ``None`` when none was.
    spindle
        ``None`` when none is heard near that speed.
    unheard
        For how many s nothing was heard though something was in others: somebody mutes it, or a gate closes
        whenever all is quiet. 0 where that is too short for `Health`.
    """

    rate: int
    seconds: float
    wrong: str
    level: float
    peak: float
    swing: float
    clipped: float
    floor: float
    hum: Hum | None = None
    gain: OwnGain | None = None
    told: float | None = None
    spindle: Spindle | None = None
    unheard: float = 0.0

    @property
    def headroom(self) -> float:
        """How much louder it may become before it clips, dB."""
        return max(0.0, -self.peak)


def check(samples: NDArray[np.float32], rate: int, bit: Bit) -> Checkup:
    """
    Return what is found of a microphone.

    Parameters
    ----------
    samples
        What it heard, (n,), in [-1, 1].
    rate
        Samples per second, Hz.
    bit
        What is in the spindle. One of unknown speed does not run, or is not to be looked for: in any speed
        at all something would be found, hum and other machines.

    Raises
    ------
    ValueError
        When there are less than 0.1 s of samples.
    """
    if len(samples) < 0.1 * rate:
        raise ValueError(f"{len(samples)} samples are too few to tell anything of a microphone")
    size = np.abs(samples.astype(np.float64))
    peak, clipped = float(size.max()), float((size >= FULL).mean())
    spread = float(np.ptp(samples))
    wrong = trouble(peak, spread, clipped)
    if not np.isfinite(peak):
        return Checkup(rate, len(samples) / rate, wrong, *(np.nan,) * 5)
    sound = samples.astype(np.float64) - samples.astype(np.float64).mean()
    heard = spindle(samples, rate, bit, bit.speed) if bit.speed else None
    return Checkup(
        rate=rate,
        seconds=len(samples) / rate,
        wrong=wrong,
        level=_level(sound),
        peak=float(decibels(peak * peak)),
        swing=float(decibels((spread / 2.0) ** 2)),
        clipped=clipped,
        floor=floor_level(sound, rate),
        hum=hum(sound, rate, heard.speed / 60.0 if heard else None),
        gain=own_gain(sound, rate),
        told=bit.speed,
        spindle=heard,
        unheard=0.0 if wrong else _unheard(samples, rate),
    )


def _unheard(samples: NDArray[np.float32], rate: int) -> float:
    """Return for how many s nothing is heard."""
    size = max(1, round(_LOOKED_AT * rate))
    spreads = np.ptp(samples[: len(samples) // size * size].reshape(-1, size), axis=1).tolist()
    # What clips is judged as a whole: a clap may.
    silent = [spread for spread in spreads if trouble(spread, spread, clipped=0.0)]
    seconds = len(silent) * size / rate
    return seconds if seconds >= PATIENCE else 0.0


def _level(sound: NDArray[np.float64]) -> float:
    return float(decibels(2.0 * np.mean(sound**2)))


def floor_level(sound: NDArray[np.float64], rate: int) -> float:
    """Return the level, dBFS, that a tenth of all moments (of 0.05 s) lies below."""
    size = max(1, round(_FRAME * rate))
    frames = sound[: len(sound) // size * size].reshape(-1, size)
    return float(np.percentile(decibels(2.0 * np.mean(frames**2, axis=1)), _QUIET))
