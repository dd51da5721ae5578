"""How long commands take until they have said something, by the clock."""

import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path

from pacing.apart import TOP, environment

SHIPPED = TOP / "recordings_synthetic" / "slip_outline"
HELP = ("-m", "monitor", "--help")
REPLAY = ("-m", "monitor", "replay", f"{SHIPPED}.flac", "--program", f"{SHIPPED}.ngc")
NOTHING = ("-c", "print()")
LIBRARIES = ("-c", "import numpy, scipy.fft, soundfile; print()")


def first_line(words: Sequence[str], folder: Path) -> float:
    """Return how long, s, Python takes with these words until it has written its first line."""
    begin = time.perf_counter()
    command = [sys.executable, *words]
    env = environment() | {"CHIPSONG_HOME": str(folder)}
    with subprocess.Popen(command, env=env, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL) as process:
        assert process.stdout is not None
        assert process.stdout.readline(), f"{words} said nothing"
        taken = time.perf_counter() - begin
        process.kill()
    return taken


def soonest(all_words: Sequence[Sequence[str]], folder: Path, times: int) -> list[float]:
    """Return the least time of each, s; they take turns."""
    turns = [[first_line(words, folder) for words in all_words] for _ in range(times)]
    return [min(each) for each in zip(*turns, strict=True)]
