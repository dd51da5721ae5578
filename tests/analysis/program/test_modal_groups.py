"""Every modal group of NISTIR 6556, Table 4: its members, that they hold, and that two contradict."""

from itertools import combinations

import pytest
from restarting import restart_program

from analysis.errors import ProgramError
from analysis.program import read
from analysis.program.interpreter import Interpreter
from analysis.program.state import Modes, State

HEAD = ["G21 G90 G17 G40 G49 G80 G94 G54 G98 G61 M48", "S9000 M3 F300", "G0 X0 Y0 Z5"]


def state_after(*lines: str) -> State:
    """Return what is in force after some lines that follow the head."""
    run = Interpreter([*HEAD, *lines])
    run.run()
    return run.state()


CYCLES = [f"G{number} X1 Z-1 R1 Q1 P1" for number in (81, 82, 83, 84, 85, 86, 88, 89)]
GROUPS = {
    "motion": ("G0", "G1", "G2", "G3", "G38.2", "G80", *CYCLES),
    "plane": ("G17", "G18", "G19"),
    "distance": ("G90", "G91"),
    "feed_mode": ("G93", "G94"),
    "units": ("G20", "G21"),
    "length": ("G43 H1", "G49"),
    "return_mode": ("G98", "G99"),
    "system": ("G54", "G55", "G56", "G57", "G58", "G59", "G59.1", "G59.2", "G59.3"),
    "path": ("G61", "G61.1", "G64"),
    "spindle": ("M3", "M4", "M5"),
    "overrides": ("M48", "M49"),
}  # fmt: skip

BEYOND = {
    "arc_distance": ("G90.1", "G91.1"),
    "feed_mode": ("G94", "G95"),
    "motion": ("G73 X1 Z-1 R1 Q1", "G80"),
}
"""Members that the trade added."""


def code(word: str) -> int | None:
    """Return a word as the state keeps it: ten times a G number, an M number; H of G43, ``None`` for G49."""
    word = word.split(maxsplit=1)[0] if "H" not in word else word
    if word in ("M48", "M49"):
        return word == "M48"
    if word.startswith("G4"):
        return int(word.split("H")[1]) if "H" in word else None
    return int(word[1:]) if word[0] == "M" else round(float(word[1:]) * 10)


EVERY = [(group, word) for groups in (GROUPS, BEYOND) for group, words in groups.items() for word in words]


@pytest.mark.parametrize(("group", "word"), EVERY)
def test_each_word_sets_its_group_and_no_other(group: str, word: str):
    """A word alone on its line changes what it stands for, and nothing else but what follows from it."""
    before, now = state_after().modes, state_after(word).modes
    assert getattr(now, group) == code(word)
    follows = {"feed_mode": {"feed"}, "motion": {"cycle"}}.get(group, set())
    changed = {name for name in Modes._fields if getattr(before, name) != getattr(now, name)}
    assert changed <= {group} | follows


@pytest.mark.parametrize(("group", "word"), EVERY)
def test_each_word_holds_until_another_of_its_group(group: str, word: str):
    """A line that says nothing of the group leaves it in force."""
    assert getattr(state_after(word, "(nothing)", "T5").modes, group) == code(word)


MEMBERS = [[word.split()[0] for word in words] for groups in (GROUPS, BEYOND) for words in groups.values()]
BESIDE_G80 = ("G0", "G1", "G2", "G3")
PAIRS = [
    pair for members in MEMBERS for pair in combinations(members, 2)
    if pair not in [(word, "G80") for word in BESIDE_G80]
]  # fmt: skip


@pytest.mark.parametrize(("one", "other"), PAIRS)
def test_two_words_of_one_group_on_a_line_contradict(one: str, other: str):
    """NISTIR 6556, 3.4: two words of one modal group may not stand on one line."""
    with pytest.raises(ProgramError, match="contradict each other"):
        state_after(f"{one} {other}")


@pytest.mark.parametrize("line", ["{} G80", "G80 {}"])
@pytest.mark.parametrize("word", BESIDE_G80)
def test_beside_g80_the_other_word_says_how_to_move(word: str, line: str):
    """Many programs begin with G0 G80 on one line: the cycle ends, and the other word is in force."""
    modes = state_after("G81 X1 Z-1 R1", line.format(word)).modes
    assert (modes.motion, modes.cycle) == (code(word), None)


def test_a_safe_first_line_is_read_and_can_be_carried_on_from():
    """What many programs begin with needs no word changed, and moves as if it stood on two lines."""
    rest = "G0 Z5\nX3 Y3\nG1 Z-1\nX9\nG0 Z5\nX3 Y9\nG1 Z-1\nX9\nG0 Z5\nM30\n"
    program = read(f"G21\nG0 G17 G40 G49 G80 G90\nG54 S9000 M3 F300\n{rest}")
    apart = read(f"G21\nG17 G40 G49 G80 G90\nG54 S9000 M3 F300\n{rest}")
    assert program.warnings == ()
    assert program.moves.end.tolist() == apart.moves.end.tolist()
    assert "(RESTART" in restart_program(program, 10)


