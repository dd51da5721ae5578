"""Words, comments and signs (NISTIR 6556, section 3.3)."""

from contextlib import suppress

import pytest

from analysis.errors import ProgramError
from analysis.program.notes import SAME, Notes
from analysis.program.reader import read
from analysis.program.words import Block, name_of, parse


def words(line: str) -> dict[str, float]:
    """Return letters and numbers of a line without G and M."""
    return {word.letter: word.value for word in parse(line, 1, {}, Notes()).words.values()}


def test_blanks_and_case_do_not_matter():
    """NISTIR 6556, 3.3: `g0x +0. 12 34y 7` is `g0 x+0.1234 y7`."""
    block = parse("g0x +0. 12 34y 7", 1, {}, Notes())
    assert [(word.letter, word.value) for word in block.g] == [("G", 0)]
    assert {letter: word.value for letter, word in block.words.items()} == {"X": 0.1234, "Y": 7}


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ("X20", {"X": 20}),
        ("X+1.", {"X": 1}),
        ("X-.5", {"X": -0.5}),
        ("X - 0 0 1 . 5 0", {"X": -1.5}),
        ("N10 X1 (note) Y2 ; Z3", {"X": 1, "Y": 2}),
        ("\tX1\t\tY2\t", {"X": 1, "Y": 2}),
        ("X1(a)Y2(b (not nested)Z3", {"X": 1, "Y": 2, "Z": 3}),
        ("X1 (never closed Y2", {"X": 1}),
        ("\x13X1\x1a", {"X": 1}),
        ("\ufeffX1", {"X": 1}),
        ("", {}),
        ("   ", {}),
        (";X1", {}),
    ],
)
def test_ordinary_lines_come_apart(line: str, expected: dict[str, float]):
    """Numbers, comments, tabs and stray control characters at the ends are read as the trade writes them."""
    assert words(line) == expected


def test_line_number_sign_and_comments_are_kept_apart():
    """NISTIR 6556, 3.3.1: `/`, then N, then words; the N-word is not a word to execute."""
    block = parse("/N 0010 G1 X5 (6 mm bit) ; two flutes", 7, {}, Notes())
    assert (block.deleted, block.name, block.number) == (True, 10, 7)
    assert block.comments == ["6 mm bit", "two flutes"]
    assert list(block.words) == ["X"]


@pytest.mark.parametrize("line", ["/2 N10 G1 X5", "/9N10G1X5", " /1 N 10 G1 X5"])
def test_a_block_delete_may_have_a_number(line: str):
    """Controls with several block-delete switches number them from 1 to 9."""
    block = parse(line, 1, {}, Notes())
    assert (block.deleted, block.name) == (True, 10)
    assert {word.text for word in (*block.g, *block.words.values())} == {"G1", "X5"}


@pytest.mark.parametrize("line", ["/0 G1 X5", "/12 G1 X5", "G1 /2 X5"])
def test_no_other_number_or_place_is_block_delete(line: str):
    """What might mean something else is refused."""
    with pytest.raises(ProgramError, match="is no sign of the language"):
        parse(line, 1, {}, Notes())


@pytest.mark.parametrize("name", [0, 7, 10, 99999, 100000])
def test_line_numbers_are_names(name: int):
    """NISTIR 6556, 3.3.1: N 0 to 99999; longer programs count on, and nothing hangs on it."""
    assert parse(f"N{name} X1", 1, {}, Notes()).name == name


@pytest.mark.parametrize(
    ("line", "name"),
    [
        ("N10 G1 X1", 10),
        ("  n7g1x1", 7),
        ("N1 0 G1 X1", 10),
        ("N10. G1 X1", 10),
        ("/N10 G1 X1", 10),
        ("/3 n20 G1 X1", 20),
        ("G1 X1 N30", 30),
        ("(N5) N40 G1 X1", 40),
        ("\ufeffN50 G1 X1", 50),
        ("N0", 0),
        ("N20261130 G1 X1", 20261130),
        ("G1 X1", None),
        ("G1 X1 (N5)", None),
        ("", None),
        ("% N5", None),
        ("N10.5 G1 X1", None),
        ("N1 0 . 5 G1 X1", None),
        ("N-3 G1 X1", None),
        ("/0N10 G1 X1", None),
        ("N\N{ARABIC-INDIC DIGIT THREE} G1 X1", None),
        ("N", None),
    ],
)
def test_the_n_word_of_a_line_is_one_for_all(line: str, name: int | None):
    """What the reader takes it for, on a line that is run or not, and whoever asks."""
    assert name_of(line) == name
    with suppress(ProgramError):
        program = read(f"G21 G90 M3 S18000\n{line}\nG0 Z5\nM30\n", "job", skip_slashed=False)
        assert {-1 if name is None else name} >= set(
            program.moves.word[program.moves.file_line == 2].tolist()
        )
        assert program.word_of(2) == name


