"""`livecont extend` from the outside: what it prints and writes, what it says to wrong input."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import mido
import pytest

from livecont.cli import run
from livecont.score.reading import read_score
from tests.corpus import corpus_file
from tests.score.second import music21_notes, our_notes
from tests.score.written import SEQUENCE, midi

pytest.importorskip("partitura")
pytest.importorskip("music21")

KEYBOARD = "fc09d8d3a8"  # bars 5 to 8: four links of a bar, a step lower each
STRINGS = "c9b078e497"  # from bar 28, beat 3: falling fifths in violin and bass


@pytest.fixture(autouse=True)
def _nobody(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("LIVECONT_CONFIG", raising=False)
    for name in ("XDG_CONFIG_HOME", "APPDATA", "HOME"):
        monkeypatch.setenv(name, str(tmp_path))
    monkeypatch.chdir(tmp_path)


def test_what_is_written_is_told_and_comes_back(capsys: pytest.CaptureFixture[str]) -> None:
    piece = str(corpus_file(KEYBOARD))
    options = ["--bars", "5-8", "--links", "3", "--musicxml", "out.mxl", "--midi", "out.mid"]
    assert run(["extend", piece, *options]) == 0
    said = capsys.readouterr().out.splitlines()
    assert said[0].endswith("bars 5-8: 4 links of 4 beats, a second down, tonal, C major")
    assert said[1] == "new: links 5-7, bars 9-11; 13 more links would have room"
    assert said[2:] == ["written: out.mid", "written: out.mxl"]
    longer = read_score(Path("out.mxl"))
    assert [bar.number for bar in longer.bars] == ["5", "6", "7", "8", "9", "10", "11"]
    assert music21_notes(Path("out.mxl")) == our_notes(longer.notes)
    right = [n for n in longer.notes if n.staff == 1 and n.onset_q >= 16 and not n.grace]
    # the model's run of fifteen notes, five, six and seven steps lower (verified by hand)
    assert [n.spelling.name for n in right if n.onset_q < 20][:8] == [
        "D4", "E4", "F4", "G4", "A4", "B4", "C5", "D5",
    ]  # fmt: skip
    assert {n.duration_q for n in right} <= {Fraction(1, 4), Fraction(1, 2), Fraction(1)}
    played = mido.MidiFile("out.mid")
    downs = sum(m.type == "note_on" and m.velocity > 0 for track in played.tracks for m in track)
    assert downs == len([n for n in longer.notes if not n.grace])


def test_back_into_the_piece(capsys: pytest.CaptureFixture[str]) -> None:
    piece = corpus_file(KEYBOARD)
    given = ["--bars", "5-8", "--ending", "rejoin", "--musicxml", "out.musicxml"]
    assert run(["extend", str(piece), *given]) == 0
    assert "links 5-11, bars 9-15, folds at link 8; the piece goes on in bar 16" in (
        capsys.readouterr().out
    )
    longer, score = read_score(Path("out.musicxml")), read_score(piece)
    back_q = longer.bars_span("16", "16")[0]
    start_q, _ = score.bars_span("9", "9")
    goes_on = [(n.onset_q - start_q, n.spelling) for n in score.within(start_q, start_q + 8)]
    assert [(n.onset_q - back_q, n.spelling) for n in longer.within(back_q, back_q + 8)] == goes_on


def test_parts_keep_their_names_and_those_who_rest_rest() -> None:
    given = ["--bars", "28-29", "--ending", "close", "--musicxml", "out.musicxml"]
    assert run(["extend", str(corpus_file(STRINGS)), *given]) == 0
    longer, score = read_score(Path("out.musicxml")), read_score(corpus_file(STRINGS))
    assert [part.name for part in longer.parts] == [part.name for part in score.parts]
    assert music21_notes(Path("out.musicxml")) == our_notes(longer.notes)


def test_midi_in_and_out(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    midi(tmp_path, *SEQUENCE)
    assert run(["extend", "piece.mid", "--bars", "1-8", "--midi", "out.mid"]) == 0
    assert "4 links of 6 beats, a second down, tonal, D major" in capsys.readouterr().out
    written, given = read_score(Path("out.mid")), read_score(Path("piece.mid"))
    assert written.notes[:20] == given.notes[:20]


def test_the_piece_is_never_written_over_nor_one_file_over_another(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    midi(tmp_path, *SEQUENCE)
    piece = tmp_path / "piece.mid"
    before = piece.read_bytes()
    options = ["extend", "piece.mid", "--bars", "1-3", "--force"]
    assert run([*options, "--midi", "./piece.mid"]) == 2
    assert "is the piece itself: choose another name" in capsys.readouterr().err
    assert piece.read_bytes() == before
    assert run([*options, "--midi", "out.x", "--musicxml", "out.x"]) == 2
    assert "is named for two files: choose another name" in capsys.readouterr().err
    assert not Path("out.x").exists()


def test_nothing_is_overwritten_unless_asked(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    midi(tmp_path, *SEQUENCE)
    Path("out.mid").write_text("mine")
    command = ["extend", "piece.mid", "--bars", "1-8", "--links", "1", "--midi", "out.mid"]
    assert run(command) == 2
    assert "out.mid is there already: --force writes over it" in capsys.readouterr().err
    assert Path("out.mid").read_text() == "mine"
    assert run([*command, "--force"]) == 0
    assert Path("out.mid").read_bytes().startswith(b"MThd")


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (["--bars", "40"], "there is no bar 40: the bars are 1 to"),
        (["--bars", "8-2"], "bar 2 comes before bar 8"),
        (["--bars", "x-y-z"], "write for instance 12-15"),
        (["--bars", "9-10"], "no sequence in bars 9-10: livecont find lists"),
        (["--bars", "1-8", "--part", "oboe"], "unknown part 'oboe'"),
        (["--bars", "1-8", "--ending", "clse"], "unknown ending 'clse': did you mean 'close'?"),
        (["--bars", "1-8", "--compass", "modren"], "did you mean 'modern'?"),
        (["--bars", "1-8", "--key", "h minor"], "unknown key 'h minor'"),
        (["--bars", "1-8", "--limit", "far"], "neither 'compass' nor 'clear'"),
        (["--bars", "1-8", "--midi", "none/out.mid"], "there is no folder none"),
        (["--bars", "1-8", "--links", "0"], "--links"),
    ],
)  # fmt: skip
def test_wrong_wishes_are_one_line(
    options: list[str], told: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    long = SEQUENCE[0] + " G4/6 D5/6", SEQUENCE[1] + " G3/6 D3/6"
    midi(tmp_path, *long)
    assert run(["extend", "piece.mid", *options]) == 2
    said = capsys.readouterr().err
    assert told in said
    assert said.count("\n") == 1


@pytest.mark.parametrize("content", [b"", b"\x00\xff" * 40, b"<a><b/></a>", b"MThd\x00\x00"])
def test_no_score_is_one_line(
    content: bytes, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "odd.xml").write_bytes(content)
    assert run(["extend", "odd.xml", "--bars", "1-2"]) == 2
    said = capsys.readouterr().err
    assert said.startswith("livecont: odd.xml: ")
    assert said.count("\n") == 1


def test_a_file_that_is_not_there(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["extend", "none.mxl", "--bars", "1-2"]) == 2
    assert "none.mxl: can't be read" in capsys.readouterr().err
