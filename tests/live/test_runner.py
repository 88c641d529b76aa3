"""The runner, with a sounding process in memory that keeps the real one's ledger."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import mido
import pytest
from hypothesis import HealthCheck, given
from hypothesis import settings as checking
from hypothesis import strategies as st

from livecont.live.clock import ManualClock, SystemClock
from livecont.live.inputs import PortEvent, PortNews
from livecont.live.parts import Machine, Voice
from livecont.live.report import SounderState
from livecont.live.runner import Runner
from livecont.live.take import TakeRecorder
from livecont.music.key import parse_key
from livecont.sequence.events import KeyDown, KeyUp, PlayerEvent
from livecont.sitting import machine
from livecont.sitting.events import (
    ChangeKey,
    Cue,
    Ended,
    Lost,
    News,
    Quit,
    SittingEvent,
    Stop,
    Tick,
    TookOver,
)
from tests.live.small_sitting import (
    CONTROLS,
    PATIENCE_S,
    SETTINGS,
    Heard,
    MemoryVoice,
    Small,
    hanging,
    running,
    until,
)

BYTES = st.one_of(
    st.binary(max_size=6),
    st.builds(
        lambda status, one, two: bytes((status, one, two)),
        st.sampled_from([0x90, 0x91, 0x80, 0x9F, 0xB0]),
        st.integers(0, 127),
        st.integers(0, 127),
    ),
)


@checking(deadline=None, max_examples=60, suppress_health_check=[HealthCheck.too_slow])
@given(
    arrivals=st.lists(BYTES, max_size=40),
    thru=st.booleans(),
    sitting=st.sampled_from(["small", "real"]),
    end=st.sampled_from(["quit", "leave", "typed", "fault", "error"]),
    wait=st.booleans(),
)
def test_every_strike_has_its_release_whatever_arrives_and_however_it_ends(
    arrivals: list[bytes], thru: bool, sitting: str, end: str, wait: bool
) -> None:
    voice, small = MemoryVoice(), Small(ValueError("a fault of ours") if end == "fault" else None)
    chosen: Any = small if sitting == "small" else machine
    runner: Runner[Any] = Runner(
        chosen,
        SETTINGS,
        clock=SystemClock(),
        sounder=voice,
        controls=CONTROLS,
        thru=thru,
    )

    def sit() -> None:
        with runner:
            ear = runner.ear("keys")
            for data in arrivals:
                ear((data, 0.0))
            if wait:
                until(lambda: runner._inbox.empty or runner.wait(0.0))
            if end == "quit":
                runner.quit()
                assert runner.wait(PATIENCE_S)
            elif end == "typed":
                runner.press("q")
                assert runner.wait(PATIENCE_S)
            elif end == "error":
                raise KeyboardInterrupt

    try:
        sit()
    except (KeyboardInterrupt, ValueError):
        assert end in ("error", "fault")
    assert voice.closed
    assert hanging(voice.output.sent) == set()


def test_a_fault_of_ours_ends_in_silence_and_is_raised_in_the_main_thread(tmp_path: Path) -> None:
    voice, small = MemoryVoice(), Small(ZeroDivisionError("a fault"))
    take = TakeRecorder(tmp_path, datetime(2025, 1, 31), start_s=0.0)  # noqa: DTZ001
    runner = running(small, voice, take=take, thru=True)

    def sit() -> None:
        with runner:
            runner.ear("keys")((b"\x90\x3c\x40", 0.0))
            assert runner.wait(PATIENCE_S)

    with pytest.raises(ZeroDivisionError, match="a fault"):
        sit()
    assert voice.output.sent[0] == b"\x90\x3c\x40"
    assert hanging(voice.output.sent) == set()
    assert len(list(tmp_path.glob("*.mid"))) == 1
    runner.close()  # once more does nothing


def test_what_a_keyboard_sends_reaches_the_sitting_in_order() -> None:
    small = Small()
    with running(small) as runner:
        ear = runner.ear("keys")
        for pitch in range(1, 40):
            ear((bytes((0x90, pitch, 64)), 0.001))
        assert until(lambda: len(small.heard) >= 39)
        runner.quit()
        assert runner.wait(PATIENCE_S)
    struck = [event.pitch for event in small.heard if isinstance(event, KeyDown)]
    assert struck == list(range(1, 40))
    assert isinstance(small.heard[-1], Quit)


def test_a_control_goes_before_notes_that_wait() -> None:
    small = Small()
    runner = running(small)
    ear = runner.ear("keys")
    for _ in range(1000):
        ear((b"\x90\x02\x40", 0.0))
    runner.press("s")
    with runner:
        assert until(lambda: len(small.heard) > 1)
    assert isinstance(small.heard[0], Stop)


def test_a_sitting_is_woken_when_it_wants() -> None:
    small, clock = Small(), SystemClock()
    with running(small) as runner:
        runner.post(Cue(at_s=clock.now_s()))
        assert until(lambda: any(isinstance(event, Tick) for event in small.heard))
    cue, tick = small.heard[:2]
    assert isinstance(tick, Tick)
    assert tick.at_s >= cue.at_s + 0.02


def test_what_is_sounded_is_planned_ahead_and_told_to_take_and_listeners(tmp_path: Path) -> None:
    voice, news = MemoryVoice(), list[News]()
    take = TakeRecorder(tmp_path, datetime(2025, 1, 31), start_s=0.0)  # noqa: DTZ001
    with running(Small(), voice, take=take, listeners=[news.append]) as runner:
        runner.ear("keys")((b"\x90\x3c\x40", 0.0))
        assert until(lambda: voice.core.counts.scheduled >= 6)
        runner.press("s")
        assert until(lambda: bool(news))
        runner.post(ChangeKey(at_s=0.0, key=parse_key("e minor")))
    assert [type(one) for one in news] == [Ended]
    (path,) = tmp_path.glob("*.mid")
    midi = mido.MidiFile(path)
    assert [m.note for m in midi.tracks[0] if m.type == "note_on"] == [60]
    assert [m.note for m in midi.tracks[1] if m.type == "note_on"] == [60, 64]
    assert [m.key for m in midi.tracks[0] if m.type == "key_signature"] == ["C", "Em"]


def test_the_player_passes_through_at_once_and_controls_do_not() -> None:
    voice = MemoryVoice()
    runner = running(Small(), voice, thru=True)
    ear = runner.ear("keys")
    ear((b"\x90\x3c\x40", 0.0))
    ear((b"\xb0\x42\x7f", 0.0))
    assert voice.output.sent == [b"\x90\x3c\x40"]  # before the sitting has even begun
    runner.close()


def test_a_lost_keyboard_is_let_go_and_told_to_the_sitting() -> None:
    voice, small, told = MemoryVoice(), Small(), list[str]()
    with running(small, voice, thru=True, tell=told.append) as runner:
        runner.ear("keys")((b"\x90\x02\x40", 0.0))
        assert until(lambda: len(small.heard) > 0)
        runner.post(PortNews(event=PortEvent.LOST, source="keys"))
        assert until(lambda: any(isinstance(event, Lost) for event in small.heard))
        assert hanging(voice.output.sent) == set()
        runner.post(PortNews(event=PortEvent.RETURNED, source="keys"))
        assert until(lambda: len(told) == 2)
        assert runner.health().notices == tuple(told)
    assert [type(event) for event in small.heard if not isinstance(event, Tick)][:3] == [
        KeyDown,
        KeyUp,
        Lost,
    ]
    assert "is gone" in told[0]
    assert "is back" in told[1]


def test_a_lost_output_is_told_and_the_sitting_forgets_what_it_half_heard() -> None:
    voice, small, told = MemoryVoice(), Small(), list[str]()
    with running(small, voice, tell=told.append):
        voice.state = SounderState.LOST
        assert until(lambda: any(isinstance(event, Lost) for event in small.heard))
        voice.state = SounderState.RUNNING
        assert until(lambda: len(told) == 2)
    assert "the cable is out" in told[0]
    assert "is back" in told[1]


def test_a_sounding_process_that_died_is_started_again() -> None:
    voice, small, told = MemoryVoice(), Small(), list[str]()
    with running(small, voice, tell=told.append):
        voice.state = SounderState.ENDED
        assert until(lambda: voice.state is SounderState.RUNNING and len(told) == 2)
    assert voice.revived == 3


def test_input_without_end_is_counted_told_and_survived() -> None:
    voice, small, told = MemoryVoice(), Small(), list[str]()
    runner = running(small, voice, tell=told.append, comes_back=False)
    ear = runner.ear("keys")
    for k in range(6000):
        ear((bytes((0x90, 2 + k % 100, 64)), 0.0))
    assert runner.health().overruns == 6000 - 4096
    with runner:
        assert until(lambda: bool(told))

        def count(kind: type[SittingEvent]) -> int:
            return sum(isinstance(event, kind) for event in tuple(small.heard))

        # nobody knows whether the releases were among what was lost
        assert until(lambda: count(KeyDown) == count(KeyUp) == 4096)
    assert "1904 messages" in told[0]
    assert hanging(voice.output.sent) == set()


def test_the_latest_snapshot_moves_on() -> None:
    with running() as runner:
        first = runner.latest
        assert until(lambda: runner.latest.at_s > first.at_s + 0.1)


def test_a_line_being_typed_can_be_seen() -> None:
    controls = SimpleNamespace(pedals={}, keys={}, computer={"k": "change-key"})
    small = Small()
    sitting: Machine[Heard] = small
    with Runner(
        sitting, SETTINGS, clock=SystemClock(), sounder=MemoryVoice(), controls=controls
    ) as runner:
        for sign in "ke min":
            runner.press(sign)
        assert until(lambda: runner.health().typed == "e min")
        for sign in "or\r":
            runner.press(sign)
        assert until(lambda: any(isinstance(event, ChangeKey) for event in small.heard))


DOWN = {72: 71, 74: 72, 76: 74, 77: 76}


def two_links(unit_s: float = 0.48) -> tuple[PlayerEvent, ...]:
    """Four notes, then each of them a step lower in C major."""
    events: list[PlayerEvent] = []
    first = (72, 76, 74, 77)
    for k, pitch in enumerate((*first, *(DOWN[pitch] for pitch in first))):
        at_s = k * unit_s / 4
        events.append(KeyDown(at_s=at_s, pitch=pitch, velocity=70))
        events.append(KeyUp(at_s=at_s + 0.8 * unit_s / 4, pitch=pitch))
    return tuple(events)


def test_the_real_sitting_continues_what_is_fed_and_ends_by_itself() -> None:
    """C E D F, B C... moved by a step: by hand, in C major."""
    voice, news = MemoryVoice(), list[News]()
    with Runner(
        machine,
        replace(SETTINGS, most_links=2),
        clock=SystemClock(),
        sounder=voice,
        controls=CONTROLS,
        comes_back=False,
        ends_with_chain=True,
        listeners=[news.append],
    ) as runner:
        runner.feed(two_links())
        assert runner.wait(PATIENCE_S)
    struck = [m[1] for m in voice.output.sent if m[0] & 0xF0 == 0x90]
    assert struck == [69, 72, 71, 74, 67, 71, 69, 72]
    assert [type(one) for one in news][-2:] == [TookOver, Ended]
    assert hanging(voice.output.sent) == set()


def test_the_real_sounder_in_its_own_process_is_a_voice() -> None:
    """Held by mypy: the two fit together."""
    from livecont.live.sounder import Sounder

    kind: type[Voice] = Sounder
    assert kind is Sounder
    assert ManualClock().now_s() == 0.0
