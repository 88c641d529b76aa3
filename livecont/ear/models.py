"""Our own models, read from `configs/ear` and the demonstration's pieces, as material.

Conventions: the files are written as `configs/demo/falling-fifths.toml` explains, two links each.
Texture and label are worked out, not written.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from functools import lru_cache
from pathlib import Path

from livecont.config import configs_folder
from livecont.demo import Piece, WrittenNote, read_piece
from livecont.ear.matter import Matter, pattern_from, sure_label, texture_of
from livecont.errors import ConfigError, unknown
from livecont.sequence.pattern import Position

FOLDERS = ("ear", "demo")


def model_names() -> tuple[str, ...]:
    """Return the names of our models."""
    return tuple(sorted(_paths()))


@lru_cache(maxsize=64)
def model(name: str) -> Matter:
    """Return one of our models.

    Raises:
        ConfigError: there is none of this name, or its file can't be used.
    """
    paths = _paths()
    if name not in paths:
        raise unknown("model", name, paths)
    return matter_of(read_piece(paths[name]), paths[name])


def _paths() -> dict[str, Path]:
    top = configs_folder()
    return {path.stem: path for folder in FOLDERS for path in (top / folder).glob("*.toml")}


def matter_of(piece: Piece, path: Path) -> Matter:
    """Return a written piece as material.

    Raises:
        ConfigError: its second link has not the rhythm of the first.
    """
    positions = tuple(sorted(_positions(piece, path), key=_order))
    unit_s = float(piece.unit_beats) * 60 / piece.tempo_bpm
    pattern = pattern_from(positions, piece.step_degrees, piece.key, unit_s)
    return Matter(
        title=piece.title, texture=texture_of(pattern), pattern=pattern, label=sure_label(pattern)
    )


def _order(position: Position) -> tuple[float, int]:
    first = position.heard[0]
    return position.offset_units, first.midi if first is not None else 0


def _positions(piece: Piece, path: Path) -> Iterator[Position]:
    unit = piece.unit_beats
    for voice in piece.voices:
        links = [
            [note for note in voice.notes if number * unit <= note.beat < (number + 1) * unit]
            for number in (0, 1)
        ]
        if [_place(n, 0, unit) for n in links[0]] != [_place(n, 1, unit) for n in links[1]]:
            raise ConfigError(f"{path}: the links of {voice.name!r} have different rhythms")
        for one, two in zip(*links, strict=True):
            yield Position(
                offset_units=float(one.beat / unit),
                articulation=float(one.beats / unit) * voice.touch,
                velocity=voice.velocity,
                channel=0,
                heard=(one.spelling, two.spelling),
            )


def _place(note: WrittenNote, link: int, unit: Fraction) -> tuple[Fraction, Fraction]:
    return note.beat - link * unit, note.beats
