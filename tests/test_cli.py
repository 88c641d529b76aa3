"""The command line: help, errors in one line, exit codes, replay, and the demonstration."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import click
import mido
import pytest

from livecont.cli import livecont, run
from livecont.live.clock import SystemClock

NO_MIDI = {
    "LIVECONT_MIDI_API": "jack",
    "JACK_DEFAULT_SERVER": "nobody",
    "JACK_NO_START_SERVER": "1",
}


@pytest.fixture(autouse=True)
def _nobody(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Keep whoever runs the tests out of it: his configuration, his takes, his ports."""
    monkeypatch.delenv("LIVECONT_CONFIG", raising=False)
    for name in ("XDG_CONFIG_HOME", "APPDATA", "HOME"):
        monkeypatch.setenv(name, str(tmp_path / "home"))
    monkeypatch.setenv("LIVECONT_DATA", str(tmp_path / "data"))
    for name, value in NO_MIDI.items():
        monkeypatch.setenv(name, value)
    monkeypatch.chdir(tmp_path)


@pytest.fixture
def lament(tmp_path: Path) -> Path:
    assert run(["demo", "lament", "--write", "lament.mid"]) == 0
    return tmp_path / "lament.mid"


def livecont_process(*arguments: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "livecont", *arguments],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        stdin=subprocess.DEVNULL,
        text=True,
        encoding="utf-8",
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[1])},
    )


@pytest.mark.parametrize("command", [None, *livecont.commands])
def test_help_has_an_example(command: str | None, capsys: pytest.CaptureFixture[str]) -> None:
    assert run([command, "--help"] if command else ["--help"]) == 0
    said = capsys.readouterr().out
    assert said.startswith("Usage: livecont")
    assert ("Example: livecont " if command else "Begin with: livecont demo") in said


def test_every_option_is_explained() -> None:
    book = livecont.commands["book"]
    assert isinstance(book, click.Group)
    commands = [*livecont.commands.values(), *book.commands.values()]
    options = [one for each in commands for one in each.params if isinstance(one, click.Option)]
    assert len(options) > 100
    assert [one.opts for one in options if not one.help] == []


def test_help_imports_nothing_slow() -> None:
    """rtmidi may be missing, numpy, rich and mido take a tenth of a second and more."""
    code = (
        "import sys; from livecont.cli import run; run(['--help']); run(['listen', '--help']);"
        "print([m for m in ('numpy', 'rich', 'rtmidi', 'mido', 'miniaudio') if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True,
        cwd=Path(__file__).parents[1],
    )  # fmt: skip
    assert done.stdout.splitlines()[-1] == "[]"


