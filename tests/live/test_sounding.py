"""What is due is sent, in order; what is late, lost or hushed is dealt with as stated."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from livecont.errors import PortError
from livecont.live.clock import ManualClock
from livecont.live.sounding import LATE_BOUND_S, LOG_MOST, Sounding

ALL_NOTES_OFF = b"\xb0\x7b\x00"
PEDALS_UP = (b"\xb0\x40\x00", b"\xb0\x42\x00", b"\xb0\x43\x00")


def on(pitch: int) -> bytes:
    return bytes((0x90, pitch, 80))


def off(pitch: int) -> bytes:
    return bytes((0x80, pitch, 64))


class MemoryOutput:
    """Keeps what it is sent; can be broken, and can want messages ahead of their time."""

    def __init__(self, lead_s: float = 0.0) -> None:
        self.lead_s = lead_s
        self.lossy = False
        self.got: list[bytes] = []
        self.at_s: list[float] = []
        self.forgotten = 0
        self.broken = False

    def send(self, message: bytes, at_s: float) -> None:
        if self.broken:
            raise PortError("MIDI output 'memory' fails: unplugged")
        self.got.append(message)
        self.at_s.append(at_s)

    def forget(self) -> None:
        self.forgotten += 1


def started(lead_s: float = 0.0) -> tuple[Sounding, MemoryOutput, ManualClock]:
    clock, output = ManualClock(100.0), MemoryOutput(lead_s)
    return Sounding(output, clock.now_s), output, clock


def run_until(core: Sounding, clock: ManualClock, t_s: float) -> None:
    while (wake_s := core.send_due()) is not None and wake_s <= t_s:
        clock.sleep_until(wake_s)
    clock.sleep_until(t_s)


def test_messages_go_out_when_due_and_not_before() -> None:
    core, output, clock = started()
    core.play([(101.0, on(60)), (102.0, off(60))])
    assert core.send_due() == 101.0
    assert output.got == []
    clock.sleep_until(101.0)
    assert core.send_due() == 102.0
    assert output.got == [on(60)]
    clock.sleep_until(102.0)
    assert core.send_due() is None
    assert core.log == [(101.0, 101.0, on(60)), (102.0, 102.0, off(60))]


def test_the_order_is_by_due_time_then_by_arrival() -> None:
    core, output, clock = started()
    core.play([(102.0, on(62)), (101.0, on(61))])
    core.play([(101.0, on(50)), (101.0, on(40)), (100.5, on(60))])
    run_until(core, clock, 103.0)
    assert output.got == [on(60), on(61), on(50), on(40), on(62)]


@given(st.lists(st.tuples(st.integers(0, 5), st.integers(0, 127)), max_size=40))
def test_any_plan_goes_out_sorted_and_stable(plan: list[tuple[int, int]]) -> None:
    core, output, clock = started()
    core.play([(101.0 + second, bytes((0xC0, program))) for second, program in plan])
    run_until(core, clock, 110.0)
    assert output.got == [bytes((0xC0, one[1])) for one in sorted(plan, key=lambda one: one[0])]


def test_a_chord_prepared_before_its_moment_goes_out_at_it_and_alone() -> None:
    core, output, clock = started()
    core.play([(101.0, on(60)), (101.0, on(64)), (101.001, off(60)), (102.0, off(64))])
    clock.sleep_until(100.9998)
    seen: list[int] = []

    def wait(t_s: float) -> None:
        seen.append(len(output.got))
        clock.sleep_until(t_s)

    core.send_next(wait)
    assert seen == [0]
    assert core.log == [(101.0, 101.0, on(60)), (101.0, 101.0, on(64))]
    assert core.pending == 2
    assert core.counts.scheduled == 2


def test_what_was_dropped_while_it_was_prepared_is_not_missed() -> None:
    """The output may be found lost between the look at what is due and its moment."""
    core, output, clock = started()
    core.play([(100.5, on(60))])
    assert core.send_due() == 100.5
    core.lose("gone")
    core.send_next(clock.sleep_until)
    assert output.got == []


def test_strikes_that_are_too_late_are_dropped_and_releases_are_not() -> None:
    core, output, clock = started()
    core.play([(101.0, on(60)), (101.5, off(60)), (102.0, on(62)), (103.0, off(62))])
    clock.sleep_until(101.0)
    core.send_due()
    clock.advance(3600.0)  # the lid was closed for an hour
    core.play([(clock.now_s() - LATE_BOUND_S, on(64)), (clock.now_s() + 1.0, off(64))])
    core.send_due()
    assert output.got == [on(60), off(60), off(62), on(64)]
    assert core.counts.dropped_late == 1
    assert core.sounding == {(0, 64)}


def test_an_hour_of_late_notes_is_not_fired() -> None:
    core, output, clock = started()
    core.play([(101.0 + i, on(60)) for i in range(3600)])
    clock.advance(7200.0)
    core.send_due()
    assert output.got == []
    assert core.counts.dropped_late == 3600


def test_the_release_of_a_dropped_strike_does_not_end_the_next_note() -> None:
    core, output, clock = started()
    core.play([(101.0, on(60)), (105.0, off(60)), (104.9, on(60)), (106.0, off(60))])
    clock.sleep_until(104.0)
    run_until(core, clock, 105.5)
    assert core.sounding == {(0, 60)}
    run_until(core, clock, 107.0)
    assert output.got == [on(60), off(60)]


def test_hush_forgets_what_is_planned_and_releases_what_sounds() -> None:
    core, output, clock = started()
    core.play([(100.0, on(60)), (100.0, on(64)), (101.0, off(60)), (101.0, off(64))])
    core.thru(on(72))
    core.send_due()
    core.hush()
    assert output.got[-2:] == [off(60), off(64)]
    assert core.pending == 0
    assert core.sounding == {(0, 72)}
    run_until(core, clock, 110.0)
    assert output.got == [on(72), on(60), on(64), off(60), off(64)]


def test_hushing_everything_releases_the_player_too() -> None:
    core, output, _ = started()
    core.thru(on(72))
    core.hush(everything=True)
    assert output.got == [on(72), off(72), ALL_NOTES_OFF]


def test_what_is_planned_after_a_hush_sounds() -> None:
    core, output, _ = started()
    core.play([(100.0, on(60)), (101.0, off(60))])
    core.send_due()
    core.hush()
    core.play([(100.0, on(62)), (100.0, off(62))])
    core.send_due()
    assert output.got == [on(60), off(60), on(62), off(62)]


def test_what_is_no_message_is_counted_and_not_sent() -> None:
    core, output, _ = started()
    for nonsense in (b"", b"\x3c\x40", b"\x90\x3c", b"\x90\x3c\x90", b"\xf0\x01", bytes(300)):
        core.thru(nonsense)
    assert output.got == []
    assert core.counts.dropped_bad == 6


def test_a_lost_output_gets_nothing_and_is_released_when_it_is_back() -> None:
    core, output, clock = started()
    core.play([(100.0, on(60)), (101.0, off(60)), (102.0, on(62)), (103.0, off(62))])
    core.thru(on(72))
    core.send_due()
    core.lose("gone")
    assert core.lost == "gone"
    assert core.pending == 0
    core.play([(101.0, on(65)), (102.0, off(65))])
    core.thru(on(74))
    run_until(core, clock, 110.0)
    core.hush()
    assert output.got == [on(72), on(60)]
    assert core.counts.dropped_lost == 3 + 2 + 1
    core.find()
    assert output.got[2:] == [off(60), off(72), *PEDALS_UP, ALL_NOTES_OFF]
    core.thru(on(76))
    assert output.got[-1] == on(76)


def test_a_send_that_fails_means_that_the_output_is_lost() -> None:
    core, output, clock = started()
    core.play([(100.0, on(60)), (101.0, off(60)), (101.0, on(62))])
    core.send_due()
    output.broken = True
    clock.sleep_until(101.0)
    core.send_due()
    assert core.lost is not None
    assert "unplugged" in core.lost
    core.find()  # too early: it is still broken
    assert core.lost is not None
    output.broken = False
    core.find()
    assert output.got == [on(60), off(60), *PEDALS_UP, ALL_NOTES_OFF]
    assert core.lost is None


def test_what_was_released_into_the_void_is_released_again() -> None:
    """The output went before that was noticed, and a release with it."""
    core, output, clock = started()
    core.play([(100.0, on(60)), (101.0, off(60))])
    run_until(core, clock, 102.0)
    core.lose("gone a while ago")
    core.find()
    assert output.got[2:] == [off(60), *PEDALS_UP, ALL_NOTES_OFF]


def test_at_the_end_an_output_that_loses_messages_is_swept() -> None:
    core, output, _ = started()
    core.play([(100.0, on(60)), (100.0, off(60))])
    core.thru(on(72))
    core.send_due()
    core.hush(everything=True)
    core.sweep()
    sent = len(output.got)
    output.lossy = True
    core.sweep()
    assert [message.hex(" ") for message in output.got[sent:]] == [
        "80 3c 40",
        "80 48 40",
        "b0 40 00",
        "b0 42 00",
        "b0 43 00",
        "b0 7b 00",
    ]


def test_an_output_that_wants_messages_ahead_gets_them_ahead_with_their_moment() -> None:
    core, output, clock = started(lead_s=0.05)
    core.play([(101.0, on(60))])
    assert core.send_due() == 100.95
    clock.sleep_until(100.95)
    core.send_due()
    assert output.at_s == [101.0]
    assert core.log == [(101.0, 101.0, on(60))]
    core.hush()
    assert output.forgotten == 1


def test_a_log_that_nobody_reads_is_bounded() -> None:
    core, _, _ = started()
    for _ in range(LOG_MOST + 5):
        core.thru(b"\xf8")
    assert len(core.log) == LOG_MOST
    assert core.counts.not_logged == 5


pitches = st.integers(60, 63)
steps = st.one_of(
    st.tuples(st.just("note"), pitches, st.integers(0, 20), st.integers(0, 20)),
    st.tuples(st.just("thru"), pitches, st.booleans()),
    st.tuples(st.just("wait"), st.integers(1, 30)),
    st.tuples(st.just("hush")),
    st.tuples(st.just("lose")),
    st.tuples(st.just("find")),
)


@given(st.lists(steps, max_size=50))
def test_however_a_sitting_goes_nothing_sounds_after_its_end(
    plan: list[tuple[object, ...]],
) -> None:
    core, output, clock = started()
    for word, *rest in plan:
        match word, rest:
            case "note", [int(pitch), int(delay), int(length)]:
                start_s = clock.now_s() + delay / 10 - 0.5
                core.play([(start_s, on(pitch)), (start_s + length / 10, off(pitch))])
            case "thru", [int(pitch), bool(is_down)]:
                core.thru(on(pitch) if is_down else off(pitch))
            case "wait", [int(tenths)]:
                run_until(core, clock, clock.now_s() + tenths / 10)
            case "hush", _:
                core.hush()
            case "lose", _:
                core.lose("gone")
            case "find", _:
                core.find()
    core.find()
    core.hush(everything=True)
    sounding: set[int] = set()
    for status, pitch, _ in output.got:
        if status == 0x90:
            assert pitch not in sounding
            sounding.add(pitch)
        elif status == 0x80:
            sounding.discard(pitch)
    assert sounding == set()
