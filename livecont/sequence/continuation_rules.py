"""The rules that choose accidentals, each a weight in favour of what agrees with it.

A next link is a choice of one accidental for every role (see `continuation_figure`). Its merit is
the sum of the rules' weights, in nats: the merits of all choices give their probabilities
(a log-linear model, as in Berger, Della Pietra & Della Pietra 1996). Rules look at single roles, at
pairs of tones that sound together or follow each other, and at the link as a whole.

Conventions: an interval is `Interval(generic, bend)`: places on the staff within the octave (0..6,
octaves taken off, upper tone by the staff) and semitones above the major or perfect size.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntFlag, auto
from functools import lru_cache
from typing import NamedTuple

from livecont.music.pitch import LETTER_SEMITONES

# sizes of the major and perfect intervals in semitones
PLAIN_SIZES = (0, 2, 4, 5, 7, 9, 11)
SECOND, THIRD, FOURTH, FIFTH = 1, 2, 3, 4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)  # told apart by identity: quick
class Weights:
    """The rules with their weights, in nats.

    Every rule is common practice, as the handbooks of harmony describe sequences. The weights are
    fitted [fit] by likelihood, drawn to values reasoned beforehand, to the third links of the 153
    development runs, and at half weight to 65 runs in single staves of the development scores and
    to 167 strict sequences in parts of the quartets and chorales that music21 brings along. They
    are not delicate: half as much again or half as little of any one costs at most five of those
    153 runs (of `home`; of the others at most three).
    [trade]: set by reason, the data are silent.
    """

    # the home signature, that of the links heard, holds: a tonal sequence keeps to its key
    home: float = 0.9
    # each fifth beyond the home signature, on the sharp and on the flat side (Temperley 2001)
    sharper: float = -0.17
    flatter: float = -0.45
    # the leading tone of the minor key of the home signature, and again where the key is minor
    leading_tone: float = 0.7
    leading_tone_in_minor: float = 0.8
    # the link reaches the dominant of that minor key, where the links heard had major chords: the
    # third is raised
    minor_dominant: float = 4.2
    # from the link before to this one the voice moves as it moved from link to link
    joined_alike: float = 0.4
    # a semitone that a raised note kept in the later link is kept in every link: each link has its
    # own leading tones
    semitone_again: float = 1.6
    # the same where only the first link needed it, and the upper note is at home: the lower one is
    # raised again; in chains by leap, in chains by step
    semitone_first_by_leap: float = 1.9
    semitone_first_by_step: float = 1.6
    # any other interval that an accidental kept in the later link
    interval_again: float = 0.6
    # intervals that both links had without accidentals: chains by leap tend to be exact, chains by
    # step to the key, which three of a kind in a row would leave
    interval_kept_by_leap: float = 0.4
    interval_kept_by_step: float = -0.7
    # where the links differ, the next takes one of the two
    interval_of_either: float = 0.6
    # a diminished or augmented interval between sounding tones, where the links had none
    new_dissonance: float = -0.6
    # a voice through an augmented second, where the links had none
    augmented_second: float = -1.2
    # the links were exact and left the home signature: a real sequence goes on exactly
    all_real: float = 1.6
    # the links were exact copies of a line that no scale holds: such a line is copied exactly; for
    # every role that is [trade]
    exact_of_chromatic: float = 3.0
    # the links never left the home signature: nor does the next
    all_home: float = 1.5
    # each letter outside the best fitting scale, diatonic, harmonic or melodic minor
    outside_scale: float = -0.7


WEIGHTS = Weights()


class Interval(NamedTuple):
    """An interval within the octave; see the module's conventions."""

    generic: int
    bend: int


@lru_cache(maxsize=1 << 12)
def interval(low: int, low_alter: int, high: int, high_alter: int) -> Interval:
    """Return the interval of two tones, each a letter and an accidental, the lower one first.

    >>> interval(0, 0, 2, -1)  # C up to Eb
    Interval(generic=2, bend=-1)
    """
    generic = (high - low) % 7
    size = (LETTER_SEMITONES[high] - LETTER_SEMITONES[low]) % 12
    return Interval(generic, size + high_alter - low_alter - PLAIN_SIZES[generic])


class Bond(IntFlag):
    """What the rules of pairs say to one pair of accidentals."""

    SEMITONE_AGAIN = auto()
    SEMITONE_FIRST_BY_LEAP = auto()
    SEMITONE_FIRST_BY_STEP = auto()
    INTERVAL_AGAIN = auto()
    KEPT_BY_LEAP = auto()
    KEPT_BY_STEP = auto()
    OF_EITHER = auto()
    NEW_DISSONANCE = auto()
    AUGMENTED_SECOND = auto()


