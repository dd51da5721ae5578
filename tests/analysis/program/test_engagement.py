"""
How deep and how wide moves cut: against closed forms, exact areas (shapely) and a slow second opinion.

Where no source is named, the closed form is derived beside the check; R is the bit's radius, D its diameter.
"""

import math
import time
from dataclasses import replace

import numpy as np
import pytest
from generated import programs
from hypothesis import example, given, settings
from hypothesis import strategies as st
from shapely import LineString, Point, unary_union
from simple_sheet import helix, line, volumes

from analysis.cutting import Bit
from analysis.errors import ShelfError
from analysis.program import Engagement, Kind, Program, engagement, read

D, R = 6.0, 3.0
BITS = {0: Bit("six", diameter=D, flutes=2, speed=18_000)}
HEAD = "G21 G90\nS18000 M3\nG0 Z5\n"


def cuts_of(text: str, head: str = HEAD, **options: float) -> Engagement:
    """Return the engagement of a program."""
    return engagement(read(head + text), BITS, **options)


def feeds_of(program: Program) -> np.ndarray:
    """Return the indices of the moves that feed across."""
    return np.flatnonzero(program.moves.kind == Kind.CUT)


# Slots and side passes


def test_a_slot():
    """6 mm wide, 3 mm deep at 2400 mm/min: 43.2 cm³/min and .0667 mm a tooth (recomputed by hand)."""
    cuts = cuts_of("G1 Z-3 F600\nG1 X100 F2400\n")
    assert cuts.depth[-1] == pytest.approx(3.0)
    assert cuts.width[-1] == pytest.approx(1.0, abs=0.01)
    assert cuts.rate[-1] == pytest.approx(43.2, rel=0.01)
    assert cuts.chip[-1] == pytest.approx(0.06667, abs=5e-6)
    assert cuts.steady[-1]


@pytest.mark.parametrize("over", [0.3, 1.0, 2.4, 3.0, 5.0])
@pytest.mark.parametrize("angle", [0.0, 37.0, 90.0, 135.0])
@pytest.mark.parametrize("side", [-1, 1])
def test_a_side_pass(over: float, angle: float, side: int):
    """Beside a straight slot a pass is as wide as its step-over, whatever its heading and side."""
    along = np.array([math.cos(math.radians(angle)), math.sin(math.radians(angle))])
    aside = side * over * np.array([-along[1], along[0]])
    places = [100 * along, 100 * along + aside, aside]
    text = "".join(f"G1 X{x:.5f} Y{y:.5f} F2400\n" for x, y in places)
    cuts = cuts_of(f"G0 X0 Y0\nG1 Z-3 F600\n{text}")
    assert cuts.depth[-1] == pytest.approx(3.0)
    assert cuts.width[-1] == pytest.approx(over / D, abs=0.01)
    assert cuts.rate[-1] == pytest.approx(over * 3 * 2.4, rel=0.05)
    assert cuts.steady[-1]


def test_a_pocket():
    """Rows of a pocket after the first are as wide as the step-over, and all as deep as the pass."""
    rows = "".join(f"G1 Y{y}\nG1 X{60 if i % 2 else 0}\n" for i, y in enumerate([2.4, 4.8, 7.2, 9.6]))
    program = read(f"{HEAD}G1 Z-2 F600\nG1 X60 F2400\n{rows}")
    cuts = engagement(program, BITS)
    long = feeds_of(program)[2::2]
    assert len(long) == 4
    assert cuts.depth[long] == pytest.approx(2.0)
    assert cuts.width[long] == pytest.approx(2.4 / D, abs=0.015)


def test_passes_of_a_slot():
    """Every pass of a slot is a full one, as deep as its step; one that goes no deeper cuts nothing."""
    program = read(
        HEAD + "".join(f"G1 Z-{z} F600\nG1 X{x} F2400\n" for z, x in [(3, 80), (6, 0), (7, 80), (7, 0)])
    )
    cuts = engagement(program, BITS)
    across = feeds_of(program)
    assert cuts.depth[across] == pytest.approx([3, 3, 1, 0])
    assert cuts.width[across] == pytest.approx([1, 1, 1, 0], abs=0.01)
    assert cuts.rate[across] == pytest.approx([43.2, 43.2, 14.4, 0], rel=0.01)
    assert cuts.steady[across].all()


