"""The main notes of a link: the figuration taken away, suspensions kept.

A harmony has one main note in each voice: its bass, the chord note that the top voice has longest,
and, where the texture is fuller, of what lies between what the harmony lacks most. A suspension
comes before its resolution, in the same voice.

Conventions: offsets and lengths in units; voices count from the bass, 0. The same reduction is read
off any link: its notes are positions of the pattern. A note that is suspended into the next link
has its suspended part past the link's end.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from livecont.music.harmony_notes import Tone
from livecont.music.pitch import Spelling
from livecont.sequence.pattern import LinkNote, Pattern

PLACES = 7
# what a harmony lacks most, in places above its root: root, third, seventh, fifth (common practice)
WANTED = (0, 2, 6, 4)
LEAST_UNITS = 0.01
MOST_VOICES = 4
# a top note at the harmony's beginning counts for so much more, as a share of the harmony
HEAD_SHARE = 0.25


@dataclass(frozen=True, slots=True, kw_only=True)
class MainNote:
    """A note of the reduction: the index of its position, when and how long, in which voice.

    `suspended` where it belongs to the harmony before and resolves down a step.
    """

    position: int
    offset_units: float
    duration_units: float
    voice: int
    suspended: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """A harmony's time in the link and its root's letter, in the frame of link 1."""

    start: float
    end: float
    root: int

    @property
    def length(self) -> float:
        """How long it holds."""
        return self.end - self.start

    def shared(self, tone: Tone) -> float:
        """How long a tone sounds in it."""
        return min(tone.end, self.end) - max(tone.start, self.start)


def reduction_of(
    tones: Sequence[Tone], stretches: Sequence[Stretch], step: int
) -> tuple[MainNote, ...]:
    """Return the main notes of a link, by time, then from the bass up.

    Args:
        tones: the link's, from `harmony_notes.tones_of`.
        stretches: its harmonies.
        step: staff places from link to link.
    """
    voices = _voices(tones)
    found: list[MainNote] = []
    for stretch in stretches:
        inside = _members(tones, stretch)
        if not inside:
            continue
        chosen = _chosen(inside, stretch, voices)
        for voice, tone in enumerate(chosen):
            found += _main(tone, voice, stretch, tones, step)
    return tuple(sorted(found, key=lambda note: (note.offset_units, note.voice)))


def _voices(tones: Sequence[Tone]) -> int:
    """How many voices the texture has, as a rule: as many as sound together half of the time."""
    moments = sorted(sum(tone.start <= other.start < tone.end for tone in tones) for other in tones)
    typical = moments[len(moments) // 2] if moments else 0
    return max(2, min(MOST_VOICES, typical))


def _members(tones: Sequence[Tone], stretch: Stretch) -> list[Tone]:
    return [
        tone
        for tone in tones
        if tone.start < 1.0
        and stretch.shared(tone) > LEAST_UNITS
        and (tone.place - stretch.root) % PLACES in WANTED
    ]


def _chosen(inside: list[Tone], stretch: Stretch, voices: int) -> list[Tone]:
    """One tone for each voice, from the bass up."""
    bass = bass_of(inside, stretch)
    tops = _on_top(inside, stretch)
    above = [tone for tone in inside if tone.place > bass.place]
    if not above:
        return [bass]
    top = max(above, key=lambda tone: (tops.get(tone.place, 0.0), tone.place, -tone.start))
    chosen = [bass, top]
    between = [tone for tone in above if tone.place < top.place]
    for above_root in WANTED:
        letters = {(tone.place - stretch.root) % PLACES for tone in chosen}
        fitting = [t for t in between if (t.place - stretch.root) % PLACES == above_root]
        if len(chosen) < voices and above_root not in letters and fitting:
            chosen.append(max(fitting, key=lambda tone: (tone.place, -tone.start)))
    for tone in sorted(between, key=lambda tone: (tone.start, -tone.place)):
        if len(chosen) < voices and all(tone.place != other.place for other in chosen):
            chosen.append(tone)  # doubled, so that no voice is left out
    return sorted(chosen, key=lambda tone: tone.place)


def members_of(tones: Sequence[Tone], stretch: Stretch) -> tuple[int, ...]:
    """Return the positions of a harmony's notes: its bass first, then the weightier first."""
    inside = [tone for tone in _members(tones, stretch) if not tone.suspended]
    if not inside:
        return ()
    bass = bass_of(inside, stretch)
    rest = sorted(inside, key=lambda tone: -stretch.shared(tone) * tone.share)
    return tuple(dict.fromkeys([bass.index, *(tone.index for tone in rest)]))


