"""Where the top of the work is, and what cuts."""

import pytest

from analysis.program import Kind, cutting, read
from analysis.program.moves import lowest
from analysis.program.traverses import Ways
from analysis.program.work import clear_height, levels


def top(text: str) -> float:
    """Return the top of a program's work."""
    return read("G21 G90 F100\n" + text).top


def test_zero_on_the_work_is_the_usual_case():
    """Cuts below 0 and traverses above 0: the top is Z 0, whatever else moves."""
    assert top("G0 Z5\nX1\nG1 Z-3\nX9\nG0 Z5\nX0") == 0.0
    assert top("G0 Z5\nX1\nG1 Z1\nX2\nZ-3\nX9\nG0 Z5\nX0") == 0.0
    assert top("G0 Z5\nX1\nG81 X2 Z-9 R1\nX3\nG80") == 0.0


def test_quick_links_inside_a_cleared_pocket_do_not_move_the_top():
    """A traverse below 0 within what has been cut leaves the top at 0."""
    assert top("G0 Z5\nX1\nG1 Z-3\nX20\nG0 Z-2.5\nX1 Y3\nG1 Z-3\nX20\nG0 Z5\nX0") == 0.0


def test_zero_on_the_spoilboard_takes_one_step_above_the_first_pass():
    """Passes at 15, 12, 9 ... under a traverse at 25: the first one was 3 deep, so the top is at 18."""
    passes = "\n".join(f"G1 Z{z}\nX{50 - 50 * (i % 2)}" for i, z in enumerate((15, 12, 9, 6, 3, 0)))
    assert top(f"G0 Z25\nX0 Y1\n{passes}\nG0 Z25\nX0") == pytest.approx(18.0)


def test_a_slight_cut_into_the_spoilboard_does_not_make_it_the_top():
    """The last pass at -0.2 leaves the top above the passes."""
    passes = "\n".join(f"G1 Z{z}\nX{50 - 50 * (i % 2)}" for i, z in enumerate((12, 6, -0.2)))
    assert top(f"G0 Z25\nX0 Y1\n{passes}\nG0 Z25\nX0") == pytest.approx(18.0)


ROUND = ["X30", "Y30", "X0", "Y0"]
BOARD = [
    "G0 Z30",
    "X0 Y0.001",
    "Y0",
    "G1 Z12.7",
    *ROUND,
    "Z-0.2",
    *ROUND,
    "G0 Z30",
    "X0 Y5",
    "G81 X5 Z-0.2 R22",
]


def test_two_passes_over_the_spoilboard_do_not_make_it_the_top():
    """A pass at half the sheet and one through it, and holes: the first is gone over again, so it cuts."""
    assert top("\n".join([*BOARD, "X9", "X20", "G80"])) > 19


def test_hops_at_feed_above_an_engraving_are_in_the_air():
    """Strokes at -0.3 with hops at feed above them, which nothing goes over again: the top is at Z 0."""
    strokes = [f"G1 Z1\nX{x} Y0\nZ-0.3\nY20" if x % 4 else f"G1 Z1\nX{x}\nZ-0.3\nY0" for x in range(2, 40, 2)]
    assert top("G0 Z5\nX1\n" + "\n".join(strokes) + "\nG0 Z5\nX0") == 0.0


def test_one_level_puts_the_top_half_way():
    """With one level nothing tells its depth: half way to the traverse."""
    assert top("G0 Z20\nX1\nG1 Z10\nX9\nG0 Z20\nX0") == pytest.approx(15.0)


def test_feeds_in_the_air_are_no_levels():
    """Feeds at or above the height of traverses do not lift the top."""
    passes = "G1 Z22\nX5\nZ12\nX20\nZ6\nX0"
    assert top(f"G0 Z20\nX1\n{passes}\nG0 Z20\nX0") == pytest.approx(18.0)


def test_zero_above_the_work():
    """With every Z below 0 the top lies between the cut and the traverse."""
    assert -15 < top("G0 Z-10\nX1\nG1 Z-15\nX9\nG0 Z-10\nX0") < -10


def test_the_estimate_is_noted():
    """A person is told that the top was estimated."""
    notes = read("G21 G90 F100\nG0 Z20\nX1\nG1 Z10\nX9\nG0 Z20\nX0").warnings
    assert any("estimated at Z15.000" in note.text for note in notes)


