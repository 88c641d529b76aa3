"""Entries and a book to put them in: newly written music, played and on paper."""

from __future__ import annotations

from datetime import UTC, datetime

from livecont.book.entry import Entry
from livecont.book.pattern import entry_of, entry_of_find
from livecont.music.key import parse_key
from livecont.music.score import Score
from livecont.sequence.finding import Find, Search, find_sequences
from livecont.sequence.pattern import Pattern
from livecont.sitting.events import Settings, Understood
from livecont.sitting.virtual import run
from tests.sequence.heard import play
from tests.sequence.paper import BASS, FIGURE, links, paper
from tests.sitting.material import SETTINGS, played
from tests.strategies import PIANO

NOON = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)


def heard() -> Pattern:
    """The pattern of two links that were played."""
    known = [one for one in run(SETTINGS, played()) if isinstance(one, Understood)]
    return known[-1].pattern


def hear(words: str, key: str, quaver_s: float = 0.25) -> Pattern:
    """The pattern of two links in words, played evenly."""
    settings = Settings(key=parse_key(key), compass=PIANO)
    known = [
        one for one in run(settings, play(words, quaver_s, 1.0)) if isinstance(one, Understood)
    ]
    return known[-1].pattern


def played_entry() -> Entry:
    return entry_of(heard(), NOON)


def printed() -> tuple[Score, Find]:
    """A score of four links and the find in it."""
    score = paper(links(FIGURE, -1, 4), links(BASS, -1, 4))
    return score, find_sequences(score, Search(compass=PIANO))[0]


def paper_entry() -> Entry:
    return entry_of_find(*printed(), NOON)
