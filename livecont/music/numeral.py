"""Roman numerals and figured bass of harmonies.

Conventions (common practice): capital numerals for major and augmented triads, small ones for minor
and diminished; '°' diminished, 'ø' half-diminished, '+' augmented; figures for inversions, 6, 6/4,
7, 6/5, 4/3, 4/2. Degrees are those of the key's own scale, the natural one in minor; but in
minor a diminished triad on the raised seventh is plainly 'vii°'. A dominant of another degree
is written over it: 'V7/ii'.
"""

from __future__ import annotations

from collections.abc import Sequence

from livecont.music.harmony import Harmony, PitchName, Quality
from livecont.music.key import MODE_FIFTHS, Key
from livecont.music.pitch import accidental

ROMAN = ("I", "II", "III", "IV", "V", "VI", "VII")
TRIAD_FIGURES = ("", "6", "6/4", "6/4")
SEVENTH_FIGURES = ("7", "6/5", "4/3", "4/2")
DOMINANT, SIXTH_DEGREE, SEVENTH_DEGREE = 4, 5, 6
MAJOR_THIRD = 4
THIRD_ABOVE = 3
# semitones from a root to the next one, a fourth up or a semitone up, when it is its dominant
FOURTH, SEMITONE = 5, 1
MINOR_SEVENTH, DIMINISHED_SEVENTH = 10, 9
SMALL = (Quality.MINOR, Quality.DIMINISHED)


def numeral(harmony: Harmony, key: Key, into: Harmony | None = None) -> str:
    """Return a harmony's roman numeral with its figures.

    Args:
        harmony: the harmony.
        key: the key that it is heard in.
        into: the harmony that follows, of which it may be the dominant.

    >>> from livecont.music.harmony import harmony_on
    >>> from livecont.music.key import parse_key
    >>> from livecont.music.pitch import spelling
    >>> key = parse_key("C major")
    >>> numeral(harmony_on(4, (), spelling("B3"), key, seventh=True), key)
    'V6/5'
    """
    over = applied_to(harmony, key, into)
    if over is None:
        return _plain(harmony, key) + figures(harmony)
    leading = harmony.quality is Quality.DIMINISHED
    return f"{'vii' if leading else 'V'}{_sign(harmony)}{figures(harmony)}/{over}"


def numerals(
    harmonies: Sequence[Harmony], key: Key, after: Harmony | None = None
) -> tuple[str, ...]:
    """Return the numerals of harmonies that follow each other; `after` is what comes then."""
    following = [*harmonies[1:], after]
    return tuple(numeral(h, key, into) for h, into in zip(harmonies, following, strict=True))


def figures(harmony: Harmony) -> str:
    """Return the figures of a harmony's inversion.

    >>> from livecont.music.harmony import harmony_on
    >>> from livecont.music.key import parse_key
    >>> from livecont.music.pitch import spelling
    >>> figures(harmony_on(0, (), spelling("E3"), parse_key("C major"), seventh=False))
    '6'
    """
    return (SEVENTH_FIGURES if harmony.seventh else TRIAD_FIGURES)[harmony.inversion]


def applied_to(harmony: Harmony, key: Key, into: Harmony | None) -> str | None:
    """Return the numeral of the degree that a harmony is the dominant of; None where it is none.

    A dominant of another degree has a note outside the key, or is a major triad with a minor
    seventh; its root goes up a fourth, a leading-tone chord's a semitone.
    """
    if into is None or into.root == PitchName(key.letter, key.alter):
        return None
    if into.quality not in (Quality.MAJOR, Quality.MINOR) or _plain_dominant(harmony, key):
        return None
    seventh = _seventh(harmony)
    outside = any(not _in_scale(tone, key) for tone in harmony.tones)
    rise = (into.root.pitch_class - harmony.root.pitch_class) % 12
    letters = (into.root.letter - harmony.root.letter) % 7
    if harmony.quality is Quality.MAJOR and (rise, letters) == (FOURTH, 3):
        if seventh == MINOR_SEVENTH or (outside and seventh is None):
            return _plain(into, key)
    elif harmony.quality is Quality.DIMINISHED and (rise, letters) == (SEMITONE, 1) and outside:
        return _plain(into, key)
    return None


def figured_bass(harmony: Harmony, key: Key) -> str:
    """Return a harmony's thoroughbass figures: those of its inversion, with their accidentals.

    A third above the bass is not figured unless it is altered against the key signature.

    >>> from livecont.music.harmony import harmony_on
    >>> from livecont.music.key import parse_key
    >>> from livecont.music.pitch import spelling
    >>> figured_bass(harmony_on(4, [spelling("G#4")], None, parse_key("a minor"), seventh=False),
    ...     parse_key("a minor"))
    ''
    >>> figured_bass(harmony_on(2, [spelling("G#4")], None, parse_key("a minor"), seventh=False),
    ...     parse_key("a minor"))
    '#'
    """
    shown = figures(harmony).split("/") if figures(harmony) else []
    written = []
    for tone in harmony.tones:
        above = (tone.letter - harmony.bass.letter) % 7 + 1
        sign = accidental(tone.alter - key.signature_alter(tone.letter))
        if tone == harmony.bass:
            continue
        if str(above) in shown or sign:
            written.append((above, sign if above == THIRD_ABOVE and sign else f"{sign}{above}"))
    return "/".join(text for _, text in sorted(written, reverse=True))


def _plain(harmony: Harmony, key: Key) -> str:
    """The numeral without figures."""
    degree = key.degree(harmony.root.letter)
    small = harmony.quality in SMALL or (
        harmony.quality is Quality.OTHER and _third(harmony) < MAJOR_THIRD
    )
    name = ROMAN[degree].lower() if small else ROMAN[degree]
    raised = harmony.root.alter - key.signature_alter(harmony.root.letter)
    if _raised_by_custom(degree, raised, key) and harmony.quality is Quality.DIMINISHED:
        raised = 0
    return accidental(raised) + name + _sign(harmony)


def _sign(harmony: Harmony) -> str:
    if harmony.quality is Quality.AUGMENTED:
        return "+"
    if harmony.quality is not Quality.DIMINISHED:
        return ""
    return "ø" if _seventh(harmony) == MINOR_SEVENTH else "°"


def _third(harmony: Harmony) -> int:
    return (harmony.tones[1].pitch_class - harmony.root.pitch_class) % 12


def _seventh(harmony: Harmony) -> int | None:
    if not harmony.seventh:
        return None
    return (harmony.tones[3].pitch_class - harmony.root.pitch_class) % 12


def _raised_by_custom(degree: int, raised: int, key: Key) -> bool:
    """Whether an accidental is that of the raised sixth or seventh in minor."""
    return (
        MODE_FIFTHS[key.mode] <= MODE_FIFTHS["dorian"]
        and raised == 1
        and degree in (SIXTH_DEGREE, SEVENTH_DEGREE)
    )


def _in_scale(tone: PitchName, key: Key) -> bool:
    raised = tone.alter - key.signature_alter(tone.letter)
    return raised == 0 or _raised_by_custom(key.degree(tone.letter), raised, key)


def _plain_dominant(harmony: Harmony, key: Key) -> bool:
    """Whether it is the key's own dominant, on the fifth degree or its leading tone."""
    degree = key.degree(harmony.root.letter)
    if degree == SEVENTH_DEGREE:
        leading = (key.tonic_pitch_class - harmony.root.pitch_class) % 12 == SEMITONE
        return leading and harmony.quality is Quality.DIMINISHED
    return degree == DOMINANT and _in_scale(harmony.root, key)
