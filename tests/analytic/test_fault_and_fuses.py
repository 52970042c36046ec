"""Fault current in closed form, current profiles, and fuses: worked examples, exact arithmetic, limits, bounds.

The worked fault is a pack of 96 groups of 2 cells at 403.2 V with 63.6 mohm and 10 uH; its figures were worked by
hand-held calculation and run in ngspice 39.3 where said.
"""

from __future__ import annotations

import math
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad, solve_ivp
from scipy.optimize import brentq

from tests.evidence import covers
from tests.printed import printed
from tristrand.physics import adiabatic, closing, fault, fuses

V, R, L = 403.2, 63.6e-3, 10e-6
WORKED = (V, R, L)
IP, TAU = V / R, L / R

volts, ohms, henries = st.floats(12.0, 1000.0), st.floats(1e-3, 10.0), st.floats(1e-8, 1e-2)


# ---------------------------------------------------------------- rising fault current
@covers("physics.fault.rl_fault")
def test_worked_fault() -> None:
    found = fault.rl_fault(*WORKED)
    assert found.prospective_a == printed("6339.62")
    assert found.time_constant_s == printed("157.23e-6")
    assert found.initial_slope_a_per_s == printed("40.32e6")
    assert fault.rl_fault(V, R, 0.0) == (IP, 0.0, math.inf)


@covers("physics.fault.fault_current_a", "physics.fault.fault_joule_integral_a2s")
@pytest.mark.parametrize(
    ("milliseconds", "amps", "joule"),
    [(0.5, "6075.985", "11136.56"), (1.0, "6328.659", "30733.70"), (2.0, "6339.604", "70902.7"),
     (5.0, "6339.62", "191475"), (10.0, "6339.62", "392429")],
)  # fmt: skip
def test_worked_fault_in_time(milliseconds: float, amps: str, joule: str) -> None:
    assert fault.fault_current_a(1e-3 * milliseconds, *WORKED) == printed(amps)
    assert fault.fault_joule_integral_a2s(1e-3 * milliseconds, *WORKED) == printed(joule)


@covers("physics.fault.fault_current_a", "physics.fault.fault_joule_integral_a2s")
def test_worked_fault_equals_ngspice() -> None:
    assert fault.fault_current_a(np.array([0.5e-3, 1e-3]), *WORKED) == pytest.approx([6075.985, 6328.659], abs=6e-4)
    for milliseconds, joule in ((0.5, "1.113656e4"), (1.0, "3.073370e4"), (1.99, "7.0501e4")):
        assert fault.fault_joule_integral_a2s(1e-3 * milliseconds, *WORKED) == printed(joule)


@covers("physics.fault.moment_of_joule_integral")
def test_worked_melting() -> None:
    small = fault.moment_of_joule_integral(1e4, *WORKED)
    assert 1e3 * float(small.time_s) == printed("0.4689")
    assert small.current_a == printed("6018")
    assert 1e3 * float(fault.moment_of_joule_integral(1e4, V, R, 0.0).time_s) == printed("0.2488")
    assert 1e3 * float(fault.moment_of_joule_integral(1e5, *WORKED).time_s) == printed("2.724")


@covers("physics.fault.fault_current_a")
@settings(max_examples=20, deadline=None)
@given(volts, ohms, henries, st.floats(0.01, 8.0))
def test_current_obeys_the_loop_equation(volt: float, ohm: float, henry: float, in_tau: float) -> None:
    """L di/dt = V - R i, integrated numerically in time constants and units of V/R."""
    end = solve_ivp(lambda _, y: 1.0 - y, (0.0, in_tau), [0.0], rtol=1e-11, atol=1e-13, method="DOP853").y[0, -1]
    assert fault.fault_current_a(in_tau * henry / ohm, volt, ohm, henry) == pytest.approx(end * volt / ohm, rel=1e-9)


@covers("physics.fault.fault_joule_integral_a2s")
@settings(max_examples=40, deadline=None)
@given(volts, ohms, henries, st.floats(1e-4, 40.0))
def test_joule_integral_equals_quadrature(volt: float, ohm: float, henry: float, in_tau: float) -> None:
    unit_s = henry / ohm
    area, _ = quad(lambda x: math.expm1(-x) ** 2, 0.0, in_tau, epsabs=0.0, epsrel=1e-12, limit=200)
    found = fault.fault_joule_integral_a2s(in_tau * unit_s, volt, ohm, henry)
    assert found == pytest.approx(area * (volt / ohm) ** 2 * unit_s, rel=1e-11, abs=0.0)


