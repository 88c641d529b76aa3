"""On the development scores beside the repository: what their own scorer says of the finds.

`python -m tests.bench find score` takes all ten scores; here are the four smallest. The folder is
development data under its own licence and is not part of the repository.
"""

from __future__ import annotations

import json
import runpy
from pathlib import Path
from typing import Any

import pytest

from livecont.config import load_preferences
from livecont.score.survey import Request, look_through

pytest.importorskip("partitura")

FOLDER = Path(__file__).resolve().parents[2].parent / "shared" / "scores"
NAMES = ("s02", "s04", "s07", "s10")


def lines(path: Path) -> list[dict[str, Any]]:
    found = map(json.loads, path.read_text("utf-8").splitlines())
    return [line for line in found if line["score"] in NAMES]


@pytest.mark.skipif(not FOLDER.is_dir(), reason=f"the development scores are not at {FOLDER}")
def test_recall_and_alarms() -> None:
    request = Request(compass=load_preferences().compasses["modern"])
    found = [
        {
            "score": name,
            "start_q": float(one.find.start_q),
            "end_q": float(one.find.end_q),
            "unit_quarters": float(one.find.unit_q),
            "step": one.find.step_degrees,
            "parts": one.parts,
        }
        for name in NAMES
        for one in look_through(FOLDER / f"{name}.mxl", request).found
    ]
    score = runpy.run_path(str(FOLDER / "score_find.py"), run_name="scorer")["score"]
    told = score(lines(FOLDER / "runs.jsonl"), found, lines(FOLDER / "background.jsonl"))
    for tier, least in (("strict", 0.97), ("near", 0.85)):
        runs, hits, _, tight, _ = told["table"]["3+ links", tier]
        assert runs >= 9
        assert min(hits, tight) >= least * runs
    elsewhere = len(told["alarms"]) - len(told["loose"]) - len(told["scale"])
    assert elsewhere <= told["table"]["3+ links", "any"][0] / 3
