"""A score and a threshold become alarms, under the same rules as chipsong's."""

import base64
import zlib
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.watcher import USUAL

Floats = NDArray[np.float64]

_MOST = 6e4  # nearly the greatest that is kept; a score beyond it is above any threshold


@dataclass(frozen=True, eq=False)
class Series:
    """
    A score over time, NaN where there is none.

    Attributes
    ----------
    first, step
        When the first value was known, and seconds from one to the next.
    values
        (n,) the higher, the stranger.
    """

    first: float
    step: float
    values: Floats

    def alarms(self, threshold: float) -> Floats:
        """
        Return when alarms come, s: one for each event, as chipsong counts them.

        After an alarm the next can only come when the score was at or below the threshold for as long, in
        cutting, as chipsong asks for before it calls a sound good again.
        """
        known = np.flatnonzero(~np.isnan(self.values))
        above = self.values[known] > threshold
        place = np.arange(len(above))
        # The last row before each one that was above, -1 when none was.
        before = np.concatenate(([-1], np.maximum.accumulate(np.where(above, place, -1))))[: len(above)]
        good = place - 1 - before
        begins = above & ((before < 0) | (good >= round(USUAL.forget / self.step)))
        return np.asarray(self.first + self.step * known[begins])

    def pack(self) -> dict[str, object]:
        """Return it as what JSON holds, values to three digits."""
        body = zlib.compress(np.minimum(self.values, _MOST).astype(np.float16).tobytes(), 6)
        return {"first": self.first, "step": self.step, "values": base64.b64encode(body).decode()}

    @classmethod
    def unpack(cls, kept: dict[str, object]) -> "Series":
        """Return what was packed."""
        body = zlib.decompress(base64.b64decode(str(kept["values"])))
        values = np.frombuffer(body, dtype=np.float16).astype(np.float64)
        return cls(float(str(kept["first"])), float(str(kept["step"])), values)
