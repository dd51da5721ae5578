"""Parts of jobs as sheets of plywood are cut."""

import math

import numpy as np
import pytest
import shapely

from analysis.program import Part, cutting, find_parts, read

HEAD = ["G21 G90 G17", "T1 M6", "M3 S18000", "G0 Z5"]


def parts(*jobs: list[str]) -> tuple[Part, ...]:
    """Return the parts of a program made of these pieces."""
    return find_parts(read("\n".join([*HEAD, *(line for job in jobs for line in job), "M30"])))


def rectangle(x: float, y: float, w: float, h: float, *depths: float) -> list[str]:
    """Cut a rectangle in passes."""
    lines = ["G0 Z5", f"G0 X{x} Y{y}"]
    for z in depths or (-2,):
        lines += [f"G1 Z{z} F300", f"X{x + w} F1000", f"Y{y + h}", f"X{x}", f"Y{y}"]
    return [*lines, "G0 Z5"]


def circle(x: float, y: float, r: float, z: float = -2) -> list[str]:
    """Cut a circle."""
    return ["G0 Z5", f"G0 X{x + r} Y{y}", f"G1 Z{z} F300", f"G3 X{x + r} Y{y} I{-r} F800", "G0 Z5"]


def drilled(*places: tuple[float, float]) -> list[str]:
    """Drill holes."""
    holes = [f"X{x} Y{y}" for x, y in places]
    return ["G0 Z5", f"G83 {holes[0]} Z-6 R1 Q2 F200", *holes[1:], "G80"]


def test_passes_of_one_outline_are_one_part():
    """Three depths of a rectangle make one part with its area, box and lines."""
    (part,) = parts(rectangle(10, 20, 60, 40, -2, -4, -6))
    assert part.name == "part 1"
    assert part.area == pytest.approx(2400)
    assert part.box == (10, 20, 70, 60)
    assert (part.first_line, part.last_line) == (7, 21)
    assert shapely.Polygon(part.outline).area == pytest.approx(2400)


def test_parts_are_named_in_cutting_order():
    """The name follows from when a part is begun, not from where it lies."""
    found = parts(rectangle(100, 0, 20, 20), rectangle(0, 0, 30, 30))
    assert [(part.name, round(part.area)) for part in found] == [("part 1", 400), ("part 2", 900)]


def test_what_is_inside_belongs_to_the_outline_also_with_other_bits():
    """Holes drilled with one bit and a pocket cut with another belong to the part around them."""
    zigzag = ["G0 X20 Y20", "G1 Z-2 F300", "X60", "Y24", "X20", "Y28", "X60", "G0 Z5"]
    found = parts(
        drilled((10, 10), (90, 10)),
        ["T2 M6", "M3 S18000"],
        zigzag,
        circle(80, 30, 5),
        rectangle(0, 0, 100, 60, -3, -6),
    )
    assert len(found) == 1
    assert found[0].area == pytest.approx(6000)
    assert found[0].first_line == 6


def test_neighbours_stay_apart():
    """A sheet of nested parts gives each its own, with its own holes."""
    found = parts(
        drilled((5, 5), (45, 5), (85, 5)),
        *(rectangle(x, 0, 30, 30, -3, -6) for x in (0, 40, 80)),
    )
    assert [round(part.area) for part in found] == [900, 900, 900]
    assert [part.first_line for part in found] == [6, 7, 8]


def test_circles_have_the_area_of_circles():
    """A hole milled round has pi r²."""
    (part,) = parts(circle(0, 0, 25))
    assert part.area == pytest.approx(math.pi * 25**2, rel=1e-3)
    assert part.box == pytest.approx((-25, -25, 25, 25), abs=0.01)


@pytest.mark.parametrize("lift", ["G1 Z-4", "G1 Z1", "G0 Z1"])
def test_tabs_do_not_break_an_outline(lift: str):
    """An outline cut in a single pass with tabs on it is still closed, however the bit gets over them."""
    across = lift[:2]
    lines = ["G0 X0 Y0", "G1 Z-6 F300"]
    for x, y in ((20, 0), (40, 0), (40, 30), (0, 30)):
        if (x, y) == (20, 0):
            lines += [f"G1 X{x - 3} F900", lift, f"{across} X{x + 3}", "G1 Z-6"]
        lines.append(f"G1 X{x + 3 if x == 20 else x} Y{y} F900")
    (part,) = parts([*lines, "Y0", "G0 Z5"])
    assert part.area == pytest.approx(1200)


def test_a_tab_at_the_start_of_the_outline_is_bridged():
    """An outline that begins behind a tab and ends before it is closed across the tab."""
    lines = ["G0 X23 Y0", "G1 Z-6 F300", "X40", "Y30", "X0", "Y0", "X17", "G0 Z5"]
    (part,) = parts(lines)
    assert part.area == pytest.approx(1200)


