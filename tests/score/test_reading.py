"""Scores are read as they are printed: bars, ties, staves, signs; MusicXML, MEI, **kern, MIDI."""

from __future__ import annotations

import sys
from fractions import Fraction
from pathlib import Path

import mido
import pytest

from livecont.errors import ConfigError, ScoreError
from livecont.music.score import Score
from livecont.score.reading import read_score
from tests.score.written import (
    DIVISIONS,
    MEI,
    attributes,
    bar,
    container,
    midi,
    musicxml,
    pack,
    told,
    write,
)

pytest.importorskip("partitura")


def read(folder: Path, *bars: str, name: str = "Keyboard") -> Score:
    return read_score(write(folder, musicxml({name: bars})))


def test_notes_have_place_length_and_spelling(tmp_path: Path) -> None:
    score = read(tmp_path, bar("C5/1 F#5/1/2 r/1 Bb4+D5/2", attributes=attributes()))
    assert told(score.notes)[:1] == ["0 C5 1"]
    score = read(tmp_path, bar("C5 F#5/1/2 r/1/2 Bb4+D5/2", attributes=attributes()))
    assert told(score.notes) == ["0 C5 1", "1 F#5 1/2", "2 Bb4 2", "2 D5 2"]
    assert score.length_q == 4
    assert score.parts[0].name == "Keyboard"


def test_ties_make_one_note_across_bars_and_in_chords(tmp_path: Path) -> None:
    first = bar("C5/2 E4+G4~/2", attributes=attributes())
    second = bar("G4~/4", number="2").replace("<tie type=", '<tie type="stop"/><tie type=', 1)
    third = bar("G4/1 r/3", number="3").replace("</duration>", '</duration><tie type="stop"/>', 1)
    score = read(tmp_path, first, second, third)
    assert told(score.notes) == ["0 C5 2", "2 E4 2", "2 G4 7"]


def test_grace_notes_are_marked_and_take_no_time(tmp_path: Path) -> None:
    score = read(tmp_path, bar("g:D5/1 C5/2 g:E5/1 D5/2", attributes=attributes()))
    graces = [note for note in score.notes if note.grace]
    assert told(graces) == ["0 D5 0", "2 E5 0"]
    assert [n.onset_q for n in score.notes if not n.grace] == [0, 2]


def test_tuplets_are_exact(tmp_path: Path) -> None:
    score = read(tmp_path, bar("C5/1/3 D5/1/3 E5/1/3 F5/3", attributes=attributes()))
    third = Fraction(1, 3)
    assert [note.onset_q for note in score.notes] == [0, third, 2 * third, 1]


def test_staves_and_voices_and_notes_that_cross(tmp_path: Path) -> None:
    text = bar("C5/4|1", "E4/2 G4/2|1", "C3/4|2", attributes=attributes(staves=2))
    crossing = text.replace("<voice>2</voice><staff>1", "<voice>2</voice><staff>2")
    score = read(tmp_path, text)
    assert [(n.staff, n.voice) for n in score.notes] == [(1, 1), (1, 2), (2, 3), (1, 2)]
    assert score.parts[0].staves == 2
    crossed = read(tmp_path, crossing)
    assert {n.staff for n in crossed.notes if n.voice == 2} == {2}


def test_a_pickup_counts_with_its_own_length_and_its_beats_from_the_end(tmp_path: Path) -> None:
    score = read(
        tmp_path,
        bar("G4/1", number="0", attributes=attributes(meter="3/4")),
        bar("C5/1 D5/1 E5/1"),
        bar("F5/3", number="2"),
    )
    assert [(b.number, float(b.start_q), b.pickup) for b in score.bars] == [
        ("0", 0, True),
        ("1", 1, False),
        ("2", 4, False),
    ]
    assert place(score, 0) == ("0", 3)
    assert place(score, 2.5) == ("1", 2.5)


def place(score: Score, at_q: float) -> tuple[str, float]:
    found = score.place(Fraction(at_q))
    return found.bar, float(found.beat)


