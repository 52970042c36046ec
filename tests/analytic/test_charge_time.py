"""Charge time: worked sessions, closed form against table, integration of the equations, energy balance, limits.

Worked values come from the founders' table (120 Ah, 57.6 mohm, OCV 326.4 + 72 s, 398.4 V, from 20 %, cut-off 6 A).
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad, solve_ivp
from scipy.optimize import brentq

from tests.evidence import covers
from tests.printed import printed
from tristrand.physics import charge_session, charging, pack

OHM, CHARGE_C, EMPTY_V, SLOPE_V = 57.6e-3, 120.0 * 3600.0, 326.4, 72.0
LINE: dict[str, Any] = {"limit_v": 398.4, "cutoff_a": 6.0, "start_soc": 0.2}


def line(current_a: Any, ohm: Any = OHM, **changes: Any) -> charge_session.LineSession:
    return charge_session.line_session(EMPTY_V, SLOPE_V, ohm, CHARGE_C, current_a=current_a, **(LINE | changes))


def straight(current_a: Any, points: int = 2, ohm: float = OHM, **changes: Any) -> charge_session.TableSession:
    soc = np.linspace(0.0, 1.0, points)
    return charge_session.table_session(
        soc, EMPTY_V + SLOPE_V * soc, ohm, CHARGE_C, current_a=current_a, **(LINE | changes)
    )


# ---------------------------------------------------------------- worked examples
@covers("physics.charge_session.line_session")
def test_worked_session_40_a() -> None:
    assert pack.pack_resistance_ohm(96, 2, 1.2e-3) == pytest.approx(OHM, rel=1e-12)
    assert pack.pack_charge_c(2, 60.0 * 3600.0) == CHARGE_C
    session = line(40.0)
    assert session.cc_end_soc == printed("0.968")
    assert session.cc_s / 3600.0 == printed("2.304")
    assert session.tau_s == printed("345.6")
    assert session.cv_s / 3600.0 == printed("0.18212")
    assert session.end_soc == printed("0.9952")


@covers("physics.charge_session.line_session")
def test_worked_session_120_a() -> None:
    session = line(120.0)
    assert session.cc_end_soc == printed("0.904")
    assert session.cc_s / 3600.0 == printed("0.704")
    assert session.cv_s / 3600.0 == printed("0.28759")


@covers("physics.charge_session.table_session")
@pytest.mark.parametrize(("amps", "cc", "cv"), [(40.0, "2.304", "0.18212"), (120.0, "0.704", "0.28759")])
def test_worked_sessions_from_a_table(amps: float, cc: str, cv: str) -> None:
    session = straight(amps)
    assert session.limited_by == ("current", "voltage")
    assert session.time_limited_by_s("current") / 3600.0 == printed(cc)
    assert session.time_limited_by_s("voltage") / 3600.0 == printed(cv)
    assert session.time_limited_by_s("power") == 0.0
    assert (session.soc[-1], session.ended_by) == (printed("0.9952"), "voltage")
    assert session.current_a == pytest.approx([amps, amps, 6.0], rel=1e-9)
    assert session.terminal_v[1:] == pytest.approx([398.4, 398.4], rel=1e-12)


@covers("physics.charging.ac_limited_time_s", "physics.charging.ac_limited_energy_j", "physics.charging.pack_power_w")
def test_ac_limited_worked_example() -> None:
    """60 % of 42.6 kWh from 7.36 kW at 93 %."""
    wanted = 42.6 * 0.6 * 3.6e6
    seconds = charging.ac_limited_time_s(wanted, 7360.0, 0.93)
    assert seconds / 3600.0 == printed("3.734")
    assert charging.ac_limited_energy_j(seconds, 7360.0, 0.93) == pytest.approx(wanted, rel=1e-12)
    assert charging.pack_power_w(7360.0, 0.93) == pytest.approx(6844.8, rel=1e-12)


# ---------------------------------------------------------------- against integration in time
def flow(soc: float, ocv: Any, ohm: float, limit_v: float, amps: Any, power_w: float = math.inf) -> float:
    """Current at a state of charge, the power's found by bisection."""
    open_v = float(ocv(soc))
    by_power = math.inf
    if math.isfinite(power_w):
        high = 1.001 * power_w / open_v
        by_power = brentq(lambda i: i * (open_v + i * ohm) - power_w, 0.0, high, xtol=1e-13, rtol=1e-15)
    return min(float(amps(soc)), by_power, (limit_v - open_v) / ohm)


