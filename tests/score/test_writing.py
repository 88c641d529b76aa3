"""Scores written as MusicXML: read back by our reader and by music21, note for note."""

from __future__ import annotations

import io
import re
import warnings
import zipfile
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from livecont.errors import ScoreError
from livecont.music.pitch import Spelling, spelling
from livecont.music.score import Bar, Mark, Meter, Part, Score, ScoreNote, Signature
from livecont.score.reading import read_score
from livecont.score.writing import musicxml_of, write_musicxml
from tests.corpus import corpus_file
from tests.score.made_up import document
from tests.score.second import music21_notes, our_notes, parsed
from tests.score.written import attributes, bar, musicxml, write

pytest.importorskip("partitura")
pytest.importorskip("music21")

Q = Fraction
FOUR = Meter(at_q=Q(0), beats=4, beat_type=4)


def score_of(*voices: str, meter: Meter = FOUR, bars: int = 2, fifths: int = 0) -> Score:
    """Return a score of one part; a voice is words such as "C4/1 r/1/2 E4+G4/2|2" (staff 2)."""
    notes = []
    staves = 1
    for number, voice in enumerate(voices, 1):
        words, _, staff = voice.partition("|")
        staves = max(staves, int(staff or 1))
        at_q = Q(0)
        for word in words.split():
            names, _, length = word.partition("/")
            if names != "r":
                notes += [
                    ScoreNote(
                        onset_q=at_q,
                        duration_q=Q(length),
                        spelling=spelling(name),
                        staff=int(staff or 1),
                        voice=number,
                    )
                    for name in names.split("+")
                ]
            at_q += Q(length)
    notes.sort(key=lambda n: (n.onset_q, n.part, n.staff, n.voice, not n.grace, n.spelling.staff))
    return Score(
        parts=(Part(name="Spinet", staves=staves),),
        notes=tuple(notes),
        bars=tuple(
            Bar(number=str(n + 1), start_q=n * meter.bar_q, length_q=meter.bar_q)
            for n in range(bars)
        ),
        meters=(meter,),
        signatures=(Signature(at_q=Q(0), fifths=fifths, mode="major"),),
    )


def elements(score: Score, name: str) -> list[Any]:
    return list(document(score).iter(name))


def symbols(score: Score) -> list[str]:
    """Return what is printed: 'quarter.', 'eighth rest', a tie as ~ behind it."""
    told = []
    for note in elements(score, "note"):
        kind = (note.findtext("type") or "whole bar") + "." * len(note.findall("dot"))
        if note.find("rest") is not None:
            kind += " rest"
        starts = any(tie.get("type") == "start" for tie in note.findall("tie"))
        told.append(kind + "~" * starts)
    return told


# --- note values, as common practice writes them --------------------------------------------------


