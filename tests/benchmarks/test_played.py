"""The count of lost samples must be able to be other than 0."""

import numpy as np
import pytest
from soaking.played import Played, Samples

LOOP: Samples = np.random.default_rng(6).integers(-900, 900, 20_000).astype(np.int16)
TWICE = np.concatenate([LOOP, LOOP, LOOP])[7000:57_000]
SILENCE: Samples = np.zeros(3000, dtype=np.int16)

# What became of the sound, and what is counted: before, strange, missing.
CASES = {
    "all of it": ([TWICE], (0, 0, 0)),
    "silence before it": ([SILENCE, TWICE], (3000, 0, 0)),
    "one sample lost": ([TWICE[:30_000], TWICE[30_001:]], (0, 0, 1)),
    "3000 lost, with silence in place of them": ([TWICE[:9000], SILENCE, TWICE[12_000:]], (0, 3000, 3000)),
    "silence in between": ([TWICE[:9000], SILENCE, TWICE[9000:]], (0, 3000, 0)),
    "another gain": ([TWICE[:9000], TWICE[9000:] // 2], (0, 41_000, 0)),
}


@pytest.mark.parametrize("block", [333, 50_000])
@pytest.mark.parametrize(("kept", "counted"), CASES.values(), ids=CASES)
def test_each_sample_that_is_not_what_was_played_is_counted(
    kept: list[Samples], counted: tuple[int, int, int], block: int
):
    """Kept in blocks of any size, what was played is told from what was lost or put in, to the sample."""
    played, sound = Played(LOOP), np.concatenate(kept)
    for first in range(0, len(sound), block):
        played.take(sound[first : first + block])
    played.end()
    assert (played.before, played.strange, played.missing) == counted
    assert played.before + played.same + played.strange == len(sound)
