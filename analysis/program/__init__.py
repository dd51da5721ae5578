"""
The program that is being cut: read, timed, taken apart into parts, and written anew to carry on.

The language is that of Kramer, Proctor and Messina, *The NIST RS274/NGC Interpreter, Version 3*,
NISTIR 6556, 2000.
"""

from analysis.program.engagement import Engagement, engagement
from analysis.program.moves import Kind, Moves
from analysis.program.notes import Note
from analysis.program.parts import Part, find_parts
from analysis.program.program import Program
from analysis.program.reader import decode, read, read_file
from analysis.program.recut import recut_program
from analysis.program.restart import (
    Restart,
    Resume,
    carry_on,
    resume_at,
    resume_before_move,
)
from analysis.program.tabs import Tab
from analysis.program.timing import Machine, Schedule, schedule
from analysis.program.work import cutting

__all__ = [
    "Engagement",
    "Kind",
    "Machine",
    "Moves",
    "Note",
    "Part",
    "Program",
    "Restart",
    "Resume",
    "Schedule",
    "Tab",
    "carry_on",
    "cutting",
    "decode",
    "engagement",
    "find_parts",
    "read",
    "read_file",
    "recut_program",
    "resume_at",
    "resume_before_move",
    "schedule",
]
