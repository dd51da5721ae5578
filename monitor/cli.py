"""
The command ``chipsong``.

Only click is imported here: what a command needs is imported when it runs, so that help comes at once.
"""

import io
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypedDict, TypeVar, Unpack

import click

from analysis.errors import ChipsongError
from monitor.bit_commands import accept, bits, label, rehear, tune
from monitor.output import open_closed, write_nowhere
from monitor.status import Status
from monitor.trouble import warn
from monitor.typed import RPM, Number, Whole

if TYPE_CHECKING:
    from analysis.program.program import Units
    from monitor.kept.keeping import SoundKept
    from monitor.setup import Wanted
    from monitor.sharing import Sharing
    from monitor.shop.address import Shop

_Command = TypeVar("_Command", bound=Callable[..., Any])
_Read = TypeVar("_Read")
_FILE = click.Path(path_type=Path)


class _SaidOfBit(TypedDict):
    """What `_BIT_OPTIONS` give."""

    bit: str | None
    rpm: float | None
    flutes: int | None
    diameter: float | None


class _Said(_SaidOfBit):
    """What `_JOB_OPTIONS` give."""

    program: Path | None
    units: "Units | None"
    top: float | None
    lines: str | None
    lines_pattern: str | None
    ahead: int
    material: str | None
    false_alarms: float | None
    hours: float | None


class _SaidOfProgram(_SaidOfBit):
    """What `plan` is told of a program and its bits."""

    units: "Units | None"
    top: float | None


class _Asked(TypedDict):
    """What `resume` is asked for."""

    line: int | None
    only: tuple[str, ...] | None
    skip: tuple[str, ...] | None
    safe_z: float | None
    units: "Units | None"
    top: float | None
    spin_up: float


def _read_by(
    read: Callable[[str], _Read],
) -> Callable[[click.Context, click.Parameter, str | None], _Read | None]:
    """Return the callback of an option: what is read of what was said, or why it can't be."""

    def callback(_context: click.Context, _option: click.Parameter, said: str | None) -> _Read | None:
        try:
            return None if said is None else read(said)
        except ValueError as error:
            raise click.BadParameter(str(error)) from error

    return callback


@_read_by
def _length(said: str) -> float:
    """Return a length with its unit in mm."""
    from monitor.shelf.bits import parse_length  # noqa: PLC0415

    return parse_length(said)


@_read_by
def _height(said: str) -> float:
    """Return a height in mm, at least something; see `_with_unit`."""
    from monitor.shelf.bits import parse_length  # noqa: PLC0415

    return parse_length(_with_unit(said))


@_read_by
def _top(said: str) -> float:
    """Return a height in mm, which may be nothing, or less; see `_with_unit`."""
    from monitor.shelf.bits import parse_height  # noqa: PLC0415

    return parse_height(_with_unit(said))


def _with_unit(said: str) -> str:
    """Return what was said; a bare number may be meant in the program's unit, so it is refused."""
    if said.strip("-+0. ") and said.rstrip()[-1] in "0123456789.":
        raise click.BadParameter(f"'{said}' has no unit: type {said}mm or {said}in")
    return said


@_read_by
def _where(said: str) -> str:
    """Return where line numbers come from, as it was said, if that is anywhere."""
    from monitor.linefeed.where import source_of  # noqa: PLC0415

    source_of(said)
    if said == "-" and sys.stdin.isatty():
        raise click.BadParameter("- reads what another program writes: pipe that into this one")
    return said


@_read_by
def _pattern(said: str) -> str:
    """Return a pattern of the user's own, if it is one."""
    from monitor.linefeed.reading import reader_for  # noqa: PLC0415

    reader_for(said)
    return said


@_read_by
def _shop(said: str) -> "Shop":
    """Return the shop that is meant."""
    from monitor.shop.address import shop_of  # noqa: PLC0415

    return shop_of(said)


@_read_by
def _machine(said: str) -> str:
    """Return a machine's name, if it can be one."""
    from monitor.shop.address import machine_named  # noqa: PLC0415

    machine_named(said)
    return said


