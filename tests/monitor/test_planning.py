"""`chipsong plan`: what a person reads, what a program reads, and what goes wrong."""

import json
import os
import pty
import re
import subprocess
import termios
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path
from typing import IO, Any

import pytest
from contract import SHIPPED, Ended
from generated import programs
from hypothesis import given, settings
from live_watch import COMMAND

from analysis.contents import Tool, contents_of
from analysis.cutting import Bit
from analysis.program import read
from monitor.planning import report as report_module
from monitor.planning.lengths import Lengths, number
from monitor.planning.lines import columns, field
from monitor.planning.report import report, written
from monitor.planning.text import plan_text
from monitor.planning.tools import tools_for
from monitor.setup import Wanted
from monitor.shelf.bits import Entry, Shelf

Command = Callable[..., Ended]
TRAYS = SHIPPED / "seedling_trays.ngc"
HEAD = "G21 G90\nT1 M6 (6 mm up-cut)\nS18000 M3\nG0 Z5\nG0 X0 Y0\n"
SQUARE = HEAD + "G1 Z-3 F600\nG1 X100 F2400\nY100\nX0\nY0\nM30\n"
SIX = Bit("six", 6.0, 2, 18_000.0)
INCHES = "G20 G90\nT1 M6\nS16000 M3\nG0 Z.25\nG0 X0 Y0\nG1 Z-.25 F20\nG1 X4 F100\nY3\nX0\nY0\nG0 Z.25\nM30\n"
PECKS = "G21 G90\nT1 M6\nS18000 M3\nG0 Z5\nG83 X10 Y10 Z-3 R1 Q1 F1200\nX30\nG80\nM30\n"
SHELF = """\
[[bit]]
name = "quarter"
diameter = "1/4in"
flutes = 3
kind = "compression"
speed = 17000
tool = 1
"""


@pytest.fixture
def job(tmp_path: Path) -> Callable[[str], Path]:
    """Give a program's file for its text."""

    def write(text: str) -> Path:
        path = tmp_path / "job.ngc"
        path.write_text(text)
        return path

    return write


def spoken(text: str, material: str | None = None, bit: Bit = SIX) -> str:
    """What a person reads of a program."""
    return plan_text(contents_of(read(text, "job.ngc"), {0: Tool(bit)}, material=material))


def said_of(text: str, field: str) -> str:
    """The first field of a name in what a person reads."""
    found = re.search(rf"^ *{field} +(.*(?:\n {{16}}.*)*)", text, re.MULTILINE)
    assert found is not None, f"there is no {field} in\n{text}"
    return " ".join(found[1].split())


# --- what a person reads --------------------------------------------------------------------------------


def test_the_square_in_words():
    """Speed, frequencies, feed, chip load, depth and place of the baseline of a square are all there."""
    text = spoken(SQUARE, "plywood")
    assert text.startswith("job.ngc: 11 lines, about 0:11, 0:11 of it cutting\n")
    assert said_of(text, "Bit changes") == "1: T1 on line 2"
    assert said_of(text, "Pauses") == "none"
    assert "T1  6 mm up-cut" in text
    # 18 000 rpm, 2 flutes: 300 and 600 Hz (common practice).
    assert said_of(text, "speed").startswith("18000 rpm: spindle 300 Hz, tooth-pass 600 Hz")
    assert said_of(text, "feed") == "2400 mm/min across, 600 mm/min straight down"
    assert said_of(text, "chip load").startswith("0.067 mm a tooth; makers' charts for plywood: ")
    assert said_of(text, "usual cut") == "3 mm deep, 100 % of the bit wide; takes 43.1 cm³/min"
    assert re.match(
        r"learned from line 7 to line 8, 1 to 4 s .* \(cutting across\)", said_of(text, "baseline")
    )
    assert re.search(r"part 1 +T1 +6 to 10 +100\.0 x 100\.0 +100\.0 +0:1\d +3\.0 +none", text)
    assert "Never leave a running machine unattended." in text


