"""The tables of a run, and how those of older runs are brought up to date."""

import json
import os
import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from analysis.errors import JournalError

MIGRATIONS: tuple[tuple[str, ...], ...] = (
    (
        # Values are JSON.
        "CREATE TABLE meta (key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID",
        # "at" is seconds from the run's first sample, by counting samples, here and below.
        """CREATE TABLE events (
            id INTEGER PRIMARY KEY, at REAL NOT NULL, name TEXT NOT NULL, json TEXT NOT NULL)""",
        # A batch of feature rows: "at" float64 (count,), "values" float32 (count, columns), little-endian.
        """CREATE TABLE rows (
            id INTEGER PRIMARY KEY, count INTEGER NOT NULL, at BLOB NOT NULL, "values" BLOB NOT NULL)""",
        # "samples" is empty while a segment is being written.
        "CREATE TABLE segments (first_sample INTEGER PRIMARY KEY, samples INTEGER, path TEXT NOT NULL)",
    ),
)
"""One tuple of statements for each version; a version that was once published is never changed."""


def connect(path: Path, *, create: bool = False) -> sqlite3.Connection:
    """
    Open a database, which commits each statement by itself outside a `transaction`.

    Where nothing can be written beside it, on a disk that is read-only say, it can be read.
    """
    mode = "rwc" if create else "rw" if os.access(path.parent, os.W_OK) else _to_read(path)
    address = f"{path.absolute().as_uri()}?mode={mode}"
    return sqlite3.connect(address, uri=True, isolation_level=None, timeout=5)


def _to_read(path: Path) -> str:
    # What was not yet written into it lies in a log beside it. Where there is none SQLite would make one.
    log = path.with_name(f"{path.name}-wal")
    return "ro" if log.exists() and log.stat().st_size else "ro&immutable=1"


@contextmanager
def transaction(db: sqlite3.Connection) -> Iterator[None]:
    """All that is executed within is kept together, or not at all."""
    db.execute("BEGIN IMMEDIATE")
    try:
        yield
        db.execute("COMMIT")
    except BaseException:
        if db.in_transaction:  # SQLite has rolled back by itself when the disk is full
            db.execute("ROLLBACK")
        raise


def to_json(value: object) -> str:
    """Return a value as JSON that a database takes; signs that no text may hold are replaced."""
    return json.dumps(value, ensure_ascii=False).encode("utf-8", "replace").decode("utf-8")


def put_meta(db: sqlite3.Connection, entries: Mapping[str, Any]) -> None:
    """Write entries of the table ``meta``, as JSON."""
    rows = [(key, to_json(value)) for key, value in entries.items()]
    db.executemany("INSERT OR REPLACE INTO meta VALUES (?, ?)", rows)


def get_meta(db: sqlite3.Connection) -> dict[str, Any]:
    """Return the table ``meta``, empty where there is none."""
    if not db.execute("SELECT 1 FROM sqlite_master WHERE type = 'table' AND name = 'meta'").fetchone():
        return {}
    return {key: json.loads(value) for key, value in db.execute("SELECT key, value FROM meta")}


def _version(db: sqlite3.Connection) -> int:
    return int(get_meta(db).get("schema", 0))


def migrate(db: sqlite3.Connection, steps: Sequence[Sequence[str]] = MIGRATIONS) -> None:
    """
    Bring the tables to the newest version, all of it or nothing.

    The version is recorded in the same transaction as the change that makes it.

    Parameters
    ----------
    db
        The run's database.
    steps
        The statements that lead to each version.

    Raises
    ------
    JournalError
        When the tables are newer than this program.
    """
    version = _version(db)
    if version > len(steps):
        raise JournalError(
            f"a newer chipsong kept it (tables of version {version}, "
            f"this one knows up to {len(steps)}): update chipsong"
        )
    if version == len(steps):
        return
    with transaction(db):
        for step in steps[_version(db) :]:  # asked again: another process may have been quicker
            for statement in step:
                db.execute(statement)
        put_meta(db, {"schema": len(steps)})
