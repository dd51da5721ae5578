"""The process that captures, piece by piece; test_microphone.py has it whole."""

import io
import os
import subprocess
import sys
import threading

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.capture.__main__ import Outbox
from monitor.capture.wire import SOUND, Message, clock, read_message, told

MESSAGES = st.builds(
    Message,
    st.sampled_from([b"s", b"l", b"p"]),
    st.binary(max_size=50),
    st.floats(allow_nan=False),
    st.integers(0, 2**62),
)


@given(st.lists(MESSAGES), st.integers(0, 400))
def test_messages_come_out_as_they_went_in(messages: list[Message], cut: int):
    """What is packed is read again; where the stream breaks off, what was whole before it is read."""
    packed = b"".join(message.packed() for message in messages)
    stream = io.BytesIO(packed)
    assert [read_message(stream.read) for _ in messages] == messages
    assert read_message(stream.read) is None
    broken = io.BytesIO(packed[:cut])
    whole = []
    while (message := read_message(broken.read)) is not None:
        whole.append(message)
    assert whole == messages[: len(whole)]
    assert sum(len(message.packed()) for message in whole) <= cut


def test_json_is_told():
    """A message may hold JSON."""
    assert told(b"d", [{"name": "Mikrofon für alles"}]).told == [{"name": "Mikrofon für alles"}]


def test_both_processes_share_the_clock():
    """The clock goes on, and another process reads the same."""
    before = clock()
    script = "from monitor.capture.wire import clock; print(clock())"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert before < float(done.stdout) < clock()


def test_beyond_its_room_sound_is_dropped_and_words_are_not():
    """Samples for which there is no room are dropped, the newest first; whatever else is said waits."""
    read, write = os.pipe()
    outbox = Outbox(write, room=3)
    for first in range(5):
        outbox.put_sound(Message(SOUND, b"1234", first=first))
    outbox.put(told(b"p", None))
    threading.Thread(target=outbox.write_all, daemon=True).start()
    with open(read, "rb") as pipe:  # noqa: PTH123 - a number
        got = [read_message(pipe.read) for _ in range(4)]
        assert [message and (message.kind, message.first) for message in got] == [
            (b"s", 0),
            (b"s", 1),
            (b"s", 2),
            (b"p", 0),
        ]


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_writing_ends_when_nobody_reads():
    """A pipe whose other end is closed ends the writing, and with it the process."""
    read, write = os.pipe()
    outbox = Outbox(write, room=3)
    os.close(read)
    outbox.put_sound(Message(SOUND, b"1234"))
    with pytest.raises(BrokenPipeError):
        outbox.write_all()
    os.close(write)
