"""What is special about a sequence's harmonies, in words: inversions, sevenths, suspensions.

Conventions: the words of the handbooks: five-three, six-three, six-five ... for what lies above the
bass.
"""

from __future__ import annotations

from collections.abc import Sequence

from livecont.music.harmony import Harmony
from livecont.music.harmony_notes import Tone
from livecont.music.label import APPLIED, SIX_THREE

TRIADS = ("five-three", "six-three", "six-four")
SEVENTHS = ("seventh", "six-five", "four-three", "four-two")
PLACES = 7
# suspensions by how far they lie above the bass, in places
SUSPENSIONS = {6: "7-6", 3: "4-3", 1: "9-8"}


def variants_of(
    harmonies: Sequence[Harmony], tones: Sequence[Tone], *, applied: bool
) -> tuple[str, ...]:
    """Return what is to be said besides the label; nothing of plain root positions."""
    found = []
    kinds = [_kind(harmony) for harmony in harmonies]
    if len(set(kinds)) == 1:
        if kinds[0] == TRIADS[1]:
            found.append(SIX_THREE)
        elif kinds[0] != TRIADS[0]:
            found.append(f"in {kinds[0]} chords")
    else:
        found.append(f"{' and '.join(dict.fromkeys(kinds))} chords in turn")
    if applied:
        found.append(APPLIED)
    figures = {
        SUSPENSIONS[above]
        for tone in tones
        if tone.suspended
        and tone.bass is not None
        # a suspension stands for the note a step below
        and (above := (tone.place + 1 - tone.bass[0]) % PLACES) in SUSPENSIONS
    }
    if figures:
        found.append(f"with {' and '.join(sorted(figures, reverse=True))} suspensions")
    return tuple(found)


def _kind(harmony: Harmony) -> str:
    return SEVENTHS[harmony.inversion] if harmony.seventh else TRIADS[harmony.inversion]