_BIT_OPTIONS = (
    click.option("--bit", metavar="NAME", help="A bit on the shelf."),
    click.option("--rpm", type=RPM, help="Spindle speed."),
    click.option("--flutes", type=Whole(1, 12), help="Cutting edges of the bit."),
    click.option("--diameter", callback=_length, metavar="6.35mm|0.25in", help="Of the bit."),
)
_UNITS = click.option(
    "--units", type=click.Choice(["mm", "inch"]), help="Unit of a program that says neither G21 nor G20."
)
_TOP = click.option(
    "--top",
    callback=_top,
    metavar="12mm|0.5in|0",
    help="Z of the sheet's top in the program, where that does not tell it: 0 if its zero is on the sheet, "
    "the sheet's thickness if it is on the spoilboard.",
)
_JOB_OPTIONS = (
    click.option("--program", type=_FILE, help="The program being cut: gives lines, parts, restart."),
    _UNITS,
    _TOP,
    *_BIT_OPTIONS,
    click.option(
        "--lines",
        callback=_where,
        metavar="WHERE",
        help="Where line numbers come from: a file, - for standard input, tcp:PORT, udp:PORT, "
        "mqtt://HOST/TOPIC or mtconnect+http://HOST:PORT/DEVICE.",
    ),
    click.option(
        "--lines-pattern",
        callback=_pattern,
        metavar="REGEX",
        help="Finds them in lines of text, by a group named line or word, and perhaps one named time; "
        "without it each line is JSON.",
    ),
    click.option(
        "--ahead",
        type=Whole(0, 1000),
        default=20,
        show_default=True,
        help="How many lines they may be ahead of the cutting.",
    ),
    click.option("--material", metavar="NAME", help="What is cut; the bit's usual material if not said."),
    click.option(
        "--false-alarms",
        type=Number(0.001, 1000),
        help="How many false alarms are bearable ...  [default: the shelf's, or 1]",
    ),
    click.option(
        "--hours",
        type=Number(0.1, 100_000),
        help="... in so many hours of cutting.  [default: the shelf's, or 20]",
    ),
)
_BUDGET = click.option(
    "--sound-budget",
    type=Number(0),
    default=20.0,
    show_default=True,
    metavar="GB",
    help="How much the sound of all runs may take on disk; the oldest goes first, events never.",
)
_SHARE = click.option(
    "--share", is_flag=True, help="Let others on this network see the page, who know its address."
)
_PORT = click.option(
    "--port", type=Whole(0, 65535), default=0, help="Port of the page; any that is free if not said."
)
_JSON = click.option("--json", "as_json", is_flag=True, help="One JSON object a line on standard output.")


def _adding(options: tuple[Callable[[_Command], _Command], ...]) -> Callable[[_Command], _Command]:
    """Return a decorator that adds options to a command, in this order."""

    def add(command: _Command) -> _Command:
        for option in reversed(options):
            command = option(command)
        return command

    return add


def _options_typed(context: click.Context) -> list[str]:
    """Return the options that the user gave."""
    default = click.core.ParameterSource.DEFAULT
    return [
        option.opts[0]
        for option in context.command.params
        if option.name and context.get_parameter_source(option.name) is not default
    ]


def _check_bit(said: _SaidOfBit) -> None:
    if said["bit"] and (said["flutes"] or said["diameter"]):
        raise click.UsageError("give --bit, or --flutes and --diameter, not both; --rpm goes with either")


def _sharing(*, page: bool, share: bool, port: int) -> "Sharing | None":
    """Return who may see a page beside a command, where one is wanted."""
    if port and not (page or share):
        raise click.UsageError("--port is the page's, and no page was asked for: give --page, too")
    from monitor.sharing import Sharing  # noqa: PLC0415

    return Sharing(share, port) if page or share else None