@covers("physics.charge_session.line_session")
@pytest.mark.parametrize(("amps", "start", "target"), [(40.0, 0.2, 1.0), (120.0, 0.2, 0.95), (300.0, 0.9, 1.0)])
def test_line_session_equals_integration(amps: float, start: float, target: float) -> None:
    """ds/dt = I/Q with energies at the terminals, at open circuit and in the resistance as further states."""
    session = line(amps, start_soc=start, target_soc=target)

    def slope(_: float, y: np.ndarray) -> list[float]:
        open_v = EMPTY_V + SLOPE_V * y[0]
        current = min(amps, (398.4 - open_v) / OHM)
        return [current / CHARGE_C, current * (open_v + current * OHM), current * open_v, current**2 * OHM]

    total = float(session.total_s)
    end = solve_ivp(slope, (0.0, total), [start, 0.0, 0.0, 0.0], rtol=1e-9, atol=1e-9, max_step=total / 200).y[:, -1]
    found = [session.end_soc, session.terminal_j, session.stored_j, session.heat_j]
    assert found == pytest.approx(end.tolist(), rel=2e-6)


SOC = np.array([0.0, 0.1, 0.3, 0.5, 0.8, 0.95, 1.0])
OCV = np.array([310.0, 335.0, 350.0, 352.0, 375.0, 392.0, 398.4])
LIMIT_SOC = np.array([0.0, 0.07, 0.15, 0.6, 0.85, 1.0])
LIMIT_A = np.array([10.0, 25.0, 90.0, 90.0, 50.0, 20.0])


def curved(**changes: Any) -> charge_session.TableSession:
    given: dict[str, Any] = {
        "soc": SOC, "ocv_v": OCV, "resistance_ohm": 0.15, "charge_c": CHARGE_C, "limit_v": 398.4,
        "current_a": LIMIT_A, "current_soc": LIMIT_SOC, "cutoff_a": 4.0, "start_soc": 0.02, "power_w": 21e3,
    }  # fmt: skip
    return charge_session.table_session(**(given | changes))


@covers("physics.charge_session.table_session")
@pytest.mark.parametrize("power", [21e3, 30e3, 8e3, math.inf])
def test_table_session_equals_integration(power: float) -> None:
    """Time, heat and energy as integrals over charge: t = int Q/I ds; all three limits take their turn."""
    session = curved(power_w=power)
    ocv, amps = (lambda s: np.interp(s, SOC, OCV)), (lambda s: np.interp(s, LIMIT_SOC, LIMIT_A))
    current = lambda s: flow(s, ocv, 0.15, 398.4, amps, power)  # noqa: E731
    assert session.current_a == pytest.approx([current(s) for s in session.soc], rel=1e-9)
    time = heat = terminal = 0.0
    # Cut at the session's own nodes and once more between them: a wrong cut shows as a wrong sum, not as agreement.
    for low, high in zip(session.soc, session.soc[1:], strict=False):
        for a, b in ((low, 0.4 * low + 0.6 * high), (0.4 * low + 0.6 * high, high)):
            time += quad(lambda s: CHARGE_C / current(s), a, b, epsrel=1e-11)[0]
            heat += quad(lambda s: CHARGE_C * current(s) * 0.15, a, b, epsrel=1e-11)[0]
            terminal += quad(lambda s: CHARGE_C * (ocv(s) + current(s) * 0.15), a, b, epsrel=1e-11)[0]
    assert session.total_s == pytest.approx(time, rel=1e-9)
    assert session.heat_j == pytest.approx(heat, rel=1e-9)
    assert session.terminal_j == pytest.approx(terminal, rel=1e-9)
    assert session.soc[-1] == pytest.approx(brentq(lambda s: current(s) - 4.0, 0.95, 1.0), rel=1e-9)
    laws = {"current", "voltage"} | ({"power"} if power < 35e3 else set())
    assert set(session.limited_by) == laws