NONE = Bond(0)
# rules that look at every pair: their sum grows with the square of the tones, so that a role has
# the mean of its pairs instead
SHARED = Bond.INTERVAL_AGAIN | Bond.KEPT_BY_LEAP | Bond.KEPT_BY_STEP | Bond.OF_EITHER


class Pairing(NamedTuple):
    """Two tones of the links heard, as far as the rules of pairs look at them.

    `low` and `high` are the letters of the lower and of the higher tone in the next link;
    `bent_one` and `bent_two` say whether accidentals made the interval other than the home
    signature has it.
    """

    melodic: bool
    one: Interval | None
    two: Interval
    bent_one: bool
    bent_two: bool
    leap: bool  # the chain moves by more than a step
    raised: bool  # one of the tones is sharper in the later link than in the home signature
    low: int
    high: int
    high_home: int  # the accidental that the home signature gives to the higher tone


@lru_cache(maxsize=1 << 12)
def bonds(pairing: Pairing, low_alter: int, high_alter: int) -> int:
    """Return the rules that two accidentals of the next link meet, as the bits of `Bond`.

    Args:
        pairing: how the tones stood in the links heard.
        low_alter: accidental of the tone lower on the staff.
        high_alter: accidental of the other.
    """
    now = interval(pairing.low, low_alter, pairing.high, high_alter)
    found = NONE
    if pairing.one == pairing.two:
        if now == pairing.two:
            found = _kept(pairing, high_alter == pairing.high_home)
    elif now in (pairing.one, pairing.two):
        found = Bond.OF_EITHER
    if _harsh(now) and not _harsh(pairing.two) and not (pairing.one and _harsh(pairing.one)):
        if not pairing.melodic:
            found |= Bond.NEW_DISSONANCE
        elif now == (SECOND, 1):
            found |= Bond.AUGMENTED_SECOND
    return found.value


def _kept(pairing: Pairing, rooted: bool) -> Bond:
    """The rule for an interval that all three links have; `rooted`: its upper tone is at home."""
    semitone = pairing.melodic and pairing.two == (SECOND, -1)
    if pairing.bent_two:
        leading = semitone and pairing.raised
        return Bond.SEMITONE_AGAIN if leading else Bond.INTERVAL_AGAIN
    if pairing.bent_one and semitone:
        if not rooted:
            return NONE
        return Bond.SEMITONE_FIRST_BY_LEAP if pairing.leap else Bond.SEMITONE_FIRST_BY_STEP
    if pairing.leap:
        return Bond.KEPT_BY_LEAP
    if pairing.bent_one:
        return NONE
    # perfect intervals, and thirds in one voice, are kept and broken by step equally often
    perfect = pairing.two.generic in (FOURTH, FIFTH) and not _harsh(pairing.two)
    in_voice = pairing.melodic and pairing.two.generic == THIRD
    return NONE if perfect or in_voice else Bond.KEPT_BY_STEP


def _harsh(one: Interval) -> bool:
    """Whether an interval is diminished or augmented; the tritone is a chord's business."""
    if one in ((FIFTH, -1), (FOURTH, 1)):
        return False
    imperfect = one.generic not in (0, FOURTH, FIFTH)
    return one.bend not in ((0, -1) if imperfect else (0,))


@lru_cache(maxsize=1 << 12)
def merit_of(bits: int, weights: Weights) -> tuple[float, float]:
    """Return the merit of the rules met: those that count whole, those that pairs share."""
    table = {
        Bond.SEMITONE_AGAIN: weights.semitone_again,
        Bond.SEMITONE_FIRST_BY_LEAP: weights.semitone_first_by_leap,
        Bond.SEMITONE_FIRST_BY_STEP: weights.semitone_first_by_step,
        Bond.INTERVAL_AGAIN: weights.interval_again,
        Bond.KEPT_BY_LEAP: weights.interval_kept_by_leap,
        Bond.KEPT_BY_STEP: weights.interval_kept_by_step,
        Bond.OF_EITHER: weights.interval_of_either,
        Bond.NEW_DISSONANCE: weights.new_dissonance,
        Bond.AUGMENTED_SECOND: weights.augmented_second,
    }
    met = [(rule, weight) for rule, weight in table.items() if rule.value & bits]
    whole = sum(weight for rule, weight in met if not rule & SHARED)
    shared = sum(weight for rule, weight in met if rule & SHARED)
    return whole, shared
