"""The microphone with a PortAudio that does as it is told; test_sound_stack.py has the real one."""

import os
import queue
import signal
import subprocess
import sys
import textwrap
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import asdict
from pathlib import Path

import pytest
from stage import DEVICES, Stage

from analysis.errors import SoundError
from monitor.capture import wire
from monitor.capture.__main__ import BLOCK
from monitor.capture.wire import Message, Place, clock, told
from monitor.sources import OVERFLOW, Block, Device, Microphone, Source, microphones
from monitor.sources.child import Child

RATE = 8000
USB = "USB Microphone"


def heard(microphone: Microphone, until: Callable[[Block], bool], seconds: float = 60.0) -> Iterator[Block]:
    """Give blocks up to the first that is wanted, and fail when none comes."""
    end = time.monotonic() + seconds
    for block in microphone.blocks(timeout=0.2):
        if block is not None:
            yield block
            if until(block):
                return
        if time.monotonic() > end:
            pytest.fail(f"not within {seconds} s")


def after(count: int) -> Callable[[Block], bool]:
    """Return what is true of the block after ``count`` blocks with sound."""
    left = iter(range(count))
    return lambda block: len(block.samples) > 0 and next(left, None) is None


def noted(block: Block) -> bool:
    """Return whether a block tells of trouble."""
    return bool(block.note)


def assert_counted(blocks: list[Block]) -> None:
    """Check that each sample has its number, when all before it is counted, the lost ones too."""
    count = 0
    for block in blocks:
        count += block.lost
        expected = range(count, count + len(block.samples))
        assert list(block.samples) == list(expected)
        count += len(block.samples)


# --- which one ------------------------------------------------------------------------------------------


@pytest.mark.usefixtures("stage")
def test_only_what_records_is_listed():
    """The list has the devices with input channels, their own rates, and marks the default."""
    assert microphones()[:2] == (
        Device(1, "Built-in", 44100, 2, default=True, api="Alpha"),
        Device(2, USB, 8000, 1, default=False, api="Alpha"),
    )
    assert [device.index for device in microphones()] == [1, 2, 3, 4, 5]


def test_what_is_plugged_in_later_is_listed(stage: Stage):
    """Each list is made anew."""
    stage.tell(devices=DEVICES[:2])
    assert len(microphones()) == 1
    stage.tell(devices=DEVICES)
    assert len(microphones()) == 5


@pytest.mark.usefixtures("stage")
def test_an_unknown_microphone_lists_the_choice():
    """What is not there is a SoundError of one line, with what there is; no process is left behind."""
    with pytest.raises(SoundError, match="there is no microphone 'booth': choose one of 1 'Built-in'"):
        Microphone("booth")


def test_the_devices_own_rate_is_taken(stage: Stage):
    """Without a rate the device's own is used, and one channel of float32 is asked for."""
    with Microphone("usb microphone") as microphone:
        source: Source = microphone
        assert (source.rate, source.name) == (RATE, USB)
    wanted = {"device": 2, "samplerate": RATE, "channels": 1, "dtype": "float32", "blocksize": 640}
    assert stage.asked == wanted


# --- every sample ---------------------------------------------------------------------------------------


@pytest.mark.usefixtures("stage")
def test_every_sample_comes_once_and_in_order():
    """What was called back is given to the sample, and nothing is said."""
    with Microphone(USB) as microphone:
        blocks = list(heard(microphone, after(10)))
    assert_counted(blocks)
    assert {block.note for block in blocks} == {""}
    assert sum(block.lost for block in blocks) == 0


@pytest.mark.usefixtures("stage")
@pytest.mark.parametrize("seconds", [1.5, pytest.param(5.0, marks=pytest.mark.slow)])
def test_a_slow_listener_loses_nothing(seconds: float):
    """All sound waits for a listener that is held up."""
    with Microphone(USB) as microphone:
        blocks = list(heard(microphone, after(5)))
        time.sleep(seconds)
        blocks += heard(microphone, after(int(seconds / BLOCK) + 10))
    assert_counted(blocks)
    assert sum(block.lost for block in blocks) == 0


@pytest.mark.usefixtures("stage")
def test_it_is_told_for_how_long_sound_has_waited():
    """Whoever was held up gets to know how old each block is, until it is of now again."""
    with Microphone(USB) as microphone:
        list(heard(microphone, after(5)))
        time.sleep(1.5)
        late = list(heard(microphone, after(1)))
        on_time = list(heard(microphone, lambda block: len(block.samples) > 0 and block.age < 0.5))
    assert 1.2 < late[0].age < 5.0
    assert on_time


