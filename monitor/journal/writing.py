"""Keeping a run while it is heard."""

import sqlite3
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.errors import JournalError
from monitor.journal.held import hold, let_go
from monitor.journal.near import Around, Near
from monitor.journal.place import DATABASE, make_run_folder
from monitor.journal.room import Room, note_begun
from monitor.journal.schema import connect, migrate, put_meta, to_json, transaction
from monitor.journal.sound import SoundWriter
from monitor.journal.waiting import Waiting, is_held

SEGMENT_SECONDS, _SHORT_SECONDS = 30.0, 5.0
_SAVE_EVERY = timedelta(seconds=1)
_BATCHES_AT_MOST = 1000

# ms that a program which holds the database is waited for: while listening goes on, and at the end.
_WAIT, _WAIT_AT_THE_END = 100, 5000


class Journal:
    """
    A run that is being kept. Make one with `Journal.create`.

    Feature rows and sound are on disk a second after they were handed over, or with the next thing
    handed over after that; events at once.

    Notes
    -----
    When sound cannot be written (a disk that is nearly full, say), the method that met it raises
    JournalError, once, and from then on the run is kept without its sound. When nothing can be written
    any more, that is raised, once, and the journal is `failed` and does nothing at all, without a word:
    listening is worth more than the record of it, so the caller says what happened and simply goes on. What
    was kept before stays as it is and can be opened. While another program holds the database, all that is
    handed over waits for that and is tried again each second.
    """

    def __init__(  # noqa: PLR0913 - all that `create` opened
        self,
        folder: Path,
        db: sqlite3.Connection,
        waiting: Waiting,
        sound: SoundWriter | None,
        *,
        columns: int,
        now: Callable[[], datetime],
        held: int | None = None,
    ) -> None:
        self.folder = folder
        self.failed = False
        self._db = db
        self._waiting = waiting
        self._sound = sound
        self._columns = columns
        self._now = now
        self._held = held
        self._rows: list[tuple[NDArray[np.float64], NDArray[np.float32]]] = []
        self._saved = now()
        self._closed = False

    @classmethod
    def create(  # noqa: PLR0913 - all but three are named by the caller
        cls,
        home: Path,
        title: str,
        meta: Mapping[str, Any],
        *,
        rate: int,
        columns: tuple[str, ...],
        keep_sound: bool,
        now: Callable[[], datetime],
        around: Around | None = None,
        most_bytes: float | None = None,
        segment_seconds: float | None = None,
    ) -> Self:
        """
        Begin to keep a run, in a folder of its own.

        Parameters
        ----------
        home
            The folder of all runs, see `monitor.journal.home`; made when it is not there.
        title
            What the run is called, for instance after its program.
        meta
            What else is worth knowing about it: anything that can be written as JSON.
        rate
            Samples per second of its sound, Hz.
        columns
            The names of the feature rows' columns.
        keep_sound
            Whether its sound is kept; people near the microphone are on it too.
        now
            The clock on the wall.
        around
            How near to an event sound must be to be kept; all of it is kept without.
        most_bytes
            How much the sound of all runs in ``home`` may take; the oldest goes first, events never.
        segment_seconds
            How much sound goes into one file, s.

        Raises
        ------
        JournalError
            When the folder or its database cannot be made.
        """
        started = now()
        about = {
            "title": title,
            "started": started.isoformat(),
            "rate": rate,
            "columns": list(columns),
            "keep_sound": keep_sound,
            "about": dict(meta),
        }
        held = None
        try:
            folder = make_run_folder(home, title, started)
            held = hold(folder)  # before anybody can open it
            note_begun(home, folder.name)
            (folder / "sound").mkdir()
            db = _new_database(folder / DATABASE, about)
        except (OSError, sqlite3.Error) as error:
            let_go(held)
            raise _cannot_keep(home, error) from error
        # What is taken away again is taken away file by file.
        seconds = segment_seconds or (_SHORT_SECONDS if around else SEGMENT_SECONDS)
        near = Near(around) if around else None
        room = None if most_bytes is None else Room(home, most_bytes)
        size = max(1, round(seconds * rate))
        waiting = Waiting(db)
        sound = SoundWriter(folder, waiting, rate=rate, segment_samples=size, near=near, room=room)
        kept = sound if keep_sound else None
        return cls(folder, db, waiting, kept, columns=len(columns), now=now, held=held)

    @property
    def id(self) -> str:
        """The run's name, by which it is opened again."""
        return self.folder.name

    def event(self, name: str, at: float, body: Mapping[str, Any]) -> None:
        """
        Keep an event, on disk when this returns, unless another program holds the database just then.

        Parameters
        ----------
        name
            What kind of event.
        at
            When, s from the run's first sample.
        body
            All of it, as JSON can say it.
        """
        text = to_json(body)
        with self._writing() as works:
            if works:
                if self._sound:
                    self._sound.event(name, at)
                self._waiting.add("INSERT INTO events (at, name, json) VALUES (?, ?, ?)", at, name, text)
                if self._waiting.held:
                    self._save_if_due()
                else:
                    self._save()

    def rows(self, at: ArrayLike, values: ArrayLike) -> None:
        """
        Keep feature rows.

        Parameters
        ----------
        at
            When each was, s from the run's first sample, (k,).
        values
            The features, (k, c), one column for each name that the run was created with.

        Raises
        ------
        ValueError
            When the shapes do not fit.
        """
        when, what = np.array(at, dtype="<f8"), np.array(values, dtype="<f4")  # copies: they wait
        if when.ndim != 1 or what.shape != (len(when), self._columns):
            raise ValueError(f"at {when.shape} and values {what.shape} must be (k,) and (k, {self._columns})")
        with self._writing() as works:
            if works and len(when):
                self._rows.append((when, what))
                self._save_if_due()

    def sound(self, samples: NDArray[np.float32]) -> None:
        """Keep the run's next samples, (n,) float32; does nothing when no sound is kept."""
        with self._writing() as works:
            if works and self._sound:
                with self._sounding():
                    self._sound.write(samples)
                self._save_if_due()

    def close(
        self, summary: Mapping[str, Any] | None = None, learned: Mapping[str, Any] | None = None
    ) -> None:
        """
        End the run; closing it again does nothing.

        Parameters
        ----------
        summary
            How it ended, as JSON can say it. A run without a summary counts as broken off.
        learned
            What was learned in it, as JSON can say it.
        """
        if self._closed:
            return
        self._closed = True
        try:
            with self._writing() as works:
                if works:
                    self._end(summary, learned)
        finally:
            self._let_go()

    def __enter__(self) -> Self:
        """Give itself; it is being kept already."""
        return self

    def __exit__(self, *_: object) -> None:
        """End the run as broken off, unless it was closed with a summary."""
        self.close()

    # --- writing ----------------------------------------------------------------------------------------

    @contextmanager
    def _writing(self) -> Iterator[bool]:
        """Everything that touches the disk goes through here; gives whether it still makes sense to."""
        if self.failed:
            yield False
            return
        try:
            yield True
        except (OSError, sqlite3.Error) as error:
            self.failed = True
            self._let_go()
            raise _cannot_keep(self.folder, error) from error

    @contextmanager
    def _sounding(self) -> Iterator[None]:
        """All writing of sound goes through here: where it fails, sound alone is kept no more."""
        try:
            yield
        except OSError as error:
            self._let_go_of_sound()
            raise _cannot_keep_sound(self.folder, error) from error

    def _save_if_due(self) -> None:
        # A clock that was set back, or stands still, must not stop the saving.
        in_time = timedelta(0) <= self._now() - self._saved < _SAVE_EVERY
        if not in_time or len(self._rows) >= _BATCHES_AT_MOST:
            self._save()

    def _save(self) -> None:
        """Put all that was handed over on disk; sound last, for it may fail."""
        for batch in self._batch():
            self._waiting.add('INSERT INTO rows (count, at, "values") VALUES (?, ?, ?)', *batch)
        self._rows.clear()
        self._waiting.settle()
        self._saved = self._now()
        if self._sound:
            with self._sounding():
                self._sound.flush()

    def _batch(self) -> list[tuple[int, bytes, bytes]]:
        """Return the waiting feature rows as one row of the table, if there are any."""
        if not self._rows:
            return []
        at = np.concatenate([at for at, _ in self._rows])
        values = np.concatenate([values for _, values in self._rows])
        return [(len(at), at.tobytes(), values.tobytes())]

    def _end(self, summary: Mapping[str, Any] | None, learned: Mapping[str, Any] | None) -> None:
        """Put the rest on disk, how it ended before the sound, for which there may be no room."""
        self._db.execute(f"PRAGMA busy_timeout = {_WAIT_AT_THE_END}")
        if summary is not None:
            with transaction(self._db):
                told = {"summary": dict(summary), "learned": dict(learned or {})}
                put_meta(self._db, {**told, "ended": self._now().isoformat()})
        self._save()
        if self._sound:
            with self._sounding():
                self._sound.close()
        if self._waiting.held:
            self.failed = True
            raise _held_to_the_end(self.folder)

    def _let_go_of_sound(self) -> None:
        sound, self._sound = self._sound, None
        if sound:
            with suppress(OSError):
                sound.abandon()

    def _let_go(self) -> None:
        """Close all files, whatever state they are in: nothing more can be done for them."""
        self._let_go_of_sound()
        with suppress(sqlite3.Error):
            self._db.close()
        let_go(self._held)
        self._held = None


def _new_database(path: Path, about: Mapping[str, Any]) -> sqlite3.Connection:
    db = connect(path, create=True)
    try:
        db.execute("PRAGMA journal_mode = WAL")
        db.execute("PRAGMA synchronous = FULL")
        migrate(db)
        with transaction(db):
            put_meta(db, about)
        db.execute(f"PRAGMA busy_timeout = {_WAIT}")
    except BaseException:
        db.close()
        raise
    return db


def _cannot_keep_sound(where: Path, error: OSError) -> JournalError:
    return JournalError(
        f"the run's sound cannot be kept in {where} ({error.strerror or error}): "
        f"make room or choose another CHIPSONG_HOME"
    )


def _held_to_the_end(where: Path) -> JournalError:
    return JournalError(
        f"the end of the run cannot be kept in {where}: another program holds its {DATABASE}, close that"
    )


def _cannot_keep(where: Path, error: Exception) -> JournalError:
    if is_held(error):
        return _held_to_the_end(where)
    reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
    return JournalError(
        f"the run cannot be kept in {where} ({reason}): make room or choose another CHIPSONG_HOME"
    )
