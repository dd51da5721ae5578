"""
What air and cut sound like, learned on the way: each place that is thought possible has an idea of its own.

The level of the air and that of a usual cut are a Kalman filter's state in every cell, with their
covariance, and move along with the probability. The sound of a cut adds to that of the air: what is
switched on in the shop raises the air.
"""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.which_bit import BITES

Floats = NDArray[np.floating[Any]]

AIR, CUT, AIR_VAR, BOTH, CUT_VAR, AMAZED, STILL, STILL_VAR, CONTRARY, REST, OTHER = range(11)
"""
Rows of the state: level of air and cut, dB, their variances and covariance, dB²; how odd the last second was;
level while the spindle stands, dB, and its variance; for how long the spindle was heard otherwise, s; what
the last level was above what was foreseen, dB; for how long another bit was heard, s.
"""
ROWS = 11
_VARIANCES = slice(AIR_VAR, CUT_VAR + 1, CUT_VAR - AIR_VAR)

# Before anything was heard: the air, dBFS, how much louder a usual cut, and how sure that is, dB.
_AIR, _AIR_SD, _LOUDER, _LOUDER_SD = -45.0, 20.0, 9.0, 6.0
# How much louder the air is than a spindle that stands, and how sure that is, dB.
_TURNING, _TURNING_SD = 20.0, 8.0
# A variance, dB², from which on nothing is known.
_UNHEARD, _NOTHING = 200.0, 1e4
# Variances, dB², up to which the levels of the air, and of a spindle that stands, are known.
_KNOWN, _KNOWN_STILL = 6.0, 10.0
# From so many dB by which a spindle that turns is louder, a sound that is not louder by this share of it is
# hardly of one that turns: how likely in a step.
_PLAIN, _SHARE, _SILENT = 5.0, 0.25, 0.5
# A usual cut is at least this much below the air, dB: it adds 2 dB to it.
_HEARABLE = 2.0
# How likely a spindle that stands is quieter than it was, or is covered by the shop, to within so many dB.
_QUIETER, _COVERED, _COVERS = 0.1, 0.01, 3.0
# How likely something else in the shop just stopped.
_STOPPED = 0.03
# With another bit.
_OTHER_SD = 5.0
# How much air, and cuts of one rate, differ among themselves, dB.
_AIRS, _CUTS = 1.0, 3.0
# How much of what a row was too loud the next one is as well.
_KEEPS = 0.9
# How fast both may change, dB² a second.
_DRIFT = 0.15
# Rows overlap, and a cut differs from the plan for longer than a row.
INDEPENDENT = 0.4
_ALONE = 0.3
_TAILS = 4.0
# How likely the spindle is misheard; for how long that tells anything, and after how long it does again, s.
_MISHEARD, _PATIENT, _AGAIN = 0.2, 1.0, 10.0
# Powers and dB: the natural logarithm of a ratio of powers for a dB; how much a cut adds to the air, and an
# air to a cut, at the most, dB.
_NEPERS, _FARTHEST = math.log(10.0) / 10.0, 60.0
# dB by which another bit stands out that say all there is to say; what that is worth, nats a second, and for
# how long it tells anything, s.
_UNLIKE, _OTHER_BIT, _BIT_PATIENT = 1.5, 2.0, 20.0
# What twice the swell that the air hardly ever has says against a hold of the feed, nats a second.
_HELD = 3.0
# dB over which what cannot be foreseen is spread.
_ANYTHING = 25.0
# Share of odd rows in the last second or so from which on something in the shop has changed, its size, dB,
# and how many seconds count.
_ODD, _CHANGE, _MEMORY = 0.6, 10.0, 0.8
# How likely such a change is where it would have to be; while the feed is held it is no likelier. And how
# likely a cut has become as quiet as the air is known to be, to within so many dB, where all else was
# foreseen.
_RARELY, HARDLY = 0.05, 1e-4
_QUIET, _AS_AIR = 1e-6, 2.0


