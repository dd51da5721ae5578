"""Real recordings with a modelled modulation: the share heard at each depth."""

from collections.abc import Sequence

from hearing.real import Tried
from hearing.tables.markdown import number, quantile, share, table


def real(tried: Sequence[Tried]) -> str:
    """Return the table."""
    depths = sorted({one.depth for one in tried if one.depth > 0.0})
    rows = [_row(depth, [one for one in tried if one.depth == depth]) for depth in depths]
    return table(
        ("depth of the modulation", "caught (95 % interval)", "delay, median", "95th percentile"), rows
    )


def untouched(tried: Sequence[Tried]) -> str:
    """Return how quiet the recordings are as they are."""
    own = [one for one in tried if one.depth == 0.0]
    loud = {one.name: len(one.alarms) for one in own if one.alarms}
    which = "".join(f"; {name}: {count}" for name, count in sorted(loud.items()))
    ready = sum(one.compares for one in own)
    quiet = f"Untouched: {len(own) - len(loud)} of {len(own)} recordings without an alarm{which}."
    return f"{quiet} When the modulation began, {ready} of {len(own)} were being compared with a baseline."


def _row(depth: float, tried: list[Tried]) -> list[str]:
    delays = [one.delay for one in tried if one.delay is not None]
    return [
        f"{100.0 * depth:.0f} %",
        share(len(delays), len(tried)),
        f"{number(quantile(delays, 0.5))} s" if delays else "",
        f"{number(quantile(delays, 0.95))} s" if delays else "",
    ]
