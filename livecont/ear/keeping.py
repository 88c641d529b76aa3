"""Answers into the book and out of it again.

Conventions: moments in UTC, handed in. An answer is on the disk when `keep` returns; answers that
this version does not know are left alone and left out.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

from livecont.book.answers import Answer, answers, keep_answer
from livecont.book.book import Book
from livecont.book.entry import Entry
from livecont.ear.asked import Answered, answered_of
from livecont.ear.matter import Matter, as_two_links, sure_label, texture_of
from livecont.ear.running import KeepAnswer


def answered_by(book: Book, players: Sequence[str], exercise: str) -> tuple[Answered, ...]:
    """Return the answers that some players gave to an exercise, oldest first.

    Raises:
        BookError: the book can't be read.
    """
    kept = [one for player in players for one in answers(book, player, exercise)]
    kept.sort(key=lambda one: one.number or 0)
    return tuple(known for one in kept if (known := known_answer(one)) is not None)


def known_answer(kept: Answer) -> Answered | None:
    """Return an answer of the book; None where it is of no exercise of this version."""
    return answered_of(kept.player, kept.item, kept.detail, right=kept.right)


@contextmanager
def keeping(path: Path, now: Callable[[], datetime]) -> Iterator[KeepAnswer]:
    """Open the book for the thread that enters, and give what keeps an answer in it.

    Raises:
        BookError: the book can't be written to.
    """
    with Book(path) as book:

        def keep(answered: Answered) -> None:
            keep_answer(
                book,
                Answer(
                    at=now(),
                    player=answered.player,
                    exercise=answered.item.exercise,
                    right=answered.right,
                    item=answered.item.json(),
                    detail=answered.kept_detail(),
                    difficulty=float(answered.item.level),
                ),
            )

        yield keep


def matter_of_entry(entry: Entry) -> Matter:
    """Return an entry of a book as material."""
    from livecont.book.pattern import pattern_of  # with it comes all that finds in scores

    pattern = as_two_links(pattern_of(entry))
    return Matter(
        title=entry.name,
        texture=texture_of(pattern),
        pattern=pattern,
        label=sure_label(pattern),
    )


def book_matter(book: Book) -> dict[str, Matter]:
    """Return the entries of a book as material, by number.

    Raises:
        BookError: the book can't be read.
    """
    return {str(entry.number): matter_of_entry(entry) for entry in book.search()}
