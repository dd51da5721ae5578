"""Runs that were kept."""

import difflib
import json
import sqlite3
import stat
from collections.abc import Collection
from contextlib import closing
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from analysis.errors import JournalError
from monitor.journal.held import is_held
from monitor.journal.place import DATABASE, runs_folder
from monitor.journal.schema import connect, get_meta, migrate
from monitor.journal.sound import read_segment


class Event(NamedTuple):
    """Something that was decided: when (s from the first sample), its name, all of it."""

    at: float
    name: str
    body: dict[str, Any]


class Rows(NamedTuple):
    """Feature rows: when (s from the first sample), (k,); values, (k, c) float32; the columns' names."""

    at: NDArray[np.float64]
    values: NDArray[np.float32]
    columns: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Run:
    """
    A run that was kept, or still is.

    Attributes
    ----------
    folder
        Where it lies.
    title
        What it is called.
    started
        When it began.
    rate
        Samples per second of its sound, Hz.
    columns
        The names of its feature rows' columns.
    keeps_sound
        Whether its sound was kept.
    meta
        What its maker wrote about it.
    summary
        How it ended; ``None`` while it is going on, or when it was broken off.
    learned
        What was learned in it; empty where there is no summary, and in runs of old.
    """

    folder: Path
    title: str
    started: datetime
    rate: int
    columns: tuple[str, ...]
    keeps_sound: bool
    meta: dict[str, Any]
    summary: dict[str, Any] | None
    learned: dict[str, Any] = field(default_factory=dict)

    @property
    def id(self) -> str:
        """Its name."""
        return self.folder.name

    @property
    def closed(self) -> bool:
        """Whether it was brought to its end."""
        return self.summary is not None

    @property
    def is_going_on(self) -> bool:
        """Whether a process that lives keeps it now; False where this system can't tell."""
        return not self.closed and is_held(self.folder)

    def events(self) -> tuple[Event, ...]:
        """Return its events, in the order in which they were handed over."""
        found = self._select("SELECT at, name, json FROM events ORDER BY id")
        try:
            return tuple(Event(at, name, json.loads(body)) for at, name, body in found)
        except _DAMAGE as error:
            raise _damaged(self.folder, error) from error

    def rows(self) -> Rows:
        """Return its feature rows, in the order in which they were handed over."""
        batches = self._select('SELECT count, at, "values" FROM rows ORDER BY id')
        try:
            at = np.frombuffer(b"".join(batch[1] for batch in batches), dtype="<f8")
            values = np.frombuffer(b"".join(batch[2] for batch in batches), dtype="<f4")
            return Rows(at, values.reshape(len(at), len(self.columns)), self.columns)
        except _DAMAGE as error:
            raise _damaged(self.folder, error) from error

    def samples(self) -> int:
        """Return how many samples of sound there are, up to the end of the last segment."""
        pieces = self._select(
            "SELECT path, first_sample, samples FROM segments ORDER BY first_sample DESC LIMIT 1"
        )
        for path, first, samples in pieces:
            return int(first + (samples if samples is not None else len(self._read(path))))
        return 0

    def sound(self, first: int = 0, last: int | None = None) -> NDArray[np.float32]:
        """
        Return some of its sound.

        Parameters
        ----------
        first, last
            From which sample up to which, that one not included; they may lie outside what there is.
            Without ``last``: up to the end.

        Returns
        -------
        NDArray[np.float32]
            (last - first,), or as much of that as the run has. Sound that is missing in between, because
            its file is gone, is NaN and never silence.

        Raises
        ------
        JournalError
            When the run keeps no sound.
        """
        if not self.keeps_sound:
            raise JournalError(f"run {self.id} kept no sound: only its events and features are there")
        end = self.samples()
        first, last = max(0, first), end if last is None else min(last, end)
        heard = np.full(max(0, last - first), np.nan, dtype=np.float32)
        overlapping = (
            "SELECT path, first_sample FROM segments WHERE first_sample < ? ORDER BY first_sample DESC"
        )
        for path, begin in self._select(overlapping, last):
            piece = self._read(path)
            low, high = max(first, begin), min(last, begin + len(piece))
            if low < high:
                heard[low - first : high - first] = piece[low - begin : high - begin]
            if begin <= first:
                break
        return heard

    def has_sound(self, first: int, last: int) -> bool:
        """Return whether files are there that hold any of its sound from one sample up to another."""
        before = "SELECT path, first_sample, samples FROM segments WHERE first_sample < ?"
        return self.keeps_sound and any(
            (samples is None or begin + samples > first) and (self.folder / path).is_file()
            for path, begin, samples in self._select(before, last)
        )

    def _read(self, path: str) -> NDArray[np.float32]:
        try:
            return read_segment(self.folder / path)
        except (OSError, RuntimeError):  # soundfile's errors are RuntimeErrors
            return np.zeros(0, dtype=np.float32)

    def _select(self, query: str, *values: object) -> list[tuple[Any, ...]]:
        try:
            with closing(connect(self.folder / DATABASE)) as db:
                return db.execute(query, values).fetchall()
        except sqlite3.Error as error:
            raise _unreadable(self.folder, error) from error