@covers("physics.charge_session.table_session")
def test_table_session_equals_stepping_in_time() -> None:
    session = curved()
    ocv, amps = (lambda s: np.interp(s, SOC, OCV)), (lambda s: np.interp(s, LIMIT_SOC, LIMIT_A))

    def slope(_: float, y: np.ndarray) -> list[float]:
        current = flow(y[0], ocv, 0.15, 398.4, amps, 21e3)
        return [current / CHARGE_C, current * (float(ocv(y[0])) + 0.15 * current), 0.15 * current**2]

    total = session.total_s
    end = solve_ivp(slope, (0.0, total), [0.02, 0.0, 0.0], rtol=1e-8, atol=1e-8, max_step=total / 1000).y[:, -1]
    assert [session.soc[-1], session.terminal_j, session.heat_j] == pytest.approx(end.tolist(), rel=2e-5)


@covers("physics.charge_session.table_session")
@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32 - 1), st.floats(0.0, 0.5), st.floats(2e3, 60e3))
def test_any_table_equals_a_plain_sum(seed: int, ohm: float, power: float) -> None:
    """Random tables of both kinds against 40 000 small steps of charge, limits taken at each step's middle."""
    rng = np.random.default_rng(seed)
    soc = np.unique(np.concatenate([[0.0, 1.0], rng.uniform(0.0, 1.0, 5)]))
    at = np.unique(np.concatenate([[0.0, 1.0], rng.uniform(0.0, 1.0, 6)]))
    ocv, amps = np.sort(rng.uniform(300.0, 400.0, soc.size)), rng.uniform(5.0, 150.0, at.size)
    limit, cutoff = rng.uniform(380.0, 420.0), rng.uniform(0.5, 8.0)
    session = charge_session.table_session(
        soc, ocv, ohm, CHARGE_C, limit_v=limit, current_a=amps, current_soc=at, cutoff_a=cutoff,
        start_soc=0.05, target_soc=0.95, power_w=power,
    )  # fmt: skip
    edges = np.linspace(0.05, 0.95, 40_001)
    middle = 0.5 * (edges[1:] + edges[:-1])
    open_v = np.interp(middle, soc, ocv)
    by_power = 2.0 * power / (open_v + np.sqrt(open_v**2 + 4.0 * ohm * power))
    by_voltage = np.where(open_v > limit, 0.0, (limit - open_v) / max(ohm, 1e-9))
    current = np.minimum(np.minimum(by_power, by_voltage), np.interp(middle, at, amps))
    stop = int(np.argmax(current < cutoff)) if bool(np.any(current < cutoff)) else middle.size
    step_s = 0.9 / 40_000 * CHARGE_C / current[:stop]
    assert session.soc[-1] == pytest.approx(edges[stop], abs=3e-5)
    assert session.total_s == pytest.approx(step_s.sum(), rel=1e-4, abs=3.0 * 0.9 / 40_000 * CHARGE_C / cutoff)
    assert session.heat_j == pytest.approx((current[:stop] ** 2 * ohm * step_s).sum(), rel=1e-3, abs=100.0)
    assert (session.ended_by == "target") == (stop == middle.size)


@covers("physics.charge_session.table_session")
def test_power_limit_that_comes_and_goes_within_one_piece() -> None:
    """(60 - 14 s)(300 + 100 s) = 18 450 at s = (18 -+ sqrt(72))/28: the power limits between the two only."""
    session = charge_session.table_session(
        np.array([0.0, 1.0]), np.array([300.0, 400.0]), 0.0, CHARGE_C,
        limit_v=500.0, current_a=np.array([60.0, 46.0]), cutoff_a=1.0, start_soc=0.0, power_w=18450.0,
    )  # fmt: skip
    cuts = [(18.0 - math.sqrt(72.0)) / 28.0, (18.0 + math.sqrt(72.0)) / 28.0]
    assert session.soc == pytest.approx([0.0, *cuts, 1.0], rel=1e-12)
    assert session.limited_by == ("current", "power", "current")
    stored = CHARGE_C * (cuts[1] - cuts[0]) * (300.0 + 50.0 * (cuts[0] + cuts[1]))
    assert session.time_limited_by_s("power") == pytest.approx(stored / 18450.0, rel=1e-12)


