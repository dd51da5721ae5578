"""The screen that is read at two metres: its picture, its keys, and the terminal that it is on."""

import os
import pty
import select
import subprocess
import sys
import termios
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import Literal

import pytest
from test_screen import Terminal

from analysis.events import (
    Against,
    Alarm,
    Checked,
    Deaf,
    Event,
    Place,
    ResumeLine,
    State,
    StateChange,
    Tightness,
)
from analysis.events import Heard as HeardAgain
from analysis.presence import Phase
from monitor.controls import Controls, Press
from monitor.screen.board import Board
from monitor.screen.keys import Keyboard
from monitor.screen.letters import block_letters
from monitor.screen.seen import Heard, Levels, Looking, Seen, after, cuts, looked, said_by_hand
from monitor.screen.view import picture

STATES: tuple[State, ...] = ("settle", "learn", "listen", "uneasy", "alarm", "deaf")
PLACE = Place(312, 450, 308, 314, "sound")
ALARM = Alarm(
    185.2,
    184.0,
    "loose",
    0.7,
    ("the hiss swells", "half orders rose"),
    21.0,
    20.0,
    PLACE,
    ResumeLine(293, 450),
)
DONE = "Restart program: /home/shop/runs/2026-11-28-0931-trays/restart-at-line-293.ngc\nRead it first."


def seen(state: State) -> Seen:
    """Return a run of trays in a state."""
    heard = Heard(
        186.0, state, Phase.CUT, 0.31, 18056.0, PLACE, "part 3", Levels(-24.0, -33.0), Levels(-23.0, -32.0)
    )
    alarm = ALARM if state == "alarm" else None
    return Seen("trays", heard, "the sound says so", last=("3:05 x",), alarm=alarm, done=DONE, keys=True)


def shown(what: Seen, width: int = 80, height: int = 24) -> list[str]:
    """Return the lines of a picture."""
    return [line.text for line in picture(what, width, height, "#")]


# --- the picture ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("state", STATES)
@pytest.mark.parametrize("size", [(80, 24), (120, 40), (50, 15), (200, 60), (30, 8), (1, 1)])
def test_it_always_fits_and_names_the_state(state: State, size: tuple[int, int]):
    """No line is longer than the window is wide, there are as many as it is high, and the state is a word."""
    lines = shown(seen(state), *size)
    assert len(lines) == size[1]
    assert max(map(len, lines)) <= size[0]
    large = [block_letters(state.upper(), scale, "#")[0] for scale in range(1, 7)]
    assert size == (1, 1) or any(line in large or state.upper() in line for line in lines)


@pytest.mark.parametrize("state", STATES)
def test_the_word_is_large_in_an_ordinary_window(state: State):
    """In 80 columns and 24 rows a dot of the word is two columns wide, whatever else there is to say."""
    letters = block_letters(state.upper(), 2, "#")
    wider = block_letters(state.upper(), 3, "#")
    text = "\n".join(shown(seen(state)))
    assert "\n".join(letters) in text or "\n".join(wider) in text


def test_what_is_heard_stands_against_what_was_learned():
    """Score against limit, as a bar and in numbers; speed, levels, and the place with how sure it is."""
    text = "\n".join(shown(seen("listen")))
    assert "[############............................] 31 % of an alarm" in text
    assert "18056 rpm, cutting; level -24 dBFS, tooth-pass -33 (learned: -23, -32)" in text
    assert "line 312 (N450), part 3, between 308 and 314" in text


def test_the_reason_that_is_shown_is_of_now():
    """Under a state that lasts stands why it does, and since when it does."""
    what = after(seen("settle"), StateChange(180.0, "settle", "no spindle is heard"))
    lines = shown(looked(what, Heard(186.0, "settle", Phase.AIR, 0.0, because="nothing is being cut yet")))
    assert "3:00  nothing is being cut yet" in lines


def test_a_bar_is_shown_only_while_something_is_compared():
    """Before a baseline is known, an empty bar would look calm."""
    for state in ("settle", "learn", "deaf"):
        assert "nothing is compared now" in "\n".join(shown(seen(state)))


