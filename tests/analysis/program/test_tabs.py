"""Tabs of outlines as sheets of plywood are cut, with their places and heights in closed form."""

import math
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.program import Part, Tab, find_parts, read

SHIPPED = Path(__file__).parents[3] / "recordings_synthetic"
HEAD = ["G21 G90 G17", "T1 M6", "M3 S18000 F900", "G0 Z5"]


def parts(*lines: str) -> tuple[Part, ...]:
    """Return the parts of a program made of these lines, the first of which is file line 5."""
    return find_parts(read("\n".join([*HEAD, *lines, "G0 Z5", "M30"])))


def tabs(*lines: str) -> tuple[Tab, ...]:
    """Return the tabs of the one part that these lines cut."""
    (part,) = parts(*lines)
    return part.tabs


def square(z: float, side: float = 40, x: float = 0, y: float = 0) -> list[str]:
    """Go down and around a square, from its corner back to it."""
    return [f"G1 Z{z} F300", f"X{x + side} F900", f"Y{y + side}", f"X{x}", f"Y{y}"]


def over(lift: list[str]) -> list[str]:
    """Cut a square of 40 mm to 6 mm, with this on the way along its first side, between X 10 and 30."""
    return ["G0 X0 Y0", "G1 Z-6 F300", "X10 F900", *lift, "G1 X40", "Y40", "X0", "Y0"]


@settings(max_examples=25, deadline=None)
@given(
    at=st.integers(1, 20),
    width=st.integers(2, 16),
    ramp=st.sampled_from([0, 1, 3]),
    height=st.integers(1, 11),
    place=st.tuples(st.integers(-300, 300), st.integers(-300, 300)),
    turn=st.integers(0, 3),
    mirrored=st.booleans(),
)
def test_a_tab_is_found_wherever_it_lies(*, at, width, ramp, height, place, turn, mirrored):
    """Moved, turned by a quarter or cut the other way around, a tab keeps its place and its size."""

    def put(x: float, y: float) -> tuple[float, float]:
        x, y = (x, -y) if mirrored else (x, y)
        for _ in range(turn):
            x, y = -y, x
        return x + place[0], y + place[1]

    top, end = -6 + height / 2, at + width + 2 * ramp
    way = [(at, 0, -6), (at + ramp, 0, top), (at + ramp + width, 0, top), (end, 0, -6), (50, 0, -6),
           (50, 30, -6), (0, 30, -6), (0, 0, -6)]  # fmt: skip
    go = ["X{:.3f} Y{:.3f}".format(*put(x, y)) + f" Z{z}" for x, y, z in way]
    (tab,) = tabs("G0 " + go[-1].split(" Z")[0], "G1 Z-6", *go)
    assert tab.begin == pytest.approx(put(at, 0), abs=1e-6)
    assert tab.end == pytest.approx(put(end, 0), abs=1e-6)
    assert (tab.along, tab.width, tab.height) == pytest.approx((at, width + 2 * ramp, height / 2))


LIFTS = {
    "straight": (["G1 Z-4", "X16", "Z-6"], 10.0, 16.0, 2.0),
    "ramps": (["G1 X13 Z-4", "X17", "X20 Z-6"], 10.0, 20.0, 2.0),
    "one peak": (["G1 X14 Z-3", "X18 Z-6"], 10.0, 18.0, 3.0),
    "up a ramp, straight down": (["G1 X13 Z-4", "X18", "Z-6"], 10.0, 18.0, 2.0),
    "above the work": (["G1 Z1", "X16", "Z-6"], 10.0, 16.0, 6.0),
    "traverse over it": (["G0 Z1", "G0 X16", "G1 Z-6"], 10.0, 16.0, 6.0),
    "traverse from far up": (["G0 Z5", "G0 X16", "G0 Z1", "G1 Z-6"], 10.0, 16.0, 6.0),
}


@pytest.mark.parametrize("name", LIFTS)
def test_a_tab_has_its_place_width_height_and_lines(name: str):
    """However the bit gets over it, a tab is where the last pass leaves its depth, as high as it goes."""
    lift, begin, end, height = LIFTS[name]
    (tab,) = tabs(*over(lift))
    assert tab.begin == pytest.approx((begin, 0))
    assert tab.end == pytest.approx((end, 0))
    assert (tab.along, tab.width) == pytest.approx((begin, end - begin))
    assert tab.height == pytest.approx(height, rel=0.05)
    assert (tab.first_line, tab.last_line) == (8, 7 + len(lift))


def test_what_stands_is_what_the_lowest_pass_leaves():
    """A lift to above what an earlier pass has cut leaves a tab up to that pass only."""
    passes = [*square(-2), *square(-4)]
    high, low = tabs("G0 X0 Y0", *passes, *over(["G1 Z-1", "X16", "Z-6", "X20", "Z-5", "X26", "Z-6"])[1:])
    assert (high.begin, high.height) == (pytest.approx((10, 0)), pytest.approx(2))
    assert (low.begin, low.height) == (pytest.approx((20, 0)), pytest.approx(1))


