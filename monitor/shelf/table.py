"""The boundary of the shelf: what may stand in its file, and what is said when something else does."""

from collections.abc import Mapping
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, StrictInt, ValidationError

from analysis.cutting import Bit
from monitor.shelf.bits import KINDS, Entry, Thresholds, parse_length
from monitor.tables import tables_named


def _length(value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        raise ValueError("must be a length such as 6.35mm or 0.25in")  # noqa: TRY004 - pydantic wants it so
    length = parse_length(str(value))
    if length > LARGEST:
        raise ValueError(f"must be {LARGEST:g} mm at most")
    return length


LARGEST = 300.0
"""mm; a cutter that is larger than any of a router's is a slip of the finger, or in another unit."""

_Text = Annotated[str, Field(min_length=1)]
# What stands in lists, a line each.
_Name = Annotated[str, Field(min_length=1, pattern=r"^\P{Cc}+$")]


class _Thresholds(BaseModel):
    """When to alarm."""

    model_config = ConfigDict(extra="forbid", str_strip_whitespace=True, populate_by_name=True)

    false_alarms: Annotated[float, Field(ge=0.001, le=1000, strict=True)] | None = None
    hours: Annotated[float, Field(ge=0.1, le=100_000, strict=True)] | None = None
    limit: Annotated[float, Field(ge=0.2, le=5, strict=True)] | None = None

    def thresholds(self) -> Thresholds:
        return Thresholds(self.false_alarms, self.hours, self.limit)


class _Bit(_Thresholds):
    """One ``[[bit]]`` table."""

    name: _Name
    diameter: Annotated[float, BeforeValidator(_length)]
    flutes: Annotated[StrictInt, Field(ge=1, le=12)]
    kind: Literal["up-cut", "down-cut", "compression", "straight", "ball", "v"]
    speed: Annotated[float, Field(ge=100, le=100_000, allow_inf_nan=False, strict=True)] | None = None
    tool: Annotated[StrictInt, Field(ge=1, le=99_999)] | None = None

    material: _Name | None = None
    care: _Text | None = None
    others: Annotated[dict[_Name, _Thresholds], Field(alias="in")] = {}

    def entry(self) -> Entry:
        return Entry(
            Bit(self.name, self.diameter, self.flutes, self.speed),
            self.kind,
            self.tool,
            self.material,
            self.care,
            self.thresholds(),
            {name: told.thresholds() for name, told in self.others.items()},
        )


_ALLOWED = {
    "name": "some text on one line",
    "diameter": f"a length of more than 0, and {LARGEST:g} mm at most, such as 6.35mm or 0.25in; a fraction "
    "has its unit, 1/4in",
    "flutes": "a whole number from 1 to 12",
    "kind": f"one of {', '.join(KINDS)}",
    "speed": "rpm, not thousands: a number from 100 to 100000",
    "tool": "its T number, a whole number from 1 to 99999",
    "material": "some text on one line",
    "care": "some text",
    "false_alarms": "a number from 0.001 to 1000",
    "hours": "a number from 0.1 to 100000",
    "limit": "a number from 0.2 to 5",
    "in": "a table of materials, each with false_alarms, hours or limit",
}

KEYS = tuple(_ALLOWED)
"""What may stand in the table of a bit."""


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
        raise ValueError(f"bit {number} ({table.get('name', '')!r}), {_said(error)}") from error


def _said(error: ValidationError) -> str:
    """Say what is wrong first, in our words."""
    first = error.errors()[0]
    # Only within a table of a material does more than the first word say where.
    words = [str(word) for word in first["loc"]]
    path, key = (".".join(words), words[-1]) if words[0] == "in" else (words[0], words[0])
    if first["type"] == "missing":
        return f"{path} is missing: it must be {_ALLOWED[key]}"
    if words[0] == "in" and key not in _Thresholds.model_fields:
        return f"{path} = {first['input']!r}: it must be {_ALLOWED['in']}"
    if first["type"] == "extra_forbidden" or key not in _ALLOWED:
        return f"{path} = {first['input']!r}: there is no such key, only {', '.join(_ALLOWED)}"
    return f"{path} = {first['input']!r}: it must be {_ALLOWED[key]}"
