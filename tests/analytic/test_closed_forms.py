"""Closed forms of precharge, closing surge, discharge, repeated pulses and pack arithmetic.

Expected values come from the founders' table of worked examples (worked by hand-held calculation, and run in
ngspice 39.3 where said), from numerical integration of the equations, or from limits and symmetries.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.integrate import quad, solve_ivp
from scipy.interpolate import RegularGridInterpolator

from tests.evidence import covers
from tests.printed import printed
from tristrand.physics import closing, discharge, pack, precharge, pulses

V, RS, R, C = 400.0, 0.1, 100.0, 1000e-6
SERIES = R + RS


# ---------------------------------------------------------------- precharge
@covers("physics.precharge.time_constant_s")
def test_time_constant_worked_example() -> None:
    assert precharge.time_constant_s(SERIES, C) == printed("0.1001")
    assert precharge.time_constant_s(SERIES, C, 900.0) == printed("0.0900810")


@covers("physics.precharge.time_to_fraction_s")
@pytest.mark.parametrize(
    ("fraction", "in_tau"), [(0.90, "2.302585"), (0.95, "2.995732"), (0.98, "3.912023"), (0.99, "4.605170")]
)
def test_time_to_fraction_in_time_constants(fraction: float, in_tau: str) -> None:
    assert precharge.time_to_fraction_s(fraction, 123.0, 1.0, 1.0) == printed(in_tau)


@covers("physics.precharge.time_to_fraction_s")
@pytest.mark.parametrize(("fraction", "seconds"), [(0.90, "0.2304888"), (0.95, "0.2998728"), (0.98, "0.3915935")])
def test_time_to_fraction_equals_ngspice(fraction: float, seconds: str) -> None:
    """The three crossing times as ngspice 39.3 measured them on the netlist of the worked example."""
    assert precharge.time_to_fraction_s(fraction, V, SERIES, C) == printed(seconds)


@covers("physics.precharge.resistor_energy_j")
@pytest.mark.parametrize(("fraction", "share_of_80_j"), [(0.90, "79.200"), (0.95, "79.800")])
def test_resistor_energy_without_source_resistance(fraction: float, share_of_80_j: str) -> None:
    assert precharge.resistor_energy_j(V, C, R, end_v=fraction * V) == printed(share_of_80_j)


@covers("physics.precharge.resistor_energy_j", "physics.precharge.resistor_energy_loaded_j")
def test_resistor_energy_equals_ngspice() -> None:
    assert precharge.resistor_energy_j(V, C, R, RS) == printed("79.9201")
    # ngspice's own integral after 1 s.
    assert precharge.resistor_energy_loaded_j(1.0, V, C, R, math.inf, RS) == printed("79.92008")


@covers("physics.precharge.peak_current_a", "physics.precharge.peak_power_w")
def test_peaks_of_worked_example() -> None:
    assert precharge.peak_current_a(V, SERIES) == printed("3.9960")
    assert precharge.peak_power_w(V, R, RS) == printed("1596.8")


@covers("physics.precharge.plateau_v", "physics.precharge.bus_voltage_v", "physics.precharge.time_between_s")
def test_bus_with_900_ohm_load() -> None:
    assert precharge.plateau_v(V, SERIES, 900.0) == printed("359.964")
    assert math.isnan(float(precharge.time_to_fraction_s(0.90, V, SERIES, C, load_ohm=900.0)))
    assert precharge.time_between_s(V, SERIES, C, 0.0, 340.0, 900.0) == printed("0.2605208")
    # ngspice: v(1 s).
    assert precharge.bus_voltage_v(1.0, V, SERIES, C, load_ohm=900.0) == printed("359.9586")


@covers("physics.precharge.settled_voltage_v", "physics.precharge.equilibrium_voltages_v")
def test_200_w_load_settles_or_stalls() -> None:
    lower, upper = precharge.equilibrium_voltages_v(V, SERIES, 200.0)
    assert lower == printed("58.649")
    assert upper == printed("341.3506")
    assert precharge.settled_voltage_v(V, SERIES, 200.0, 120.0) == printed("341.3506")
    # Stalls at its threshold; ngspice shows 50.02 V with its own small hysteresis.
    assert precharge.settled_voltage_v(V, SERIES, 200.0, 50.0) == pytest.approx(50.02, abs=0.05)


@covers("physics.precharge.settled_voltage_v")
def test_settled_voltage_edges() -> None:
    powers = np.array([500.0, 200.0, 200.0, 0.0])
    starts = np.array([120.0, 380.0, 450.0, 120.0])
    # More than any operating point; starts above the upper root; never starts; no load.
    assert precharge.settled_voltage_v(V, SERIES, powers, starts).tolist() == [120.0, 380.0, 400.0, 400.0]


@covers("physics.precharge.largest_power_load_w", "physics.precharge.largest_power_w")
def test_power_limits_of_worked_example() -> None:
    assert precharge.largest_power_load_w(0.95, V, SERIES, 120.0) == printed("75.924")
    assert precharge.largest_power_load_w(0.90, V, SERIES, 120.0) == printed("143.856")
    assert precharge.largest_power_w(V, SERIES) == printed("399.600")
    assert precharge.largest_power_load_w(0.90, V, SERIES, 390.0) == math.inf


@covers("physics.precharge.largest_power_load_w")
@settings(max_examples=60, deadline=None)
@given(st.floats(0.5, 0.98), st.floats(5.0, 300.0))
def test_power_limit_is_the_least_the_resistor_can_give(fraction: float, turn_on_v: float) -> None:
    """Against a scan of the load line between the two ends."""
    v_end = fraction * V
    limit = precharge.largest_power_load_w(fraction, V, SERIES, turn_on_v)
    if turn_on_v >= v_end:
        assert limit == math.inf
        return
    scan = np.linspace(turn_on_v, v_end, 2001)
    assert limit == pytest.approx(np.min(scan * (V - scan) / SERIES), rel=1e-9)


@covers("physics.precharge.smallest_load_ohm", "physics.precharge.plateau_v")
def test_smallest_load_is_19_and_9_times_the_resistor() -> None:
    assert precharge.smallest_load_ohm(0.95, 1.0) == pytest.approx(19.0, rel=1e-12)
    assert precharge.smallest_load_ohm(0.90, 1.0) == pytest.approx(9.0, rel=1e-12)
    assert precharge.plateau_v(V, SERIES, 19.0 * SERIES) == pytest.approx(0.95 * V, rel=1e-12)
    just_above = precharge.time_to_fraction_s(0.95, V, SERIES, C, load_ohm=19.0 * SERIES * (1 + 1e-6))
    just_below = precharge.time_to_fraction_s(0.95, V, SERIES, C, load_ohm=19.0 * SERIES * (1 - 1e-6))
    assert math.isfinite(float(just_above))
    assert math.isnan(float(just_below))


@covers(
    "physics.precharge.bus_voltage_v",
    "physics.precharge.resistor_energy_loaded_j",
    "physics.precharge.time_between_s",
)
@settings(max_examples=20, deadline=None)
@given(
    st.floats(50.0, 900.0),
    st.floats(5.0, 500.0),
    st.floats(50e-6, 5e-3),
    st.floats(100.0, 20e3),
    st.floats(0.0, 0.5),
)
def test_loaded_charging_equals_integration(
    pack_v: float, resistor_ohm: float, bus_f: float, load_ohm: float, start: float
) -> None:
    """dv/dt = ((V - v)/R - v/RL)/C and dE/dt = i^2 R, integrated numerically."""
    source_ohm = 0.1
    series, start_v = resistor_ohm + source_ohm, start * pack_v
    span = 2.0 * series * bus_f

    def slope(_: float, y: np.ndarray) -> list[float]:
        current = (pack_v - y[0]) / series
        return [(current - y[0] / load_ohm) / bus_f, current**2 * resistor_ohm]

    end = solve_ivp(slope, (0.0, span), [start_v, 0.0], rtol=1e-10, atol=1e-10, method="DOP853").y[:, -1]
    arguments = (pack_v, series, bus_f)
    assert precharge.bus_voltage_v(span, *arguments, start_v, load_ohm) == pytest.approx(end[0], rel=1e-7)
    energy = precharge.resistor_energy_loaded_j(span, pack_v, bus_f, resistor_ohm, load_ohm, source_ohm, start_v)
    assert energy == pytest.approx(end[1], rel=1e-7)
    if end[0] > start_v * (1 + 1e-3) + 1e-3:
        settled = float(precharge.plateau_v(pack_v, series, load_ohm))
        if settled - end[0] > 1e-3 * settled:
            time_s = precharge.time_between_s(*arguments, start_v, float(end[0]), load_ohm)
            assert time_s == pytest.approx(span, rel=1e-5)


@covers("physics.precharge.resistor_energy_j")
def test_resistor_energy_is_conserved() -> None:
    """Battery energy V*C*(v1 - v0) = stored + lost, lost shared as R to Rs."""
    v0, v1 = 40.0, 390.0
    lost = V * C * (v1 - v0) - 0.5 * C * (v1**2 - v0**2)
    assert precharge.resistor_energy_j(V, C, 30.0, 10.0, v0, v1) == pytest.approx(0.75 * lost, rel=1e-12)
    # Independent of the resistor while the source has none.
    assert precharge.resistor_energy_j(V, C, np.array([1.0, 100.0])).tolist() == [80.0, 80.0]


def test_precharge_broadcasts_and_refuses() -> None:
    times = precharge.time_to_fraction_s(np.array([0.5, 0.9]), V, np.array([[100.0], [200.0]]), C)
    assert isinstance(times, np.ndarray)
    assert times.shape == (2, 2)
    assert isinstance(precharge.time_to_fraction_s(0.9, V, SERIES, C), float)
    assert precharge.time_between_s(V, SERIES, C, 300.0, 250.0) == 0.0
    for bad in (0.0, -1.0, math.nan):
        with pytest.raises(ValueError, match="series_ohm"):
            precharge.time_to_fraction_s(0.9, V, bad, C)
    for fraction in (0.0, 1.0, math.nan):
        with pytest.raises(ValueError, match="fraction"):
            precharge.time_to_fraction_s(fraction, V, SERIES, C)
    with pytest.raises(ValueError, match="start_v"):
        precharge.resistor_energy_j(V, C, R, start_v=300.0, end_v=200.0)


# ---------------------------------------------------------------- closing surge
@covers("physics.closing.closing_surge")
def test_closing_surge_worked_example() -> None:
    surge = closing.closing_surge(20.0, 2e-6, 20e-3, 1e-3)
    assert surge.peak_a == printed("328.4574")
    assert surge.peak_time_s == printed("61.726e-6")
    assert surge.joule_integral_a2s == printed("10.0000")
    # ngspice 39.3, time step 20 ns.
    assert surge.peak_a == printed("328.457", units=1.0)
    assert surge.peak_time_s == pytest.approx(61.711e-6, abs=20e-9)
    assert surge.joule_integral_a2s == pytest.approx(9.999999, rel=2e-7)


@covers("physics.closing.closing_surge")
def test_closing_surge_by_difference() -> None:
    assert closing.closing_surge(np.array([8.0, 20.0, 40.0]), 2e-6, 20e-3, 1e-3).joule_integral_a2s == pytest.approx(
        [1.6, 10.0, 40.0], rel=1e-12
    )
    surge = closing.closing_surge(np.array([16.0, 32.0, 64.0]), 2e-6, 20e-3, 1e-3)
    assert np.round(surge.peak_a[:2], 1).tolist() == [262.8, 525.5]
    assert surge.peak_a[2] == printed("1051")
    assert surge.joule_integral_a2s == pytest.approx([6.4, 25.6, 102.4], rel=1e-12)


@covers("physics.closing.closing_surge")
@settings(max_examples=25, deadline=None)
@given(st.floats(0.05, 20.0), st.sampled_from([0.5, 2.0, 10.0]))
def test_closing_surge_equals_integration(damping: float, microhenry: float) -> None:
    """L di/dt = dV - r i - q/C integrated numerically, below, at and above critical damping."""
    inductance, capacitance, step_v = microhenry * 1e-6, 1e-3, 20.0
    resistance = 2.0 * damping * math.sqrt(inductance / capacitance)
    surge = closing.closing_surge(step_v, inductance, resistance, capacitance)
    unit_s = math.sqrt(inductance * capacitance)

    def slope(_: float, y: np.ndarray) -> list[float]:
        # y = current and charge in units of dV*sqrt(C/L) and dV*C; time in sqrt(LC).
        return [1.0 - 2.0 * damping * y[0] - y[1], y[0]]

    solution = solve_ivp(slope, (0.0, 4.0), [0.0, 0.0], rtol=1e-10, atol=1e-12, dense_output=True)
    grid = np.linspace(0.0, 4.0, 400_001)
    current = solution.sol(grid)[0]
    top = int(np.argmax(current))
    assert surge.peak_a == pytest.approx(current[top] * step_v * math.sqrt(capacitance / inductance), rel=1e-6)
    assert surge.peak_time_s == pytest.approx(grid[top] * unit_s, rel=1e-2, abs=2e-4 * unit_s)


@covers("physics.closing.closing_surge")
def test_closing_surge_limits() -> None:
    inductance, capacitance = 2e-6, 1e-3
    critical = 2.0 * math.sqrt(inductance / capacitance)
    at = closing.closing_surge(20.0, inductance, critical, capacitance)
    # Critical damping: i = dV/L t exp(-t/sqrt(LC)), peak at sqrt(LC), dV*sqrt(C/L)/e.
    assert at.peak_time_s == pytest.approx(math.sqrt(inductance * capacitance), rel=1e-12)
    assert at.peak_a == pytest.approx(20.0 * math.sqrt(capacitance / inductance) / math.e, rel=1e-12)
    nearby = critical * (1.0 + np.array([-2.001e-4, -1.999e-4, -1e-9, 1e-9, 1.999e-4, 2.001e-4]) / 2.0)
    times = closing.closing_surge(20.0, inductance, nearby, capacitance).peak_time_s
    assert np.all(np.diff(times) < 0.0)
    # The series beside critical damping against the plain forms of either side.
    for damping, plain in ((1 - 9.9e-5, math.acos), (1 + 9.9e-5, math.acosh)):
        beside = closing.closing_surge(20.0, inductance, damping * critical, capacitance)
        angle = plain(damping) / math.sqrt(abs(1.0 - damping**2))
        assert beside.peak_time_s == pytest.approx(angle * math.sqrt(inductance * capacitance), rel=1e-10, abs=0)
    # No resistance to speak of: dV*sqrt(C/L) after a quarter swing.
    free = closing.closing_surge(20.0, inductance, 1e-12, capacitance)
    assert free.peak_a == pytest.approx(20.0 * math.sqrt(capacitance / inductance), rel=1e-9)
    assert free.peak_time_s == pytest.approx(0.5 * math.pi * math.sqrt(inductance * capacitance), rel=1e-9)
    # No inductance: dV/r at once; and never above it.
    bare = closing.closing_surge(20.0, 0.0, 20e-3, capacitance)
    assert (bare.peak_a, bare.peak_time_s, bare.damping) == (pytest.approx(1000.0), 0.0, math.inf)
    assert closing.closing_surge(20.0, 1e-12, 20e-3, capacitance).peak_a == pytest.approx(1000.0, rel=1e-4)
    assert closing.closing_surge(-20.0, inductance, critical, capacitance).peak_a == pytest.approx(-at.peak_a)


# ---------------------------------------------------------------- discharge
@covers("physics.discharge.time_to_voltage_s", "physics.discharge.continuous_power_w")
@pytest.mark.parametrize(("ohm", "seconds", "watt"), [(5e3, "9.4856", "32.0"), (10e3, "18.9712", "16.0")])
def test_bleeder_400_v_1_mf(ohm: float, seconds: str, watt: str) -> None:
    assert discharge.time_to_voltage_s(400.0, 60.0, ohm, 1e-3) == printed(seconds)
    assert discharge.continuous_power_w(400.0, ohm) == printed(watt)


@covers("physics.discharge.resistance_for_time_ohm", "physics.discharge.continuous_power_w")
def test_resistance_for_discharge_time() -> None:
    five = discharge.resistance_for_time_ohm(400.0, 60.0, 5.0, 1e-3)
    assert five == printed("2635.57")
    assert discharge.continuous_power_w(400.0, five) == printed("60.71")
    assert discharge.resistance_for_time_ohm(400.0, 60.0, 1.0, 1e-3) == printed("527.11")
    assert discharge.resistance_for_time_ohm(600.0, 60.0, 5.0, 0.6e-3) == printed("3619.12")
    assert discharge.resistance_for_time_ohm(48.0, 60.0, 5.0, 1e-3) == math.inf


@covers("physics.discharge.largest_y_capacitance_f", "physics.discharge.largest_y_capacitance_above_limit_f")
@pytest.mark.parametrize(
    ("volt", "plain", "above_60"), [(400.0, "2.500e-6", "2.5575e-6"), (800.0, "0.6250e-6", "0.62854e-6")]
)
def test_y_capacitance_for_0_2_j(volt: float, plain: str, above_60: str) -> None:
    assert discharge.largest_y_capacitance_f(0.2, volt) == printed(plain)
    assert discharge.largest_y_capacitance_above_limit_f(0.2, volt) == printed(above_60)


@covers("physics.discharge.touch_energy_j", "physics.discharge.touch_energy_above_limit_j")
def test_touch_energy_forms() -> None:
    # 60 uC at 400 V is 0.15 uF and 12 mJ.
    assert discharge.touch_energy_j(0.15e-6, 400.0) == pytest.approx(12e-3, rel=1e-12)
    # The two limits differ by 2.3 % at 400 V: 3600/(400^2 - 3600).
    ratio = float(discharge.touch_energy_j(1e-6, 400.0)) / float(discharge.touch_energy_above_limit_j(1e-6, 400.0))
    assert ratio - 1.0 == printed("0.023")
    assert discharge.touch_energy_above_limit_j(1e-6, np.array([30.0, 60.0])).tolist() == [0.0, 0.0]
    assert discharge.largest_y_capacitance_above_limit_f(0.2, 60.0) == math.inf
    # Energy above 60 V is what leaves the capacitance on its way down to 60 V.
    assert discharge.touch_energy_above_limit_j(1e-6, 400.0) == pytest.approx(
        discharge.resistor_energy_j(400.0, 60.0, 1e-6), rel=1e-12
    )


@covers("physics.discharge.resistor_energy_j", "physics.discharge.voltage_v")
def test_discharge_energy_equals_integral_of_power() -> None:
    ohm, bus_f = 2000.0, 1e-3
    time_s = float(discharge.time_to_voltage_s(400.0, 60.0, ohm, bus_f))
    assert discharge.voltage_v(time_s, 400.0, ohm, bus_f) == pytest.approx(60.0, rel=1e-12)
    power, _ = quad(lambda t: float(discharge.voltage_v(t, 400.0, ohm, bus_f)) ** 2 / ohm, 0.0, time_s, epsabs=1e-10)
    assert discharge.resistor_energy_j(400.0, 60.0, bus_f) == pytest.approx(power, rel=1e-9)


def test_discharge_edges() -> None:
    assert discharge.time_to_voltage_s(48.0, 60.0, math.inf, 1e-3) == 0.0
    assert discharge.time_to_voltage_s(400.0, 60.0, math.inf, 1e-3) == math.inf
    assert discharge.time_to_voltage_s(np.array([0.0, 60.0]), 60.0, 1e3, 1e-3).tolist() == [0.0, 0.0]
    with pytest.raises(ValueError, match="resistance_ohm"):
        discharge.time_to_voltage_s(400.0, 60.0, math.nan, 1e-3)


# ---------------------------------------------------------------- repeated pulses
PULSE = (80.0, 20.0, 10.0, 10.0)


@covers("physics.pulses.rise_after_pulses_k")
@pytest.mark.parametrize(("count", "rise"), [(1, "4.00"), (2, "7.80"), (3, "11.42"), (5, "18.14"), (10, "32.27")])
def test_rise_after_pulses(count: int, rise: str) -> None:
    assert pulses.rise_after_pulses_k(count, *PULSE) == printed(rise)


@covers("physics.pulses.limit_rise_k", "physics.pulses.mean_rise_k")
def test_limit_and_mean_rise() -> None:
    assert pulses.limit_rise_k(*PULSE) == printed("82.017")
    assert pulses.mean_rise_k(80.0, 10.0, 10.0) == printed("80.0")
    # Pulses ever closer together: peak and mean meet.
    assert pulses.limit_rise_k(80e-6, 20.0, 10.0, 10e-6) == pytest.approx(80.0, rel=1e-6)


@covers("physics.pulses.rise_after_pulses_k", "physics.pulses.pulses_within", "physics.pulses.lockout_s")
@settings(max_examples=60, deadline=None)
@given(
    st.floats(1.0, 500.0),
    st.floats(1.0, 50.0),
    st.floats(0.5, 30.0),
    st.floats(0.5, 200.0),
    st.floats(5.0, 150.0),
)
def test_pulses_step_by_step(pulse: float, heat: float, thermal: float, period: float, cap: float) -> None:
    """Against the recursion: cool by exp(-T/RC), add E/C; and the lock-out by its fixed point."""
    decay, rise, allowed = math.exp(-period / (heat * thermal)), 0.0, None
    for number in range(1, 41):
        rise = rise * decay + pulse / heat
        assert pulses.rise_after_pulses_k(number, pulse, heat, thermal, period) == pytest.approx(rise, rel=1e-9)
        # So near the cap that rounding decides: no case for this comparison.
        assume(abs(rise - cap) > 1e-7 * cap)
        if rise > cap and allowed is None:
            allowed = number - 1
    within = float(pulses.pulses_within(pulse, heat, thermal, period, cap))
    if allowed is None:
        assert within >= 40
    else:
        assert within == allowed
    wait = float(pulses.lockout_s(pulse, heat, thermal, cap))
    if pulse / heat >= cap:
        assert math.isnan(wait)
    else:
        again = math.exp(-wait / (heat * thermal))
        assert cap * again + pulse / heat == pytest.approx(cap, rel=1e-9)


@covers("physics.pulses.pulses_within")
def test_pulses_that_meet_the_cap_exactly() -> None:
    """Pulses of 5 K: a cap of 5 K allows one, 4.99 K none, one above the limit any number."""
    caps = np.array([5.0, 4.99, 1.01 * 5.0 / (1.0 - math.exp(-15.0))])
    assert pulses.pulses_within(5.0, 1.0, 1.0, 15.0, caps).tolist() == [1.0, 0.0, math.inf]
    # Cooling by half between pulses of 8 K: 8, 12, 14, 15 K.
    half = math.log(2.0)
    assert pulses.pulses_within(8.0, 1.0, 1.0, half, np.array([8.0, 12.0, 14.0, 15.0])).tolist() == [
        1,
        2,
        3,
        4,
    ]


@covers("physics.pulses.short_circuit_timeout_s")
def test_short_circuit_timeout() -> None:
    assert pulses.short_circuit_timeout_s(200.0, 400.0, 100.0) == printed("0.125")
    # With source resistance the resistor takes I^2 R for that time.
    time_s = float(pulses.short_circuit_timeout_s(200.0, 400.0, 100.0, 25.0))
    assert (400.0 / 125.0) ** 2 * 100.0 * time_s == pytest.approx(200.0, rel=1e-12)


# ---------------------------------------------------------------- pack
PACK_OHM = 57.6e-3


@covers(
    "physics.pack.pack_voltage_v",
    "physics.pack.pack_resistance_ohm",
    "physics.pack.pack_energy_j",
    "physics.pack.pack_charge_c",
)
def test_pack_96s2p() -> None:
    assert pack.pack_voltage_v(96, 3.7) == printed("355.2")
    assert pack.pack_resistance_ohm(96, 2, 1.2e-3) == printed("57.6e-3")
    assert pack.pack_resistance_ohm(96, 2, 1.2e-3, 6e-3) == printed("63.6e-3")
    charge = pack.pack_charge_c(2, 60.0 * 3600.0)
    assert float(pack.pack_energy_j(355.2, charge)) / 3.6e6 == printed("42.624")


@covers("physics.pack.short_circuit_current_a")
def test_pack_short_circuit_current() -> None:
    assert pack.short_circuit_current_a(355.2, PACK_OHM) == printed("6166.67")
    assert pack.short_circuit_current_a(355.2, 63.6e-3) == printed("5584.91")
    assert pack.short_circuit_current_a(403.2, 63.6e-3) == printed("6339.62")


@covers(
    "physics.pack.sag_v",
    "physics.pack.power_w",
    "physics.pack.current_for_power_a",
    "physics.pack.terminal_voltage_v",
    "physics.pack.largest_power_w",
    "physics.pack.current_at_largest_power_a",
)
def test_pack_power() -> None:
    assert pack.sag_v(300.0, PACK_OHM) == printed("17.28")
    assert pack.power_w(355.2, 300.0, PACK_OHM) == printed("101376")
    current = pack.current_for_power_a(80e3, 355.2, PACK_OHM)
    assert current == printed("234.113")
    assert pack.terminal_voltage_v(355.2, current, PACK_OHM) == printed("341.715")
    assert pack.largest_power_w(355.2, PACK_OHM) == printed("547.6e3")
    assert pack.current_at_largest_power_a(355.2, PACK_OHM) == printed("3083.3")
    assert math.isnan(float(pack.current_for_power_a(547.7e3, 355.2, PACK_OHM)))


@covers("physics.pack.pack_resistance_ohm", "physics.pack.sag_v")
def test_pack_13s4p() -> None:
    ohm = pack.pack_resistance_ohm(13, 4, 20e-3)
    assert ohm == pytest.approx(65e-3, rel=1e-12)
    assert pack.sag_v(40.0, ohm) == printed("2.6")
    assert 40.0 * float(pack.sag_v(40.0, ohm)) == printed("104")


@covers("physics.pack.current_for_power_a", "physics.pack.power_w")
@settings(max_examples=80, deadline=None)
@given(st.floats(48.0, 900.0), st.floats(0.0, 1.0), st.floats(-2.0, 0.999))
def test_current_for_power_inverts_power(open_v: float, ohm: float, share: float) -> None:
    wanted = share * open_v**2 / (4.0 * max(ohm, 1e-3))
    current = float(pack.current_for_power_a(wanted, open_v, ohm))
    assert pack.power_w(open_v, current, ohm) == pytest.approx(wanted, rel=1e-9, abs=1e-6)
    # The smaller root: below the current of largest power.
    assert ohm == 0.0 or current <= open_v / (2.0 * ohm)


@covers("physics.pack.pack_voltage_range_v")
def test_pack_voltage_range() -> None:
    low, high = pack.pack_voltage_range_v(96, 2.8, 4.2)
    assert low == printed("268.8")
    assert high == printed("403.2")
    with pytest.raises(ValueError, match="cell_lowest_v"):
        pack.pack_voltage_range_v(96, 4.2, 2.8)


@covers("physics.pack.interpolate_table")
def test_interpolation_is_exact_on_a_bilinear_surface() -> None:
    """a + b T + c s + d T s is met everywhere inside, since it is straight along both axes."""
    temperature, charge = np.array([-20.0, 0.0, 25.0, 45.0]), np.array([0.0, 0.1, 0.5, 1.0])
    surface = lambda t, s: 3.0 - 0.02 * t + 0.5 * s + 0.01 * t * s  # noqa: E731
    table = surface(temperature[:, None], charge[None, :])
    rng = np.random.default_rng(3)
    t, s = rng.uniform(-20.0, 45.0, 200), rng.uniform(0.0, 1.0, 200)
    read = pack.interpolate_table(temperature, charge, table, t, s)
    assert read.value == pytest.approx(surface(t, s), rel=1e-12)
    assert not np.any(read.clamped_row)
    assert not np.any(read.clamped_column)


@covers("physics.pack.table_least")
def test_the_least_of_a_table_is_that_of_a_fine_mesh_over_it() -> None:
    rows, columns = [-20.0, 0.0, 25.0, 45.0], [0.0, 0.1, 0.5, 1.0]
    rng = np.random.default_rng(11)
    for _ in range(40):
        table = rng.uniform(1.0, 9.0, (4, 4))
        (low, high), (first, last) = np.sort(rng.uniform(-20, 45, 2)), np.sort(rng.uniform(0, 1, 2))
        read = RegularGridInterpolator((rows, columns), table)  # bilinear
        # The mesh meets every point of both axes that lies within.
        down = np.union1d(np.linspace(low, high, 60), [r for r in rows if low < r < high])
        across = np.union1d(np.linspace(first, last, 60), [c for c in columns if first < c < last])
        mesh = read(np.stack(np.meshgrid(down, across), axis=-1)).min()
        found = pack.table_least(rows, columns, table.tolist(), (low, high), (first, last))
        assert found == pytest.approx(mesh, rel=1e-12)
    assert pack.table_least(rows, columns, table.tolist(), (-21.0, 0.0), (0.0, 0.5)) == 0.0
    assert pack.table_least(rows, columns, table.tolist(), (0.0, 0.0), (0.5, 1.01)) == 0.0
    with pytest.raises(ValueError, match="span"):
        pack.table_least(rows, columns, table.tolist(), (1.0, 0.0), (0.0, 0.5))


@covers("physics.pack.interpolate_table")
def test_interpolation_says_where_the_table_ends() -> None:
    temperature, charge = np.array([0.0, 25.0]), np.array([0.0, 1.0])
    table = np.array([[1.0, 2.0], [3.0, 4.0]])
    cold = pack.interpolate_table(temperature, charge, table, -30.0, 0.5)
    assert (cold.value, cold.clamped_row, cold.clamped_column) == (1.5, True, False)
    full = pack.interpolate_table(temperature, charge, table, 25.0, np.array([1.0, 1.2]))
    assert full.value.tolist() == [4.0, 4.0]
    assert full.clamped_column.tolist() == [False, True]
    single = pack.interpolate_table(25.0, charge, table[1:], 25.0, 0.5)
    assert (single.value, single.clamped_row) == (3.5, False)
    assert pack.interpolate_table(25.0, charge, table[1:], 24.0, 0.5).clamped_row is True
    with pytest.raises(ValueError, match="rise"):
        pack.interpolate_table(temperature[::-1], charge, table, 1.0, 0.5)
    with pytest.raises(ValueError, match="shape"):
        pack.interpolate_table(temperature, charge, table.T[:1], 1.0, 0.5)
    with pytest.raises(ValueError, match="row"):
        pack.interpolate_table(temperature, charge, table, math.nan, 0.5)