def test_a_line_of_256_signs_is_not_too_long():
    """NISTIR 6556, 3.3: a line has at most 256 characters; one more is noted."""
    for length, count in ((256, 0), (257, 1)):
        notes = Notes()
        parse("X1 (" + "a" * (length - 5) + ")", 1, {}, notes)
        assert len(notes.all()) == count


def test_words_know_their_columns():
    """Columns count from 1, so that an editor finds the word."""
    block = parse("N10 G1  X5 Y[1+1]", 1, {}, Notes())
    assert [word.column for word in (*block.g, *block.words.values())] == [5, 9, 12]


@pytest.mark.parametrize(
    ("line", "column", "word"),
    [
        ("G1 X", 4, "X"),
        ("G1 X--1", 4, "X--1"),
        ("X1.2.3", 5, "."),
        ("X1 X2", 4, "X2"),
        ("N1 N2", 4, "N2"),
        ("N1.5", 1, "N1.5"),
        ("X\u22125", 1, "X\u22125"),
        ("X\u0665", 1, "X\u0665"),
        ("X1 \u00e9", 4, "\u00e9"),
        ("Dear sir", 1, "Dear sir"),
        ("X1*71", 3, "*"),
        ("X99999999999", 1, "X99999999999"),
        ("X1" + "0" * 400, 1, None),
        ("X1\x00 2", 3, "\x00"),
        ("#1", 1, "#1"),
        ("#6000=1", 1, "#6000"),
        ("#1.5=1", 1, "#1.5"),
        ("IF [1] GOTO 5", 1, "IF [1] GOTO"),
        ("X1 (old (tool) X10) Y2", 9, "("),
    ],
)
def test_what_is_no_word_is_an_error_with_its_place(line: str, column: int, word: str | None):
    """Anything else is refused, with line, column and the word."""
    with pytest.raises(ProgramError) as caught:
        parse(line, 3, {}, Notes())
    assert (caught.value.line, caught.value.column) == (3, column)
    assert word is None or caught.value.word == word
    assert str(caught.value).startswith(f"line 3, column {column}: ")


@pytest.mark.parametrize(
    ("line", "text"),
    [
        ("X1 (never closed", "the comment is not closed"),
        ("X1 (a (b) ", "comments do not nest"),
        ("X1 )", "a ) without its ("),
        ("G1 N5 X1", "does not stand first"),
        ("% tray", "what stands behind %"),
        ("X1 (" + "a" * 300 + ")", "longer than 256 characters"),
    ],
)
def test_what_is_odd_but_harmless_is_noted(line: str, text: str):
    """Nothing is dropped in silence."""
    notes = Notes()
    parse(line, 5, {}, notes)
    (note,) = notes.all()
    assert text in note.text
    assert (note.line, str(note).startswith("line 5, column")) == (5, True)


def test_taking_a_word_leaves_the_rest():
    """What nobody takes stays in the block, to be noted."""
    block: Block = parse("P2 Q3", 1, {}, Notes())
    taken = block.take("P")
    assert taken is not None
    assert taken.value == 2
    assert block.take("P") is None
    assert list(block.words) == ["Q"]


def test_many_notes_of_one_kind_are_counted():
    """The same remark is listed a few times, then counted with its last line."""
    notes = Notes()
    for line in range(1, 101):
        notes.add("odd", line, 1)
    notes.once("only once", 1)
    notes.once("only once", 2)
    listed = notes.all()
    assert len(listed) == SAME + 2
    assert listed[-1].text == "80 more like this, the last on line 100: odd"
    assert str(listed[-1]) == listed[-1].text
