"""What a sequence is, in life: the real process beside, the real runner, nothing made up.

How soon it is there and what it costs a note is measured by `python -m tests.bench explaining`.
"""

from __future__ import annotations

from dataclasses import replace

from livecont.live.analysis import Analyst
from livecont.live.clock import SystemClock
from livecont.live.runner import Runner
from livecont.sitting import machine
from livecont.sitting.events import Fullness
from livecont.sitting.explanation import explain
from livecont.sitting.snapshot import Phase, Snapshot
from tests.live.small_sitting import CONTROLS, MemoryVoice, until
from tests.sitting.material import SETTINGS, played

WARM_S = 4.0  # a link waits in vain for a process that is still starting


def sounded(voice: MemoryVoice) -> list[int]:
    """The pitches struck so far."""
    return [data[1] for data in voice.output.sent if data[0] & 0xF0 == 0x90 and data[2]]


def test_label_and_main_notes_are_there_and_sound() -> None:
    clock, voice = SystemClock(), MemoryVoice()
    settings = replace(SETTINGS, fullness=Fullness.REDUCTION, most_links=2)
    runner: Runner[machine.State] = Runner(
        machine,
        settings,
        clock=clock,
        sounder=voice,
        controls=CONTROLS,
        explainer=Analyst(clock),
        comes_back=False,
        ends_with_chain=True,
    )
    seen: list[Snapshot] = []

    def over() -> bool:
        if not seen or runner.latest is not seen[-1]:
            seen.append(runner.latest)
        return runner.wait(0)

    with runner:
        runner.feed(played(start_s=WARM_S))
        assert until(over)
    told = [one for one in seen if one.explanation is not None]
    assert told
    first = told[0]
    assert first.sounding is None or first.sounding.number == 3
    assert first.pattern is not None
    assert first.explanation is not None
    assert first.explanation.analysis.label is not None
    last = told[-1]  # the first may still be of an earlier draft
    assert last.pattern is not None
    assert last.explanation is not None
    assert last.explanation.analysis.label == explain(last.pattern).analysis.label
    links = {
        one.sounding.number: one.sounding
        for one in seen
        if one.phase is Phase.SOUNDING and one.sounding is not None
    }
    assert sorted(links) == [3, 4]
    assert len(links[4].notes) < len(played(1)) / 2
    assert set(sounded(voice)) >= {note.pitch for note in links[4].notes}
