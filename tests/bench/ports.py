"""Through real ports: from the key that completes link 2 to the first sounded note; keys passed on.

    python -m tests.bench ports [--rounds 100] [--period 64] [--json OUT]

A keyboard and a synth in another process, real JACK MIDI ports between (a server of our own on a
dummy card), a sitting in a third process. Each round two links are played and one is sounded. For
idle, and under load: the real screen drawn at 20 frames a second in the sitting's process and a
busy process on each core.

- sent: the first note, from the moment that was reckoned for it to its sending;
- heard: the same to its arrival at the synth, in JACK's cycle there;
- decided: how long before it was due the link was decided on;
- passed on: a key of the player's, from the keyboard's sending to its arrival at the synth.

Conventions: microseconds. rtmidi hands over to JACK once a period. Figures of a busy machine say
nothing; the target is one period and 1 ms.
"""

from __future__ import annotations

import argparse
import json
import random  # noqa: TID251 -- seeded
import subprocess
import sys
from contextlib import nullcontext
from pathlib import Path
from typing import Any

from tests.bench._drill import NOTE_S, two_links
from tests.bench._rig import TOP, Rig, Timed, jack_server, may_be_urgent, pause, strikes
from tests.bench.lateness import busy_processes, summary

RATE_HZ = 48_000
EXTRA_S = 0.001
ROUND_S = 4 * 6 * NOTE_S  # two links, the third, and a rest that is no link
WITHIN_S = 0.5  # a strike that is so far from its moment is none of its kind
COLUMNS = ("count", "p50", "p99", "p999", "max")


def main(argv: list[str]) -> int:
    """Measure, print a table; return 1 where the target is missed."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench ports", description=__doc__)
    parser.add_argument("--rounds", type=int, default=100)
    parser.add_argument("--period", type=int, default=64, help="of the JACK server, in frames")
    parser.add_argument("--only", choices=("idle", "load"))
    parser.add_argument("--json", type=Path)
    options = parser.parse_args(argv)
    report: dict[str, Any] = {"period_us": round(1e6 * options.period / RATE_HZ), "lateness_us": {}}
    report["server"] = "real-time" if may_be_urgent() else "normal"
    with jack_server(period=options.period, urgent=True):
        for condition in ("idle", "load"):
            if options.only in (None, condition):
                found = measured(options.rounds, loaded=condition == "load")
                report["priority"] = found.pop("priority")
                report["lateness_us"][condition] = found
    print_table(report)
    if options.json:
        options.json.write_text(json.dumps(report, indent=1) + "\n", encoding="utf-8")
    target_us = report["period_us"] + 1e6 * EXTRA_S
    idle = report["lateness_us"].get("idle")
    return 1 if idle and idle["heard"]["p99"] > target_us else 0


def measured(rounds: int, *, loaded: bool) -> dict[str, Any]:
    """Return the figures of one condition."""
    rig = Rig("latency", callback=True)
    command = [sys.executable, "-m", "tests.bench._listening", rig.keyboard, rig.synth]
    sitting = subprocess.Popen(
        [*command, *(["screen"] if loaded else [])],
        cwd=TOP,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    try:
        if sitting.stdout is None or sitting.stdout.readline() != "ready\n":
            raise RuntimeError("the sitting does not start")
        with busy_processes() if loaded else nullcontext():
            rng = random.Random(1)
            pause(1.0)
            for _ in range(rounds):
                rig.play(two_links(held=False))
                pause(ROUND_S + rng.uniform(0.3, 0.7))
        told, _ = sitting.communicate("", timeout=60)
        return figures(json.loads(told.splitlines()[-1]), rig.played(), rig.heard(), rounds)
    finally:
        sitting.kill()
        rig.close()


def figures(
    told: dict[str, Any], played: list[Timed], heard: list[Timed], rounds: int
) -> dict[str, Any]:
    """Return what became of the first notes and of the keys passed on."""
    sent_late: list[float] = []
    heard_late: list[float] = []
    ahead: list[float] = []
    sent = [(s, due_s, bytes.fromhex(m)) for s, due_s, m in told["sent"]]
    for decided_s, due_s in told["took"]:
        first = [(s, m) for s, due, m in sent if due == due_s and m[0] & 0xF0 == 0x90]
        if not first:
            continue
        sent_s, message = first[0]
        sent_late.append(sent_s - due_s)
        ahead.append(due_s - decided_s)
        near = [s for s, m in heard if m == message and abs(s - due_s) < WITHIN_S]
        heard_late += [min(near, key=lambda s: abs(s - due_s)) - due_s] if near else []
    return {
        "priority": told["priority"],
        "rounds": rounds,
        "taken_over": len(told["took"]),
        "unheard": len(sent_late) - len(heard_late),
        "sent": summary(sent_late),
        "heard": summary(heard_late),
        "decided": summary(ahead),
        "decided_least_us": round(1e6 * min(ahead), 1),
        "passed on": summary(_passed(played, heard)),
    }


def _passed(played: list[Timed], heard: list[Timed]) -> list[float]:
    """Return how long each key struck took to the synth."""
    found = []
    arrived = strikes(heard)
    at = 0
    for pressed_s, message in strikes(played):
        while at < len(arrived) and arrived[at][0] < pressed_s:
            at += 1
        same = [s for s, m in arrived[at : at + 20] if m == message and s - pressed_s < WITHIN_S]
        found += [same[0] - pressed_s] if same else []
    return found


def print_table(report: dict[str, Any]) -> None:
    """Print the figures and the target."""
    period_us = report["period_us"]
    print(
        f"microseconds; priority granted: {report['priority']}, to JACK: {report['server']}; "
        f"JACK's period: {period_us}"
    )
    print(f"{'':6}{'':12}" + "".join(f"{name:>10}" for name in COLUMNS))
    for condition, found in report["lateness_us"].items():
        for name in ("sent", "heard", "passed on", "decided"):
            row = found[name]
            print(f"{condition:6}{name:12}" + "".join(f"{row[key]:10.0f}" for key in COLUMNS))
        print(
            f"{condition}: {found['taken_over']} of {found['rounds']} taken over, "
            f"{found['unheard']} first notes unheard, decided at least "
            f"{found['decided_least_us'] / 1000:.1f} ms ahead"
        )
        target_us = period_us + 1e6 * EXTRA_S
        verdict = "met" if found["heard"]["p99"] <= target_us else "MISSED"
        print(
            f"target {condition}, first note heard: p99 {found['heard']['p99']:.0f} of "
            f"{target_us:.0f}: {verdict}"
        )


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