def exact_g(x: float) -> float:
    """x - 2(1 - e^-x) + (1 - e^-2x)/2 in rational arithmetic: e^-x as 1/(e^(x/64))^64 from its power series."""
    part, term, total = Fraction(x) / 64, Fraction(1), Fraction(1)
    for n in range(1, 24):
        term *= part / n
        total += term
    # Cut to 400 bits, or the denominators grow beyond use.
    total = Fraction(round(total * 2**400), 2**400)
    decay = Fraction(round(2**400 / total**64), 2**400)
    return float(Fraction(x) - 2 * (1 - decay) + (1 - decay**2) / 2)


ANGLES = (1e-6, 1e-3, 0.02, 0.3, 0.7, 0.999999, 1.0, 1.000001, 1.7, 4.0, 12.0, 30.0, 49.0)


@covers("physics.fault.fault_joule_integral_a2s")
@pytest.mark.parametrize("x", ANGLES)
def test_joule_integral_to_the_last_digits(x: float) -> None:
    """With V = R = L = 1 the I2t is g(t); no cancellation at short times, no step where the forms meet."""
    assert fault.fault_joule_integral_a2s(x, 1.0, 1.0, 1.0) == pytest.approx(exact_g(x), rel=3e-15, abs=0.0)


@covers("physics.fault.moment_of_joule_integral")
@pytest.mark.parametrize("x", [*ANGLES, 51.0, 52.0, 300.0])
def test_moment_to_the_last_digits(x: float) -> None:
    target = exact_g(x)
    moment = fault.moment_of_joule_integral(target, 1.0, 1.0, 1.0)
    assert moment.time_s == pytest.approx(x, rel=3e-15, abs=0.0)
    assert moment.current_a == pytest.approx(-math.expm1(-x), rel=4e-15)


@covers("physics.fault.moment_of_joule_integral", "physics.fault.fault_joule_integral_a2s")
@settings(max_examples=60, deadline=None)
@given(volts, ohms, st.lists(st.floats(1e-9, 1e-1), min_size=1, max_size=5), st.lists(st.floats(1e-3, 1e8), min_size=1))
def test_moment_is_where_the_integral_is(volt: float, ohm: float, henry: list[float], joule: list[float]) -> None:
    """On arrays of any regime at once, there and back; times rise with I2t."""
    loop_h, wanted = np.array(henry)[:, None], np.sort(np.array(joule))
    moment = fault.moment_of_joule_integral(wanted, volt, ohm, loop_h)
    assert np.shape(moment.time_s) == (len(henry), len(joule))
    back = fault.fault_joule_integral_a2s(moment.time_s, volt, ohm, loop_h)
    assert back == pytest.approx(np.broadcast_to(wanted, np.shape(back)), rel=2e-14)
    assert np.all(np.diff(np.asarray(moment.time_s), axis=1) >= 0.0)


@covers("physics.fault.fault_joule_integral_a2s", "physics.fault.moment_of_joule_integral")
def test_limits_of_the_rising_fault() -> None:
    # No inductance: the full current at once.
    assert fault.fault_current_a(np.array([0.0, 1e-3]), V, R, 0.0).tolist() == [IP, IP]
    assert fault.fault_joule_integral_a2s(2e-3, V, R, 0.0) == pytest.approx(IP**2 * 2e-3, rel=1e-15)
    for tiny in (1e-12, 1e-300, 5e-324):
        assert fault.fault_joule_integral_a2s(2e-3, V, R, tiny) == pytest.approx(IP**2 * 2e-3, rel=1e-7)
        assert fault.moment_of_joule_integral(1e4, V, R, tiny).time_s == pytest.approx(1e4 / IP**2, rel=1e-6)
    # No resistance to speak of: i = V t/L, I2t = V^2 t^3/(3 L^2).
    assert fault.fault_current_a(1e-3, V, 1e-12, L) == pytest.approx(V * 1e-3 / L, rel=1e-7)
    assert fault.fault_joule_integral_a2s(1e-3, V, 1e-12, L) == pytest.approx(V**2 * 1e-9 / (3 * L**2), rel=1e-7)
    assert fault.moment_of_joule_integral(1e4, V, 1e-12, L).time_s == pytest.approx(
        (3e4 * L**2 / V**2) ** (1 / 3), rel=1e-7
    )
    # Long after: 1.5 time constants behind the step.
    late = 100.0 * TAU
    assert fault.fault_joule_integral_a2s(late, *WORKED) == pytest.approx(IP**2 * (late - 1.5 * TAU), rel=1e-14)
    assert (fault.fault_current_a(math.inf, *WORKED), fault.fault_joule_integral_a2s(math.inf, *WORKED)) == (
        IP,
        math.inf,
    )
    assert fault.moment_of_joule_integral(math.inf, *WORKED) == (math.inf, IP)
    # Before it begins.
    assert fault.moment_of_joule_integral(0.0, *WORKED) == (0.0, 0.0)
    assert fault.fault_joule_integral_a2s(0.0, *WORKED) == 0.0
    assert fault.fault_joule_integral_a2s(0.0, V, R, 0.0) == 0.0


