"""How well each of a program's bits fits what is heard turning: by its speed and by its teeth."""

from collections.abc import Mapping
from dataclasses import dataclass

from analysis.features import Combs, Ear, Rows, SpeedReader, above_lines


@dataclass(frozen=True)
class Fit:
    """
    How well a bit fits what is heard.

    Attributes
    ----------
    stands
        How far its comb and its teeth stand out, dB.
    bites
        How far the swell of the hiss with its teeth stands out, dB: only what cuts has any.
    """

    stands: float
    bites: float


class WhichBit:
    """
    Hears each bit's comb beside the others'.

    Parameters
    ----------
    ears
        What each bit, by T number, is listened to with: windows of one size.
    """

    def __init__(self, ears: Mapping[int, Ear]) -> None:
        kinds = {(ear.nominal, ear.flutes): ear for ear in ears.values()}
        self._readers = {kind: (ear, SpeedReader(ear)) for kind, ear in kinds.items()}
        self._bits = {number: (ear.nominal, ear.flutes) for number, ear in ears.items()}
        self._heard: dict[tuple[float | None, int], tuple[list[float], list[float]]] = {}

    def read(self, rows: Rows, by: Ear) -> None:
        """Take in the rows that follow those that were kept, and the ear that they were read with."""
        for kind, (ear, reader) in self._readers.items():
            if ear == by:
                found = reader.read(Combs(rows.combs, rows.teeth))
            else:
                found = reader.read(Combs.of(ear, above_lines(ear, rows.power), rows.envelope))
            self._heard[kind] = found.stands.tolist(), found.bites.tolist()

    def fits(self, row: int) -> dict[int, Fit]:
        """Return how well each bit, by T number, fits a row of those read last."""
        heard = {kind: Fit(stands[row], bites[row]) for kind, (stands, bites) in self._heard.items()}
        return {number: heard[kind] for number, kind in self._bits.items()}

    def keep(self, rows: int) -> None:
        """Go on after the first of the rows that were read last: the others will be read again."""
        for _, reader in self._readers.values():
            reader.keep(rows)
