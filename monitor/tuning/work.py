"""What the labelled runs of a bit say of its limit."""

import math
from dataclasses import dataclass, field
from pathlib import Path

from analysis.change import budget_rows
from analysis.comparison import TESTS
from analysis.tuning import FACTORS, Proposal, Row, Told, cross_validated, propose, trade
from analysis.watcher import Settings
from monitor.journal import home
from monitor.rehear.many import Workers
from monitor.rehear.runs_at import runs_at
from monitor.saving import save_picture
from monitor.setup import SHELF, settings_from
from monitor.shelf.bits import Entry, Thresholds, read_shelf
from monitor.shelf.writing import change_threshold
from monitor.tuning.runs import How, hear_runs, labelled_runs


@dataclass(frozen=True)
class Asked:
    """
    What the user wants of a tuning.

    Attributes
    ----------
    material
        In which material the bit is tuned; ``None`` for its usual one.
    false_alarms, hours
        The budget; ``None`` for the shelf's.
    workers
        Who hears runs again.
    out
        Where to draw the trade.
    place
        Where the runs lie; ``None`` for where they are kept here.
    afresh
        Whether runs are heard too of which is known what they tell.
    """

    material: str | None = None
    false_alarms: float | None = None
    hours: float | None = None
    workers: Workers = field(default_factory=Workers)
    out: Path | None = None
    place: str | None = None
    afresh: bool = False


@dataclass(frozen=True)
class Tuning:
    """
    What the labelled runs of a bit say.

    Attributes
    ----------
    entry, material
        The bit, and what it cut; ``None`` for its usual material.
    settings
        How it is judged today, with the budget that it is tuned for.
    factors
        The limits that were tried.
    told
        What each run told of each limit.
    rows
        What happened at each limit over all runs.
    proposal
        The limit that comes nearest to the budget; it is proposed if it keeps it.
    judged
        What happens when each run is judged at what the others propose.
    """

    entry: Entry
    material: str | None
    settings: Settings
    factors: tuple[float, ...]
    told: tuple[Told, ...]
    rows: tuple[Row, ...]
    proposal: Proposal
    judged: Row

    @property
    def today(self) -> Row:
        """What happened at today's limit."""
        return self.rows[self.factors.index(self.settings.factor)]

    @property
    def proposed(self) -> Row | None:
        """What happened at the limit that is proposed; ``None`` where no limit keeps the budget."""
        return self.rows[self.factors.index(self.proposal.factor)] if self.proposal.keeps else None

    @property
    def budget(self) -> float:
        """Bearable false alarms an hour."""
        return self.settings.false_alarms / self.settings.hours


def tune(name: str, asked: Asked) -> Tuning:
    """
    Hear the labelled runs of a bit again, and say what they tell.

    Raises
    ------
    ShelfError, JournalError
        When there is no such bit, or nothing to learn from.
    """
    entry = read_shelf(home() / SHELF).entry(name)
    told = Thresholds(asked.false_alarms, asked.hours).over(entry.thresholds_in(asked.material))
    settings = settings_from(told)
    factors = tuple(sorted({*FACTORS, settings.factor}))
    how = How(runs_at(asked.place, home()), asked.workers, asked.afresh)
    chosen = labelled_runs(how.place, entry, asked.material)
    heard = hear_runs(entry, chosen, factors, settings, how)
    budget, nats = settings.false_alarms / settings.hours, _nats(settings)
    proposal = propose(heard, factors, budget, nats)
    judged = cross_validated(heard, factors, budget, nats) if len(heard) > 1 else trade((), (math.nan,))[0]
    return Tuning(entry, asked.material, settings, factors, heard, trade(heard, factors), proposal, judged)


def changes_shelf(tuning: Tuning) -> bool:
    """Return whether the shelf says otherwise than what is proposed; never where nothing is."""
    return tuning.proposal.keeps and bool(_change(tuning))


def write(tuning: Tuning) -> None:
    """Write the proposed limit, and the budget that it is for, to the shelf."""
    change_threshold(home() / SHELF, tuning.entry.bit.name, tuning.material, _change(tuning))


def _change(tuning: Tuning) -> dict[str, float]:
    wanted = {
        "limit": tuning.proposal.factor,
        "false_alarms": tuning.settings.false_alarms,
        "hours": tuning.settings.hours,
    }
    now = settings_from(tuning.entry.thresholds_in(tuning.material))
    known = {"limit": now.factor, "false_alarms": now.false_alarms, "hours": now.hours}
    return {key: value for key, value in wanted.items() if value != known[key]}


def draw(tuning: Tuning, out: Path) -> None:
    """Draw the trade into a file; raise ChipsongError in one line when that fails."""
    from analysis.figures.trade import trade_picture  # noqa: PLC0415 - matplotlib loads slowly

    figure = trade_picture(
        tuning.rows, tuning.today, tuning.proposed, budget=tuning.budget, name=tuning.entry.bit.name
    )
    save_picture(figure, out)


def _nats(settings: Settings) -> float:
    # Rows come about twenty times a second; their number counts as its logarithm.
    return math.log(budget_rows(settings.false_alarms, settings.hours, 20.0, TESTS))
