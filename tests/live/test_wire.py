"""What crosses the pipes fits them, and only whole MIDI messages do."""

from __future__ import annotations

import select
import sys
from multiprocessing import Pipe

import mido
import pytest
from hypothesis import given
from hypothesis import strategies as st

from livecont.live.lateness import Lateness
from livecont.live.wire import FRAME_BYTES, MESSAGE_BYTES, is_message, portions

messages = st.binary(min_size=1, max_size=MESSAGE_BYTES)


@given(st.lists(st.tuples(st.floats(0, 1e9), messages), max_size=100))
def test_portions_keep_everything_in_order_and_fit_a_frame(
    due: list[tuple[float, bytes]],
) -> None:
    cut = list(portions(due))
    assert [item for portion in cut for item in portion] == due
    reading, writing = Pipe(duplex=False)
    with reading, writing:
        for portion in cut:
            writing.send(("sent", portion))
            assert len(reading.recv_bytes()) <= FRAME_BYTES


@pytest.mark.skipif(sys.platform == "win32", reason="Windows pipes have no such bound")
def test_a_frame_is_written_in_one_piece() -> None:
    assert FRAME_BYTES + 4 <= select.PIPE_BUF  # 4: multiprocessing's own header


def test_every_kind_of_message_that_mido_knows_is_one() -> None:
    for name in mido.messages.SPEC_BY_TYPE:
        message = mido.Message(name, data=(1, 2)) if name == "sysex" else mido.Message(name)
        data = bytes(message.bytes())
        assert is_message(data), name
        assert not is_message(data + b"\x00"), name
        assert len(data) == 1 or not is_message(data[:-1]), name


@given(st.binary(max_size=4))
def test_what_is_taken_for_a_message_mido_can_read(data: bytes) -> None:
    undefined = {0xF4, 0xF5, 0xF9, 0xFD}  # MIDI 1.0 leaves them undefined
    if is_message(data) and data[0] not in undefined and data[:1] != b"\xf7":
        assert bytes(mido.Message.from_bytes(data).bytes()) == data


def test_messages_are_bounded() -> None:
    assert is_message(b"\xf0" + bytes(MESSAGE_BYTES - 2) + b"\xf7")
    assert not is_message(b"\xf0" + bytes(MESSAGE_BYTES - 1) + b"\xf7")


@given(st.lists(st.integers(0, 19_000), min_size=1), st.sampled_from([0.5, 0.99, 1.0]))
def test_quantiles_of_lateness_are_those_of_the_sorted_list(
    late_us: list[int], share: float
) -> None:
    late = Lateness()
    for one in late_us:
        late.add(one / 1e6)
    at_most = sorted(late_us)[max(0, -int(-share * len(late_us) // 1) - 1)]
    assert round(late.quantile_s(share) * 1e6) == at_most
    assert round(late.most_s * 1e6) == max(late_us)


def test_lateness_above_the_bins_is_its_greatest() -> None:
    late = Lateness()
    late.add(-1.0)
    late.add(0.5)
    assert (late.quantile_s(0.5), late.quantile_s(1.0)) == (0.0, 0.5)
    assert Lateness().quantile_s(0.5) == 0.0
