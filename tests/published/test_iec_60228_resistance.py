"""IEC 60228: printed rows, the printed temperature factors, and relations the whole tables must obey."""

from __future__ import annotations

import pytest

from tests.evidence import covers
from tests.printed import printed
from tristrand.physics import conductor_tables as tables
from tristrand.physics import conductors


@covers("physics.conductor_tables.class5_resistance_ohm_per_m")
@pytest.mark.parametrize(
    ("size", "plain", "tinned"),
    [(0.5, "39.0", "40.1"), (2.5, "7.98", "8.21"), (35.0, "0.554", "0.565"), (50.0, "0.386", "0.393"),
     (95.0, "0.206", "0.210"), (150.0, "0.129", "0.132")],
)  # fmt: skip
def test_class_5_rows(size: float, plain: str, tinned: str) -> None:
    assert tables.class5_resistance_ohm_per_m(size) == printed(plain + "e-3")
    assert tables.class5_resistance_ohm_per_m(size, tinned=True) == printed(tinned + "e-3")


@covers("physics.conductor_tables.aluminium_resistance_ohm_per_m")
@pytest.mark.parametrize(("size", "milliohm"), [(16.0, "1.91"), (35.0, "0.868"), (120.0, "0.253")])
def test_aluminium_rows(size: float, milliohm: str) -> None:
    assert tables.aluminium_resistance_ohm_per_m(size) == printed(milliohm + "e-3")


@covers("physics.conductor_tables.class5_resistance_ohm_per_m", "physics.conductors.metal_area_mm2")
def test_class_5_metal_lies_below_nominal() -> None:
    """Every printed row by copper's conductivity: 86 to 92 % of nominal; tin costs 1.5 to 3.5 %."""
    for size, plain in tables.CLASS5_PLAIN_OHM_PER_M.items():
        assert 0.86 < float(conductors.metal_area_mm2(plain)) / size < 0.92, size
        assert 1.015 < tables.CLASS5_TINNED_OHM_PER_M[size] / plain < 1.035, size
    resistances = list(tables.CLASS5_PLAIN_OHM_PER_M.values())
    assert resistances == sorted(resistances, reverse=True)
    assert list(tables.CLASS5_TINNED_OHM_PER_M) == list(tables.CLASS5_PLAIN_OHM_PER_M)


@covers("physics.conductor_tables.aluminium_resistance_ohm_per_m", "physics.conductors.metal_area_mm2")
def test_aluminium_metal_lies_below_nominal() -> None:
    for size, ohm in tables.ALUMINIUM_OHM_PER_M.items():
        area = conductors.metal_area_mm2(ohm, conductors.ALUMINIUM_RESISTIVITY_OHM_MM2_PER_M)
        assert 0.87 < float(area) / size < 0.96, size


@covers("physics.conductors.metal_area_mm2", "physics.conductors.solid_resistance_ohm_per_m")
@pytest.mark.parametrize(("size", "area"), [(35.0, "31.12"), (50.0, "44.67"), (70.0, "63.39")])
def test_metal_area_worked(size: float, area: str) -> None:
    found = conductors.metal_area_mm2(tables.class5_resistance_ohm_per_m(size))
    assert found == printed(area)
    assert conductors.solid_resistance_ohm_per_m(found) == pytest.approx(tables.class5_resistance_ohm_per_m(size))


@covers("physics.conductors.metal_area_mm2")
def test_metal_area_of_95_mm2_worked_with_rounded_resistivity() -> None:
    """The worked value was made with 17.241 mohm mm2/m, not 1000/58."""
    assert conductors.metal_area_mm2(0.206e-3, 17.241e-3) == printed("83.69")


@covers("physics.conductors.resistance_ratio")
@pytest.mark.parametrize(("celsius", "factor"), [(5.0, "1.064"), (50.0, "0.893"), (90.0, "0.781"), (100.0, "0.758")])
def test_printed_correction_factors_to_20_c(celsius: float, factor: str) -> None:
    ratio = float(conductors.resistance_ratio(celsius, conductors.COPPER_ANNEX_0_004))
    assert 1.0 / ratio == printed(factor)


@covers("physics.conductors.resistance_ratio", "physics.conductors.resistance_at_ohm")
def test_copper_laws_at_105_c() -> None:
    assert conductors.resistance_ratio(105.0) == printed("1.33405")
    assert conductors.resistance_ratio(105.0, conductors.COPPER_234_5) == printed("1.33399")
    for celsius, factor in ((5.0, "1.063"), (50.0, "0.895"), (90.0, "0.784"), (100.0, "0.761")):
        assert 1.0 / float(conductors.resistance_ratio(celsius)) == printed(factor)
    assert conductors.resistance_at_ohm(2.0, 105.0) == pytest.approx(2.0 * 1.33405, rel=1e-9)


@covers("physics.conductors.resistance_ratio")
@pytest.mark.parametrize(
    ("law", "zero_c"),
    [
        (conductors.COPPER_234_5, 234.5),
        (conductors.ALUMINIUM_228_1, 228.1),
        (conductors.ALUMINIUM_238_1, 238.1),
    ],
)
def test_inferred_zero_form(law: conductors.ResistanceLaw, zero_c: float) -> None:
    for celsius in (-40.0, 20.0, 90.0, 180.0):
        assert conductors.resistance_ratio(celsius, law) == pytest.approx((zero_c + celsius) / (zero_c + 20.0))


@covers("physics.conductors.loop_drop_v")
def test_voltage_drop_worked() -> None:
    fifty = tables.class5_resistance_ohm_per_m(50.0)
    assert conductors.loop_drop_v(300.0, fifty, 6.0) == printed("0.6948")
    assert conductors.loop_drop_v(300.0, fifty, 6.0, 90.0) == printed("0.8859")
    drop = conductors.loop_drop_v(15.0, tables.class5_resistance_ohm_per_m(2.5), 10.0)
    assert drop == printed("1.197")
    assert 100.0 * float(drop) / 12.0 == printed("9.98", units=0.6)  # 9.975 rounds to it


@covers("physics.conductors.copper_mass_kg", "physics.conductors.metal_area_mm2")
def test_copper_mass_goes_with_metal_and_length() -> None:
    """1 m of 1 mm2 weighs 8.9 g; the density itself is from memory."""
    assert conductors.copper_mass_kg(1.0, 1.0) == printed("8.9e-3")
    assert conductors.copper_mass_kg(44.67, 6.0) == pytest.approx(
        44.67 * 6.0 * float(conductors.copper_mass_kg(1.0, 1.0))
    )


def test_unknown_size_names_the_nearest() -> None:
    with pytest.raises(ValueError, match="35, 50"):
        tables.class5_resistance_ohm_per_m(42.0)
    with pytest.raises(ValueError, match="120"):
        tables.aluminium_resistance_ohm_per_m(150.0)
    with pytest.raises(ValueError, match="resistance_ratio"):
        conductors.resistance_ratio(-273.0)