@covers("physics.charge_session.table_session")
def test_no_limit_is_ever_exceeded() -> None:
    session = curved()
    terminal = session.terminal_v
    assert np.all(terminal <= 398.4 * (1.0 + 1e-12))
    assert np.all(session.current_a * terminal <= 21e3 * (1.0 + 1e-12))
    assert np.all(session.current_a <= np.interp(session.soc, LIMIT_SOC, LIMIT_A) * (1.0 + 1e-12))
    assert np.all(session.current_a >= 4.0 * (1.0 - 1e-9))
    # At every node one of them is met.
    met = np.stack([terminal / 398.4, session.current_a * terminal / 21e3])
    met = np.vstack([met, session.current_a / np.interp(session.soc, LIMIT_SOC, LIMIT_A)])
    assert met.max(axis=0) == pytest.approx(1.0, rel=1e-9)


# ---------------------------------------------------------------- closed form and table
amperes = st.floats(7.0, 500.0)


@covers("physics.charge_session.line_session", "physics.charge_session.table_session")
@settings(max_examples=80, deadline=None)
@given(amperes, st.floats(0.0, 0.5), st.floats(0.0, 1.0), st.floats(0.0, 1.0), st.integers(2, 9))
def test_table_of_a_straight_line(amps: float, ohm: float, start: float, share: float, points: int) -> None:
    """However many points the line is cut into."""
    ends = {"start_soc": start, "target_soc": start + share * (1.0 - start)}
    closed, table = line(amps, ohm, **ends), straight(amps, points, ohm, **ends)
    assert table.soc[-1] == pytest.approx(closed.end_soc, rel=1e-9)
    assert table.total_s == pytest.approx(closed.total_s, rel=1e-6, abs=1e-4)
    assert table.heat_j == pytest.approx(closed.heat_j, rel=1e-6, abs=1e-3)
    assert table.stored_j == pytest.approx(closed.stored_j, rel=1e-9, abs=1e-3)


@covers("physics.charge_session.table_session")
def test_finer_tables_of_the_same_curve_change_nothing() -> None:
    plain = curved()
    fine = np.unique(np.concatenate([SOC, np.linspace(0.0, 1.0, 1001)]))
    finer = curved(soc=fine, ocv_v=np.interp(fine, SOC, OCV))
    assert finer.soc.size > 900
    assert finer.total_s == pytest.approx(plain.total_s, rel=1e-11)
    assert finer.heat_j == pytest.approx(plain.heat_j, rel=1e-11)
    assert finer.soc[-1] == pytest.approx(plain.soc[-1], rel=1e-12)
    for law in ("current", "power", "voltage"):
        assert finer.time_limited_by_s(law) == pytest.approx(plain.time_limited_by_s(law), rel=1e-9)


@covers("physics.charge_session.table_session")
@settings(max_examples=40, deadline=None)
@given(st.floats(1e3, 1e5), st.floats(0.0, 0.3))
def test_power_session_gives_energy_over_power(power: float, ohm: float) -> None:
    """Only the power limits, on a flat or rising curve: time is energy at the terminals over power."""
    session = charge_session.table_session(
        np.array([0.0, 0.5, 1.0]), np.array([300.0, 350.0, 350.0]), ohm, CHARGE_C,
        limit_v=1e4, current_a=1e6, cutoff_a=1e-3, start_soc=0.1, target_soc=0.9, power_w=power,
    )  # fmt: skip
    assert set(session.limited_by) == {"power"}
    stored = CHARGE_C * (0.4 * (310.0 + 350.0) / 2.0 + 0.4 * 350.0)
    assert session.stored_j == pytest.approx(stored, rel=1e-12)
    assert session.total_s * power == pytest.approx(session.terminal_j, rel=1e-9)
    heat = sum(
        quad(lambda s: CHARGE_C * ohm * flow(s, lambda x: np.interp(x, [0, 0.5], [300, 350]), ohm or 1e-12, 1e9,
                                             lambda _: 1e6, power), a, b)[0]
        for a, b in ((0.1, 0.5), (0.5, 0.9))
    )  # fmt: skip
    assert session.heat_j == pytest.approx(heat, rel=1e-7, abs=1e-9 * stored)