@covers(
    "physics.fault.fault_joule_integral_a2s", "physics.fault.fault_current_a", "physics.fault.moment_of_joule_integral"
)
@settings(max_examples=30, deadline=None)
@given(volts, ohms, henries, st.floats(1e-6, 1.0), st.floats(0.1, 10.0), st.floats(0.1, 10.0))
def test_scaling_of_the_rising_fault(
    volt: float, ohm: float, henry: float, time_s: float, more: float, slower: float
) -> None:
    """c times the voltage: c times the current, c^2 times I2t. c times L and t: the same current, c times I2t."""
    amps = fault.fault_current_a(time_s, volt, ohm, henry)
    joule = float(fault.fault_joule_integral_a2s(time_s, volt, ohm, henry))
    assert fault.fault_current_a(time_s * slower, volt * more, ohm, henry * slower) == pytest.approx(more * amps)
    scaled = fault.fault_joule_integral_a2s(time_s * slower, volt * more, ohm, henry * slower)
    assert scaled == pytest.approx(joule * slower * more**2, rel=1e-12)
    moment = fault.moment_of_joule_integral(joule * slower * more**2, volt * more, ohm, henry * slower)
    assert moment.time_s == pytest.approx(time_s * slower, rel=1e-12)


@pytest.mark.parametrize(
    ("change", "name"),
    [({"source_v": 0.0}, "source_v"), ({"loop_ohm": 0.0}, "loop_ohm"), ({"loop_h": -1e-6}, "loop_h"),
     ({"source_v": math.inf}, "source_v"), ({"loop_h": math.nan}, "loop_h"), ({"loop_ohm": math.inf}, "loop_ohm")],
)  # fmt: skip
def test_faulty_loops_are_refused(change: dict[str, float], name: str) -> None:
    loop = {"source_v": V, "loop_ohm": R, "loop_h": L} | change
    for call in (
        lambda: fault.rl_fault(**loop),
        lambda: fault.fault_current_a(1e-3, **loop),
        lambda: fault.fault_joule_integral_a2s(1e-3, **loop),
        lambda: fault.moment_of_joule_integral(1e4, **loop),
    ):
        with pytest.raises(ValueError, match=name):
            call()
    with pytest.raises(ValueError, match="time_s"):
        fault.fault_current_a(-1e-3, *WORKED)
    with pytest.raises(ValueError, match="joule_integral_a2s"):
        fault.moment_of_joule_integral(np.array([1.0, -1.0]), *WORKED)


# ---------------------------------------------------------------- capacitor, pulse shapes
@covers("physics.fault.capacitor_fault")
@settings(max_examples=15, deadline=None)
@given(st.floats(0.1, 5.0), st.floats(24.0, 800.0))
def test_capacitor_fault_equals_integration(damping: float, charge_v: float) -> None:
    """L di/dt = v - R i, C dv/dt = -i from a charged capacitor, in units of V sqrt(C/L), V and sqrt(LC)."""
    henry, farad = 1e-6, 500e-6
    ohm, unit_s, unit_a = 2.0 * damping * math.sqrt(henry / farad), math.sqrt(henry * farad), math.sqrt(farad / henry)
    found = fault.capacitor_fault(charge_v, henry, ohm, farad)

    def slope(_: float, y: np.ndarray) -> list[float]:
        return [y[1] - 2.0 * damping * y[0], -y[0], y[0] ** 2]

    peak = lambda _, y: slope(0.0, y)[0]  # noqa: E731
    peak.direction = -1
    run = solve_ivp(slope, (0.0, 300.0), [0.0, 1.0, 0.0], rtol=1e-9, atol=1e-11, events=peak, method="DOP853")
    assert found.peak_time_s == pytest.approx(run.t_events[0][0] * unit_s, rel=1e-6)
    assert found.peak_a == pytest.approx(run.y_events[0][0][0] * charge_v * unit_a, rel=1e-7)
    assert found.joule_integral_a2s == pytest.approx(run.y[2, -1] * (charge_v * unit_a) ** 2 * unit_s, rel=1e-6)


@covers("physics.fault.capacitor_fault")
def test_capacitor_fault_worked_and_without_inductance() -> None:
    """The worked closing surge of 20 V, 2 uH, 20 mohm, 1 mF; without inductance i = V/R exp(-t/RC)."""
    worked = fault.capacitor_fault(20.0, 2e-6, 20e-3, 1e-3)
    assert (worked.peak_a, worked.joule_integral_a2s) == (printed("328.4574"), printed("10.0000"))
    bare = fault.capacitor_fault(400.0, 0.0, 0.01, 1e-3)
    assert bare == closing.ClosingSurge(pytest.approx(40e3), 0.0, pytest.approx(0.5 * 40e3**2 * 0.01 * 1e-3), math.inf)


