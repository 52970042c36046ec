"""How the rating tables are read for a real cable: always down, never outside their conditions."""

from __future__ import annotations

import math

import pytest

from tests.evidence import covers
from tests.printed import printed
from tristrand.physics.ampacity import TableRatings, table_ampacity
from tristrand.physics.conductor_tables import awg_area_mm2, sae_area_mm2

CLASS5_50_MM2 = 44.67


def by_source(found: TableRatings) -> dict[str, tuple[str, float]]:
    return {r.source.split("#")[0]: (r.row, r.base_a) for r in found.candidates}


@covers("physics.ampacity.table_ampacity")
def test_50_mm2_class_5_is_read_at_1_awg_and_at_nominal() -> None:
    """44.67 mm2 of metal: above 1 AWG (42.41), below 1/0 (53.5); IEC at 50 if sold as 50, else at 35."""
    rows = by_source(table_ampacity(CLASS5_50_MM2, 90.0, 30.0, nominal_mm2=50.0))
    assert rows == {"33CFR183": ("1", 210), "NEC-2023": ("1", 220), "IEC-60364-5-52": ("50", 207)}
    unnamed = by_source(table_ampacity(CLASS5_50_MM2, 90.0, 30.0))
    assert unnamed["IEC-60364-5-52"] == ("35", 169)


@covers("physics.ampacity.table_ampacity")
def test_a_cable_with_too_little_metal_is_not_read_at_its_name() -> None:
    assert by_source(table_ampacity(40.0, 90.0, 30.0, nominal_mm2=50.0))["IEC-60364-5-52"] == ("35", 169)
    sae = sae_area_mm2("4/0")
    assert sae < awg_area_mm2("4/0")
    assert by_source(table_ampacity(sae, 105.0, 30.0, awg="4/0"))["33CFR183"] == ("4/0", 445)
    assert by_source(table_ampacity(sae, 105.0, 30.0))["33CFR183"] == ("3/0", 385)
    assert by_source(table_ampacity(0.98 * sae, 105.0, 30.0, awg="4/0"))["33CFR183"] == ("3/0", 385)


@covers("physics.ampacity.table_ampacity")
def test_ambient_and_governing() -> None:
    found = table_ampacity(CLASS5_50_MM2, 90.0, 50.0, 2, nominal_mm2=50.0)
    assert found.governing is not None
    # NEC needs space between conductors; of 210 A and 207 A times 0.816 the smaller.
    assert found.governing.table == "IEC 60364-5-52 method F"
    assert found.governing.result_a == pytest.approx(207.0 * math.sqrt(40.0 / 60.0), rel=1e-12)
    assert [s.table for s in found.set_aside] == ["NEC 2023 Table 310.17"]


@covers("physics.ampacity.table_ampacity")
def test_columns_far_below_the_limit_do_not_govern() -> None:
    """125 degC insulation at 80 degC ambient: the 125 column governs, not a 90 column squeezed to 10 K."""
    found = table_ampacity(CLASS5_50_MM2, 125.0, 80.0, nominal_mm2=50.0)
    assert found.governing is not None
    assert (found.governing.table, found.governing.column_gap_k) == ("33 CFR 183.425 Table 5", 0.0)
    assert found.governing.result_a == pytest.approx(265.0 * math.sqrt(45.0 / 95.0), rel=1e-12)
    assert min(r.result_a for r in found.candidates) < 0.6 * found.governing.result_a
    hot = table_ampacity(CLASS5_50_MM2, 125.0, 95.0, nominal_mm2=50.0)
    assert len(hot.candidates) == 1
    assert all("not above the ambient" in s.reason for s in hot.set_aside)


@covers("physics.ampacity.table_ampacity")
def test_notes_and_nothing_found() -> None:
    assert "200" in table_ampacity(107.3, 200.0, 30.0).candidates[0].note
    assert table_ampacity(3.4, 75.0, 30.0).candidates[0].note != ""
    assert table_ampacity(107.3, 105.0, 30.0).candidates[0].note == ""
    tiny = table_ampacity(0.2, 90.0, 30.0)
    assert (tiny.candidates, tiny.governing, len(tiny.set_aside)) == ((), None, 3)
    cool = table_ampacity(50.0, 55.0, 30.0)
    assert cool.candidates == ()


@covers("physics.ampacity.table_ampacity")
def test_aluminium() -> None:
    found = table_ampacity(86.0, 90.0, 40.0, material="aluminium")
    assert [(r.row, r.base_a) for r in found.candidates] == [("3/0", 270)]
    assert found.candidates[0].ambient_factor == printed("0.913")


def test_bad_values_are_refused() -> None:
    with pytest.raises(ValueError, match="material"):
        table_ampacity(50.0, 90.0, 30.0, material="gold")
    with pytest.raises(ValueError, match="metal_area_mm2"):
        table_ampacity(math.nan, 90.0, 30.0)
    with pytest.raises(ValueError, match="count"):
        table_ampacity(50.0, 90.0, 30.0, 0)
    with pytest.raises(ValueError, match="ambient_c"):
        table_ampacity(50.0, 90.0, math.nan)
    with pytest.raises(ValueError, match="AWG"):
        table_ampacity(50.0, 90.0, 30.0, awg="fifty")
