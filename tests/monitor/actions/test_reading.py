"""The file of actions: what a person may write, what comes of it, and what is said of mistakes."""

import subprocess
import sys
from pathlib import Path

import pytest

from analysis.errors import ShelfError
from monitor.actions import read_actions
from monitor.actions.bell import Bell
from monitor.actions.command import Command
from monitor.actions.kind import Action
from monitor.actions.mqtt import Mqtt
from monitor.actions.push import Push
from monitor.actions.request import Request
from monitor.actions.serial_port import SerialPort
from monitor.actions.tone import Tone

# The least that each kind needs.
LEAST = {
    "bell": "",
    "tone": "",
    "command": 'run = ["true"]',
    "serial": 'port = "/dev/ttyUSB0"\nbaud = 9600\nhex = "0d 1F"',
    "http": 'url = "http://shop.example:8080/alarm?key=1"',
    "push": 'url = "json://shop.example/key"',
    "mqtt": 'host = "broker.example"\ntopic = "shop/router"',
}


README = Path(__file__).parents[3] / "README.md"


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Name the file, which is not there yet."""
    return tmp_path / "actions.toml"


def written(path: Path, kind: str, more: str = "", name: str = "one") -> Path:
    """Write one action."""
    path.write_text(f'[[action]]\nname = "{name}"\nkind = "{kind}"\n{LEAST.get(kind, "")}\n{more}\n')
    return path


def only(path: Path) -> Action:
    """Return the one action of a file."""
    (action,) = read_actions(path)
    return action


@pytest.mark.parametrize(
    ("kind", "more", "does"),
    [
        ("bell", "rings = 5", Bell(5)),
        ("tone", 'seconds = 2\ndevice = "USB"', Tone(2.0, "USB")),
        ("command", "", Command(("true",))),
        ("serial", "", SerialPort("/dev/ttyUSB0", b"\r\x1f", 9600)),
        ("http", "", Request("http://shop.example:8080/alarm?key=1")),
        (
            "http",
            'method = "PUT"\nheaders = { Authorization = "k" }\nbody = "off"',
            Request("http://shop.example:8080/alarm?key=1", "PUT", {"Authorization": "k"}, "off"),
        ),
        ("push", "", Push("json://shop.example/key")),
        ("mqtt", "", Mqtt("broker.example", "shop/router")),
        (
            "mqtt",
            'tls = true\nuser = "me"\npassword = "secret"\nretain = true\npayload = "off"',
            Mqtt("broker.example", "shop/router", 8883, "off", "me", "secret", tls=True, retain=True),
        ),
    ],
)
def test_every_kind_is_read(path: Path, kind: str, more: str, does: object):
    """What is written is what is done."""
    assert only(written(path, kind, more)).does == does


def test_bytes_may_be_written_as_text(path: Path):
    """The escapes of TOML stand for control characters."""
    path.write_text('[[action]]\nname = "a"\nkind = "serial"\nport = "COM3"\nbaud = 9600\ntext = "M5\\r\\n"')
    assert only(path).does == SerialPort("COM3", b"M5\r\n", 9600)


@pytest.mark.parametrize("kind", LEAST)
def test_what_is_taken_when_nothing_is_said(path: Path, kind: str):
    """
    At alarm and deaf, in 10 s; what may be half done, a command and serial bytes, is not tried again.

    What only tells people tells a doubt as well; what acts on a machine waits for what is certain.
    """
    action = only(written(path, kind))
    assert action.on == {"alarm", "deaf"} | ({"doubt"} if kind in {"bell", "tone", "push"} else set())
    assert action.does.acts or "doubt" in action.on
    assert action.limit == 10.0
    assert action.tries == (1 if kind in {"command", "serial"} else 3)


def test_when_and_how_often_may_be_said(path: Path):
    """Events, limit and tries are the user's."""
    action = only(written(path, "bell", 'on = ["heard"]\nlimit = 2\ntries = 4', name=" Ring "))
    assert action == Action("Ring", Bell(3), frozenset({"heard"}), 2.0, 4)


@pytest.mark.parametrize("text", [None, "", "# nothing yet\n"])
def test_no_file_is_no_actions(path: Path, text: str | None):
    """Nothing happens unless somebody set it up."""
    if text is not None:
        path.write_text(text)
    assert read_actions(path) == ()


