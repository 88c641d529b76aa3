"""The handbooks' table of sequences, as patterns in any key and in figurations of our own.

Labels of the rows D2 (D5/A4), D3 (D4/A2), A2 (A5/D4) and A2 (D3/A4): austinpattytheory.com; their
numerals in major and minor: andrewlewis425.blogspot.com (descending fifths), the Georgetown MUS112
guide (ascending fifths; in minor kept to VI ... i), and by counting roots from the label for the
rest. Alternating sixths: timothymichaelrolls.com. The two with applied dominants: Open Music
Theory, version 1 (schemata of continuation); their labels follow from the roots. Parallel six-three
chords: common practice.
"""

from __future__ import annotations

from dataclasses import dataclass

from livecont.music.key import Key
from livecont.music.pitch import Spelling, spell_at
from livecont.sequence.pattern import Kind, Pattern, Position

Note = tuple[float, float, int]  # offset and length in units, staff place


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """A row of the table.

    `chords` are a link's harmonies: degree, place in the bass (0 root, 1 third, 2 fifth), whether
    it has a seventh, whether it is a dominant (with a leading tone and minor seventh of its own).
    `numerals` are those of three links.
    """

    label: str
    mode: str
    step: int
    chords: tuple[tuple[int, int, bool, bool], ...]
    numerals: str
    name: str

    @property
    def id(self) -> str:
        """A short name for the test's report."""
        return f"{self.label} {self.mode} {self.numerals}"


def plain(*degrees: int) -> tuple[tuple[int, int, bool, bool], ...]:
    """Triads in root position."""
    return tuple((degree, 0, False, False) for degree in degrees)


ROWS = (
    Row(
        label="D2 (D5/A4)", mode="major", step=-1, chords=plain(0, 3),
        numerals="I IV vii° iii vi ii", name="descending fifths",
    ),
    Row(
        label="D2 (D5/A4)", mode="minor", step=-1, chords=plain(0, 3),
        numerals="i iv VII III VI ii°", name="descending fifths",
    ),
    Row(
        label="D2 (D5/A4)", mode="major", step=-1,
        chords=((0, 0, False, False), (3, 1, False, False)),
        numerals="I IV6 vii° iii6 vi ii6", name="descending fifths",
    ),
    Row(
        label="D2 (D5/A4)", mode="minor", step=-1,
        chords=((0, 0, False, False), (3, 1, False, False)),
        numerals="i iv6 VII III6 VI ii°6", name="descending fifths",
    ),
    Row(
        label="D2 (D5/A4)", mode="major", step=-1,
        chords=((2, 0, True, False), (5, 0, True, False)),
        numerals="iii7 vi7 ii7 V7 I7 IV7", name="descending fifths",
    ),
    Row(
        label="D3 (D4/A2)", mode="major", step=-2, chords=plain(0, 4),
        numerals="I V vi iii IV I", name="descending thirds",
    ),
    Row(
        label="D3 (D4/A2)", mode="minor", step=-2, chords=plain(0, 4),
        numerals="i v VI III iv i", name="descending thirds",
    ),
    Row(
        label="D3 (D4/A2)", mode="major", step=-2,
        chords=((0, 0, False, False), (4, 1, False, False)),
        numerals="I V6 vi iii6 IV I6", name="descending thirds",
    ),
    Row(
        label="A2 (A5/D4)", mode="major", step=1, chords=plain(0, 4),
        numerals="I V ii vi iii vii°", name="ascending fifths",
    ),
    Row(
        label="A2 (A5/D4)", mode="minor", step=1, chords=plain(5, 2),
        numerals="VI III VII iv i v", name="ascending fifths",
    ),
    Row(
        label="A2 (D3/A4)", mode="major", step=1, chords=plain(0, 5),
        numerals="I vi ii vii° iii I", name="ascending seconds",
    ),
    Row(
        label="A2 (D3/A4)", mode="major", step=1,
        chords=((0, 0, False, False), (5, 1, False, False)),
        numerals="I vi6 ii vii°6 iii I6", name="ascending 5-6",
    ),
    Row(
        label="A2 (D3/A4)", mode="minor", step=1,
        chords=((0, 0, False, False), (5, 1, False, False)),
        numerals="i VI6 ii° VII6 III i6", name="ascending 5-6",
    ),
    Row(
        label="A2 (A4/D3)", mode="major", step=1,
        chords=((0, 0, True, True), (3, 0, False, False)),
        numerals="V7/IV IV V7/V V V7/vi vi", name="monte",
    ),
    Row(
        label="D2 (A4/D5)", mode="major", step=-1,
        chords=((5, 0, True, True), (1, 0, False, False)),
        numerals="V7/ii ii V7 I V7/vii° vii°", name="fonte",
    ),
    Row(
        label="D2 (D2)", mode="major", step=-1, chords=((0, 1, False, False),),
        numerals="I6 vii°6 vi6", name="parallel six-three chords",
    ),
    Row(
        label="D2 (D2)", mode="minor", step=-1, chords=((0, 1, False, False),),
        numerals="i6 VII6 VI6", name="parallel six-three chords",
    ),
)  # fmt: skip


