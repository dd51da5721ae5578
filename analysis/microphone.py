"""
Is a microphone fit to listen with? Levels, floor, hum, a gain of its own, what is heard of a spindle.

Levels are in dBFS, of a full-scale sine (see `spectrum`), a constant in the samples left out.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.cutting import Bit
from analysis.features import FeatureReader
from analysis.health import FULL, trouble
from analysis.listener import ear_for
from analysis.orders import line_powers, local_floor, noise_powers
from analysis.presence import PresenceRules
from analysis.spectrum import PowerSpectrum, band_power, decibels
from analysis.windows import Windows, window_size

Array32 = NDArray[np.float32]
Array64 = NDArray[np.float64]

# Seconds over which a level is taken, and the share of them that is called quiet.
_FRAME, _QUIET = 0.05, 10

# Bins of 1 Hz; a line of the mains stands at least this far above the noise beside it, dB.
_MAINS, _HARMONICS, _STANDS = (50, 60), 5, 6.0

# A line of the spindle's is told from one of the mains when it is at least this far away, Hz.
_APART = 4.0

# Below this, Hz, rumble and hum change slowly and by themselves.
_ABOVE = 300.0

# A sound is loud from this far above the quiet, dB. Quiet before it is heard over so many s, and after it
# over so many at a time, for so long; and no fewer than this many frames make either.
_LOUD, _BEFORE, _AT_A_TIME, _AFTER, _LEAST = 12.0, 2.0, 0.3, 2.0, 6


# Of a long time, so many s are enough to find a spindle in.
_LOOKED_AT = 30


@dataclass(frozen=True)
class Hum:
    """
    What is heard of the mains, from a cable or from a motor that hangs on them.

    Attributes
    ----------
    mains
        Their frequency, Hz.
    level
        Of all its lines together, dBFS.
    lines
        How many of them stand out.
    """

    mains: int
    level: float
    lines: int


@dataclass(frozen=True)
class OwnGain:
    """
    What loud sounds did to the quiet after them.

    Attributes
    ----------
    sounds
        How many loud sounds were followed by quiet.
    fell
        How much softer the quiet was after the one that moved it most, dB.
    """

    sounds: int
    fell: float


@dataclass(frozen=True)
class Spindle:
    """
    What is heard of a spindle.

    Attributes
    ----------
    speed
        rpm.
    line, teeth
        How far its line, and all of tooth-pass together, stand above the noise about them, dB.
    """

    speed: float
    line: float
    teeth: float


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
        Of all that was heard, and of the highest sample, dBFS.
    clipped
        Share of samples at full scale.
    floor
        Level of the quietest tenth, dBFS.
    hum
        ``None`` when there is none.
    gain
        ``None`` when no loud sound was followed by quiet.
    told
        The speed, rpm, at which a spindle was said to run; ``None`` when none was.
    spindle
        ``None`` when none is heard near that speed.
    """

    rate: int
    seconds: float
    wrong: str
    level: float
    peak: float
    clipped: float
    floor: float
    hum: Hum | None = None
    gain: OwnGain | None = None
    told: float | None = None
    spindle: Spindle | None = None

    @property
    def headroom(self) -> float:
        """How much louder it may become before it clips, dB."""
        return max(0.0, -self.peak)


def check(samples: Array32, rate: int, bit: Bit) -> Checkup:
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
    wrong = trouble(peak, float(np.ptp(samples)), clipped)
    if not np.isfinite(peak):
        return Checkup(rate, len(samples) / rate, wrong, *(np.nan, np.nan, np.nan, np.nan))
    sound = samples.astype(np.float64) - samples.astype(np.float64).mean()
    spindle = _spindle(samples, rate, bit, bit.speed) if bit.speed else None
    return Checkup(
        rate=rate,
        seconds=len(samples) / rate,
        wrong=wrong,
        level=_level(sound),
        peak=float(decibels(peak * peak)),
        clipped=clipped,
        floor=floor_level(sound, rate),
        hum=hum(sound, rate, spindle.speed / 60.0 if spindle else None),
        gain=own_gain(sound, rate),
        told=bit.speed,
        spindle=spindle,
    )


def _level(sound: Array64) -> float:
    return float(decibels(2.0 * np.mean(sound**2)))


