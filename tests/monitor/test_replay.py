"""``chipsong replay --json``: the contract with other programs, on the shipped invented recordings."""

import errno
import json
import os
import re
import shutil
import sys
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest
import soundfile
from contract import BIT, SHIPPED, Ended, shipped, sound, truth

from monitor.journal import Journal, Run, runs
from monitor.journal.place import DATABASE
from monitor.journal.schema import connect
from monitor.kept.job import program_of
from monitor.report import report_html
from monitor.story import tell

Command = Callable[..., Ended]
Replayed = Callable[[str], Ended]


# --- what is heard --------------------------------------------------------------------------------------


def test_a_slip_alarms_with_its_line_and_a_line_to_resume(replayed: Replayed):
    """Status 3: loose, after the true onset, within the lines told, to be resumed before the true line."""
    ended, true = replayed("slip_outline"), truth("slip_outline")
    assert (ended.status, ended.err) == (3, "")
    alarm = ended.of("alarm")[0]
    assert alarm["cause"] == "loose"
    assert alarm["at"] > true["onset"]
    assert alarm["line"]["from"] <= true["onset_line"] <= alarm["line"]["to"]
    assert alarm["resume"]["file"] <= true["onset_line"]
    summary = ended.events[-1]
    assert [part["name"] for part in summary["parts"] if part["verdict"] == "suspect"] == true["spoiled"]


@pytest.mark.parametrize("name", ["tight_outline", "collector_switches_on"])
def test_what_is_well_does_not_alarm(replayed: Replayed, name: str):
    """Exit status 0: a tight bit, and a collector that switches on in mid-cut, are no alarm."""
    ended = replayed(name)
    assert (ended.status, ended.of("alarm"), ended.err) == (0, [], "")


def test_a_tight_bit_leaves_good_parts(replayed: Replayed):
    """All of a healthy cut is heard, so its part is good."""
    summary = replayed("tight_outline").events[-1]
    assert [part["verdict"] for part in summary["parts"]] == ["good"]
    assert summary["lines_seen"] > 0
    assert summary["cut_s"] > 0


@pytest.mark.parametrize("name", ["slip_outline", "tight_outline"])
def test_the_run_lasts_as_many_seconds_as_it_has_samples(replayed: Replayed, name: str):
    """The last object's time is the recording's length by its samples, however long listening took."""
    samples, rate = sound(name)
    assert replayed(name).events[-1]["at"] == pytest.approx(len(samples) / rate, abs=1e-4)


def test_one_object_a_line_and_nothing_else(replayed: Replayed):
    """Each line is one object, the first names its event first, and the summary is the last."""
    lines = replayed("slip_outline").out.splitlines()
    assert all(line.startswith('{"event": "') for line in lines)
    assert [json.loads(line)["event"] for line in lines][-1] == "summary"


def test_without_a_program_the_place_is_null(chipsong: Command):
    """Without a program the slip is still heard; line and resume are null and there are no parts."""
    ended = chipsong("replay", SHIPPED / "slip_outline.flac", *BIT, "--json")
    assert ended.status == 3
    assert all((alarm["line"], alarm["resume"]) == (None, None) for alarm in ended.of("alarm"))
    assert (ended.events[-1]["parts"], ended.events[-1]["lines_seen"]) == ([], 0)


def test_without_a_program_and_a_speed_the_slip_is_heard_as_soon(chipsong: Command):
    """Neither S word nor --rpm: the speed is found, and not lost to its half when the bit rocks."""
    ended = chipsong("replay", SHIPPED / "slip_outline.flac", "--json")
    (alarm,) = ended.of("alarm")
    assert alarm["cause"] == "loose"
    assert alarm["onset"] == pytest.approx(truth("slip_outline")["onset"], abs=0.5)
    assert "say --rpm" in ended.err
    assert chipsong("replay", SHIPPED / "tight_outline.flac", "--json").status == 0


@pytest.mark.parametrize("start", ["M3", ""], ids=["no speed", "by hand"])
@pytest.mark.parametrize("name", ["slip_outline", "tight_outline"])
def test_the_place_needs_no_spindle_words(
    chipsong: Command, replayed: Replayed, tmp_path: Path, name: str, start: str
):
    """Where M3 has no S, or a person switches the spindle, alarms have restarts and parts verdicts."""
    told = (SHIPPED / f"{name}.ngc").read_text()
    assert "S18000 M3" in told
    (tmp_path / "job.ngc").write_text(told.replace("S18000 M3", start))
    ended = chipsong("replay", SHIPPED / f"{name}.flac", "--program", tmp_path / "job.ngc", *BIT, "--json")
    usual = replayed(name)
    assert [event["resume"] for event in ended.of("alarm")] == [
        event["resume"] for event in usual.of("alarm")
    ]
    assert ended.events[-1]["parts"] == usual.events[-1]["parts"]
    assert ended.events[-1]["compared_s"] == pytest.approx(usual.events[-1]["compared_s"], abs=1.0)


