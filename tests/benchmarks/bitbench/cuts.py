"""Runs of one bit: short jobs of several kinds, in a shop that stays and with noise that does not."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from hearing import programs, shops
from hearing.programs import Job

from analysis.cutting import Bit
from analysis.listener import Listener
from analysis.locate import Plan
from analysis.place import SoundLocator
from analysis.program import Program, read
from analysis.reference import Reference
from analysis.watcher import Watcher
from recordings_synthetic import Fault, Recording, Shop, Slip, record

RATE = 32_000
TOOL = 2
_JOBS = (programs.slots, programs.both_ways, programs.corners, programs.tabs, programs.deep_first)
_NOISES = (
    shops.quiet,
    shops.blows,
    shops.machine("extractor"),
    shops.throughout("extractor"),
    shops.chat(shops.QUIETER),
    shops.machine("sander"),
    shops.throughout("rain"),
    shops.busy,
)
# Levels of two runs lie up to so far apart, dB.
_APART = 6.0
_END = "M5\nG0 X0 Y0\nM30\n"


@dataclass(frozen=True, eq=False)
class Cut:
    """A run: its program, and what a microphone heard of it."""

    program: Program
    bits: Mapping[int, Bit]
    heard: Recording

    def listener(
        self, references: Mapping[int, Reference] | None = None, watcher: type[Watcher] = Watcher
    ) -> Listener:
        """Return a listener for it."""
        bits = {**self.bits, 0: self.bits[TOOL]}
        place = SoundLocator(Plan.of(self.program, bits))
        return Listener(RATE, bits, place, references=references or {}, watcher=watcher)


def cut(seed: int, *, seconds: float, shop_seed: int, severity: tuple[float, float], when: str) -> Cut:
    """
    Return a run of about so many ``seconds`` of cutting.

    Parameters
    ----------
    seed
        Where its job, its noise and its level come from.
    seconds
        How long it cuts.
    shop_seed
        Where the walls and the microphone's place come from.
    severity
        Between which a slip's lies.
    when
        ``never``, ``start`` or ``late`` (at three fifths of the job) the bit comes loose.
    """
    rng = np.random.default_rng(seed)
    job = _JOBS[int(rng.integers(len(_JOBS)))](rng)
    text = _shortened(job, seconds)
    program = read(text, "job")
    noise = _NOISES[int(rng.integers(len(_NOISES)))](rng)
    shop = replace(noise, room=_room(shop_seed))
    heard = record(
        program, job.bits, seed=seed, rate=RATE, shop=shop, fault=_slip(program, severity, when, rng)
    )
    gain = 10.0 ** (rng.uniform(-_APART / 2.0, _APART / 2.0) / 20.0)
    louder = np.clip(heard.samples * np.float32(gain), -1.0, 1.0)
    return Cut(program, job.bits, Recording(louder, heard.rate, heard.truth))


def _shortened(job: Job, seconds: float) -> str:
    """Return the beginning of a job that cuts for about so long, ended above the work."""
    program = read(job.text, "job")
    plan = Plan.of(program, {**job.bits, 0: job.bits[TOOL]})
    done = np.cumsum(np.where(plan.cuts, plan.times.end - plan.times.begin, 0.0))
    enough = int(np.searchsorted(done, seconds))
    if enough >= len(done):
        return job.text
    lines = job.text.splitlines()
    last = int(program.moves.file_line[enough])
    end = next((number for number, line in enumerate(lines) if number >= last and line == "G0 Z6"), None)
    return job.text if end is None else "\n".join(lines[: end + 1]) + f"\n{_END}"


def _slip(
    program: Program, severity: tuple[float, float], when: str, rng: np.random.Generator
) -> Fault | None:
    bad, rise, moves = rng.uniform(*severity), rng.uniform(0.05, 0.4), program.moves
    if when == "never":
        return None
    if when == "start":
        return Slip.from_the_start(severity=bad)
    below = np.flatnonzero((moves.speed > 0) & (moves.feed > 0) & (moves.length > 0))
    return Slip(int(moves.file_line[below[len(below) * 3 // 5]]), severity=bad, rise=rise)


def _room(seed: int) -> Shop:
    shop = shops.heard_by(Shop().microphone)(np.random.default_rng(seed))
    return shop.room  # type: ignore[return-value]
