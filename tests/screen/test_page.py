"""What holds for every page: it fits, says who plays, and needs neither colour nor UTF-8."""

from __future__ import annotations

import io
from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st
from rich.cells import cell_len
from rich.console import Console

from livecont.music.compass import Compass
from livecont.music.key import MODE_FIFTHS, Key
from livecont.music.label import make_label
from livecont.music.pitch import Spelling
from livecont.screen import ScreenNotes, render
from livecont.screen.typeset import STYLES, Tone
from livecont.screen.wording import state_words
from livecont.sequence.analysis import Analysis
from livecont.sequence.endings_clarity import Reach
from livecont.sequence.pattern import Kind, Link, LinkNote, Pattern, Position, Role
from livecont.sitting.events import Fullness, Start
from livecont.sitting.explanation import Explanation, HarmonyTold, LinkTold, MainTold
from livecont.sitting.snapshot import Changed, Phase, Snapshot

times = st.floats(-10.0, 1e5, allow_nan=False)
spellings = st.builds(Spelling, staff=st.integers(0, 70), alter=st.integers(-3, 3))
keys = st.builds(
    Key,
    letter=st.integers(0, 6),
    alter=st.integers(-1, 1),
    mode=st.sampled_from(sorted(MODE_FIFTHS)),
)
units_s = st.floats(0.05, 30.0)
texts = st.none() | st.text(max_size=60)


@st.composite
def compasses(draw: st.DrawFn) -> Compass:
    lowest = draw(st.integers(0, 100))
    highest = draw(st.integers(lowest, 127))
    absent = draw(st.frozensets(st.integers(lowest, highest), max_size=10))
    return Compass(
        name="any", title=draw(st.text(max_size=20)), lowest=lowest, highest=highest,
        absent=absent, source="",
    )  # fmt: skip


@st.composite
def patterns(draw: st.DrawFn) -> Pattern:
    count = draw(st.integers(0, 3))
    positions = st.builds(
        Position,
        offset_units=st.floats(-0.2, 1.2),
        articulation=st.floats(0.0, 2.0),
        velocity=st.integers(1, 127),
        channel=st.just(0),
        heard=st.tuples(*[st.none() | spellings] * count),
    )
    return Pattern(
        unit_s=draw(units_s),
        step_degrees=draw(st.integers(-16, 16)),
        shift_semitones=draw(st.none() | st.integers(-28, 28)),
        kind=draw(st.sampled_from(Kind)),
        key=draw(keys),
        positions=tuple(draw(st.lists(positions, max_size=40))),
        pedals=(),
        starts_s=tuple(draw(st.lists(times, max_size=3))),
        due_s=draw(times),
        confidence=draw(st.floats(0.0, 1.0)),
        links_heard=draw(st.integers(0, 5)),
    )


@st.composite
def links(draw: st.DrawFn) -> Link:
    unit_s = draw(units_s)
    notes = st.builds(
        LinkNote,
        offset_s=st.floats(-0.1, 40.0),
        duration_s=st.floats(0.0, 10.0),
        spelling=spellings,
        velocity=st.integers(1, 127),
        channel=st.just(0),
    )
    return Link(
        number=draw(st.integers(1, 1500)),
        unit_s=unit_s,
        notes=tuple(draw(st.lists(notes, max_size=20))),
        pedals=(),
        clarity=draw(st.none() | st.floats(0.0, 1.0)),
        role=draw(st.sampled_from(Role)),
    )


# texts of our own, which need no cleaning
our_words = st.text("abF♯B♭#°ø-/(), ", max_size=70)
labels = st.builds(
    make_label,
    st.integers(-8, 8),
    st.lists(st.integers(-6, 6), min_size=1, max_size=5),
    st.lists(our_words, max_size=2).map(tuple),
)
main_told = st.builds(
    MainTold, name=spellings.map(lambda s: s.letter_name), suspended=st.booleans()
)


@st.composite
def explanations(draw: st.DrawFn) -> Explanation:
    voices = draw(st.integers(0, 4))
    row = st.lists(main_told, max_size=3).map(tuple)
    harmonies = st.builds(
        HarmonyTold,
        numeral=st.sampled_from(["", "I", "V6/5", "vii°7/ii", "iiø4/3"]),
        figures=st.sampled_from(["", "6", "6/5"]),
        voices=st.lists(row, min_size=voices, max_size=voices).map(tuple),
    )
    told = st.builds(
        LinkTold,
        harmonies=st.lists(harmonies, max_size=5).map(tuple),
        key=st.none() | st.sampled_from(["C", "Gb", "f#"]),
    )
    return Explanation(
        analysis=Analysis(
            label=draw(st.none() | labels),
            alternatives=tuple(draw(st.lists(labels, max_size=3))),
            doubt=draw(st.none() | our_words),
            harmonies=(),
            reduction=(),
            linear_steps=(),
            link=1,
        ),
        first=draw(st.integers(1, 5)),
        lap=draw(st.integers(1, 12)),
        links=tuple(draw(st.lists(told, max_size=12))),
    )


