"""The mutation check (`python -m tests.bench mutations`) keeps up with the code that it mutates."""

from __future__ import annotations

import pytest

from tests.bench.mutations import MUTANTS, TOP, Mutant


@pytest.mark.parametrize("mutant", MUTANTS, ids=lambda mutant: mutant.guard)
def test_what_is_taken_out_and_who_notices_are_there(mutant: Mutant) -> None:
    assert (TOP / mutant.file).read_text("utf-8").count(mutant.before) == 1
    for test in mutant.tests:
        path, _, name = test.partition("::")
        assert f"def {name}(" in (TOP / path).read_text("utf-8")
