"""Files that the user named are written whole or not at all."""

import os
import resource
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from matplotlib.figure import Figure

from analysis.errors import ChipsongError
from analysis.figures.looks import INK, heading, key, stroke
from monitor.saving import save, save_picture


@contextmanager
def no_room_after(size: int) -> Iterator[None]:
    """Let the system itself refuse to make any file longer than so many bytes, as a full disk does."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


def test_what_cannot_be_written_whole_is_not_there(tmp_path: Path) -> None:
    """Half of a restart program would end in the middle of a cut."""
    out = tmp_path / "rest.ngc"
    with (
        no_room_after(1000),
        pytest.raises(ChipsongError, match=r"cannot write .*rest\.ngc .*choose another"),
    ):
        save("G1 X1.0\n" * 1000, out)
    assert list(tmp_path.iterdir()) == []


def test_what_stood_there_stays_where_there_is_no_room(tmp_path: Path) -> None:
    """The old file is as good as it was."""
    out = tmp_path / "rest.ngc"
    save("M2\n", out)
    with no_room_after(1000), pytest.raises(ChipsongError):
        save("G1 X1.0\n" * 1000, out)
    assert out.read_text() == "M2\n"
    assert list(tmp_path.iterdir()) == [out]


def test_no_picture_is_cut_off(tmp_path: Path) -> None:
    """A picture is drawn before its file is made."""
    out = tmp_path / "sheet.png"
    with no_room_after(1000), pytest.raises(ChipsongError, match=r"cannot write .*sheet\.png"):
        save_picture(Figure(), out)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("name", "begins"), [("sheet.png", b"\x89PNG"), ("sheet.pdf", b"%PDF"), ("sheet", b"\x89PNG")]
)
def test_a_picture_is_of_the_kind_that_its_name_ends_with(tmp_path: Path, name: str, begins: bytes) -> None:
    """And is a PNG where the name does not say."""
    save_picture(Figure(), tmp_path / name)
    assert (tmp_path / name).read_bytes().startswith(begins)


def test_whatever_a_program_and_its_bits_are_called_their_picture_is_drawn(
    tmp_path: Path, recwarn: pytest.WarningsRecorder
) -> None:
    """A dollar sign begins no formula, and of letters that are missing in the font nothing is said beside."""
    name = "cost $^$ \\frac 托盘"
    drawn = Figure()
    heading(drawn, 0.3, name, (name,))
    key(drawn, [stroke(name, INK, 1.0)], columns=1, low=0.2)
    save_picture(drawn, tmp_path / "sheet.png")
    assert [text.get_text() for text in drawn.texts] == [name, name]
    assert not recwarn.list


def test_a_name_that_is_no_picture_is_refused_in_one_line(tmp_path: Path) -> None:
    """The error says what to call it."""
    with pytest.raises(ChipsongError, match=r"call it something\.png"):
        save_picture(Figure(), tmp_path / "sheet.mp3")
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_is_not_there_is_not_made(tmp_path: Path) -> None:
    """It is more likely a slip of the finger."""
    with pytest.raises(ChipsongError, match=r"cannot write .*No such file"):
        save("M2\n", tmp_path / "typo" / "rest.ngc")
    assert list(tmp_path.iterdir()) == []


def test_a_pipe_stays_a_pipe(tmp_path: Path) -> None:
    """Nor does a device become a file."""
    pipe, read = tmp_path / "pipe", []
    os.mkfifo(pipe)
    reader = threading.Thread(target=lambda: read.append(pipe.read_text()), daemon=True)
    reader.start()
    save("M2\n", pipe)
    reader.join(5.0)
    assert read == ["M2\n"]
    assert pipe.is_fifo()


def test_a_link_still_leads_to_its_file(tmp_path: Path) -> None:
    """What it leads to is replaced."""
    (tmp_path / "kept").mkdir()
    link, behind = tmp_path / "rest.ngc", tmp_path / "kept" / "rest.ngc"
    behind.write_text("old")
    link.symlink_to(behind)
    save("M2\n", link)
    assert link.is_symlink()
    assert behind.read_text() == "M2\n"
