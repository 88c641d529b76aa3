"""The journal's lines: what is written is read again, whatever else stands there."""

from __future__ import annotations

import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from livecont.live.journal import (
    Journal,
    fingerprint,
    header_line,
    line,
    read_journal,
    written_line,
)
from livecont.live.take_file import Entry, EntryKind, take_file

HEADER = header_line("2025-01-31T20:15:00")
SEVEN_BITS = st.integers(0, 127)
MOMENTS = st.integers(0, 10**11).map(lambda us: us / 1e6)
MESSAGES = st.builds(
    lambda at_s, kind, status, one, two: Entry(at_s, kind, bytes((status, one, two))),
    MOMENTS,
    st.sampled_from([EntryKind.PLAYED, EntryKind.SOUNDED]),
    st.sampled_from([0x80, 0x93, 0xBF]),
    SEVEN_BITS,
    SEVEN_BITS,
)
TEMPI = st.builds(
    lambda at_s, us: Entry(at_s, EntryKind.TEMPO, text=str(us)), MOMENTS, st.integers(1, 10**7)
)
KEYS = st.builds(
    lambda at_s, sharps, minor: Entry(at_s, EntryKind.KEY, text=f"{sharps} {minor} a key"),
    MOMENTS,
    st.integers(-7, 7),
    st.integers(0, 1),
)
ENTRIES = st.lists(MESSAGES | TEMPI | KEYS, max_size=30)


def read(raw: bytes) -> Journal | None:
    return read_journal(io.BytesIO(raw))


@given(ENTRIES)
def test_what_is_written_is_read(entries: list[Entry]) -> None:
    journal = read(HEADER + b"".join(line(entry) for entry in entries))
    assert journal is not None
    assert journal.started == "2025-01-31T20:15:00"
    assert [e._replace(at_s=round(e.at_s, 6)) for e in journal.entries] == [
        e._replace(at_s=round(e.at_s, 6)) for e in entries
    ]


@given(ENTRIES, st.data())
def test_a_journal_that_stops_anywhere_gives_all_whole_lines(
    entries: list[Entry], data: st.DataObject
) -> None:
    lines = [line(entry) for entry in entries]
    raw = HEADER + b"".join(lines)
    cut = data.draw(st.integers(0, len(raw)))
    journal = read(raw[:cut])
    assert journal is not None
    assert len(journal.entries) == max(0, raw[:cut].count(b"\n") - 1)


@given(ENTRIES, st.lists(st.binary(max_size=700), max_size=5), st.randoms(use_true_random=False))
def test_rubbish_in_between_is_passed_over_and_makes_a_valid_file(
    entries: list[Entry], rubbish: list[bytes], rng: object
) -> None:
    lines = [line(entry) for entry in entries] + [raw + b"\n" for raw in rubbish]
    rng.shuffle(lines)  # type: ignore[attr-defined]
    journal = read(HEADER + b"".join(lines))
    assert journal is not None
    assert len(journal.entries) >= len(entries)
    assert take_file(journal.entries).startswith(b"MThd")


@pytest.mark.parametrize(
    "text",
    [
        "p 0.5 90 3c",
        "p 0.5 90 3c 80",
        "p 0.5 f0 01 f7",
        "p 0.5 e0 01 02",
        "p nan 90 3c 40",
        "p inf 90 3c 40",
        "p -1 90 3c 40",
        "p 1e99 90 3c 40",
        "q 0.5 90 3c 40",
        "t 0.5 fast",
        "k 0.5 9 0 too sharp",
        "k 0.5 0 2 x",
        "k 0.5 0",
        "= 12 zz",
        "",
    ],
)
def test_lines_that_say_nothing_known_are_passed_over(text: str) -> None:
    journal = read(HEADER + text.encode() + b"\np 1.0 90 3c 40\n")
    assert journal is not None
    assert [entry.at_s for entry in journal.entries] == [1.0]
    assert not journal.written


@pytest.mark.parametrize(
    "raw", [b"MThd\0\0\0\6", b"livecont take 2 x\n", b"livecont takes\n", b"\n"]
)
def test_another_file_is_no_journal(raw: bytes) -> None:
    assert read(raw) is None


def test_half_a_number_is_not_taken_for_a_whole_one() -> None:
    """A kill in the middle of writing `t 1.0 500000`."""
    journal = read(HEADER + b"t 1.0 50000")
    assert journal is not None
    assert journal.entries == ()


def test_an_empty_journal_is_one() -> None:
    assert read(b"") == Journal(started="", entries=(), written=frozenset())


def test_the_files_written_are_remembered() -> None:
    journal = read(HEADER + written_line(b"abc") + written_line(b"abcd"))
    assert journal is not None
    assert journal.written == {fingerprint(b"abc"), fingerprint(b"abcd")}


def test_a_text_stays_on_its_line() -> None:
    raw = line(Entry(1.0, EntryKind.MARK, text="two\nlines\rand \0 more" + 1000 * "x"))
    assert raw.count(b"\n") == 1
    assert len(raw) < 300