@pytest.mark.parametrize("over", [-2.0, -1.0, 1.0, 2.0])
def test_a_circle_beside_a_circle(over: float):
    """
    A ring that widens a ring by s, at radius r, immerses the rim over s (r + R - s/2) / r outside.

    The area that it adds, pi ((r+R)² - (r-s+R)²), over its way 2 pi r; inside with r - R and -s in place.
    """
    first, then = 30.0, 30.0 + over
    program = read(f"{HEAD}G0 X{first}\nG1 Z-3 F600\nG3 I-{first} F2400\nG1 X{then}\nG3 I-{then}\n")
    cuts = engagement(program, BITS)
    outside = over * (then + R - over / 2) / then
    inside = -over * (then - R - over / 2) / then
    assert cuts.width[-1] == pytest.approx((outside if over > 0 else inside) / D, abs=0.01)
    assert cuts.depth[-1] == pytest.approx(3.0)


@pytest.mark.parametrize("radius", [4.0, 12.0, 40.0])
def test_a_ring(radius: float):
    """
    A full circle in the solid takes off pi ((r+R)² - (r-R)²) less the plunge.

    It is a full slot but for its end, where it comes into its beginning: over all the way 1 - R / (4 r).
    """
    cuts = cuts_of(f"G0 X{radius}\nG1 Z-3 F600\nG3 I-{radius} F2400\n")
    ring = math.pi * ((radius + R) ** 2 - (radius - R) ** 2)
    assert cuts.volume[-1] == pytest.approx(3 * (ring - math.pi * R**2), rel=0.005)
    assert 1 - R / (4 * radius) - 0.01 < cuts.width[-1] <= 1


@given(radius=st.floats(2, 40), begin=st.floats(0, 6.28), again=st.floats(0, 6.28))
@example(radius=14.332465154638818, begin=0.875, again=1.0)
@example(radius=36.687388287, begin=3.703793384, again=5.025023194)
@settings(max_examples=15, deadline=None)
def test_a_circle_again(radius: float, begin: float, again: float):
    """A circle cut again from another place, the other way around, cuts stray cells at most."""
    text = ""
    for angle, way in ((begin, "G3"), (again, "G2")):
        x, y = radius * math.cos(angle), radius * math.sin(angle)
        text += f"G0 Z5\nG0 X{x:.5f} Y{y:.5f}\nG1 Z-3 F600\n{way} X{x:.5f} Y{y:.5f} I{-x:.5f} J{-y:.5f}\n"
    cuts = cuts_of(text)
    assert cuts.width[-1] < 0.04
    rim_cells = 4 * math.pi * radius / cuts.cell
    assert cuts.volume[-1] <= 3 * cuts.cell**2 * (4 + rim_cells / 20)


def test_short_moves_are_measured_together():
    """A slot in 500 moves of a fifth of a millimetre is a full slot in every one of them."""
    program = read(f"{HEAD}G1 Z-3 F600\n" + "".join(f"G1 X{0.2 * i:.1f} F2400\n" for i in range(1, 501)))
    cuts = engagement(program, BITS)
    across = feeds_of(program)
    assert len(across) == 500
    assert cuts.depth[across] == pytest.approx(3.0)
    assert cuts.width[across] == pytest.approx(1.0, abs=0.08)
    assert cuts.width[across].mean() == pytest.approx(1.0, abs=0.01)
    assert cuts.volume[across].sum() == pytest.approx(3 * D * 100, rel=0.005)


def test_a_lone_short_move():
    """A tiny move between long ones is measured with its neighbourhood, not by a handful of cells."""
    cuts = cuts_of("G1 Z-3 F600\nG1 X40 F2400\nG1 X40.05 Y0.05\nG1 X80\n")
    assert cuts.width[-2] == pytest.approx(1.0, abs=0.05)


# Down


def test_a_plunge_cuts_with_the_whole_end():
    """A plunge is as wide as the bit, as deep as what it takes off, and removes pi R² x feed."""
    cuts = cuts_of("G1 Z0 F600\nG1 Z-3\nG1 Z-5\n")
    assert cuts.depth[-3:] == pytest.approx([0, 3, 2])
    assert cuts.width[-3:] == pytest.approx([0, 1, 1], abs=0.02)
    assert cuts.rate[-2:] == pytest.approx(math.pi * R**2 * 600 / 1000, rel=0.02)


