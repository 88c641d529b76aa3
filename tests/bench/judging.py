"""How often judging accepts a pianist's link, and refuses it with one note altered.

    python -m tests.bench judging ../shared/cases [--worst 20] [--every 1]

Two kinds of answers, both with a pianist's own timing, velocities, spread chords and slips:

- `performed`: what a pianist played for link 2 of a case, judged against the link 2 that is
  written. Nothing of any third link is in the files, so link 2 stands for the link to be answered.
- `third`: the pitches of the written link 3 at the moments of the performed link 2 (each chord
  where its counterpart was played, each note as far before or after as its counterpart, by rank
  from below), judged against the written link 3.

`whole` are the answers in which, by the data set's own alignment, every written note was played;
the others lack notes and are no true links. Altered: one note at a time is changed in each accepted
answer (`--every` N: every Nth note), and the share of altered answers that are refused is told.
Harmless changes, of time alone, are to be accepted. Deterministic.
"""

from __future__ import annotations

import argparse
import json
import random  # noqa: TID251 -- seeded, so that each run alters the same notes
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from typing import Any

from livecont.ear.following import chords_of
from livecont.ear.judging import Added, Judgement, Verdict, judge
from livecont.music.key import Key, parse_key
from livecont.music.pitch import spelling
from livecont.score.smf import read_smf
from livecont.sequence.events import KeyDown, KeyUp, Note, PlayerEvent
from livecont.sequence.pattern import Link, LinkNote

