"""Values too far apart for the solver become open points, never numbers."""

from __future__ import annotations

import math
from collections.abc import Iterator

import pytest

from tests.transient_designs import packs, van
from tristrand.physics.circuit import changes
from tristrand.studies import discharge, precharge
from tristrand.studies.opening import SPREAD


@pytest.fixture(autouse=True)
def fresh() -> Iterator[None]:
    """Kept runs of other tests must not answer, nor these answer them."""
    kept = (precharge._solved, precharge._closing, discharge._solved)
    for function in kept:
        function.cache_clear()
    yield
    for function in kept:
        function.cache_clear()


def test_an_inexact_run_opens_the_studies(monkeypatch: pytest.MonkeyPatch) -> None:
    design = van()
    assert SPREAD not in precharge.study(precharge.inputs(design), packs(design)).missing
    assert SPREAD not in discharge.study(discharge.inputs(design), packs(design)).missing
    fresh_runs = (precharge._solved, precharge._closing, discharge._solved)
    for function in fresh_runs:
        function.cache_clear()
    monkeypatch.setattr(changes, "INEXACT", -1.0)
    charged = precharge.study(precharge.inputs(design), packs(design))
    assert SPREAD in charged.missing
    assert charged.attempts == ()
    emptied = discharge.study(discharge.inputs(design), packs(design))
    assert SPREAD in emptied.missing
    assert emptied.cases == ()


def test_an_inexact_closing_surge_leaves_the_precharge_standing(monkeypatch: pytest.MonkeyPatch) -> None:
    design = van()
    whole = precharge.study(precharge.inputs(design), packs(design))
    precharge._closing.cache_clear()
    monkeypatch.setattr(changes, "INEXACT", -1.0)
    result = precharge.study(precharge.inputs(design), packs(design))
    assert SPREAD in result.missing
    assert math.isnan(result.surge_current_a)
    assert result.attempts == whole.attempts
