"""How fast a bit is to turn: where a program plainly changes it, the place tells which speed it is."""

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import groupby

from analysis.cut import Context
from analysis.cutting import Bit

# Speeds within this of one another, relative, are one: an ear finds what turns 15 % off. A judgement.
_AS_ONE = 0.05

# A bit plainly turns at another speed that stands out by so many dB more over so many s. In simulated cuts
# the right one did by 1 dB at the least; where a dial was left as it was, the other mostly by 1 to 6.
_PLAINLY, _LASTS = 1.0, 4.0

# What a spindle is taken to turn at of which nobody says anything, rpm.
_USUAL = 18_000.0


def plainly_different(speeds: Sequence[float]) -> tuple[float, ...]:
    """
    Return the speeds that are plainly different, ascending: of those that are near one another the commonest.

    >>> plainly_different([18_000.0, 18_000.0, 17_900.0, 9_000.0])
    (9000.0, 18000.0)
    """
    apart: list[list[float]] = []
    for speed, same in groupby(sorted(speeds)):
        if apart and speed <= apart[-1][0] * (1.0 + _AS_ONE):
            apart[-1].extend(same)
        else:
            apart.append([speed, *list(same)[1:]])
    return tuple(Counter(near).most_common(1)[0][0] for near in apart)


def at_each_speed(bit: Bit) -> tuple[Bit, ...]:
    """Return a bit at each of its speeds; as it is where it has one."""
    return tuple(_at(bit, speed) for speed in bit.speeds) or (bit,)


def as_asked(bit: Bit, context: Context) -> Bit | None:
    """Return a bit at the speed that the program asks for; ``None`` where that may be either of two."""
    if not bit.speeds:
        return bit
    if context.asked is None:
        return None
    lowest, highest = (min(bit.speeds, key=lambda speed: _apart(speed, told)) for told in context.asked)
    return _at(bit, lowest) if lowest == highest else None


def slowest_of(bits: Mapping[int, Bit]) -> float:
    """Return the speed of the slowest of a job's bits, rpm: it decides how long the windows of all are."""
    turning = (bit for each in bits.values() for bit in at_each_speed(each))
    return min((bit.speed or _USUAL for bit in turning), default=_USUAL)


class Otherwise:
    """
    Hears whether a bit plainly turns at another of its speeds than the one that is asked for.

    The place may be wrong, or a dial may set the speed whatever the program says. A half and a third of what
    is asked for are never taken for it: so a loose bit sounds.

    Parameters
    ----------
    seconds
        Seconds from one row to the next.
    """

    def __init__(self, seconds: float) -> None:
        self._share = min(seconds / _LASTS, 1.0)
        self._more: dict[float, float] = {}

    def begin(self) -> None:
        """Begin anew: another speed is asked for, or of another bit."""
        self._more.clear()

    def row(self, asked: float, stands: Mapping[float, float]) -> None:
        """Take in one row of cutting: what is asked for, Hz, and how far each speed, Hz, stands out, dB."""
        for speed, out in stands.items():
            if speed != asked and not _is_part(speed, asked):
                last = self._more.get(speed, 0.0)
                self._more[speed] = last + self._share * (out - stands[asked] - last)

    @property
    def plainly(self) -> bool:
        """Whether it does."""
        return max(self._more.values(), default=0.0) > _PLAINLY


def _is_part(speed: float, asked: float) -> bool:
    return any(_apart(parts * speed, asked) < _AS_ONE for parts in (2, 3))


def _at(bit: Bit, speed: float) -> Bit:
    return replace(bit, speed=speed, speeds=())


def _apart(speed: float, other: float) -> float:
    return abs(math.log(speed / other))