def block(bass: int, upper: tuple[int, ...]) -> list[Note]:
    """Everything at once, twice."""
    return [(at, 0.5, place) for at in (0.0, 0.5) for place in (bass, *upper)]


def broken(bass: int, upper: tuple[int, ...]) -> list[Note]:
    """The bass held below a figure that goes up and down the chord in eight."""
    up_and_down = (*upper, *upper[-2:0:-1])
    order = [up_and_down[i % len(up_and_down)] for i in range(8)]
    return [(0.0, 1.0, bass), *((i / 8, 1 / 8, place) for i, place in enumerate(order))]


def running(bass: int, upper: tuple[int, ...]) -> list[Note]:
    """A bass in two, held inner parts, a running melody with neighbour and passing notes."""
    top, low = upper[-1], upper[-2]
    line = [top, top + 1, top, top - 1] if top - low < 3 else [top, top + 1, top, low]
    line += [low, low + 1, low, low - 1]
    return [
        (0.0, 0.5, bass),
        (0.5, 0.5, bass),
        *((0.0, 1.0, place) for place in upper[:-2]),
        *((i / 8, 1 / 8, place) for i, place in enumerate(line)),
    ]


def sighing(bass: int, upper: tuple[int, ...]) -> list[Note]:
    """Chords after the beat, a melody that leans on each note from above."""
    top = upper[-1]
    return [
        (0.0, 0.5, bass),
        (0.5, 0.5, bass),
        *((at + 0.25, 0.25, place) for at in (0.0, 0.5) for place in upper[:-1]),
        *(
            (at + 0.125 * i, 0.125, top + (1 if i == 0 else 0))
            for at in (0.0, 0.5)
            for i in range(4)
        ),
    ]


FIGURATIONS = {"block": block, "broken": broken, "running": running, "sighing": sighing}


def pattern_of(row: Row, key: Key, figuration: str, unit_s: float = 2.4) -> Pattern:
    """Return the pattern of two links of a row."""
    count = len(row.chords)
    notes: list[tuple[float, float, int, int]] = []
    for index, (bass, upper) in enumerate(_placed(row, key)):
        notes += [
            ((at + index) / count, length / count, place, index)
            for at, length, place in FIGURATIONS[figuration](bass, upper)
        ]
    positions = [
        Position(
            offset_units=at,
            articulation=0.95 * length,
            velocity=70,
            channel=0,
            heard=tuple(
                _spelled(place + link * row.step, row.chords[index], link * row.step, key)
                for link in (0, 1)
            ),
        )
        for at, length, place, index in notes
    ]
    positions.sort(key=lambda p: (p.offset_units, min(s.midi for s in p.heard if s is not None)))
    return Pattern(
        unit_s=unit_s,
        step_degrees=row.step,
        shift_semitones=None,
        kind=Kind.TONAL,
        key=key,
        positions=tuple(positions),
        pedals=(),
        starts_s=(0.0, unit_s),
        due_s=2 * unit_s,
        confidence=0.95,
        links_heard=2,
    )


def _placed(row: Row, key: Key) -> list[tuple[int, tuple[int, ...]]]:
    """Bass and upper voices of each chord: close to middle C, moving to the nearest position."""
    home = 28 + (key.letter if key.letter < 4 else key.letter - 7)
    found: list[tuple[int, tuple[int, ...]]] = []
    for degree, low, seventh, _ in row.chords:
        members = [degree + above for above in ((0, 2, 4, 6) if seventh else (0, 2, 4))]
        bass = home - 14 + (members[low] % 7)
        places = sorted(home + (member % 7) for member in members)
        if found:
            before = found[-1][1]
            places = sorted(
                (place + 7 * octave for place in places for octave in (-1, 0, 1)),
                key=lambda place: min(abs(place - other) for other in before),
            )
            kept: dict[int, int] = {}
            for place in places:
                kept.setdefault(place % 7, place)
            places = sorted(kept.values())
        found.append((bass, tuple(places)))
    return found


def _spelled(place: int, chord: tuple[int, int, bool, bool], ahead: int, key: Key) -> Spelling:
    """A note of the key; in a dominant as that dominant has it."""
    degree, _, _, dominant = chord
    if not dominant:
        return key.natural(place)
    root = key.natural(key.letter + degree + ahead)
    above = (place - root.staff) % 7
    semitones = {0: 0, 2: 4, 4: 7, 6: 10}.get(above)
    if semitones is None:
        return key.natural(place)
    octave = (place - root.staff - above) // 7
    return spell_at(root.midi + 12 * octave + semitones, place)
