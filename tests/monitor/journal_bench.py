"""What the tests of the journal share."""

from pathlib import Path
from typing import Any

import numpy as np

from monitor.journal import Journal
from monitor.testing import FakeClock

RATE = 1000
COLUMNS = ("level", "line")
NOISE = (np.random.default_rng(3).integers(-(2**15), 2**15, 7 * RATE) / 2**15).astype(np.float32)


def begin(folder: Path, clock: FakeClock, title: str = "outline", **others: Any) -> Journal:
    """Begin a run with segments of 2 s."""
    wanted: dict[str, Any] = {"rate": RATE, "columns": COLUMNS, "keep_sound": True, "now": clock.now}
    return Journal.create(
        folder, title, {"program": "outline.ngc"}, **(wanted | {"segment_seconds": 2} | others)
    )


def names_of_sound(journal: Journal) -> list[str]:
    """List the files of a run's sound."""
    return sorted(path.name for path in (journal.folder / "sound").iterdir())
