"""One hand each: livecont plays one, the student the other, and livecont waits for him.

Conventions: chords by offset, seconds from the first of the links that are played together. What
livecont has alone sounds in time after the student's last note; what it has with a note of his
sounds with that note, whenever he plays it. Pure.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from livecont.ear.following import chords_of
from livecont.ear.plan import Hand
from livecont.music.pitch import Spelling
from livecont.sequence.endings_figure import figure_of
from livecont.sequence.endings_leading import LOWER, UPPER
from livecont.sequence.pattern import Link, LinkNote, Pattern


@dataclass(frozen=True, slots=True, kw_only=True)
class HandChord:
    """What is due at a moment: notes of livecont's, notes of the student's."""

    offset_s: float
    ours: tuple[LinkNote, ...]
    his: tuple[Spelling, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Together:
    """How far both have got: the chord that is due, what of it was struck, how much was wrong."""

    chords: tuple[HandChord, ...]
    at: int = 0
    struck: frozenset[int] = frozenset()
    wrong: int = 0

    @property
    def over(self) -> bool:
        """Whether everything of the student's was played."""
        return self.at >= len(self.chords)

    @property
    def due(self) -> tuple[Spelling, ...]:
        """What the student is to play now."""
        if self.over:
            return ()
        return tuple(s for s in self.chords[self.at].his if s.midi not in self.struck)


# what sounds, and how many seconds from now
Sounding = tuple[tuple[float, tuple[LinkNote, ...]], ...]


def parts(pattern: Pattern, links: Sequence[Link], hand: Hand) -> tuple[Link, Link]:
    """Return livecont's part and the student's, each as one link that lasts as long as all.

    Where a pattern has one part alone it is the student's.
    """
    ours_is = LOWER if hand is Hand.LEFT else UPPER
    tones = figure_of(pattern).tones
    part_of = {tone.index: tone.part for tone in tones}
    sounding = [i for i, one in enumerate(pattern.positions) if one.heard[-1] is not None]
    alone = len({tone.part for tone in tones}) < 2
    ours: list[LinkNote] = []
    his: list[LinkNote] = []
    at_s = 0.0
    for link in links:
        for index, note in zip(sounding, link.notes, strict=True):
            mine = not alone and part_of[index] == ours_is
            (ours if mine else his).append(replace(note, offset_s=note.offset_s + at_s))
        at_s += link.unit_s
    one = Link(number=links[0].number, unit_s=at_s, notes=tuple(ours), pedals=())
    return one, replace(one, notes=tuple(his))


def together(ours: Link, his: Link) -> Together:
    """Return the chords of both parts, before anything was played."""
    notes = (*ours.notes, *his.notes)
    count = len(ours.notes)
    return Together(
        chords=tuple(
            HandChord(
                offset_s=chord.offset_s,
                ours=tuple(notes[i] for i in chord.members if i < count),
                his=tuple(notes[i].spelling for i in chord.members if i >= count),
            )
            for chord in chords_of(notes)
        )
    )


def begin(state: Together) -> tuple[Together, Sounding]:
    """Return the state at the first note of the student's, and what sounds before it."""
    return _on(state, state.chords[0].offset_s if state.chords else 0.0)


def strike(state: Together, pitch: int) -> tuple[Together, Sounding]:
    """Take a note of the student's; return what sounds with it and after it."""
    if state.over:
        return state, ()
    chord = state.chords[state.at]
    pitches = {spelling.midi for spelling in chord.his}
    if pitch not in pitches:
        return replace(state, wrong=state.wrong + 1), ()
    now: Sounding = () if state.struck or not chord.ours else ((0.0, chord.ours),)
    struck = state.struck | {pitch}
    if struck != pitches:
        return replace(state, struck=struck), now
    state, later = _on(replace(state, at=state.at + 1, struck=frozenset()), chord.offset_s)
    return state, (*now, *later)


def _on(state: Together, since_s: float) -> tuple[Together, Sounding]:
    """Go on to the next chord that the student has a part in."""
    sounds = []
    at = state.at
    while at < len(state.chords) and not state.chords[at].his:
        chord = state.chords[at]
        sounds.append((chord.offset_s - since_s, chord.ours))
        at += 1
    return replace(state, at=at), tuple(sounds)
