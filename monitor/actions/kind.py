"""What an action is, whatever it does, and what became of it."""

from dataclasses import dataclass
from typing import ClassVar, Protocol

from analysis.errors import ChipsongError
from monitor.actions.message import Message, Name


class ActionError(ChipsongError):
    """An action that did not come about; its text is one line that says why."""


class Kind(Protocol):
    """One kind of action, with all that it needs to know."""

    acts: ClassVar[bool]
    """Whether it may act on the machine, and not only tell a person."""

    def describe(self) -> str:
        """Return what it does, in a few words and without passwords or keys."""

    def prepare(self) -> None:
        """
        Load what it needs, so that the first event need not wait for that.

        Raises
        ------
        ActionError
            When something is not installed; the text says how to install it.
        """

    def close(self) -> None:
        """Let go of what was got by `prepare`."""

    def fire(self, message: Message, limit: float) -> str:
        """
        Do it once; return what became of it, in a few words.

        Parameters
        ----------
        message
            What happened.
        limit
            s, when to give up. One that takes longer nevertheless is left to itself.

        Raises
        ------
        Exception
            Any, when it did not come about.
        """


@dataclass(frozen=True)
class Action:
    """
    One thing that is to happen at some events.

    Attributes
    ----------
    name
        What the user calls it.
    does
        What is done.
    on
        At which events.
    limit
        s, how long one try may take.
    tries
        How often it is tried.
    """

    name: str
    does: Kind
    on: frozenset[Name]
    limit: float
    tries: int


@dataclass(frozen=True)
class Done:
    """
    What became of an action.

    Attributes
    ----------
    action
        Its name.
    event
        What it was fired for.
    ok
        Whether it came about, as far as that can be seen from here.
    said
        What it said of it, or why it did not come about.
    took
        s since it was told of the event.
    """

    action: str
    event: Message
    ok: bool
    said: str
    took: float
