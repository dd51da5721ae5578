"""Outcomes on disk survive whatever stops a run."""

from hearing.outcome import Fate, Outcome, Said
from hearing.store import Store, fingerprint


def outcomes(count):
    """Return some outcomes."""
    return [
        Outcome(
            f"development 1 51 {n}",
            1,
            51,
            60.0,
            said=(Said(1.0, 0.5, "loose"),),
            fate=Fate("loose", 1, 2, 1, 0, 9),
        )
        for n in range(count)
    ]


def test_kept(tmp_path):
    """Outcomes come back in the order in which they were written by another store there too."""
    store = Store(tmp_path / "new" / "folder", "mark")
    for one in outcomes(3):
        store.add([one])
    assert list(Store(tmp_path / "new" / "folder", "mark").outcomes()) == outcomes(3)


def test_other_code_has_other_outcomes(tmp_path):
    """Outcomes of other code are left on disk and are not mixed with those of this code."""
    Store(tmp_path, "old").add(outcomes(2))
    new = Store(tmp_path, "new")
    assert list(new.outcomes()) == []
    assert len(list(Store(tmp_path, "old").outcomes())) == 2


def test_stopped_in_the_middle_of_a_line(tmp_path):
    """A line that was cut off is dropped; what was whole stays, and the next line is whole again."""
    store = Store(tmp_path, "mark")
    store.add(outcomes(2))
    whole = store.path.read_text()
    store.path.write_text(whole + whole[: len(whole) // 2])
    assert list(store.outcomes()) == outcomes(2)
    store.mend()
    store.add(outcomes(1))
    assert list(store.outcomes()) == [*outcomes(2), *outcomes(1)]


def test_fingerprint_is_of_code():
    """The mark is the same each time it is taken."""
    assert fingerprint() == fingerprint()
    assert len(fingerprint()) == 16