def test_a_plunge_from_above_counts_where_it_cuts():
    """Of 8 mm down, 3 mm are in the material: the rate is that of the material, and it is not steady."""
    cuts = cuts_of("G1 Z-3 F600\n")
    assert cuts.depth[-1] == pytest.approx(3)
    assert cuts.rate[-1] == pytest.approx(math.pi * R**2 * 600 / 1000, rel=0.02)
    assert not cuts.steady[-1]


def test_pecks():
    """G83 R.2 Z-1.1 Q.21 goes to -.01 -.22 -.43 -.64 -.85 -1.06 -1.10 (NISTIR 6556, 3.5.16.3)."""
    program = read(f"{HEAD}G83 X5 Y5 R0.2 Z-1.1 Q0.21 F200\n")
    cuts = engagement(program, BITS)
    pecks = program.moves.kind == Kind.PECK
    assert cuts.depth[pecks] == pytest.approx([0.01, 0.21, 0.21, 0.21, 0.21, 0.21, 0.04], abs=1e-5)
    assert cuts.width[pecks] == pytest.approx(1.0, abs=0.02)
    assert (cuts.depth[~pecks] == 0).all()


def test_a_ramp_there_and_back():
    """
    The rim meets x/10 on the way down by 3 mm in 30, twice that on the way back, and at last the wedge left.

    Where the rim arrives the first ramp is as deep as the bit then is: mean 1.5. Coming back at depth
    3 + f/10 it meets what was left 3 - f/10 deep: mean 3. Level again it meets 6 less 6 - f/10: mean 1.5.
    """
    program = read(f"{HEAD}G1 Z0 F600\nG1 X30 Z-3 F2400\nG1 X0 Z-6\nG1 X30\nG1 X0\n")
    cuts = engagement(program, BITS)
    assert program.moves.kind[-4:].tolist() == [Kind.RAMP, Kind.RAMP, Kind.CUT, Kind.CUT]
    assert cuts.depth[-4:] == pytest.approx([1.5, 3.0, 1.5, 0.0], abs=0.02)
    assert cuts.width[-4:] == pytest.approx([1, 1, 1, 0], abs=0.02)
    assert not cuts.steady[-4:-1].any()


def test_a_bored_hole():
    """
    A helix of radius r < R with pitch p, and a last flat circle, take off a hole of radius r + R.

    A turn takes off p pi (r+R)², of which the end takes p pi R²; the rim takes the rest over D 2 pi r, that
    is p (r + 2R) / (2D) deep.
    """
    cuts = cuts_of("G0 X2\nG1 Z0 F600\n" + "".join(f"G3 I-2 Z-{z} F2400\n" for z in (1, 2, 3)) + "G3 I-2\n")
    assert cuts.volume.sum() == pytest.approx(math.pi * 5**2 * 3, rel=0.01)
    assert cuts.depth[-3:-1] == pytest.approx((2 + 2 * R) / (2 * D), abs=0.01)
    assert cuts.volume[-3:-1] == pytest.approx(math.pi * 5**2, rel=0.01)
    assert cuts.rate[-2] == pytest.approx(math.pi * 5**2 * 2.4 / math.hypot(4 * math.pi, 1), rel=0.01)


@pytest.mark.parametrize(
    ("text", "ways"),
    [
        (
            "G0 X10\nG1 Z0 F600\nG3 I-10 Z-2 F2400\nG3 X0 Y0 I-5 Z-3\n",
            [helix((10, 0, 0), math.tau, 10, 2), helix((10, 0, -2), math.pi, 5, 1)],
        ),
        (
            "G1 Z-1 F600\nG1 X20 Y10 Z-4\nG1 X0 Y12 Z-1\nG1 X14 Y-6 Z-3\n",
            [
                line((0, 0, 0), (0, 0, -1)),
                line((0, 0, -1), (20, 10, -4)),
                line((20, 10, -4), (0, 12, -1)),
                line((0, 12, -1), (14, -6, -3)),
            ],
        ),
    ],
    ids=["helices", "slopes"],
)
def test_against_a_slow_second_opinion(text: str, ways: list[np.ndarray]):
    """Slopes and helices take off what a disc stamped every twentieth of a millimetre does."""
    cuts = cuts_of(text)
    taken = volumes(ways, R)
    assert cuts.volume[-len(taken) :] == pytest.approx(taken, rel=0.01, abs=0.5)