@pytest.mark.parametrize(
    ("phase", "checking", "said"),
    [
        (Phase.CUT, False, "Watch this cut yourself: nothing can be compared now."),
        (Phase.CUT, True, "Watch this cut yourself: nothing can be compared now."),
        (Phase.AIR, False, "When a cut begins stay with it: nothing is compared now."),
        (Phase.AIR, True, "Carry on, by the restart program if there is one"),
    ],
)
def test_a_cut_that_cannot_be_compared_is_to_be_watched(phase: Phase, *, checking: bool, said: str):
    """Nobody is told to start a cut that runs, under another sound or unlike what was learned."""
    what = replace(seen("settle"), heard=Heard(1.0, "settle", phase, 0.0), checking=checking)
    assert any(line.startswith(f"Do      {said}") for line in shown(what))


@pytest.mark.parametrize("size", [(40, 12), (40, 9), (30, 12), (50, 14), (50, 13), (72, 12)])
def test_an_alarm_that_does_not_fit_says_so_and_keeps_the_caution(size: tuple[int, int]):
    """What to do first stays, and nobody takes what is seen for all there is."""
    lines = shown(seen("alarm"), *size)
    assert len(lines) == size[1]
    assert max(map(len, lines)) <= size[0]
    assert "... make the window larger" in lines
    text = " ".join(" ".join(lines).split())
    assert text.count("A feed hold does not stop the spindle.") == 1
    assert "*** ALARM ***" in lines
    assert "1. Stop the cut" in text
    assert "?" not in text.partition("1. ")[2].partition("2. ")[0], "an order, not a question"


@pytest.mark.parametrize("state", STATES)
@pytest.mark.parametrize("size", [(80, 24), (120, 40), (50, 15)])
def test_where_all_fits_no_larger_window_is_asked_for(state: State, size: tuple[int, int]):
    """A small window is enough for what there is to do."""
    assert "... make the window larger" not in shown(seen(state), *size)


def test_a_spindle_that_is_not_heard_is_never_said_to_stand_still():
    """Noise may cover it; and while nobody listens nothing is said of speed or cutting, not even the last."""
    covered = replace(seen("settle"), heard=Heard(1.0, "settle", Phase.OFF, 0.0))
    assert "Sound   no spindle is heard" in shown(covered)
    deaf = replace(seen("deaf"), heard=Heard(1.0, "deaf", Phase.CUT, 0.0, now=Levels(-90.0, -90.0)))
    for what in (deaf, replace(seen("listen"), hung=3.2)):
        (sound,) = (line for line in shown(what) if line.startswith("Sound"))
        assert sound == "Sound   nothing is known of the spindle"


@pytest.mark.parametrize("size", [(80, 24), (120, 40), (50, 15)])
def test_an_alarm_tells_all_that_is_to_be_done(size: tuple[int, int]):
    """Cause, resume line, restart program, seven steps in order and a caution, also in a small window."""
    text = " ".join(" ".join(shown(seen("alarm"), *size)).split())
    wanted = ["THE BIT MAY BE LOOSE (70 % sure), since 3:04", "from line 293 (N450)"]
    wanted += ["1. Stop", "2. Isolate", "3. Look", "4. Clean", "5. Is", "6. Touch off Z", "7. Press t."]
    wanted += ["A feed hold does not stop the spindle."]
    places = [text.index(words) for words in wanted]
    assert places == sorted(places)
    assert "restart-at-line-293.ngc" in text.replace("- ", "-").replace(" ", "")


@pytest.mark.parametrize("size", [(80, 24), (60, 13), (40, 10)])
def test_a_line_to_carry_on_from_is_never_told_alone(size: tuple[int, int]):
    """It is where a restart program begins; the program itself is not to be started there."""
    there = seen("alarm")
    text = "".join("".join(shown(there, *size)).split())
    assert ("byrestartfromline293(N450)" in text) is ("Restartprogram:" not in text)
    none = replace(there, done="There is no restart from line 293: the unit is not said", refused=True)
    assert "norestartfromline293(N450)" in "".join("".join(shown(none, *size)).split())


