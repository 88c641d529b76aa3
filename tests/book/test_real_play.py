"""Entries of the book through real MIDI ports (JACK): another process is the synth, with ears."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from livecont.book.book import Book
from livecont.book.entry import Entry
from livecont.book.performance import performed
from livecont.sequence.events import KeyDown
from tests.book.volume import played_entry
from tests.live.test_real_ports import PATIENCE_S, TOP, Rig, until


@pytest.fixture
def rig(jack: str) -> Iterator[Rig]:
    made = Rig()
    yield made
    made.close()


@pytest.fixture
def kept(tmp_path: Path) -> Entry:
    with Book(tmp_path / "book.sqlite") as book:
        return book.add(played_entry())


def command(folder: Path, *words: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "livecont", *words, "--out", "Glass"],
        cwd=TOP,
        env={**os.environ, "PYTHONPATH": str(TOP), "LIVECONT_DATA": str(folder)},
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def own_strikes(entry: Entry) -> list[int]:
    return [event.pitch for event in performed(entry) if isinstance(event, KeyDown)]


def test_an_entry_sounds_as_it_was_played(rig: Rig, kept: Entry, tmp_path: Path) -> None:
    process = command(tmp_path, "book", "play", "1", "--tempo", "200", "--links", "1")
    out, error = process.communicate(timeout=PATIENCE_S)
    assert process.returncode == 0, error
    assert out.startswith("1: a second down")
    heard = rig.strikes()
    own = own_strikes(kept)
    assert [pitch for _, pitch in heard][: len(own)] == own
    # the link that follows: A C E C D F ..., by hand
    assert sorted(pitch % 12 for _, pitch in heard[len(own) :]) == sorted(
        {"A": 9, "C": 0, "E": 4, "D": 2, "F": 5, "G": 7, "B": 11}[name]
        for name in ["C", "A", "E", "F", "D", "G", "A", "F", "D", "B", "G", "E"]
    )
    # three links of a second each, at twice the tempo; how exactly, benchmarks tell
    assert heard[-1][0] - heard[0][0] == pytest.approx(3 - 0.125, abs=0.3)
    assert rig.hanging() == set()


@pytest.mark.skipif(sys.platform == "win32", reason="SIGINT to another process is POSIX's")
def test_an_entry_left_in_the_middle_leaves_nothing_sounding(
    rig: Rig, kept: Entry, tmp_path: Path
) -> None:
    process = command(tmp_path, "book", "play", "1")
    assert until(lambda: len(rig.strikes()) >= 3)
    process.send_signal(signal.SIGINT)
    process.communicate(timeout=PATIENCE_S)
    assert process.returncode == 130
    assert len(rig.strikes()) < len(own_strikes(kept))
    assert until(lambda: rig.hanging() == set())


def test_an_entry_is_carried_on_by_the_engine(rig: Rig, kept: Entry, tmp_path: Path) -> None:
    process = command(tmp_path, "book", "carry", "1", "--limit", "1")
    out, error = process.communicate(timeout=PATIENCE_S)
    assert process.returncode == 0, error
    assert "livecont takes over: link 3 sounds" in out
    own = own_strikes(kept)
    pitches = [pitch for _, pitch in rig.strikes()]
    assert pitches[: len(own)] == own
    assert len(pitches) == len(own) * 3 // 2
    assert rig.hanging() == set()


CONTROLS = """
[controls.instrument]
keep = ["key C1"]
quit = ["key D1"]
"""
C1, D1 = 24, 26


def touch(rig: Rig, pitch: int) -> None:
    rig.ask("play", [(0.0, f"90{pitch:02x}40"), (0.1, f"80{pitch:02x}40")])


def test_a_sitting_goes_on_from_an_entry_and_its_sequence_is_kept_with_one_key(
    rig: Rig, kept: Entry, tmp_path: Path
) -> None:
    config = tmp_path / "livecont.toml"
    config.write_text(CONTROLS, "utf-8")
    words = ("--from-book", "1", "--limit", "1", "--in", "Stage", "--config", str(config))
    process = command(tmp_path, "listen", *words)
    own = own_strikes(kept)
    assert until(lambda: len(rig.strikes()) >= len(own) * 3 // 2)  # and the link that follows
    touch(rig, C1)
    with Book(tmp_path / "book.sqlite") as book:
        assert until(lambda: len(book.search()) == 2)
        entry = book.get(2)
        (twin,) = book.twins(entry)
    assert (entry.step_degrees, entry.key, entry.links) == (-1, kept.key, 2)
    assert entry.source.endswith(".mid")
    assert entry.label is not None
    assert twin.entry.number == 1
    touch(rig, D1)
    out, error = process.communicate(timeout=PATIENCE_S)
    assert process.returncode == 0, error
    assert "kept as entry 2: " in out
    assert rig.hanging() == set()
    assert not {C1, D1} & {pitch for _, pitch in rig.strikes()}
