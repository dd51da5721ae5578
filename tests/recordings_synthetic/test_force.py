"""Milling force, against closed forms, published arithmetic and brute force."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from recordings_synthetic.force import (
    SLOT,
    Runout,
    Wood,
    helix_lag,
    line,
    plunge_chips,
    side_chips,
    side_force,
    smooth,
    teeth,
)

POINTS = 4096
TURN = np.arange(POINTS) / POINTS
CHIP_ALONE = Wood(tangential=1.0, edge=0.0, radial=0.0, grain=0.0)
SIXTY = (0.0, math.pi / 3)


def lines(feed, between, *, runout=Runout(), orders=(1, 2, 3, 4, 5)):  # noqa: B008 - frozen
    """Amplitudes of the sum of the teeth's tangential forces, at multiples of the spindle's frequency."""
    force = side_force(teeth(TURN, len(feed)), np.array(feed), runout, CHIP_ALONE, between)
    return [line(force.torque, order) for order in orders]


def test_two_even_teeth_sound_at_tooth_pass_only():
    """A full slot with two equal teeth has lines at even multiples only; 4/(3 pi) of the chip load at 2x."""
    found = lines([0.1, 0.1], SLOT)
    np.testing.assert_allclose(found[::2], 0.0, atol=1e-12)
    assert found[1] == pytest.approx(0.1 * 4 / (3 * math.pi), rel=1e-5)
    # Computed independently (z = 2, chip load .1), there rounded or sampled: .04246.
    assert found[1] == pytest.approx(0.04246, rel=1e-3)
    assert found[1] == pytest.approx(0.04244, abs=5e-6)


def test_uneven_teeth_raise_the_spindle_line_and_leave_tooth_pass():
    """In a full slot an imbalance of .02 puts .0200 on the spindle line and nothing on tooth-pass."""
    found = lines([0.12, 0.08], SLOT)
    # Computed independently, closed form: the difference of the teeth is .02 sin(angle) over the turn.
    assert found[0] == pytest.approx(0.0200, abs=1e-6)
    assert found[1] == pytest.approx(lines([0.1, 0.1], SLOT)[1], rel=1e-9)


def test_uneven_teeth_in_a_narrow_cut():
    """At 60 degrees of immersion the odd multiples rise, and tooth-pass stays."""
    found = lines([0.12, 0.08], SIXTY)
    # Closed form: the n-th odd line is 2/pi |integral of .02 sin(a) exp(-i n a)| over the immersion.
    angle = np.linspace(0.0, math.pi / 3, 20001)
    for order, size in zip((1, 3, 5), found[::2], strict=True):
        wave = 0.02 * np.sin(angle) * np.exp(-1j * order * angle)
        assert size == pytest.approx(2 / math.pi * abs(np.trapezoid(wave, angle)), rel=2e-3)
    # Computed independently for 300, 900, 1500 and 600 Hz; printed to two digits.
    np.testing.assert_allclose(found[::2], [0.0061, 0.0047, 0.0028], rtol=0.02)
    assert found[1] == pytest.approx(0.0278, rel=0.012)
    # The same from the closed form, to more digits.
    assert found[0] == pytest.approx(0.00617, abs=6e-6)
    assert found[1] == pytest.approx(0.02807, abs=6e-6)
    assert found[1] == pytest.approx(lines([0.1, 0.1], SIXTY)[1], rel=1e-9)


def test_a_small_radial_runout_is_a_square_wave():
    """Teeth that stand out unequally differ by a constant: 4/pi of the difference on the spindle line."""
    out = Runout(eccentricity=0.0005)
    assert lines([0.1, 0.1], SLOT, runout=out)[0] == pytest.approx(4 / math.pi * 0.001, rel=1e-3)


def test_one_tooth_knows_no_runout():
    """A bit with a single flute always cuts what it left itself."""
    at, feed = teeth(TURN, 1), np.array([0.1])
    np.testing.assert_allclose(side_chips(at, feed, Runout(0.03)), side_chips(at, feed, Runout()))


def test_a_tooth_without_its_edge_leaves_its_work_to_the_next():
    """With one tooth gone the one after it cuts twice the chip, once a turn."""
    for flutes in (2, 3):
        chips = side_chips(teeth(TURN, flutes), np.full(flutes, 0.1), Runout(short=1.0))
        wanted = [0.0, 0.2, 0.1][:flutes]
        np.testing.assert_allclose(chips.max(axis=1), wanted, atol=1e-4)


def test_half_a_bits_teeth_make_a_strong_line_once_a_turn():
    """One tooth of two in a full slot: the spindle's line is 2 x .1 / 2, half of a half wave's height."""
    # Closed form: a half-wave rectified sine of height h has the amplitude h / 2 at its own frequency.
    found = lines([0.1, 0.1], SLOT, runout=Runout(short=1.0))
    assert found[0] == pytest.approx(0.1, rel=1e-4)


def brute(at_sine, feed, radii, turns):
    """Cut one place of the wall tooth after tooth and return what each tooth of the last turns took."""
    flutes, wall, taken = len(radii[0]), -math.inf, []
    for turn in range(4 * turns):
        for tooth in range(flutes):
            reach = (turn * flutes + tooth) * feed * at_sine + radii[turn % turns][tooth]
            taken.append(max(0.0, reach - wall) if wall > -math.inf else 0.0)
            wall = max(wall, reach)
    return taken[-flutes * turns :]


@given(
    flutes=st.integers(1, 4),
    feed=st.floats(0.005, 0.2),
    eccentricity=st.floats(0.0, 0.02),
    loose=st.floats(0.0, 0.06),
    place=st.integers(1, POINTS // 2 - 1),
)
@settings(max_examples=60, deadline=None)
def test_chips_are_what_is_left_by_the_teeth_before(flutes, feed, eccentricity, loose, place):
    """Whatever the runout, each tooth takes what a wall cut tooth after tooth has left for it."""
    out, points = Runout(eccentricity, 0.7, loose, 2.1), 12 * 64
    turn = np.arange(points) / points
    place %= points // 2
    angle = 2 * math.pi * place / points
    radii = [[float(out.radius(tooth, flutes, np.zeros(1))) for tooth in range(flutes)]]
    wanted = brute(math.sin(angle), feed, radii, 1)
    chips = side_chips(teeth(turn, flutes), np.full(flutes, feed), out)
    # A tooth is at that angle when the bit has turned by its own lead more.
    found = [chips[tooth, (place + tooth * points // flutes) % points] for tooth in range(flutes)]
    if feed * math.sin(angle) * flutes > 2 * (eccentricity + loose) / 10:  # the wall has settled by then
        assert sum(found) == pytest.approx(flutes * feed * math.sin(angle), rel=1e-9, abs=1e-12)
    np.testing.assert_allclose(found, wanted, atol=1e-12)


@given(
    flutes=st.integers(1, 4),
    feed=st.floats(0.01, 0.2),
    loose=st.floats(0.0, 0.05),
    half=st.floats(0.0, 1.0),
)
@settings(max_examples=40, deadline=None)
def test_no_wood_is_cut_twice_or_left(flutes, feed, loose, half):
    """Over two turns the teeth together take exactly the feed, however the bit rocks."""
    points = 2 * 12 * 64
    turn = np.arange(points) * 2 / points
    at = teeth(turn, flutes)
    chips = plunge_chips(at, np.full(flutes, feed), Runout(loose=loose, towards=0.4, half=half))
    per_turn = points // 2
    taken = sum(
        chips[tooth, (tooth * per_turn // flutes + turn_no * per_turn) % points]
        for tooth in range(flutes)
        for turn_no in range(2)
    )
    assert taken >= 2 * flutes * feed - 1e-12
    if loose < flutes * feed:
        assert taken == pytest.approx(2 * flutes * feed, rel=1e-9)


def test_half_orders_come_from_rocking_only():
    """A bit that is out of true in the same way in each turn has no half orders; one that rocks has."""
    turn = np.arange(2 * POINTS) / POINTS
    at, feed = teeth(turn, 2), np.full(2, 0.07)
    for half, low, high in ((0.0, 0.0, 1e-9), (1.0, 0.3, 0.6)):
        out = Runout(loose=0.005, towards=0.2, half=half)
        torque = side_force(at, feed, out, CHIP_ALONE).torque
        full = line(torque, 1, turns=2)
        # Mobley, An Introduction to Predictive Maintenance, 14.1.3: half multiples of a loose part are
        # about half the amplitude of the full ones.
        for order in (0.5, 1.5):
            assert low <= line(torque, order, turns=2) / full <= high


def test_climb_and_conventional_see_the_same_chips_in_reverse():
    """Side cuts of one width, left or right of the feed, have equal lines."""
    conventional = lines([0.1, 0.1], (0.0, 1.0))
    climb = lines([0.1, 0.1], (math.pi - 1.0, math.pi))
    np.testing.assert_allclose(climb, conventional, rtol=2e-3, atol=1e-12)


def test_a_slot_pushes_back_and_aside():
    """In a slot the mean force of a tooth is a quarter of its greatest, aside, and by its share, back."""
    wood = Wood(tangential=10.0, edge=0.0, radial=0.4)
    force = side_force(teeth(TURN, 2), np.full(2, 0.1), Runout(), wood)
    # Closed form: the mean of sin² over half a turn is 1/4 of the full turn's.
    mean = force.plane.mean()
    assert mean.real == pytest.approx(-0.4 * 10.0 * 0.1 * 2 / 4, rel=1e-6)
    assert mean.imag == pytest.approx(10.0 * 0.1 * 2 / 4, rel=1e-6)


def test_the_helix_smooths_as_a_mean_over_its_lag():
    """Order n is multiplied by sin(n lag / 2) / (n lag / 2), and orders beyond the highest are gone."""
    force = side_force(teeth(TURN, 2), np.full(2, 0.1), Runout(), CHIP_ALONE, SIXTY)
    softer = smooth(force, 1, lag=0.8, highest=8.5)
    for order in (2, 4, 6, 8):
        factor = math.sin(order * 0.4) / (order * 0.4)
        assert line(softer.torque, order) == pytest.approx(abs(factor) * line(force.torque, order), rel=1e-9)
    assert line(softer.torque, 10) < 1e-12
    assert line(softer.plane.real, 10) < 1e-12


def test_lag_grows_with_depth():
    """A 25 degree helix on 6 mm lags by tan(25°) 2 depth / diameter."""
    assert helix_lag(6.0, 6.0) == pytest.approx(2 * math.tan(math.radians(25)))