def test_words_say_the_same_as_json(chipsong: Command, replayed: Replayed):
    """Without --json the alarm, its lines and what to do are told in words, with the same exit status."""
    alarm = replayed("slip_outline").of("alarm")[0]
    ended = chipsong(*(word for word in shipped("slip_outline") if word != "--json"))
    assert (ended.status, ended.err) == (3, "")
    for words in (
        "ALARM: THE BIT MAY BE LOOSE",
        f"cutting line {alarm['line']['file']}",
        f"between line {alarm['line']['from']} and line {alarm['line']['to']}",
        f"Carry on from line {alarm['resume']['file']} (N{alarm['resume']['word']})",
        f"chipsong resume {SHIPPED / 'slip_outline.ngc'} --line {alarm['resume']['file']}",
        "Never leave a running machine unattended",
        "End of the run: one alarm.",
        "SUSPECT",
        *alarm["because"],
    ):
        assert words in ended.out
    assert "\a" not in ended.out, "a bell is for a terminal, not for a file"


def test_a_bit_on_the_shelf_is_as_good_as_its_figures(chipsong: Command, home: Path, replayed: Replayed):
    """--bit gives what --rpm, --flutes and --diameter give, with the shelf under CHIPSONG_HOME."""
    home.mkdir()
    (home / "bits.toml").write_text(
        '[[bit]]\nname = "compression"\ndiameter = "6mm"\nflutes = 2\nkind = "compression"\nspeed = 18000\n'
    )
    words = [word for word in shipped("slip_outline") if word not in BIT]
    assert chipsong(*words, "--bit", "Compression").out == replayed("slip_outline").out


def test_inches_that_a_program_does_not_name_can_be_said(
    chipsong: Command, replayed: Replayed, tmp_path: Path
):
    """With --units an inch program without G20 is followed like one in mm; what to type then says it too."""
    words, path = shipped("slip_outline"), tmp_path / "inches.ngc"
    text = Path(words[3]).read_text().replace("G21 ", "")
    path.write_text(re.sub(r"(?<=[XYZIJF])-?[\d.]+", lambda said: f"{float(said[0]) / 25.4:.5f}", text))
    ended = chipsong(*words[:3], path, *words[4:], "--units", "inch")
    assert (ended.status, ended.err) == (3, "")
    (alarm,), (same,) = ended.of("alarm"), replayed("slip_outline").of("alarm")
    assert (alarm["line"], alarm["resume"]) == (same["line"], same["resume"])
    told = chipsong(*words[:3], path, *BIT, "--units", "inch").out
    assert f"chipsong resume {path} --line {alarm['resume']['file']} --units inch -o" in told
    assert "taken as mm: say --units inch" in chipsong(*words[:3], path, *words[4:]).err


@pytest.mark.slow
@pytest.mark.parametrize("found", [(), ("--bit", "compression")])
def test_a_speed_of_another_material_on_the_shelf_hides_no_slip(
    chipsong: Command, home: Path, replayed: Replayed, found: tuple[str, ...]
):
    """The program turns the bit faster: it is heard as if the shelf said no speed, and that is told."""
    home.mkdir()
    (home / "bits.toml").write_text(
        '[[bit]]\nname = "compression"\ndiameter = "6mm"\nflutes = 2\nkind = "compression"\ntool = 3\n'
        "speed = 10000\n"
    )
    words = [word for word in shipped("slip_outline") if word not in BIT]
    ended = chipsong(*words, *found)
    assert (ended.status, ended.out) == (3, replayed("slip_outline").out)
    assert ended.err.startswith("chipsong: T3: the shelf says 10000 rpm, the program 18000: ")
    ended = chipsong(*words, *found, "--rpm", "18000")
    assert (ended.status, ended.out, ended.err) == (3, replayed("slip_outline").out, "")


# --- lines from outside ---------------------------------------------------------------------------------