@pytest.mark.usefixtures("stage")
def test_a_standstill_of_the_computer_loses_nothing(monkeypatch: pytest.MonkeyPatch):
    """Ten seconds that went by unnoticed are no silence, where nothing came in one wait alone."""
    with Microphone(USB) as microphone:
        blocks = list(heard(microphone, after(5)))
        wait = microphone._wait  # noqa: SLF001 - what wakes late

        def once_in_vain(_timeout: float) -> Message | None:
            monkeypatch.setattr(microphone, "_wait", wait)
            raise queue.Empty

        monkeypatch.setattr(microphone, "_wait", once_in_vain)
        monkeypatch.setattr("monitor.sources.microphone.clock", lambda: clock() + 10.0)
        blocks += heard(microphone, after(5))
    assert_counted(blocks)
    assert {(block.note, block.lost) for block in blocks} == {("", 0)}


@pytest.mark.slow
def test_beyond_the_bound_it_is_counted_what_was_lost(stage: Stage):
    """A listener held up for longer than sound can wait is told how much was lost, to the sample."""
    stage.room(0.2)
    with Microphone(USB, 16_000) as microphone:
        blocks = list(heard(microphone, after(5)))
        time.sleep(7.0)  # pipe and queue on the way hold about 3 s more
        blocks += heard(microphone, noted)
        blocks += heard(microphone, after(10))
    assert_counted(blocks)
    (told,) = (block for block in blocks if block.note)
    assert told.lost > 16_000
    assert told.note == f"{OVERFLOW} ({told.lost / 16_000:.2f} s)"


@pytest.mark.parametrize("tells", [pytest.param(True, marks=pytest.mark.slow), False])
def test_a_gap_is_said_and_counted(stage: Stage, tells: bool):
    """Samples that PortAudio loses, whether or not it tells, are said within 2 s and make up the clock."""
    lose = RATE // 4
    with Microphone(USB) as microphone:
        blocks = list(heard(microphone, after(10)))
        stage.tell(lose=lose, tells=tells)
        begun = time.monotonic()
        blocks += heard(microphone, noted)
        assert time.monotonic() - begun < 2.0
        blocks += heard(microphone, after(12))
    assert blocks[-1].samples[-1] == pytest.approx(counted(blocks) - 1, abs=0.03 * RATE)
    assert sum(block.lost for block in blocks) == pytest.approx(lose, abs=0.03 * RATE)
    notes = [block.note for block in blocks if block.note]
    assert notes[0] == OVERFLOW if tells else notes[0].startswith("a gap: 0.2")


def counted(blocks: list[Block]) -> int:
    """Return how many samples there were, lost ones included."""
    return sum(block.lost + len(block.samples) for block in blocks)


# --- lost, and found again ------------------------------------------------------------------------------


def lost_and_found(lose: Callable[[Microphone], object], find: Callable[[], object]) -> list[Block]:
    """Hear a microphone, lose it, find it again; return all blocks, and check time and clock."""
    with Microphone(USB) as microphone:
        blocks = list(heard(microphone, after(4)))
        lose(microphone)
        begun = time.monotonic()
        blocks += heard(microphone, noted)
        assert time.monotonic() - begun < 2.0, "said within 2 s"
        assert len(blocks[-1].samples) == 0
        away = list(heard(microphone, lambda block: block.lost > 0))
        assert not any(len(block.samples) for block in away)
        find()
        back = list(heard(microphone, after(6)))
        taken = time.monotonic() - begun
    (again,) = (block for block in back if "is heard again" in block.note)
    assert len(again.samples) > 0
    lost = sum(block.lost for block in [*blocks, *away, *back])
    last = [block for block in back if len(block.samples)]
    assert lost + sum(len(block.samples) for block in last) == pytest.approx(taken * RATE, abs=0.5 * RATE)
    return [*blocks, *away, *back]


def test_one_that_is_unplugged_is_found_on_another_port(stage: Stage):
    """Data that stops is said within 2 s; under another number the microphone is heard again by its name."""
    moved = [DEVICES[0], DEVICES[3], DEVICES[4], DEVICES[2]]
    blocks = lost_and_found(lambda _: stage.tell(devices=DEVICES[:2]), lambda: stage.tell(devices=moved))
    assert stage.asked["device"] == 3
    assert next(b.note for b in blocks if b.note) == f"nothing arrives from {USB}: looking for it"


