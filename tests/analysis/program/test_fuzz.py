"""Whatever the text: a program or one clear error."""

import os
import random
import re
from dataclasses import fields
from pathlib import Path

import numpy as np
import pytest
from generated import programs
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from restarting import restart_program
from wilder import wilder_programs

import recordings_synthetic
from analysis.errors import ProgramError
from analysis.program import Moves, decode, find_parts, read, schedule

SIGNS = "GMXYZIJKRFSTNPQLHDO0123456789.-+ ()[]#=/%;*\t\r\n"
LANGUAGE = """
    G0 G1 G2 G3 G4 G10 G17 G18 G19 G20 G21 G28 G38.2 G43 G49 G53 G54 G55 G64 G80 G81 G83 G85 G88 G90
    G73 G91.1 G54.1 G95 G90.1 G91 G92 G92.1 G92.3 G93 G94 G98 G99 M0 M3 M5 M6 M98 M99 M30 S9000 T1 P7 P1
    L2 L20 R2 R-3 Q1 I5 J0 K-2 H1 X1 X#1 Y2 Y[1+#1] Z3 Z-1 X1E3 X-5 Y9 F100 F.1 #1=2 O7 N5 / % (a) ;b
"""
WORDS = [*LANGUAGE.split(), *["\n"] * 6]


def try_all(text: str) -> bool:
    """Read a text and do all that can be done with it; only our own error may come out."""
    try:
        program = read(text)
    except ProgramError as error:
        refused = str(error)
    else:
        refused = ""
    assert "\n" not in refused
    if refused:
        return False
    for column in (program.moves.start, program.moves.end, program.moves.length):
        assert np.isfinite(column).all()
    assert np.isfinite(schedule(program.moves).end).all()
    find_parts(program)
    for line in (1, len(program.lines)):
        try:
            again = read(restart_program(program, line))
        except ProgramError:
            continue
        assert len(again.moves) >= 1
    return True


@settings(max_examples=150, deadline=None)
@given(st.text(SIGNS, max_size=80) | st.text(max_size=60))
def test_any_text_is_read_or_refused(text: str):
    """Random signs never end in anything but a program or its error."""
    try_all(text)


@settings(max_examples=150, deadline=None)
@given(st.lists(st.sampled_from(WORDS), min_size=3, max_size=40))
def test_any_words_are_read_or_refused(words: list[str]):
    """Words of the language in any order never end in anything else either."""
    try_all("G21 F500\n" + " ".join(words))


@settings(max_examples=35, deadline=None, suppress_health_check=list(HealthCheck))
@given(text=programs() | wilder_programs(), seed=st.integers(0, 2**32))
def test_damaged_programs_are_read_or_refused(text: str, seed: int):
    """Programs with signs, words or lines changed, lost, doubled or moved never end in anything else."""
    try_all(damaged(text, random.Random(seed)))  # noqa: S311 (no secret)


def damaged(text: str, chance: random.Random) -> str:
    """Return the text with a few signs, words or lines changed, lost, doubled or moved."""
    for _ in range(chance.choice((1, 1, 1, 2, 4))):
        text = chance.choice(DAMAGES)(text, chance)
    return text


def signs_hurt(text: str, chance: random.Random) -> str:
    """Change, lose, double or move a few signs."""
    signs = list(text) or ["G"]
    for _ in range(chance.choice((1, 1, 2, 4))):
        at = chance.randrange(len(signs))
        signs[at] = chance.choice([chance.choice(SIGNS), "", signs[at] * 2, chance.choice(signs)])
    return "".join(signs)


def bytes_hurt(text: str, chance: random.Random) -> str:
    """Flip a few bits of the file."""
    raw = bytearray(text.encode("utf-8")) or bytearray(b"G")
    for _ in range(chance.choice((1, 1, 2, 8))):
        raw[chance.randrange(len(raw))] ^= 1 << chance.randrange(8)
    return raw.decode("utf-8", errors="replace")


def lines_hurt(text: str, chance: random.Random) -> str:
    """Cut, lose, double or move a line."""
    lines = text.split("\n")
    at, to = chance.randrange(len(lines)), chance.randrange(len(lines))
    what = chance.randrange(5)
    if what == 0:
        lines[at] = lines[at][: chance.randint(0, len(lines[at]))]
    elif what == 1:
        del lines[at]
    elif what == 2:
        lines.insert(to, lines[at])
    elif what == 3:
        lines[at], lines[to] = lines[to], lines[at]
    else:
        lines = lines[:at] if chance.randrange(2) else lines[at:]
    return "\n".join(lines)


def words_hurt(text: str, chance: random.Random) -> str:
    """Swap two words, or put one of the language where another was."""
    words = re.split(r"([A-Z#][-+.0-9]+)", text)
    places = range(1, len(words), 2)
    if not places:
        return text + chance.choice(WORDS)
    at, to = chance.choice(places), chance.choice(places)
    if chance.randrange(2):
        words[at], words[to] = words[to], words[at]
    else:
        words[at] = chance.choice(WORDS)
    return "".join(words)


DAMAGES = (signs_hurt, bytes_hurt, lines_hurt, words_hurt)


@settings(max_examples=100, deadline=None)
@given(st.binary(max_size=200))
def test_any_bytes_are_text_or_refused(raw: bytes):
    """Bytes become text or our error."""
    try:
        decode(raw)
    except ProgramError:
        return