def lines_file(path: Path, *more: str) -> Path:
    """Write when each move of the slip really began, as a controller would report it, and more lines."""
    told = [{"at": move["begin"], "line": move["file_line"]} for move in truth("slip_outline")["moves"]]
    path.write_text("\n".join([*map(json.dumps, told), *more]) + "\n")
    return path


def test_lines_from_outside_give_the_place(chipsong: Command, tmp_path: Path):
    """With --lines the place comes from them, and holds the line that was really being cut at the onset."""
    ended = chipsong(*shipped("slip_outline"), "--lines", lines_file(tmp_path / "lines.jsonl"))
    line = ended.of("alarm")[0]["line"]
    assert (ended.status, ended.err, line["source"]) == (3, "", "lines")
    assert line["from"] <= truth("slip_outline")["onset_line"] <= line["to"]


def test_garbled_lines_are_passed_over_and_said(chipsong: Command, tmp_path: Path):
    """The user is told how many lines were passed over, in one line, and the rest serves."""
    path = lines_file(tmp_path / "lines.jsonl", '{"at": 3, "li', "ok", '{"at": -1, "line": 2}')
    ended = chipsong(*shipped("slip_outline"), "--lines", path)
    given = len(truth("slip_outline")["moves"])
    assert ended.err == f"chipsong: {path}: 3 of {given + 3} lines were passed over as garbled\n"
    assert (ended.status, ended.of("alarm")[0]["line"]["source"]) == (3, "lines")


def test_lines_that_tell_nothing_of_the_recording_are_said(chipsong: Command, tmp_path: Path):
    """Of another program, or with another clock: the place is then by sound alone."""
    path = tmp_path / "lines.jsonl"
    path.write_text('{"at": 2, "line": 422}\n{"at": 3, "word": 7}\n{"at": 50709, "line": 8}\n')
    ended = chipsong(*shipped("slip_outline"), "--lines", path)
    late, odd = ended.err.splitlines()
    assert late == f"chipsong: {path}: 1 of 3 line numbers came after the recording's end"
    assert odd.startswith(f"chipsong: {path}: of 3 line numbers the program lacks 2, or has them twice")
    assert ended.of("alarm")[0]["line"]["source"] == "sound"


# --- trouble --------------------------------------------------------------------------------------------


def broken_off(path: Path, seconds: float) -> Path:
    """Write the slip as a WAV file that was copied no further than some seconds."""
    samples, rate = sound("slip_outline")
    soundfile.write(path, samples, rate, subtype="PCM_16")
    os.truncate(path, 44 + round(seconds * rate) * 2)
    return path


@pytest.mark.parametrize(("seconds", "status"), [(13.0, 3), (6.0, 1)])
def test_a_broken_off_recording_is_heard_as_far_as_it_goes(
    chipsong: Command, replayed: Replayed, tmp_path: Path, seconds: float, status: int
):
    """What was heard up to there and the summary are written, then the line; an alarm keeps its status."""
    path = broken_off(tmp_path / "half.wav", seconds)
    ended = chipsong("replay", path, *shipped("slip_outline")[2:])
    assert ended.status == status
    assert ended.err == (
        f"chipsong: {path} breaks off after {seconds:.1f} s of 14.8 s: "
        "what came before was heard; copy the file again to hear the rest\n"
    )
    whole = replayed("slip_outline").events
    assert ended.events[:-1] == [event for event in whole[:-1] if event["at"] <= seconds]
    assert ended.events[-1]["at"] == pytest.approx(seconds, abs=1e-4)


def test_silence_from_beginning_to_end_is_no_success(chipsong: Command, tmp_path: Path):
    """Digital silence is told as deaf within 2 s, and ends with status 1: nothing was heard."""
    path = tmp_path / "silence.wav"
    soundfile.write(path, np.zeros(3 * 8000, dtype=np.float32), 8000)
    ended = chipsong("replay", path, "--json", "--rpm", 18000)
    assert ended.status == 1
    assert ended.err.count("\n") == 1
    assert ended.err.startswith("chipsong: nothing usable was heard from beginning to end")
    assert ended.of("deaf")[0]["at"] <= 2.0
    assert ended.of("heard") == []
    assert (ended.events[-1]["heard_s"], ended.events[-1]["cut_s"]) == (0.0, 0.0)


