"""Chains of applied dominants: every link is a dominant and its own tonic, a chord of the key.

    C major:  A7 d | B7 e  goes on to  C7 F, not to C#7 f#

What a link comes to is a triad of the key, major or minor as the key has it; what comes before is
that triad's own dominant, the same in every link (common practice: "applied" or "secondary"
dominants resolve to the key's own triads). A real sequence would leave the key with the third link,
one that keeps the key would lose the dominants.

Conventions: as in `continuation_figure`; the key is the player's, not the home signature.
"""

from __future__ import annotations

from dataclasses import dataclass

from livecont.music.key import Key
from livecont.music.pitch import Spelling, spell_at
from livecont.sequence.continuation_figure import Figure, Tone

SEMITONES = 12
LEADING_TONE, PERFECT_FIFTH = 11, 7  # semitones over the root
TRIAD = (0, 2, 4)  # places over the root


@dataclass(frozen=True, slots=True)
class _Link:
    """One of the links heard: the tones of its goal, the root of that, and the tones before."""

    root: Spelling
    before: tuple[int, ...]  # semitones over the root, one a tone, within the octave
    leaves_key: bool


def applied_dominants(figure: Figure, step: int, key: Key) -> tuple[Spelling, ...] | None:
    """Return each tone in the link `step` degrees from the later one; None where this is no chain.

    Args:
        figure: the links heard.
        step: degrees from the later link.
        key: the player's.
    """
    goal = _goal(figure, key)
    if goal is None:
        return None
    one, two = (_link(figure, goal, link, key) for link in (0, 1))
    if one is None or two is None or one.before != two.before:
        return None
    if LEADING_TONE not in two.before or not (one.leaves_key and two.leaves_key):
        return None
    root = key.natural(two.root.staff + step)
    return tuple(
        _in_goal(tone, root, step, key)
        if number >= goal
        else spell_at(tone.two.midi + root.midi - two.root.midi, tone.two.staff + step)
        for number, tone in enumerate(figure.tones)
    )


def _goal(figure: Figure, key: Key) -> int | None:
    """The first tone of the goal: from there on both links have one triad of the key only."""
    tones = figure.tones
    first = len(tones)
    while first and _in_key(tones[first - 1], key):
        letters = {tone.two.letter for tone in tones[first - 1 :]}
        if _root(letters) is None and len(letters) > len(TRIAD) - 1:
            break
        first -= 1
    # a chord begins at one moment
    while 0 < first < len(tones) and tones[first - 1].at == tones[first].at:
        first += 1
    goal = {tone.two.letter for tone in tones[first:]}
    return first if 0 < first < len(tones) and _root(goal) is not None else None


def _in_key(tone: Tone, key: Key) -> bool:
    return tone.one is not None and all(
        heard.alter == key.signature_alter(heard.staff) for heard in (tone.one, tone.two)
    )


def _root(letters: set[int]) -> int | None:
    """The letter of the root of three letters that make a triad."""
    return next((r for r in letters if {(r + place) % 7 for place in TRIAD} == letters), None)


def _link(figure: Figure, goal: int, link: int, key: Key) -> _Link | None:
    heard = [tone.two if link else tone.one for tone in figure.tones]
    if any(spelling is None for spelling in heard):
        return None
    pitches = [spelling for spelling in heard if spelling is not None]
    letter = _root({pitch.letter for pitch in pitches[goal:]})
    if letter is None:
        return None
    root = next(pitch for pitch in pitches[goal:] if pitch.letter == letter)
    return _Link(
        root=root,
        before=tuple((pitch.midi - root.midi) % SEMITONES for pitch in pitches[:goal]),
        leaves_key=any(p.alter != key.signature_alter(p.staff) for p in pitches[:goal]),
    )


def _in_goal(tone: Tone, root: Spelling, step: int, key: Key) -> Spelling:
    """A tone of the goal: the key's own, but for a fifth that would be diminished."""
    natural = key.natural(tone.two.staff + step)
    if (natural.letter - root.letter) % 7 != TRIAD[-1]:
        return natural
    short = PERFECT_FIFTH - (natural.midi - root.midi) % SEMITONES
    return spell_at(natural.midi + short, natural.staff)