def test_an_upright_arc():
    """A half circle down and up again in G18 takes off what a disc stamped along it does."""
    angle = np.linspace(0, math.pi, 700)
    way = np.stack([8 - 8 * np.cos(angle), 0 * angle, -8 * np.sin(angle)], axis=1)
    cuts = cuts_of("G1 Z0 F600\nG18 G2 X16 Z0 I8 K0 F2400\n")
    assert cuts.volume[-1] == pytest.approx(volumes([way], R)[0], rel=0.02)


# What holds for any program

places = st.tuples(st.integers(0, 40), st.integers(0, 40))
strokes = st.tuples(places, places, st.integers(1, 4))
jobs = st.lists(strokes, min_size=1, max_size=6)


def text_of(job: list) -> str:
    """Write strokes (from, to, depth), each with a way above, a plunge and a cut."""
    return "".join(
        f"G0 Z5\nG0 X{x} Y{y}\nG1 Z-{depth} F600\nG1 X{to_x} Y{to_y} F2400\n"
        for (x, y), (to_x, to_y), depth in job
    )


def exact_volume(job: list) -> float:
    """Return the volume of the union of all strokes, layer by layer, mm³."""
    layers = []
    for level in range(1, 5):
        deep = [(a, b) for a, b, depth in job if depth >= level]
        shapes = [Point(a).buffer(R, 64) if a == b else LineString([a, b]).buffer(R, 64) for a, b in deep]
        layers.append(unary_union(shapes).area)
    return sum(layers)


@given(job=jobs)
@example(job=[((0, 23), (16, 0), 1)])
@settings(max_examples=25, deadline=None)
def test_all_moves_together_remove_the_union(job: list):
    """The volumes of all moves add up to that of the union of their strokes (shapely), layer by layer."""
    assert cuts_of(text_of(job)).volume.sum() == pytest.approx(exact_volume(job), rel=0.015)


@given(job=jobs)
@settings(max_examples=15, deadline=None)
def test_the_second_time_nothing_is_left(job: list):
    """The same moves again cut nothing."""
    once = cuts_of(text_of(job))
    twice = cuts_of(text_of(job) + text_of(job))
    again = slice(len(once.volume), None)
    assert (twice.volume[again] == 0).all()
    assert (twice.depth[again] == 0).all()
    assert (twice.width[again] == 0).all()
    assert (twice.rate[again] == 0).all()


@given(job=jobs, order=st.randoms(use_true_random=False))
@settings(max_examples=15, deadline=None)
def test_order_shares_out_but_does_not_change_the_whole(job: list, order: object):
    """In another order each move may cut something else, but all together take off the same."""
    other = list(job)
    order.shuffle(other)
    total = cuts_of(text_of(job)).volume.sum()
    assert cuts_of(text_of(other)).volume.sum() == pytest.approx(total, rel=1e-4)


def test_order_matters():
    """A shallow pass after a deep one cuts nothing; before it, it does, and leaves the deep one less."""
    shallow, deep = ((0, 0), (40, 0), 1), ((0, 0), (40, 0), 3)
    first = cuts_of(text_of([shallow, deep]))
    last = cuts_of(text_of([deep, shallow]))
    assert first.depth[[2, -1]] == pytest.approx([1, 2])
    assert last.depth[[2, -1]] == pytest.approx([3, 0])


@given(job=jobs, x=st.integers(-500, 500), y=st.integers(-500, 500))
@settings(max_examples=15, deadline=None)
def test_the_place_on_the_table_does_not_matter(job: list, x: int, y: int):
    """Moved elsewhere, whole cells or not, every move cuts what it did: the map begins at the work."""
    moved = [((a + x, b + y), (c + x, d + y), depth) for (a, b), (c, d), depth in job]
    far = "G0 X-999 Y-999\n"  # so that no first traverse is dropped for having no length
    here, there = (cuts_of(far + text_of(each), cell=0.25) for each in (job, moved))
    cells = 3 * 0.25**2 * 4  # rounding may move a cell or two that lie exactly on a rim
    assert there.volume == pytest.approx(here.volume, abs=cells)
    assert there.width == pytest.approx(here.width, abs=0.03)
    assert there.depth == pytest.approx(here.depth, abs=0.1)


