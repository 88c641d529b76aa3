"""Hostile and broken files end in one clear line, soon, and nothing outside is touched."""

from __future__ import annotations

import copy
import io
import random  # noqa: TID251  seeded below
import struct
import zipfile
from pathlib import Path
from typing import Any

import pytest

from livecont.errors import ScoreError
from livecont.live.clock import SystemClock
from livecont.score.reading import read_score
from livecont.score.untrusted import MOST_BYTES, MOST_CELL, MOST_NOTES, clean_text
from tests.score.written import MEI, attributes, bar, container, musicxml, pack, write

pytest.importorskip("partitura")

GOOD = musicxml({"a": [bar("C5/1 D5/1 E5/2", attributes=attributes())]})
SOON_S = 20.0  # on a machine that is shared; alone it takes a tenth


def refused(path: Path, match: str) -> None:
    """Check that a file is refused in time, in one line that begins with its path."""
    clock = SystemClock()
    start_s = clock.now_s()
    with pytest.raises(ScoreError, match=match) as caught:
        read_score(path)
    assert clock.now_s() - start_s < SOON_S
    message = str(caught.value)
    assert message.startswith(str(path))
    assert "\n" not in message
    assert len(message) < len(str(path)) + 300


# --- XML ----------------------------------------------------------------------------------------

LAUGHS = "".join(
    f'<!ENTITY l{n} "{f"&l{n - 1};" * 10}">' if n else '<!ENTITY l0 "ha">' for n in range(10)
)


@pytest.mark.parametrize(
    ("declared", "used"),
    [
        (LAUGHS, "&l9;"),
        ('<!ENTITY x SYSTEM "file:///etc/passwd">', "&x;"),
        ('<!ENTITY x SYSTEM "http://127.0.0.1:9/x">', "&x;"),
        ('<!ENTITY % p SYSTEM "file:///etc/passwd"> %p;', ""),
    ],
    ids=["bomb", "file", "network", "parameter"],
)
@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
def test_entities_are_refused_in_any_encoding(
    tmp_path: Path, declared: str, used: str, encoding: str
) -> None:
    text = GOOD.replace("<part-name>a", f"<part-name>{used}").replace(
        '"http://www.musicxml.org/dtds/partwise.dtd"',
        f'"http://www.musicxml.org/dtds/partwise.dtd" [{declared}]',
    )
    path = tmp_path / "piece.musicxml"
    path.write_bytes(text.replace("UTF-8", encoding).encode(encoding))
    refused(path, "entities")


def test_the_usual_document_type_is_no_trouble(tmp_path: Path) -> None:
    assert "<!DOCTYPE" in GOOD
    assert len(read_score(write(tmp_path, GOOD)).notes) == 3


def test_deep_nesting(tmp_path: Path) -> None:
    deep = "<a>" * 100_000 + "</a>" * 100_000
    path = write(tmp_path, f"<score-partwise>{deep}</score-partwise>")
    refused(path, "broken XML: .*depth.*: export the piece anew$")
    with pytest.raises(ScoreError, match=r"^(?!.*(XML_PARSE|<string>))"):  # our words
        read_score(path)


def test_huge_attributes_and_texts(tmp_path: Path) -> None:
    huge = "x" * (11 * 2**20)  # libxml2's own bound is 10 MB
    refused(write(tmp_path, GOOD.replace('number="1"', f'number="{huge}"')), "XML")
    refused(write(tmp_path, GOOD.replace("<part-name>a", f"<part-name>{huge}")), "XML")


def test_a_large_name_is_cut(tmp_path: Path) -> None:
    path = write(tmp_path, GOOD.replace("<part-name>a", f"<part-name>{'x' * 100_000}"))
    assert read_score(path).parts[0].name == "x" * 40


@pytest.mark.parametrize("share", [0.1, 0.5, 0.9, 0.99])
def test_truncated_xml(tmp_path: Path, share: float) -> None:
    refused(write(tmp_path, GOOD[: int(len(GOOD) * share)]), "XML")


def test_xml_that_is_no_score(tmp_path: Path) -> None:
    refused(write(tmp_path, "<html><body/></html>"), "begins with <html>")
    refused(write(tmp_path, "<score-partwise/>"), "without a part")
    refused(write(tmp_path, "<mei xmlns='x'><music/></mei>"), "without a measure")


@pytest.mark.parametrize(
    ("old", "new", "match"),
    [
        ("<divisions>24", "<divisions>0", "divisions is 0, which is out of range"),
        ("<divisions>24", "<divisions>99999999999", "out of range"),
        ("<duration>24", "<duration>-24", "bar 1: duration is -24, which is out of range"),
        ("<duration>24", "<duration>many", "bar 1: duration is 'many', which is no number"),
        ("<duration>24", "<duration>999999999999", "out of range"),
        ("<duration>24", "<duration>1e9999999", "no number"),
        ("<duration>24", f"<duration>{'9' * 5000}", "no number"),
        ("<octave>5", "<octave>99", "octave is 99"),
        ("<octave>5", "<octave>", "octave is ''"),
        ("<alter>0", "<alter>40", "alter is 40"),
        ("<step>C", "<step>H", "without a letter"),
        ("<step>C", "<step>" + chr(27).replace(chr(27), "&#133;"), "without a letter"),
        ("<staff>1", "<staff>900", "staff is 900"),
        ("<fifths>0", "<fifths>200", "fifths is 200"),
    ],
)
def test_numbers_that_cannot_be(tmp_path: Path, old: str, new: str, match: str) -> None:
    assert old in GOOD
    refused(write(tmp_path, GOOD.replace(old, new)), match)


