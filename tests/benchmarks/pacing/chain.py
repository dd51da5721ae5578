"""The whole way of a sound, as ``chipsong replay`` and ``chipsong watch`` go it, the journal off."""

from collections.abc import Mapping
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from analysis.cutting import Bit
from analysis.listener import Listener
from analysis.locate import Locator, Nowhere, Plan
from analysis.place import SoundLocator
from monitor.capture.__main__ import BLOCK
from monitor.listening import AT_ONCE, in_calm
from monitor.memory import giving_back
from monitor.sources import Recording, Source
from monitor.watch import Ears, Outcome, listen
from pacing.sounds import InBlocks


def hear(source: Source, bits: Mapping[int, Bit], place: Locator | None = None) -> Outcome:
    """Hear a source to its end."""
    listener = Listener(source.rate, bits, place or Nowhere())
    ears = Ears(event=lambda _: None, progress=giving_back(lambda _: None))
    return listen(source, listener, ears)


def replay(path: Path, bits: Mapping[int, Bit], plan: Plan | None = None) -> None:
    """Hear a recording, in the blocks in which one is read that is not kept."""
    with Recording(path, AT_ONCE) as recording:
        hear(recording, bits, _place(plan))


def live(sound: NDArray[np.float32], rate: int, bits: Mapping[int, Bit], plan: Plan | None = None) -> None:
    """Hear sound as ``chipsong watch`` does: in blocks as they come, some at once while all is calm."""
    listener = Listener(rate, bits, _place(plan))
    microphone = InBlocks(sound, rate, round(BLOCK * rate))
    listen(in_calm(microphone, listener), listener, Ears(event=lambda _: None, progress=lambda _: None))


def bit_by_bit(
    sound: NDArray[np.float32], rate: int, bits: Mapping[int, Bit], plan: Plan | None = None
) -> None:
    """Hear sound in blocks of 10 ms, each at once."""
    listener = Listener(rate, bits, _place(plan))
    for block in InBlocks(sound, rate, rate // 100).blocks():
        listener.hear(block.samples)


def _place(plan: Plan | None) -> Locator:
    return Nowhere() if plan is None else SoundLocator(plan)
