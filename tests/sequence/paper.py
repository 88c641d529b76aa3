"""Scores made of words, without a file, for the tests of finding.

Conventions: a note is "C#5/4" (name, length in quarters; 1 where none is told), a chord "C4+E4/1",
a rest "r/1". A line is a staff, from the highest down.
"""

from __future__ import annotations

from fractions import Fraction

from livecont.music.compass import Compass
from livecont.music.pitch import Spelling, spelling
from livecont.music.score import Bar, Meter, Part, Score, ScoreNote, Signature
from livecont.sequence.finding import Find, Search, find_sequences
from tests.strategies import PIANO

# one bar each: a figure with its own shape, and a bass
FIGURE = "C5/1/2 E5/1/2 D5/1/2 B4/1/2 C5/1/2 G4/1/2 A4/1"
BASS = "C3/2 F3/1 F3/1/2 D3/1/2"
ELSE = "G4/3/2 E4/1/2 A4/1 C5/1"  # free music, a bar
ELSE_BASS = "E3/1 C3/1 G3/2"


def paper(
    *lines: str,
    parts: tuple[str, ...] = (),
    beats: int = 4,
    beat_type: int = 4,
    pickup: Fraction = Fraction(0),
    fifths: int = 0,
) -> Score:
    """Return a score: a staff a line, of one part, or of a part each where those are named."""
    notes: list[ScoreNote] = []
    for number, line in enumerate(lines):
        at_q = Fraction(0)
        for word in line.split():
            names, _, length = word.partition("/")
            lasts_q = Fraction(length or 1)
            notes += [
                ScoreNote(
                    onset_q=at_q,
                    duration_q=lasts_q,
                    spelling=spelling(name),
                    part=number if parts else 0,
                    staff=1 if parts else number + 1,
                )
                for name in names.split("+")
                if name != "r"
            ]
            at_q += lasts_q
    notes.sort(key=lambda n: (n.onset_q, n.part, n.staff, n.spelling.staff))
    meter = Meter(at_q=Fraction(0), beats=beats, beat_type=beat_type)
    named = tuple(Part(name=name) for name in parts)
    return Score(
        parts=named or (Part(name="Keyboard", staves=len(lines)),),
        notes=tuple(notes),
        bars=_bars(meter, pickup, max(note.end_q for note in notes)),
        meters=(meter,),
        signatures=(Signature(at_q=Fraction(0), fifths=fifths),),
    )


def _bars(meter: Meter, pickup: Fraction, end_q: Fraction) -> tuple[Bar, ...]:
    bars = []
    at_q = pickup
    if pickup:
        bars.append(Bar(number="0", start_q=Fraction(0), length_q=pickup, pickup=True))
    while at_q < end_q or not bars:
        number = str(len(bars) + (not pickup))
        bars.append(Bar(number=number, start_q=at_q, length_q=meter.bar_q))
        at_q += meter.bar_q
    return tuple(bars)


def links(model: str, step: int, count: int) -> str:
    """Return a model in words and its copies, each moved by diatonic steps in C major."""
    return " ".join(moved(model, number * step) for number in range(count))


def moved(words: str, places: int) -> str:
    """Return words moved by staff places in C major."""
    return " ".join(_moved_word(word, places) for word in words.split())


def _moved_word(word: str, places: int) -> str:
    names, slash, length = word.partition("/")
    shifted = [name if name == "r" else _shifted(name, places) for name in names.split("+")]
    return "+".join(shifted) + slash + length


def _shifted(name: str, places: int) -> str:
    pitch = spelling(name)
    return Spelling(pitch.staff + places, pitch.alter).name


def find(score: Score, compass: Compass = PIANO, **chosen: object) -> tuple[Find, ...]:
    """Return the sequences of a score."""
    return find_sequences(score, Search(compass=compass, **chosen))  # type: ignore[arg-type]


def motions(finds: tuple[Find, ...]) -> list[tuple[float, float, int, int]]:
    """Return start, unit, step and links of finds, to compare."""
    return [(float(f.start_q), float(f.unit_q), f.step_degrees, f.links) for f in finds]
