"""
What happens, before it is heard: a program on the machine, or one plain cut without a program.

A stage knows where the bit is, what it meets while all is well, and what it meets once it hangs lower.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.cutting import Bit
from analysis.program import Kind, Program
from recordings_synthetic.chance import stream
from recordings_synthetic.force import Runout
from recordings_synthetic.machine import Path, path, timing
from recordings_synthetic.scene import Scene
from recordings_synthetic.score import Setup
from recordings_synthetic.stock import Engagement, engage
from recordings_synthetic.tables import Tool

Floats = NDArray[np.float64]
Lines = NDArray[np.int32]


@dataclass(frozen=True, eq=False)
class Stage:
    """
    What happens in a recording.

    Attributes
    ----------
    scene
        Where the bit is and what turns it, tick by tick.
    meets
        Returns what the bit meets on a path, if its end is lower by (ticks,) mm than that path says.
    begin, end, file_line, word
        (moves,) the moves; see ``Truth``.
    """

    scene: Scene
    meets: Callable[[Path, Floats], Engagement]
    begin: Floats
    end: Floats
    file_line: Lines
    word: Lines

    def first_tick(self, line: int) -> int:
        """Return the tick at which a line of the file is first under way."""
        ticks = np.flatnonzero(np.isin(self.scene.path.move, np.flatnonzero(self.file_line == line)))
        if not len(ticks):
            raise ValueError(f"at_line={line}: nothing moves on that line of the program")
        return int(ticks[0])


def tools_of(bits: Mapping[int, Bit], seed: int) -> dict[int, Tool]:
    """Return bits as they sit in a good collet: out of true by 4 to 12 µm, in some direction."""
    rng = stream(seed, "collet")
    tools = {}
    for number, bit in sorted(bits.items()):
        runout = Runout(rng.uniform(0.004, 0.012), rng.uniform(0.0, 2.0 * math.pi))
        tools[number] = Tool(bit.flutes, bit.diameter, runout)
    return tools


def cut_program(program: Program, bits: Mapping[int, Bit], setup: Setup) -> Stage:
    """Put a program on the machine."""
    moves, gantry = program.moves, setup.gantry
    when = timing(moves, gantry, stream(setup.seed, "machine"))
    way = path(moves, when, gantry, setup.grid.step)
    held = np.maximum(way.move, 0)
    on = (way.move >= 0) & (moves.kind[held] != Kind.BIT_CHANGE)
    number = moves.bit[held].astype(np.int64)
    tools = tools_of(bits, setup.seed)
    radius = np.zeros(int(number.max()) + 1)
    for key in set(tools) & set(number.tolist()):
        radius[key] = tools[key].diameter / 2.0
    unknown = sorted(set(number[on & (moves.speed[held] > 0.0)].tolist()) - set(tools))
    if unknown:
        raise ValueError(f"bits={sorted(tools)}: the program also turns T{unknown[0]}")
    command = np.where(on, moves.speed[held], 0.0)
    scene = Scene(way, command, number, (way.move >= 0) & ~on, tools)

    def meets(real: Path, lower: Floats) -> Engagement:
        position = real.position - lower[:, None] * np.array([0.0, 0.0, 1.0])
        return engage(position, real.heading, radius[number], program.top)

    return Stage(scene, meets, when.begin, when.end, moves.file_line, moves.word)


@dataclass(frozen=True)
class Straight:
    """
    One straight cut without a program.

    Attributes
    ----------
    seconds
        How long the recording is.
    spindle_from, cut_from
        When the spindle is switched on and when the cut begins, s. Both stay until the end.
    feed
        mm/min.
    depth, width
        mm; ``None`` for a slot of the bit's full width.
    climb
        Whether a cut that is narrower than the bit is climb or conventional milling.
    """

    seconds: float = 20.0
    spindle_from: float = 0.5
    cut_from: float = 4.0
    feed: float = 2400.0
    depth: float = 4.0
    width: float | None = None
    climb: bool = True


def cut_straight(bit: Bit, cut: Straight, setup: Setup) -> Stage:
    """Put one straight cut on the machine; its bit is T1, its moves (air, cut) have file line 0."""
    step = setup.grid.step
    now = np.arange(round(cut.seconds / step) + 1) * step
    cutting = now >= cut.cut_from
    position = np.zeros((len(now), 3))
    position[:, 0] = np.maximum(now - cut.cut_from, 0.0) * cut.feed / 60.0
    way = Path(step, np.where(cutting, 1, np.where(now >= cut.spindle_from, 0, -1)), position)
    command = np.where(now >= cut.spindle_from, bit.speed or 18000.0, 0.0)
    scene = Scene(way, command, np.ones(len(now), np.int64), now < 0.0, tools_of({1: bit}, setup.seed))
    entry, leave = _angles(cut, bit.diameter / 2.0)

    def meets(real: Path, lower: Floats) -> Engagement:
        depth = np.where(cutting, np.maximum(cut.depth + lower - real.position[:, 2], 0.0), 0.0)
        return Engagement(depth, np.full(len(now), entry), np.full(len(now), leave), np.zeros(len(now)))

    times = np.array([cut.spindle_from, cut.cut_from, cut.seconds])
    return Stage(scene, meets, times[:2], times[1:], np.zeros(2, np.int32), np.full(2, -1, np.int32))


def _angles(cut: Straight, radius: float) -> tuple[float, float]:
    """Return where a tooth enters and leaves the material, rad."""
    if cut.width is None or cut.width >= 2.0 * radius:
        return 0.0, math.pi
    engaged = math.acos(1.0 - cut.width / radius)
    return (math.pi - engaged, math.pi) if cut.climb else (0.0, engaged)