def test_what_feeds_below_the_top_cuts():
    """Plunge, cut, ramp and peck below the top cut; traverses, retracts and air moves do not."""
    moves = read("G21 G90 F100\nG0 Z5\nG1 X5\nZ-1\nX9\nX12 Z-2\nZ-1\nX20 Z3\nG0 X0\nG81 Z-3 R1 X0").moves
    cuts = [Kind(kind).name for kind in moves.kind[cutting(moves, 0.0)]]
    assert cuts == ["PLUNGE", "CUT", "RAMP", "CUT", "PECK"]


def test_an_upright_arc_that_dips_below_the_top_cuts():
    """Both ends of a G18 arc may stand above the work while its middle cuts."""
    dip = read("G21 G90 F100\nG0 X0 Y0 Z1\nG18 G3 X10 Z1 I5 K0").moves
    over = read("G21 G90 F100\nG0 X0 Y0 Z1\nG18 G2 X10 Z1 I5 K0").moves
    assert {round(float(lowest(dip)[-1]), 6), round(float(lowest(over)[-1]), 6)} == {-4.0, 1.0}
    side = read("G21 G90 F100\nG0 X0 Y0 Z1\nG19 G2 Y10 Z1 J5 K0\nG3 Y0 Z1 J-5 K0\nG3 Y10 Z1 J5 K0").moves
    assert sorted(round(float(low), 6) for low in lowest(side)[-2:]) == [-4.0, 1.0]


def test_the_clear_height_is_the_lowest_traverse_once_z_is_known():
    """A traverse before the first Z counts for nothing, for its height is not known."""
    assert clear_height(Ways(read("G21 G0 X5\nZ8\nX1\nZ6\nX2\nZ1").moves)) == 6
    assert clear_height(Ways(read("G21 G0 X5").moves)) == float("inf")


HOMES = ["G28 G91 Z0\nG90", "G53 G0 Z-1", "G30 G91 Z0\nG90"]
SHEET = "\n".join(f"G1 Z{z}\nX50\nX0" for z in (12, 6, -0.2))


@pytest.mark.parametrize("home", HOMES)
def test_the_way_home_is_no_height_of_the_program(home: str):
    """A traverse at a height that only the machine knows does not tell how high the work is."""
    assert top(f"{home}\nG0 X1 Y1\nZ30\nZ20\n{SHEET}\nG0 Z30\nX60\n{SHEET}\nG0 Z30\n{home}") == pytest.approx(
        18
    )


def test_without_its_length_offset_a_bit_tells_no_height():
    """What is stated after G49 is the height of something else than the tip, till the offset is back."""
    parked = "G0 G49 Z0\nX100 Y100\nT2 M6\nG0 X5 Y5\nG43 H2 Z30\nX8"
    text = f"T1 M6\nG0 X1 Y1\nG43 H1 Z30\nZ20\n{SHEET}\nG0 Z30\nX60\n{parked}\n{SHEET}\nG0 Z30"
    assert top(text) == pytest.approx(18)
    moves = read(f"G21 G90 F100\n{text}").moves
    low = moves.end[:, 2] == 0
    assert low.any()
    assert not moves.z_known[low].any()


def test_between_a_new_bit_and_its_length_offset_no_height_is_known():
    """Z is that of the bit before until G43 says the new one's; where none comes it is as it was."""
    text = "G21 G90 F100\nT1 M6\nG43 H1\nG0 Z30\nX1\nT2 M6\nG0 Z5\nX2\n{}\nG0 Z30\nX3\nX4"
    measured, as_it_was = (read(text.format(word)).moves for word in ("G43 H1", ""))
    assert measured.z_known[measured.end[:, 0] == 2].tolist() == [False, False]
    assert as_it_was.z_known[as_it_was.end[:, 0] == 2].tolist() == [True, True]
    assert measured.z_known[-1]


