"""The command as a whole: help, quick start, no traceback, and what README.md says of it."""

import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import click
import pytest
from contract import SHIPPED, Ended, shipped
from live_watch import COMMAND
from restarting import restart_program
from stage import DEVICES, Stage

from analysis.program import Program, read, recut_program
from analysis.program.cautions import cautions_of
from monitor.cli import cli
from monitor.resuming import write_beside
from monitor.setup import read_program
from monitor.trouble import warn

Command = Callable[..., Ended]
README = Path(__file__).parents[2] / "README.md"
PROGRAM = SHIPPED / "slip_outline.ngc"

# --- help -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", sorted(cli.commands))
def test_every_command_and_option_has_help(chipsong: Command, name: str):
    """Each command says what it does, and each of its options what it is for."""
    ended = chipsong(name, "--help")
    assert (ended.status, ended.err) == (0, "")
    assert ended.out.startswith(f"Usage: chipsong {name}")
    command = cli.commands[name]
    assert command.help
    for option in command.params:
        if isinstance(option, click.Option):
            assert option.help, f"{name} {option.opts[0]} has no help"


@pytest.mark.parametrize("name", sorted(cli.commands))
def test_every_command_is_in_the_readme(name: str):
    """README.md mentions each command."""
    assert f"chipsong {name}" in README.read_text(encoding="utf-8")


@pytest.mark.parametrize("words", [("watch",), ("shop", "mqtt://nowhere/shop")])
def test_a_port_without_a_page_is_wrong_usage(chipsong: Command, words: tuple[str, ...]):
    """Whoever says where the page is to be, and no page, is told before anything begins."""
    ended = chipsong(*words, "--port", 8765)
    assert ended.status == 2
    assert "--port is the page's, and no page was asked for: give --page, too" in ended.err


def test_ctrl_c_while_the_command_is_loaded_is_no_traceback():
    """Whoever presses it at once sees what is seen of a later one: nothing, and status 1."""
    script = (
        "import runpy, sys\n"
        "class Pressed:\n"
        "    def find_spec(self, name, *_):\n"
        "        if name == 'click':\n"
        "            raise KeyboardInterrupt\n"
        "sys.meta_path.insert(0, Pressed())\n"
        "runpy.run_module('monitor', run_name='__main__')\n"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout, done.stderr) == (1, "", "")


def test_help_comes_at_once():
    """`chipsong --help` answers in under 0.4 s, the start of Python included (best of five)."""
    took = []
    for _ in range(5):
        begun = time.perf_counter()
        subprocess.run([*COMMAND, "--help"], check=True, capture_output=True)
        took.append(time.perf_counter() - begun)
    assert min(took) < 0.4


def loaded(words: list[str], heavy: set[str]) -> str:
    """Run the command in a process of its own; return which of these modules it has loaded."""
    script = (
        "import sys\n"
        "from monitor.cli import main\n"
        "try:\n"
        "    main()\n"
        "finally:\n"
        f"    sys.stderr.write(', '.join({heavy!r} & set(sys.modules)))\n"
    )
    done = subprocess.run([sys.executable, "-c", script, *words], capture_output=True, text=True, check=True)
    return done.stderr


@pytest.mark.parametrize("words", [["--help"], ["replay", "--help"], ["demo", "--help"], ["--version"]])
def test_help_loads_nothing_heavy(words: list[str]):
    """Help is told without a single library but click."""
    libraries = {"numpy", "scipy", "matplotlib", "sounddevice", "soundfile", "librosa", "shapely", "rich"}
    assert loaded(words, libraries | {"pydantic", "sqlite3"}) == ""


def test_replay_does_without_the_slow_libraries():
    """Replay loads neither a microphone's library nor matplotlib, librosa or scipy.signal."""
    assert loaded(shipped("tight_outline"), {"sounddevice", "matplotlib", "librosa", "scipy.signal"}) == ""


@pytest.mark.parametrize("words", [[], ["sing"], ["--loud"], ["resume", str(PROGRAM)], ["replay"]])
def test_wrong_usage_is_status_2(chipsong: Command, words: list[str]):
    """No command, an unknown one, an unknown option, or something missing is wrong usage."""
    ended = chipsong(*words)
    assert ended.status == 2
    assert ended.out == ""
    assert "Usage: chipsong" in ended.err


# --- when nobody reads on -------------------------------------------------------------------------------


def test_a_reader_that_has_seen_enough_ends_it_quietly():
    """When the other end of the pipe is closed, it ends with status 1 and without a traceback."""
    pipe = subprocess.PIPE
    with subprocess.Popen([*COMMAND, *shipped("slip_outline")], stdout=pipe, stderr=pipe, text=True) as run:
        assert run.stdout is not None
        assert run.stderr is not None
        run.stdout.readline()
        run.stdout.close()
        assert run.wait(timeout=60) == 1
        assert run.stderr.read() == ""