SHAPES = {
    "constant": (lambda x: 1.0, 1.0),
    "exponential": (lambda x: math.exp(-x), 40.0),
    "triangle": (lambda x: 1.0 - abs(2.0 * x - 1.0), 1.0),
    "half-sine": (lambda x: math.sin(math.pi * x), 1.0),
    "trapezoid": (lambda x: x, 1.0),
    "parabola": (lambda x: x * x, 1.0),
}


@covers("physics.fault.pulse_joule_integral_a2s")
@pytest.mark.parametrize("shape", SHAPES)
def test_pulse_shapes_equal_quadrature(shape: str) -> None:
    assert set(SHAPES) == set(fault.PULSE_SHAPES)
    form, end = SHAPES[shape]
    area, _ = quad(lambda x: form(x) ** 2, 0.0, end, epsabs=0.0, epsrel=1e-12, points=[0.5], limit=200)
    assert fault.pulse_joule_integral_a2s(shape, 70.0, 3e-3) == pytest.approx(area * 70.0**2 * 3e-3, rel=1e-11)


@covers("physics.fault.pulse_joule_integral_a2s")
@settings(max_examples=30, deadline=None)
@given(st.floats(0.0, 1e4), st.floats(0.0, 1e4))
def test_trapezoid_between_its_neighbours(peak: float, base: float) -> None:
    area, _ = quad(lambda x: (base + (peak - base) * x) ** 2, 0.0, 1.0)
    found = fault.pulse_joule_integral_a2s("trapezoid", peak, 1.0, base)
    assert found == pytest.approx(area, rel=1e-12, abs=1e-12)
    # Either end may be the higher one.
    assert found == pytest.approx(fault.pulse_joule_integral_a2s("trapezoid", base, 1.0, peak), rel=1e-15)


def test_pulse_shapes_refuse() -> None:
    with pytest.raises(ValueError, match="no pulse shape; known: constant"):
        fault.pulse_joule_integral_a2s("square", 1.0, 1.0)
    with pytest.raises(ValueError, match="trapezoid alone"):
        fault.pulse_joule_integral_a2s("triangle", 1.0, 1.0, 0.5)
    with pytest.raises(ValueError, match="peak_a"):
        fault.pulse_joule_integral_a2s("triangle", -1.0, 1.0)


# ---------------------------------------------------------------- current profiles
profiles = st.lists(st.tuples(st.integers(-300, 300), st.integers(0, 6)), min_size=1, max_size=12).filter(
    lambda steps: sum(s for _, s in steps) > 0
)


@covers("physics.fault.largest_rolling_rms", "physics.fault.rms_a")
@settings(max_examples=150, deadline=None)
@given(profiles, st.integers(1, 80), st.booleans())
def test_rolling_rms_equals_every_position(steps: list[tuple[int, int]], window: int, repeats: bool) -> None:
    """Whole seconds: the worst window begins on one, so trying them all in whole numbers is complete."""
    seconds = [amps * amps for amps, count in steps for _ in range(count)]
    length = len(seconds)
    if not repeats and window > length:
        with pytest.raises(ValueError, match="longer than the profile"):
            fault.largest_rolling_rms(steps, float(window), repeats)
        return
    places = range(length) if repeats else range(length - window + 1)
    sums = [sum(seconds[(start + n) % length] for n in range(window)) for start in places]
    found = fault.largest_rolling_rms(steps, float(window), repeats)
    assert found.rms_a == pytest.approx(math.sqrt(max(sums) / window), rel=1e-12)
    # The place named is one where it happens: move the profile there and take the mean over the window.
    start = float(found.start_s)
    assert start.is_integer()
    moved = [seconds[int(start + n) % length] for n in range(window)]
    assert found.rms_a == pytest.approx(math.sqrt(sum(moved) / window), rel=1e-12)
    assert fault.rms_a(steps) == pytest.approx(math.sqrt(sum(seconds) / length), rel=1e-12)


@covers("physics.fault.largest_rolling_rms")
def test_rolling_rms_of_one_pulse() -> None:
    """I for w up to the pulse's length T, then I sqrt(T/w): for windows that fit no grid."""
    steps = [(0.0, 10.0), (300.0, 0.7), (0.0, 25.0)]
    windows = np.array([0.01, 0.7, math.pi, 12.34])
    found = fault.largest_rolling_rms(steps, windows)
    assert found.rms_a == pytest.approx(300.0 * np.minimum(1.0, np.sqrt(0.7 / windows)), rel=1e-12)
    starts = np.asarray(found.start_s)
    assert np.all(starts <= 10.0 + np.maximum(0.0, 0.7 - windows) + 1e-12)
    assert np.all(starts + windows >= 10.7 + np.minimum(0.0, windows - 0.7) - 1e-12)
    whole = fault.largest_rolling_rms([(100.0, 0.1)] * 10 + [(-50.0, 0.3)], 1.3)
    assert whole == (pytest.approx(math.sqrt((1e4 + 2500 * 0.3) / 1.3)), pytest.approx(0.0, abs=1e-12))


