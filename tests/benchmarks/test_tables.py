"""Tables say what the outcomes are, counted by hand."""

import math

import numpy as np
from hearing.conditions import CONDITIONS
from hearing.episodes import Series
from hearing.faults import FAULTS
from hearing.least import Change, Measured
from hearing.outcome import Fate, Outcome, Said
from hearing.real import Tried
from hearing.rivals import RIVALS
from hearing.tables import faults, rivals
from hearing.tables.false_alarms import false_alarms
from hearing.tables.least import least
from hearing.tables.markdown import share
from hearing.tables.real import real, untouched

ABRUPT = next(kind for kind in FAULTS.values() if kind.within == 10.0)


def scores(*peaks):
    """Return scores of every rival: low, but for peaks at some seconds."""
    values = np.full(100, 0.5)
    values[list(peaks)] = 4.0
    return dict.fromkeys(RIVALS, Series(0.0, 1.0, values).pack())


def faulty(seed, *said, before="listen", stands=9.0):
    """Return a run whose fault begins at 50 s."""
    fate = Fate(ABRUPT.cause, 50.0, 7, 50.0, 1.5, stands)
    name = f"development 1 {ABRUPT.number} {seed}"
    return Outcome(name, 1, ABRUPT.number, 70.0, 60.0, 0, said, fate, before, scores(52))


def healthy(condition, hours, compared, *said):
    """Return a run of so many hours."""
    return Outcome(
        f"development {condition} - 1",
        condition,
        None,
        3600.0 * hours,
        3600.0 * compared,
        0,
        said,
        None,
        scores=scores(),
    )


def cells(text, row):
    """Return a row of a table, cell by cell."""
    line = next(line for line in text.splitlines() if line.startswith(f"| {row} |"))
    return [cell.strip() for cell in line.strip("|").split("|")]


RUNS = [
    faulty(1, Said(50.4, 49.9, ABRUPT.cause, (6, 8), 5)),
    faulty(2, Said(51.0, 50.3, "unknown", (8, 9), 8)),
    faulty(3, Said(48.0, 47.0, ABRUPT.cause), before="alarm"),
    faulty(4),
]


def test_faults():
    """Caught are those with an alarm in time; the delay is their median; a named cause is right or wrong."""
    verdicts = faults.by_kind(RUNS)
    caught = cells(faults.caught(verdicts), ABRUPT.name)
    assert caught[2].startswith("50 % (2 of 4; ")
    assert caught[3:5] == ["0.70 s", "0.97 s"]
    assert caught[5] == "1 / 0 / 1"
    assert caught[6] == "+1.5 dB (+1.5 to +1.5)"
    told = cells(faults.told(verdicts), ABRUPT.name)
    assert told[1] == "0.20 s"
    assert told[3].startswith("50 % (1 of 2; ")
    assert told[4:] == ["2 of 2", "1 of 2", "1 of 2"]


def test_by_standing():
    """Each slip counts where its cut stood out as much; one without air before it counts by itself."""
    stands = {2.9: False, 3.0: True, 5.9: False, 9.9: True, 10.0: True, 40.0: False, math.nan: True}
    heard = [Said(50.4, 49.9, ABRUPT.cause)]
    runs = [faulty(n, *(heard if said else []), stands=db) for n, (db, said) in enumerate(stands.items())]
    row = cells(faults.by_standing(faults.by_kind(runs)), ABRUPT.name)
    assert row[1:] == ["0 of 1", "1 of 2", "1 of 1", "1 of 2", "1 of 1"]


def test_a_place_that_is_not_told_is_neither_right_nor_wrong():
    """An alarm without a line or a resume line counts among the caught, not among the places."""
    runs = [*RUNS, faulty(5, Said(50.5, 50.0, ABRUPT.cause))]
    told = cells(faults.told(faults.by_kind(runs)), ABRUPT.name)
    assert told[4:] == ["2 of 3", "1 of 2", "1 of 2"]


def test_confusion():
    """Each caught fault stands under the cause that it was given."""
    text = faults.confusion(faults.by_kind(RUNS))
    heads = [cell.strip() for cell in text.splitlines()[0].strip("|").split("|")]
    row = dict(zip(heads, cells(text, f"{ABRUPT.name} ({ABRUPT.cause})"), strict=True))
    assert row[ABRUPT.cause] == "1"
    assert row["unknown"] == "1"


def test_false_alarms():
    """Hours, share compared, alarms, rate and its bound: none in 10 h is at most 2.996 x 2 in 20 h."""
    runs = [
        healthy(1, 10.0, 8.0),
        healthy(2, 5.0, 5.0, Said(1.0, 1.0, "loose"), Said(9.0, 9.0, "loose")),
        *RUNS,
    ]
    text = false_alarms(runs)
    assert cells(text, CONDITIONS[1].name)[1:7] == ["1", "10.00", "80 %", "0", "0.0", "6.0"]
    assert cells(text, CONDITIONS[2].name)[1:6] == ["1", "5.00", "100 %", "2", "8.0"]
    assert cells(text, "**all**")[1:5] == ["2", "15.00", "87 %", "2"]


def test_rivals():
    """Rivals at the budget's threshold stand beside chipsong, on the same runs."""
    judged = [*RUNS, healthy(1, 10.0, 8.0)]
    found = rivals.contenders(judged, [healthy(1, 1.0, 1.0)], 20.0)
    text = rivals.side_by_side(judged, found)
    assert cells(text, "chipsong")[1:] == ["0", "0.0 (6.0)", "2 of 4, 0.70 s"]
    assert cells(text, "level, budget")[1:] == ["0", "0.0 (6.0)", "4 of 4, 2.00 s"]
    assert cells(text, "autoencoder, hindsight")[1:] == ["0", "0.0 (6.0)", "4 of 4, 2.00 s"]
    assert text.splitlines()[0].endswith(f"| {ABRUPT.group} |")
    assert len(text.splitlines()) == 2 + 2 + 2 * 4


def test_least():
    """The ratio is the delay by the least."""
    text = least([Measured(Change("one by 1", (1.0,)), 500.0, 12.0, 0.3, 10.0)])
    assert cells(text, "one by 1")[1:] == ["0.00", "500", "12.00 ± 0.30", "10.00", "1.20"]


def test_real():
    """At each depth the share of recordings whose alarm came in time; untouched ones that alarm are named."""
    tried = [
        Tried("a", 0.0, 9.0, ()),
        Tried("b", 0.0, 9.0, (4.0,)),
        Tried("a", 0.2, 9.0, (10.0,)),
        Tried("b", 0.2, 9.0, (4.0,)),
    ]
    assert cells(real(tried), "20 %")[1].startswith("50 % (1 of 2; ")
    assert untouched(tried).startswith("Untouched: 1 of 2 recordings without an alarm; b: 1. ")


def test_a_share_is_all_of_it_only_when_it_is():
    """One miss in very many is not rounded to all of them."""
    assert share(4999, 5000).startswith("99.9 % (4999 of 5000; ")
    assert share(3, 3).startswith("100 % (3 of 3; 29.2 to 100 %)")
    assert share(0, 0) == "none"
