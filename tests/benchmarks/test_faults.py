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
@pytest.mark.timeout(900)
@pytest.mark.parametrize("number", FAULTS)
def test_faults_can_be_heard(number):
    """A run with the fault is simulated and heard, with the truth beside it; subtle ones are subtle."""
    kind = FAULTS[number]
    well, wrong = perform(Case("development", 1, number, SEED))
    assert well.failed is None, well.failed
    assert well.fate is None
    fate = wrong.fate
    assert fate.cause == kind.cause
    assert 0.0 < fate.onset <= fate.half <= wrong.sound
    assert set(well.scores) == set(wrong.scores)
    assert wrong.cutting <= well.cutting
    if kind.name == "slip, subtle":
        assert abs(fate.louder) < 1.5
