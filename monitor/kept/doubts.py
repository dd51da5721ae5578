"""Which bits of a run had what no tight bit has, and nobody has settled that."""

from analysis.events import OTHER_FAULTS, Checked
from monitor.controls import ALARM, PRESSED
from monitor.journal import Run
from monitor.kept.heard import bit_of, bits_over_time
from monitor.kept.labels import is_fine
from monitor.review import event_of


def doubts(run: Run) -> dict[int, float]:
    """
    Return since when bits are in doubt, s, by T number.

    A doubt is settled when the bit is found tight, when a person says of that bit that it was nothing, unless
    that was an alarm of another fault, and when a person says that nothing was wrong in the whole run, as
    long as that holds. What is said of an alarm afterwards says nothing of it.

    Raises
    ------
    JournalError
        When a check cannot be understood.
    """
    found: dict[int, float] = {}
    if is_fine(run):
        return found
    cause, bits = "", bits_over_time(run)
    for event in run.events():
        cause = str(event.body["cause"]) if event.name == "alarm" else cause
        bit = bit_of(event, bits)
        checked = event_of(run, event) if event.name == "checked" else None
        settled = event.name == PRESSED and event.body["kind"] == "nothing"
        if settled and event.body.get("of") == ALARM:
            settled = cause not in OTHER_FAULTS
        if isinstance(checked, Checked):
            settled = checked.verdict == "tight"
            if checked.accuses:
                found[bit] = event.at
        if settled:
            found.pop(bit, None)
    return found