def test_lines_that_turn_away_are_no_tabs():
    """Strokes of an engraving near each other enclose nothing."""
    strokes = [["G0 Z5", f"G0 X{x} Y0", "G1 Z-0.3 F300", f"X{x} Y10"] for x in (0, 4, 8)]
    found = parts(*strokes)
    assert len(found) == 3
    assert all(part.area == 0 for part in found)


def test_holes_in_a_row_outside_any_outline_are_one_part():
    """Drilled holes that lie in nothing go together as they were drilled."""
    found = parts(drilled((0, 0), (20, 0), (40, 10)), rectangle(100, 100, 20, 20))
    assert [(len(part.outline) > 2, part.area > 0) for part in found] == [(True, False), (True, True)]
    assert found[0].box == (0, 0, 40, 10)


def test_lines_that_touch_are_one_part():
    """Crossing engraved lines belong together."""
    cross = [["G0 Z5", "G0 X0 Y0", "G1 Z-.3 F300", "X10 Y10"], ["G0 Z5", "G0 X0 Y10", "G1 Z-.3", "X10 Y0"]]
    (part,) = parts(*cross)
    assert (part.area, part.box) == (0, (0, 0, 10, 10))


def test_a_pocket_alone_is_a_part():
    """Offset loops without an outline around them are one part as large as the outermost."""
    loops = [line for i in range(4) for line in rectangle(5 * i, 5 * i, 60 - 10 * i, 60 - 10 * i)]
    (part,) = parts(loops)
    assert part.area == pytest.approx(3600)


def test_a_facing_pass_does_not_join_what_it_crosses():
    """Lines that take the top off a whole sheet are a part of their own; the parts under them stay apart."""
    facing = [
        "G0 X0 Y0",
        "G1 Z-1 F300",
        *(w for y in range(5, 60, 10) for w in ("X200", f"Y{y}", "X0", f"Y{y + 5}")),
    ]
    found = parts(facing, *(rectangle(x, 6, 40, 40, -3, -6) for x in (10, 60, 110)))
    assert [round(part.area) for part in found] == [0, 1600, 1600, 1600]
    (part,) = parts(facing, rectangle(-5, -5, 210, 70, -3, -6))
    assert part.area == pytest.approx(210 * 70)


def test_the_same_places_in_another_system_are_other_parts():
    """A batch cut at two zeros, G54 and G55, is two parts, each with its own lines."""
    found = parts(rectangle(0, 0, 40, 30, -3, -6), ["G55", "G0 Z5"], rectangle(0, 0, 40, 30, -3, -6))
    assert [(part.name, round(part.area)) for part in found] == [("part 1", 1200), ("part 2", 1200)]
    assert found[0].last_line < found[1].first_line


def test_levels_that_differ_by_a_rounding_are_one():
    """An outline whose four sides are cut one by one, with depths off by a hair, encloses its area."""
    sides = [(0, 0, 40, 0), (40, 0, 40, 30), (40, 30, 0, 30), (0, 30, 0, 0)]
    cuts = [["G0 Z5", f"G0 X{a} Y{b}", f"G1 Z{-6.05 + i * 1e-4:.4f} F300", f"X{c} Y{d}"]
            for i, (a, b, c, d) in enumerate(sides)]  # fmt: skip
    (part,) = parts(*cuts)
    assert part.area == pytest.approx(1200)


def test_a_helix_that_ramps_down_an_outline_is_one_part():
    """Going round and down without coming out is one part."""
    turns = [f"G3 X10 Y0 Z{-i} I-10 F600" for i in range(1, 7)]
    (part,) = parts(["G0 X10 Y0", "G1 Z0 F300", *turns, "G3 X10 Y0 I-10", "G0 Z5"])
    assert part.area == pytest.approx(100 * math.pi, rel=1e-3)


def test_every_cut_belongs_to_exactly_one_part():
    """Parts share out the cutting moves without rest."""
    program = read(
        "\n".join([*HEAD, *drilled((5, 5), (200, 5)), *rectangle(0, 0, 30, 30, -3, -6), *circle(15, 15, 4),
                   *rectangle(40, 0, 9, 9), "G0 X90 Y90", "G1 Z-1", "X99", "M30"])
    )  # fmt: skip
    found = find_parts(program)
    shared = np.concatenate([part.moves for part in found])
    assert sorted(shared.tolist()) == np.flatnonzero(cutting(program.moves, program.top)).tolist()


def test_a_program_that_cuts_nothing_has_no_parts():
    """Air moves are no part."""
    assert find_parts(read("G21 G0 X5\nX9")) == ()