@given(job=jobs, turns=st.integers(1, 3))
@settings(max_examples=10, deadline=None)
def test_the_heading_does_not_matter(job: list, turns: int):
    """Turned by quarters every move takes off the same volume, within the error of the cells."""
    cos, sin = [(0, 1), (-1, 0), (0, -1)][turns - 1]

    def turned(place: tuple[int, int]) -> tuple[int, int]:
        return cos * place[0] - sin * place[1], sin * place[0] + cos * place[1]

    there = cuts_of(text_of([(turned(a), turned(b), depth) for a, b, depth in job]))
    here = cuts_of(text_of(job))
    assert there.volume == pytest.approx(here.volume, rel=0.03, abs=6.0)


@given(job=jobs)
@settings(max_examples=15, deadline=None)
def test_bounds(job: list):
    """Width stays within 0 to 1, depth within what is there, and rate is 0 exactly where depth is."""
    cuts = cuts_of(text_of(job))
    assert (cuts.width >= 0).all()
    assert (cuts.width <= 1).all()
    assert cuts.depth.max() <= 4 + 1e-5
    assert ((cuts.rate > 0) == (cuts.depth > 0)).all()
    assert ((cuts.width > 0) == (cuts.depth > 0)).all()


@given(text=programs(), cell=st.sampled_from([None, 1.0, 50.0]))
@settings(max_examples=30, deadline=None)
def test_any_program_has_an_engagement(text: str, cell: float | None):
    """Programs of all kinds of words get finite values within bounds, even in cells as large as parts."""
    program = read(text)
    cuts = engagement(program, BITS, cell=cell)
    for values in (cuts.depth, cuts.width, cuts.rate, cuts.volume):
        assert values.shape == (len(program.moves),)
        assert np.isfinite(values).all()
        assert (values >= 0).all()
    assert (cuts.width <= 1).all()


def test_level_cuts_remove_width_by_depth_by_feed():
    """On a level straight move the rate is width x depth x feed (common practice)."""
    program = read(HEAD + text_of([((0, 0), (40, 0), 2), ((0, 2), (40, 2), 3), ((5, 30), (9, -30), 4)]))
    cuts = engagement(program, BITS)
    across = feeds_of(program)
    product = cuts.width * D * cuts.depth * 2400 / 1000
    assert cuts.rate[across[[0, 2]]] == pytest.approx(product[across[[0, 2]]], rel=0.01)


def test_the_program_is_not_changed():
    """Read-only arrays do, and come out as they went in."""
    program = read(HEAD + text_of([((0, 0), (40, 0), 2)]))
    for array in (program.moves.start, program.moves.end, program.moves.feed, program.moves.speed):
        array.flags.writeable = False
    before = program.moves.start.copy()
    engagement(program, BITS)
    assert (program.moves.start == before).all()


# Steady


def test_across_a_slot_is_not_steady():
    """A way across a slot that is there already passes through air, and so is not steady."""
    program = read(HEAD + text_of([((20, -30), (20, 30), 3), ((0, 0), (40, 0), 3)]))
    cuts = engagement(program, BITS)
    assert cuts.steady[feeds_of(program)[0]]
    assert not cuts.steady[-1]
    assert cuts.depth[-1] == pytest.approx(3)


def test_a_flat_arc_is_measured_as_finely_as_a_line():
    """An arc of a kilometre's radius, one chord for its flatness, still shows the air of a slot across it."""
    cuts = cuts_of(text_of([((20, -30), (20, 30), 3)]) + "G0 Z5\nG0 X0 Y0\nG1 Z-3\nG2 X40 Y0 R1000000\n")
    assert not cuts.steady[-1]
    assert cuts.depth[-1] == pytest.approx(3)


def test_from_a_slot_into_the_solid_is_not_steady():
    """A side pass that leaves its slot's end becomes a full slot, and so is not steady."""
    cuts = cuts_of(text_of([((0, 0), (30, 0), 3), ((0, 2), (60, 2), 3)]))
    assert not cuts.steady[-1]
    assert 2 / D < cuts.width[-1] < 1


