"""MusicXML made plain: only what notes, bars, metre and key need, every number checked.

The library that builds the timeline is given no more than that, so that slurs, words, tuplet
brackets or engraving of any kind can neither trouble nor slow it. Repeats and endings are read
here, by bars.

Conventions: elements and attributes as in MusicXML 4.0 (W3C Community Group). Numbers out of range
are an error that names the bar; what a score may well lack (voice, staff, key) is left out.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from math import lcm
from typing import Any

from livecont.errors import ScoreError
from livecont.score.untrusted import bounded_notes, clean_text

_PAGE = ("score-partwise", "part-list", "score-part", "part-name", "part", "measure")
_SIGNS = ("attributes", "divisions", "key", "fifths", "mode", "time", "beats", "beat-type")
_SHIFT = ("transpose", "diatonic", "chromatic", "octave-change", "backup", "forward")
_NOTE = ("note", "chord", "grace", "pitch", "step", "alter", "octave", "rest", "unpitched")
_MORE = ("duration", "tie", "voice", "staff")
KEPT = frozenset((*_PAGE, *_SIGNS, *_SHIFT, *_NOTE, *_MORE))
LEAST_DIVISIONS, MOST_DIVISIONS = 0.01, 2_000_000
MOST_DURATION = 200_000_000
MOST_BARS = 50_000
MOST_PARTS = 200
MOST_STAVES = 16
_NUMBER = re.compile(r"[+-]?\d{1,12}(\.\d{1,9})?")
_COUNT = re.compile(r"[1-9][0-9]{0,2}")
_STEPS = frozenset("ABCDEFG")
_BEAT_TYPES = frozenset(str(2**power) for power in range(9))


@dataclass(frozen=True, slots=True, kw_only=True)
class BarMark:
    """A repeat sign or an ending's bracket; `after` tells whether it stands at the bar's end."""

    bar: int
    after: bool
    what: str  # repeat-start, repeat-end, ending-start, ending-end
    text: str = ""


def plain_musicxml(root: Any) -> tuple[bytes, tuple[BarMark, ...]]:
    """Return a MusicXML document reduced to what is needed, and its repeats and endings.

    Args:
        root: the document's root, an lxml element; it is changed.

    Raises:
        ScoreError: no MusicXML, or a number in it that can't be.
    """
    from lxml import etree

    _without_namespaces(root)
    if root.tag == "score-timewise":
        root = _partwise(root)
    if root.tag != "score-partwise":
        raise ScoreError(f"XML, but no score: it begins with <{clean_text(root.tag)}>")
    bounded_notes(sum(1 for _ in root.iter("note")))
    parts = root.findall("part")
    if not parts:
        raise ScoreError("MusicXML without a part")
    if len(parts) > MOST_PARTS:
        raise ScoreError(f"{len(parts)} parts: more than {MOST_PARTS} are not read")
    marks = _bar_marks(parts[0])
    unwanted = {element.tag for element in root.iter(etree.Element)} - KEPT
    if unwanted:
        etree.strip_elements(root, *unwanted, with_tail=False)
    for part in parts:
        _check_part(part)
    _whole_numbers(root)
    return etree.tostring(root, encoding="utf-8"), marks


def _without_namespaces(root: Any) -> None:
    for element in root.iter("{*}*"):
        if "}" in element.tag:
            element.tag = element.tag.rpartition("}")[2]


def _partwise(root: Any) -> Any:
    """Turn measures of parts into parts of measures (MusicXML allows both)."""
    from lxml import etree

    result = etree.Element("score-partwise")
    result.extend(root.findall("part-list"))
    parts: dict[str, Any] = {}
    for measure in root.findall("measure"):
        for part in measure.findall("part"):
            name = part.get("id") or ""
            if name not in parts:
                parts[name] = etree.SubElement(result, "part", id=name)
            bar = etree.SubElement(parts[name], "measure", number=measure.get("number") or "")
            bar.extend(list(part))
    return result


def _bar_marks(part: Any) -> tuple[BarMark, ...]:
    marks = []
    for number, measure in enumerate(part.findall("measure")):
        for line in measure.findall("barline"):
            after = line.get("location") != "left"
            repeat, ending = line.find("repeat"), line.find("ending")
            if repeat is not None:
                start = repeat.get("direction") == "forward"
                what = "repeat-start" if start else "repeat-end"
                marks.append(BarMark(bar=number, after=after, what=what))
            if ending is not None:
                start = ending.get("type") == "start"
                what = "ending-start" if start else "ending-end"
                text = clean_text(ending.get("number"), 12)
                marks.append(BarMark(bar=number, after=after, what=what, text=text))
    return tuple(marks)


def _check_part(part: Any) -> None:
    measures = part.findall("measure")
    if len(measures) > MOST_BARS:
        raise ScoreError(f"{len(measures)} bars: more than {MOST_BARS} are not read")
    for measure in measures:
        where = f"bar {clean_text(measure.get('number'), 8) or '?'}"
        measure.set("number", clean_text(measure.get("number"), 8))
        for note in measure.findall("note"):
            _check_note(note, where)
        for attributes in measure.findall("attributes"):
            _check_attributes(attributes, where)
        for element in measure.iter("divisions"):
            _bounded(element, LEAST_DIVISIONS, MOST_DIVISIONS, where)
        for element in measure.iter("duration"):
            _bounded(element, 0, MOST_DURATION, where)


def _check_note(note: Any, where: str) -> None:
    pitch = note.find("pitch")
    if pitch is not None:
        # what is printed small (`cue`) counts: notation programs mark figuration so
        step = pitch.find("step")
        if step is None or (step.text or "").strip() not in _STEPS:
            raise ScoreError(f"{where}: a pitch without a letter A to G")
        step.text = step.text.strip()
        _bounded(pitch.find("octave"), 0, 9, where, what="octave")
        alter = pitch.find("alter")
        if alter is not None:  # quarter tones are taken for the pitch they bend
            alter.text = str(int(_bounded(alter, -3, 3, where)))
    elif note.find("unpitched") is not None:
        _silence(note, note.find("unpitched"))
    staff = note.find("staff")
    if staff is not None:
        staff.text = str(int(_bounded(staff, 1, MOST_STAVES, where)))


def _silence(note: Any, pitch: Any) -> None:
    """Make a rest of a note that sounds no pitch of the piece."""
    pitch.tag = "rest"
    for child in list(pitch):
        pitch.remove(child)
    for tie in note.findall("tie"):
        note.remove(tie)


def _check_attributes(attributes: Any, where: str) -> None:
    for time in attributes.findall("time"):
        beats, kind = time.find("beats"), time.find("beat-type")
        counted = [part.strip() for part in (getattr(beats, "text", "") or "").split("+")]
        usual = (getattr(kind, "text", "") or "").strip() in _BEAT_TYPES
        if usual and all(_COUNT.fullmatch(part) for part in counted):
            beats.text = str(sum(map(int, counted)))  # 3+2 eighths are a bar of five
        else:
            attributes.remove(time)
    for key in attributes.findall("key"):
        fifths = key.find("fifths")
        if fifths is None:
            attributes.remove(key)  # of single accidentals, as no key of common practice has
        else:
            _bounded(fifths, -11, 11, where)
    for transpose in attributes.findall("transpose"):
        _plain_transposition(transpose, where)


def _plain_transposition(transpose: Any, where: str) -> None:
    """Write octaves into the steps and semitones; tell the steps where only semitones are told."""
    from lxml import etree

    octaves = transpose.find("octave-change")
    octave = int(_bounded(octaves, -4, 4, where)) if octaves is not None else 0
    told = transpose.find("diatonic")
    semitones = transpose.find("chromatic")
    chromatic = int(_bounded(semitones, -48, 48, where)) if semitones is not None else 0
    diatonic = round(chromatic * 7 / 12) if told is None else int(_bounded(told, -28, 28, where))
    for child in list(transpose):
        transpose.remove(child)
    etree.SubElement(transpose, "diatonic").text = str(diatonic + 7 * octave)
    etree.SubElement(transpose, "chromatic").text = str(chromatic + 12 * octave)


def _bounded(element: Any, least: float, most: int, where: str, what: str = "") -> Fraction:
    text = ((element.text if element is not None else "") or "").strip()
    name = what or element.tag
    if not _NUMBER.fullmatch(text):  # nothing that grows when it is worked out, such as 1e999999
        raise ScoreError(f"{where}: {name} is {clean_text(text, 20)!r}, which is no number")
    value = Fraction(text)
    if not least <= value <= most:
        raise ScoreError(f"{where}: {name} is {text}, which is out of range")
    element.text = text
    return value


def _whole_numbers(root: Any) -> None:
    """Multiply divisions and durations where a file has decimals in them, as old programs write.

    Also those that stand outside the bars of a part, for whoever reads the file finds them, too.
    """
    for element in root.iter("divisions"):
        _bounded(element, LEAST_DIVISIONS, MOST_DIVISIONS, "outside the bars")
    for element in root.iter("duration"):
        _bounded(element, 0, MOST_DURATION, "outside the bars")
    decimals = [
        element for tag in ("divisions", "duration") for element in root.iter(tag)
        if not element.text.isdecimal()
    ]  # fmt: skip
    if not decimals:
        return
    factor = lcm(*(Fraction(element.text).denominator for element in decimals))
    if factor > 10_000:
        raise ScoreError("durations with more decimals than any rhythm needs")
    for tag in ("divisions", "duration"):
        for element in root.iter(tag):
            element.text = str(int(Fraction(element.text) * factor))
