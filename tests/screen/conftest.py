"""Snapshots to look at: a piece of our own in every state that the screen can be in."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import pytest

from livecont.music.compass import Compass
from livecont.music.key import Key, parse_key
from livecont.music.label import Label, make_label
from livecont.music.pitch import Spelling, spelling
from livecont.music.spectrum import MODERN_PIANO
from livecont.screen.notes import ScreenNotes
from livecont.sequence.analysis import Analysis
from livecont.sequence.endings_clarity import clarity_of, reach
from livecont.sequence.endings_kind import of_kind
from livecont.sequence.pattern import Kind, Link, LinkNote, Pattern, Position
from livecont.sequence.reduction import MainNote
from livecont.sitting.events import Fullness, Start
from livecont.sitting.explanation import Explanation, HarmonyTold, LinkTold, MainTold
from livecont.sitting.main_notes import MainNotes
from livecont.sitting.snapshot import Changed, Phase, Snapshot

Figure = Sequence[tuple[float, float, str]]

FIVE_OCTAVES = Compass(
    name="five", title="F1-F6", lowest=29, highest=89, absent=frozenset(), source="made for tests"
)
SHORT_OCTAVE = Compass(
    name="short",
    title="C/E-C6",
    lowest=36,
    highest=84,
    absent=frozenset({37, 39, 42, 44}),
    source="made for tests",
)
PIANO = Compass(
    name="modern",
    title="A0-C8",
    lowest=21,
    highest=108,
    absent=frozenset(),
    source="made for tests",
)

# offset and length in units, then the model's pitches: newly written, in two parts
TWO_PARTS = (
    (0 / 8, 1 / 8, "B5 G4"),
    (1 / 8, 1 / 8, "G5"),
    (2 / 8, 1 / 8, "F#5 A4"),
    (3 / 8, 1 / 8, "E5"),
    (4 / 8, 2 / 8, "D5 B4"),
    (6 / 8, 1 / 8, "E5 C5"),
    (7 / 8, 1 / 8, "F#5 A4"),
)
CHORDS = (
    (0.0, 0.5, "C3 G3 E4 C5"),
    (0.5, 0.5, "G2 Bb3 D4 Bb4"),
)
LONG = tuple(
    (i / 24, 1 / 24, name)
    for i, name in enumerate(
        (
            "C5 A3",
            "B4",
            "C5",
            "E5",
            "D5",
            "C5",
            "B4 G3",
            "A4",
            "G4",
            "A4",
            "B4",
            "C5",
            "D5 F3",
            "C5",
            "D5",
            "F5",
            "E5",
            "D5",
            "C5 E3",
            "B4",
            "A4",
            "B4",
            "C5",
            "G4",
        )
    )
)


def moved(note: Spelling, key: Key, steps: int) -> Spelling:
    """Move a pitch by steps of the scale; an accidental against the signature goes with it."""
    against = note.alter - key.signature_alter(note.staff)
    staff = note.staff + steps
    return Spelling(staff, key.signature_alter(staff) + against)


def made_pattern(figure: Figure, key: Key, step: int, unit_s: float) -> Pattern:
    """Return the pattern that two links of a figure give."""
    positions = tuple(
        Position(
            offset_units=offset,
            articulation=length * 0.9,
            velocity=72,
            channel=0,
            heard=tuple(moved(spelling(name), key, k * step) for k in range(2)),
        )
        for offset, length, names in figure
        for name in names.split()
    )
    return Pattern(
        unit_s=unit_s,
        step_degrees=step,
        shift_semitones=None,
        kind=Kind.TONAL,
        key=key,
        positions=positions,
        pedals=(),
        starts_s=(10.0, 10.0 + unit_s),
        due_s=10.0 + 2 * unit_s,
        confidence=0.92,
        links_heard=2,
    )


def made_chain(pattern: Pattern, compass: Compass) -> tuple[Link, ...]:
    """Return link 3 and all after it, as far as the compass goes."""
    links: list[Link] = []
    while len(links) < 40:
        number = 3 + len(links)
        notes = tuple(
            LinkNote(
                offset_s=position.offset_units * pattern.unit_s,
                duration_s=position.articulation * pattern.unit_s,
                spelling=moved(first, pattern.key, (number - 1) * pattern.step_degrees),
                velocity=72,
                channel=0,
            )
            for position in pattern.positions
            if (first := position.heard[0]) is not None
        )
        if not compass.holds(note.pitch for note in notes):
            break
        link = Link(number=number, unit_s=pattern.unit_s, notes=notes, pedals=())
        links.append(replace(link, clarity=clarity_of(link, MODERN_PIANO)))
    return tuple(links)


def sitting(
    figure: Figure, key_name: str, step: int, compass: Compass, *, unit_s: float = 2.4
) -> Callable[[Phase, int, float], Snapshot]:
    """Return a function of phase, link and share of the link that gives the snapshot then."""
    key = parse_key(key_name)
    pattern = made_pattern(figure, key, step, unit_s)
    chain = made_chain(pattern, compass)
    heard = tuple(
        tuple(note for position in pattern.positions if (note := position.heard[k]) is not None)
        for k in range(2)
    )

    def at(phase: Phase, number: int, share: float) -> Snapshot:
        now_s = pattern.due_s + (number - 3 + share) * unit_s
        active = phase is Phase.SOUNDING
        current = chain[number - 3] if active else None
        held = tuple(
            note.pitch
            for note in (current.notes if current else ())
            if note.offset_s <= share * unit_s < note.offset_s + note.duration_s
        )
        return Snapshot(
            at_s=now_s,
            phase=phase,
            key=key,
            key_chosen=True,
            compass=compass,
            heard=(heard[0] + heard[1])[-16:],
            pattern=pattern,
            links_heard=heard,
            sounding=current,
            sounding_start_s=now_s - share * unit_s if active else None,
            coming=chain[number - 2 :] if active else chain,
            links_left=len(chain) - (number - 2) if active else len(chain),
            held=held,
            last_end=None,
            reach=reach(chain[number - 2 :] if active else chain),
        )

    return at


def main_note(position: int, start: float, end: float, voice: int) -> MainNote:
    """Return a main note of a made reduction."""
    length = end - start
    return MainNote(
        position=position, offset_units=start, duration_units=length, voice=voice, suspended=False
    )


# of each figure two harmonies, by the roots' degrees in link 1, 0 the tonic
MAIN = {
    TWO_PARTS: ((0.0, 0.5, 1, 0, 2), (0.5, 1.0, 7, 6, 4)),
    CHORDS: ((0.0, 0.5, 0, 3, 1), (0.5, 1.0, 4, 7, 5)),
}
MINOR = ("i", "ii°", "III", "iv", "v", "VI", "VII")


def explained(
    snapshot: Snapshot,
    label: Label,
    *,
    alternatives: tuple[Label, ...] = (),
    doubt: str | None = None,
) -> Snapshot:
    """Return the snapshot when it is known what its pattern is: told here, not worked out."""
    pattern = snapshot.pattern
    assert pattern is not None
    main = next(
        m for figure, m in MAIN.items() if len(positions_of(figure)) == len(pattern.positions)
    )
    analysis = Analysis(
        label=label,
        alternatives=alternatives,
        doubt=doubt,
        harmonies=(),
        reduction=tuple(
            main_note(position, start, end, voice)
            for start, end, low, high, _ in main
            for voice, position in enumerate((low, high))
        ),
        linear_steps=(pattern.step_degrees,) * 2,
        link=1,
    )
    links = tuple(link_told(pattern, main, number) for number in range(1, 25))
    told = Explanation(analysis=analysis, first=1, lap=7, links=links)
    return replace(snapshot, explanation=told)


def positions_of(figure: Figure) -> list[str]:
    """Return the notes of a figure, a position each."""
    return [name for _, _, names in figure for name in names.split()]


def link_told(
    pattern: Pattern, main: Sequence[tuple[float, float, int, int, int]], number: int
) -> LinkTold:
    """Return a link of a made explanation."""
    ahead = (number - 1) * pattern.step_degrees
    harmonies = []
    for _, _, low, high, degree in main:
        heard = [pattern.positions[i].heard[0] for i in (high, low)]
        voices = tuple(
            (MainTold(moved(s, pattern.key, ahead).letter_name),) for s in heard if s is not None
        )
        numeral = MINOR[(degree + ahead) % 7]
        harmonies.append(HarmonyTold(numeral=numeral, figures="6" * (low % 2), voices=voices))
    return LinkTold(harmonies=tuple(harmonies))


def made_real(snapshot: Snapshot) -> Snapshot:
    """Return the snapshot as it is after the step was counted in semitones, from link 5 on."""
    assert snapshot.pattern is not None
    pattern = of_kind(snapshot.pattern, Kind.REAL)
    return replace(snapshot, pattern=pattern, kind_changed=True, kind_from=5)


def reduced(snapshot: Snapshot) -> Snapshot:
    """Return the snapshot as it is while only main notes sound."""
    assert snapshot.pattern is not None
    pattern = snapshot.pattern
    told = explained(snapshot, DOWN_A_SECOND)
    assert told.explanation is not None
    main = MainNotes(told.explanation.analysis.reduction, pattern, MODERN_PIANO)
    sounding = None if snapshot.sounding is None else main.of(snapshot.sounding, pattern)
    coming = tuple(main.of(link, pattern) for link in snapshot.coming)
    return replace(told, sounding=sounding, coming=coming, fullness=Fullness.REDUCTION)


def silence(snapshot: Snapshot, phase: Phase = Phase.LISTENING) -> Snapshot:
    """Return the snapshot as it is while no sequence is known."""
    return replace(
        snapshot,
        phase=phase,
        pattern=None,
        links_heard=(),
        sounding=None,
        sounding_start_s=None,
        coming=(),
        links_left=None,
        held=(),
    )


DOWN_A_SECOND = make_label(-1, (2, -3), ("seventh chords",))
NOTES = ScreenNotes(
    input_name="Stage piano 1",
    output_name="internal",
    take_path="takes/2031-05-04-1910.mid",
    hints=(("space", "cue"), ("s", "stop"), ("k", "key"), ("q", "quit")),
    start=Start.AT_ONCE,
)

_falling = sitting(TWO_PARTS, "e minor", -1, FIVE_OCTAVES)
_rising = sitting(CHORDS, "Bb major", 1, SHORT_OCTAVE, unit_s=1.6)
_long = sitting(LONG, "a minor", -2, PIANO, unit_s=4.8)
_first = silence(_falling(Phase.LISTENING, 3, 0.0))

STATES: dict[str, tuple[Snapshot, ScreenNotes]] = {
    "listening-nothing-known": (replace(_first, key=None, key_chosen=False, heard=()), NOTES),
    "listening-key-estimated": (
        replace(_first, key_chosen=False, held=(71, 55)),
        NOTES,
    ),
    "listening-after-give-way": (
        _first,
        replace(NOTES, message="livecont gave way: you play on"),
    ),
    "listening-after-compass-end": (replace(_first, last_end="compass"), NOTES),
    "understood": (_falling(Phase.UNDERSTOOD, 3, 0.0), NOTES),
    "ready-at-once": (_falling(Phase.READY, 3, -0.4), NOTES),
    "ready-on-cue": (_rising(Phase.READY, 3, 0.2), replace(NOTES, start=Start.ON_CUE)),
    "sounding-first": (_falling(Phase.SOUNDING, 3, 0.55), NOTES),
    "sounding-sixth": (
        _falling(Phase.SOUNDING, 6, 0.8),
        replace(NOTES, late_count=2, dropped_count=1),
    ),
    "sounding-last": (_falling(Phase.SOUNDING, 13, 0.1), NOTES),
    "sounding-chords-rising": (_rising(Phase.SOUNDING, 4, 0.3), NOTES),
    "sounding-long-link": (_long(Phase.SOUNDING, 3, 0.4), NOTES),
    "sounding-explained": (explained(_falling(Phase.SOUNDING, 6, 0.8), DOWN_A_SECOND), NOTES),
    "sounding-not-sure": (
        explained(
            _rising(Phase.SOUNDING, 4, 0.3),
            make_label(1, (4, 4)),
            alternatives=(make_label(1, (1,)), make_label(1, (-2, 3))),
            doubt="the lower line could be a pedal point",
        ),
        NOTES,
    ),
    "sounding-real": (made_real(_falling(Phase.SOUNDING, 7, 0.4)), NOTES),
    "sounding-main-notes": (reduced(_falling(Phase.SOUNDING, 5, 0.6)), NOTES),
    "sounding-after-a-surprise": (
        replace(
            explained(_falling(Phase.SOUNDING, 6, 0.2), DOWN_A_SECOND),
            changed=Changed(number=5, said="F# instead of F"),
        ),
        NOTES,
    ),
    "listening-after-a-surprise": (
        replace(
            _first,
            last_end="limit",
            changed=Changed(number=9, said="the upper hand an octave lower"),
        ),
        NOTES,
    ),
    "sounding-endless": (
        replace(_falling(Phase.SOUNDING, 5, 0.3), links_left=None, endless=True),
        replace(NOTES, message="keyboard lost: looking for it"),
    ),
    "ended": (silence(replace(_first, last_end="quit"), Phase.ENDED), NOTES),
}


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Run a test that asks for a state once for each of them."""
    if "state" in metafunc.fixturenames:
        metafunc.parametrize("state", list(STATES.values()), ids=list(STATES))


@pytest.fixture
def states() -> dict[str, tuple[Snapshot, ScreenNotes]]:
    """Every state by name."""
    return STATES