def test_a_program_in_inches_is_told_in_inches():
    """Inches come first, the mm behind them, and the table of parts is in inches."""
    text = spoken(INCHES, bit=Bit("quarter", 6.35, 2, 16_000.0))
    assert said_of(text, "bit").startswith("0.25 in (6.35 mm)")
    assert said_of(text, "feed") == "100 in/min (2540 mm/min) across, 20 in/min (508 mm/min) straight down"
    # 100 in/min at 16 000 rpm and two flutes: .003125 in.
    assert said_of(text, "chip load").startswith("0.0031 in (0.079 mm) a tooth")
    assert "box in" in text
    assert "4.000 x 3.000" in text


def test_a_bit_that_cannot_be_learned_is_called_out():
    """Short pecks: the word NONE, and the reason."""
    told = said_of(spoken(PECKS), "baseline")
    assert told.startswith("NONE: it can't be watched against a baseline")
    assert "3 s are needed" in told


def test_chips_outside_the_charts_are_a_remark_and_no_more():
    """Thin and thick chips are remarked upon, chips within the range are not; advice stays advice."""
    thin, thick = spoken(SQUARE, "mdf"), spoken(SQUARE.replace("F2400", "F24000"), "mdf")
    assert "0.067 mm a tooth is thinner than in the charts" in thin
    assert "0.667 mm a tooth is thicker than in the charts" in thick
    assert all("differ by a factor of 2 to 3: advice only" in text for text in (thin, thick))
    within = spoken(SQUARE.replace("F2400", "F9000"), "mdf")
    assert "than in the charts" not in within
    assert "say --material" not in within
    assert "say --material" in spoken(SQUARE)


def test_every_warning_of_the_reader_is_told_once_and_counted():
    """What is not understood is told with its first line and how often, in the order of the program."""
    text = spoken(SQUARE.replace("M30", "M101\nM117\nM117\nM117\nM30"))
    remarks = text[text.index("Remarks") :]
    assert remarks.count("M117 is not known") == 1
    assert re.search(r"line 11: M101 is not known .*\n.*line 12: M117", remarks)
    assert "(3 times, first here)" in " ".join(remarks.split())


def test_what_was_only_assumed_is_said():
    """A bit that is on no shelf is called assumed, and what to do about it is said once."""
    program = read(SQUARE)
    text = plan_text(contents_of(program, tools_for(Wanted(), program, Shelf(Path("bits.toml")))))
    assert said_of(text, "bit") == "6.35 mm, 2 flutes (assumed)"
    assert said_of(text, "speed").endswith("(flutes assumed)")
    assert text.count("not on the shelf, so its size is assumed") == 1


def test_several_bits_that_were_assumed_are_several():
    """What is said of them once is said of all of them."""
    cut = "G0 Z5\nG0 X0 Y0\nG1 Z-1 F600\nX9\nG0 Z5\n"
    text = spoken(f"G21 G90\nT1 M6\nS18000 M3\n{cut}T2 M6\n{cut}M30")
    assert "T1, T2: not on the shelf, so their sizes are assumed" in " ".join(text.split())


def test_many_parts_are_cut_short():
    """The screen has the first parts, and says how many more there are."""
    squares = "".join(f"G0 Z5\nG0 X{20 * at}\nG1 Z-1 F600\nX{20 * at + 9}\n" for at in range(40))
    text = spoken(f"G21 G90\nT1 M6\nS18000 M3\n{squares}G0 Z5\nM30")
    assert "Parts: 40" in text
    assert "part 24 " in text
    assert "part 25 " not in text
    assert "and 16 more; --json has all" in text


def test_long_programs_say_what_was_left_out(monkeypatch: pytest.MonkeyPatch):
    """Where depth and width were not worked out the text says so, and why."""
    program = read(SQUARE)
    monkeypatch.setattr("analysis.contents.whole.MOST_MOVES", 3)
    text = plan_text(contents_of(program, {0: Tool(Bit("six", 6.0, 2))}))
    assert f"depth and width of the cuts, and baselines: the program has {len(program.moves)} moves" in text
    assert "usual cut" not in text