@pytest.mark.slow
def test_one_that_falls_silent_is_opened_anew(stage: Stage):
    """A stream whose callbacks stop, the device being there, is opened anew."""
    lost_and_found(lambda _: stage.tell(silent=True), lambda: stage.tell(silent=False))


@pytest.mark.slow
def test_a_stream_that_ends_is_opened_anew(stage: Stage):
    """A stream that ends by itself is said at once."""
    lost_and_found(lambda _: stage.tell(ends=True), lambda: stage.tell(ends=False))


@pytest.mark.slow
def test_one_that_refuses_for_a_while_is_asked_again(stage: Stage):
    """A microphone that is there again but is refused is tried until it opens."""

    def lose(_: Microphone) -> None:
        stage.tell(ends=True, refuses="Device busy")

    lost_and_found(lose, lambda: stage.tell(ends=False, refuses=""))


@pytest.mark.usefixtures("stage")
def test_a_process_that_is_killed_is_started_anew():
    """When the process that captures dies it is said at once, and another takes its place."""
    lost_and_found(lambda microphone: os.kill(child_of(microphone), signal.SIGKILL), lambda: None)


@pytest.mark.slow
@pytest.mark.usefixtures("stage")
def test_a_system_that_starts_no_process_is_asked_again():
    """When no process can be started it is tried later, and the listening does not break off."""
    none = pytest.MonkeyPatch()

    def lose(microphone: Microphone) -> None:
        none.setattr("monitor.sources.child.COMMAND", ("/nowhere/python",))
        os.kill(child_of(microphone), signal.SIGKILL)

    lost_and_found(lose, lambda: (time.sleep(2.0), none.undo()))


@pytest.mark.slow
def test_another_microphone_is_never_taken_for_it(stage: Stage):
    """While only others are there it stays away."""
    with Microphone(USB) as microphone:
        list(heard(microphone, after(5)))
        stage.tell(devices=[*DEVICES[:2], *DEVICES[3:]])
        list(heard(microphone, noted))
        end = time.monotonic() + 3.0
        blocks = list(heard(microphone, lambda _: time.monotonic() > end))
    assert not any(len(block.samples) for block in blocks)


@pytest.mark.slow
def test_a_changed_rate_is_opened_anew(stage: Stage):
    """Samples that come a tenth too fast are not passed on as if they were right."""
    with Microphone(USB) as microphone:
        blocks = heard(microphone, noted)
        stage.tell(speed=1.1)
        *_, told = blocks
    assert told.note == "sound comes faster than 8000 Hz: its rate was changed: looking for it"


@pytest.mark.usefixtures("stage")
def test_that_it_is_lost_is_said_before_anything_is_ended(monkeypatch: pytest.MonkeyPatch):
    """A process that takes its time to end does not hold up the word that the microphone is gone."""
    order: list[str] = []
    stop = Child.stop
    monkeypatch.setattr(Child, "stop", lambda child: (order.append("ended"), stop(child)))
    with Microphone(USB) as microphone:
        list(heard(microphone, after(4)))
        os.kill(child_of(microphone), signal.SIGKILL)
        for block in heard(microphone, lambda block: block.lost > 0 and not block.note):
            order += ["said"] * noted(block)
    assert order[:2] == ["said", "ended"]


def test_a_process_that_cannot_be_ended_holds_up_nobody(monkeypatch: pytest.MonkeyPatch):
    """What a driver holds up cannot even be killed: whoever waits is let go, and its end is waited for."""
    monkeypatch.setattr("monitor.sources.child.COMMAND", (sys.executable, "-c", "input(); input()"))
    monkeypatch.setattr("monitor.sources.child._GOING", 0.1)
    child = Child()
    with monkeypatch.context() as patch:
        patch.setattr(subprocess.Popen, "kill", lambda _: None)
        ending = threading.Thread(target=child.stop, daemon=True)
        ending.start()
        assert child.get(timeout=60.0) is None
        ending.join(60.0)
        assert not ending.is_alive()
    # It ended with its standard input, and somebody asked for its status.
    end = time.monotonic() + 60.0
    while Path(f"/proc/{child.pid}").exists():
        assert time.monotonic() < end
        time.sleep(0.02)


def test_processes_that_cannot_be_ended_do_not_pile_up(monkeypatch: pytest.MonkeyPatch, stage: Stage):
    """While the one before is not gone the next search waits for a minute."""
    with Microphone(USB) as microphone:
        stage.tell(devices=DEVICES[:2])
        list(heard(microphone, noted))
        microphone._stop()  # noqa: SLF001 - as the next turn would
        begun = clock()
        with monkeypatch.context() as patch:
            patch.setattr(Child, "gone", False)
            microphone._search(begun + 50.0)  # noqa: SLF001 - the clock goes on by itself
            assert microphone._child is None  # noqa: SLF001 - as above
            microphone._search(begun + 70.0)  # noqa: SLF001 - as above
            assert microphone._child is not None  # noqa: SLF001 - as above


