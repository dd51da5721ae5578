"""Which bits a program is cut with, and how they are known."""

from analysis.contents import Known, Tool
from analysis.cutting import Bit
from analysis.program import Program
from monitor.setup import Wanted, bits_for
from monitor.shelf.bits import Shelf


def tools_for(wanted: Wanted, program: Program, shelf: Shelf) -> dict[int, Tool]:
    """
    Return the bit behind each T number, and behind 0 the one for all others, as `watch` would take them.

    Raises
    ------
    ShelfError
        When the bit that was named is not on the shelf.
    """
    named = shelf.find(wanted.bit) if wanted.bit else None
    bits = bits_for(wanted, program, shelf)
    return {number: _tool(wanted, bit, named or shelf.by_tool(number)) for number, bit in bits.items()}


def _tool(wanted: Wanted, bit: Bit, found: Bit | None) -> Tool:
    known: Known = "shelf" if found else "assumed"
    own = found.speed if found else None
    of_program: Known = "program" if bit.speed else "unknown"
    speed: Known = "shelf" if own and (bit.speed, bit.speeds) == (own, ()) else of_program
    return Tool(
        bit,
        diameter="said" if wanted.diameter else known,
        flutes="said" if wanted.flutes else known,
        speed="said" if wanted.speed else speed,
        shelf=found.name if found else "",
        shelf_speed=own,
    )
