"""Each way in which a microphone fails, through a fake source; test_deaf_live.py has the real ones."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from analysis.cutting import Bit
from analysis.events import Alarm, Deaf, Event, Heard
from analysis.listener import Listener
from analysis.locate import Nowhere
from monitor.testing import FakeClock, FakeMicrophone, nonsense, silence
from monitor.watch import Ears, listen

RATE = 8000
BLOCK = 640
FIRST = 50
"""The block with which the trouble begins."""
BEGUN = FIRST * BLOCK / RATE
LASTS = 2.0
NOISE = np.random.default_rng(8).normal(0.0, 0.02, 12 * RATE).astype(np.float32)

Sound = NDArray[np.float32]


def during(change: Callable[[Sound], Sound]) -> Sound:
    """Return the noise, changed while the trouble lasts."""
    changed = NOISE.copy()
    part = slice(round(BEGUN * RATE), round((BEGUN + LASTS) * RATE))
    changed[part] = change(changed[part])
    return changed


def one_in_a_hundred(value: float) -> Callable[[Sound], Sound]:
    """Return what puts a value in place of every hundredth sample."""

    def put(samples: Sound) -> Sound:
        changed = samples.copy()
        changed[::100] = value
        return changed

    return put


CASES: dict[str, dict[str, Any]] = {
    "no data": {"gaps": {FIRST: 6}},
    "exact zeros": {"samples": silence(NOISE, RATE, start=BEGUN, seconds=LASTS)},
    "a constant": {"samples": during(lambda samples: np.full_like(samples, 0.25))},
    "samples that are no numbers": {"samples": nonsense(NOISE, RATE, start=BEGUN, seconds=LASTS)},
    "some infinite samples": {"samples": during(one_in_a_hundred(np.inf))},
    "some absurd samples": {"samples": during(one_in_a_hundred(1e9))},
    "samples far beyond full scale": {"samples": during(lambda samples: samples * 1000)},
    "clipping": {"samples": during(lambda samples: np.clip(samples * 40, -1, 1))},
    "next to nothing": {"samples": during(lambda samples: samples * np.float32(1e-4))},
    "a gap": {"lost": {FIRST: RATE // 10}},
    "an overflow": {"notes": {FIRST: "overflow"}},
    "another device": {"notes": {FIRST: "the sound comes from another microphone now"}},
    "a gain that a mixer moves": {"notes": {FIRST: "the gain moved from 100 % to 60 %"}},
}


@pytest.mark.parametrize("name", CASES)
def test_it_is_said_within_two_seconds_and_heard_again(name: str):
    """Deaf is said within 2 s by the clock, once, with a reason; heard within 2 s after; never an alarm."""
    clock = FakeClock()
    events: list[tuple[float, Event]] = []
    with FakeMicrophone(
        **{"samples": NOISE} | CASES[name], rate=RATE, block=BLOCK, clock=clock
    ) as microphone:
        bit = Bit("any", 6.0, 2, 18000.0)
        listener = Listener(RATE, {0: bit}, Nowhere())
        listen(microphone, listener, Ears(lambda event: events.append((clock.monotonic(), event))))

    ((when, deaf),) = ((at, event) for at, event in events if isinstance(event, Deaf))
    ((later, _),) = ((at, event) for at, event in events if isinstance(event, Heard))
    assert BEGUN < when <= BEGUN + 2.0
    assert deaf.because
    assert when < later <= BEGUN + 3.0 + 2.0
    assert not any(isinstance(event, Alarm) for _, event in events)
