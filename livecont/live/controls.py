"""What the player's controls mean: pedals and keys of the instrument, keys of the computer.

Conventions: a control at the instrument is taken away from the music: neither the sitting nor the
synth hears it. A pedal acts when it goes down (64 and more, MIDI 1.0), once until it comes up.
The computer's keys arrive as single characters; `space`, `enter`, `escape`, `tab` have names.

Another key can be chosen in two ways:

- at the computer: the control opens a line; type `e minor` (or `auto`), end it with enter; escape
  forgets it. A key that is none leaves a complaint and the line open.
- at the instrument: hold the control and strike the tonic, with its minor third for minor; let
  go. Nothing struck means: estimate the key.

Nothing here knows a port or a terminal.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from typing import Protocol

from livecont.errors import ConfigError
from livecont.music.key import Key, parse_key
from livecont.sequence.events import KeyDown, KeyUp, PedalMove, PlayerEvent
from livecont.sitting.events import (
    ChangeFullness,
    ChangeKey,
    ChangeKind,
    Cue,
    Quit,
    SittingEvent,
    Stop,
)

PEDAL_DOWN = 64  # MIDI 1.0: 0..63 is up, 64..127 is down
NAMES = {" ": "space", "\r": "enter", "\n": "enter", "\x1b": "escape", "\t": "tab"}
MOST_TYPED = 24  # no key's name is longer
_ERASE = ("\x7f", "\b")

# the usual tonic of each pitch class, by fewest sharps or flats (ties: as common practice has it)
_MAJOR_TONICS = ("C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")
_MINOR_TONICS = ("c", "c#", "d", "eb", "e", "f", "f#", "g", "g#", "a", "bb", "b")


class Action(StrEnum):
    """What a control does."""

    CUE = "cue"
    STOP = "stop"
    CHANGE_KEY = "change-key"
    TONAL_REAL = "tonal-real"
    REDUCTION = "reduction"
    KEEP = "keep"
    QUIT = "quit"


class ControlMap(Protocol):
    """Which control does what: controller numbers, MIDI pitches, computer keys -> actions."""

    @property
    def pedals(self) -> Mapping[int, str]:
        """Controller number to action."""
        ...

    @property
    def keys(self) -> Mapping[int, str]:
        """MIDI pitch to action."""
        ...

    @property
    def computer(self) -> Mapping[str, str]:
        """A character, or one of the names, to action."""
        ...


class Panel:
    """The controls of one sitting, with what is half done: a line being typed, a key being struck.

    `line` is what was typed so far while a key is chosen at the computer, else None; `complaint`
    is why the last line was none. `keeps` counts how often the last sequence was to be kept, which
    is no matter of the sitting's. For one thread only.
    """

    def __init__(self, controls: ControlMap) -> None:
        self.line: str | None = None
        self.complaint: str | None = None
        self.keeps = 0
        self._pedals = {number: Action(name) for number, name in controls.pedals.items()}
        self._keys = {pitch: Action(name) for pitch, name in controls.keys.items()}
        self._computer = {sign: Action(name) for sign, name in controls.computer.items()}
        self._down: set[tuple[str, int]] = set()  # controls that are held
        self._struck: list[int] | None = None  # pitches struck while a key is chosen
        self._swallowed: set[int] = set()  # pitches whose release is to be taken away too

    @property
    def controllers(self) -> frozenset[int]:
        """The controller numbers that are not to reach the music."""
        return frozenset(self._pedals)

    @property
    def pitches(self) -> frozenset[int]:
        """The keys that are not to reach the music."""
        return frozenset(self._keys)

    def hear(self, event: PlayerEvent) -> tuple[SittingEvent, ...]:
        """Return what the sitting is to hear: the event itself, a control's meaning, or nothing.

        >>> from types import SimpleNamespace
        >>> panel = Panel(SimpleNamespace(pedals={67: "stop"}, keys={}, computer={}))
        >>> panel.hear(PedalMove(at_s=1.0, controller=67, value=127))
        (Stop(at_s=1.0),)
        >>> panel.hear(PedalMove(at_s=1.1, controller=67, value=0))
        ()
        """
        if isinstance(event, PedalMove):
            action = self._pedals.get(event.controller)
            if action is None:
                return (event,)
            down = event.value >= PEDAL_DOWN
            return self._move(("pedal", event.controller), action, down=down, at_s=event.at_s)
        action = self._keys.get(event.pitch)
        if action is not None:
            down = isinstance(event, KeyDown)
            return self._move(("key", event.pitch), action, down=down, at_s=event.at_s)
        return self._through(event)

    def type(self, sign: str, at_s: float) -> tuple[SittingEvent, ...]:
        """Return what a character typed at the computer means to the sitting."""
        if self.line is not None:
            return self._type_line(self.line, sign, at_s)
        action = self._computer.get(NAMES.get(sign, sign))
        if action is None:
            return ()
        if action is Action.CHANGE_KEY:
            self.line, self.complaint = "", None
            return ()
        return self._act(action, at_s)

    def _move(
        self, control: tuple[str, int], action: Action, *, down: bool, at_s: float
    ) -> tuple[SittingEvent, ...]:
        was_down = control in self._down
        if down:
            self._down.add(control)
        else:
            self._down.discard(control)
        if down == was_down:
            return ()
        if action is Action.CHANGE_KEY:
            return self._choose(down=down, at_s=at_s)
        return self._act(action, at_s) if down else ()

    def _act(self, action: Action, at_s: float) -> tuple[SittingEvent, ...]:
        if action is Action.KEEP:
            self.keeps += 1
            return ()
        return (_event(action, at_s),)

    def _choose(self, *, down: bool, at_s: float) -> tuple[SittingEvent, ...]:
        if down:
            self._struck = []
            return ()
        struck, self._struck = self._struck, None
        return (ChangeKey(at_s=at_s, key=struck_key(struck or [])),)

    def _through(self, event: KeyDown | KeyUp) -> tuple[SittingEvent, ...]:
        if isinstance(event, KeyDown):
            if self._struck is None:
                self._swallowed.discard(event.pitch)
                return (event,)
            self._struck.append(event.pitch)
            self._swallowed.add(event.pitch)
            return ()
        if event.pitch in self._swallowed:
            self._swallowed.discard(event.pitch)
            return ()
        return (event,)

    def _type_line(self, line: str, sign: str, at_s: float) -> tuple[SittingEvent, ...]:
        name = NAMES.get(sign)
        if name == "escape":
            self.line = self.complaint = None
        elif name == "enter":
            return self._enter(line, at_s)
        elif sign in _ERASE:
            self.line = line[:-1]
        elif sign.isprintable() and len(line) < MOST_TYPED:
            self.line = line + sign
        return ()

    def _enter(self, line: str, at_s: float) -> tuple[SittingEvent, ...]:
        try:
            key = typed_key(line)
        except ConfigError as error:
            self.complaint = str(error)
            return ()
        self.line = self.complaint = None
        return (ChangeKey(at_s=at_s, key=key),)


def typed_key(line: str) -> Key | None:
    """Return the key that a line names, None for `auto` or an empty line.

    Raises:
        ConfigError: where it names none.
    """
    text = line.strip()
    return None if text.casefold() in ("", "auto") else parse_key(text)


def struck_key(pitches: list[int]) -> Key | None:
    """Return the key that was struck: the lowest is the tonic, a minor third above makes minor.

    >>> struck_key([52, 55]).name, struck_key([56]).name, struck_key([])
    ('e minor', 'Ab major', None)
    """
    if not pitches:
        return None
    tonic = min(pitches)
    minor = any((pitch - tonic) % 12 == 3 for pitch in pitches)
    name = (_MINOR_TONICS if minor else _MAJOR_TONICS)[tonic % 12]
    return parse_key(name)


def _event(action: Action, at_s: float) -> SittingEvent:
    if action is Action.CUE:
        return Cue(at_s=at_s)
    if action is Action.STOP:
        return Stop(at_s=at_s)
    if action is Action.TONAL_REAL:
        return ChangeKind(at_s=at_s)
    if action is Action.REDUCTION:
        return ChangeFullness(at_s=at_s)
    return Quit(at_s=at_s)
