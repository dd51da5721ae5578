"""Outcomes on disk, a JSON line each, written at once: a run that was stopped goes on where it was."""

import hashlib
import json
from collections.abc import Iterator
from pathlib import Path

from hearing.outcome import Outcome

TOP = Path(__file__).resolve().parents[3]
# What an outcome depends on; tables and reports may change without hearing everything again.
_MAKES = ("analysis", "recordings_synthetic", "tests/benchmarks/hearing")
_TELLS = (
    "store",
    "work",
    "judge",
    "budget",
    "intervals",
    "least",
    "real",
    "options",
    "report",
    "cases",
    "seeds",
    "__init__",
)


def fingerprint() -> str:
    """Return a mark of all code that outcomes depend on."""
    mark = hashlib.sha256()
    for folder in _MAKES:
        for path in sorted((TOP / folder).rglob("*.py")):
            told = "benchmarks" in path.parts and (path.stem in _TELLS or path.parent.name == "tables")
            if not told:
                mark.update(path.relative_to(TOP).as_posix().encode() + path.read_bytes())
    return mark.hexdigest()[:16]


class Store:
    """
    A file of outcomes.

    Parameters
    ----------
    folder
        Where it lies; made when it is missing.
    mark
        The code's fingerprint: outcomes of other code are kept in their file and not read.
    """

    def __init__(self, folder: Path, mark: str) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self.path = folder / f"outcomes-{mark}.jsonl"

    def add(self, outcomes: list[Outcome]) -> None:
        """Write a case's outcomes, in one piece."""
        with self.path.open("a") as file:
            file.write(json.dumps([outcome.to_json() for outcome in outcomes]) + "\n")

    def outcomes(self) -> Iterator[Outcome]:
        """Yield all outcomes that are kept; a line that was cut off when the run was stopped is not one."""
        if not self.path.exists():
            return
        with self.path.open() as file:
            for line in file:
                if line.endswith("]\n"):
                    yield from (Outcome.from_json(kept) for kept in json.loads(line))

    def mend(self) -> None:
        """Take off the end of a line that was being written when the run was stopped."""
        if self.path.exists():
            whole = self.path.read_bytes()
            self.path.write_bytes(whole[: whole.rfind(b"\n") + 1])
