"""The whole of a program: times, stops, parts, and what each bit does."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from analysis.asked_speed import slowest_of
from analysis.contents.baselines import baseline_of
from analysis.contents.bits import BitUse, Tool, bit_use, numbers_of, tool_of
from analysis.contents.units import in_inches
from analysis.features import Ear
from analysis.locate import USUAL, Plan
from analysis.program import (
    Engagement,
    Kind,
    Moves,
    Part,
    Program,
    find_parts,
    schedule,
)
from analysis.program.moves import lowest

MOST_MOVES = 300_000
"""In a program of more moves depth and width are not worked out: that would take longer than anyone waits."""

_RATE = 48_000  # Hz; how long a window of sound lasts hardly depends on it


@dataclass(frozen=True)
class Stop:
    """
    Where the program waits for a person.

    Attributes
    ----------
    what
        A bit change or a pause.
    line, word
        File line from 1, and its N-word if it has one.
    bit
        T number in the spindle after it.
    at
        When, s on the program's clock.
    """

    what: Literal["bit change", "pause"]
    line: int
    word: int | None
    bit: int
    at: float


@dataclass(frozen=True, eq=False)
class PartUse:
    """
    A part, and what is done to it.

    Attributes
    ----------
    part
        Its name, lines, box, area and outline.
    bits
        T numbers that cut it, in the order of use.
    seconds
        How long it is being cut.
    deepest
        mm below the work's top.
    """

    part: Part
    bits: tuple[int, ...]
    seconds: float
    deepest: float


@dataclass(frozen=True, eq=False)
class Contents:
    """
    What is in a program.

    Attributes
    ----------
    program
        As read.
    inches
        Whether it is written in inches.
    seconds, cutting
        How long it takes, and how much of that it cuts; bit changes and pauses take no time here.
    bits
        In the order of use.
    parts
        In the order in which they are begun.
    stops
        In the order in which they come.
    measured
        Whether depth, width and what follows from them were worked out.
    material
        For which the charts were asked; ``None`` if for none.
    """

    program: Program
    inches: bool
    seconds: float
    cutting: float
    bits: tuple[BitUse, ...]
    parts: tuple[PartUse, ...]
    stops: tuple[Stop, ...]
    measured: bool
    material: str | None


def contents_of(
    program: Program,
    tools: Mapping[int, Tool],
    *,
    material: str | None = None,
) -> Contents:
    """
    Return what is in a program.

    Parameters
    ----------
    program
        As read.
    tools
        The bits by T number; entry 0 stands for all others.
    material
        What is cut, for the advice on chip load.

    Raises
    ------
    ShelfError
        If a bit has no diameter.
    """
    measured = len(program.moves) <= MOST_MOVES
    bits = {number: tool.bit for number, tool in tools.items()}
    plan = Plan.of(program, bits) if measured else _unmeasured(program)
    numbers = numbers_of(plan)
    slowest = slowest_of({number: tool_of(tools, number).bit for number in numbers})
    hop = Ear.for_speed(_RATE, slowest, flutes=2).seconds

    def use(number: int) -> BitUse:
        baseline = baseline_of(plan, number, hop) if measured else None
        return bit_use(plan, number, tool_of(tools, number), material=material, baseline=baseline)

    uses = tuple(map(use, numbers))
    return Contents(
        program=replace(program, warnings=(*program.warnings, *plan.remarks)),
        inches=in_inches(program),
        seconds=float(plan.times.end[-1]),
        cutting=sum(bit.cutting for bit in uses),
        bits=uses,
        parts=_parts(plan),
        stops=_stops(plan),
        measured=measured,
        material=material,
    )


def _unmeasured(program: Program) -> Plan:
    """Return a plan whose depths and widths were not worked out: all that goes below the top cuts."""
    count = len(program.moves)
    unknown = np.full(count, np.nan)
    met = Engagement(
        depth=np.full(count, np.inf),
        width=unknown,
        steady=np.zeros(count, dtype=np.bool_),
        rate=unknown,
        chip=unknown,
        volume=unknown,
        cell=0.0,
    )
    times, parts = schedule(program.moves, USUAL), find_parts(program)
    return Plan(program, times, parts, met, np.zeros(count))


def _stops(plan: Plan) -> tuple[Stop, ...]:
    moves = plan.program.moves
    found = np.flatnonzero(np.isin(moves.kind, (Kind.BIT_CHANGE, Kind.PAUSE)))
    return tuple(
        Stop(
            "bit change" if moves.kind[i] == Kind.BIT_CHANGE else "pause",
            *line_of(moves, i),
            int(moves.bit[i]),
            float(plan.times.begin[i]),
        )
        for i in found.tolist()
    )


def line_of(moves: Moves, index: int) -> tuple[int, int | None]:
    """Return the file line of a move and its N-word, ``None`` where it has none."""
    word = int(moves.word[index])
    return int(moves.file_line[index]), word if word >= 0 else None


def _parts(plan: Plan) -> tuple[PartUse, ...]:
    lasting = plan.times.end - plan.cut_begin
    depth = plan.program.tops - lowest(plan.program.moves)
    return tuple(_part(part, plan.program.moves, lasting, depth) for part in plan.parts)


def _part(part: Part, moves: Moves, lasting: NDArray[np.float64], depth: NDArray[np.float64]) -> PartUse:
    return PartUse(
        part,
        bits=tuple(dict.fromkeys(moves.bit[part.moves].tolist())),
        seconds=float(lasting[part.moves].sum()),
        deepest=float(depth[part.moves].max()),
    )
