"""The studies of precharge and discharge on one loop, held against the closed forms and printed figures of that loop.

Pack 400 V with 0.1 Ω, resistor 100 Ω, bus 1000 µF, unless a test says otherwise. The printed figures were also found
with another circuit program. The loop's wires have a few µΩ, which move no printed digit.
"""

from __future__ import annotations

import math

import pytest

from tests.transient_designs import one_loop, packs
from tristrand.design import Design
from tristrand.studies import discharge, precharge
from tristrand.studies.results import DischargeResult, PrechargeResult


def charged(design: Design) -> PrechargeResult:
    result = precharge.study(precharge.inputs(design), packs(design))
    assert result.missing == ()
    return result


def discharged(design: Design) -> DischargeResult:
    result = discharge.study(discharge.inputs(design), packs(design))
    assert result.missing == ()
    return result


@pytest.mark.parametrize(("target", "seconds"), [("90 %", 0.2304888), ("95 %", 0.2998728), ("98 %", 0.3915935)])
def test_time_to_the_target_is_the_printed_one(target: str, seconds: float) -> None:
    result = charged(one_loop(target=target))
    assert result.reaches
    # The target is a share of the pack's terminals, which miss 0.1/100.1 of what is left.
    share = float(target.split()[0]) / 100
    ideal = -0.1001 * math.log(1 - share)
    at_terminals = -0.1001 * math.log((1 - share) / (1 - share * 0.1 / 100.1))
    assert ideal == pytest.approx(seconds, abs=5e-8)
    assert result.slowest_s == pytest.approx(at_terminals, rel=2e-7)
    assert result.fastest_s == pytest.approx(at_terminals, rel=2e-7)


def test_peak_current_and_power_are_the_printed_ones() -> None:
    result = charged(one_loop())
    assert result.peak_current_a == pytest.approx(3.9960, abs=5e-5)
    assert result.peak_power_w == pytest.approx(1596.8, abs=0.05)


def test_energy_to_the_target_is_that_of_rc_charging() -> None:
    result = charged(one_loop(target="90 %"))
    # ½C(V² - (V - v)²) R/(R + Rs), with v the bus voltage at that time.
    left = 400 * math.exp(-result.slowest_s / 0.1001)
    assert result.pulse_energy_j == pytest.approx(0.5e-3 * (400**2 - left**2) * 100 / 100.1, rel=1e-6)
    # Printed for a bus at 90 %: 79.200 J; the terminals' drop moves the end of the run by one part in ten thousand.
    assert result.pulse_energy_j * 100.1 / 100 == pytest.approx(79.200, abs=0.01)


def test_a_loaded_bus_settles_at_the_printed_voltage() -> None:
    result = charged(one_loop(load="200 W", on="120 V", off="60 V"))
    assert not result.reaches
    assert math.isnan(result.slowest_s)
    bus_v = 341.3506
    assert result.plateau_share == pytest.approx(bus_v / (400 - 0.1 * 200 / bus_v), abs=2e-6)


def test_a_load_that_starts_too_low_holds_the_bus_at_its_threshold() -> None:
    result = charged(one_loop(load="200 W", on="50 V"))
    assert not result.reaches
    assert result.plateau_share == pytest.approx(50 / 400, abs=2e-4)


@pytest.mark.parametrize(("target", "watt", "factor"), [("95 %", 75.924, 19.0), ("90 %", 143.856, 9.0)])
def test_tolerable_load_is_the_printed_one(target: str, watt: float, factor: float) -> None:
    result = charged(one_loop(target=target))
    assert result.bus_source_ohm == pytest.approx(100.1, rel=1e-6)
    assert result.tolerable_load_ohm == pytest.approx(factor * 100.1, rel=1e-6)
    assert result.tolerable_load_w == pytest.approx(watt, abs=5e-4)


@pytest.mark.parametrize(("factor", "passes"), [(0.998, True), (1.002, False)])
def test_the_tolerable_power_is_where_the_solved_bus_just_passes(factor: float, passes: bool) -> None:
    # The pack's own drop at that load is 0.02 V of 400 V, far inside the step of 0.2 % of the power.
    design = one_loop(load=f"{75.924 * factor:.4f} W", on="120 V", off="60 V", timeout="3 s")
    assert charged(design).reaches is passes


