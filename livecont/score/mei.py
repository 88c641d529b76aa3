"""MEI made plain: what the reading library can't stand is taken out or written out.

Elements get the ids that it asks for, ties written as attributes become elements, accidentals that
only the key signature or the bar implies are written at the notes, staves that a bar leaves out are
put in empty, of variant readings the first is taken, and what is no note, rest or chord goes.

Conventions: elements and attributes as in the MEI guidelines, version 5, common music notation.
"""

from __future__ import annotations

from typing import Any

from livecont.errors import ScoreError
from livecont.score.musicxml import BarMark
from livecont.score.untrusted import bounded_notes, clean_text

XML_ID = "{http://www.w3.org/XML/1998/namespace}id"
MOST_MEASURES = 50_000
MOST_STAVES = 200
_EVENTS = frozenset(
    ("note", "chord", "rest", "mRest", "multiRest", "beam", "tuplet", "clef", "space")
)
_FRAMES = frozenset(
    ("graceGrp", "bTrem", "fTrem", "lem", "rdg", "supplied", "unclear", "corr", "reg", "orig")
)
_VARIANTS = frozenset(("app", "choice", "subst", "ossia"))
_SECTION = frozenset(("measure", "scoreDef", "section", "ending", "expansion", "sb", "pb"))
_SYMBOLS = {"common": ("4", "4"), "cut": ("2", "2")}
_ORDER = ("f", "c", "g", "d", "a", "e", "b")  # of sharps; flats come the other way round
_SOUNDING = {"s": "s", "ss": "ss", "x": "x", "f": "f", "ff": "ff", "n": "n"}


def plain_mei(root: Any) -> bytes:
    """Return an MEI document as the reading library can read it.

    Args:
        root: the document's root, an lxml element; it is changed.

    Raises:
        ScoreError: no MEI, or one beyond all measure.
    """
    from lxml import etree

    for element in root.iter("{*}*"):
        element.tag = etree.QName(element).localname
    measures = list(root.iter("measure"))
    if not measures:
        raise ScoreError("MEI without a measure")
    if len(measures) > MOST_MEASURES:
        raise ScoreError(f"{len(measures)} bars: more than {MOST_MEASURES} are not read")
    bounded_notes(sum(1 for _ in root.iter("note")))
    _plain_definitions(root)
    staves = [definition.get("n") for definition in root.iter("staffDef")]
    staves = list(dict.fromkeys(name for name in staves if name))
    if not staves or len(staves) > MOST_STAVES:
        raise ScoreError("MEI without the definition of a staff")
    for section in [*root.iter("section"), *root.iter("ending")]:
        for child in list(section):
            if child.tag not in _SECTION:
                section.remove(child)
    for measure in measures:
        _plain_measure(measure, staves)
    _give_ids(root)
    _tie(root)
    if not any(note.get("accid.ges") for note in root.iter("note")):
        _write_accidentals(root)
    return _with_namespace(root)


def mei_marks(root: Any) -> tuple[BarMark, ...]:
    """Return the repeats and endings of an MEI document, by its measures in order.

    Args:
        root: the document's root, an lxml element, before it is made plain.
    """
    marks: list[BarMark] = []
    endings: dict[Any, list[int]] = {}
    for number, measure in enumerate(root.iter("{*}measure")):
        left, right = measure.get("left") or "", measure.get("right") or ""
        if left in ("rptstart", "rptboth"):
            marks.append(BarMark(bar=number, after=False, what="repeat-start"))
        for ending in measure.iterancestors("{*}ending"):
            endings.setdefault(ending, []).append(number)
        if right in ("rptend", "rptboth"):
            marks.append(BarMark(bar=number, after=True, what="repeat-end"))
        if right in ("rptstart", "rptboth"):
            marks.append(BarMark(bar=number + 1, after=False, what="repeat-start"))
        if left in ("rptend", "rptboth") and number:
            marks.insert(0, BarMark(bar=number - 1, after=True, what="repeat-end"))
    for ending, bars in endings.items():
        text = clean_text(ending.get("n") or ending.get("label"), 12)
        marks.append(BarMark(bar=bars[0], after=False, what="ending-start", text=text))
        marks.append(BarMark(bar=bars[-1], after=True, what="ending-end", text=text))
    order = {"ending-start": 0, "repeat-start": 1, "repeat-end": 2, "ending-end": 3}
    return tuple(sorted(marks, key=lambda mark: (mark.bar, mark.after, order[mark.what])))


def _plain_definitions(root: Any) -> None:
    for definition in [*root.iter("scoreDef"), *root.iter("staffDef")]:
        for old, new in (("keysig", "key.sig"), ("mode", "key.mode")):
            if definition.get(old) is not None and definition.get(new) is None:
                definition.set(new, definition.get(old))
        counted = _SYMBOLS.get(definition.get("meter.sym") or "")
        if counted and definition.get("meter.count") is None:
            definition.set("meter.count", counted[0])
            definition.set("meter.unit", counted[1])
    for sign in list(root.iter("meterSig")):
        counted = _SYMBOLS.get(sign.get("sym") or "", ("", ""))
        sign.set("count", sign.get("count") or counted[0])
        sign.set("unit", sign.get("unit") or counted[1])
        if not (sign.get("count").isdecimal() and sign.get("unit").isdecimal()):
            sign.getparent().remove(sign)
    first = next(root.iter("scoreDef"), None)
    if first is None:
        raise ScoreError("MEI without a scoreDef")
    told = first.get("meter.count") or next(first.iter("meterSig"), None) is not None
    if not told and not any(staff.get("meter.count") for staff in first.iter("staffDef")):
        first.set("meter.count", "4")
        first.set("meter.unit", "4")
    for group in root.iter("staffGrp"):
        if group.get("symbol") is None and group.find("grpSym") is None:
            group.set("symbol", "none")


