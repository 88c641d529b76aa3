"""`livecont sheet` from the outside: pieces, takes, entries of the book, and what is wrong."""

from __future__ import annotations

from pathlib import Path

import pytest

from livecont.cli import run
from tests.corpus import corpus_file
from tests.score.page import notes_on
from tests.score.written import SEQUENCE, midi

pytest.importorskip("partitura")
pytest.importorskip("verovio")

KEYBOARD = "fc09d8d3a8"  # bars 5 to 8: four links of a bar, a step lower each


@pytest.fixture(autouse=True)
def _nobody(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("LIVECONT_CONFIG", "LIVECONT_DATA"):
        monkeypatch.delenv(name, raising=False)
    for name in ("XDG_CONFIG_HOME", "XDG_DATA_HOME", "APPDATA", "LOCALAPPDATA", "HOME"):
        monkeypatch.setenv(name, str(tmp_path))
    monkeypatch.chdir(tmp_path)


def test_a_piece(capsys: pytest.CaptureFixture[str]) -> None:
    piece = str(corpus_file(KEYBOARD))
    options = ["--bars", "5-8", "--links", "2", "--title", "A sonata", "--svg", "page.svg"]
    assert run(["sheet", piece, *options, "--html", "page.html"]) == 0
    assert capsys.readouterr().out.splitlines() == ["written: page.html", "written: page.svg"]
    page = Path("page.html").read_text("utf-8")
    for told in (
        "<title>A sonata</title>", "bars 5\N{EN DASH}8, C major", "4 links of 1 bar",
        "a second down", "tonal", "2 new", "14 more links left", "falls a second",
    ):  # fmt: skip
        assert told in page
    assert len(notes_on(page)) == len(notes_on(Path("page.svg").read_text("utf-8")))


def test_a_take(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["demo", "lament", "--write", "lament.mid"]) == 0
    assert run(["sheet", "lament.mid", "--key", "a minor", "--ending", "close"]) == 0
    assert "written: lament.html" in capsys.readouterr().out
    page = Path("lament.html").read_text("utf-8")
    for told in ("a minor", "2 links of 1 bar", "as played", "cadence, new"):
        assert told in page


def test_an_entry_of_the_book(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One from a page and one from playing."""
    piece = str(corpus_file(KEYBOARD))
    assert run(["demo", "falling-fifths", "--write", "fifths.mid"]) == 0
    assert run(["book", "add", piece, "--bars", "5-8", "--title", "Scales"]) == 0
    assert run(["book", "add", "fifths.mid", "--key", "G major"]) == 0
    assert run(["sheet", "--entry", "1"]) == 0
    assert run(["sheet", "--entry", "2", "--links", "1", "--html", "two.html"]) == 0
    assert "written: entry-1.html" in capsys.readouterr().out
    page = Path("entry-1.html").read_text("utf-8")
    assert "<title>Scales</title>" in page
    assert "4 links of 1 bar" in page
    assert "in the piece" in page
    played = Path("two.html").read_text("utf-8")
    assert "<title>fifths.mid</title>" in played
    assert "G major" in played
    assert "as played" in played


def test_only_what_is_there(tmp_path: Path) -> None:
    midi(tmp_path, *SEQUENCE)
    given = ["--bars", "1-8", "--links", "0", "--no-reduction", "--html", "page.html"]
    assert run(["sheet", "piece.mid", *given]) == 0
    page = Path("page.html").read_text("utf-8")
    assert "new links" not in page
    assert all("color" not in note for note in notes_on(page))


def test_extend_engraves_too(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    midi(tmp_path, *SEQUENCE)
    for name in ("page.html", "page.svg"):
        assert run(["extend", "piece.mid", "--bars", "1-8", "--links", "2", "--sheet", name]) == 0
    assert "4 links of 2 bars" in Path("page.html").read_text("utf-8")
    assert Path("page.svg").read_text("utf-8").startswith("<?xml")
    assert run(["extend", "piece.mid", "--bars", "1-8", "--sheet", "page.pdf"]) == 2
    assert "name it .html or .svg" in capsys.readouterr().err


def test_extend_sounds_too(tmp_path: Path) -> None:
    midi(tmp_path, *SEQUENCE)
    assert run(["extend", "piece.mid", "--bars", "1-8", "--links", "1", "--wav", "out.wav"]) == 0
    assert Path("out.wav").read_bytes()[:4] == b"RIFF"


@pytest.mark.parametrize(
    ("options", "told"),
    [
        ([], "name a file, or an --entry"),
        (["piece.mid", "--entry", "1"], "name a file, or an --entry"),
        (["piece.mid", "--bars", "40"], "there is no bar 40"),
        (["piece.mid", "--staff", "1"], "say which --bars of the piece"),
        (["--entry", "7"], "7"),
        (["--entry", "1", "--bars", "1-2"], "--bars is for a piece"),
        (["none.mxl", "--bars", "1-2"], "none.mxl: can't be read"),
        (["piece.mid", "--bars", "1-8", "--html", "here/page.html"], "there is no folder here"),
        (["piece.mid", "--bars", "1-8", "--html", "there.html"], "is there already: --force"),
        (["piece.mid", "--bars", "1-8", "--links", "65"], "--links"),
        (["odd.mid"], "odd.mid"),
        (["text.mid"], "say which --bars"),
    ],
)  # fmt: skip
def test_wrong_wishes_are_one_line(
    options: list[str], told: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    midi(tmp_path, *SEQUENCE)
    Path("there.html").write_text("mine")
    Path("odd.mid").write_bytes(b"MThd\x00\x00\x00\x06\x00")
    Path("text.mid").write_text("no music")
    assert run(["sheet", *options]) == 2
    said = capsys.readouterr().err
    assert told in said
    assert said.count("\n") == 1
    assert Path("there.html").read_text() == "mine"
