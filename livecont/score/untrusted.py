"""Taking in files that nobody vouches for: bounded in size, depth and number, nothing fetched.

Conventions: bytes in, bytes or an XML tree out; `ScoreError` says what is wrong, without the file's
name (the caller adds it). Archives are read in memory, so no path in them matters. XML is refused
where it declares entities; libxml2's own limits (depth 256, no network, no DTD) hold besides.
"""

from __future__ import annotations

import io
import re
import zipfile
import zlib
from pathlib import Path
from typing import Any
from xml.parsers import expat

from livecont.errors import ScoreError
from livecont.plainness import not_plain

MOST_BYTES = 64 * 2**20  # a symphony's movement in MusicXML has about half of it
MOST_PACKED_BYTES = 16 * 2**20
MOST_MEMBERS = 1000  # of an archive: a score, pictures, parts
MOST_NOTES = 150_000  # a whole opera act has fewer
MOST_LINES = 400_000  # of a Humdrum file
MOST_SPINES = 64
MOST_CELL = 400  # characters; the longest chords have about a hundred
_CONTAINER = "META-INF/container.xml"
_HIDDEN = re.compile(r"[^\S ]|[\x00-\x1f\x7f-\x9f\u200b-\u200f\u202a-\u202e\u2066-\u2069]")
# what libxml2 says to programmers: how to lift its limits, and a further comma after it
_LIBRARY_WORDS = re.compile(r",? ?(?:try|use) XML_PARSE_HUGE(?: option)?(?: (?=,))?")


class _PrologRead(Exception):  # noqa: N818 -- not an error
    """The prolog has been read."""


def read_bytes(path: Path) -> bytes:
    """Return a file's bytes.

    Raises:
        ScoreError: it can't be read, is no plain file, or is too large.
    """
    try:
        wrong = not_plain(path)
        if wrong is not None:
            raise ScoreError(wrong)
        with path.open("rb") as file:
            data = file.read(MOST_BYTES + 1)
    except OSError as error:
        raise ScoreError(f"can't be read ({error.strerror or error})") from error
    if len(data) > MOST_BYTES:
        raise ScoreError(f"larger than {MOST_BYTES // 2**20} MB: no score of a piece")
    if not data:
        raise ScoreError("the file is empty")
    return data


def unpack(data: bytes) -> bytes:
    """Return the score inside a compressed MusicXML file (MusicXML 3.1, container.xml).

    Raises:
        ScoreError: no archive, no score inside, or one that grows beyond all measure.
    """
    if len(data) > MOST_PACKED_BYTES:
        raise ScoreError(f"packed, and larger than {MOST_PACKED_BYTES // 2**20} MB: no score")
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            names = archive.namelist()
            if len(names) > MOST_MEMBERS:
                raise ScoreError(f"an archive of {len(names)} files: no compressed MusicXML")
            name = _root_file(archive, names)
            return _member(archive, name)
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, OSError) as error:
        raise ScoreError(f"a damaged archive ({error})") from error
    except (RuntimeError, ValueError, KeyError) as error:  # encrypted; a name that is none
        if isinstance(error, ScoreError):
            raise
        raise ScoreError(f"an archive that can't be read ({error})") from error


def _root_file(archive: zipfile.ZipFile, names: list[str]) -> str:
    if _CONTAINER in names:
        tree = xml_tree(_member(archive, _CONTAINER))
        for element in tree.iter("{*}rootfile"):
            name = element.get("full-path") or ""
            if name in names:
                return name
        raise ScoreError("the archive's container names no score that is in it")
    for name in names:
        if name.lower().endswith((".xml", ".musicxml")) and not name.startswith("META-INF/"):
            return name
    raise ScoreError("an archive without a score in it")


