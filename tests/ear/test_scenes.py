"""Plans as teachers write them, and what each step of a lesson sounds and shows."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from livecont.ear.models import model, model_names
from livecont.ear.plan import PlanStep, Show, load_plan, plan_names, read_plan
from livecont.ear.questions import links_of
from livecont.ear.scenes import next_key, scene
from livecont.errors import ConfigError
from livecont.music.key import parse_key
from livecont.sequence.chain import Chain
from livecont.sequence.pattern import Role
from tests.ear.gaming import MODERN

FIFTHS = model("falling-fifths")


def test_together_our_plans_have_every_kind_of_step() -> None:
    assert {one.show for name in plan_names() for one in load_plan(name).steps} == set(Show)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (
            'title = "t"\n[[step]]\nshow = "modle"',
            "line 3, step.show: unknown step 'modle': did you mean 'model'?",
        ),
        ('title = "t"\n[[step]]\nshow = "chain"\nlinks = 0', "line 4, step.links"),
        ('title = "t"\n[[step]]\nshow = "one-hand"\nhand = "foot"', "is none of left, right"),
        ('title = "t"\n[[step]]\nshow = "one-hand"\nwaits = "no"', "needs true or false"),
        ('title = "t"\nstep = []', "1 to 200 steps"),
        ('title = "t"\nkey = "H major"\n[[step]]\nshow = "model"', "line 2, key"),
        ('[[step]]\nshow = "model"', "'title' is missing"),
    ],
)
def test_a_fault_in_a_plan_is_named_with_its_line(tmp_path: Path, text: str, told: str) -> None:
    path = tmp_path / "plan.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(ConfigError, match=told.replace("[", r"\[")):
        read_plan(path)


def test_a_plan_that_is_not_there_is_told_with_the_nearest() -> None:
    with pytest.raises(ConfigError, match="did you mean 'falling-fifths'"):
        load_plan("faling-fifths")


# --- scenes -------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", model_names())
@pytest.mark.parametrize("show", Show)
def test_every_step_can_be_shown_of_every_model(show: Show, name: str) -> None:
    found = scene(PlanStep(show=show), model(name), 100, MODERN)
    assert found.links
    assert found.ends_s > 0
    assert found.captions[0].at_s == 0
    for at_s in (-1.0, 0.0, found.ends_s / 2, found.ends_s + 9):
        assert found.caption(at_s).big


def test_the_second_link_is_shown_with_its_step() -> None:
    found = scene(PlanStep(show=Show.SECOND_LINK), FIFTHS, 100, MODERN)
    unit_s = FIFTHS.pattern.unit_s
    assert found.caption(0.1).big == "link 1"
    assert found.caption(unit_s + 0.1).big == "a second down"
    assert found.caption(0.1).rows[0][0] == "link 1"


def test_the_label_is_shown_as_one_says_it() -> None:
    found = scene(PlanStep(show=Show.LABEL), FIFTHS, 100, MODERN)
    assert found.captions[0].big == "D2"
    assert found.captions[0].said == (
        "D2 (D5/A4): descending fifths",
        "it falls a second, by way of a falling fifth",
    )
    plain = links_of(Chain(pattern=FIFTHS.pattern, compass=MODERN), 2)
    assert 0 < len(found.links[0].notes) < len(plain[0].notes)


def test_the_chain_counts_the_links_that_are_left() -> None:
    found = scene(PlanStep(show=Show.CHAIN, links=5), FIFTHS, 100, MODERN)
    every = len(links_of(Chain(pattern=FIFTHS.pattern, compass=MODERN), None))
    assert [one.big for one in found.captions] == [str(every - n) for n in range(1, 6)]


def test_the_break_ends_with_the_first_link_outside_and_the_cadence_goes_on_to_the_tonic() -> None:
    left = scene(PlanStep(show=Show.BREAK, links=3), FIFTHS, 100, MODERN)
    whole = scene(PlanStep(show=Show.CADENCE, links=3), FIFTHS, 100, MODERN)
    assert [link.role for link in left.links].count(Role.CADENCE) == 1
    assert left.links[-1].role is Role.CADENCE
    assert "the chain is left here" in left.captions[-1].said
    assert whole.links[: len(left.links)] == left.links
    last = max(whole.links[-1].notes, key=lambda note: note.offset_s)
    final = [n for n in whole.links[-1].notes if abs(n.offset_s - last.offset_s) < 0.05]
    assert min(final, key=lambda n: n.pitch).spelling.letter_name == FIFTHS.pattern.key.tonic


def test_slower_is_slower() -> None:
    usual = scene(PlanStep(show=Show.FIGURATION), FIFTHS, 100, MODERN)
    slow = scene(PlanStep(show=Show.FIGURATION, tempo=50), FIFTHS, 80, MODERN)
    assert slow.ends_s == pytest.approx(usual.ends_s / 0.4)
    assert slow.captions[0].big == "slower"


def test_other_keys_go_round_the_fifths() -> None:
    found = scene(PlanStep(show=Show.OTHER_KEYS, keys=3, links=2), FIFTHS, 100, MODERN)
    assert list(dict.fromkeys(one.big for one in found.captions)) == [
        "D major", "A major", "E major",
    ]  # fmt: skip


@given(st.sampled_from(["C major", "F# major", "Gb major", "a minor", "d# minor", "eb minor"]))
def test_twelve_fifths_lead_round_to_the_same_keys(name: str) -> None:
    key = parse_key(name)
    for up in (True, False):
        found = [key := next_key(key, up=up) for _ in range(12)]
        assert {one.tonic_pitch_class for one in found} == set(range(12))
        assert all(abs(one.fifths) <= 6 for one in found)
