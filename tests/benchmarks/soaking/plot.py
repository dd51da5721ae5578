"""What an hour takes, drawn."""

from collections.abc import Sequence
from pathlib import Path

from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from soaking.usage import Look


def draw(path: Path, looks: Sequence[Look]) -> None:
    """Draw memory and processor time over the minutes."""
    figure = Figure(figsize=(9, 6), layout="constrained")
    FigureCanvasAgg(figure)
    memory, cost = figure.subplots(2, 1, sharex=True)
    minutes = [look.at / 60.0 for look in looks]
    memory.plot(minutes, [look.listening for look in looks], label="the process that listens")
    memory.plot(minutes, [look.capturing for look in looks], "--", label="the process that captures")
    memory.set(ylabel="resident memory, MB", ylim=(0, None), title="chipsong watch, live")
    each = 6
    steps = list(zip(looks[:-each:each], looks[each::each], strict=False))
    middle = [(a.at + b.at) / 120.0 for a, b in steps]
    own = [100.0 * (b.processor - a.processor) / (b.at - a.at) for a, b in steps]
    cost.plot(middle, own, label="both processes")
    cost.axhline(4.0, color="0.5", linestyle=":", label="4 %")
    cost.set(xlabel="minutes", ylabel="of one core, %", ylim=(0, max([8.0, *own[1:]]) if own else None))
    for axes in (memory, cost):
        axes.legend(loc="lower right")
        axes.grid(alpha=0.3)
    figure.savefig(path, dpi=110)
