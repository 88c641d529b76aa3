"""What we write keeps to the published schema of MusicXML 4.0 (W3C Community Group).

The package `musicxml` carries the schema as it was published. It asks the network for two small
schemas that it builds on; what it needs of them is here.
"""

from __future__ import annotations

import importlib.util
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from lxml import etree

from livecont.music.score import Mark, Score
from livecont.score.reading import read_score
from livecont.score.writing import musicxml_of
from livecont.score.writing_notes import Look
from tests.corpus import corpus_file
from tests.score.made_up import scores

pytest.importorskip("partitura")
MUSICXML = importlib.util.find_spec("musicxml")

XS = 'xmlns:xs="http://www.w3.org/2001/XMLSchema"'
XML = (
    f'<xs:schema {XS} targetNamespace="http://www.w3.org/XML/1998/namespace">'
    '<xs:attribute name="lang" type="xs:language"/><xs:attribute name="space" type="xs:NCName"/>'
    "</xs:schema>"
)
XLINK = (
    f'<xs:schema {XS} targetNamespace="http://www.w3.org/1999/xlink">'
    + "".join(
        f'<xs:attribute name="{name}" type="xs:string"/>'
        for name in ("href", "type", "role", "title", "show", "actuate")
    )
    + "</xs:schema>"
)


class _Offline(etree.Resolver):  # type: ignore[misc]
    def resolve(self, url: str, public_id: str, context: Any) -> Any:
        name = url.rpartition("/")[2]
        if name == "xml.xsd":
            return self.resolve_string(XML, context)
        if name == "xlink.xsd":
            return self.resolve_string(XLINK, context)
        return None


@pytest.fixture(scope="module")
def schema() -> Any:
    if MUSICXML is None or MUSICXML.origin is None:
        pytest.skip("the package musicxml, which carries the schema, is not installed")
    parser = etree.XMLParser(no_network=True)
    parser.resolvers.add(_Offline())
    path = Path(MUSICXML.origin).parent / "generate_classes" / "musicxml_4_0.xsd"
    return etree.XMLSchema(etree.parse(str(path), parser))


def faults(schema: Any, document: str) -> list[str]:
    schema.validate(etree.fromstring(document.encode("utf-8")))
    return [f"{fault.line}: {fault.message}" for fault in schema.error_log]


def test_the_schema_sees_what_is_wrong(schema: Any) -> None:
    document = musicxml_of(read_score(corpus_file("fc09d8d3a8")))
    assert faults(schema, document.replace("<step>A</step>", "<step>H</step>", 1))
    assert faults(schema, document.replace("<type>quarter</type>", "<dot/><type>quarter</type>", 1))


@pytest.mark.parametrize("name", ["fc09d8d3a8", "c9b078e497", "2bbe4ab247", "64eef2304c"])
def test_corpus_pieces(schema: Any, name: str) -> None:
    """Keyboard and strings, with grace notes, tuplets, repeats and endings."""
    score = read_score(corpus_file(name))
    assert faults(schema, musicxml_of(score, title="A <piece> & more")) == []


@given(score=scores())
@settings(max_examples=40)
def test_any_score(schema: Any, score: Score) -> None:
    """As it is, and dressed for the page: colours, names, small staves."""
    assert faults(schema, musicxml_of(score)) == []
    look = Look(
        colours=dict.fromkeys(score.notes, "#0A4A8F"),
        ids={note: f"n{number}" for number, note in enumerate(score.notes)},
        small=frozenset({0}),
    )
    assert faults(schema, musicxml_of(score, look=look)) == []


def test_marks(schema: Any) -> None:
    score = read_score(corpus_file("fc09d8d3a8"))
    marks = tuple(
        Mark(at_q=bar.start_q + 1, text="link 2, new", below=index % 2 == 1)
        for index, bar in enumerate(score.bars)
    )
    marked = Score(
        parts=score.parts, notes=score.notes, bars=score.bars, meters=score.meters,
        signatures=score.signatures, marks=marks,
    )  # fmt: skip
    assert faults(schema, musicxml_of(marked)) == []
