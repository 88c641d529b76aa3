"""A surprise is told when it is over, not before."""

from __future__ import annotations

from dataclasses import replace

from livecont.sequence.pattern import Link
from livecont.sitting.snapshot import Phase
from tests.sitting.desk import Desk, key_down
from tests.sitting.material import DUE_S, SETTINGS, UNIT_S, seated

SURPRISING = replace(SETTINGS, most_links=6, surprise=1.0)


def sounded(desk: Desk) -> list[Link]:
    return [sound.link for sound in desk.pending()]


def test_a_surprise_is_told_when_its_link_is_over() -> None:
    desk = seated(SURPRISING)
    told = {n: desk.until(DUE_S + n * UNIT_S + 0.05).changed for n in range(6)}
    changed = {link.number: link.changed for link in sounded(desk) if link.changed}
    assert changed
    assert 3 not in changed
    latest = None
    for n in range(6):
        if n + 2 in changed:  # the link before the one that now sounds, link n + 3
            latest = (n + 2, changed[n + 2])
        one = told[n]
        assert (None if one is None else (one.number, one.said)) == latest


def test_coming_links_do_not_give_it_away() -> None:
    """What is shown of a changed link before it sounds is what the pattern leads to expect."""
    plain = seated(replace(SURPRISING, surprise=0.0)).until(DUE_S + 0.2).coming
    desk = seated(SURPRISING)
    coming = desk.until(DUE_S + 0.2).coming
    assert [link.notes for link in coming] == [link.notes for link in plain]
    desk.until(DUE_S + 6 * UNIT_S - 0.1)
    assert [link.notes for link in sounded(desk)[1:]] != [link.notes for link in plain]


def test_it_is_told_after_the_chain_too_and_forgotten_at_the_next() -> None:
    desk = seated(SURPRISING)
    end_s = DUE_S + 6 * UNIT_S
    desk.until(end_s - 0.05)
    last = [link for link in sounded(desk) if link.changed][-1]
    seen = desk.until(end_s + 1)
    assert seen.phase is Phase.LISTENING
    assert seen.changed is not None
    assert (seen.changed.number, seen.changed.said) == (last.number, last.changed)


def test_who_breaks_in_is_told_only_what_was_over() -> None:
    desk = seated(SURPRISING)
    desk.until(DUE_S + 6 * UNIT_S - 0.4)
    changed = [link for link in sounded(desk) if link.changed]
    number = changed[0].number
    again = seated(SURPRISING)
    again.give(key_down(DUE_S + (number - 3) * UNIT_S + 0.7, 61))
    assert again.seen().phase is Phase.LISTENING
    assert again.seen().changed is None


def test_without_surprises_nothing_is_told() -> None:
    assert seated().until(DUE_S + 2 * UNIT_S + 0.1).changed is None
