"""
How a bit sounds when it is tight, and whether a fresh baseline is like that.

A baseline of the first seconds calls normal whatever it heard: also a bit that was never tightened. Only
the memory of other cuts, or physics, can tell. Two normals are compared as a whole, by the logarithm of how
much likelier their difference is with a bit that has come loose than with a tight one (Wald, Annals of
Mathematical Statistics 16 (1945) 117-186). How much the signs of a tight bit differ from cut to cut is
learned from the cuts themselves, starting from a judgement: a few cuts tell little of it.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np

from analysis.baseline import CHANNELS, SIGNS, TRUE_ENOUGH, Array64, Baseline, Sample
from analysis.causes import evidence
from analysis.events import Tightness
from analysis.evidence import SINGLE, SOUGHT

# What a tight bit's signs differ from cut to cut, dB, before any cut told, and as many cuts as that is worth.
_USUAL = np.array([2.5, 1.5, 1.5, 2.5, 2.0])
_WORTH = 3.0

# A slip that matters moves the signs by so much of what the watcher seeks; no sign counts for more nats than
# these, against a slip and for one. Half orders and rocking tell most, for a slip need not show in runout.
_SHARE = 0.8
_LEAST, _MOST = np.array([-1.0, -1.0, -3.0, -1.0, -3.0]), np.array([3.0, 3.0, 4.5, 3.0, 4.5])

# How sure a verdict must be: one in twenty may be wrong where the model is right.
SURE = math.log(20.0)

# A microphone, or its place, changes the colour of so many neighbouring bands alike; from so many dB on, root
# mean square, that is more than another job or the shop does. Nearby places differ by less.
_BROAD, _ELSEWHERE = 5, 5.0

# A spindle whose speed differs by more than this share is another bit's, or misheard: a dial is not set twice
# to quite the same.
_LIKE_SPEED = 0.04

# A bit that is clamped anew runs out of true anew, aside by two independent normal parts. The square of that
# is an exponential variable, whose logarithm has a variance of pi²/6 (a Gumbel variable's): 5.57 dB, and two
# of them differ by 1.41 times as much. That one is r times the other or more has the probability 1 / (1 + r):
# what comes less often than once in twenty times is no chance.
_RUNS_OUT = np.array([True, True, False, True, False])
_CLAMPED = 10.0 / math.log(10.0) * math.pi / math.sqrt(6.0) * math.sqrt(2.0)
_BY_CHANCE = 10.0 * math.log10(1.0 / 0.05 - 1.0)
_SITS_OTHERWISE = "it runs out of true more than before, but does not rock: was the collet clean?"

_LITTLE = "no sign of a loose bit is plainly stronger, and none is plainly as with the bit tight"

# What physics does not allow a tight bit: its half orders and the swell of every second turn are next to
# nothing; all else can be anything, since every bit runs out a little.
_UNTIGHT = {
    "half": "half orders stand {size:.0f} dB above the most that a tight bit has",
    "rocking": "the hiss of the cut swells every second revolution, {size:.0f} dB more than with a tight bit",
}
_PHYSICAL = np.array([name in _UNTIGHT for name in CHANNELS[:SIGNS]])


@dataclass(frozen=True, eq=False)
class Known:
    """
    How one kind of cut sounds with a tight bit.

    Attributes
    ----------
    baseline
        Of all these cuts together.
    spread
        How much each sign differs from cut to cut, dB, one standard deviation, shape (SIGNS,).
    runs
        How many cuts that is known from.
    """

    baseline: Baseline
    spread: Array64
    runs: int

    @classmethod
    def of(cls, heard: Sequence[Baseline]) -> "Known":
        """
        Return what is known from the baselines of some cuts.

        Raises
        ------
        ValueError
            When there are none.
        """
        if not heard:
            raise ValueError("a reference needs one cut at least")
        signs = np.array([np.maximum(each.normal.plain, TRUE_ENOUGH) for each in heard])
        squares = ((signs - signs.mean(axis=0)) ** 2).sum(axis=0)
        spread = np.sqrt((_WORTH * _USUAL**2 + squares) / (_WORTH + len(heard) - 1))
        normal = Sample(**{field.name: _middle(heard, field.name) for field in fields(Sample)})
        centre = np.median([each.centre for each in heard], axis=0)
        scale = np.median([each.scale for each in heard], axis=0)
        return cls(Baseline(sum(each.rows for each in heard), normal, centre, scale), spread, len(heard))


@dataclass(frozen=True, eq=False)
class Reference:
    """
    How a bit sounds when it is tight.

    Attributes
    ----------
    kinds
        What is known of each kind of cut.
    """

    kinds: Mapping[str, Known]

    @classmethod
    def of(cls, runs: Sequence[Mapping[str, Baseline]]) -> "Reference":
        """Return the reference from the baselines, by kind of cut, of each run that was accepted."""
        kinds = sorted({kind for run in runs for kind in run})
        return cls({kind: Known.of([run[kind] for run in runs if kind in run]) for kind in kinds})

    @property
    def alike(self) -> float:
        """How much signs differ from cut to cut, dB: the root mean square over all signs and kinds."""
        return float(np.sqrt(np.mean([known.spread**2 for known in self.kinds.values()])))


@dataclass(frozen=True)
class Finding:
    """
    What a comparison of two normals says.

    Attributes
    ----------
    verdict
        ``tight``, ``doubtful`` or ``loose``.
    nats
        How much likelier a loose bit is than a tight one, the logarithm.
    because
        The evidence, a sentence each.
    """

    verdict: Tightness
    nats: float
    because: tuple[str, ...]


def compare(fresh: Baseline, known: Known, correlation: float, *, clamped_anew: bool = False) -> Finding:
    """
    Return whether ``fresh`` sounds like a tight bit.

    Another microphone, or another place of it, changes the colour and hardly the signs: it is said, and
    speaks for nothing. A bit that was ``clamped_anew`` since is not loose by its runout alone.

    Parameters
    ----------
    fresh
        The baseline of a cut's first seconds.
    known
        How that kind of cut sounds with the bit tight.
    correlation
        Of a row with the one before.
    """
    sign_counts = SINGLE if fresh.normal.single else np.ones(SIGNS)
    rise, variance = _rise(fresh, known.baseline), _variance(fresh, known, correlation)
    found = _judge(rise, variance, sign_counts, fresh)
    if clamped_anew and found.verdict != "tight":
        anew = _judge(rise, variance + _RUNS_OUT * _CLAMPED**2, sign_counts, fresh)
        found = _as_clamped(found, anew, by_chance=bool((rise[_RUNS_OUT] <= _BY_CHANCE).all()))
    found = replace(found, because=(*found.because, *_elsewhere(fresh, known.baseline)))
    if found.verdict == "tight" or turns_alike(fresh.normal, known.baseline.normal):
        return found
    heard, usual = 60.0 * fresh.normal.speed, 60.0 * known.baseline.normal.speed
    why = f"it turns at {heard:.0f} rpm, not at {usual:.0f}: is it another bit, or another machine?"
    return replace(found, verdict="doubtful", because=(*found.because, why))


def _as_clamped(found: Finding, anew: Finding, *, by_chance: bool) -> Finding:
    """Return what was found of a bit, and what is left of it where runout may have come ``by_chance``."""
    if anew.verdict == "tight" and by_chance:
        return Finding("tight", anew.nats, (_SITS_OTHERWISE, *found.because))
    return found if anew.verdict == "loose" else replace(found, verdict="doubtful")


def turns_alike(sample: Sample, other: Sample, within: float = _LIKE_SPEED) -> bool:
    """Return whether two sounds turn as fast, ``within`` this share, so that they may be of one bit."""
    return abs(sample.speed - other.speed) <= within * other.speed


def doubt(fresh: Baseline, correlation: float) -> Finding:
    """Return what physics alone says of ``fresh``: it may doubt that the bit is tight, and no more."""
    allowed = np.maximum(fresh.normal.plain, TRUE_ENOUGH) - TRUE_ENOUGH
    variance = _USUAL**2 + fresh.error(correlation)[:SIGNS] ** 2
    found = _judge(allowed, variance, _PHYSICAL.astype(np.float64), fresh)
    if found.verdict != "loose":
        return Finding("tight", found.nats, ("there is nothing that a tight bit cannot have",))
    return Finding("doubtful", found.nats, evidence(np.append(allowed, 0.0), _UNTIGHT))


def _elsewhere(fresh: Baseline, known: Baseline) -> tuple[str, ...]:
    """Return that the microphone is another one, or elsewhere, when the colour plainly is another."""
    bands = min(len(fresh.normal.colour), len(known.normal.colour))
    change = fresh.normal.colour[:bands] - known.normal.colour[:bands]
    padded = np.pad(change - np.median(change), _BROAD // 2, mode="edge")
    broad = np.convolve(padded, np.full(_BROAD, 1.0 / _BROAD), mode="valid")
    differs = float(np.sqrt(np.mean(broad**2)))
    if differs < _ELSEWHERE:
        return ()
    return (f"the colour is another by {differs:.0f} dB: is it another microphone, or has it been moved?",)


def _rise(fresh: Baseline, known: Baseline) -> Array64:
    """Return by how much each sign is above what is known; below what a tight bit may have all is alike."""
    rise: Array64 = np.maximum(fresh.normal.plain, TRUE_ENOUGH) - np.maximum(known.normal.plain, TRUE_ENOUGH)
    return rise


def _variance(fresh: Baseline, known: Known, correlation: float) -> Array64:
    errors = fresh.error(correlation)[:SIGNS] ** 2 + known.baseline.error(correlation)[:SIGNS] ** 2
    variance: Array64 = known.spread**2 + errors
    return variance


def _judge(rise: Array64, variance: Array64, counts: Array64, fresh: Baseline) -> Finding:
    slip = _SHARE * SOUGHT * fresh.scale[:SIGNS]
    # The logarithm of the ratio of two normal densities whose means are ``slip`` apart.
    nats = np.clip(slip / variance * (rise - slip / 2.0), _LEAST, _MOST)
    total = float((counts * nats).sum())
    moved = np.append(np.where(counts > 0, rise, 0.0), 0.0)
    if total > -SURE / 2.0:
        verdict: Tightness = "loose" if total >= SURE else "doubtful"
        return Finding(verdict, total, evidence(moved, little=_LITTLE))
    return Finding("tight", total, ("no sign of a loose bit is stronger than with the bit tight",))


def to_plain(baseline: Baseline) -> dict[str, Any]:
    """Return a baseline as plain objects, as JSON knows them."""
    normal = {name: _plain(getattr(baseline.normal, name)) for name in _names(Sample)}
    return {
        "rows": baseline.rows,
        "normal": normal,
        "centre": baseline.centre.tolist(),
        "scale": baseline.scale.tolist(),
    }


def from_plain(body: Mapping[str, Any]) -> Baseline:
    """
    Return the baseline that `to_plain` made ``body`` of.

    Raises
    ------
    ValueError
        When ``body`` is none, or one of another version, whose signs are others.
    """
    try:
        normal = Sample(**{name: _typed(name, body["normal"][name]) for name in _names(Sample)})
        found = Baseline(
            int(body["rows"]),
            normal,
            np.array(body["centre"], dtype=np.float64),
            np.array(body["scale"], dtype=np.float64),
        )
    except (KeyError, TypeError) as error:
        raise ValueError(f"this is no baseline that is known here: {error}") from error
    if (
        normal.plain.shape != (SIGNS,)
        or found.centre.shape != (SIGNS + 1,)
        or found.scale.shape != (SIGNS + 1,)
    ):
        raise ValueError("this baseline has other signs than those compared today: accept the runs anew")
    return found


def _names(kind: type) -> tuple[str, ...]:
    return tuple(field.name for field in fields(kind))


def _plain(value: object) -> object:
    return value.tolist() if isinstance(value, np.ndarray) else value


def _typed(name: str, value: Any) -> Any:  # noqa: ANN401 - a number, a truth value or an array, as the field is
    if name == "single":
        return bool(value)
    return np.array(value, dtype=np.float64) if isinstance(value, list) else float(value)


def _middle(heard: Sequence[Baseline], name: str) -> Any:  # noqa: ANN401 - as above
    if name == "single":
        return heard[0].normal.single
    values = [getattr(each.normal, name) for each in heard]
    if name == "colour":
        # Microphones that hear fewer bands than others tell of those alone.
        least = min(len(value) for value in values)
        values = [value[:least] for value in values]
    middle = np.median(values, axis=0)
    return middle if middle.ndim else float(middle)
