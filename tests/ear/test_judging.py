"""Answers made by hand, each with what a teacher would say of it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from livecont.ear.judging import Added, Judgement, Verdict, judge
from livecont.ear.telling import told
from livecont.ear.tolerance import Tolerance
from livecont.music.key import parse_key
from livecont.music.pitch import spelling
from livecont.sequence.events import Note
from livecont.sequence.pattern import Link, LinkNote

KEY = parse_key("a minor")
BEAT_S = 0.5
# two hands in a minor: a figure over two chords, the leading tone among its notes
RIGHT_HAND = "E5 C5 B4 G#4"
LEFT_HAND = "A2+C3+E3 E2+B2"


def due_link() -> Link:
    notes = [
        LinkNote(offset_s=i * BEAT_S, duration_s=0.45, spelling=spelling(n), velocity=70, channel=0)
        for i, n in enumerate(RIGHT_HAND.split())
    ]
    for i, chord in enumerate(LEFT_HAND.split()):
        notes += [
            LinkNote(
                offset_s=2 * i * BEAT_S,
                duration_s=0.9,
                spelling=spelling(n),
                velocity=60,
                channel=0,
            )
            for n in chord.split("+")
        ]
    return Link(number=3, unit_s=4 * BEAT_S, notes=tuple(notes), pedals=())


DUE = due_link()
DUE_S = 100.0


def exactly(begin_s: float = DUE_S) -> list[Note]:
    """What a machine would play."""
    return sorted(
        (
            Note(
                onset_s=begin_s + note.offset_s,
                release_s=begin_s + note.offset_s + note.duration_s,
                pitch=note.pitch,
                velocity=note.velocity,
            )
            for note in DUE.notes
        ),
        key=lambda note: (note.onset_s, note.pitch),
    )


def judged(played: list[Note], *, any_octave: bool = False) -> Judgement:
    played = sorted(played, key=lambda note: note.onset_s)
    return judge(DUE, played, KEY, due_s=DUE_S, any_octave=any_octave)


def of(judgement: Judgement, name: str) -> Verdict:
    return next(one.verdict for one in judgement.notes if one.due.spelling.name == name)


def changed(name: str, pitch: int) -> list[Note]:
    midi = spelling(name).midi
    return [replace(note, pitch=pitch) if note.pitch == midi else note for note in exactly()]


def test_the_exact_answer_is_right_and_nothing_is_told() -> None:
    judgement = judged(exactly())
    assert judgement.right
    assert not any(one.told for one in judgement.notes)
    assert judgement.surplus == ()
    assert judgement.start_off_s == pytest.approx(0)
    assert judgement.tempo == pytest.approx(1)


def test_of_too_little_neither_octave_nor_tempo_nor_start_is_told() -> None:
    """Two keys that happen to be among the link's, an octave lower, are no answer a whole octave
    too low, nor begun late, nor faster.
    """
    strays = [
        Note(onset_s=DUE_S + at_s, release_s=DUE_S + at_s + 0.1, pitch=pitch, velocity=70)
        for at_s, pitch in ((3.0, spelling("E4").midi), (3.1, spelling("C4").midi))
    ]
    said = "; ".join(told(judged(strays)))
    assert "0 of 9 notes right" in said
    for words in ("all of it", "begun", "faster", "slower"):
        assert words not in said
    whole = [replace(note, pitch=note.pitch - 12) for note in exactly(DUE_S + 3)]
    said = "; ".join(told(judged(whole)))
    assert "all of it an octave too low" in said
    assert "begun 3.0 s late" in said


def test_a_chord_spread_from_below_is_no_fault() -> None:
    chord = sorted(note.pitch for note in exactly() if note.onset_s == DUE_S)
    rolled = [
        replace(note, onset_s=note.onset_s + 0.06 * chord.index(note.pitch))
        if note.onset_s == DUE_S
        else note
        for note in exactly()
    ]
    assert judged(rolled).right


def test_a_melody_that_leads_by_thirty_ms_is_no_fault_and_not_told() -> None:
    """Goebl 2001: the melody of a chord is struck some 30 ms before the rest."""
    led = [
        replace(note, onset_s=note.onset_s - 0.03) if note.pitch > 60 else note
        for note in exactly()
    ]
    judgement = judged(led)
    assert judgement.right
    assert not any(one.told for one in judgement.notes)


@pytest.mark.parametrize("late_s", [-0.2, 0.4, 3.0])
def test_a_late_start_is_told_and_no_fault(late_s: float) -> None:
    judgement = judged(exactly(DUE_S + late_s))
    assert judgement.right
    assert judgement.start_off_s == pytest.approx(late_s)


@pytest.mark.parametrize("tempo", [0.7, 1.4])
def test_another_tempo_kept_is_no_fault(tempo: float) -> None:
    other = [replace(note, onset_s=DUE_S + tempo * (note.onset_s - DUE_S)) for note in exactly()]
    judgement = judged(other)
    assert judgement.right
    assert judgement.tempo == pytest.approx(tempo, rel=0.02)


def test_a_tempo_that_drifts_is_no_fault() -> None:
    slowing = [
        replace(note, onset_s=DUE_S + (note.onset_s - DUE_S) * (1 + (note.onset_s - DUE_S) / 8))
        for note in exactly()
    ]
    assert judged(slowing).right


def test_a_wrong_accidental_is_spelled_as_it_came_about() -> None:
    judgement = judged(changed("G#4", 67))
    (wrong,) = [one for one in judgement.notes if one.verdict is Verdict.WRONG]
    assert not judgement.right
    assert (wrong.due.spelling.name, wrong.played and wrong.played.name) == ("G#4", "G4")
    assert judgement.surplus == ()


def test_an_octave_slip_is_wrong_unless_octaves_are_free() -> None:
    slip = changed("B4", 59)
    assert of(judged(slip), "B4") is Verdict.OCTAVE
    assert not judged(slip).right
    assert judged(slip, any_octave=True).right


def test_the_whole_link_an_octave_lower_is_one_slip() -> None:
    lower = [replace(note, pitch=note.pitch - 12) for note in exactly()]
    judgement = judged(lower)
    assert judgement.shift == -12
    assert {one.verdict for one in judgement.notes} == {Verdict.OCTAVE}
    assert not judgement.right
    assert judged(lower, any_octave=True).right


def test_an_extra_note_is_named_and_wrong() -> None:
    more = [*exactly(), Note(onset_s=DUE_S + 0.5, release_s=DUE_S + 0.9, pitch=77, velocity=70)]
    judgement = judged(more)
    (extra,) = judgement.surplus
    assert (extra.spelling.name, extra.added) == ("F5", Added.EXTRA)
    assert not judgement.right


def test_a_missing_note_is_wrong() -> None:
    judgement = judged([note for note in exactly() if note.pitch != spelling("C3").midi])
    assert of(judgement, "C3") is Verdict.MISSING
    assert not judgement.right


def test_an_ornament_on_a_right_note_is_told_and_forgiven() -> None:
    turn = [
        Note(onset_s=DUE_S + 1.0 + t, release_s=DUE_S + 1.08 + t, pitch=p, velocity=70)
        for t, p in ((0.12, 72), (0.24, 71))
    ]
    judgement = judged([*exactly(), *turn])
    assert judgement.right
    assert [one.added for one in judgement.surplus] == [Added.ORNAMENT] * 2


def test_a_brushed_key_is_told_and_forgiven() -> None:
    brushed = Note(onset_s=DUE_S + 0.51, release_s=DUE_S + 0.55, pitch=73, velocity=25)
    judgement = judged([*exactly(), brushed])
    assert judgement.right
    assert [one.added for one in judgement.surplus] == [Added.BRUSHED]


def test_the_right_notes_in_another_rhythm_are_refused() -> None:
    dotted = [
        replace(note, onset_s=note.onset_s + 0.25)
        if round((note.onset_s - DUE_S) / BEAT_S) % 2
        else note
        for note in exactly()
    ]
    judgement = judged(dotted)
    assert judgement.right_notes
    assert not judgement.right_time
    assert not judgement.right


def test_notes_in_another_order_are_refused() -> None:
    times = {76: DUE_S + 0.5, 72: DUE_S}
    swapped = [replace(note, onset_s=times.get(note.pitch, note.onset_s)) for note in exactly()]
    assert not judged(swapped).right


def test_a_note_off_the_pulse_is_told_where_it_is_heard_and_no_fault() -> None:
    early = [
        replace(note, onset_s=note.onset_s - 0.09) if note.pitch == 72 else note
        for note in exactly()
    ]
    judgement = judged(early)
    assert judgement.right
    (told,) = [one for one in judgement.notes if one.told]
    assert told.due.spelling.name == "C5"
    assert told.off_s is not None
    assert told.off_s < 0


def test_silence_is_no_answer() -> None:
    judgement = judged([])
    assert not judgement.right
    assert judgement.start_off_s is None
    assert {one.verdict for one in judgement.notes} == {Verdict.MISSING}


def test_what_is_heard_in_a_pulse_is_the_published_difference() -> None:
    """Friberg & Sundberg 1995, abstract: 6 ms below some 240 ms, 2.5 % above it."""
    limits = Tolerance()
    assert limits.noticeable_s(0.1) == limits.noticeable_s(0.24) == 0.006
    assert limits.noticeable_s(0.8) == pytest.approx(0.02)
