"""Notes as MusicXML elements, one sign after the other.

Conventions: elements in the order that MusicXML 4.0 (W3C Community Group) asks for; durations in
`divisions` to the quarter; colours as #RRGGBB.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from types import MappingProxyType

from livecont.music.pitch import LETTERS, Spelling
from livecont.music.score import ScoreNote
from livecont.score.writing_beams import SIGNS
from livecont.score.writing_lanes import LaneBar, Sign
from livecont.score.writing_rhythm import Value, plain_value

_NONE: Mapping[ScoreNote, str] = MappingProxyType({})


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """How notes are shown besides what they are.

    `ids` name notes in the document (what a tie adds is numbered besides); `small` parts are
    printed small.
    """

    colours: Mapping[ScoreNote, str] = field(default_factory=lambda: _NONE)
    ids: Mapping[ScoreNote, str] = field(default_factory=lambda: _NONE)
    small: frozenset[int] = frozenset()


PLAIN = Look()


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteWriter:
    """Writes the signs of a bar, the `bar`-th of the part.

    `accidentals` are those to print: (row, sign, note) in the bar.
    """

    bar: int
    divisions: int
    staves: int
    look: Look
    accidentals: Mapping[tuple[int, int, ScoreNote], str]

    def row(self, number: int, row: LaneBar, beams: Mapping[int, tuple[str, ...]]) -> Iterator[str]:
        """Yield the elements of a voice in a bar."""
        for index, sign in enumerate(row.signs):
            for grace in sign.before:
                yield self._grace(row, sign, grace, self.accidentals.get((number, index, grace)))
            if sign.value is None:
                continue
            if sign.silent:
                staff = f"<staff>{row.staff}</staff>" if self.staves > 1 else ""
                yield (
                    f"<forward>{self.duration(sign.length_q)}<voice>{row.voice}</voice>{staff}"
                    "</forward>"
                )
            elif not sign.notes:
                yield self._rest(row, sign, sign.value)
            else:
                yield from self._chord(row, (number, index), sign, beams.get(index, ()))

    def duration(self, length_q: Fraction) -> str:
        """Return a length as an element."""
        return f"<duration>{int(length_q * self.divisions)}</duration>"

    def _chord(
        self, row: LaneBar, place: tuple[int, int], sign: Sign, beams: tuple[str, ...]
    ) -> Iterator[str]:
        value = sign.value
        if value is None:
            return
        notes = sorted(sign.notes, key=lambda note: note.spelling.staff)
        for number, note in enumerate(notes):
            ties = [kind for kind, is_so in _ties(sign) if is_so]
            yield "".join((
                self._open(note, sign),
                "<chord/>" if number else "",
                pitch(note.spelling),
                self.duration(sign.length_q),
                *(f'<tie type="{kind}"/>' for kind in ties),
                f"<voice>{row.voice}</voice>",
                _kind(value),
                _accidental(self.accidentals.get((*place, note))),
                _modification(value),
                self._staff(note.staff),
                *(f'<beam number="{n}">{word}</beam>' for n, word in enumerate(beams, 1)
                  if number == 0),
                _notations(ties, value if number == 0 else None),
                "</note>",
            ))  # fmt: skip

    def _open(self, note: ScoreNote, sign: Sign) -> str:
        colour = self.look.colours.get(note)
        name = self.look.ids.get(note)
        if name is not None and sign.tied_from:
            name = f"{name}-at-{self.bar}-{sign.start_q.numerator}-{sign.start_q.denominator}"
        told = f' id="{name}"' if name is not None else ""
        return f"<note{told}{f' color={chr(34)}{colour}{chr(34)}' if colour else ''}>"

    def _rest(self, row: LaneBar, sign: Sign, value: Value) -> str:
        whole = value.name is None and len(row.signs) == 1
        return "".join((
            "<note>",
            '<rest measure="yes"/>' if whole else "<rest/>",
            self.duration(sign.length_q),
            f"<voice>{row.voice}</voice>",
            _kind(value),
            _modification(value),
            self._staff(row.staff),
            _notations([], value),
            "</note>",
        ))  # fmt: skip

    def _grace(self, row: LaneBar, sign: Sign, note: ScoreNote, accidental: str | None) -> str:
        alone = len(sign.before) == 1
        return "".join((
            "<note>",
            '<grace slash="yes"/>' if alone else "<grace/>",
            pitch(note.spelling),
            f"<voice>{row.voice}</voice>",
            f"<type>{'eighth' if alone else '16th'}</type>",
            _accidental(accidental),
            self._staff(note.staff),
            "</note>",
        ))  # fmt: skip

    def _staff(self, staff: int) -> str:
        return f"<staff>{staff}</staff>" if self.staves > 1 else ""


def pitch(spelled: Spelling) -> str:
    """Return a pitch as an element."""
    alter = f"<alter>{spelled.alter}</alter>" if spelled.alter else ""
    return (
        f"<pitch><step>{LETTERS[spelled.letter]}</step>{alter}"
        f"<octave>{spelled.octave}</octave></pitch>"
    )


def _ties(sign: Sign) -> tuple[tuple[str, bool], ...]:
    return ("stop", sign.tied_from), ("start", sign.tied_on)


def _kind(value: Value) -> str:
    if value.name is None:
        return ""
    return f"<type>{value.name}</type>" + "<dot/>" * value.dots


def _accidental(name: str | None) -> str:
    return f"<accidental>{name}</accidental>" if name in SIGNS.values() else ""


def _modification(value: Value) -> str:
    tuplet = value.tuplet
    if tuplet is None:
        return ""
    unit = plain_value((tuplet.end_q - tuplet.start_q) / tuplet.normal)
    told = f"<normal-type>{unit[0]}</normal-type>" if unit is not None and not unit[1] else ""
    return (
        f"<time-modification><actual-notes>{tuplet.actual}</actual-notes>"
        f"<normal-notes>{tuplet.normal}</normal-notes>{told}</time-modification>"
    )


def _notations(ties: list[str], value: Value | None) -> str:
    inside = "".join(f'<tied type="{kind}"/>' for kind in ties)
    tuplet = value.tuplet if value is not None else None
    if value is not None and tuplet is not None:
        if value.start_q == tuplet.start_q:
            inside += '<tuplet type="start" number="1"/>'
        if value.end_q == tuplet.end_q:
            inside += '<tuplet type="stop" number="1"/>'
    return f"<notations>{inside}</notations>" if inside else ""
