"""
From the onset of a slip in the sound to the bytes that an action sends, through a real audio stack.

    python tests/benchmarks/bench_onset.py [TIMES]

Simulated cuts in which the bit slips, each another one, are played into a PulseAudio server of the
benchmark's own. ``chipsong watch`` hears them through PortAudio and ALSA, with actions: bytes to a serial
port (a pseudo-terminal) and a command, which are timed at their far end, and a web server that never answers,
a broker that lets everybody in and never answers, and one that is dead. The table says how long after the
onset the bytes come, how long after it replay of the same file gives the alarm, and what is between; that is
to be 0.25 s at most for 95 of 100. The full form (24 times, ten minutes) is kept in
``tests/benchmarks/results/onset.md``. The exit status is 1 when an alarm was missed, or comes too late.

When a sample sounds is told by another recorder, which gets every 10 ms what the sink played: no fragment can
come before its last sample has sounded, and the promptest of a whole recording is taken to have come just
then. So a sample may have sounded up to 10 ms earlier than is counted. The time of day in the file system,
by which the command is timed, goes in steps of some 4 ms.
"""

import os
import select
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray

# The sound server and what actions reach are the tests' own.
sys.path.insert(0, str(Path(__file__).parents[1] / "monitor"))

from contract import BIT
from live_watch import Watch
from receivers import HERE, Line, free_port, serial_line, silent_server
from sound_server import SINK, SoundServer, missing

from analysis.events import Alarm
from analysis.program import read
from monitor.journal import runs
from monitor.setup import Wanted, make_listener
from recordings_synthetic import record
from recordings_synthetic.faults import Slip
from recordings_synthetic.job import BITS, Tray, one_outline
from recordings_synthetic.make import BRISK, MICROPHONE
from recordings_synthetic.room import Shop

RATE = 48_000
FULL = 24
FIRST_SEED = 12
MOST = 0.25  # s that may be between
PROBE = slice(4800, 5280)  # the samples by which a cut is found again; a sink may swallow its first ones
RESULTS = Path(__file__).parent / "results" / "onset.md"

ACTIONS = """
[[action]]
name = "pause"
kind = "serial"
port = "{line}"
baud = 115200
text = "ALARM"
on = ["alarm"]

[[action]]
name = "note"
kind = "command"
run = ["/bin/sh", "-c", ": > {note}"]
on = ["alarm"]

[[action]]
name = "hook that hangs"
kind = "http"
url = "http://{here}:{silent}"
limit = 60

[[action]]
name = "broker that hangs"
kind = "mqtt"
host = "{here}"
port = {silent}
topic = "t"
limit = 60

[[action]]
name = "broker that is dead"
kind = "mqtt"
host = "{here}"
port = {dead}
topic = "t"
limit = 60
"""


@dataclass(frozen=True)
class Slipped:
    """A cut in which the bit slips: its program, its sound, when it slips, when replay alarms, s."""

    program: str
    samples: NDArray[np.int16]
    onset: float
    alarm: float


@dataclass(frozen=True)
class Times:
    """How long after the onset bytes and the command were there, and how late the alarm itself was, s."""

    replay: float
    serial: float
    command: float
    own: float


@dataclass
class Recorder:
    """What a prompt recorder got: two channels alike; how many samples there were by when."""

    sound: bytearray = field(default_factory=bytearray)
    reads: list[tuple[int, float]] = field(default_factory=list)

    def sounded(self, cut: Slipped) -> float:
        """Return when the first sample of a cut sounded, by `time.monotonic`."""
        first = place(np.frombuffer(bytes(self.sound), np.int16)[::2], cut)
        return min(at - (count - first) / RATE for count, at in self.reads if count > first)


def main(times: int) -> int:
    """Print the table; return 1 when an alarm was missed or too late."""
    if absent := missing():
        sys.exit(f"the real audio stack is not installed here: {absent}")
    timed = [timed_once(slipped(FIRST_SEED + number)) for number in range(times)]
    table = report(timed)
    print(table)
    if times >= FULL:
        RESULTS.write_text(table)
    came = [each for each in timed if each]
    return int(len(came) < times or float(np.percentile([t.serial - t.replay for t in came], 95)) > MOST)


def slipped(seed: int) -> Slipped:
    """Return a cut in which the bit slips, as the shipped one is made, and when replay alarms."""
    text = one_outline(Tray("tray", 12, 12, side=81.0))
    program = read(text, "slip")
    fault = Slip(at=9.4, severity=0.5)
    shop = Shop(microphone=MICROPHONE)
    made = record(program, BITS, seed=seed, rate=RATE, fault=fault, shop=shop, machine=BRISK)
    samples = np.rint(made.samples * 32767.0).astype(np.int16)
    wanted = Wanted(speed=float(BIT[1]), flutes=int(BIT[3]), diameter=6.0)
    listener = make_listener(RATE, program, wanted, Path("/nowhere"), lambda _: None)
    said = listener.hear(samples.astype(np.float32) / 32768.0).events
    alarms = [event.at for event in said if isinstance(event, Alarm)]
    if not alarms or made.truth.onset is None or alarms[0] < made.truth.onset:
        sys.exit(f"replay does not hear the slip of seed {seed}: it can't be timed")
    return Slipped(text, samples, made.truth.onset, alarms[0])


