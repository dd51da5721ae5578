"""A machine made by hand that does what a plan says at a pace of its own, and how loud that is."""

import dataclasses
from collections.abc import Iterator

import numpy as np

from analysis.cutting import Bit
from analysis.locate import Plan
from analysis.presence import Phase
from analysis.program import read

BITS = {0: Bit("any", 6.0, 2, 18_000.0)}
ROW = 0.05
STILL, AIR, USUAL = -60.0, -42.0, -28.0


def slots(count: int, y: float, begin: int = 0) -> list[str]:
    """Slots along X whose lengths differ, 3 mm deep."""
    lines = []
    for number in range(count):
        length = 40.0 + 25.0 * (((number + begin) * 7) % 5)
        lines += [
            f"G0 X10 Y{y + 12.0 * number}",
            "G0 Z1",
            "G1 Z-3 F600",
            f"G1 X{10 + length} F1800",
            "G0 Z6",
        ]
    return lines


def plan_of(lines: list[str]) -> Plan:
    """The plan of a program."""
    return Plan.of(read("\n".join(lines), "test"), BITS)


_FIRST = ["G21 G90", "T1 M6", "S18000 M3", "G4 P3", "G0 Z6", *slots(5, 10.0), "M5"]
SLOTS = plan_of([*_FIRST, "T2 M6", "S12000 M3", "G4 P3", "G0 Z6", *slots(3, 110.0, 2), "M5", "M30"])


@dataclasses.dataclass(frozen=True)
class Sounding:
    """
    How a plan is cut.

    Attributes
    ----------
    late
        Seconds before the spindle starts.
    feeds
        Pace of feeds, as a share of the plan's, from ``since`` s of the program's clock on; 1 before.
    change
        Seconds that a bit change takes.
    idle
        Seconds for which the spindle turns before each stint, and after it.
    shop
        Seconds of the recording from which on something else sounds, and how loud, dBFS.
    waits
        Whether the control reads seconds where the plan takes waits as milliseconds.
    held
        When on the program's clock the feed is held, s; for how long then, s, and for how long the spindle
        stands meanwhile.
    seed
        Of the scatter of levels.
    """

    plan: Plan = SLOTS
    late: float = 3.0
    feeds: float = 1.0
    since: float = 0.0
    change: float = 10.0
    idle: float = 0.0
    shop: tuple[float, float] = (np.inf, -90.0)
    waits: bool = False
    held: tuple[float, float, float] = (np.inf, 0.0, 0.0)
    seed: int = 1

    def rows(self) -> Iterator[tuple[float, Phase, float, int]]:
        """Give time, phase, level and move of each row; move -1 where the spindle stands."""
        rng = np.random.default_rng(self.seed)
        at = 0.0
        for phase, quiet, move in self._silent():
            at += ROW
            other = self.shop[1] if at >= self.shop[0] else -90.0
            level = 10.0 * np.log10(10.0 ** (quiet / 10.0) + 10.0 ** (other / 10.0))
            yield at, phase, float(level + rng.normal(0.0, 0.6)), move

    def _silent(self) -> Iterator[tuple[Phase, float, int]]:
        plan, times, waits = self.plan, self.plan.times, list(self._hold())
        for number, (first, last) in enumerate(plan.stints):
            for _ in range(round((self.change if number else self.late) / ROW)):
                yield Phase.OFF, STILL, -1
            yield from self._idle()
            clock, end = float(times.begin[first]), float(times.end[last])
            while clock < end:
                inside = times.begin[first : last + 1]
                move = int(np.searchsorted(inside, clock, side="right")) - 1 + first
                cuts = bool(plan.cuts[move]) and clock >= plan.cut_begin[move]
                if waits and clock >= self.held[0]:
                    yield from waits
                    waits = []
                yield (Phase.CUT, USUAL, move) if cuts else (Phase.AIR, AIR, move)
                # A knob changes feeds, neither rapids nor dwells.
                fed = np.isfinite(plan.program.moves.feed[move]) and clock >= self.since
                clock += ROW * (self.feeds if fed else self._share(move))
            yield from self._idle()
        for _ in range(60):
            yield Phase.OFF, STILL, -1

    def _hold(self) -> Iterator[tuple[Phase, float, int]]:
        """Give the rows of a hold of the feed: the spindle stands in the middle of it, or not at all."""
        begin, lasting, stands = self.held
        move = int(np.searchsorted(self.plan.times.begin, begin, side="right")) - 1
        for row in range(round(lasting / ROW)):
            off = abs(row * ROW - lasting / 2.0) < stands / 2.0
            yield (Phase.OFF, STILL, -1) if off else (Phase.AIR, AIR, move)

    def _idle(self) -> Iterator[tuple[Phase, float, int]]:
        yield from [(Phase.AIR, AIR, -1)] * round(self.idle / ROW)

    def _share(self, move: int) -> float:
        """Which share a move is, on the clock of the plan, of the time that it takes on this machine."""
        planned = float(self.plan.times.end[move] - self.plan.times.begin[move])
        return planned / (planned + float(self.plan.perhaps_longer[move])) if self.waits and planned else 1.0


def line_of(plan: Plan, move: int) -> int:
    """File line of a move."""
    return int(plan.program.moves.file_line[move])


def seconds_off(rows: list[tuple[float, Phase, float, int]], plan: Plan, at: float, line: int) -> float:
    """How far, s, ``at`` is from the nearest moment in which ``line`` was run."""
    return min(abs(at - then) for then, _, _, move in rows if move >= 0 and line_of(plan, move) == line)