@pytest.mark.parametrize(
    ("arguments", "complaint"),
    [
        (["lisen"], "No such command 'lisen'"),
        (["listen", "--kye", "C"], "No such option '--kye'"),
        (["listen", "--key", "e minro"], "did you mean 'minor'"),
        (["listen", "--compass", "modren"], "did you mean 'modern'"),
        (["listen", "--ending", "tern"], "unknown ending 'tern'"),
        (["listen", "--config", "none.toml"], "none.toml: can't be read"),
        (["listen"], "no MIDI system"),
        (["ports"], "no MIDI system"),
        (["demo", "lamento"], "did you mean 'lament'"),
        (["demo", "--out", "piano"], "no MIDI system"),
        (["replay"], "nothing to replay"),
        (["replay", "none.mid"], "none.mid: no such file"),
        (["replay", "."], "is a folder"),
        (["replay", "--list", "none.jsonl"], "none.jsonl: can't be read"),
        (["replay", "--links", "0", "a.mid"], "--links: 0 is not between 1 and 100 (see"),
        (["listen", "--from-book", "x"], "--from-book: 'x' is not a whole number (see"),
        (["listen", "--from-book", "0"], "--from-book: 0 is less than 1 (see"),
        (["render", "--a4", "high"], "--a4: 'high' is not a number (see"),
        (["ear", "anser"], "EXERCISE: 'anser' is not one of"),
        (["replay", "a.mid", "--report", "no/such/folder"], "can't be written"),
    ],
)
def test_an_error_is_one_line_and_exit_code_2(
    arguments: list[str], complaint: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(arguments) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.startswith("livecont: ")
    assert said.err.count("\n") == 1
    assert complaint in said.err


# --- replay -------------------------------------------------------------------------------------


def report_of(capsys: pytest.CaptureFixture[str], *arguments: str) -> list[dict[str, object]]:
    assert run(["replay", *arguments, "--report", "-"]) == 0
    return [json.loads(line) for line in capsys.readouterr().out.splitlines()]


def test_an_error_commands_no_terminal(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    config = tmp_path / "livecont.toml"
    config.write_text('"\\u001b[2J\\u202e\\u0007" = 1\n', encoding="utf-8")
    assert run(["demo", "lament", "--config", str(config)]) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert all(sign.isprintable() for sign in said.rstrip("\n"))


def test_report_has_the_stable_format(lament: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The format is DESIGN's, section 6, version 1, and the README's."""
    events = report_of(capsys, str(lament), "--key", "a minor", "--limit", "2")
    kinds = [event["event"] for event in events]
    assert set(kinds) == {"pattern", "take-over", "end"}
    pattern = next(event for event in events if event["event"] == "pattern")
    assert list(pattern) == [
        "file", "event", "t", "unit_s", "step_degrees", "shift_semitones", "kind", "key", "label",
        "alternatives", "doubt", "roots", "confidence", "links_heard",
    ]  # fmt: skip
    assert (pattern["step_degrees"], pattern["kind"], pattern["key"]) == (-1, "tonal", "a minor")
    known = [event for event in events if event["event"] == "pattern"][-1]
    assert (known["label"], known["doubt"]) == ("D2 (D2)", None)
    assert isinstance(known["roots"], list)
    assert [root for _, root in known["roots"]] == ["F", "E"]
    taken = next(event for event in events if event["event"] == "take-over")
    assert list(taken) == [
        "file", "event", "t", "start_s", "unit_s", "step_degrees", "links_clear",
        "links_in_compass", "notes",
    ]  # fmt: skip
    assert (taken["links_clear"], taken["links_in_compass"]) == (10, 12)
    assert list(events[-1]) == ["file", "event", "t", "reason"]
    assert events[-1]["reason"] == "limit"
    assert all(event["file"] == str(lament) for event in events)
    times = [event["t"] for event in events]
    assert times == sorted(times, key=lambda t: float(str(t)))


def test_links_asks_for_more_of_the_chain(lament: Path, capsys: pytest.CaptureFixture[str]) -> None:
    def notes(links: str) -> list[list[float]]:
        events = report_of(capsys, str(lament), "--key", "a minor", "--links", links)
        taken = next(event for event in events if event["event"] == "take-over")
        assert isinstance(taken["notes"], list)
        return taken["notes"]

    one, three = notes("1"), notes("3")
    assert len(three) == 3 * len(one) == 36
    assert three[:12] == one
    unit_s = three[12][0] - three[0][0]
    assert three[24][0] - three[12][0] == pytest.approx(unit_s, abs=1e-5)
    assert [round(note[1]) for note in three[12:24]] != [round(note[1]) for note in one]


def test_replay_gives_the_same_answer_twice(
    lament: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert report_of(capsys, str(lament)) == report_of(capsys, str(lament))


def test_a_list_is_read_relative_to_itself(
    lament: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "recordings"
    folder.mkdir()
    lament.rename(folder / "a.mid")
    listed = folder / "list.jsonl"
    listed.write_text('{"file": "a.mid", "key": "a minor"}\n\n{"file": "a.mid"}\n', "utf-8")
    assert run(["replay", "--list", str(listed), "--report", "out.jsonl"]) == 0
    lines = Path("out.jsonl").read_text("utf-8").splitlines()
    events = [json.loads(line) for line in lines]
    assert {event["file"] for event in events} == {"a.mid"}
    assert sum(event["event"] == "take-over" for event in events) >= 2
    assert capsys.readouterr().out == ""


@pytest.mark.parametrize(
    ("line", "complaint"),
    [
        ("{", "line 2: not JSON"),
        ("[1]", 'line 2: needs {"file": "..."}'),
        ('{"file": 3}', "line 2: needs"),
        ('{"file": "a.mid", "key": 3}', "line 2: the key needs"),
        ('{"file": "a.mid", "key": "x"}', "line 2: unknown key 'x'"),
    ],
)
def test_a_fault_in_a_list_names_its_line(
    line: str, complaint: str, capsys: pytest.CaptureFixture[str]
) -> None:
    Path("list.jsonl").write_text(f'{{"file": "b.mid"}}\n{line}\n', "utf-8")
    assert run(["replay", "--list", "list.jsonl"]) == 2
    assert complaint in capsys.readouterr().err


def test_one_bad_file_of_several_does_not_stop_the_others(
    lament: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    Path("bad.mid").write_bytes(b"nothing")
    assert run(["replay", "bad.mid", str(lament), "--key", "a minor"]) == 2
    said = capsys.readouterr()
    assert "lament.mid: a second down, tonal, in a minor, 2.37 s a link; taken over" in said.out
    assert said.err.splitlines() == [
        "livecont: bad.mid: not a Standard MIDI File (it does not begin with MThd)",
        "livecont: 1 of 2 files could not be replayed",
    ]


# --- demo, on a machine without any MIDI system -------------------------------------------------


def test_demo_plays_to_its_limit_and_leaves_a_take(capsys: pytest.CaptureFixture[str]) -> None:
    process = livecont_process("demo", "whole-tones-down", "--limit", "1", "--out", "none")
    out, err = process.communicate(timeout=60)
    assert (process.returncode, err) == (0, "")
    lines = out.splitlines()
    assert lines[0] == "listening: play two links of a sequence"
    assert any(line.startswith("understood: a major second down") for line in lines)
    assert any(
        line.startswith("livecont takes over: link 3 sounds, 0 links left, in Bb major, ")
        for line in lines
    )
    assert "it leads through D C Bb Ab Gb E, D again after 6 links" in lines
    assert any(line.startswith("it is D2 (D5/A4): descending fifths") for line in lines)
    assert "\x1b" not in out
    take = Path(lines[-1].removeprefix("take: "))
    tracks = {track.name: track for track in mido.MidiFile(take).tracks}
    assert set(tracks) == {"player", "livecont"}
    strikes = {
        name: sum(m.type == "note_on" and m.velocity > 0 for m in track)
        for name, track in tracks.items()
    }
    assert strikes == {"player": 42, "livecont": 21}
    # the take, replayed, tells the same
    events = report_of(capsys, str(take), "--key", "D major", "--limit", "1")
    assert [event["step_degrees"] for event in events if event["event"] == "take-over"] == [-1]
    # and none of the rest is left behind
    assert [path.suffix for path in take.parent.iterdir()] == [".mid"]


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no such signals for a child")
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_signal_ends_the_demo_in_order(number: signal.Signals) -> None:
    process = livecont_process("demo", "lament", "--out", "none")
    assert process.stdout is not None
    heard = process.stdout.readline()
    clock = SystemClock()
    clock.sleep_until(clock.now_s() + 2.0)  # into the first link
    process.send_signal(number)
    out, err = process.communicate(timeout=20)
    assert (process.returncode, err) == (128 + number, "")
    assert heard == "listening: play two links of a sequence\n"
    take = Path(out.splitlines()[-1].removeprefix("take: "))
    track = next(track for track in mido.MidiFile(take).tracks if track.name == "player")
    kinds = [m.type for m in track if m.type in ("note_on", "note_off")]
    assert kinds.count("note_on") == kinds.count("note_off") > 0


def test_write_keeps_what_is_there(lament: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = lament.read_bytes()
    assert run(["demo", "--write", str(lament)]) == 2
    assert "is there already" in capsys.readouterr().err
    assert lament.read_bytes() == before


def test_pieces_are_listed(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["demo", "--list"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) >= 4
    assert any(line.startswith("lament ") and "a minor" in line for line in lines)


# --- check and ports ----------------------------------------------------------------------------


def test_check_works_without_any_midi_system(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["check"]) == 0
    said = capsys.readouterr().out
    assert "no    MIDI       no MIDI system" in said
    assert "200 messages sent" in said
    assert said.splitlines()[-1].startswith("listen can't work yet (MIDI")


def test_check_lists_and_mends_takes(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["check", "--takes"]) == 0
    assert "no takes in" in capsys.readouterr().out
    process = livecont_process("demo", "lament", "--out", "none")
    assert process.stdout is not None
    process.stdout.readline()
    clock = SystemClock()
    clock.sleep_until(clock.now_s() + 2.0)
    process.kill()
    process.communicate(timeout=20)
    assert run(["check", "--takes"]) == 0
    said = capsys.readouterr().out
    assert ".mid: mended" in said
    assert "  whole  " in said
    take = Path(said.split(": mended")[0])
    assert any(m.type == "note_on" for track in mido.MidiFile(take).tracks for m in track)


def test_ports_marks_what_would_be_chosen(
    jack: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    import rtmidi

    monkeypatch.setenv("JACK_DEFAULT_SERVER", jack)
    keyboard = rtmidi.MidiOut(rtmidi.API_UNIX_JACK, name="Study 49")
    keyboard.open_virtual_port("keys")
    instrument = rtmidi.MidiIn(rtmidi.API_UNIX_JACK, name="Grand")
    instrument.open_virtual_port("in")
    try:
        assert run(["ports", "--in", "study"]) == 0
        said = capsys.readouterr().out
        assert "> Study 49:keys  asked for by name" in said
        assert "> Grand:in  a synth's port" in said
        assert run(["ports", "--out", "nowhere"]) == 0
        assert "(no MIDI output has 'nowhere' in its name" in capsys.readouterr().out
    finally:
        keyboard.delete()
        instrument.delete()
