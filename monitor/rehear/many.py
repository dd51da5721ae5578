"""The same work for many runs: here, in several processes, or on a cluster."""

import multiprocessing
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Generic, Self, TypeVar

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
    with _Processes(work, names, workers.jobs) as processes:
        # Processes begin before the thread of the bar does: a fork in the middle of it might hang.
        yield from _counted(processes.found(failed), len(names))


class _Processes(Generic[_Found]):
    """
    Work for each name in processes of this computer, which begins at once.

    When a process dies, killed for want of memory say, nobody knows which work it was at. All that is not
    done is begun again, the first of it alone: what kills its process alone as well is given up.
    """

    def __init__(self, work: Callable[[str], _Found], names: Sequence[str], jobs: int) -> None:
        self._work = work
        self._names = names
        self._jobs = jobs
        self._pool = ProcessPoolExecutor(min(jobs, len(names)))
        self._futures = [self._begun(name) for name in names]

    def found(self, failed: Callable[[str, str], _Found]) -> Iterator[_Found]:
        """Give what comes of each, in order."""
        for index, name in enumerate(self._names):
            try:
                yield self._futures[index].result()
            except BrokenProcessPool:
                yield self._alone(name, failed)
                self._begin_again(index + 1)

    def _alone(self, name: str, failed: Callable[[str, str], _Found]) -> _Found:
        with _fresh(1) as pool:
            try:
                return pool.submit(self._work, name).result()
            except BrokenProcessPool:
                return failed(name, "the process that was at it died, twice: is there enough memory?")

    def _begin_again(self, first: int) -> None:
        """Begin again what is not done, from a name on."""
        self._pool.shutdown()
        left = [at for at in range(first, len(self._names)) if not _is_done(self._futures[at])]
        self._pool = _fresh(min(self._jobs, max(1, len(left))))
        for at in left:
            self._futures[at] = self._begun(self._names[at])

    def _begun(self, name: str) -> Future[_Found]:
        try:
            return self._pool.submit(self._work, name)
        except BrokenProcessPool as error:  # so soon
            broken = Future[_Found]()
            broken.set_exception(error)
            return broken

    def __enter__(self) -> Self:
        """Give itself; the work has begun."""
        return self

    def __exit__(self, *_: object) -> None:
        """Begin nothing more, and wait for what is under way."""
        self._pool.shutdown(cancel_futures=True)


def _fresh(jobs: int) -> ProcessPoolExecutor:
    """Return processes that are no forks of this one, in which the bar's thread runs by now."""
    return ProcessPoolExecutor(jobs, mp_context=multiprocessing.get_context("spawn"))


def _is_done(future: Future[_Found]) -> bool:
    return future.done() and not future.cancelled() and future.exception() is None


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