def test_without_keys_an_alarm_tells_how_else_one_says_that_the_bit_was_tightened():
    """On the page, or through another program, where there is one; else nothing that nobody can press."""
    without = replace(seen("alarm"), keys=False)
    assert not any("ress t" in line for line in shown(without))
    page = replace(without, press='Press "Tightened, carry on" on the page.')
    assert any('7. Press "Tightened, carry on" on the page.' in line for line in shown(page))


def test_a_loop_that_hangs_is_deaf():
    """When nothing is taken in any more the screen must not go on to look calm."""
    lines = shown(replace(seen("listen"), hung=3.2))
    assert block_letters("DEAF", 3, "#")[0] in lines or block_letters("DEAF", 2, "#")[0] in lines
    assert any("nothing was taken in for 3 s" in line for line in lines)
    assert "Change  nothing is compared now" in lines


def test_a_listening_that_is_over_is_deaf_and_tells_that_it_ends():
    """What is left may take a while, and nobody is to wait for it as for one that is behind or hangs."""
    lines = shown(replace(seen("listen"), over=True, hung=3.2))
    assert block_letters("DEAF", 3, "#")[0] in lines or block_letters("DEAF", 2, "#")[0] in lines
    assert "the listening is over, and what is left is being done" in lines
    assert lines[-1] == "Ctrl-C ends it at once."


def test_only_who_hears_nothing_usable_is_sent_to_the_microphone():
    """It is fine where the computer is behind, or the listening hangs or is over."""
    mute = after(seen("listen"), StateChange(180.0, "deaf", "nothing arrives from the microphone"))
    mute = after(mute, Deaf(180.0, "nothing arrives from the microphone"))
    old = after(seen("listen"), OLD)
    cases = ((mute, True), (old, False), (replace(mute, hung=3.0), False), (replace(mute, over=True), False))
    for what, sent in cases:
        text = " ".join(" ".join(shown(what)).split())
        assert "Do Watch the cut yourself, or stop it: nobody listens." in text
        assert ("see to the microphone" in text) is sent
    again = after(after(mute, StateChange(190.0, "listen", "comparing")), OLD)
    assert "see to the microphone" not in " ".join(shown(again))


OLD = Deaf(180.0, "what is heard now sounded more than 2 s ago")


@pytest.mark.parametrize("state", ["settle", "learn", "listen", "uneasy"])
def test_what_is_heard_late_is_deaf(state: State):
    """Where what is heard is old the screen must not look calm until it is of now."""
    what = after(seen(state), OLD)
    lines = shown(what)
    assert block_letters("DEAF", 3, "#")[0] in lines or block_letters("DEAF", 2, "#")[0] in lines
    assert f"3:00  {OLD.because}" in lines
    assert "Change  nothing is compared now" in lines
    assert shown(replace(after(what, HeardAgain(190.0, "of now")), last=seen(state).last)) == shown(
        seen(state)
    )


def test_what_is_heard_late_hides_no_alarm():
    """An alarm is an alarm, however late."""
    assert shown(after(seen("alarm"), OLD))[2:8] == shown(seen("alarm"))[2:8]


def test_what_to_do_stays_while_the_alarm_lasts():
    """It stays in deafness as well, and goes when the bit was tightened or the sound is good again."""
    what = after(Seen("trays"), ALARM)
    for state, lasts in (("alarm", True), ("deaf", True), ("settle", False)):
        what = after(what, StateChange(190.0, state, "why"))  # type: ignore[arg-type]
        assert (what.alarm is ALARM) is lasts


@pytest.mark.parametrize("kind", ["tightened", "nothing"])
def test_what_a_person_says_in_deafness_answers_the_alarm(kind: str):
    """It stays deaf, so no change of state tells of it."""
    what = after(after(Seen("trays"), ALARM), StateChange(190.0, "deaf", "silence"))
    assert said_by_hand(what, Press(kind)).alarm is None  # type: ignore[arg-type]


