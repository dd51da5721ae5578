"""What normal is: learned from the first seconds of a cut, or refused; then frozen."""

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from analysis.features import Rows, relative
from analysis.robust import middle, robust_scale
from analysis.spectrum import decibels

Array64 = NDArray[np.float64]

# The channels that are compared. ``pattern`` is how far the lines have moved against one another, and
# ``colour`` how much of it some bands have lost; the others are features of the same name.
CHANNELS = ("spindle", "between", "half", "modulation", "level", "pattern", "colour")

# No cut is steadier than this, dB, however steady its first seconds happened to be.
LEAST_SCALE = np.array([1.0, 1.0, 1.0, 1.0, 1.0, 0.5, 0.5])

# A line's change counts up to this, dB: one line alone cannot move the pattern far.
_MOST_CHANGE = 15.0

# A line this far above the noise, dB, is heard plainly.
_PLAIN_TO_HEAR = 3.0

# Nine in ten of normal values are below their mean and this many standard deviations.
_NINE_IN_TEN = 1.2816

# A level that scatters more than this, dB, is no cut that anything can be compared with.
_STEADY = 6.0


@dataclass(frozen=True, eq=False)
class Baseline:
    """
    A frozen normal.

    Attributes
    ----------
    rows
        From how many rows it was learned.
    centre, scale
        Of each channel, dB, shape (len(CHANNELS),).
    normal
        The sound itself, the median of each of its numbers.
    """

    rows: int
    centre: Array64
    scale: Array64
    normal: "Sample"

    def error(self, correlation: float) -> Array64:
        """
        Return how far each centre may be off, dB, one standard error.

        A median knows as much as a mean of 64 % of the rows, and rows that resemble their neighbours
        count for fewer.
        """
        known = 0.64 * self.rows * (1.0 - correlation) / (1.0 + correlation)
        error: Array64 = self.scale / np.sqrt(known)
        return error


@dataclass(frozen=True)
class Unfit:
    """Why no baseline was learned."""

    because: str


@dataclass(frozen=True, eq=False)
class Sample:
    """
    One row, as the baseline sees it.

    Attributes
    ----------
    plain
        Spindle, between, half, modulation and level, dB.
    lines, floors
        Level of each whole order and of the noise about it, dBFS, shape (m,).
    colour
        Level in each third-octave band, dBFS, shape (b,).
    teeth
        Level of the tooth-pass harmonics, dBFS.
    speed
        Spindle frequency heard, Hz.
    """

    plain: Array64
    lines: Array64
    floors: Array64
    colour: Array64
    teeth: float
    speed: float

    @property
    def level(self) -> float:
        """Level of the whole sound, dBFS."""
        return float(self.plain[4])


def sample(rows: Rows, index: int, groups: NDArray[np.float32]) -> Sample:
    """Return row ``index`` as a sample, with the power of its groups of lines, shape (5,), as given."""
    plain = (*relative(groups), rows.modulation[index], rows.level[index])
    return Sample(
        np.array(plain, dtype=np.float64),
        rows.lines[index].astype(np.float64),
        rows.floors[index].astype(np.float64),
        rows.colour[index].astype(np.float64),
        float(decibels(groups[0])),
        float(rows.speed[index]),
    )


def _moved(change: Array64) -> float:
    """Return how far values moved against one another, dB: the mean change that is not common to all."""
    if not len(change):
        return 0.0
    return float(np.minimum(np.abs(change - middle(change)), _MOST_CHANGE).mean())


def _pattern(sample: Sample, normal: Sample) -> float:
    """Return how far the lines moved against one another, dB; a line that noise hides has not moved."""
    noise = np.maximum(sample.floors, normal.floors)
    now, before = np.maximum(sample.lines, noise), np.maximum(normal.lines, noise)
    plain = np.maximum(now, before) > noise + _PLAIN_TO_HEAR
    return _moved((now - before)[plain]) * float(plain.mean())


def _faded(sample: Sample, normal: Sample) -> float:
    """
    Return how much colour the sound has lost, dB, twice the mean fall over all bands.

    Whatever the shop switches on can only raise a band, so only a fall is the machine's own. A fall that
    all bands share is a lighter cut.
    """
    change = sample.colour - normal.colour
    change = change - min(middle(change), 0.0)
    return 2.0 * float(np.clip(-change, 0.0, _MOST_CHANGE).mean())


def channels(sample: Sample, normal: Sample) -> Array64:
    """Return the channels of ``sample`` against what is normal, dB, shape (len(CHANNELS),)."""
    return np.append(sample.plain, (_pattern(sample, normal), _faded(sample, normal)))


def learn(heard: list[Sample]) -> Baseline | Unfit:
    """
    Return the baseline of ``heard``, or why it is not fit to be one.

    Centres are medians and scales come from the median absolute deviation, so that a knock or a voice
    in these seconds does not become part of what is normal.
    """
    scatter = robust_scale(np.array([sample.level for sample in heard]))
    if scatter > _STEADY:
        return Unfit(f"the level scatters by {scatter:.0f} dB: this is no steady cut")
    normal = Sample(
        *(np.median([getattr(sample, field.name) for sample in heard], axis=0) for field in fields(Sample))
    )
    table = np.stack([channels(sample, normal) for sample in heard])
    # A line that is mostly absent has no median deviation, but it comes up now and then.
    upward = (np.quantile(table, 0.9, axis=0) - np.median(table, axis=0)) / _NINE_IN_TEN
    scale = np.maximum(robust_scale(table), upward)
    return Baseline(
        rows=len(heard),
        centre=np.median(table, axis=0),
        scale=np.maximum(scale, LEAST_SCALE),
        normal=normal,
    )