@covers("physics.fault.largest_rolling_rms")
def test_rolling_rms_keeps_its_digits_on_a_long_profile() -> None:
    """One short peak after a hundred thousand steps: 5 A for 1 ms within a window of 2 ms, 3 A elsewhere."""
    steps = np.tile([[3.0, 1.0]], (100_000, 1))
    steps = np.vstack([steps, [[5.0, 1e-3]], steps[:10]])
    found = fault.largest_rolling_rms(steps, 2e-3)
    assert found.rms_a == pytest.approx(math.sqrt(17.0), rel=1e-7)


@covers("physics.fault.largest_rolling_rms", "physics.fault.rms_a")
def test_repeated_profile() -> None:
    """Over whole periods, and in the limit of long windows, the RMS of the profile; across its joint as within."""
    steps = [(500.0, 10.0), (200.0, 90.0), (0.0, 20.0)]
    mean = fault.rms_a(steps)
    found = fault.largest_rolling_rms(steps, np.array([120.0, 360.0, 1.2e7 + 1.0]), repeats=True)
    assert found.rms_a == pytest.approx([mean, mean, mean], rel=1e-5)
    joint = fault.largest_rolling_rms([(90.0, 3.0), (0.0, 10.0), (90.0, 4.0)], 7.0, repeats=True)
    assert (joint.rms_a, joint.start_s) == (pytest.approx(90.0), pytest.approx(13.0))


@pytest.mark.parametrize("steps", [[], [(1.0, 0.0)], [(1.0, -1.0)], [(math.nan, 1.0)], [1.0, 2.0], [(1.0, 2.0, 3.0)]])
def test_faulty_profiles_are_refused(steps: list[tuple[float, float]]) -> None:
    with pytest.raises(ValueError, match="steps"):
        fault.rms_a(steps)
    with pytest.raises(ValueError, match="steps"):
        fault.largest_rolling_rms(steps, 1.0)


# ---------------------------------------------------------------- melting curve
# A power law between two points: t = 1000 s (200 A/I)^4.
LINE = fuses.TimeCurrentCurve((200.0, 2000.0), (1000.0, 0.1))
BENT = fuses.TimeCurrentCurve((200.0, 400.0, 2000.0, 5000.0), (1000.0, 20.0, 0.1, 0.01))


@covers("physics.fuses.melting_time_s", "physics.fuses.melting_current_a")
def test_melting_follows_a_power_law() -> None:
    currents = np.array([200.0, 300.0, 632.455532, 2000.0])
    times = 1000.0 * (200.0 / currents) ** 4
    assert fuses.melting_time_s(LINE, currents) == pytest.approx(times, rel=1e-12)
    assert fuses.melting_current_a(LINE, times) == pytest.approx(currents, rel=1e-12)


@covers("physics.fuses.melting_time_s", "physics.fuses.melting_current_a")
def test_melting_beyond_the_curve() -> None:
    """Above the last point constant I2t (5000^2 * 0.01 = 2.5e5); below the first nothing is known."""
    currents = np.array([5000.0, 6000.0, 25e3])
    assert fuses.melting_time_s(BENT, currents) * currents**2 == pytest.approx(np.full(3, 2.5e5), rel=1e-12)
    assert fuses.melting_current_a(BENT, 2.5e5 / currents**2) == pytest.approx(currents, rel=1e-12)
    assert fuses.melting_time_s(BENT, np.array([0.0, 199.9])).tolist() == [math.inf, math.inf]
    assert math.isnan(fuses.melting_current_a(BENT, 1000.1))


@covers("physics.fuses.melting_time_s", "physics.fuses.melting_current_a")
@settings(max_examples=40, deadline=None)
@given(st.floats(201.0, 2e4), st.floats(0.2, 5.0), st.floats(0.2, 5.0))
def test_melting_scales_and_turns_back(current: float, more: float, slower: float) -> None:
    """Currents times c, times times d: the same curve on other axes. Larger current, earlier melting."""
    time_s = float(fuses.melting_time_s(BENT, current))
    scaled = fuses.TimeCurrentCurve(tuple(more * i for i in BENT.currents_a), tuple(slower * t for t in BENT.times_s))
    assert fuses.melting_time_s(scaled, more * current) == pytest.approx(slower * time_s, rel=1e-10)
    assert fuses.melting_current_a(BENT, time_s) == pytest.approx(current, rel=1e-10)
    assert float(fuses.melting_time_s(BENT, 1.01 * current)) < time_s


