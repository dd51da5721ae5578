"""Parts that touch on shared lines, and parts in a frame."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from test_parts import circle, drilled, rectangle
from test_recut import said, written

from analysis.cutting import Bit
from analysis.errors import ProgramError
from analysis.locate import Plan
from analysis.place.marks import HEARD, SUSPECT, unmarked, verdicts
from analysis.program import Part, Program, cutting, find_parts, read, recut_program

HEAD = ["G21 G90 G54", "T1 M6", "M3 S18000", "G0 Z5"]
DEEP = -6.0


def program(*jobs: list[str]) -> Program:
    """Return a program made of these pieces."""
    return read("\n".join([*HEAD, *(line for job in jobs for line in job), "M30"]) + "\n")


def areas(*jobs: list[str]) -> list[int]:
    """Return the areas of a program's parts, mm²."""
    return [round(part.area) for part in find_parts(program(*jobs))]


def around(x: float, y: float, w: float, h: float, z: float = DEEP) -> list[str]:
    """Cut a rectangle the other way around than `rectangle` does."""
    return [
        "G0 Z5",
        f"G0 X{x} Y{y}",
        f"G1 Z{z} F300",
        f"Y{y + h} F1000",
        f"X{x + w}",
        f"Y{y}",
        f"X{x}",
        "G0 Z5",
    ]


def with_tabs(x: float, y: float, w: float, h: float) -> list[str]:
    """Cut a rectangle with a tab on its right and on its left side, traversing over them."""
    over = ["G0 Z5", "G0 Y{}", f"G1 Z{DEEP} F300"]
    up = [f"G1 Y{y + 5} F900", *(line.format(y + 9) for line in over), f"G1 Y{y + h} F900"]
    down = [f"G1 Y{y + 9} F900", *(line.format(y + 5) for line in over), f"G1 Y{y} F900"]
    return ["G0 Z5", f"G0 X{x} Y{y}", f"G1 Z{DEEP} F300", f"X{x + w} F900", *up, f"X{x}", *down, "G0 Z5"]


# Two by two squares whose ways coincide where they touch; and two in a frame.
GRID = [rectangle(x, y, 40, 40, -3, DEEP) for y in (0, 40) for x in (0, 40)]
INSIDE = [rectangle(x, 10, 40, 40, DEEP) for x in (10, 80)]
FRAME = rectangle(0, 0, 130, 60, DEEP)


# --- which are parts of their own -----------------------------------------------------------------------


@pytest.mark.parametrize("again", [1, 2])
def test_parts_that_are_gone_around_again_after_the_others_are_as_many(again: int):
    """A pass for the finish around all of them, in either sense, leaves each what it is."""
    places = [(0, 0, 40, 40), (60, 0, 30, 30)]
    once = [rectangle(*place, DEEP) for place in places]
    finish = [around(*place) for place in places]
    assert areas(*once, *once * again) == areas(*once, *finish * again) == [1600, 900]


def test_closed_ways_that_share_an_edge_are_parts_of_their_own():
    """Panels nested one bit apart, so that the ways coincide, are as many parts, each with its own box."""
    found = find_parts(program(*GRID))
    assert [round(part.area) for part in found] == [1600] * 4
    assert [part.box for part in found] == [(x, y, x + 40, y + 40) for y in (0, 40) for x in (0, 40)]


def test_tabs_on_a_shared_line_belong_to_each_part():
    """Outlines with tabs are closed ways as well, and each counts its own tabs."""
    found = find_parts(program(with_tabs(0, 0, 40, 30), with_tabs(40, 0, 40, 30)))
    assert [(round(part.area), len(part.tabs)) for part in found] == [(1200, 2), (1200, 2)]


def test_parts_that_touch_only_partly_are_parts_of_their_own():
    """Edges that coincide for some of their length, as of panels of different sizes, are shared too."""
    assert areas(rectangle(0, 0, 40, 40, DEEP), rectangle(40, 10, 60, 90, DEEP)) == [1600, 5400]


