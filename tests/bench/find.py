"""Finding sequences in scores: time by number of notes, and the scorer's table of the scores.

    python -m tests.bench find speed [--notes 1000 10000 100000] [--json OUT]
    python -m tests.bench find score [../shared/scores] [--least-links 2] [--list 20]

`speed` looks through made pieces (seeded): two hands on two staves, free music and sequences in
turn, and a movement of 60 bars in four parts; reading files is not in the figures. Time a note
should not grow with the piece. `score` looks through the development scores as the command does and
hands its lines to their own scorer.
"""

from __future__ import annotations

import argparse
import json
import random  # noqa: TID251  seeded below
import runpy
import sys
import tempfile
import time  # noqa: TID251  benchmarks measure
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from typing import Any

from livecont.config import load_preferences
from livecont.music.key import parse_key
from livecont.music.score import Bar, Meter, Part, Score, ScoreNote, Signature
from livecont.sequence.finding import Search, find_sequences

SCORES = Path(__file__).resolve().parents[2].parent / "shared" / "scores"
KEY = parse_key("C major")
SIXTEENTH = Fraction(1, 4)
MOVEMENT_BARS, BAR_Q = 60, Fraction(4)


def main(argv: list[str]) -> int:
    """Run the part named; exit code 0 always: it measures."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench find", description=__doc__)
    parts = parser.add_subparsers(dest="part", required=True)
    speed_options = parts.add_parser("speed")
    speed_options.add_argument("--notes", type=int, nargs="+", default=[1000, 10_000, 100_000])
    speed_options.add_argument("--json", type=Path)
    score_options = parts.add_parser("score")
    score_options.add_argument("folder", type=Path, nargs="?", default=SCORES)
    score_options.add_argument("--least-links", type=int, default=2)
    score_options.add_argument("--list", type=int, default=20)
    options = parser.parse_args(argv)
    if options.part == "speed":
        return speed(options.notes, options.json)
    return score(options.folder, options.least_links, options.list)


def speed(sizes: list[int], out: Path | None) -> int:
    """Print time by size."""
    search = Search(compass=load_preferences().compasses["modern"])
    rows: list[dict[str, Any]] = []
    print(f"{'piece':28s}{'notes':>8s}{'seconds':>9s}{'us a note':>11s}{'finds':>7s}")
    pieces: list[tuple[str, Callable[[], Score]]] = [
        ("60 bars in four parts", lambda: movement(seed=1)),
        *((f"two hands, {size}", _two_hands(size)) for size in sizes),
    ]
    for name, make in pieces:
        piece = make()
        start = time.perf_counter()
        finds = find_sequences(piece, search)
        seconds = time.perf_counter() - start
        notes = len(piece.notes)
        rows.append({"piece": name, "notes": notes, "seconds": seconds, "finds": len(finds)})
        print(f"{name:28s}{notes:8d}{seconds:9.3f}{1e6 * seconds / notes:11.1f}{len(finds):7d}")
    if out is not None:
        out.write_text(json.dumps(rows, indent=1) + "\n")
    return 0


def _two_hands(size: int) -> Callable[[], Score]:
    return lambda: made(parts=1, staves=2, notes=size, seed=2)


def movement(seed: int) -> Score:
    """Return a movement of 60 bars of 4/4 in four parts, sixteenths and eighths throughout."""
    return made(parts=4, staves=1, notes=MOVEMENT_BARS * 4 * 12, seed=seed, bars=MOVEMENT_BARS)


def made(*, parts: int, staves: int, notes: int, seed: int, bars: int | None = None) -> Score:
    """Return a made piece: free music and sequences of all parts in turn."""
    dice = random.Random(seed)
    voices = [(part, staff + 1) for part in range(parts) for staff in range(staves)]
    found: list[ScoreNote] = []
    at_q = Fraction(0)
    while len(found) < notes and (bars is None or at_q < bars * BAR_Q):
        unit = dice.choice((4, 8, 16))  # sixteenths
        step = dice.choice((-2, -1, 1, 2))
        copies = dice.choice((1, 1, 3, 4))
        links = [
            [(place, dice.randint(0, 6)) for place in range(unit) if dice.random() < 0.75]
            for _ in voices
        ]
        for copy in range(copies):
            for (part, staff), link in zip(voices, links, strict=True):
                low = 26 + 7 * (len(voices) - voices.index((part, staff)))
                found += [
                    ScoreNote(
                        onset_q=at_q + (copy * unit + place) * SIXTEENTH,
                        duration_q=SIXTEENTH,
                        spelling=KEY.natural(low + height + copy * step),
                        part=part,
                        staff=staff,
                    )
                    for place, height in link
                ]
        at_q += copies * unit * SIXTEENTH
    found.sort(key=lambda note: (note.onset_q, note.part, note.staff))
    count = int(at_q / BAR_Q) + 1
    return Score(
        parts=tuple(Part(name=f"part {part + 1}", staves=staves) for part in range(parts)),
        notes=tuple(found),
        bars=tuple(
            Bar(number=str(bar + 1), start_q=bar * BAR_Q, length_q=BAR_Q) for bar in range(count)
        ),
        meters=(Meter(at_q=Fraction(0), beats=4, beat_type=4),),
        signatures=(Signature(at_q=Fraction(0), fifths=0),),
    )


def score(folder: Path, least_links: int, most: int) -> int:
    """Print the scorer's table."""
    lines = found_lines(folder, least_links)
    with tempfile.NamedTemporaryFile("w", suffix=".jsonl", encoding="utf-8") as file:
        file.writelines(json.dumps(line) + "\n" for line in lines)
        file.flush()
        sys.argv = [
            "score_find.py", "--truth", str(folder / "runs.jsonl"), "--found", file.name,
            "--list", str(most),
        ]  # fmt: skip
        runpy.run_path(str(folder / "score_find.py"), run_name="scorer")["main"]()
    return 0


def found_lines(folder: Path, least_links: int = 2) -> list[dict[str, Any]]:
    """Return what the command finds in the folder's scores, in the scorer's words."""
    from livecont.score.survey import Request, survey
    from livecont.sequence.finding_listed import as_json

    compass = load_preferences().compasses["modern"]
    request = Request(compass=compass, least_links=least_links)
    lines = []
    for answer in survey(sorted(folder.glob("*.mxl")), request):
        for one in answer.found:
            line = as_json(answer.path.name, one)
            line.update(score=answer.path.stem, step=line["step_degrees"])
            lines.append(line)
    return lines
