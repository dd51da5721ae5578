"""
Small programs, each of which does one thing that must not alarm, cut from the same 12 mm poplar plywood.

All are invented, and differ from seed to seed in sizes, depths and feeds.
"""

import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from analysis.cutting import Bit
from recordings_synthetic.job import BITS, varied_job
from recordings_synthetic.job.words import short

# One bit for the small programs.
ONE: Mapping[int, Bit] = {2: BITS[2]}
_STEP = 14.0  # mm from one groove to the next


@dataclass(frozen=True)
class Job:
    """
    Something to cut.

    Attributes
    ----------
    text
        The program that the machine runs.
    planned
        The program that the watcher was given: another one where a person turns a knob while it runs. Line
        by line they do the same.
    bits
        The bits in it.
    """

    text: str
    planned: str
    bits: Mapping[int, Bit]

    @property
    def known(self) -> dict[int, Bit]:
        """The bits as a listener is told them: where none is named it is the first."""
        return {0: next(iter(self.bits.values())), **self.bits}


def whole_job(rng: np.random.Generator) -> Job:
    """Return trays, stands and shelves, with one to three bits of any number of flutes at any speed."""
    return _as_planned(*varied_job(int(rng.integers(1 << 30))))


def slots(rng: np.random.Generator) -> Job:
    """Return full-width slots, the loudest of cuts, among narrow side cuts."""
    return _grooves(rng, depths=(-rng.uniform(2.5, 3.5),), sides=(2.0, 4.0, -2.0, -4.0))


def both_ways(rng: np.random.Generator) -> Job:
    """Return grooves widened by climb and by conventional milling in turn."""
    return _grooves(rng, depths=(-rng.uniform(2.5, 4.0),), sides=(2.0, -2.0, 4.0, -4.0), back=True)


def deep_first(rng: np.random.Generator) -> Job:
    """Return grooves whose first pass is the deepest by far."""
    return _grooves(rng, depths=(-5.5, -7.5, -9.5), sides=(), step=-rng.uniform(0.0, 0.8))


def corners(rng: np.random.Generator) -> Job:
    """Return zigzags that are little else than corners."""
    lines, side = [], rng.uniform(9.0, 14.0)
    for row in range(6):
        y = 16.0 + 20.0 * row
        lines += [*_down(10.0, y, -rng.uniform(2.5, 4.0))]
        for n in range(1, 13):
            lines.append(f"Y{short(y + side * (n % 2))}")
            lines.append(f"X{short(10.0 + 13.0 * n)}")
        lines.append("G0 Z6")
    return _one_bit("zigzags", lines)


def tabs(rng: np.random.Generator) -> Job:
    """Return strips cut out with many tabs."""
    lines = []
    for row in range(8):
        y = 14.0 + _STEP * row
        top = -12.4 + rng.uniform(2.0, 4.0)
        for depth in (-4.6, -8.8):
            lines += [*_down(10.0, y, depth), "X170", "G0 Z6"]
        lines += _down(10.0, y, -12.4)
        for x in (40.0, 80.0, 120.0):
            lines += [
                f"X{short(round(x, 1))}",
                f"Z{short(top)}",
                f"X{short(round(x + 8, 1))}",
                "Z-12.4 F600",
                "F2400",
            ]
        lines += ["X170", "G0 Z6"]
    return _one_bit("strips with tabs", lines)


def pecks(rng: np.random.Generator) -> Job:
    """Return pecked holes (G83)."""
    peck = rng.uniform(2.0, 3.5)
    holes = [f"X{short(round(x, 1))} Y{short(round(y, 1))}" for x, y in _grid(rng)]
    first = f"G99 G83 {holes[0]} Z-12.4 R1.5 Q{short(round(peck, 2))} F{rng.uniform(400, 700):.0f}"
    return _one_bit("pecked holes", [first, *holes[1:], "G80"])


def plunges(rng: np.random.Generator) -> Job:
    """Return straight plunges with a short slot at the bottom of each."""
    lines = []
    for x, y in _grid(rng):
        lines += [*_down(x, y, -rng.uniform(3.0, 8.0)), f"X{short(round(x + 9, 1))}", "G0 Z6"]
    return _one_bit("short slots", lines)


def pauses(rng: np.random.Generator) -> Job:
    """Return grooves with planned pauses between them, spindle off."""
    job = _grooves(rng, depths=(-3.5,), sides=(3.0,))
    lines = job.text.splitlines()
    for place in reversed([n for n, line in enumerate(lines) if line.startswith("G0 X")][4::6]):
        lines[place:place] = ["M5", "M0 (look)", f"M3 S{BITS[2].speed:.0f}", "G4 P3"]
    text = "\n".join(lines) + "\n"
    return _as_planned(text, ONE)