def test_links_within_what_is_cut_are_no_clear_height():
    """A traverse below a level that is fed across lies in the work, whichever of them comes first."""
    links = "X100\nY10\nX0\nG1 Z12\nG0 Y0\nG1 Z9\nX100\nY10\nX0\nG0 Y0\nG1 Z6\nX100"
    rest = f"G0 Z30\nX150 Y0\n{SHEET}"
    assert top(f"G0 Z30\nX0 Y0\nG1 Z15\n{links}\n{rest}\nG0 Z30") == pytest.approx(18)
    for lift in (6, 6.5, 12, 12.5):
        pocket = f"G1 Z6\nX20\nG0 Z{lift}\nX0 Y5\nG1 Z6\nX20"
        assert top(f"G0 Z30\nX0 Y1\n{pocket}\n{rest}\nG0 Z30") == pytest.approx(18)


def test_a_link_just_above_the_only_level_is_no_clear_height():
    """Where nothing tells the step of depth, a traverse a little above a floor lies within the pocket."""
    pocket = "G1 Z9\nX{1}\nG0 Z10\nX{0} Y5\nG1 Z9\nX{1}\nG0 Z30"
    moves = read(f"G21 G90 F100\nG0 Z30\nX1\n{pocket.format(1, 20)}\nX40\n{pocket.format(40, 60)}\nX0").moves
    assert clear_height(Ways(moves)) == 30


def test_low_hops_over_an_engraving_are_clear_of_it():
    """With both depths below Z 0 a traverse just above it is none within the work."""
    text = "G0 Z25\nX1\nG1 Z-0.2\nX9\nG0 Z1\nX11\nG1 Z-1.5\nX20\nG0 Z1\nX30\nG1 Z-0.2\nX40\nG0 Z25\nX0"
    program = read(f"G21 G90 F100\n{text}")
    assert (program.top, clear_height(Ways(program.moves))) == (0, 1)


def test_each_coordinate_system_has_a_top_of_its_own():
    """Zero on the spoilboard in one and on the work in another, and a third only to park in."""
    deep = "\n".join(f"G1 Z{z}\nX50\nX0" for z in (-6, -12, -18))
    text = f"G54 G0 Z30\nX0 Y1\n{SHEET}\nG0 Z30\nG55 Z10\nX0 Y0\n{deep}\nG0 Z30\nG59 Z0\nX0 Y0"
    program = read(f"G21 G90 F100\n{text}")
    assert {system: level.top for system, level in program.levels.items()} == {1: 18, 2: 0, 6: 0}
    assert program.top == 18
    assert set(program.tops[program.moves.system == 2]) == {0}
    assert program.level(9).top == 18


def test_a_single_pass_that_traverses_at_no_known_height_is_clear_at_its_highest():
    """Z 0 may be the spoilboard: only the highest place that the program names is surely above."""
    moves = read("G21 G90 F100\nG53 G0 Z-1\nG0 X5\nZ30\nG1 Z-0.2\nX20\nZ2\nX24\nZ-0.2\nX50\nG53 G0 Z-1").moves
    assert levels(moves)[1].clear == pytest.approx(30)


@pytest.mark.parametrize("change", ["", "T1 M6\n", "T1 M6\nX9\n"])
def test_before_the_first_length_offset_no_height_is_known(change: str):
    """Where the bit goes to be changed, at a height without its length offset, is not above the work."""
    text = f"G0 G49 Z0\nX100 Y100\n{change}G0 X5 Y5\nG43 H1 Z30\nX8\n{SHEET}\nG0 Z30\nX60\n{SHEET}\nG0 Z30"
    assert top(text) == pytest.approx(18)


def test_h0_takes_the_length_offset_off():
    """Many controls take G43 H0 as G49: a traverse under it does not tell how high the work is."""
    text = f"T1 M6\nG0 X1 Y1\nG43 H1 Z30\n{SHEET}\nG0 Z30\nX60\n{SHEET}\nG0 Z30\nG43 H0 Z0\nX0 Y0"
    assert top(text) == pytest.approx(18)


def test_a_bit_that_is_cut_with_before_any_length_offset_tells_its_heights():
    """A reference bit without an offset, and a second one with: both say where they are."""
    text = f"G0 Z30\nX1 Y1\n{SHEET}\nG0 Z20\nX60\n{SHEET}\nG0 Z30\nT2 M6\nG43 H2 Z30\nX0"
    moves = read(f"G21 G90 F100\n{text}").moves
    assert clear_height(Ways(moves)) == 20