def test_over_a_step_is_not_steady():
    """A pass over ground of two levels is not steady, and its depth is the mean: 1 and 4, half way each."""
    cuts = cuts_of(text_of([((0, 0), (30, 0), 3), ((0, 0), (60, 0), 4)]))
    assert not cuts.steady[-1]
    assert cuts.depth[-1] == pytest.approx(2.5, abs=0.05)


# Air, bits, speeds


def test_air():
    """Traverses and feeds above the top cut nothing, steadily; traverses and waits have no chip."""
    program = read(f"{HEAD}G1 Z-3 F600\nG1 X60\nG0 Z5\nG0 Y50\nG1 Z1\nG1 X0\nG0 Z5\nG4 P1\n")
    cuts = engagement(program, BITS)
    for values in (cuts.depth, cuts.width, cuts.rate, cuts.volume):
        assert np.flatnonzero(values).tolist() == [1, 2]
    assert cuts.steady[3:].all()
    feeds = np.isin(program.moves.kind, (Kind.PLUNGE, Kind.CUT))
    assert (np.isnan(cuts.chip) == ~feeds).all()


def test_a_traverse_below_the_top_shows_air():
    """Where the program traverses below the top there is air: the feed after it finds nothing there."""
    beside = "G0 X-20 Y0\nG0 Z-3\nG0 X-3\nG1 X20 F2400\nG0 Z5\n"
    cuts = cuts_of(beside)
    feed = np.flatnonzero(cuts.depth > 0)
    assert len(feed) == 1
    assert cuts.volume[feed[0]] == pytest.approx(3 * D * 23, rel=0.01)
    again = cuts_of(beside.replace("G0 X-3", "G0 X18") + "G0 X0 Y0\nG0 Z-3\n")
    assert again.volume.sum() == pytest.approx(3 * D * 2, rel=0.1)


def test_where_the_first_traverse_starts_nobody_knows():
    """A program that begins with a traverse across, at an unknown height, has not cleared its way."""
    cuts = cuts_of("G0 X40 Y0\nG0 Z25\nG0 X0\nG1 Z15 F600\nG1 X40 F2400\n", head="G21 G90 S18000 M3\n")
    assert cuts.width[-1] == pytest.approx(1.0, abs=0.02)


def test_every_bit_has_its_diameter():
    """A small bit in a large bit's slot cuts nothing; in the solid its own width is the full one."""
    bits = {1: Bit("twelve", 12.0, 2), 2: Bit("three", 3.0, 1)}
    text = "".join(
        f"T{t} M6\nS{s} M3\nG0 Z5\nG0 X{x} Y0\nG1 Z-2 F600\nG1 X{to} F1200\nG0 Z5\n"
        for t, s, x, to in [(1, 12000, 0, 50), (2, 24000, 0, 50), (2, 24000, 70, 120)]
    )
    program = read(f"G21 G90\n{text}")
    cuts = engagement(program, bits)
    across = feeds_of(program)
    assert cuts.width[across] == pytest.approx([1, 0, 1], abs=0.02)
    assert cuts.volume[across] == pytest.approx([2 * 12 * 50, 0, 2 * 3 * 50], rel=0.01)
    assert cuts.chip[across] == pytest.approx([0.05, 0.05, 0.05])  # 1200 / (12000 x 2) and / (24000 x 1)


def test_units_do_not_matter():
    """A slot in inches is the slot in millimetres."""
    metric = cuts_of("G1 Z-2.54 F508\nG1 X50.8 F2540\n")
    inch = cuts_of("G1 Z-0.1 F20\nG1 X2 F100\n", head="G20 G90\nS18000 M3\nG0 Z0.2\n")
    assert inch.depth[-1] == pytest.approx(metric.depth[-1])
    assert inch.rate[-1] == pytest.approx(metric.rate[-1], rel=1e-3)
    assert inch.chip[-1] == pytest.approx(metric.chip[-1])


@pytest.mark.parametrize("factor", [0.5, 3.0])
def test_feed_scales_rate_and_chip_only(factor: float):
    """Feeding faster removes more and takes thicker chips; depth and width stay."""
    program = read(HEAD + text_of([((0, 0), (40, 0), 2), ((0, 2), (40, 2), 3)]))
    faster = replace(program, moves=replace(program.moves, feed=program.moves.feed * factor))
    slow, fast = engagement(program, BITS), engagement(faster, BITS)
    assert fast.rate == pytest.approx(factor * slow.rate)
    assert fast.chip == pytest.approx(factor * slow.chip, nan_ok=True)
    assert (fast.depth == slow.depth).all()
    assert (fast.width == slow.width).all()


