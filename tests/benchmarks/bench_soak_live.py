"""
An hour of listening at real time, through a real audio stack: what is lost, and what it takes.

    python tests/benchmarks/bench_soak_live.py [MINUTES]

A simulated job is played over and over, with no pause, into a PulseAudio server of the benchmark's own;
``chipsong watch`` hears it through PortAudio and ALSA, on a terminal, with the job's program (which the first
round ends), and keeps the run with its sound, as it does when nothing else is said. Then every sample that it
kept is compared with what was played. With 60 minutes or more the table and a plot go to
``tests/benchmarks/results/``. The exit status is 1 when a sample was lost or changed, when less was kept
than was listened to, or when memory grew.
"""

import os
import shlex
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import pairwise
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

# The sound server is the tests' own.
sys.path.insert(0, str(Path(__file__).parents[1] / "monitor"))

from soaking.played import Played, Samples
from soaking.plot import draw
from soaking.terminal import OnTerminal
from soaking.usage import Look, machine, usage
from sound_server import SINK, SoundServer, missing

from analysis.program import read
from monitor.journal import Run, runs
from recordings_synthetic import record
from recordings_synthetic.job import BITS, seedling_trays

RATE = 48_000
EVERY = 10.0  # s between two looks at what it takes
START_UP = 60.0  # s that do not count: libraries are loaded, the program is read
GROWS = 3.0  # MB in the second half that are no growth yet
RESULTS = Path(__file__).parent / "results"

SHELF = """
[[bit]]
name = "{bit.name}"
diameter = "{bit.diameter}mm"
flutes = {bit.flutes}
kind = "{kind}"
speed = {bit.speed}
tool = {tool}
"""


def main(minutes: float) -> int:
    """Print the table; return 1 when a sample was lost or changed, too little was kept, or memory grew."""
    if absent := missing():
        sys.exit(f"the real audio stack is not installed here: {absent}")
    with tempfile.TemporaryDirectory(prefix="chipsong-") as folder:
        looks, played, run = soak(Path(folder), minutes)
        table = report(minutes, looks, played, run)
    print(table)
    out = RESULTS if minutes >= 60 else Path(tempfile.mkdtemp(prefix="chipsong-soak-"))
    (out / "soak.md").write_text(table)
    draw(out / "soak.png", looks)
    print(f"\nWritten into {out}")
    lost = played.strange + played.missing > 0 or too_short(played, minutes)
    return int(lost or growth(looks) > GROWS)


def soak(folder: Path, minutes: float) -> tuple[list[Look], Played, Run]:
    """Listen; return what it took, the comparison of sounds, and the run."""
    loop = prepare(folder)
    home = folder / "chipsong"
    server = SoundServer(folder)
    server.start()
    try:
        words = ("--program", str(folder / "job.ngc"), "--rate", str(RATE))
        with OnTerminal(server.env | {"CHIPSONG_HOME": str(home)}, *words) as watch:
            time.sleep(5.0)
            with playing(folder / "loop.raw", server.env):
                looks = list(look_at(watch, 60.0 * minutes))
    finally:
        server.stop()
    (run,) = runs(home)
    return looks, compared(run, loop), run


def compared(run: Run, loop: Samples) -> Played:
    """Return what became of a sound that is played over and over, from the first sample kept to the last."""
    played = Played(loop)
    for first in range(0, run.samples(), 30 * RATE):
        sound = np.nan_to_num(run.sound(first, first + 30 * RATE))
        played.take(np.rint(sound * 32768.0).astype(np.int16))
    played.end()
    return played


def too_short(played: Played, minutes: float) -> bool:
    """Return whether less was kept of what was played than the time that it was listened to."""
    return played.same < (60.0 * minutes - EVERY) * RATE


def prepare(folder: Path) -> Samples:
    """Write the shelf, the program and the sound; return the sound."""
    text = seedling_trays()
    sound = record(read(text, "job"), BITS, seed=1, rate=RATE).samples
    loop: NDArray[np.int16] = np.rint(sound * 32767.0).astype("<i2")
    (folder / "loop.raw").write_bytes(loop.tobytes())
    (folder / "job.ngc").write_text(text)
    (folder / "chipsong").mkdir()
    shelf = [SHELF.format(tool=tool, bit=bit, kind=bit.name.split()[-1]) for tool, bit in BITS.items()]
    (folder / "chipsong" / "bits.toml").write_text("".join(shelf))
    return loop


