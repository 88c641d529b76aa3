"""Sequences made up by hypothesis: keys, models, steps, hands. Shared by the tests of the core.

A `Chain` is written on staff places, so that a tonal step is plain addition, and performed by a
`Touch` into the events that a keyboard would send. Whether a chain is fit to be taken for a
sequence is settled on the written notes alone, by `told_apart`, never by the code under test.

Conventions: a tick is the smallest note value; staff places as in `music.pitch` (C4 = 28); links
are numbered from 1. The hypothesis profile is loaded by `tests/conftest.py`; each test says how
many examples it takes.
"""

from __future__ import annotations

import random  # noqa: TID251  seeded by hypothesis
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise

from hypothesis import assume
from hypothesis import strategies as st

from livecont.errors import ConfigError
from livecont.music.compass import Compass
from livecont.music.key import MODE_FIFTHS, Key, make_key
from livecont.music.pitch import Spelling
from livecont.sequence.events import KeyDown, KeyUp, PlayerEvent

PIANO = Compass(
    name="88", title="88 keys", lowest=21, highest=108, absent=frozenset(), source="common practice"
)
OCTAVE = 7
CHROMATIC_NOTES, CHROMATIC_CLASSES = 8, 8
LEGATO = 0.8  # how much of its written length a key is held
# steps of a real chain as they are written: a second, third, fourth or fifth, minor or major
SHIFT_STEPS = {1: 1, 2: 1, 3: 2, 4: 2, 5: 3, 7: 4}


# --- as written ---------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class Written:
    """A note of the model: when, where on the staff, how long; `alter` against the signature."""

    tick: int
    staff: int
    length: int
    alter: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Model:
    """One link as written, `ticks` long, its notes in order of time, then pitch."""

    ticks: int
    notes: tuple[Written, ...]

    @property
    def onsets(self) -> tuple[int, ...]:
        """The ticks at which something is struck."""
        return tuple(sorted({note.tick for note in self.notes}))


@dataclass(frozen=True, slots=True, kw_only=True)
class Chain:
    """A sequence as written: tonal where `shift` is None, else every link so many semitones on."""

    key: Key
    model: Model
    step: int
    shift: int | None = None

    def spelled(self, note: Written, link: int) -> Spelling:
        """Return the pitch that a note of the model has in a link."""
        staff = note.staff + (link - 1) * self.step
        if self.shift is None:
            return Spelling(staff, self.key.signature_alter(staff) + note.alter)
        model = Spelling(note.staff, self.key.signature_alter(note.staff) + note.alter)
        midi = model.midi + (link - 1) * self.shift
        return Spelling(staff, midi - Spelling(staff, 0).midi)

    def link(self, number: int) -> tuple[tuple[int, Spelling], ...]:
        """Return (tick in the link, pitch) of each note of a link, in order."""
        return tuple(sorted((note.tick, self.spelled(note, number)) for note in self.model.notes))

    def places(self, links: int) -> tuple[frozenset[int], ...]:
        """Return the staff places of each onset of so many links, one link after the other."""
        return tuple(
            frozenset(spelled.staff for at, spelled in self.link(number) if at == tick)
            for number in range(1, links + 1)
            for tick in self.model.onsets
        )


def told_apart(chain: Chain) -> bool:
    """Whether the chain can be heard in one way only, by the notes of two links.

    At no lag shorter than the link, and no step, a unison or an octave included, have more than
    half of the second link's notes an image: else the model is a scale, an arpeggio, an exact
    repeat, or itself a little sequence, and a musician might well call that the link. Nor is the
    model one chord struck twice, which has no inside.
    """
    places = chain.places(2)
    onsets = len(places) // 2
    if all(chord == places[0] for chord in places[:onsets]):
        return False
    notes = sum(len(group) for group in places[onsets:])
    for lag in range(1, onsets):
        for step in range(-OCTAVE, OCTAVE + 1):
            alike = sum(
                len(late & {staff + step for staff in early})
                for early, late in zip(places[onsets - lag :], places[onsets:], strict=False)
            )
            if 2 * alike > notes:
                return False
    return True


# --- as played ----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Touch:
    """How a chain is played.

    `tick_s` is the tempo. Notes struck together come apart by up to `spread_s`. Each wait between
    onsets is longer or shorter by `uneven`, a share (one standard deviation, at most two). The
    tempo drifts by the share `drift` from link to link.
    """

    tick_s: float = 0.2
    spread_s: float = 0.0
    uneven: float = 0.0
    drift: float = 0.0
    seed: int = 0


