"""The exit statuses of the command: a contract with other programs."""

import enum


class Status(enum.IntEnum):
    """How the command ended; fine means no alarm as well."""

    FINE = 0
    FAILED = 1
    WRONG_USAGE = 2
    ALARM = 3
