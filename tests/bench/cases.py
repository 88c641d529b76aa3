"""Replays the development cases through the live engine and scores what it sounds.

`python -m tests.bench cases [--cases DIR] [--key auto] [--worst N] [--json OUT] [--half 0|1]`

The cases and their scorer are development data beside the repository, never part of it. The
measures are those of the scorer there (`score.py`), printed once for pitches and once for degrees
(staff places), so that hearing and spelling are told apart; then the lead of each decision, false
alarms and recall on the full performances, and how well confidence is calibrated. Deterministic.
"""

from __future__ import annotations

import argparse
import importlib.util
import json
import sys
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np

from livecont.music.compass import Compass
from livecont.music.key import Key, parse_key
from livecont.music.pitch import spelling
from livecont.score.smf import read_smf
from livecont.sequence.events import PlayerEvent
from livecont.sitting.events import Settings, TookOver
from livecont.sitting.virtual import run, take_overs

CASES = Path(__file__).resolve().parents[3] / "shared" / "cases"
COMPASS = Compass(
    name="88", title="88 keys", lowest=21, highest=108, absent=frozenset(), source="common practice"
)
VARIANTS = ("deadpan", "human", "context")
RECALL_FROM_F1 = 0.97
RECALL_MARGIN_UNITS = 0.35


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What the engine did with one file."""

    case: dict[str, Any]
    variant: str
    took: tuple[TookOver, ...]


def main(argv: list[str]) -> int:
    """Run the benchmark; exit code 0 where it could run."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench cases", description=__doc__)
    parser.add_argument("--cases", type=Path, default=CASES)
    parser.add_argument("--key", choices=("given", "auto"), default="given")
    parser.add_argument("--worst", type=int, default=0)
    parser.add_argument("--half", type=int, choices=(0, 1))
    parser.add_argument("--json", type=Path)
    parser.add_argument("--reliability", action="store_true", help="how well calibrated (slower)")
    parser.add_argument("--no-plays", action="store_true")
    options = parser.parse_args(argv)
    if not (options.cases / "truth.jsonl").is_file():
        print(f"no development cases at {options.cases}: nothing to measure", file=sys.stderr)
        return 2
    score = _scorer(options.cases / "score.py")
    truth = _lines(options.cases / "truth.jsonl")
    if options.half is not None:
        truth = [c for c in truth if half_of(truth, c) == options.half]
    auto = options.key == "auto"
    answers = [a for case in truth for a in answers_to(case, options.cases, auto)]
    report: dict[str, Any] = {"cases": table(answers, score)}
    _print_table(report["cases"])
    report["lead"] = lead(answers)
    print("decided before due:", json.dumps(report["lead"]))
    if not options.no_plays:
        report["plays"] = plays(options.cases, auto)
        print("plays:", json.dumps(report["plays"]))
    if options.reliability:
        report["reliability"] = reliability(truth, options.cases, auto)
        _print_reliability(report["reliability"])
    if options.worst:
        _print_worst(answers, score, options.worst)
    if options.json:
        options.json.write_text(json.dumps(report, indent=1) + "\n")
    return 0


def half_of(truth: list[dict[str, Any]], case: dict[str, Any]) -> int:
    """Which half of the works a case belongs to: by the place of its piece in the sorted list."""
    pieces = sorted({c["piece"] for c in truth})
    return pieces.index(case["piece"]) % 2