@settings(max_examples=30, deadline=None, suppress_health_check=list(HealthCheck))
@given(text=programs())
def test_reading_is_the_same_for_other_ways_of_writing(text: str):
    """Lower case, blanks, CRLF and a % around the text change no move."""
    plain = read(text).moves
    lines = [line if "(" in line or ";" in line else " ".join(line.lower()) for line in text.split("\n")]
    other = read("%\n" + "\r\n".join(lines) + "\r\n%").moves
    assert np.array_equal(plain.end, other.end)
    assert np.array_equal(plain.kind, other.kind)
    assert np.array_equal(plain.file_line + 1, other.file_line)


MIXTURE = """%
O1 (MIXTURE)
N10 G21 G90 G17 G40 G49 G80 G94 G54 G64 P0.01
T1 M6 (6 mm)
S18000 M3 M8
#1=12.5
#2=[#1*2-SQRT[9]]
G0 Z5
X#1 Y[#2/2]
G1 Z-2 F300
G3 X22.5 I5 J0 F900
G2 X32.5 R5 Z-3
G91 G1 X5 Y-2.5
G93 X2 F30
G94 G90 F800
G0 Z5
G98 G83 X10 Y10 Z-9 R1 Q2.5 F200
X20
G99 G82 X30 Z-4 R1 P0.2
G80
M98 P7 L2
G92 X0 Y0
G1 X5 Z-1
G92.1
G0 X5 Z9
G18 G2 X9 Z9 I2 K0 F500
G17 G28 Z9
G0 X0 Y0 Z9
G10 L2 P1 X100 Y50 Z-80
G10 L2 P2 X300 Y50 Z-80
G0 X0 Y0 Z9
G55 G0 X5 Z9
G98 G73 X5 Y5 Z-4 R1 Q1.5 F300
G80
G0 G54.1 P3 X0 Y0 Z9
G38.2 Z-3 F50
G92 Z1
G0 Z9
G92.1
G0 X0 Y0 Z9
G95 F0.05 G1 X9
G94 F300
G90.1 G2 X19 I14 J0
G91.1 G0 Z9
/M0
M5 M9
M30
O7
G91 G1 X3 Z-6
G0 Z6
G90
M99
%
"""


def same_moves(one: Moves, other: Moves) -> bool:
    """Whether two readings agree in every column, to the last bit."""
    return all(
        np.array_equal(getattr(one, column.name), getattr(other, column.name), equal_nan=True)
        for column in fields(one)
    )


@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
@given(text=programs() | wilder_programs())
def test_the_short_way_for_plain_lines_gives_the_same_moves(text: str):
    """A comment on every line keeps all of them from the short way; the moves are the same."""
    bare = re.sub(r" *(\(.*?\)|;.*)", "", text)
    assert same_moves(read(bare).moves, read(bare.replace("\n", " ( )\n")).moves)


NUMBERS = st.sampled_from(["0", "-0", "1", "+1.", ".5", "-.25", "007", "12.3456789", "1e2", ".", "123456.5"])
MAYBE = {
    "N": st.sampled_from(["", "  ", "N7  ", "N10", "N999999 "]),
    "G": st.sampled_from(["", "", "G0 ", "G1", "G01 ", "G00"]),
    **{axis: st.just("") | NUMBERS.map(f"{axis}{{}} ".format) for axis in "XYZ"},
    "F": st.just("") | st.sampled_from(["F100", "F0", "F.5 ", "F250."]),
}
PLAIN = st.tuples(*MAYBE.values()).map("".join)


def outcome(text: str) -> Moves | tuple[int, int]:
    """Return the moves, or line and column of what is wrong."""
    try:
        return read(text).moves
    except ProgramError as error:
        return error.line, error.column


@settings(max_examples=120, deadline=None)
@given(
    lines=st.lists(PLAIN, min_size=1, max_size=12),
    head=st.sampled_from(["G21 G90", "G20 G90", "G21 G91", "G90", "G21 G93", "G21 G92 X1 Y2 Z3"]),
    lower=st.booleans(),
)
def test_plain_lines_read_the_same_on_either_way(lines: list[str], head: str, lower: bool):
    """Whatever a plain line says of motion, place and feed: the same moves, or the same objection."""
    lines = [head, "G0 X0 Y0 Z5 F600", *lines, "G0 X9"]
    lines = [line.lower() if lower else line for line in lines]
    short, full = outcome("\n".join(lines)), outcome("\n".join(line + "( )" for line in lines))
    assert short == full if isinstance(short, tuple) or isinstance(full, tuple) else same_moves(short, full)


REAL = sorted(Path(recordings_synthetic.__file__).parent.glob("*.ngc"))


@pytest.mark.slow
def test_a_longer_fuzz_finds_no_crash():
    """
    Damaged programs from a fixed seed, as many as CHIPSONG_FUZZ says; enough of them are still programs.

    The programs are one made up of every word, and those that come with the simulator.
    """
    count = int(os.environ.get("CHIPSONG_FUZZ", "1500"))
    chance = random.Random(6556)  # noqa: S311 (no secret)
    sources = [MIXTURE, *(decode(path.read_bytes()) for path in REAL)]
    assert len(sources) > 1
    still_read = sum(try_all(damaged(chance.choice(sources), chance)) for _ in range(count))
    assert still_read > count / 20