def test_what_is_cut_inside_them_goes_with_them():
    """Holes and pockets in panels on shared lines belong to these."""
    holes = drilled((20, 20), (60, 20), (20, 60), (60, 60))
    found = find_parts(program(holes, circle(20, 20, 8), *GRID))
    assert [part.first_line for part in found] == [6, 7, 8, 9]
    assert [round(part.area) for part in found] == [1600] * 4


@pytest.mark.parametrize(
    "jobs",
    [
        [rectangle(0, 0, 40, 40, -2), rectangle(40, 0, 40, 40, DEEP)],
        [*GRID, ["G0 X5 Y20", "G1 Z-1 F300", "X75 F900", "G0 Z5"]],
        [*GRID, drilled((40, 20), (60, 60))],
        [rectangle(0, 0, 40, 40, DEEP)[:-1], rectangle(40, 0, 40, 40, DEEP)[2:]],
        [rectangle(0, 0, 40, 40, DEEP), rectangle(20, 20, 40, 40, DEEP)],
        [rectangle(x, y, 40, 40, DEEP) for x in (0, 40, 80) for y in (0, 40, 80) if (x, y) != (40, 40)],
    ],
    ids=["two depths", "a groove across", "a hole on the line", "in one go", "overlapping", "one left open"],
)
def test_what_is_not_set_free_by_ways_of_its_own_stays_one_part(jobs: list[list[str]]):
    """Where a way belongs to several of them, or is missing, what touches is judged together."""
    assert len(areas(*jobs)) == 1


def test_a_frame_is_a_part_of_its_own():
    """The offcut's outline around several parts does not join them."""
    assert areas(*INSIDE, FRAME) == [1600, 1600, 130 * 60]
    assert areas(FRAME, *INSIDE) == [130 * 60, 1600, 1600]


def test_a_frame_may_lie_on_the_lines_of_what_it_holds():
    """A rectangle around a grid of panels that goes over their outer edges once more is a frame too."""
    assert areas(*GRID, rectangle(0, 0, 80, 80, DEEP)) == [1600] * 4 + [6400]


@pytest.mark.parametrize(
    "jobs",
    [
        [*INSIDE, around(0, 0, 130, 60)],
        [INSIDE[0], FRAME],
        [*INSIDE, drilled((65, 30)), FRAME],
        [*(rectangle(x, 10, 40, 40, -2) for x in (10, 80)), FRAME],
    ],
    ids=["holes go the other way around", "one hole", "a hole beside them", "pockets"],
)
def test_a_plate_with_holes_is_one_part(jobs: list[list[str]]):
    """A bit keeps the wood on one side: around holes it goes the other way than around an outline."""
    assert areas(*jobs) == [130 * 60]


# --- what spoils them -----------------------------------------------------------------------------------


def judged(done: Program, *spoiled: tuple[int, float, float], unheard: int = 0) -> list[str]:
    """
    Return the verdicts where the bit was loose on some ways, told by their part and where they lead.

    All is heard but what is cut with the part ``unheard``.
    """
    plan, bit = Plan.of(done, {number: Bit("six", 6.0, 2) for number in (0, 1)}), frozenset({1})
    marks = unmarked(plan) | np.uint8(HEARD)
    for number, x, y in spoiled:
        own = plan.parts[number - 1].moves
        marks[own[(done.moves.end[own, :2] == (x, y)).all(axis=1)][0]] |= SUSPECT
    if unheard:
        marks[plan.parts[unheard - 1].moves] = 0
    return [part.verdict for part in verdicts(plan, marks, bit)]


def test_what_spoils_a_shared_line_spoils_both_sides():
    """An alarm on a line is about the parts on both sides of it, and about no other."""
    done = program(*GRID)
    assert judged(done) == ["good"] * 4
    assert judged(done, (1, 40, 40)) == ["suspect", "suspect", "good", "good"]
    assert judged(done, (1, 40, 0)) == ["suspect", "good", "good", "good"]


