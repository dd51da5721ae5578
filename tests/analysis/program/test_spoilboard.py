"""Zero on the sheet or on the spoilboard: where the top is taken to be, and where it is safe to stand."""

from collections.abc import Callable
from dataclasses import replace

import joined_jobs as jobs
import numpy as np
import pytest
from joined_jobs import Box, Sheet, Zero

from analysis.cutting import Bit
from analysis.errors import ProgramError
from analysis.locate import Plan
from analysis.place.marks import HEARD, SEEN, unmarked, verdicts
from analysis.program import carry_on, cutting, find_parts, read, recut_program, resume_at
from analysis.program.cautions import cautions_of
from analysis.program.following import in_units
from analysis.program.moves import Kind
from analysis.program.program import Program

Work = Callable[[Sheet, Box], None]

PLAIN = Sheet()
SHEETS = {
    "usual": PLAIN,
    "deep in the board": replace(PLAIN, through=2.5),
    "thin passes": replace(PLAIN, step=3.0),
    "thin sheet": replace(PLAIN, thick=6.0, step=2.5),
    "inch": replace(PLAIN, inch=True, thick=19.05, step=6.35),
    "one height": replace(PLAIN, near=12.0),
    "feeds only": replace(PLAIN, feeds_only=True),
}
WORKS: list[tuple[Work, ...]] = [
    *((work,) for work in jobs.THROUGH),
    *((work, jobs.outline) for work in jobs.WITHIN),
    (jobs.pocket, jobs.outline_in_one),
    (jobs.deep_pocket, jobs.outline_in_one),
    (jobs.plunged, jobs.outline_with_tabs),
    (jobs.engraved, jobs.pocket, jobs.outline_with_ramp),
]


def over(sheet: Sheet, zero: Zero, *works: Work) -> tuple[Sheet, Program]:
    """Return a job done on a sheet with its zero there, and the program that was read."""
    done = jobs.job(replace(sheet, zero=zero, lines=[]), *works)
    return done, read(done.text)


def stands(program: Program, most: int = 10) -> set[float]:
    """Return how high the bit stands, mm, where some lines of a program can be carried on from."""
    heights = set()
    for line in np.linspace(1, len(program.lines), most).astype(int).tolist():
        try:
            found = resume_at(program, line)
        except ProgramError:
            continue
        heights |= {found.position[2]} if found.move else set()
    return heights


def names(works: tuple[Work, ...]) -> str:
    """Return what to call works in a test."""
    return "-".join(work.__name__ for work in works)


@pytest.mark.parametrize("sheet", SHEETS.values(), ids=SHEETS)
@pytest.mark.parametrize("works", WORKS, ids=names)
def test_a_zero_on_the_spoilboard_is_told(works: tuple[Work, ...], sheet: Sheet):
    """Every level that is cut across lies below the top as estimated, and this below the traverses."""
    done, program = over(sheet, "board", *works)
    moves = program.moves
    inside = np.isfinite(moves.feed) & (moves.start[:, 2] < done.top - 0.01) & (moves.kind == Kind.CUT)
    assert 0 < program.top < done.top + done.safe
    assert cutting(moves, program.tops)[inside].all()


@pytest.mark.parametrize("sheet", SHEETS.values(), ids=SHEETS)
@pytest.mark.parametrize("works", WORKS, ids=names)
def test_a_zero_on_top_is_told(works: tuple[Work, ...], sheet: Sheet):
    """Ways in, ramps, hops and reliefs leave the top at Z 0."""
    assert over(sheet, "top", *works)[1].top == 0


ALONE: list[tuple[Work, ...]] = [(jobs.outline_in_one,), (jobs.faced,), (jobs.engraved,)]


@pytest.mark.parametrize("zero", ["top", "board"])
@pytest.mark.parametrize("sheet", SHEETS.values(), ids=SHEETS)
@pytest.mark.parametrize("works", [*WORKS, *ALONE], ids=names)
def test_clear_of_the_work_is_never_below_the_true_top(works: tuple[Work, ...], sheet: Sheet, zero: Zero):
    """Whatever the zero is taken for, and be it wrong, the bit is held to be clear above the sheet alone."""
    done, program = over(sheet, zero, *works)
    assert done.top - 1e-3 <= program.level(1).clear <= done.top + done.safe + 1e-3


@pytest.mark.parametrize("zero", ["top", "board"])
@pytest.mark.parametrize("works", [*WORKS[::2], *ALONE[:2]], ids=names)
def test_no_place_to_carry_on_from_lies_in_the_work(works: tuple[Work, ...], zero: Zero):
    """The bit stands above the true top, and there are places on the way."""
    done, program = over(SHEETS["deep in the board"], zero, *works)
    heights = stands(program)
    assert heights
    assert min(heights) >= done.top - 1e-3