@pytest.mark.parametrize(
    ("kind", "more", "said"),
    [
        ("siren", "", "kind = 'siren': it must be one of bell, tone, command, serial, http, push, mqtt"),
        ("bell", "ring = 2", "ring: there is no such key, only name, kind, on, limit, tries, rings"),
        ("bell", "rings = 0", "rings = 0: it must be a whole number from 1 to 20"),
        ("bell", "rings = true", "rings = True: it must be a whole number"),
        ("bell", 'on = ["alarms"]', "on = 'alarms': it must be a list of"),
        ("bell", "on = []", "on = []: it must be a list of"),
        ("bell", 'on = "alarm"', "on = 'alarm': it must be a list of"),
        ("bell", "limit = 0", "limit = 0: it must be seconds, from 0.1 to 300"),
        ("bell", "limit = nan", "limit = nan: it must be seconds"),
        ("bell", "limit = inf", "limit = inf: it must be seconds"),
        ("bell", "tries = 11", "tries = 11: it must be a whole number from 1 to 10"),
        ("bell", "tries = 1.5", "tries = 1.5: it must be a whole number"),
        ("tone", "seconds = 9", "limit = 10: it must be 2 more than seconds = 9"),
        ("tone", "seconds = 61", "seconds = 61: it must be seconds, from 0.1 to 60"),
        ("serial", 'text = "a"', "write either text or hex"),
        ("http", 'method = "DELETE"', "method = 'DELETE': it must be one of POST, PUT, GET"),
        ("http", 'headers = { "a b" = "c" }', "headers: it must be a table of plain text"),
        ("http", 'headers = { a = "b\\nc" }', "headers: it must be a table of plain text"),
        ("mqtt", "port = 0", "port = 0: it must be a whole number from 1 to 65535"),
        ("mqtt", "password = 12345", "password: it must be a text"),
        ("mqtt", 'password = "12345"', "user is missing: it must be a text where there is a password"),
        ("mqtt", 'tls = "yes"', "tls = 'yes': it must be true or false"),
    ],
)
def test_a_mistake_is_named(path: Path, kind: str, more: str, said: str):
    """A wrong value is a ShelfError of one line: file, action, key, value, and what is allowed."""
    with pytest.raises(ShelfError) as caught:
        read_actions(written(path, kind, more))
    told = str(caught.value)
    assert told.startswith(f"{path}: action 1 ('one'), ")
    assert said in told
    assert "\n" not in told
    assert "12345" not in told


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ('kind = "bell"', "name is missing: it must be some text"),
        ('name = " "\nkind = "bell"', "name = ' ': it must be some text"),
        ('name = "a"', "kind is missing: it must be one of bell"),
        (
            'name = "a"\nkind = "command"',
            'run is missing: it must be a program and its arguments: ["program"',
        ),
        ('name = "a"\nkind = "command"\nrun = "horn --loud"', "run = 'horn --loud': it must be a program"),
        ('name = "a"\nkind = "command"\nrun = []', "run = []: it must be a program"),
        ('name = "a"\nkind = "command"\nrun = [""]', "run = '': it must be a program"),
        ('name = "a"\nkind = "serial"\nport = "/dev/x"\nbaud = 9600', "write either text or hex"),
        (
            'name = "a"\nkind = "serial"\nport = "/dev/x"\nhex = "1"\nbaud = 9600',
            "hex = '1': it must be bytes as",
        ),
        (
            'name = "a"\nkind = "serial"\nport = "/dev/x"\nhex = 21\nbaud = 9600',
            "hex = 21: it must be bytes as",
        ),
        (
            'name = "a"\nkind = "serial"\nport = "/dev/x"\ntext = "ä"\nbaud = 9600',
            "it must be plain ASCII text",
        ),
        ('name = "a"\nkind = "serial"\nport = "/dev/x"\ntext = "a"', "baud is missing: it must be bits per"),
        ('name = "a"\nkind = "http"\nurl = "shop.example"', "it must be an address that begins with http://"),
        ('name = "a"\nkind = "http"\nurl = "file:///etc/passwd"', "it must be an address that begins with"),
        ('name = "a"\nkind = "http"\nurl = "http://me:x@shop.example"', "without user and password"),
        ('name = "a"\nkind = "http"\nurl = "http://a b"', "it must be an address that begins with http://"),
        (
            'name = "a"\nkind = "http"\nurl = "http://a:99999"',
            "it must be an address that begins with http://",
        ),
        ('name = "a"\nkind = "push"\nurl = "shop"', "it must be an address as apprise writes it"),
        ('name = "a"\nkind = "mqtt"\nhost = "b"\ntopic = "shop/#"', "it must be a topic without + and #"),
    ],
)
def test_what_is_missing_or_no_such_thing_is_named(path: Path, table: str, said: str):
    """The same for what a kind needs."""
    path.write_text(f"[[action]]\n{table}\n")
    with pytest.raises(ShelfError) as caught:
        read_actions(path)
    assert said in str(caught.value)
    assert str(caught.value).startswith(f"{path}: action 1 ('")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[[action]\n", "cannot be understood"),
        ("[action]\nname = 'a'", r"begins with \[\[action\]\]"),
        ("[[actions]]\nname = 'a'", "actions: only"),
        (
            '[[action]]\nname="a"\nkind="bell"\n[[action]]\nname="A "\nkind="bell"',
            "two actions have the name 'A'",
        ),
    ],
)
def test_a_file_that_makes_no_sense_is_refused(path: Path, text: str, said: str):
    """What is no TOML, stands in the wrong place, or is there twice, is a ShelfError that names the file."""
    path.write_text(text)
    with pytest.raises(ShelfError, match=said) as caught:
        read_actions(path)
    assert str(path) in str(caught.value)