@pytest.mark.parametrize(
    ("words", "meter", "expected"),
    [
        ("C4/5 r/3", (4, 4), ["whole~", "quarter", "quarter rest", "half rest"]),
        ("C4/1/2 C4/1 C4/5/2", (4, 4), ["eighth", "quarter", "eighth~", "half"]),
        ("C4/3/2 D4/3/2", (3, 4), ["quarter.", "quarter."]),
        ("C4/5/2 D4/1/2", (6, 8), ["quarter.~", "quarter", "eighth"]),
        ("r/3/2 C4/3/2", (6, 8), ["quarter. rest", "quarter."]),
        ("C4/9/2", (9, 8), ["quarter.~", "half."]),
        ("C4/3 r/1", (4, 4), ["half.", "quarter rest"]),
        ("r/1 C4/3", (4, 4), ["quarter rest", "half."]),
        ("C4/1/3 D4/1/3 E4/1/3 F4/3", (4, 4), ["eighth"] * 3 + ["half."]),
        ("C4/2/3 D4/2/3 E4/2/3 F4/2", (4, 4), ["quarter"] * 3 + ["half"]),
        ("C4/7/4 D4/9/4", (4, 4), ["quarter~", "eighth.", "16th~", "half"]),
    ],
)  # fmt: skip
def test_note_values(words: str, meter: tuple[int, int], expected: list[str]) -> None:
    kind = Meter(at_q=Q(0), beats=meter[0], beat_type=meter[1])
    length_q = sum(Q(word.partition("/")[2]) for word in words.split())
    score = score_of(words, meter=kind, bars=int(-(-length_q // kind.bar_q)))
    assert symbols(score) == expected


def test_tuplets_have_their_ratio_and_bracket() -> None:
    score = score_of("C4/1/5 D4/1/5 E4/1/5 F4/1/5 G4/1/5 C4/3", bars=1)
    ratios = {(e.findtext("actual-notes"), e.findtext("normal-notes"), e.findtext("normal-type"))
              for e in elements(score, "time-modification")}  # fmt: skip
    assert ratios == {("5", "4", "16th")}
    assert [e.get("type") for e in elements(score, "tuplet")] == ["start", "stop"]


def test_beams_go_by_the_beat() -> None:
    sixteenths = score_of(" ".join(["C4/1/4"] * 8 + ["C4/2"]), bars=1)
    outer = [e.text for e in elements(sixteenths, "beam") if e.get("number") == "1"]
    assert outer == ["begin", "continue", "continue", "end"] * 2
    dotted = score_of("C4/3/4 D4/1/4 C4/3", bars=1)
    assert [(e.get("number"), e.text) for e in elements(dotted, "beam")] == [
        ("1", "begin"), ("1", "end"), ("2", "backward hook"),
    ]  # fmt: skip
    gigue = score_of(" ".join(["C4/1/2"] * 6), meter=Meter(at_q=Q(0), beats=6, beat_type=8), bars=1)
    assert [e.text for e in elements(gigue, "beam")] == ["begin", "continue", "end"] * 2


def test_accidentals_hold_to_the_end_of_the_bar_and_on_their_staff() -> None:
    score = score_of("F#4/1 F#4/1 F4/1 F#5/1 F#4/4", "F#3/4 F3/4|2", fifths=1)
    shown = [
        (note.findtext("pitch/step"), note.findtext("accidental"))
        for note in elements(score, "note")
        if note.findtext("accidental")
    ]
    # above F natural after F#; below F natural; in the next bar F# on both staves, as a courtesy
    assert shown == [("F", "natural"), ("F", "sharp"), ("F", "natural")]


def test_a_tied_note_repeats_no_accidental() -> None:
    score = score_of("r/3 C#4/2 C#4/3")
    notes = [note for note in elements(score, "note") if note.find("pitch") is not None]
    assert [note.findtext("accidental") for note in notes] == ["sharp", None, "sharp"]


@pytest.mark.parametrize(
    ("name", "notes", "sign"),
    [
        ("2nd Violin", "G3/4 A3/4", "G"),  # low for a violin
        ("Violoncello", "C5/4 D5/4", "F"),  # high for a cello
        ("Viola", "C5/4 D5/4", "C"),
        ("Keys", "G2/4 A2/4", "F"),
        ("Keys", "C5/4 D5/4", "G"),
    ],
)
def test_instruments_keep_their_clef(name: str, notes: str, sign: str) -> None:
    """Common practice: wherever a few bars lie."""
    score = replace(score_of(notes), parts=(Part(name=name),))
    assert [e.findtext("sign") for e in elements(score, "clef")] == [sign]


def test_clefs_follow_the_notes() -> None:
    hands = score_of("C5/4 E5/4", "C3/4 E3/4|2")
    assert [e.findtext("sign") for e in elements(hands, "clef")] == ["G", "F"]
    crossing = score_of("C6/4 E2+G2/4 F2+A2/4 D2+F2/4", "C3/4 E3/4 r/8|2", bars=4)
    signs = [(e.get("number"), e.findtext("sign")) for e in elements(crossing, "clef")]
    assert signs == [("1", "G"), ("2", "F"), ("1", "F")]


def test_words_are_escaped_and_stand_where_they_should() -> None:
    score = replace(
        score_of("C4/4 D4/4"),
        marks=(Mark(at_q=Q(4), text="link 3 <&>\x00"), Mark(at_q=Q(5), text="V", below=True)),
        parts=(Part(name='a "b" <c>'),),
    )
    assert [e.text for e in elements(score, "words")] == ["link 3 <&>", "V"]
    assert elements(score, "part-name")[0].text == 'a "b" <c>'


# --- read back ------------------------------------------------------------------------------------


def test_a_bar_of_everything(tmp_path: Path) -> None:
    """Pickup, changes of metre and key, repeat and ending, grace notes, ties, tuplets, staves."""
    piece = musicxml({"Spinet": [
        bar("G4/1", number="0", attributes=attributes(fifths=-2, meter="3/4", staves=2)),
        bar("Bb4~/3", "D4/1 Eb4/1/2 D4/1/2 C4/1", "Bb2+D3/3|2", number="1"),
        bar("Bb4/1 g:C5 A4/2", "F3/1/3 A3/1/3 C4/1/3 F3/2|2", number="2",
            after='<barline location="right"><ending number="1" type="stop"/>'
                  '<repeat direction="backward"/></barline>',
            before='<barline location="left"><ending number="1" type="start"/></barline>'),
        bar("F#4/2 G4/2", "D3/4|2", number="3", attributes=attributes(fifths=1, meter="4/4")),
    ]})  # fmt: skip
    score = read_score(write(tmp_path, piece))
    path = tmp_path / "again.musicxml"
    write_musicxml(score, path)
    assert read_score(path) == score
    assert music21_notes(path) == our_notes(score.notes)
    packed = tmp_path / "again.mxl"
    write_musicxml(score, packed)
    assert read_score(packed) == score


@pytest.mark.parametrize("name", ["fc09d8d3a8", "c9b078e497", "2bbe4ab247", "64eef2304c"])
def test_corpus_pieces_come_back_note_for_note(name: str, tmp_path: Path) -> None:
    """Keyboard and strings from music21's bundled corpus: our reader and music21 agree."""
    score = read_score(corpus_file(name))
    path = tmp_path / "piece.mxl"
    write_musicxml(score, path)
    again = read_score(path)
    assert again.notes == score.notes
    assert (again.bars, again.meters, again.signatures) == (
        score.bars, score.meters, score.signatures,
    )  # fmt: skip
    assert (again.parts, again.repeats, again.endings) == (
        score.parts, score.repeats, score.endings,
    )  # fmt: skip
    assert music21_notes(path) == our_notes(score.notes)


def test_music21_reads_key_metre_and_words(tmp_path: Path) -> None:
    score = replace(
        score_of("F#4/3 A4/3", meter=Meter(at_q=Q(0), beats=3, beat_type=4), fifths=2),
        marks=(Mark(at_q=Q(3), text="link 2"),),
    )
    path = tmp_path / "piece.musicxml"
    write_musicxml(score, path)
    whole = parsed(path)
    flat = whole.flatten()
    assert [s.ratioString for s in flat.getElementsByClass("TimeSignature")] == ["3/4"]
    assert [s.sharps for s in flat.getElementsByClass("KeySignature")] == [2]
    words = [(e.offset, e.content) for e in flat.getElementsByClass("TextExpression")]
    assert words == [(3.0, "link 2")]


def test_a_voice_that_crosses_the_staves_stays_one(tmp_path: Path) -> None:
    crossing = score_of("C4/1 E4/1 G4/1 C5/1", bars=1)
    notes = tuple(
        replace(note, staff=2 if note.spelling.octave == 4 and note.spelling.letter < 4 else 1)
        for note in crossing.notes
    )
    score = replace(crossing, notes=notes, parts=(Part(name="Spinet", staves=2),))
    path = tmp_path / "piece.musicxml"
    write_musicxml(score, path)
    again = read_score(path)
    assert [(n.staff, n.voice) for n in again.notes] == [(2, 1), (2, 1), (1, 1), (1, 1)]
    assert music21_notes(path) == our_notes(score.notes)


def test_voices_counted_staff_by_staff_are_told_apart(tmp_path: Path) -> None:
    """Two hands that are both voice 1, as in **kern and MEI."""
    hands = score_of("C5/1 E5/1 D5/2", "C3/2 G3/2|2", bars=1)
    score = replace(hands, notes=tuple(replace(note, voice=1) for note in hands.notes))
    path = tmp_path / "piece.musicxml"
    write_musicxml(score, path)
    assert {(n.staff, n.voice) for n in read_score(path).notes} == {(1, 1), (2, 2)}
    assert music21_notes(path) == our_notes(score.notes)


def test_without_key_and_metre(tmp_path: Path) -> None:
    bare = replace(score_of("F#4/3 F4/1", bars=1), meters=(), signatures=())
    path = tmp_path / "piece.musicxml"
    write_musicxml(bare, path)
    again = read_score(path)
    assert [(m.beats, m.beat_type) for m in again.meters] == [(4, 4)]
    assert again.notes == bare.notes


def test_a_short_bar_of_rest_stays_short(tmp_path: Path) -> None:
    """A whole rest alone means a bar of rest, whatever its length (common practice)."""
    score = score_of("C4/8 r/4 D4/8", meter=Meter(at_q=Q(0), beats=4, beat_type=2), bars=3)
    lengths = (Q(8), Q(4), Q(8))
    bars = tuple(
        replace(bar, start_q=sum(lengths[:index], Q(0)), length_q=lengths[index])
        for index, bar in enumerate(score.bars)
    )
    score = replace(score, bars=bars)
    path = tmp_path / "piece.musicxml"
    write_musicxml(score, path)
    assert [(b.start_q, b.length_q) for b in read_score(path).bars] == [
        (Q(0), Q(8)),
        (Q(8), Q(4)),
        (Q(12), Q(8)),
    ]
    assert music21_notes(path) == our_notes(score.notes)


# --- files ----------------------------------------------------------------------------------------


def test_nothing_is_overwritten_unless_asked(tmp_path: Path) -> None:
    path = tmp_path / "piece.musicxml"
    path.write_text("mine")
    with pytest.raises(ScoreError, match=r"piece\.musicxml is there already: --force"):
        write_musicxml(score_of("C4/4"), path)
    assert path.read_text() == "mine"
    write_musicxml(score_of("C4/4"), path, force=True)
    assert path.read_text("utf-8").startswith("<?xml")
    with pytest.raises(ScoreError, match="there is no folder"):
        write_musicxml(score_of("C4/4"), tmp_path / "none" / "piece.mxl")
    assert [p.name for p in tmp_path.iterdir()] == ["piece.musicxml"]


def test_the_same_score_is_the_same_file(tmp_path: Path) -> None:
    for name in ("one.mxl", "two.mxl"):
        write_musicxml(score_of("C4/4"), tmp_path / name)
    one, two = ((tmp_path / name).read_bytes() for name in ("one.mxl", "two.mxl"))
    assert one == two
    with zipfile.ZipFile(io.BytesIO(one)) as archive:
        assert archive.namelist()[0] == "META-INF/container.xml"


def test_odd_places_are_drawn_to_a_grid_and_voices_told_apart(tmp_path: Path) -> None:
    odd = [
        ScoreNote(onset_q=Q(n, 61), duration_q=Q(1, 59 - n), spelling=Spelling(28 + n, 0))
        for n in range(8)
    ]  # fmt: skip
    score = replace(score_of("C3/4"), notes=(*score_of("C3/4").notes, *odd))
    path = tmp_path / "odd.musicxml"
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        write_musicxml(score, path)
    again = read_score(path)
    assert sorted(n.spelling for n in again.notes) == sorted(n.spelling for n in score.notes)
    pairs = zip(sorted(again.notes, key=_pitch), sorted(score.notes, key=_pitch), strict=True)
    assert all(abs(read.onset_q - given.onset_q) <= Q(1, 64) for read, given in pairs)
    assert len({n.voice for n in again.notes}) > 1
    assert not re.search(r"<duration>0<", musicxml_of(score))


def _pitch(note: ScoreNote) -> Spelling:
    return note.spelling
