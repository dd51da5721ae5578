"""What a checkup of a microphone means, and what to change."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from analysis.microphone.checkup import Checkup
from analysis.microphone.own_gain import OwnGain

# The quiet falls by so much after a loud sound, dB: doubtful, and surely not by itself; and rises again by
# this share of that. In simulated rooms a clap made it fall by at most 1.5 dB without a gain of its own, by
# 12 dB or more with one, which rose by more than 0.4 of that within 3 s. What was switched off does not rise.
_MOVES, _SURELY_MOVES, _COMES_BACK = 3.0, 6.0, 0.4

# dB: headroom that a cut, louder than whatever was heard here, wants; a swing below which all is soft; how
# near the floor hum is most of it; and how little of a spindle's lines is too little.
_HEADROOM, _SOFT, _MOST_OF_IT, _STANDS = 6.0, -50.0, 3.0, 3.0

# Samples a second below which much of a cut's hiss is not heard.
_LEAST_RATE = 16_000


@dataclass(frozen=True)
class Advice:
    """
    What a checkup means.

    Attributes
    ----------
    verdict
        ``fit``, ``caution`` (fit, with a caution) or ``unfit``.
    change
        What is wrong and what to change, a sentence each, the gravest first.
    untested
        What was not tested, and how to do it, a sentence each.
    """

    verdict: Literal["fit", "caution", "unfit"]
    change: tuple[str, ...]
    untested: tuple[str, ...]


def advise(found: Checkup) -> Advice:
    """Return what a checkup means."""
    bars, cautions = tuple(_bars(found)), tuple(_cautions(found))
    verdict: Literal["fit", "caution", "unfit"] = "unfit" if bars else "caution" if cautions else "fit"
    return Advice(verdict, (*bars, *cautions), () if found.wrong else tuple(_untested(found)))


def _bars(found: Checkup) -> Iterator[str]:
    """Give what makes it unfit."""
    if found.wrong:
        yield found.wrong
    if found.unheard:
        yield (
            f"for {found.unheard:.1f} s of {found.seconds:.1f} s nothing is heard, or next to nothing: "
            "unmute it, turn the gain up, and switch off noise suppression, which silences what is soft, "
            "in the microphone, in the sound settings and in the driver"
        )
    if found.gain and _moves_surely(found.gain):
        yield (
            "a gain moves by itself: switch off automatic gain, noise suppression and other enhancements, "
            "in the microphone, in the sound settings and in the driver"
        )


def _moves_surely(gain: OwnGain) -> bool:
    return gain.fell >= _SURELY_MOVES and gain.rose >= _COMES_BACK * gain.fell


def _cautions(found: Checkup) -> Iterator[str]:
    """Give what is not good but bearable."""
    if found.wrong:
        return
    unless = "unless that was your clap, " if found.gain else ""
    if found.clipped > 0.0:
        yield f"some samples are at full scale: {unless}turn the gain down or move away"
    elif found.headroom < _HEADROOM:
        small = f"only {found.headroom:.0f} dB of headroom, and a cut may be louder"
        yield f"{small}: {unless}turn the gain down or move away"
    if found.swing < _SOFT:
        yield "all is very soft: turn the gain up or move nearer"
    if found.gain and found.gain.fell >= _MOVES and not _moves_surely(found.gain):
        yield (
            "the quiet was softer after a loud sound: unless something was switched off just then, look "
            "for an automatic gain or noise suppression and switch it off"
        )
    if found.hum and found.hum.level > found.floor - _MOST_OF_IT:
        yield "hum is most of what is heard in the quiet: try another cable or socket, away from mains leads"
    if found.told and not found.spindle:
        yield f"no spindle is heard near {found.told:.0f} rpm: does it run, at that speed? Move nearer to it"
    if found.spindle and max(found.spindle.line, found.spindle.teeth) < _STANDS:
        yield "the spindle hardly stands out of the noise: move nearer to it, away from fans and collection"
    if found.rate < _LEAST_RATE:
        yield f"at {found.rate} samples a second much of a cut's hiss is not heard: choose a higher rate"


def _untested(found: Checkup) -> Iterator[str]:
    if found.gain is None:
        yield "automatic gain: let all be quiet and steady, clap loudly once, keep quiet for 3 s more"
    if found.told is None:
        yield (
            "how the spindle stands out: let it run, the bit clear of the work, eyes and ears protected, and "
            "say --rpm and --flutes"
        )
