"""The report of a replay tells what each sequence is: our own pieces as they are performed."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache
from typing import Any

import pytest

from livecont.config import load_preferences
from livecont.demo import load_piece, perform
from livecont.replay import report
from livecont.sitting.virtual import run


@cache
def patterns(name: str) -> tuple[dict[str, Any], ...]:
    """The report's patterns; `last` tells which of them something followed."""
    piece = load_piece(name)
    settings = replace(load_preferences().settings, key=piece.key, most_links=1)
    lines = [
        json.loads(line) for line in report(name, run(settings, perform(piece)), settings, links=1)
    ]
    following = [*(line["event"] for line in lines[1:]), "end"]
    return tuple(
        {**line, "last": after != "pattern"}
        for line, after in zip(lines, following, strict=True)
        if line["event"] == "pattern"
    )


@pytest.mark.parametrize(
    ("name", "label", "roots"),
    [
        # the roots as the pieces' own files have them
        ("falling-fifths", "D2 (D5/A4)", ["B", "E", "A", "D"]),
        ("lament", "D2 (D2)", ["F", "E"]),
        ("rising-gigue", "A2 (A4/D3)", ["D", "G", "E", "A"]),
        ("whole-tones-down", "D2 (D5/A4)", ["A", "D", "G", "C"]),
    ],
)
def test_our_pieces_are_named(name: str, label: str, roots: list[str]) -> None:
    told = [line for line in patterns(name) if line["last"]]
    assert told
    for line in told:
        assert line["label"] == label
        assert [root for _, root in line["roots"]] == roots
        places = [place for place, _ in line["roots"]]
        assert places == sorted(places)
        assert places[0] == 0.0
        assert max(places) < 2.0
        assert label not in line["alternatives"]


def test_what_is_understood_better_at_once_is_not_analysed() -> None:
    early = [
        line for name in ("lament", "rising-gigue") for line in patterns(name) if not line["last"]
    ]
    assert early
    for line in early:
        fields = [line[field] for field in ("label", "alternatives", "doubt", "roots")]
        assert fields == [None, [], None, []]
