"""A bit that was never tightened, with a reference from three accepted runs and without one."""

from dataclasses import dataclass

from hearing.truth import cutting_seconds

from analysis.baseline import Baseline
from analysis.events import Alarm, Checked
from analysis.reference import Reference
from bitbench.cuts import TOOL, Cut, cut

ACCEPTED, WITHIN = 3, 5.0
_SECONDS = 12.0
_SEVERITY = (0.4, 1.0)


@dataclass(frozen=True)
class First:
    """
    What was said of the first seconds of a run.

    Attributes
    ----------
    loose
        Whether the bit was loose.
    verdict
        What the checks said last within the time; empty when there was none.
    caught
        Whether there was an alarm within the time.
    doubted
        What the check said without a reference.
    alarmed
        Whether there was an alarm within the time without a reference.
    """

    loose: bool
    verdict: str
    caught: bool
    doubted: str
    alarmed: bool


def trial(seed: int, each: int) -> list[First]:
    """Accept three runs of a bit in a shop, then hear so many tight and so many loose ones."""
    accepted = [_baselines(_cut(seed + number, seed, "never")) for number in range(ACCEPTED)]
    reference = Reference.of([known for known in accepted if known])
    found = []
    for number in range(2 * each):
        when = "start" if number % 2 else "never"
        heard = _cut(seed + ACCEPTED + number, seed, when)
        verdict, caught = _first(heard, {TOOL: reference})
        doubted, alarmed = _first(heard, {})
        found.append(First(when == "start", verdict, caught, doubted, alarmed))
    return found


def _cut(seed: int, shop_seed: int, when: str) -> Cut:
    return cut(seed, seconds=_SECONDS, shop_seed=shop_seed, severity=_SEVERITY, when=when)


def _baselines(run: Cut) -> dict[str, Baseline]:
    listener = run.listener()
    listener.hear(run.heard.samples)
    return {kind: known for (bit, kind), known in listener.watcher.baselines.items() if bit == TOOL}


def _first(run: Cut, references: dict[int, Reference]) -> tuple[str, bool]:
    events = run.listener(references).hear(run.heard.samples).events
    truth = run.heard.truth
    soon = [event for event in events if cutting_seconds(truth, event.at) <= WITHIN]
    verdicts = [event.verdict for event in soon if isinstance(event, Checked)]
    return verdicts[-1] if verdicts else "", any(isinstance(event, Alarm) for event in soon)
