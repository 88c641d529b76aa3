"""What stands on an engraved page, read out of its HTML or SVG."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable

from livecont.music.score import ScoreNote

_GROUP = re.compile(r"<g\b([^>]*)>")
_ATTRIBUTE = re.compile(r'([\w.:-]+)="([^"]*)"')


def notes_on(page: str) -> list[dict[str, str]]:
    """Return the attributes of each note drawn, ties' further notes left out."""
    found = []
    for match in _GROUP.finditer(page):
        attributes = dict(_ATTRIBUTE.findall(match[1]))
        if attributes.get("class") == "note" and "-at-" not in attributes.get("id", ""):
            found.append(attributes)
    return found


def pitches_on(page: str) -> Counter[tuple[str, str]]:
    """Return letter and octave of each note drawn."""
    return Counter((note["data-pname"], note["data-oct"]) for note in notes_on(page))


def pitches_of(notes: Iterable[ScoreNote]) -> Counter[tuple[str, str]]:
    """Return the same of a score's notes."""
    return Counter(("cdefgab"[note.spelling.letter], str(note.spelling.octave)) for note in notes)
