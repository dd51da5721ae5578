"""What several tests of the simulator share."""

import pytest
from simulated import RATE, SEED

from analysis.program import Program, read
from recordings_synthetic import Recording, Slip, record
from recordings_synthetic.job import BITS, Tray, one_outline


@pytest.fixture(scope="session")
def outline() -> Program:
    """A short program: one outline with the compression bit."""
    return read(one_outline(Tray("tray", 12, 12, side=40.0)), "outline")


@pytest.fixture(scope="session")
def slipped_line(outline: Program) -> int:
    """A file line in the middle of that outline."""
    return next(i for i, line in enumerate(outline.lines, start=1) if line == "G1 Y12")


@pytest.fixture(scope="session")
def healthy(outline: Program) -> Recording:
    """That outline, cut while all is well."""
    return record(outline, BITS, seed=SEED, rate=RATE)


@pytest.fixture(scope="session")
def slipped(outline: Program, slipped_line: int) -> Recording:
    """The same with a slip in mid-cut."""
    return record(outline, BITS, seed=SEED, rate=RATE, fault=Slip(at_line=slipped_line))
