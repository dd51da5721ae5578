"""The commands about bits. As in `monitor.cli`, only click is imported before one of them runs."""

import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from monitor.typed import RPM, Number, Whole, moment

if TYPE_CHECKING:
    from monitor.kept.labels import Label

_Command = TypeVar("_Command", bound=Callable[..., Any])
_FILE = click.Path(path_type=Path)

_KINDS = "up-cut, down-cut, compression, straight, ball or v"
# Bounds are those of `monitor.shelf.table`, which is not imported yet.
_OPTIONS: tuple[tuple[str, type | Number | Whole, str, str], ...] = (
    ("diameter", str, "6.35mm|0.25in", "Its cutting diameter."),
    ("flutes", Whole(1, 12), "N", "How many cutting edges it has."),
    ("kind", str, "KIND", f"{_KINDS}."),
    ("speed", RPM, "RPM", "The spindle speed."),
    ("tool", Whole(1, 99_999), "N", "Its T number."),
    ("material", str, "NAME", "What it usually cuts."),
    ("care", str, "TEXT", "How its collet is to be cared for."),
    ("false_alarms", Number(0.001, 1000), "N", "How many false alarms are bearable ..."),
    ("hours", Number(0.1, 100_000), "H", "... in so many hours of cutting."),
    ("limit", Number(0.2, 5), "FACTOR", "Times the limit that follows from these."),
)


def _describing(command: _Command) -> _Command:
    """Add an option for each key of the shelf."""
    for key, kind, shown, text in reversed(_OPTIONS):
        command = click.option(f"--{key.replace('_', '-')}", key, type=kind, metavar=shown, help=text)(
            command
        )
    return command


@click.group(invoke_without_command=True)
@click.option("--json", "as_json", is_flag=True, help="One JSON object a bit, a line each.")
@click.pass_context
def bits(context: click.Context, *, as_json: bool) -> None:
    """List the bits on the shelf; `bits show`, `add`, `change` and `remove` one."""
    if context.invoked_subcommand is None:
        from monitor.shelf.text import list_text  # noqa: PLC0415

        click.echo(list_text(as_json=as_json), nl=not as_json)


@bits.command("show")
@click.argument("name")
@click.option("--json", "as_json", is_flag=True, help="As one JSON object.")
def show_bit(name: str, *, as_json: bool) -> None:
    """Tell all that is known of the bit NAME."""
    from monitor.shelf.text import bit_text  # noqa: PLC0415

    click.echo(bit_text(name, as_json=as_json))


@bits.command("add")
@click.argument("name")
@_describing
def add_bit(name: str, **told: object) -> None:
    """Put the bit NAME on the shelf; --diameter, --flutes and --kind must be said."""
    from monitor.shelf.text import add  # noqa: PLC0415

    click.echo(add(name, told))


@bits.command("change")
@click.argument("name")
@_describing
@click.option("--without", multiple=True, metavar="KEY", help="Take this out of what is said of it.")
def change_bit(name: str, *, without: tuple[str, ...], **told: object) -> None:
    """Change what the shelf says of the bit NAME; comments in its file stay."""
    from monitor.shelf.text import change  # noqa: PLC0415

    change_of = {key: value for key, value in told.items() if value is not None}
    if not change_of and not without:
        raise click.UsageError("say what to change, as --flutes 2, or --without care")
    click.echo(change(name, {**change_of, **dict.fromkeys(without)}))


@bits.command("remove")
@click.argument("name")
@click.option("--yes", is_flag=True, help="Do not ask.")
def remove_bit(name: str, *, yes: bool) -> None:
    """Take the bit NAME off the shelf; what was heard of it stays with its runs."""
    from monitor.shelf.text import bit_text, remove  # noqa: PLC0415

    if not yes:
        click.echo(bit_text(name, as_json=False))
        click.confirm("Take it off the shelf?", abort=True)
    click.echo(remove(name))


_LABELS = ("nothing", "loose", "chatter", "broken", "dull", "stalled", "spindle", "unknown")


@click.command()
@click.argument("run")
@click.argument("alarm", type=Whole(1), required=False)
@click.argument("what", type=click.Choice(_LABELS), required=False)
@click.option("--missed", callback=moment, metavar="3:27|SECONDS", help="It was loose from here.")
@click.option("--was", type=click.Choice(_LABELS), help="With --missed: what else; nothing takes it back.")
@click.option("--fine", is_flag=True, help="Nothing was wrong from the beginning to the end.")
@click.option("--not-fine", is_flag=True, help="Take --fine back.")
def label(  # noqa: PLR0913 - as many as the user may say
    run: str,
    alarm: int | None,
    what: "Label | None",
    *,
    missed: float | None,
    was: "Label | None",
    fine: bool,
    not_fine: bool,
) -> None:
    """
    Say WHAT the ALARM of a RUN was, the first is 1; with a RUN alone, list its alarms.

    Labels belong to the bit that cut: they are what `chipsong tune` works by.
    """
    said = sum((alarm is not None, missed is not None, fine, not_fine))
    if (alarm is None) != (what is None) or said > 1:
        raise click.UsageError("say an ALARM and WHAT it was, or --missed SECONDS, or --fine, or --not-fine")
    if was and missed is None:
        raise click.UsageError("--was goes with --missed")
    from monitor.kept import labelling  # noqa: PLC0415

    if alarm is not None and what is not None:
        click.echo(labelling.label_alarm(run, alarm, what))
    elif missed is not None:
        click.echo(labelling.label_missed(run, missed, was or "loose"))
    elif fine or not_fine:
        click.echo(labelling.label_fine(run) if fine else labelling.label_not_fine(run))
    else:
        click.echo(labelling.label_text(run))


