"""What the bit meets."""

import math

import numpy as np
import pytest

from recordings_synthetic.stock import STRIDE, engage

RADIUS = 3.0


def straight(y, z, *, start=0.0, end=40.0, step=0.04):
    """Return positions along X at one Y and Z."""
    x = np.arange(start, end, step if end > start else -step)
    return np.column_stack([x, np.full(len(x), y), np.full(len(x), z)])


def cut(*passes, heading=None):
    """Cut passes one after another, each from above the sheet, and return what the last one met."""
    up = [np.vstack([p, p[-1] + np.array([0.0, 0.0, 30.0])]) for p in passes]
    position = np.vstack(up)
    headings = np.zeros(len(position)) if heading is None else np.full(len(position), heading)
    met = engage(position, headings, np.full(len(position), RADIUS), 0.0)
    last = slice(len(position) - len(passes[-1]) - 1, len(position) - 1)
    middle = slice(len(passes[-1]) // 4, -len(passes[-1]) // 4)
    return [column[last][middle] for column in (met.depth, met.entry, met.leave, met.bottom)]


def test_a_slot_engages_half_a_turn_at_full_depth():
    """In uncut wood a bit meets material from its left over its front to its right."""
    depth, entry, leave, _ = cut(straight(0.0, -4.0))
    np.testing.assert_allclose(depth, 4.0)
    np.testing.assert_allclose(entry, 0.0)
    np.testing.assert_allclose(leave, math.pi)


@pytest.mark.parametrize("side", [1.0, -1.0])
def test_a_side_cut_is_conventional_on_the_left_and_climb_on_the_right(side):
    """Beside an open slot the engaged angle is acos(1 - width / radius), on the side of the wood."""
    width = 1.5
    depth, entry, leave, _ = cut(straight(0.0, -4.0), straight(side * width, -4.0))
    wanted = math.acos(1.0 - width / RADIUS)
    np.testing.assert_allclose(depth, 4.0)
    angle = (entry, leave) if side > 0 else (math.pi - leave, math.pi - entry)
    np.testing.assert_allclose(angle[0], 0.0, atol=1e-9)
    np.testing.assert_allclose(np.mean(angle[1]), wanted, atol=0.25)


def test_the_same_way_again_is_air():
    """A second pass at the same depth meets nothing; one that is deeper meets the difference."""
    again = cut(straight(0.0, -4.0), straight(0.0, -4.0))
    assert not again[0].any()
    deeper = cut(straight(0.0, -4.0), straight(0.0, -6.5))
    np.testing.assert_allclose(deeper[0], 2.5)


def test_a_tab_is_a_shallower_cut():
    """Where the bit rises over a tab the cut is as much shallower."""
    high = straight(0.0, -9.5)
    np.testing.assert_allclose(cut(straight(0.0, -8.8), high)[0], 0.7)


def test_going_back_the_other_way_changes_nothing():
    """Direction in the plane does not matter to a slot."""
    depth, entry, leave, _ = cut(straight(0.0, -3.0, start=40.0, end=0.0), heading=math.pi)
    np.testing.assert_allclose(depth, 3.0)
    np.testing.assert_allclose(leave - entry, math.pi)


def test_a_plunge_meets_the_sheet_with_its_whole_end_once():
    """Going down, the bit's end meets material all the way; going down the same hole again, none."""
    down = np.column_stack([np.zeros(200), np.zeros(200), np.linspace(-0.1, -8.0, 200)])
    position = np.vstack([down, [[0.0, 0.0, 5.0]], down])
    met = engage(position, np.zeros(401), np.full(401, RADIUS), 0.0)
    np.testing.assert_allclose(met.bottom[:200], 1.0)
    assert not met.bottom[201:].any()


def test_above_the_sheet_is_air():
    """Nothing is met above the sheet, or without a bit."""
    for z, radius in ((0.5, RADIUS), (-3.0, 0.0)):
        path = straight(0.0, z)
        met = engage(path, np.zeros(len(path)), np.full(len(path), radius), 0.0)
        assert not met.cutting.any()


def test_a_bit_that_hangs_lower_cuts_deeper_and_finds_less_the_next_time():
    """A bit pulled out by half a mm cuts half a mm deeper, and leaves that much less to the next pass."""
    np.testing.assert_allclose(cut(straight(0.0, -4.5))[0], 4.5)
    np.testing.assert_allclose(cut(straight(0.0, -4.5), straight(0.0, -8.5))[0], 4.0)


def test_what_comes_later_does_not_change_what_was_met():
    """Two paths that part met the same until a stride before they part."""
    one, other = straight(0.0, -4.0), straight(0.0, -4.0)
    other[600:, 2] = -5.0
    first, second = (engage(p, np.zeros(len(p)), np.full(len(p), RADIUS), 0.0) for p in (one, other))
    same = 600 - round(STRIDE / 0.04) - 1
    np.testing.assert_array_equal(first.depth[:same], second.depth[:same])
    joined = first.until(599, second)
    np.testing.assert_array_equal(joined.depth[:600], first.depth[:600])
    np.testing.assert_array_equal(joined.depth[600:], second.depth[600:])
