"""Whole games through real MIDI ports (JACK): another process is the student, and has ears.

It hears each question at the synth's port, works out the answer by itself (C major, by hand) and
plays it at the keyboard's. The book is then asked what was kept.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any, ClassVar

import pytest

from livecont.book.answers import Answer, answers
from livecont.book.book import Book
from livecont.config import load_preferences
from livecont.live.clock import SystemClock
from tests.live.test_real_ports import PATIENCE_S, TOP, Rig, until

NOTES = 4  # to a link of a plain line
BEAT_S = 60 / (92 * 1.6)  # the hardest level's, and --tempo
SCALE = (0, 2, 4, 5, 7, 9, 11)  # C major
# the hardest level, so that questions are short; a plain line, so that they are told by ear
CONFIG = """
[ear.staircase]
start = 12
[ear.pace]
next = 1.0
"""
CLOCK = SystemClock()


def place(pitch: int) -> int:
    """A white key's place on the staff."""
    octave, rest = divmod(pitch, 12)
    return 7 * octave + SCALE.index(rest)


def pitch_at(staff: int) -> int:
    octave, letter = divmod(staff, 7)
    return 12 * octave + SCALE[letter]


def moved(link: list[int], places: int) -> list[int]:
    return [pitch_at(place(pitch) + places) for pitch in link]


class Lesson:
    """livecont and the student's process, over one keyboard."""

    held: ClassVar[list[Lesson]] = []  # ended with their test, whatever became of it

    def __init__(self, rig: Rig, folder: Path, *arguments: str) -> None:
        self.held.append(self)
        self.rig = rig
        self.heard = len(rig.strikes())
        config = folder / "livecont.toml"
        config.write_text(CONFIG, encoding="utf-8")
        self.book = folder / "book.sqlite"
        self.begun_s = CLOCK.now_s()
        self.process = subprocess.Popen(
            [
                sys.executable, "-m", "livecont", *arguments,
                "--in", "Stage", "--out", "Glass", "--no-thru",
                "--config", str(config), "--book", str(self.book),
            ],
            cwd=TOP,
            env={**os.environ, "PYTHONPATH": str(TOP), "LIVECONT_DATA": str(folder)},
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )  # fmt: skip

    def hear(self, count: int) -> list[tuple[float, int]]:
        """Wait for so many more notes; return them, when and which."""
        assert until(lambda: len(self.rig.strikes()) >= self.heard + count)
        found = self.rig.strikes()[self.heard : self.heard + count]
        self.heard += count
        return found

    def play(self, pitches: list[int], apart_s: float, at_s: float) -> None:
        wait_s = max(0.0, at_s - CLOCK.now_s())
        events = []
        for k, pitch in enumerate(pitches):
            events.append((wait_s + k * apart_s, f"90{pitch:02x}46"))
            events.append((wait_s + (k + 0.8) * apart_s, f"80{pitch:02x}40"))
        self.rig.ask("play", events)

    def end(self) -> str:
        out, error = self.process.communicate(timeout=PATIENCE_S)
        assert self.process.returncode == 0, error
        return out

    def kept(self) -> tuple[Answer, ...]:
        with Book(self.book) as book:
            return answers(book)


FAST = ("--from", "made", "--questions", "1", "--tempo", "160")
GAME = ("--keys", "C major", "--texture", "plain-line", *FAST)


@pytest.fixture(autouse=True)
def _nobody_is_left() -> Iterator[None]:
    yield
    end_all()


def end_all() -> None:
    """End what a test that failed has left running."""
    for lesson in Lesson.held:
        if lesson.process.poll() is None:
            lesson.process.terminate()
            lesson.process.communicate(timeout=PATIENCE_S)
    Lesson.held.clear()


@pytest.fixture
def rig(jack: str) -> Iterator[Rig]:
    made = Rig()
    yield made
    made.close()


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path


def links(heard: list[tuple[float, int]]) -> list[list[int]]:
    pitches = [pitch for _, pitch in heard]
    return [pitches[i : i + NOTES] for i in range(0, len(pitches), NOTES)]


def check(lesson: Lesson, exercise: str) -> Any:
    """The game ends by itself, nothing hangs, and one right answer is in the book."""
    out = lesson.end()
    assert ": right" in out
    assert lesson.rig.hanging() == set()
    (kept,) = lesson.kept()
    assert (kept.exercise, kept.right, kept.player) == (exercise, True, "you")
    return kept


@pytest.mark.parametrize("comes_back", [False, True])
def test_answer(rig: Rig, folder: Path, comes_back: bool) -> None:
    """Also where the keyboard echoes whatever livecont sounds: that is no answer."""
    rig.ask("loop", comes_back)
    lesson = Lesson(rig, folder, "ear", "answer", *GAME, "--seed", "1")
    heard = lesson.hear(2 * NOTES)
    print(f"first sound after {heard[0][0] - lesson.begun_s:.2f} s")  # noqa: T201
    one, two = links(heard)
    apart_s = (heard[-1][0] - heard[0][0]) / (2 * NOTES - 1)
    step = place(two[0]) - place(one[0])
    lesson.play(moved(two, step), apart_s, heard[-1][0] + apart_s)
    kept = check(lesson, "answer")
    assert kept.detail["right_time"]
    assert abs(kept.detail["start_off_s"]) < 0.2
    assert abs(kept.detail["tempo"] - 1) < 0.05


