"""What is normal of each bit: of each kind of its cuts, at each of its speeds, and whence that is known."""

from collections.abc import Iterable
from dataclasses import replace
from functools import reduce
from typing import Literal

import numpy as np

from analysis.baseline import TRUE_ENOUGH, Array64, Baseline, Sample
from analysis.comparison import margins
from analysis.cut import MIXED, Context
from analysis.reference import Known, turns_alike

# In one cut a spindle keeps its speed within this share: what turns otherwise may be another machine.
_ONE_SPEED = 0.02

Key = tuple[int, str]
"""A bit, and a kind of its cuts."""


class Normals:
    """
    Keeps what is normal.

    Attributes
    ----------
    baselines
        What is normal, by bit and kind of cut, at the speed that was heard first.
    """

    def __init__(self) -> None:
        self.baselines: dict[Key, Baseline] = {}
        self._at_other_speeds: dict[Key, list[Baseline]] = {}
        self._doubted: dict[Key, list[Baseline]] = {}
        # Since when each was heard, and when it was learned, s.
        self._learned_at: dict[Key, tuple[float, float]] = {}
        # What is normal by a reference, and not by what was heard in this run.
        self._lent: dict[Key, Known] = {}
        # What `ever` has found, until a baseline comes or goes.
        self._most: dict[int, Array64] = {}

    def main(self, bit: int) -> Baseline | None:
        """Return what is normal of some cut of a bit."""
        return next((self.baselines[key] for key in self.of(bit)), None)

    def like(self, key: Key, sample: Sample) -> Baseline | None:
        """Return what is normal of a kind of cut for what turns as fast."""
        known = [self.baselines[key]] if key in self.baselines else []
        known += self._at_other_speeds.get(key, [])
        return next((each for each in known if turns_as_fast(sample, each.normal)), None)

    def main_like(self, bit: int, sample: Sample) -> Baseline | None:
        """Return what is normal of some cut of a bit for what turns as fast."""
        known = (self.like(key, sample) for key in self.of(bit))
        return next((each for each in known if each is not None), None)

    def is_doubted(self, key: Key, sample: Sample) -> bool:
        """Return whether what turns as fast was found to look loose."""
        return any(turns_as_fast(sample, each.normal) for each in self._doubted.get(key, []))

    def ever(self, bit: int) -> Array64:
        """Return the most of each sign that is normal in any cut of a bit, or that any tight bit may have."""
        if bit not in self._most:
            known = [self.baselines[key] for key in self.of(bit)]
            for key in self.of(bit):
                known += self._at_other_speeds.get(key, [])
            self._most[bit] = reduce(np.maximum, (each.normal.plain for each in known), TRUE_ENOUGH)
        return self._most[bit]

    def of(self, bit: int) -> list[Key]:
        """Return the kinds of a bit's cuts of which it is known what is normal."""
        return [key for key in self.baselines if key[0] == bit]

    def freeze(self, key: Key, fresh: Baseline, since: float, at: float) -> None:
        """Take for normal what was heard since ``since`` s and learned at ``at`` s."""
        self._most.clear()
        if not turns_as_fast(fresh.normal, self.baselines.get(key, fresh).normal):
            others = self._at_other_speeds.get(key, [])
            kept = [each for each in others if not turns_as_fast(fresh.normal, each.normal)]
            self._at_other_speeds[key] = [*kept, fresh]
            return
        self.baselines[key], self._learned_at[key] = fresh, (since, at)
        # What is known of one family is worth more than of both.
        both = (key[0], MIXED)
        if key != both and both in self.baselines:
            self.drop([both])

    def keep_at_another_speed(self, key: Key, fresh: Baseline, *, good: bool) -> None:
        """Keep what was learned at another speed: as normal, or as what looks loose."""
        kept = self._at_other_speeds if good else self._doubted
        kept.setdefault(key, []).append(fresh)
        self._most.clear()

    def lend(self, key: Key, known: Known, speed: float, since: float, at: float) -> None:
        """Take for normal what a reference knows, at the speed of today, Hz: no dial is set twice alike."""
        normal = replace(known.baseline.normal, speed=speed)
        self._lent[key] = replace(known, baseline=replace(known.baseline, normal=normal))
        self.baselines[key], self._learned_at[key] = self._lent[key].baseline, (since, at)
        self._most.clear()

    def best(
        self, key: Key, sample: Sample, context: Context
    ) -> tuple[Literal["before", "reference"], Known, bool]:
        """
        Return what a bit was like when it was good, whose that is, and whether it is of this kind of cut.

        Best is what turns as fast, of this kind if there is; of another, with as much more as that may make.

        Raises
        ------
        ValueError
            When nothing is known of the bit.
        """
        keys = sorted(self.of(key[0]), key=lambda each: each != key)
        if not keys:
            raise ValueError(f"no good sound is known of bit {key[0]}")
        alike = ((each, self.like(each, sample)) for each in keys)
        first = keys[0], self.baselines[keys[0]]
        of, good = next(((each, found) for each, found in alike if found is not None), first)
        lent = self._lent.get(of)
        is_lent = lent is not None and lent.baseline is good
        known = lent if lent is not None and is_lent else Known.of([good])
        if of != key:
            plain = np.maximum(good.normal.plain, TRUE_ENOUGH) + margins(context, like=False)
            normal = replace(known.baseline.normal, plain=plain)
            known = replace(known, baseline=replace(known.baseline, normal=normal))
        return "reference" if is_lent else "before", known, of == key

    def drop(self, keys: Iterable[Key]) -> None:
        """Drop what is known of some kinds of cut."""
        self._most.clear()
        for key in keys:
            del self.baselines[key], self._learned_at[key]
            self._at_other_speeds.pop(key, None)
            self._doubted.pop(key, None)

    def learned_since(self, bit: int, moment: float) -> dict[Key, float]:
        """Return what was learned of a bit since a moment, s, and since when each was heard, s."""
        return {key: since for key, (since, at) in self._learned_at.items() if key[0] == bit and at >= moment}

    def learned_first(self, bit: int, moment: float) -> list[float]:
        """
        Return since when what was learned of a bit since a moment was heard, s, if all was learned since.

        Where another kind of its cuts has been known for longer, none: that one was compared, and good.
        """
        found = self.learned_since(bit, moment)
        return list(found.values()) if len(found) == len(self.of(bit)) else []


def turns_as_fast(sample: Sample, other: Sample) -> bool:
    """Return whether two sounds of a run turn as fast as one spindle does."""
    return turns_alike(sample, other, _ONE_SPEED)
