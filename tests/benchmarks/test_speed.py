"""How speed is measured: growth is fitted rightly, and the table is whole and what the README shows."""

import numpy as np
import pytest
from bench_speed import KEPT, main
from pacing.growth import exponent
from pacing.sounds import long_job

from analysis.program import find_parts, read
from recordings_synthetic.job import seedling_trays

README = KEPT.parents[3] / "README.md"


@pytest.mark.parametrize("power", [0.0, 1.0, 2.0])
def test_a_power_law_has_its_power(power: float):
    """Costs that grow with a power of the amount are found to do so, whatever one of them costs."""
    amounts = np.array([1e3, 1e4, 1e6])
    assert exponent(amounts, 7.0 * amounts**power) == pytest.approx(power, abs=1e-9)


def test_a_job_three_times_over_has_three_times_the_parts():
    """A long job is the same cuts elsewhere on the sheet, so that all of them are cut and heard."""
    once, thrice = (read(long_job(seedling_trays(), times), "job") for times in (1, 3))
    assert len(find_parts(thrice)) == 3 * len(find_parts(once))
    assert not thrice.warnings


def test_the_readme_shows_what_was_measured():
    """Every row of speed in the README stands in the table that the benchmark wrote."""
    rows = README.read_text().split("<!-- speed -->")[1].split("<!-- end of speed -->")[0].strip()
    assert rows in KEPT.read_text()


@pytest.mark.slow
@pytest.mark.filterwarnings("default")
def test_the_quick_form_measures_all_of_it(tmp_path):
    """Every row has a figure; how good it is depends on the machine."""
    out = tmp_path / "speed.md"
    assert main(["--quick", "-o", str(out)]) == 0
    table = out.read_text()
    for told in ("replay at 48 kHz with its program", "`chipsong --help`", "memory of a replay", "µs a line"):
        assert told in table
    assert "nan" not in table
    assert "inf" not in table.replace("information", "")