def test_nothing_cut_is_said():
    """Air moves only: a sentence, and no table."""
    text = spoken("G21 G90\nG0 Z5\nG0 X50\nM30")
    assert "It cuts nothing." in text
    assert "Parts" not in text


@settings(max_examples=15, deadline=None)
@given(programs())
def test_any_program_is_told_in_plain_lines(text: str):
    """At most 100 columns, printable signs, and no blanks at the ends of lines."""
    for line in spoken(text, "plywood").splitlines():
        assert len(line) <= 100
        assert line.isprintable()
        assert line == line.rstrip()


def test_a_comment_cannot_move_the_cursor():
    """Signs that command a terminal are shown as question marks, and long comments are cut off."""
    text = spoken(SQUARE.replace("6 mm up-cut", "\x1b[31mred\x07" + "x" * 200))
    assert "\x1b" not in text
    assert "T1  ?[31mred?xxx" in text
    assert max(map(len, text.splitlines())) <= 100


# --- the bits -------------------------------------------------------------------------------------------


def test_how_a_bit_is_known():
    """The user outweighs the shelf, and the program its speed; what nobody says is assumed."""
    program = read("T1 M6\nS12000 M3\nG1 X10 F600\nT2 M6\nM3\nG1 X20\nT5 M6\nG1 X30\nM30\n")
    entries = (
        Entry(Bit("fine", 3.0, 1, 24_000.0), "up-cut", tool=1),
        Entry(Bit("coarse", 8.0, 3), "straight", tool=2),
    )
    shelf = Shelf(Path("bits.toml"), entries)
    known = tools_for(Wanted(), program, shelf)
    assert [(known[n].shelf, known[n].diameter, known[n].speed) for n in (1, 2, 5)] == [
        ("fine", "shelf", "program"),
        ("coarse", "shelf", "program"),
        ("", "assumed", "unknown"),
    ]
    said = tools_for(Wanted(speed=18_000.0, flutes=2), program, shelf)[1]
    assert (said.speed, said.flutes, said.diameter) == ("said", "said", "shelf")
    named = tools_for(Wanted(bit="coarse"), program, shelf)[5]
    assert (named.shelf, named.bit.flutes, named.flutes) == ("coarse", 3, "shelf")
    alike = Shelf(Path("bits.toml"), (Entry(Bit("fine", 3.0, 1, 12_100.0), "up-cut", tool=1),))
    assert tools_for(Wanted(), program, alike)[1].speed == "shelf"


def test_another_speed_on_the_shelf_is_a_remark():
    """Both speeds are told, and what to do where a dial sets the speed; that of the program is used."""
    program = read(SQUARE)
    shelf = Shelf(Path("bits.toml"), (Entry(Bit("slow", 6.0, 2, 10_000.0), "up-cut", tool=1),))
    text = plan_text(contents_of(program, tools_for(Wanted(), program, shelf)))
    assert said_of(text, "speed").startswith("18000 rpm: spindle 300 Hz")
    assert "T1: the shelf says 10000 rpm, the program 18000: " in " ".join(text.split())
    dial = plan_text(contents_of(program, tools_for(Wanted(speed=10_000.0), program, shelf)))
    assert "the shelf says" not in dial


# --- what a program reads -------------------------------------------------------------------------------


def keys(value: Any) -> set[str]:
    """All keys in a JSON value."""
    if isinstance(value, dict):
        return set(value) | {key for inner in value.values() for key in keys(inner)}
    return {key for inner in value for key in keys(inner)} if isinstance(value, list) else set()


def test_every_key_is_documented():
    """The module that writes the JSON names each of its keys in its documentation."""
    text = TRAYS.read_text()
    written_keys = keys(report(contents_of(read(text), {0: Tool(Bit("six", 6.0, 2))}, material="plywood")))
    assert report_module.__doc__ is not None
    assert len(written_keys) > 50
    for key in written_keys:
        assert re.search(rf"\b{key}\b", report_module.__doc__), f"{key} is not documented"


