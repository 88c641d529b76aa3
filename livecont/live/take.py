"""Records a sitting as it happens: what was played, what was sounded, what was understood.

Everything handed in is queued and written to the journal by a thread of its own, every `FLUSH_S`,
so the note path never waits for a disk and a kill loses no more than that. The MIDI file is written
when the hands rest and when the sitting ends; the journal then goes. A disk that is full or gone is
told once; what could not be written waits in memory, within bounds, and is tried again; at the end
the take goes where temporary files go, if there is still no room for it in its own folder. What an
earlier sitting left behind is mended apart, by a thread that nothing waits for.

Conventions: times handed in are on the live clock, the take counts from its start. Methods may be
called from any thread and never raise.
"""

from __future__ import annotations

import queue
import tempfile
import threading
from collections.abc import Callable, Iterable
from datetime import datetime
from io import BytesIO
from math import log
from os import SEEK_END
from pathlib import Path
from typing import BinaryIO

from livecont.live.journal import header_line, line, read_journal, written_line
from livecont.live.messages import CONTROL_CHANGE, NOTE_OFF, NOTE_ON
from livecont.live.report import SentMessage
from livecont.live.take_file import Entry, EntryKind, take_file
from livecont.live.take_folder import repair_takes, replace_file, reserve
from livecont.live.virtual_keyboard import message_of
from livecont.music.key import MODE_FIFTHS, Key
from livecont.sequence.events import PlayerEvent
from livecont.sitting.events import GaveWay, News, TookOver, Understood

FLUSH_S = 0.01
REST_S = 3.0  # nothing played or sounded for so long: time to write the MIDI file
REST_S_PER_BYTE = 15e-6  # the longer the take, the longer it needs: 0.3 s of work a megabyte
RETRY_S = 1.0
MOST_UNWRITTEN_BYTES = 8 * 2**20  # a disk that stays full: an hour of dense playing and more
MOST_QUEUED = 200_000
MOST_MENDED_BYTES = 2 * 2**20  # beside a sitting: an hour of playing; longer ones wait for `check`
MENDING_S = 1.0  # for the mending of what was left behind, when the sitting ends
END_S, END_S_PER_BYTE = 20.0, 60e-6  # for the take itself: far more than a disk that answers needs

_BEATS = (1, 2, 3, 4, 6, 8, 12, 16, 24, 32)  # in a link, for the tempo
_USUAL_BPM = 100.0
_SAME_TEMPO = 0.02