def test_the_mark_that_an_editor_puts_before_a_text_is_none_of_it(path: Path):
    """UTF-8 "with BOM" is read as any other."""
    path.write_bytes(b'\xef\xbb\xbf[[action]]\nname = "horn"\nkind = "bell"\n')
    assert [action.name for action in read_actions(path)] == ["horn"]


def test_a_file_that_cannot_be_read_is_said(tmp_path: Path):
    """A folder in place of the file is a ShelfError."""
    with pytest.raises(ShelfError, match="cannot read"):
        read_actions(tmp_path)


@pytest.mark.parametrize("kind", LEAST)
def test_no_key_is_shown(path: Path, kind: str):
    """What an action says of itself holds no path, user, password or argument, in which keys stand."""
    more = {"mqtt": 'user = "me"\npassword = "secret"', "http": 'headers = { A = "secret" }'}.get(kind, "")
    said = only(written(path, kind, more)).does.describe()
    assert said.startswith(f"{kind}: ")
    assert "key" not in said
    assert "secret" not in said


def test_the_example_in_the_readme_is_read(path: Path):
    """What README.md shows can be written so, and each kind is named there with all its keys."""
    from monitor.actions.table import KINDS  # noqa: PLC0415 - pydantic is slow to load

    text = README.read_text(encoding="utf-8")
    (example,) = (block.partition("```")[0] for block in text.split("```toml\n") if "[[action]]" in block)
    path.write_text(example, encoding="utf-8")
    actions = read_actions(path)
    assert [action.name for action in actions] == ["horn", "phone", "pause"]
    assert actions[2].does == SerialPort("/dev/ttyUSB0", b"PAUSE\n", 115_200)
    section = text.partition("### What an alarm does")[2].partition("### ")[0]
    words = set(KINDS) | {key for model in KINDS.values() for key in model.model_fields}
    missing = [word for word in words if f"`{word}" not in section and f"{word} = " not in section]
    assert [word for word in missing if f'kind = "{word}"' not in section] == []


def test_every_key_says_what_is_allowed():
    """Whatever is wrong with whichever key, there is something to say of it."""
    from monitor.actions.table import KINDS  # noqa: PLC0415 - pydantic is slow to load

    fields = [field for model in KINDS.values() for field in model.model_fields.values()]
    assert all(field.description for field in fields)


def test_the_boundary_costs_nothing_at_the_start():
    """Pydantic and the libraries of actions are loaded when they are needed, not with the module."""
    heavy = {"pydantic", "serial", "apprise", "paho", "sounddevice"}
    script = f"import sys, monitor.actions; sys.exit(bool({heavy!r} & set(sys.modules)))"
    assert subprocess.run([sys.executable, "-c", script], check=False).returncode == 0
