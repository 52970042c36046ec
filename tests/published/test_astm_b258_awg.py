"""ASTM B258 wire gauge and the smaller SAE conductors of the same names."""

from __future__ import annotations

import itertools

import pytest

from tests.evidence import covers
from tests.printed import printed
from tristrand.physics import conductor_tables as tables
from tristrand.physics import conductors

# Size, diameter mm, mm2, kcmil, mohm/m at 20 degC solid: the founders' table, worked apart from this code.
TABLE = [
    "4/0 11.6840 107.219 211.600 0.1608",
    "3/0 10.4049 85.029 167.806 0.2028",
    "2/0 9.2658 67.431 133.077 0.2557",
    "1/0 8.2515 53.475 105.535 0.3224",
    "1 7.3481 42.408 83.693 0.4066",
    "2 6.5437 33.631 66.371 0.5127",
    "4 5.1894 21.151 41.741 0.8152",
    "6 4.1154 13.302 26.251 1.2962",
    "8 3.2636 8.366 16.510 2.0610",
    "10 2.5882 5.261 10.383 3.2771",
    "12 2.0525 3.309 6.530 5.2108",
    "14 1.6277 2.081 4.107 8.2855",
    "16 1.2908 1.309 2.583 13.1745",
    "18 1.0237 0.8230 1.624 20.948",
    "20 0.8118 0.5176 1.022 33.309",
    "22 0.6438 0.3255 0.642 52.963",
    "24 0.5106 0.2047 0.404 84.215",
]


@covers(
    "physics.conductor_tables.awg_diameter_m",
    "physics.conductor_tables.awg_area_mm2",
    "physics.conductor_tables.awg_circular_mils",
    "physics.conductors.solid_resistance_ohm_per_m",
)
@pytest.mark.parametrize("row", TABLE)
def test_awg_rows(row: str) -> None:
    size, diameter, area, kcmil, milliohm = row.split()
    assert tables.awg_diameter_m(size) * 1e3 == printed(diameter)
    assert tables.awg_area_mm2(size) == printed(area)
    assert tables.awg_circular_mils(size) / 1e3 == printed(kcmil)
    assert float(conductors.solid_resistance_ohm_per_m(tables.awg_area_mm2(size))) * 1e3 == printed(milliohm)


@covers("physics.conductor_tables.awg_diameter_m", "physics.conductor_tables.awg_number")
def test_awg_is_defined_by_a_ratio_and_two_diameters() -> None:
    """0.4600 inch for 4/0, 0.0050 inch for 36, 39 equal ratios of 1.1229322 between."""
    assert tables.awg_diameter_m("4/0") == pytest.approx(0.46 * 25.4e-3, rel=1e-12)
    assert tables.awg_diameter_m("36") == pytest.approx(0.005 * 25.4e-3, rel=1e-12)
    names = ["4/0", "3/0", "2/0", "1/0", *(str(n) for n in range(1, 37))]
    for thick, thin in itertools.pairwise(names):
        assert tables.awg_number(thin) - tables.awg_number(thick) == 1
        assert tables.awg_diameter_m(thick) / tables.awg_diameter_m(thin) == printed("1.1229322")


@covers("physics.conductor_tables.awg_number")
def test_awg_names() -> None:
    given = {"2/0": -1, "00": -1, "0": 0, "1/0": 0, "0000": -3, "AWG 8": 8, "12 AWG": 12, "#14": 14}
    assert {name: tables.awg_number(name) for name in given} == given
    for wrong in ("", "5/0", "2/1", "00000", "-1", "41", "07", "50 mm²", "１"):
        with pytest.raises(ValueError, match="not an AWG size"):
            tables.awg_number(wrong)


@covers("physics.conductor_tables.sae_area_mm2")
@pytest.mark.parametrize(("size", "mils"), [("18", 1537), ("8", 14810), ("1/0", 98980), ("4/0", 205500)])
def test_sae_rows(size: str, mils: int) -> None:
    assert tables.sae_area_mm2(size) == pytest.approx(mils * 5.067075e-4, rel=1e-12)
    # The factor is the area of a circle of 0.001 inch.
    assert mils * 5.067075e-4 == pytest.approx(mils * 3.14159265 / 4.0 * 0.0254**2, rel=1e-6)


@covers("physics.conductor_tables.sae_area_mm2", "physics.conductor_tables.awg_area_mm2")
def test_sae_wire_has_3_to_12_percent_less_than_awg() -> None:
    for size in tables.SAE_CIRCULAR_MILS:
        assert 0.88 < tables.sae_area_mm2(size) / tables.awg_area_mm2(size) < 0.975, size
    assert set(tables.SAE_CIRCULAR_MILS) <= set(tables.AWG_SIZES)
    with pytest.raises(ValueError, match="no SAE area"):
        tables.sae_area_mm2("3")