def test_too_many_notes(tmp_path: Path) -> None:
    notes = "<note><rest/></note>" * (MOST_NOTES + 1)
    refused(write(tmp_path, f"<score-partwise><part>{notes}</part></score-partwise>"), "notes")


def test_a_backup_before_the_bar_stays_in_it(tmp_path: Path) -> None:
    text = GOOD.replace("</note>", "</note><backup><duration>9999</duration></backup>", 1)
    assert min(note.onset_q for note in read_score(write(tmp_path, text)).notes) == 0


# --- archives -----------------------------------------------------------------------------------


def test_zip_bomb(tmp_path: Path) -> None:
    """70 MB of spaces pack to some 70 kB."""
    blank = b"<score-partwise>" + b" " * (MOST_BYTES + 1)
    path = pack(tmp_path, {"META-INF/container.xml": container("a.xml"), "a.xml": blank})
    assert path.stat().st_size < 200_000
    refused(path, "unpacks to more than")


def test_a_bomb_that_lies_about_its_size(tmp_path: Path) -> None:
    path = pack(tmp_path, {"a.xml": b" " * (MOST_BYTES + 1)})
    data = path.read_bytes()
    told = struct.pack("<L", MOST_BYTES + 1)
    assert told in data
    path.write_bytes(data.replace(told, struct.pack("<L", 100)))
    refused(path, "unpacks|damaged|XML")


@pytest.mark.parametrize("way", [zipfile.ZIP_LZMA, zipfile.ZIP_BZIP2])
@pytest.mark.parametrize("whole", [True, False], ids=["score", "container"])
def test_other_ways_of_packing_are_refused_before_they_are_read(
    tmp_path: Path, way: int, whole: bool
) -> None:
    """MusicXML 4.0: the container is deflated; stored by common practice."""
    path = tmp_path / "piece.mxl"
    with zipfile.ZipFile(path, "w") as archive:
        container_way = zipfile.ZIP_DEFLATED if whole else way
        archive.writestr("META-INF/container.xml", container("a.xml"), container_way)
        archive.writestr("a.xml", GOOD, way)
    refused(path, "packed in a way that no compressed MusicXML is: export the piece anew$")


def test_a_container_bomb_and_many_members(tmp_path: Path) -> None:
    refused(pack(tmp_path, {"META-INF/container.xml": b"<c>" + b" " * (MOST_BYTES + 1)}), "unpacks")
    refused(pack(tmp_path, {f"{n}.xml": b"" for n in range(2000)}), "archive of 2000 files")


@pytest.mark.parametrize("name", ["../../outside.xml", "/etc/passwd", "C:\\outside.xml", "none"])
def test_paths_in_archives_lead_nowhere(tmp_path: Path, name: str) -> None:
    (tmp_path / "outside.xml").write_text(GOOD, "utf-8")
    folder = tmp_path / "a" / "b"
    folder.mkdir(parents=True)
    path = pack(folder, {"META-INF/container.xml": container(name), "x.xml": GOOD.encode()})
    refused(path, "names no score that is in it")
    inside = pack(folder, {"META-INF/container.xml": container(name), name: GOOD.encode()})
    assert len(read_score(inside).notes) == 3  # read in memory, under whatever name
    assert sorted(p.name for p in folder.iterdir()) == ["piece.mxl"]


