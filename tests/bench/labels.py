"""Labels and roots of the development cases that carry expert roots, as `replay` reports them.

`python -m tests.bench labels [CASES] [--json OUT] [--half 0|1] [--wrong]`

Each case's deadpan file goes through the live engine with the case's key; the last pattern reported
is scored with the scorer beside the cases (`score_label.py`). The cases are development data beside
the repository, never part of it. Deterministic.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import json
import sys
import tempfile
import time  # noqa: TID251 -- for processor time, which no clock of ours tells
from collections import defaultdict
from pathlib import Path
from types import ModuleType
from typing import Any

from livecont.replay import report
from livecont.score.smf import read_smf
from livecont.sequence.analysis import analysed
from livecont.sitting.events import Understood
from livecont.sitting.virtual import run
from tests.bench.cases import CASES, _key, _lines, _scorer, half_of, settings_for

VARIANT = "deadpan"


def main(argv: list[str]) -> int:
    """Run the benchmark; exit code 0 where it could run."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench labels", description=__doc__)
    parser.add_argument("cases", type=Path, nargs="?", default=CASES)
    parser.add_argument("--json", type=Path)
    parser.add_argument("--half", type=int, choices=(0, 1))
    parser.add_argument("--wrong", action="store_true", help="show what was heard otherwise")
    options = parser.parse_args(argv)
    if not (options.cases / "score_label.py").is_file():
        print(f"no development cases at {options.cases}: nothing to measure", file=sys.stderr)
        return 2
    scorer = _scorer(options.cases / "score_label.py")
    truth = _lines(options.cases / "truth.jsonl")
    chosen = [case for case in truth if case.get("expert_roots")]
    halves = {case["id"]: half_of(truth, case) for case in chosen}
    if options.half is not None:
        chosen = [case for case in chosen if halves[case["id"]] == options.half]
    told = {case["id"]: prediction(case, options.cases) for case in chosen}
    result: dict[str, Any] = {"all": measures(chosen, told, scorer)}
    print(f"all     {result['all']}")
    for half in sorted(set(halves.values())) if options.half is None else ():
        mine = [case for case in chosen if halves[case["id"]] == half]
        result[f"half {half}"] = measures(mine, told, scorer)
        print(f"half {half}  {result[f'half {half}']}")
    result["labels"] = by_label(chosen, told, scorer)
    _print_labels(result["labels"])
    result["doubt"] = by_doubt(chosen, told, scorer)
    print("right where sure, where in doubt:", json.dumps(result["doubt"]))
    result["analysis_ms"] = cost(chosen, options.cases)
    print("an analysis, ms of processor time:", json.dumps(result["analysis_ms"]))
    if options.wrong:
        _print_wrong(chosen, told, scorer)
    if options.json:
        options.json.write_text(json.dumps(result, indent=1) + "\n")
    return 0


def prediction(case: dict[str, Any], folder: Path) -> dict[str, Any]:
    """The scorer's prediction line: the last pattern of the replay's report."""
    settings = settings_for(_key(case))
    events = read_smf(folder / case["variants"][VARIANT]["file"]).events
    lines = map(json.loads, report(case["id"], run(settings, events), settings, links=1))
    patterns = [line for line in lines if line["event"] == "pattern"]
    last = patterns[-1] if patterns else {"label": None, "alternatives": [], "roots": []}
    # positions count in units of the pattern; the scorer counts in the case's
    scale = last["unit_s"] / case["variants"][VARIANT]["unit_seconds"] if patterns else 1.0
    return {
        "id": case["id"],
        "label": last["label"],
        "alternatives": last["alternatives"],
        "roots": [[position * scale, name] for position, name in last["roots"]],
        "doubt": last.get("doubt"),
    }


def measures(
    chosen: list[dict[str, Any]], told: dict[str, dict[str, Any]], scorer: ModuleType
) -> str:
    """What the scorer itself prints for these cases, in one line."""
    with tempfile.TemporaryDirectory() as folder:
        truth, lines = Path(folder) / "truth.jsonl", Path(folder) / "told.jsonl"
        truth.write_text("".join(json.dumps(case) + "\n" for case in chosen))
        lines.write_text("".join(json.dumps(told[case["id"]]) + "\n" for case in chosen))
        printed = io.StringIO()
        before = sys.argv
        sys.argv = ["score_label.py", "--truth", str(truth), "--predictions", str(lines)]
        try:
            with contextlib.redirect_stdout(printed):
                scorer.main()
        finally:
            sys.argv = before
    return "; ".join(printed.getvalue().splitlines())


def by_label(
    chosen: list[dict[str, Any]], told: dict[str, dict[str, Any]], scorer: ModuleType
) -> dict[str, dict[str, int]]:
    """How many cases of each true label there are, are right, or right among the alternatives."""
    rows: dict[str, dict[str, int]] = defaultdict(lambda: {"n": 0, "right": 0, "among": 0})
    for case in chosen:
        truth = scorer.truth_label(case)
        if truth is None:
            continue
        row = rows[f"{scorer.UP[truth[0]]} ({'/'.join(scorer.UP[m] for m in truth[1])})"]
        mine = told[case["id"]]
        right = scorer.canon(mine["label"]) == truth[:2]
        row["n"] += 1
        row["right"] += right
        row["among"] += right or any(scorer.canon(x) == truth[:2] for x in mine["alternatives"])
    return dict(sorted(rows.items(), key=lambda item: -item[1]["n"]))


def by_doubt(
    chosen: list[dict[str, Any]], told: dict[str, dict[str, Any]], scorer: ModuleType
) -> dict[str, list[int]]:
    """Right ones and all of them, where the label was told as sure and where not."""
    found = {"sure": [0, 0], "in doubt": [0, 0]}
    for case in chosen:
        truth = scorer.truth_label(case)
        if truth is not None:
            mine = told[case["id"]]
            row = found["sure" if mine["doubt"] is None else "in doubt"]
            row[0] += scorer.canon(mine["label"]) == truth[:2]
            row[1] += 1
    return found


def cost(chosen: list[dict[str, Any]], folder: Path) -> dict[str, float]:
    """What one analysis takes: median and worst, in ms of processor time."""
    spent = []
    for case in chosen:
        events = read_smf(folder / case["variants"][VARIANT]["file"]).events
        understood = [
            effect.pattern
            for effect in run(settings_for(_key(case)), events)
            if isinstance(effect, Understood)
        ]
        for pattern in understood[-1:]:
            before_s = time.process_time()
            analysed(pattern)
            spent.append(1000 * (time.process_time() - before_s))
    spent.sort()
    return {"median": round(spent[len(spent) // 2], 1), "worst": round(spent[-1], 1)}


def _print_labels(rows: dict[str, dict[str, int]]) -> None:
    print(f"{'label (motions as fourths and seconds up)':44s}{'n':>4s}{'right':>7s}{'among':>7s}")
    for label, row in rows.items():
        print(f"{label:44s}{row['n']:4d}{row['right']:7d}{row['among']:7d}")


def _print_wrong(
    chosen: list[dict[str, Any]], told: dict[str, dict[str, Any]], scorer: ModuleType
) -> None:
    for case in chosen:
        truth, mine = scorer.truth_label(case), told[case["id"]]
        if truth is not None and scorer.canon(mine["label"]) != truth[:2]:
            print(f"{case['id']}: {mine['label']}, also {mine['alternatives']}; truth {truth}")
            print(f"   heard {mine['roots']}")
            roots = [
                (r["offset_q"] / case["unit_quarters"], r["root"]) for r in case["expert_roots"]
            ]
            print(f"   truth {[[round(q, 3), name] for q, name in roots]}")


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
