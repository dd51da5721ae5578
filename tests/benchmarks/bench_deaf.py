"""
How soon `chipsong watch` says that it is deaf, and that it hears again, through a real audio stack.

Run it from the top of the project: ``python tests/benchmarks/bench_deaf.py [PART OF A NAME]``. It starts
PulseAudio servers of its own, does to them what can go wrong (`tests/monitor/deaf_cases.py`), and prints a
table. It takes about three minutes.
"""

import sys
import tempfile
from pathlib import Path

# The cases are the tests' own.
sys.path.insert(0, str(Path(__file__).parents[1] / "monitor"))

from deaf_cases import CASES, Case, Times, time_case
from sound_server import SoundServer, missing


def timed(case: Case) -> Times:
    """Play a case with a sound server of its own."""
    with tempfile.TemporaryDirectory(prefix="chipsong-") as folder:
        server = SoundServer(Path(folder))
        server.start()
        try:
            return time_case(case, server, Path(folder))
        finally:
            server.stop()


def main() -> None:
    """Print the table."""
    if absent := missing():
        sys.exit(f"the real audio stack is not installed here: {absent}")
    print("| case | deaf after, s | heard again after, s | clock off by, s | said |\n|---|---|---|---|---|")
    for case in CASES:
        if not any(part in case.name for part in sys.argv[1:] or [""]):
            continue
        times = timed(case)
        print(
            f"| {case.name} | {times.deaf:.1f} | {times.heard:.1f} | {times.clock:+.2f} | {times.because} |",
            flush=True,
        )


if __name__ == "__main__":
    main()