def test_resistor_on_a_shorted_bus() -> None:
    result = charged(one_loop())
    assert result.short_power_w == pytest.approx(400**2 / 100)
    assert result.short_timeout_s == pytest.approx(0.125)  # printed: 400 V, 100 Ω, 200 J


def test_three_attempts_heat_the_resistor_as_printed() -> None:
    result = charged(one_loop())
    # Printed for 80 J every 10 s into 20 J/K behind 10 K/W: 11.42 K after the third.
    rise = (result.temperature_after_attempts_c - 20) * 80 / result.pulse_energy_j
    assert rise == pytest.approx(11.42, abs=0.005)
    # Spacing so that E/C/(1 - exp(-T/RC)) is the 180 K between ambient and limit.
    peak = result.pulse_energy_j / 20 / (1 - math.exp(-result.lockout_s / 200))
    assert peak == pytest.approx(180.0, rel=1e-9)


def test_sensor_tolerances_move_the_closing_both_ways() -> None:
    result = charged(one_loop(pack_sensor="1 %", bus_sensor="1 %"))
    early, late = 0.95 * 0.99 / 1.01, 0.95 * 1.01 / 0.99
    assert result.residual_share == pytest.approx(1 - early, rel=1e-12)
    assert result.residual_v == pytest.approx(400 * (1 - early), rel=1e-3)
    for share, seconds in ((early, result.fastest_s), (late, result.slowest_s)):
        assert seconds == pytest.approx(-0.1001 * math.log((1 - share) / (1 - share * 0.1 / 100.1)), rel=1e-6)


def test_closing_surge_is_the_printed_one() -> None:
    # ΔV 20 V (5 % of 400 V), 2 µH, 1000 µF, and 20 mΩ of pack, wires and contacts together.
    result = charged(one_loop(cell="0.1995 mΩ", inductance="2 µH", swap=(("0.001 mΩ", "0.012 mΩ"),)))
    assert result.surge_with_inductance
    assert result.residual_v == pytest.approx(20.0, rel=2e-5)
    assert result.surge_current_a == pytest.approx(328.4574, rel=2e-4)
    assert result.surge_time_s == pytest.approx(61.726e-6, rel=2e-4)
    assert result.surge_joule_integral_a2s == pytest.approx(10.0, rel=2e-4)


def test_without_inductance_the_surge_is_the_difference_over_the_loop() -> None:
    result = charged(one_loop())
    assert not result.surge_with_inductance
    assert result.surge_current_a == pytest.approx(20 / 0.1, rel=1e-3)
    assert result.surge_joule_integral_a2s == pytest.approx(0.5e-3 * 20**2 / 0.1, rel=1e-3)


@pytest.mark.parametrize(("ohm", "seconds", "watt"), [("5 kΩ", 9.4856, 32.0), ("10 kΩ", 18.9712, 16.0)])
def test_discharge_time_and_power_are_the_printed_ones(ohm: str, seconds: float, watt: float) -> None:
    result = discharged(one_loop(r_dis=ohm))
    assert result.slowest_active_s == pytest.approx(seconds, abs=5e-5)
    assert result.resistor_power_w["r_dis"] == pytest.approx(watt, abs=0.05)
    assert result.resistor_energy_15s_j["r_dis"] == pytest.approx(15 * watt, rel=1e-6)
    rise = watt * 10 * (1 - math.exp(-15 / 200))
    assert result.resistor_temperature_15s_c["r_dis"] == pytest.approx(20 + rise, abs=1e-3)
    assert math.isnan(result.passive_s)


@pytest.mark.parametrize(("within", "ohm"), [("5 s", 2635.57), ("1 s", 527.11)])
def test_largest_discharge_resistance_is_the_printed_one(within: str, ohm: float) -> None:
    assert discharged(one_loop(within=within)).largest_resistance_ohm["r_dis"] == pytest.approx(ohm, abs=0.005)


def test_the_largest_discharge_resistance_just_meets_the_limit() -> None:
    result = discharged(one_loop(r_dis="2635.57 Ω"))
    assert result.slowest_active_s == pytest.approx(5.0, abs=2e-5)
