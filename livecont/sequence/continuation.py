"""Which pitches the next link has, by rules that the links played must bear out.

A position's place on the staff in the next link is its place in the later link played, moved by
the step; what is left to choose is its accidental, which the rules of `continuation_rules` weigh
for the whole link at once. What only the first of two links has was dropped by the player and is
left out; what only the second has came to stay; a bass note that both have unmoved is a pedal.
Everything is decided by the two links played: later ones only count how far the chain has got, so
that it does not drift on its own inventions.

Conventions: `staff` and `alter` as in `music.pitch`; `heard` holds the links oldest first, the
first `played` of them from the player's hands.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache

from livecont.music.key import Key
from livecont.music.pitch import Spelling, spell_at
from livecont.sequence.continuation_applied import applied_dominants
from livecont.sequence.continuation_choice import Choice, best_of, heeds_the_mode
from livecont.sequence.continuation_figure import Figure, figure_of, pedal_of
from livecont.sequence.continuation_home import MOST_HOMES, homes_of
from livecont.sequence.pattern import Kind, Position

# so many letters with another accidental make an exact copy a real one
CONTRADICTED = 2


def carry_on(
    positions: tuple[Position, ...],
    step_degrees: int,
    key: Key,
    before: tuple[Spelling, ...] = (),
    played: int = 2,
    *,
    homes: int = MOST_HOMES,
) -> tuple[Spelling | None, ...]:
    """Return each position's pitch in the link after the last one in `heard`.

    Args:
        positions: the link's notes, each with at least `played` links in `heard`.
        step_degrees: diatonic places from link to link.
        key: the key played in.
        before: pitches heard before link 1, oldest first; may be empty.
        played: how many of the links heard the player played; the last two of them decide.
        homes: how many signatures that the links may be in are looked at, likeliest first.

    Returns:
        One entry a position; None leaves the note out.
    """
    result: list[Spelling | None] = [None] * len(positions)
    pedal = pedal_of(positions, played)
    if pedal is not None:
        result[pedal] = positions[pedal].heard[played - 1]
    decided = _decided(_as_played(positions, played), step_degrees, key, played, homes)
    if decided is None:
        return tuple(result)
    choice, alters = decided
    figure = choice.figure
    ahead = len(positions[0].heard) - played + 1
    shift = _real_shift(choice, alters)
    applied = applied_dominants(figure, ahead * step_degrees, key)
    if applied is not None:
        for tone, pitch in zip(figure.tones, applied, strict=True):
            result[tone.index] = pitch
        return tuple(result)
    if ahead > 1 and shift is None:
        latest = tuple(positions[tone.index].heard[-1] for tone in figure.tones)
        alters = replace(choice, ahead=ahead, before=latest).best()
    pitches = [
        Spelling(tone.two.staff + ahead * step_degrees, alters[role])
        if shift is None
        else spell_at(tone.two.midi + ahead * shift, tone.two.staff + ahead * step_degrees)
        for tone, role in zip(figure.tones, figure.role_of, strict=True)
    ]
    if shift is not None:
        pitches = _readable(pitches)
    for tone, pitch in zip(figure.tones, pitches, strict=True):
        result[tone.index] = pitch
    return tuple(result)


def kind_of(
    positions: tuple[Position, ...], step_degrees: int, key: Key, played: int = 2
) -> tuple[Kind, int | None]:
    """Return how the step is counted, and its semitones where they are the same for every note.

    The kind is that of the next link: real where every note moves on exactly though that leaves
    the key, tonal where every note is one of the home signature, else mixed.
    """
    decided = _decided(_as_played(positions, played), step_degrees, key, played, MOST_HOMES)
    if decided is None:
        return Kind.TONAL, None
    choice, alters = decided
    if applied_dominants(choice.figure, step_degrees, key) is not None:
        return Kind.MIXED, None
    shift = _real_shift(choice, alters)
    if shift is not None:
        return Kind.REAL, shift
    at_home = all(
        alter == choice.home[letter] for letter, alter in zip(choice.letters, alters, strict=True)
    )
    return (Kind.TONAL if at_home else Kind.MIXED), _common_shift(choice, alters)


def _as_played(positions: tuple[Position, ...], played: int) -> tuple[Position, ...]:
    """The positions without the links that were carried on: they decide nothing."""
    if not positions or len(positions[0].heard) == played:
        return positions
    return tuple(replace(position, heard=position.heard[:played]) for position in positions)


@lru_cache(maxsize=4)
def _decided(
    positions: tuple[Position, ...],
    step_degrees: int,
    key: Key,
    played: int,
    homes: int,
) -> tuple[Choice, tuple[int, ...]] | None:
    """The choice of the link after those played, and what it chose; None for a pedal alone.

    The kind and the next link of a pattern are asked for one after the other: the latest are kept
    (by position: a call that names its arguments is another one to the cache).
    """
    figure = figure_of(positions, played, pedal_of(positions, played))
    if figure is None:
        return None
    before = tuple(positions[tone.index].heard[played - 1] for tone in figure.tones)
    letters = {(tone.two.staff + step_degrees) % 7 for tone in figure.tones}
    likely = homes_of(*_notes(figure), key)[:homes]
    choices = [
        Choice(
            figure=figure,
            step=step_degrees,
            fifths=fifths,
            minor=key.minor and heeds_the_mode(letters, fifths),
            before=before,
        )
        for fifths, _ in likely
    ]
    return _most_agreed(list(zip(choices, (weight for _, weight in likely), strict=True)))


def _most_agreed(choices: Sequence[tuple[Choice, float]]) -> tuple[Choice, tuple[int, ...]]:
    """The next link that the most of the weight agrees on, with the likeliest choice of it.

    Two links often leave open which signature they are in, and the next link comes out the same
    under several: it is the link that counts, not the signature (Bayes' rule, with the signature
    summed out).
    """
    weights: dict[tuple[int, ...], float] = {}
    likeliest: dict[tuple[int, ...], Choice] = {}
    left = sum(weight for _, weight in choices)
    for choice, weight in choices:
        alters = best_of(choice)
        weights[alters] = weights.get(alters, 0.0) + weight
        likeliest.setdefault(alters, choice)
        left -= weight
        first, *others = sorted(weights.values(), reverse=True)
        if first >= left + max(others, default=0.0):
            break  # no other link can have more
    agreed = max(weights, key=lambda alters: weights[alters])
    return likeliest[agreed], agreed


def _notes(figure: Figure) -> tuple[set[tuple[int, int]], set[tuple[int, int]]]:
    """The letters with their accidentals of the first link and of the later one."""
    return (
        {(t.one.letter, t.one.alter) for t in figure.tones if t.one is not None},
        {(t.two.letter, t.two.alter) for t in figure.tones},
    )


def _common_shift(choice: Choice, alters: tuple[int, ...]) -> int | None:
    """The semitones by which every note moved and moves again; None if they differ."""
    if choice.shift is None:
        return None
    figure = choice.figure
    same = all(
        Spelling(choice.staff(tone), alters[role]).midi - tone.two.midi == choice.shift
        for tone, role in zip(figure.tones, figure.role_of, strict=True)
    )
    return choice.shift if same else None


def _real_shift(choice: Choice, alters: tuple[int, ...]) -> int | None:
    """The semitones of a real sequence; None where the key explains the links as well."""
    if choice.shift is not None and _contradicted(choice.figure) >= CONTRADICTED:
        return choice.shift
    return None if choice.at_home else _common_shift(choice, alters)


def _contradicted(figure: Figure) -> int:
    """How many letters the later link has with another accidental than the earlier one.

    An exact copy that contradicts its model in two letters and more is in another key: no scale
    holds both, and so it goes on exactly (common practice). That is so where each link is in a key
    at all: a link that has a letter with two accidentals is chromatic in itself.
    """
    earlier, later = _notes(figure)
    one, two = dict(earlier), dict(later)
    if len(one) < len(earlier) or len(two) < len(later):
        return 0
    return sum(alter != one.get(letter, alter) for letter, alter in two.items())


def _readable(pitches: list[Spelling]) -> list[Spelling]:
    """Where a real chain needs double sharps or flats, the whole link a letter or more away."""

    def signs(letters: int) -> tuple[int, int]:
        return max(abs(p.alter) for p in _respelled(pitches, letters)), abs(letters)

    if max(abs(pitch.alter) for pitch in pitches) <= 1:
        return pitches
    return _respelled(pitches, min(range(-4, 5), key=signs))


def _respelled(pitches: list[Spelling], letters: int) -> list[Spelling]:
    return [spell_at(pitch.midi, pitch.staff + letters) for pitch in pitches]
