"""What a listener makes of events, and events from names written in a line."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from livecont.music.key import Key, parse_key
from livecont.music.pitch import Spelling, spelling
from livecont.sequence.chain import Chain
from livecont.sequence.events import KeyDown, KeyUp, PlayerEvent
from livecont.sequence.listener import Listener, Prospect
from livecont.sequence.pattern import Pattern
from tests.strategies import PIANO, in_time

C_MAJOR = parse_key("C major")


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """A listener after some events; what stands after the last note, and the last moment."""

    listener: Listener
    prospect: Prospect | None
    now_s: float

    @property
    def stands(self) -> Prospect:
        """The prospect; fails the test where nothing stands."""
        assert self.prospect is not None, "no sequence was heard"
        return self.prospect

    def pattern(self) -> Pattern:
        """Return the pattern of what stands."""
        return self.listener.pattern(self.stands, self.now_s)

    def names(self, links: int = 1) -> str:
        """Return the names of the next links' notes, by onset, then pitch."""
        chain = Chain(pattern=self.pattern(), compass=PIANO, most_links=links)
        return " | ".join(
            " ".join(note.spelling.name for note in link.notes) for link in chain.links()
        )


def hear(
    events: Iterable[PlayerEvent], key: Key | None = C_MAJOR, listener: Listener | None = None
) -> Heard:
    """Give events to a listener, a new one if none is handed in."""
    listener = listener or Listener(key)
    prospect, now_s = None, 0.0
    for event in events:
        found = listener.hear(event)
        now_s = event.at_s
        if isinstance(event, KeyDown):
            prospect = found
    return Heard(listener=listener, prospect=prospect, now_s=now_s)


def play(
    text: str, ioi_s: float = 0.25, start_s: float = 1.0, held: float = 0.8, velocity: int = 70
) -> tuple[PlayerEvent, ...]:
    """Return the events of names in a line: one onset a word, '.' joins a chord, '-' is a rest.

    `held` is the share of `ioi_s` for which a key is down.
    """
    events: list[PlayerEvent] = []
    for at, word in enumerate(text.replace("|", " ").split()):
        down_s = start_s + at * ioi_s
        for name in word.split("."):
            if name != "-":
                pitch = spelling(name).midi
                events.append(KeyDown(at_s=down_s, pitch=pitch, velocity=velocity))
                events.append(KeyUp(at_s=down_s + held * ioi_s, pitch=pitch))
    return in_time(events)


def named(pitches: Iterable[Spelling | None]) -> str:
    """Return the names, '-' for none."""
    return " ".join("-" if pitch is None else pitch.name for pitch in pitches)