def test_a_bar_that_a_repeat_divides_is_completed(tmp_path: Path) -> None:
    score = read(
        tmp_path,
        bar("C5/3", attributes=attributes()),
        bar("D5/1", number="X1"),
        bar("E5/4", number="2"),
    )
    assert [b.pickup for b in score.bars] == [True, False, False]
    later = read(
        tmp_path,
        bar("C5/4", attributes=attributes()),
        bar("C5/3", number="2"),
        bar("D5/1", number="X1"),
        bar("E5/4", number="3"),
    )
    assert [b.pickup for b in later.bars] == [False, False, True, False]
    assert later.place(Fraction(7)).beat == 4


def test_repeats_are_not_unfolded_and_endings_follow_each_other(tmp_path: Path) -> None:
    forward = '<barline location="left"><repeat direction="forward"/></barline>'
    first = '<barline location="left"><ending number="1" type="start"/></barline>'
    first_end = (
        '<barline location="right"><ending number="1" type="stop"/>'
        '<repeat direction="backward"/></barline>'
    )
    second = '<barline location="left"><ending number="2" type="start"/></barline>'
    second_end = '<barline location="right"><ending number="2" type="discontinue"/></barline>'
    score = read(
        tmp_path,
        bar("C5/4", attributes=attributes()),
        bar("D5/4", number="2", before=forward),
        bar("E5/4", number="3", before=first, after=first_end),
        bar("F5/4", number="3", before=second, after=second_end),
    )
    assert told(score.notes) == ["0 C5 4", "4 D5 4", "8 E5 4", "12 F5 4"]
    assert [(float(r.start_q), float(r.end_q)) for r in score.repeats] == [(4, 12)]
    assert [(float(e.start_q), float(e.end_q)) for e in score.endings] == [(8, 12), (12, 16)]
    assert [e.text for e in score.endings] == ["1", "2"]
    assert list(map(float, score.bars_span("3", "3"))) == [8, 16]


def test_signs_change_on_the_way(tmp_path: Path) -> None:
    score = read(
        tmp_path,
        bar("C5/4", attributes=attributes(fifths=-3, mode="minor")),
        bar("C5/3", number="2", attributes=attributes(fifths=2, meter="6/8")),
    )
    assert [(float(s.at_q), s.fifths, s.mode) for s in score.signatures] == [
        (0, -3, "minor"),
        (4, 2, None),
    ]
    assert [(float(m.at_q), m.beats, m.beat_type) for m in score.meters] == [(0, 4, 4), (4, 6, 8)]
    assert score.meter_at(Fraction(5)).beat_q == Fraction(1, 2)


def test_a_missing_key_and_a_compound_count_are_borne(tmp_path: Path) -> None:
    text = bar("C5/5/2", attributes=attributes(fifths=None, meter="5/8")).replace(
        "<beats>5</beats>", "<beats>3+2</beats>"
    )
    score = read(tmp_path, text)
    assert score.signatures == ()
    assert score.signature_at(Fraction(0)) is None
    assert score.meters[0].beats == 5


def test_transposing_instruments_sound_as_they_sound(tmp_path: Path) -> None:
    shift = "<transpose><diatonic>-1</diatonic><chromatic>-2</chromatic></transpose>"
    text = musicxml(
        {
            "Clarinet": [bar("D5/4", attributes=attributes(fifths=2, more=shift))],
            "Bass": [
                bar(
                    "C3/4",
                    attributes=attributes(
                        more="<transpose><chromatic>0</chromatic>"
                        "<octave-change>-1</octave-change></transpose>"
                    ),
                )
            ],
        }
    )
    score = read_score(write(tmp_path, text))
    assert [note.spelling.name for note in score.notes] == ["C5", "C2"]
    assert score.signatures[0].fifths == 0


def test_percussion_is_left_out(tmp_path: Path) -> None:
    text = musicxml(
        {
            "Drum": [bar("x/1 x/1 x/2", attributes=attributes())],
            "Flute": [bar("C5/4", attributes=attributes())],
        }
    )
    score = read_score(write(tmp_path, text))
    assert told(score.notes) == ["0 C5 4"]
    with pytest.raises(ScoreError, match="no notes of definite pitch"):
        read(tmp_path, bar("x/4", attributes=attributes()))