@covers("physics.charge_session.table_session")
def test_flat_plateau_charges_at_constant_current() -> None:
    session = charge_session.table_session(
        np.array([0.0, 1.0]), np.array([330.0, 330.0]), 0.1, CHARGE_C,
        limit_v=365.0, current_a=60.0, cutoff_a=5.0, start_soc=0.0, target_soc=0.5,
    )  # fmt: skip
    assert session.total_s == pytest.approx(0.5 * CHARGE_C / 60.0, rel=1e-12)
    assert (session.ended_by, session.limited_by) == ("target", ("current",))
    assert session.heat_j == pytest.approx(60.0**2 * 0.1 * session.total_s, rel=1e-12)


@covers("physics.charge_session.table_session")
def test_flat_plateau_at_constant_voltage() -> None:
    """(338 - 330)/0.1 = 80 A, where the table would allow 100 A."""
    session = charge_session.table_session(
        np.array([0.0, 1.0]), np.array([330.0, 330.0]), 0.1, CHARGE_C,
        limit_v=338.0, current_a=100.0, cutoff_a=5.0, start_soc=0.25,
    )  # fmt: skip
    assert session.total_s == pytest.approx(0.75 * CHARGE_C / 80.0, rel=1e-12)
    assert (session.ended_by, session.limited_by) == ("target", ("voltage",))


# ---------------------------------------------------------------- limits of the sessions
@covers("physics.charge_session.line_session", "physics.charge_session.table_session")
def test_without_resistance_there_is_no_second_phase() -> None:
    for ohm in (0.0, 1e-15, 1e-9):
        closed, table = line(40.0, ohm), straight(40.0, 5, ohm)
        assert closed.cv_s == pytest.approx(0.0, abs=1e-4)
        for session in (closed, table):
            assert session.total_s == pytest.approx(0.8 * CHARGE_C / 40.0, rel=1e-8)
            assert session.heat_j == pytest.approx(40.0 * ohm * 0.8 * CHARGE_C, rel=1e-6)
        assert closed.end_soc == pytest.approx(1.0, rel=1e-9)
        assert table.soc[-1] == pytest.approx(1.0, rel=1e-9)
    shrinking = [float(line(120.0, ohm).cv_s) for ohm in (0.1, 0.01, 0.001)]
    assert shrinking == pytest.approx([shrinking[0] / k for k in (1.0, 10.0, 100.0)], rel=1e-9)


@covers("physics.charge_session.line_session", "physics.charge_session.table_session")
def test_cutoff_at_the_charge_current_leaves_no_second_phase() -> None:
    closed, table = line(40.0, cutoff_a=40.0), straight(40.0, 4, cutoff_a=40.0)
    assert closed.cv_s == 0.0
    assert closed.end_soc == pytest.approx(0.968, rel=1e-12)
    assert closed.cc_s == pytest.approx(2.304 * 3600.0, rel=1e-12)
    assert (table.total_s, table.soc[-1]) == pytest.approx((2.304 * 3600.0, 0.968), rel=1e-9)
    near = line(40.0, cutoff_a=40.0 * (1.0 - 1e-6))
    assert near.cv_s == pytest.approx(345.6e-6, rel=1e-5)


@covers("physics.charge_session.line_session", "physics.charge_session.table_session")
def test_sessions_that_do_not_start() -> None:
    """OCV at 99.6 % is 398.112 V: 0.288 V over 57.6 mohm is 5 A, below the cut-off."""
    closed, table = line(40.0, start_soc=0.996), straight(40.0, start_soc=0.996)
    assert (closed.cc_s, closed.cv_s, closed.end_soc, closed.stored_j, closed.heat_j) == (0.0, 0.0, 0.996, 0.0, 0.0)
    assert (table.total_s, table.soc.tolist(), table.ended_by, table.limited_by) == (0.0, [0.996], "voltage", ())
    assert table.current_a == pytest.approx([5.0], rel=1e-9)
    over = straight(40.0, ohm=0.0, limit_v=330.0)
    assert (over.ended_by, over.current_a.tolist(), over.total_s) == ("voltage", [0.0], 0.0)
    assert line(40.0, 0.0, limit_v=330.0).total_s == 0.0
    cold = straight(3.0)
    assert (cold.ended_by, cold.total_s, cold.terminal_j) == ("current", 0.0, 0.0)
    weak = straight(40.0, power_w=1000.0)
    assert (weak.ended_by, weak.total_s) == ("power", 0.0)
    here = straight(40.0, target_soc=0.2)
    assert (here.ended_by, here.total_s) == ("target", 0.0)