def _wanted(said: _Said) -> "Wanted":
    from monitor.setup import Wanted, settings_said  # noqa: PLC0415

    _check_bit(said)
    if said["lines_pattern"] and said["lines"] is None:
        raise click.UsageError("--lines-pattern reads what --lines gives: say where that comes from, too")
    if said["top"] is not None and said["program"] is None:
        raise click.UsageError("--top is a height in the program: say which that is with --program, too")
    if said["units"] is not None and said["program"] is None:
        raise click.UsageError("--units is the program's: say which that is with --program, too")
    return Wanted(
        program=said["program"],
        bit=said["bit"],
        speed=said["rpm"],
        flutes=said["flutes"],
        diameter=said["diameter"],
        lines=said["lines"],
        lines_pattern=said["lines_pattern"],
        ahead=said["ahead"],
        material=said["material"],
        settings=settings_said(said["false_alarms"], said["hours"]),
        units=said["units"],
        top=said["top"],
    )


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(package_name="chipsong")
def cli() -> None:
    """
    Hear when a cutting bit works loose, and know where to carry on.

    chipsong listens to a cut, learns how it sounds in its first seconds, and says when that changes: since
    when, on which line of the program, which parts are suspect, and from which line to carry on. It is no
    safety device: never leave a running machine unattended.
    """


@cli.command()
@click.option(
    "--out",
    type=_FILE,
    default=Path("chipsong-demo"),
    show_default=True,
    help="Folder for what it writes.",
)
@click.option("--seed", type=Whole(0), default=7, show_default=True, help="Another seed, another cut.")
@click.option("--line", type=Whole(1), help="Line on which the bit comes loose.")
def demo(out: Path, seed: int, line: int | None) -> None:
    """Cut the demo job in simulation, listen to it, and raise the alarm."""
    from monitor.demo import run_demo  # noqa: PLC0415

    sys.exit(run_demo(out, seed=seed, line=line))


@cli.command()
@click.argument("recording", type=_FILE)
@_adding(_JOB_OPTIONS)
@_JSON
@click.option("--keep", is_flag=True, help="Keep the run in the journal.")
@_BUDGET
def replay(recording: Path, *, as_json: bool, keep: bool, sound_budget: float, **said: Unpack[_Said]) -> None:
    """Listen to a RECORDING of a cut, as if live."""
    wanted = _wanted(said)
    from monitor.kept.keeping import Keep  # noqa: PLC0415
    from monitor.listening import replay as run  # noqa: PLC0415

    sys.exit(run(recording, wanted, Keep(budget=sound_budget) if keep else None, as_json=as_json))


@cli.command()
@_adding(_JOB_OPTIONS)
@click.option("--device", metavar="NAME", help="Microphone: its number, name, or a part of it.")
@click.option("--rate", type=Whole(8000, 192_000), help="Samples a second; the microphone's own.")
@click.option("--for", "seconds", type=Number(0.1), help="Stop after so many seconds.")
@click.option("--title", help="What to call the run; the program's name if not said.")
@click.option("--page", is_flag=True, help="Show what is heard on a local page too, with buttons.")
@_SHARE
@_PORT
@click.option(
    "--keep-sound",
    type=click.Choice(["all", "events", "none"]),
    default="all",
    show_default=True,
    help="Which sound is kept; voices near the microphone are on it too.",
)
@_BUDGET
@click.option(
    "--control",
    type=click.Choice(["-"]),
    help="Take what a person says through another program: JSON lines on standard input.",
)
@click.option(
    "--shop",
    callback=_shop,
    metavar="MQTT://HOST/PREFIX",
    help="Announce this machine, its state and its events on a broker.",
)
@click.option(
    "--machine",
    callback=_machine,
    metavar="NAME",
    help="What it is called, there and for what is learned of its pace; this computer's name if not said.",
)
@_JSON
def watch(  # noqa: PLR0913 - as many as the user may say
    *,
    device: str | None,
    rate: int | None,
    seconds: float | None,
    title: str | None,
    keep_sound: "SoundKept",
    sound_budget: float,
    page: bool,
    share: bool,
    port: int,
    control: str | None,
    shop: "Shop | None",
    machine: str | None,
    as_json: bool,
    **said: Unpack[_Said],
) -> None:
    """Listen to the microphone beside a running job. End with Ctrl-C."""
    if control and sys.stdin.isatty():
        raise click.UsageError("--control - reads from a pipe; on a terminal there are keys")
    if control and said["lines"] == "-":
        raise click.UsageError(
            "--control - and --lines - would both read standard input: give another --lines"
        )
    sharing = _sharing(page=page, share=share, port=port)
    wanted = _wanted(said)
    from monitor.kept.keeping import Keep  # noqa: PLC0415
    from monitor.listening import Live  # noqa: PLC0415
    from monitor.listening import watch as run  # noqa: PLC0415

    keep = Keep(keep_sound, sound_budget)
    live = Live(device, rate, seconds, title, keep, sharing, bool(control), shop, machine)
    sys.exit(run(live, wanted, as_json=as_json))


