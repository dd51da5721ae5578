"""What the watcher makes of another fault than a loose bit."""

from moments import Machine

CHATTER = {"beats": 15.0, "tone": 1120.0, "level": -15.0, "hiss": -19.0}
LOOSE = {"signs": 25.0}


def test_one_event_is_one_alarm_until_it_is_good_again():
    """However long it chatters there is one alarm, and the state says alarm until it was good for seconds."""
    machine = Machine().cuts().hear(10.0, **CHATTER)
    assert machine.alarms == ["chatter"]
    assert machine.watcher.state == "alarm"
    machine.hear(2.0)
    assert machine.watcher.state == "alarm"
    machine.hear(8.0)
    assert machine.watcher.state == "listen"


def test_nothing_is_said_before_a_baseline_is_known():
    """What a cut sounds like from its first second on may be its way."""
    assert Machine().hear(2.0, **CHATTER).alarms == []


def test_a_bit_that_comes_loose_is_said_whatever_else_is_wrong():
    """A chatter that is heard does not hide a loose bit."""
    machine = Machine().cuts().hear(3.0, **CHATTER).hear(3.0, **CHATTER, **LOOSE)
    assert machine.alarms == ["chatter", "loose"]


def test_a_loose_bit_goes_first():
    """A slip that sounds like chatter as well is a slip."""
    assert Machine().cuts().hear(5.0, **CHATTER, **LOOSE).alarms == ["loose"]


def test_what_a_person_called_nothing_is_not_said_again():
    """Of this bit: the person knows why the machine stands."""
    machine = Machine().cuts().air(10.0)
    assert machine.alarms == ["stalled"]
    machine.events += machine.watcher.nothing(machine.at)
    machine.cuts().air(10.0)
    assert machine.alarms == ["stalled"]


def test_that_another_fault_was_nothing_says_nothing_of_a_doubt_of_the_bit():
    """The person was asked about the feed that is held: a bit in doubt stays so, until that is settled."""
    machine = Machine()
    for _ in range(3):
        machine.hear(4.0, signs=12.0).air(1.0)
    assert machine.watcher.state == "uneasy"
    machine.air(10.0)
    assert machine.alarms == ["stalled"]
    said = machine.watcher.nothing(machine.at)
    assert [(turn.state, "counts as normal" in turn.because) for turn in said] == [("uneasy", False)]
    machine.events.clear()
    assert machine.hear(4.0, signs=12.0).watcher.state == "uneasy"
    # Once such an alarm is over by itself, the person is asked about the bit, and settles it.
    machine.hear(3.0, signs=12.0, **CHATTER).hear(8.0, signs=12.0)
    assert machine.alarms == ["chatter"]
    machine.watcher.nothing(machine.at)
    assert machine.hear(1.0, signs=12.0).watcher.state == "listen"
