"""Which alarms are right, and which are false."""

from collections.abc import Iterable
from dataclasses import dataclass

from hearing.faults import Within
from hearing.outcome import Fate, Outcome, Said


@dataclass(frozen=True)
class Verdict:
    """
    What became of a faulty run.

    Attributes
    ----------
    fate
        What was wrong.
    delay
        From the true onset to the first alarm that counts, s; ``None`` when it was missed.
    said
        Chipsong's own alarm, where it is chipsong that is judged.
    before
        Chipsong's state when the fault began.
    """

    fate: Fate
    delay: float | None
    said: Said | None = None
    before: str = ""

    @property
    def caught(self) -> bool:
        """Whether it was said in time."""
        return self.delay is not None


def first_right(moments: Iterable[float], fate: Fate, within: Within) -> float | None:
    """
    Return the first alarm that counts for a fault, s.

    It comes at the onset or later, and within so many seconds of it; or, for what comes creeping, before half
    of the final change is there. An alarm before the onset is false, even where it lasts until the fault.
    """
    latest = fate.half if within == "half" else fate.onset + within
    return next((at for at in moments if fate.onset <= at <= latest), None)


def verdict(outcome: Outcome, within: Within) -> Verdict:
    """Return what chipsong made of a faulty run."""
    fate = outcome.fate
    assert fate is not None  # only faulty runs are asked about
    at = first_right((said.at for said in outcome.said), fate, within)
    if at is None:
        return Verdict(fate, None, before=outcome.before)
    said = next(said for said in outcome.said if said.at == at)
    return Verdict(fate, at - fate.onset, said, outcome.before)


def rival_verdict(outcome: Outcome, rival: str, threshold: float, within: Within) -> Verdict:
    """Return what a rival made of a faulty run."""
    fate = outcome.fate
    assert fate is not None  # only faulty runs are asked about
    at = first_right(outcome.series(rival).alarms(threshold).tolist(), fate, within)
    return Verdict(fate, None if at is None else at - fate.onset)
