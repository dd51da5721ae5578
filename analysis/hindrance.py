"""For how long of the cutting nothing could be compared: another sound covers it, or it turns otherwise."""

from analysis.baseline import Sample

# Noise that has risen by this much, dB, above the teeth hides what is compared. When this has lasted for some
# seconds of cutting it is said.
_COVERED, _COVERED_LONG = 6.0, 3.0
_COVERED_AT_MOST = 1.5 * _COVERED_LONG
# A clear row takes back so many: beside a radio one in ten is clear, and that is no listening.
_CLEARS = 4.0

# What turns otherwise than any baseline may be another machine. That nothing can be compared for so many s is
# said.
_UNLIKE_LONG = 1.0
_UNLIKE_AT_MOST = 1.5 * _UNLIKE_LONG


class Hindrance:
    """
    Counts what hinders.

    Air between short cuts, or a row that is unusable, takes nothing back: only what is clear does.

    Parameters
    ----------
    seconds
        Seconds from one row to the next.

    Attributes
    ----------
    learns
        Whether what turns otherwise is being learned.
    """

    def __init__(self, seconds: float) -> None:
        self.learns = False
        self._seconds = seconds
        self._covered = self._unlike = 0.0

    def begin(self) -> None:
        """Begin anew."""
        self._covered = self._unlike = 0.0

    def is_clear(self) -> None:
        """Take in that a row is clear, be it compared or only learned from."""
        self._covered = max(self._covered - _CLEARS * self._seconds, 0.0)

    def is_covered(self) -> None:
        """Take in that another sound covers a row."""
        self._covered = min(self._covered + self._seconds, _COVERED_AT_MOST)

    def is_unlike(self, *, learns: bool) -> None:
        """Take in that a row turns otherwise than all that is known."""
        self._unlike = min(self._unlike + self._seconds, _UNLIKE_AT_MOST)
        self.learns = learns

    def is_compared(self, sample: Sample, normal: Sample) -> None:
        """Take in a row that is compared, and for that how far noise has risen above the teeth."""
        self._unlike = max(self._unlike - _CLEARS * self._seconds, 0.0)
        # A heavier cut is louder in both.
        louder = min(sample.hiss - normal.hiss, sample.noise - normal.noise)
        if louder <= _COVERED:
            self.is_clear()
        elif louder - max(sample.teeth - normal.tooth_pass, 0.0) > _COVERED:
            self.is_covered()
        else:
            # In noise teeth seem louder in single rows: most of them must tell.
            self._covered = max(self._covered - self._seconds, 0.0)

    def covers(self, *, settled: bool) -> bool:
        """Return whether another sound has covered the cut for long; where that is said already, for less."""
        return self._covered > (0.5 if settled else 1.0) * _COVERED_LONG

    @property
    def turns_otherwise(self) -> bool:
        """Whether what turns has been unlike all that is known for long."""
        return self._unlike > _UNLIKE_LONG
