"""Programs made by hand: three squares cut with two bits, and one long cut."""

from analysis.cutting import Bit
from analysis.locate import Plan
from analysis.program import read

BITS = {0: Bit("any", 6.0, 2, 18_000.0)}


def square(x: float, y: float, side: float, word: int) -> str:
    """A square outline, 3 mm deep, with N-words by tens."""
    ways = [
        f"G0 X{x} Y{y}",
        "G1 Z-3 F600",
        f"G1 X{x + side} F1200",
        f"G1 Y{y + side}",
        f"G1 X{x}",
        f"G1 Y{y}",
        "G0 Z5",
    ]
    return "\n".join(f"N{word + 10 * i} {way}" for i, way in enumerate(ways))


def plan_of(text: str) -> Plan:
    """The plan of a program."""
    return Plan.of(read(text, "test"), BITS)


TRAYS = plan_of(
    "\n".join(
        [
            "N10 G21 G90 G17",
            "N20 T1 M6",
            "N30 S18000 M3",
            "N40 G4 P3",
            "N50 G0 Z5",
            square(10, 10, 100, 100),
            square(150, 10, 100, 200),
            "N300 M5",
            "N310 T2 M6",
            "N320 S12000 M3",
            "N330 G4 P3",
            "N340 G0 Z5",
            square(300, 30, 60, 400),
            "N900 M5",
            "N910 M30",
        ]
    )
)
# One long cut of very many short lines, and no other sign on the way.
LONG = plan_of(
    "\n".join(
        ["G21 G90", "T1 M6", "S18000 M3", "G4 P3", "G0 Z5", "G0 X0 Y0", "G1 Z-3 F600"]
        + [f"G1 X{2 * i} F1200" for i in range(1, 1000)]
        + ["G0 Z5", "M5", "M30"]
    )
)


def line_of(plan: Plan, move: int) -> int:
    """File line of a move."""
    return int(plan.program.moves.file_line[move])
