"""Mangles files by chance: bits, bytes, numbers, lines, words of the format, pieces of others.

Conventions: randomness is handed in, so that the same seed gives the same files.
"""

from __future__ import annotations

import random  # noqa: TID251 -- handed in, seeded
import re
from collections.abc import Callable, Sequence

MOST_BYTES = 40_000
_NUMBERS = (b"0", b"-1", b"1", b"7", b"127", b"128", b"255", b"65536", b"2147483648", b"1e308",
            b"99999999999999999999", b"0.0000001", b"-0", b"1/0", b"nan")  # fmt: skip
# an element without others inside, or one of those that hold the music
_ELEMENT = re.compile(
    rb"<(note|measure|chord|beam|layer|staff|attributes)\b[^>]*(?<!/)>.*?</\1>"
    rb"|<([\w.-]+)[^<>]*(?:/>|>[^<]*</\2>)",
    re.DOTALL,
)
_NUMBER = re.compile(rb"\d+(\.\d+)?")


def mangled(rng: random.Random, seeds: Sequence[bytes], words: Sequence[bytes]) -> bytes:
    """Return a file that began as one of the seeds and suffered one to eight times."""
    data = bytearray(rng.choice(seeds))
    for _ in range(rng.choice((1, 1, 2, 3, 5, 8))):
        rng.choice(_WAYS)(rng, data, seeds, words)
    return bytes(data[: max(MOST_BYTES, 2 * max(map(len, seeds)))])


_Way = Callable[[random.Random, bytearray, Sequence[bytes], Sequence[bytes]], None]


def _span(rng: random.Random, data: bytearray, most: int = 200) -> tuple[int, int]:
    start = rng.randrange(len(data) + 1)
    return start, min(len(data), start + rng.randrange(1, most))


def _flip(rng: random.Random, data: bytearray, *_: object) -> None:
    if data:
        data[rng.randrange(len(data))] ^= 1 << rng.randrange(8)


def _byte(rng: random.Random, data: bytearray, *_: object) -> None:
    if data:
        data[rng.randrange(len(data))] = rng.choice((0, 0x7F, 0x80, 0xFF, rng.randrange(256)))


def _insert(rng: random.Random, data: bytearray, *_: object) -> None:
    at = rng.randrange(len(data) + 1)
    data[at:at] = rng.randbytes(rng.randrange(1, 9))


def _delete(rng: random.Random, data: bytearray, *_: object) -> None:
    start, end = _span(rng, data)
    del data[start:end]


def _repeat(rng: random.Random, data: bytearray, *_: object) -> None:
    start, end = _span(rng, data)
    data[end:end] = data[start:end] * rng.choice((1, 1, 2, 20))


def _cut(rng: random.Random, data: bytearray, *_: object) -> None:
    del data[rng.randrange(len(data) + 1) :]


def _splice(
    rng: random.Random, data: bytearray, seeds: Sequence[bytes], _: Sequence[bytes]
) -> None:
    other = bytearray(rng.choice(seeds))
    start, end = _span(rng, other)
    at, until = _span(rng, data)
    data[at : until if rng.random() < 0.5 else at] = other[start:end]


def _word(rng: random.Random, data: bytearray, _: Sequence[bytes], words: Sequence[bytes]) -> None:
    if words:
        at, until = _span(rng, data, 20)
        data[at : until if rng.random() < 0.5 else at] = rng.choice(words)


def _number(rng: random.Random, data: bytearray, *_: object) -> None:
    found = list(_NUMBER.finditer(data))
    if found:
        one = rng.choice(found)
        data[one.start() : one.end()] = rng.choice(_NUMBERS)


def _line(rng: random.Random, data: bytearray, *_: object) -> None:
    lines = bytes(data).split(b"\n")
    first, second = rng.randrange(len(lines)), rng.randrange(len(lines))
    if rng.random() < 0.5:
        lines[first], lines[second] = lines[second], lines[first]
    else:
        lines[first] = lines[second]
    data[:] = b"\n".join(lines)


def _element(rng: random.Random, data: bytearray, *_: object) -> None:
    """Leave out, repeat or move a whole element of XML, so that it is still XML."""
    found = list(_ELEMENT.finditer(data))
    if not found:
        return
    one, other = rng.choice(found), rng.choice(found)
    element = bytes(one[0])
    if rng.random() < 0.4:
        data[one.start() : one.end()] = b""
    else:
        data[other.start() : other.end() if rng.random() < 0.5 else other.start()] = element


_WAYS: tuple[_Way, ...] = (
    _flip, _byte, _insert, _delete, _repeat, _cut, _splice, _word, _word, _number, _number, _line,
    _element, _element, _element,
)  # fmt: skip
