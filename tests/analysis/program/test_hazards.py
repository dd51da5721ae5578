"""What a recut warns of."""

from pathlib import Path

from test_recut import said

SHIPPED = Path(__file__).parents[3] / "recordings_synthetic"
HEAD = "G21 G90 G54\nM3 S9000\nG0 Z5\n"


def rectangle(x: float, y: float, side: float, *depths: float) -> str:
    """Cut a square in passes."""
    passes = "".join(f"G1 Z{z} F300\nX{x + side} F900\nY{y + side}\nX{x}\nY{y}\n" for z in depths)
    return f"G0 X{x} Y{y}\n{passes}G0 Z5\n"


def test_parts_on_tabs_may_be_thrown():
    """In the shipped job every part hangs on tabs: the head counts those of the chosen ones."""
    job = (SHIPPED / "seedling_trays.ngc").read_text()
    told = said(job, "part 2", "part 5")
    assert "held by 5 tabs up to 2.9 mm high once cut: part 2 and part 5." in told
    assert "can break a tab and throw the part" in told
    assert "held by 3 tabs up to 2.9 mm high once cut: part 1." in said(job, "part 1")
    assert "no tabs" not in told


def test_a_part_that_is_cut_through_without_tabs_lies_loose():
    """Cut as deep as the program goes, with no tabs: loose; a shallower one is not."""
    source = HEAD + rectangle(5, 5, 40, -3, -6) + rectangle(105, 5, 40, -3) + "M30\n"
    told = said(source, "part 1", "part 2")
    assert "cut through, no tabs: part 1. What" in told
    assert "cut through" not in said(source, "part 2")


def test_pieces_that_are_cut_free_inside_a_part_are_loose_too():
    """A window that is cut through leaves a loose piece inside; a hole no wider than a bit leaves none."""
    frame = HEAD + rectangle(15, 15, 20, -6) + rectangle(5, 5, 40, -6) + "M30\n"
    hole = HEAD + rectangle(22, 22, 5, -6) + rectangle(5, 5, 40, -6) + "M30\n"
    pocket = HEAD + rectangle(15, 15, 20, -2) + rectangle(5, 5, 40, -6) + "M30\n"
    assert "pieces are cut free inside part 1" in said(frame, "part 1")
    assert "cut free inside" not in said(hole, "part 1")
    assert "cut free inside" not in said(pocket, "part 1")


FACING = "G0 X0 Y0\nG1 Z-1 F300\nX150 F900\n" + "".join(
    f"Y{y}\nX{150 * (y // 5 % 2 == 0)}\n" for y in range(5, 60, 5)
)


def test_a_part_under_one_that_is_left_out_begins_too_deep_on_a_fresh_sheet():
    """Facing takes the top off; a part that is cut alone then finds it still there."""
    source = (
        HEAD + FACING + "G0 Z5\n" + rectangle(5.5, 6, 31, -3, -6) + rectangle(105.5, 6, 31, -3, -6) + "M30\n"
    )
    told = said(source, "part 2")
    assert "part 1, left out here, cuts over part 2 as well, before it and down to Z -1 mm" in told
    assert "part 1 cuts over part 2 as well, which is left out here" in said(source, "part 1")
    assert "left out here" not in said(source, "part 1", "part 2", "part 3")


def test_a_cut_that_went_too_deep_stays_so():
    """No recut mends what a bit that pulled out has cut too deep, and every head says so."""
    assert "not mended by cutting again" in said(HEAD + rectangle(5, 5, 40, -3) + "M30\n", "part 1")