DEADPAN = Touch()


@dataclass(frozen=True, slots=True, kw_only=True)
class Performance:
    """What a keyboard sends, in time order; when each link began, and when the next one would."""

    events: tuple[PlayerEvent, ...]
    starts_s: tuple[float, ...]


def perform(
    chain: Chain, touch: Touch = DEADPAN, links: int = 2, start_s: float = 1.0
) -> Performance:
    """Play the first links of a chain."""
    dice = random.Random(touch.seed)
    events: list[PlayerEvent] = []
    at_s = start_s
    starts_s = [at_s]
    for number in range(1, links + 1):
        for tick, following in pairwise((*chain.model.onsets, chain.model.ticks)):
            progress = number - 1 + tick / chain.model.ticks
            tick_s = touch.tick_s * (1 + touch.drift) ** progress
            for note in chain.model.notes:
                if note.tick != tick:
                    continue
                down_s = at_s + dice.uniform(0.0, touch.spread_s)
                pitch = chain.spelled(note, number).midi
                events.append(KeyDown(at_s=down_s, pitch=pitch, velocity=dice.randint(65, 80)))
                held_s = LEGATO * note.length * tick_s
                events.append(KeyUp(at_s=down_s + held_s, pitch=pitch))
            bend = min(max(dice.gauss(0.0, 1.0), -2.0), 2.0)
            at_s += (following - tick) * tick_s * (1 + touch.uneven * bend)
        starts_s.append(at_s)
    return Performance(events=in_time(events), starts_s=tuple(starts_s))


def in_time(events: Iterable[PlayerEvent]) -> tuple[PlayerEvent, ...]:
    """Return the events in time order, those of one moment as they were given."""
    return tuple(sorted(events, key=lambda event: event.at_s))


def wandering(start_s: float, groups: int, seed: int) -> tuple[PlayerEvent, ...]:
    """Return plain playing in C major, one or two notes at a time, without any pattern."""
    dice = random.Random(seed)
    white = [p for p in range(40, 85) if p % 12 in (0, 2, 4, 5, 7, 9, 11)]
    events: list[PlayerEvent] = []
    for number in range(groups):
        down_s = start_s + 0.2 * number
        for pitch in dice.sample(white, dice.choice((1, 1, 2))):
            events.append(KeyDown(at_s=down_s, pitch=pitch, velocity=dice.randint(50, 90)))
            events.append(KeyUp(at_s=down_s + 0.15, pitch=pitch))
    return in_time(events)


# --- strategies ---------------------------------------------------------------------------------


def keys_in_use() -> tuple[Key, ...]:
    """Return every tonic and mode with at most seven sharps or flats."""
    found = []
    for mode in MODE_FIFTHS:
        for letter in range(7):
            for alter in (-1, 0, 1):
                try:
                    found.append(make_key(letter, alter, mode))
                except ConfigError:
                    continue
    return tuple(found)


def keys(*modes: str) -> st.SearchStrategy[Key]:
    """Keys in use, of some modes or of all."""
    return st.sampled_from([key for key in keys_in_use() if not modes or key.mode in modes])


def steps() -> st.SearchStrategy[int]:
    """Steps in degrees, up and down to a fifth, never 0."""
    return st.sampled_from([-1, 1, -2, 2, -3, 3, -4, 4])


def tempi() -> st.SearchStrategy[float]:
    """Seconds a tick, from lively semiquavers to quiet quavers."""
    return st.sampled_from([0.11, 0.15, 0.2, 0.3, 0.45])


def hands() -> st.SearchStrategy[Touch]:
    """People: chords 30 ms apart, waits uneven by some percent, the tempo drifting.

    Spread after Goebl (2001), who found melody leads of some 30 ms; the rest from memory.
    """
    return st.builds(
        Touch,
        tick_s=tempi(),
        spread_s=st.floats(0.0, 0.03),
        uneven=st.floats(0.0, 0.04),
        drift=st.floats(-0.05, 0.05),
        seed=st.integers(0, 2**16),
    )


