"""Libraries that are not installed."""

import sys

import pytest

from monitor.actions.kind import ActionError
from monitor.actions.libraries import needed
from monitor.actions.message import rehearsal
from monitor.actions.mqtt import Mqtt
from monitor.actions.push import Push
from monitor.actions.serial_port import SerialPort


@pytest.mark.parametrize(
    ("module", "said"),
    [
        ("serial", r"pyserial is missing: pip install 'chipsong\[serial\]'"),
        ("apprise", r"apprise is missing: pip install 'chipsong\[push\]'"),
        ("paho.mqtt.client", r"paho-mqtt is missing: pip install 'chipsong\[mqtt\]'"),
    ],
)
def test_a_missing_library_is_named_with_its_extra(monkeypatch: pytest.MonkeyPatch, module: str, said: str):
    """Preparing and firing both say what to install."""
    monkeypatch.setitem(sys.modules, module, None)
    kind = {
        "serial": SerialPort("/dev/null", b"x", 9600),
        "apprise": Push("json://shop.example"),
        "paho.mqtt.client": Mqtt("shop.example", "t"),
    }[module]
    with pytest.raises(ActionError, match=said):
        kind.prepare()
    with pytest.raises(ActionError, match=said):
        kind.fire(rehearsal("alarm"), 1.0)


def test_one_that_is_there_is_loaded():
    """What is installed is given."""
    assert needed("serial").Serial
