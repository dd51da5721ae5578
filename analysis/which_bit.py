"""How well each of a program's bits fits what is heard turning: by its speed and by its teeth."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from analysis.features import Array32, Combs, Ear, Rows, SpeedReader, Turning, above_lines
from analysis.first_air import AirSwell
from analysis.true_speed import TrueSpeed

BITES = 3.0
"""dB of swell with the teeth that the air hardly ever has."""

# What tells bits apart by their sound: the spindle frequency that was set, Hz, and how many flutes.
_Kind = tuple[float | None, int]

# Rows that wait at most until somebody asks: live they come one by one, and many at once are cheap.
_MOST_WAITING = 64


@dataclass(frozen=True)
class Fit:
    """
    How well a bit fits what is heard.

    Attributes
    ----------
    stands
        How far its comb and its teeth stand out, dB.
    bites
        How far the swell of the hiss with its teeth stands out beside that of the air, dB: only what cuts
        has any.
    """

    stands: float
    bites: float


class _Waiting(NamedTuple):
    """What is kept of rows, all of shape (k, ...), until somebody asks how well a bit fits them."""

    power: Array32
    envelope: Array32
    combs: Array32
    teeth: Array32

    def first(self, rows: int) -> "_Waiting":
        return _Waiting(*(part[:rows] for part in self))


class _Heard(NamedTuple):
    """What a bit's ear told of the rows that waited, and two parts of it as lists."""

    turning: Turning
    stands: list[float]
    bites: list[float]


class WhichBit:
    """
    Hears each bit's comb beside the others'.

    Rows wait until somebody asks for their fits: the place asks once per step only. From what cuts it is
    learned how fast the spindle truly turns.

    Parameters
    ----------
    ears
        What each bit, by T number, is listened to with at each speed that it may have: windows of one size.
    turned
        How fast the spindle turned in past runs, as a share of what was set; ``None`` where nobody knows.
    """

    def __init__(self, ears: Mapping[int, Sequence[Ear]], turned: float | None = None) -> None:
        every = [ear for each in ears.values() for ear in each]
        kinds = {_kind(ear): ear for ear in every}
        self._readers = {kind: (ear, SpeedReader(ear)) for kind, ear in kinds.items()}
        self._bits = {number: [_kind(ear) for ear in each] for number, each in ears.items()}
        self._swells = {kind: AirSwell(ear.seconds) for kind, ear in kinds.items()}
        self._by: Ear | None = None
        self._waiting: list[_Waiting] = []
        self._heard: dict[_Kind, _Heard] = {}
        # What teaches nothing until it is asked for, so that it makes no difference how rows come.
        self._since: list[dict[_Kind, Turning]] = []
        self._true_speed = TrueSpeed(next((ear.seconds for ear in every), 0.0), turned)
        self._reckon()

    def read(self, rows: Rows, by: Ear) -> None:
        """Take in the rows that follow those that were kept, and the ear that they were read with."""
        if not self._readers:
            return
        if self._waiting and not self._heard and (by != self._by or self._count >= _MOST_WAITING):
            self._hear()
        self._put_by()
        self._by = by
        self._waiting.append(_Waiting(rows.power, rows.envelope, rows.combs, rows.teeth))

    def fits(self, row: int) -> Mapping[int, Fit]:
        """Return how well each bit, by T number, fits a row of those read last; until more are read."""
        return _Fits(self, row)

    def fit(self, number: int, row: int) -> Fit:
        """Return how well bit T ``number`` fits a row of those read last, at whichever speed fits best."""
        row = self._find(row)
        kind = max(self._bits[number], key=lambda kind: self._heard[kind].stands[row])
        heard = self._heard[kind]
        return Fit(heard.stands[row], heard.bites[row] - self._swells[kind].usual)

    def is_air(self, row: int) -> None:
        """Take in that a row of those read last is surely air, and no bit cuts."""
        if self._readers:
            row = self._find(row)
            for kind, swell in self._swells.items():
                swell.hear(self._heard[kind].bites[row])

    def stands(self, number: int, row: int) -> dict[float, float]:
        """Return how far bit T ``number`` stands out in a row at each speed that somebody told, Hz, dB."""
        row = self._find(row)
        told = [(kind[0], self._heard[kind]) for kind in self._bits[number]]
        return {speed: heard.stands[row] for speed, heard in told if speed is not None}

    def _find(self, row: int) -> int:
        """Return where a row of those read last is among those that are heard."""
        if not self._heard:
            self._hear()
        return row + self._count - len(self._waiting[-1].power)

    @property
    def numbers(self) -> Mapping[int, object]:
        """The T numbers of the bits."""
        return self._bits

    def keep(self, rows: int) -> None:
        """Go on after the first of the rows that were read last: the others will be read again."""
        if not self._readers:
            return
        self._waiting[-1] = self._waiting[-1].first(rows)
        if self._heard:
            for _, reader in self._readers.values():
                reader.keep(self._count)

    def learn(self) -> None:
        """Learn from the rows since the last time how fast the spindle truly turns, and reckon with it."""
        if self._waiting and not self._heard:
            self._hear()
        self._put_by()
        for heard in self._since:
            self._learn(heard)
        self._since = []
        self._reckon()

    @property
    def turned(self) -> float | None:
        """How fast the spindle turned, as a share of what was set, as far as that was learned."""
        return self._true_speed.ratio

    def unlikely(self, ear: Ear) -> Array32:
        """Return what each speed of an ear's grid loses for being unlikely here, dB, shape (g,)."""
        return self._true_speed.unlikely(ear.grid)

    def _reckon(self) -> None:
        """Reckon from now on with what was learned."""
        for ear, reader in self._readers.values():
            reader.expect(self.unlikely(ear))

    def _learn(self, heard: Mapping[_Kind, Turning]) -> None:
        """Learn from what stands out the most in each row, where that cuts."""
        best = np.argmax([found.stands for found in heard.values()], axis=0)
        for place, ((nominal, _), found) in enumerate(heard.items()):
            if nominal is not None:
                self._true_speed.hear(nominal, found.speed[(best == place) & (found.bites > BITES)])

    def _put_by(self) -> None:
        """Put by what was heard of the rows that were kept, and begin with the next ones."""
        if not self._heard:
            return
        rows = self._count
        self._since.append({kind: heard.turning.first(rows) for kind, heard in self._heard.items()})
        self._waiting, self._heard = [], {}

    @property
    def _count(self) -> int:
        return sum(len(each.power) for each in self._waiting)

    def _hear(self) -> None:
        """Hear what waits, all at once."""
        one = len(self._waiting) == 1
        heard = self._waiting[0] if one else _Waiting(*map(np.concatenate, zip(*self._waiting, strict=True)))
        for kind, (ear, reader) in self._readers.items():
            if ear == self._by:
                found = reader.read(Combs(heard.combs, heard.teeth))
            else:
                found = reader.read(Combs.of(ear, above_lines(ear, heard.power), heard.envelope))
            self._heard[kind] = _Heard(found, found.stands.tolist(), found.bites.tolist())


def _kind(ear: Ear) -> _Kind:
    return ear.nominal, ear.flutes


class _Fits(Mapping[int, Fit]):
    """The fits of one row, which are heard when they are looked at."""

    def __init__(self, which: WhichBit, row: int) -> None:
        self._which, self._row = which, row

    def __getitem__(self, number: int) -> Fit:
        return self._which.fit(number, self._row)

    def __iter__(self) -> Iterator[int]:
        return iter(self._which.numbers)

    def __len__(self) -> int:
        return len(self._which.numbers)
