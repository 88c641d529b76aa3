"""Pictures are well-formed, whole, and ask for nothing from elsewhere."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree

from livecont.screen import ScreenNotes, picture, render
from livecont.sitting.snapshot import Snapshot

SVG = "{http://www.w3.org/2000/svg}"


def test_all_text_of_the_page_is_in_the_picture(
    state: tuple[Snapshot, ScreenNotes], tmp_path: Path
) -> None:
    snapshot, notes = state
    path = tmp_path / "page.svg"
    picture(snapshot, path, notes=notes, width=80, height=24)
    root = ElementTree.parse(path).getroot()  # noqa: S314 - our own file
    drawn = "".join("".join(node.itertext()) for node in root.iter(f"{SVG}text"))
    sheet = render(snapshot, width=80, height=24, notes=notes)
    written = "".join(run.text for runs in sheet.lines for run in runs)
    for sign in "█▀▄░▒ ":
        written, drawn = written.replace(sign, ""), drawn.replace(sign, "")
    assert drawn == written


def test_nothing_lies_outside_and_nothing_is_fetched(
    state: tuple[Snapshot, ScreenNotes], tmp_path: Path
) -> None:
    path = tmp_path / "page.svg"
    picture(state[0], path, notes=state[1], width=120, height=40)
    text = path.read_text(encoding="utf-8")
    assert "href" not in text
    assert "url(" not in text
    root = ElementTree.fromstring(text)  # noqa: S314 - our own file
    width, height = float(root.attrib["width"]), float(root.attrib["height"])
    for node in (*root.iter(f"{SVG}text"), *root.iter(f"{SVG}rect")):
        right = float(node.get("x", 0)) + float(node.get("textLength") or node.get("width") or 0)
        assert 0 <= right <= width
        assert 0 <= float(node.get("y", 0)) <= height
