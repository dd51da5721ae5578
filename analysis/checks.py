"""Whether a bit is tight by its first seconds: beside what is known of it, and by physics."""

import math
from collections.abc import Mapping
from typing import NamedTuple

from analysis.allowed import Allowed
from analysis.baseline import Baseline
from analysis.cut import Context
from analysis.events import Against, Checked, Tightness
from analysis.first_seconds import known_of
from analysis.normals import Key, Normals, turns_as_fast
from analysis.reference import Finding, Known, Reference, compare, doubt


class Outcome(NamedTuple):
    """
    What came of a check.

    Attributes
    ----------
    said
        What is to be said of it, if anything.
    is_good
        Whether what was heard is normal from here on.
    loose
        What was found, and beside what, if the bit is loose.
    """

    said: Checked | None = None
    is_good: bool = True
    loose: tuple[Finding, Known] | None = None


class Checks:
    """
    Checks fresh baselines, and remembers which bits are in doubt and which were tightened.

    Parameters
    ----------
    correlation
        Correlation of a row with the one before.
    references
        How bits sound when they are tight, by T number.
    normals
        What is normal of each bit in this run.
    allowed
        What a person has said to be nothing.

    Attributes
    ----------
    doubts
        Why bits are in doubt: from the start, and then their baseline is no good sound, or since they were
        tightened.
    """

    def __init__(
        self, correlation: float, references: Mapping[int, Reference], normals: Normals, allowed: Allowed
    ) -> None:
        self.doubts: dict[int, Checked] = {}
        self._correlation = correlation
        self._references = references
        self._normals = normals
        self._allowed = allowed
        # Bits that were tightened: to be compared with the good sound from before; and to be spoken of
        # whatever is found.
        self._anew: set[int] = set()
        self._promised: set[int] = set()

    def tightened(self, bit: int) -> bool:
        """Check a bit anew; return whether a good sound from before is known."""
        is_known = self._normals.main(bit) is not None
        self._anew.discard(bit)
        if is_known:
            self._anew.add(bit)
        self._promised.add(bit)
        return is_known

    def is_checked_anew(self, bit: int) -> bool:
        """Return whether a bit was tightened and is to be compared with the good sound from before."""
        return bit in self._anew

    def over(self, bit: int) -> None:
        """Compare a bit that was tightened no more with the good sound from before."""
        self._anew.discard(bit)

    def accuse(self, bit: int) -> bool:
        """Return whether a bit is in doubt, so that somebody should look at it."""
        return bit in self.doubts and self.doubts[bit].accuses

    def was_never_good(self, bit: int) -> bool:
        """Return whether a bit is in doubt by physics: then what was learned of it is no good sound."""
        return bit in self.doubts and self.doubts[bit].against == "physics"

    def check(self, key: Key, fresh: Baseline, context: Context, at: float) -> Outcome:
        """Check a bit by the baseline of some kind of its cuts, fresh at ``at`` s."""
        bit = key[0]
        against, known, found = self._find(key, fresh, context)
        if found.verdict != "tight" and self._allowed.covers(bit, fresh, self._correlation):
            return Outcome()
        if self._says_nothing_of_doubt(bit, against, found.verdict):
            return Outcome()
        checked = Checked(at, against, found.verdict, found.because)
        # That physics has nothing against a bit is worth a word only where there was a doubt.
        doubted = bit in self.doubts or bit in self._promised
        said = checked if against != "physics" or found.verdict != "tight" or doubted else None
        self._promised.discard(bit)
        if found.verdict == "loose" and known is not None:
            return Outcome(said, is_good=False, loose=(found, known))
        is_good = not (bit in self._anew and found.verdict == "doubtful")
        self.doubts.pop(bit, None)
        if found.verdict == "doubtful":
            self.doubts[bit] = checked
        self._anew.discard(bit)
        return Outcome(said, is_good)

    def is_good_at_another_speed(self, key: Key, fresh: Baseline, asked: tuple[float, float] | None) -> bool:
        """
        Return whether what is heard at another speed does not look loose: a slip may slow the spindle, too.

        Where the program asks for that speed, runout may be another: then it is as good as physics finds it.
        """
        known = self._normals.baselines[key]
        found = compare(fresh, Known.of([known]), self._correlation)
        if found.verdict == "doubtful" and _is_asked(fresh, known, asked):
            found = doubt(fresh, self._correlation)
        return found.verdict == "tight" or self._allowed.covers(key[0], fresh, self._correlation)

    def _says_nothing_of_doubt(self, bit: int, against: Against, verdict: Tightness) -> bool:
        """
        Return whether a doubt of a bit stands whatever physics finds of another kind of its cuts.

        Straight down the hiss hardly swells, of a loose bit either; and one that is in doubt since it was
        tightened was good before. One that was tightened is asked anew.
        """
        stands = self.doubts.get(bit)
        if stands is None or bit in self._anew | self._promised or against != "physics":
            return False
        return verdict == "tight" or stands.against == "before"

    def _find(self, key: Key, fresh: Baseline, context: Context) -> tuple[Against, Known | None, Finding]:
        physics = doubt(fresh, self._correlation)
        if key[0] in self._anew and self._normals.main(key[0]) is not None:
            against, good, is_like = self._normals.best(key, fresh.normal, context)
            found = compare(fresh, good, self._correlation, clamped_anew=against == "before")
            # At another speed that is asked for runout may be another.
            is_asked = found.verdict == "doubtful" and _is_asked(fresh, good.baseline, context.asked)
            if is_asked and physics.verdict == "tight":
                return "physics", None, physics
            # What another kind of cut may have more, a loose bit may have, too.
            if not is_like and (found.verdict, physics.verdict) == ("tight", "doubtful"):
                found = physics
            return against, good, found
        known = known_of(self._references.get(key[0]), key[1])
        if known is not None:
            return "reference", known, compare(fresh, known, self._correlation)
        return "physics", None, physics


def _is_asked(fresh: Baseline, known: Baseline, asked: tuple[float, float] | None) -> bool:
    """Return whether another speed than the known one is asked for, rpm, and the fresh one is far nearer."""
    if asked is None or turns_as_fast(fresh.normal, known.normal):
        return False
    off = [abs(math.log(60.0 * each.normal.speed / asked[0])) for each in (fresh, known)]
    return asked[0] == asked[1] and off[0] < 0.5 * off[1]
