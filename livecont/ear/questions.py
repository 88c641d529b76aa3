"""Questions: what sounds, and what the true answer is, made from an item alone.

The same item makes the same question, today and when it comes back. Material that leaves the answer
open (a continuation that two musicians would make differently, a label that is in doubt) makes no
question.

Conventions: links are numbered as in the chain, the model is 1; a question's links sound one after
the other, each for its unit. Pure: chance comes from the item's seed.
"""

from __future__ import annotations

import random  # noqa: TID251 -- seeded with the item, so that it makes the same question again
from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import islice

from livecont.ear.altering import OddNote, altered
from livecont.ear.asked import Exercise, Item, Source
from livecont.ear.inventing import SCHEMES, TEXTURES, invent
from livecont.ear.matter import Matter, at_tempo, in_key, moved_octaves
from livecont.ear.models import model, model_names
from livecont.ear.setup import Level
from livecont.errors import ConfigError
from livecont.music.compass import Compass
from livecont.music.key import parse_key
from livecont.music.label import Label
from livecont.sequence.chain import Chain
from livecont.sequence.endings_course import Course
from livecont.sequence.pattern import Kind, Link

HEARD = 2
ODD_LINKS = 5
NAMED_LINKS = 3
STEP_LINKS = 3
COUNTED_LINKS = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """A question: `links` sound; what else is there depends on the exercise.

    `due` is the link that is to be played; `odd` what was altered; `names` are to choose from;
    `left` is how many links are left after those that sound, on `compass`.
    """

    item: Item
    matter: Matter
    links: tuple[Link, ...]
    compass: Compass
    due: Link | None = None
    odd: OddNote | None = None
    names: tuple[Label, ...] = ()
    left: int | None = None

    @property
    def unit_s(self) -> float:
        """A link's length."""
        return self.matter.pattern.unit_s

    @property
    def ends_s(self) -> float:
        """When the last link that sounds is over, from the question's start."""
        return len(self.links) * self.unit_s


@dataclass(frozen=True, slots=True, kw_only=True)
class Library:
    """What questions are made of.

    `compass` is the player's instrument, `small` one to count links on; `book` has the entries of
    the player's book by number. `tempo` is percent of the levels' and models' own.
    """

    levels: tuple[Level, ...]
    compass: Compass
    small: Compass
    book: Mapping[str, Matter] = field(default_factory=dict)
    tempo: float = 100.0

    def level(self, number: int) -> Level:
        """Return what a level's questions are made of."""
        return self.levels[min(number, len(self.levels)) - 1]

    def names(self, source: Source) -> tuple[str, ...]:
        """Return what there is of a kind of material."""
        if source is Source.MADE:
            return tuple(TEXTURES)
        return model_names() if source is Source.MODEL else tuple(self.book)


def question(item: Item, library: Library) -> Question | None:
    """Return the question of an item; None where its material can't make one."""
    dice = random.Random(item.seed)  # noqa: S311 -- music, no secret
    try:
        matter = _matter(item, library, dice)
    except (ConfigError, KeyError, ValueError):  # of another version, or no longer there
        return None
    if matter is None:
        return None
    match item.exercise:
        case Exercise.ANSWER:
            return _answer(item, matter, library)
        case Exercise.ODD_LINK:
            return _odd_link(item, matter, library, dice)
        case Exercise.STEP:
            return _step(item, matter, library)
        case Exercise.NAME_IT:
            return _name_it(item, matter, library, dice)
        case Exercise.HOW_MANY:
            return _how_many(item, matter, library, dice)


def _matter(item: Item, library: Library, dice: random.Random) -> Matter | None:
    key = parse_key(item.key)
    slower = 100 / library.tempo
    if item.source is Source.MADE:
        beat_s = slower * 60 / library.level(item.level).bpm
        scheme = SCHEMES[dice.choice(sorted(SCHEMES))]
        return invent(item.name, scheme, key, beat_s, dice)
    found = model(item.name) if item.source is Source.MODEL else library.book[item.name]
    if found.pattern.key.mode != key.mode:
        return None
    return Matter(
        title=found.title,
        texture=found.texture,
        pattern=at_tempo(in_key(found.pattern, key), slower),
        label=found.label,
    )