@click.command()
@click.argument("run", required=False)
@click.option("--undo", is_flag=True, help="Take back the acceptance of RUN; of the last one without RUN.")
def accept(run: str | None, *, undo: bool) -> None:
    """
    Accept a RUN: how its bits sounded becomes part of their references.

    A new cut's first seconds are compared with the reference of its bit, material and microphone. Without a
    RUN, list the references.
    """
    from monitor.shelf import accepting  # noqa: PLC0415

    if undo:
        click.echo(accepting.take_back(run))
    else:
        click.echo(accepting.accept(run) if run else accepting.references_text())


_JOBS = click.option("--jobs", type=Whole(1, 64), default=1, show_default=True, help="Processes at once.")
_SCHEDULER = click.option(
    "--scheduler",
    metavar="TCP://HOST:PORT",
    help="Let a dask.distributed cluster hear them, not this computer.",
)

_PLACE = click.option(
    "--runs",
    "place",
    metavar="FOLDER|ADDRESS",
    help="Where they lie: another folder of runs, or an address that fsspec knows (s3://bucket/runs).",
)
_AFRESH = click.option("--afresh", is_flag=True, help="Hear those too of which is known what comes of it.")


@click.command()
@click.argument("runs", nargs=-1, metavar="RUN...")
@_JOBS
@_SCHEDULER
@click.option("--all", "every", is_flag=True, help="All runs that were kept.")
@_PLACE
@_AFRESH
@click.option("--json", "as_json", is_flag=True, help="One JSON object a run, a line each.")
def rehear(  # noqa: PLR0913 - as many as the user may say
    runs: tuple[str, ...],
    *,
    jobs: int,
    scheduler: str | None,
    every: bool,
    place: str | None,
    afresh: bool,
    as_json: bool,
) -> None:
    """
    Hear runs again with today's thresholds, references and code, and list what changed.

    Stopped and begun again it goes on where it stopped.
    """
    if bool(runs) == every:
        raise click.UsageError("name runs, or say --all")
    from monitor.rehear.many import Workers  # noqa: PLC0415
    from monitor.rehear.rehearing import Rehearing  # noqa: PLC0415
    from monitor.rehear.rehearing import rehear as run  # noqa: PLC0415

    sys.exit(run(runs, Rehearing(Workers(jobs, scheduler), place, afresh, as_json)))


@click.command()
@click.argument("bit")
@click.option("--material", metavar="NAME", help="In which material; its usual one if not said.")
@click.option(
    "--false-alarms",
    type=Number(0.001, 1000),
    help="How many false alarms are bearable ...  [default: the shelf's, or 1]",
)
@click.option(
    "--hours",
    type=Number(0.1, 100_000),
    help="... in so many hours of cutting.  [default: the shelf's, or 20]",
)
@_JOBS
@_SCHEDULER
@_PLACE
@_AFRESH
@click.option("-o", "--out", type=_FILE, metavar="PICTURE.PNG", help="Draw the trade into this file.")
@click.option("--dry-run", is_flag=True, help="Write nothing to the shelf, and do not ask.")
@click.option("--yes", is_flag=True, help="Write it to the shelf without asking.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object; nothing is written without --yes.")
def tune(  # noqa: PLR0913 - as many as the user may say
    bit: str,
    *,
    material: str | None,
    false_alarms: float | None,
    hours: float | None,
    jobs: int,
    scheduler: str | None,
    place: str | None,
    afresh: bool,
    out: Path | None,
    dry_run: bool,
    yes: bool,
    as_json: bool,
) -> None:
    """
    From the labelled runs of BIT, propose when it is to alarm.

    They are heard again at many limits. What comes of it is a table, a proposal for the bearable number of
    false alarms, how sure that is, and what it would change; it is written to the shelf only on yes.
    """
    from monitor import tuning  # noqa: PLC0415
    from monitor.rehear.many import Workers  # noqa: PLC0415

    workers = Workers(jobs, scheduler)
    found = tuning.tune(bit, tuning.Asked(material, false_alarms, hours, workers, out, place, afresh))
    click.echo(tuning.tuning_json(found) if as_json else tuning.tuning_text(found))
    if out is not None:
        tuning.draw(found, out)
    if dry_run or not tuning.changes_shelf(found):
        return
    if yes or (not as_json and click.confirm("Write it to the shelf?")):
        tuning.write(found)
        click.echo("Written to the shelf.", err=as_json)