# --- microphones ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("words", [["mics"], ["mics", "--check"], ["watch", "--json"], ["watch"]])
def test_without_portaudio_there_is_one_line(chipsong: Command, stage: Stage, words: list[str]):
    """A machine without PortAudio: status 1, and one line that says how to install it."""
    stage.tell(fails=("OSError", "not found"))
    ended = chipsong(*words)
    assert (ended.status, ended.out) == (1, "")
    assert ended.err.startswith("chipsong: PortAudio is missing")
    assert ended.err.count("\n") == 1


@pytest.mark.parametrize("words", [["mics"], ["mics", "--check"], ["watch", "--json"], ["watch"]])
def test_without_a_microphone_there_is_one_line(chipsong: Command, stage: Stage, words: list[str]):
    """A machine without a microphone: status 1, and one line that says to plug one in."""
    stage.tell(devices=DEVICES[:1])
    ended = chipsong(*words)
    assert (ended.status, ended.out) == (1, "")
    assert ended.err == "chipsong: no microphone was found: plug one in, then start again\n"


@pytest.mark.usefixtures("stage")
def test_microphones_are_listed(chipsong: Command):
    """`mics` lists what can be recorded from, a line each, the default with a star."""
    ended = chipsong("mics")
    assert (ended.status, ended.err) == (0, "")
    lines = ended.out.splitlines()
    assert lines[0] == "*   1  Built-in  (Alpha, 2 channels, 44100 Hz)"
    assert lines[1] == "    2  USB Microphone  (Alpha, 1 channels, 8000 Hz)"
    assert len(lines) == 6


# --- restart programs -----------------------------------------------------------------------------------


@pytest.fixture
def program() -> Program:
    """Give the program of the shipped slip."""
    return read(PROGRAM.read_text(), PROGRAM.name)


def test_a_restart_program_is_written_to_standard_output(chipsong: Command, program: Program):
    """Without -o the restart program is all that is written; what to check is said on standard error."""
    text = restart_program(program, 22)
    said = "".join(f"{line}\n" for line in cautions_of(text))
    assert chipsong("resume", PROGRAM, "--line", 22) == Ended(0, text, said)
    assert said.index("the position is kept") < said.index("touch off Z again") < said.index("jog the bit")


def test_a_restart_program_is_written_to_a_file(chipsong: Command, program: Program, tmp_path: Path):
    """With -o it is in the file, a line says to read it first, and standard output stays empty."""
    out = tmp_path / "again.ngc"
    ended = chipsong("resume", PROGRAM, "--line", 22, "-o", out, "--safe-z", "1/2in", "--spin-up", "8")
    assert (ended.status, ended.out) == (0, "")
    assert out.read_text() == restart_program(program, 22, safe_z=12.7, spin_up=8.0)
    assert ended.err.startswith(f"Restart program: {out}\nRead it before you run it")
    assert "touch off Z again" in ended.err


@pytest.mark.parametrize("line_end", [b"\n", b"\r\n"])
def test_a_restart_program_is_the_original_to_the_byte(chipsong: Command, tmp_path: Path, line_end: bytes):
    """In a file, on standard output or beside a run, its letters and line ends are the original's."""
    raw = PROGRAM.read_bytes().replace(b"\nM5\n", b"\n(\xd6se)\nM5\n").replace(b"\n", line_end)
    path, out = tmp_path / "job.ngc", tmp_path / "rest.ngc"
    path.write_bytes(raw)
    chipsong("resume", path, "--line", 22, "-o", out)
    content = out.read_bytes()
    mark = content.index(b"(from here on it is the original")
    body = content[content.index(line_end, mark) + len(line_end) :]
    assert b"(\xd6se)" in body
    assert raw.endswith(line_end + body)
    assert content.count(line_end) == content.count(b"\n")
    told = subprocess.run([*COMMAND, "resume", path, "--line", "22"], check=True, capture_output=True)
    assert told.stdout == content
    beside, _ = write_beside(read_program(path, warn), 22, tmp_path)
    assert beside.read_bytes() == content


def test_the_program_itself_is_never_overwritten(chipsong: Command, tmp_path: Path):
    """-o that names the program itself is refused, and the program stays as it was."""
    path = tmp_path / "job.ngc"
    path.write_bytes(PROGRAM.read_bytes())
    ended = chipsong("resume", path, "--line", 22, "-o", tmp_path / "." / "job.ngc")
    assert ended.status == 1
    assert "is the program itself" in ended.err
    assert path.read_bytes() == PROGRAM.read_bytes()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((PROGRAM, "--line", 9999), "line 9999 is not in slip_outline.ngc"),
        (("none.ngc", "--line", 3), "cannot read the program none.ngc"),
        ((PROGRAM, "--line", 22, "-o", "/nowhere/at/all.ngc"), "cannot write /nowhere/at/all.ngc"),
    ],
)
def test_no_restart_program_is_one_line(chipsong: Command, words: tuple[object, ...], said: str):
    """A line that is not there, no program, no place to write to: status 1 and one line."""
    ended = chipsong("resume", *words)
    assert (ended.status, ended.out) == (1, "")
    assert ended.err.startswith(f"chipsong: {said}")
    assert ended.err.count("\n") == 1