def _chain(matter: Matter, compass: Compass, count: int) -> tuple[tuple[Link, ...], Matter] | None:
    """Return the first links of a chain, an octave or two away where the compass asks for it."""
    for octaves in (0, -1, 1, -2, 2):
        pattern = moved_octaves(matter.pattern, octaves) if octaves else matter.pattern
        links = links_of(Chain(pattern=pattern, compass=compass), count)
        if len(links) == count and all(
            compass.holds(note.pitch for note in link.notes) for link in links
        ):
            moved = Matter(
                title=matter.title, texture=matter.texture, pattern=pattern, label=matter.label
            )
            return links, moved
    return None


def links_of(chain: Chain, count: int | None) -> tuple[Link, ...]:
    """Return a chain's first links from the model on, all that there are where None."""
    course: Course = chain.course
    heard = tuple(course.sounding(course.spelled(n), n) for n in range(1, HEARD + 1))
    more = None if count is None else max(0, count - HEARD)
    return (*heard, *islice(chain.plain(), more))[:count]


def open_to_doubt(matter: Matter, links: tuple[Link, ...]) -> bool:
    """Whether two musicians might carry a sequence on differently: by its accidentals."""
    pattern = matter.pattern
    if pattern.kind is Kind.MIXED:
        return True
    if pattern.kind is Kind.REAL:
        return False
    return any(
        note.spelling.alter != pattern.key.signature_alter(note.spelling.staff)
        for link in links
        for note in link.notes
    )


def _answer(item: Item, matter: Matter, library: Library) -> Question | None:
    found = _chain(matter, library.compass, HEARD + 1)
    if found is None or open_to_doubt(matter, found[0][HEARD:]):
        return None
    links, moved = found
    return Question(
        item=item, matter=moved, links=links[:HEARD], compass=library.compass, due=links[HEARD]
    )


def _odd_link(item: Item, matter: Matter, library: Library, dice: random.Random) -> Question | None:
    found = _chain(matter, library.compass, ODD_LINKS)
    if found is None or open_to_doubt(matter, found[0][HEARD:]):
        return None
    links, moved = found
    at = dice.randrange(HEARD, ODD_LINKS)
    odd = altered(
        links[at], moved.pattern.key, library.compass, library.level(item.level).odd, dice
    )
    if odd is None:
        return None
    return Question(
        item=item,
        matter=moved,
        links=(*links[:at], odd.link, *links[at + 1 :]),
        compass=library.compass,
        odd=odd,
    )


def _step(item: Item, matter: Matter, library: Library) -> Question | None:
    found = _chain(matter, library.compass, STEP_LINKS)
    if found is None:
        return None
    links, moved = found
    return Question(item=item, matter=moved, links=links, compass=library.compass)


def _name_it(item: Item, matter: Matter, library: Library, dice: random.Random) -> Question | None:
    found = _chain(matter, library.compass, NAMED_LINKS)
    if found is None or matter.label is None:
        return None
    links, moved = found
    others = [scheme.label for scheme in SCHEMES.values() if scheme.label.text != matter.label.text]
    names = [matter.label, *dice.sample(others, library.level(item.level).names - 1)]
    dice.shuffle(names)
    return Question(
        item=item, matter=moved, links=links, compass=library.compass, names=tuple(names)
    )


def _how_many(item: Item, matter: Matter, library: Library, dice: random.Random) -> Question | None:
    """The chain sounds so near to the compass's end that a few links are left."""
    found = _chain(matter, library.small, HEARD)
    if found is None:
        return None
    moved = found[1]
    links = links_of(Chain(pattern=moved.pattern, compass=library.small), None)
    most = min(library.level(item.level).left, len(links) - COUNTED_LINKS)
    if most < 0:
        return None
    left = dice.randint(0, most)
    last = len(links) - left
    return Question(
        item=item,
        matter=moved,
        links=links[last - COUNTED_LINKS : last],
        compass=library.small,
        left=left,
    )
