"""What a test for another fault than a loose bit says."""

from dataclasses import dataclass

from analysis.events import Cause


@dataclass(frozen=True)
class Finding:
    """
    A fault that is certain.

    Attributes
    ----------
    cause, confidence
        The likeliest cause, and how sure that is, 0 to 1.
    since
        When it began, s from the first sample.
    because
        The evidence, a sentence each.
    score, threshold
        What the test has come to, and from where on it is certain.
    """

    cause: Cause
    confidence: float
    since: float
    because: tuple[str, ...]
    score: float
    threshold: float
