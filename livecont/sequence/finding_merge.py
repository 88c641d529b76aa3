"""What several textures tell of one place, put together.

Conventions: textures come from the whole to single voices, runs of each the weightiest first.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from livecont.music.score import ScoreNote
from livecont.sequence.finding_choice import in_the_way, overlap, same_motion
from livecont.sequence.finding_lags import Run
from livecont.sequence.finding_textures import Everyone, Who

# a run is told by another of the same motion, or lies inside another, that holds so much of it
HELD = 0.8
# an overlapping run of another motion stands beside a weightier one only with so much of its gain
BESIDE = 0.6
CHAIN = 3  # links: fewer are a pair, which makes way for every chain


@dataclass(frozen=True, slots=True, kw_only=True)
class Sighting:
    """A run, and who has it."""

    who: tuple[Who, ...]
    run: Run


def resolved(found: Sequence[Run]) -> list[Run]:
    """Return the runs of one texture without those that are in the way of better ones."""
    kept: list[Run] = []
    for run in sorted(found, key=lambda run: (run.links < CHAIN, -run.gain, run.start)):
        rivals = [other for other in kept if in_the_way(run, other)]
        if all(_bears(run, other) for other in rivals):
            kept.append(run)
    return kept


def _bears(run: Run, better: Run) -> bool:
    """Whether a run stands beside a weightier one that it overlaps."""
    if run.links < CHAIN or same_motion(run, better):
        return False
    inner = run.unit < better.unit and held(run, better)
    return inner or (run.strict and not better.strict) or run.gain >= BESIDE * better.gain


def held(run: Run, other: Run) -> bool:
    """Whether nearly all of a run lies inside another."""
    return overlap(run, other) >= HELD * (run.end - run.start)


def merged(by_texture: Iterable[tuple[tuple[Who, ...], Sequence[Run]]]) -> list[Sighting]:
    """Return what was seen, each once, from the whole texture to single voices."""
    result: list[Sighting] = []
    for who, found in by_texture:
        for run in found:
            sighting = Sighting(who=who, run=run)
            if any(_told_by(sighting, other) for other in result):
                continue
            partner = next((o for o in result if _moves_along(sighting, o)), None)
            if partner is None:
                result.append(sighting)
                continue
            result.remove(partner)
            long = max(partner, sighting, key=lambda s: s.run.end - s.run.start)
            result.append(replace(long, who=(*partner.who, *who)))
    return result


def _told_by(one: Sighting, other: Sighting) -> bool:
    """Whether what one shows is already told by the other, who includes its players."""
    if not all(any(them.includes(me) for them in other.who) for me in one.who) and other.who:
        return False
    if same_motion(one.run, other.run):
        return held(one.run, other.run)
    pair_in_chain = one.run.links < CHAIN <= other.run.links
    return pair_in_chain and in_the_way(one.run, other.run)


def _moves_along(one: Sighting, other: Sighting) -> bool:
    """Whether others have the same motion over nearly the same stretch."""
    if other.who == Everyone or not same_motion(one.run, other.run):
        return False
    return held(one.run, other.run) and held(other.run, one.run)


def container(one: Sighting, all_: Sequence[Sighting]) -> int | None:
    """Return the number of the shortest sighting that holds one of a shorter unit or fewer players.

    None where it stands for itself.
    """
    found = [
        (other.run.end - other.run.start, index)
        for index, other in enumerate(all_)
        if other is not one
        and held(one.run, other.run)
        and (one.run.end - one.run.start) < (other.run.end - other.run.start)
        and (one.run.unit < other.run.unit or same_motion(one.run, other.run))
    ]
    return min(found)[1] if found else None


def everyone(who: tuple[Who, ...], notes: Iterable[ScoreNote]) -> bool:
    """Whether those who take part are all who play these notes."""
    return not who or all(any(one.has(note) for one in who) for note in notes)
