"""`livecont find` from the outside: what it prints, what it says to wrong input, exit codes.

The files are MIDI, which needs no reading library, so that each call takes a second.
"""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path
from typing import Any

import pytest

from livecont.cli import run
from tests.score.written import SEQUENCE, midi

FIELDS = (
    "file", "start_bar", "start_beat", "start_q", "end_q", "unit_quarters", "step_degrees",
    "links", "parts", "kind", "label",
)  # fmt: skip


@pytest.fixture(autouse=True)
def _nobody(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("LIVECONT_CONFIG", raising=False)
    for name in ("XDG_CONFIG_HOME", "APPDATA", "HOME"):
        monkeypatch.setenv(name, str(tmp_path))
    monkeypatch.chdir(tmp_path)


@pytest.fixture
def piece(tmp_path: Path) -> Path:
    return midi(tmp_path, *SEQUENCE)


def lines_of(capsys: pytest.CaptureFixture[str]) -> list[dict[str, Any]]:
    return [json.loads(line) for line in capsys.readouterr().out.splitlines()]


def test_json_has_one_object_a_line(piece: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["find", "piece.mid", "--json"]) == 0
    (found,) = lines_of(capsys)
    assert set(FIELDS) <= set(found)
    assert found["file"] == "piece.mid"
    assert (found["start_bar"], found["start_beat"]) == ("1", 1.0)
    assert (found["start_q"], found["end_q"], found["unit_quarters"]) == (0.0, 24.0, 6.0)
    assert (found["step_degrees"], found["links"], found["parts"]) == (-1, 4, "all")
    assert (found["kind"], found["key"]) == ("tonal", "D major")
    assert found["exact"] == [1.0, 1.0, 1.0]
    assert found["breaks_off"]["q"] == 24.0


def test_the_table(piece: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["find", "piece.mid"]) == 0
    out = capsys.readouterr().out
    row = out.splitlines()[1]
    for told in ("1-8", " 4 ", "2 bars", "a second down", "tonal", "all", "100 %"):
        assert told in row
    assert out.splitlines()[-1] == "1 sequence"
    assert run(["find", "piece.mid", "--bars", "9"]) == 0
    assert capsys.readouterr().out == "no sequence found\n"


def test_csv_is_read_back(piece: Path, capsys: pytest.CaptureFixture[str]) -> None:
    piece.rename(piece.with_name("=cmd.mid"))
    assert run(["find", "=cmd.mid", "--csv"]) == 0
    (row,) = csv.DictReader(io.StringIO(capsys.readouterr().out))
    assert row["file"] == "'=cmd.mid"  # no formula for a spreadsheet
    assert (row["links"], row["step_degrees"], row["exact"]) == ("4", "-1", "1.0 1.0 1.0")


def test_many_files_sorted_and_one_broken(
    piece: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "pieces"
    folder.mkdir()
    piece.rename(folder / "b.mid")
    short = [" ".join(line.split()[: 14 if n == 0 else 12]) for n, line in enumerate(SEQUENCE)]
    midi(folder, *short, name="a.mid")
    (folder / "c.mid").write_bytes(b"MThd nothing")
    assert run(["find", "pieces", "--json", "--sort", "length"]) == 2
    captured = capsys.readouterr()
    found = [json.loads(line) for line in captured.out.splitlines()]
    assert [Path(one["file"]).name for one in found[:2]] == ["b.mid", "a.mid"]
    lengths = [one["end_q"] - one["start_q"] for one in found]
    assert lengths == sorted(lengths, reverse=True)
    told = captured.err.splitlines()
    assert told[0].startswith(
        f"livecont: {Path('pieces', 'c.mid')}: a MIDI file that can't be read"
    )
    assert told[1] == "livecont: 1 of 3 files could not be read"


def test_only_a_part_and_chains_of_some_length(
    piece: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["find", "piece.mid", "--json", "--part", "hand 2"]) == 0
    assert [one["parts"] for one in lines_of(capsys)] == ["hand 2"]
    assert run(["find", "piece.mid", "--json", "--least-links", "5"]) == 0
    assert lines_of(capsys) == []


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["none.mid"], "none.mid: can't be read (No such file or directory)"),
        (["piece.mid", "--bars", "1-99"], "piece.mid: there is no bar 99: the bars are 1 to 10"),
        (["piece.mid", "--bars", "a b c"], "--bars a b c: write for instance 12-15, or 12"),
        (["piece.mid", "--part", "hand 3"], "piece.mid: unknown part 'hand 3': did you mean"),
        (["piece.mid", "--sort", "lenght"], "unknown order 'lenght': did you mean 'length'?"),
        (["piece.mid", "--compass", "modren"], "unknown compass 'modren': did you mean 'modern'?"),
        (["piece.mid", "--csv", "--json"], "--csv and --json can't both be"),
        (["piece.mid", "--staff", "0"], "--staff"),
        (["piece.mid", "--staff", "3"], "piece.mid: there is no staff 3: there is only one"),
        (["piece.mid", "--part", "2", "--staff", "2"], "there is no staff 2 of hand 2: there is"),
        ([], "PIECE"),
        (["empty"], "empty: no score in this folder"),
    ],
)
def test_wrong_input_ends_in_one_line(
    piece: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str],
    arguments: list[str], told: str,
) -> None:  # fmt: skip
    (tmp_path / "empty").mkdir()
    assert run(["find", *arguments]) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert len(captured.err.splitlines()) == 1
    assert told in captured.err
