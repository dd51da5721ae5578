"""The capture loop, with sources that do as they are told."""

import errno
import json
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field, fields, replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from contract import BIT, SHIPPED, checked, sound
from numpy.typing import NDArray

from analysis.cutting import Bit
from analysis.errors import SoundError
from analysis.events import Alarm, Checked, Deaf, Event, Heard, StateChange, Summary, to_dict
from analysis.listener import COLUMNS, Listener
from analysis.locate import Nowhere
from analysis.program import read
from monitor.controls import PRESSED, Controls, Press
from monitor.journal import Journal, open_run
from monitor.journal.sound import SoundWriter
from monitor.kept.heard import NOTICE
from monitor.listening import told_back
from monitor.setup import Wanted, make_listener, read_program
from monitor.sources import Block
from monitor.testing import FakeClock, FakeMicrophone, silence
from monitor.watch import Ears, listen, together

RATE = 8000
NOISE = np.random.default_rng(3).normal(0.0, 0.02, 6 * RATE).astype(np.float32)


@dataclass
class Said:
    """Ears that remember."""

    events: list[Event] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)
    blocks: int = 0
    most: int | None = None

    @property
    def ears(self) -> Ears:
        """Give the ears, which stop after the most blocks, if there is a most."""
        return Ears(self.events.append, self._count, self.warnings.append, lambda: self.blocks == self.most)

    def _count(self, _: Listener) -> None:
        self.blocks += 1

    @property
    def text(self) -> str:
        """What ``--json`` would have written."""
        return "".join(json.dumps(to_dict(event)) + "\n" for event in self.events)


def plain() -> Listener:
    """Return a listener that knows of no program."""
    return Listener(RATE, {0: Bit("any", 6.0, 2, 18000.0)}, Nowhere())