@cli.command()
@click.option("--check", is_flag=True, help="Listen to one and say whether it is fit, and what to change.")
@click.option("--device", metavar="NAME", help="Microphone to check; the default one if not said.")
@click.option(
    "--for",
    "seconds",
    type=Number(0.5, 600),
    default=8.0,
    show_default=True,
    help="How many seconds to check it.",
)
@_adding(_BIT_OPTIONS)
@click.pass_context
def mics(
    context: click.Context,
    *,
    check: bool,
    device: str | None,
    seconds: float,
    **said: Unpack[_SaidOfBit],
) -> None:
    """List the microphones; with --check, listen to one."""
    _check_bit(said)
    if not check and (typed := _options_typed(context)):
        raise click.UsageError(f"{typed[0]} is for listening to one: give --check, too")
    from monitor.mics import check_microphone, list_text  # noqa: PLC0415
    from monitor.setup import Wanted  # noqa: PLC0415

    if not check:
        click.echo(list_text())
        return
    wanted = Wanted(bit=said["bit"], speed=said["rpm"], flutes=said["flutes"], diameter=said["diameter"])
    text, fit = check_microphone(device, seconds, wanted, click.echo)
    click.echo(text)
    sys.exit(Status.FINE if fit else Status.FAILED)


@cli.command()
@click.argument("program", type=_FILE)
@_adding(_BIT_OPTIONS)
@click.option(
    "--material",
    type=click.Choice(["plywood", "mdf", "softwood", "hardwood"], case_sensitive=False),
    help="What is cut: shows makers' usual chip loads, as advice.",
)
@click.option(
    "-o", "--out", type=_FILE, metavar="SHEET.PNG", help="Draw the sheet from above into this file."
)
@_UNITS
@_TOP
@click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")
def plan(
    program: Path,
    *,
    material: str | None,
    out: Path | None,
    as_json: bool,
    **said: Unpack[_SaidOfProgram],
) -> None:
    """Tell what is in PROGRAM before it is cut: bits, times, parts, and where each bit's sound is learned."""
    _check_bit(said)
    from monitor.planning import Asked, show_plan  # noqa: PLC0415
    from monitor.setup import Wanted  # noqa: PLC0415

    wanted = Wanted(bit=said["bit"], speed=said["rpm"], flutes=said["flutes"], diameter=said["diameter"])
    show_plan(program, wanted, Asked(material, said["units"], out, as_json, said["top"]))


@_read_by
def _parts(said: str) -> tuple[str, ...]:
    """Return the names of parts."""
    from monitor.resuming import parse_parts  # noqa: PLC0415

    return parse_parts(said)


@cli.command()
@click.argument("program", type=_FILE)
@click.option(
    "--line",
    type=Whole(1, what="the line of the file, not its N word"),
    help="Carry on: line of the file that went wrong.",
)
@click.option("--only", callback=_parts, metavar="PART,...", help="Cut these parts alone: 2,5 or 2-5.")
@click.option("--skip", callback=_parts, metavar="PART,...", help="Cut all parts but these.")
@click.option("-o", "--out", type=_FILE, help="Where to write it; standard output if not said.")
@click.option(
    "--safe-z",
    callback=_height,
    metavar="6mm|0.25in",
    help="Height to move across at; the program's own if not said.",
)
@_UNITS
@_TOP
@click.option(
    "--spin-up",
    type=Number(0),
    default=5.0,
    show_default=True,
    help="Seconds that the spindle gets before the bit moves across.",
)
def resume(program: Path, *, out: Path | None, **asked: Unpack[_Asked]) -> None:
    """
    Write the program that carries PROGRAM on, from where the bit stood above the work before LINE.

    With --only or --skip it is one that cuts the chosen parts from their beginning, and nothing else.
    """
    if sum(asked[how] is not None for how in ("line", "only", "skip")) != 1:
        raise click.UsageError("give one of --line, --only and --skip")
    from monitor.resuming import Asked, write_restart  # noqa: PLC0415

    write_restart(program, Asked(**asked), out)


