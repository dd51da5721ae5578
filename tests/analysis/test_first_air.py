"""How much the air swells with the teeth is learned in its first seconds, and from nothing else."""

import pytest

from analysis.first_air import AirSwell, FirstAir
from analysis.presence import Phase

SECONDS = 0.05


def surely(*stretches: tuple[float, Phase]) -> list[float]:
    """When rows of some stretches, by their seconds and phases, are surely air, s."""
    first, rows = (
        FirstAir(SECONDS),
        [phase for lasting, phase in stretches for _ in range(round(lasting / SECONDS))],
    )
    return [row * SECONDS for row, phase in enumerate(rows) if first.row(phase)]


def test_the_first_seconds_of_a_spindle_that_stood_are_air():
    """Once it has settled, and only so much of it: a cut that is too quiet to be told comes after."""
    found = surely((2.0, Phase.OFF), (60.0, Phase.AIR))
    assert found[0] == pytest.approx(2.3, abs=0.1)
    assert len(found) * SECONDS == pytest.approx(4.0, abs=0.1)


def test_short_cuts_are_left_out():
    """Between pecks it is the air again, as soon as it has settled."""
    found = surely((2.0, Phase.OFF), *[(1.0, Phase.CUT), (1.0, Phase.AIR)] * 9)
    assert all((at % 2.0) >= 1.0 for at in found)
    assert len(found) * SECONDS == pytest.approx(4 * 0.7, abs=0.3)


def test_what_falls_as_low_later_is_not_learned():
    """The level of a cut may fall to that of the air: a microphone was moved."""
    found = surely((2.0, Phase.OFF), (1.0, Phase.AIR), (7.0, Phase.CUT), (60.0, Phase.AIR))
    assert max(found) < 3.1


@pytest.mark.parametrize("stood", [0.0, 0.3])
def test_nothing_is_known_where_listening_begins_with_a_spindle_that_turns(stood: float):
    """It may be the middle of a cut that is taken for the air."""
    assert not surely((stood, Phase.OFF), (60.0, Phase.AIR))


def test_another_start_is_another_air():
    """Another bit may be in it."""
    once = surely((2.0, Phase.OFF), (20.0, Phase.AIR))
    assert len(surely((2.0, Phase.OFF), (20.0, Phase.AIR), (2.0, Phase.OFF), (20.0, Phase.AIR))) == 2 * len(
        once
    )


@pytest.mark.parametrize(("bites", "usual"), [(9.0, 9.0), (1.0, 0.0), (-2.0, 0.0)])
def test_a_swell_beyond_chance_is_the_air_s_own(bites: float, usual: float):
    """What any air has by chance is none; and a few rows tell nothing."""
    swell = AirSwell(SECONDS)
    for _ in range(5):
        swell.hear(bites)
    assert swell.usual == 0.0
    for _ in range(40):
        swell.hear(bites)
    assert swell.usual == usual
