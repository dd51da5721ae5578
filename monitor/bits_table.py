"""The boundary of the shelf: what may stand in its file, and what is said when something else does."""

from collections.abc import Mapping
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, StrictInt, ValidationError

from analysis.cutting import Bit
from monitor.bits import KINDS, Entry, parse_length
from monitor.tables import tables_named


def _length(value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        raise ValueError("must be a length such as 6.35mm or 0.25in")  # noqa: TRY004 - pydantic wants it so
    return parse_length(str(value))


class _Bit(BaseModel):
    """One ``[[bit]]`` table."""

    model_config = ConfigDict(extra="forbid", str_strip_whitespace=True)

    name: Annotated[str, Field(min_length=1)]
    diameter: Annotated[float, BeforeValidator(_length)]
    flutes: Annotated[StrictInt, Field(ge=1, le=12)]
    kind: Literal["up-cut", "down-cut", "compression", "straight", "ball", "v"]
    speed: Annotated[float, Field(gt=0, le=100_000, allow_inf_nan=False, strict=True)] | None = None
    tool: Annotated[StrictInt, Field(ge=1, le=99_999)] | None = None

    def entry(self) -> Entry:
        return Entry(Bit(self.name, self.diameter, self.flutes, self.speed), self.kind, self.tool)


_ALLOWED = {
    "name": "some text",
    "diameter": "a length of more than 0, such as 6.35mm or 0.25in",
    "flutes": "a whole number from 1 to 12",
    "kind": f"one of {', '.join(KINDS)}",
    "speed": "rpm, more than 0 and at most 100000",
    "tool": "its T number, a whole number from 1 to 99999",
}


def entries_of(tables: Mapping[str, Any]) -> tuple[Entry, ...]:
    """
    Return the entries of a shelf's file, as `tomllib` reads it.

    Raises
    ------
    ValueError
        When something is wrong: which bit, which key, which value, what is allowed. One line.
    """
    bits = tables_named(tables, "bit")
    return tuple(_entry(number, bit) for number, bit in enumerate(bits, start=1))


def _entry(number: int, table: Mapping[str, Any]) -> Entry:
    try:
        return _Bit.model_validate(table).entry()
    except ValidationError as error:
        raise ValueError(f"bit {number} ('{table.get('name', '')}'), {_said(error)}") from error


def _said(error: ValidationError) -> str:
    """Say what is wrong first, in our words."""
    first = error.errors()[0]
    key = str(first["loc"][0])
    if first["type"] == "missing":
        return f"{key} is missing: it must be {_ALLOWED[key]}"
    if key not in _ALLOWED:
        return f"{key} = {first['input']!r}: there is no such key, only {', '.join(_ALLOWED)}"
    return f"{key} = {first['input']!r}: it must be {_ALLOWED[key]}"
