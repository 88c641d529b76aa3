"""Single cells of **kern: notes, chords, rests, signs and bar lines.

Conventions: **kern as in the Humdrum user guide (Huron 1994-): a duration is the number of parts of
a whole note, letters are pitches, `c` is middle C, capitals below it; `[`, `_`, `]` tie; `q` is a
grace note. What says how a note is played or printed is passed over.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction

from livecont.errors import ScoreError
from livecont.music.pitch import LETTERS, Spelling
from livecont.score.untrusted import clean_text

WHOLE_Q = 4
MOST_DOTS = 4
_LENGTH = re.compile(r"(\d{1,4})(?:%(\d{1,4}))?(\.*)")
_PITCH = re.compile(r"(([A-Ga-g])\2*)(#{1,3}|-{1,3}|n)?")
_METER = re.compile(r"\*M(\d{1,3})/(\d{1,3})")
_KEY = re.compile(r"\*([A-Ga-g])([#-]?):")
_NUMBER = re.compile(r"\d+[a-z]?")
_HIGHEST = 127


@dataclass(frozen=True, slots=True, kw_only=True)
class Token:
    """A cell of notes that begin together; none of them: a rest.

    `tied` holds for each pitch what its tie is: `[`, `_`, `]` or nothing.
    """

    length_q: Fraction
    pitches: tuple[Spelling, ...]
    tied: tuple[str, ...]
    grace: bool


def token_of(cell: str, where: str) -> Token:
    """Read a cell with notes or a rest.

    Args:
        cell: the cell; notes of a chord are parted by spaces.
        where: what to call the place in an error.

    Raises:
        ScoreError: no duration, or a pitch that no instrument has.

    >>> token = token_of("[4.cc# 4.ee-", "line 1")
    >>> token.length_q, [pitch.name for pitch in token.pitches], token.tied
    (Fraction(3, 2), ['C#5', 'Eb5'], ('[', ''))
    """
    words = cell.split()
    grace = "q" in cell
    length_q = Fraction(0)
    if not grace:
        length_q = _length(words, cell, where)
    pitches, tied = [], []
    for word in words:
        match = _PITCH.search(word)
        if match is None:
            if "r" not in word and not grace:
                raise ScoreError(f"{where}: {clean_text(word, 20)!r} is neither note nor rest")
            continue
        pitches.append(_pitch(match, where))
        tied.append(next((sign for sign in "[_]" if sign in word), ""))
    return Token(length_q=length_q, pitches=tuple(pitches), tied=tuple(tied), grace=grace)


def _length(words: list[str], cell: str, where: str) -> Fraction:
    """The duration that the first note with one has; the others have the same."""
    for word in words:
        match = _LENGTH.search(word)
        if match is None:
            continue
        number, over, dots = match.groups()
        if len(dots) > MOST_DOTS:
            break
        parts = Fraction(int(number), int(over or 1)) if int(over or 1) else Fraction(0)
        if parts:
            length_q = WHOLE_Q / parts
        elif set(number) == {"0"} and over is None and len(number) <= 3:
            length_q = Fraction(WHOLE_Q * 2 ** len(number))  # 0 a breve, 00 a long
        else:
            break
        return length_q * (2 - Fraction(1, 2 ** len(dots)))
    raise ScoreError(f"{where}: no duration in {clean_text(cell, 20)!r}")


def _pitch(match: re.Match[str], where: str) -> Spelling:
    letters, letter, sign = match[1], match[2], match[3] or ""
    octave = 3 + len(letters) if letter.islower() else 4 - len(letters)
    alter = -len(sign) if sign.startswith("-") else sign.count("#")
    spelled = Spelling(7 * octave + LETTERS.index(letter.upper()), alter)
    if not 0 <= spelled.midi <= _HIGHEST:
        raise ScoreError(f"{where}: a note {spelled.name} that no instrument has")
    return spelled


def meter_of(cell: str) -> tuple[int, int] | None:
    """Read a metre, such as *M6/8; None where it is none that can be counted."""
    match = _METER.fullmatch(cell)
    if match is None:
        return None
    beats, kind = int(match[1]), int(match[2])
    usual = 0 < kind <= 256 and kind & (kind - 1) == 0
    return (beats, kind) if beats and usual else None


def fifths_of(cell: str) -> int | None:
    """Read a key signature: *k[f#c#] is 2, *k[] is 0; None where it is none of common practice."""
    if not (cell.startswith("*k[") and cell.endswith("]")):
        return None
    sharps, flats = cell.count("#"), cell.count("-")
    if (sharps and flats) or max(sharps, flats) > 7:
        return None
    return sharps - flats


def mode_of(cell: str) -> str | None:
    """Read the mode of a key: *G: is major, *e: is minor."""
    match = _KEY.fullmatch(cell)
    return None if match is None else ("minor" if match[1].islower() else "major")


def number_of(cell: str) -> str | None:
    """Read a bar line's number: =12 is '12', =: none."""
    match = _NUMBER.search(cell)
    return match[0] if match is not None else None


def repeats_at(cell: str) -> tuple[bool, bool]:
    """Return whether a repeat ends at a bar line, and whether one begins.

    >>> repeats_at("=5:|!|:"), repeats_at("=!|:"), repeats_at("=3")
    ((True, True), (False, True), (False, False))
    """
    return re.search(r":[|!]", cell) is not None, re.search(r"[|!]:", cell) is not None