def test_passes_that_all_lift_leave_one_tab():
    """A tab that several passes lift over is told once, with its full height."""
    lifted = ["X10", "Z-2", "X16", "Z{z}", "X40", "Y40", "X0", "Y0"]
    lines = [line.format(z=z) for z in (-4, -6, -6) for line in ("G1 Z{z} F300", *lifted)]
    (tab,) = tabs("G0 X0 Y0", *square(-2), *lines)
    assert (tab.begin, tab.height) == (pytest.approx((10, 0)), pytest.approx(4))


def test_an_outline_that_leaves_gaps_has_tabs_there():
    """Where the last pass traverses over a gap, the tab is what the pass before left."""
    last = ["G1 Z-6", "X10", "G0 Z5", "G0 X16", "G1 Z-6", "X40", "Y10", "G0 Z5", "G0 Y18", "G1 Z-6", "Y40",
            "X0", "Y0"]  # fmt: skip
    first, second = tabs("G0 X0 Y0", *square(-3), *last)
    assert (first.begin, first.end, first.height) == (
        pytest.approx((10, 0)),
        pytest.approx((16, 0)),
        pytest.approx(3),
    )
    assert (second.begin, second.end, second.width) == (
        pytest.approx((40, 10)),
        pytest.approx((40, 18)),
        pytest.approx(8),
    )


@pytest.mark.parametrize("ends", [["X17"], ["X14", "X17 Z-4"]])
def test_a_tab_where_the_outline_begins(ends: list[str]):
    """An outline that begins behind a tab and ends before it has that tab, ramped or not."""
    ramped = len(ends) > 1
    begin = ["G0 X23 Y0", "G1 Z-4 F300", "X26 Z-6"] if ramped else ["G0 X23 Y0", "G1 Z-6 F300"]
    (tab,) = tabs(*begin, "X40", "Y30", "X0", "Y0", *ends)
    assert tab.begin == pytest.approx((14 if ramped else 17, 0))
    assert tab.end == pytest.approx((26 if ramped else 23, 0))
    assert tab.width == pytest.approx(12 if ramped else 6)
    assert tab.height == pytest.approx(6)


def test_tabs_on_a_circle():
    """On a circle of 20 mm radius a lift over 30 degrees is 10.47 mm wide along the way."""
    angles = [0, 45, 75, 180, 210, 360]
    ends = [(20 * math.cos(math.radians(a)), 20 * math.sin(math.radians(a))) for a in angles]
    arcs = [f"G3 X{x:.4f} Y{y:.4f} I{-before[0]:.4f} J{-before[1]:.4f}" for before, (x, y) in pairwise(ends)]
    lines = [
        "G1 Z-6 F300",
        arcs[0],
        "G1 Z-4",
        arcs[1],
        "G1 Z-6",
        arcs[2],
        "G1 Z-4",
        arcs[3],
        "G1 Z-6",
        arcs[4],
    ]
    found = tabs("G0 X20 Y0", "G1 Z-3 F300", "G3 I-20", *lines)
    assert [tab.width for tab in found] == pytest.approx([20 * math.pi / 6] * 2, rel=1e-3)
    assert [tab.height for tab in found] == pytest.approx([2, 2])
    assert [tab.along for tab in found] == pytest.approx([5 * math.pi, 20 * math.pi], rel=1e-3)


def test_a_gap_on_a_circle_stands_as_high_as_the_pass_before_left_it():
    """A gap is bridged in a straight line, and what was cut along the arc under it still counts."""
    ends = [(20 * math.cos(a), 20 * math.sin(a)) for a in (0.0, 0.4)]
    x, y = ends[1]
    arc = f"G3 X20 Y0 I{-x:.4f} J{-y:.4f}"
    (tab,) = tabs("G0 X20 Y0", "G1 Z-3 F300", "G3 I-20", "G0 Z5", f"G0 X{x:.4f} Y{y:.4f}", "G1 Z-6", arc)
    assert tab.height == pytest.approx(3)
    assert tab.width == pytest.approx(math.dist(*ends), abs=0.01)


def test_a_part_inside_a_frame_has_its_own_tabs():
    """A window that is cut out of a part is held by tabs as well; all belong to the part around it."""
    window = ["G0 X10 Y10", "G1 Z-6 F300", "X15", "Z-4", "X20", "Z-6", "X30", "Y30", "X10", "Y10", "G0 Z5"]
    inner, outer = tabs(*window, *over(["G1 Z-4", "X16", "Z-6"]))
    assert (inner.begin, outer.begin) == (pytest.approx((15, 10)), pytest.approx((10, 0)))


def test_a_pass_that_runs_on_over_its_beginning():
    """A pass that overlaps its beginning without a line ending there goes around all the same."""
    lines = over(["G1 Z-4", "X16", "Z-6"])
    (tab,) = tabs("G0 X5 Y0", lines[1], *lines[2:-1], "Y0", "X8")
    assert (tab.along, tab.begin) == (pytest.approx(5), pytest.approx((10, 0)))


