"""What waits for a worker: bounded, alarms first, nothing lost without a word."""

import threading

from hypothesis import given
from hypothesis import strategies as st

from monitor.actions.message import rehearsal
from monitor.actions.waiting import Item, Waiting

NAMES = st.sampled_from(["alarm", "doubt", "deaf", "heard"])


def items(names: list[str]) -> list[Item]:
    """Return an item for each event."""
    return [Item(rehearsal(name)) for name in names]


@given(st.lists(NAMES, max_size=30), st.integers(1, 8))
def test_nothing_is_lost_without_a_word(names, most):
    """Each item is either given out once or handed back once, and never more than ``most`` wait."""
    waiting, put = Waiting(most), items(names)
    handed_back = [given_up for item in put if (given_up := waiting.put(item))]
    waiting.close()
    out = []
    while item := waiting.take():
        out.append(item)
        assert waiting.over(item)
    assert len(out) == min(most, len(put))
    assert sorted(map(id, out + handed_back)) == sorted(map(id, put))


@given(st.lists(NAMES, min_size=1, max_size=20))
def test_alarms_go_first_each_in_their_order(names):
    """Alarms are given out before all else, and among their like the oldest first."""
    waiting, put = Waiting(20), items(names)
    for item in put:
        waiting.put(item)
    waiting.close()
    out = [item for _ in put if (item := waiting.take())]
    expected = sorted(put, key=lambda item: item.message.name != "alarm")
    assert list(map(id, out)) == list(map(id, expected))


def test_an_alarm_gives_way_to_nothing_but_alarms():
    """When too many wait the oldest that is no alarm goes, and the oldest alarm only when all are."""
    waiting = Waiting(2)
    deaf, first, second, third = items(["deaf", "alarm", "alarm", "alarm"])
    assert [waiting.put(item) for item in (deaf, first, second, third)] == [None, None, deaf, first]


def test_what_is_left_is_named_and_no_longer_in_hand():
    """`leave` gives back what is in hand and what waits; who comes back late is told that it was given up."""
    waiting = Waiting(4)
    first, second = items(["alarm", "deaf"])
    waiting.put(first)
    waiting.put(second)
    taken = waiting.take()
    assert taken is first
    assert waiting.leave() == (first, second)
    assert not waiting.over(first)
    assert waiting.take() is None
    assert waiting.put(first) is first


def test_who_waits_is_let_go_at_the_end():
    """A worker that has nothing to do ends when the box is closed."""
    waiting = Waiting(1)
    worker = threading.Thread(target=waiting.take)
    worker.start()
    waiting.close()
    worker.join(5)
    assert not worker.is_alive()