@pytest.mark.parametrize("size", [(80, 24), (120, 40), (50, 15), (40, 12)])
def test_where_to_carry_on_stays_in_sight_until_the_bit_is_found_tight(size: tuple[int, int]):
    """The bit is tightened before the restart program is started: that is when its place is needed."""

    def told(what: Seen) -> str:
        return "".join("".join(shown(what, *size)).split())

    wanted = ("fromline293(N450)", "restart-at-line-293.ngc")
    what = after(replace(seen("alarm"), done=""), ALARM)
    what = said_by_hand(replace(what, done=DONE), Press("tightened"))
    for state, phase in (("settle", Phase.OFF), ("deaf", Phase.OFF), ("learn", Phase.CUT)):
        what = after(what, StateChange(190.0, state, "tightened"))  # type: ignore[arg-type]
        what = replace(what, heard=Heard(191.0, state, phase, 0.0))  # type: ignore[arg-type]
        assert all(words in told(what) for words in wanted)
    doubted = after(what, Checked(200.0, "before", "doubtful", ("half orders",)))
    again = said_by_hand(doubted, Press("tightened"))
    assert all(words in told(again) for words in wanted), "the bit is seated once more"
    tight = after(again, Checked(210.0, "before", "tight", ("as before",)))
    for over in (tight, said_by_hand(again, Press("nothing"))):
        later = said_by_hand(over, Press("tightened"))
        assert not any(words in told(later) for words in wanted), "an alarm of long ago is over"


@pytest.mark.parametrize("verdict", ["tight", "doubtful", "loose"])
def test_what_was_found_after_tightening_is_told_with_its_evidence(verdict: Tightness):
    """Until then it says that the first seconds are checked; then the verdict, against what, and why."""
    checking = replace(seen("settle"), heard=Heard(1.0, "settle", Phase.AIR, 0.0), checking=True)
    assert "the first seconds of cutting are checked" in " ".join(" ".join(shown(checking)).split())
    found = after(checking, Checked(200.0, "before", verdict, ("half orders are as before",)))
    lines = "\n".join(shown(found))
    assert {"tight": "SOUNDS TIGHT", "doubtful": "IN DOUBT", "loose": "SOUNDS LOOSE"}[verdict] in lines
    assert "half orders are as before" in lines
    assert not found.checking
    advice = "look at bit, collet and nut"
    marked = said_by_hand(found, Press("mark", 4))
    assert (advice in "\n".join(shown(marked))) is (verdict != "tight")
    assert advice not in "\n".join(shown(said_by_hand(marked, Press("nothing"))))


@pytest.mark.parametrize("against", ["physics", "before"])
def test_a_doubt_is_uneasy_and_never_calm(against: Against):
    """After tightening as in the first seconds: the large word, why, what was found, and what to do."""
    what = after(seen("listen"), Checked(200.0, against, "doubtful", ("half orders",)))
    what = after(what, StateChange(200.0, "uneasy", "the bit is in doubt: look at it"))
    lines = shown(replace(what, heard=seen("uneasy").heard))
    assert block_letters("UNEASY", 2, "#")[0] in lines
    text = "\n".join(lines)
    assert "3:20  the bit is in doubt: look at it" in text
    assert "Last    3:20 IN DOUBT - look at the bit before you go on" in text
    assert ADVICE in text


@pytest.mark.parametrize("verdict", ["tight", "doubtful", "loose"])
def test_that_a_bit_sounds_tight_is_not_said_of_the_next_one(verdict: Tightness):
    """It goes when another bit turns; what speaks against a bit stays, and so does other news."""
    first, second = (replace(seen("listen").heard, bit=bit) for bit in (1, 2))
    found = after(replace(seen("listen"), heard=first), Checked(200.0, "before", verdict, ("half orders",)))
    assert looked(found, first).last == found.last
    assert looked(found, second).last == (() if verdict == "tight" else found.last)
    news = after(found, HeardAgain(222.0, "sound is usable again"))
    assert looked(news, second).last == news.last