@covers("physics.fuses.carries")
def test_carrying_a_pulse() -> None:
    """400 A melts after 20 s. Below the first point the curve speaks for its 1000 s only."""
    assert fuses.carries(BENT, 400.0, np.array([19.9, 20.0, 20.1])).tolist() == [True, False, False]
    for current, time_s in zip(BENT.currents_a, BENT.times_s, strict=True):
        assert fuses.carries(BENT, current, time_s) is False
    assert fuses.carries(BENT, np.array([150.0, 0.0, 150.0]), np.array([999.0, 1000.0, 1001.0])).tolist() == [
        True,
        True,
        False,
    ]
    assert fuses.carries(BENT, 6000.0, 1e-3) is True
    assert fuses.carries(BENT, 6000.0, 1e-2) is False


@pytest.mark.parametrize(
    ("currents", "times"),
    [((200.0,), (10.0,)), ((200.0, 100.0), (10.0, 1.0)), ((100.0, 200.0), (1.0, 10.0)), ((100.0, 200.0), (10.0, 10.0)),
     ((0.0, 200.0), (10.0, 1.0)), ((100.0, 200.0), (10.0, 0.0)), ((100.0, math.inf), (10.0, 1.0)),
     ((100.0, 200.0, 300.0), (10.0, 1.0)), ((100.0, math.nan), (10.0, 1.0))],
)  # fmt: skip
def test_faulty_curves_are_refused(currents: tuple[float, ...], times: tuple[float, ...]) -> None:
    curve = fuses.TimeCurrentCurve(currents, times)
    with pytest.raises(ValueError, match="curve"):
        fuses.melting_time_s(curve, 150.0)
    with pytest.raises(ValueError, match="curve"):
        fuses.melting_current_a(curve, 1.0)
    with pytest.raises(ValueError, match="curve"):
        fuses.melting_in_fault(curve, *WORKED)


# ---------------------------------------------------------------- melting in a fault
@covers("physics.fuses.melting_in_fault")
def test_worked_melting_in_a_fault() -> None:
    """Melting I2t 1e4 A2s: the worked 0.4689 ms at 6018 A, and with twice the resistance a slower melting."""
    curve = fuses.TimeCurrentCurve((200.0, 1000.0), (1000.0, 0.01))
    found = fuses.melting_in_fault(curve, *WORKED)
    assert found.earliest_s == found.latest_s
    assert 1e3 * float(found.latest_s) == printed("0.4689")
    assert found.current_a == printed("6018")
    both = fuses.melting_in_fault(curve, V, np.array([R, 2.0 * R]), L)
    assert both.latest_s[0] == found.latest_s
    # Long risen by then: W/(Ip/2)^2 and 1.5 half time constants.
    assert both.latest_s[1] == pytest.approx(4e4 / IP**2 + 0.75 * TAU, rel=1e-6)


FUSING_A, THERMAL_S = 250.0, 5.0


def one_node_time_s(current: float) -> float:
    """Time to melting of a body of one heat capacity: -tau ln(1 - (I0/I)^2)."""
    return -THERMAL_S * math.log1p(-((FUSING_A / current) ** 2))


def one_node_melting_s(volt: float, ohm: float, henry: float) -> float:
    """Same body in a rising fault: theta = sum of three exponentials, from theta' = (i/I0)^2 - theta, melts at 1."""
    square, tau = (volt / ohm / FUSING_A) ** 2, henry / ohm
    rates = ((0.0, 1.0), (1.0 / tau, -2.0), (2.0 / tau, 1.0))

    def theta(time_s: float) -> float:
        parts = [
            share * (math.exp(-rate * time_s) - math.exp(-time_s / THERMAL_S)) / (1.0 - THERMAL_S * rate)
            for rate, share in rates
        ]
        return square * sum(parts) - 1.0

    return float(brentq(theta, 1e-9, 1e4, xtol=1e-12, rtol=1e-12))


@covers("physics.fuses.melting_in_fault")
@settings(max_examples=60, deadline=None)
@given(st.floats(255.0, 20e3), st.floats(1e-4, 0.2))
def test_melting_in_a_fault_encloses_a_heated_body(prospective: float, tau: float) -> None:
    """A body that loses heat, and its own curve: fast and slow faults, within the bounds in each."""
    currents = tuple(float(i) for i in FUSING_A * np.geomspace(1.0005, 40.0, 2000))
    curve = fuses.TimeCurrentCurve(currents, tuple(one_node_time_s(i) for i in currents))
    volt = 400.0
    ohm = volt / prospective
    true_s = one_node_melting_s(volt, ohm, tau * ohm)
    found = fuses.melting_in_fault(curve, volt, ohm, tau * ohm)
    # Half the time of the last point over 5 s is lost there: 6e-4/2; interpolation adds 1e-4 and less.
    assert float(found.earliest_s) <= true_s * (1.0 + 1e-3)
    assert float(found.latest_s) >= true_s * (1.0 - 1e-3)
    assert float(found.earliest_s) <= float(found.latest_s)
    # And the bounds are of use: never further apart than the rise of the current explains.
    assert float(found.latest_s) <= 1.25 * true_s + 14.0 * tau


