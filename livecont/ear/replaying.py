"""What is let be heard after a verdict: what was played, and the true answer.

Conventions: seconds on the session's clock. Pure.
"""

from __future__ import annotations

from dataclasses import replace

from livecont.ear.sounds import Hush, as_link, sounding
from livecont.ear.state import Game, Outcome
from livecont.sequence.pattern import Link


def true_links(game: Game) -> tuple[Link, ...]:
    """What the true answer sounds like; nothing where it is a word."""
    if game.planned is None:
        return ()
    question = game.planned.question
    if question.due is not None:
        return (question.due,)
    if question.odd is not None:  # as it sounded, and then as it was due
        odd = question.odd
        notes = list(odd.link.notes)
        notes[odd.index] = replace(notes[odd.index], spelling=odd.due)
        return (odd.link, replace(odd.link, notes=tuple(notes)))
    return question.links[:2]


def replay(game: Game, *, yours: bool, true: bool, after_s: float = 0.2) -> Outcome:
    """Let what was played be heard, or the true answer, or one after the other."""
    if game.planned is None:
        return game, ()
    links: list[Link] = []
    key = game.planned.question.matter.pattern.key
    if yours and (mine := as_link(game.playing.notes, key)) is not None:
        links.append(mine)
    if true:
        links += true_links(game)
    at_s = game.now_s + after_s
    lasts_s = sum(link.unit_s for link in links)
    until_s = at_s + lasts_s + game.session.setup.pace.next_s
    return replace(game, until_s=until_s), (Hush(at_s=game.now_s), *sounding(links, at_s))
