"""The README's way from a piece to the page, as a newcomer goes it; then the same with the corpus.

`UPDATE_GOLDEN=1 python -m pytest tests/test_walkthrough.py` writes what `find` prints there anew.
"""

from __future__ import annotations

import os
import re
import shlex
import shutil
from pathlib import Path

import pytest

from livecont.cli import run
from livecont.score.reading import read_score
from tests.corpus import corpus_file
from tests.score.page import notes_on, pitches_on
from tests.score.second import music21_notes, our_notes

pytest.importorskip("partitura")
pytest.importorskip("verovio")
pytest.importorskip("music21")

TOP = Path(__file__).resolve().parent.parent
README = TOP / "README.md"
PICTURE = TOP / "tests" / "golden" / "readme" / "page.svg"
FIND = "$ livecont find configs/examples/study.musicxml\n"
UPDATE = bool(os.environ.get("UPDATE_GOLDEN"))


@pytest.fixture(autouse=True)
def _at_home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("LIVECONT_CONFIG", "LIVECONT_DATA"):
        monkeypatch.delenv(name, raising=False)
    for name in ("XDG_CONFIG_HOME", "XDG_DATA_HOME", "APPDATA", "LOCALAPPDATA", "HOME"):
        monkeypatch.setenv(name, str(tmp_path))
    monkeypatch.chdir(tmp_path)
    shutil.copytree(TOP / "configs" / "examples", "configs/examples")


def section() -> str:
    text = README.read_text("utf-8")
    return text[text.index("## From a piece to the page") : text.index("\n## Commands")]


def test_the_way_of_the_readme(capsys: pytest.CaptureFixture[str]) -> None:
    (block,) = re.findall(r"^```sh\n(.*?)^```$", section(), re.DOTALL | re.MULTILINE)
    commands = [shlex.split(line)[1:] for line in block.splitlines()]
    assert [command[0] for command in commands] == ["book", "extend", "sheet", "render", "extend"]
    for command in commands:
        assert run(command) == 0, command
    longer = read_score(Path("longer.mxl"))
    assert music21_notes(Path("longer.mxl")) == our_notes(longer.notes)
    page = Path("page.html").read_text("utf-8")
    assert "descending fifths" in page
    assert len(notes_on(page)) > len(longer.notes)  # with the main notes
    assert Path("longer.wav").read_bytes()[:4] == b"RIFF"
    back, study = read_score(Path("back.mid")), read_score(Path("configs/examples/study.musicxml"))
    last = [n.spelling.midi for n in back.notes if n.onset_q >= back.notes[-1].onset_q - 4]
    after = [n for n in study.notes if 44 <= n.onset_q < 52]
    assert last == [n.spelling.midi for n in after if n.onset_q >= after[-1].onset_q - 4]


def test_what_find_prints_is_real(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["find", "configs/examples/study.musicxml"]) == 0
    printed = "".join(f"{line.rstrip()}\n" for line in capsys.readouterr().out.splitlines())
    blocks = re.findall(r"^```text\n(.*?)^```$", section(), re.DOTALL | re.MULTILINE)
    shown = next(block for block in blocks if block.startswith(FIND))
    if UPDATE:
        text = README.read_text("utf-8")
        README.write_text(text.replace(shown, FIND + printed), encoding="utf-8")
        return
    assert shown == FIND + printed


def test_the_picture_shows_what_the_command_engraves(tmp_path: Path) -> None:
    """The same notes and links; how they are set, and how harmonies are read, may change."""
    study = "configs/examples/study.musicxml"
    options = ["--bars", "3-5", "--links", "3", "--ending", "close", "--svg", "page.svg"]
    title = ["--title", "A study in sequences"]
    assert run(["sheet", study, *options, *title]) == 0
    drawn = Path("page.svg").read_text("utf-8")
    if UPDATE:
        PICTURE.write_text(drawn, encoding="utf-8")
    assert run(["sheet", study, *options, *title, "--no-reduction", "--force"]) == 0
    bare = pitches_on(Path("page.svg").read_text("utf-8"))
    shown = PICTURE.read_text("utf-8")
    assert not bare - pitches_on(shown)
    links = re.compile(r'class="link \w+"[^>]*>([^<]*)<')
    assert links.findall(shown) == links.findall(drawn)
    assert len(re.findall("data-numeral=", shown)) >= 7


def test_the_same_way_with_a_quartet(capsys: pytest.CaptureFixture[str]) -> None:
    """Falling fifths C F Bb E A D in four parts, from music21's bundled corpus, bar 57."""
    piece = str(corpus_file("ad7490f0cb"))
    bars = ["--bars", "57-62"]
    assert run(["find", piece, *bars]) == 0
    assert "a second down" in capsys.readouterr().out
    assert run(["book", "add", piece, *bars, "--tag", "fifths"]) == 0
    chain = ["--links", "2", "--ending", "close"]
    assert run(["extend", piece, *bars, *chain, "--musicxml", "longer.musicxml"]) == 0
    longer = read_score(Path("longer.musicxml"))
    assert music21_notes(Path("longer.musicxml")) == our_notes(longer.notes)
    assert run(["sheet", "--entry", "1", *chain, "--html", "page.html"]) == 0
    assert "D2 (D5/A4)" in Path("page.html").read_text("utf-8")
    assert run(["render", "--entry", "1", "--links", "2", "--wav", "longer.wav"]) == 0
