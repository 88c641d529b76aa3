"""Hears a player and says which sequence is being played.

A `Listener` keeps what it needs of the past and nothing else: groups of notes, the running
comparison of lags, pitch weights for the key. It knows no clock; times come with the events.

Conventions: seconds on the caller's clock, events in time order. `hear` is the note path and cheap;
`pattern` gathers the notes of the link and is called once, when its result is wanted.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

from livecont.music.key import Key
from livecont.music.keyfinding import key_scores
from livecont.music.pitch import Spelling
from livecont.sequence.affinity import affinity
from livecont.sequence.alignment import Alignment, musicians_choice, standing_alignments
from livecont.sequence.bare_links import is_a_triad_that_cadences, is_one_chord
from livecont.sequence.confidence import confidence_of, likelihood_of
from livecont.sequence.continuation import kind_of
from livecont.sequence.costs import COSTS, Costs
from livecont.sequence.events import KeyDown, KeyUp, PedalMove, PlayerEvent
from livecont.sequence.groups import Groups
from livecont.sequence.key_of_links import Reading, keys_of_links, most_agreed
from livecont.sequence.lags import LagTable
from livecont.sequence.pattern import Kind, Pattern, PedalMark, Position
from livecont.sequence.positions import positions_of, respelled
from livecont.sequence.runs import is_run
from livecont.sequence.tempo import Timing, begins_playing, timing_of

# the key is estimated from the latest notes: each weighs less by this factor a note [fit]
FORGETTING = 0.985
# notes before the first guess, and how much better another key must score to be taken [fit]
FIRST_GUESS = 4
CHANGE_MARGIN = 0.06
MOST_PEDALS = 256
DEFAULT_KEY = Key(letter=0, alter=0, mode="major")
MOST_BEFORE = 48
# an alignment less likely than this is not looked at more closely [fit]
WORTH_A_LOOK = 0.25
EARLY_S = 0.02
# units that differ by no more than this share are one
SAME_UNIT = 0.06


@dataclass(frozen=True, slots=True, kw_only=True)
class Prospect:
    """A sequence that stands at this moment; `whole` when two links of it have been heard."""

    alignment: Alignment
    timing: Timing
    whole: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class _Agreed:
    """The key that the links of a prospect were read in."""

    key: Key
    prospect: Prospect

    def holds_for(self, prospect: Prospect) -> bool:
        """Whether the other prospect is the same sequence, and no more of it."""
        return (
            self.prospect.alignment.step_degrees == prospect.alignment.step_degrees
            and self.prospect.whole == prospect.whole
            and abs(self.prospect.timing.unit_s - prospect.timing.unit_s)
            <= SAME_UNIT * prospect.timing.unit_s
        )


class Listener:
    """Streaming inference; see the module's text."""

    def __init__(self, key: Key | None = None, costs: Costs = COSTS) -> None:
        self._costs = costs
        self._chosen = key
        self._estimate: Key | None = None
        self._agreed: _Agreed | None = None
        self._weights = [0.0] * 12
        self._noted = 0
        self.forget()

    @property
    def key(self) -> Key | None:
        """The key in force: chosen, or estimated, or None before there is enough to go by."""
        return self._chosen or self._estimate

    @property
    def held(self) -> tuple[int, ...]:
        """The MIDI pitches whose keys are down."""
        return self._groups.held()

    @property
    def group_count(self) -> int:
        """How many groups of onsets were heard since the last `forget`."""
        return self._groups.count

    def choose_key(self, key: Key | None) -> None:
        """Take a key as chosen, or (None) estimate it from now on."""
        self._chosen = key
        self._agreed = None
        self._use_key()

    def forget(self) -> None:
        """Forget the notes heard, so that nothing before is compared with what comes."""
        self._groups = Groups(self._costs.chord_s, 3 * self._costs.longest_groups)
        self._agreed = None
        self._pedals: deque[PedalMove] = deque(maxlen=MOST_PEDALS)
        self._table = LagTable(self._costs, affinity(*self._affinity_of()))

    def hear(self, event: PlayerEvent) -> Prospect | None:
        """Take one event; return the sequence that stands after it, if any."""
        if isinstance(event, KeyUp):
            self._groups.up(event)
            return None
        if isinstance(event, PedalMove):
            self._pedals.append(event)
            return None
        self._weigh(event)
        begins = self._groups.down(event)
        newest = self._groups[self._groups.count - 1]
        if begins:
            self._table.add(newest.onset_s, newest.pitches)
        else:
            self._table.replace_newest(newest.onset_s, newest.pitches)
        return self._prospect()

    def latest(self, most: int) -> tuple[Spelling, ...]:
        """Return the latest notes, oldest first, spelled in the key in force."""
        key = self.key or DEFAULT_KEY
        pitches: list[int] = []
        number = self._groups.count - 1
        while number >= self._groups.first and len(pitches) < most:
            pitches[:0] = self._groups[number].pitches
            number -= 1
        return tuple(key.spell(pitch) for pitch in pitches[-most:])

    def pattern(self, prospect: Prospect, now_s: float) -> Pattern:
        """Return the pattern of a prospect that `hear` returned last."""
        alignment, timing = prospect.alignment, prospect.timing
        key, positions = self._read(prospect, now_s)
        confidence = 0.0 if self._says_nothing(alignment, key) else confidence_of(positions, key)
        kind, shift = Kind.TONAL, None
        if confidence >= WORTH_A_LOOK:
            kind, shift = kind_of(positions, alignment.step_degrees, key)
        return Pattern(
            unit_s=timing.unit_s,
            step_degrees=alignment.step_degrees,
            shift_semitones=shift,
            kind=kind,
            key=key,
            positions=positions,
            pedals=self._pedal_marks(timing),
            starts_s=(timing.start_s, timing.later_start_s),
            due_s=timing.due_s,
            confidence=confidence,
            links_heard=max(2, int(alignment.links + 0.01)),
            before=self._before(timing.start_s, key),
        )

    def _read(self, prospect: Prospect, now_s: float) -> tuple[Key, tuple[Position, ...]]:
        """The links' notes, and the key that they are read in: chosen, or what they speak for.

        What they speak for is asked when a sequence is new and when its second link is whole.
        """
        alignment, timing = prospect.alignment, prospect.timing
        known = self._agreed
        if self._chosen is None and known is not None and known.holds_for(prospect):
            return known.key, positions_of(alignment, timing, self._groups, known.key, now_s)
        key = self.key or DEFAULT_KEY
        positions = positions_of(alignment, timing, self._groups, key, now_s)
        if self._chosen is not None or confidence_of(positions, key) < WORTH_A_LOOK:
            return key, positions
        step_degrees = alignment.step_degrees
        readings = (
            Reading(key=other, weight=weight, positions=respelled(positions, step_degrees, other))
            for other, weight in keys_of_links(self._weights, positions)
        )
        agreed = most_agreed(readings, step_degrees)
        self._agreed = _Agreed(key=agreed.key, prospect=prospect)
        return agreed.key, agreed.positions

    def _prospect(self) -> Prospect | None:
        standing = standing_alignments(self._table, self._costs)
        alignment = musicians_choice(standing, self._table, self._costs)
        if alignment is None or likelihood_of(alignment) < WORTH_A_LOOK:
            return None
        timing = timing_of(alignment, self._table)
        if timing is None or not 0 < timing.unit_s <= self._costs.longest_s:
            return None
        if timing.earlier_unit_s <= 0:
            return None
        return Prospect(
            alignment=alignment,
            timing=timing,
            whole=alignment.begun >= 1.0 or begins_playing(alignment, timing, self._groups),
        )

    def _says_nothing(self, alignment: Alignment, key: Key) -> bool:
        """Whether the two latest links are a scale, an arpeggio, or chords without an inside."""
        first = max(self._groups.first, alignment.last_late - 2 * alignment.lag + 1)
        numbers = range(first, alignment.last_late + 1)
        groups = tuple(self._groups[number] for number in numbers)
        link = groups[-alignment.lag :]
        return (
            is_run(groups, key)
            or is_one_chord(link)
            or is_a_triad_that_cadences(link, alignment.step_degrees, alignment.links)
        )

    def _before(self, start_s: float, key: Key) -> tuple[Spelling, ...]:
        """The pitches heard before the links, as far as they still bear on the accidentals."""
        pitches: list[int] = []
        for number in range(self._groups.count - 1, self._groups.first - 1, -1):
            group = self._groups[number]
            if group.onset_s < start_s - EARLY_S:
                pitches[:0] = group.pitches
            if len(pitches) >= MOST_BEFORE:
                break
        return tuple(key.spell(pitch) for pitch in pitches)

    def _pedal_marks(self, timing: Timing) -> tuple[PedalMark, ...]:
        """The pedal of the later link."""
        return tuple(
            PedalMark(
                offset_units=(move.at_s - timing.later_start_s) / timing.unit_s,
                controller=move.controller,
                value=move.value,
            )
            for move in self._pedals
            if timing.later_start_s <= move.at_s < timing.due_s
        )

    def _weigh(self, event: KeyDown) -> None:
        self._weights = [weight * FORGETTING for weight in self._weights]
        self._weights[event.pitch % 12] += 1.0
        self._noted += 1
        if self._chosen is None and self._noted >= FIRST_GUESS:
            scores = key_scores(self._weights)
            best, score = scores[0]
            if best == self._estimate:
                return
            current = next((s for key, s in scores if key == self._estimate), -1.0)
            if score > current + (CHANGE_MARGIN if self._estimate else 0.0):
                self._estimate = best
                self._use_key()

    def _use_key(self) -> None:
        self._table.use_table(affinity(*self._affinity_of()))

    def _affinity_of(self) -> tuple[Key, int, float]:
        return self.key or DEFAULT_KEY, self._costs.widest_step, self._costs.respelled
