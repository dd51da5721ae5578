"""What normal is: learned from the first seconds of a cut, or refused; then frozen."""

from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.air import Telling
from analysis.change import independent_share
from analysis.features import Rows, standing
from analysis.robust import middle, robust_scale

Array64 = NDArray[np.float64]

# The channels that are compared: five that a bit which runs out of true changes, and ``colour``, how much of
# it some bands have lost, where others have gained.
CHANNELS = ("spindle", "between", "half", "modulation", "rocking", "colour")
SIGNS = len(CHANNELS) - 1

# A tight bit has as much in its channels now and then, dB: a rise to this is no sign.
TRUE_ENOUGH = np.array([2.0, -1.0, -1.0, -12.0, -22.0])

# Channels scatter by at least and at most this, dB, however the first seconds happened to be.
_LEAST_SCALE = np.array([4.0, 2.5, 2.5, 2.5, 2.0, 0.5])
_MOST_SCALE = np.array([8.0, 5.0, 5.0, 5.0, 5.0, 2.0])

# A band's change counts up to this, dB.
_MOST_CHANGE = 15.0

# What some bands have lost counts up to so many times what others have gained beyond so many dB, which chance
# gives them in a row. Judgements, by real joins and by shop machines that stop in development runs.
_GAINED, _CHANCE = 3.0, 1.0

# Nine in ten of normal values are below their mean and this many standard deviations.
_NINE_IN_TEN = 1.2816

# A level that scatters more than this, dB, is no cut that anything can be compared with.
_STEADY = 6.0

# Tooth-pass that lies lower than this beside all the sound, dB, is not heard.
_LOWEST = 35.0


@dataclass(frozen=True, eq=False)
class Baseline:
    """
    A frozen normal.

    Attributes
    ----------
    rows
        From how many rows it was learned.
    normal
        The sound itself, the median of each of its numbers.
    centre, scale
        Of each channel, dB, shape (len(CHANNELS),): how far it is from normal at the median, and how much it
        scatters.
    """

    rows: int
    normal: "Sample"
    centre: Array64
    scale: Array64

    def error(self, correlation: float) -> Array64:
        """
        Return how far each centre may be off, dB, one standard error.

        A median knows as much as a mean of 64 % of the rows, and rows that resemble their neighbours
        count for fewer.
        """
        known = 0.64 * self.rows * independent_share(correlation)
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
        Spindle, between, half, modulation and rocking, dB, shape (SIGNS,).
    colour
        Level in each third-octave band, dBFS, shape (b,).
    level, hiss
        Of the whole sound and of the band in which the cut hisses, dBFS.
    noise
        Of the noise about the lines that tell, dBFS.
    own
        Share of the hiss that is the cut's own.
    foreign
        Tones where nothing that turns with the spindle sounds, dB above noise.
    teeth
        Level of the tooth-pass harmonics, dBFS.
    speed
        Spindle frequency heard, Hz.
    single
        Whether the bit has a single flute: all its whole orders are a tooth's, and its hiss swells once per
        turn anyway.
    """

    plain: Array64
    colour: Array64
    level: float
    hiss: float
    noise: float
    own: float
    foreign: float
    teeth: float
    speed: float
    single: bool = False

    @property
    def tooth_pass(self) -> float:
        """Level of the tooth-pass harmonics, dBFS, no lower than can be heard beside all the sound."""
        return max(self.teeth, self.level - _LOWEST)


def sample(rows: Rows, index: int, heard: Telling, lines: int) -> Sample:
    """Return row ``index`` as a sample; of what tells in it, ``lines`` are whole orders."""
    plain = heard.signs
    if plain is None:
        plain = np.concatenate((standing(heard.lines, heard.noise, lines), heard.swell), dtype=np.float64)
    return Sample(
        plain=plain,
        colour=rows.colour[index].astype(np.float64),
        level=float(rows.level[index]),
        hiss=float(rows.hiss[index]),
        noise=float(rows.about[index]),
        own=heard.own,
        foreign=float(rows.foreign[index]),
        teeth=float(rows.tooth[index]),
        speed=float(rows.speed[index]),
        single=lines == 0,
    )


def _faded(sample: Sample, normal: Sample) -> float:
    """
    Return how much colour the sound has lost, dB, twice the mean fall over all bands.

    Whatever the shop switches on can only raise bands, and what it switches off can only lower them: so a
    fall is the machine's own only where other bands have risen. What all bands share is another load.
    """
    # A list: numpy takes longer to begin than so few values to go through.
    change: list[float] = (sample.colour - normal.colour).tolist()
    shared = middle(change)
    low, high = min(shared, 0.0), max(shared, 0.0) + _CHANCE
    lost = sum(min(low - each, _MOST_CHANGE) for each in change if each < low)
    gained = sum(min(each - high, _MOST_CHANGE) for each in change if each > high)
    return 2.0 * min(lost, _GAINED * gained) / len(change)


def channels(sample: Sample, normal: Sample) -> Array64:
    """
    Return how far each channel of ``sample`` is from normal, dB, shape (len(CHANNELS),).

    Where a tight bit is surely heard, below ``TRUE_ENOUGH``, what is normal counts as that.
    """
    normally = np.maximum(normal.plain, TRUE_ENOUGH)
    found = np.empty(len(CHANNELS))
    np.subtract(sample.plain, normally, out=found[:SIGNS])
    found[SIGNS] = _faded(sample, normal)
    return found


def learn(heard: list[Sample]) -> Baseline | Unfit:
    """
    Return the baseline of ``heard``, or why it is not fit to be one.

    Centres are medians and scales come from the median absolute deviation, so that a knock or a voice
    in these seconds does not become part of what is normal.
    """
    scatter = robust_scale(np.array([sample.level for sample in heard]))
    if scatter > _STEADY:
        return Unfit(f"the level scatters by {scatter:.0f} dB: this is no steady cut")
    normal = Sample(**{field.name: _median(heard, field.name) for field in fields(Sample)})
    table = np.array([channels(sample, normal) for sample in heard])
    # How much a sign scatters where a tight bit is surely heard does not matter: that is chance.
    table[:, :SIGNS] = np.maximum(table[:, :SIGNS], np.minimum(TRUE_ENOUGH - normal.plain, 0.0))
    centre = np.median(table, axis=0)
    # What is mostly absent has no median deviation, but it comes up now and then.
    upward = (np.quantile(table, 0.9, axis=0) - centre) / _NINE_IN_TEN
    scale = np.maximum(robust_scale(table), upward)
    return Baseline(len(heard), normal, centre, np.clip(scale, _LEAST_SCALE, _MOST_SCALE))


def _median(heard: list[Sample], name: str) -> Any:  # noqa: ANN401 - a number or an array, as the field is
    middle = np.median([getattr(sample, name) for sample in heard], axis=0)
    return middle if middle.ndim else float(middle)
