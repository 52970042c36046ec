"""33 CFR 183.425 Table 5 and the bundle factors of 183.435(b)."""

from __future__ import annotations

import itertools

import pytest

from tests.evidence import covers
from tests.printed import printed
from tristrand.physics.ampacity import ambient_factor, bundle_factor, table_ampacity
from tristrand.physics.ampacity_tables import CFR_33_183_425 as TABLE
from tristrand.physics.conductor_tables import awg_area_mm2

PRINTED = {
    "18": (10, 10, 15, 20, 20, 25, 25),
    "10": (40, 40, 50, 55, 60, 70, 70),
    "3": (120, 145, 150, 155, 180, 195, 210),
    "4/0": (300, 360, 385, 385, 445, 475, 510),
}


@covers("physics.ampacity.table_ampacity")
@pytest.mark.parametrize("size", PRINTED)
def test_rows_as_printed(size: str) -> None:
    for column, amps in zip((60, 75, 80, 90, 105, 125, 200), PRINTED[size], strict=True):
        found = table_ampacity(awg_area_mm2(size), column, 30.0, awg=size)
        rating = next(r for r in found.candidates if r.table == "33 CFR 183.425 Table 5")
        assert (rating.row, rating.column_c, rating.base_a) == (size, column, amps)
        assert rating.result_a == pytest.approx(amps, rel=1e-12)


def test_currents_rise_with_size_and_temperature() -> None:
    rows = list(TABLE.rows.values())
    assert len(rows) == 15
    for row in rows:
        assert list(row) == sorted(row)
    for thin, thick in itertools.pairwise(rows):
        assert all(a <= b for a, b in zip(thin, thick, strict=True))


def test_currents_go_with_a_power_of_the_area() -> None:
    """Thick sizes: current goes with area to about the power 0.6; no row leaves the line."""
    sizes = ["8", "6", "4", "3", "2", "1", "1/0", "2/0", "3/0", "4/0"]
    for place in range(7):
        base = TABLE.rows["2"][place]
        for size in sizes:
            line = base * (awg_area_mm2(size) / awg_area_mm2("2")) ** 0.62
            assert TABLE.rows[size][place] == pytest.approx(line, rel=0.12), (size, place)


@covers("physics.ampacity.bundle_factor")
@pytest.mark.parametrize(("count", "amps"), [(3, "311.5"), (6, "267"), (24, "222.5"), (25, "178")])
def test_bundled_4_0_at_105_c(count: int, amps: str) -> None:
    assert 445.0 * bundle_factor(count) == printed(amps)
    found = table_ampacity(awg_area_mm2("4/0"), 105.0, 30.0, count)
    assert [r.table for r in found.candidates] == ["33 CFR 183.425 Table 5"] + (
        ["IEC 60364-5-52 method F"] if count == 3 else []
    )
    assert found.candidates[0].result_a == printed(amps)


@covers("physics.ampacity.bundle_factor")
def test_bundle_steps() -> None:
    factors = [bundle_factor(n) for n in (1, 2, 3, 4, 6, 7, 24, 25, 100)]
    assert factors == [1.0, 1.0, 0.7, 0.6, 0.6, 0.5, 0.5, 0.4, 0.4]
    with pytest.raises(ValueError, match="count"):
        bundle_factor(0)


@covers("physics.ampacity.ambient_factor")
def test_engine_space_factor() -> None:
    """Resellers print 0.85 for 105 degC wire in a 50 degC engine space (4/0: 378 A); the formula 0.856."""
    factor = float(ambient_factor(105.0, 50.0))
    assert factor == pytest.approx(0.85, abs=0.01)
    assert 445.0 * factor == pytest.approx(378.0, rel=0.01)