snapshots = st.builds(
    Snapshot,
    at_s=times,
    phase=st.sampled_from(Phase),
    key=st.none() | keys,
    key_chosen=st.booleans(),
    compass=compasses(),
    heard=st.lists(spellings, max_size=20).map(tuple),
    pattern=st.none() | patterns(),
    links_heard=st.lists(st.lists(spellings, max_size=9).map(tuple), max_size=3).map(tuple),
    sounding=st.none() | links(),
    sounding_start_s=st.none() | times,
    coming=st.lists(links(), max_size=8).map(tuple),
    links_left=st.none() | st.integers(0, 1000),
    held=st.lists(st.integers(0, 127), max_size=8).map(tuple),
    last_end=st.none() | st.sampled_from(["limit", "compass", "stopped", "lost", "quit", "else"]),
    reach=st.none() | st.builds(Reach, clear=st.integers(0, 99), compass=st.integers(0, 99)),
    changed=st.none() | st.builds(Changed, number=st.integers(3, 99), said=our_words),
    kind_changed=st.booleans(),
    kind_from=st.integers(2, 40),
    explanation=st.none() | explanations(),
    fullness=st.sampled_from(Fullness),
)
all_notes = st.builds(
    ScreenNotes,
    input_name=texts,
    output_name=texts,
    dropped_count=st.integers(0, 10**6),
    late_count=st.integers(0, 10**6),
    take_path=texts,
    message=texts,
    hints=st.lists(st.tuples(st.text(max_size=9), st.text(max_size=12)), max_size=6).map(tuple),
    start=st.none() | st.sampled_from(Start),
)


@settings(max_examples=250, deadline=None)
@given(snapshots, all_notes, st.integers(20, 250), st.integers(8, 80))
def test_any_snapshot_fits_any_page(
    snapshot: Snapshot, notes: ScreenNotes, width: int, height: int
) -> None:
    lines = render(snapshot, width=width, height=height, notes=notes).lines
    assert len(lines) == height
    for runs in lines:
        text = "".join(run.text for run in runs)
        assert cell_len(text) <= width
        assert text.isprintable()


@settings(max_examples=60, deadline=None)
@given(snapshots, all_notes, st.integers(20, 250), st.integers(8, 80))
def test_any_page_can_be_printed_in_ascii(
    snapshot: Snapshot, notes: ScreenNotes, width: int, height: int
) -> None:
    raw = io.BytesIO()
    file = io.TextIOWrapper(raw, encoding="ascii", errors="strict", newline="\n")
    console = Console(file=file, width=width, height=height, color_system=None, _environ={})
    console.print(render(snapshot, width=width, height=height, notes=notes), end="")
    file.flush()
    assert raw.getvalue().count(b"\n") == height


def page_text(snapshot: Snapshot, notes: ScreenNotes, width: int, height: int) -> str:
    sheet = render(snapshot, width=width, height=height, notes=notes)
    return "\n".join("".join(run.text for run in runs) for runs in sheet.lines)


def test_every_page_says_in_words_what_goes_on(state: tuple[Snapshot, ScreenNotes]) -> None:
    for width, height in ((40, 12), (60, 24), (80, 17), (80, 24), (120, 40), (200, 60)):
        assert state_words(state[0], state[1].start) in page_text(*state, width, height)


def test_states_differ_without_colour(states: dict[str, tuple[Snapshot, ScreenNotes]]) -> None:
    said = {
        state_words(states[name][0], states[name][1].start)
        for name in ("listening-key-estimated", "understood", "ready-on-cue", "sounding-first",
                     "ended")
    }  # fmt: skip
    assert len(said) == 5


def test_the_tone_of_what_sounds_is_marked_without_colour_too() -> None:
    assert STYLES[Tone.OURS].bold
    assert not STYLES[Tone.OURS_QUIET].bold
    assert STYLES[Tone.QUIET].dim


def test_the_sounding_link_is_always_on_the_page(
    states: dict[str, tuple[Snapshot, ScreenNotes]],
) -> None:
    snapshot, notes = states["sounding-sixth"]
    for width in range(44, 140, 7):
        for height in range(18, 50, 5):
            lines = page_text(snapshot, notes, width, height).splitlines()
            assert [line for line in lines if line.lstrip().startswith("6") or " 6 " in line]
            assert any("▸" in line for line in lines), (width, height)


def test_trouble_is_shown_only_when_there_is_some(
    states: dict[str, tuple[Snapshot, ScreenNotes]],
) -> None:
    snapshot, notes = states["sounding-sixth"]
    assert "2 late" in page_text(snapshot, notes, 80, 24)
    calm = replace(notes, late_count=0, dropped_count=0)
    assert "late" not in page_text(snapshot, calm, 80, 24)


def test_a_message_and_the_take_reach_the_page(
    states: dict[str, tuple[Snapshot, ScreenNotes]],
) -> None:
    snapshot, notes = states["sounding-endless"]
    for width, height in ((40, 12), (60, 24), (80, 24), (120, 40), (200, 60)):
        assert "looking for it" in page_text(snapshot, notes, width, height)
    assert str(notes.take_path) in page_text(snapshot, notes, 120, 40)
    assert str(notes.take_path) in page_text(*states["ended"], 80, 24)


def test_text_from_outside_cannot_move_the_cursor(
    states: dict[str, tuple[Snapshot, ScreenNotes]],
) -> None:
    snapshot, notes = states["sounding-first"]
    nasty = "\x1b[2J\r\npiano\u0000\u200f"
    text = page_text(
        snapshot, replace(notes, input_name=nasty, message=nasty, take_path=nasty), 120, 40
    )
    assert "piano" in text
    assert text.replace("\n", "").isprintable()
