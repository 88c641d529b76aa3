"""What a step of a lesson sounds and shows.

Conventions: a scene's times are seconds from its start; its links sound one after the other. A
caption holds from its moment to the next one's. Texts as on the screen. Pure.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import islice

from livecont.ear.matter import Matter, at_tempo, in_key, moved_octaves
from livecont.ear.plan import PlanStep, Show
from livecont.ear.questions import HEARD, links_of
from livecont.ear.telling import note_name
from livecont.music.compass import Compass
from livecont.music.key import MODE_FIFTHS, MOST_FIFTHS, Key
from livecont.music.pitch import LETTER_FIFTHS
from livecont.screen.wording import key_words, links_words, step_words
from livecont.sequence.analysis import Analysis, analysed, reduced
from livecont.sequence.chain import Chain
from livecont.sequence.endings import Ending
from livecont.sequence.pattern import Link, Pattern, Role

MOST_NAMES = 24  # of a link's notes, in its caption
CIRCLE = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Caption:
    """What is shown from a moment on."""

    at_s: float
    big: str
    said: tuple[str, ...] = ()
    rows: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """A step: its links, one after the other, and its captions."""

    links: tuple[Link, ...]
    captions: tuple[Caption, ...]
    pattern: Pattern

    @property
    def ends_s(self) -> float:
        """When its last link is over."""
        return sum(link.unit_s for link in self.links)

    def caption(self, at_s: float) -> Caption:
        """Return what is shown at a moment."""
        found = [one for one in self.captions if one.at_s <= max(0.0, at_s)]
        return found[-1]


def scene(step: PlanStep, matter: Matter, tempo: float, compass: Compass) -> Scene:
    """Return the scene of a step; `tempo` is the lesson's, in percent of the matter's own."""
    pattern = at_tempo(matter.pattern, 1e4 / (tempo * step.tempo))
    chain = Chain(pattern=pattern, compass=compass)
    match step.show:
        case Show.MODEL:
            links = links_of(chain, step.links)
            return _plain(links, pattern, "the model", (step.say, key_words(pattern.key)))
        case Show.SECOND_LINK:
            return _second_link(links_of(chain, HEARD), pattern, step)
        case Show.MAIN_NOTES:
            return _plain(_main_notes(chain, step.links), pattern, "main notes", (step.say,))
        case Show.LABEL:
            return _label(chain, step)
        case Show.CHAIN:
            return _chain(chain, step)
        case Show.BREAK | Show.CADENCE:
            return _ending(pattern, compass, step)
        case Show.OTHER_KEYS:
            return _other_keys(pattern, compass, step)
        case Show.ONE_HAND:
            return _plain(links_of(chain, 1), pattern, "listen", (step.say,))
        case Show.ANSWER:
            said = (step.say, "play the third link when two have sounded")
            return _plain(links_of(chain, HEARD), pattern, "listen", said)
        case Show.FIGURATION:
            big = "slower" if step.tempo < 100 else "figuration"
            return _plain(links_of(chain, step.links), pattern, big, (step.say,))


def names_of(link: Link) -> str:
    """Return a link's notes by name, chord after chord."""
    chords: dict[float, list[str]] = {}
    for note in sorted(link.notes, key=lambda one: (round(one.offset_s, 2), one.pitch)):
        chords.setdefault(round(note.offset_s, 2), []).append(note_name(note.spelling))
    names = ["+".join(chord) for chord in chords.values()]
    return " ".join(names[:MOST_NAMES]) + (" …" if len(names) > MOST_NAMES else "")


def _captions(
    links: Sequence[Link], big: Iterable[str], said: Iterable[Sequence[str]]
) -> tuple[Caption, ...]:
    found, at_s = [], 0.0
    for link, word, sentences in zip(links, big, said, strict=True):
        rows = ((f"link {link.number}", names_of(link)),)
        kept = tuple(sentence for sentence in sentences if sentence)
        found.append(Caption(at_s=at_s, big=word, said=kept, rows=rows))
        at_s += link.unit_s
    return tuple(found)


def _plain(links: tuple[Link, ...], pattern: Pattern, big: str, said: Sequence[str]) -> Scene:
    captions = _captions(links, [big] * len(links), [said] * len(links))
    return Scene(links=links, captions=captions, pattern=pattern)


def step_said(pattern: Pattern) -> str:
    """Return the step of a pattern in words."""
    return step_words(pattern.step_degrees, pattern.shift_semitones, pattern.kind)


