"""Which bits of a run had what no tight bit has, and nobody has settled that."""

from analysis.events import Checked
from monitor.controls import PRESSED
from monitor.journal import Run
from monitor.kept.heard import bit_at
from monitor.kept.labels import is_labelled
from monitor.review import event_of


def doubts(run: Run) -> dict[int, float]:
    """
    Return since when bits are in doubt, s, by T number.

    A doubt is settled when the bit is found tight, when a person says that it was nothing, and when all that
    was said in the run is labelled.

    Raises
    ------
    JournalError
        When a check cannot be understood.
    """
    found: dict[int, float] = {}
    if is_labelled(run):
        return found
    for event in run.events():
        bit = bit_at(run, event.at)
        checked = event_of(run, event) if event.name == "checked" else None
        settled = event.name == PRESSED and event.body["kind"] == "nothing"
        if isinstance(checked, Checked):
            settled = checked.verdict == "tight"
            if checked.accuses:
                found[bit] = event.at
        if settled:
            found.pop(bit, None)
    return found
