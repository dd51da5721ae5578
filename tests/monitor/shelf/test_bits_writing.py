"""Changes to the shelf's file: what a person wrote in it stays as it was, and a mistake changes nothing."""

import tomllib
from collections.abc import Callable
from pathlib import Path

import pytest
from contract import Ended

from analysis.errors import ShelfError
from monitor.shelf.bits import read_shelf
from monitor.shelf.writing import add_bit, change_bit, change_threshold, remove_bit

WRITTEN = """\
# the drawer, left side

[[bit]]
flutes = 2               # counted
diameter = "1/4in"
name = 'quarter'
kind = "up-cut"

# this one chatters
[[bit]]
kind = "v"
name = "vee"
diameter = 12.7
flutes = 1
  [bit.in.mdf]
  limit = 1.5   # heard it myself

# the end
"""


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Give a shelf as a person wrote it."""
    path = tmp_path / "bits.toml"
    path.write_text(WRITTEN)
    return path


def test_what_a_person_wrote_stays(path: Path):
    """Changes come where they belong; comments, order and spelling of all else are as they were."""
    change_bit(path, "Quarter", {"flutes": 3, "speed": 18000})
    change_threshold(path, "vee", "MDF", {"limit": 1.25})
    change_threshold(path, "vee", None, {"limit": 0.9})
    change_threshold(path, "quarter", "oak", {"limit": 1.1})
    expected = (
        WRITTEN.replace("flutes = 2 ", "flutes = 3 ")
        .replace('kind = "up-cut"\n', 'kind = "up-cut"\nspeed = 18000\nin = {oak = {limit = 1.1}}\n')
        .replace("limit = 1.5 ", "limit = 1.25 ")
        .replace("flutes = 1\n", "flutes = 1\nlimit = 0.9\n\n")
    )
    assert path.read_text() == expected


@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_the_mark_that_an_editor_puts_before_a_text_is_none_of_it(path: Path, end: str):
    """UTF-8 "with BOM" is read and changed as any other; all but the mark stays."""
    written = WRITTEN.replace("\n", end)
    path.write_bytes(b"\xef\xbb\xbf" + written.encode())
    assert [entry.bit.name for entry in read_shelf(path).entries] == ["quarter", "vee"]
    change_bit(path, "quarter", {"flutes": 3})
    assert path.read_bytes().decode() == written.replace("flutes = 2 ", "flutes = 3 ")


def test_a_bit_that_is_there_is_to_be_changed(path: Path, chipsong: Callable[..., Ended], home: Path):
    """Whoever adds it once more, to put it right, is told of `bits change`; the file stays as it was."""
    home.mkdir()
    shelf = path.rename(home / "bits.toml")
    ended = chipsong("bits", "add", "Quarter", "--diameter", "0.25in", "--flutes", 3, "--kind", "up-cut")
    said = "'quarter' is on the shelf already: `chipsong bits change` changes what is said of it"
    assert (ended.status, said in ended.err) == (1, True)
    assert shelf.read_text() == WRITTEN


def test_what_is_taken_back_leaves_the_file_as_it_was(path: Path):
    """A key, and a bit at the end, that are added and taken out again leave no trace."""
    change_bit(path, "quarter", {"care": "wipe it"})
    change_bit(path, "quarter", {"care": None})
    add_bit(path, {"name": "new", "diameter": "3mm", "flutes": 1, "kind": "ball"})
    assert [entry.bit.name for entry in read_shelf(path).entries] == ["quarter", "vee", "new"]
    remove_bit(path, "new")
    assert path.read_text().rstrip() == WRITTEN.rstrip()


@pytest.mark.parametrize("order", [("quarter", "vee"), ("vee", "quarter")])
def test_a_bit_that_goes_leaves_the_others_comments(path: Path, order: tuple[str, str]):
    """Comments between bits stay when one of them goes, and when all have gone one can be added."""
    first, second = order
    remove_bit(path, first)
    assert [entry.bit.name for entry in read_shelf(path).entries] == [second]
    remove_bit(path, second)
    for comment in ("# the drawer, left side", "# this one chatters", "# the end"):
        assert comment in path.read_text()
    add_bit(path, {"name": "new", "diameter": "3mm", "flutes": 1, "kind": "ball"})
    assert len(read_shelf(path).entries) == 1


def test_line_ends_and_links_stay(path: Path, tmp_path: Path):
    """A file with the line ends of another system keeps them; where the name is a link it stays one."""
    path.write_bytes(WRITTEN.replace("\n", "\r\n").encode())
    link = tmp_path / "link.toml"
    link.symlink_to(path)
    change_bit(link, "vee", {"flutes": 2})
    assert link.is_symlink()
    assert path.read_bytes() == WRITTEN.replace("flutes = 1", "flutes = 2").replace("\n", "\r\n").encode()


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda path: change_bit(path, "vee", {"flutes": 0}), r"bit 2 \('vee'\), flutes = 0: it must be"),
        (lambda path: change_bit(path, "ball", {"flutes": 1}), "no bit 'ball'"),
        (lambda path: change_threshold(path, "vee", "oak", {"limit": 9.0}), r"in\.oak\.limit = 9\.0"),
        (lambda path: add_bit(path, {"name": "VEE", "diameter": 1, "flutes": 1, "kind": "v"}), "already"),
        (lambda path: add_bit(path, {"name": "x"}), "diameter is missing"),
    ],
)
def test_a_mistake_changes_nothing(path: Path, change: Callable[[Path], None], said: str):
    """What would not be a good shelf is refused in one line, and nothing is left beside the file."""
    with pytest.raises(ShelfError, match=said):
        change(path)
    assert path.read_text() == WRITTEN
    assert list(path.parent.iterdir()) == [path]


def test_the_commands(chipsong: Callable[..., Ended], home: Path):
    """A bit is added, listed, changed, shown and removed, and the file says it all."""
    described = ("--diameter", "6mm", "--flutes", 2, "--kind", "up-cut", "--material", "poplar plywood")
    assert chipsong("bits", "add", "six", *described).status == 0
    assert "poplar plywood" in chipsong("bits").out
    assert chipsong("bits", "change", "six", "--false-alarms", 2, "--without", "material").status == 0
    assert "false alarms: 2 in 20 h" in chipsong("bits", "show", "SIX").out
    (table,) = tomllib.loads((home / "bits.toml").read_text())["bit"]
    assert table == {"name": "six", "diameter": "6mm", "flutes": 2, "kind": "up-cut", "false_alarms": 2}
    assert chipsong("bits", "remove", "six", "--yes").status == 0
    assert chipsong("bits", "show", "six").status == 1


def test_a_shelf_in_the_other_form_is_not_added_to(path: Path):
    """A list of bits on one line cannot go on as tables: that is said, and nothing is written."""
    written = 'bit = [ { name = "a", diameter = 6, flutes = 2, kind = "up-cut" } ]\n'
    path.write_text(written)
    for change in (
        lambda: add_bit(path, {"name": "z", "diameter": 3.0, "flutes": 1, "kind": "straight"}),
        lambda: change_bit(path, "a", {"flutes": 1}),
    ):
        with pytest.raises(ShelfError, match=r"bits\.toml: write each bit as a table that begins with"):
            change()
    assert path.read_text() == written