def test_damaged_archives(tmp_path: Path) -> None:
    path = pack(tmp_path, {"a.xml": GOOD.encode() * 5})
    whole = path.read_bytes()
    for cut in (10, len(whole) // 2, len(whole) - 5):
        path.write_bytes(whole[:cut])
        refused(path, "archive")
    broken = bytearray(whole)
    broken[60:90] = b"\xff" * 30
    path.write_bytes(broken)
    refused(path, "archive|XML")
    locked = bytearray(whole)
    locked[6] |= 1  # the flag of encryption, in the member's header and the directory
    at = whole.index(b"PK\x01\x02")
    locked[at + 8] |= 1
    path.write_bytes(locked)
    refused(path, "archive")


def test_an_archive_without_a_score(tmp_path: Path) -> None:
    refused(pack(tmp_path, {"picture.png": b"x"}), "without a score")
    empty = io.BytesIO()
    zipfile.ZipFile(empty, "w").close()
    (tmp_path / "piece.mxl").write_bytes(empty.getvalue())
    refused(tmp_path / "piece.mxl", "neither|archive")


# --- other files --------------------------------------------------------------------------------


def test_a_file_of_200_mb(tmp_path: Path) -> None:
    path = tmp_path / "large.xml"
    with path.open("wb") as file:
        file.truncate(200 * 2**20)  # sparse: takes no room
    refused(path, "larger than 64 MB")


def test_what_is_no_score(tmp_path: Path) -> None:
    for data in (b"", b"\x00" * 1000, b"hello", bytes(range(256)) * 40, b"\xff\xfe<\x00"):
        path = tmp_path / "some.mxl"
        path.write_bytes(data)
        refused(path, "neither|empty|XML")
    refused(tmp_path / "none.xml", "can't be read")
    refused(tmp_path, "not a file")


def test_broken_midi(tmp_path: Path) -> None:
    head = b"MThd" + struct.pack(">LHHH", 6, 0, 1, 480)
    for tail in (b"", b"MTrk", b"MTrk\x00\x00\x00\x09\x00\x90", b"MTrk\x7f\xff\xff\xff\x00\x90<@"):
        path = tmp_path / "a.mid"
        path.write_bytes(head + tail)
        refused(path, "MIDI|notes")
    path.write_bytes(b"MThd" + struct.pack(">LHHH", 6, 0, 1, 0xE728))
    refused(path, "seconds|MIDI")
    track = bytes([0x00, 0x90, 60, 64, 0xFF, 0xFF, 0xFF, 0x7F, 0x80, 60, 0, 0, 0xFF, 0x2F, 0])
    path.write_bytes(
        b"MThd" + struct.pack(">LHHH", 6, 0, 1, 1) + b"MTrk" + struct.pack(">L", len(track)) + track
    )
    refused(path, "longer than")


def test_broken_kern(tmp_path: Path) -> None:
    def kern(text: str) -> Path:
        return write(tmp_path, text, "a.krn")

    refused(kern("**kern\n4c" + "x" * MOST_CELL + "\n*-\n"), "cell of more than")
    refused(kern("**kern" + "\t**kern" * 100 + "\n"), "101 spines")
    refused(kern("**text\t**kern\n" + "4c\n" * (MOST_NOTES + 1)), "notes")
    refused(kern("!! **kern\n**silbe\n"), "without a .*kern spine")
    refused(kern("**kern\n4h\n*-\n"), "row 2: '4h' is neither note nor rest")
    refused(kern("**kern\nc\n*-\n"), "row 2: no duration in 'c'")
    refused(kern("**kern\t**kern\n4c\n*-\t*-\n"), "row 2: 1 columns where 2 run")
    refused(kern("**kern\n4" + "c" * 20 + "\n*-\n"), "no instrument has")
    refused(kern("**kern\n" + "*^\n" + "".join("\t".join(["*^"] * n) + "\n" for n in
                 (2, 4, 8, 16, 32, 64)) + "*-\n"), "spines: more than")  # fmt: skip


def test_names_are_shown_without_what_commands_a_terminal() -> None:
    assert clean_text("a\x1b[2Jb\x07\u202ec\n\n  d") == "a [2Jb c d"
    assert clean_text(None) == ""
    assert clean_text("x" * 100, 8) == "x" * 8


# --- at random ----------------------------------------------------------------------------------

TWO_PARTS = musicxml(
    {
        "a": [
            bar("g:C5 C5/1 D5~/1 E5/2|1", "C3/4|2", attributes=attributes(staves=2)),
            bar("D5/4|1", "C3+E3/4|2", number="2"),
        ],
        "b": [
            bar("x/4", attributes=attributes()),
            bar("C4/1/3 D4/2/3 E4/3", number="2"),
        ],
    }
)
TEXTS = ("0", "1", "-1", "24", "x", "", "99999", "C", "3.5", "start", "m", "i", "2s")


@pytest.mark.parametrize("what", ["musicxml", "mei"])
def test_scores_mangled_at_random_are_read_or_refused(tmp_path: Path, what: str) -> None:
    from lxml import etree

    dice = random.Random(6)
    whole = {"musicxml": TWO_PARTS, "mei": MEI}[what].encode()
    path = tmp_path / f"piece.{what}"
    read = 0
    for _ in range(250):
        root = etree.fromstring(whole)
        for _ in range(dice.randint(1, 5)):
            mangle(root, dice)
        path.write_bytes(etree.tostring(root))
        try:
            score = read_score(path)
        except ScoreError:
            continue
        read += 1
        assert all(note.onset_q >= 0 and note.duration_q >= 0 for note in score.notes)
    assert read > 50  # else nothing of this came to the reading library


def mangle(root: Any, dice: random.Random) -> None:
    """Take out, double, move or change one element."""
    from lxml import etree

    elements = [e for e in root.iter(etree.Element) if e is not root]
    if not elements:
        return
    one, other = dice.choice(elements), dice.choice(elements)
    match dice.randrange(5):
        case 0:
            one.getparent().remove(one)
        case 1:
            one.addnext(copy.deepcopy(one))
        case 2:
            other.append(copy.deepcopy(one))
        case 3:
            one.text = dice.choice(TEXTS)
        case _ if one.attrib:
            one.set(dice.choice(sorted(one.attrib)), dice.choice(TEXTS))