@pytest.mark.parametrize(
    ("kind", "said"),
    [("tightened", "you said that the bit is tightened"), ("nothing", "you said that it was nothing")],
)
def test_what_a_person_said_is_told_back(kind: Literal["tightened", "nothing"], said: str):
    """Also where no alarm was: what was refused before is no longer the last thing that happened."""
    refused = replace(seen("listen"), last=("there is no alarm to take back",))
    heeded = said_by_hand(refused, Press(kind))
    assert f"Last    3:06 {said}" in shown(heeded)
    assert heeded.last[1] == refused.because, "what came of it, as it is told when the state turns"
    assert said_by_hand(refused, Press("mark", 4)).last == refused.last


ADVICE = "look at bit, collet and nut"
GOOD = StateChange(210.0, "listen", "good again")


def test_what_speaks_against_the_bit_is_not_forgotten_over_other_news():
    """A doubt, or an alarm of a loose bit that ended by itself, is advice until a person settles it."""
    doubt = Checked(200.0, "physics", "doubtful", ("half orders",))
    for against in ((doubt,), (ALARM, GOOD)):
        what = seen("listen")
        for event in (*against, Deaf(220.0, "silence"), HeardAgain(222.0, "sound is usable again")):
            what = after(what, event)
        assert ADVICE in "\n".join(shown(what))
        assert "sound is usable again" in "\n".join(shown(what))
        assert ADVICE not in "\n".join(shown(said_by_hand(what, Press("nothing"))))


@pytest.mark.parametrize("against", [(Checked(200.0, "physics", "doubtful", ("it rocks",)),), (ALARM, GOOD)])
def test_to_stop_and_look_is_asked_for_no_longer_once_another_bit_is_heard_to_be_well(against: tuple[Event]):
    """Who reads an order for an hour that means another bit learns not to read it; what spoke stays told."""
    one, two = (replace(seen("listen").heard, bit=bit) for bit in (1, 2))
    what = seen("listen")
    for event in against:
        what = after(what, event)
    what = looked(what, one)
    for unsure in (replace(two, place=None), replace(two, state="uneasy"), replace(two, state="deaf")):
        assert looked(looked(what, unsure), one).accused == what.accused
    later = looked(what, two)
    assert ADVICE in "\n".join(shown(what))
    assert ADVICE not in "\n".join(shown(later))
    assert (later.behind, later.last) == (None, what.last)
    anew = looked(after(later, ALARM), two)
    assert anew.accused
    assert anew.of == two.bit


@pytest.mark.parametrize("size", [(80, 24), (120, 40), (50, 15), (40, 10)])
def test_why_one_is_to_stop_and_where_to_carry_on_stay_in_sight_over_other_news(size: tuple[int, int]):
    """An action's result comes after each alarm: an order to stop that tells no reason is not believed."""
    what = replace(after(after(seen("alarm"), ALARM), GOOD), heard=seen("listen").heard, done=DONE)
    doubted = after(seen("listen"), Checked(200.0, "physics", "doubtful", ("half orders",)))
    for against, why in ((what, "3:05 alarm: the bit may be loose"), (doubted, "3:20 IN DOUBT - look")):
        told = shown(replace(against, last=("action 'pause' at alarm done after 0.1 s",)), *size)
        assert any(line.startswith(f"Doubt   {why}") for line in told)
        assert ADVICE in " ".join(" ".join(told).split())
        assert any("from line 293" in line for line in told) is (against is what)
    settled = said_by_hand(what, Press("nothing"))
    assert not any("Doubt" in line or "from line 293" in line for line in shown(settled, *size))


def test_a_feed_that_was_held_speaks_against_no_bit_afterwards():
    """When cutting is heard again there is nothing to look at."""
    held = after(seen("alarm"), replace(ALARM, cause="stalled"))
    over = replace(after(held, GOOD), heard=seen("listen").heard)
    assert ADVICE not in "\n".join(shown(over))