def test_parts_of_one_name_are_told_apart_and_names_are_made_harmless(tmp_path: Path) -> None:
    line = [bar("C5/4", attributes=attributes())]
    text = musicxml({"A&#9;b\u202e": line, "Violin": line, "": line}).replace(
        "</part-list>", "</part-list>"
    )
    score = read_score(write(tmp_path, text.replace('"P2"', '"P2"')))
    assert [part.name for part in score.parts] == ["A b", "Violin", "part 3"]


def test_parts_that_disagree_on_a_bar_stay_together(tmp_path: Path) -> None:
    """One part left a bar unfilled, another filled it too far: the next bar starts in all."""
    text = musicxml(
        {
            name: [bar(words, attributes=attributes()), bar("C5/4", number="2")]
            for name, words in {"a": "C5/4", "b": "E4/4", "c": "G3/3", "d": "C3/4 D3/1"}.items()
        }
    )
    score = read_score(write(tmp_path, text))
    assert [n.onset_q for n in score.notes if n.spelling.name == "C5"] == [0, 4, 4, 4, 4]
    assert score.length_q == 8


def test_score_timewise_and_decimal_durations(tmp_path: Path) -> None:
    text = musicxml({"a": [bar("C5/2 D5/2", attributes=attributes())]})
    decimal = text.replace(
        f"<divisions>{DIVISIONS}</divisions>", "<divisions>0.5</divisions>"
    ).replace(f"<duration>{2 * DIVISIONS}</duration>", "<duration>1.0</duration>")
    assert told(read_score(write(tmp_path, decimal)).notes) == ["0 C5 2", "2 D5 2"]
    inner = text.partition('<part id="P0">')[2].partition("</part>")[0]
    timewise = text.replace(f'<part id="P0">{inner}</part>', inner).replace(
        "score-partwise", "score-timewise"
    )
    timewise = timewise.replace('<measure number="1">', '<measure number="1"><part id="P0">')
    timewise = timewise.replace("</measure>", "</part></measure>")
    assert told(read_score(write(tmp_path, timewise)).notes) == ["0 C5 2", "2 D5 2"]


def test_slurs_words_and_unfinished_tuplets_do_not_trouble(tmp_path: Path) -> None:
    """A tuplet that ends before it begins makes the reading library fail: it never sees it."""
    broken = (
        '<notations><tuplet type="stop"/><tuplet type="start"/><slur type="stop"/></notations>'
        "<lyric><text>la</text></lyric>"
    )
    text = musicxml({"a": [bar("C5/2 D5/2", attributes=attributes())]})
    text = text.replace("<staff>1</staff></note>", f"<staff>1</staff>{broken}</note>")
    text = text.replace("<note>", "<direction><direction-type/></direction><note>", 1)
    assert told(read_score(write(tmp_path, text)).notes) == ["0 C5 2", "2 D5 2"]


def test_compressed_files_with_and_without_a_container(tmp_path: Path) -> None:
    data = musicxml({"a": [bar("C5/4", attributes=attributes())]}).encode()
    with_it = {"META-INF/container.xml": container("x/score.xml"), "x/score.xml": data}
    for members in (with_it, {"score.musicxml": data}):
        assert told(read_score(pack(tmp_path, members)).notes) == ["0 C5 4"]


KERN = """!!!OTL: nothing
**kern\t**kern
*I"Bass\t*I"Treble
*k[f#]\t*k[f#]
*M3/4\t*M3/4
=1-\t=1-
2.G\t4gg
.\t[4ff#
.\t8ff#]
.\t8ee
=2\t=2
2.D\t2.dd 2.b
==\t==
*-\t*-
"""


def test_kern(tmp_path: Path) -> None:
    score = read_score(write(tmp_path, KERN, "piece.krn"))
    assert [part.name for part in score.parts] == ["Treble", "Bass"]
    assert told(n for n in score.notes if n.part == 0) == [
        "0 G5 1", "1 F#5 3/2", "5/2 E5 1/2", "3 B4 3", "3 D5 3",
    ]  # fmt: skip
    assert told(n for n in score.notes if n.part == 1) == ["0 G3 3", "3 D3 3"]
    assert [b.number for b in score.bars] == ["1", "2"]
    assert score.signatures[0].fifths == 1


