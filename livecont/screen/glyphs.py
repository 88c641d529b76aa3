"""Large figures and letters, drawn for livecont, to be read from two metres.

Conventions: drawn in square dots, two dots to a character's height, so that a figure ten dots high
takes five lines. `#` is ink. Figures and the letters of the keys have the weight of printed
numerals, thick stems and thin hairlines; the capitals, six dots high, are for whole words on large
screens. Every glyph comes with its own width; columns stand two blanks apart in the drawings.
"""

from __future__ import annotations

from functools import lru_cache

from livecont.screen.typeset import Block, Tone, line

_FIGURES = """
0         1       2         3         4         5         6         7         8         9
..####..  ..##..  ..####..  .#####..  .....##.  .######.  ...####.  ########  ..####..  ..####..
.##..##.  ####..  ##...##.  ##...##.  ....###.  .##.....  ..##....  ##....##  .##..##.  .##..##.
##....##  ..##..  ##....##  ......##  ...####.  .##.....  .##.....  ......##  .##..##.  ##....##
##....##  ..##..  ......##  .....##.  ..##.##.  .#####..  .#####..  .....##.  .##..##.  ##....##
##....##  ..##..  .....##.  ..####..  .##..##.  .##..##.  ##...##.  .....##.  ..####..  ##....##
##....##  ..##..  ....##..  .....##.  ##...##.  ......##  ##....##  ....##..  .##..##.  .##...##
##....##  ..##..  ...##...  ......##  ########  ......##  ##....##  ....##..  ##....##  ..#####.
##....##  ..##..  ..##....  ......##  .....##.  ......##  ##....##  ...##...  ##....##  .....##.
.##..##.  ..##..  .##...##  ##...##.  .....##.  ##...##.  .##..##.  ...##...  .##..##.  ....##..
..####..  ######  ########  .#####..  ....####  .#####..  ..####..  ...##...  ..####..  .####...
"""

_LETTERS = """
A          B         C         D         E         F         G          ♯         ♭
....##...  ######..  ..#####.  ######..  ########  ########  ..####.#.  .....#..  ##.....
....##...  .##..##.  .##...##  .##..##.  .##....#  .##....#  .##...##.  ..#..#..  ##.....
...####..  .##..##.  ##.....#  .##...##  .##.....  .##.....  ##.....#.  ..#..###  ##.....
...#.##..  .##..##.  ##......  .##...##  .##..#..  .##..#..  ##.......  ..#####.  ##.##..
...#.##..  .#####..  ##......  .##...##  .#####..  .#####..  ##.......  ####.#..  ###..#.
..##..##.  .##..##.  ##......  .##...##  .##..#..  .##..#..  ##..#####  ..#..###  ##...##
..######.  .##...##  ##......  .##...##  .##.....  .##.....  ##....##.  ..#####.  ##...##
.##...##.  .##...##  ##.....#  .##...##  .##.....  .##.....  ##....##.  ####.#..  ##..##.
.##...##.  .##..##.  .##...##  .##..##.  .##....#  .##.....  .##...##.  ..#..#..  ##.##..
####.####  ######..  ..#####.  ######..  ########  ####....  ..####.#.  ..#.....  ###....
"""

_ENDLESS = """
∞
................
................
..####....####..
.##..##..##..##.
##....####....##
##....####....##
.##..##..##..##.
..####....####..
................
................
"""

_CAPITALS = """
A      B      C      D      E     F     G      H      I  J      K      L     M        N
.###.  ####.  .####  ####.  ####  ####  .####  #...#  #  ....#  #..#.  #...  #.....#  #...#
#...#  #...#  #....  #...#  #...  #...  #....  #...#  #  ....#  #.#..  #...  ##...##  ##..#
#...#  ####.  #....  #...#  ###.  ###.  #..##  #####  #  ....#  ##...  #...  #.#.#.#  #.#.#
#####  #...#  #....  #...#  #...  #...  #...#  #...#  #  #...#  #.#..  #...  #..#..#  #..##
#...#  #...#  #....  #...#  #...  #...  #...#  #...#  #  #...#  #..#.  #...  #.....#  #...#
#...#  ####.  .####  ####.  ####  #...  .####  #...#  #  .###.  #...#  ####  #.....#  #...#
"""

_MORE_CAPITALS = """
O      P      Q       R      S      T      U      V        W        X      Y      Z      ♯      ♭
.###.  ####.  .###..  ####.  .####  #####  #...#  #.....#  #.....#  #...#  #...#  #####  .#.#.  #..
#...#  #...#  #...#.  #...#  #....  ..#..  #...#  #.....#  #.....#  .#.#.  #...#  ....#  #####  #..
#...#  #...#  #...#.  #...#  .###.  ..#..  #...#  .#...#.  #..#..#  ..#..  .#.#.  ...#.  .#.#.  ##.
#...#  ####.  #.#.#.  ####.  ....#  ..#..  #...#  .#...#.  #.#.#.#  ..#..  ..#..  ..#..  .#.#.  #.#
#...#  #....  #..##.  #..#.  ....#  ..#..  #...#  ..#.#..  ##...##  .#.#.  ..#..  .#...  #####  #.#
.###.  #....  .#####  #...#  ####.  ..#..  .###.  ...#...  #.....#  #...#  ..#..  #####  .#.#.  ##.
"""

_INK = {(False, False): " ", (True, False): "▀", (False, True): "▄", (True, True): "█"}

Glyph = tuple[str, ...]


def _drawn(*sheets: str) -> dict[str, Glyph]:
    glyphs: dict[str, Glyph] = {}
    for sheet in sheets:
        names, *rows = (row.split() for row in sheet.strip().splitlines())
        glyphs.update(zip(names, zip(*rows, strict=True), strict=True))
    return glyphs


NUMERALS = _drawn(_FIGURES, _LETTERS, _ENDLESS)
CAPITALS = _drawn(_CAPITALS, _MORE_CAPITALS)


@lru_cache(maxsize=256)
def numerals(text: str, tone: Tone, scale: int = 1) -> Block:
    """Return figures or a key's letter five lines high (times `scale`).

    >>> [runs[0].text for runs in numerals("1", Tone.PLAIN)]
    ['▄▄██', '  ██', '  ██', '  ██', '▄▄██▄▄']
    """
    return _set(tuple(NUMERALS[sign] for sign in text), 2, tone, scale)


@lru_cache(maxsize=256)
def capitals(text: str, tone: Tone, scale: int = 1) -> Block:
    """Return a word or two three lines high (times `scale`); unknown signs are left blank."""
    blank = ("..",) * 6
    return _set(tuple(CAPITALS.get(sign, blank) for sign in text.upper()), 1, tone, scale)


def capitals_width(text: str, scale: int = 1) -> int:
    """Return how wide `capitals` would set a text."""
    return scale * sum(len(CAPITALS.get(sign, ("..",))[0]) + 1 for sign in text.upper())


def _set(glyphs: tuple[Glyph, ...], gap: int, tone: Tone, scale: int) -> Block:
    if not glyphs:
        return ()
    rows = [("." * gap).join(parts) for parts in zip(*glyphs, strict=True)]
    wide = ["".join(dot * scale for dot in row) for row in rows for _ in range(scale)]
    return tuple(
        line(
            "".join(
                _INK[a == "#", b == "#"] for a, b in zip(wide[i], wide[i + 1], strict=True)
            ).rstrip(),
            tone,
        )
        for i in range(0, len(wide), 2)
    )
