"""What a watcher was told, kept, so that it can be told again to one that judges otherwise."""

import copy
from collections.abc import Iterable
from typing import Any, NamedTuple

from analysis.cut import Moment
from analysis.events import Alarm, Event
from analysis.health import Health
from analysis.presence import Phase
from analysis.watcher import Settings, Watcher


class _Forgotten(NamedTuple):
    bit: int
    since: float


class Tape(Watcher):
    """
    A watcher that remembers what it was told.

    To hear sound takes far longer than to judge what was heard; what was heard does not depend on how it is
    judged. It remembers about 1 kB a row.
    """

    def __init__(self, seconds: float, correlation: float, *told: Any, **more: Any) -> None:  # noqa: ANN401 - as a watcher's
        super().__init__(seconds, correlation, *told, **more)
        self._correlation = correlation
        self._told: list[tuple[Moment, Health] | _Forgotten] = []
        self._last: tuple[object, ...] = ()
        self._seen = Health(self._seconds)

    def row(self, moment: Moment, health: Health) -> list[Event]:
        """Take in one row, and remember it."""
        state = (health.deaf, health.usable, health.changed, health.reason)
        if state != self._last:
            # It changes from row to row, and is mostly as it was.
            self._last, self._seen = state, copy.copy(health)
        self._told.append((moment, self._seen))
        return super().row(moment, health)

    def forget(self, bit: int, since: float) -> None:
        """Drop what was learned of ``bit`` since ``since`` s, and remember that."""
        self._told.append(_Forgotten(bit, since))
        super().forget(bit, since)

    def cut_seconds(self, bit: int, until: float) -> float:
        """Return for how long ``bit`` was heard cutting before ``until`` s."""
        rows = (moment for moment, _ in self._of(bit))
        return self._seconds * sum(moment.phase is Phase.CUT and moment.at < until for moment in rows)

    def alarms(self, bit: int, settings: Settings) -> tuple[Alarm, ...]:
        """Return the alarms that there are for ``bit`` when it is judged in another way."""
        watcher = Watcher(self._seconds, self._correlation, settings)
        alarms: list[Alarm] = []
        last = bit
        for told in self._told:
            if isinstance(told, _Forgotten):
                watcher.forget(*told)
                continue
            # Of other bits it need only know that they came between.
            if bit != (now := told[0].context.bit) == last:
                continue
            last = now
            alarms.extend(event for event in watcher.row(*told) if isinstance(event, Alarm))
        return tuple(alarms)

    def _of(self, bit: int) -> Iterable[tuple[Moment, Health]]:
        return (
            told for told in self._told if not isinstance(told, _Forgotten) and told[0].context.bit == bit
        )
