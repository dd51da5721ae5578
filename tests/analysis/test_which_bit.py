"""Which of a program's bits turns is told by its comb and its teeth; what is read again is read alike."""

import numpy as np
import pytest
from hand_made import biting, windows_of
from numpy.typing import NDArray

from analysis.cutting import Bit
from analysis.features import FeatureReader, Rows
from analysis.listener import ear_for
from analysis.which_bit import WhichBit
from analysis.windows import window_size

RATE = 48_000
BITS = {
    1: Bit("4 mm up-cut", diameter=4.0, flutes=2, speed=18_000.0),
    2: Bit("6 mm down-cut", diameter=6.0, flutes=2, speed=15_000.0),
    3: Bit("6 mm compression", diameter=6.0, flutes=3, speed=18_000.0),
}
SIZE = window_size(RATE, 60.0 / 15_000.0)
EARS = {number: ear_for(RATE, bit, SIZE) for number, bit in BITS.items()}
ALL = {number: [ear] for number, ear in EARS.items()}


def rows_of(sound: NDArray[np.float32]) -> Rows:
    """Read all windows of a sound at once."""
    ear = EARS[1]
    return FeatureReader(ear).read(windows_of(sound, ear.size, ear.hop))


def turning(speed: float, flutes: int, *, bites: float = 0.0) -> NDArray[np.float32]:
    """Three seconds of a bit, rpm, in a hiss that swells with its teeth by ``bites``."""
    return biting(3.0, RATE, speed / 60.0, flutes, bites)


@pytest.mark.parametrize(("number", "speed"), [(1, 18_100.0), (2, 14_900.0)])
def test_the_bit_that_turns_stands_out(number: int, speed: float):
    """The bit whose speed is heard stands out by more than a dB over one of another speed."""
    which, rows = WhichBit(ALL), rows_of(turning(speed, 2))
    which.read(rows, EARS[1])
    fits = which.fits(len(rows) - 1)
    other = 2 if number == 1 else 1
    assert fits[number].stands > fits[other].stands + 1.0


def test_a_bit_of_several_speeds_fits_at_whichever_it_turns():
    """A change of its speed speaks for no other bit: it stands out as one that has that speed alone."""
    alone, both = WhichBit(ALL), WhichBit({2: [EARS[2]], 1: [EARS[1], EARS[2]]})
    for speed, same in ((18_100.0, 1), (14_900.0, 2)):
        rows = rows_of(turning(speed, 2, bites=0.9))
        for which in (alone, both):
            which.read(rows, EARS[1])
        last = len(rows) - 1
        assert both.fits(last)[1] == alone.fits(last)[same]


def test_teeth_tell_bits_of_one_speed_apart():
    """Of two bits that turn as fast the one with as many teeth as the hiss swells with stands out."""
    which, rows = WhichBit(ALL), rows_of(turning(18_000.0, 3, bites=0.9))
    which.read(rows, EARS[1])
    fits = which.fits(len(rows) - 1)
    assert fits[3].stands > fits[1].stands + 1.0
    assert fits[3].bites > 5.0


def test_what_turns_in_the_air_does_not_bite():
    """A comb in a steady hiss has no swell with the teeth to speak of."""
    which, rows = WhichBit(ALL), rows_of(turning(18_000.0, 2))
    which.read(rows, EARS[1])
    assert np.median([which.fits(row)[1].bites for row in range(len(rows))]) < 3.0


def test_fits_do_not_depend_on_when_they_are_asked_for():
    """Rows that come one by one and are asked about now and then fit as when all are heard at once."""
    reader, sound = FeatureReader(EARS[1]), turning(18_000.0, 2)
    rows = [reader.read(sound[np.newaxis, first : first + SIZE]) for first in range(0, 90 * 1000, 1000)]
    now_and_then, always = WhichBit(ALL), WhichBit(ALL)
    for number, each in enumerate(rows):
        for which in (now_and_then, always):
            which.read(each, EARS[1 if number < 40 else 3])
        heard = always.fits(0)[2]
        assert number not in {3, 39, 43, 44, 89} or now_and_then.fits(0)[2] == heard
        for which in (now_and_then, always):
            which.keep(1)


def test_rows_that_are_read_again_are_read_alike():
    """Rows that were not kept give the same fits when they are read once more."""
    ear, sound = EARS[1], windows_of(turning(18_000.0, 2), EARS[1].size, EARS[1].hop)
    once, again = WhichBit(ALL), WhichBit(ALL)
    reader = FeatureReader(ear)
    first, rest = reader.read(sound[:10]), reader.read(sound[10:20])
    for rows in (first, rest):
        once.read(rows, ear)
        once.keep(len(rows))
    whole = FeatureReader(ear).read(sound[:20])
    again.read(whole, ear)
    again.keep(10)
    again.read(rest, ear)
    assert [once.fits(row) for row in range(len(rest))] == [again.fits(row) for row in range(len(rest))]
