"""
How fast sound is heard, how soon, in how much memory, and how that grows; against what anyone can rerun.

Run it from the top of the project::

    python tests/benchmarks/bench_speed.py [--quick] [-o TABLE.md]

The full form takes some ten minutes of one core and writes its table to
``tests/benchmarks/results/speed.md``; the README shows its first rows. ``--quick`` does all of it on little
sound, for its figures are rough, and writes only where it is told to. The yardsticks are the bare windowed
``scipy.fft.rfft`` of the same sound and librosa's mel cepstra of it; for starting, Python itself and the
libraries that hearing needs.
"""

import argparse
import os
import platform
import sys
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial
from pathlib import Path

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

import numpy as np  # noqa: E402 - after the number of threads is set
import soundfile  # noqa: E402
from pacing import growth, sounds, started  # noqa: E402
from pacing.chain import bit_by_bit, live, replay  # noqa: E402
from pacing.table import Heard, Measured, Started, report  # noqa: E402
from pacing.yardsticks import bare, cepstra, first_call, least, windows  # noqa: E402

from analysis.cutting import Bit  # noqa: E402
from analysis.locate import Plan  # noqa: E402
from analysis.program import read  # noqa: E402
from recordings_synthetic.job import TRAYS, one_outline, seedling_trays  # noqa: E402

KEPT = Path(__file__).parent / "results" / "speed.md"


@dataclass(frozen=True)
class Form:
    """
    How much is measured.

    Attributes
    ----------
    turns
        How often each piece of work is done; the least counts.
    cut
        Seconds of the made-up cut.
    program
        Of the job that is simulated.
    times
        How often the job is cut in the runs that tell how costs grow with length.
    lines
        Of the programs that tell how costs grow with size.
    """

    turns: int
    cut: float
    program: str
    times: tuple[int, ...]
    lines: tuple[int, ...]


FULL = Form(3, 120.0, seedling_trays(), (3, 14, 140), (1_000, 10_000, 100_000, 1_000_000))
QUICK = Form(1, 4.0, one_outline(TRAYS[0]), (1, 2), (300, 3_000))


def main(words: list[str]) -> int:
    """Measure all, print the table, and write it."""
    parser = argparse.ArgumentParser(description="How fast sound is heard.")
    parser.add_argument("--quick", action="store_true", help="on little sound, within seconds")
    parser.add_argument("-o", "--out", type=Path, help="where the table is written")
    asked = parser.parse_args(words)
    with tempfile.TemporaryDirectory() as folder:
        found = measure(Path(folder), QUICK if asked.quick else FULL)
    command = f"python tests/benchmarks/bench_speed.py{' --quick' if asked.quick else ''}"
    busy = os.getloadavg()[0]
    machine = (
        f"{os.cpu_count()} cores ({platform.machine()}) that others used too: load {busy:.1f} at the end"
    )
    text = report(found, command, machine)
    print(text)
    if out := asked.out or (None if asked.quick else KEPT):
        out.write_text(text)
    return 0


def measure(folder: Path, form: Form) -> Measured:
    """Measure all that the table tells."""
    cut = sounds.cut(form.cut)
    cuts = sounds.on_disk(folder, "cut", cut)
    jobs = sounds.on_disk(folder, "job", sounds.job(form.program))
    program = folder / "job.ngc"
    program.write_text(form.program)
    compiled = first_call(cut[: sounds.RATE], *windows(sounds.RATE, sounds.ONE_BIT))
    plan = Plan.of(read(form.program, "job"), sounds.JOB_BITS)
    plain = hearing(cuts, sounds.ONE_BIT, None, form.turns)
    followed = hearing(jobs, sounds.JOB_BITS, plan, form.turns)
    return Measured(
        replays=(plain["replay"], followed["replay"]),
        lives=tuple(each[how] for how in ("live", "bit by bit") for each in (plain, followed)),
        starts=starting(folder, form.turns),
        lengths=[growth.length(jobs, times, program) for times in form.times],
        sizes=[growth.size(cuts, lines) for lines in form.lines],
        compiled=compiled,
    )


def hearing(path: Path, bits: Mapping[int, Bit], plan: Plan | None, turns: int) -> dict[str, Heard]:
    """Return what it costs to hear a recording, and the same sound live."""
    sound, rate = soundfile.read(path, dtype=np.float32)
    costs = least(
        [
            partial(replay, path, bits, plan),
            partial(live, sound, rate, bits, plan),
            partial(bit_by_bit, sound, rate, bits, plan),
            partial(bare, sound, *windows(rate, bits)),
            partial(cepstra, sound, *windows(rate, bits)),
        ],
        turns,
    )
    replayed, lived, piecemeal, transformed, compared = (cost * rate / len(sound) for cost in costs)
    what = "with its program" if plan else "without a program"
    return {
        "replay": Heard(f"replay at {rate / 1000:.0f} kHz {what}", replayed, transformed, compared),
        "live": Heard(f"live as `chipsong watch` hears {what}", lived, transformed, compared),
        "bit by bit": Heard(f"the same if blocks of 10 ms came {what}", piecemeal, transformed, compared),
    }


def starting(folder: Path, turns: int) -> tuple[Started, Started]:
    """Return how soon the help is there, and the first event of a replay."""
    words = (started.HELP, started.REPLAY, started.NOTHING, started.LIBRARIES)
    helped, replayed, nothing, libraries = started.soonest(words, folder, turns)
    return (
        Started("`chipsong --help`", helped, "Python itself", nothing),
        Started("`chipsong replay` to its first event", replayed, "loading its libraries", libraries),
    )


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
