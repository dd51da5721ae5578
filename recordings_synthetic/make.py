"""
Make the shipped examples: ``python -m recordings_synthetic.make [FOLDER]``.

Everything here is INVENTED. The recordings are computed from seeds by this package's simulator; no machine
and no bit was recorded, and what the slip sounds like is a hypothesis (see ``faults``). They show what the
tools do with a recording and its program; they prove nothing about real bits.

====================== ==================================================================================
``seedling_trays``     the whole demo job (program only): 3 trays, 2 stands, 3 bits
``tight_outline``      a tray's outline; all is well
``slip_outline``       a tray's outline; the compression bit slips in mid-cut
``collector_switches_on``  a stand's outline; a dust collector switches on in mid-cut; all is well
====================== ==================================================================================

Beside each recording (``.flac``, mono, 24 kHz, 16 bit) lie the program that was cut (``.ngc``) and the truth
(``.json``, see ``truth.Truth``): when each line really began and ended, and when the bit slipped. In the
short ones the bit is changed within half a second, as if it had been in already.
"""

import argparse
from dataclasses import dataclass
from pathlib import Path

from analysis.program import read
from recordings_synthetic.faults import Fault, Slip
from recordings_synthetic.job import BITS, Stand, Tray, one_outline, seedling_trays
from recordings_synthetic.machine import Gantry
from recordings_synthetic.record import Recording, record
from recordings_synthetic.room import Microphone, Shop
from recordings_synthetic.shop import ShopSound

HERE = Path(__file__).parent
RATE = 24000
MICROPHONE = Microphone(bits=16, high=10000.0)
BRISK = Gantry(lead=(0.3, 0.5), stop=(0.3, 0.5), tail=0.8)


@dataclass(frozen=True)
class Case:
    """A short example: what is cut, from which seed, what goes wrong, what else sounds."""

    name: str
    part: Tray | Stand
    seed: int
    fault: Fault | None = None
    sounds: tuple[ShopSound, ...] = ()

    @property
    def program(self) -> str:
        """The program that is cut."""
        return one_outline(self.part)


CASES = (
    Case("tight_outline", Tray("tray", 12, 12, side=80.0), seed=11),
    Case("slip_outline", Tray("tray", 12, 12, side=81.0), seed=12, fault=Slip(at=9.4, severity=0.5)),
    Case(
        "collector_switches_on",
        Stand("stand", 70, 70, radius=52.0),
        seed=13,
        sounds=(ShopSound("collector", begin=9.0, level=-30.0, seed=1),),
    ),
)


def perform(case: Case) -> Recording:
    """Return the recording of a case."""
    shop = Shop(sounds=case.sounds, microphone=MICROPHONE)
    program = read(case.program, case.name)
    return record(program, BITS, seed=case.seed, rate=RATE, fault=case.fault, shop=shop, machine=BRISK)


def make(folder: Path) -> list[Path]:
    """Write all examples into a folder and return what was written."""
    import soundfile  # noqa: PLC0415 - needs a library of the system, and only writing needs it

    folder.mkdir(parents=True, exist_ok=True)
    written = [folder / "seedling_trays.ngc"]
    written[0].write_text(seedling_trays(), encoding="ascii")
    for case in CASES:
        made = perform(case)
        program, truth, sound = (folder / f"{case.name}.{kind}" for kind in ("ngc", "json", "flac"))
        program.write_text(case.program, encoding="ascii")
        truth.write_text(made.truth.to_json() + "\n", encoding="ascii")
        soundfile.write(sound, made.samples, RATE, format="FLAC", subtype="PCM_16")
        written += [program, truth, sound]
    return written


def main() -> None:
    """Make the examples and say where they are."""
    parser = argparse.ArgumentParser(description="Make the invented recordings that are shipped.")
    parser.add_argument(
        "folder", nargs="?", type=Path, default=HERE, help="where to (default: beside this file)"
    )
    for path in make(parser.parse_args().folder):
        print(path)  # noqa: T201 - a command's answer


if __name__ == "__main__":
    main()
