"""Work on a cluster of dask.distributed, whose workers see the same folder of runs."""

import asyncio
import concurrent.futures
import logging
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from typing import Any, TypeVar

from analysis.errors import ChipsongError
from monitor.kept.heard import hearing
from monitor.trouble import one_line, warn

_Found = TypeVar("_Found")

# s in which a scheduler has to answer, and then to have a worker.
_PATIENCE = 15.0
# s of waiting for one piece of work, after which is looked whether anybody is at it.
_LOOK = 5.0
_LOST = (concurrent.futures.CancelledError, asyncio.CancelledError, OSError)


class OtherVersionError(ChipsongError):
    """A worker would decide otherwise than this computer does."""


def on_cluster(
    work: Callable[[str], _Found], names: Sequence[str], address: str, failed: Callable[[str, str], _Found]
) -> Iterator[_Found]:
    """
    Give what comes of the work for each name, in order; see `monitor.rehear.many.for_each`.

    Work whose worker died is done by another one. What made several die is given up, and told as failed.

    Raises
    ------
    ChipsongError
        When the cluster is not there, is lost on the way, or has another version of the code that decides.
    """
    with _client(address) as client:
        # Each name is work of its own: nothing known to the cluster already may stand in for it.
        futures = client.map(partial(_same_as_here, hearing(), work), names, pure=False)
        waiting = _Waiting(client, address)
        for name, future in zip(names, futures, strict=True):
            try:
                yield waiting.result(future)
            except OtherVersionError:
                raise
            except _LOST as error:
                raise ChipsongError(
                    f"the cluster at {address} was lost: what is not told by now was not done"
                ) from error
            except Exception as error:  # noqa: BLE001 - whatever a cluster makes of dead workers
                yield failed(name, one_line(error))


class _Waiting:
    """Waiting for work, in which it is said, once, that nobody is there to do it."""

    def __init__(self, client: Any, address: str) -> None:  # noqa: ANN401 - the library has no types
        self._client = client
        self._address = address
        self._said = False

    def result(self, future: Any) -> Any:  # noqa: ANN401 - as above
        """Return what came of it."""
        while True:
            try:
                return future.result(timeout=_LOOK)
            except TimeoutError:
                if future.done():  # it is the work's own
                    raise
                self._look()

    def _look(self) -> None:
        if not (self._said or self._client.scheduler_info()["workers"]):
            self._said = True
            warn(f"the cluster at {self._address} has no workers left: waiting for some; Ctrl-C ends it")


def _same_as_here(version: str, work: Callable[[str], _Found], name: str) -> _Found:
    """Do the work, on a worker, if it decides as the computer does that asks."""
    if hearing() != version:
        raise OtherVersionError(
            "a worker of the cluster has another version of chipsong: install the same one everywhere"
        )
    return work(name)


@contextmanager
def _client(address: str) -> Iterator[Any]:
    try:
        from distributed import Client as Connect  # noqa: PLC0415 - an extra
    except ImportError as error:
        raise ChipsongError("a cluster needs dask.distributed: pip install 'chipsong[cluster]'") from error
    # What became of the work is told here, and not in the library's log.
    for logger in ("distributed", "distributed.client"):  # the library sets a level of its own for the latter
        logging.getLogger(logger).setLevel(logging.CRITICAL)
    make: Any = Connect  # it has no types
    try:
        client = make(address, timeout=_PATIENCE, set_as_default=False)
    except (OSError, ValueError, TimeoutError) as error:
        raise ChipsongError(f"no cluster answers at {address}: is its scheduler running?") from error
    with client:
        try:
            client.wait_for_workers(1, timeout=_PATIENCE)
        except TimeoutError as error:
            raise ChipsongError(f"the cluster at {address} has no workers: start some") from error
        yield client
