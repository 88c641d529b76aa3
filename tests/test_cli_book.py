"""`livecont book` from the outside: kept, found, changed, played, written out and read back."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import mido
import pytest

from livecont.book.book import Book
from livecont.book.performance import performed
from livecont.cli import run
from livecont.commands.book_files import midi_of
from livecont.score.smf import parse_smf, read_smf
from livecont.sequence.events import KeyDown
from tests.book.volume import paper_entry, played_entry
from tests.score.written import SEQUENCE, midi


@pytest.fixture(autouse=True)
def _aside(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("XDG_CONFIG_HOME", "APPDATA", "HOME"):
        monkeypatch.setenv(name, str(tmp_path / "home"))
    monkeypatch.delenv("LIVECONT_CONFIG", raising=False)
    monkeypatch.setenv("LIVECONT_DATA", str(tmp_path / "data"))
    monkeypatch.chdir(tmp_path)


@pytest.fixture
def played(tmp_path: Path) -> Path:
    """One of our pieces as it is played, where the last sitting's take would be."""
    takes = tmp_path / "data" / "takes"
    takes.mkdir(parents=True)
    path = takes / "2026-11-25_12-00-00.mid"
    assert run(["demo", "lament", "--write", str(path)]) == 0
    return path


@pytest.fixture
def kept(tmp_path: Path) -> Path:
    """A book with two entries."""
    path = tmp_path / "data" / "book.sqlite"
    with Book(path) as book:
        book.add_all((paper_entry(), played_entry()))
        book.change(1, title="Ladder", label="D2 (D5/A4)")
    return path