def _scorer(path: Path) -> ModuleType:
    spec = importlib.util.spec_from_file_location("case_score", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def _lines(path: Path) -> list[dict[str, Any]]:
    return [json.loads(line) for line in path.read_text().splitlines() if line.strip()]


def _key(entry: dict[str, Any]) -> Key:
    return parse_key(f"{entry['key']['tonic']} {entry['key']['mode']}")


def settings_for(key: Key | None, least_confidence: float | None = None) -> Settings:
    """The settings of the benchmark: as `replay` has them."""
    settings = Settings(key=key, compass=COMPASS, most_links=1)
    if least_confidence is None:
        return settings
    return replace(settings, least_confidence=least_confidence)


def answers_to(
    case: dict[str, Any], folder: Path, auto: bool, least_confidence: float | None = None
) -> list[Answer]:
    """Return what the engine does with each variant of a case."""
    found = []
    for variant in VARIANTS:
        if variant not in case["variants"]:
            continue
        events: tuple[PlayerEvent, ...] = read_smf(
            folder / case["variants"][variant]["file"]
        ).events
        key = None if auto else _key(case)
        took = take_overs(run(settings_for(key, least_confidence), events))
        found.append(Answer(case=case, variant=variant, took=took))
    return found


def prediction(answer: Answer) -> dict[str, Any] | None:
    """The scorer's prediction line from the last take-over."""
    if not answer.took:
        return None
    last = answer.took[-1]
    return {
        "found": True,
        "unit_seconds": last.pattern.unit_s,
        "step": last.pattern.step_degrees,
        "next_start": last.start_s,
        "notes": [
            [last.start_s + note.offset_s, note.pitch, note.duration_s] for note in last.link.notes
        ],
    }


def _staff_case(answer: Answer) -> tuple[dict[str, Any], dict[str, Any] | None]:
    """The same case and prediction with staff places for pitches."""
    case = dict(answer.case)
    names = case["link3_names"]
    case["link3"] = [
        [note[0], spelling(name).staff, *note[2:]]
        for note, name in zip(case["link3"], names, strict=True)
    ]
    line = prediction(answer)
    if line is not None:
        last = answer.took[-1]
        line["notes"] = [
            [last.start_s + note.offset_s, note.spelling.staff, note.duration_s]
            for note in last.link.notes
        ]
    return case, line


def table(answers: list[Answer], score: ModuleType) -> list[dict[str, Any]]:
    """The scorer's measures by variant and tier, with degrees beside pitches."""
    rows = []
    for variant in VARIANTS:
        for tier in ("strict", "near"):
            chosen = [a for a in answers if a.variant == variant and a.case["tier"] == tier]
            if not chosen:
                continue
            results = [score.score_case(a.case, a.variant, prediction(a)) for a in chosen]
            staff = [
                score.score_case(case, a.variant, line)
                for a in chosen
                for case, line in (_staff_case(a),)
            ]
            row = {"variant": variant, "tier": tier, **score.summary(results)}
            row["degree_f1"] = float(np.mean([r["f1"] for r in staff]))
            row["degree_exact"] = float(np.mean([r["exact"] for r in staff]))
            row["take_overs"] = float(np.mean([len(a.took) for a in chosen]))
            rows.append(row)
    return rows


COLUMNS = (
    *("n", "found", "unit", "step", "both", "f1", "exact", "degree_f1", "degree_exact"),
    *("med_ms", "p90_ms", "take_overs"),
)


def _print_table(rows: list[dict[str, Any]]) -> None:
    print(f"{'variant':8s} {'tier':7s}" + "".join(f"{c:>13s}" for c in COLUMNS))
    for row in rows:
        cells = "".join(f"{row[c] if row[c] is not None else float('nan'):13.3f}" for c in COLUMNS)
        print(f"{row['variant']:8s} {row['tier']:7s}{cells}")


def lead(answers: list[Answer]) -> dict[str, float]:
    """How long before its due moment each counted take-over was decided."""
    leads = np.array([a.took[-1].start_s - a.took[-1].at_s for a in answers if a.took])
    if not len(leads):
        return {}
    return {
        "share_before_due": float(np.mean(leads > 0)),
        "median_ms": float(np.median(leads) * 1000),
        "p1_ms": float(np.percentile(leads, 1) * 1000),
    }


def plays(folder: Path, auto: bool) -> dict[str, Any]:
    """False alarms a minute of free time, and recall on the clear sequences."""
    false = total = spans = hit = 0
    free_s = 0.0
    missed = []
    wrong = []
    for play in _lines(folder / "plays.jsonl"):
        key = None if auto else _key(play)
        took = take_overs(run(settings_for(key), read_smf(folder / play["file"]).events))
        covered = _covered(play)
        free_s += play["seconds"] - sum(max(0, end - start) for start, end in covered)
        total += len(took)
        for t in took:
            if _is_false(t, covered):
                false += 1
                wrong.append(
                    [
                        play["id"],
                        round(t.start_s, 2),
                        round(t.pattern.unit_s, 2),
                        t.pattern.step_degrees,
                        round(t.pattern.confidence, 2),
                    ]
                )
        for span in play["spans"]:
            if span[2] != "sequence" or span[6] < RECALL_FROM_F1:
                continue
            spans += 1
            unit = (span[1] - span[0]) / span[3]
            by = span[0] + (2 + RECALL_MARGIN_UNITS) * unit
            if any(span[0] + unit < t.start_s <= by for t in took):
                hit += 1
            else:
                missed.append([play["id"], *span[:2], *span[3:6]])
    return {
        "take_overs": total,
        "false": false,
        "free_s": free_s,
        "false_per_min": 60 * false / free_s,
        "recall": hit / spans if spans else None,
        "missed": missed,
        "wrong": wrong,
    }


BINS = (0.0, 0.25, 0.5, 0.75, 0.85, 0.95, 1.0)


def reliability(truth: list[dict[str, Any]], folder: Path, auto: bool) -> list[dict[str, Any]]:
    """Stated confidence against the share that was right, with the bound on confidence lifted.

    Right: at the end of a case as played, unit and step are the composer's; in the full
    performances, the take-over is no false alarm. Ordinary playing has more of the wrong than the
    cases have, so this is the reliability in such a mixture and no other.
    """
    marks = []
    for case in truth:
        for answer in answers_to(case, folder, auto, 0.0):
            if answer.variant == "deadpan" or not answer.took:
                continue
            pattern, times = answer.took[-1].pattern, case["variants"][answer.variant]
            units = (times["unit_seconds"], times["link12_seconds"])
            right = pattern.step_degrees == case["step"] and any(
                abs(pattern.unit_s - unit) <= 0.06 * unit for unit in units
            )
            marks.append((pattern.confidence, right))
    for play in _lines(folder / "plays.jsonl"):
        key = None if auto else _key(play)
        covered = _covered(play)
        for took in take_overs(run(settings_for(key, 0.0), read_smf(folder / play["file"]).events)):
            marks.append((took.pattern.confidence, not _is_false(took, covered)))
    rows = []
    for low, high in pairwise(BINS):
        inside = [right for stated, right in marks if low <= stated < high]
        stated = [s for s, _ in marks if low <= s < high]
        if inside:
            row = {"from": low, "to": high, "n": len(inside)}
            rows.append({**row, "stated": np.mean(stated), "right": np.mean(inside)})
    return [{k: float(v) for k, v in row.items()} for row in rows]


def _print_reliability(rows: list[dict[str, Any]]) -> None:
    print(f"{'confidence':>14s}{'n':>6s}{'stated':>9s}{'right':>9s}")
    for row in rows:
        span = f"{row['from']:.2f}-{row['to']:.2f}"
        print(f"{span:>14s}{row['n']:6.0f}{row['stated']:9.2f}{row['right']:9.2f}")


def _covered(play: dict[str, Any]) -> list[tuple[float, float]]:
    """The spans of a performance in which anything sequence-like happens."""
    return _union(
        (max(1.0, s[0]), min(s[1], play["seconds"] + 1))
        for s in play["spans"]
        if s[2] in {"sequence", "pair", "scale"}
    )


def _is_false(took: TookOver, covered: list[tuple[float, float]]) -> bool:
    """The scorer's rule: spans cover less than half of the two units before."""
    at, unit = took.start_s, took.pattern.unit_s
    inside = sum(max(0.0, min(end, at) - max(start, at - 2 * unit)) for start, end in covered)
    return inside < unit - 1e-9


def _union(intervals: Any) -> list[tuple[float, float]]:
    joined: list[tuple[float, float]] = []
    for start, end in sorted(intervals):
        if joined and start <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(joined[-1][1], end))
        else:
            joined.append((start, end))
    return joined


