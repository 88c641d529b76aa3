"""The examples in the docstrings give what they say."""

from __future__ import annotations

import doctest
import importlib
import pkgutil

import pytest

import livecont

MODULES = sorted(
    module.name
    for module in pkgutil.walk_packages(livecont.__path__, "livecont.")
    if not module.name.endswith("__main__")
)


@pytest.mark.parametrize("name", MODULES)
def test_examples(name: str) -> None:
    assert doctest.testmod(importlib.import_module(name)).failed == 0


def test_there_are_examples() -> None:
    modules = [importlib.import_module(name) for name in MODULES]
    finder = doctest.DocTestFinder(exclude_empty=True)
    assert sum(len(test.examples) for module in modules for test in finder.find(module)) > 20
