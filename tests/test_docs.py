"""The README and DEVELOPERS.md say what is true: commands, options, real output, real pictures.

`UPDATE_GOLDEN=1 python -m pytest tests/test_docs.py` writes output and picture anew.
"""

from __future__ import annotations

import io
import os
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import click
import pytest
from rich.console import Console

from livecont.cli import livecont, run
from livecont.commands.sit import FRAMES_A_SECOND, control_hints
from livecont.config import configs_folder, load_preferences
from livecont.demo import Piece, demo_names, load_piece, perform
from livecont.music.key import parse_key
from livecont.music.pitch import spelling
from livecont.screen import ScreenNotes, Stage, picture
from livecont.sequence.events import KeyDown, KeyUp, PlayerEvent
from livecont.sitting.events import (
    Analyse,
    Analysed,
    Quit,
    Settings,
    SittingEvent,
    Start,
    Tick,
    Wake,
)
from livecont.sitting.explanation import explain
from livecont.sitting.machine import begin, snapshot, step
from livecont.sitting.snapshot import Snapshot
from livecont.sitting.virtual import run as run_virtually
from livecont.sitting.virtual import take_overs

TOP = Path(__file__).resolve().parent.parent
README = TOP / "README.md"
DEVELOPERS = TOP / "DEVELOPERS.md"
PICTURE = TOP / "tests" / "golden" / "readme" / "sounding.svg"
UPDATE = bool(os.environ.get("UPDATE_GOLDEN"))
HOW = "is no longer so: UPDATE_GOLDEN=1 python -m pytest tests/test_docs.py writes it anew"

COMMANDS = {name: command for name, command in livecont.commands.items()}