@covers("physics.charge_session.table_session")
def test_session_ends_where_a_table_takes_the_current_away() -> None:
    """From 40 A at 50 % straight to 0 at 90 %: 6 A at 84 %; ln(40/6) CHARGE_C 0.4/40 seconds for the slope."""
    session = straight(np.array([40.0, 40.0, 0.0, 0.0]), current_soc=np.array([0.0, 0.5, 0.9, 1.0]))
    assert (session.soc[-1], session.ended_by) == (pytest.approx(0.84, rel=1e-12), "current")
    expected = 0.3 * CHARGE_C / 40.0 + CHARGE_C * 0.4 / 40.0 * math.log(40.0 / 6.0)
    assert session.total_s == pytest.approx(expected, rel=1e-12)


@covers("physics.charge_session.table_session")
def test_session_ends_where_power_falls_below_the_cutoff() -> None:
    """2160 W are 6 A at 360 V at the terminals: OCV 359.6544 V there."""
    session = straight(40.0, power_w=2160.0)
    assert (session.soc[-1], session.ended_by) == (pytest.approx((360.0 - 6.0 * OHM - EMPTY_V) / SLOPE_V), "power")


@covers("physics.charge_session.line_session")
@settings(max_examples=60, deadline=None)
@given(amperes, amperes, st.floats(0.001, 0.4), st.floats(0.0, 0.9))
def test_more_current_is_never_slower_and_never_cooler(one: float, two: float, ohm: float, start: float) -> None:
    low, high = line(np.array(sorted((one, two))), ohm, start_soc=start).total_s
    assert high <= low * (1.0 + 1e-9) + 1e-9
    heat = line(np.array(sorted((one, two))), ohm, start_soc=start).heat_j
    assert heat[0] <= heat[1] * (1.0 + 1e-9) + 1e-6


@covers("physics.charge_session.line_session", "physics.charge_session.table_session")
def test_monotonic_in_start_target_cutoff_power_and_limit() -> None:
    grid = np.linspace(0.25, 1.0, 31)
    assert np.all(np.diff(line(120.0, target_soc=grid).total_s) >= 0.0)
    assert np.all(np.diff(line(120.0, start_soc=grid).total_s) <= 0.0)
    assert np.all(np.diff(line(120.0, cutoff_a=np.linspace(1.0, 120.0, 31)).total_s) < 0.0)
    assert np.all(np.diff([curved(target_soc=t).total_s for t in grid]) >= 0.0)
    powers = np.linspace(5e3, 40e3, 12)
    assert np.all(np.diff([curved(power_w=p).total_s for p in powers]) <= 1e-6)
    doubled = charge_session.line_session(
        EMPTY_V, SLOPE_V, OHM / 2, 2 * CHARGE_C, current_a=80.0, **(LINE | {"cutoff_a": 12.0})
    )
    # Two such packs side by side at twice the current: the same hours.
    assert doubled.total_s == pytest.approx(line(40.0).total_s, rel=1e-12)


@covers("physics.charge_session.line_session")
def test_sessions_broadcast() -> None:
    both = line(np.array([40.0, 120.0]))
    for k, amps in enumerate((40.0, 120.0)):
        assert [float(np.broadcast_to(field, 2)[k]) for field in both] == [float(f) for f in line(amps)]
    assert isinstance(line(40.0).total_s, float)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"start_soc": 0.9, "target_soc": 0.8}, "start_soc"),
        ({"target_soc": 1.01}, "target_soc"),
        ({"start_soc": -0.1}, "start_soc"),
        ({"cutoff_a": 0.0}, "cutoff_a"),
        ({"cutoff_a": math.nan}, "cutoff_a"),
        ({"limit_v": math.inf}, "limit_v"),
        ({"ohm": -1e-3}, "resistance_ohm"),
    ],
)
def test_faulty_sessions_are_refused(changes: dict[str, float], words: str) -> None:
    for session in (line, straight):
        with pytest.raises(ValueError, match=words):
            session(40.0, **changes)