def timed_once(cut: Slipped) -> Times | None:
    """Play a cut to `chipsong watch`; return how long things took, ``None`` when no alarm came."""
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="chipsong-")))
        server = SoundServer(folder)
        server.start()
        stack.callback(server.stop)
        line, silent = stack.enter_context(serial_line()), stack.enter_context(silent_server())
        home = folder / "chipsong"
        home.mkdir()
        (home / "actions.toml").write_text(
            ACTIONS.format(line=line.port, note=folder / "note", here=HERE, silent=silent, dead=free_port())
        )
        (folder / "cut.ngc").write_text(cut.program)
        soundfile.write(folder / "cut.wav", cut.samples, RATE, subtype="PCM_16")
        words = ("--program", folder / "cut.ngc", *BIT, "--rate", RATE)
        # First, for each new recorder changes when the server hands out what was played.
        recorder = stack.enter_context(recording(server.env))
        watch = stack.enter_context(Watch(server.env | {"CHIPSONG_HOME": str(home)}, *words))
        watch.wait_for("deaf")  # it listens to silence, and what hangs does so from now on
        player = subprocess.Popen(["paplay", f"--device={SINK}", folder / "cut.wav"], env=server.env)
        serial = first_bytes(line, len(cut.samples) / RATE + 5.0)
        player.wait()
        watch.ask_to_end()
        watch.ended()
        if serial is None:
            return None
        sounded = recorder.sounded(cut)
        noted = (folder / "note").stat().st_mtime - (time.time() - time.monotonic())
        onset = sounded + cut.onset
        times = Times(cut.alarm - cut.onset, serial - onset, noted - onset, own_alarm(home, cut) - cut.onset)
        print(times, flush=True)
        return times


def own_alarm(home: Path, cut: Slipped) -> float:
    """Return when the run itself alarmed, in s from the first sample of the cut."""
    (run,) = runs(home)
    kept = np.rint(np.nan_to_num(run.sound()) * 32768.0).astype(np.int16)
    (alarm,) = [event.at for event in run.events() if event.name == "alarm"][:1]
    return alarm - place(kept, cut) / RATE


def place(sound: NDArray[np.int16], cut: Slipped) -> int:
    """Return the number of the sample with which a cut begins in a sound."""
    at = sound.tobytes().find(cut.samples[PROBE].tobytes())
    if at < 0 or at % 2:
        raise ValueError("what was played is not in what was recorded")
    return at // 2 - PROBE.start


def first_bytes(line: Line, seconds: float) -> float | None:
    """Wait for bytes at the far end; return when they came, ``None`` when none did."""
    if not select.select([line.far], [], [], seconds)[0]:
        return None
    came = time.monotonic()
    if not b"ALARM".startswith(os.read(line.far, 5)):
        raise ValueError("other bytes came than were to be sent")
    return came


@contextmanager
def recording(env: dict[str, str]) -> Iterator[Recorder]:
    """Record what the sink plays, promptly."""
    words = ["parec", f"--device={SINK}.monitor", "--latency-msec=10", "--format=s16le", "--raw"]
    got = Recorder()
    with subprocess.Popen(
        [*words, "--channels=2", f"--rate={RATE}"], env=env, stdout=subprocess.PIPE
    ) as recorder:
        assert recorder.stdout is not None
        pipe = recorder.stdout.fileno()

        def take() -> None:
            while came := os.read(pipe, 65536):
                got.sound += came
                got.reads.append((len(got.sound) // 4, time.monotonic()))

        thread = threading.Thread(target=take)
        thread.start()
        try:
            while not got.reads:
                time.sleep(0.01)
            yield got
        finally:
            recorder.send_signal(signal.SIGTERM)
            thread.join()


def report(timed: list[Times | None]) -> str:
    """Return the table, as Markdown."""
    came = [each for each in timed if each]
    columns = {
        "from the onset to the alarm that replay gives": [t.replay for t in came],
        "from the onset to the bytes at the far end of the serial port": [t.serial for t in came],
        "**the bytes later than replay's alarm**": [t.serial - t.replay for t in came],
        "the command later than replay's alarm": [t.command - t.replay for t in came],
        "the bytes later than the moment of sound that decided (how late hearing and acting are)": [
            t.serial - t.own for t in came
        ],
    }
    load = os.getloadavg()[2]
    head = f"""# From the onset in the sound to the action, live

Written by `python tests/benchmarks/bench_onset.py {len(timed)}`, which tells how it is measured.
{len(came)} of {len(timed)} simulated slips gave an alarm live. Beside the serial port and the command a web
server and a broker hung, and a broker was dead. The machine's load was {load:.1f} on {os.cpu_count()} cores.
When a sample sounds is known within 10 ms; live windows lie elsewhere in the sound than those of replay.

| s | least | median | 95 % | most |
|---|---|---|---|---|
"""
    return head + "".join(
        f"| {name} | " + " | ".join(f"{v:.2f}" for v in np.percentile(values, [0, 50, 95, 100])) + " |\n"
        for name, values in columns.items()
    )


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else FULL))
