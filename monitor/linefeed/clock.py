"""When something happened on the run's own clock, which counts samples."""

import math

# The clock of a sound card may be wrong by some 0.1 %: so fast, s a second, the two clocks may part.
_DRIFT = 0.001


class RunClock:
    """
    Puts moments of the computer's clock on the run's.

    Sound that waits for a busy computer makes the run's clock late for a while, and never early: of all that
    was seen, the least difference between the two is the true one.
    """

    def __init__(self) -> None:
        self._difference = math.inf
        self._seen = 0.0
        self._told = 0.0

    def see(self, now: float, at: float) -> None:
        """Take in that the run's clock stood at ``at`` when the computer's steady one was ``now``."""
        aged = self._difference + _DRIFT * (now - self._seen)
        self._difference, self._seen = min(aged, now - at), now

    def on_run(self, moment: float, at: float) -> float:
        """
        Return when ``moment`` was, s, to the next millisecond.

        It is not before ``at``, up to which everything is decided already, nor before any told earlier.
        """
        told = math.ceil(1000.0 * max(moment - self._difference, at)) / 1000.0
        self._told = max(told, self._told)
        return self._told