@pytest.mark.parametrize("seed", range(60))
def test_programs_made_up_never_stand_in_the_work(seed: int):
    """Any jobs on any sheet, with its zero anywhere: nothing below its top is held to be clear of it."""
    rng = np.random.default_rng(seed)
    sheet = Sheet(
        zero=rng.choice(["top", "board"]),
        thick=float(rng.choice([3.0, 6.0, 12.0, 18.0, 25.4])),
        safe=float(rng.choice([5.0, 10.0, 25.0])),
        near=float(rng.choice([1.0, 2.0, 5.0])),
        step=float(rng.uniform(1.5, 8.0)),
        through=float(rng.choice([0.0, 0.1, 0.3, 2.5])),
        inch=bool(rng.integers(2)),
        feeds_only=bool(rng.integers(5) == 0),
    )
    within = [jobs.WITHIN[i] for i in rng.integers(len(jobs.WITHIN), size=rng.integers(4))]
    last = (*jobs.THROUGH, jobs.outline_in_one)[rng.integers(len(jobs.THROUGH) + 1)]
    boxes = tuple(
        (x, y, x + float(rng.uniform(40, 90)), y + float(rng.uniform(35, 80)))
        for x, y in np.add(rng.uniform(0, 20, (3, 2)), [[0, 0], [120, 0], [240, 0]]).tolist()
    )
    program = read(jobs.job(sheet, *within, last, boxes=boxes).text)
    assert program.level(1).clear >= sheet.top - 1e-3
    assert all(height >= sheet.top - 1e-3 for height in stands(program, 5))
    assert sheet.zero == "board" or program.top == 0


@pytest.mark.parametrize("works", [(jobs.drilled, jobs.outline), (jobs.plunged, jobs.outline)], ids=names)
def test_a_hole_deep_into_the_board_leaves_no_pass_out_of_a_recut(works: tuple[Work, ...]):
    """A drill goes 3.5 mm into the board: the part is still cut pass by pass, from above the sheet."""
    _, program = over(PLAIN, "board", *works)
    lines = recut_program(program, ["part 1"]).split("\n")
    depths = [line.split()[1] for line in lines if line.startswith("G1 Z")]
    assert program.top == 18
    assert depths[-4:] == ["Z12.", "Z6.", "Z0.", "Z-0.2"]


@pytest.mark.parametrize("last", [jobs.outline_in_one, jobs.outline])
def test_pockets_above_the_zero_are_cut(last: Work):
    """Each bit cuts something, in all parts, and the pockets are part of a recut."""
    _, program = over(replace(PLAIN, thick=12.0), "board", jobs.pocket, last)
    cuts = cutting(program.moves, program.tops)
    assert set(program.moves.bit[cuts].tolist()) == {1, 2}
    assert len(find_parts(program)) == 3
    assert "G1 Z8.\n" in recut_program(program, ["part 2"])


@pytest.mark.parametrize("zero", ["top", "board"])
def test_traverses_that_are_written_as_feeds_part_the_parts(zero: Zero):
    """Without any G0 the parts are told apart, and the bit stands where it goes across between them."""
    done, program = over(replace(PLAIN, feeds_only=True), zero, jobs.outline)
    second = next(i for i, line in enumerate(program.lines, 1) if "X110" in line)
    assert len(find_parts(program)) == 3
    assert resume_at(program, second + 6).file_line == second + 1
    assert resume_at(program, second + 6).position[2] == done.top + done.safe
    assert recut_program(program, ["part 2"])


def test_a_bit_that_only_faces_to_zero_cuts():
    """Down to Z 0 and no deeper: the top lies between there and where the bit comes down to."""
    text = "G21 G90 G54\nM3 S9000\nT1 M6\nG0 Z15\nX0 Y0\nZ3\nG1 Z0 F300\nX90 F2000\nY8\nX0\nG0 Z15\nX5\n{}M30"
    more = "T2 M6\nG0 X20 Y2\nZ3\nG1 Z-5\nX60\nG0 Z15\nX0\n"
    for program in (read(text.format("")), read(text.format(more))):
        assert 0 < program.top < 3
        assert cutting(program.moves, program.tops)[program.moves.bit == 1].any()


def test_tabs_are_as_high_as_they_stand_over_the_board():
    """Passes at 5 and -0.2 with tabs: the first pass cuts, and the tabs are 3.2 mm high."""
    _, program = over(replace(PLAIN, thick=12.0, step=7.0), "board", jobs.outline_with_tabs)
    assert program.top == pytest.approx(10.2)
    assert [round(tab.height, 3) for part in find_parts(program) for tab in part.tabs] == [3.2, 3.2, 3.2]