# --- the keys -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("typed", "presses"),
    [
        (["t"], [Press("tightened")]),
        (["T"], [Press("tightened")]),
        (["n"], []),
        (["n", "y"], [Press("nothing")]),
        (["n", "n", "n"], []),
        (["n", "x", "y"], []),
        (["n", "t"], [Press("tightened")]),
        (["m", "3", "1", "9", "\x7f", "2", "\n"], [Press("mark", 312)]),
        (["m", "\r"], []),
        (["m", "4", "\x1b", "t"], [Press("tightened")]),
        (["m", "t", "n", "7", "\n"], []),
        (["mN110\r"], []),
        (["m1.5\r"], []),
        (["m", "4", "x", "m", "7", "\n"], [Press("mark", 7)]),
        (["m", "x", "t", "\n", "t"], [Press("tightened")]),
        (["\x1b[t", "x", " "], []),
    ],
)
def test_what_keys_mean(typed: list[str], presses: list[Press]):
    """One key each; what would make a fault sound normal takes another; a mark asks for its line."""
    keyboard = Keyboard()
    assert [press for keys in typed for press in keyboard.feed(keys)] == presses


@pytest.mark.parametrize(
    ("typed", "presses"),
    [
        (["t"], []),
        (["t", "t", "t"], []),
        (["t", "y"], [Press("tightened")]),
        (["t", "x", "y"], []),
        (["t", "n", "y"], [Press("nothing")]),
        (["t", "\x1b", "y"], []),
    ],
)
def test_a_bit_that_still_cuts_is_not_tightened_by_one_key(typed: list[str], presses: list[Press]):
    """An elbow would end the alarm, and a held key too; with the cut over one key does."""
    keyboard = Keyboard()
    keyboard.cuts = True
    assert [press for keys in typed for press in keyboard.feed(keys)] == presses
    keyboard.feed("t")
    assert "A cut is heard still" in keyboard.question
    keyboard.cuts = False
    assert keyboard.feed("t") == [Press("tightened")]
    assert keyboard.question == ""


@pytest.mark.parametrize(
    ("state", "phase", "heard"),
    [
        ("alarm", Phase.CUT, True),
        ("alarm", Phase.AIR, False),
        ("alarm", Phase.OFF, False),
        ("deaf", Phase.CUT, False),
    ],
)
def test_a_cut_is_heard_only_while_somebody_listens(state: State, phase: Phase, *, heard: bool):
    """A spindle that stands still, or a microphone that is muted, does not hold up who has tightened."""
    assert cuts(replace(seen(state), heard=Heard(1.0, state, phase, 0.0))) is heard
    assert not cuts(Seen("trays"))


def test_a_question_is_shown_until_it_is_answered():
    """The line that is typed is seen, in place of the help."""
    keyboard = Keyboard()
    keyboard.feed("m31")
    assert "31_" in keyboard.question
    assert shown(replace(seen("listen"), question=keyboard.question))[-1] == keyboard.question
    keyboard.feed("\n")
    assert keyboard.question == ""


def test_what_is_no_line_of_the_file_is_refused():
    """N110 stands on another line than 110: it is said that digits alone are one, and nothing is marked."""
    keyboard = Keyboard()
    keyboard.feed("mN110")
    assert "no N-word" in keyboard.question
    assert len(keyboard.question) <= 80
    keyboard.feed("m")
    assert keyboard.question.startswith("Which line")


@pytest.mark.parametrize("size", [(80, 24), (50, 15)])
def test_what_was_refused_is_seen_in_an_alarm_too(size: tuple[int, int]):
    """However much there is to be done, why a line cannot be marked stands above the keys."""
    refused = replace(seen("alarm"), trouble="nothing moves on line 9999")
    assert "nothing moves on line 9999" in shown(refused, *size)[-3:]
    assert len(shown(refused, *size)) == size[1]


FULL = (
    "the run's sound cannot be kept in /home/workshop/.local/share/chipsong/runs/trays (No space "
    "left on device): make room or choose another CHIPSONG_HOME; listening goes on without keeping its sound"
)