Played = tuple[Note, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """An answer, what was due and when; `whole`: every written note was played."""

    name: str
    key: Key
    due: Link
    played: Played
    due_s: float
    whole: bool

    def judged(self, played: Played | None = None) -> Judgement:
        """Return the judgement, of the answer or of another one in its place."""
        return judge(self.due, played or self.played, self.key, due_s=self.due_s)


def notes_of(events: Sequence[PlayerEvent]) -> Played:
    """Return the notes of a recording, by onset."""
    found: list[Note] = []
    down: dict[int, int] = {}
    for event in events:
        if isinstance(event, KeyDown):
            down[event.pitch] = len(found)
            found.append(
                Note(onset_s=event.at_s, release_s=None, pitch=event.pitch, velocity=event.velocity)
            )
        elif isinstance(event, KeyUp) and event.pitch in down:
            at = down.pop(event.pitch)
            found[at] = replace(found[at], release_s=event.at_s)
    return tuple(found)


def written(notes: list[list[Any]], names: list[str], number: int, link_s: float, q: float) -> Link:
    """Return a written link that lasts `link_s`; two voices that meet in one key are one note."""
    seen: dict[tuple[float, int], LinkNote] = {}
    for (onset, _, length, *_), name in zip(notes, names, strict=True):
        one = LinkNote(
            offset_s=onset * link_s / q, duration_s=length * link_s / q,
            spelling=spelling(name), velocity=64, channel=0,
        )  # fmt: skip
        known = seen.get((onset, one.pitch))
        if known is None or known.duration_s < one.duration_s:
            seen[onset, one.pitch] = one
    return Link(number=number, unit_s=link_s, notes=tuple(seen.values()), pedals=())


def performed(folder: Path) -> Iterator[tuple[Answer, Link]]:
    """Yield each performed link 2 as an answer, with the written link 3 at the same tempo."""
    for line in (folder / "truth.jsonl").read_text("utf-8").splitlines():
        case = json.loads(line)
        human = case["variants"].get("human")
        if human is None:
            continue
        events = read_smf(folder / human["file"]).events
        one_s, two_s, _ = human["link_starts_s"]
        link_s, q = two_s - one_s, case["unit_quarters"]
        names = [note[3] for note in case["link2"]]
        answer = Answer(
            name=case["id"],
            key=parse_key(f"{case['key']['tonic']} {case['key']['mode']}"),
            due=written(case["link2"], names, 2, link_s, q),
            played=tuple(note for note in notes_of(events) if note.onset_s >= two_s - 0.001),
            due_s=two_s,
            whole=human["missing_notes"] == 0,
        )
        yield answer, written(case["link3"], case["link3_names"], 3, link_s, q)


def third(answer: Answer, link: Link) -> Answer:
    """Return an answer with the written link 3's pitches in the time of the performed link 2."""
    judged = answer.judged()
    line = []
    for chord in chords_of(answer.due.notes):
        onsets = sorted(
            (one.due.pitch, one.onset_s)
            for i in chord.members
            if (one := judged.notes[i]).onset_s is not None
        )
        if onsets:
            line.append((chord.offset_s, [onset_s for _, onset_s in onsets]))
    played = []
    for chord in chords_of(link.notes):
        members = sorted(chord.members, key=lambda i: link.notes[i].pitch)
        for rank, i in enumerate(members):
            at_s = _at(line, chord.offset_s, rank / max(1, len(members) - 1))
            note = link.notes[i]
            played.append(
                Note(
                    onset_s=at_s, release_s=at_s + note.duration_s,
                    pitch=note.pitch, velocity=64,
                )
            )  # fmt: skip
    played.sort(key=lambda note: note.onset_s)
    return replace(answer, due=link, played=tuple(played))


def _at(line: list[tuple[float, list[float]]], offset_s: float, height: float) -> float:
    """When a note was played, by its chord's offset and how high it lies in its chord, 0..1."""
    points = [(o, t[round(height * (len(t) - 1))]) for o, t in line]
    before = max((p for p in points if p[0] <= offset_s + 1e-6), default=points[0])
    after = min((p for p in points if p[0] >= offset_s - 1e-6), default=points[-1])
    if after[0] - before[0] < 1e-6:
        return before[1] + offset_s - before[0]
    return before[1] + (after[1] - before[1]) * (offset_s - before[0]) / (after[0] - before[0])


# --- what is altered ----------------------------------------------------------------------------


def moved(*semitones: int) -> Callable[[Played, int, random.Random], Played]:
    """Return what strikes one note another key away."""

    def alter(played: Played, at: int, dice: random.Random) -> Played:
        note = played[at]
        other = replace(note, pitch=note.pitch + dice.choice(semitones))
        return (*played[:at], other, *played[at + 1 :])

    return alter


def left_out(played: Played, at: int, dice: random.Random) -> Played:
    """Leave a note out."""
    return (*played[:at], *played[at + 1 :])


def added(played: Played, at: int, dice: random.Random) -> Played:
    """Strike a further note with a note: a third to a seventh away, none that sounds then."""
    note = played[at]
    near = {n.pitch % 12 for n in played if abs(n.onset_s - note.onset_s) < 0.6}
    free = [d for d in (*range(-11, -2), *range(3, 12))
            if all((note.pitch + d - p) % 12 not in (0, 1, 2, 10, 11) for p in near)]  # fmt: skip
    if not free:
        return played
    other = replace(note, pitch=note.pitch + dice.choice(free))
    return tuple(sorted((*played, other), key=lambda n: n.onset_s))


ALTERED: dict[str, Callable[[Played, int, random.Random], Played]] = {
    "a semitone off": moved(-1, 1),
    "a tone off": moved(-2, 2),
    "a third or more off": moved(-7, -5, -4, -3, 3, 4, 5, 7),
    "an octave off": moved(-12, 12),
    "left out": left_out,
    "one added": added,
}


def late(played: Played, dice: random.Random) -> Played:
    """Begin a second and a half late."""
    return tuple(replace(note, onset_s=note.onset_s + 1.5) for note in played)


def tempo(factor: float) -> Callable[[Played, random.Random], Played]:
    """Return what plays in another tempo throughout."""

    def change(played: Played, dice: random.Random) -> Played:
        first = played[0].onset_s
        return tuple(replace(n, onset_s=first + factor * (n.onset_s - first)) for n in played)

    return change


def drift(played: Played, dice: random.Random) -> Played:
    """Slow down by a quarter from the first note to the last."""
    first, last = played[0].onset_s, played[-1].onset_s
    whole = max(last - first, 1e-3)
    return tuple(
        replace(n, onset_s=n.onset_s + 0.125 * (n.onset_s - first) ** 2 / whole) for n in played
    )


def spread(played: Played, dice: random.Random) -> Played:
    """Spread every note by up to 40 ms more."""
    moved_ = (replace(note, onset_s=note.onset_s + dice.uniform(0, 0.04)) for note in played)
    return tuple(sorted(moved_, key=lambda note: note.onset_s))


def another_rhythm(answer: Answer, judgement: Judgement) -> Iterator[Played]:
    """Yield the answer with one inner chord struck halfway between its due time and the one before.

    Where that is 0.1 s and more: less is told as early, not refused.
    """
    chords = chords_of(answer.due.notes)
    groups = [
        [one for i in chord.members if (one := judgement.notes[i]).onset_s is not None]
        for chord in chords
    ]
    groups = [group for group in groups if group]
    for before, here in pairwise(groups[:-1]):
        starts = [[one.onset_s or 0.0 for one in group] for group in (before, here)]
        early_s = (sum(starts[1]) / len(starts[1]) - sum(starts[0]) / len(starts[0])) / 2
        struck = {(one.onset_s, one.played.midi) for one in here if one.played is not None}
        if early_s >= 0.1:
            moved_ = (
                replace(n, onset_s=n.onset_s - early_s) if (n.onset_s, n.pitch) in struck else n
                for n in answer.played
            )
            yield tuple(sorted(moved_, key=lambda note: note.onset_s))


HARMLESS: dict[str, Callable[[Played, random.Random], Played]] = {
    "1.5 s late": late,
    "slower by a quarter": tempo(1.25),
    "faster by a fifth": tempo(0.8),
    "slowing down by a quarter": drift,
    "40 ms more spread": spread,
}


# --- measuring ----------------------------------------------------------------------------------


def measure(title: str, answers: list[Answer], every: int) -> list[Answer]:
    """Print what became of answers; return those that were whole and yet refused."""
    whole = [answer for answer in answers if answer.whole]
    judged = [(answer, answer.judged()) for answer in answers]
    right = [(answer, judgement) for answer, judgement in judged if judgement.right]
    accepted = [answer for answer, _ in right if answer.whole]
    notes = sum(j.right_notes for a, j in judged if a.whole)
    print(f"{title}: {len(answers)} answers, {len(whole)} whole")
    print(f"  accepted of the whole ones     {_share(len(accepted), len(whole))}")
    print(f"    right notes alone            {_share(notes, len(whole))}")
    print(f"  accepted of all                {_share(len(right), len(answers))}")
    dice = random.Random(20)
    for name, alter in ALTERED.items():
        refused = total = 0
        for answer, judgement in right:
            for k in struck_in(answer, judgement)[::every]:
                played = alter(answer.played, k, dice)
                if played != answer.played:
                    total += 1
                    refused += not answer.judged(played).right
        print(f"  refused, {name:22s} {_share(refused, total)}")
    rhythms = [answer.judged(p).right for answer, j in right for p in another_rhythm(answer, j)]
    print(f"  refused, another rhythm        {_share(rhythms.count(False), len(rhythms))}")
    for name, change in HARMLESS.items():
        fine = sum(answer.judged(change(answer.played, dice)).right for answer, _ in right)
        print(f"  accepted, {name:22s}{_share(fine, len(right))}")
    return [answer for answer, judgement in judged if answer.whole and not judgement.right]


def struck_in(answer: Answer, judgement: Judgement) -> list[int]:
    """Which played notes stand for due ones."""
    struck = {(one.onset_s, one.played.midi) for one in judgement.notes if one.played is not None}
    return [k for k, note in enumerate(answer.played) if (note.onset_s, note.pitch) in struck]


def _share(part: int, whole: int) -> str:
    return f"{100 * part / max(1, whole):6.2f} %  ({part} of {whole})"


def describe(answer: Answer) -> str:
    """Return why an answer was refused."""
    judgement = answer.judged()
    wrong = [
        f"{one.due.spelling.name} {one.verdict} {one.played.name if one.played else ''}"
        for one in judgement.notes
        if one.verdict is not Verdict.RIGHT
    ]
    more = [s.spelling.name for s in judgement.surplus if s.added is Added.EXTRA]
    uneven = [answer.due.notes[i].spelling.name for i in judgement.uneven]
    return f"  {answer.name}: {wrong} added {more} another rhythm at {uneven}"


def main(argv: list[str]) -> int:
    """Run the benchmark; exit code 0 where it could run."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench judging")
    parser.add_argument("cases", type=Path)
    parser.add_argument("--worst", type=int, default=0)
    parser.add_argument("--every", type=int, default=1)
    args = parser.parse_args(argv)
    if not (args.cases / "truth.jsonl").is_file():
        print(f"no development cases at {args.cases}: nothing to measure", file=sys.stderr)
        return 2
    pairs = list(performed(args.cases))
    thirds = [third(answer, link) for answer, link in pairs if answer.judged().tempo is not None]
    for title, answers in (("performed", [a for a, _ in pairs]), ("third", thirds)):
        refused = measure(title, answers, args.every)
        for answer in refused[: args.worst]:
            print(describe(answer))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