def _second_link(links: tuple[Link, ...], pattern: Pattern, step: PlanStep) -> Scene:
    words = step_said(pattern)
    big = ["link 1", *[words] * (len(links) - 1)]
    said = [(step.say,), *[(step.say, f"the copy lies {words}: {pattern.kind}")] * (len(links) - 1)]
    return Scene(links=links, captions=_captions(links, big, said), pattern=pattern)


def _main_notes(chain: Chain, count: int) -> tuple[Link, ...]:
    analysis = analysed(chain.pattern)
    return tuple(_reduced(analysis, chain, link) for link in links_of(chain, count))


def _reduced(analysis: Analysis, chain: Chain, link: Link) -> Link:
    return replace(link, notes=reduced(analysis, chain.course, link.number), pedals=())


def _label(chain: Chain, step: PlanStep) -> Scene:
    links = _main_notes(chain, step.links)
    analysis = analysed(chain.pattern)
    label = analysis.label
    if label is None:
        return _plain(links, chain.pattern, "no name", (step.say, analysis.doubt or ""))
    said = [step.say, label.said, f"it {label.spoken}"]
    if analysis.doubt is not None:
        said.append(f"but {analysis.doubt}")
    return _plain(links, chain.pattern, label.text.partition(" ")[0], said)


def _chain(chain: Chain, step: PlanStep) -> Scene:
    every = links_of(chain, None)
    links = every[: step.links]
    left = [len(every) - number for number in range(1, len(links) + 1)]
    said = [(step.say, f"{links_words(count)} left on these keys") for count in left]
    captions = _captions(links, map(str, left), said)
    return Scene(links=links, captions=captions, pattern=chain.pattern)


def _ending(pattern: Pattern, compass: Compass, step: PlanStep) -> Scene:
    """The chain, left for a cadence: to the place where it is left, or to the tonic."""
    chain = Chain(
        pattern=pattern,
        compass=compass,
        most_links=max(1, step.links - HEARD),
        ending=Ending.CLOSE,
    )
    after = tuple(islice(chain.links(), step.links + CIRCLE))
    links = (*links_of(chain, HEARD), *after)
    outside = [i for i, link in enumerate(links) if link.role is Role.CADENCE]
    if step.show is Show.BREAK and outside:
        links = links[: outside[0] + 1]
    big, said = [], []
    for number, link in enumerate(links):
        left = link.role is Role.CADENCE
        first = left and number == outside[0]
        big.append("chain" if not left else "cadence" if step.show is Show.CADENCE else "break")
        said.append((step.say, "the chain is left here" if first else ""))
    return Scene(links=links, captions=_captions(links, big, said), pattern=pattern)


def _other_keys(pattern: Pattern, compass: Compass, step: PlanStep) -> Scene:
    links: list[Link] = []
    big: list[str] = []
    key = pattern.key
    for _ in range(step.keys):
        key = next_key(key, up=step.up)
        moved = _within(in_key(pattern, key), compass, step.links)
        links += moved
        big += [key_words(key)] * len(moved)
    captions = _captions(links, big, [(step.say,)] * len(links))
    return Scene(links=tuple(links), captions=captions, pattern=pattern)


def _within(pattern: Pattern, compass: Compass, count: int) -> tuple[Link, ...]:
    """Return the links of a pattern, in the octave where most of them have keys."""
    options = [
        links_of(Chain(pattern=moved_octaves(pattern, octaves), compass=compass), count)
        for octaves in (0, -1, 1)
    ]
    return max(
        options,
        key=lambda links: sum(compass.holds(n.pitch for n in link.notes) for link in links),
    )


def next_key(key: Key, *, up: bool) -> Key:
    """Return the next key round the circle of fifths, the enharmonic one past six signs.

    >>> from livecont.music.key import parse_key
    >>> next_key(parse_key("C major"), up=True).name, next_key(parse_key("F# major"), up=True).name
    ('G major', 'Db major')
    """
    fifths = key.fifths + (1 if up else -1)
    if abs(fifths) >= MOST_FIFTHS:
        fifths -= CIRCLE if fifths > 0 else -CIRCLE
    tonic = fifths - MODE_FIFTHS[key.mode]
    for letter, place in enumerate(LETTER_FIFTHS):
        alter, rest = divmod(tonic - place, 7)
        if rest == 0 and abs(alter) <= 1:
            return Key(letter, alter, key.mode)
    return key