@settings(max_examples=15, deadline=None)
@given(programs())
def test_json_comes_back_as_it_was_written(text: str):
    """What is written is one line of strict JSON, and reads back as the report, to six decimals."""
    contents = contents_of(read(text), {0: Tool(Bit("six", 6.0, 2))}, material="plywood")
    line = written(contents)
    assert "\n" not in line

    def refuse(word: str) -> None:
        raise AssertionError(f"{word} is not JSON")

    back = json.loads(line, parse_constant=refuse)
    told = report(contents)
    assert back.keys() == told.keys()
    assert [bit["tool"] for bit in back["bits"]] == [bit["tool"] for bit in told["bits"]]
    assert back["time_s"] == pytest.approx(told["time_s"], abs=1e-6)
    assert json.dumps(back) == line


def test_the_square_as_json():
    """Closed forms: frequencies (18 000 rpm, 2 flutes), chip load, deepest cut, box and area."""
    told = json.loads(written(contents_of(read(SQUARE), {0: Tool(Bit("six", 6.0, 2, 18_000.0))})))
    (bit,) = told["bits"]
    assert bit["speeds"] == [{"rpm": 18_000.0, "spindle_hz": 300.0, "tooth_pass_hz": 600.0}]
    assert bit["chip_load_mm"] == pytest.approx(0.06667, abs=1e-5)
    assert (bit["deepest_mm"], bit["feed_across_mm_min"]) == (3.0, {"least": 2400.0, "most": 2400.0})
    assert bit["baseline"]["from"] == {"file": 7, "word": None}
    assert bit["no_baseline"] is None
    (part,) = told["parts"]
    assert (part["box_mm"], part["area_mm2"]) == ([0.0, 0.0, 100.0, 100.0], 10_000.0)


# --- the command ----------------------------------------------------------------------------------------


