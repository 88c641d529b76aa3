"""Engraving: a score as systems of vector graphics, each with what is known of where things stand.

Verovio does the engraving (imported late, extra `sheet`); what it draws is cut into systems, so
that a page can be broken between any two of them and more can be drawn on top.

Conventions: x to the right, y downwards, ten units a pixel of the engraver's page, a staff being
720 high. Notes go by the names that they were given in the document (`writing_notes.Look.ids`).
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any
from xml.etree import ElementTree

from livecont.errors import ConfigError, ScoreError

MISSING = "engraving needs verovio: pip install 'livecont[sheet]'"
PAGE_WIDTH = 2000
PAGE_HEIGHT = 60_000  # one long page, whose systems are placed by us
MARGIN = 50
STAFF = 720.0
_SVG = "http://www.w3.org/2000/svg"
_PLACE = re.compile(r"translate\((-?[\d.]+), ?(-?[\d.]+)\)")
_NUMBERS = re.compile(r"-?\d+(?:\.\d+)?")
_OPTIONS = {
    "pageWidth": PAGE_WIDTH,
    "pageHeight": PAGE_HEIGHT,
    "pageMarginTop": MARGIN,
    "pageMarginBottom": MARGIN,
    "pageMarginLeft": MARGIN,
    "pageMarginRight": MARGIN,
    "scale": 100,
    "adjustPageHeight": True,
    "header": "none",
    "footer": "none",
    "breaks": "auto",
    "spacingSystem": 8,
    "spacingStaff": 11,
    "systemDivider": "none",
    "minLastJustification": 0.6,
    "svgViewBox": True,
    "svgRemoveXlink": True,
    "xmlIdSeed": 1,
    "svgAdditionalAttribute": ["note@pname", "note@oct", "note@accid.ges", "note@accid"],
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Measure:
    """A bar on the page; `first_x` is where the first sign in it stands, after clef and key."""

    left: float
    right: float
    first_x: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Staff:
    """A staff's highest and lowest line."""

    top: float
    bottom: float


@dataclass(frozen=True, slots=True, kw_only=True)
class System:
    """A system: its drawing, its bars and staves, where notes stand, how far the ink goes."""

    drawing: str
    measures: tuple[Measure, ...]
    staves: tuple[Staff, ...]
    notes: dict[str, tuple[float, float]]
    top: float
    bottom: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Engraved:
    """An engraved score: glyphs that all systems share, and the systems, from the top.

    A system takes the room from `left` to `left + width`.
    """

    glyphs: str
    systems: tuple[System, ...]
    left: float
    width: float


def engraved(document: str) -> Engraved:
    """Return a MusicXML document engraved.

    Raises:
        ConfigError: the extra `sheet` is not installed.
        ScoreError: the engraver can't make sense of it.
    """
    toolkit = _toolkit()
    if not toolkit.loadData(document) or toolkit.getPageCount() < 1:
        raise ScoreError("the engraver can't make sense of this score")
    glyphs: dict[str, str] = {}
    systems: list[System] = []
    for page in range(1, toolkit.getPageCount() + 1):
        root = ElementTree.fromstring(toolkit.renderToSVG(page))  # noqa: S314 -- our own drawing
        for glyph in root.iterfind(f".//{{{_SVG}}}defs/{{{_SVG}}}g"):
            glyphs.setdefault(glyph.get("id", ""), _text(glyph))
        systems += [
            _system(element) for element in root.iter(f"{{{_SVG}}}g") if _is(element, "system")
        ]
    if not systems:
        raise ScoreError("the engraver drew nothing")
    return Engraved(
        glyphs="".join(glyphs.values()),
        systems=tuple(systems),
        left=-10.0 * MARGIN,
        width=10.0 * PAGE_WIDTH,
    )


def _toolkit() -> Any:
    try:
        import verovio
    except ImportError as error:
        raise ConfigError(MISSING) from error
    verovio.enableLog(verovio.LOG_OFF)
    toolkit = verovio.toolkit()
    toolkit.setOptions(_OPTIONS)
    return toolkit


def _is(element: Any, kind: str) -> bool:
    return kind in (element.get("class") or "").split()


def _text(element: Any) -> str:
    ElementTree.register_namespace("", _SVG)
    return ElementTree.tostring(element, encoding="unicode").replace(f' xmlns="{_SVG}"', "")


def _system(element: Any) -> System:
    _colour_shared(element)
    measures: list[Measure] = []
    staves: list[Staff] = []
    notes: dict[str, tuple[float, float]] = {}
    for measure in (one for one in element.iter() if _is(one, "measure")):
        rows = [one for one in measure.iter() if _is(one, "staff")]
        boxes = [_staff(row) for row in rows]
        staves = staves or [box for box, _, _ in boxes]
        places = list(_signs(measure))
        notes.update({name: (x, y) for name, x, y in places if name})
        left, right = boxes[0][1], boxes[0][2]
        first_x = min((x for _, x, _ in places), default=left)
        measures.append(Measure(left=left, right=right, first_x=first_x))
    heights = list(_heights(element))
    return System(
        drawing=_text(element),
        measures=tuple(measures),
        staves=tuple(staves),
        notes=notes,
        top=min(heights),
        bottom=max(heights),
    )


def _staff(row: Any) -> tuple[Staff, float, float]:
    """Return a staff in a bar, and where it begins and ends."""
    lines = [path for path in row if path.tag == f"{{{_SVG}}}path"]
    numbers = [[float(n) for n in _NUMBERS.findall(path.get("d", ""))] for path in lines]
    heights = [row[1] for row in numbers]
    return Staff(top=min(heights), bottom=max(heights)), numbers[0][0], numbers[0][2]


def _signs(measure: Any) -> Iterator[tuple[str, float, float]]:
    """Yield notes and rests of a bar: name, and where they stand."""
    for sign in measure.iter():
        if not any(_is(sign, kind) for kind in ("note", "rest", "mRest")):
            continue
        for use in sign.iter(f"{{{_SVG}}}use"):
            place = _PLACE.search(use.get("transform", ""))
            if place is not None:
                name = sign.get("id", "") if _is(sign, "note") else ""
                yield name, float(place[1]), float(place[2])
                break


def _heights(element: Any) -> Iterator[float]:
    """Yield how high and low ink goes, glyphs by about their size."""
    for one in element.iter():
        tag = one.tag.rpartition("}")[2]
        if tag == "path":
            yield from (float(n) for n in _NUMBERS.findall(one.get("d", ""))[1::2])
        elif tag == "polygon":
            yield from (float(n) for n in _NUMBERS.findall(one.get("points", ""))[1::2])
        elif tag == "use":
            place = _PLACE.search(one.get("transform", ""))
            if place is not None:
                yield float(place[2]) - STAFF / 8
                yield float(place[2]) + STAFF / 8
        elif tag == "text" and one.get("y"):
            yield float(one.get("y")) - STAFF / 3
            yield float(one.get("y")) + STAFF / 8


def _colour_shared(element: Any) -> None:
    """What several notes share, a beam or a chord's stem, has their colour where they have one."""
    for shared in (one for one in element.iter() if _is(one, "beam") or _is(one, "chord")):
        colours = {note.get("color") for note in shared.iter() if _is(note, "note")}
        colour = next(iter(colours)) if len(colours) == 1 else None
        if colour is not None:
            shared.set("color", colour)
            shared.set("fill", colour)
