"""Work over many runs that was stopped goes on where it stopped."""

import hashlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from analysis.errors import ChipsongError
from monitor.kept.heard import hearing
from monitor.rehear.ledger import Ledger
from monitor.rehear.runs_at import RunsAt
from monitor.trouble import warn

_Found = TypeVar("_Found")


@dataclass(frozen=True)
class Kept(Generic[_Found]):
    """
    How results are kept.

    Attributes
    ----------
    ledger
        Where.
    of
        What they are of: what else is kept in the same file goes by another name.
    to_plain, from_plain
        Between a result and what JSON can say; the second raises TypeError or KeyError for what is none.
    is_done
        Whether a result is one, or must be tried again.
    """

    ledger: Ledger
    of: str
    to_plain: Callable[[_Found], Any]
    from_plain: Callable[[Any], _Found]
    is_done: Callable[[_Found], bool]

    def known(self, name: str, mark: str) -> _Found | None:
        """Return what is known of a run, if it follows from the same as before."""
        body = self.ledger.found(f"{self.of} {name}", mark)
        try:
            return None if body is None else self.from_plain(body)
        except (TypeError, KeyError):  # another version kept something else
            return None

    def note(self, name: str, mark: str, found: _Found) -> None:
        """Keep what came of a run, if anything did."""
        if self.is_done(found):
            self.ledger.note(f"{self.of} {name}", mark, self.to_plain(found))


def go_on(
    names: Sequence[str],
    marks: Sequence[str],
    work: Callable[[Sequence[str]], Iterator[_Found]],
    kept: Kept[_Found],
    *,
    afresh: bool,
) -> Iterator[_Found]:
    """
    Give what comes of each run, in order: what is known already, and of the others what the work gives.

    Parameters
    ----------
    names, marks
        Of the runs, and what each result follows from, see `marks_of`.
    work
        Does it for some of them, in order.
    kept
        How results are kept.
    afresh
        Whether nothing counts as known.
    """
    known = [None if afresh else kept.known(*each) for each in zip(names, marks, strict=True)]
    before = sum(found is not None for found in known)
    if before:
        warn(f"{before} of {len(names)} were heard before, as they are now; --afresh hears them anew")
    fresh = work([name for name, found in zip(names, known, strict=True) if found is None])
    done = 0
    try:
        for name, mark, found in zip(names, marks, known, strict=True):
            new = found if found is not None else next(fresh)
            if found is None:
                kept.note(name, mark, new)
            done += 1
            yield new
    except KeyboardInterrupt:
        warn(f"stopped by hand, {done} of {len(names)} done: the same command goes on from there")
        raise


def marks_of(place: RunsAt, names: Sequence[str], *rules: bytes) -> list[str]:
    """Return for each run what its result follows from: itself, the code that decides, and some rules."""
    judged_by = hashlib.sha256(hearing().encode())
    for rule in rules:
        judged_by.update(hashlib.sha256(rule).digest())
    return [_mark(place, name, judged_by.hexdigest()) for name in names]


def _mark(place: RunsAt, name: str, judged_by: str) -> str:
    try:
        stamp = place.stamp(name)
    except ChipsongError:  # when it is heard the same goes wrong, and is told
        return ""
    return f"{stamp} {judged_by}" if stamp else ""
