"""
What capturing costs, through a real audio stack.

Run it from the top of the project: ``python tests/benchmarks/bench_capture.py [SECONDS]``. It starts a
PulseAudio server of its own, listens to it at 48 kHz, and prints the share of a core that the process which
captures and this one take for it, with nothing done with the sound.
"""

import os
import sys
import tempfile
import time
from pathlib import Path

# The sound server is the tests' own.
sys.path.insert(0, str(Path(__file__).parents[1] / "monitor"))

from sound_server import SoundServer, missing

from monitor.sources import Microphone

RATE = 48_000


def processor_time(process: int) -> float:
    """Return the processor time that a process has taken, s."""
    fields = Path(f"/proc/{process}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def measure(seconds: float) -> None:
    """Listen for some seconds and print what it takes."""
    start = time.perf_counter()
    with Microphone(None, RATE) as microphone:
        print(f"microphone open: {time.perf_counter() - start:.2f} s")
        blocks = microphone.blocks()
        while next(blocks) is None:
            pass
        print(f"first sound: {time.perf_counter() - start:.2f} s")
        child = microphone._child  # noqa: SLF001 - whose cost is measured
        assert child is not None
        before, begun = (processor_time(child.pid), time.process_time()), time.perf_counter()
        samples = lost = 0
        while time.perf_counter() - begun < seconds:
            if (block := next(blocks)) is not None:
                samples, lost = samples + len(block.samples), lost + block.lost
        taken = time.perf_counter() - begun
        there, here = processor_time(child.pid) - before[0], time.process_time() - before[1]
    print(f"{samples} samples in {taken:.1f} s, {lost} lost")
    print(f"the process that captures: {100 * there / taken:.2f} % of a core")
    print(f"the process that listens: {100 * here / taken:.2f} % of a core")


def main() -> None:
    """Print what is measured."""
    if absent := missing():
        sys.exit(f"the real audio stack is not installed here: {absent}")
    with tempfile.TemporaryDirectory(prefix="chipsong-") as folder:
        server = SoundServer(Path(folder))
        server.start()
        os.environ.update(server.env)
        try:
            measure(float(sys.argv[1]) if len(sys.argv) > 1 else 30.0)
        finally:
            server.stop()


if __name__ == "__main__":
    main()
