"""A shelf of things that last: what is under way between two places is found without a search.

Conventions: times are whole ticks; what lasts from `start` to `end` is not under way at `end`.
"""

from __future__ import annotations

from typing import Generic, TypeVar

_Thing = TypeVar("_Thing")

# a board holds so many quarters: about as long as a sequence lasts
BOARD_Q = 16


class Shelf(Generic[_Thing]):
    """Things by when they are under way.

    >>> shelf = Shelf(ticks=4)
    >>> shelf.put("first", 0, 8)
    >>> shelf.put("second", 100, 400)
    >>> shelf.between(6, 10), shelf.between(8, 20), shelf.between(399, 500)
    (['first'], [], ['second'])
    """

    def __init__(self, ticks: int) -> None:
        self._board = BOARD_Q * ticks
        self._boards: dict[int, list[int]] = {}
        self._things: list[tuple[_Thing, int, int]] = []

    def put(self, thing: _Thing, start: int, end: int) -> None:
        """Put something in; `end` lies after `start`."""
        for board in range(start // self._board, (end - 1) // self._board + 1):
            self._boards.setdefault(board, []).append(len(self._things))
        self._things.append((thing, start, end))

    def between(self, start: int, end: int) -> list[_Thing]:
        """Return what is under way at any time between two places, in the order put in."""
        numbers = {
            number
            for board in range(start // self._board, (end - 1) // self._board + 1)
            for number in self._boards.get(board, ())
        }
        found = (self._things[number] for number in sorted(numbers))
        return [thing for thing, begun, over in found if begun < end and over > start]