@pytest.mark.parametrize("size", [(80, 24), (60, 20), (50, 15), (40, 10)])
@pytest.mark.parametrize("state", ["alarm", "deaf", "uneasy"])
def test_trouble_hides_nothing_of_what_is_to_be_done(state: State, size: tuple[int, int]):
    """Of a long one there is as much as leaves the resume line, the first step and the caution their room."""
    lines = shown(replace(seen(state), trouble=FULL), *size)
    assert any(line.startswith("the run's sound cannot") for line in lines)
    text = " ".join(" ".join(lines).split())
    alarm = ("from line 293", "1. Stop", "A feed hold does not stop the spindle.")
    wanted = {"alarm": alarm, "deaf": ("Watch the cut yourself",), "uneasy": ("Look at the bit",)}
    assert all(words in text for words in wanted[state])
    assert "7. Press t." in text or "... make the window larger" in lines or state != "alarm"
    assert "without keeping its sound" in text or any(line.endswith(" ...") for line in lines)


def test_what_was_told_at_the_start_can_be_seen_again():
    """A page's address and its code are wanted later; the state stays in sight, and an alarm comes first."""
    keyboard = Keyboard()
    keyboard.feed("i")
    what = replace(seen("listen"), start=("a", "The page: http://127.0.0.1:1"), info=keyboard.info)
    assert shown(what)[1:4] == ["*** LISTEN ***", "a", "The page: http://127.0.0.1:1"]
    assert "The page" not in "".join(shown(replace(what, alarm=ALARM)))
    keyboard.feed("x")
    assert not keyboard.info


@pytest.mark.parametrize("state", ["uneasy", "deaf"])
def test_what_was_told_at_the_start_hides_nothing_that_is_urgent(state: State):
    """Whoever looked for an address still reads from afar that nobody listens, why, and what to do."""
    what = replace(seen(state), start=("a", "The page: http://127.0.0.1:1"))
    assert shown(replace(what, info=True)) == shown(what)
    hangs = replace(seen("listen"), start=("a",), hung=3.0)
    assert shown(replace(hangs, info=True)) == shown(hangs)


# --- the terminal ---------------------------------------------------------------------------------------

_SCRIPT = """
import fcntl, sys, termios, time
fcntl.ioctl(0, termios.TIOCSCTTY, 0)
import monitor.screen.board
from test_board import ALARM, Board, Controls, Looking
monitor.screen.board._HUNG = 0.3
controls = Controls()
with Board(sys.stdout, sys.stdin, "trays", Looking(), controls) as board:
    time.sleep(0.8)
    board.event(ALARM)
    while not (presses := controls.take()):
        board.alive()
        time.sleep(0.02)
    raise RuntimeError(f"a bug after {presses[0].kind}")
"""


@pytest.fixture
def terminal() -> Iterator[tuple[int, int]]:
    """Give a terminal: the end where a person types and reads, and the end where a program runs."""
    ours, theirs = pty.openpty()
    yield ours, theirs
    os.close(ours)
    os.close(theirs)


def test_the_terminal_is_as_it_was_also_after_a_crash(terminal: tuple[int, int]):
    """It says when the loop hangs; a key needs no Enter; after a crash the screen is left, the alarm told."""
    ours, theirs = terminal
    before = termios.tcgetattr(theirs)
    with _running(_SCRIPT, theirs) as child:
        screen = _read_until(ours, b"nothing was taken in")
        screen += _read_until(ours, b"Press t.")
        os.write(ours, b"t")
        screen += _read_until(ours, b"Carry on from line 293")
        assert child.stderr is not None
        assert b"RuntimeError: a bug after tightened" in child.stderr.read()
        child.wait(10)
        left = screen.index(b"\x1b[?1049l")
        assert screen.index(b"\x1b[?1049h") < left < screen.index(b"ALARM: THE BIT MAY BE LOOSE")
        assert b"\x1b[31m" not in screen, "no colour where none is wanted"
        assert termios.tcgetattr(theirs) == before