def _member(archive: zipfile.ZipFile, name: str) -> bytes:
    """Read one member, never more than is allowed, whatever the archive says of its size.

    Compressed MusicXML is deflated (MusicXML 4.0, the container format), or, by common practice,
    stored; other ways of packing take up memory by the hundred megabytes before a bound on what
    comes out is reached.
    """
    if archive.getinfo(name).compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        raise ScoreError("packed in a way that no compressed MusicXML is: export the piece anew")
    with archive.open(name) as member:
        data = member.read(MOST_BYTES + 1)
    if len(data) > MOST_BYTES:
        raise ScoreError(f"it unpacks to more than {MOST_BYTES // 2**20} MB: no score of a piece")
    return data


def root_tag(data: bytes) -> str:
    """Return the name of an XML document's root, without its namespace.

    Raises:
        ScoreError: no XML, or one that declares entities.
    """
    found: list[str] = []

    def begin(name: str, attributes: Any) -> None:
        found.append(name)
        raise _PrologRead

    def refuse(*declaration: Any) -> None:
        raise ScoreError("the file declares XML entities, which no score needs: refused")

    parser = expat.ParserCreate()
    parser.StartElementHandler = begin
    parser.EntityDeclHandler = refuse
    try:
        parser.Parse(data, True)
    except _PrologRead:
        return found[0].rpartition(":")[2]
    except expat.ExpatError as error:
        raise ScoreError(f"not XML: {error}") from error
    except (ValueError, LookupError) as error:
        if isinstance(error, ScoreError):
            raise
        raise ScoreError(f"not XML: {error}") from error
    raise ScoreError("no XML: it holds no element")


def xml_tree(data: bytes) -> Any:
    """Return the root of an XML document as an lxml element.

    Raises:
        ScoreError: as `root_tag`, or broken, or nested beyond all measure.
    """
    from lxml import etree

    root_tag(data)
    parser = etree.XMLParser(
        resolve_entities=False, no_network=True, load_dtd=False, huge_tree=False,
        remove_comments=True, remove_pis=True, remove_blank_text=True,
    )  # fmt: skip
    try:
        return etree.fromstring(data, parser)
    except etree.XMLSyntaxError as error:
        told = _LIBRARY_WORDS.sub("", _one_line(error.msg or "no reason told"))
        raise ScoreError(f"broken XML: {told}: export the piece anew") from error


def bounded_notes(count: int) -> None:
    """Check the number of notes.

    Raises:
        ScoreError: too many.
    """
    if count > MOST_NOTES:
        raise ScoreError(f"{count} notes: more than {MOST_NOTES} are not read in one file")


def clean_text(text: str | None, most: int = 40) -> str:
    """Return a name from a file as it may be shown: one line, no control characters, not long.

    >>> clean_text("Violino  I" + chr(27) + "[2J")
    'Violino I [2J'
    """
    return " ".join(_HIDDEN.sub(" ", (text or "")[: 4 * most]).split())[:most].strip()


def _one_line(text: str) -> str:
    return clean_text(text, 160)


def humdrum_lines(data: bytes) -> list[list[str]]:
    """Return the cells of a Humdrum file, without comments and empty lines.

    Raises:
        ScoreError: no Humdrum, or one beyond all measure.
    """
    text = data.decode("utf-8", errors="replace")
    lines = text.splitlines()
    if len(lines) > MOST_LINES:
        raise ScoreError(f"{len(lines)} lines: more than {MOST_LINES} are not read in one file")
    rows = [line.split("\t") for line in lines if line.strip() and not line.startswith("!")]
    if not rows or not any(cell == "**kern" for cell in rows[0]):
        raise ScoreError("a Humdrum file without a **kern spine in its first line")
    for row in rows:
        if len(row) > MOST_SPINES:
            raise ScoreError(f"{len(row)} spines: more than {MOST_SPINES} are not read")
        if max(map(len, row)) > MOST_CELL:
            raise ScoreError(f"a cell of more than {MOST_CELL} characters: no **kern notes")
    bounded_notes(sum(not cell.startswith(("*", "=", ".")) for row in rows for cell in row))
    return rows
