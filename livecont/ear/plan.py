"""A lesson's plan: a small TOML file that a teacher writes by hand.

Conventions: `configs/lessons/falling-fifths.toml` explains the lines. A fault names file, line and
key. What is not said has a usual value.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from livecont.config import configs_folder
from livecont.errors import ConfigError, unknown
from livecont.music.key import Key, parse_key
from livecont.tables import Table, read_table, told

MOST_STEPS = 200
MOST_LINKS = 64
MOST_SAID = 200


class Show(StrEnum):
    """What a step of a lesson shows."""

    MODEL = "model"
    SECOND_LINK = "second-link"
    MAIN_NOTES = "main-notes"
    LABEL = "label"
    FIGURATION = "figuration"
    CHAIN = "chain"
    BREAK = "break"
    CADENCE = "cadence"
    OTHER_KEYS = "other-keys"
    ONE_HAND = "one-hand"
    ANSWER = "answer"


class Hand(StrEnum):
    """Whose part livecont plays where the student has the other."""

    LEFT = "left"
    RIGHT = "right"


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanStep:
    """One step: what is shown, how many links of it, how fast (percent of the lesson's tempo).

    `say` are the teacher's own words. `hand` is the one livecont plays, and `waits` whether it
    waits for the student there. `keys` are how many keys round the fifths, `up` which way.
    """

    show: Show
    say: str = ""
    links: int = 2
    tempo: float = 100.0
    hand: Hand = Hand.LEFT
    waits: bool = True
    keys: int = 3
    up: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """A lesson: its steps, and the model that it is about unless another is named."""

    title: str
    model: str | None
    key: Key | None
    tempo: float
    steps: tuple[PlanStep, ...]


# how many links a step has where it does not say
USUAL_LINKS = {
    Show.MODEL: 1,
    Show.SECOND_LINK: 2,
    Show.CHAIN: 6,
    Show.BREAK: 3,
    Show.CADENCE: 3,
    Show.OTHER_KEYS: 3,
    Show.ONE_HAND: 3,
}


def plan_names() -> tuple[str, ...]:
    """Return the names of the plans that come with livecont."""
    return tuple(sorted(path.stem for path in (configs_folder() / "lessons").glob("*.toml")))


def load_plan(name: str) -> Plan:
    """Return a plan of ours by name, or of a file of the teacher's.

    Raises:
        ConfigError: there is none of this name, or a line can't be used.
    """
    if name in plan_names():
        return read_plan(configs_folder() / "lessons" / f"{name}.toml")
    path = Path(name).expanduser()
    if path.suffix == ".toml" or path.is_file():
        return read_plan(path)
    raise unknown("lesson", name, plan_names())


def read_plan(path: Path) -> Plan:
    """Read a plan.

    Raises:
        ConfigError: naming file, line and key.
    """
    table = read_table(path)
    table.only(("title", "about", "model", "key", "tempo", "step"))
    steps = tuple(_step(one) for one in table.tables("step"))
    if not 1 <= len(steps) <= MOST_STEPS:
        raise table.fault("step", f"a lesson has 1 to {MOST_STEPS} steps")
    return Plan(
        title=table.string("title"),
        model=table.string("model") if "model" in table.values else None,
        key=_key(table),
        tempo=_tempo(table),
        steps=steps,
    )


def _key(table: Table) -> Key | None:
    if "key" not in table.values:
        return None
    try:
        return parse_key(table.string("key"))
    except ConfigError as error:
        raise table.fault("key", str(error)) from error


def _tempo(table: Table) -> float:
    return table.number("tempo", 10, 400) if "tempo" in table.values else 100.0


def _step(table: Table) -> PlanStep:
    table.only(("show", "say", "links", "tempo", "hand", "waits", "keys", "way"))
    name = table.string("show")
    if name not in set(Show):
        raise table.fault("show", str(unknown("step", name, [show.value for show in Show])))
    show = Show(name)
    say = table.string("say") if "say" in table.values else ""
    if len(say) > MOST_SAID:
        raise table.fault("say", f"has {len(say)} signs: {MOST_SAID} can be shown")
    links = USUAL_LINKS.get(show, 2)
    return PlanStep(
        show=show,
        say=say,
        links=table.whole("links", 1, MOST_LINKS) if "links" in table.values else links,
        tempo=_tempo(table),
        hand=Hand(_of(table, "hand", tuple(Hand), Hand.LEFT)),
        waits=_flag(table, "waits", usual=True),
        keys=table.whole("keys", 1, 12) if "keys" in table.values else 3,
        up=_of(table, "way", ("sharp", "flat"), "sharp") == "sharp",
    )


def _of(table: Table, key: str, known: tuple[str, ...], usual: str) -> str:
    if key not in table.values:
        return usual
    value = table.string(key)
    if value not in known:
        raise table.fault(key, f"{told(value)} is none of {', '.join(known)}")
    return value


def _flag(table: Table, key: str, *, usual: bool) -> bool:
    value = table.values.get(key, usual)
    if not isinstance(value, bool):
        raise table.fault(key, f"needs true or false, not {told(value)}")
    return value
