"""Passages to carry on: a find in a piece, an entry of the book, what was heard in a take.

Conventions: as in `sequence.extending_paper`. Files are read in a process of their own, bounded in
time and memory.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

from livecont.errors import ConfigError, ScoreError
from livecont.music.compass import Compass
from livecont.music.key import Key
from livecont.score.confined import confined
from livecont.score.reading import read_score
from livecont.sequence.extending_paper import Passage, passage_of
from livecont.sequence.finding import Search, find_sequences
from livecont.sequence.finding_listed import Listed, listed
from livecont.sequence.finding_textures import part_named


@dataclass(frozen=True, slots=True, kw_only=True)
class Whereabouts:
    """Where in a piece to look, as the user says it; `key` overrides the one that is found."""

    bars: tuple[str, str] | None = None
    part: str | None = None
    staff: int | None = None
    key: Key | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """A passage of a piece, the find that it is, and how many others lie in the same bars."""

    passage: Passage
    listed: Listed
    others: tuple[Listed, ...] = ()


def found_in(path: Path, where: Whereabouts, compass: Compass) -> Found:
    """Return the sequence in some bars of a piece, the one that fills them best.

    Raises:
        ScoreError: it can't be read, has no such bars, or no sequence in them.
        ConfigError: the extra `score` is not installed.
    """
    try:
        return confined(_found, path, where, compass)
    except ConfigError:
        raise
    except ScoreError as error:
        told = str(error)
        raise ScoreError(told if told.startswith(str(path)) else f"{path}: {told}") from error


def _found(path: Path, where: Whereabouts, compass: Compass) -> Found:
    score = read_score(path)
    part = part_named(score, where.part) if where.part is not None else None
    within = score.bars_span(*where.bars) if where.bars is not None else None
    search = Search(compass=compass, part=part, staff=where.staff, within_q=within)
    every = listed(score, find_sequences(score, search))
    outer = [one for one in every if one.find.within is None] or list(every)
    if not outer:
        place = _named(where)
        raise ScoreError(f"no sequence {place}: livecont find lists those that there are")
    span = within or (Fraction(0), score.length_q)
    best = _best(outer, span)
    find = best.find
    if where.key is not None:
        find = replace(find, key=where.key)
    passage = passage_of(score, find, from_q=within[0] if within else None, until_q=span[1])
    others = tuple(one for one in outer if one is not best)
    return Found(passage=passage, listed=replace(best, find=find), others=others)


def _named(where: Whereabouts) -> str:
    if where.bars is None:
        return "in it"
    first, last = where.bars
    told = f"in bar {first}" if first == last else f"in bars {first}-{last}"
    if where.part is not None:
        told += f" of {where.part}"
    if where.staff is not None:
        told += f", staff {where.staff}"
    return told


def _best(found: Sequence[Listed], span: tuple[Fraction, Fraction]) -> Listed:
    """The find that fills the bars best, and them best it: what both share of what either has."""

    def fits(one: Listed) -> tuple[Fraction, float, int]:
        find = one.find
        shared = min(find.end_q, span[1]) - max(find.start_q, span[0])
        both = max(find.end_q, span[1]) - min(find.start_q, span[0])
        return max(Fraction(0), shared) / both, find.mean_exact, -len(find.who)

    return max(found, key=fits)
