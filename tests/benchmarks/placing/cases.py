"""What is cut, on what machine, in what shop, and from when on it is heard: drawn from a seed."""

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np
from hearing import programs, shops
from hearing.programs import Job
from hearing.shops import Draw

from analysis.cutting import Bit
from recordings_synthetic import Gantry
from recordings_synthetic.job import BITS

Rng = np.random.Generator

DEVELOPMENT = 90_000
"""First seed of runs to work by."""

_EACH = 400


def usual_machine(_rng: Rng) -> Gantry:
    """Return the machine that is assumed."""
    return Gantry()


@dataclass(frozen=True)
class Condition:
    """
    A row of the table.

    Attributes
    ----------
    name
        What a person would call it.
    job
        Draws what is cut.
    machine
        Draws what cuts it.
    late
        Shares of the recording, from and to, one of which is not heard at its beginning.
    """

    name: str
    job: Callable[[Rng], Job] = programs.whole_job
    machine: Callable[[Rng], Gantry] = usual_machine
    late: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True)
class Case:
    """One run: its condition, its seed, and its shop."""

    condition: Condition
    seed: int
    shop: str


def carving(rng: Rng) -> Job:
    """Return a relief of about 70 x 40 mm, cut line by line in moves of about 1 mm after it was cleared."""
    deep, wave = rng.uniform(2.0, 3.5), rng.uniform(4.0, 9.0)
    columns, rows, step = int(rng.integers(60, 80)), int(rng.integers(9, 13)), rng.uniform(0.9, 1.3)
    lines = ["G21 G90 G17 G94", "G0 Z6", "T2 M6", f"S{BITS[2].speed:.0f} M3", "G4 P3"]
    for row in range(rows):
        y = 10.0 + 3.5 * row
        places = range(columns) if row % 2 == 0 else range(columns - 1, -1, -1)
        lines += [f"G0 X{10.0 + step * places[0]:.3f} Y{y:.3f}", "G0 Z1", "G1 Z-1 F600", "F1800"]
        for column in places:
            z = -deep * (0.55 + 0.4 * math.sin(step * column / wave) * math.cos(row / 3.0))
            lines.append(f"X{10.0 + step * column:.3f} Z{z:.3f}")
        lines.append("G0 Z6")
    text = "\n".join([*lines, "M5", "M30", ""])
    return Job(text, text, {2: BITS[2]})


def pockets(rng: Rng) -> Job:
    """Return pockets cleared in loops that grow, at two depths each."""
    bit = Bit("6 mm", 6.0, 2, 18_000.0)
    lines = ["G21 G90 G17 G94", "G0 Z6", "T2 M6", "S18000 M3", "G4 P3"]
    for number in range(int(rng.integers(4, 7))):
        x, y = 40.0 + 60.0 * (number % 3), 40.0 + 55.0 * (number // 3)
        lines += [f"G0 X{x:.2f} Y{y:.2f}", "G0 Z1"]
        for depth in (-2.5, -5.0):
            lines += [f"G1 Z{depth} F500", "F2000"]
            for loop in range(1, int(rng.integers(5, 8))):
                side = 2.6 * loop
                corners = ((1, -1), (1, 1), (-1, 1), (-1, -1))
                lines += [f"G1 X{x + side * a:.2f} Y{y + side * b:.2f}" for a, b in corners]
            lines.append(f"G1 X{x:.2f} Y{y:.2f}")
        lines.append("G0 Z6")
    text = "\n".join([*lines, "M5", "M30", ""])
    return Job(text, text, {2: bit})


def overridden(rng: Rng) -> Job:
    """Return a job whose feed somebody sets to between half and one and a half while it runs."""
    factor = float(rng.choice([0.5, 0.6, 0.75, 1.25, 1.4, 1.5]))
    return programs._overridden(rng, "F", factor)  # noqa: SLF001 - it is the same kind of job


def other_machine(rng: Rng) -> Gantry:
    """Return a machine that speeds up a third to three times as fast as assumed, with another top speed."""
    rate, top = 500.0 * 3.0 ** rng.uniform(-1.0, 1.0), rng.uniform(45.0, 130.0)
    return replace(Gantry(), acceleration=(rate, rate, 0.6 * rate), top_speed=(top, top, 0.45 * top))


CONDITIONS = (
    Condition("as planned"),
    Condition("another acceleration and speed", machine=other_machine),
    Condition("feed override changed", overridden),
    Condition("planned pauses", programs.pauses),
    Condition("bit changes", programs.bit_changes),
    Condition("listening begun late", late=(0.15, 0.6)),
    Condition("outlines with tabs", programs.tabs),
    Condition("pockets", pockets),
    Condition("drilling with pecks", programs.pecks),
    Condition("3-D carving", carving),
)

SHOPS: dict[str, Draw] = {
    "quiet": shops.quiet,
    "collector": shops.machine("extractor"),
    "blows": shops.blows,
    "talk": shops.chat(shops.QUIETER),
    "sander": shops.machine("sander"),
    "radio": shops.throughout("music"),
}


def cases(runs: int, first_seed: int) -> Iterator[Case]:
    """Yield ``runs`` runs of each condition; every other one in a quiet shop, the others in all others."""
    noisy = [name for name in SHOPS if name != "quiet"]
    for number, condition in enumerate(CONDITIONS):
        for run in range(runs):
            shop = "quiet" if run % 2 == 0 else noisy[(number + run // 2) % len(noisy)]
            yield Case(condition, first_seed + _EACH * number + run, shop)
