"""A whole sitting through the real machine, seen fifteen times a second."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from livecont.music.compass import Compass
from livecont.music.key import parse_key
from livecont.music.pitch import spelling
from livecont.screen import ScreenNotes, plain_lines, render
from livecont.sequence.events import KeyDown, KeyUp
from livecont.sitting.events import Quit, Settings, SittingEvent, Tick, Wake
from livecont.sitting.machine import begin, snapshot, step
from livecont.sitting.snapshot import Phase, Snapshot

FRAME_S = 1 / 15
COMPASS = Compass(
    name="c", title="C2-C7", lowest=36, highest=96, absent=frozenset(), source="made for tests"
)
# two links in two parts, each quaver 0.25 s: upper and lower, newly written
UPPER = "E5 C5 D5 G4 F5 D5 B4 G4  D5 B4 C5 F4 E5 C5 A4 F4"
LOWER = "C4 - B3 - D4 - G3 -  B3 - A3 - C4 - F3 -"


def played() -> list[SittingEvent]:
    events: list[SittingEvent] = []
    for part in (UPPER, LOWER):
        for i, name in enumerate(part.split()):
            if name != "-":
                pitch, at_s = spelling(name).midi, 1.0 + 0.25 * i
                events += [
                    KeyDown(at_s=at_s, pitch=pitch, velocity=70),
                    KeyUp(at_s=at_s + 0.22, pitch=pitch),
                ]
    return sorted(events, key=lambda event: event.at_s)


def frames(until_s: float) -> Iterator[Snapshot]:
    """Drive the machine in virtual time; yield what is seen at each frame."""
    state = begin(Settings(key=parse_key("C major"), compass=COMPASS, most_links=3))
    events = [*played(), Quit(at_s=until_s)]
    wake_s: float | None = None
    frame_s = 0.0
    while events:
        due_s = min(events[0].at_s, frame_s, until_s if wake_s is None else wake_s)
        if due_s == frame_s:
            yield snapshot(state, due_s)
            frame_s += FRAME_S
            continue
        event = events.pop(0) if due_s == events[0].at_s else Tick(at_s=due_s)
        state, effects = step(state, event)
        wake_s = next((e.at_s for e in reversed(effects) if isinstance(e, Wake)), None)
    yield snapshot(state, until_s)


@pytest.fixture(scope="module")
def seen() -> list[Snapshot]:
    return list(frames(until_s=16.0))


def test_the_sitting_is_told_in_order(seen: list[Snapshot]) -> None:
    lines: list[str] = []
    previous = None
    for one in seen:
        lines += plain_lines(previous, one)
        previous = one
    told = iter(lines)
    for beginning in (
        "listening",
        "key: C major",
        "understood: a second down",
        "livecont takes over: link 3 sounds, 2 links left",
        "link 4 sounds, 1 link left",
        "link 5 sounds, 0 links left",
        "the chain ended: at its limit",
        "the sitting is over",
    ):
        assert any(line.startswith(beginning) for line in told), (beginning, lines)


def test_the_page_shows_what_sounds_when_it_sounds(seen: list[Snapshot]) -> None:
    sounding = [one for one in seen if one.phase is Phase.SOUNDING]
    assert {one.sounding.number for one in sounding if one.sounding is not None} == {3, 4, 5}
    for one in sounding:
        assert one.sounding is not None
        sheet = render(one, width=80, height=24, notes=ScreenNotes())
        text = "\n".join("".join(run.text for run in runs) for runs in sheet.lines)
        assert f"livecont plays link {one.sounding.number}" in text
        assert "▸" in text
        assert text.count("●") == 1 + len({pitch for pitch in one.held})


def test_no_frame_of_it_fails_on_any_page(seen: list[Snapshot]) -> None:
    for one in seen[::4]:
        for width, height in ((20, 8), (60, 24), (80, 24), (120, 40), (200, 60)):
            assert len(render(one, width=width, height=height, notes=ScreenNotes()).lines) == height
