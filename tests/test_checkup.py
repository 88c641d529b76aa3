"""What `livecont check` makes of what it finds."""

from __future__ import annotations

from pathlib import Path

import pytest

from livecont import checkup
from livecont.checkup import Verdict, check_all, check_sound
from livecont.errors import PortError
from livecont.live.ports import PortList
from livecont.live.sounder import Sounder


def no_card(*_: object, **__: object) -> Sounder:
    raise PortError("no sound card can be opened")


@pytest.mark.parametrize(("outputs", "verdict"), [((), Verdict.NO), (("a synth 1",), Verdict.NOTE)])
def test_without_a_synth_the_own_sound_is_needed(
    outputs: tuple[str, ...], verdict: Verdict, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Else `listen` would end with what `check` had called a note."""
    found = PortList(api="jack", inputs=("Stage 61 MIDI 1",), outputs=outputs, missing=None)
    monkeypatch.setattr(checkup, "list_ports", lambda: found)
    monkeypatch.setattr(Sounder, "start", no_card)
    said = {one.about: one for one in check_all(None, None, tmp_path, terminal=False)}
    assert said["own sound"].verdict is verdict
    assert said["output"].verdict is Verdict.OK


def test_own_sound_that_is_not_needed_is_a_note(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Sounder, "start", no_card)
    assert check_sound(needed=False).verdict is Verdict.NOTE
