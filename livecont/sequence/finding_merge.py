"""What several textures tell of one place, put together.

Conventions: textures come from the whole to single voices, runs of each the weightiest first. All
textures of a piece count the same ticks.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from livecont.music.score import ScoreNote
from livecont.sequence.finding_choice import CHAIN, in_the_way, overlap, same_motion
from livecont.sequence.finding_lags import Run
from livecont.sequence.finding_shelf import Shelf
from livecont.sequence.finding_textures import Everyone, Who

# a run is told by another of the same motion, or lies inside another, that holds so much of it
HELD = 0.8
# parts that move alike are one find that holds so much of what each of them has
JOINED = 0.6
# an overlapping run of another motion stands beside a weightier one only with so much of its gain
BESIDE = 0.6


@dataclass(frozen=True, slots=True, kw_only=True)
class Sighting:
    """A run, and who has it."""

    who: tuple[Who, ...]
    run: Run


# of some players, the best run by a motion that lies between two ticks
Joint = Callable[[tuple[Who, ...], int, int, Run], Run | None]


def resolved(found: Sequence[Run], ticks: int) -> list[Run]:
    """Return the runs of one texture without those that are in the way of better ones."""
    shelf = Shelf[Run](ticks)
    kept: list[Run] = []
    for run in sorted(found, key=lambda run: (run.links < CHAIN, -run.gain, run.start)):
        rivals = (other for other in shelf.between(run.start, run.end) if in_the_way(run, other))
        if all(_bears(run, other) for other in rivals):
            kept.append(run)
            shelf.put(run, run.start, run.end)
    return kept


def _bears(run: Run, better: Run) -> bool:
    """Whether a run stands beside a weightier one that it overlaps."""
    if run.links < CHAIN or same_motion(run, better):
        return False
    if run.unit < better.unit and held(run, better):
        return True  # its inner pattern
    if run.strict != better.strict:
        return run.strict
    return run.gain >= BESIDE * better.gain


def held(run: Run, other: Run, share: float = HELD) -> bool:
    """Whether so much of a run lies inside another."""
    return overlap(run, other) >= share * (run.end - run.start)


def merged(
    by_texture: Iterable[tuple[tuple[Who, ...], Sequence[Run]]], joint: Joint, ticks: int
) -> list[Sighting]:
    """Return what was seen, each once; parts that move alike are joined."""
    shelf = Shelf[Sighting](ticks)
    found: list[Sighting] = []
    for who, its_runs in by_texture:
        for run in its_runs:
            sighting = Sighting(who=who, run=run)
            known = shelf.between(run.start, run.end)
            if not any(_told_by(sighting, other) for other in known):
                found.append(sighting)
                shelf.put(sighting, run.start, run.end)
    return _joined(found, joint, ticks)


def _told_by(one: Sighting, other: Sighting) -> bool:
    """Whether what one shows is already told by the other, who includes its players."""
    if not _includes(other.who, one.who):
        return False
    if same_motion(one.run, other.run):
        return held(one.run, other.run)
    pair_in_chain = one.run.links < CHAIN <= other.run.links
    return pair_in_chain and in_the_way(one.run, other.run)


def _includes(them: tuple[Who, ...], us: tuple[Who, ...]) -> bool:
    return them == Everyone or all(any(you.includes(me) for you in them) for me in us)


def _joined(found: Sequence[Sighting], joint: Joint, ticks: int) -> list[Sighting]:
    """Put parts together that move alike at one place."""
    order = sorted(found, key=lambda s: (-s.run.gain, s.run.start, s.who))
    shelf = Shelf[tuple[int, Sighting]](ticks)
    for number, sighting in enumerate(order):
        shelf.put((number, sighting), sighting.run.start, sighting.run.end)
    settled: set[int] = set()
    result: list[Sighting] = []
    for number, first in enumerate(order):
        if number in settled:
            continue
        near = shelf.between(first.run.start, first.run.end)
        partners = [
            (other, sighting)
            for other, sighting in near
            if other > number and other not in settled and _moves_along(first, sighting)
        ]
        together = _together([first, *(s for _, s in partners)], joint) if partners else None
        if together is None:
            result.append(first)
            continue
        result.append(together)
        settled |= {other for other, s in partners if held(s.run, together.run, JOINED)}
        if not held(first.run, together.run, JOINED):
            result.append(first)
    return result


def _moves_along(one: Sighting, other: Sighting) -> bool:
    """Whether others have the same motion at about the same place."""
    if _includes(one.who, other.who) or _includes(other.who, one.who):
        return False
    alike = (one.run.unit, one.run.step) == (other.run.unit, other.run.step)
    return alike and in_the_way(one.run, other.run)


def _together(group: Sequence[Sighting], joint: Joint) -> Sighting | None:
    """Return the run of several players together, None where they don't come to one."""
    for members in (group, group[:2]):
        who = tuple(sorted({one for sighting in members for one in sighting.who}))
        start = min(sighting.run.start for sighting in members)
        end = max(sighting.run.end for sighting in members)
        run = joint(who, start, end, members[0].run)
        if run is not None and sum(held(s.run, run, JOINED) for s in members) >= 2:
            return Sighting(who=who, run=run)
    return None


def containers(sightings: Sequence[Sighting], ticks: int) -> list[int | None]:
    """Return for each the number of the shortest one that holds it, with more time to itself.

    What holds it has a longer unit, or the same motion with other players. None where it stands
    for itself.
    """
    shelf = Shelf[int](ticks)
    for number, sighting in enumerate(sightings):
        shelf.put(number, sighting.run.start, sighting.run.end)
    result: list[int | None] = []
    for one in (sighting.run for sighting in sightings):
        holding = [
            (other.end - other.start, number)
            for number in shelf.between(one.start, one.end)
            for other in (sightings[number].run,)
            if other.end - other.start > one.end - one.start
            and held(one, other)
            and (one.unit < other.unit or same_motion(one, other))
        ]
        result.append(min(holding)[1] if holding else None)
    return result


def everyone(who: tuple[Who, ...], notes: Iterable[ScoreNote]) -> bool:
    """Whether those who take part are all who play these notes."""
    return not who or all(any(one.has(note) for one in who) for note in notes)