@covers("physics.fuses.melting_in_fault")
def test_weak_fault_may_not_melt_the_fuse() -> None:
    """190 A below the first point of 200 A: not before the curve's longest time, and perhaps never."""
    found = fuses.melting_in_fault(LINE, 190.0, 1.0, 1e-3)
    assert found == (1000.0, math.inf, pytest.approx(190.0))
    # 300 A: I2t alone would promise 4.4 s, the curve says 197.5 s.
    slow = fuses.melting_in_fault(LINE, 300.0, 1.0, 1e-3)
    assert slow.earliest_s == pytest.approx(1000.0 * (2 / 3) ** 4, rel=1e-12)
    assert slow.latest_s == pytest.approx(1000.0 * (2 / 3) ** 4, rel=1e-3)
    assert slow.latest_s >= slow.earliest_s


@covers("physics.fuses.arcing_joule_integral_a2s", "physics.fuses.clearing_joule_integral_a2s")
def test_clearing_is_melting_and_arcing() -> None:
    assert fuses.arcing_joule_integral_a2s(1.0e4, 3.5e4) == pytest.approx(2.5e4)
    assert fuses.arcing_joule_integral_a2s(1.0e4, 1.0e4) == 0.0
    with pytest.raises(ValueError, match="must not be below"):
        fuses.arcing_joule_integral_a2s(1.0e4, 0.9e4)
    datum = fuses.ClearingDatum(3.5e4, 500.0, 2e-3)
    found = fuses.clearing_joule_integral_a2s(datum, np.array([403.2, 500.0, 500.1, 403.2]), [1e-3, 2e-3, 1e-3, 2.1e-3])
    assert np.nan_to_num(found, nan=-1.0).tolist() == [3.5e4, 3.5e4, -1.0, -1.0]


# ---------------------------------------------------------------- pulses, rating
@covers("physics.fuses.largest_pulse_share")
def test_pulse_share_between_the_points() -> None:
    """Halfway between two decades on logarithmic axes: the geometric mean, a little below the arithmetic one."""
    points = np.array(list(fuses.PULSE_LIFE.values()))
    middle = fuses.largest_pulse_share(np.array([10**2.5, 10**3.5, 10**4.5]))
    assert middle == pytest.approx(np.sqrt(points[:-1] * points[1:]), rel=1e-12)
    assert np.all(middle < 0.5 * (points[:-1] + points[1:]))
    assert np.all(np.diff(fuses.largest_pulse_share(np.geomspace(100.0, 99_999.0, 50))) < 0.0)


@covers("physics.fuses.needed_melting_a2s")
def test_needed_melting_goes_with_the_pulse() -> None:
    one = float(fuses.needed_melting_a2s(250.0, 5000.0))
    assert fuses.needed_melting_a2s(1000.0, 5000.0) == pytest.approx(4.0 * one, rel=1e-14)
    assert one * fuses.largest_pulse_share(5000.0) == pytest.approx(250.0, rel=1e-14)


@covers("physics.fuses.ambient_factor")
@settings(max_examples=40, deadline=None)
@given(st.floats(-40.0, 120.0), st.floats(130.0, 150.0), st.floats(25.0, 30.0))
def test_ambient_factor_from_a_heat_balance(ambient: float, limit: float, reference: float) -> None:
    """I^2 R = (T - Ta)/Rth, found by root search for the same element temperature in either air."""

    def current_at(air_c: float) -> float:
        return float(brentq(lambda amps: air_c + amps**2 * 2e-4 * 2.5 - limit, 0.0, 2000.0, xtol=1e-10, rtol=1e-14))

    factor = current_at(ambient) / current_at(reference)
    assert fuses.ambient_factor(ambient, limit, reference) == pytest.approx(factor, rel=1e-9)


@covers("physics.fuses.ambient_factor")
def test_ambient_factor_ends() -> None:
    assert fuses.ambient_factor(25.0) == 1.0
    for ambient, reference in ((130.0, 25.0), (20.0, 130.0), (200.0, 25.0)):
        with pytest.raises(ValueError, match="below limit_c"):
            fuses.ambient_factor(ambient, 130.0, reference)


