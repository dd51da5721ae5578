"""Every fault of the catalogue is what it is called, by the simulator's own truth."""

import numpy as np
import pytest
from hearing.cases import Case
from hearing.faults import FAULTS
from hearing.perform import perform

SEED = 10_011


@pytest.mark.parametrize("number", FAULTS)
def test_drawn_faults(number):
    """A fault begins on the line that it is given, or with the job, and has the cause that it says."""
    kind = FAULTS[number]
    for seed in range(5):
        fault = kind.make(17, np.random.default_rng(seed))
        assert (fault.at == 0.0) if kind.where == "start" else (fault.at_line == 17)
        assert fault.cause == kind.cause


@pytest.mark.slow
@pytest.mark.parametrize("number", [number for number, kind in FAULTS.items() if kind.name == "slip, subtle"])
def test_subtle_slips_hardly_change_the_level(number):
    """A subtle slip changes the level of the cut by less than 1.5 dB, by the simulator's own sound."""
    well, wrong = perform(Case("development", 1, number, SEED))
    assert well.failed is None, well.failed
    assert well.fate is None
    assert 0.0 < wrong.fate.onset <= wrong.fate.half <= wrong.sound
    assert abs(wrong.fate.louder) < 1.5