RING = [*square(-3, 30), "G1 X3 Y3", *square(-3, 24, 3, 3), "G1 X6 Y6", *square(-3, 18, 6, 6)]


def stepped(side: float, at: float) -> list[str]:
    """Go around a ring of a pocket whose floor is 1 mm higher between X 12 and X 18."""
    x = y = at
    return [
        f"G1 X{x} Y{y} Z-3 F900",
        "X12",
        "Z-2",
        "X18",
        "Z-3",
        f"X{x + side}",
        f"Y{y + side}",
        f"X{x}",
        f"Y{y}",
    ]


NO_TABS = {
    "no lift": square(-6),
    "passes": [*square(-2), *square(-4), *square(-6)],
    "straight ramp in, and over it again": ["G1 Z0", "X20 Z-6", "X40", "Y40", "X0", "Y0", "X20"],
    "straight ramp in, and not over it again": ["G1 Z0", "X10 Z-6", "X40", "Y40", "X0", "Y0"],
    "ramp in along a corner": ["G1 Z0", "X0 Y5 Z-3", "Y0 Z-6", "X40", "Y40", "X0", "Y5"],
    "ramp in there and back": ["G1 Z0", "X10 Z-3", "X0 Z-6", "X40", "Y40", "X0", "Y0"],
    "helix": ["X20", *(f"G3 X20 Y0 Z{-z} I-20" for z in range(1, 7)), "G3 X20 Y0 I-20"],
    "pocket": RING,
    "floor with a step": [line for i in range(5) for line in stepped(30 - 6 * i, 3 * i)],
    "small floor with a step": [line for i in range(2) for line in stepped(9 - 4 * i, 10 + 2 * i)],
    "a lift along an open line": ["G1 Z-6", "X10", "Z-4", "X16", "Z-6", "X40"],
    "out, and back over a lift": ["G1 Z-6", "X40", "X10", "Z-4", "X16", "Z-6", "X0"],
    "out and back": ["G1 Z-6", "X-2 Y3", "X4.35 Y.25", "X.2", "Z-1.75", "X4.2", "Z-6"],
    "a skin": over(["G1 Z-5.9", "X16", "Z-6"])[1:],
    "one side shallower": ["G1 Z-6", "X40", "Z-4", "Y40", "Z-6", "X0", "Y0"],
}


@pytest.mark.parametrize("name", NO_TABS)
def test_what_is_no_tab(name: str):
    """Ramps in, pockets, their islands and steps, open lines, whole sides and thin skins are no tabs."""
    found = parts("G0 X0 Y0", *NO_TABS[name])
    assert [part.tabs for part in found] == [()]


def test_the_island_of_a_pocket_is_no_tab():
    """Loops around an island, and a lift over it from one side of the pocket to the other, leave no tab."""
    below, above = ["X28", "Y5", "X2", "Y8", "X28", "Y10"], ["X2", "Y12", "X28", "Y15", "X2", "Y18", "X28"]
    island = ["X20", "G1 Z1", "X10", "Z-3"]
    found = parts("G0 X2 Y2", "G1 Z-3 F300", *below, *island, *above, "G0 Z5", "G0 X0 Y0", *square(-3, 30),
                  "G0 Z5", "G0 X11 Y9", *square(-3, 8, 11, 9))  # fmt: skip
    assert {part.tabs for part in found} == {()}


def test_parts_in_a_row_have_each_its_own():
    """Tabs that lie across a narrow web from the neighbour's belong each to one part."""
    first = over(["G1 Z-4", "X16", "Z-6"])
    second = ["G0 X0 Y-6", "G1 Z-6 F300", "X40", "Y-46", "X0", "Y-6", "G0 Z5"]
    found = parts(*first, "G0 Z5", *second)
    assert [len(part.tabs) for part in found] == [1, 0]


def test_two_kerfs_side_by_side_have_the_tab_once():
    """An outline that is cut rough and then to size leaves one tab where both lift over it."""
    rough = [line.replace("Y0", "Y-0.5").replace("Y40", "Y40.5") for line in over(["G1 Z-4", "X16", "Z-6"])]
    (tab,) = tabs(*rough, "G0 Z5", *over(["G1 Z-4", "X16", "Z-6"]))
    assert tab.begin == pytest.approx((10, 0))


def test_the_trays_and_stands_hang_on_thirteen_tabs():
    """In the shipped job each tray has three tabs of 10 mm, 2.9 mm high, and each stand two."""
    found = find_parts(read((SHIPPED / "seedling_trays.ngc").read_text()))
    assert [len(part.tabs) for part in found] == [3, 3, 3, 2, 2]
    every = [tab for part in found for tab in part.tabs]
    assert [tab.width for tab in every] == pytest.approx([10] * 13, rel=2e-4)
    assert [tab.height for tab in every] == pytest.approx([12.4 - 9.5] * 13)
    first = every[0]
    assert first.along == pytest.approx(24 + 1.5 * math.pi + 19, abs=2e-3)
    assert (first.begin, first.end, first.first_line, first.last_line) == ((31, 63), (41, 63), 271, 273)
