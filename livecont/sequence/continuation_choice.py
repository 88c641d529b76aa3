"""The choice of a link's accidentals: all rules weighed together, the best whole found.

Roles are few (most links have four to eight), so a beam over the roles, in order of time, finds the
best whole; the choice that keeps the home signature and the exact one always compete.

Conventions: `ahead` counts links after the later one heard, 1 for the next; a choice is one
accidental a role, as a tuple of indices into each role's options. Merits in nats.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from livecont.music.pitch import LETTER_FIFTHS, Spelling, spell_at
from livecont.sequence.continuation_figure import Figure, Tone
from livecont.sequence.continuation_home import Floats, Ints, outside, signature
from livecont.sequence.continuation_pairs import Pair, Side, pair_table
from livecont.sequence.continuation_rules import THIRD, WEIGHTS, Interval, Weights, interval

BEAM = 40
# places on the line of fifths from a signature to the last sharp in it, to its minor key's
# dominant and to that key's leading tone: F-B, E and G# for the signature without sharps or flats
SHARPEST, FLATTEST, DOMINANT, LEADING_TONE = 5, -1, 4, 8
WIDEST_ALTER = 2
MAJOR_THIRD = Interval(THIRD, 0)
WIDEST_LEAP = 4  # places on the staff over which a voice goes from one link into the next


@dataclass(frozen=True)
class Choice:
    """What bears on one link: its figure, where it moves to, the signature and the mode.

    `fifths` is the home signature's place on the line of fifths (see `continuation_home`), `minor`
    whether the key is minor.
    `before` has each tone's pitch in the link before the one chosen, None where it has none.
    """

    figure: Figure
    step: int
    fifths: int
    minor: bool
    before: tuple[Spelling | None, ...]
    ahead: int = 1
    weights: Weights = WEIGHTS

    @cached_property
    def home(self) -> tuple[int, ...]:
        """The accidental of each letter in the home signature."""
        return signature(self.fifths)

    @cached_property
    def at_home(self) -> bool:
        """Whether the links heard never leave the home signature."""
        return all(
            s.alter == self.home[s.letter]
            for t in self.figure.tones
            for s in (t.one, t.two)
            if s is not None
        )

    @cached_property
    def shift(self) -> int | None:
        """By how many semitones every tone moved from link to link, None where they differ."""
        shifts = {t.two.midi - t.one.midi for t in self.figure.tones if t.one is not None}
        return next(iter(shifts)) if len(shifts) == 1 else None

    @cached_property
    def chromatic(self) -> bool:
        """Whether the links are exact copies of a line that no scale holds.

        In a line, alone or in octaves, the foreign notes are its own; in chords they may be those
        of keys passed through, which the next link need not pass through as well.
        """
        tones = self.figure.tones
        if self.shift is None or any(
            tones[i].at == tones[j].at and tones[i].two.letter != tones[j].two.letter
            for i, j in self.figure.together
        ):
            return False
        links = ([t.one for t in tones if t.one is not None], [t.two for t in tones])
        return all(
            outside(np.array([[s.alter for s in link]]), np.array([s.letter for s in link]))[0] > 0
            for link in links
        )

    def staff(self, tone: Tone) -> int:
        """Return a tone's place on the staff in the link chosen."""
        return tone.two.staff + self.ahead * self.step

    def exact(self, tone: Tone) -> int | None:
        """Return the accidental that moves a tone as it moved before; None where unknown."""
        shift = self.shift if tone.one is None else tone.two.midi - tone.one.midi
        if shift is None:
            return None
        return spell_at(tone.two.midi + self.ahead * shift, self.staff(tone)).alter

    @cached_property
    def options(self) -> tuple[tuple[int, ...], ...]:
        """The accidentals that each role may have."""
        found = []
        for members in self.figure.roles:
            tone = self.figure.tones[members[0]]
            letter = self.staff(tone) % 7
            home = self.home[letter]
            tried = {home - 1, home, home + 1}
            exact = self.exact(tone)
            if exact is not None:
                tried.add(exact)
            found.append(tuple(sorted(a for a in tried if abs(a) <= WIDEST_ALTER or a == home)))
        return tuple(found)

    # -- single roles

    @cached_property
    def single(self) -> tuple[Floats, ...]:
        """The merit of each role's options by the rules that look at one role."""
        return tuple(
            np.array([self._single(role, alter) for alter in options])
            for role, options in enumerate(self.options)
        )

    def _single(self, role: int, alter: int) -> float:
        members = self.figure.roles[role]
        letter = self.staff(self.figure.tones[members[0]]) % 7
        bend = alter - self.home[letter]
        beyond = LETTER_FIFTHS[letter] + 7 * alter - self.fifths
        w = self.weights
        merit = w.home if bend == 0 else 0.0
        merit += w.sharper * max(0, beyond - SHARPEST) + w.flatter * max(0, FLATTEST - beyond)
        if bend == 1 and beyond == LEADING_TONE:
            merit += w.leading_tone + (w.leading_tone_in_minor if self.minor else 0.0)
            if any(self._on_minor_dominant(i) for i in members):
                merit += w.minor_dominant
        if self.chromatic and alter == self.exact(self.figure.tones[members[0]]):
            merit += w.exact_of_chromatic
        if any(self._joined_alike(i, alter) for i in members):
            merit += w.joined_alike
        return merit

    def _on_minor_dominant(self, i: int) -> bool:
        """Whether a tone is the third of the minor dominant, of major chords in the links heard.

        In a broken chord only where the key is minor: else it may as well be a passing note. Not
        the third of the link's first chord, which tells the chain's step, nor one of parallel
        thirds, which are no chords.
        """
        figure = self.figure
        tones, b = figure.tones, figure.bass[i]
        upper, lower = tones[i], tones[b]
        if b == i or lower.at == figure.start or not (self.minor or lower.at == upper.at):
            return False
        if any(figure.role_of[j] == figure.role_of[i] for j in figure.first):
            return False
        root = self.staff(lower)
        if LETTER_FIFTHS[root % 7] + 7 * self.home[root % 7] != self.fifths + DOMINANT:
            return False
        if _third(lower.two, upper.two) != MAJOR_THIRD:
            return False
        if lower.one and upper.one and _third(lower.one, upper.one) != MAJOR_THIRD:
            return False
        p, q = figure.before[i], figure.before[b]
        if p is None or q is None or p == q or tones[p].at != tones[q].at:
            return True
        return (tones[p].two.staff - tones[q].two.staff) % 7 != THIRD

    def _joined_alike(self, i: int, alter: int) -> bool:
        """Whether the voice comes into this link as it came from the first link into the second."""
        if i not in self.figure.first:
            return False
        tone = self.figure.tones[i]
        midi = Spelling(self.staff(tone), alter).midi
        for j in self.figure.last:
            one, end = self.figure.tones[j].one, self.before[j]
            if one is None or end is None or abs(tone.two.staff - one.staff) > WIDEST_LEAP:
                continue
            if midi - end.midi == tone.two.midi - one.midi:
                return True
        return False

    # -- pairs

    @cached_property
    def pairs(self) -> dict[tuple[int, int], Floats]:
        """The merit of every two options of roles in relation, keyed by the earlier role first."""
        degree = [0] * len(self.options)
        for v, w, _ in self.figure.meetings:
            degree[v] += 1
            degree[w] += 1
        tables = {}
        for v, w, kinds in self.figure.meetings:
            pair = Pair(one=self.sides[v], other=self.sides[w], kinds=kinds)
            whole, shared = pair_table(pair, self.home, abs(self.step) > 1, self.weights)
            tables[v, w] = whole + min(1.0, 2 / max(degree[v], degree[w])) * shared
        return tables

    @cached_property
    def sides(self) -> tuple[Side, ...]:
        """Each role as the rules of pairs look at it."""
        found = []
        for role, members in enumerate(self.figure.roles):
            tone = self.figure.tones[members[0]]
            found.append(
                Side(
                    one=None if tone.one is None else (tone.one.letter, tone.one.alter),
                    two=(tone.two.letter, tone.two.alter),
                    letter=self.letters[role],
                    options=self.options[role],
                )
            )
        return tuple(found)

    # -- the whole

    def best(self) -> tuple[int, ...]:
        """Return the accidental of each role in the best whole."""
        choices = self.contenders()
        merits = self.merits(choices)
        chosen = choices[int(np.argmax(merits))]
        return tuple(options[at] for options, at in zip(self.options, chosen, strict=True))

    def contenders(self, beam: int = BEAM) -> Ints:
        """Return the choices that compete: shape (choices, roles), indices into the options."""
        chosen = np.zeros((1, 0), dtype=np.int64)
        merit = np.zeros(1)
        for w, single in enumerate(self.single):
            grown = merit[:, np.newaxis] + single[np.newaxis, :]
            for v in range(w):
                table = self.pairs.get((v, w))
                if table is not None:
                    grown += table[chosen[:, v]]
            best = np.argsort(-grown, axis=None, kind="stable")[:beam]
            rows, columns = np.divmod(best, single.size)
            chosen = np.concatenate((chosen[rows], columns[:, np.newaxis]), axis=1)
            merit = grown[rows, columns]
        special = [self._choice_of(self.home[letter] for letter in self.letters)]
        if self._exact_choice is not None:
            special.append(self._exact_choice)
        return np.concatenate((chosen, np.array(special, dtype=np.int64)))

    @cached_property
    def letters(self) -> tuple[int, ...]:
        """The letter of each role in the link chosen."""
        return tuple(self.staff(self.figure.tones[members[0]]) % 7 for members in self.figure.roles)

    def _choice_of(self, alters: Iterable[int]) -> tuple[int, ...]:
        return tuple(o.index(a) for o, a in zip(self.options, alters, strict=True))

    @cached_property
    def _exact_choice(self) -> tuple[int, ...] | None:
        """The real sequence, where the links were one and left the home signature."""
        if self.shift is None or self.at_home or self.ahead > 1:
            return None
        exact = [self.exact(self.figure.tones[members[0]]) for members in self.figure.roles]
        alters = [a for a, o in zip(exact, self.options, strict=True) if a is not None and a in o]
        return self._choice_of(alters) if len(alters) == len(exact) else None

    def merits(self, choices: Ints) -> Floats:
        """Return the merit of whole choices."""
        total = np.zeros(len(choices))
        for role, single in enumerate(self.single):
            total += single[choices[:, role]]
        for (v, w), table in self.pairs.items():
            total += table[choices[:, v], choices[:, w]]
        alters = np.stack([np.array(o)[choices[:, r]] for r, o in enumerate(self.options)], axis=1)
        letters = np.array(self.letters)
        if self.at_home:
            home = np.array(self.home)[letters]
            total += self.weights.all_home * (alters == home).all(axis=1)
        if self._exact_choice is not None:
            same = (choices == np.array(self._exact_choice)).all(axis=1)
            total += self.weights.all_real * same
        return total + self.weights.outside_scale * outside(alters, letters)


@lru_cache(maxsize=128)
def best_of(choice: Choice) -> tuple[int, ...]:
    """Return `choice.best()`; remembered, since several keys often ask for the same choice."""
    return choice.best()


def heeds_the_mode(letters: Iterable[int], fifths: int) -> bool:
    """Whether it matters if the key is minor: a letter is that of its signature's leading tone."""
    return any((LETTER_FIFTHS[letter] - fifths - LEADING_TONE) % 7 == 0 for letter in letters)


def _third(low: Spelling, high: Spelling) -> Interval:
    return interval(low.letter, low.alter, high.letter, high.alter)
