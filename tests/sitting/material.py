"""Music to sit with, newly written: a link of two parts, falling by step, and the desk after it."""

from __future__ import annotations

from dataclasses import replace

from livecont.music.key import parse_key
from livecont.music.pitch import spelling
from livecont.sequence.events import PlayerEvent
from livecont.sitting.events import Settings
from tests.sequence.heard import play
from tests.sitting.desk import Desk
from tests.strategies import PIANO

KEY = parse_key("C major")
SETTINGS = Settings(key=KEY, compass=PIANO, most_links=3)
# eight quavers of 0.25 s a link, from 1 s on: the third link is due at 5 s
LINKS = (
    "E5.C4 G5 A4.F3 B4 C5.A3 F5 D5.B3 G4",
    "D5.B3 F5 G4.E3 A4 B4.G3 E5 C5.A3 F4",
    "C5.A3 E5 F4.D3 G4 A4.F3 D5 B4.G3 E4",
    "B4.G3 D5 E4.C3 F4 G4.E3 C5 A4.F3 D4",
    "A4.F3 C5 D4.B2 E4 F4.D3 B4 G4.E3 C4",
)
UNIT_S, DUE_S = 2.0, 5.0
# livecont's own order of the notes of one moment: the lowest first
LINK_3 = "A3 C5 E5 D3 F4 G4 F3 A4 D5 G3 B4 E4"


def played(links: int = 2, start_s: float = 1.0) -> tuple[PlayerEvent, ...]:
    return play(" ".join(LINKS[:links]), 0.25, start_s)


def seated(settings: Settings = SETTINGS, links: int = 2) -> Desk:
    """A desk at which links were just played."""
    desk = Desk(settings)
    desk.give(*played(links))
    return desk


def pitch(name: str) -> int:
    """Return the MIDI pitch of a name."""
    return spelling(name).midi


def later(event: PlayerEvent, by_s: float) -> PlayerEvent:
    """Return the event, so much later."""
    return replace(event, at_s=event.at_s + by_s)
