"""
Changes to the shelf's file, which a person writes too: comments, order and spelling of all else stay.

What would not be a good shelf afterwards is not written. The new file takes the place of the old one at
once, so that there is a whole one at every moment.
"""

import tomllib
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit import TOMLDocument
from tomlkit.items import AoT, Comment, Table, Whitespace
from tomlkit.items import Item as TomlItem

from analysis.errors import ShelfError
from monitor.journal.held import alone_in
from monitor.saving import replace_file
from monitor.shelf.bits import check_shelf, read_shelf, same_name
from monitor.tables import PLAIN

Change = Mapping[str, Any]
"""What each key is to be; ``None`` takes it out."""


def add_bit(path: Path, bit: Change) -> None:
    """
    Put a bit at the end of the shelf.

    Raises
    ------
    ShelfError
        When it is there already, the shelf would not be good with it, or the file cannot be written.
    """
    with alone_in(path.parent):
        for entry in read_shelf(path).entries:
            if same_name(entry.bit.name, str(bit["name"])):
                raise ShelfError(
                    f"'{entry.bit.name}' is on the shelf already: `chipsong bits change` changes what is "
                    "said of it, or give this one another name"
                )
        table, end = tomlkit.table(), tomlkit.document()
        table.update({key: value for key, value in bit.items() if value is not None})
        bits = tomlkit.aot()
        bits.append(table)
        end.append("bit", bits)
        before = _text(path)
        _bits_of(path, before)
        gap = "" if not before else "\n" if before.endswith("\n") else "\n\n"
        _write(path, f"{before}{gap}{tomlkit.dumps(end)}")


def change_bit(path: Path, name: str, change: Change) -> None:
    """
    Change what the shelf says of a bit.

    Raises
    ------
    ShelfError
        When there is no such bit, the shelf would not be good afterwards, or the file cannot be written.
    """

    def put(bits: AoT, index: int) -> str:
        for key, value in change.items():
            _put(bits[index], key, value)
        return ""

    _edit(path, name, put)


def change_threshold(path: Path, name: str, material: str | None, change: Change) -> None:
    """
    Change when to alarm for a bit: in a material, or where ``None``, in its usual one.

    Raises
    ------
    ShelfError
        See `change_bit`.
    """

    def put(bits: AoT, index: int) -> str:
        table = bits[index]
        if material is not None:
            if "in" not in table:
                _put(table, "in", tomlkit.inline_table())
            others = table["in"]
            known = next((other for other in others if same_name(other, material)), material)
            if known not in others:
                others[known] = tomlkit.inline_table()
            table = others[known]
        for key, value in change.items():
            _put(table, key, value)
        return ""

    _edit(path, name, put)


def remove_bit(path: Path, name: str) -> None:
    """
    Take a bit off the shelf. Comments above and below it stay.

    Raises
    ------
    ShelfError
        See `change_bit`.
    """

    def take(bits: AoT, index: int) -> str:
        rest = "".join(item.as_string() for _, item in _tail(bits[index]))
        del bits[index]
        if index == len(bits):
            return rest
        # What stands between two bits in the file belongs to the first of them, as tomlkit sees it.
        bits[index].trivia.indent = rest + bits[index].trivia.indent
        return ""

    _edit(path, name, take)


def _edit(path: Path, name: str, change: Callable[[AoT, int], str]) -> None:
    """Let ``change`` work on the bits, of which it gets all and the one meant; what it returns goes last."""
    with alone_in(path.parent):
        shelf = read_shelf(path)
        index = shelf.entries.index(shelf.entry(name))
        document, bits = _bits_of(path, _text(path))
        rest = change(bits, index)
        if not bits:
            del document["bit"]
        _write(path, tomlkit.dumps(document) + rest)


def _bits_of(path: Path, text: str) -> tuple[TOMLDocument, AoT]:
    """Return a shelf's text as it can be changed, and the bits in it."""
    document = tomlkit.parse(text)
    bits = document.get("bit", tomlkit.aot())
    if not isinstance(bits, AoT):
        raise ShelfError(
            f"{path}: write each bit as a table that begins with [[bit]], then it can be changed"
        )
    return document, bits


def _put(table: Any, key: str, value: object) -> None:  # noqa: ANN401 - any table, inline or not
    if value is None:
        table.pop(key, None)
    elif key in table or not isinstance(table, Table):
        table[key] = value
    else:
        # A new key goes behind the last one, not behind the comments that come before the next bit.
        tail = _tail(table) if not _last_table(table) else []
        table[key] = value
        table.value.body.extend(tail)


def _last_table(table: Table) -> Table | None:
    last = next((item for key, item in reversed(table.value.body) if key is not None), None)
    return last if isinstance(last, Table) else None


def _tail(table: Table) -> list[tuple[Any, TomlItem]]:
    """Take the comments and blank lines off the end of a table, and return them."""
    inner = _last_table(table)
    if inner is not None:
        return _tail(inner)
    body, taken = table.value.body, []
    while body and isinstance(body[-1][1], Comment | Whitespace):
        taken.append(body.pop())
    return taken[::-1]


def _text(path: Path) -> str:
    # Line ends stay as they are.
    try:
        return path.read_bytes().decode(PLAIN)
    except FileNotFoundError:
        return ""


def _write(path: Path, text: str) -> None:
    """Put ``text`` in the place of the file if it makes a good shelf."""
    check_shelf(path, tomllib.loads(text))
    try:
        replace_file(path, text)
    except OSError as error:
        raise ShelfError(f"cannot write {path} ({error.strerror}): the shelf stays as it was") from error
