"""A push message, through one of the many services that apprise knows."""

import logging
import threading
from dataclasses import dataclass, field
from typing import ClassVar, Self

from monitor.actions.kind import ActionError
from monitor.actions.libraries import needed
from monitor.actions.message import Message

_URGENCY = {"alarm": "failure", "deaf": "warning", "heard": "info"}


@dataclass(frozen=True)
class Push:
    """
    Sends a message to a person.

    Attributes
    ----------
    url
        The service and the way to the person, as apprise writes it; it mostly holds a key.
    """

    acts: ClassVar[bool] = False

    url: str = field(repr=False)

    def describe(self) -> str:
        """Return which service, without the key."""
        return f"push: through {self.url.partition(':')[0]}"

    def prepare(self) -> None:
        """Load the library, and look whether it knows the service."""
        if not needed("apprise").Apprise().add(self.url):
            raise ActionError("apprise does not understand the url: look it up in its list of services")

    def close(self) -> None:
        """Nothing was got."""

    def fire(self, message: Message, limit: float) -> str:
        """Send it; the library has time limits of its own, of some seconds."""
        del limit
        library = needed("apprise")
        service = library.Apprise()
        with _Listening(library.logger.logger) as heard:
            known = service.add(self.url)
            sent = known and service.notify(
                title=message.title, body=message.text, notify_type=_URGENCY[message.name]
            )
        if not sent:
            raise ActionError(heard.last or "not sent, and apprise does not say why")
        return "sent"


class _Listening(logging.Handler):
    """Keeps the last thing that a library complained of on this thread; elsewhere it does not say it."""

    def __init__(self, logger: logging.Logger) -> None:
        super().__init__(logging.WARNING)
        self.last = ""
        self._logger = logger
        self._thread = threading.get_ident()

    def emit(self, record: logging.LogRecord) -> None:
        if record.thread == self._thread:
            self.last = record.getMessage()

    def __enter__(self) -> Self:
        self._logger.addHandler(self)
        return self

    def __exit__(self, *_: object) -> None:
        self._logger.removeHandler(self)
