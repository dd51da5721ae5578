"""Templates become HTML; whatever is put into them is escaped."""

from functools import cache
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from analysis.figures.clock import lasting, moment
from monitor.words import (
    CAUSES,
    CAUTIONS,
    TIGHTENED,
    UNKNOWN_SPINDLE,
    VERDICTS,
    clock,
    count,
    first_of_all,
    found_text,
    how_long,
    place,
    steps_after,
    why_there,
)

STATIC = Path(__file__).parent / "static"


@cache
def _environment() -> Environment:
    made = Environment(
        loader=FileSystemLoader(Path(__file__).parent / "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters.update(clock=clock, count=count, lasting=lasting, moment=moment, place=place)
    made.filters.update(first_of_all=first_of_all, steps_after=steps_after, why_there=why_there)
    made.filters.update(found_text=found_text, how_long=how_long)
    made.globals.update(CAUTIONS=CAUTIONS, CAUSES=CAUSES, VERDICTS=VERDICTS)
    made.globals.update(TIGHTENED=TIGHTENED, UNKNOWN_SPINDLE=UNKNOWN_SPINDLE)
    return made


def render(name: str, **values: object) -> str:
    """Return a template of this package, filled in."""
    return _environment().get_template(name).render(values)
