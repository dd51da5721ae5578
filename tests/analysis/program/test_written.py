"""What is written for a machine, byte by byte."""

import codecs

import pytest

from analysis.program import carry_on, read, read_file, recut_program
from analysis.program.written import anew

LINES = (
    "%",
    "(Öse, erste Lage)",
    "G21 G90 G54 G17",
    "T1 M6 (Fräser Ö)",
    "S18000 M3",
    "G0 Z10",
    "G0 X10 Y10",
    "G1 Z-3 F300",
    "X50",
    "G0 Z10",
    "X10 Y30 (Äußeres Maß)",
    "G1 Z-3",
    "X50\xa0(größer)",
    "G0 Z10",
    "M30",
    "%",
)
ENDS = ("\n", "\r\n", "\r")
# How the file begins, and in what letters it goes on.
LETTERS = (
    (b"", "cp1252"),
    (b"", "utf-8"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)
# The bit stands above the work before it.
AT = LINES.index("G1 Z-3") + 1


def file_of(mark: bytes, letters: str, end: str) -> bytes:
    """Return the program as a file."""
    return mark + "".join(f"{line}{end}" for line in LINES).encode(letters)


@pytest.mark.parametrize("end", ENDS)
@pytest.mark.parametrize(("mark", "letters"), LETTERS)
def test_the_rest_is_the_originals_bytes(mark: bytes, letters: str, end: str):
    """Whatever its letters and line ends, what follows the head are the bytes of the original's lines."""
    raw = file_of(mark, letters, end)
    made = carry_on(read_file(raw), AT)
    rest = "".join(f"{line}{end}" for line in LINES[AT - 1 :]).encode(letters)
    assert made.content.startswith(mark)
    assert made.content.endswith(rest)
    head = made.content[len(mark) : -len(rest)].decode(letters)
    assert head.isascii()
    assert head.split(end) == [*made.new, ""]
    assert f"file line {AT}" in made.new[-1]


@pytest.mark.parametrize("end", ENDS)
@pytest.mark.parametrize(("mark", "letters"), LETTERS)
def test_the_file_reads_as_its_text_does(mark: bytes, letters: str, end: str):
    """The text that is proved and the file that is written are the same program."""
    made = carry_on(read_file(file_of(mark, letters, end)), AT)
    assert read_file(made.content).lines == read(made.text).lines


def test_bytes_that_stand_for_no_letter_stay():
    """The western code page has holes; what stands there, and line ends that are mixed, is handed on."""
    raw = file_of(b"", "cp1252", "\r\n").replace(b"(gr\xf6\xdfer)\r\n", b"(\x81\x8d\xff)\n")
    rest = raw[raw.index(b"G1 Z-3\r") :]
    assert carry_on(read_file(raw), AT).content.endswith(b"\r\n" + rest)


def test_no_byte_comes_that_the_original_did_not_have():
    """A small control may obey 0x84 in a stream: an Ö of one byte must not become 0xC3 0x96."""
    raw = file_of(b"", "cp1252", "\n")
    made = carry_on(read_file(raw), AT).content
    assert {byte for byte in made if byte > 126} <= {byte for byte in raw if byte > 126}


def test_a_last_line_without_an_end_stays_so():
    """Nothing is put behind the original's last byte."""
    raw = file_of(b"", "utf-8", "\r\n").removesuffix(b"%\r\n").removesuffix(b"\r\n")
    assert carry_on(read_file(raw), AT).content.endswith(b"G0 Z10\r\nM30")


def test_a_program_that_had_cut_nothing_keeps_its_first_lines():
    """The whole program has its cautions behind the % that opens it; a mark of UTF-8 is left out."""
    raw = file_of(codecs.BOM_UTF8, "utf-8", "\r\n")
    made = carry_on(read_file(raw), 3).content
    lines = made.split(b"\r\n")
    assert lines[0] == b"%"
    assert b"this is the whole program" in lines[1] + lines[2]
    assert made.endswith(raw.removeprefix(codecs.BOM_UTF8 + b"%\r\n"))


def test_the_bytes_are_there_when_the_unit_is_said():
    """To say the unit reads the program again, and loses nothing of its file."""
    raw = file_of(b"", "cp1252", "\r\n").replace(b"G21 ", b"")
    made = carry_on(read_file(raw), AT, units="mm").content
    assert made.endswith(raw[raw.index(b"G1 Z-3\r") :])


def test_a_text_becomes_a_file_of_utf_8():
    """A program that was no file has lines that end in a newline."""
    made = carry_on(read("\r\n".join(LINES)), AT)
    assert made.content.decode("utf-8") == made.text


def test_what_is_written_anew_has_the_originals_line_ends():
    """A recut is for the same control."""
    program = read_file(file_of(b"", "cp1252", "\r\n"))
    text = recut_program(program, ["part 1"])
    assert anew(program, text).decode("ascii") == text.replace("\n", "\r\n")
