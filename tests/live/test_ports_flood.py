"""More than can be taken in: what is left out is counted, what is taken in keeps its order."""

from __future__ import annotations

from collections import deque

from livecont.live.hearing import Inbox
from livecont.live.ports import AT_ONCE, WAITING_MOST, Event, take_in


class Queue:
    """rtmidi's queue."""

    def __init__(self, count: int) -> None:
        self.events: deque[Event] = deque(
            ([0x90, n % 128, 1 + n // 128 % 127], 0.0) for n in range(count)
        )

    def get_message(self) -> Event | None:
        return self.events.popleft() if self.events else None


def test_a_few_are_handed_on_at_once() -> None:
    heard: list[Event] = []
    assert take_in(Queue(3), deque(), lambda event, _: heard.append(event)) == 0
    assert [event[0][1] for event in heard] == [0, 1, 2]


def test_the_queue_is_emptied_and_what_finds_no_room_is_counted() -> None:
    queue, waiting, heard = Queue(WAITING_MOST + 1000), deque[Event](), list[Event]()
    before = list(queue.events)
    missed = take_in(queue, waiting, lambda event, _: heard.append(event))
    assert not queue.events
    assert missed == 1000
    assert len(heard) == AT_ONCE
    while waiting:
        assert take_in(queue, waiting, lambda event, _: heard.append(event)) == 0
    assert heard == before[:WAITING_MOST]


def test_what_was_missed_is_among_the_overruns() -> None:
    inbox: Inbox[None] = Inbox()
    inbox.miss(7)
    assert inbox.overruns == 7
