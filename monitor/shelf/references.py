"""
How bits sound when they are tight, from runs that a person accepted.

Each bit has a book of its own, a file that is only ever added to: a run was accepted, or that was taken back.
So every version of a reference can be had again, and nothing of one bit touches another's.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, NamedTuple, Self
from urllib.parse import quote

from analysis.baseline import Baseline
from analysis.cutting import Bit
from analysis.errors import ShelfError
from analysis.reference import Reference, from_plain, to_plain
from monitor.journal.held import alone_in
from monitor.saving import replace_file
from monitor.shelf.bits import same_name


class Cutter(NamedTuple):
    """What a bit is as it cuts: its diameter, mm, and its number of cutting edges."""

    diameter: float
    flutes: int

    @classmethod
    def of(cls, bit: Bit) -> Self:
        """Return that of a bit."""
        return cls(bit.diameter, bit.flutes)

    def __str__(self) -> str:
        """Return it in words."""
        return f"{self.diameter:g} mm and {self.flutes} flute{'s' if self.flutes > 1 else ''}"

    def is_like(self, other: "Cutter") -> bool:
        """Return whether both mean the same, though one was said in inches."""
        return abs(self.diameter - other.diameter) < _SAME and self.flutes == other.flutes


_SAME = 1e-3  # mm

# In windows so many times as long lines stand out by some 2 dB more: as much as from cut to cut. A judgement.
_LONGER = 1.5


@dataclass(frozen=True)
class Heard:
    """
    What must be alike for two cuts of a bit to be compared.

    Attributes
    ----------
    material
        What was cut; ``None`` when nobody said.
    microphone
        What heard it; ``None`` for a recording.
    cutter
        What the bit was then; ``None`` where that was not kept, as of old, and then it may be any.
    slowest
        How fast the slowest bit of the job turned, rpm: the slower, the longer are the windows in which all
        are heard, and the more do lines stand out. ``None`` as above.
    """

    material: str | None
    microphone: str | None
    cutter: Cutter | None = None
    slowest: float | None = None

    def __str__(self) -> str:
        """Return it in words."""
        microphone = f"'{self.microphone}'" if self.microphone else "a recording"
        return f"{self.material or 'material not said'}, heard by {microphone}"

    def is_like(self, other: "Heard") -> bool:
        """Return whether both mean the same."""
        alike = same_name(self.material or "", other.material or "") and self.microphone == other.microphone
        return alike and self.has_like_cutter(other) and self.has_like_windows(other)

    def has_like_cutter(self, other: "Heard") -> bool:
        """Return whether the bit was the same in both, as far as is known."""
        return self.cutter is None or other.cutter is None or self.cutter.is_like(other.cutter)

    def has_like_windows(self, other: "Heard") -> bool:
        """Return whether windows were about as long in both, as far as is known."""
        if self.slowest is None or other.slowest is None:
            return True
        return max(self.slowest, other.slowest) <= _LONGER * min(self.slowest, other.slowest)


@dataclass(frozen=True)
class Step:
    """
    Something that was written into a book.

    Attributes
    ----------
    at
        When, as ISO 8601 has it.
    run
        The run that it is about.
    heard
        What was cut and how it was heard.
    baselines
        What was learned in it, by kind of cut, as plain objects; ``None`` when its acceptance was taken back.
    """

    at: str
    run: str
    heard: Heard
    baselines: Mapping[str, Any] | None


@dataclass(frozen=True)
class Book:
    """
    What was accepted of one bit, in order.

    Attributes
    ----------
    bit
        Its name.
    steps
        All that ever was written; how many there are is the version.
    """

    bit: str
    steps: tuple[Step, ...] = ()

    @property
    def version(self) -> int:
        """Which version it is; any earlier one is made of fewer steps."""
        return len(self.steps)

    def accepted(self, *, without: str = "") -> tuple[Step, ...]:
        """Return the runs whose acceptance holds, but for the run ``without``."""
        last = {step.run: step for step in self.steps}
        return tuple(step for step in last.values() if step.baselines is not None and step.run != without)

    def place(self, step: Step) -> int:
        """Return where in the book it was first said what a step says, whatever was noted to it later."""
        return [(other.run, other.at) for other in self.steps].index((step.run, step.at))

    def groups(self) -> dict[Heard, tuple[Step, ...]]:
        """Return the runs whose acceptance holds, by what was cut and how it was heard."""
        found: dict[Heard, tuple[Step, ...]] = {}
        for step in self.accepted():
            key = next((known for known in found if known.is_like(step.heard)), step.heard)
            found[key] = (*found.get(key, ()), step)
        return found

    def reference(self, heard: Heard, *, without: str = "") -> tuple[Reference | None, str]:
        """
        Return how the bit sounds when it is tight, or ``None`` and why nothing is compared.

        Why is empty where nothing was ever accepted.
        """
        runs = self.accepted(without=without)
        alike = [step for step in runs if step.heard.is_like(heard)]
        if not alike:
            return None, self._other(runs[-1].heard, heard) if runs else ""
        try:
            return reference_of(alike), ""
        except ValueError as error:
            return None, f"the reference of '{self.bit}' cannot be used: {error}"

    def _other(self, known: Heard, heard: Heard) -> str:
        if not known.has_like_cutter(heard):
            return (
                f"the reference of '{self.bit}' is of a bit of {known.cutter} and is not compared with; "
                f"accept a run of this one ({heard.cutter}) to have one"
            )
        if not known.has_like_windows(heard):
            return (
                f"the reference of '{self.bit}' is of a job whose slowest bit turns at {known.slowest:.0f} "
                f"rpm, in this one at {heard.slowest:.0f}: so all is heard otherwise, and it is not compared "
                "with; accept a run of this one to have one"
            )
        which = "material" if known.microphone == heard.microphone else "microphone"
        return (
            f"the reference of '{self.bit}' is of another {which} ({known}) and is not compared with; "
            f"accept a run of this one ({heard}) to have one"
        )


def reference_of(steps: tuple[Step, ...] | list[Step]) -> Reference:
    """
    Return the reference that accepted runs make.

    Raises
    ------
    ValueError
        When they were kept by a version that compares other signs.
    """
    return Reference.of([_baselines(step) for step in steps])


def _baselines(step: Step) -> dict[str, Baseline]:
    return {kind: from_plain(body) for kind, body in (step.baselines or {}).items()}


def read_book(home: Path, bit: str) -> Book:
    """
    Return the book of a bit; without a file it is empty.

    Raises
    ------
    ShelfError
        When the file cannot be read.
    """
    return _read(_path(home, bit)) or Book(bit)


def books(home: Path) -> tuple[Book, ...]:
    """
    Return the books of all bits that have one, by name.

    Raises
    ------
    ShelfError
        When one of them cannot be read.
    """
    folder = _folder(home)
    try:
        paths = [path for path in folder.iterdir() if path.suffix == ".json"]
    except FileNotFoundError:
        paths = []
    except OSError as error:
        raise ShelfError(f"cannot look into {folder} ({error.strerror}): check CHIPSONG_HOME") from error
    return tuple(sorted((book for path in paths if (book := _read(path))), key=lambda book: book.bit))


def _read(path: Path) -> Book | None:
    try:
        told = json.loads(path.read_text(encoding="utf-8"))
        steps = tuple(
            Step(body["at"], body["run"], _heard(body), body["baselines"]) for body in told["steps"]
        )
        return Book(told["bit"], steps)
    except FileNotFoundError:
        return None
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise ShelfError(f"{path} is no reference that can be read ({error}): move it away") from error


def _heard(body: Mapping[str, Any]) -> Heard:
    cutter = Cutter(body["diameter"], body["flutes"]) if "diameter" in body else None
    return Heard(body["material"], body["microphone"], cutter, body.get("slowest"))


def accept_step(home: Path, bit: str, step: Step) -> Book:
    """
    Add a step to the book of a bit; return it as it is now.

    Raises
    ------
    ShelfError
        When that cannot be written.
    """
    path = _path(home, bit)
    with alone_in(home):
        before = read_book(home, bit)
        book = Book(before.bit, (*before.steps, step))
        try:
            replace_file(path, json.dumps({"bit": book.bit, "steps": [_plain(step) for step in book.steps]}))
        except OSError as error:
            raise ShelfError(f"cannot write {path} ({error.strerror}): nothing was accepted") from error
    return book


def note_cutter(home: Path, bit: str, cutter: Cutter) -> None:
    """
    Write down what a bit was in those accepted runs of old of which that was not kept.

    Raises
    ------
    ShelfError
        When that cannot be written.
    """
    for step in read_book(home, bit).accepted():
        if step.heard.cutter is None:
            accept_step(home, bit, replace(step, heard=replace(step.heard, cutter=cutter)))


def plain_baselines(baselines: Mapping[str, Baseline]) -> dict[str, Any]:
    """Return what was learned of a bit, by kind of cut, as plain objects."""
    return {kind: to_plain(baseline) for kind, baseline in baselines.items()}


def _plain(step: Step) -> dict[str, Any]:
    told: dict[str, Any] = {"material": step.heard.material, "microphone": step.heard.microphone}
    if step.heard.cutter is not None:
        told |= step.heard.cutter._asdict()
    if step.heard.slowest is not None:
        told["slowest"] = step.heard.slowest
    return {"at": step.at, "run": step.run, **told, "baselines": step.baselines}


def _folder(home: Path) -> Path:
    return home / "references"


def _path(home: Path, bit: str) -> Path:
    # Any name becomes the name of a file, and no two names the same.
    return _folder(home) / f"{quote(bit.strip().casefold(), safe=' ')}.json"