def bass_of(inside: Sequence[Tone], stretch: Stretch) -> Tone:
    """Return a harmony's bass: what lies lowest longest, its beginning counting for more.

    Only in the lowest octave: a melody that begins before its accompaniment is no bass.
    """
    lowest = min(tone.place for tone in inside)
    low = [tone for tone in inside if tone.place < lowest + PLACES]
    edges = sorted(
        {t for tone in low for t in (tone.start, tone.end)} | {stretch.start, stretch.end}
    )
    found: dict[int, float] = {}
    for start, end in pairwise(edges):
        sounding = [t.place for t in low if t.start <= start and t.end >= end]
        if sounding and stretch.start - LEAST_UNITS <= start and end <= stretch.end + LEAST_UNITS:
            bonus = 0.5 * stretch.length if start <= stretch.start + LEAST_UNITS else 0.0
            found[min(sounding)] = found.get(min(sounding), 0.0) + end - start + bonus
    if not any(tone.start <= stretch.start + LEAST_UNITS for tone in low):
        first = min(low, key=lambda tone: (tone.start, tone.place))
        found[first.place] = found.get(first.place, 0.0) + 0.5 * stretch.length
    place = max(found, key=lambda place: (found[place], -place), default=lowest)
    return next(tone for tone in low if tone.place == place)


def _edges(tones: Sequence[Tone], stretch: Stretch) -> list[float]:
    found = {edge for tone in tones for edge in (tone.start, tone.end)}
    return sorted(found | {stretch.start, stretch.end})


def _on_top(inside: list[Tone], stretch: Stretch) -> dict[int, float]:
    """How long each place is the highest of the harmony's notes; its beginning counts for more."""
    edges = sorted(
        {stretch.start, stretch.end, *(t.start for t in inside), *(t.end for t in inside)}
    )
    found: dict[int, float] = {}
    for start, end in pairwise(edges):
        if start < stretch.start - LEAST_UNITS or end > stretch.end + LEAST_UNITS:
            continue
        sounding = [t.place for t in inside if t.start <= start and t.end >= end]
        if sounding:
            worth = end - start
            if start <= stretch.start + LEAST_UNITS:
                worth += HEAD_SHARE * stretch.length
            found[max(sounding)] = found.get(max(sounding), 0.0) + worth
    return found


def _main(
    tone: Tone, voice: int, stretch: Stretch, tones: Sequence[Tone], step: int
) -> list[MainNote]:
    """A harmony's main note in a voice, its suspension before it."""
    start = stretch.start
    found = []
    for lap in (0, 1):
        for held in tones:
            place = held.place - lap * step
            if not held.suspended or place != tone.place:
                continue
            begins, ends = held.start - lap, held.end - lap
            if not stretch.start - LEAST_UNITS <= begins < ends < stretch.end - LEAST_UNITS:
                continue
            found.append(
                MainNote(
                    position=held.index,
                    offset_units=held.start,
                    duration_units=held.length,
                    voice=voice,
                    suspended=True,
                )
            )
            start = max(start, ends)
    if tone.suspended:
        return found + _resolution(tone, voice, stretch, tones, step)
    if stretch.end - start <= LEAST_UNITS:
        return found
    return [*found, _plain(tone.index, voice, start, stretch.end)]


def _plain(position: int, voice: int, start: float, end: float) -> MainNote:
    return MainNote(
        position=position,
        offset_units=start,
        duration_units=end - start,
        voice=voice,
        suspended=False,
    )


def _resolution(
    tone: Tone, voice: int, stretch: Stretch, tones: Sequence[Tone], step: int
) -> list[MainNote]:
    """The note to which a suspension goes: in the same link, or at the next one's beginning.

    What comes at the next link's beginning came at this one's, too.
    """
    for lap in (0, 1):
        for other in tones:
            same = not other.suspended and other.place + lap * step == tone.place
            holds = stretch.end - lap - other.start > LEAST_UNITS
            if same and holds and abs(other.start + lap - tone.end) <= LEAST_UNITS:
                return [_plain(other.index, voice, other.start, stretch.end - lap)]
    return []


def notes_of(
    reduction: Sequence[MainNote], pattern: Pattern, spelled: tuple[Spelling | None, ...]
) -> tuple[LinkNote, ...]:
    """Return the main notes of a link as notes to be played or written, times in seconds."""
    found = []
    for note in reduction:
        pitch, position = spelled[note.position], pattern.positions[note.position]
        if pitch is not None:
            found.append(
                LinkNote(
                    offset_s=note.offset_units * pattern.unit_s,
                    duration_s=note.duration_units * pattern.unit_s,
                    spelling=pitch,
                    velocity=min(127, max(1, position.velocity)),
                    channel=position.channel,
                )
            )
    return tuple(found)


def linear_motions(
    reduction: Sequence[MainNote], spelled: tuple[Spelling | None, ...], step: int
) -> tuple[tuple[int, ...], ...]:
    """Return how each voice goes from main note to main note, in staff places.

    A row for each voice, the bass first; its last entry leads to the next link's first main note.
    """
    rows = []
    for voice in sorted({note.voice for note in reduction}):
        places = [
            pitch.staff
            for note in reduction
            if note.voice == voice and (pitch := spelled[note.position]) is not None
        ]
        if places:
            rows.append(tuple(b - a for a, b in pairwise((*places, places[0] + step))))
    return tuple(rows)
