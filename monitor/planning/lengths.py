"""Lengths and what is made of them, in the unit of the program: inches have the mm behind them."""

from dataclasses import dataclass

from analysis.cutting import MM_PER_INCH


@dataclass(frozen=True)
class Lengths:
    """
    Writes lengths for a person.

    Attributes
    ----------
    inches
        Whether the program is in inches. All arguments are in mm all the same.
    """

    inches: bool

    def length(self, mm: float) -> str:
        """Return a length."""
        return self._both(f"{number(mm, 2)} mm", f"{number(mm / MM_PER_INCH, 3)} in")

    def chip(self, least: float, most: float | None = None) -> str:
        """Return a chip load, or a range of it."""
        mm = " to ".join(f"{load:.3f}" for load in (least, most) if load is not None)
        inch = " to ".join(f"{load / MM_PER_INCH:.4f}" for load in (least, most) if load is not None)
        return self._both(f"{mm} mm", f"{inch} in")

    def feed(self, least: float, most: float) -> str:
        """Return a feed, or a range of it, from mm/min."""
        ends = (least,) if round(least) == round(most) else (least, most)
        mm = " to ".join(number(feed, 0) for feed in ends)
        inch = " to ".join(number(feed / MM_PER_INCH, 1) for feed in ends)
        return self._both(f"{mm} mm/min", f"{inch} in/min")

    def rate(self, cm3: float) -> str:
        """Return a removal rate, from cm³/min."""
        return self._both(f"{number(cm3)} cm³/min", f"{number(1000 * cm3 / MM_PER_INCH**3, 2)} in³/min")

    def plain(self, mm: float) -> str:
        """Return a length for a column, without its unit."""
        return f"{mm / MM_PER_INCH:.3f}" if self.inches else f"{mm:.1f}"

    def area(self, mm2: float) -> str:
        """Return an area for a column, without its unit: in² or cm²."""
        return f"{mm2 / MM_PER_INCH**2:.2f}" if self.inches else f"{mm2 / 100:.1f}"

    @property
    def unit(self) -> str:
        """The unit of length of a column."""
        return "in" if self.inches else "mm"

    @property
    def unit_of_area(self) -> str:
        """The unit of area of a column."""
        return "in²" if self.inches else "cm²"

    def _both(self, metric: str, inch: str) -> str:
        return f"{inch} ({metric})" if self.inches else metric


def number(value: float, decimals: int = 1) -> str:
    """Return a number without zeros that say nothing: 6, 6.4, 0.25."""
    text = f"{value:.{decimals}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