def unheard(cells: int) -> Floats:
    """Return the state of so many cells before anything was heard, shape (ROWS, cells)."""
    state = np.empty((ROWS, cells))
    air, louder = _AIR_SD**2, _LOUDER_SD**2
    still = _AIR - _TURNING, _NOTHING
    state[:] = np.array([_AIR, _AIR + _LOUDER, air, air, air + louder, 0.0, *still, 0.0, 0.0, 0.0])[
        :, np.newaxis
    ]
    return state


def other_bit(state: Floats, where: NDArray[np.bool_]) -> None:
    """Forget, in place, how loud the bit is in cells where another may be put in."""
    still, air, known = state[STILL, where], state[AIR, where], state[AIR_VAR, where]
    unheard = (known > _UNHEARD) & (state[STILL_VAR, where] < _UNHEARD)
    air = np.where(unheard, still + _TURNING, air)
    known = np.where(unheard, _TURNING_SD**2, np.maximum(known, _OTHER_SD**2))
    state[AIR, where] = air
    state[CUT, where] = air + _LOUDER
    state[AIR_VAR, where] = state[BOTH, where] = known
    state[CUT_VAR, where] = known + _LOUDER_SD**2


def afresh(state: Floats, cells: int, level: float) -> Floats:
    """Return the state of so many cells of which only a level just heard and the shop are known."""
    new = unheard(cells)
    new[AIR] = level - 0.5 * _LOUDER
    new[CUT] = new[AIR] + _LOUDER
    new[AIR_VAR] = new[BOTH] = _LOUDER_SD**2
    new[CUT_VAR] = 2.0 * _LOUDER_SD**2
    new[STILL], new[STILL_VAR] = float(np.median(state[STILL])), _OTHER_SD**2
    return new


@dataclass(frozen=True)
class Heard:
    """
    What was heard in a step.

    Attributes
    ----------
    level
        dBFS.
    scatter
        How much levels differ from step to step, dB.
    seconds
        Since the last step.
    sure
        Whether what is heard is mostly foreseen well.
    """

    level: float
    scatter: float
    seconds: float
    sure: bool = True


def hear(state: Floats, extra: Floats, begins: NDArray[np.bool_], now: Heard) -> Floats:
    """
    Learn from a level, in place, and return how well each cell had foreseen it.

    Parameters
    ----------
    state
        (ROWS, n).
    extra
        (n,) dB by which a cut in each cell is louder than a usual one; NaN in air.
    begins
        (n,) whether a move has just begun: what the last one was louder than foreseen tells little.
    now
        What was heard.

    Returns
    -------
    array of float, shape (n,)
        Density of the level, with an allowance for what nobody can foresee.
    """
    state[_VARIANCES] += _DRIFT * now.seconds
    cuts = ~np.isnan(extra)
    louder = np.where(cuts, state[CUT] + extra - state[AIR], -_FARTHEST)
    more = np.exp(_within(louder, -_FARTHEST, _FARTHEST) * _NEPERS)
    part = more / (1.0 + more)  # the cut's share of the power
    foreseen = state[AIR] + np.log1p(more) * (1.0 / _NEPERS)
    rest = 1.0 - part
    differ = np.where(cuts, _CUTS, _AIRS)
    # How the level goes with air and cut: the covariance's two lines.
    to_both = rest * state[AIR_VAR:CUT_VAR] + part * state[BOTH : CUT_VAR + 1]
    doubt = rest * to_both[0] + part * to_both[1]
    off = now.level - foreseen
    spread = doubt + now.scatter**2
    odd = (off - _KEEPS * state[REST]) ** 2 / spread
    fits = _density(odd, spread)
    # A new cut may differ from the last by more, or by nothing.
    anew, squared, varies = begins & cuts, off**2, differ**2
    if anew.any():
        other = spread + varies
        oddly = squared / other
        fits = np.where(anew, 0.5 * (fits + _density(oddly, other)), fits)
        odd = np.where(anew, oddly, odd)
    state[REST] = _within(off, -differ, differ)
    quiet = now.sure & cuts & (state[AIR_VAR] < _KNOWN) & (np.abs(now.level - state[AIR]) < _AS_AIR)
    trust = (_TAILS + 1.0) / (_TAILS + squared / (varies + doubt))
    _learn(state, off, to_both, trust / (varies / _ALONE + doubt))
    changed = _wonder(state, odd, rest, now.seconds)
    if not changed.any():
        return fits
    return np.where(changed, np.where(quiet, _QUIET, _RARELY) * fits, fits)


