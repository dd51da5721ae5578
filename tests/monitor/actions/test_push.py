"""Push messages, through the one of apprise's services that anybody can run: JSON to a web server."""

import json
import logging

import pytest
from receivers import HERE, Web, free_port

from monitor.actions.kind import ActionError
from monitor.actions.message import rehearsal
from monitor.actions.push import Push

# The library imports a module that Python is to drop.
pytestmark = pytest.mark.filterwarnings("ignore:'imghdr' is deprecated:DeprecationWarning")


@pytest.mark.parametrize(
    ("name", "urgency"), [("alarm", "failure"), ("doubt", "warning"), ("deaf", "warning"), ("heard", "info")]
)
def test_title_and_text_arrive(web: Web, name, urgency: str):
    """The person gets the title and the text, with an urgency after the event."""
    message = rehearsal(name)
    assert Push(f"json://{HERE}:{web.port}/key").fire(message, 5.0) == "sent"
    (got,) = web.received
    body = json.loads(got.body)
    assert got.path.rstrip("/") == "/key"
    assert (body["title"], body["message"], body["type"]) == (message.title, message.text, urgency)


def test_a_service_that_fails_is_told(web: Web):
    """An answer of failure and a service that is down are told in the library's words, without the key."""
    web.answers = [500]
    before = list(logging.getLogger("apprise").handlers)
    for port in (web.port, free_port()):
        with pytest.raises(ActionError) as caught:
            Push(f"json://{HERE}:{port}/secret-key").fire(rehearsal("alarm"), 5.0)
        assert "JSON" in str(caught.value)
        assert "secret-key" not in str(caught.value)
    assert logging.getLogger("apprise").handlers == before


def test_an_address_that_nobody_knows_is_told_beforehand():
    """A service that apprise does not know is an error when it is prepared, and when it is fired."""
    push = Push("nosuchservice://key")
    with pytest.raises(ActionError, match="does not understand the url"):
        push.prepare()
    with pytest.raises(ActionError, match="does not understand the url"):
        push.fire(rehearsal("alarm"), 5.0)