def microphone(samples: NDArray[np.float32] = NOISE, **others: object) -> FakeMicrophone:
    """Return a microphone that hears these samples, a tenth of a second in a block."""
    return FakeMicrophone(samples, RATE, block=RATE // 10, **others)  # type: ignore[arg-type]


# --- the same for live and replay -----------------------------------------------------------------------


def heard_in_blocks(size: int) -> str:
    """Return what is written of the shipped slip when it comes in blocks of one size."""
    samples, rate = sound("slip_outline")
    program = read_program(SHIPPED / "slip_outline.ngc", [].append)
    wanted = Wanted(speed=float(BIT[1]), flutes=int(BIT[3]), diameter=6.0)
    said = Said()
    with FakeMicrophone(samples, rate, block=size) as source:
        listen(source, make_listener(rate, program, wanted, Path("nowhere"), pytest.fail), said.ears)
    return said.text


@pytest.fixture(scope="module")
def in_seconds() -> str:
    """Give what is written when each block is two seconds."""
    return heard_in_blocks(48000)


@pytest.mark.parametrize("size", [pytest.param(1, marks=pytest.mark.slow), 7, 1000])
def test_the_size_of_the_blocks_changes_not_a_byte(in_seconds: str, size: int):
    """Blocks of one sample, seven, a thousand or two seconds give the same events to the last digit."""
    assert any(event["event"] == "alarm" for event in checked(in_seconds))
    assert heard_in_blocks(size) == in_seconds


def test_time_goes_by_samples(clock: FakeClock):
    """Waiting for blocks, when none is missing for long, changes nothing of what is said, and when."""
    calm, waited = Said(), Said()
    with microphone() as source:
        listen(source, plain(), calm.ears)
    with microphone(gaps=dict.fromkeys(range(0, 60, 7), 1), clock=clock) as source:
        listen(source, plain(), waited.ears)
    assert clock.monotonic() > 6.0
    assert waited.text == calm.text


def test_a_gain_that_moves_by_itself_is_said_once_and_kept(tmp_path: Path, clock: FakeClock):
    """It is no deafness, but the person is told, and the run tells it afterwards."""
    listener, said = plain(), Said()
    listener.pumps = True
    journal = Journal.create(tmp_path, "a", {}, rate=RATE, columns=COLUMNS, keep_sound=False, now=clock.now)
    with microphone() as source:
        listen(source, listener, said.ears, journal)
    (warning,) = said.warnings
    assert "a gain seems to move by itself" in warning
    kept = open_run(tmp_path, journal.id).events()
    assert [event.body["said"] for event in kept if event.name == NOTICE] == [warning]


# --- deaf -----------------------------------------------------------------------------------------------


def test_blocks_that_fail_to_come_are_deaf_within_two_seconds(clock: FakeClock):
    """A microphone that gives nothing is told as deaf 2 s later at most, once, and as heard when it does."""
    said, when = Said(), []
    ears = Ears(lambda event: (said.events.append(event), when.append(clock.monotonic())))  # type: ignore[arg-type]
    with microphone(gaps={30: 9}, clock=clock) as source:
        listen(source, plain(), ears)
    (deaf,) = (n for n, event in enumerate(said.events) if isinstance(event, Deaf))
    assert 3.0 < when[deaf] <= 3.0 + 2.0
    assert said.events[deaf].at == 3.0, "by counting samples"
    (heard,) = (event for event in said.events if isinstance(event, Heard))
    assert 3.0 < heard.at <= 5.0


def test_a_microphone_may_take_a_while_to_begin(clock: FakeClock):
    """A sound system that slept is not deafness, nor a busy computer; one that never begins is, in 3 s."""
    late, never = Said(), Said()
    with microphone(gaps={0: 5}, clock=clock) as source:
        listen(source, plain(), late.ears)
    assert not any(isinstance(event, Deaf) for event in late.events)
    when: list[float] = []
    begun = clock.monotonic()
    ears = replace(
        never.ears, event=lambda event: (never.events.append(event), when.append(clock.monotonic()))
    )
    with microphone(gaps={0: 9}, clock=clock) as source:
        listen(source, plain(), ears)
    (deaf,) = (n for n, event in enumerate(never.events) if isinstance(event, Deaf))
    assert when[deaf] - begun <= 3.0
    assert isinstance(never.events[deaf], Deaf)


def test_lost_samples_are_deaf_with_the_reason(clock: FakeClock):
    """A block that tells of lost samples is told as deaf at its beginning, with what it tells."""
    said = Said()
    with microphone(notes={20: "overflow"}, clock=clock) as source:
        listen(source, plain(), said.ears)
    assert [(event.at, event.because) for event in said.events if isinstance(event, Deaf)] == [
        (2.0, "overflow")
    ]


def test_digital_silence_is_deaf_within_two_seconds():
    """Exact zeros are told as deaf while they last."""
    said = Said()
    with microphone(silence(NOISE, RATE, start=2.0, seconds=2.0)) as source:
        listen(source, plain(), said.ears)
    (deaf,) = (event for event in said.events if isinstance(event, Deaf))
    assert 2.0 < deaf.at <= 4.0


def test_what_was_lost_moves_the_clock_and_is_not_judged(tmp_path: Path, clock: FakeClock):
    """A block that lacks samples before it is deaf at once; time counts them, and silence is kept."""
    said = Said()
    keeps = journal(tmp_path, clock)
    lost = 3 * RATE + 77
    with microphone(lost={20: lost}, clock=clock) as source:
        outcome = listen(source, plain(), said.ears, keeps)
    (deaf,) = (event for event in said.events if isinstance(event, Deaf))
    (heard,) = (event for event in said.events if isinstance(event, Heard))
    assert (deaf.at, deaf.because) == (2.0, "a gap: some sound never arrived")
    assert 2.0 + lost / RATE < heard.at < 2.0 + lost / RATE + 1.5
    assert outcome.summary.at == pytest.approx(6.0 + lost / RATE)
    assert outcome.summary.heard_s < 6.0, "none of what was lost"
    kept = open_run(tmp_path, keeps.id).sound()
    assert len(kept) == len(NOISE) + lost
    assert not kept[2 * RATE : 2 * RATE + lost].any()
    np.testing.assert_allclose(kept[2 * RATE + lost :], NOISE[2 * RATE :], atol=2**-15)


def test_sound_that_is_heard_late_is_deaf_until_it_is_caught_up_with(tmp_path: Path, clock: FakeClock):
    """What sounded long ago tells nothing of the cut that runs: that is told once, and that it is over."""
    said, keeps = Said(), journal(tmp_path, clock)
    ages = dict.fromkeys(range(10, 30), 40.0) | {12: 1.0, 25: 1.0, 30: 0.1}
    with microphone(ages=ages) as source:
        outcome = listen(source, plain(), said.ears, keeps)
    told = [event for event in said.events if isinstance(event, Deaf | Heard)]
    assert [(type(event), event.at) for event in told] == [(Deaf, 1.0), (Heard, 3.0)]
    assert "more than 2 s ago: this computer is too busy" in told[0].because
    assert outcome.summary.heard_s == pytest.approx(6.0, abs=0.3), "all of it was heard"
    kept = open_run(tmp_path, keeps.id).events()
    assert [event.at for event in kept if event.name in ("deaf", "heard")] == [1.0, 3.0]


def test_sound_that_waits_a_moment_is_of_now():
    """What a busy computer catches up with by itself in less than two seconds is no deafness."""
    said = Said()
    with microphone(ages=dict.fromkeys(range(10, 30), 1.9)) as source:
        listen(source, plain(), said.ears)
    assert not any(isinstance(event, Deaf) for event in said.events)


def test_another_deafness_that_ends_hides_none_that_lasts():
    """A microphone that is heard again is still heard late."""
    said = Said()
    muted = silence(NOISE, RATE, start=2.0, seconds=1.5)
    with microphone(muted, ages=dict.fromkeys(range(10, 60), 40.0)) as source:
        listen(source, plain(), said.ears)
    told = [event for event in said.events if isinstance(event, Deaf | Heard)]
    assert [type(event) for event in told] == [Deaf, Deaf, Heard, Deaf, Deaf]
    assert told[3].because == told[0].because


def test_what_still_waits_at_the_end_was_not_heard(tmp_path: Path, clock: FakeClock):
    """A run that is ended lasted until now: what nobody heard of it is told, counted, and kept as a gap."""
    said, keeps = Said(most=20), journal(tmp_path, clock)
    with microphone(ages=dict.fromkeys(range(10, 60), 50.0)) as source:
        outcome = listen(source, plain(), said.ears, keeps)
    assert outcome.summary.at == pytest.approx(52.0)
    assert outcome.summary.heard_s <= 2.0
    assert any(
        "the last 50 s were not heard" in event.because for event in said.events if isinstance(event, Deaf)
    )
    assert len(open_run(tmp_path, keeps.id).sound()) == 52 * RATE


def test_each_ear_is_told_and_asked_whatever_there_is_to_tell():
    """None can be forgotten by another: each call reaches all, in order, and what they give is gathered."""
    told: list[tuple[str, str]] = []

    def ears(name: str) -> Ears:
        def hear(what: str, gives: object) -> Callable[..., object]:
            return lambda *_: told.append((name, what)) or gives  # type: ignore[func-returns-value]

        gives = {"stop": name == "b", "at_alarm": "why" if name == "b" else ""}
        gathered = dict.fromkeys(("done", "asked", "lines"), (name,))
        calls = {one.name: hear(one.name, (gives | gathered).get(one.name)) for one in fields(Ears)}
        return Ears(**calls)  # type: ignore[arg-type]

    both = together(ears("a"), ears("b"))
    for one in fields(Ears):
        gave = getattr(both, one.name)(*[None] * (one.name == "at_alarm"))
        assert told[-2:] == [("a", one.name), ("b", one.name)]
        assert gave == ["a", "b"] or one.name not in ("done", "asked", "lines")
        assert {"stop": True, "at_alarm": "why"}.get(one.name, gave) == gave
    assert not together().stop()
    assert list(together(Ears(), Ears()).asked()) == []


def test_that_the_listening_is_over_is_told_before_what_still_waits_is_passed_over():
    """That may take minutes: they are no listening that hangs, and each second of them has a sign of life."""
    said, turns = Said(most=20), list[float]()
    listener = plain()
    ears = replace(
        said.ears,
        ends=lambda: said.warnings.append("over"),
        at_once=lambda event: said.warnings.append(event.because) if isinstance(event, Deaf) else None,
        asked=lambda: turns.append(listener.at) or (),  # type: ignore[func-returns-value]
    )
    with microphone(ages=dict.fromkeys(range(10, 60), 50.0)) as source:
        listen(source, listener, ears)
    assert said.warnings.count("over") == 1
    assert "the last 50 s" in said.warnings[said.warnings.index("over") + 1]
    assert turns[-1] == pytest.approx(52.0)
    assert max(np.diff(turns)) <= 1.0


def test_it_stops_when_told_though_hours_were_lost():
    """A laptop that slept for a night has much to catch up with, and that does not hold up the end."""
    said = Said(most=30)
    with microphone(lost={20: 9 * 3600 * RATE}) as source:
        outcome = listen(source, plain(), said.ears)
    assert (said.blocks, outcome.summary.at) == (30, 12.0)


def test_lost_time_is_caught_up_with_in_touch_with_everyone(tmp_path: Path, clock: FakeClock):
    """Each lost second there are signs of life; what is said meanwhile is of now, and heeded after it."""
    turns, done = list[float](), list[bool]()
    listener, keeps = plain(), journal(tmp_path, clock)

    def asked() -> tuple[Press, ...]:
        turns.append(listener.at)
        return (Press("tightened"),) if 60.0 < listener.at < 61.5 else ()

    def became(last: bool) -> tuple[()]:
        done.append(last)
        return ()

    with microphone(lost={20: 120 * RATE}) as source:
        listen(source, listener, replace(Said().ears, asked=asked, done=became), keeps)
    assert max(np.diff(turns)) <= 1.0
    assert len(done) >= len(turns) > 120
    (kept,) = (event for event in open_run(tmp_path, keeps.id).events() if event.name == PRESSED)
    assert kept.at == pytest.approx(122.1)


def test_a_gap_in_a_good_cut_is_no_alarm():
    """Half a second that never came, in the middle of an even cut, is deaf and then heard, and no alarm."""
    samples, rate = sound("tight_outline")
    program = read_program(SHIPPED / "tight_outline.ngc", [].append)
    wanted = Wanted(speed=float(BIT[1]), flutes=int(BIT[3]), diameter=6.0)
    middle, lost = len(samples) // 2, rate // 2
    source = FakeMicrophone(
        np.delete(samples, slice(middle, middle + lost)), rate, block=middle, lost={1: lost}
    )
    said = Said()
    with source:
        outcome = listen(
            source, make_listener(rate, program, wanted, Path("nowhere"), pytest.fail), said.ears
        )
    assert outcome.alarms == ()
    assert outcome.summary.at == pytest.approx(len(samples) / rate)
    around = [event.at for event in said.events if isinstance(event, Deaf | Heard)]
    assert [at for at in around if middle / rate <= at <= middle / rate + 2.0]


# --- what a person says ---------------------------------------------------------------------------------


def test_what_a_person_says_is_heeded_after_the_block_and_kept(tmp_path: Path, clock: FakeClock):
    """What was tightened is told and kept with its time; what can't be done is refused in one line each."""
    said, controls, keeps = Said(), Controls(), journal(tmp_path, clock)
    for press in (Press("tightened"), Press("nothing"), Press("mark", 7)):
        controls.press(press)
    heeded: list[Press] = []
    ears = replace(
        said.ears, asked=controls.take, heeded=lambda press, _listener, _before: heeded.append(press)
    )
    with microphone() as source:
        listen(source, plain(), ears, keeps)
    assert heeded == [Press("tightened")], "what was refused is not told as done"
    told = "tightened: no good sound from before is known; the first seconds will be checked without it"
    assert StateChange(0.1, "settle", told) in said.events
    assert said.warnings == [
        "there is no alarm to take back",
        "line 7 cannot be marked: no program was given",
    ]
    (kept,) = (event for event in open_run(tmp_path, keeps.id).events() if event.name == PRESSED)
    assert (kept.at, kept.body["kind"], kept.body["bit"]) == (0.1, "tightened", 0)


@pytest.mark.parametrize(
    ("begins", "told"),
    [(4, "taken for the one at line 4 (N110)"), (None, "No line to carry on from is known")],
)
def test_with_which_line_it_carries_on_is_told_back(begins: int | None, told: str):
    """Where no line is known that is told as well: the first cut is then taken for none."""
    program = read("G21 G90\nM3 S18000\nN100 G0 Z5\nN110 G1 X10 F500 Z-1\nX20\nM30\n", "job")
    notes: list[str] = []
    told_back(program, notes.append)(Press("tightened"), SimpleNamespace(carries_on=begins), None)
    (note,) = notes
    assert told in note
    assert "If you begin elsewhere" in note


@pytest.mark.parametrize(("of", "lasts"), [("alarm", True), ("alarm", False), ("doubt", False)])
def test_what_was_nothing_is_kept(tmp_path: Path, clock: FakeClock, of: str, *, lasts: bool):
    """Afterwards it is known whether an alarm was meant, be it over, which is labelled by it, or a doubt."""
    listener, controls, keeps = plain(), Controls(), journal(tmp_path, clock)
    if of == "alarm":
        listener.watcher._raise("chatter")  # noqa: SLF001 - whatever made it
        listener.watcher._alarmed = lasts  # noqa: SLF001 - and ended it
    else:
        listener.watcher._checks.doubts[0] = Checked(0.0, "physics", "doubtful", ("it rocks",))  # noqa: SLF001
    controls.press(Press("nothing"))
    with microphone() as source:
        listen(source, listener, replace(Said().ears, asked=controls.take), keeps)
    (kept,) = (event for event in open_run(tmp_path, keeps.id).events() if event.name == PRESSED)
    assert (kept.body["of"], kept.body["bit"]) == (of, 0)


def test_a_mark_without_a_line_is_refused():
    """Only a mark has a line, and it must have one."""
    for kind, line in (("mark", None), ("nothing", 3)):
        with pytest.raises(ValueError, match="only a mark has a line"):
            Press(kind, line)  # type: ignore[arg-type]


# --- the end --------------------------------------------------------------------------------------------


@dataclass
class Breaks:
    """A source that ends with an error after some blocks."""

    error: BaseException
    rate: int = RATE
    name: str = "breaks"

    def blocks(self) -> Iterator[Block]:
        """Give a second of noise, then fail."""
        for first in range(0, RATE, 1000):
            yield Block(NOISE[first : first + 1000])
        raise self.error


def test_a_source_that_breaks_off_keeps_what_was_heard():
    """After a SoundError the summary is told, and the outcome says what ended the run."""
    said = Said()
    outcome = listen(Breaks(SoundError("breaks off")), plain(), said.ears)
    assert outcome.trouble == "breaks off"
    assert said.events[-1] == outcome.summary
    assert outcome.summary.at == 1.0


@pytest.mark.parametrize(
    ("error", "said"),
    [(SoundError("breaks off"), "breaks off"), (RuntimeError("a bug"), "chipsong broke down: a bug")],
)
def test_actions_are_told_that_nobody_listens_any_more(error: Exception, said: str):
    """Whatever ends the listening, actions get a last event, deaf, and the time to tell somebody."""
    told: list[Event] = []
    asked: list[bool | str] = []

    def done(last: bool) -> tuple[()]:
        asked.append(last)
        return ()

    ears = replace(Said().ears, at_once=told.append, done=done, ends=lambda: asked.append("over"))
    with suppress(RuntimeError):
        listen(Breaks(error), plain(), ears)
    (deaf,) = (event for event in told if isinstance(event, Deaf))
    assert (deaf.at, deaf.because) == (1.0, said)
    assert asked[-2:] == ["over", True]


def test_a_bug_is_not_hidden():
    """An error that nobody foresaw ends the run as it is."""
    with pytest.raises(RuntimeError, match="a bug"):
        listen(Breaks(RuntimeError("a bug")), plain(), Said().ears)


def test_a_run_that_is_stopped_by_hand_ends_with_its_summary():
    """Ctrl-C is no trouble: the summary is told, and a line that it was stopped."""
    said = Said()
    outcome = listen(Breaks(KeyboardInterrupt()), plain(), said.ears)
    assert (outcome.trouble, said.warnings) == ("", ["stopped by hand"])
    assert isinstance(said.events[-1], Summary)


def test_it_stops_when_told():
    """`stop` is asked after each block; what was heard up to there has its summary."""
    said = Said(most=20)
    with microphone() as source:
        outcome = listen(source, plain(), said.ears)
    assert (said.blocks, outcome.summary.at) == (20, 2.0)


def test_it_stops_when_told_though_nothing_arrives(clock: FakeClock):
    """A microphone that gives nothing more does not hold up the end."""
    ears = Ears(lambda _: None, stop=lambda: clock.monotonic() > 20.0)
    with microphone(gaps={10: 1000}, clock=clock) as source:
        outcome = listen(source, plain(), ears)
    assert outcome.summary.at == 1.0
    assert clock.monotonic() < 25.0


# --- keeping --------------------------------------------------------------------------------------------


def journal(folder: Path, clock: FakeClock) -> Journal:
    """Begin to keep a run."""
    return Journal.create(folder, "run", {}, rate=RATE, columns=COLUMNS, keep_sound=True, now=clock.now)


def test_what_is_said_and_heard_is_kept(tmp_path: Path, clock: FakeClock):
    """Events, rows and sound of the journal are those of the run, and the summary closes it."""
    said = Said()
    keeps = journal(tmp_path, clock)
    with microphone(clock=clock) as source:
        outcome = listen(source, plain(), said.ears, keeps)
    run = open_run(tmp_path, keeps.id)
    assert [event.body for event in run.events()] == [to_dict(event) for event in said.events]
    assert run.summary == to_dict(outcome.summary)
    assert run.samples() == len(NOISE)
    np.testing.assert_allclose(run.sound(), NOISE, atol=2**-15)
    assert len(run.rows().at) > 0


def test_a_full_disk_is_said_once_and_listening_goes_on(
    tmp_path: Path, clock: FakeClock, monkeypatch: pytest.MonkeyPatch
):
    """When sound cannot be kept any more, one warning says so; what is heard, said and kept is the same."""
    written = 0

    def write(_: SoundWriter, samples: NDArray[np.float32]) -> None:
        nonlocal written
        written += len(samples)
        if written > 2 * RATE:
            raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(SoundWriter, "write", write)
    kept, unkept = Said(), Said()
    keeps = journal(tmp_path, clock)
    with microphone(clock=clock) as source:
        listen(source, plain(), kept.ears, keeps)
    with microphone() as source:
        listen(source, plain(), unkept.ears)
    (warning,) = kept.warnings
    assert "No space left on device" in warning
    assert "listening goes on without keeping its sound" in warning
    assert kept.text == unkept.text
    run = open_run(tmp_path, keeps.id)
    assert [event.body for event in run.events()] == [to_dict(event) for event in kept.events]
    assert run.closed


def test_a_run_that_fails_leaves_a_journal_that_opens(tmp_path: Path, clock: FakeClock):
    """When something else breaks the loop the journal is closed, as one that was broken off."""
    keeps = journal(tmp_path, clock)
    with pytest.raises(RuntimeError):
        listen(Breaks(RuntimeError()), plain(), Said().ears, keeps)
    run = open_run(tmp_path, keeps.id)
    assert run.summary is None
    assert run.samples() == RATE


def test_alarms_are_told_in_the_outcome(in_seconds: str):
    """The outcome has the alarms that were said, in their order."""
    samples, rate = sound("slip_outline")
    said = Said()
    wanted = Wanted(speed=float(BIT[1]), flutes=int(BIT[3]), diameter=6.0)
    program = read_program(SHIPPED / "slip_outline.ngc", [].append)
    with FakeMicrophone(samples, rate, block=rate) as source:
        outcome = listen(
            source, make_listener(rate, program, wanted, Path("nowhere"), pytest.fail), said.ears
        )
    assert list(outcome.alarms) == [event for event in said.events if isinstance(event, Alarm)]
    assert len(outcome.alarms) == outcome.summary.alarms > 0
    assert said.text == in_seconds