@contextmanager
def playing(loop: Path, env: dict[str, str]) -> Iterator[None]:
    """Play a sound over and over, without a pause."""
    play = f"pacat --raw --format=s16le --rate={RATE} --channels=1 --latency-msec=2000 --device={SINK}"
    again = f"while cat {shlex.quote(str(loop))}; do :; done | {play}"
    with subprocess.Popen(["sh", "-c", again], env=env, start_new_session=True) as player:
        try:
            yield
        finally:
            os.killpg(player.pid, 15)


def look_at(watch: OnTerminal, seconds: float) -> Iterator[Look]:
    """Look at what it takes, until the time is over."""
    begun, busy = time.monotonic(), machine()[0]
    while (at := time.monotonic() - begun) < seconds:
        if watch.ended:
            sys.exit("chipsong watch has ended")
        now = usage(watch.pid)
        yield Look(at, now.processor, now.own, now.children, machine()[0] - busy)
        time.sleep(EVERY)


def counted(looks: list[Look]) -> list[Look]:
    """Return the looks after the beginning."""
    return [look for look in looks if look.at >= START_UP]


def growth(looks: list[Look]) -> float:
    """Return by how much memory grows in the second half, MB: the straight line through it."""
    half = looks[len(looks) // 2 :]
    memory = [look.listening + look.capturing for look in half]
    slope = np.polyfit([look.at for look in half], memory, 1)[0]
    return float(slope) * (half[-1].at - half[0].at)


def quietest(looks: list[Look]) -> str:
    """Return what it took, and what all else took, while all else took least."""
    ends = counted(looks)[:: round(60.0 / EVERY)]
    spent = [(b.busy - a.busy, b.processor - a.processor, b.at - a.at) for a, b in pairwise(ends)]
    spent.sort(key=lambda minute: minute[0] - minute[1])
    busy, own, seconds = np.sum(spent[: max(1, len(spent) // 10)], axis=0)
    return f"{own / seconds:.1%} (all else {(busy - own) / seconds:.0%})"


def first_round(looks: list[Look], seconds: float) -> str:
    """Return what it took while the job's program was followed."""
    begin, *_, end = [look for look in counted(looks) if look.at <= max(seconds, 2.0 * START_UP)]
    return f"{(end.processor - begin.processor) / (end.at - begin.at):.1%}"


def report(minutes: float, looks: list[Look], played: Played, run: Run) -> str:
    """Return the table, as Markdown."""
    begin, *_, end = counted(looks)
    seconds = end.at - begin.at
    share = (end.processor - begin.processor) / seconds
    others = (end.busy - begin.busy) / seconds - share
    events = Counter(event.name for event in run.events())
    memory = [look.listening + look.capturing for look in counted(looks)]
    rows = {
        "samples kept": f"{played.before + played.same + played.strange}",
        "of them before the sound began": f"{played.before}",
        "of them the ones that were played": f"{played.same}",
        "played and not kept (lost)": f"{played.missing}",
        "kept and not played": f"{played.strange}",
        "processor time, both processes": f"{share:.1%} of one core",
        "the same, in the tenth of the minutes in which all else took least": quietest(looks),
        "the same, in the first round, while the place is followed": first_round(looks, played.size / RATE),
        "memory, both processes": f"{memory[0]:.0f} MB after a minute, {memory[-1]:.0f} MB at the end, "
        f"{max(memory):.0f} MB at most; {growth(looks):+.1f} MB in the second half",
        "what all else on the machine took meanwhile": f"{others:.0%} of one core, of {os.cpu_count()}",
        "alarms, deaf, heard again": f"{events['alarm']}, {events['deaf']}, {events['heard']}",
        "brought to its end with a summary": "yes" if run.closed else "no",
    }
    head = f"""# Live, at real time, for {minutes:g} minutes

Written by `python tests/benchmarks/bench_soak_live.py {minutes:g}`. A simulated job of
{played.size / RATE:.0f} s is played over and over at {RATE} Hz, and heard through PulseAudio, ALSA and
PortAudio, on a terminal. Its program ends with the first round, after which the place is unknown. All sound
is kept, and each sample compared with what was played. What it takes is told without the first minute;
`soak.png` draws it.

| | |
|---|---|
"""
    return head + "".join(f"| {what} | {how} |\n" for what, how in rows.items())


if __name__ == "__main__":
    sys.exit(main(float(sys.argv[1]) if len(sys.argv) > 1 else 60.0))