class TakeRecorder:
    """The recorder of one sitting.

    `started` names the take, `start_s` is the same moment on the live clock. `tell` hears of
    trouble, once, in one line.
    """

    def __init__(
        self,
        folder: Path,
        started: datetime,
        *,
        start_s: float,
        tell: Callable[[str], object] = lambda _: None,
        repair: bool = True,
    ) -> None:
        self.path: Path | None = None  # the take's MIDI file, as soon as it has a name
        self.lost = 0  # entries that are in no file
        self._folder, self._started, self._start_s = folder, started, start_s
        self._tell, self._told = tell, False
        self._queue: queue.SimpleQueue[Entry | None] = queue.SimpleQueue()
        self._closed = False
        self._ending = threading.Event()
        self._key_name: str | None = None
        self._tempo_us = 0
        self._ours = _Ours()
        self._journal: BinaryIO | None = None
        self._unwritten = bytearray(header_line(f"{started:%Y-%m-%dT%H:%M:%S}"))
        self._size = 0  # of the journal
        self._newer = False  # the journal than the MIDI file
        self._holds_notes = False
        self._repair = repair
        self._mender = threading.Thread(target=self._mend_old, name="mending", daemon=True)
        self._named = threading.Event()
        self._thread = threading.Thread(target=self._write_on, name="take", daemon=True)
        self._thread.start()

    # --- what happens -----------------------------------------------------------------------------

    def player(self, event: PlayerEvent) -> None:
        """Note what the player did."""
        self._put(event.at_s, EntryKind.PLAYED, message_of(event))

    def sounded(self, messages: Iterable[SentMessage]) -> None:
        """Note what was sent to the synth; the player's own that passed through is left out."""
        for message in messages:
            if self._ours.admits(message):
                self._put(message.sent_s, EntryKind.SOUNDED, message.data)

    def news(self, news: News) -> None:
        """Note what was understood and decided."""
        if isinstance(news, Understood | TookOver):
            self.key(news.at_s, news.pattern.key)
            self._tempo(news.at_s, news.pattern.unit_s)
        self._put(news.at_s, EntryKind.MARK, text=_mark(news))

    def key(self, at_s: float, key: Key | None) -> None:
        """Note the key from here on."""
        if key is None or key.name == self._key_name:
            return
        self._key_name = key.name
        minor = int(MODE_FIFTHS[key.mode] <= MODE_FIFTHS["dorian"])
        self._put(at_s, EntryKind.KEY, text=f"{key.fifths} {minor} {key.name}")

    def close(self) -> Path | None:
        """Write everything and end; return the take, None where nothing was played or written.

        A folder that does not answer is not waited for without end.
        """
        if not self._closed:
            self._closed = True
            self._ending.set()
            self._queue.put(None)  # wakes the thread
            self._thread.join(END_S + self._size * END_S_PER_BYTE)
            if self._thread.is_alive():
                self.path = None
                self._tell(f"the take can't be written to {self._folder} (it does not answer)")
            elif self._mender.is_alive():
                self._mender.join(MENDING_S)
        return self.path

    def wait_named(self, patience_s: float) -> Path | None:
        """Return the take's path as soon as it has one."""
        self._named.wait(patience_s)
        return self.path

    def _put(self, at_s: float, kind: EntryKind, data: bytes = b"", text: str = "") -> None:
        if self._closed or self._queue.qsize() >= MOST_QUEUED:
            self.lost += 1
            return
        self._queue.put(Entry(max(0.0, at_s - self._start_s), kind, data, text))

    def _tempo(self, at_s: float, unit_s: float) -> None:
        tempo_us = tempo_of(unit_s)
        if abs(tempo_us - self._tempo_us) > _SAME_TEMPO * self._tempo_us:
            self._tempo_us = tempo_us
            self._put(at_s, EntryKind.TEMPO, text=str(tempo_us))

    # --- the writing thread -----------------------------------------------------------------------

    def _write_on(self) -> None:
        # this take first: a kill may come while old ones are being mended
        if self._try(self._open) and self._try(self._flush) and self._repair:
            self._mender.start()
        wait_s, rested_s = FLUSH_S, 0.0
        while not self._ending.is_set() or not self._queue.empty():
            rested_s = 0.0 if self._gather(wait_s) else rested_s + wait_s
            failed = bool(self._unwritten) and not self._try(self._flush)
            wait_s = RETRY_S if failed else FLUSH_S
            if self._newer and rested_s >= REST_S + self._size * REST_S_PER_BYTE:
                rested_s = rested_s if self._try(self._write_file) else 0.0
        if not self._try(self._finish) and not (self._holds_notes and self._try(self._rescue)):
            self._try(self._forget_lost)
        if self._journal is not None:
            self._journal.close()

    def _mend_old(self) -> None:
        """Mend what a kill left behind, a thread of its own: it may take long or never end."""
        try:
            repair_takes(self._folder, most_bytes=MOST_MENDED_BYTES, enough=self._ending.is_set)
        except OSError as error:
            what = f"{self._folder} ({error.strerror or error})"
            self._tell(f"old takes can't be mended in {what}: livecont check --takes")

    def _gather(self, wait_s: float) -> bool:
        """Take in what comes within a time; return whether anything came."""
        came = False
        try:
            entry = self._queue.get(timeout=wait_s)
            if entry is not None:
                self._ending.wait(FLUSH_S)  # what comes together is written together
            while True:
                if entry is not None:
                    came = True
                    self._add(entry)
                entry = self._queue.get_nowait()
        except queue.Empty:
            return came

    def _add(self, entry: Entry) -> None:
        if len(self._unwritten) >= MOST_UNWRITTEN_BYTES:
            self.lost += 1
            return
        self._unwritten += line(entry)
        self._holds_notes |= bool(entry.data)

    def _try(self, write: Callable[[], object]) -> bool:
        try:
            write()
        except OSError as error:
            if not self._told:
                self._told = True
                what = f"{self._folder} ({error.strerror or error})"
                then = "" if self._ending.is_set() else "; playing goes on"
                self._tell(f"the take can't be written to {what}{then}")
            return False
        return True

    def _open(self) -> None:
        self.path, self._journal = reserve(self._folder, self._started)
        self._named.set()

    def _flush(self) -> None:
        if self._journal is None:
            self._open()
        assert self._journal is not None  # noqa: S101  (opened just now)
        while self._unwritten:
            count = self._journal.write(bytes(self._unwritten))
            del self._unwritten[: count or 0]
            self._size += count or 0
            self._newer = True

    def _write_file(self) -> None:
        """Write the MIDI file anew from the journal, whole or not at all."""
        if self._journal is None or self.path is None:
            return
        journal = read_journal(BytesIO(self._written()))
        if journal is None:
            raise OSError(f"{self.path.with_suffix('.take')} was changed by somebody")
        data = take_file(journal.entries, title=f"livecont take, {journal.started}")
        self._unwritten += written_line(data)
        self._flush()
        replace_file(self.path, data)
        self._newer = False

    def _written(self) -> bytes:
        """Return what stands in the journal, whether or not it still has its name."""
        if self._journal is None:
            return b""
        self._journal.seek(0)
        try:
            return self._journal.read()
        finally:
            self._journal.seek(0, SEEK_END)

    def _finish(self) -> None:
        if self._unwritten:
            self._flush()
        if self._journal is None or self.path is None:
            return
        journal_path = self.path.with_suffix(".take")
        if self._holds_notes:
            self._write_file()
        else:
            self.path.unlink(missing_ok=True)
            self.path = None
        self._journal.close()
        journal_path.unlink(missing_ok=True)

    def _rescue(self) -> None:
        """Write the whole take where temporary files go, since it can't be where it belongs."""
        if self._journal is not None and self._journal.closed:
            return  # the take is where it belongs: only the journal's name would not go
        journal = read_journal(BytesIO(self._written() + self._unwritten))
        if journal is None:
            return
        data = take_file(journal.entries, title=f"livecont take, {journal.started}")
        folder = Path(tempfile.mkdtemp(prefix="livecont-take-"))
        path = folder / f"{self._started:%Y-%m-%d_%H-%M-%S}.mid"
        try:
            replace_file(path, data)
        except OSError:
            folder.rmdir()
            raise
        self.path = path
        self._tell("the take is whole among the temporary files: move it to where it is to stay")

    def _forget_lost(self) -> None:
        """Name no take that is not there."""
        if self.path is not None and not self.path.is_file():
            self.path = None


