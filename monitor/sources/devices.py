"""What can be recorded from, which of it is meant, and whether it is there again."""

import re
from dataclasses import dataclass
from typing import Any

from analysis.errors import SoundError
from monitor.output import printable
from monitor.sources.child import Child


@dataclass(frozen=True)
class Device:
    """
    Something that sound can be recorded from.

    Attributes
    ----------
    index
        Its number; it may change when something is plugged in.
    name
        Its name; some systems cut it at 31 characters.
    rate
        The sample rate it prefers, Hz.
    channels
        How many channels it has.
    default
        Whether it is taken when nobody chooses.
    api
        Through which part of the system it is reached; the same microphone may be there several times.
    """

    index: int
    name: str
    rate: int
    channels: int
    default: bool
    api: str = ""

    def __str__(self) -> str:
        """Give its number, name and interface, as shown where one has to be chosen."""
        return f"{self.index} '{self.name}' ({self.api})"


def microphones() -> tuple[Device, ...]:
    """
    List what can be recorded from now.

    Raises
    ------
    SoundError
        When PortAudio is not installed, or fails.
    """
    child = Child()
    try:
        return listed(child.first())
    finally:
        child.stop()


def listed(told: list[dict[str, Any]]) -> tuple[Device, ...]:
    """Return the devices that the capturing process told."""
    return tuple(Device(**device | {"name": printable(device["name"])}) for device in told)


def find_microphone(wanted: str | int | None, devices: tuple[Device, ...]) -> Device:
    """
    Return the one device that is meant.

    Parameters
    ----------
    wanted
        Its number, its name, or a part of its name that no other has (case does not matter); ``None``
        for the system's default.
    devices
        What there is, from `microphones`.

    Raises
    ------
    SoundError
        When none or several are meant; the text lists what there is to choose from.
    """
    if not devices:
        raise SoundError("no microphone was found: plug one in, then start again")
    meant = (
        tuple(device for device in devices if device.default) if wanted is None else _named(wanted, devices)
    )
    if len(meant) == 1:
        return meant[0]
    choice = "; ".join(map(str, meant or devices))
    if wanted is None:
        raise SoundError(f"the system names no default microphone: choose one by its number, of {choice}")
    if meant:
        raise SoundError(f"'{wanted}' may mean several microphones: choose one by its number, of {choice}")
    raise SoundError(f"there is no microphone '{wanted}': choose one of {choice}")


# Where some systems cut a device's name.
_CUT = 31


def _named(wanted: str | int, devices: tuple[Device, ...]) -> tuple[Device, ...]:
    """Return the devices that ``wanted`` may mean; a whole name goes before a part of one."""
    text = str(wanted).strip().casefold()
    for fits in (
        lambda device: text == str(device.index),
        lambda device: text == device.name.casefold(),
        lambda device: text in f"{device.name}, {device.api}".casefold(),
        lambda device: len(device.name) >= _CUT and text.startswith(device.name.casefold()),
    ):
        if meant := tuple(filter(fits, devices)):
            return meant
    return ()


# What systems put into a name for the port: ALSA's card and device, a number before the second of two.
_PORT = re.compile(r"\(hw:[^)]*\)|(?<=\()\d+- ?|^\d+- ?")


def bare_name(name: str) -> str:
    """
    Return a device's name without what tells its port.

    >>> bare_name("USB Audio: - (hw:2,0)") == bare_name("USB Audio: - (hw:1,0)")
    True
    """
    return " ".join(_PORT.sub("", name).split()).casefold()


def same_microphone(chosen: Device, then: tuple[Device, ...], now: tuple[Device, ...]) -> Device | None:
    """
    Return the microphone that was chosen, on whatever port it is now; ``None`` when it is not there.

    Parameters
    ----------
    chosen
        As it was when it was chosen.
    then, now
        All devices at that time, and all that there are now.

    Notes
    -----
    Of several with one name, those that are where another was are not meant. Where that does not tell them
    apart, all must be there again, and the chosen one is taken by its place among them: to listen to
    another microphone as if nothing had happened is worse than to stay deaf.
    """
    there = _namesakes(chosen, now)
    twins = [device for device in _namesakes(chosen, then) if device.index != chosen.index]
    others = {twin.name for twin in twins}
    apart = [device for device in there if device.name not in others]
    if len(apart) == 1:
        return apart[0]
    if exact := [device for device in apart if device.name == chosen.name]:
        return exact[0] if len(exact) == 1 else None
    if len(there) == len(twins) + 1:
        return there[sum(twin.index < chosen.index for twin in twins)]
    return None


def _namesakes(chosen: Device, devices: tuple[Device, ...]) -> list[Device]:
    """Return the devices of one name that are reached in the same way, in their order."""
    return [device for device in devices if device.api == chosen.api and _alike(device.name, chosen.name)]


def _alike(one: str, other: str) -> bool:
    """Return whether two names are one; a number for the port makes a name that is cut end earlier."""
    shorter, longer = sorted((one, other), key=lambda name: len(bare_name(name)))
    if len(shorter) >= _CUT:
        return bare_name(longer).startswith(bare_name(shorter))
    return bare_name(one) == bare_name(other)
