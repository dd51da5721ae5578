"""Drilling cycles against NISTIR 6556, section 3.5.16."""

import pytest

from analysis.errors import ProgramError
from analysis.program import Kind, read

HEAD = "G21 G90 F100\nG0 X1 Y2 Z3\n"


def way(words: str, head: str = HEAD) -> list[tuple[float, ...]]:
    """Return the places gone to after the head."""
    begin = len(read(head).moves)
    return [tuple(round(v, 6) for v in end) for end in read(head + words).moves.end[begin:].tolist()]


def kinds(words: str) -> list[str]:
    """Return the kinds of the moves after the head."""
    begin = len(read(HEAD).moves)
    return [Kind(kind).name for kind in read(HEAD + words).moves.kind[begin:]]


def test_g81_absolute_as_published():
    """NISTIR 6556, 3.5.16, example 1: from (1, 2, 3), `G90 G81 G98 X4 Y5 Z1.5 R2.8`."""
    assert way("G90 G81 G98 X4 Y5 Z1.5 R2.8") == [(4, 5, 3), (4, 5, 2.8), (4, 5, 1.5), (4, 5, 3)]
    assert kinds("G90 G81 G98 X4 Y5 Z1.5 R2.8") == ["RAPID", "RAPID", "PECK", "RETRACT"]


def test_g81_incremental_as_published():
    """NISTIR 6556, 3.5.16, example 2: from (1, 2, 3), `G91 G81 G98 X4 Y5 Z-0.6 R1.8 L3`."""
    expected = [(1, 2, 4.8)]
    for x, y in ((5, 7), (9, 12), (13, 17)):
        expected += [(x, y, 4.8), (x, y, 4.2), (x, y, 4.8)]
    assert way("G91 G81 G98 X4 Y5 Z-0.6 R1.8 L3") == expected


def test_g83_goes_down_by_q_from_the_clear_level():
    """NISTIR 6556, 3.5.16: from R in steps of Q, the last one shorter; out to R between them."""
    moves = read("G21 G90 F100\nG0 X0 Y0 Z1\nG83 X0 Y0 R0.2 Z-1.1 Q0.21").moves
    pecks = moves.kind == Kind.PECK
    assert moves.end[pecks, 2].tolist() == pytest.approx([-0.01, -0.22, -0.43, -0.64, -0.85, -1.06, -1.10])
    outs = moves.kind == Kind.RETRACT
    assert moves.end[outs, 2].tolist() == pytest.approx([1.0, *[0.2] * 6, 1.0])


def test_g73_only_backs_off_between_its_steps():
    """Common practice: down by Q, back a little to break the chip, out of the hole only at its end."""
    moves = read("G21 G90 F100\nG0 X0 Y0 Z1\nG73 X0 Y0 R0.2 Z-1.1 Q0.5").moves
    pecks = moves.kind == Kind.PECK
    assert moves.end[pecks, 2].tolist() == pytest.approx([-0.3, -0.8, -1.10])
    outs = moves.kind == Kind.RETRACT
    assert moves.end[outs, 2].tolist() == pytest.approx([1.0, -0.3 + 0.254, -0.8 + 0.254, 1.0])
    notes = [note.text for note in read(HEAD + "G73 X4 Z-1 R1 Q1\nX5").warnings]
    assert sum("backs off" in note for note in notes) == 1


def test_g82_waits_at_the_bottom():
    """NISTIR 6556, 3.5.16: P seconds at the bottom."""
    moves = read(HEAD + "G82 X4 Y5 Z1.5 R2.8 P0.75").moves
    at = moves.kind.tolist().index(Kind.DWELL)
    assert moves.seconds[at] == 0.75
    assert moves.end[at].tolist() == [4, 5, 1.5]


def test_words_carry_over_and_g80_ends_the_series():
    """Z and R hold for a bare place; after G80 a place alone moves nothing and is refused."""
    assert way("G81 X4 Y5 Z-1 R1\nX6\nY7\nG80")[-3:] == [(6, 7, 1), (6, 7, -1), (6, 7, 3)]
    with pytest.raises(ProgramError, match="without a motion word"):
        read(HEAD + "G81 X4 Y5 Z-1 R1\nG80\nX6")