class _Ours:
    """Which of the messages that went out were livecont's own.

    Planned ones are. One without a due time is the player's, passed through, unless it releases
    what livecont holds (a hush does).
    """

    def __init__(self) -> None:
        self._held: set[tuple[int, int, int]] = set()

    def admits(self, message: SentMessage) -> bool:
        data, planned = message.data, message.due_s is not None
        kind, channel = data[0] & 0xF0, data[0] & 0x0F
        if len(data) != 3 or kind not in (NOTE_OFF, NOTE_ON, CONTROL_CHANGE):
            return False
        pedal = kind == CONTROL_CHANGE
        control = (CONTROL_CHANGE if pedal else NOTE_ON, channel, data[1])
        if data[2] and kind != NOTE_OFF:
            if planned:
                self._held.add(control)
            return planned
        held = control in self._held
        self._held.discard(control)
        return held or (planned and pedal)


def tempo_of(unit_s: float) -> int:
    """Return a tempo, in microseconds a quarter, in which a link has a whole number of quarters.

    Of those the one nearest to `_USUAL_BPM`: the beat itself is not known while playing.

    >>> tempo_of(2.4)
    600000
    """
    beats = min(_BEATS, key=lambda beats: abs(log(60.0 * beats / unit_s / _USUAL_BPM)))
    return round(unit_s / beats * 1e6)


def _mark(news: News) -> str:
    if isinstance(news, Understood):
        pattern = news.pattern
        return f"understood: step {pattern.step_degrees:+d}, unit {pattern.unit_s:.3f} s"
    if isinstance(news, TookOver):
        return f"take-over: link {news.link.number}"
    if isinstance(news, GaveWay):
        return "give-way"
    return f"end: {news.reason}"
