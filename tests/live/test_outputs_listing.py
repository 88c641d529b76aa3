"""A port that goes while the ports are listed is no fault of anybody's."""

from __future__ import annotations

import pytest

from livecont.live.outputs import LIST_TRIES, names_of


class GoneMeanwhileError(Exception):
    """rtmidi's complaint."""


class Library:
    RtMidiError = GoneMeanwhileError


class Client:
    def __init__(self, failures: int) -> None:
        self._failures = failures

    def get_ports(self) -> list[str]:
        if self._failures:
            self._failures -= 1
            raise GoneMeanwhileError("the 'portNumber' argument (3) is invalid")
        return ["a:in"]


def test_it_is_asked_again() -> None:
    assert names_of(Client(LIST_TRIES - 1), Library) == ["a:in"]


def test_not_for_ever() -> None:
    with pytest.raises(GoneMeanwhileError):
        names_of(Client(LIST_TRIES), Library)
