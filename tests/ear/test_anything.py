"""Whatever is played, pressed and typed, in whatever order: it goes on, and it can be shown."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from livecont.ear import lesson_view, viewing
from livecont.ear.asked import Exercise
from livecont.ear.plan import Hand, PlanStep, Show
from livecont.ear.sounds import SessionEvent, Typed
from livecont.screen.ear_page import render_ear
from livecont.screen.ear_view import EarView
from livecont.sequence.events import KeyDown, KeyUp, PedalMove
from livecont.sitting.events import Lost, Tick
from tests.ear.gaming import Table, session
from tests.ear.test_lesson import Room, teaching

PITCHES = st.one_of(st.integers(21, 108), st.sampled_from([21, 60, 62, 64, 65, 67, 108]))
DEEDS = st.one_of(
    st.tuples(st.just("down"), PITCHES),
    st.tuples(st.just("up"), PITCHES),
    st.tuples(st.sampled_from(["pedal", "lift"]), st.sampled_from([64, 66, 67, 1])),
    st.tuples(st.just("type"), st.sampled_from([*" apytb0123456789\r\x1bxß"])),
    st.tuples(st.sampled_from(["tick", "lost"]), st.just(0)),
)
DELAYS = st.one_of(st.floats(0, 0.3), st.floats(0, 12))
LIVES = st.lists(st.tuples(DELAYS, DEEDS), max_size=60)


def event_of(deed: tuple[str, int | str], at_s: float) -> SessionEvent:
    kind, what = deed
    if isinstance(what, str):
        return Typed(at_s=at_s, sign=what)
    if kind == "down":
        return KeyDown(at_s=at_s, pitch=what, velocity=64)
    if kind == "up":
        return KeyUp(at_s=at_s, pitch=what)
    if kind in ("pedal", "lift"):
        return PedalMove(at_s=at_s, controller=what, value=127 if kind == "pedal" else 0)
    return Tick(at_s=at_s) if kind == "tick" else Lost(at_s=at_s)


def can_be_shown(view: EarView) -> None:
    assert view.big
    assert len(render_ear(view, width=80, height=24).lines) == 24


@settings(max_examples=150)
@given(st.sampled_from(list(Exercise)), st.integers(0, 3), LIVES)
def test_a_game_goes_on(
    exercise: Exercise, seed: int, life: list[tuple[float, tuple[str, int | str]]]
) -> None:
    table = Table(session(exercise, players=("one", "two"), seed=seed, questions=6))
    for delay_s, deed in life:
        table.give(event_of(deed, table.now_s + delay_s))
        game = table.game
        assert game.until_s is None or game.until_s >= game.now_s
        assert len(table.kept) == game.count
        can_be_shown(viewing.view(game, table.now_s))
    assert [one.player for one in table.kept] == ["one", "two", "one", "two", "one", "two"][
        : len(table.kept)
    ]
    assert table.game.count <= 6


STEPS = (
    PlanStep(show=Show.ONE_HAND, hand=Hand.LEFT, links=1, tempo=400),
    PlanStep(show=Show.ANSWER, tempo=400),
    PlanStep(show=Show.ONE_HAND, hand=Hand.RIGHT, links=1, waits=False, tempo=400),
    PlanStep(show=Show.CHAIN, links=3, tempo=400),
)


@settings(max_examples=150)
@given(st.booleans(), LIVES)
def test_a_lesson_goes_on(
    played_first: bool, life: list[tuple[float, tuple[str, int | str]]]
) -> None:
    room = Room(teaching(*STEPS, name=None if played_first else "thirds-down"))
    for delay_s, deed in life:
        room.give(event_of(deed, room.now_s + delay_s))
        assert 0 <= room.lesson.at < len(STEPS)
        can_be_shown(lesson_view.view(room.lesson, room.now_s))
