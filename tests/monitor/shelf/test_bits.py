"""The shelf of bits: what a person may write, what comes of it, and what is said of mistakes."""

import re
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.cutting import Bit
from analysis.errors import ShelfError
from monitor.shelf.bits import KINDS, Shelf, parse_height, parse_length, read_shelf

SHELF = """
# the bits in the drawer
[[bit]]
name = "6 mm up-cut"
diameter = "6mm"
flutes = 2
kind = "up-cut"
speed = 18000
tool = 1

[[bit]]
name = "Quarter V"
diameter = "0.25in"
flutes = 1
kind = "v"
"""


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Name the shelf's file, which is not there yet."""
    return tmp_path / "bits.toml"


def written(path: Path, **values: str) -> Path:
    """Write a shelf with one good bit, some of its values replaced; "" leaves a key out."""
    good = {"name": '"a"', "diameter": '"6mm"', "flutes": "2", "kind": '"up-cut"'}
    lines = [f"{key} = {value}" for key, value in (good | values).items() if value]
    path.write_text("\n".join(["[[bit]]", *lines]))
    return path


@pytest.mark.parametrize(
    ("text", "length"),
    [
        ("6.35mm", 6.35),
        ("0.25in", 6.35),
        ("6.35", 6.35),
        ("1/4in", 6.35),
        ("3/8 IN", 9.525),
        (".5inch", 12.7),
    ],
)
def test_lengths_come_in_mm_and_inch(text: str, length: float):
    """A length is mm unless it says inch (25.4 mm by definition), and fractions are understood."""
    assert parse_length(text) == pytest.approx(length, rel=1e-15)


@pytest.mark.parametrize(
    "text", ["", "mm", "six", "-6mm", "0", "0in", "1/0in", "6cm", "6 mm 2", "nan", "inf", "1e400", "6,35mm"]
)
def test_what_is_no_length_is_refused(text: str):
    """Anything else is a ValueError of one line that shows the text and how to write it."""
    with pytest.raises(ValueError, match=r"6\.35mm or 0\.25in") as caught:
        parse_length(text)
    assert f"'{text}'" in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("text", "height"),
    [("12mm", 12.0), ("0", 0.0), ("-0", 0.0), ("0mm", 0.0), ("-1/2in", -12.7), ("18", 18.0)],
)
def test_heights_may_be_nothing_or_less(text: str, height: float):
    """A height is written as a length, but may lie at zero or below."""
    assert parse_height(text) == pytest.approx(height, rel=1e-15)


@pytest.mark.parametrize("text", ["", "-", "--6mm", "top", "1/0in", "6cm", "nan", "inf"])
def test_what_is_no_height_is_refused(text: str):
    """Anything else is a ValueError of one line that shows the text and how to write it."""
    with pytest.raises(ValueError, match=r"12mm, 0\.5in or 0") as caught:
        parse_height(text)
    assert f"'{text}'" in str(caught.value)


@pytest.mark.parametrize("text", ["1/4", " 3/8 "])
def test_a_fraction_has_a_unit(text: str):
    """A bare number is mm, but nobody means a quarter of a mm by a fraction: it is not guessed."""
    for parse in (parse_length, parse_height):
        with pytest.raises(ValueError, match=f"'{text}' has no unit: write it as {text.strip()}in"):
            parse(text)


@given(st.floats(min_value=1e-3, max_value=1e3))
def test_inch_and_mm_agree(length: float):
    """The same number in inch is 25.4 times as long as in mm."""
    assert parse_length(f"{length:.6f}in") == pytest.approx(25.4 * parse_length(f"{length:.6f}mm"), rel=1e-12)


def test_a_shelf_is_read(path: Path):
    """Each table becomes a bit, with its length in mm, its kind and its T number."""
    path.write_text(SHELF)
    shelf = read_shelf(path)
    assert [entry.bit for entry in shelf.entries] == [
        Bit("6 mm up-cut", 6.0, 2, 18000.0),
        Bit("Quarter V", pytest.approx(6.35), 1, None),
    ]
    assert [(entry.kind, entry.tool) for entry in shelf.entries] == [("up-cut", 1), ("v", None)]


def test_bits_are_found_by_name_and_by_tool(path: Path):
    """A name is found in any case, a T number gives its bit or None."""
    path.write_text(SHELF)
    shelf = read_shelf(path)
    assert shelf.find(" quarter v").name == "Quarter V"
    bit = shelf.by_tool(1)
    assert bit is not None
    assert bit.name == "6 mm up-cut"
    assert shelf.by_tool(2) is None


def test_an_unknown_name_lists_what_there_is(path: Path):
    """Asking for a bit that is not there names the file and the bits in it."""
    path.write_text(SHELF)
    with pytest.raises(ShelfError, match=r"no bit 'ball' in .*bits\.toml: it has '6 mm up-cut', 'Quarter V'"):
        read_shelf(path).find("ball")


