"""From what the user said to what is listened for."""

from pathlib import Path

import pytest

from analysis.cutting import Bit
from analysis.errors import ProgramError
from analysis.program import Program, read
from analysis.watcher import Settings
from monitor.setup import (
    Wanted,
    bits_for,
    entries_for,
    make_listener,
    read_program,
    settings_of,
    speed_remarks,
    tell_doubts,
)
from monitor.shelf.bits import Entry, Shelf, Thresholds

PROGRAM = "T1 M6\nS12000 M3\nG1 X10 F600\nT2 M6\nM3\nG1 X20\nM5\nT5 M6\nG1 X30\nM30\n"
SHELF = Shelf(
    Path("bits.toml"),
    (
        Entry(Bit("fine", 3.0, 1, 24000.0), "up-cut", tool=1),
        Entry(Bit("coarse", 8.0, 3), "straight", tool=2),
        Entry(Bit("round", 6.0, 2, 16000.0), "ball"),
    ),
)


@pytest.fixture
def program() -> Program:
    """Give a program with three bits, the last of which does not turn."""
    return read(PROGRAM, "job.ngc")


def test_without_anything_said_it_is_the_commonest_bit():
    """A two-flute bit of a quarter of an inch (common practice), at a speed that the sound will tell."""
    assert bits_for(Wanted(), None, Shelf(Path("bits.toml"))) == {0: Bit("bit", 6.35, 2, None)}


def test_the_shelf_knows_the_bits_of_the_program(program: Program):
    """T numbers find their bits on the shelf; how fast they turn here the program knows better."""
    bits = bits_for(Wanted(), program, SHELF)
    assert bits[1] == Bit("fine", 3.0, 1, 12000.0)
    assert bits[2] == Bit("coarse", 8.0, 3, 12000.0)


def test_a_bit_that_nobody_knows_is_the_commonest(program: Program):
    """A T number that is not on the shelf, and never turns, has no speed."""
    assert bits_for(Wanted(), program, SHELF)[5] == Bit("bit", 6.35, 2, None)


def test_a_bit_that_is_named_is_in_the_spindle_whatever_the_program_says(program: Program):
    """--bit stands for every T number."""
    bits = bits_for(Wanted(bit="round"), program, SHELF)
    assert set(bits.values()) == {Bit("round", 6.0, 2, 12000.0)}


def test_what_the_user_says_outweighs_everything(program: Program):
    """--rpm, --flutes and --diameter go before shelf and program, each for itself."""
    bits = bits_for(Wanted(speed=18000.0, flutes=4), program, SHELF)
    assert bits[1] == Bit("fine", 3.0, 4, 18000.0)
    assert bits[2] == Bit("coarse", 8.0, 4, 18000.0)
    assert bits_for(Wanted(diameter=5.0), program, SHELF)[2].diameter == 5.0


TWO_SPEEDS = (
    "G21 G90\nT1 M6\nS16000 M3\nG0 Z5\nX0 Y0\nG1 Z-1 F600\nX10\nX20\nX30\nG0 Z5\n"
    "S8000 M3\nG4 P3\nG1 Z-1\nX0\nG0 Z5\nS{third} M3\nG1 Z-1\nX5\nG0 Z5\nM30\n"
)


def test_a_bit_has_all_the_speeds_at_which_the_program_turns_it():
    """The commonest goes first; speeds that are hardly different are one, told by the one in the middle."""
    several = read(TWO_SPEEDS.format(third=16100), "job.ngc")
    bit = bits_for(Wanted(), several, Shelf(Path("bits.toml")))[1]
    assert (bit.speed, bit.speeds) == (16_000.0, (8000.0, 16_000.0))
    alike = read(TWO_SPEEDS.replace("S8000", "S16200").format(third=16100), "job.ngc")
    bit = bits_for(Wanted(), alike, Shelf(Path("bits.toml")))[1]
    assert (bit.speed, bit.speeds) == (16_100.0, ())


@pytest.mark.parametrize("bit", [None, "round"])
def test_a_speed_that_the_user_says_is_the_only_one(bit: str | None):
    """Where a dial sets the speed the program's S words set none, and the shelf's is of another day."""
    wanted, several = Wanted(speed=12_000.0, bit=bit), read(TWO_SPEEDS.format(third=8000), "job.ngc")
    assert {(bit.speed, bit.speeds) for bit in bits_for(wanted, several, SHELF).values()} == {(12_000.0, ())}
    assert speed_remarks(wanted, several, SHELF) == []


