"""
How soon a gain that moves by itself is noticed while listening, and whether one that does not is called so.

    python tests/benchmarks/bench_gain.py [JOBS]

Simulated jobs, twice in each of 18 kinds of shops (the first JOBS of them), are heard as they are, and
with an automatic gain laid over them: a quick one, a usual one, a slow one. It takes about five minutes. Its
seeds (``judges.GAIN``) are run by this command alone, and nothing was chosen by what they show.
"""

import os
import sys
from dataclasses import replace

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

import numpy as np  # noqa: E402 - after the number of threads is set
from hearing.conditions import SHOPS, Condition  # noqa: E402
from hearing.programs import Job  # noqa: E402
from judges import GAIN  # noqa: E402
from numpy.typing import NDArray  # noqa: E402

from analysis.listener import Listener  # noqa: E402
from analysis.locate import Nowhere  # noqa: E402
from analysis.program import read  # noqa: E402
from recordings_synthetic import record  # noqa: E402
from recordings_synthetic.room.gain import AutomaticGain, SelfSetting  # noqa: E402

Singles = NDArray[np.float32]

RATE = 32_000

GAINS = {
    "none": None,
    "quick: back in 0.5 s": AutomaticGain(target=-20.0, attack=0.02, release=0.5),
    "usual: back in 1.2 s": AutomaticGain(),
    "slow: back in 4 s": AutomaticGain(target=-24.0, attack=0.1, release=4.0),
}


def main(jobs: int) -> None:
    """Print the table."""
    told: dict[str, list[float]] = {name: [] for name in GAINS}
    heard = 0.0
    for number in range(jobs):
        job, sound = cut(SHOPS[number % len(SHOPS)], GAIN.start + number)
        heard += len(sound) / RATE
        for name, gain in GAINS.items():
            when = told_after(sound if gain is None else ridden(sound, gain), job)
            told[name] += [] if when is None else [when]
    print(
        f"{jobs} jobs, {heard / 3600:.2f} h\n\n| automatic gain | told in | after, s, median |\n|---|---|---|"
    )
    for name, times in told.items():
        median = f"{np.median(times):.0f}" if times else ""
        print(f"| {name} | {len(times)} of {jobs} | {median} |")


def cut(condition: Condition, seed: int) -> tuple[Job, Singles]:
    """Return a job, and how it sounds in a shop through a microphone without a gain of its own."""
    rng = np.random.default_rng(seed)
    job, shop = condition.job(rng), condition.shop(rng)
    shop = replace(shop, microphone=replace(shop.microphone, gain=None))
    return job, record(read(job.text, "job"), job.bits, seed=seed, rate=RATE, shop=shop).samples


def told_after(sound: Singles, job: Job) -> float | None:
    """Return after how long it is told, s; ``None`` when it is not."""
    listener = Listener(RATE, job.known, Nowhere())
    for at in range(0, len(sound), RATE):
        listener.hear(sound[at : at + RATE])
        if listener.pumps:
            return listener.at
    return None


def ridden(samples: Singles, gain: AutomaticGain) -> Singles:
    """Return a sound with an automatic gain laid over it."""
    ride = SelfSetting(gain, RATE)
    blocks = [ride(samples[at : at + RATE].astype(np.float64)) for at in range(0, len(samples), RATE)]
    return np.clip(np.concatenate(blocks), -1.0, 1.0).astype(np.float32)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 2 * len(SHOPS))
