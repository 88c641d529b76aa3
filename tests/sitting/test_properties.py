"""Whatever happens at the keyboard: silence in the end, the same again, nothing overdue."""

from __future__ import annotations

from collections.abc import Sequence

from hypothesis import given, settings
from hypothesis import strategies as st

from livecont.music.compass import Compass
from livecont.sequence.endings import Ending
from livecont.sequence.events import SUSTAIN, KeyDown, KeyUp, PedalMove, PlayerEvent
from livecont.sitting.events import (
    ChangeFullness,
    ChangeKey,
    ChangeKind,
    Cue,
    Ended,
    Fullness,
    Hush,
    Lost,
    Quit,
    Settings,
    SittingEvent,
    Sound,
    Start,
    Stop,
    Tick,
    TookOver,
)
from livecont.sitting.snapshot import Phase
from livecont.sitting.virtual import run
from tests.sitting.desk import Desk
from tests.strategies import PIANO, Chain, Touch, hands, keys, perform, tonal_chains

SHORT = Compass(
    name="short", title="", lowest=36, highest=84, absent=frozenset({37, 39, 42, 44}), source=""
)
JUST_PASSED_S = 0.1  # a link may be handed over so long after its first note was due, no longer


@st.composite
def chosen(draw: st.DrawFn) -> Settings:
    return Settings(
        key=draw(st.one_of(st.none(), keys("major", "minor"))),
        compass=draw(st.sampled_from([PIANO, SHORT])),
        start=draw(st.sampled_from(list(Start))),
        most_links=draw(st.sampled_from([None, 1, 2, 5])),
        least_confidence=draw(st.sampled_from([0.0, 0.75])),
        draws_ahead=draw(st.booleans()),
        ending=draw(st.sampled_from([Ending.STOP, *Ending])),
        surprise=draw(st.sampled_from([0.0, 0.0, 0.5])),
        fullness=draw(st.sampled_from([Fullness.FULL, *Fullness])),
    )


@st.composite
def interruptions(draw: st.DrawFn, until_s: float) -> list[SittingEvent]:
    """Anything else that can happen in a sitting, a few times."""
    events: list[SittingEvent] = []
    for _ in range(draw(st.integers(0, 5))):
        at_s = draw(st.floats(0.0, until_s))
        pitch = draw(st.integers(30, 90))
        key = draw(st.one_of(st.none(), keys("major")))
        anything: list[SittingEvent] = [
            KeyDown(at_s=at_s, pitch=pitch, velocity=70),
            KeyDown(at_s=at_s, pitch=pitch, velocity=70),
            KeyUp(at_s=at_s, pitch=pitch),
            PedalMove(at_s=at_s, controller=SUSTAIN, value=pitch),
            Cue(at_s=at_s),
            Cue(at_s=at_s),
            Tick(at_s=at_s),
            Stop(at_s=at_s),
            Lost(at_s=at_s),
            ChangeKey(at_s=at_s, key=key),
            ChangeKind(at_s=at_s),
            ChangeFullness(at_s=at_s),
        ]
        events.append(draw(st.sampled_from(anything)))
    return events


@st.composite
def sittings(draw: st.DrawFn) -> list[SittingEvent]:
    """A chain played by people, some links of it, with interruptions; then whatever sounds."""
    chain = draw(tonal_chains("major", "minor"))
    touch = draw(hands())
    played = perform(chain, touch, links=draw(st.sampled_from([2, 2, 3])))
    end_s = played.starts_s[-1]
    unit_s = played.starts_s[1] - played.starts_s[0]
    events: list[SittingEvent] = [*played.events, *draw(interruptions(end_s + 3 * unit_s))]
    return sorted(events, key=lambda event: event.at_s)


def sat(options: Settings, events: Sequence[SittingEvent]) -> Desk:
    desk = Desk(options)
    desk.give(*events)
    return desk


@settings(max_examples=60)
@given(
    chosen(),
    sittings(),
    st.floats(0.0, 1.0),
    st.floats(0.0, 6.0),
    st.sampled_from([Quit, Stop, Lost]),
)
def test_however_a_sitting_ends_nothing_is_left_sounding(
    options: Settings,
    events: list[SittingEvent],
    share: float,
    later_s: float,
    way: type[Quit | Stop | Lost],
) -> None:
    """Any part of it, some time, and then a way out: a silence after every link handed over."""
    desk = sat(options, events[: int(share * len(events))])
    desk.until(desk.now_s + later_s)
    effects = desk.give(way(at_s=desk.now_s))
    assert any(isinstance(effect, Hush) for effect in effects)
    assert desk.pending() == []
    last = [effect for _, effect in desk.effects if isinstance(effect, Sound | Hush)][-1]
    assert isinstance(last, Hush)
    desk.until(desk.now_s + 30.0)
    assert desk.pending() == []
    assert desk.seen().phase is (Phase.ENDED if way is Quit else Phase.LISTENING)