def test_mei(tmp_path: Path) -> None:
    """Accidentals that bar and signature imply, ties as attributes, a variant, a staff left out."""
    score = read_score(write(tmp_path, MEI, "piece.mei"))
    assert [(part.name, part.staves) for part in score.parts] == [("Spinet", 2)]
    assert told(n for n in score.notes if n.staff == 1) == [
        "0 F#5 1", "1 C#5 1", "2 C#5 1", "3 G5 5",
    ]  # fmt: skip
    assert told(n for n in score.notes if n.staff == 2) == ["0 G3 4", "0 B3 4"]
    assert (score.meters[0].beats, score.meters[0].beat_type) == (2, 2)
    assert score.signatures[0].fifths == 1


def test_mei_repeats_and_endings(tmp_path: Path) -> None:
    """Repeat signs at either side of a bar line, and endings with their numbers."""

    def measure(number: int, left: str = "", right: str = "") -> str:
        return (
            f'<measure n="{number}" left="{left or "single"}" right="{right or "single"}">'
            '<staff n="1"><layer n="1"><note dur="1" pname="c" oct="5"/></layer></staff></measure>'
        )

    first, second = measure(4, right="rptend"), measure(5)
    body = (
        measure(1)
        + measure(2, right="rptend")
        + measure(3, left="rptstart")
        + f'<ending n="1">{first}</ending><ending n="2">{second}</ending>'
    )
    head, _, rest = MEI.partition("<section>")
    tail = rest.partition("</section>")[2]
    score = read_score(write(tmp_path, f"{head}<section>{body}</section>{tail}", "piece.mei"))
    assert [bar.number for bar in score.bars] == ["1", "2", "3", "4", "5"]
    assert [(r.start_q, r.end_q) for r in score.repeats] == [
        (Fraction(0), Fraction(8)),
        (Fraction(8), Fraction(16)),
    ]
    assert [(e.start_q, e.end_q, e.text) for e in score.endings] == [
        (Fraction(12), Fraction(16), "1"),
        (Fraction(16), Fraction(20), "2"),
    ]


def test_midi_is_spelled_by_its_key(tmp_path: Path) -> None:
    lines = ("D5/1 F#5/1/3 G5/1/3 A5/1/3 C#5/1 D5/3", "D3+A3/3 D3/3")
    score = read_score(midi(tmp_path, *lines))
    assert not score.spelled
    assert [part.name for part in score.parts] == ["hand 1", "hand 2"]
    assert told(n for n in score.notes if n.part == 0) == [
        "0 D5 1", "1 F#5 1/3", "4/3 G5 1/3", "5/3 A5 1/3", "2 C#5 1", "3 D5 3",
    ]  # fmt: skip
    assert [(b.number, float(b.start_q)) for b in score.bars] == [("1", 0), ("2", 3)]
    assert (score.signatures[0].fifths, score.signatures[0].mode) == (2, "major")
    flats = read_score(midi(tmp_path, "Eb5/1 Ab4/1 Bb4/1 Db5/1 C5/1 Ab4/1", key="Ab"))
    assert [n.spelling.name for n in flats.notes] == ["Eb5", "Ab4", "Bb4", "Db5", "C5", "Ab4"]


def test_midi_percussion_is_left_out_and_hanging_notes_end(tmp_path: Path) -> None:
    file = mido.MidiFile(ticks_per_beat=96)
    file.tracks.append(
        mido.MidiTrack(
            [
                mido.Message("note_on", channel=9, note=38, velocity=90),
                mido.Message("note_on", channel=0, note=60, velocity=90),
                mido.Message("note_on", channel=9, note=38, velocity=0, time=192),
            ]
        )
    )
    file.save(tmp_path / "a.mid")
    score = read_score(tmp_path / "a.mid")
    assert told(score.notes) == ["0 C4 2"]


def test_without_the_library_the_extra_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = write(tmp_path, musicxml({"a": [bar("C5/4", attributes=attributes())]}))
    monkeypatch.setitem(sys.modules, "partitura", None)
    with pytest.raises(ConfigError, match=r"livecont\[score\]"):
        read_score(path)