def _print_worst(answers: list[Answer], score: ModuleType, count: int) -> None:
    """The worst cases as note names, to learn from."""
    ranked = sorted(
        answers,
        key=lambda a: score.score_case(a.case, a.variant, prediction(a))["f1"],
    )
    for answer in ranked[:count]:
        case, line = answer.case, prediction(answer)
        result = score.score_case(case, answer.variant, line)
        times = case["variants"][answer.variant]
        print(
            f"\n{case['id']} {answer.variant} {case['tier']} f1 {result['f1']:.2f}"
            f" unit {times['unit_seconds']:.3f} step {case['step']:+d} {case['key']['tonic']}"
            f" {case['key']['mode']}, link 3 at {times['link3_start_s']:.3f}"
        )
        for link in ("link1", "link2"):
            print(f"  {link}: " + " ".join(f"{n[0]:g}:{n[3]}" for n in case[link]))
        wanted = [
            f"{n[0]:g}:{name}" for n, name in zip(case["link3"], case["link3_names"], strict=True)
        ]
        print("  due:   " + " ".join(wanted))
        for took in answer.took:
            pattern = took.pattern
            per_unit = case["unit_quarters"] / pattern.unit_s
            notes = " ".join(
                f"{note.offset_s * per_unit:.2f}:{note.spelling.name}" for note in took.link.notes
            )
            print(
                f"  sounded at {took.start_s:.3f} (decided {took.at_s:.3f}), unit"
                f" {pattern.unit_s:.3f}, step {pattern.step_degrees:+d},"
                f" confidence {pattern.confidence:.2f}: {notes}"
            )


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
