"""The first seconds of each kind of cut, until what is normal can be learned from them."""

from typing import NamedTuple

from analysis.baseline import Baseline, Unfit, learn
from analysis.cut import MIXED, Moment
from analysis.first_seconds import LEAST_ROWS
from analysis.normals import Key, turns_as_fast

# Of both families together it is learned from so many times as many rows as of one: they differ more.
_OF_BOTH = 2.0


class Lesson(NamedTuple):
    """
    What was learned.

    Attributes
    ----------
    fresh
        How it sounds.
    since
        Since when that was heard, s from the first sample.
    """

    fresh: Baseline
    since: float


class Lessons:
    """
    Collects rows of cutting, by bit and kind of cut.

    Parameters
    ----------
    seconds
        Seconds from one row to the next.

    Attributes
    ----------
    because
        How the learning goes.
    """

    def __init__(self, seconds: float) -> None:
        self.because = "learning how this cut sounds"
        self._seconds = seconds
        self._heard: dict[Key, list[Moment]] = {}
        # What was found unfit to be learned from so far.
        self._unfit: set[Key] = set()

    def row(self, key: Key, moment: Moment, lasting: float, *, one_speed: bool) -> Lesson | None:
        """
        Take in a row; return what was learned from as many as last ``lasting`` s.

        Where they must be of ``one_speed`` it begins anew at another one.
        """
        heard = self._heard.setdefault(key, [])
        if one_speed and heard and not turns_as_fast(moment.sample, heard[-1].sample):
            heard.clear()
        heard.append(moment)
        lasting *= _OF_BOTH if key[1] == MIXED else 1.0
        if len(heard) < max(LEAST_ROWS, lasting / self._seconds):
            return None
        result = learn([each.sample for each in heard])
        if isinstance(result, Unfit):
            self._unfit.add(key)
            self.because = f"not fit for a baseline, learning on: {result.because}"
            del heard[: len(heard) // 2]
            return None
        del self._heard[key]
        self._unfit.discard(key)
        return Lesson(result, heard[0].middle)

    def is_unfit(self, key: Key) -> bool:
        """Return whether what was heard of a kind of cut so far was unfit to be learned from."""
        return key in self._unfit

    def have_begun(self, bit: int) -> bool:
        """Return whether something of a bit was heard, and not learned yet."""
        return any(each == bit for each, _ in self._heard)

    def forget(self, bit: int) -> None:
        """Begin anew with a bit."""
        self._unfit = {key for key in self._unfit if key[0] != bit}
        self._heard = {key: heard for key, heard in self._heard.items() if key[0] != bit}