def test_the_command_in_a_pipe_is_plain():
    """Run as a process: status 0, all on standard output, no colour codes, at most 100 columns."""
    done = subprocess.run([*COMMAND, "plan", str(TRAYS)], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")
    assert "\x1b" not in done.stdout
    assert max(map(len, done.stdout.splitlines())) <= 100
    assert done.stdout.startswith("seedling_trays.ngc: ")
    for word in ("T1  5 mm up-cut, 2 flutes", "T2  ", "T3  ", "Parts: 5", "part 5"):
        assert word in done.stdout


def _all_of(terminal: IO[bytes]) -> Iterator[bytes]:
    """Give what was written to a terminal, to its end, which is an error on some systems."""
    with suppress(OSError):
        while piece := terminal.read(4096):
            yield piece


def test_on_a_terminal_lines_are_as_long_as_it_is_wide(job: Callable[[str], Path]):
    """A remark that the terminal would break in the middle of a word is wrapped before."""
    ours, theirs = pty.openpty()
    termios.tcsetwinsize(theirs, (24, 60))
    words = [*COMMAND, "plan", str(job(SQUARE))]
    env = {name: value for name, value in os.environ.items() if name not in ("COLUMNS", "LINES")}
    subprocess.run(words, stdout=theirs, stderr=subprocess.DEVNULL, env=env, check=True)
    os.close(theirs)
    with os.fdopen(ours, "rb", buffering=0) as terminal:
        said = b"".join(_all_of(terminal)).decode()
    assert "not on the shelf, so its size is assumed" in " ".join(said.split())
    table = [line for line in said.splitlines() if line.startswith(("  name", "  part", "Parts"))]
    assert max(len(line) for line in said.splitlines() if line not in table) <= 60


def test_a_terminal_without_the_signs_gets_question_marks(job: Callable[[str], Path]):
    """A code page that lacks a sign is no reason to fail."""
    words = [*COMMAND, "plan", str(job(SQUARE))]
    done = subprocess.run(words, capture_output=True, check=True, env={"PYTHONIOENCODING": "ascii"})
    assert b"cm?/min" in done.stdout


def test_the_command_gives_json(chipsong: Command):
    """--json is one object on one line, with the material that was said."""
    ended = chipsong("plan", TRAYS, "--json", "--material", "Plywood", "--flutes", 1, "--diameter", "1/8in")
    assert (ended.status, ended.err, ended.out.count("\n")) == (0, "", 1)
    told = json.loads(ended.out)
    assert (told["material"], told["lines"], len(told["parts"])) == ("plywood", 438, 5)
    assert [stop["tool"] for stop in told["bit_changes"]] == [1, 2, 3]
    for bit in told["bits"]:
        assert (bit["flutes"], bit["flutes_from"]) == (1, "said")
        assert bit["diameter_mm"] == pytest.approx(25.4 / 8)


def test_the_unit_can_be_said_for_a_program_that_does_not(chipsong: Command, job: Callable[[str], Path]):
    """--units decides where there is neither G20 nor G21; the program's own word outweighs it."""
    silent = job(INCHES.replace("G20 ", ""))
    told = json.loads(chipsong("plan", silent, "--json", "--units", "inch").out)
    assert told["inches"]
    assert told["parts"][0]["box_mm"] == pytest.approx([0.0, 0.0, 101.6, 76.2])
    assert not json.loads(chipsong("plan", silent, "--json").out)["inches"]
    assert not json.loads(chipsong("plan", job(SQUARE), "--json", "--units", "inch").out)["inches"]


def test_the_shelf_is_asked(chipsong: Command, home: Path, job: Callable[[str], Path]):
    """A bit with the program's T number is found, and that the program says another speed is told."""
    home.mkdir()
    (home / "bits.toml").write_text(SHELF)
    text = chipsong("plan", job(SQUARE)).out
    assert said_of(text, "bit") == "quarter: 6.35 mm, 3 flutes (shelf)"
    assert said_of(text, "speed") == "18000 rpm: spindle 300 Hz, tooth-pass 900 Hz"
    assert "T1: the shelf says 17000 rpm, the program 18000: " in " ".join(text.split())
    (home / "bits.toml").write_text(SHELF.replace("17000", "17400"))
    assert said_of(chipsong("plan", job(SQUARE)).out, "speed") == (
        "17400 rpm: spindle 290 Hz, tooth-pass 870 Hz (shelf; the program says 18000)"
    )


def test_the_picture_is_drawn(chipsong: Command, tmp_path: Path, job: Callable[[str], Path]):
    """-o writes a PNG, says so on standard error, and leaves standard output as it is."""
    picture = tmp_path / "sheet.png"
    program = job(SQUARE)
    ended = chipsong("plan", program, "-o", picture)
    assert (ended.status, ended.err) == (0, f"Picture: {picture}\n")
    assert picture.read_bytes().startswith(b"\x89PNG")
    assert ended.out == chipsong("plan", program).out


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["none.ngc"], "cannot read the program none.ngc"),
        (["{job}", "--bit", "nobody"], "there is no bit 'nobody'"),
        (["{job}", "-o", "sheet.bmp"], "sheet.bmp: the name of a picture ends in .png, .svg, .pdf"),
        (["{job}", "-o", "/nowhere/at/all.png"], "cannot write /nowhere/at/all.png"),
    ],
)
def test_what_goes_wrong_is_one_line(
    chipsong: Command, job: Callable[[str], Path], words: list[str], said: str
):
    """No program, an unknown bit, no picture: status 1, one line, and nothing on standard output."""
    ended = chipsong("plan", *(word.format(job=job(SQUARE)) for word in words))
    assert (ended.status, ended.out) == (1, "")
    assert ended.err.startswith(f"chipsong: {said}")
    assert ended.err.count("\n") == 1


def test_a_garbled_program_is_one_line(chipsong: Command, job: Callable[[str], Path]):
    """A program that cannot be read names its file, line and column."""
    ended = chipsong("plan", job("G21\nX1 Y\n"))
    assert (ended.status, ended.out) == (1, "")
    assert ended.err.startswith("chipsong: job.ngc: line 2, column 4")
    assert ended.err.count("\n") == 1