@cli.command()
@click.argument("run", required=False)
def runs(run: str | None) -> None:
    """List the runs that were kept; with a RUN, tell what was heard in it."""
    from monitor.review import list_text, run_text  # noqa: PLC0415

    click.echo(run_text(run) if run else list_text())


@cli.command()
@click.argument("run")
@click.option("-o", "--out", type=_FILE, required=True, metavar="FILE.HTML", help="Where to write it.")
@click.option("--csv", is_flag=True, help="Write tables of events and parts beside it too.")
@click.option("--vtt", is_flag=True, help="Write WebVTT cues to the run's sound beside it too.")
def report(run: str, *, out: Path, csv: bool, vtt: bool) -> None:
    """Write what was heard in a RUN as one file that opens anywhere, with its pictures and sounds."""
    from monitor.report import write_report  # noqa: PLC0415

    write_report(run, out, csv=csv, vtt=vtt)


@cli.command()
@click.argument("run", required=False)
@_SHARE
@_PORT
def review(run: str | None, *, share: bool, port: int) -> None:
    """Serve a local page on which kept runs, or one RUN, can be seen, heard and labelled. End with Ctrl-C."""
    from monitor.page.review_command import review as serve  # noqa: PLC0415
    from monitor.sharing import Sharing  # noqa: PLC0415

    serve(run, Sharing(share, port))


@cli.command()
@click.argument("where", callback=_shop, metavar="MQTT://HOST/PREFIX")
@click.option("--for", "seconds", type=Number(0.1), help="Stop after so many seconds.")
@click.option("--page", is_flag=True, help="Show them on a local page too.")
@_SHARE
@_PORT
@_JSON
def shop(  # noqa: PLR0913 - as many as the user may say
    where: "Shop", *, seconds: float | None, page: bool, share: bool, port: int, as_json: bool
) -> None:
    """Show all machines that announce themselves on a broker. End with Ctrl-C."""
    sharing = _sharing(page=page, share=share, port=port)
    from monitor.shop.showing import show_shop  # noqa: PLC0415

    sys.exit(show_shop(where, as_json=as_json, seconds=seconds, sharing=sharing))


@cli.group(invoke_without_command=True)
@click.pass_context
def actions(context: click.Context) -> None:
    """List what is set up to happen at an alarm; `actions try` fires it for test."""
    if context.invoked_subcommand is None:
        from monitor.actions.trying import show_actions  # noqa: PLC0415

        show_actions()


@actions.command("try")
@click.argument("name", required=False)
def try_actions(name: str | None) -> None:
    """Fire all actions, or the one of this NAME, with an event that says it is a test."""
    from monitor.actions.trying import try_actions as run  # noqa: PLC0415

    sys.exit(run(name))


for command in (bits, label, accept, rehear, tune):
    cli.add_command(command)


def main() -> None:
    """Run the command; whatever fails says so in one line, and the exit status tells."""
    open_closed()
    if isinstance(sys.stdout, io.TextIOWrapper):
        # Names of microphones and of files hold any sign, and not every terminal has it. Errors bear all.
        sys.stdout.reconfigure(errors="replace")
    try:
        status = cli.main(prog_name="chipsong", standalone_mode=False)
        sys.stdout.flush()
    except click.ClickException as error:
        error.show()
        status = error.exit_code
    except (click.Abort, KeyboardInterrupt):
        status = Status.FAILED
    except BrokenPipeError:
        # Whoever read the output has seen enough; what Python still holds back must go nowhere.
        write_nowhere([sys.stdout.fileno()])
        status = Status.FAILED
    except (ChipsongError, OSError) as error:
        warn(str(error))
        status = Status.FAILED
    sys.exit(status)
