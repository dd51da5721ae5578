"""Files that the user named or keeps: written, or refused in one line."""

import io
import os
import tempfile
import warnings
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

from analysis.errors import ChipsongError

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def check_place(out: Path, program: Path) -> None:
    """Raise ChipsongError if ``out`` is the program itself: that stays as it is."""
    if out.exists() and program.exists() and out.samefile(program):
        raise ChipsongError(f"{out} is the program itself and stays as it is: choose another place")


def save(content: str | bytes, path: Path) -> None:
    """Write a file, whole or not at all; raise ChipsongError in one line when that fails."""
    whole = _bytes_of(content)
    try:
        if path.exists() and not path.is_file():
            path.write_bytes(whole)  # a pipe or a device is not to be replaced by a file
        else:
            _put(path.resolve(), whole)
    except OSError as error:
        raise cannot_write(path, error) from error


def save_picture(figure: "Figure", path: Path, dpi: float | None = None) -> None:
    """Draw a figure into a file, in the format that its name ends with; raise ChipsongError in one line."""
    kind = path.suffix[1:].lower() or "png"
    if kind not in figure.canvas.get_supported_filetypes():
        raise ChipsongError(f"cannot draw {path} (.{kind} is no picture): call it something.png")
    save(drawn(figure, kind, dpi or figure.dpi), path)


def drawn(figure: "Figure", kind: str, dpi: float) -> bytes:
    """
    Return a figure as a file, of a kind that matplotlib knows.

    Letters that its font does not have, in the name of a program perhaps, are drawn as boxes, and no more is
    said of it.
    """
    held = io.BytesIO()
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", r"Glyph .* missing from")
        figure.savefig(held, format=kind, dpi=dpi)
    return held.getvalue()


def cannot_write(path: Path, error: OSError) -> ChipsongError:
    """Return the error that says in one line why a file was not written."""
    return ChipsongError(f"cannot write {path} ({error.strerror}): choose another place")


def replace_file(path: Path, content: str | bytes) -> None:
    """
    Put a new file in the place of an old one at once, so that there is a whole one at every moment.

    Where the name is a link, the file behind it is replaced.

    Raises
    ------
    OSError
        When that fails; the old one is as it was.
    """
    path = path.resolve()
    path.parent.mkdir(parents=True, exist_ok=True)
    _put(path, _bytes_of(content))


def _bytes_of(content: str | bytes) -> bytes:
    return content.encode("utf-8") if isinstance(content, str) else content


def _put(path: Path, whole: bytes) -> None:
    handle, name = tempfile.mkstemp(prefix=f".{path.name}-", dir=path.parent)
    fresh = Path(name)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(whole)
            file.flush()
            os.fsync(file.fileno())
        fresh.chmod(path.stat().st_mode & 0o777 if path.exists() else 0o644)
        fresh.replace(path)
    except BaseException:
        with suppress(OSError):
            fresh.unlink(missing_ok=True)
        raise