def test_return_level_is_r_or_where_the_series_began():
    """NISTIR 6556, 3.5.20: G99 returns to R, G98 to where the bit was before the series, if higher."""
    ways = way("G99 G81 X4 Y5 Z-1 R1\nX6\nG98 X8")
    assert [place for place in ways if place[2] > 0] == [
        (4, 5, 3), (4, 5, 1), (4, 5, 1), (6, 5, 1), (6, 5, 1), (8, 5, 1), (8, 5, 3),
    ]  # fmt: skip


def test_cycles_work_in_inch_and_with_offsets():
    """Levels follow the unit and the G92 offset in force."""
    assert way("G20 G81 X1 Y0 Z-1 R0.1 F5")[2] == (25.4, 0, -25.4)
    assert way("G92 Z13\nG81 X4 Y5 Z9 R11") == [(4, 5, 3), (4, 5, 1), (4, 5, -1), (4, 5, 3)]


def test_cycles_work_along_the_normal_of_their_plane():
    """In G18 the cycle goes along Y (NISTIR 6556, 3.5.16)."""
    assert way("G18 G81 X4 Z5 Y-1 R1")[:3] == [(4, 2, 5), (4, 1, 5), (4, -1, 5)]


def test_other_cycles():
    """G85 and G89 feed out, G86 traverses out, G88 stops for a hand, G84 feeds both ways."""
    assert kinds("G85 X4 Z-1 R1")[2:] == ["PECK", "RETRACT", "RETRACT"]
    assert kinds("G89 X4 Z-1 R1 P1")[2:] == ["PECK", "DWELL", "RETRACT", "RETRACT"]
    assert kinds("G86 X4 Z-1 R1 P1")[2:] == ["PECK", "DWELL", "RETRACT"]
    assert kinds("G88 X4 Z-1 R1 P1")[2:] == ["PECK", "DWELL", "PAUSE", "RETRACT"]
    assert kinds("G84 X4 Z-1 R1")[2:] == ["PECK", "RETRACT", "RETRACT"]


@pytest.mark.parametrize(
    ("words", "reason"),
    [
        ("G81 X4 R1", "G81 needs Z"),
        ("G81 X4 Z-1", "G81 needs R"),
        ("G81 Z-1 R1 X4\nG83 X5 Q1", "G83 needs Z"),
        ("G81 X4 Z-1 R-2", "lies above its clear level"),
        ("G83 X4 Z-1 R1", "Q greater than 0"),
        ("G83 X4 Z-1 R1 Q0", "Q greater than 0"),
        ("G83 X4 Z-1 R1 Q-0.1", "Q greater than 0"),
        ("G83 X4 Z-1 R1 Q0.00001", "more than 10000 steps"),
        ("G82 X4 Z-1 R1", "G82 needs a wait P"),
        ("G81 X4 Z-1 R1 L0", "repeat a cycle"),
        ("G81 X4 Z-1 R1 L1.5", "repeat a cycle"),
        ("G91 G81 X4 Z-1 R1 K3", "K as how often to drill"),
        ("G81 X4 Z-1 R1\nR2", "without X, Y or Z"),
        ("G93\nG81 X4 Z-1 R1 F5", "inverse-time"),
        ("G99 G91 G81 X4 Z-1 R-1\nX5", "old clear level or a new one"),
        ("G81 X4 Z-1 R1\nG20", "units can't change"),
        ("G81 X4 Z-1 R1\nG18", "plane can't change"),
        ("G81 X4 Z-1 R1\nG92 X0", "offset can't change"),
        ("G87 X4 Z-1 R1", "back boring"),
        ("G73 X4 Z-1 R1", "Q greater than 0"),
        ("G73 X4 Z-1 R1 Q0.00001", "more than 10000 steps"),
    ],
)
def test_cycles_that_leave_a_hole_open_are_refused(words: str, reason: str):
    """A missing or impossible word, or one that controls read differently, is an error."""
    with pytest.raises(ProgramError, match=reason):
        read(HEAD + words)
