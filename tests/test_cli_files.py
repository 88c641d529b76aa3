"""The command line and the player's files: nothing of his is lost, no fault is a traceback."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest

from livecont.cli import run


@pytest.fixture(autouse=True)
def _aside(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("XDG_CONFIG_HOME", "APPDATA", "HOME"):
        monkeypatch.setenv(name, str(tmp_path / "home"))
    monkeypatch.delenv("LIVECONT_CONFIG", raising=False)
    monkeypatch.setenv("LIVECONT_DATA", str(tmp_path / "data"))
    monkeypatch.chdir(tmp_path)
    assert run(["demo", "lament", "--write", "lament.mid"]) == 0


def one_line(capsys: pytest.CaptureFixture[str]) -> str:
    said = capsys.readouterr().err
    assert said.count("\n") == 1, said
    return said


def test_a_report_never_takes_the_place_of_what_is_read(
    capsys: pytest.CaptureFixture[str],
) -> None:
    before = Path("lament.mid").read_bytes()
    assert run(["replay", "lament.mid", "--report", "./lament.mid"]) == 2
    assert "is one of the files to be read" in one_line(capsys)
    assert Path("lament.mid").read_bytes() == before
    Path("list.jsonl").write_text('{"file": "lament.mid"}\n', "utf-8")
    assert run(["replay", "--list", "list.jsonl", "--report", "list.jsonl"]) == 2
    assert Path("list.jsonl").read_text("utf-8") == '{"file": "lament.mid"}\n'


def test_a_replay_that_fails_leaves_the_last_report(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["replay", "lament.mid", "--report", "good.jsonl"]) == 0
    before = Path("good.jsonl").read_text("utf-8")
    assert before
    assert run(["replay", "lamnet.mid", "--report", "good.jsonl"]) == 2
    assert "lamnet.mid" in one_line(capsys)
    assert Path("good.jsonl").read_text("utf-8") == before


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="no /dev/full on this system")
def test_a_full_disk_is_one_line(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["replay", "lament.mid", "--report", "/dev/full"]) == 2
    assert "can't be written" in one_line(capsys)


def test_what_no_command_expects_to_fail_names_the_file(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def kept_from_us(*_arguments: object, **_options: object) -> None:
        raise PermissionError(13, "Permission denied", "my/livecont.toml")

    monkeypatch.setattr("livecont.commands.find.preferences", kept_from_us)
    assert run(["find", "lament.mid"]) == 2
    assert one_line(capsys) == (
        "livecont: my/livecont.toml: Permission denied: see to its permissions,"
        " or choose another place\n"
    )


def test_files_may_begin_with_a_byte_order_mark(capsys: pytest.CaptureFixture[str]) -> None:
    Path("list.jsonl").write_text('{"file": "lament.mid"}\n', "utf-8-sig")
    Path("mine.toml").write_text('[sitting]\nkey = "a minor"\n', "utf-8-sig")
    assert run(["replay", "--list", "list.jsonl", "--config", "mine.toml"]) == 0
    assert "a minor" in capsys.readouterr().out


@pytest.mark.skipif(sys.platform == "win32", reason="a file where a folder should be")
def test_a_take_that_can_not_be_kept_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    options = ["--limit", "1", "--out", "none", "--take-folder", "lament.mid"]
    assert run(["demo", "lament", *options]) == 0
    said = capsys.readouterr()
    told = said.err.splitlines()
    assert [line for line in told if "the take can't be written" in line] == told[:1]
    assert [line for line in told if "among the temporary files" in line] == told[1:]
    rescued = Path(said.out.splitlines()[-1].removeprefix("take: "))
    assert rescued.is_file()
    assert Path.cwd() not in rescued.parents
    rescued.unlink()


def test_no_command_shows_the_help(capsys: pytest.CaptureFixture[str]) -> None:
    assert run([]) == 2
    assert "Commands:" in capsys.readouterr().err


@pytest.mark.skipif(sys.platform != "linux", reason="such names can't be there")
def test_names_of_takes_command_no_terminal(capsys: pytest.CaptureFixture[str]) -> None:
    folder = Path("takes\x1b]0;mine")
    folder.mkdir()
    (folder / "a\n\x1b[2J.mid").write_bytes(Path("lament.mid").read_bytes())
    (folder / "b\x9b1m.take").write_bytes(b"bread")
    (folder / "c\r.take").write_bytes(b"livecont take 1 x\n")
    (folder / "d\u202e.take").write_bytes(b"livecont take 1 x\np 0.5 90 3c 40\n")
    (folder / os.fsdecode(b"e\xff.mid")).write_bytes(b"")
    assert run(["check", "--takes", "--take-folder", str(folder)]) == 0
    said = capsys.readouterr().out
    lines = said.splitlines()
    assert said.replace("\n", "").isprintable()
    assert len(lines) == 3 + 4
    named = "takes?]0;mine"
    assert f"{named}/b?1m.take: not a journal that can be read" in lines
    assert f"{named}/c?.take: held nothing, removed" in lines
    assert f"{named}/d?.mid: mended" in lines
    assert any(line.startswith(f"{named}/a??[2J.mid  whole  ") for line in lines)
    assert f"{named}/e?.mid  unreadable" in lines


def test_a_take_that_is_not_counted_is_listed_by_its_size(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("livecont.live.take_folder.MOST_COUNTED_BYTES", 100)
    Path("takes").mkdir()
    Path("takes/a.mid").write_bytes(Path("lament.mid").read_bytes())
    assert run(["check", "--takes", "--take-folder", "takes"]) == 0
    assert capsys.readouterr().out == f"{Path('takes/a.mid')}  whole  0.0 MB, not counted\n"