@pytest.mark.parametrize("pair", list(combinations(("M0", "M1", "M2", "M30", "M60"), 2)), ids=" ".join)
def test_two_stops_on_a_line_contradict(pair: tuple[str, str]):
    """The stopping group: one way to stop a line."""
    with pytest.raises(ProgramError, match="contradict each other"):
        state_after(" ".join(pair))


@pytest.mark.parametrize(
    "pair", list(combinations(("G10", "G28", "G30", "G92", "G92.1", "G92.2", "G92.3"), 2))
)
def test_two_words_that_want_the_axes_contradict(pair: tuple[str, str]):
    """The non-modal group: X, Y and Z of a line belong to one word."""
    with pytest.raises(ProgramError, match="contradict each other"):
        state_after(f"{pair[0]} {pair[1]} X1")


@pytest.mark.parametrize("word", ["G28 X1", "G30 X1", "G92 X1", "G10 L2 P2 X1", "G53 X1", "G4 P1"])
def test_words_of_the_non_modal_group_hold_for_one_line(word: str):
    """After it a place alone goes on as before, in the motion in force."""
    kept = state_after("G1", word, "X4 Y0 Z5")
    assert kept.modes.motion == 10
    assert kept.position[0] - kept.offset[0] == 4


def test_both_coolants_may_run_at_once():
    """NISTIR 6556, 3.4: M7 and M8 are the one pair of a group that may hold together; M9 ends both."""
    modes = state_after("M7", "M8").modes
    assert (modes.mist, modes.flood) == (True, True)
    modes = state_after("M7 M8").modes
    assert (modes.mist, modes.flood) == (True, True)
    modes = state_after("M7 M8", "M9").modes
    assert (modes.mist, modes.flood) == (False, False)


def test_one_word_of_every_group_may_share_a_line():
    """What belongs to different groups does not contradict."""
    line = "G1 G18 G91 G94 G21 G40 G49 G99 G55 G64 P0.1 M3 M8 M49 T2 S8000 F500 X1 Y1 Z1"
    modes = state_after("G55", line).modes
    assert (modes.motion, modes.plane, modes.distance, modes.return_mode) == (10, 180, 910, 990)
    assert (modes.system, modes.path, modes.tolerance, modes.overrides) == (550, 640, 0.1, False)
    assert (modes.selected, modes.speed, modes.feed) == (2, 8000, 500)


@pytest.mark.parametrize(
    ("word", "reason"),
    [
        ("G41", "the path is shifted by the bit's radius"),
        ("G42 D1", "the path is shifted by the bit's radius"),
        ("G87 X1 Z-1 R1", "back boring"),
    ],
)
def test_members_that_are_not_followed_are_refused(word: str, reason: str):
    """Of Table 4 only these are not followed: where the bit goes would have to be guessed."""
    with pytest.raises(ProgramError, match=reason):
        state_after(word)


def test_the_end_puts_back_what_the_standard_lists():
    """NISTIR 6556, 3.6.1: M2 and M30 put back G54, G17, G90, G94, M48, M5, G1 and M9, and clear G92."""
    lines = ["G20 G18 G91 G93 G55 G99 G64 M49 M7 M8", "G43 H3 T4", "G92 X7"]
    for end in ("M2", "M30"):
        state = state_after(*lines, end)
        modes = state.modes
        assert (modes.system, modes.plane, modes.distance, modes.feed_mode) == (540, 170, 900, 940)
        assert (modes.overrides, modes.spindle, modes.motion) == (True, 5, 10)
        assert (modes.mist, modes.flood, state.offset) == (False, False, (0, 0, 0))


def test_the_end_leaves_what_the_standard_does_not_list():
    """Units, length offset, S, F, return mode and path mode stay: a restart has to state them."""
    modes = state_after("G20 F10 G99 G64 P0.01", "G43 H3 T4", "M2").modes
    assert (modes.units, modes.length, modes.speed, modes.selected) == (200, 3, 9000, 4)
    assert (modes.feed, modes.return_mode, modes.path, modes.tolerance) == (254, 990, 640, 0.01)


def test_a_tolerance_keeps_its_length_when_units_change():
    """P of G64 was said in inches: in millimetres it is another number."""
    assert state_after("G20 G64 P0.01", "G21").modes.tolerance == pytest.approx(0.254)


def test_nothing_after_the_end_is_run():
    """The end is the end, so what it put back moves nothing."""
    assert len(read("\n".join([*HEAD, "X5", "M2", "X9"])).moves) == 2
