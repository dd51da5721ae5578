"""Files that a person writes, in TOML."""

import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from analysis.errors import ShelfError

PLAIN = "utf-8-sig"
"""How the text of a file that a person writes is kept: some editors put a mark before it that nobody sees."""


def read_tables(path: Path) -> dict[str, Any]:
    """
    Read the tables of a file; where there is no file there are none.

    Raises
    ------
    ShelfError
        When it cannot be read, or is no TOML; the text names the file.
    """
    try:
        return tomllib.loads(path.read_text(encoding=PLAIN))
    except FileNotFoundError:
        return {}
    except OSError as error:
        raise ShelfError(f"cannot read {path} ({error.strerror}): check the file and its folder") from error
    except UnicodeDecodeError as error:
        raise ShelfError(f"{path} is not plain text (UTF-8): save it as that") from error
    except tomllib.TOMLDecodeError as error:
        raise ShelfError(f"{path} cannot be understood: {error}") from error


def tables_named(tables: Mapping[str, Any], name: str) -> list[dict[str, Any]]:
    """
    Return the tables of this name, of a file in which only they may stand.

    Raises
    ------
    ValueError
        When something else stands there. One line.
    """
    for key in tables:
        if key != name:
            raise ValueError(f"{key}: only [[{name}]] tables may stand here")
    found = tables.get(name, [])
    if not isinstance(found, list) or not all(isinstance(table, dict) for table in found):
        raise ValueError(f"{name}: write each {name} as a table that begins with [[{name}]]")
    return found