def test_a_spindle_switched_by_hand_turns_at_the_bit_s_speed():
    """A program that never states a speed is cut at the bit's own; without one there is no chip load."""
    text = "G1 Z-3 F600\nG1 X100 F2400\n"
    cuts = cuts_of(text, head="G21 G90\nG0 Z5\n")
    assert cuts.chip[-1] == pytest.approx(0.06667, abs=5e-6)
    unknown = engagement(read("G21 G90\nG0 Z5\n" + text), {0: Bit("six", D, 2)})
    assert np.isnan(unknown.chip).all()


def test_an_unknown_bit_is_refused_by_its_number():
    """Without a diameter there is nothing to cut with: the message names the bit."""
    program = read(f"T7 M6\n{HEAD}G1 Z-3 F600\nG1 X9\n")
    with pytest.raises(ShelfError, match="T7"):
        engagement(program, {1: BITS[0]})
    with pytest.raises(ShelfError, match="diameter 0"):
        engagement(program, {7: Bit("none", 0.0, 2)})


@pytest.mark.parametrize("cell", [0.0, -1.0, math.nan, math.inf])
def test_a_cell_without_size_is_refused(cell: float):
    """The message states the value."""
    with pytest.raises(ValueError, match=f"cell={cell}"):
        cuts_of("G1 Z-3 F600\nG1 X9\n", cell=cell)


# Size and speed


@pytest.mark.parametrize("cell", [0.5, 0.3, 0.15, 0.08])
def test_finer_cells_come_nearer(cell: float):
    """A side pass of 1 mm in a slot that is not along the map's rows: right within a tenth of a cell."""
    cuts = cuts_of(text_of([((0, 0), (100, 13), 3), ((0, 1), (100, 14), 3)]), cell=cell)
    over = 1 / math.hypot(1, 0.13)
    capsules = [LineString([(0, y), (100, 13 + y)]).buffer(R, 256) for y in (0, 1)]
    added = capsules[1].difference(capsules[0].union(Point(0, 1).buffer(R, 256))).area
    assert added / math.hypot(100, 13) == pytest.approx(over, rel=0.05)
    assert cuts.width[-1] * D == pytest.approx(added / math.hypot(100, 13), abs=0.1 * cell)


def test_large_sheets_get_coarser_cells():
    """A full sheet of plywood and a 3 mm bit: the cells grow so that the map stays within its bound."""
    bits = {0: Bit("three", 3.0, 2, 18_000)}
    around = "G1 Z-3 F600\nG1 X2440 F2400\nG1 Y1220\nG1 X0\nG1 Y0\n"
    cuts = engagement(read(HEAD + around), bits)
    assert 3.0 / 24 < cuts.cell < 0.4
    assert cuts.depth[-4:] == pytest.approx(3.0)
    assert cuts.width[-4:] == pytest.approx(1.0, abs=0.03)
    small = engagement(read(HEAD + "G1 Z-3 F600\nG1 X100 F2400\n"), bits)
    assert small.cell == pytest.approx(3.0 / 24)


def test_a_way_of_kilometres():
    """A number with too many digits makes long steps in large cells, not a machine out of memory."""
    cuts = cuts_of("G1 Z-3 F600\nG1 X90000 F2400\nG1 X0 Y90000\n")
    assert cuts.cell > 1
    assert (cuts.depth[-2:] > 0).all()


def test_a_job_of_many_moves_takes_no_time():
    """4000 moves of 5 mm, a pocket in rows: well under the 10 s that 100 000 may take."""
    rows = []
    for row in range(40):
        x = np.arange(101) * 5.0
        rows += [f"G1 X{place:g} Y{2.4 * row:g}" for place in (x[::-1] if row % 2 else x)]
    program = read(f"{HEAD}G1 Z-3 F2400\n" + "\n".join(rows))
    begin = time.process_time()
    cuts = engagement(program, BITS)
    assert time.process_time() - begin < 2.0
    assert np.median(cuts.width[feeds_of(program)]) == pytest.approx(0.4, abs=0.01)