_CUTTING = """
import fcntl, sys, termios, time
from types import SimpleNamespace
fcntl.ioctl(0, termios.TIOCSCTTY, 0)
from test_board import ALARM, Board, Controls, seen
controls, looking = Controls(), SimpleNamespace(look=lambda _: seen("alarm").heard)
with Board(sys.stdout, sys.stdin, "trays", looking, controls) as board:
    board.event(ALARM)
    board.progress(None)
    while not (presses := controls.take()):
        board.alive()
        time.sleep(0.02)
print([press.kind for press in presses])
"""


def test_the_terminal_asks_whether_a_bit_is_tightened_that_is_heard_to_cut(terminal: tuple[int, int]):
    """What is heard reaches the keys: the first one only asks."""
    ours, theirs = terminal
    with _running(_CUTTING, theirs):
        _read_until(ours, b"Press t.")
        os.write(ours, b"t")
        _read_until(ours, b"A cut is heard still.")
        os.write(ours, b"y")
        _read_until(ours, b"['tightened']")


_IN_THE_BACKGROUND = """
import fcntl, os, signal, sys, termios
from monitor.screen.keys import single_keys
fcntl.ioctl(0, termios.TIOCSCTTY, 0)
if (job := os.fork()) == 0:
    os.setpgid(0, 0)
    signal.signal(signal.SIGTTOU, signal.SIG_IGN)
    os.tcsetpgrp(0, os.getpid())
    signal.signal(signal.SIGTTOU, signal.SIG_DFL)
    with single_keys(sys.stdin) as keys:
        print("keys:", keys, flush=True)
        os.tcsetpgrp(0, os.getppid())
    os._exit(0)
_, status = os.waitpid(job, os.WUNTRACED)
os.kill(job, signal.SIGKILL) if os.WIFSTOPPED(status) else None
print("it was stopped" if os.WIFSTOPPED(status) else "it came to its end")
"""


def test_who_is_in_the_background_by_the_end_is_not_stopped(terminal: tuple[int, int]):
    """A terminal that the shell has taken back is the shell's: setting it would hold up the summary."""
    ours, theirs = terminal
    with _running(_IN_THE_BACKGROUND, theirs):
        _read_until(ours, b"keys: 0")
        _read_until(ours, b"it came to its end")


@contextmanager
def _running(script: str, theirs: int) -> Iterator[subprocess.Popen[bytes]]:
    """Run a script on a terminal."""
    command = [sys.executable, "-c", f"import sys; sys.path[:0] = {sys.path!r}\n{script}"]
    env = os.environ | {"TERM": "xterm", "LANG": "C.UTF-8", "NO_COLOR": "1"}
    child = subprocess.Popen(
        command, stdin=theirs, stdout=theirs, stderr=subprocess.PIPE, env=env, start_new_session=True
    )
    try:
        yield child
    finally:
        child.kill()
        child.communicate()


def _read_until(file: int, words: bytes) -> bytes:
    text, end = b"", time.monotonic() + 60
    while words not in text:
        assert select.select([file], [], [], end - time.monotonic())[0], f"no {words!r} in {text!r}"
        text += os.read(file, 65536)
    return text


def test_what_is_told_after_the_screen_was_left_is_told_in_lines():
    """What a link says at the very end, that events wait for it, is not lost with the screen."""
    stream = Terminal()
    with Board(stream, stream, "trays", Looking(), Controls()) as board:
        board.note("while it stood")
    board.note("events wait for the broker")
    assert stream.getvalue().count("events wait for the broker") == 1


def test_a_screen_that_breaks_down_leaves_plain_lines(monkeypatch: pytest.MonkeyPatch):
    """When drawing fails the listening goes on, and what happens from then on is told in lines."""

    def broken(*_: object) -> None:
        raise ValueError("a bug in drawing")

    monkeypatch.setattr("monitor.screen.board.picture", broken)
    stream = Terminal()
    with Board(stream, stream, "trays", Looking(), Controls()) as board:
        for drawing in (thread for thread in threading.enumerate() if thread.name == "screen"):
            drawing.join(5)
        board.event(Checked(3.0, "before", "doubtful", ("the half orders are in doubt",)))
        assert "IN DOUBT" in stream.getvalue()
    assert stream.getvalue().count("IN DOUBT") == 1