def bit_changes(rng: np.random.Generator) -> Job:
    """Return short turns of each bit, one after another, and over again."""
    lines: list[str] = []
    for turn, number in enumerate((2, 1, 3, 2, 1, 3)):
        y = 14.0 + _STEP * turn
        lines += ["M5", f"T{number} M6", f"S{BITS[number].speed:.0f} M3", "G4 P3"]
        for depth in (-3.0, -3.0 - rng.uniform(1.5, 3.0)):
            lines += [*_down(10.0, y, depth), "X170", f"Y{short(round(y + 3, 1))}", "X10", "G0 Z6"]
    return _as_planned(_program("bit after bit", lines), BITS)


def feed_override(rng: np.random.Generator) -> Job:
    """Return a job whose feed somebody turns up or down while it runs."""
    return _overridden(rng, "F", rng.choice([0.65, 0.8, 1.15, 1.3]))


def speed_override(rng: np.random.Generator) -> Job:
    """Return a job whose spindle speed somebody turns up or down while it runs."""
    return _overridden(rng, "S", rng.choice([0.9, 0.95, 1.05, 1.1]))


def _grooves(
    rng: np.random.Generator,
    *,
    depths: tuple[float, ...],
    sides: tuple[float, ...],
    back: bool = False,
    step: float = 0.0,
) -> Job:
    """Return grooves along X: a full slot at each depth, then wider by ``sides``, mm off the middle."""
    lines = []
    for row in range(8):
        y, end = 16.0 + _STEP * row, rng.uniform(150.0, 180.0)
        for number, depth in enumerate(depths):
            lines += [*_down(10.0, y, depth + step * number), f"X{short(round(end, 2))}", "G0 Z6"]
        for number, side in enumerate(sides):
            begin, to = (end, 10.0) if back and number % 4 > 1 else (10.0, end)
            lines += [*_down(begin, y + side, depths[-1]), f"X{short(round(to, 2))}", "G0 Z6"]
    return _one_bit("grooves", lines)


def _grid(rng: np.random.Generator) -> list[tuple[float, float]]:
    places = [(x, y) for y in np.arange(15.0, 130.0, 22.0) for x in np.arange(15.0, 170.0, 22.0)]
    return [(x + rng.uniform(-2, 2), y + rng.uniform(-2, 2)) for x, y in places]


def _down(x: float, y: float, depth: float) -> list[str]:
    """Go above a place, down into the work, and set the feed for cutting on."""
    return [f"G0 X{short(x)} Y{short(y)}", "G0 Z1.5", f"G1 Z{short(depth)} F600", "F2400"]


def _one_bit(title: str, lines: list[str]) -> Job:
    start = ["T2 M6", f"S{BITS[2].speed:.0f} M3", "G4 P3"]
    return _as_planned(_program(title, [*start, *lines]), ONE)


def _program(title: str, lines: list[str]) -> str:
    head = ["%", f"({title}, 12 mm poplar plywood, invented)", "G21 G90 G17 G94", "G40 G49 G80 G54", "G0 Z6"]
    return "\n".join([*head, *lines, "G0 Z6", "M5", "G0 X0 Y0", "M30", "%", ""])


def _as_planned(text: str, bits: Mapping[int, Bit]) -> Job:
    return Job(text, text, bits)


def _overridden(rng: np.random.Generator, letter: str, factor: float) -> Job:
    """Return the whole job with ``letter`` words multiplied for a third of its lines."""
    job = whole_job(rng)
    lines = job.planned.splitlines()
    first = round(len(lines) * rng.uniform(0.25, 0.55))
    span = range(first, first + len(lines) // 3)
    changed = "\n".join(_turned(lines, letter, factor, span)) + "\n"
    return Job(changed, job.planned, job.bits)


def _turned(lines: list[str], letter: str, factor: float, span: range) -> Iterator[str]:
    """Yield lines whose ``letter`` words are multiplied in ``span``, from its begin to its end."""
    word = re.compile(letter + r"(\d+(?:\.\d*)?)")
    now = math.nan
    owed = False
    for number, line in enumerate(lines):
        owed = owed or number in (span.start, span.stop)
        share = factor if number in span else 1.0
        code = line.split("(")[0]
        found = word.search(code)
        if found:
            now = float(found[1])
            yield word.sub(f"{letter}{now * share:.0f}", code) + line[len(code) :]
            owed = False
        elif owed and code.strip(" %") and not math.isnan(now) and "M" not in code:
            yield f"{line} {letter}{now * share:.0f}"
            owed = False
        else:
            yield line