def said(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    assert run(["book", *words]) == 0
    return capsys.readouterr().out


def refused(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    assert run(["book", *words]) == 2
    error = capsys.readouterr().err
    assert error.count("\n") == 1, error
    return error


def listed(capsys: pytest.CaptureFixture[str], *words: str) -> list[dict[str, Any]]:
    return [json.loads(line) for line in said(capsys, "list", "--json", *words).splitlines()]


# --- add ----------------------------------------------------------------------------------------


def test_the_last_sitting_s_sequence_is_kept_with_one_command(
    played: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ("--tag", "slow", "--title", "Lament", "--remark", "again!", "--star")
    out = said(capsys, "add", "--last", *words)
    assert out.startswith("1: a second down, tonal, in a minor")
    (entry,) = listed(capsys)
    assert (entry["step_degrees"], entry["key"], entry["links"]) == (-1, "a minor", 2)
    assert entry["source"] == played.name
    assert (entry["tags"], entry["starred"], entry["remarks"]) == (["slow"], True, "again!")
    assert entry["label"] is not None
    pitches = [note["pitch"] for note in entry["notes"] if note["link"] == 1]
    assert {"A2", "C4", "G5"} <= set(pitches)


def test_a_recording_in_another_place_is_heard_and_twins_are_pointed_out(
    played: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    said(capsys, "add", str(played), "--key", "a minor")
    out = said(capsys, "add", str(played), "--number", "1")
    assert "also entry 1" in out
    assert "the same notes" in out
    assert "also entry 2" in said(capsys, "same")


def test_a_sequence_of_a_score_is_kept(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    midi(tmp_path, *SEQUENCE)
    out = said(capsys, "add", "piece.mid", "--on-paper")
    assert "a second down, tonal, in D major" in out
    assert "4 links of 6 quarters; piece.mid, bars 1-8" in out
    (entry,) = listed(capsys)
    assert (entry["unit_quarters"], entry["bars"], entry["links"]) == ("6", "1-8", 4)
    assert entry["printed"]["metre"] == [3, 4]


def test_a_passage_is_a_sequence_where_the_player_says_so(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    midi(tmp_path, *SEQUENCE)
    out = said(capsys, "add", "piece.mid", "--bars", "1-4", "--unit", "6", "--step", "-1")
    assert "2 links of 6 quarters; piece.mid, bars 1-4" in out


@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        ((), "name a file, or say --last"),
        (("piece.mid", "--last"), "name a file, or say --last"),
        (("--last",), "no take in"),
        (("nothing.mid",), "nothing.mid"),
        (("piece.mid", "--bars", "7-99"), "there is no bar 99"),
        (("piece.mid", "--bars", "1-2-3"), "write for instance 12-15"),
        (("piece.mid", "--on-paper", "--number", "9"), "no sequence 9"),
        (("piece.mid", "--unit", "6"), "go together"),
        (("piece.mid", "--unit", "1e9", "--step", "1"), "write quarters"),
        (("piece.mid", "--unit", "6", "--step", "1"), "needs its --bars"),
        (("piece.mid", "--bars", "1", "--unit", "6", "--step", "1"), "two links at least"),
        (("piece.mid", "--bars", "1-8", "--key", "C major"), "a score has its own"),
        (("piece.mid", "--bars", "1-8", "--tag", "x" * 101), "101 signs"),
        (("piece.mid", "--key", "H major"), "unknown key"),
        (("piece.mid", "--on-paper", "--book", "."), "can't be opened"),
    ],
)
def test_what_can_not_be_kept_is_told_in_one_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], words: tuple[str, ...], complaint: str
) -> None:
    midi(tmp_path, *SEQUENCE)
    assert complaint in refused(capsys, "add", *words)


# --- list, show, note, tag, star, remove --------------------------------------------------------


@pytest.mark.usefixtures("kept")
@pytest.mark.parametrize(
    ("words", "count"),
    [
        ((), 2),
        (("ladder",), 1),
        (("--label", "D2"), 1),
        (("--step", "-1"), 2),
        (("--step", "1"), 0),
        (("--unit", "4"), 1),
        (("--unit", "2.0s"), 1),
        (("--key", "C major"), 2),
        (("--kind", "real"), 0),
        (("--tag", "x"), 0),
        (("--starred",), 0),
    ],
)
def test_lists(capsys: pytest.CaptureFixture[str], words: tuple[str, ...], count: int) -> None:
    assert len(listed(capsys, *words)) == count
    table = said(capsys, "list", *words)
    assert table.splitlines()[-1] == (
        "no entry found" if not count else f"{count} {'entry' if count == 1 else 'entries'}"
    )


@pytest.mark.usefixtures("kept")
def test_an_entry_is_shown_and_written_to(capsys: pytest.CaptureFixture[str]) -> None:
    said(capsys, "note", "1", "left", "hand", "first")
    said(capsys, "note", "1", "then both", "--title", "Stairs [red]")
    said(capsys, "tag", "1", "fast", "two words")
    said(capsys, "tag", "1", "fast", "--off")
    said(capsys, "star", "1", "2")
    said(capsys, "star", "2", "--off")
    out = said(capsys, "show", "1")
    assert "Stairs [red]" in out
    assert "  | left hand first\n  | then both\n" in out
    assert "tags: two words\n" in out
    assert "link 1: C5.C3 E5 D5 B4 C5.F3 G4 A4.F3 D3\n" in out
    assert [entry["starred"] for entry in listed(capsys)] == [True, False]
    assert "Stairs [red]" in said(capsys, "list")  # no colour of rich's
    said(capsys, "note", "1", "--over")
    assert listed(capsys, "--starred")[0]["remarks"] == ""


@pytest.mark.usefixtures("kept")
def test_entries_are_taken_out_only_when_that_is_meant(capsys: pytest.CaptureFixture[str]) -> None:
    assert "say --yes" in refused(capsys, "remove", "1")
    assert len(listed(capsys)) == 2
    assert "taken out" in said(capsys, "remove", "1", "--yes")
    assert len(listed(capsys)) == 1
    assert "no entry 1" in refused(capsys, "show", "1")


@pytest.mark.usefixtures("kept")
@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        (("list", "--kind", "toanl"), "did you mean 'tonal'"),
        (("list", "--unit", "fast"), "write quarters"),
        (("list", "--unit", "xs"), "seconds"),
        (("list", "--key", "x"), "unknown key"),
        (("show", "7"), "no entry 7"),
        (("show", "0"), "0"),
        (("show", "9" * 30), "as large as that"),
        (("note", "1"), "write a text"),
        (("tag", "1", "x" * 200), "200 signs"),
        (("tag", "1", " "), "needs letters"),
        (("play", "7", "--out", "none"), "no entry 7"),
        (("export", "there.jsonl", "7"), "no entry 7"),
        (("import", "nothing.jsonl"), "nothing.jsonl"),
        (("import", "."), "neither entries.jsonl nor MIDI files"),
    ],
)
def test_wrong_input_is_one_line(
    capsys: pytest.CaptureFixture[str], words: tuple[str, ...], complaint: str
) -> None:
    assert complaint in refused(capsys, *words)


# --- play and carry -----------------------------------------------------------------------------


