"""IEC 60364-5-54: printed factors k, and worked adiabatic limits."""

from __future__ import annotations

import numpy as np
import pytest

from tests.evidence import covers
from tests.printed import printed
from tristrand.physics import adiabatic

METALS = {"copper": adiabatic.COPPER, "aluminium": adiabatic.ALUMINIUM}


@covers("physics.adiabatic.k_factor")
@pytest.mark.parametrize(
    ("initial", "final", "metal", "k"),
    [
        (70, 160, "copper", "115"),
        (90, 250, "copper", "143"),
        (90, 250, "aluminium", "94"),
        (70, 160, "aluminium", "76"),
    ],
)
def test_k_as_printed(initial: float, final: float, metal: str, k: str) -> None:
    assert adiabatic.k_factor(initial, final, METALS[metal]) == printed(k)


def test_table_rows_agree_with_the_formula() -> None:
    """The rows marked from memory stand on the formula, which the printed rows confirm."""
    seen = [row for row in adiabatic.PUBLISHED_K if not row.from_memory]
    assert [(row.initial_c, row.final_c) for row in seen] == [(70.0, 160.0), (90.0, 250.0)]
    for row in adiabatic.PUBLISHED_K:
        assert adiabatic.k_factor(row.initial_c, row.final_c) == pytest.approx(row.copper, abs=0.5)
        assert adiabatic.k_factor(row.initial_c, row.final_c, adiabatic.ALUMINIUM) == pytest.approx(
            row.aluminium, abs=0.5
        )


@covers("physics.adiabatic.k_factor")
def test_constant_follows_from_heat_capacity_and_resistivity() -> None:
    """K = sqrt(Qc (b + 20)/rho20), with Qc 3.45e-3 J/(K mm3) and 17.241e-6 ohm mm for copper: 225.67."""
    derived = np.sqrt(3.45e-3 * 254.5 / 17.241e-6)
    assert derived == printed("225.67")
    assert adiabatic.COPPER.k_a_s_per_mm2 == pytest.approx(derived, rel=2e-3)


@covers("physics.adiabatic.k_factor")
@pytest.mark.parametrize(
    ("initial", "final", "copper", "aluminium"),
    [(70, 160, "115.00", "76.03"), (70, 140, "102.80", "67.98"), (90, 160, "99.88", "66.01"),
     (90, 140, "85.55", "56.56"), (60, 200, "140.94", "93.15"), (90, 250, "143.08", "94.48"),
     (30, 160, "142.90", "94.54"), (30, 250, "175.83", "116.22"), (30, 220, "166.28", "109.94"),
     (85, 220, "134.17", "88.63"), (30, 200, "159.22", "105.29"), (125, 250, "123.46", "81.49")],
)  # fmt: skip
def test_k_worked(initial: float, final: float, copper: str, aluminium: str) -> None:
    assert adiabatic.k_factor(initial, final) == printed(copper)
    assert adiabatic.k_factor(initial, final, adiabatic.ALUMINIUM) == printed(aluminium)


@covers("physics.adiabatic.k_factor", "physics.adiabatic.joule_integral_limit_a2s")
def test_k_worked_copper_only() -> None:
    assert adiabatic.k_factor(30, 500) == printed("228.40")
    assert adiabatic.k_factor(180, 350) == printed("132.49")
    hot = adiabatic.k_factor(105, 250)
    assert hot == printed("134.78")
    assert adiabatic.joule_integral_limit_a2s(hot, 35.0) == printed("2.2252e7")


@covers("physics.adiabatic.joule_integral_limit_a2s", "physics.adiabatic.longest_time_s")
def test_limits_worked() -> None:
    areas = {50.0: "5.1123e7", 35.0: "2.5050e7", 95.0: "1.84552e8"}
    for area, limit in areas.items():
        assert adiabatic.joule_integral_limit_a2s(143.0, area) == printed(limit)
    assert adiabatic.longest_time_s(10e3, 143.0, 50.0) == printed("0.5112")
    assert adiabatic.joule_integral_limit_a2s(115.0, 2.5) == printed("82656")
    assert adiabatic.joule_integral_limit_a2s(115.0, 0.5) == printed("3306")


@covers("physics.adiabatic.final_temperature_c")
def test_final_temperature_worked() -> None:
    assert adiabatic.final_temperature_c(5e5, 35.0, 60.0) == printed("62.36")


@covers("physics.adiabatic.final_temperature_c", "physics.adiabatic.joule_integral_limit_a2s")
def test_final_temperature_inverts_k() -> None:
    starts, ends = np.array([-20.0, 30.0, 70.0, 90.0]), np.array([60.0, 160.0, 160.0, 250.0])
    for metal in METALS.values():
        limit = adiabatic.joule_integral_limit_a2s(adiabatic.k_factor(starts, ends, metal), 25.0)
        assert adiabatic.final_temperature_c(limit, 25.0, starts, metal) == pytest.approx(ends, rel=1e-12)
    assert adiabatic.final_temperature_c(0.0, 25.0, 40.0) == pytest.approx(40.0, abs=1e-12)
    assert adiabatic.final_temperature_c(1e15, 1.0, 40.0) == np.inf


@covers("physics.adiabatic.final_temperature_c")
def test_final_temperature_equals_stepwise_heating() -> None:
    """Heating in many small steps with the resistance at each temperature: dT = I2 R(T) dt/(Qc S)."""
    # Qc and rho20 chosen so that K is 226 exactly, as the standard rounds it.
    heat_j_per_k_mm3 = 226.0**2 * 17.241e-6 / 254.5
    area, celsius, steps = 10.0, 70.0, 20_000
    step = 1.0e6 / steps
    for _ in range(steps):
        rate = lambda t: 17.241e-6 * (234.5 + t) / 254.5 / (heat_j_per_k_mm3 * area**2)  # noqa: E731
        middle = celsius + 0.5 * step * rate(celsius)
        celsius += step * rate(middle)
    assert adiabatic.final_temperature_c(1.0e6, area, 70.0) == pytest.approx(celsius, rel=1e-7)


def test_adiabatic_refuses() -> None:
    with pytest.raises(ValueError, match="initial_c"):
        adiabatic.k_factor(160.0, 70.0)
    with pytest.raises(ValueError, match="initial_c"):
        adiabatic.final_temperature_c(1.0, 1.0, -60.0)
    with pytest.raises(ValueError, match="area_mm2"):
        adiabatic.joule_integral_limit_a2s(143.0, 0.0)