@pytest.mark.parametrize(
    ("shelved", "asked", "speed", "told"),
    [
        (10_000.0, 18_000, 18_000.0, ["T1: the shelf says 10000 rpm, the program 18000"]),
        (36_000.0, 18_000, 18_000.0, ["T1: the shelf says 36000 rpm, the program 18000"]),
        (17_500.0, 18_000, 17_500.0, []),
        (18_000.0, 18_000, 18_000.0, []),
        (None, 18_000, 18_000.0, []),
        (18_000.0, 1000, 18_000.0, []),
        (18_000.0, 1, 18_000.0, []),
    ],
)
@pytest.mark.parametrize("bit", [None, "own"])
def test_a_program_outweighs_the_speed_on_the_shelf_where_that_is_plainly_another(
    bit: str | None, shelved: float | None, asked: int, speed: float, told: list[str]
):
    """It is said then. An S word at which nothing is cut is no speed: a share of the most, or just on."""
    shelf = Shelf(Path("bits.toml"), (Entry(Bit("own", 6.0, 2, shelved), "v", tool=1),))
    cut = read(f"G21 G90\nT1 M6\nS{asked} M3\nG0 Z5\nX0 Y0\nG1 Z-1 F600\nX50\nG0 Z5\nM30\n", "job.ngc")
    assert bits_for(Wanted(bit=bit), cut, shelf)[1].speed == speed
    remarks = speed_remarks(Wanted(bit=bit), cut, shelf)
    assert [line.split(":")[:2] for line in remarks] == [line.split(":")[:2] for line in told]
    assert all("say --rpm where a dial sets the speed" in line for line in remarks)


def test_a_bit_that_turns_at_a_speed_that_nobody_says_has_none():
    """Nor where one bit is behind all T numbers; that of the others is for those alone that never turn."""
    cut = "G0 Z5\nX0 Y0\nG1 Z-1 F600\nX50\nG0 Z5\n"
    program = read(f"G21 G90\nT2 M6\nM3\n{cut}T1 M6\nS9000 M3\n{cut}T3 M6\nM5\n{cut}M30\n", "job.ngc")
    bits = bits_for(Wanted(bit="own"), program, Shelf(Path("bits.toml"), (Entry(Bit("own", 6.0, 2), "v"),)))
    assert [bits[number].speed for number in (1, 2, 3)] == [9000.0, None, 9000.0]


def test_a_program_with_several_speeds_outweighs_the_shelf_with_one_of_them():
    """At the other one a tight bit would sound as a loose one does; all of them are named."""
    shelf = Shelf(Path("bits.toml"), (Entry(Bit("own", 6.0, 2, 16_000.0), "v", tool=1),))
    several = read(TWO_SPEEDS.format(third=8000), "job.ngc")
    assert bits_for(Wanted(), several, shelf)[1].speeds == (8000.0, 16_000.0)
    (remark,) = speed_remarks(Wanted(), several, shelf)
    assert remark.startswith("T1: the shelf says 16000 rpm, the program 8000 and 16000: ")


def test_whoever_listens_is_told_of_another_speed_on_the_shelf(tmp_path: Path, program: Program):
    """The remark comes where the listener is made."""
    (tmp_path / "bits.toml").write_text(
        '[[bit]]\nname = "fine"\ndiameter = 3\nflutes = 1\nkind = "up-cut"\nspeed = 24000\ntool = 1\n'
    )
    said: list[str] = []
    make_listener(48_000, program, Wanted(), tmp_path, said.append)
    assert said[0].startswith("T1: the shelf says 24000 rpm, the program 12000: ")


def test_whoever_listens_is_told_where_another_sheet_may_be_put_in(tmp_path: Path):
    """The remark comes where the listener is made: by the bits it is known what would be in the air."""
    cut = "G0 Z5\nG0 X{0} Y0\nG1 Z{1} F600\nX{2}\nY3\nX{0}\nG0 Z5\n"
    first, second = cut.format(0, -6, 60), cut.format(2, -3, 50)
    said: list[str] = []
    program = read(f"G21 G90\nS18000 M3\n{first}M0\n{second}M30\n", "job.ngc")
    make_listener(48_000, program, Wanted(diameter=6.0, speed=18_000.0), tmp_path, said.append)
    assert [line for line in said if line.startswith("job.ngc: line 13, ") and "not be told good" in line]


def test_each_bit_is_judged_as_the_shelf_says_unless_the_user_says_otherwise(program: Program):
    """Thresholds of the material go before those of the bit, and the command line before both."""
    fine = Entry(
        Bit("fine", 3.0, 1),
        "v",
        1,
        thresholds=Thresholds(2.0, limit=0.9),
        others={"MDF": Thresholds(limit=1.2)},
    )
    shelf = Shelf(Path("bits.toml"), (fine, *SHELF.entries[1:]))

    def judged(**said: object) -> dict[int, Settings]:
        wanted = Wanted(**said)  # type: ignore[arg-type]
        return settings_of(wanted, entries_for(wanted, program, shelf))

    assert judged() == {1: Settings(false_alarms=2.0, factor=0.9)}
    assert judged(material="mdf") == {1: Settings(false_alarms=2.0, factor=1.2)}
    assert set(judged(bit="fine")) == {0, 1, 2, 5}
    assert judged(bit="round") == {}
    assert judged(settings=Settings(hours=5.0)) == {}