def test_odd_link(rig: Rig, folder: Path) -> None:
    lesson = Lesson(rig, folder, "ear", "odd-link", *GAME, "--seed", "2")
    one, two = links(lesson.hear(2 * NOTES))
    step = place(two[0]) - place(one[0])
    due = [pitch for k in (1, 2, 3) for pitch in moved(two, k * step)]
    heard: list[int] = []
    while heard == due[: len(heard)]:
        heard += [pitch for _, pitch in lesson.hear(1)]
    lesson.play([60], 0.1, CLOCK.now_s() + 0.2)
    kept = check(lesson, "odd-link")
    assert kept.detail["link"] == 3 + (len(heard) - 1) // NOTES
    assert 0 < kept.detail["after_s"] < 1.5


def test_step(rig: Rig, folder: Path) -> None:
    lesson = Lesson(rig, folder, "ear", "step", *GAME, "--seed", "3")
    one, two, _ = links(lesson.hear(3 * NOTES))
    lesson.play([one[0], two[0]], 0.4, CLOCK.now_s() + 1.5)
    check(lesson, "step")


def test_name_it(rig: Rig, folder: Path) -> None:
    """Told by the bass: a texture that has one, and its roots by hand."""
    given = ("--keys", "C major", "--texture", "chords", *FAST)
    lesson = Lesson(rig, folder, "ear", "name-it", *given, "--seed", "4")
    assert lesson.process.stdout is not None
    choices: dict[str, str] = {}
    while len(choices) < 5:  # the screen says what there is to choose from
        line = lesson.process.stdout.readline()
        assert line, "it ended before it asked"
        sign, _, text = line.strip().partition(": ")
        if sign.isdecimal():
            choices[sign] = text
    chords: dict[float, list[int]] = {}
    heard = lesson.hear(8)
    first_s = heard[0][0]
    while heard[-1][0] - first_s < 10 * BEAT_S:
        heard += lesson.hear(1)
    for at_s, pitch in heard:
        chords.setdefault(round((at_s - first_s) / BEAT_S), []).append(pitch)
    basses = [min(chord) for _, chord in sorted(chords.items()) if min(chord) < 57]
    roots = [b for a, b in zip([None, *basses], basses, strict=False) if a != b]
    step, first = place(roots[2]) - place(roots[0]), (place(roots[1]) - place(roots[0])) % 7
    up = {"D2": -1, "D3": -2, "A2": 1}
    motion = {"D5": 3, "A4": 3, "D4": 4, "A5": 4, "D3": 5, "A2": 1}
    (true,) = [
        sign
        for sign, text in choices.items()
        if (up[text[:2]] - step) % 7 == 0 and motion[text[4:6]] == first
    ]
    lesson.play([60] * int(true), 0.4, CLOCK.now_s() + 2.5)
    check(lesson, "name-it")


def test_how_many(rig: Rig, folder: Path) -> None:
    lesson = Lesson(rig, folder, "ear", "how-many", *GAME, "--seed", "6")
    _, two, three = links(lesson.hear(3 * NOTES))
    step = place(three[0]) - place(two[0])
    compass = load_preferences().compasses["piano-ff-f3"]
    count = 0
    while compass.holds(moved(three, (count + 1) * step)):
        count += 1
    assert count > 0
    lesson.play([60] * count, 0.3, CLOCK.now_s() + 1.5)
    kept = check(lesson, "how-many")
    assert kept.detail == {**kept.detail, "left": count, "counted": count}


@pytest.mark.skipif(sys.platform == "win32", reason="POSIX signals")
@pytest.mark.parametrize("how", ["SIGKILL", "SIGINT"])
def test_killed_in_the_middle_nothing_answered_is_lost(rig: Rig, folder: Path, how: str) -> None:
    given = ("ear", "step", *GAME, "--questions", "9", "--seed", "7")
    lesson = Lesson(rig, folder, *given)
    one, two, _ = links(lesson.hear(3 * NOTES))
    lesson.play([one[0], two[0]], 0.4, CLOCK.now_s() + 1.5)
    lesson.hear(1)  # the next question sounds
    lesson.process.send_signal(getattr(signal, how))
    _, error = lesson.process.communicate(timeout=PATIENCE_S)
    assert lesson.process.returncode == {"SIGKILL": -9, "SIGINT": 130}[how], error
    assert until(lambda: rig.hanging() == set())
    (kept,) = lesson.kept()
    assert kept.right


def test_a_keyboard_that_goes_and_returns_is_waited_for(jack: str, folder: Path) -> None:
    """Keyboard and synth are pulled out in the middle of a question, and plugged in again."""
    first = Rig()
    lesson = Lesson(first, folder, "ear", "step", *GAME, "--seed", "3")
    lesson.hear(2)
    first.close()
    second = Rig()
    try:
        lesson.rig, lesson.heard = second, 0

        def asked_again() -> bool:
            second.ask("play", [(0.0, "b0437f"), (0.05, "b04300"), (0.5, "fe")])
            return len(second.strikes()) > 0

        assert until(asked_again)
        one, two, _ = links(lesson.hear(3 * NOTES))
        lesson.play([one[0], two[0]], 0.4, CLOCK.now_s() + 1.5)
        check(lesson, "step")
    finally:
        second.close()