def test_a_part_is_good_only_where_its_shared_lines_were_heard():
    """What cut its edge before, with another part's outline, must have been listened to as well."""
    done = program(*GRID)
    assert judged(done, unheard=1) == ["unheard", "unheard", "unheard", "good"]


def test_a_frame_spoils_nothing_inside_and_is_spoiled_by_all_of_it():
    """Its own cut meets none of the parts; but it may be a plate, and they its holes."""
    done = program(*INSIDE, FRAME)
    assert judged(done, (3, 130, 60)) == ["good", "good", "suspect"]
    assert judged(done, (1, 50, 50)) == ["suspect", "good", "suspect"]


def test_a_frame_on_the_lines_of_a_part_spoils_it():
    """Where it goes along an outline once more it may spoil that."""
    done = program(*GRID, rectangle(0, 0, 80, 80, DEEP))
    assert judged(done, (5, 80, 0)) == ["suspect", "suspect", "good", "good", "suspect"]


@settings(max_examples=40, deadline=None)
@given(st.data())
def test_no_cut_at_the_edge_of_a_part_is_left_out(data: st.DataObject):
    """Of a grid of any columns and rows each part is cut by all that goes along its edges, and once."""
    xs, ys = (np.cumsum([0, *data.draw(st.lists(st.integers(8, 60), min_size=1, max_size=3))]) for _ in "xy")
    jobs = [
        rectangle(xs[i], ys[k], xs[i + 1] - xs[i], ys[k + 1] - ys[k], DEEP)
        for i in range(len(xs) - 1)
        for k in range(len(ys) - 1)
    ]
    if len(jobs) > 1 and data.draw(st.booleans()):
        jobs.append(rectangle(-10, -10, xs[-1] + 20, ys[-1] + 20, DEEP))
    done = program(*data.draw(st.permutations(jobs)))
    found = find_parts(done)
    assert len(found) == len(jobs)
    cuts = np.flatnonzero(cutting(done.moves, done.tops))
    assert np.array_equal(np.sort(np.concatenate([part.moves for part in found])), cuts)
    for part in found:
        assert set(cuts[[_is_along(done, move, part) for move in cuts]].tolist()) <= set(part.cut_by.tolist())


def _is_along(done: Program, move: int, part: Part) -> bool:
    """Return whether a straight move goes along a box's edge for a millimetre or more."""
    way = shapely.LineString([done.moves.start[move, :2], done.moves.end[move, :2]])
    return way.length > 0 and shapely.box(*part.box).exterior.intersection(way).length >= 1


# --- recuts ---------------------------------------------------------------------------------------------


def source(*jobs: list[str]) -> str:
    """Return the text of a program."""
    return "\n".join(program(*jobs).lines) + "\n"


def test_a_recut_of_a_part_on_shared_lines_cuts_all_of_its_outline():
    """The edge that another part's way has cut before is cut with it; that this touches others is said."""
    lines = written(source(*GRID), "part 4")
    ways = [
        line.removeprefix("G1 ").removesuffix(" F1000") for line in lines if line.startswith(("G1 X", "G1 Y"))
    ]
    assert ways == ["X80.", "Y80.", "X40.", "Y40."] * 2
    told = said(source(*GRID), "part 4")
    assert "part 4 cuts over part 2 as well, which is left out here" in told
    assert "deeper than it was meant to be" not in told


def test_a_frame_is_not_recut_without_what_may_be_its_holes():
    """With all that it holds it is; a part in it alone is, and that it may be loose already is said."""
    text = source(*INSIDE, FRAME)
    with pytest.raises(ProgramError, match="part 3 goes around part 1 and part 2, which may be its holes"):
        recut_program(read(text), ["part 3"])
    assert "which is left out here" not in said(text, "part 1", "part 2", "part 3")
    told = said(text, "part 2")
    assert "part 2: inside part 3, which is left out here" in told
    assert "cuts over" not in told