@pytest.mark.usefixtures("kept")
def test_an_entry_is_played_and_given_to_the_engine(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """That it is carried on is tested through real ports, and in virtual time on the corpus."""
    out = said(capsys, "play", "2", "--links", "1", "--tempo", "400", "--out", "none")
    assert out.startswith("2: a second down")
    out = said(capsys, "carry", "2", "--limit", "1", "--out", "none")
    assert "from the book, 2: a second down" in out
    (take,) = (tmp_path / "data" / "takes").glob("*.mid")
    events = read_smf(take, leave_out=("livecont",)).events
    struck = [event.pitch for event in events if isinstance(event, KeyDown)]
    assert struck == [e.pitch for e in performed(played_entry()) if isinstance(e, KeyDown)]


# --- export and import --------------------------------------------------------------------------


@pytest.mark.usefixtures("kept")
@pytest.mark.parametrize("to", ["all.jsonl", "folder"])
def test_what_is_written_out_is_read_back(capsys: pytest.CaptureFixture[str], to: str) -> None:
    said(capsys, "tag", "1", "fast")
    before = listed(capsys)
    said(capsys, "export", to)
    assert "is there already" in refused(capsys, "export", to)
    said(capsys, "export", to, "--force")
    assert "2 entries put in" in said(capsys, "import", to, "--book", "other.sqlite")
    assert listed(capsys, "--book", "other.sqlite") == before
    again = said(capsys, "import", to, "--book", "other.sqlite", "--tag", "twice")
    assert again == "0 entries put in, 2 left out that are there already\n"


@pytest.mark.usefixtures("kept")
def test_the_midi_files_are_read_by_another_library_and_heard_by_the_engine(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    said(capsys, "export", "folder")
    names = sorted(path.name for path in (tmp_path / "folder").iterdir())
    assert names == ["0001-ladder.mid", "0002-a-sequence-in-c-major.mid", "entries.jsonl"]
    file = mido.MidiFile(tmp_path / "folder" / names[0])
    struck = [m.note for m in file if m.type == "note_on" and m.velocity]
    assert sorted(struck) == sorted(note.spelling.midi for note in paper_entry().notes)
    (tmp_path / "folder" / "entries.jsonl").unlink()
    assert "2 entries put in" in said(capsys, "import", "folder", "--book", "other.sqlite")
    found = listed(capsys, "--book", "other.sqlite")
    assert [entry["step_degrees"] for entry in found] == [-1, -1]


def test_a_midi_file_has_the_time_of_the_links() -> None:
    recording = parse_smf(midi_of(paper_entry()))
    struck = [event.at_s for event in recording.events if isinstance(event, KeyDown)]
    note = paper_entry().notes[-1]
    last_s = (note.link - 1 + float(note.onset_units)) * paper_entry().unit_s
    assert max(struck) == pytest.approx(last_s, abs=1e-3)


@pytest.mark.usefixtures("kept")
@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ("", "no entries in it"),
        ("{}\n", 'line 1: the field "version" is missing'),
        ('\n\n{"version": 1}\n', "line 3"),
        ("[" * 50_000, "line 1: not JSON"),
        ("\x00", "line 1"),
    ],
)
def test_a_file_that_is_no_book_is_refused_whole(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], text: str, complaint: str
) -> None:
    said(capsys, "export", "good.jsonl")
    good = (tmp_path / "good.jsonl").read_text("utf-8")
    (tmp_path / "bad.jsonl").write_text((good if text else "") + text, "utf-8")
    told = refused(capsys, "import", "bad.jsonl", "--book", "other.sqlite")
    lines = good.count("\n") if text else 0
    for number in (1, 3):
        complaint = complaint.replace(f"line {number}", f"line {number + lines}")
        if f"line {number + lines}" in told:
            break
    assert complaint in told
    assert listed(capsys, "--book", "other.sqlite") == []


@pytest.mark.usefixtures("kept")
def test_lines_go_through_a_pipe(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    lines = said(capsys, "export", "-", "1")
    assert len(lines.splitlines()) == 1
    done = subprocess.run(
        [sys.executable, "-m", "livecont", "book", "import", "-", "--book", "b.sqlite"],
        input=lines,
        text=True,
        capture_output=True,
        check=False,
        cwd=tmp_path,
        env={"PYTHONPATH": str(Path(__file__).resolve().parents[1]), "HOME": str(tmp_path)},
    )
    assert (done.returncode, done.stderr) == (0, "")
    assert len(listed(capsys, "--book", "b.sqlite")) == 1