def test_the_program_itself_is_never_drawn_over(chipsong: Command, tmp_path: Path):
    """-o that names the program is refused, and it stays as it was."""
    path = tmp_path / "job.png"
    path.write_text(SQUARE)
    ended = chipsong("plan", path, "-o", path)
    assert ended.status == 1
    assert "is the program itself" in ended.err
    assert path.read_text() == SQUARE


@pytest.mark.parametrize(
    "words", [["--material", "cheese"], ["--bit", "x", "--flutes", "2"], ["--flutes", "0"]]
)
def test_wrong_options_are_wrong_usage(chipsong: Command, words: list[str]):
    """An unknown material, a bit together with its sizes, no flutes: status 2."""
    assert chipsong("plan", TRAYS, *words).status == 2


def test_no_picture_needs_no_matplotlib(job: Callable[[str], Path]):
    """Without -o the library for pictures is not loaded."""
    script = (
        "import sys\n"
        "from monitor.cli import main\n"
        "try:\n"
        "    main()\n"
        "finally:\n"
        "    sys.stderr.write(str('matplotlib' in sys.modules))\n"
    )
    words = [COMMAND[0], "-c", script, "plan", str(job(SQUARE))]
    assert subprocess.run(words, capture_output=True, text=True, check=True).stderr == "False"


# --- small things ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "decimals", "text"), [(6.0, 2, "6"), (6.35, 2, "6.35"), (100.0, 0, "100"), (0.0, 1, "0")]
)
def test_numbers_have_no_idle_zeros(value: float, decimals: int, text: str):
    """6, not 6.00; and the zeros before the point stay."""
    assert number(value, decimals) == text


def test_lengths_in_either_unit():
    """The same lengths, as a person with a mm or an inch program expects them."""
    mm, inch = Lengths(inches=False), Lengths(inches=True)
    assert (mm.length(6.35), inch.length(6.35)) == ("6.35 mm", "0.25 in (6.35 mm)")
    assert (mm.feed(2540, 2540), inch.feed(508, 2540)) == (
        "2540 mm/min",
        "20 to 100 in/min (508 to 2540 mm/min)",
    )
    assert (mm.chip(0.1524, 0.3302), inch.chip(0.1524)) == ("0.152 to 0.330 mm", "0.0060 in (0.152 mm)")
    assert (mm.rate(43.2), inch.rate(16.387064)) == ("43.2 cm³/min", "1 in³/min (16.4 cm³/min)")
    assert (mm.area(6400), inch.area(6451.6)) == ("64.0", "10.00")


def test_a_top_in_doubt_is_remarked_and_can_be_said(chipsong: Command, job: Callable[[str], Path]):
    """A single pass through the sheet may go down from Z 0 or to it: how deep it is follows from --top."""
    path = job(SQUARE.replace("Z-3", "Z-.2"))
    assert "Z0 is taken for the sheet's top, but nothing is" in " ".join(chipsong("plan", path).out.split())
    (doubt,) = json.loads(chipsong("plan", path, "--json").out)["doubts"]
    assert "--top" in doubt
    told = json.loads(chipsong("plan", path, "--json", "--top", "3mm").out)
    assert told["doubts"] == []
    assert told["parts"][0]["deepest_mm"] == pytest.approx(3.2)


def test_fields_wrap_under_themselves_and_keep_units_with_their_numbers():
    """Long sentences go on below their beginning; a number is not parted from what follows it."""
    lines = field("name", "word " * 15 + "12 mm and line 7 of it, " * 4)
    assert len(lines) > 1
    assert all(line.startswith(" " * 16) for line in lines[1:])
    assert not any(re.search(r"(\d|\bline)$", line) for line in lines[:-1])


def test_columns_are_aligned():
    """Every column is as wide as its widest word, and numbers stand at the right."""
    assert columns([("a", "10"), ("long", "5")], right=(1,)) == ["  a      10", "  long    5"]
