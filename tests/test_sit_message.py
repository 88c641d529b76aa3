"""The one line of news at the foot of a sitting's screen."""

from __future__ import annotations

from types import SimpleNamespace
from typing import cast

from livecont.commands.sit import message_of
from livecont.live.controls import Panel
from livecont.live.parts import Health

WIDTH = 76  # of a terminal of 80 columns, without its margins


def test_what_is_typed_is_seen_beside_a_complaint_on_a_narrow_screen() -> None:
    """It came behind the complaint once, and fell off."""
    panel = Panel(SimpleNamespace(pedals={}, keys={}, computer={"k": "change-key"}))
    for sign in "kH minor":
        panel.type(sign, 1.0)
    health = cast(Health, SimpleNamespace(typed=panel.line, complaint=panel.complaint))
    assert message_of(health, None) == "key: H minor_  (enter, or escape to leave it)"
    panel.type("\r", 1.0)
    health = cast(Health, SimpleNamespace(typed=panel.line, complaint=panel.complaint))
    said = message_of(health, None)
    assert said is not None
    assert said.startswith("key: H minor_  (unknown key 'H minor': write for instance 'e minor'")
    assert "'e minor'" in said[:WIDTH]