@st.composite
def melodies(draw: st.DrawFn, ticks: int, least: int, lowest: int, highest: int) -> list[Written]:
    """One part over a link: onsets from its start, no note twice in a row."""
    rests = draw(st.sets(st.integers(1, ticks - 1), max_size=ticks - least))
    onsets = [tick for tick in range(ticks) if tick not in rests]
    staffs = [draw(st.integers(lowest, highest))]
    for _ in onsets[1:]:
        places = [p for p in range(lowest, highest + 1) if 0 < abs(p - staffs[-1]) <= 6]
        staffs.append(draw(st.sampled_from(places)))
    return [
        Written(tick=tick, staff=staff, length=following - tick)
        for (tick, following), staff in zip(pairwise((*onsets, ticks)), staffs, strict=True)
    ]


@st.composite
def lines(draw: st.DrawFn) -> Model:
    """A single line."""
    ticks = draw(st.integers(4, 16))
    return Model(ticks=ticks, notes=tuple(draw(melodies(ticks, 4, 26, 38))))


@st.composite
def two_parts(draw: st.DrawFn) -> Model:
    """A line for each hand, not always together."""
    ticks = draw(st.integers(4, 12))
    upper = draw(melodies(ticks, 3, 30, 40))
    lower = draw(melodies(ticks, 2, 17, 27))
    return Model(ticks=ticks, notes=tuple(sorted([*upper, *lower])))


@st.composite
def chords(draw: st.DrawFn) -> Model:
    """Chords of three or four notes over a bass: the handbooks' two, or a few more."""
    count = draw(st.integers(2, 5))
    length = draw(st.integers(2, 4))
    notes = []
    for number in range(count):
        bass = draw(st.integers(16, 24))
        upper = draw(st.sets(st.integers(28, 37), min_size=2, max_size=3))
        notes += [
            Written(tick=number * length, staff=staff, length=length)
            for staff in sorted({bass, *upper})
        ]
    return Model(ticks=count * length, notes=tuple(notes))


@st.composite
def figurations(draw: st.DrawFn) -> Model:
    """Broken chords over a held bass, the same figure on each."""
    count = draw(st.integers(2, 3))
    figure = draw(st.permutations([0, 1, 2, 1]))
    notes = []
    for number in range(count):
        tick = number * len(figure)
        chord = sorted(draw(st.sets(st.integers(27, 38), min_size=3, max_size=3)))
        notes.append(Written(tick=tick, staff=draw(st.integers(16, 24)), length=len(figure)))
        notes += [
            Written(tick=tick + at, staff=chord[place], length=1) for at, place in enumerate(figure)
        ]
    return Model(ticks=count * len(figure), notes=tuple(notes))


def models() -> st.SearchStrategy[Model]:
    """Two-hand textures, all notes of the key."""
    return st.one_of(lines(), two_parts(), chords(), figurations())


def tonal_chains(*modes: str) -> st.SearchStrategy[Chain]:
    """Chains that keep the key and can be heard in one way only."""
    built = st.builds(Chain, key=keys(*modes), model=models(), step=steps())
    return built.filter(told_apart)


@st.composite
def chromatic_lines(draw: st.DrawFn, key: Key) -> Model:
    """A line through eight pitch classes or more: no scale of seven notes holds it."""
    pitches = [draw(st.integers(60, 67))]
    moves = st.sampled_from([-4, -3, -2, -1, 1, 2, 3, 4])
    while len(pitches) < CHROMATIC_NOTES or len({p % 12 for p in pitches}) < CHROMATIC_CLASSES:
        pitches.append(pitches[-1] + draw(moves))
        assume(len(pitches) <= 2 * CHROMATIC_NOTES)
    spelled = [key.spell(pitch) for pitch in pitches]
    notes = tuple(
        Written(tick=tick, staff=s.staff, length=1, alter=s.alter - key.signature_alter(s.staff))
        for tick, s in enumerate(spelled)
    )
    return Model(ticks=len(notes), notes=notes)


@st.composite
def real_chains(draw: st.DrawFn) -> Chain:
    """Chains that move by semitones, of models that no key holds, in keys of few accidentals."""
    near = [key for key in keys_in_use() if abs(key.fifths) <= 4]
    key = draw(st.sampled_from([key for key in near if key.mode in ("major", "minor")]))
    shift = draw(st.sampled_from(sorted(SHIFT_STEPS)))
    up = draw(st.sampled_from([-1, 1]))
    model = draw(chromatic_lines(key))
    chain = Chain(key=key, model=model, step=up * SHIFT_STEPS[shift], shift=up * shift)
    assume(told_apart(chain))
    return chain
