"""Restart programs as text."""

from typing import Any

from analysis.program import Program, carry_on


def restart_program(program: Program, line: int, **given: Any) -> str:
    """The text of a program that carries on from a line; `carry_on` says how, and what may be given."""
    return carry_on(program, line, **given).text
