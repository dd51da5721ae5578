"""One run: a condition, perhaps a fault, a seed; and the order in which runs are made."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import count, islice

from hearing.conditions import CONDITIONS, Condition
from hearing.faults import FAULTS, FaultKind
from hearing.seeds import Use, seed_of


@dataclass(frozen=True)
class Case:
    """
    One run. With a fault it is heard twice: without the fault, and with it.

    Attributes
    ----------
    use
        What it is for.
    condition, fault
        Their numbers; ``None`` for no fault.
    seed
        Where all its chance comes from.
    """

    use: Use
    condition: int
    fault: int | None
    seed: int

    @property
    def name(self) -> str:
        """What it is called in the file of outcomes."""
        return f"{self.use} {self.condition} {self.fault or '-'} {self.seed}"


def faulty(use: Use, runs: int) -> Iterator[Case]:
    """Yield ``runs`` runs with a fault, kinds in proportion to their shares and mixed, shops in turn."""
    shops = [condition.number for condition in CONDITIONS.values() if condition.faulty]
    kinds = islice(_mixed(tuple(FAULTS.values())), runs)
    made = dict.fromkeys(FAULTS, 0)
    for number, kind in enumerate(kinds):
        # One further each round, for kinds of fault come round as well.
        shop = shops[(number + number // len(shops)) % len(shops)]
        yield Case(use, shop, kind.number, seed_of(use, kind.number, made[kind.number]))
        made[kind.number] += 1


def healthy(use: Use) -> Iterator[Case]:
    """Yield runs without a fault, without end: each condition in turn, round after round."""
    for run in count():
        for condition in CONDITIONS.values():
            yield Case(use, condition.number, None, seed_of(use, condition.number, run))


def _mixed(kinds: tuple[FaultKind, ...]) -> Iterator[FaultKind]:
    """Yield kinds by their shares, without end, so that any beginning of it holds about these shares."""
    debt = {kind.number: 0.0 for kind in kinds}
    whole = sum(kind.share for kind in kinds)
    while True:
        for kind in kinds:
            debt[kind.number] += kind.share / whole
        due = max(kinds, key=lambda kind: debt[kind.number])
        debt[due.number] -= 1.0
        yield due


def condition_of(case: Case) -> Condition:
    """Return the condition of a case."""
    return CONDITIONS[case.condition]


def fault_of(case: Case) -> FaultKind | None:
    """Return the kind of fault of a case, if it has one."""
    return None if case.fault is None else FAULTS[case.fault]
