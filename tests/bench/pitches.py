"""How often the rules of continuation find the composer's third link, told the first two.

    python -m tests.bench pitches ../shared/cases [--worst 20]

Conventions: the tool hears MIDI numbers, so the links' MIDI numbers are spelled here again, by key
and step, and only MIDI numbers are compared. `right` is the share of runs whose third link is
entirely right, `f1` the mean F1 of notes (onset and pitch), as in the cases' own score. A run
counts once, whichever pianists played it. Halves are by work: in alphabetical order, dealt in turn.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections import defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

from livecont.music.key import Key, parse_key
from livecont.music.pitch import Spelling
from livecont.sequence.continuation import carry_on
from livecont.sequence.pattern import Position

Rule = Callable[[tuple[Position, ...], int, Key], tuple[Spelling | None, ...]]
Sounding = tuple[tuple[float, int], ...]  # onset in quarters from the link's start, MIDI pitch
# onsets in quarters are rounded to this: finer than any triplet, coarser than the cases' decimals
GRID = 1 / 480


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """Two links as heard, and the third as composed."""

    name: str
    piece: str
    tier: str
    half: int
    key: Key
    step: int
    positions: tuple[Position, ...]
    truth: Sounding
    unit_quarters: float


def _rounded(onset: float) -> float:
    return round(onset / GRID) * GRID


def pair_up(link1: Sounding, link2: Sounding, step: int, key: Key) -> list[list[Spelling | None]]:
    """Return the pitches of two chords matched by the step, usual spellings first."""
    options = [
        (a.alter != key.signature_alter(a.staff), i + j, m, n, a, b)
        for m, (_, first) in enumerate(link1)
        for n, (_, second) in enumerate(link2)
        for i, a in enumerate(key.spellings(first))
        for j, b in enumerate(key.spellings(second))
        if b.staff - a.staff == step
    ]
    options.sort(key=lambda option: (option[1], option[0], option[2], option[3]))
    result: list[list[Spelling | None]] = []
    used1: set[int] = set()
    used2: set[int] = set()
    for *_, m, n, a, b in options:
        if m not in used1 and n not in used2:
            used1.add(m)
            used2.add(n)
            result.append([a, b])
    result += [[key.spell(p), None] for m, (_, p) in enumerate(link1) if m not in used1]
    result += [[None, key.spell(p)] for n, (_, p) in enumerate(link2) if n not in used2]
    return result


def positions_of(
    links: tuple[list[list[float]], ...], step: int, key: Key, unit: float
) -> tuple[Position, ...]:
    """Return the positions of two links, each a list of [onset, MIDI pitch, duration, ...]."""
    chords: tuple[dict[float, dict[int, float]], ...] = (defaultdict(dict), defaultdict(dict))
    for link, chord in zip(links, chords, strict=True):
        for onset, pitch, length, *_ in link:
            at = chord[_rounded(onset)]
            at[int(pitch)] = max(at.get(int(pitch), 0.0), length)
    result = []
    for onset in sorted({*chords[0], *chords[1]}):
        one, two = (tuple((onset, p) for p in sorted(c.get(onset, ()))) for c in chords)
        for heard in pair_up(one, two, step, key):
            lengths = [
                chord[onset][h.midi]
                for chord, h in zip(chords, heard, strict=True)
                if h is not None
            ]
            result.append(
                Position(
                    offset_units=onset / unit,
                    articulation=sum(lengths) / len(lengths) / unit,
                    velocity=64,
                    channel=0,
                    heard=tuple(heard),
                )
            )
    return tuple(result)


def read_runs(folder: Path) -> list[Run]:
    """Read the runs of a folder of cases, one a run."""
    lines = [json.loads(line) for line in (folder / "truth.jsonl").read_text().splitlines()]
    halves = {p: i % 2 for i, p in enumerate(sorted({c["piece"] for c in lines}))}
    runs: dict[str, Run] = {}
    for case in lines:
        key = parse_key(f"{case['key']['tonic']} {case['key']['mode']}")
        unit = float(case["unit_quarters"])
        runs.setdefault(
            case["run"],
            Run(
                name=case["id"],
                piece=case["piece"],
                tier=case["tier"],
                half=halves[case["piece"]],
                key=key,
                step=case["step"],
                positions=positions_of((case["link1"], case["link2"]), case["step"], key, unit),
                truth=tuple(sorted({(_rounded(n[0]), n[1]) for n in case["link3"]})),
                unit_quarters=unit,
            ),
        )
    return list(runs.values())


def key_signature(
    positions: tuple[Position, ...], step: int, key: Key
) -> tuple[Spelling | None, ...]:
    """Move every note of link 2 by degrees, accidentals by the signature."""
    return tuple(
        key.natural(p.heard[1].staff + step) if p.heard[1] is not None else None for p in positions
    )


def last_heard(positions: tuple[Position, ...], step: int, key: Key) -> tuple[Spelling | None, ...]:
    """Move by degrees, every letter with the accidental it had last."""
    last: dict[int, int] = {}
    for link in (0, 1):
        last |= {h.letter: h.alter for p in positions if (h := p.heard[link]) is not None}
    plain = key_signature(positions, step, key)
    return tuple(
        Spelling(s.staff, last.get(s.letter, s.alter)) if s is not None else None for s in plain
    )


def real_shift(positions: tuple[Position, ...], step: int, key: Key) -> tuple[Spelling | None, ...]:
    """Move every note by the semitones it moved by from link 1 to link 2."""
    result: list[Spelling | None] = []
    for p, plain in zip(positions, key_signature(positions, step, key), strict=True):
        one, two = p.heard[0], p.heard[1]
        if one is None or two is None or plain is None:
            result.append(plain)
            continue
        midi = 2 * two.midi - one.midi
        result.append(Spelling(plain.staff, midi - Spelling(plain.staff, 0).midi))
    return tuple(result)


def sounding(run: Run, pitches: Iterable[Spelling | None]) -> Sounding:
    """Return a predicted link as (onset, MIDI pitch), sorted."""
    return tuple(
        sorted(
            {
                (_rounded(p.offset_units * run.unit_quarters), s.midi)
                for p, s in zip(run.positions, pitches, strict=True)
                if s is not None
            }
        )
    )


def f1(predicted: Sounding, truth: Sounding) -> float:
    """Return the F1 of notes, equal in onset and pitch."""
    both = len(set(predicted) & set(truth))
    return 2 * both / (len(predicted) + len(truth)) if predicted or truth else 1.0


RULES: dict[str, Rule] = {
    "key signature": key_signature,
    "last heard": last_heard,
    "real": real_shift,
    "carry_on": carry_on,
}


def _row(name: str, runs: list[Run], rule: Rule) -> str:
    cells = [f"{name:15s}"]
    for tier in ("strict", "near"):
        for half in (0, 1, None):
            chosen = [r for r in runs if r.tier == tier and half in (None, r.half)]
            scores = [f1(sounding(r, rule(r.positions, r.step, r.key)), r.truth) for r in chosen]
            right = sum(s > 1 - 1e-9 for s in scores)
            n = max(len(scores), 1)
            cells.append(f"{right / n:.3f} {sum(scores) / n:.3f} n={len(scores):<3d}")
    return "  ".join(cells)


def _names(links: Iterable[tuple[float, str]]) -> str:
    by_onset: dict[float, list[str]] = defaultdict(list)
    for onset, name in links:
        by_onset[onset].append(name)
    return "  ".join(f"{onset:g}:{'.'.join(by_onset[onset])}" for onset in sorted(by_onset))


def describe(run: Run) -> str:
    """Return a run as note names: both links, what was predicted, what was composed."""
    lines = [f"{run.name} {run.tier} {run.key.name} step {run.step:+d}"]
    offsets = [round(p.offset_units * run.unit_quarters, 3) for p in run.positions]
    for link in (0, 1):
        heard = [
            (o, h.name) for o, p in zip(offsets, run.positions, strict=True) if (h := p.heard[link])
        ]
        lines.append(f"  link {link + 1}  {_names(heard)}")
    said = carry_on(run.positions, run.step, run.key)
    lines.append(
        f"  said    {_names((o, s.name) for o, s in zip(offsets, said, strict=True) if s)}"
    )
    predicted = set(sounding(run, said))
    missed = [(round(o, 3), run.key.spell(m).name) for o, m in run.truth if (o, m) not in predicted]
    false = [(round(o, 3), run.key.spell(m).name) for o, m in predicted - set(run.truth)]
    lines.append(f"  wrong   {_names(false)}")
    lines.append(f"  missed  {_names(missed)}")
    return "\n".join(lines)


def main(argv: list[str]) -> int:
    """Print the table, and the worst runs where asked."""
    parser = argparse.ArgumentParser(prog="pitches")
    parser.add_argument("cases", type=Path)
    parser.add_argument("--worst", type=int, default=0)
    args = parser.parse_args(argv)
    runs = read_runs(args.cases)
    header = [
        f"{tier} {half}" for tier in ("strict", "near") for half in ("half 0", "half 1", "all")
    ]
    print(" " * 17 + "  ".join(f"{h:17s}" for h in header) + "\n" + " " * 17 + "right f1")
    for name, rule in RULES.items():
        print(_row(name, runs, rule))
    scored = [(f1(sounding(r, carry_on(r.positions, r.step, r.key)), r.truth), r) for r in runs]
    wrong = sorted((s, r.name, r) for s, r in scored if s < 1 - 1e-9)
    for _, _, run in wrong[: args.worst]:
        print("\n" + describe(run))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
