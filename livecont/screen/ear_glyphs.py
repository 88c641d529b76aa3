"""Whole sentences in large letters, for the back of a room: the capitals, with figures and points.

Conventions: drawn as in `screen.glyphs`, eight dots high like the capitals there, so that a line of
them takes four lines of the terminal.
"""

from __future__ import annotations

from functools import lru_cache

from livecont.screen.glyphs import CAPITALS, Glyph
from livecont.screen.typeset import EMPTY, Block, Tone, line

_FIGURES = """
0         1       2         3        4         5        6         7        8         9
..####..  ..##..  ..####..  .#####.  ....##..  ######.  ...###..  #######  ..####..  ..####..
.##..##.  ####..  .##..##.  ##...##  ...###..  ##.....  ..##....  ##...##  .##..##.  .##..##.
##....##  ..##..  .....##.  .....##  ..####..  ##.....  .##.....  ....##.  .##..##.  ##....##
##....##  ..##..  ....##..  ..####.  .##.##..  #####..  .#####..  ....##.  ..####..  .##..###
##....##  ..##..  ...##...  .....##  ##..##..  ....##.  .##..##.  ...##..  .##..##.  ..###.##
##....##  ..##..  ..##....  .....##  #######.  .....##  ##....##  ...##..  ##....##  .....##.
.##..##.  ..##..  .##...##  ##...##  ....##..  ##...##  .##..##.  ..##...  .##..##.  ....##..
..####..  ######  ########  .#####.  ...####.  .#####.  ..####..  ..##...  ..####..  ..###...
"""
_POINTS = """
(      )      /       :    ,    .    -      +       ?        %         [     ]
...##  ##...  .....#  ..   ..   ..   .....  ......  .####..  ##....#.  ####  ####
..##.  .##..  ....##  ##   ..   ..   .....  ..##..  ##..##.  ##...##.  ##..  ..##
.##..  ..##.  ....#.  ##   ..   ..   .....  ..##..  ....##.  .....#..  ##..  ..##
.##..  ..##.  ...##.  ..   ..   ..   #####  ######  ...##..  ....#...  ##..  ..##
.##..  ..##.  ..##..  ..   ..   ..   .....  ..##..  ..##...  ...#....  ##..  ..##
.##..  ..##.  ..#...  ##   ##   ..   .....  ..##..  .......  ..#.....  ##..  ..##
..##.  .##..  .##...  ##   .#   ##   .....  ......  ..##...  .##..##.  ##..  ..##
...##  ##...  .#....  ..   #.   ##   .....  ......  ..##...  .#...##.  ####  ####
"""
_INK = {(False, False): " ", (True, False): "▀", (False, True): "▄", (True, True): "█"}
WORD_GAP = 4


def _drawn(sheet: str) -> dict[str, Glyph]:
    names, *rows = (row.split() for row in sheet.strip().splitlines())
    return dict(zip(names, zip(*rows, strict=True), strict=True))


SIGNS: dict[str, Glyph] = {**CAPITALS, **_drawn(_FIGURES), **_drawn(_POINTS), "'": (
    "##", "##", ".#", "#.", "..", "..", "..", "..",
)}  # fmt: skip
LINE_HEIGHT = 4


def can_be_large(text: str) -> bool:
    """Whether every sign of a text can be set large."""
    return all(sign in SIGNS or sign == " " for sign in text.upper())


def word_width(word: str) -> int:
    """Return how many cells a word takes."""
    return sum(len(SIGNS[sign][0]) + 1 for sign in word.upper()) - 1


@lru_cache(maxsize=128)
def sentence(text: str, tone: Tone, measure: int) -> Block:
    """Return a text in large letters, in lines no wider than `measure`, a blank line between two.

    Nothing where a sign or a word of it can't be set.

    >>> len(sentence("it is D2", Tone.PLAIN, 80)), sentence("x" * 40, Tone.PLAIN, 80)
    (4, ())
    """
    if not can_be_large(text):
        return ()
    rows: list[list[str]] = [[]]
    used = 0
    for word in text.upper().split():
        cells = word_width(word)
        if cells > measure:
            return ()
        if rows[-1] and used + WORD_GAP + cells > measure:
            rows.append([])
        used = cells + (used + WORD_GAP if rows[-1] else 0)
        rows[-1].append(word)
    block: Block = ()
    for row in rows:
        block = (*block, *((EMPTY,) if block else ()), *_set(" ".join(row), tone))
    return block


def _set(text: str, tone: Tone) -> Block:
    glyphs = [SIGNS.get(sign, ("." * (WORD_GAP - 2),) * 8) for sign in text]
    rows = [".".join(parts) for parts in zip(*glyphs, strict=True)]
    return tuple(
        line(
            "".join(
                _INK[a == "#", b == "#"] for a, b in zip(rows[i], rows[i + 1], strict=True)
            ).rstrip(),
            tone,
        )
        for i in range(0, len(rows), 2)
    )
