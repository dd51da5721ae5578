"""Where the bit is and what turns it, tick by tick; not yet what it meets."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from recordings_synthetic.faults.trouble import Trouble
from recordings_synthetic.machine import Path
from recordings_synthetic.tables import Tool

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Scene:
    """
    What is to be scored, at n ticks.

    Attributes
    ----------
    path
        Where the bit is.
    command
        (n,) rpm that the spindle is told to turn at.
    bit
        (n,) T number in the spindle; 0 where there is none.
    out
        (n,) whether a bit is being changed.
    tools
        The bits by T number.
    """

    path: Path
    command: Floats
    bit: NDArray[np.int64]
    out: NDArray[np.bool_]
    tools: dict[int, Tool]

    def of_bit(self, value: str) -> Floats:
        """Return ``flutes`` or ``diameter`` of the bit at each tick; 1 where there is none."""
        most = max(self.tools, default=0)
        by_number = [
            float(getattr(self.tools[n], value)) if n in self.tools else 1.0 for n in range(most + 1)
        ]
        return np.array(by_number)[self.bit]

    def under(self, trouble: Trouble) -> "Scene":
        """Return what really happens: axes that stand, a spindle that turns slower than it is told."""
        real = replace(self, command=self.command * trouble.speed)
        if trouble.offset is None:
            return real
        return replace(real, path=replace(self.path, position=self.path.position + trouble.offset))