def test_a_zero_that_nothing_tells_is_in_doubt_until_somebody_says():
    """A single pass through the sheet, 0.2 mm below Z 0, may be either; what is said of the top holds."""
    done, program = over(replace(PLAIN, thick=12.0), "board", jobs.outline_in_one)
    (doubt,) = program.doubts
    assert program.top == 0
    assert "nothing is fed deeper than Z-0.200 mm" in doubt
    assert "the same face as the first time" in said(program, 16)
    assert doubt in said(program, 16)
    assert doubt in " ".join(" ".join(cautions_of(recut_program(program, ["part 1"]))).split())
    for top in (12.0, 0.0):
        told = read(done.text, top=top)
        assert (told.top, told.doubts, told.top_said) == (top, (), top)
        assert told.level(1).clear >= done.top
        assert "the first time" not in said(told, 16)
    assert "Z0 is the spoilboard, below the top" in said(read(done.text, top=12.0), 16)


def test_a_single_deep_overcut_from_high_above_is_in_doubt():
    """2.5 mm into the spoilboard in one pass from 20 mm above it: not so from just above the sheet."""
    overcut = replace(PLAIN, through=2.5)
    assert over(overcut, "board", jobs.outline_in_one)[1].doubts
    thin = replace(overcut, thick=0.5)
    assert not over(thin, "top", jobs.outline_in_one)[1].doubts


def said(program: Program, line: int) -> str:
    """Return what a person reads in the head of a restart program."""
    return " ".join(" ".join(cautions_of(carry_on(program, line).text)).split())


def test_what_is_said_of_the_top_is_kept_where_a_unit_is_said_later():
    """The program is read again in another unit, from the same top."""
    text = "G90 G54\nM3 S9000\nG0 Z1\nX0 Y0\nG1 Z-.01 F10\nX4\nY4\nG0 Z1\nM30\n"
    assert in_units(read(text, top=12.7), "inch").top == 12.7


@pytest.mark.parametrize("zero", ["top", "board"])
def test_usual_programs_are_in_no_doubt(zero: Zero):
    """Passes, pockets and ways in tell where the top is."""
    for works in WORKS:
        assert over(PLAIN, zero, *works)[1].doubts == ()


FLOOR = "G21 G90 G54\nM3 S9000\nG0 Z14\nX20 Y20\nG1 Z1 F300\nX24\nY24\nX20\nG0 Z14\n"
THROUGH = "X0 Y0\nG1 Z-0.2\nX50\nY50\nX0\nY0\nG0 Z14\nM30\n"


def test_a_small_pocket_near_the_spoilboard_tells_the_zero():
    """Down at feed to 1.8 mm, across, and out again: over a zero on the sheet nobody does that in the air."""
    assert 1.8 < read(FLOOR.replace("Z1 ", "Z1.8 ") + THROUGH).top < 14


def test_what_is_fed_across_but_taken_as_air_is_told():
    """A small pocket that leaves 1 mm over the spoilboard: its height is named, and so are its moves."""
    program = read(FLOOR + THROUGH)
    assert program.top == 0
    assert "it feeds across at Z1.000 mm" in program.doubts[0]
    assert set(program.moves.file_line[program.taken_as_air].tolist()) == {6, 7, 8}
    told = read(FLOOR + THROUGH, top=12.0)
    assert not len(told.taken_as_air)
    assert cutting(told.moves, told.tops)[program.taken_as_air].all()


def test_a_part_with_what_may_have_been_cut_unheard_is_not_good():
    """All of the outline was heard, and the pocket in it is taken as air: nobody knows of it."""
    for top, verdict in ((None, "unheard"), (12.0, "good")):
        plan = Plan.of(read(FLOOR + THROUGH, top=top), {0: Bit("six", 6.0, 2)})
        marks = unmarked(plan) | np.uint8(SEEN | HEARD)
        assert [part.verdict for part in verdicts(plan, marks, frozenset({0}))] == [verdict]


ACROSS = {
    "Y30\nG1 Z0.8 F300\nG1 X295": ["unheard", "unheard", "good", "unheard"],
    "Y45\nG1 Z0.8 F300\nG3 X295 R1000": ["unheard", "unheard", "good", "good"],
    "Y45\nG1 Z0.8 F300\nG1 X295": ["good", "good", "good", "good"],
}


