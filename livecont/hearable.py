"""What can be made to sound: recordings, scores, entries of the book and what follows from them.

Conventions: seconds from the first moment, events in time order; a tempo is a factor, 1.0 is the
thing's own. Scores are played at `QUARTERS_A_MINUTE`, repeats not unfolded, grace notes just before
the beat.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import islice
from pathlib import Path

from livecont.book.entry import Entry
from livecont.book.pattern import pattern_of
from livecont.book.performance import TOUCH, end_s, links_performed, performed, strokes_events
from livecont.errors import ScoreError
from livecont.music.score import Score
from livecont.replay import OWN_TRACK
from livecont.score.smf import read_smf
from livecont.sequence.analysis import analysed, reduced
from livecont.sequence.chain import MOST_LINKS, Chain
from livecont.sequence.endings_course import Course
from livecont.sequence.events import PlayerEvent
from livecont.sequence.pattern import Link
from livecont.sitting.events import Settings

QUARTERS_A_MINUTE = 100.0
SCORE_VELOCITY = 72
GRACE_S = 0.07
PLAYER_TRACK = "player"
ENDING_LINKS = 24  # an ending that goes on without end is left after so many


def recorded(path: Path, *, only: str | None = None, tempo: float = 1.0) -> tuple[PlayerEvent, ...]:
    """Return what a MIDI file holds; of a take `only` the player's, or livecont's, where asked.

    Raises:
        ScoreError: it can't be read.
    """
    leave_out = {None: (), "player": (OWN_TRACK,), "livecont": (PLAYER_TRACK,)}[only]
    events = read_smf(path, leave_out=leave_out).events
    return tuple(replace(event, at_s=event.at_s / tempo) for event in events)


def written(
    score: Score, within: tuple[Fraction, Fraction] | None = None, tempo: float = 1.0
) -> tuple[PlayerEvent, ...]:
    """Return a score, or a stretch of it, as it is played evenly.

    Raises:
        ScoreError: there are no notes there.
    """
    quarter_s = 60.0 / (QUARTERS_A_MINUTE * tempo)
    start_q, end_q = within or (Fraction(0), score.length_q)
    strokes = []
    for note in score.within(start_q, end_q):
        down_s = float(note.onset_q - start_q) * quarter_s
        lasts_s = float(min(note.end_q, end_q) - note.onset_q) * quarter_s * TOUCH
        if note.grace:
            down_s, lasts_s = max(0.0, down_s - GRACE_S), GRACE_S
        pitch = note.spelling.midi
        if 0 <= pitch <= 127:
            strokes.append((down_s, down_s + lasts_s, pitch, SCORE_VELOCITY, 0))
    if not strokes:
        raise ScoreError("no notes there: there is nothing to hear")
    return strokes_events(strokes)


def carried_on(
    entry: Entry, settings: Settings, links: int = 0, tempo: float = 1.0
) -> tuple[PlayerEvent, ...]:
    """Return an entry's own links and, if `links` are asked for, what follows, with its ending."""
    unit_s = entry.unit_s / tempo
    own = performed(entry, 0.0, unit_s)
    if not links:
        return own
    chain = Chain(
        pattern=replace(pattern_of(entry), unit_s=unit_s),
        compass=settings.compass,
        most_links=links,
        limit=settings.limit,
        ending=settings.ending,
        spectrum=settings.spectrum,
    )
    more = islice(chain.links(), min(MOST_LINKS, links + ENDING_LINKS))
    return (*own, *links_performed(more, end_s(entry, 0.0, unit_s)))


def main_notes(entry: Entry, links: int = 0, tempo: float = 1.0) -> tuple[PlayerEvent, ...]:
    """Return the reduction of an entry's last two links, and of so many that follow."""
    pattern = replace(pattern_of(entry), unit_s=entry.unit_s / tempo)
    analysis, course = analysed(pattern), Course(pattern)
    numbers = range(course.first_known, pattern.links_heard + links + 1)
    return links_performed(
        (
            Link(
                number=number,
                unit_s=pattern.unit_s,
                notes=reduced(analysis, course, number),
                pedals=(),
            )
            for number in numbers
        ),
        0.0,
    )