def floor_level(sound: Array64, rate: int) -> float:
    """Return the level, dBFS, that a tenth of all moments (of 0.05 s) lies below."""
    size = max(1, round(_FRAME * rate))
    frames = sound[: len(sound) // size * size].reshape(-1, size)
    return float(np.percentile(decibels(2.0 * np.mean(frames**2, axis=1)), _QUIET))


def hum(sound: Array64, rate: int, spindle: float | None = None) -> Hum | None:
    """
    Return what stands out at 50 or 60 Hz and their first multiples; ``None`` when nothing does.

    Parameters
    ----------
    sound
        (n,), without a constant. Less than a second is too short to tell.
    rate
        Samples per second, Hz.
    spindle
        Spindle frequency, Hz: at its whole and half orders nothing is taken for hum.

    Notes
    -----
    Spectra of 1 s are averaged. A line is what three bins hold, less the noise that three bins between it and
    its neighbours hold; it counts when it stands 6 dB above that noise. It is hum when the mains' own line
    or its first multiple stands out, and more than one line does: the lines of mains' frequency that are
    stronger together are told.
    """
    windows = Windows(rate, rate // 2).feed(sound.astype(np.float32))
    if not len(windows):
        return None
    power = PowerSpectrum(rate, rate).power(windows).mean(axis=0, keepdims=True)
    found = [each for mains in _MAINS if (each := _hum_of(power, mains, spindle)) is not None]
    return max(found, key=lambda each: each.level, default=None)


def _hum_of(power: Array32, mains: int, spindle: float | None) -> Hum | None:
    orders, frequency = np.arange(1.0, _HARMONICS + 1.0), np.array([float(mains)])
    lines = line_powers(power, 1.0, frequency, orders)[0].astype(np.float64)
    noise = noise_powers(power, local_floor(power, mains), 1.0, frequency, orders)[0].astype(np.float64)
    stands = (decibels(lines) - decibels(noise) > _STANDS) & ~_near(mains * orders, spindle)
    if stands.sum() < 2 or not stands[:2].any():
        return None
    return Hum(mains, float(decibels((lines - noise)[stands].sum())), int(stands.sum()))


def _near(frequencies: Array64, spindle: float | None) -> NDArray[np.bool_]:
    """Return which frequencies may be the spindle's own."""
    if spindle is None:
        return np.zeros(len(frequencies), dtype=bool)
    half = spindle / 2.0
    return np.abs(frequencies - half * np.maximum(np.rint(frequencies / half), 1.0)) < _APART


def own_gain(sound: Array64, rate: int) -> OwnGain | None:
    """
    Return what loud sounds did to the quiet after them; ``None`` when no loud one was followed by quiet.

    Parameters
    ----------
    sound
        (n,), without a constant.
    rate
        Samples per second, Hz.

    Notes
    -----
    A room rings on after a loud sound, so that the quiet after it can only be louder than the quiet before.
    A gain of its own turns itself down for the loud sound and needs a while to come back: the quiet after it
    is *softer*. Levels above 300 Hz are taken every 0.05 s. Loud is what stands 12 dB above the quiet; the
    median of the 2 s before it is compared with the least median of 0.3 s in the 2 s after it.
    """
    size = max(2, round(_FRAME * rate))
    frames = np.ascontiguousarray(sound[: len(sound) // size * size].reshape(-1, size), dtype=np.float32)
    spectrum = PowerSpectrum(rate, size)
    level = decibels(band_power(spectrum.power(frames), spectrum.delta_f, min(_ABOVE, rate / 8), rate / 2))
    loud = level > np.median(level) + _LOUD
    edges = np.diff(np.concatenate(([False], loud, [False])).astype(np.int8))
    begins, ends = np.flatnonzero(edges == 1).tolist(), np.flatnonzero(edges == -1).tolist()
    fell = [each for begin, end in zip(begins, ends, strict=True) if (each := _fell(level, loud, begin, end))]
    return OwnGain(len(fell), max(each.fell for each in fell)) if fell else None


def _fell(level: Array32, loud: NDArray[np.bool_], begin: int, end: int) -> OwnGain | None:
    """Return how much softer the quiet is after one loud sound, if there is quiet enough."""
    before = _quiet(level, loud, max(0, begin - round(_BEFORE / _FRAME)), begin)
    after = _quiet(level, loud, end, end + round(_AFTER / _FRAME))
    if len(before) < _LEAST or len(after) < _LEAST:
        return None
    each = np.lib.stride_tricks.sliding_window_view(after, round(_AT_A_TIME / _FRAME))
    return OwnGain(1, float(np.median(before) - np.median(each, axis=1).min()))


def _quiet(level: Array32, loud: NDArray[np.bool_], first: int, beyond: int) -> Array32:
    return level[first:beyond][~loud[first:beyond]]


def _spindle(samples: Array32, rate: int, bit: Bit, speed: float) -> Spindle | None:
    """Return what is heard of the spindle, the median over the second half of what was heard."""
    ear = ear_for(rate, bit, window_size(rate, 60.0 / speed))
    windows = Windows(ear.size, ear.hop).feed(samples[-_LOOKED_AT * rate :])
    if not len(windows):
        return None
    rows = FeatureReader(ear).read(windows)
    # What is smoothed needs a while to settle.
    late = slice(len(rows) // 2, None)
    if float(np.median(rows.prominence[late])) < PresenceRules().comb_on:
        return None
    noise, teeth = (10.0 ** (levels[late] / 10.0) for levels in (rows.noise, rows.tooth))
    return Spindle(
        speed=60.0 * float(np.median(rows.speed[late])),
        line=float(np.median(rows.spindle[late])),
        teeth=float(np.median(decibels(1.0 + teeth / noise))),
    )
