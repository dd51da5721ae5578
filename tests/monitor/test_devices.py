"""Which microphone is meant, and whether it is there again."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from stage import DEVICES

from analysis.errors import SoundError
from monitor.sources.devices import Device, bare_name, find_microphone, same_microphone


def device(index: int, name: str, api: str = "ALSA") -> Device:
    """Return a device."""
    return Device(index, name, 48000, 1, default=False, api=api)


PRESENT = tuple(
    Device(index, name, int(rate), channels, default=index == 1, api=("Alpha", "Beta")[api])
    for index, (name, api, channels, rate) in enumerate(DEVICES)
    if channels
)


@pytest.mark.parametrize(
    ("wanted", "index"),
    [
        (None, 1),
        (2, 2),
        ("2", 2),
        ("usb microphone", 2),
        ("microphone 2", 3),
        ("built", 1),
        ("webcam, beta", 5),
    ],
)
def test_a_microphone_is_found(wanted: str | int | None, index: int):
    """By number, by whole name before a part of another's, by a part, with its interface, or by default."""
    assert find_microphone(wanted, PRESENT).index == index


@pytest.mark.parametrize(
    ("wanted", "said"),
    [
        ("USB", r"may mean several.*2 'USB Microphone' \(Alpha\); 3 'USB Microphone 2' \(Alpha\)$"),
        ("webcam", r"may mean several.*4 'Webcam' \(Alpha\); 5 'Webcam' \(Beta\)$"),
        ("phone booth", r"there is no microphone 'phone booth': choose one of 1 'Built-in'"),
        (0, r"there is no microphone '0'"),
        (-1, r"there is no microphone '-1'"),
    ],
)
def test_an_unclear_or_unknown_microphone_lists_the_choice(wanted: str | int, said: str):
    """None or several that fit is a SoundError of one line, with the candidates."""
    with pytest.raises(SoundError, match=said) as caught:
        find_microphone(wanted, PRESENT)
    assert "\n" not in str(caught.value)


def test_no_microphone_at_all_is_said():
    """Where nothing records, the error says to plug one in."""
    with pytest.raises(SoundError, match="no microphone was found: plug one in"):
        find_microphone(None, ())


def test_no_default_is_not_guessed():
    """Where the system names no default, one has to be chosen."""
    with pytest.raises(SoundError, match="no default microphone: choose one by its number"):
        find_microphone(None, PRESENT[1:])


def test_a_name_that_the_system_cuts_is_found_by_its_whole():
    """Some systems cut names at 31 characters; the whole name still means the microphone."""
    cut = device(0, "Microphone (USB Audio Device Sh")
    assert len(cut.name) == 31
    assert find_microphone("Microphone (USB Audio Device Shop)", (cut, device(1, "Other"))) is cut


# --- there again ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("before", "after"),
    [
        ("USB Audio: - (hw:1,0)", "USB Audio: - (hw:3,0)"),
        ("Microphone (USB Audio Device)", "Microphone (2- USB Audio Device)"),
        ("Microphone (3- USB Audio Device)", "Microphone (USB Audio Device)"),
        ("Microphone (USB Audio Device Sh", "Microphone (2- USB Audio Device"),  # cut at 31 characters
        ("USB Audio", "USB Audio"),
    ],
)
def test_on_another_port_it_is_the_same(before: str, after: str):
    """What systems put into a name for the port, and another number in the list, change nothing."""
    chosen = device(4, before)
    now = (device(0, "Built-in"), device(1, after))
    assert same_microphone(chosen, (device(3, "Built-in"), chosen), now) is now[1]


def test_what_is_only_alike_is_another():
    """A longer name, a second model or another interface is not the microphone."""
    chosen = device(0, "USB Microphone")
    now = (device(0, "USB Microphone 2"), device(1, "USB"), device(2, "USB Microphone", api="JACK"))
    assert same_microphone(chosen, (chosen,), now) is None


LEFT, RIGHT = device(0, "USB Audio: - (hw:1,0)"), device(1, "USB Audio: - (hw:2,0)")


def test_a_twin_that_stayed_is_not_taken():
    """Of two alike one is unplugged: the other, on its own port, is not meant."""
    assert same_microphone(RIGHT, (LEFT, RIGHT), (device(0, LEFT.name),)) is None


def test_a_twin_comes_back_on_another_port():
    """When one of two alike comes back elsewhere, it is the one that is not where the other is."""
    back = device(1, "USB Audio: - (hw:5,0)")
    assert same_microphone(RIGHT, (LEFT, RIGHT), (device(0, LEFT.name), back)) is back


def test_twins_without_a_port_must_both_be_there():
    """Where names do not tell ports, one of two alike may be either; both are told by their order."""
    first, second = device(0, "USB Audio"), device(1, "USB Audio")
    then = (first, second)
    assert same_microphone(second, then, (device(0, "USB Audio"),)) is None
    now = (device(2, "USB Audio"), device(5, "USB Audio"))
    assert same_microphone(first, then, now) is now[0]
    assert same_microphone(second, then, now) is now[1]


@given(st.permutations(PRESENT), st.integers(0, len(PRESENT) - 1))
def test_the_order_of_the_list_does_not_matter(now: list[Device], which: int):
    """However the list is ordered, the chosen one is found."""
    found = same_microphone(PRESENT[which], PRESENT, tuple(now))
    assert found is not None
    assert (found.name, found.api) == (PRESENT[which].name, PRESENT[which].api)


def test_a_bare_name_keeps_what_names_it():
    """Brackets that hold no port, and numbers within a name, stay."""
    assert bare_name("Mic 2 (Rear)  (hw:0,1)") == "mic 2 (rear)"