@settings(max_examples=80)
@given(chosen(), sittings())
def test_the_links_handed_over_are_whole_in_order_and_not_overdue(
    options: Settings, events: list[SittingEvent]
) -> None:
    desk = sat(options, events)
    desk.until(desk.now_s + 20.0)
    pending: list[Sound] = []
    for at_s, effect in desk.effects:
        if isinstance(effect, Hush | Ended):
            pending.clear()
        if not isinstance(effect, Sound):
            continue
        link = effect.link
        assert options.compass.holds(note.pitch for note in link.notes)
        assert all(note.offset_s >= 0 and note.duration_s > 0 for note in link.notes)
        due_s = effect.start_s + min(note.offset_s for note in link.notes)
        assert due_s >= at_s - JUST_PASSED_S
        if pending:
            assert link.number == pending[-1].link.number + 1
            assert effect.start_s > pending[-1].start_s
        pending.append(effect)
    if options.most_links is not None and options.ending in (Ending.STOP, Ending.FOLD):
        assert len(pending) <= options.most_links


@settings(max_examples=25)
@given(chosen(), sittings())
def test_the_same_again_gives_the_same(options: Settings, events: list[SittingEvent]) -> None:
    assert list(run(options, events)) == list(run(options, events))
    one, other = sat(options, events), sat(options, events)
    assert one.effects == other.effects
    assert one.seen() == other.seen()


@settings(max_examples=30)
@given(tonal_chains(), hands(), st.floats(0.0, 2.5), st.integers(21, 108))
def test_a_note_while_livecont_plays_silences_it_within_that_note(
    chain: Chain, touch: Touch, units_later: float, pitch: int
) -> None:
    played = perform(chain, touch)
    desk = sat(Settings(key=chain.key, compass=PIANO, most_links=3), played.events)
    at_s = played.starts_s[2] + units_later * (played.starts_s[2] - played.starts_s[1]) + 0.05
    seen = desk.until(max(at_s, desk.now_s))
    if seen.phase is not Phase.SOUNDING:
        return
    effects = desk.give(KeyDown(at_s=desk.now_s, pitch=pitch, velocity=64))
    assert [type(effect).__name__ for effect in effects] == ["Hush", "GaveWay"]
    assert desk.pending() == []


@settings(max_examples=30)
@given(chosen(), sittings(), st.lists(st.floats(0.0, 12.0), max_size=40))
def test_ticks_that_nobody_asked_for_change_nothing(
    options: Settings, events: list[SittingEvent], ticks_s: list[float]
) -> None:
    """'Always welcome': the same links, at the same times."""
    more: list[SittingEvent] = [*events, *(Tick(at_s=at_s) for at_s in ticks_s)]
    more.sort(key=lambda event: event.at_s)
    end_s = max((event.at_s for event in more), default=0.0) + 15.0
    sounded = []
    for given_events in (events, more):
        desk = sat(options, given_events)
        desk.until(end_s)
        sounded.append([took.link for took in desk.all(TookOver)])
    assert sounded[0] == sounded[1]


@settings(max_examples=40)
@given(
    st.lists(
        st.tuples(
            st.floats(0.0, 0.6),
            st.integers(0, 127),
            st.integers(0, 15),
            st.sampled_from(["down", "down", "down", "up", "pedal"]),
        ),
        max_size=80,
    )
)
def test_any_hammering_is_heard_out(hammered: list[tuple[float, int, int, str]]) -> None:
    """Keys that never come up, keys struck twice, sixteen channels: no error, and silence."""
    events: list[PlayerEvent] = []
    at_s = 0.0
    for wait_s, pitch, channel, what in hammered:
        at_s += wait_s
        if what == "down":
            events.append(
                KeyDown(at_s=at_s, pitch=pitch, velocity=1 + pitch % 127, channel=channel)
            )
        elif what == "up":
            events.append(KeyUp(at_s=at_s, pitch=pitch, channel=channel))
        else:
            events.append(PedalMove(at_s=at_s, controller=64, value=pitch, channel=channel))
    effects = list(run(Settings(key=None, compass=PIANO), events))
    silent = [effect for effect in effects if isinstance(effect, Sound | Hush)][-1]
    assert isinstance(silent, Hush)
