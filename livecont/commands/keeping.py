"""Keeping the last sequence in the book while a sitting goes on, with one key.

Conventions: what was understood last is what is kept. The book is written to in a thread of its
own, so that nothing waits for a disk or for another program that has the book.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType

from livecont.book.keeping import Kept, keep
from livecont.book.likeness import Likeness
from livecont.commands.book_words import step_of
from livecont.errors import BookError
from livecont.sequence.pattern import Pattern
from livecont.sitting.events import News, TookOver, Understood

SHORTLY = {
    Likeness.SAME: "the same notes",
    Likeness.MOVED: "in another place",
    Likeness.CHANGED: "on other degrees",
}


class Keeper:
    """Remembers what was understood last, and keeps it when asked. Use it as a context manager.

    `said` is what became of the last wish, in one line, None before the first.
    """

    def __init__(self, book: Path, now: Callable[[], datetime] = lambda: datetime.now(UTC)) -> None:
        self.said: str | None = None
        self._book, self._now = book, now
        self._latest: Pattern | None = None
        self._last_kept: Pattern | None = None
        self._pool = ThreadPoolExecutor(1, thread_name_prefix="book")

    def __enter__(self) -> Keeper:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._pool.shutdown(wait=True)

    def hear(self, news: News) -> None:
        """Take news of the sitting; from any thread."""
        if isinstance(news, Understood | TookOver):
            self._latest = news.pattern

    def keep(self, source: str) -> None:
        """Have the last sequence kept; returns at once, `said` follows."""
        pattern = self._latest
        if pattern is None:
            self.said = "nothing to keep yet: no sequence was understood"
        elif pattern is not self._last_kept:
            self._last_kept = pattern
            self._pool.submit(self._keep, pattern, source)

    def _keep(self, pattern: Pattern, source: str) -> None:
        try:
            self.said = kept_words(keep(self._book, pattern, self._now(), source=source))
        except BookError as error:
            self._last_kept = None
            self.said = f"not kept: {error}"


def kept_words(kept: Kept) -> str:
    """Return in few words what was kept, and whether the book had it before."""
    entry = kept.entry
    words = f"kept as entry {entry.number}: {entry.label or step_of(entry)}, {entry.key.name}"
    if not kept.twins:
        return words
    twin = kept.twins[0]
    return f"{words}; in entry {twin.entry.number} already, {SHORTLY[twin.likeness]}"
