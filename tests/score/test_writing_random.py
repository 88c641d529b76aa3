"""Any score, written as MusicXML, is read as it was, and fills its bars."""

from __future__ import annotations

import pytest
from hypothesis import given, settings

from livecont.music.score import Score
from livecont.score.reading import read_score
from livecont.score.writing import write_musicxml
from tests.score.made_up import document, scores

pytest.importorskip("partitura")


@given(score=scores())
@settings(max_examples=25)
def test_what_is_written_is_read_as_it_was(
    score: Score, tmp_path_factory: pytest.TempPathFactory
) -> None:
    path = tmp_path_factory.mktemp("written") / "piece.musicxml"
    write_musicxml(score, path)
    again = read_score(path)
    assert again.notes == score.notes
    assert (again.bars, again.meters, again.parts) == (score.bars, score.meters, score.parts)


@given(score=scores())
@settings(max_examples=60)
def test_every_bar_is_full(score: Score) -> None:
    """In every voice of every bar, what is written lasts as long as the bar (backups aside)."""
    root = document(score)
    divisions = int(root.findtext(".//divisions") or 0)
    for part in root.iter("part"):
        for measure, printed in zip(part.iter("measure"), score.bars, strict=True):
            filled: dict[str, int] = {}
            for element in measure:
                if element.tag in ("note", "forward") and element.find("chord") is None:
                    voice = element.findtext("voice") or ""
                    filled[voice] = filled.get(voice, 0) + int(element.findtext("duration") or 0)
            assert set(filled.values()) == {printed.length_q * divisions}