def test_faulty_tables_are_refused() -> None:
    with pytest.raises(ValueError, match="cutoff_a must not be above"):
        line(5.0)
    with pytest.raises(ValueError, match="fall"):
        curved(ocv_v=OCV[::-1])
    with pytest.raises(ValueError, match="rise"):
        curved(soc=SOC[::-1])
    with pytest.raises(ValueError, match="ocv_v must reach"):
        curved(soc=SOC * 0.9)
    with pytest.raises(ValueError, match="table of current_a must reach"):
        curved(current_soc=0.1 + LIMIT_SOC)
    with pytest.raises(ValueError, match="current_a"):
        curved(current_a=-LIMIT_A)
    with pytest.raises(ValueError, match="current_a"):
        curved(current_a=np.where(LIMIT_A > 80.0, np.nan, LIMIT_A))
    with pytest.raises(ValueError, match="power_w"):
        curved(power_w=0.0)
    with pytest.raises(ValueError, match="ocv_v"):
        curved(ocv_v=OCV - OCV[0])


# ---------------------------------------------------------------- limit by temperature and charge
@covers("physics.charging.charge_limit_a")
def test_charge_limit_is_straight_between_entries_and_nothing_outside() -> None:
    temperatures, socs = np.array([0.0, 10.0, 45.0]), np.array([0.1, 0.5, 1.0])
    surface = lambda t, s: 20.0 + 2.0 * t - 10.0 * s + 0.5 * t * s  # noqa: E731
    table = surface(temperatures[:, None], socs[None, :])
    rng = np.random.default_rng(5)
    t, s = rng.uniform(0.0, 45.0, 100), rng.uniform(0.1, 1.0, 100)
    inside = charging.charge_limit_a(temperatures, socs, table, t, s)
    assert inside.current_a == pytest.approx(surface(t, s), rel=1e-12)
    assert not np.any(inside.outside)
    for t_out, s_out in ((-0.001, 0.5), (45.001, 0.5), (20.0, 0.099), (20.0, 1.001)):
        assert charging.charge_limit_a(temperatures, socs, table, t_out, s_out) == (0.0, True)
    corners = charging.charge_limit_a(temperatures, socs, table, np.array([0.0, 45.0]), np.array([0.1, 1.0]))
    assert corners.current_a == pytest.approx([19.0, 122.5], rel=1e-12)
    assert corners.outside.tolist() == [False, False]
    with pytest.raises(ValueError, match="table_a"):
        charging.charge_limit_a(temperatures, socs, -table, 20.0, 0.5)
    with pytest.raises(ValueError, match="shape"):
        charging.charge_limit_a(temperatures, socs, table[:2], 20.0, 0.5)


@covers("physics.charging.charge_limit_a", "physics.charge_session.table_session")
def test_session_at_a_temperature_between_two_rows() -> None:
    """Rows of 20 A and 60 A, 25 % of the way: 30 A throughout the first phase."""
    limit = charging.charge_limit_a(np.array([0.0, 20.0]), SOC, np.array([[20.0], [60.0]]) * np.ones(7), 5.0, SOC)
    session = straight(limit.current_a, current_soc=SOC)
    assert session.total_s == pytest.approx(line(30.0).total_s, rel=1e-9)
    frozen = charging.charge_limit_a(np.array([0.0, 20.0]), SOC, np.ones((2, 7)) * 20.0, -1.0, SOC)
    assert np.all(frozen.outside)
    assert straight(frozen.current_a, current_soc=SOC).total_s == 0.0


# ---------------------------------------------------------------- chain, charger, 12 V side
@covers("physics.charging.smallest_link")
def test_smallest_link_names_the_first_of_the_smallest() -> None:
    chain = {"supply": 32.0, "cable": 20.0, "onboard charger": 20.0, "pack": math.inf}
    assert charging.smallest_link(chain) == ("cable", 20.0)
    assert charging.smallest_link(dict(reversed(chain.items()))) == ("onboard charger", 20.0)
    assert charging.smallest_link({"only": math.inf}) == ("only", math.inf)
    assert charging.smallest_link(chain | {"pilot": 0.0}).name == "pilot"
    for fault in (math.nan, -1.0):
        with pytest.raises(ValueError, match="cable"):
            charging.smallest_link(chain | {"cable": fault})
    with pytest.raises(ValueError, match="at least one"):
        charging.smallest_link({})