@pytest.mark.parametrize(("score", "meant"), ACROSS.items(), ids=["straight", "bent", "beside them"])
def test_what_is_taken_as_air_right_across_parts_leaves_none_of_them_good(score: str, meant: list[str]):
    """It begins and ends beside the two parts and the hole through which it goes."""
    parts = [
        f"G0 X{x} Y{y}\nG1 Z-0.1 F300\nX{x + 80}\nY{y + 30}\nX{x}\nY{y}\nG0 Z8\n"
        for x, y in ((10, 10), (110, 10), (10, 100))
    ]
    hole = "G0 X250 Y30\nG1 Z-0.1 F300\nG0 Z8\nM30\n"
    program = read(f"{HEAD}G0 Z8\nX-5 {score}\nG0 Z8\n{''.join(parts)}{hole}")
    assert program.doubts
    plan = Plan.of(program, {0: Bit("three", 3.0, 2)})
    marks = unmarked(plan) | np.uint8(SEEN | HEARD)
    assert [part.verdict for part in verdicts(plan, marks, frozenset({1}))] == meant


HEAD = "G21 G90 G54\nT1 M6\nS18000 M3\n"


def around(x: float, depths: list[float], safe: float = 10.0, side: float = 80.0) -> str:
    """Return rounds of a square at some heights, from and to a safe one."""
    way = f"X{x + side} F2000\nY{side + 10}\nX{x}\nY10\n"
    return (
        f"G0 Z{safe}\nX{x} Y10\n" + "".join(f"G1 Z{depth} F300\n{way}" for depth in depths) + f"G0 Z{safe}\n"
    )


TRACE = "G0 Z10\nX0 Y0\nG1 Z{} F500\nX200 F3000\nY100\nX0\nY0\nG0 Z10\n"
IN_THE_AIR = {
    "a border that is traced": TRACE.format(2)
    + around(10, [-3, -6, -9, -12])
    + around(110, [-3, -6, -9, -12]),
    "a way there at feed": "G0 Z10\nX0 Y0\nG1 Z3 F800\nX10 F2000\nG0 Z10\n" + around(20, [-3, -6, -9, -12]),
    "a first pass in the air": around(10, [0.5, -0.5, -2.5, -4.5, -6.2]),
    "a way in": "G0 Z5\nX0 Y0\nG1 Z1 F500\nX12 F1500\nG1 Z-3 F300\nX0\nX80\nG0 Z5\nX90\n",
}


@pytest.mark.parametrize("cut", IN_THE_AIR.values(), ids=IN_THE_AIR)
def test_who_cuts_across_deep_below_zero_has_it_on_the_sheet(cut: str):
    """Nobody goes round 3 mm deep in a spoilboard: what is fed above Z 0 is in the air, for certain."""
    program = read(f"{HEAD}{cut}M30")
    assert (program.top, program.doubts) == (0.0, ())


HELIX = "".join(f"G3 X20 Y20 Z{2.25 - 0.25 * turn:.2f} I-3 J0 F600\n" for turn in range(14))
UNSURE = {
    "a helix into a thin sheet": f"G0 Z5\nX20 Y20\nG1 Z2.5 F500\n{HELIX}G0 Z5\nX30\n",
    "a bit that faces to zero before": f"{around(0, [0])}T2 M6\n{around(10, [-3, -6])}",
    "points of drills": "G0 Z15\nX0 Y0\nZ7\nG1 Z-3 F300\nG0 Z15\nT2 M6\nM3\n" + around(10, [-0.2], safe=7),
    "a way at feed before a shallow cut": "G0 Z10\nX0 Y0\nG1 Z5 F800\nX9\nG0 Z10\n" + around(20, [-0.5]),
}


@pytest.mark.parametrize("cut", UNSURE.values(), ids=UNSURE)
def test_what_may_be_air_or_wood_is_in_doubt(cut: str):
    """Whichever the top is taken to be, it is said that it may be another, and no face is named."""
    program = read(f"{HEAD}{cut}M30")
    assert len(program.doubts) == 1
    assert "--top" in program.doubts[0]
    assert "does not tell which" in said(program, 9)


@pytest.mark.parametrize("depths", [[16, 12, 8, 4, 0], [15, 10, 5, 0], [12, 0]])
def test_passes_in_round_numbers_can_be_carried_on_with(depths: list[float]):
    """A step above the first pass may be the very height of the traverses: the top lies below that."""
    program = read(HEAD + around(0, depths, safe=20) + around(120, depths, safe=20) + "M30")
    assert depths[0] < program.top < program.level(1).clear
    assert resume_at(program, 25).position[2] == 20.0


def test_what_is_said_of_the_top_is_kept_where_the_block_delete_switch_is_asked():
    """With the switch the other way the program is read from the same top: its parts are the same ones."""
    text = f"{HEAD}/M8\n{UNSURE['a helix into a thin sheet']}M30"
    program = read(text, top=0.0)
    assert read(text).top > 0
    assert recut_program(program, [find_parts(program)[0].name])