def test_silence_in_the_middle_is_deaf_and_then_heard(chipsong: Command, tmp_path: Path):
    """A second of digital silence is told as deaf while it lasts, and as heard within 2 s of its end."""
    path = tmp_path / "gap.wav"
    samples = np.random.default_rng(1).normal(0.0, 0.01, 5 * 8000)
    samples[16000:24000] = 0.0
    soundfile.write(path, samples, 8000)
    ended = chipsong("replay", path, "--json")
    assert ended.status == 0
    (deaf,), (heard,) = ended.of("deaf"), ended.of("heard")
    assert 2.0 < deaf["at"] <= 3.0
    assert 3.0 < heard["at"] <= 5.0


PNG = bytes.fromhex("89504e470d0a1a0a0000000d49484452000000010000000108060000001f15c489")
PROSE = b"Dear reader,\nthis is a letter about nothing.\n"


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("none.wav", None, "there is no recording .*none.wav: check its name and folder"),
        ("text.wav", b"this is no sound\n" * 50, "text.wav is not a sound file that can be read"),
        ("empty.wav", b"", "empty.wav is not a sound file that can be read"),
        ("picture.wav", PNG, "picture.wav is not a sound file that can be read"),
        (".", None, "cannot open .* give the name of a sound file"),
    ],
)
def test_what_cannot_be_heard_is_one_line(
    chipsong: Command, tmp_path: Path, name: str, content: bytes | None, said: str
):
    """A recording that is missing or no sound: status 1, one line on standard error, no output."""
    if content is not None:
        (tmp_path / name).write_bytes(content)
    _is_one_line(chipsong("replay", tmp_path / name, "--json"), said)


def test_a_recording_of_length_zero_is_one_line(chipsong: Command, tmp_path: Path):
    """A WAV file without a sample: status 1, one line, no output."""
    soundfile.write(tmp_path / "zero.wav", np.zeros(0, dtype=np.float32), 8000)
    _is_one_line(chipsong("replay", tmp_path / "zero.wav", "--json"), "holds no sound")


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("none.ngc", None, "cannot read the program .*none.ngc .*check its name"),
        ("picture.ngc", PNG, "picture.ngc: this is no text"),
        ("letter.ngc", PROSE, "letter.ngc: line 1, column 1: "),
        ("empty.ngc", b"", "empty.ngc moves nothing"),
        (".", None, "cannot read the program"),
    ],
)
def test_what_is_no_program_is_one_line(
    chipsong: Command, tmp_path: Path, name: str, content: bytes | None, said: str
):
    """A program that is missing or none: status 1, one line on standard error, no output."""
    if content is not None:
        (tmp_path / name).write_bytes(content)
    path = tmp_path / name
    _is_one_line(chipsong("replay", SHIPPED / "tight_outline.flac", "--program", path, "--json"), said)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--bit", "my best"), "there is no bit 'my best', the shelf .* is empty"),
        (("--lines", "nowhere.jsonl"), "cannot read the line numbers in nowhere.jsonl"),
        (("--lines", SHIPPED / "slip_outline.ngc"), "has no line numbers"),
    ],
)
def test_what_was_named_and_is_not_there_is_one_line(chipsong: Command, words: tuple[object, ...], said: str):
    """An unknown bit, a file of lines that is missing or holds none: status 1, one line, no output."""
    _is_one_line(chipsong("replay", SHIPPED / "tight_outline.flac", *words, "--json"), said)


def test_a_shelf_that_is_wrong_is_one_line(chipsong: Command, home: Path):
    """A shelf that cannot be read ends with the file, the key and the value in one line."""
    home.mkdir()
    (home / "bits.toml").write_text('[[bit]]\nname = "a"\ndiameter = "blue"\nflutes = 2\nkind = "ball"\n')
    _is_one_line(chipsong("replay", SHIPPED / "tight_outline.flac", "--json"), "bits.toml.*diameter.*blue")


def _is_one_line(ended: Ended, said: str) -> None:
    assert (ended.status, ended.out) == (1, "")
    assert ended.err.startswith("chipsong: ")
    assert (ended.err.count("\n"), ended.err[-1]) == (1, "\n")
    assert re.search(said, ended.err)


@pytest.mark.parametrize(
    "words",
    [
        ("--loud",),
        ("--rpm", "fast"),
        ("--rpm", "3"),
        ("--flutes", "0"),
        ("--diameter", "wide"),
        ("--diameter", "-6mm"),
        ("--bit", "a", "--flutes", "2"),
        ("--bit", "a", "--diameter", "6mm"),
        ("--hours", "0"),
        ("--top", "0"),
        ("--units", "inch"),
        ("another.wav",),
    ],
)
def test_wrong_usage_is_status_2(chipsong: Command, words: tuple[str, ...]):
    """An unknown option, a value that can't be, options that exclude or need each other: 2, no output."""
    ended = chipsong("replay", SHIPPED / "tight_outline.flac", "--json", *words)
    assert (ended.status, ended.out) == (2, "")
    assert "Error: " in ended.err