class Unplaced:
    """A process whose microphone is there and sounds, and of which no sound server ever says whose it is."""

    def __init__(self, begun: float) -> None:
        self._begun, self._count = begun, 0
        self.stopped = False

    def open(self, *_: object) -> None:
        """Open at once."""

    def get(self, _timeout: float) -> Message | None:
        """Give the next block of sound."""
        frames = round(BLOCK * RATE)
        at, first = self._begun + BLOCK * self._count, frames * self._count
        self._count += 1
        assert self._count < 100, "it is not listened to for ever"
        return Message(wire.SOUND, bytes(4 * frames), at, first)

    gone = True

    def stop(self) -> None:
        """Stop it."""
        self.stopped = True


@pytest.mark.usefixtures("stage")
def test_sound_of_which_nobody_says_whose_it_is_never_silences_the_blocks():
    """It is told twice a second as lost, so that whoever listens can stop, and given up after a while."""
    with Microphone(USB) as microphone:
        list(heard(microphone, after(4)))
        microphone._place = Place("usb", USB, "usb", 100)  # noqa: SLF001 - what a sound server would have said
        os.kill(child_of(microphone), signal.SIGKILL)
        list(heard(microphone, noted))
        microphone._stop()  # noqa: SLF001 - as the next turn would
        child = Unplaced(clock())
        microphone._child = child  # type: ignore[assignment]  # noqa: SLF001 - the second life
        microphone._take(told(wire.DEVICES, [asdict(device) for device in AGAIN]))  # noqa: SLF001
        lost = list[int]()
        for block in microphone.blocks(timeout=0.2):
            assert block is not None
            lost.append(block.lost)
            if child.stopped:
                break
    assert 8 <= len(lost) <= 12
    assert sum(lost) == pytest.approx(5.0 * RATE, abs=1.0 * RATE)
    assert max(lost) < 1.2 * RATE


AGAIN = [Device(2, USB, RATE, 1, default=False, api="Alpha")]


@pytest.mark.slow
def test_a_sound_server_that_never_has_the_recording_is_searched_anew(stage: Stage):
    """A process that gives up asking whose its sound is says so, and another one takes its place."""
    with Microphone(USB) as microphone:
        list(heard(microphone, after(4)))
        microphone._place = Place("usb", USB, "usb", 100)  # noqa: SLF001 - what a sound server would have said
        os.kill(child_of(microphone), signal.SIGKILL)
        begun, lives = time.monotonic(), set[int]()
        patience = threading.Timer(20.0, microphone.close)
        patience.start()
        lost = 0
        for block in heard(microphone, lambda _: len(lives) > 1, seconds=20.0):
            lost += block.lost
            if microphone._child is not None:  # noqa: SLF001 - as above
                lives.add(child_of(microphone))
        took = time.monotonic() - begun
        patience.cancel()
    assert len(lives) == 2
    assert lost == pytest.approx(took * RATE, abs=1.0 * RATE)
    assert stage.asked["device"] == 2


# --- the end --------------------------------------------------------------------------------------------


def child_of(microphone: Microphone) -> int:
    """Return the number of the process that captures."""
    child = microphone._child  # noqa: SLF001 - there is no other way to kill it
    assert child is not None
    return child.pid


def test_closing_lets_a_waiting_listener_go(stage: Stage):
    """Whoever waits for sound is let go when the microphone is closed, long before the time-out."""
    stage.tell(silent=True)
    with Microphone() as microphone:
        got: list[Block | None] = []
        listener = threading.Thread(target=lambda: got.extend(microphone.blocks(timeout=60)))
        listener.start()
        time.sleep(0.1)
        microphone.close()
        listener.join(timeout=5)
        assert not listener.is_alive()
    assert got == []


@pytest.mark.usefixtures("stage")
def test_it_can_be_closed_twice():
    """Closing again does nothing, a closed microphone hears nothing, and its process is gone."""
    with Microphone() as microphone:
        child = child_of(microphone)
        microphone.close()
        microphone.close()
        assert list(microphone.blocks()) == []
    assert not alive(child)


@pytest.mark.usefixtures("stage")
def test_a_closed_microphone_does_not_open():
    """It says to make another."""
    microphone = Microphone()
    microphone.close()
    with pytest.raises(SoundError, match="make another"), microphone:
        pass