def in_air(state: Floats, now: Heard) -> Floats:
    """Return how well each cell had foreseen a level if nothing was cut there, shape (n,)."""
    spread = now.scatter**2 + state[AIR_VAR]
    rest = _within(state[REST], -_AIRS, _AIRS)
    return _density((now.level - state[AIR] - _KEEPS * rest) ** 2 / spread, spread)


def hear_still(state: Floats, begun: NDArray[np.bool_], now: Heard) -> Floats:
    """
    Learn, in place, from a level while the spindle stands; return how well it was foreseen.

    As loud as when it last stood; or quieter, for it takes time to stop; or as loud as the air, where
    something in the shop covers the spindle. Where the program has not ``begun``, shape (n,), nothing stops.
    """
    state[STILL_VAR] += _DRIFT * now.seconds
    unheard = state[STILL_VAR] > _UNHEARD
    mean = np.where(unheard, state[AIR] - _TURNING, state[STILL])
    doubt = np.where(unheard, _TURNING_SD**2 + state[AIR_VAR], state[STILL_VAR])
    off = now.level - mean
    spread = now.scatter**2 + doubt
    odd = (off - _KEEPS * state[REST]) ** 2 / spread
    usual = _density(odd, spread)
    covered = _density((now.level - state[AIR]) ** 2 / _COVERS**2, np.full_like(odd, _COVERS**2))
    quieter = np.where(begun, _QUIETER, _STOPPED)
    other = np.maximum(quieter * (off < 0.0) / _ANYTHING, _COVERED * covered)
    state[REST] = _within(off, -_AIRS, _AIRS)
    gain = doubt / (_AIRS**2 / _ALONE + doubt) * (_TAILS + 1.0) / (_TAILS + odd)
    anew = other > usual
    state[STILL] = np.where(anew, now.level, mean + gain * off)
    left = np.maximum(doubt * (1.0 - np.minimum(gain, 1.0)), 0.05)
    state[STILL_VAR] = np.where(anew, _AIRS**2, left)
    return np.asarray(np.maximum(usual, other))


def knows_air(state: Floats) -> NDArray[np.bool_]:
    """Return which cells know how loud the air and a spindle that stands are, shape (n,)."""
    return np.asarray((state[AIR_VAR] < _KNOWN) & (state[STILL_VAR] < _KNOWN_STILL))


def hear_silence(state: Floats, turns: NDArray[np.bool_], level: float, louder: float) -> Floats:
    """
    Return how well it was foreseen that a level is hardly that of a spindle that turns, shape (n,).

    Parameters
    ----------
    state
        (ROWS, n).
    turns
        (n,) where it turns.
    level
        dBFS.
    louder
        By how many dB the air was louder than a spindle that stands, where both were heard.
    """
    fits = np.ones(len(turns))
    if louder > _PLAIN:
        quiet = (state[STILL_VAR] < _KNOWN_STILL) & (level < state[STILL] + _SHARE * louder)
        fits[turns & quiet] = _SILENT
    return fits


def hear_turning(state: Floats, wrong: NDArray[np.bool_], seconds: float) -> Floats:
    """
    Return how well it was foreseen that the spindle is heard to turn, or not.

    Parameters
    ----------
    state
        (ROWS, n), changed in place: who is misheard once is misheard for long, and that tells nothing new.
    wrong
        (n,) where it should be heard otherwise.
    seconds
        Since the last time.
    """
    fits, contrary = np.ones(len(wrong)), state[CONTRARY]
    long = contrary[wrong]
    contrary *= math.exp(-seconds / _AGAIN)
    if len(long):
        contrary[wrong] = long + seconds
        fits[wrong] = (_MISHEARD / (1.0 - _MISHEARD)) ** (INDEPENDENT * np.exp(-long / _PATIENT))
    return fits