@pytest.mark.parametrize(("text", "said"), [("", "moves nothing"), ("X1 Y\n", "line 1, column 4")])
def test_a_program_that_is_wrong_names_its_file_once(tmp_path: Path, text: str, said: str):
    """The one line has the file's name, once, and where in it the trouble is."""
    path = tmp_path / "job.ngc"
    path.write_text(text)
    with pytest.raises(ProgramError, match=said) as caught:
        read_program(path, [].append)
    assert str(caught.value).count("job.ngc") == 1


def test_what_a_program_says_that_is_not_understood_is_told(tmp_path: Path):
    """Every unknown word is told with its line, the first five one by one, the others by their number."""
    path = tmp_path / "strange.ngc"
    unknown = "".join(f"M{code}\n" for code in range(100, 107))
    path.write_text(f"G21 G90\n{unknown}S18000 M3\nG4 P1\nG0 Z5\nG0 X0 Y0\nG1 Z-1 F600\nX50\nG0 Z5\nM30\n")
    told: list[str] = []
    read_program(path, told.append)
    assert [text.split(":")[1] for text in told[:5]] == [f" line {line}, column 1" for line in range(2, 7)]
    assert "M100" in told[0]
    assert told[5:] == ["strange.ngc: 2 more remarks on other lines"]


def test_a_remark_that_comes_again_leaves_room_for_others(tmp_path: Path):
    """That half of a file is not run is told also where much before it is remarked on, line after line."""
    path = tmp_path / "two.ngc"
    once = "S18000 M3\nG0 Z5\nG0 X0 Y0\nG1 Z-1 F600\nX50\nG28 G91 Z0\nG90\n"
    path.write_text(f"G21 G90\n{once * 8}M30\n{once}M30\n")
    told: list[str] = []
    read_program(path, told.append)
    assert "line 7, column 1: how far this goes is not in the program" in told[0]
    assert "line 59, column 1: the program ends before this line; what follows is not run" in told[1]
    assert told[2:] == ["two.ngc: 7 more remarks on other lines"]


JOB = "G21 G90\nT1\nG0 Z5\nG1 X1 Y1 F600\nZ-1\nM2\n"


@pytest.mark.parametrize(
    ("text", "speed", "told"),
    [
        (None, None, True),
        (None, 18_000.0, False),
        (JOB, None, True),
        ("G21 G90\nT1\nS18000 M3\nG0 Z5\nG1 X1 Y1 F600\nZ-1\nM2\n", None, False),
        (JOB, 18_000.0, False),
    ],
)
def test_it_is_said_where_nobody_says_how_fast_the_spindle_turns(
    tmp_path: Path, text: str | None, speed: float | None, told: bool
):
    """Half the speed may be taken for it: whoever listens is told to say it, and who has said it is not."""
    said: list[str] = []
    program = None if text is None else read(text, "job")
    make_listener(48_000, program, Wanted(speed=speed), tmp_path, said.append)
    assert [("say --rpm" in line) for line in said] == [True] * told


@pytest.mark.parametrize(("text", "lines", "told"), [(None, "tcp:1", 1), (None, None, 0), (JOB, "tcp:1", 0)])
def test_it_is_said_where_lines_come_without_their_program(
    tmp_path: Path, text: str | None, lines: str | None, told: int
):
    """Line numbers alone give an alarm a line, and no restart: whoever forgot the program is told."""
    said: list[str] = []
    program = None if text is None else read(text, "job")
    make_listener(48_000, program, Wanted(speed=18_000.0, lines=lines), tmp_path, said.append)
    assert ["no restart program; say --program" in line for line in said] == [True] * told


def test_a_top_in_doubt_is_told_until_it_is_said(tmp_path: Path):
    """That Z0 may be the spoilboard is told in one line that says what to do."""
    path = tmp_path / "thin.ngc"
    path.write_text("G21 G90\nS18000 M3\nG0 Z14\nG0 X0 Y0\nG1 Z-.2 F600\nX50\nG0 Z14\nM30\n")
    told: list[str] = []
    tell_doubts(read_program(path, told.append), told.append)
    assert [text.split(",")[0] for text in told] == ["thin.ngc: Z0 is taken for the sheet's top"]
    assert "--top" in told[0]
    tell_doubts(read_program(path, told.append, top=3.0), told.append)
    assert len(told) == 1
