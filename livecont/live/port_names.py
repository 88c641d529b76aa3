"""Which MIDI ports to use, told from their names alone.

Conventions: names are those that the driver lists, in its order. JACK and ALSA write
`client:port`, ALSA adds the numbers of client and port, Windows the port's place in its list;
numbers change from plug to plug, so `device` leaves them out. Upper and lower case are the same.
Through ports and livecont's own are never chosen, not even by name.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from livecont.errors import PortError

OWN = "livecont"  # every client of ours begins with this
INTERNAL = "internal"  # our own small sound
SILENT = "none"  # no sound at all
ALL = "all"

_THROUGH = re.compile(r"\b(midi[ -]?)?(through|thru)\b", re.IGNORECASE)
# buses by which the programs of one machine are joined: no keyboard, no synth by itself
_BUS = re.compile(r"\b(iac|virmidi|virtual raw midi|loopback)\b", re.IGNORECASE)
_SYNTH = re.compile(r"synth|piano|organ|sampler|wavetable|sound|\bgm\b|\bgs\b", re.IGNORECASE)
_ALSA_NUMBERS = re.compile(r"\s+\d+:\d+$")
_LAST_NUMBER = re.compile(r"\s+\d+$")
_DIRECTION = re.compile(
    r"[\s_(\[]*(?<![a-z])(midi[ _])?(capture|playback|input|output|in|out)(?![a-z])[\])]*"
)
_CLIENT_NUMBER = re.compile(r"\s*\[\d+\]")


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """A port that was chosen, why, and what else there was.

    For an output the name may be `INTERNAL` or `SILENT` instead of a port's.
    """

    name: str
    reason: str
    others: tuple[str, ...] = ()


def is_ours(name: str) -> bool:
    """Whether a port belongs to livecont, this one or another running."""
    return name.casefold().startswith(OWN)


def is_through(name: str) -> bool:
    """Whether a port only hands on what other programs send.

    >>> is_through("Midi Through:Midi Through Port-0 14:0")
    True
    """
    return _THROUGH.search(name) is not None


def device(name: str) -> str:
    """Return what two names of one device have in common, on either side of it.

    >>> device("Stage 61:Stage 61 MIDI 1 20:0") == device("stage 61:Stage 61 MIDI 1 24:0")
    True
    >>> device("a2j:Stage [20] (capture): Stage MIDI 1")
    'a2j:stage: stage midi 1'
    """
    name = _ALSA_NUMBERS.sub("", name.casefold())
    name = _CLIENT_NUMBER.sub("", name)
    return _DIRECTION.sub("", name).strip()


def usable(names: Iterable[str]) -> tuple[str, ...]:
    """Return the ports that may be chosen at all, in order."""
    return tuple(name for name in names if not is_ours(name) and not is_through(name))


def choose_input(names: Sequence[str], wanted: str | None = None) -> Choice:
    """Return the keyboard to listen to.

    By itself where there is only one; else by a part of its name.

    Raises:
        PortError: none there, none or several of that name, or several and none named.

    >>> choose_input(["Midi Through Port-0", "Stage 61 MIDI 1"]).name
    'Stage 61 MIDI 1'
    """
    there = usable(names)
    if wanted:
        return _by_name("input", there, names, wanted)
    keyboards = tuple(name for name in there if not _BUS.search(name)) or there
    if not keyboards:
        raise PortError("no MIDI keyboard found: plug one in, then look with: livecont ports")
    if len(keyboards) > 1:
        raise PortError(
            f"several MIDI inputs: {_listed(keyboards)}: say which with --in and a part of its name"
        )
    return Choice(name=keyboards[0], reason="the only keyboard", others=_but(there, keyboards[0]))


def choose_inputs(names: Sequence[str], wanted: str | None = None) -> tuple[Choice, ...]:
    """Return the keyboards to listen to: several where `wanted` names them, with commas, or `all`.

    Raises:
        PortError: as `choose_input`.

    >>> [choice.name for choice in choose_inputs(["Upper", "Lower"], "all")]
    ['Upper', 'Lower']
    """
    if wanted and wanted.strip().casefold() == ALL:
        there = usable(names)
        if not there:
            return (choose_input(names),)
        return tuple(Choice(name=name, reason="all were asked for") for name in there)
    parts = [part.strip() for part in (wanted or "").split(",") if part.strip()]
    if len(parts) < 2:
        return (choose_input(names, wanted),)
    chosen = [choose_input(names, part) for part in parts]
    return tuple({choice.name: choice for choice in chosen}.values())


def choose_output(
    names: Sequence[str], wanted: str | None = None, input_name: str | None = None
) -> Choice:
    """Return where livecont sounds.

    By itself: the output of the keyboard that is listened to, else a synth's port, else our own
    small sound. By name: a part of a port's name, `internal` or `none`.

    Raises:
        PortError: none or several of that name.

    >>> choose_output(["Stage 61 MIDI 1"], None, "Stage 61 MIDI 1").reason
    "the keyboard's own sound"
    >>> choose_output([]).name
    'internal'
    """
    there = usable(names)
    if wanted and wanted.strip().casefold() in (INTERNAL, SILENT):
        return Choice(name=wanted.strip().casefold(), reason="asked for", others=there)
    if wanted:
        return _by_name("output", there, names, wanted)
    if input_name is not None:
        same = again(there, input_name)
        if same is not None:
            return Choice(name=same, reason="the keyboard's own sound", others=_but(there, same))
    synths = [name for name in there if _SYNTH.search(name)]
    synths += [name for name in there if name not in synths and not _BUS.search(name)]
    if synths:
        return Choice(name=synths[0], reason="a synth's port", others=_but(there, synths[0]))
    return Choice(name=INTERNAL, reason="no other MIDI output", others=there)


def again(names: Sequence[str], name: str) -> str | None:
    """Return the port that a name means now, though its numbers may have changed; None for none.

    >>> again(["Stage 61:Stage 61 MIDI 1 24:0"], "Stage 61:Stage 61 MIDI 1 20:0")
    'Stage 61:Stage 61 MIDI 1 24:0'
    """
    if name in names:
        return name
    for same in (device, _without_last_number):
        for candidate in names:
            if same(candidate) == same(name):
                return candidate
    return None


def _without_last_number(name: str) -> str:
    return _LAST_NUMBER.sub("", device(name))


def _by_name(side: str, there: tuple[str, ...], names: Sequence[str], wanted: str) -> Choice:
    folded = wanted.strip().casefold()
    exact = [name for name in there if name.casefold() == folded]
    found = exact or [name for name in there if folded in name.casefold()]
    if len(found) == 1:
        return Choice(name=found[0], reason="asked for by name", others=_but(there, found[0]))
    if found:
        raise PortError(
            f"{wanted!r} fits several MIDI {side}s: {_listed(found)}: say more of the name"
        )
    barred = [name for name in names if name not in there and folded in name.casefold()]
    if barred:
        raise PortError(
            f"MIDI {side} {barred[0]!r} only hands on what programs send: choose another"
        )
    what = f"there are {_listed(there)}" if there else "there is none"
    raise PortError(f"no MIDI {side} has {wanted!r} in its name: {what}")


def _listed(names: Iterable[str]) -> str:
    return ", ".join(repr(name) for name in names)


def _but(names: tuple[str, ...], name: str) -> tuple[str, ...]:
    return tuple(other for other in names if other != name)
