"""The hour's comparison of what was kept with what was played must be able to fail, up to the last sample."""

from dataclasses import dataclass

import numpy as np
import pytest
from bench_soak_live import RATE, compared, too_short
from numpy.typing import NDArray

LOOP = np.random.default_rng(7).integers(-900, 900, 2 * RATE).astype(np.int16)
MINUTE = np.tile(LOOP, 30)
HALF = len(MINUTE) // 2


@dataclass
class Kept:
    """As much of a kept run as the comparison asks of it."""

    pcm: NDArray[np.int16]

    def samples(self) -> int:
        """Return how many were kept."""
        return len(self.pcm)

    def sound(self, first: int, last: int) -> NDArray[np.float32]:
        """Return some of them."""
        return self.pcm[first:last].astype(np.float32) / np.float32(32768.0)


def test_a_minute_kept_as_it_was_played_has_nothing_to_complain_of():
    """All is the same, and none is missing."""
    played = compared(Kept(MINUTE), LOOP)
    assert (played.strange, played.missing, played.same) == (0, 0, len(MINUTE))
    assert not too_short(played, 1.0)


@pytest.mark.parametrize(
    "kept",
    [
        np.concatenate([MINUTE[:HALF], MINUTE[HALF:] // 2]),
        np.concatenate([MINUTE[:HALF], np.zeros(HALF, np.int16)]),
        MINUTE[:HALF],
        MINUTE[::-1].copy(),
    ],
    ids=["a gain that halves", "silence from then on", "nothing from then on", "another sound"],
)
def test_what_goes_wrong_to_the_end_is_found(kept: NDArray[np.int16]):
    """Be it changed, silent, or not there at all."""
    played = compared(Kept(kept), LOOP)
    assert played.strange > 0 or too_short(played, 1.0)
