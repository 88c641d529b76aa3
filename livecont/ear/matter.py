"""The material of a question or a lesson: a sequence, where it comes from and what it is called.

Conventions: a `Matter` holds a pattern with two links heard, in seconds at its own tempo, and its
label where that is sure. Moving it to another key keeps every accidental as it is against the
signature. Pure.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from livecont.music.key import Key
from livecont.music.label import Label
from livecont.music.pitch import Spelling
from livecont.sequence.analysis import analysed
from livecont.sequence.continuation import kind_of
from livecont.sequence.pattern import Pattern, Position

CERTAIN = 1.0
OCTAVE_STAFF = 7


@dataclass(frozen=True, slots=True, kw_only=True)
class Matter:
    """A sequence to be played. `texture` names it for the curves: 'line', 'chords' and so on."""

    title: str
    texture: str
    pattern: Pattern
    label: Label | None


def pattern_from(
    positions: tuple[Position, ...], step_degrees: int, key: Key, unit_s: float
) -> Pattern:
    """Return the pattern of two links that are written, as if they had been heard from 0 on."""
    kind, shift = kind_of(positions, step_degrees, key)
    return Pattern(
        unit_s=unit_s,
        step_degrees=step_degrees,
        shift_semitones=shift,
        kind=kind,
        key=key,
        positions=positions,
        pedals=(),
        starts_s=(0.0, unit_s),
        due_s=2 * unit_s,
        confidence=CERTAIN,
        links_heard=2,
    )


def as_two_links(pattern: Pattern) -> Pattern:
    """Return a pattern as if its last two links were its first."""
    unit_s = pattern.unit_s
    positions = tuple(replace(one, heard=one.heard[-2:]) for one in pattern.positions)
    return replace(
        pattern,
        positions=positions,
        starts_s=(0.0, unit_s),
        due_s=2 * unit_s,
        links_heard=2,
    )


def sure_label(pattern: Pattern) -> Label | None:
    """Return a pattern's label where no other would do as well."""
    analysis = analysed(pattern)
    return analysis.label if analysis.doubt is None else None


def texture_of(pattern: Pattern) -> str:
    """Return what a texture is called: 'line', 'two-voices' or 'chords'.

    By the most that is struck at once.
    """
    counts: dict[float, int] = {}
    for position in pattern.positions:
        if position.heard[-1] is not None:
            place = round(position.offset_units, 2)
            counts[place] = counts.get(place, 0) + 1
    most = max(counts.values(), default=0)
    return "line" if most <= 1 else "two-voices" if most == 2 else "chords"


def in_key(pattern: Pattern, key: Key) -> Pattern:
    """Return a pattern moved to another key of the same mode, by the shorter way.

    Raises:
        ValueError: the key has another mode.
    """
    if key.mode != pattern.key.mode:
        raise ValueError(f"{pattern.key.name} can't be moved to {key.name}")
    up = (key.letter - pattern.key.letter) % OCTAVE_STAFF
    places = min((up, up - OCTAVE_STAFF), key=lambda away: (abs(away), away))

    def moved(pitch: Spelling | None) -> Spelling | None:
        if pitch is None:
            return None
        against = pitch.alter - pattern.key.signature_alter(pitch.staff)
        staff = pitch.staff + places
        return Spelling(staff, key.signature_alter(staff) + against)

    positions = tuple(
        replace(position, heard=tuple(moved(pitch) for pitch in position.heard))
        for position in pattern.positions
    )
    before = tuple(pitch for one in pattern.before if (pitch := moved(one)) is not None)
    return replace(pattern, key=key, positions=positions, before=before)


def at_tempo(pattern: Pattern, factor: float) -> Pattern:
    """Return a pattern that is so many times as slow."""
    unit_s = pattern.unit_s * factor
    return replace(
        pattern,
        unit_s=unit_s,
        starts_s=tuple(start_s * factor for start_s in pattern.starts_s),
        due_s=pattern.due_s * factor,
    )


def moved_octaves(pattern: Pattern, octaves: int) -> Pattern:
    """Return a pattern so many octaves away."""

    def moved(pitch: Spelling | None) -> Spelling | None:
        if pitch is None:
            return None
        return Spelling(pitch.staff + OCTAVE_STAFF * octaves, pitch.alter)

    positions = tuple(
        replace(position, heard=tuple(moved(pitch) for pitch in position.heard))
        for position in pattern.positions
    )
    return replace(pattern, positions=positions)
