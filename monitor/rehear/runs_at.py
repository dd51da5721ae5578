"""Where runs lie that are heard again: in the folder of this computer, in another one, or far away."""

import hashlib
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Any, Protocol

from analysis.errors import ChipsongError, JournalError
from monitor.journal import Run, open_run, run_names
from monitor.journal.reading import meant
from monitor.trouble import one_line

_RUNS = "runs"
# SQLite makes these when a run is looked at.
_FLEETING = ("-wal", "-shm")


class RunsAt(Protocol):
    """A place where runs lie; it can be sent to another process."""

    def names(self) -> list[str]:
        """Return the names of all that may be runs."""

    def whole(self, name: str) -> str:
        """Return the name of the run that a beginning means; what was given where that is none or several."""

    def opened(self, name: str, *, sound: bool = True) -> AbstractContextManager[Run]:
        """
        Give a run, by its name or a beginning of it that no other has; its ``sound`` only if it is wanted.

        Raises
        ------
        ChipsongError
            When there is no such run, or it cannot be read.
        """

    def stamp(self, name: str) -> str:
        """Return what differs when the run is another than it was; empty where nobody knows."""


def runs_at(told: str | None, home: Path) -> RunsAt:
    """
    Return where runs lie: by default in the folder of all that is kept.

    Parameters
    ----------
    told
        The folder ``runs`` of another computer, or the folder in which that lies; or an address that fsspec
        knows, as ``s3://bucket/runs``.
    home
        The folder of all that is kept here.

    Raises
    ------
    ChipsongError
        When there is no such place.
    """
    if told is None:
        return Here(home)
    if "://" in told:
        return Far(told.rstrip("/"))
    folder = Path(told)
    if (folder / _RUNS).is_dir():
        return Here(folder.resolve())
    if folder.is_dir() and folder.resolve().name == _RUNS:
        return Here(folder.resolve().parent)
    raise ChipsongError(f"{told} holds no runs: name the folder `{_RUNS}` that lies in a CHIPSONG_HOME")


@dataclass(frozen=True)
class Here:
    """Runs in the folder ``runs`` of ``home``."""

    home: Path

    def names(self) -> list[str]:
        """Return the names of all runs, the newest first; what cannot be opened is told as it is heard."""
        return run_names(self.home)

    def whole(self, name: str) -> str:
        """Return the name of the run that a beginning means; see `RunsAt`."""
        try:
            names = [folder.name for folder in (self.home / _RUNS).iterdir()]
        except OSError:
            return name
        return _the_one(name, names)

    @contextmanager
    def opened(self, name: str, *, sound: bool = True) -> Iterator[Run]:
        """Give a run; see `RunsAt`."""
        del sound  # it is there
        yield open_run(self.home, name)

    def stamp(self, name: str) -> str:
        """Return what differs when the run is another than it was."""
        folder = self.home / _RUNS / name
        try:
            found = [(path, path.stat()) for path in sorted(folder.rglob("*")) if path.is_file()]
        except OSError:
            return ""
        return _digest((path.relative_to(folder), state.st_size, state.st_mtime_ns) for path, state in found)


@dataclass(frozen=True)
class Far:
    """Runs at an address that fsspec knows; each is fetched to be heard, and forgotten afterwards."""

    address: str

    def names(self) -> list[str]:
        """Return the names of all that may be runs, in order."""
        files, root = self._files()
        with _told(self.address):
            found = files.ls(root, detail=True)
        return sorted(PurePosixPath(each["name"]).name for each in found if each["type"] == "directory")

    def whole(self, name: str) -> str:
        """Return the name of the run that a beginning means; see `RunsAt`."""
        try:
            return _the_one(name, self.names())
        except ChipsongError:  # when it is heard the same goes wrong, and is told
            return name

    @contextmanager
    def opened(self, name: str, *, sound: bool = True) -> Iterator[Run]:
        """Give a run; see `RunsAt`."""
        files, root = self._files()
        name = self._whole(name)
        with tempfile.TemporaryDirectory(prefix="chipsong-") as folder:
            with _told(self.address):
                for path in files.find(f"{root}/{name}"):
                    within = path[path.index(f"/{name}/") + 1 :]
                    if sound or not within.startswith(f"{name}/sound/"):
                        copy = Path(folder, _RUNS, within)
                        copy.parent.mkdir(parents=True, exist_ok=True)
                        files.get_file(path, str(copy))
            yield open_run(Path(folder), name)

    def stamp(self, name: str) -> str:
        """Return what differs when the run is another than it was, by what the address tells of its files."""
        files, root = self._files()
        with _told(self.address):
            found = files.find(f"{root}/{name}", detail=True)
        return _digest((path, *(each.get(key) for key in _STATE)) for path, each in sorted(found.items()))

    def _whole(self, name: str) -> str:
        found = meant(name, self.names())
        if len(found) != 1:
            several = f"'{name}' may be any of {len(found)} runs" if found else f"there is no run '{name}'"
            raise JournalError(f"{several} at {self.address}: give its whole name")
        return found[0]

    def _files(self) -> tuple[Any, str]:
        """Return the files at the address, and the path of the runs among them."""
        try:
            from fsspec.core import url_to_fs  # noqa: PLC0415 - an extra
        except ImportError as error:
            raise ChipsongError("runs far away need fsspec: pip install 'chipsong[far]'") from error
        with _told(self.address):
            files, root = url_to_fs(self.address)
        # What others wrote since may not be looked for in what was seen before.
        files.invalidate_cache()
        return files, root.rstrip("/")


def _the_one(name: str, names: Sequence[str]) -> str:
    found = meant(name, names)
    return found[0] if len(found) == 1 else name


# What kinds of far files tell of when they were changed.
_STATE = ("size", "mtime", "created", "LastModified", "ETag", "updated", "last_modified")


@contextmanager
def _told(address: str) -> Iterator[None]:
    """Turn what goes wrong with an address into a line."""
    try:
        yield
    except ChipsongError:
        raise
    except FileNotFoundError as error:
        raise ChipsongError(f"there is nothing at {address}: check the address") from error
    except Exception as error:  # each kind of address fails in ways of its own
        raise ChipsongError(f"runs at {address} cannot be read: {one_line(error)}") from error


def _digest(files: Any) -> str:  # noqa: ANN401 - rows of whatever tells files apart
    told = [repr(tuple(map(str, each))) for each in files if not str(each[0]).endswith(_FLEETING)]
    return hashlib.sha256("\n".join(told).encode()).hexdigest() if told else ""
