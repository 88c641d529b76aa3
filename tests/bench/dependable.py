"""How dependable it is: timing, faults, soak, fuzz and mutations in one run, one table.

    python -m tests.bench dependable [--quick] [--only PART …] [--json OUT]

Every part is a benchmark of its own, run with more or less patience; `python -m tests.bench PART
--help` says what it measures. The whole takes some hours (the fuzz alone 15 minutes a reader);
`--quick` some 15 minutes. Figures of timing mean something on a quiet machine only.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from livecont.live.clock import SystemClock

TOP = Path(__file__).resolve().parents[2]
CLOCK = SystemClock()
LONG = {
    "lateness": ["--events", "2000", "--rounds", "10"],
    "ports": ["--rounds", "200"],
    "faults": ["--kills", "200"],
    "soak": [],
    "fuzz": [],
    "mutations": [],
}
QUICK = {
    "lateness": ["--events", "400", "--rounds", "4"],
    "ports": ["--rounds", "20"],
    "faults": ["--kills", "24"],
    "soak": ["--flood-s", "20", "--hours", "2", "--rounds", "2"],
    "fuzz": ["--minutes", "0.1"],
    "mutations": [],
}
ONE_THIRTIETH = 1 / 30


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """One figure and what it is to be at most; `most` None where it is told only."""

    part: str
    what: str
    value: float
    most: float | None = None
    unit: str = ""

    @property
    def verdict(self) -> str:
        """Whether the target is met."""
        if self.most is None:
            return ""
        return "met" if self.value <= self.most else "MISSED"


def main(argv: list[str]) -> int:
    """Run the parts, print the table; return 1 where a target is missed or a part fails."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench dependable", description=__doc__)
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--only", action="append", choices=sorted(LONG))
    parser.add_argument("--json", type=Path)
    options = parser.parse_args(argv)
    checks: list[Check] = []
    reports: dict[str, Any] = {}
    for part, arguments in (QUICK if options.quick else LONG).items():
        if options.only and part not in options.only:
            continue
        reports[part] = ran(part, arguments)
        if reports[part] is None:
            checks.append(Check(part=part, what="it could not be run", value=1, most=0))
        else:
            checks += TOLD[part](reports[part])
    print_table(checks)
    if options.json:
        told = {"machine": machine(), "checks": [asdict(check) for check in checks], **reports}
        options.json.write_text(json.dumps(told, indent=1) + "\n", encoding="utf-8")
    return 1 if any(check.verdict == "MISSED" for check in checks) else 0


def ran(part: str, arguments: list[str]) -> Any:
    """Run a part, letting it print what it prints; return its report, None where there is none."""
    began_s = CLOCK.now_s()
    with tempfile.TemporaryDirectory() as folder:
        report = Path(folder) / "report.json"
        command = [sys.executable, "-m", "tests.bench", part, *arguments, "--json", str(report)]
        print(f"--- {' '.join(command[2:-2])}", flush=True)
        subprocess.run(command, cwd=TOP, check=False)
        print(f"    ({CLOCK.now_s() - began_s:.0f} s)\n", flush=True)
        return json.loads(report.read_text(encoding="utf-8")) if report.exists() else None


def machine() -> dict[str, Any]:
    """Return what was measured on."""
    load = os.getloadavg()[0] if hasattr(os, "getloadavg") else None
    return {"cores": os.cpu_count(), "system": platform.platform(), "load_at_the_end": load}


# --- what each part says ------------------------------------------------------------------------


def _lateness(report: Any) -> Iterator[Check]:
    figures, granted = report["lateness_us"], report["priority"] == "real-time"
    for condition in ("idle", "load"):
        ours = figures[condition]["sounder"]
        for name, most in (("p99", 150.0), ("p999", 500.0)):
            yield Check(
                part="lateness", what=f"sends, {condition}: {name}", value=ours[name],
                most=most if granted else None, unit="us",
            )  # fmt: skip
        for loop in ("loop, thread", "loop, process"):
            loops = figures[condition][loop]["p99"]
            yield Check(
                part="lateness", what=f"{condition}: p99 as a share of a play {loop}'s",
                value=round(ours["p99"] / loops, 4),
                most=ONE_THIRTIETH if granted and condition == "load" else None,
            )  # fmt: skip
    ordinary = figures["idle"]["sounder, ordinary"]["p99"]
    yield Check(
        part="lateness", what="sends, idle, ordinary priority: p99", value=ordinary, most=300.0,
        unit="us",
    )  # fmt: skip


def _ports(report: Any) -> Iterator[Check]:
    most = report["period_us"] + 1000.0
    for condition, found in report["lateness_us"].items():
        yield Check(
            part="ports", what=f"first note heard, {condition}: p99", value=found["heard"]["p99"],
            most=most if condition == "idle" else None, unit="us",
        )  # fmt: skip
        yield Check(
            part="ports", what=f"key passed on, {condition}: p99", value=found["passed on"]["p99"],
            unit="us",
        )  # fmt: skip


def _faults(report: Any) -> Iterator[Check]:
    found = report["all"]
    for what in ("hanging", "lost", "orphans", "oddities"):
        yield Check(
            part="faults", what=f"{what} in {found['kills']}", value=found[what],
            most=0 if what != "oddities" else None,
        )  # fmt: skip


def _soak(report: Any) -> Iterator[Check]:
    for name, part in report.items():
        yield Check(part="soak", what=f"{name}: faults", value=len(part["faults"]), most=0)


def _fuzz(report: Any) -> Iterator[Check]:
    files = sum(row["files"] for row in report)
    findings = sum(len(row["findings"]) for row in report)
    what = f"findings in {files} files for {len(report)} readers"
    yield Check(part="fuzz", what=what, value=findings, most=0)


def _mutations(report: Any) -> Iterator[Check]:
    lived = sum(not row["killed_by"] for row in report)
    what = f"of {len(report)} guards taken out, unnoticed"
    yield Check(part="mutations", what=what, value=lived, most=0)


TOLD = {
    "lateness": _lateness,
    "ports": _ports,
    "faults": _faults,
    "soak": _soak,
    "fuzz": _fuzz,
    "mutations": _mutations,
}


def print_table(checks: list[Check]) -> None:
    """Print a row for each figure."""
    print(f"{'part':10} {'figure':55} {'value':>12} {'at most':>10}")
    for one in checks:
        most = "" if one.most is None else f"{one.most:.4g}"
        print(f"{one.part:10} {one.what:55} {one.value:9.6g} {one.unit:2} {most:>10} {one.verdict}")


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