@pytest.fixture(autouse=True)
def _nobody(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("LIVECONT_CONFIG", raising=False)
    for name in ("XDG_CONFIG_HOME", "APPDATA", "HOME"):
        monkeypatch.setenv(name, str(tmp_path))
    monkeypatch.chdir(tmp_path)


def with_subcommands(name: str, command: click.Command) -> Iterator[tuple[str, click.Command]]:
    yield name, command
    if isinstance(command, click.Group):
        for sub, inner in command.commands.items():
            yield from with_subcommands(f"{name} {sub}", inner)


def options_of(command: click.Command) -> Iterator[str]:
    for parameter in command.params:
        if isinstance(parameter, click.Option):
            yield from (*parameter.opts, *parameter.secondary_opts)


def blocks(text: str, language: str) -> list[str]:
    return re.findall(rf"^```{language}\n(.*?)^```$", text, re.DOTALL | re.MULTILINE)


# --- commands and options -----------------------------------------------------------------------


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_and_option_is_in_the_readme(name: str) -> None:
    text = README.read_text("utf-8")
    assert f"### `livecont {name}" in text
    for whole_name, command in with_subcommands(name, COMMANDS[name]):
        assert f"`livecont {whole_name}" in text or f"`{whole_name}" in text
        for option in options_of(command):
            assert f"`{option}" in text or f"/{option}" in text, f"{option} of {whole_name}"


def test_every_command_named_in_the_readme_exists() -> None:
    named = set(
        re.findall(r"(?:^ +|\$ |bin/|`)livecont ([a-z]+)", README.read_text("utf-8"), re.MULTILINE)
    )
    assert named == set(COMMANDS)


def test_every_option_written_in_the_readme_exists() -> None:
    options = {
        option
        for name, command in COMMANDS.items()
        for _, each in with_subcommands(name, command)
        for option in options_of(each)
    } | {"--help", "--version"}
    lines = re.findall(r"livecont (?:[a-z]+) .*", README.read_text("utf-8"))
    for line in lines:
        for option in re.findall(r"(?<=\s)--[a-z0-9-]+", line):
            assert option in options, line


def test_the_two_commands_are_those_that_ci_runs() -> None:
    commands = re.findall(r"^python3 -m venv.*$", README.read_text("utf-8"), re.MULTILINE)
    assert len(commands) == 2
    assert commands[0].endswith("livecont demo")
    assert commands[1].endswith("python -m tests")
    assert "readme_command 1" in (TOP / ".ci" / "run").read_text("utf-8")
    assert "readme_command 2" in (TOP / ".ci" / "run").read_text("utf-8")


def test_every_compass_and_piece_is_in_the_readme() -> None:
    text = README.read_text("utf-8")
    for name in load_preferences().compasses:
        assert f"`{name}`" in text, name
    for name in demo_names():
        assert f"`{name}`" in text, name


def test_every_file_that_the_documents_name_is_there() -> None:
    for document in (README, DEVELOPERS):
        text = document.read_text("utf-8")
        for name in re.findall(r"`((?:livecont|tests|configs|\.ci)/[\w./-]*)`", text):
            assert (TOP / name).exists(), f"{document.name}: {name}"
        for name in re.findall(r"\]\(([^)#:]+)\)", text):
            assert (TOP / name).exists(), f"{document.name}: {name}"


def test_every_line_of_the_defaults_is_in_the_readme() -> None:
    text = README.read_text("utf-8")
    for line in (configs_folder() / "defaults.toml").read_text("utf-8").splitlines():
        key, sign, _ = line.partition(" = ")
        if sign and not line.startswith("#"):
            assert f"{key} = " in text, key


# --- real output --------------------------------------------------------------------------------


ANSWER_S = 0.1  # so long, about, the process beside takes to say what a sequence is


def settings_for(piece: Piece, options: list[str]) -> Settings:
    """Return the settings of a demonstration with options as they are typed."""
    as_written: dict[str, str | bool] = {
        "key": piece.key.name, "compass": piece.compass, "limit": str(piece.links)
    }  # fmt: skip
    typed = {name.removeprefix("--"): value for name, value in batched(options)}
    return load_preferences(options={**as_written, **typed}).settings


def batched(words: list[str]) -> Iterator[tuple[str, str]]:
    return zip(words[::2], words[1::2], strict=True)


def watch(piece: Piece, every_s: float, options: list[str] | None = None) -> Iterator[Snapshot]:
    """Yield what a screen would show of a piece, a snapshot each `every_s`."""
    state = begin(settings_for(piece, options or []))
    events: list[SittingEvent] = list(perform(piece, 1.0))
    wake_s: float | None = None
    at_s = 0.0
    while events or wake_s is not None:
        due_s = min(event.at_s for event in events[:1]) if events else float("inf")
        next_s = min(due_s, float("inf") if wake_s is None else wake_s)
        while at_s < next_s:
            yield snapshot(state, at_s)
            at_s += every_s
        event = events.pop(0) if events and due_s <= next_s else Tick(at_s=next_s)
        state, effects = step(state, event)
        wakes = [effect.at_s for effect in effects if isinstance(effect, Wake)]
        wake_s = wakes[-1] if wakes else None
        for asked in (effect for effect in effects if isinstance(effect, Analyse)):
            told = explain(asked.pattern, asked.home)
            at = asked.at_s + ANSWER_S
            events.append(Analysed(at_s=at, pattern=asked.pattern, explanation=told))
            events.sort(key=lambda event: event.at_s)
    yield snapshot(state, at_s)
    state, _ = step(state, Quit(at_s=at_s))
    yield snapshot(state, at_s)


DEMONSTRATIONS = re.findall(
    r"^\$ livecont demo [^|]*\| cat$", README.read_text("utf-8"), re.MULTILINE
)


def test_there_are_demonstrations_in_the_readme() -> None:
    assert len(DEMONSTRATIONS) >= 3


@pytest.mark.parametrize("command", DEMONSTRATIONS)
def test_plain_output_in_the_readme_is_real(command: str) -> None:
    name, *options = command.removesuffix("| cat").split()[3:]
    piece = load_piece(name)
    written = io.StringIO()
    notes = ScreenNotes(message=f"demo: {piece.title}")
    with Stage(Console(file=written)) as stage:
        for now in watch(piece, 1 / FRAMES_A_SECOND, options):
            stage.show(now, notes)
    check_block(command + "\n", written.getvalue())


def test_replay_in_the_readme_is_real(capsys: pytest.CaptureFixture[str]) -> None:
    command = next(
        line
        for line in README.read_text("utf-8").splitlines()
        if line.startswith("$ livecont replay lament.mid")
    )
    assert run(["demo", "lament", "--write", "lament.mid"]) == 0
    words = command.replace("'", '"').split('"')
    arguments = [
        part for i, word in enumerate(words) for part in ([word] if i % 2 else word.split())
    ]
    assert run(arguments[2:]) == 0
    check_block(command + "\n", capsys.readouterr().out)


def check_block(command: str, output: str) -> None:
    """Compare what stands below a command in the README with what came out."""
    text = README.read_text("utf-8")
    found = next(block for block in blocks(text, "text") if command in block)
    if UPDATE:
        before, _, _ = found.partition(command)
        README.write_text(text.replace(found, before + command + output), encoding="utf-8")
        return
    assert found.partition(command)[2] == output, f"the README's output {HOW}"


def test_the_first_sequence_of_the_readme_is_continued_as_it_says() -> None:
    text = " ".join(README.read_text("utf-8").split())
    assert "C E G E, then B D F D, in even notes, over C and B in the left hand" in text
    assert "The third link, A C E C over A," in text
    hands = [("C5 E5 G5 E5 B4 D5 F5 D5", 0.4), ("C3 B2", 1.6)]
    events: list[PlayerEvent] = []
    for names, apart_s in hands:
        for place, name in enumerate(names.split()):
            at_s, pitch = place * apart_s, spelling(name).midi
            events.append(KeyDown(at_s=at_s, pitch=pitch, velocity=70))
            events.append(KeyUp(at_s=at_s + 0.9 * apart_s, pitch=pitch))
    settings = replace(load_preferences().settings, key=parse_key("C major"), most_links=1)
    taken = take_overs(run_virtually(settings, sorted(events, key=lambda event: event.at_s)))
    assert len(taken) == 1
    assert taken[0].start_s == pytest.approx(3.2, abs=0.02)
    written = sorted(spelling(name).midi for name in ["A4", "C5", "E5", "C5", "A2"])
    assert sorted(note.pitch for note in taken[0].link.notes) == written


def test_picture_in_the_readme_is_real(tmp_path: Path) -> None:
    seen = watch(load_piece("falling-fifths"), 0.1, ["--limit", "compass"])
    shots = (shot for shot in seen if shot.at_s > 10.0)
    controls = load_preferences().controls
    notes = ScreenNotes(
        output_name="internal", hints=control_hints(controls), start=Start.AT_ONCE,
        message="demo: Falling fifths: a concerto's passage-work",
    )  # fmt: skip
    path = PICTURE if UPDATE else tmp_path / "now.svg"
    path.parent.mkdir(parents=True, exist_ok=True)
    picture(next(shots), path, notes=notes, width=88, height=32)
    assert path.read_text("utf-8") == PICTURE.read_text("utf-8"), f"the README's picture {HOW}"
    assert f"({PICTURE.relative_to(TOP).as_posix()})" in README.read_text("utf-8")
