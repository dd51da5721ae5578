"""Which fault explains a change, with the evidence in words."""

from collections.abc import Mapping
from dataclasses import dataclass

from analysis.baseline import CHANNELS, Array64
from analysis.events import Cause

# A channel's move of this much, dB, is worth a sentence.
_WORTH_SAYING = 2.5

_SENTENCES = {
    "spindle": "the spindle line rose {size:.0f} dB against the noise of the cut",
    "between": "the lines between the tooth-pass harmonics rose {size:.0f} dB against the noise",
    "half": "half orders rose {size:.0f} dB against the noise of the cut",
    "modulation": "the hiss of the cut swells once per revolution, {size:.0f} dB more than it did",
    "rocking": "the hiss of the cut swells every second revolution, {size:.0f} dB more than it did",
    "colour": "some bands of the sound lie {size:.0f} dB lower against the others than they did",
}

# As much, of a bit of which nothing is known: no change was heard.
_OF_A_STRANGER = _SENTENCES | {
    "modulation": "the hiss of the cut swells once per revolution, {size:.0f} dB more than a tight bit's",
    "rocking": "the hiss of the cut swells every second revolution, {size:.0f} dB more than a tight bit's",
}

# Of two cutting edges one that is chipped leaves its work to the other, once per turn.
_NO_HALF_ORDERS = "half orders did not come with it: a chipped cutting edge sounds like that, too"


@dataclass(frozen=True)
class Explanation:
    """
    The likeliest cause of a change.

    Attributes
    ----------
    name
        Its name.
    confidence
        How sure that is, 0 to 1: it grows with the number of independent signs that agree.
    because
        The evidence, a sentence each, the strongest first.
    """

    name: Cause
    confidence: float
    because: tuple[str, ...]


def explain(shift: Array64, *, known: bool = True) -> Explanation:
    """
    Return the likeliest cause of a change.

    A loose bit runs out of true: the spindle line and the lines between the tooth-pass harmonics rise
    against the noise of the cut, which swells once per revolution, and looseness adds half orders (Mobley, An
    Introduction to Predictive Maintenance, 14.1.3), in the lines and in the swell. That a bit slipping in a
    collet sounds so is a hypothesis: no published spectrum of it was found.

    Parameters
    ----------
    shift
        How far each channel has moved from the baseline, dB, shape (len(CHANNELS),).
    known
        Whether there is a baseline: else it is from what a tight bit may have.
    """
    moved = dict(zip(CHANNELS, (float(value) for value in shift), strict=True))
    signs = (
        max(moved["spindle"], moved["between"]) > _WORTH_SAYING,
        max(moved["half"], moved["rocking"]) > _WORTH_SAYING,
        moved["modulation"] > _WORTH_SAYING,
    )
    sentences = evidence(shift, _SENTENCES if known else _OF_A_STRANGER)
    if not any(signs):
        return Explanation("unknown", 0.3, sentences)
    if not signs[1]:
        sentences = (*sentences, _NO_HALF_ORDERS)
    return Explanation("loose", (0.5, 0.7, 0.85)[sum(signs) - 1], sentences)


def evidence(
    shift: Array64,
    sentences: Mapping[str, str] = _SENTENCES,
    little: str = "a small change has lasted long",
) -> tuple[str, ...]:
    """
    Return a sentence for each rise: a fall is no sign, for another cut may have less of anything.

    Parameters
    ----------
    shift
        How far each channel has moved, dB, shape (len(CHANNELS),).
    sentences
        What to say of the channels, by name, with a place for the ``size``; of others nothing is said.
    little
        What to say where none has risen by enough to be named.
    """
    moved = dict(zip(CHANNELS, (float(value) for value in shift), strict=True))
    strongest = sorted(moved, key=lambda name: -moved[name])
    worth = [name for name in strongest if name in sentences and moved[name] > _WORTH_SAYING]
    told = tuple(sentences[name].format(size=moved[name]) for name in worth)
    return told or (little,)
