"""The same work for many runs: here, in several processes, or on a cluster."""

import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TypeVar

_Found = TypeVar("_Found")


@dataclass(frozen=True)
class Workers:
    """
    Who does it.

    Attributes
    ----------
    jobs
        How many processes of this computer.
    scheduler
        Address of a cluster's scheduler, in place of these; ``None`` for no cluster.
    """

    jobs: int = 1
    scheduler: str | None = None


def for_each(
    work: Callable[[str], _Found],
    names: Sequence[str],
    workers: Workers,
    failed: Callable[[str, str], _Found],
) -> Iterator[_Found]:
    """
    Give what comes of the work for each name, in order, with a bar where a person looks on.

    Parameters
    ----------
    work
        A function of a module, or a ``partial`` of one, that raises nothing.
    names
        Of the runs.
    workers
        Who does it.
    failed
        Makes of a name and a reason what stands for work that could not be done at all: because those that
        were at it died, again and again.

    Raises
    ------
    ChipsongError
        When there is no such cluster, or it is lost.
    """
    if workers.scheduler is not None:
        from monitor.rehear.cluster import on_cluster  # noqa: PLC0415 - an extra

        yield from _counted(on_cluster(work, names, workers.scheduler, failed), len(names))
        return
    if workers.jobs == 1 or len(names) < 2:
        yield from _counted(map(work, names), len(names))
        return
    with ProcessPoolExecutor(min(workers.jobs, len(names))) as pool:
        # Processes begin before the thread of the bar does: a fork in the middle of it might hang.
        yield from _counted(pool.map(work, names), len(names))


def _counted(found: Iterable[_Found], total: int) -> Iterator[_Found]:
    with _bar(total) as step:
        for one in found:
            step()
            yield one


@contextmanager
def _bar(total: int) -> Iterator[Callable[[], None]]:
    """Show how far it is on standard error, where a person looks on."""
    if not sys.stderr.isatty():
        yield lambda: None
        return
    from rich.console import Console  # noqa: PLC0415 - loads slowly
    from rich.progress import Progress  # noqa: PLC0415

    with Progress(console=Console(stderr=True), transient=True) as progress:
        task = progress.add_task("Hearing again", total=total)
        yield lambda: progress.advance(task)
