"""What each bit of a program does: speeds, times, depths, feeds, chips."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from analysis.contents.baselines import Learned, Unlearned
from analysis.cutting import Bit
from analysis.cutting_advice import chip_load_advice
from analysis.locate import KINDS, Plan
from analysis.program import Kind
from analysis.program.moves import lowest

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Known = Literal["said", "shelf", "program", "assumed", "unknown"]
"""Where something about a bit comes from: the user, the shelf, the program; or nobody said."""


@dataclass(frozen=True)
class Tool:
    """
    A bit, and how it is known.

    Attributes
    ----------
    bit
        As it is listened for.
    diameter, flutes, speed
        Where each comes from.
    shelf
        Its name on the shelf; empty when it is not there.
    shelf_speed
        The speed that the shelf says, rpm, whichever is listened for; ``None`` when it says none.
    """

    bit: Bit
    diameter: Known = "assumed"
    flutes: Known = "assumed"
    speed: Known = "program"
    shelf: str = ""
    shelf_speed: float | None = None


@dataclass(frozen=True)
class Chip:
    """
    The chip load of most of the cutting, at the feed that the program asks for.

    Attributes
    ----------
    load
        mm per tooth, the median by time.
    across
        Whether it is of cuts across; else the bit only goes straight down.
    charted
        The usual range by makers' charts, mm per tooth; ``None`` where they say nothing, or no material was
        given.
    """

    load: float
    across: bool
    charted: tuple[float, float] | None = None


@dataclass(frozen=True)
class Usual:
    """
    How most of the cutting is done, medians by time.

    Attributes
    ----------
    depth
        mm.
    width
        Share of the diameter, 0 to 1.
    rate, most
        cm³/min removed: usually, and at most.
    """

    depth: float
    width: float
    rate: float
    most: float


@dataclass(frozen=True)
class Spell:
    """Seconds of one kind of cut; the kind is of `analysis.locate.KINDS`."""

    kind: str
    seconds: float


@dataclass(frozen=True)
class BitUse:
    """
    What a program does with one bit.

    Attributes
    ----------
    number
        T number; 0 where the program names none.
    comment
        What the program says beside it; may be empty.
    tool
        The bit, and how it is known.
    speeds
        Spindle speeds that the program says, rpm, in the order in which they come.
    cutting, air
        Seconds, without bit changes and pauses.
    deepest
        mm below the work's top; 0 if nothing is cut.
    across, down
        The least and greatest feed across and straight down, mm/min; ``None`` where it never goes so.
    chip
        ``None`` where nothing turns or cuts, or the speed is not known.
    usual
        ``None`` where nothing is cut, or depth and width were not worked out.
    kinds
        How long it cuts in each way, the longest first; empty where that was not worked out.
    baseline
        Where its first baseline is learned; ``None`` where that was not worked out.
    """

    number: int
    comment: str
    tool: Tool
    speeds: tuple[float, ...]
    cutting: float
    air: float
    deepest: float
    across: tuple[float, float] | None
    down: tuple[float, float] | None
    chip: Chip | None
    usual: Usual | None
    kinds: tuple[Spell, ...]
    baseline: Learned | Unlearned | None

    @property
    def expected(self) -> tuple[float, ...]:
        """The spindle speeds, rpm, at which it is to be heard."""
        stated = self.tool.speed in ("said", "shelf") and self.tool.bit.speed is not None
        return (float(self.tool.bit.speed or 0.0),) if stated else self.speeds


@dataclass(frozen=True, eq=False)
class _Cuts:
    """The cutting of one bit: which moves, how long each cuts, s, and those that tell most about it."""

    moves: Bools
    seconds: Floats
    telling: Bools
    across: bool


def numbers_of(plan: Plan) -> list[int]:
    """Return the T numbers that cut, or are put into the spindle, in the order of use."""
    moves = plan.program.moves
    used = plan.cuts | ((moves.kind == Kind.BIT_CHANGE) & (moves.bit > 0))
    return list(dict.fromkeys(moves.bit[used].tolist()))


def tool_of(tools: Mapping[int, Tool], number: int) -> Tool:
    """Return the tool with a T number, or the one that stands for all others."""
    return tools.get(number) or tools[0]


def bit_use(
    plan: Plan,
    number: int,
    tool: Tool,
    *,
    material: str | None,
    baseline: Learned | Unlearned | None,
) -> BitUse:
    """
    Return what a program does with one bit.

    Parameters
    ----------
    plan
        The program.
    number
        T number of the bit.
    tool
        The bit.
    material
        What is cut, for the advice on chip load: one of `analysis.cutting_advice.CHARTED`.
    baseline
        Where its baseline is learned; ``None`` where depth and width were not worked out.
    """
    moves = plan.program.moves
    mine = moves.bit == number
    cuts, measured = _cuts_of(plan, mine), baseline is not None
    usual = _usual(plan, cuts) if measured and cuts.telling.any() else None
    turning = moves.speed[mine & (moves.speed > 0)]
    lasting = float((plan.times.end - plan.times.begin)[mine].sum())
    cutting = float(cuts.seconds.sum())
    depth = (plan.program.tops - lowest(moves))[cuts.moves]
    return BitUse(
        number=number,
        comment=plan.program.bits.get(number, ""),
        tool=tool,
        speeds=tuple(dict.fromkeys(turning.tolist())),
        cutting=cutting,
        air=max(lasting - cutting, 0.0),
        deepest=float(depth.max(initial=0.0)),
        across=_range(moves.feed[cuts.moves & _goes(plan, Kind.CUT, Kind.RAMP)]),
        down=_range(moves.feed[cuts.moves & _goes(plan, Kind.PLUNGE, Kind.PECK)]),
        chip=_chip(plan, cuts, tool, usual, material),
        usual=usual,
        kinds=_kinds(plan, cuts) if measured else (),
        baseline=baseline,
    )


def _goes(plan: Plan, *kinds: Kind) -> Bools:
    return np.isin(plan.program.moves.kind, kinds)


def _cuts_of(plan: Plan, mine: Bools) -> _Cuts:
    """Return the cutting of some moves; cuts across tell most, where there are any."""
    moves = plan.cuts & mine
    across = moves & _goes(plan, Kind.CUT, Kind.RAMP)
    seconds = np.where(moves, plan.times.end - plan.cut_begin, 0.0)
    return _Cuts(moves, seconds, across if across.any() else moves, bool(across.any()))


def _range(values: Floats) -> tuple[float, float] | None:
    known = values[np.isfinite(values)]
    return (float(known.min()), float(known.max())) if len(known) else None


def _usual(plan: Plan, cuts: _Cuts) -> Usual:
    chosen, met = cuts.telling, plan.met
    weight = cuts.seconds[chosen]
    depth, width, rate = (median_by(values[chosen], weight) for values in (met.depth, met.width, met.rate))
    return Usual(depth, width, rate, float(met.rate[chosen].max()))


def _chip(plan: Plan, cuts: _Cuts, tool: Tool, usual: Usual | None, material: str | None) -> Chip | None:
    moves = plan.program.moves
    stated = tool.bit.speed if tool.speed in ("said", "shelf") else None
    teeth = np.where(cuts.moves, stated or moves.speed, 0.0) * tool.bit.flutes
    known = cuts.telling & (teeth > 0) & np.isfinite(moves.feed)
    if not known.any():
        return None
    load = median_by(moves.feed[known] / teeth[known], cuts.seconds[known])
    if not (cuts.across and material):
        return Chip(load, cuts.across)
    depth = usual.depth if usual else None
    return Chip(load, across=True, charted=chip_load_advice(tool.bit.diameter, material, depth=depth))


def _kinds(plan: Plan, cuts: _Cuts) -> tuple[Spell, ...]:
    spent = np.bincount(plan.kinds[cuts.moves], cuts.seconds[cuts.moves], len(KINDS)).tolist()
    spells = [Spell(kind, seconds) for kind, seconds in zip(KINDS, spent, strict=True) if seconds > 0]
    return tuple(sorted(spells, key=lambda spell: -spell.seconds))


def median_by(values: Floats, weight: Floats) -> float:
    """
    Return the value below and above which lies half of the weight.

    Parameters
    ----------
    values
        At least one, shape (k,).
    weight
        Of each, not negative, shape (k,). Where all are 0 they count alike.
    """
    order = np.argsort(values, kind="stable")
    total = np.cumsum(weight[order] if weight.sum() > 0 else np.ones(len(values)))
    return float(values[order][np.searchsorted(total, total[-1] / 2)])


def tool_name(number: int) -> str:
    """Return how a bit is called: T3, or just the bit where the program names none."""
    return f"T{number}" if number else "the bit"
