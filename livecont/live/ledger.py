"""Which notes sound and which pedals are down at the output, and who holds them.

Two owners share one output: livecont ("ours") and the player, whose notes are passed through
("theirs"). A MIDI key is either down or up, so the ledger decides what an owner's message means
for the key that both share:

- a key sounds as long as anybody holds it. Ours are counted (a link may strike a key again before
  the link before has let it go), theirs are not (a player's key is down or up, and a keyboard that
  loses a note-off must not leave the key down for ever);
- a strike of a key that sounds is sent as release and strike, so that the instrument strikes again;
- a release is sent when the last holder lets go. One that nobody holds is passed on: it does no
  harm, and it may end a note that somebody else left behind;
- a pedal is as far down as the owner who presses it most.

Conventions: messages are whole MIDI 1.0 messages as bytes. A note-on with velocity 0 counts as a
release and is sent as one. Only this module decides on note-offs; `live.sounding` sends what it
says, in the order given.
"""

from __future__ import annotations

from livecont.live.messages import ALL_NOTES_OFF, CONTROL_CHANGE, NOTE_OFF, NOTE_ON

PEDALS = (64, 66, 67)  # sustain, sostenuto, soft: MIDI 1.0 controller numbers
_RELEASE_VELOCITY = 64


class Ledger:
    r"""The account of one output; it starts with nothing sounding.

    >>> ledger = Ledger()
    >>> ledger.admit(bytes((0x90, 60, 80)), ours=True)
    (b'\x90<P',)
    >>> [message.hex(" ") for message in ledger.release_all()]
    ['80 3c 40', 'b0 7b 00']
    """

    __slots__ = ("_channels", "_ours", "_pedals", "_skipped", "_struck", "_theirs", "_used")

    def __init__(self) -> None:
        self._ours: dict[tuple[int, int], int] = {}  # (channel, pitch): how many hold it
        self._theirs: set[tuple[int, int]] = set()
        self._skipped: dict[tuple[int, int], int] = {}  # strikes left out, releases still to come
        self._pedals: dict[tuple[int, int], list[int]] = {}  # (channel, controller): ours, theirs
        self._channels: set[int] = set()
        self._struck: set[tuple[int, int]] = set()  # since the beginning, as is `_used`
        self._used: set[int] = set()

    @property
    def sounding(self) -> frozenset[tuple[int, int]]:
        """The keys that sound, as (channel, pitch)."""
        return frozenset(self._ours) | self._theirs

    def admit(self, message: bytes, *, ours: bool) -> tuple[bytes, ...]:
        """Return what is to be sent for an owner's message, and note it as sent."""
        status = message[0]
        if status >= 0xF0:  # system messages belong to no channel
            return (message,)
        channel = status & 0x0F
        self._channels.add(channel)
        self._used.add(channel)
        kind = status & 0xF0
        if kind == NOTE_ON and message[2] > 0:
            return self._strike(message, (channel, message[1]), ours=ours)
        if kind in (NOTE_ON, NOTE_OFF):
            return self._let_go(message, (channel, message[1]), ours=ours)
        if kind == CONTROL_CHANGE and message[1] in PEDALS:
            return self._press(message, (channel, message[1]), ours=ours)
        return (message,)

    def skip(self, strike: bytes) -> None:
        """Note that one of our strikes is left out, so that its release ends no other note."""
        key = (strike[0] & 0x0F, strike[1])
        self._skipped[key] = self._skipped.get(key, 0) + 1

    def release_ours(self) -> tuple[bytes, ...]:
        """Return what silences our notes and lifts our pedals; the player's stay as they are."""
        messages = [_release(key) for key in sorted(self._ours) if key not in self._theirs]
        for (channel, controller), pressed in sorted(self._pedals.items()):
            if pressed[0] > pressed[1]:
                messages.append(bytes((CONTROL_CHANGE | channel, controller, pressed[1])))
            pressed[0] = 0
        self._ours.clear()
        self._skipped.clear()
        return tuple(messages)

    def release_all(self) -> tuple[bytes, ...]:
        """Return what silences everything on every channel used; the ledger is empty then."""
        messages = [_release(key) for key in sorted(self.sounding)]
        messages += [
            bytes((CONTROL_CHANGE | channel, controller, 0))
            for channel, controller in sorted(self._pedals)
        ]
        messages += [_all_off(channel) for channel in sorted(self._channels)]
        self._ours.clear()
        self._theirs.clear()
        self._skipped.clear()
        self._pedals.clear()
        self._channels.clear()
        return tuple(messages)

    def sweep(self) -> tuple[bytes, ...]:
        """Return what silences all that was ever struck, for an output that may lose messages."""
        messages = [_release(key) for key in sorted(self._struck)]
        for channel in sorted(self._used):
            messages += [bytes((CONTROL_CHANGE | channel, pedal, 0)) for pedal in PEDALS]
            messages.append(_all_off(channel))
        return tuple(messages)

    def _strike(self, message: bytes, key: tuple[int, int], *, ours: bool) -> tuple[bytes, ...]:
        sounds = key in self._ours or key in self._theirs
        self._struck.add(key)
        if ours:
            self._ours[key] = self._ours.get(key, 0) + 1
        else:
            self._theirs.add(key)
        return (_release(key), message) if sounds else (message,)

    def _let_go(self, message: bytes, key: tuple[int, int], *, ours: bool) -> tuple[bytes, ...]:
        if not ours:
            self._theirs.discard(key)
        elif self._skipped.get(key):
            self._settle(self._skipped, key)
        elif key in self._ours:
            self._settle(self._ours, key)
        if key in self._ours or key in self._theirs:
            return ()
        return (message,) if message[0] & 0xF0 == NOTE_OFF else (_release(key),)

    @staticmethod
    def _settle(counts: dict[tuple[int, int], int], key: tuple[int, int]) -> None:
        counts[key] -= 1
        if not counts[key]:
            del counts[key]

    def _press(self, message: bytes, pedal: tuple[int, int], *, ours: bool) -> tuple[bytes, ...]:
        known = pedal in self._pedals
        pressed = self._pedals.setdefault(pedal, [0, 0])
        before = max(pressed)
        pressed[0 if ours else 1] = message[2]
        after = max(pressed)
        if after == before and known:
            return ()
        return (message if after == message[2] else bytes((message[0], message[1], after)),)


def _release(key: tuple[int, int]) -> bytes:
    channel, pitch = key
    return bytes((NOTE_OFF | channel, pitch, _RELEASE_VELOCITY))


def _all_off(channel: int) -> bytes:
    return bytes((CONTROL_CHANGE | channel, ALL_NOTES_OFF, 0))