@covers("physics.charging.supply_power_w")
def test_three_phases_are_three_times_one() -> None:
    """Line to line is sqrt(3) times line to neutral, so each phase gives a third."""
    volt = np.array([208.0, 400.0, 480.0])
    three = charging.supply_power_w(volt, 16.0, 3, 0.98)
    assert three == pytest.approx(3.0 * charging.supply_power_w(volt / math.sqrt(3.0), 16.0, 1, 0.98), rel=1e-12)
    assert charging.supply_power_w(230.0, 10.0, 1, 0.5) == 1150.0
    with pytest.raises(ValueError, match="phases"):
        charging.supply_power_w(230.0, 10.0, 2)  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="power_factor"):
        charging.supply_power_w(230.0, 10.0, 1, 1.01)


@covers("physics.charging.charger_current_a", "physics.charging.ac_power_for_current_w")
@settings(max_examples=80, deadline=None)
@given(st.floats(0.0, 22e3), st.floats(0.5, 1.0), st.floats(40.0, 900.0), st.floats(0.0, 1.0))
def test_charger_current_balances_power(ac_w: float, efficiency: float, open_v: float, ohm: float) -> None:
    current = float(charging.charger_current_a(ac_w, efficiency, open_v, ohm))
    assert current >= 0.0
    assert current * (open_v + current * ohm) == pytest.approx(efficiency * ac_w, rel=1e-9, abs=1e-9)
    assert charging.ac_power_for_current_w(current, efficiency, open_v, ohm) == pytest.approx(ac_w, rel=1e-9, abs=1e-9)


@covers("physics.charging.charger_current_a")
def test_charger_current_without_resistance() -> None:
    assert charging.charger_current_a(7360.0, 0.93, 342.24) == pytest.approx(20.0, rel=1e-12)
    assert str(charging.charger_current_a(0.0, 0.93, 342.24)) == "0.0"
    with pytest.raises(ValueError, match="efficiency"):
        charging.charger_current_a(7360.0, 93.0, 342.24)
    with pytest.raises(ValueError, match="current_a"):
        charging.ac_power_for_current_w(-1.0, 0.93, 342.24)


@covers(
    "physics.charging.pack_power_w",
    "physics.charging.low_voltage_energy_j",
    "physics.charging.ac_limited_time_s",
    "physics.charging.ac_limited_energy_j",
)
def test_energy_from_the_wall_goes_to_pack_12_v_and_losses() -> None:
    wall, eta, low, eta_low, wanted = 3680.0, 0.92, 180.0, 0.88, 20.0 * 3.6e6
    seconds = float(charging.ac_limited_time_s(wanted, wall, eta, low, eta_low))
    drawn = float(charging.low_voltage_energy_j(low, seconds, eta_low))
    assert drawn * eta_low == pytest.approx(low * seconds, rel=1e-12)
    assert wall * seconds == pytest.approx(wanted + drawn + (1.0 - eta) * wall * seconds, rel=1e-12)
    assert charging.ac_limited_energy_j(seconds, wall, eta, low, eta_low) == pytest.approx(wanted, rel=1e-12)
    assert seconds > charging.ac_limited_time_s(wanted, wall, eta)


@covers("physics.charging.ac_limited_time_s", "physics.charging.pack_power_w")
def test_a_supply_that_only_feeds_the_12_v_side_never_charges() -> None:
    powers = np.array([0.0, 200.0, 250.0, 500.0])
    assert charging.pack_power_w(powers, 0.8, 200.0).tolist() == pytest.approx([-200.0, -40.0, 0.0, 200.0])
    assert charging.ac_limited_time_s(3600.0, powers, 0.8, 200.0).tolist() == [math.inf, math.inf, math.inf, 18.0]
    assert charging.ac_limited_time_s(0.0, powers, 0.8, 200.0).tolist() == [0.0] * 4
    assert charging.ac_limited_energy_j(3600.0, 200.0, 0.8, 200.0) == pytest.approx(-144e3)
    for faulty in ({"low_voltage_w": -1.0}, {"converter_efficiency": 0.0}):
        with pytest.raises(ValueError, match=next(iter(faulty))):
            charging.pack_power_w(500.0, 0.8, **faulty)
