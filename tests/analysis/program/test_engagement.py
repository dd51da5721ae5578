"""How deep and how wide moves cut, against closed forms."""

import pytest

from analysis.cutting import Bit
from analysis.program import Engagement, engagement, read

BITS = {0: Bit("six", diameter=6.0, flutes=2, speed=18_000)}
HEAD = "G21 G90\nS18000 M3\nG0 Z5\nG0 X0 Y0\n"


def cuts_of(text: str) -> Engagement:
    """Return the engagement of a program of feeds, whose first two moves are traverses."""
    return engagement(read(HEAD + text), BITS)


def test_a_slot():
    """6 mm wide, 3 mm deep at 2400 mm/min: 43.2 cm³/min and .0667 mm a tooth (recomputed by hand)."""
    cuts = cuts_of("G1 Z-3 F600\nG1 X100 F2400\n")
    assert cuts.depth[-1] == pytest.approx(3.0)
    assert cuts.width[-1] == pytest.approx(1.0, abs=0.01)
    assert cuts.rate[-1] == pytest.approx(43.2, rel=0.01)
    assert cuts.chip[-1] == pytest.approx(0.06667, abs=5e-6)
    assert cuts.steady[-1]


@pytest.mark.parametrize("over", [0.3, 1.0, 2.4, 3.0, 5.0])
def test_a_side_pass(over: float):
    """Beside a straight slot a pass is as wide as its step-over."""
    cuts = cuts_of(f"G1 Z-3 F600\nG1 X100 F2400\nG1 Y{over}\nG1 X0\n")
    assert cuts.depth[-1] == pytest.approx(3.0)
    assert cuts.width[-1] == pytest.approx(over / 6, abs=0.01)
    assert cuts.steady[-1]