def test_a_program_without_a_unit_is_refused_until_it_is_said(chipsong: Command, tmp_path: Path):
    """Neither G20 nor G21: status 1 and one line that names --units, and with it the program is written."""
    path = tmp_path / "bare.ngc"
    path.write_text("G90\nG0 Z5\nX1 Y1\nM3 S9000\nG1 Z-1 F100\nX9\nG0 Z5\nM2\n")
    ended = chipsong("resume", path, "--line", 6)
    assert (ended.status, ended.out) == (1, "")
    assert "--units mm or --units inch" in ended.err.splitlines()[-1]
    assert "G20" in chipsong("resume", path, "--line", 6, "--units", "inch").out
    assert "G21" in chipsong("resume", path, "--only", 1, "--units", "mm").out


# --- recuts ---------------------------------------------------------------------------------------------

TRAYS = SHIPPED / "seedling_trays.ngc"


@pytest.mark.parametrize(
    ("words", "parts"),
    [
        (("--only", "part 2,part 5"), (2, 5)),
        (("--only", "2-3, Part 5"), (2, 3, 5)),
        (("--only", "part 4 - part 5"), (4, 5)),
        (("--skip", "1,3-5"), (2,)),
    ],
)
def test_chosen_parts_are_written(chipsong: Command, words: tuple[str, ...], parts: tuple[int, ...]):
    """Parts may be named, numbered or given as a range, to be cut or to be left out."""
    program = read(TRAYS.read_text(), TRAYS.name)
    ended = chipsong("resume", TRAYS, *words)
    assert ended.status == 0
    assert ended.out == recut_program(program, [f"part {number}" for number in parts])
    assert "tabs up to 2.9 mm high once cut" in " ".join(ended.err.split())


def test_the_top_of_the_sheet_can_be_said(chipsong: Command, tmp_path: Path):
    """A single pass through the sheet tells no zero: that is said, until --top says where the top is."""
    path = tmp_path / "cut.ngc"
    path.write_text("G21 G90 G54\nS9000 M3\nG0 Z14\nX0 Y0\nG1 Z-.2 F300\nX50\nY50\nG0 Z14\nM30\n")
    doubtful = chipsong("resume", path, "--line", 6)
    assert doubtful.status == 0
    assert "say where the top is with --top" in doubtful.err
    assert "the same face as the first time" in " ".join(doubtful.err.split())
    for top, face in (("12mm", "Z0 is the spoilboard, below the top"), ("0", "Z0 is the top of the sheet")):
        told = chipsong("resume", path, "--line", 6, "--top", top)
        assert "--top" not in told.err
        assert face in " ".join(told.err.split())


def test_a_recut_is_written_to_a_file(chipsong: Command, tmp_path: Path):
    """With -o a recut is in the file, and it says what it is."""
    out = tmp_path / "two.ngc"
    ended = chipsong("resume", TRAYS, "--only", 2, "-o", out, "--safe-z", "20mm")
    assert (ended.status, ended.out) == (0, "")
    assert "G0 Z20.\n" in out.read_text()
    assert ended.err.startswith(f"Recut: {out}\n")


@pytest.mark.parametrize(
    "words",
    [
        ("--line", 22, "--only", 2),
        ("--only", 2, "--skip", 3),
        *(("--only", said) for said in ("tray", "0", "5-2", "", "2,,3", "1-99999")),
        ("--only", 2, "--units", "feet"),
        ("--only", 2, "--top", "high"),
    ],
)
def test_what_makes_no_sense_is_wrong_usage(chipsong: Command, words: tuple[object, ...]):
    """More than one of the three, what is no list of parts, a unit that nobody knows: status 2."""
    ended = chipsong("resume", TRAYS, *words)
    assert (ended.status, ended.out) == (2, "")
    assert "Usage: chipsong resume" in ended.err


@pytest.mark.parametrize("height", ["1.5", "1/2", " 25. "])
@pytest.mark.parametrize("how", [("--line", 40), ("--only", 2)])
def test_a_height_to_cross_at_needs_its_unit(chipsong: Command, how: tuple[object, ...], height: str):
    """A bare number may be meant in inches where the program is: as mm it would let the bit cross low."""
    ended = chipsong("resume", TRAYS, *how, "--safe-z", height)
    assert (ended.status, ended.out) == (2, "")
    assert f"'{height}' has no unit: type {height}mm or {height}in" in ended.err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--only", 9), "there is no part 9 in seedling_trays.ngc: its parts are part 1 to part 5"),
        (("--skip", "7-8"), "there is no part 7, part 8 in seedling_trays.ngc"),
        (("--skip", "1-5"), "no part of seedling_trays.ngc is left to cut"),
        (("--only", 2, "--safe-z", "1mm"), "a safe-z of 1 mm is no height to cross at"),
    ],
)
def test_no_recut_is_one_line(chipsong: Command, words: tuple[object, ...], said: str):
    """A part that is not there, none left, a height in the work: status 1 and one line."""
    ended = chipsong("resume", TRAYS, *words)
    assert (ended.status, ended.out) == (1, "")
    assert ended.err.startswith(f"chipsong: {said}")
    assert ended.err.count("\n") == 1