@covers("physics.fuses.continuous_current_a", "physics.fuses.required_rating_a")
@settings(max_examples=40, deadline=None)
@given(st.floats(1.0, 1000.0), st.floats(0.2, 1.5), st.floats(0.3, 1.0))
def test_rating_and_lasting_load_turn_back(load: float, factor: float, share: float) -> None:
    rating = fuses.required_rating_a(load, factor, share)
    assert fuses.continuous_current_a(rating, factor, share) == pytest.approx(load, rel=1e-12)
    # Cold air earns nothing: no rating below load/share.
    assert float(rating) >= load / share * (1.0 - 1e-12)


@covers("physics.fuses.required_rating_a")
def test_rating_refuses() -> None:
    for arguments in ((100.0, 0.0, 0.75), (100.0, 1.0, 1.01), (-1.0, 1.0, 0.75), (100.0, math.nan, 0.75)):
        with pytest.raises(ValueError, match=r"factor|continuous_share|load_a"):
            fuses.required_rating_a(*arguments)


# ---------------------------------------------------------------- what the fuse leaves to others
@covers("physics.fuses.overload_gap")
def test_gap_of_a_power_law() -> None:
    """t = 1000 s (200 A/I)^4 and 600 A minimum breaking current: 1000/81 s to open in."""
    wide = fuses.overload_gap(LINE, 600.0, 250.0, 1.0)
    assert wide.slow_below_a == pytest.approx(200.0 * 1000.0**0.25, rel=1e-12)
    assert (wide.from_a, wide.uncleared_below_a, wide.to_a) == (250.0, 600.0, wide.slow_below_a)
    assert wide.longest_s == pytest.approx(1000.0 * 0.8**4, rel=1e-12)
    assert wide.open_before_s == pytest.approx(1000.0 / 81.0, rel=1e-12)
    # Where 100 s are allowed, the minimum breaking current sets the end.
    patient = fuses.overload_gap(LINE, 600.0, 250.0, 100.0)
    assert patient.slow_below_a == pytest.approx(200.0 * 10.0**0.25, rel=1e-12)
    assert patient.to_a == 600.0


@covers("physics.fuses.overload_gap")
def test_gap_at_its_ends() -> None:
    # A load below the first point: the curve shows no melting there, and all below it counts as slow.
    low = fuses.overload_gap(LINE, 0.0, np.array([150.0, 300.0]), math.inf)
    assert low.slow_below_a == pytest.approx([200.0, 200.0], rel=1e-12)
    assert low.to_a == pytest.approx([200.0, 300.0], rel=1e-12)
    assert low.longest_s.tolist() == [math.inf, 0.0]
    assert low.open_before_s == pytest.approx(math.inf)
    # Every current in the gap melts within the longest time; outside it, the fuse is fast and may clear.
    gap = fuses.overload_gap(BENT, 900.0, 250.0, 10.0)
    inside = np.linspace(float(gap.from_a), float(gap.to_a), 50)
    assert np.all(fuses.melting_time_s(BENT, inside) <= float(gap.longest_s) * (1 + 1e-12))
    outside = 1.0001 * float(gap.to_a)
    assert float(fuses.melting_time_s(BENT, outside)) < 10.0
    assert outside > 900.0
    with pytest.raises(ValueError, match="allowed_s"):
        fuses.overload_gap(BENT, 900.0, 250.0, 0.0)


@covers("physics.fuses.selectivity")
def test_selectivity() -> None:
    assert fuses.selectivity(3e4, 1e4) == pytest.approx(3.0)
    assert fuses.selectivity(3e4, 1e4, 1.5) == pytest.approx(2.0)
    # Both fuses and any scale: only the ratio counts.
    assert fuses.selectivity(3e7, 1e7, 3.0) == pytest.approx(1.0)
    for arguments in ((3e4, 0.0, 1.0), (3e4, 1e4, 0.9), (-1.0, 1e4, 1.0)):
        with pytest.raises(ValueError, match=r"margin|a2s"):
            fuses.selectivity(*arguments)


@covers("physics.fuses.coordination")
def test_chain_of_the_worked_parts() -> None:
    """Clearing 1e5 A2s, a contactor of 9.0e5 A2s, 35 mm2 of XLPE cable with the worked 2.5050e7 A2s."""
    cable = adiabatic.joule_integral_limit_a2s(143.0, 35.0)
    contactor = fault.pulse_joule_integral_a2s("constant", 6000.0, 25e-3)
    found = fuses.coordination(1e5, contactor, cable)
    assert found == (pytest.approx(9.0), pytest.approx(2.5050e7 / 9.0e5, rel=3e-5), printed("250.50"))
    assert found.contactor_to_fuse * found.cable_to_contactor == pytest.approx(found.cable_to_fuse, rel=1e-14)
    # 0.5 mm2 of PVC wire, 3306 A2s, behind the same fuse: burnt.
    assert fuses.coordination(1e5, contactor, 3306.0).cable_to_fuse == printed("0.03306")
    with pytest.raises(ValueError, match="cable_a2s"):
        fuses.coordination(1e5, contactor, 0.0)