def runs(home: Path) -> tuple[Run, ...]:
    """
    Return all runs that can be opened, the newest first.

    Folders that hold no run, or one that only a newer program can read, are left out; `sorted_out` says why.
    """
    return sorted_out(home)[0]


def sorted_out(home: Path) -> tuple[tuple[Run, ...], tuple[JournalError, ...]]:
    """Return all runs that can be opened, the newest first, and why each of the other folders cannot."""
    found, others = [], []
    for folder in _folders(home):
        try:
            found.append(_open(folder))
        except JournalError as error:
            others.append(error)
    found.sort(key=lambda run: (run.started.timestamp(), run.id), reverse=True)
    return tuple(found), tuple(others)


def run_names(home: Path) -> list[str]:
    """Return the names of all runs, the newest first, and then of those that cannot be opened."""
    found = [run.id for run in runs(home)]
    return [*found, *(folder.name for folder in _folders(home) if folder.name not in found)]


def open_run(home: Path, name: str) -> Run:
    """
    Open one run.

    Parameters
    ----------
    home
        The folder of all runs, see `monitor.journal.home`.
    name
        The run's name, or a beginning of it that no other run has.

    Raises
    ------
    JournalError
        When no run or several are meant (the text names the nearest), the folder holds no run, or the run
        was kept by a newer program.
    """
    folders = {folder.name: folder for folder in _folders(home)}
    found = meant(name, folders)
    if len(found) == 1:
        return _open(folders[found[0]])
    if found:
        raise JournalError(f"'{name}' may be any of {len(found)} runs: write more of it, as {_some(found)}")
    if not folders:
        raise JournalError(f"no run was kept in {runs_folder(home)} yet: listen to one first")
    nearest = difflib.get_close_matches(name, folders, n=3, cutoff=0.5) or sorted(folders)[-3:]
    raise JournalError(f"there is no run '{name}': did you mean {_some(nearest)}?")


def meant(name: str, names: Collection[str]) -> list[str]:
    """Return which of some names a name may mean, or a beginning of one."""
    return [name] if name in names else [other for other in names if name and other.startswith(name)]


def _folders(home: Path) -> list[Path]:
    """Return the folders of all runs, by name."""
    folder = runs_folder(home)
    try:
        return sorted(entry for entry in folder.iterdir() if entry.is_dir())
    except FileNotFoundError:
        return []
    except OSError as error:
        raise JournalError(f"cannot look into {folder} ({error.strerror}): check CHIPSONG_HOME") from error


def _some(names: list[str]) -> str:
    """Name a few of many, the newest last."""
    return ", ".join(names[-3:])


def _open(folder: Path) -> Run:
    if not _has_database(folder):
        raise JournalError(f"{folder} is not a run (it has no {DATABASE}): delete it or put the file back")
    try:
        with closing(connect(folder / DATABASE)) as db:
            return _run(folder, _read_meta(db))
    except sqlite3.Error as error:
        raise _unreadable(folder, error) from error
    except JournalError as error:
        raise JournalError(f"cannot open run {folder.name}: {error}") from error
    except _DAMAGE as error:
        raise _damaged(folder, error) from error


def _has_database(folder: Path) -> bool:
    try:
        return stat.S_ISREG((folder / DATABASE).stat().st_mode)
    except FileNotFoundError:
        return False
    except OSError as error:
        why = f"{error.strerror}): let this user read {folder}, or move it out of {folder.parent}"
        raise JournalError(f"run {folder.name} cannot be read ({why}") from error


def _read_meta(db: sqlite3.Connection) -> dict[str, Any]:
    if "title" not in get_meta(db):
        raise JournalError("it holds nothing, because it was broken off as it began; delete its folder")
    migrate(db)
    return get_meta(db)


def _run(folder: Path, meta: dict[str, Any]) -> Run:
    return Run(
        folder=folder,
        title=meta["title"],
        started=datetime.fromisoformat(meta["started"]),
        rate=int(meta["rate"]),
        columns=tuple(meta["columns"]),
        keeps_sound=meta["keep_sound"],
        meta=dict(meta["about"]),
        summary=dict(meta["summary"]) if meta.get("summary") is not None else None,
        learned=dict(meta.get("learned", {})),
    )


# What comes of a value that is not what was written.
_DAMAGE = (ValueError, KeyError, TypeError)


def _damaged(folder: Path, error: Exception) -> JournalError:
    what = f"{type(error).__name__}: {error}"
    return JournalError(f"run {folder.name} is damaged ({what}): move its folder out of {folder.parent}")


def _unreadable(folder: Path, error: sqlite3.Error) -> JournalError:
    return JournalError(f"run {folder.name} cannot be read ({error}): is {folder / DATABASE} a run's file?")