def _plain_measure(measure: Any, staves: list[str]) -> None:
    from lxml import etree

    there = {staff.get("n"): staff for staff in measure.findall("staff")}
    for staff in measure.findall("staff"):
        measure.remove(staff)
    for place, name in enumerate(staves):
        staff = there.get(name)
        if staff is None:
            staff = etree.Element("staff", n=name)
            etree.SubElement(staff, "layer", n="1")
        measure.insert(place, staff)
        for layer in staff.findall("layer"):
            if not (layer.get("n") or "1").isdecimal():
                layer.attrib.pop("n")
            _plain_layer(layer)


def _plain_layer(layer: Any) -> None:
    for child in list(layer):
        if child.tag in _VARIANTS:
            for other in list(child)[1:]:
                child.remove(other)
        if child.tag in _VARIANTS or child.tag in _FRAMES:
            _unwrap(child)
    for child in list(layer):
        if child.tag in _VARIANTS or child.tag in _FRAMES:
            _plain_layer(layer)  # one inside the other
            return
        lasts = child.get("dur") is not None or child.tag not in ("note", "chord", "rest")
        if child.tag not in _EVENTS or not lasts:
            layer.remove(child)
        elif child.tag in ("beam", "tuplet"):
            _plain_layer(child)


def _unwrap(frame: Any) -> None:
    """Put what is in a frame in the frame's place."""
    parent, place = frame.getparent(), frame.getparent().index(frame)
    for offset, child in enumerate(list(frame)):
        parent.insert(place + offset, child)
    parent.remove(frame)


def _give_ids(root: Any) -> None:
    for number, element in enumerate(root.iter("*")):
        if element.get(XML_ID) is None:
            element.set(XML_ID, f"livecont-{number}")


def _tie(root: Any) -> None:
    """Write ties as elements, and take out those that lead nowhere."""
    from lxml import etree

    known = {f"#{note.get(XML_ID)}" for note in root.iter("note")}
    for tie in list(root.iter("tie")):
        if tie.get("startid") not in known or tie.get("endid") not in known:
            tie.getparent().remove(tie)
    begun: dict[tuple[str, str, str], str] = {}
    for measure in root.iter("measure"):
        for staff in measure.findall("staff"):
            for note in staff.iter("note"):
                place = (staff.get("n"), note.get("pname") or "", note.get("oct") or "")
                tied = note.get("tie") or getattr(note.getparent(), "get", str)("tie") or ""
                name = f"#{note.get(XML_ID)}"
                if tied[:1] in ("m", "t") and place in begun:
                    etree.SubElement(measure, "tie", startid=begun.pop(place), endid=name)
                if tied[:1] in ("i", "m"):
                    begun[place] = name


def _write_accidentals(root: Any) -> None:
    """Write at every note what the key signature and its bar so far make of it."""
    signature: dict[str, str] = {}
    for element in root.iter("scoreDef", "staffDef", "keySig", "measure"):
        if element.tag == "measure":
            for staff in element.findall("staff"):
                _write_in_bar(staff, signature)
            continue
        sign = element.get("sig") if element.tag == "keySig" else element.get("key.sig")
        if sign:
            signature = _signature(sign)


def _signature(sign: str) -> dict[str, str]:
    count, kind = sign[:-1], sign[-1:]
    if not count.isdecimal() or kind not in ("s", "f"):
        return {}
    order = _ORDER if kind == "s" else _ORDER[::-1]
    return dict.fromkeys(order[: int(count)], kind)


def _write_in_bar(staff: Any, signature: dict[str, str]) -> None:
    written: dict[tuple[str, str], str] = {}
    for note in staff.iter("note"):
        child = note.find("accid")
        shown = note.get("accid") or (child.get("accid") if child is not None else None)
        place = (note.get("pname") or "", note.get("oct") or "")
        if shown:
            written[place] = _SOUNDING.get(clean_text(shown, 4), "n")
        elif child is None:
            note.set("accid.ges", written.get(place, signature.get(place[0], "n")))


def _with_namespace(root: Any) -> bytes:
    """Return the document, under the one namespace that the library looks for."""
    from lxml import etree

    name = "http://www.music-encoding.org/ns/mei"
    whole = etree.Element(f"{{{name}}}{root.tag}", nsmap={None: name})
    whole.extend(list(root))
    for element in whole.iter("*"):
        if "}" not in element.tag:
            element.tag = f"{{{name}}}{element.tag}"
    return bytes(etree.tostring(whole, encoding="utf-8"))