@pytest.mark.parametrize("text", [None, "", "# nothing yet\n"])
def test_no_shelf_is_an_empty_shelf(path: Path, text: str | None):
    """A file that is missing or has no bits is an empty shelf, and looking for a bit in it says so."""
    if text is not None:
        path.write_text(text)
    assert read_shelf(path) == Shelf(path)
    with pytest.raises(ShelfError, match="is empty"):
        read_shelf(path).find("ball")


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_is_accepted(path: Path, kind: str):
    """Each kind of the list may be written."""
    assert read_shelf(written(path, kind=f'"{kind}"')).entries[0].kind == kind


@pytest.mark.parametrize("diameter", ["6", "6.0", '"6"', '" 6 mm "'])
def test_a_diameter_may_be_a_number_or_text(path: Path, diameter: str):
    """A bare number is mm, with quotes or without."""
    assert read_shelf(written(path, diameter=diameter)).entries[0].bit.diameter == 6.0


@pytest.mark.parametrize(
    ("key", "value", "shown", "allowed"),
    [
        ("flutes", "0", "0", "whole number from 1 to 12"),
        ("flutes", "true", "True", "whole number"),
        ("flutes", "2.0", "2.0", "whole number"),
        ("flutes", "", "missing", "whole number"),
        ("kind", '"upcut"', "'upcut'", "up-cut, down-cut, compression, straight, ball, v"),
        ("diameter", '"6cm"', "'6cm'", "6.35mm or 0.25in"),
        ("diameter", "-1", "-1", "more than 0"),
        ("diameter", '"1/4"', "'1/4'", "a fraction has its unit, 1/4in"),
        ("diameter", "true", "True", "6.35mm or 0.25in"),
        ("diameter", "nan", "nan", "6.35mm or 0.25in"),
        ("diameter", "6000", "6000", "300 mm at most"),
        ("name", '" "', "' '", "some text"),
        ("name", '"a\\nb"', "'a\\nb'", "on one line"),
        ("material", '"a\\tb"', "'a\\tb'", "on one line"),
        ("name", "", "missing", "some text"),
        ("speed", "-5", "-5", "rpm"),
        ("speed", "18", "18", "rpm, not thousands"),
        ("speed", "99.9", "99.9", "from 100 to 100000"),
        ("speed", "inf", "inf", "rpm"),
        ("speed", '"fast"', "'fast'", "rpm"),
        ("tool", "0", "0", "T number"),
        ("limit", "9", "9", "from 0.2 to 5"),
        ("in", "{mdf = 3}", "in.mdf = 3", "table of materials"),
        ("in", "{mdf = {speed = 3}}", "in.mdf.speed = 3", "table of materials"),
        ("in", "{mdf = {hours = 0}}", "in.mdf.hours = 0", "from 0.1 to 100000"),
        ("flute", "2", "2", "no such key, only name, diameter, flutes, kind, speed, tool"),
    ],
)
def test_a_mistake_is_named(path: Path, key: str, value: str, shown: str, allowed: str):
    """A wrong value is a ShelfError of one line: file, bit, key, value, and what is allowed."""
    with pytest.raises(ShelfError) as caught:
        read_shelf(written(path, **{key: value}))
    said = str(caught.value)
    assert said.startswith(f"{path}: bit 1 (")
    assert re.search(rf", {key}[ .]", said)
    assert shown in said
    assert allowed in said
    assert "\n" not in said


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[[bit]\n", "cannot be understood"),
        ("name = 1", "name: only"),
        ("bit = 3", r"\[\[bit\]\]"),
        (SHELF + SHELF, "two bits have the name '6 mm up-cut'"),
        (SHELF + "tool = 1", "both have tool = 1"),
        (SHELF + "in = {mdf = {limit = 2.0}, MDF = {limit = 0.5}}", "has the material 'MDF' twice"),
        (SHELF.replace('"Quarter V"', '"6 MM UP-CUT "'), "two bits have the name"),
    ],
)
def test_a_shelf_that_contradicts_itself_is_refused(path: Path, text: str, said: str):
    """What is no TOML, stands in the wrong place, or is there twice, is a ShelfError that names the file."""
    path.write_text(text)
    with pytest.raises(ShelfError, match=said) as caught:
        read_shelf(path)
    assert str(path) in str(caught.value)


def test_a_shelf_that_cannot_be_read_is_said(path: Path, tmp_path: Path):
    """A folder, or text in another encoding, is a ShelfError."""
    with pytest.raises(ShelfError, match="cannot read"):
        read_shelf(tmp_path)
    path.write_bytes('name = "Fräser"'.encode("latin-1"))
    with pytest.raises(ShelfError, match="UTF-8"):
        read_shelf(path)


def test_the_boundary_costs_nothing_at_the_start():
    """Pydantic is loaded when a shelf is read, not with the module: `chipsong --help` is to be quick."""
    script = "import sys, monitor.shelf.bits; sys.exit('pydantic' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", script], check=False).returncode == 0
