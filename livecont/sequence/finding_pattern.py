"""A find as the pattern that the live engine knows, so that its chain can be carried on.

The two last links decide, as the two links that a player plays do while he is listened to.

Conventions: a quarter lasts `QUARTER_S` seconds, as at 120 in the minute; velocities are even;
positions have two links in `heard`. Notes of a link are those that begin in it; grace notes are
left out.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction

from livecont.music.compass import Compass
from livecont.music.key import MOST_FIFTHS, Key
from livecont.music.keyfinding import key_scores
from livecont.music.pitch import LETTER_FIFTHS, Spelling
from livecont.music.score import Score, ScoreNote
from livecont.sequence.chain import MOST_LINKS, Chain
from livecont.sequence.confidence import confidence_of
from livecont.sequence.continuation import kind_of
from livecont.sequence.pattern import Kind, Pattern, Position

QUARTER_S = 0.5
VELOCITY = 64
# how far around a find the key is judged, before and after, and how much better than the key
# signature's own keys another has to fit [fit]
NEAR_Q = 8
HOME_MARGIN = 0.2
SCALE_MIDDLE = 2  # of the seven fifths of a scale, from its signature
EXACTLY = 8
MOST_BEFORE = 48  # as in the listener
OCTAVE = 7


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """A note of the last link but one and its image in the last, or one of them alone."""

    earlier: ScoreNote | None
    later: ScoreNote | None


def pairs_of(
    notes: Sequence[ScoreNote], start_q: Fraction, unit_q: Fraction, step: int
) -> tuple[Pair, ...]:
    """Return the notes of two links paired, by place in the link, then from low to high.

    Args:
        notes: the notes that take part, in order of onset.
        start_q: where the first of the two links starts.
        unit_q: the links' length.
        step: staff places from the first to the second.
    """
    later_q = start_q + unit_q
    first = [n for n in notes if not n.grace and start_q <= n.onset_q < later_q]
    second = [n for n in notes if not n.grace and later_q <= n.onset_q < later_q + unit_q]
    waiting: dict[tuple[Fraction, int], list[ScoreNote]] = {}
    for note in second:
        waiting.setdefault((note.onset_q, note.spelling.staff), []).append(note)
    pairs = []
    rest = []
    for note in first:
        same = waiting.get((note.onset_q + unit_q, note.spelling.staff + step), [])
        mine = next((other for other in same if _one_voice(note, other)), None)
        if mine is None and same:
            mine = same[0]
        if mine is None:
            rest.append(note)
            continue
        same.remove(mine)
        pairs.append(Pair(earlier=note, later=mine))
    left = [note for group in waiting.values() for note in group]
    pairs += _octaves(rest, left, unit_q, step)
    pairs += [Pair(earlier=note, later=None) for note in rest]
    pairs += [Pair(earlier=None, later=note) for note in left]
    return tuple(sorted(pairs, key=lambda pair: _order(pair, start_q, unit_q)))


def _octaves(
    rest: list[ScoreNote], left: list[ScoreNote], unit_q: Fraction, step: int
) -> list[Pair]:
    """Pair what a part leapt by an octave; what is paired is taken out of both lists."""
    pairs = []
    for note in list(rest):
        for other in left:
            away = other.spelling.staff - note.spelling.staff - step
            if (
                other.onset_q == note.onset_q + unit_q
                and abs(away) == OCTAVE
                and _one_voice(note, other)
            ):
                rest.remove(note)
                left.remove(other)
                pairs.append(Pair(earlier=note, later=other))
                break
    return pairs


def _one_voice(one: ScoreNote, other: ScoreNote) -> bool:
    return (one.part, one.staff, one.voice) == (other.part, other.staff, other.voice)


def _order(pair: Pair, start_q: Fraction, unit_q: Fraction) -> tuple[Fraction, int]:
    if pair.later is not None:
        return pair.later.onset_q - start_q - unit_q, pair.later.spelling.staff
    assert pair.earlier is not None  # noqa: S101 -- one of the two is there
    return pair.earlier.onset_q - start_q, pair.earlier.spelling.staff


def positions_of(
    pairs: Iterable[Pair], start_q: Fraction, unit_q: Fraction, step: int
) -> tuple[Position, ...]:
    """Return the pairs as positions of the link, in their order."""
    result = []
    for pair in pairs:
        offset_q, _ = _order(pair, start_q, unit_q)
        played = [note for note in (pair.earlier, pair.later) if note is not None]
        heard = (
            pair.earlier.spelling if pair.earlier is not None else None,
            pair.later.spelling if pair.later is not None else None,
        )
        result.append(
            Position(
                offset_units=float(offset_q / unit_q),
                articulation=float(sum(n.duration_q for n in played) / len(played) / unit_q),
                velocity=VELOCITY,
                channel=0,
                heard=_in_line(heard, step),
            )
        )
    return tuple(result)


def _in_line(
    heard: tuple[Spelling | None, Spelling | None], step: int
) -> tuple[Spelling | None, Spelling | None]:
    """As if a part that leapt an octave had moved with the rest: it keeps its later octave."""
    earlier, later = heard
    if earlier is None or later is None:
        return heard
    return Spelling(later.staff - step, earlier.alter), later


def pattern_of(
    notes: Sequence[ScoreNote],
    *,
    start_q: Fraction,
    unit_q: Fraction,
    links: int,
    step: int,
    key: Key,
    before: tuple[Spelling, ...] = (),
) -> Pattern:
    """Return the pattern of some links on paper.

    Args:
        notes: the notes that take part, in order of onset.
        start_q: where the first link starts.
        unit_q: the links' length.
        links: how many there are, two at least.
        step: staff places from link to link.
        key: the key that they are heard in.
        before: pitches that sound before the last two links, oldest first.
    """
    early_q = start_q + (links - 2) * unit_q
    pairs = pairs_of(notes, early_q, unit_q, step)
    positions = positions_of(pairs, early_q, unit_q, step)
    kind, shift = kind_of(positions, step, key) if positions else (Kind.TONAL, None)
    unit_s = float(unit_q) * QUARTER_S
    start_s = float(early_q) * QUARTER_S
    return Pattern(
        unit_s=unit_s,
        step_degrees=step,
        shift_semitones=shift,
        kind=kind,
        key=key,
        positions=positions,
        pedals=(),
        starts_s=(start_s, start_s + unit_s),
        due_s=start_s + 2 * unit_s,
        confidence=confidence_of(positions, key),
        links_heard=links,
        before=before,
    )


def before(notes: Sequence[ScoreNote], start_q: Fraction) -> tuple[Spelling, ...]:
    """Return the pitches that sound before a place, oldest first: the accidentals in force."""
    heard = [n.spelling for n in notes if n.onset_q < start_q and not n.grace]
    return tuple(heard[-MOST_BEFORE:])


def key_near(score: Score, start_q: Fraction, end_q: Fraction) -> Key:
    """Return the key that a stretch is heard in: one of the key signature's, or a better one.

    Of keys that sound alike (F# and Gb) the one nearer to how the notes are spelled.
    """
    near = list(score.within(start_q - NEAR_Q, end_q + NEAR_Q))
    weights = [0.0] * 12
    for note in near:
        weights[note.spelling.midi % 12] += float(note.duration_q)
    middle = sum(note.spelling.fifths for note in near) / max(1, len(near))
    scores = [(_spelled_as(key, middle), value) for key, value in key_scores(weights)]
    best, top = scores[0]
    sign = score.signature_at(start_q)
    fifths = best.fifths if sign is None else sign.fifths
    at_home = [key for key, value in scores if key.fifths == fifths and top - value <= HOME_MARGIN]
    return at_home[0] if at_home else best


def _spelled_as(key: Key, middle: float) -> Key:
    """Return the key of the same sound whose scale lies nearest on the line of fifths."""
    tonic = LETTER_FIFTHS[key.letter] + OCTAVE * key.alter
    found = [
        Key(4 * (tonic + away) % OCTAVE, (tonic + away + 1) // OCTAVE, key.mode)
        for away in (-12, 0, 12)
        if abs(key.fifths + away) <= MOST_FIFTHS
    ]
    return min(found, key=lambda other: abs(other.fifths + SCALE_MIDDLE - middle))


def links_left(pattern: Pattern, compass: Compass) -> int:
    """Return how many links could still follow on an instrument, none of them a key short.

    A link whose keys lie well within the compass, or well outside, need not be worked out exactly;
    one that comes after `EXACTLY` others is not: the last of many may be one more or less.
    """
    chain = Chain(pattern=pattern, compass=compass)
    for count in range(MOST_LINKS):
        number = pattern.links_heard + count + 1
        pitches = [note.midi for note in chain.course.near(number) if note is not None]
        if not pitches:
            return count
        if all(pitch + d in compass for pitch in pitches for d in (-1, 0, 1)):
            continue
        if any(all(pitch + d not in compass for d in (-1, 0, 1)) for pitch in pitches):
            return count
        if count >= EXACTLY:
            if not compass.holds(pitches):
                return count
            continue
        exact = [note.midi for note in chain.course.spelled(number) if note is not None]
        if not compass.holds(exact):
            return count
    return MOST_LINKS