# --- keeping --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("name", "status"), [("tight_outline", 1), ("slip_outline", 3)])
def test_a_run_that_could_not_be_kept_has_failed(
    chipsong: Command, monkeypatch: pytest.MonkeyPatch, name: str, status: int
):
    """Whoever asks for it to be kept learns from the exit status that it was not; an alarm goes before."""
    monkeypatch.setenv("CHIPSONG_HOME", "/proc/nowhere")
    ended = chipsong(*shipped(name), "--keep")
    assert ended.status == status
    assert ended.of("summary")
    assert "listening goes on without keeping the run" in ended.err


def test_a_run_that_is_kept_in_part_has_failed(
    chipsong: Command, home: Path, monkeypatch: pytest.MonkeyPatch
):
    """So has one whose disk is full from its middle on."""

    def full(_: Journal) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(Journal, "_batch", full)
    ended = chipsong(*shipped("tight_outline"), "--keep")
    assert ended.status == 1
    assert "No space left on device" in ended.err
    assert len(runs(home)) == 1


def test_a_kept_run_tells_the_same_later(chipsong: Command, home: Path, replayed: Replayed):
    """--keep puts the run under CHIPSONG_HOME; `runs` lists it and tells its events in words."""
    ended = chipsong(*shipped("slip_outline"), "--keep")
    assert ended.out == replayed("slip_outline").out, "keeping changes nothing of what is said"
    (folder,) = (home / "runs").iterdir()
    assert chipsong("runs").out == f"{folder.name}  slip_outline: 0:15, one alarm\n"
    told = chipsong("runs", folder.name).out
    words = chipsong(*(word for word in shipped("slip_outline") if word != "--json")).out
    for line in told.splitlines()[1:]:
        assert line in words


@pytest.mark.skipif(sys.platform != "linux", reason="only there any bytes may be a name")
def test_names_that_are_no_utf8_are_heard_and_kept(
    chipsong: Command, home: Path, tmp_path: Path, replayed: Replayed
):
    """An old stick has names in another encoding: the run says the same, and can be read later."""
    old = tmp_path / os.fsdecode(b"teil_\xfc")
    for end in (".flac", ".ngc"):
        shutil.copy(SHIPPED / f"slip_outline{end}", old.with_suffix(end))
    words = ("--program", old.with_suffix(".ngc"), *BIT, "--json", "--keep")
    ended = chipsong("replay", old.with_suffix(".flac"), *words)
    assert (ended.status, ended.out) == (3, replayed("slip_outline").out)
    (run,) = runs(home)
    assert (run.title, run.meta["program"]) == ("teil_\ufffd", f"{tmp_path}/teil_\ufffd.ngc")
    program = program_of(run)
    assert program is not None
    assert program.name == "teil_\ufffd.ngc"
    assert "teil_\ufffd" in report_html(tell(run))
    assert chipsong("rehear", run.id).out == f"{run.id}: all is as it was\n"


def test_a_run_that_is_damaged_takes_no_other_with_it(chipsong: Command, home: Path, kept_run: Run):
    """The list tells of it beside the others, which are heard again as before."""
    damaged = shutil.copytree(kept_run.folder, kept_run.folder.with_name("damaged"))
    with closing(connect(damaged / DATABASE)) as db:
        db.execute("UPDATE meta SET value = '{' WHERE key = 'learned'")
    listed, why = chipsong("runs").out.splitlines()
    assert listed.startswith(kept_run.id)
    assert why.startswith("passed over: run damaged is damaged")
    again = chipsong("rehear", "--all")
    assert f"{kept_run.id}: all is as it was" in again.out
    assert (again.status, "run damaged is damaged" in again.err) == (1, True)
    shutil.rmtree(kept_run.folder)
    assert chipsong("runs").out.startswith(f"No runs are kept in {home} yet.\npassed over: run damaged is")


def test_no_runs_and_unknown_runs_are_said(chipsong: Command, home: Path):
    """Where nothing is kept, `runs` says so; a run that is not there is one line."""
    assert chipsong("runs") == Ended(0, f"No runs are kept in {home} yet.\n", "")
    _is_one_line(chipsong("runs", "yesterday"), "no run was kept")
