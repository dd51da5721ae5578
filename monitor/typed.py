"""
Numbers and times as a person types them, and what is said where one can't be used.

Only click is imported before something is typed, see `monitor.cli`.
"""

import math
from contextlib import suppress
from typing import Any

import click

_Option = click.Parameter | None
_Command = click.Context | None


class Number(click.FloatRange):
    """
    A number.

    Parameters
    ----------
    least, most
        Its bounds.
    what
        What it is, where it may be taken for another number.
    """

    name = "number"

    def __init__(self, least: float, most: float | None = None, what: str = "") -> None:
        super().__init__(least, most)
        self._what = what and f"; it is {what}"

    def convert(self, value: Any, param: _Option, ctx: _Command) -> float:  # noqa: ANN401 - text, or a default
        """Return what was typed as a number."""
        with suppress(click.BadParameter):
            number = super().convert(value, param, ctx)
            if not math.isnan(number):
                return number
        raise _refused(value, f"a number{_bounds(self.min, self.max)}{self._what}", param, ctx)


class Whole(click.IntRange):
    """
    A whole number.

    Parameters
    ----------
    least, most
        Its bounds.
    what
        What it counts, where it may be taken for another number.
    """

    name = "number"

    def __init__(self, least: int, most: int | None = None, what: str = "") -> None:
        super().__init__(least, most)
        self._what = what and f"; it is {what}"

    def convert(self, value: Any, param: _Option, ctx: _Command) -> int:  # noqa: ANN401 - text, or a default
        """Return what was typed as a whole number."""
        with suppress(click.BadParameter):
            return super().convert(value, param, ctx)
        raise _refused(value, f"a whole number{_bounds(self.min, self.max)}{self._what}", param, ctx)


RPM = Number(100, 100_000, what="rpm, not thousands")
"""A spindle's speed."""


def moment(ctx: click.Context, param: click.Parameter, said: str | None) -> float | None:
    """Return a moment of a run, as it is listed, 3:27, or in seconds; for an option."""
    from monitor.words import moment_of  # noqa: PLC0415

    at = None if said is None else moment_of(said)
    if said is not None and at is None:
        raise _refused(said, "a time as 3:27, or seconds as 207.5", param, ctx)
    return at


def _bounds(least: float | None, most: float | None) -> str:
    digits = "in digits alone, without a letter or a unit"
    return f" from {least:.9g} {'on' if most is None else f'to {most:.9g}'}, {digits}"


def _refused(value: object, wanted: str, param: _Option, ctx: _Command) -> click.BadParameter:
    return click.BadParameter(f"'{value}' can't be used: type {wanted}", ctx=ctx, param=param)