def alive(process: int) -> bool:
    """Return whether a process runs."""
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    # One that has ended and that nobody has asked about is there as well.
    return Path(f"/proc/{process}/stat").read_text().rsplit(")", 1)[1].split()[0] != "Z"


LISTEN = """
    import signal, sys
    from monitor.sources import Microphone, child
    child.COMMAND = {command!r}
    signal.signal(signal.SIGINT, signal.default_int_handler)
    with Microphone("usb microphone") as microphone:
        print(microphone._child.pid, flush=True)
        for block in microphone.blocks():
            pass
"""


@pytest.mark.usefixtures("stage")
@pytest.mark.parametrize("how", [[signal.SIGKILL], [signal.SIGTERM], [signal.SIGINT], [signal.SIGINT] * 2])
def test_the_process_never_outlives_its_parent(how: list[signal.Signals]):
    """However the parent ends, killed, asked or by Ctrl-C, the process that captures ends with it."""
    from monitor.sources.child import COMMAND  # noqa: PLC0415 - as the stage has set it

    script = textwrap.dedent(LISTEN).format(command=COMMAND)
    pipe = subprocess.PIPE
    with subprocess.Popen([sys.executable, "-c", script], stdout=pipe, stderr=pipe, text=True) as parent:
        assert parent.stdout is not None
        child = int(parent.stdout.readline())
        assert alive(child)
        for which in how:
            parent.send_signal(which)
        parent.wait(timeout=60)
        parent.communicate()
    end = time.monotonic() + 60.0
    while alive(child):
        assert time.monotonic() < end
        time.sleep(0.05)


# --- trouble --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("rate", "said"),
    [
        (None, r"cannot listen to Built-in at 44100 Hz \(Device busy \[-9985\]\): see that it is there"),
        (12345, r"cannot listen to Built-in at 12345 Hz .*: leave the rate at its own 44100 Hz"),
    ],
)
def test_a_refused_stream_is_one_line(stage: Stage, rate: int | None, said: str):
    """A microphone that does not open is a SoundError with PortAudio's reason and what to do."""
    stage.tell(refuses="Device busy\n [-9985]")
    with pytest.raises(SoundError, match=said) as caught, Microphone(rate=rate):
        pass
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("error", "said"),
    [
        (("OSError", "PortAudio library not found"), "PortAudio is missing.*apt-get install libportaudio2"),
        (
            ("RuntimeError", "Error initializing\nPortAudio"),
            r"does not start \(Error initializing PortAudio\)",
        ),
    ],
)
def test_without_portaudio_there_is_one_clear_line(stage: Stage, error: tuple[str, str], said: str):
    """A machine without PortAudio gets a SoundError that says how to install it."""
    stage.tell(fails=error)
    with pytest.raises(SoundError, match=said) as caught:
        microphones()
    assert "\n" not in str(caught.value)


def test_a_process_that_does_not_answer_is_said(monkeypatch: pytest.MonkeyPatch):
    """A process that ends without a word, and one that says nothing, are each one line."""
    monkeypatch.setattr("monitor.sources.child.COMMAND", (sys.executable, "-c", ""))
    with pytest.raises(SoundError, match="ended at once"):
        Microphone()
    monkeypatch.setattr("monitor.sources.child.COMMAND", (sys.executable, "-c", "input()"))
    monkeypatch.setattr("monitor.sources.child._PATIENCE", 0.3)
    with pytest.raises(SoundError, match="does not answer: start it anew"):
        Microphone()


def test_nothing_heavy_is_loaded_at_the_start():
    """Importing the sources loads neither PortAudio nor libsndfile nor scipy."""
    script = (
        "import sys, monitor.sources, monitor.journal, monitor.linefeed, monitor.testing\n"
        "heavy = {'sounddevice', 'soundfile', 'scipy', 'matplotlib', 'pydantic', 'platformdirs'}\n"
        "sys.exit(', '.join(heavy & set(sys.modules)) or 0)"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")


def test_nothing_heavy_is_loaded_by_the_process_that_captures():
    """It is started anew at each search, and does without numpy and what analyses sound."""
    script = (
        "import sys, sounddevice, monitor.capture.__main__\n"
        "heavy = {'numpy', 'scipy', 'analysis', 'click', 'monitor.sources'}\n"
        "sys.exit(', '.join(heavy & set(sys.modules)) or 0)"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=False)
    assert done.returncode == 0 or "PortAudio" in done.stderr, done.stderr