def hear_bit(state: Floats, unlike: Floats, bites: Floats, seconds: float) -> Floats:
    """
    Return how well it was foreseen which bit is heard, and whether it cuts.

    Parameters
    ----------
    state
        (ROWS, n), changed in place: what is mistaken once is mistaken for long, and that tells nothing new.
    unlike
        (n,) dB by which another bit is heard rather than a cell's, at least 0.
    bites
        (n,) dB by which the hiss swells with some bit's teeth where nothing should be cut; 0 elsewhere.
    seconds
        Since the last time.
    """
    odd = np.minimum(unlike / _UNLIKE, 1.0) + _within(bites / BITES - 1.0, 0.0, 1.0)
    worth = _OTHER_BIT * seconds * np.exp(-state[OTHER] / _BIT_PATIENT)
    again = math.exp(-seconds / _AGAIN)
    state[OTHER] = np.where(odd > 0.0, state[OTHER] + odd * seconds, state[OTHER] * again)
    return np.asarray(np.exp(-worth * odd))


def hear_bites(bites: float, seconds: float) -> float:
    """Return how well it was foreseen that the hiss swells with the teeth, dB, while the feed is held."""
    return math.exp(-_HELD * seconds * min(max(bites / BITES - 1.0, 0.0), 1.0))


def _within(values: Floats, least: Floats | float, most: Floats | float) -> Floats:
    """Return values kept within bounds; `numpy.clip` takes several times as long for so few."""
    return np.minimum(np.maximum(values, least), most)


def _density(odd: Floats, spread: Floats) -> Floats:
    # Student's t of 4 degrees of freedom: a square root takes far less time than a power of -2.5.
    far = 1.0 + odd / _TAILS
    inside = (0.98 * 0.375) / (np.sqrt(spread * far) * far**2)
    return np.asarray(inside + 0.02 / _ANYTHING)


def _learn(state: Floats, off: Floats, to_both: Floats, gain: Floats) -> None:
    gains = gain * to_both
    state[AIR : CUT + 1] += gains * off
    state[AIR_VAR:CUT_VAR] -= gains[0] * to_both
    state[CUT_VAR] -= gains[1] * to_both[1]
    np.maximum(state[_VARIANCES], 0.05, out=state[_VARIANCES])
    limit = 0.98 * np.sqrt(state[AIR_VAR] * state[CUT_VAR])
    state[BOTH] = _within(state[BOTH], -limit, limit)
    # A spindle that turns is no quieter than one that stands.
    known = state[STILL_VAR] < _UNHEARD
    np.maximum(state[AIR], state[STILL] - _AIRS, out=state[AIR], where=known)
    # A cut that cannot be heard would explain every sound as air.
    np.maximum(state[CUT], state[AIR] - _HEARABLE, out=state[CUT])


def _wonder(state: Floats, odd: Floats, rest: Floats, seconds: float) -> NDArray[np.bool_]:
    """Return where something in the shop must have changed: row after row is not what was foreseen."""
    keep = math.exp(-seconds / _MEMORY)
    state[AMAZED] = keep * state[AMAZED] + (1.0 - keep) * (odd > 8.0)
    changed = state[AMAZED] > _ODD
    if changed.any():
        state[AIR_VAR] += np.where(changed, _CHANGE**2 * rest, 0.0)
        state[CUT_VAR] += np.where(changed, _CHANGE**2 * (1.0 - rest), 0.0)
        state[STILL_VAR] = np.where(changed, _NOTHING, state[STILL_VAR])
        state[AMAZED] = np.where(changed, 0.0, state[AMAZED])
    return np.asarray(changed)


def unforeseeable() -> float:
    """Return the density of a level where nothing can be foreseen."""
    return 1.0 / _ANYTHING


def free(off: float, scatter: float) -> float:
    """Return the density of a level ``off`` dB from the last one for somebody without a program."""
    return float(_density(np.array((off / scatter) ** 2), np.array(scatter**2)))


def as_sure_as_can_be(seconds: float) -> float:
    """
    Return how far off the level of a cut that was heard for long may be, dB, in steps of so many seconds.

    There what the drift adds to its variance is what a step's level takes off it.
    """
    return float((_DRIFT * seconds * _CUTS**2 / _ALONE) ** 0.25)
