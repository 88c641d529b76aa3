"""`livecont render` from the outside: files that can be heard, and one line for what can't."""

from __future__ import annotations

import wave
from pathlib import Path

import numpy as np
import pytest

from livecont.book.book import Book
from livecont.book.pattern import pattern_of
from livecont.cli import run
from livecont.hearable import QUARTERS_A_MINUTE, carried_on, main_notes, recorded
from livecont.sequence.analysis import analysed
from livecont.sequence.endings import Ending
from livecont.sequence.events import KeyDown, PlayerEvent
from livecont.sitting.events import Settings
from livecont.tuning import load_temperaments
from tests.book.volume import paper_entry, played_entry
from tests.score.written import SEQUENCE, midi
from tests.sound.heard import Sound, cents, partial_hz
from tests.strategies import PIANO


@pytest.fixture(autouse=True)
def _aside(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("XDG_CONFIG_HOME", "APPDATA", "HOME"):
        monkeypatch.setenv(name, str(tmp_path / "home"))
    monkeypatch.delenv("LIVECONT_CONFIG", raising=False)
    monkeypatch.setenv("LIVECONT_DATA", str(tmp_path / "data"))
    monkeypatch.chdir(tmp_path)
    assert run(["demo", "lament", "--write", "lament.mid"]) == 0
    midi(tmp_path, *SEQUENCE)
    with Book(tmp_path / "data" / "book.sqlite") as book:
        book.add_all((paper_entry(), played_entry()))


def heard(path: str) -> tuple[Sound, int]:
    with wave.open(path, "rb") as file:
        assert file.getnchannels() == 1
        raw = np.frombuffer(file.readframes(file.getnframes()), "<i2")
        return (raw / 32768).astype(np.float32), file.getframerate()


def onsets(events: tuple[PlayerEvent, ...]) -> list[tuple[float, int]]:
    return [(round(e.at_s, 3), e.pitch) for e in events if isinstance(e, KeyDown)]


def complaint(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    assert run(["render", *words]) == 2
    error = capsys.readouterr().err
    assert error.count("\n") == 1, error
    return error


def test_a_recording_is_heard_where_its_notes_are(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["render", "lament.mid"]) == 0
    assert capsys.readouterr().out.startswith("lament.wav: 0:0")
    sound, rate_hz = heard("lament.wav")
    first_s = min(e.at_s for e in recorded(Path("lament.mid")) if isinstance(e, KeyDown))
    assert np.flatnonzero(np.abs(sound) > 1e-3)[0] == pytest.approx(first_s * rate_hz, abs=20)
    assert np.abs(sound).max() == pytest.approx(10 ** (-1 / 20), abs=1e-3)


def test_pitch_and_temperament_are_those_asked_for(tmp_path: Path) -> None:
    midi_of_one = tmp_path / "e.mid"
    assert run(["demo", "lament", "--write", str(tmp_path / "x.mid")]) == 0
    from livecont.live.take_file import Entry, EntryKind, take_file

    strokes = [
        Entry(0.0, EntryKind.PLAYED, bytes((0x90, 64, 90))),
        Entry(1.5, EntryKind.PLAYED, bytes((0x80, 64, 64))),
    ]
    midi_of_one.write_bytes(take_file(strokes))
    words = ["--a4", "415", "--temperament", "meantone-quarter", "--voice", "struck"]
    assert run(["render", "e.mid", *words, "--rate", "44100"]) == 0
    sound, rate_hz = heard("e.wav")
    assert rate_hz == 44_100
    table = load_temperaments()["meantone-quarter"]
    wanted = 415.0 * 2 ** ((table.cents[4] - table.cents[9]) / 1200)
    assert abs(cents(partial_hz(sound[4_000:60_000], wanted, rate_hz), wanted)) < 1.0
    # far from what equal temperament would have: four cents and more
    assert abs(cents(wanted, 415.0 * 2 ** (-5 / 12))) > 3


def test_the_same_input_gives_the_same_file() -> None:
    for name in ("a.wav", "b.wav"):
        assert run(["render", "lament.mid", "--wav", name, "--bits", "24"]) == 0
    assert Path("a.wav").read_bytes() == Path("b.wav").read_bytes()


def test_a_take_s_two_players_can_be_heard_apart() -> None:
    assert run(["demo", "lament", "--out", "none", "--limit", "1"]) == 0
    (take,) = (Path("data") / "takes").glob("*.mid")
    both, ours, theirs = (recorded(take, only=only) for only in (None, "livecont", "player"))
    assert len(onsets(ours)) + len(onsets(theirs)) == len(onsets(both))
    assert 0 < len(onsets(ours)) < len(onsets(theirs))
    assert run(["render", str(take), "--only", "livecont", "--wav", "ours.wav"]) == 0
    sound, rate_hz = heard("ours.wav")
    first_s = min(at_s for at_s, _ in onsets(ours))
    assert np.abs(sound[: round((first_s - 0.01) * rate_hz)]).max() == 0.0


def test_bars_of_a_score_begin_at_once_and_last_as_long_as_they_do() -> None:
    assert run(["render", "piece.mid", "--bars", "3-4", "--tempo", "200"]) == 0
    sound, rate_hz = heard("piece.wav")
    bars_s = 6 * 60 / (2 * QUARTERS_A_MINUTE)  # two bars of three quarters, twice as fast
    assert np.abs(sound[:200]).max() > 1e-3
    assert bars_s - 0.3 < len(sound) / rate_hz < bars_s + 1.5


def test_an_entry_is_carried_on_to_its_ending() -> None:
    entry = paper_entry()
    settings = Settings(key=entry.key, compass=PIANO, ending=Ending.CLOSE)
    own = onsets(carried_on(entry, settings))
    assert sorted(pitch for _, pitch in own) == sorted(n.spelling.midi for n in entry.notes)
    more = onsets(carried_on(entry, settings, links=2))
    assert more[: len(own)] == own
    closing = [pitch for at_s, pitch in more if at_s > (entry.links + 2) * entry.unit_s - 0.001]
    assert closing
    assert {pitch % 12 for _, pitch in more[-2:]} <= {0, 4, 7}  # the tonic chord, C major
    assert run(["render", "--entry", "1", "--links", "2", "--ending", "close"]) == 0
    sound, rate_hz = heard("entry-1.wav")
    assert len(sound) / rate_hz > more[-1][0]


def test_a_reduction_has_the_main_notes_of_every_link() -> None:
    entry = played_entry()
    links = analysed(pattern_of(entry)).reduction
    found = onsets(main_notes(entry, links=3))
    assert len(found) == pytest.approx(5 * len(links), abs=5)  # repeated keys may be one
    assert len(found) < 5 * len(entry.notes) / 2
    assert {pitch for _, pitch in found[: len(links)]} <= {n.spelling.midi for n in entry.notes}
    assert run(["render", "--entry", "2", "--reduction", "--links", "3", "--wav", "r.wav"]) == 0
    assert run(["render", "piece.mid", "--bars", "1-8", "--reduction"]) == 0
    assert run(["render", "lament.mid", "--reduction"]) == 0


def test_temperaments_are_listed(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["render", "--temperaments"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert [line.split()[0] for line in lines] == list(load_temperaments())


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ((), "name a file, or an --entry"),
        (("lament.mid", "--entry", "1"), "name a file, or an --entry"),
        (("nothing.mid",), "nothing.mid"),
        (("--entry", "9"), "no entry 9"),
        (("lament.mid", "--voice", "plukced"), "did you mean 'plucked'"),
        (("lament.mid", "--temperament", "valotti"), "did you mean 'vallotti'"),
        (("lament.mid", "--a4", "900"), "900"),
        (("lament.mid", "--wav", "lament.mp3"), "--wav lament.mp3: name it .wav"),
        (("lament.mid", "--a4", "nan"), "--a4 nan: write a number of Hz, for instance 415"),
        (("lament.mid", "--bits", "8"), "16 or 24"),
        (("lament.mid", "--rate", "8000"), "44100"),
        (("lament.mid", "--only", "nobody"), "unknown track"),
        (("lament.mid", "--ending", "close"), "after --links"),
        (("lament.mid", "--wav", "lament.mid"), "is there already"),
        (("lament.mid", "--wav", "no/such/folder.wav"), "no folder"),
        (("piece.mid", "--bars", "90"), "there is no bar 90"),
        (("--entry", "1", "--links", "2", "--ending", "end"), "ending"),
    ],
)
def test_what_can_not_be_rendered_is_told_in_one_line(
    capsys: pytest.CaptureFixture[str], words: tuple[str, ...], told: str
) -> None:
    assert told in complaint(capsys, *words)


def test_nothing_is_written_over_without_force(capsys: pytest.CaptureFixture[str]) -> None:
    Path("lament.wav").write_bytes(b"mine")
    assert "--force" in complaint(capsys, "lament.mid")
    assert Path("lament.wav").read_bytes() == b"mine"
    assert run(["render", "lament.mid", "--force"]) == 0
    assert Path("lament.wav").read_bytes()[:4] == b"RIFF"
