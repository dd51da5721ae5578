"""What is to be written into a run's database, and waits while another program holds that."""

import sqlite3

from monitor.journal.schema import transaction

_HELD = (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED)


class Waiting:
    """
    Statements, in order, that are carried out together.

    Parameters
    ----------
    db
        The database. It should hold up nobody for long: its own time to wait is what each try costs.

    Attributes
    ----------
    held
        Whether another program held the database when it was tried last.
    """

    def __init__(self, db: sqlite3.Connection) -> None:
        self.held = False
        self._db = db
        self._statements: list[tuple[str, tuple[object, ...]]] = []

    def add(self, statement: str, *values: object) -> None:
        """Let a statement wait."""
        self._statements.append((statement, values))

    def soon(self, statement: str, *values: object) -> None:
        """Carry a statement out, with all that waits; at the next try where the database is known as held."""
        self.add(statement, *values)
        if not self.held:
            self.settle()

    def settle(self) -> None:
        """Carry out all that waits, or nothing of it while another program holds the database."""
        try:
            if self._statements:
                with transaction(self._db):
                    for statement, values in self._statements:
                        self._db.execute(statement, values)
        except sqlite3.OperationalError as error:
            if not is_held(error):
                raise
            self.held = True
            return
        self._statements.clear()
        self.held = False


def is_held(error: Exception) -> bool:
    """Return whether an error says that another program holds the database."""
    # The lower byte is the kind of error, the rest says more of it.
    return getattr(error, "sqlite_errorcode", sqlite3.SQLITE_OK) & 0xFF in _HELD
