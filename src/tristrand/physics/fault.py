"""Fault current in a loop of resistance and inductance, and the I2t of faults, pulses and current profiles.

One topology: a constant voltage (or one charged capacitor) into one short circuit. Networks belong to
`tristrand.physics.circuit`.
"""

import math
from collections.abc import Mapping, Sequence
from types import MappingProxyType

import numpy as np

from tristrand.physics._num import FloatArray, Num, arr, finite, not_negative, positive, same
from tristrand.physics.closing import ClosingSurge, closing_surge
from tristrand.records import NamedTuple
from tristrand.sources import cites


class RlFault(NamedTuple):
    """The three numbers that fix a fault current which rises from zero."""

    prospective_a: Num
    """Current it rises to: V/R."""
    time_constant_s: Num
    """L/R."""
    initial_slope_a_per_s: Num
    """V/L; inf without inductance."""


class FaultMoment(NamedTuple):
    """When something is reached in a fault, and the current flowing then."""

    time_s: Num
    current_a: Num


class RollingRms(NamedTuple):
    """Largest root mean square of a profile over a window, and where one such window begins."""

    rms_a: Num
    start_s: Num


Steps = Sequence[tuple[float, float]] | FloatArray
"""A current profile: rows of (current [A], duration [s])."""

PULSE_SHAPES: Mapping[str, float] = MappingProxyType(
    {
        "constant": 1.0,
        "exponential": 1 / 2,
        "triangle": 1 / 3,
        "half-sine": 1 / 2,
        "trapezoid": 1 / 3,
        "parabola": 1 / 5,
    }
)
"""Shape -> I2t divided by (peak squared times duration); a trapezoid's base comes on top."""

# Coefficients of x^24 ... x^2 of g(x)/x, g(x) = x - 2(1 - e^-x) + (1 - e^-2x)/2 = x^3/3 - x^4/4 + ...
_SERIES = [(-1) ** n * (2.0 - 2.0 ** (n - 1)) / math.factorial(n) for n in range(25, 2, -1)] + [0.0, 0.0]
# From here on e^-x adds nothing to y = x - 1.5 + 2 e^-x - ... in floats.
_FULLY_RISEN = 50.0


def _rise_share(x: FloatArray) -> FloatArray:
    """g(x)/x: the share of Ip^2 t that a rising current brings by x time constants; 1 for x = inf."""
    early, late = np.minimum(x, 1.0), np.maximum(x, 1.0)
    rise = -np.expm1(-late)
    # Below 1 the closed form would be the small difference of large terms.
    return np.where(x < 1.0, np.polyval(_SERIES, early), 1.0 - (rise + 0.5 * rise**2) / late)


def _solve_rise(target: FloatArray) -> FloatArray:
    """The x with g(x) = target, for 0 < target <= 50.

    g rises and is convex, so Newton's method cannot miss; max(cbrt(3 y), y) <= x <= y + 1.5 holds throughout.
    """
    cube = np.cbrt(3.0 * target)
    low, high = np.maximum(cube, target), target + 1.5
    x = np.clip(np.where(target < 0.5, cube * (1.0 + 0.25 * cube), high), low, high)
    for _ in range(60):
        step = (x * _rise_share(x) - target) / np.expm1(-x) ** 2
        x = np.clip(x - step, low, high)
        if bool(np.all(np.abs(step) <= 2.0 * np.finfo(float).eps * x)):
            break
    return x


def _loop(source_v: Num, loop_ohm: Num, loop_h: Num) -> tuple[FloatArray, FloatArray]:
    """Prospective current and time constant of a loop, checked."""
    positive(source_v=source_v, loop_ohm=loop_ohm)
    not_negative(loop_h=loop_h)
    finite(source_v=source_v, loop_ohm=loop_ohm, loop_h=loop_h)
    return arr(source_v) / arr(loop_ohm), arr(loop_h) / arr(loop_ohm)


def _in_time_constants(time_s: Num, tau_s: FloatArray) -> FloatArray:
    """t/tau; inf without inductance, at t = 0 too: the current is there at once."""
    with np.errstate(over="ignore"):
        return np.where(tau_s > 0.0, arr(time_s) / np.where(tau_s > 0.0, tau_s, 1.0), np.inf)


@cites("CLOSED-FORM#series RL step response")
def rl_fault(source_v: Num, loop_ohm: Num, loop_h: Num) -> RlFault:
    """Prospective current V/R [A], time constant L/R [s] and first slope V/L [A/s] of a short circuit.

    source_v: open-circuit voltage [V] > 0; loop_ohm: everything in series, source, fuse, cables, fault [ohm]
    > 0; loop_h [H] >= 0; all finite. Shapes broadcast. ValueError otherwise. No current flows before the fault.
    """
    prospective_a, tau_s = _loop(source_v, loop_ohm, loop_h)
    with np.errstate(divide="ignore"):
        slope = arr(source_v) / arr(loop_h)
    return RlFault(same(prospective_a), same(tau_s), same(slope))


@cites("CLOSED-FORM#series RL step response")
def fault_current_a(time_s: Num, source_v: Num, loop_ohm: Num, loop_h: Num) -> Num:
    """Fault current at a time after the short circuit [A]: (V/R)(1 - exp(-t R/L)).

    time_s >= 0, inf allowed; the rest as in `rl_fault`. Without inductance V/R from t = 0 on. Shapes broadcast.
    """
    not_negative(time_s=time_s)
    prospective_a, tau_s = _loop(source_v, loop_ohm, loop_h)
    return same(-prospective_a * np.expm1(-_in_time_constants(time_s, tau_s)))


@cites("CLOSED-FORM#series RL step response, square integrated")
def fault_joule_integral_a2s(time_s: Num, source_v: Num, loop_ohm: Num, loop_h: Num) -> Num:
    """I2t of the fault current from its start to a time [A2 s].

    Ip^2 [t - 2 tau (1 - e^(-t/tau)) + (tau/2)(1 - e^(-2t/tau))], Ip = V/R, tau = L/R. For t << tau it is
    (V/L)^2 t^3/3, for t >> tau Ip^2 (t - 1.5 tau); full float accuracy over the whole range.

    Arguments as in `fault_current_a`. Shapes broadcast.
    """
    not_negative(time_s=time_s)
    prospective_a, tau_s = _loop(source_v, loop_ohm, loop_h)
    return same(prospective_a**2 * (arr(time_s) * _rise_share(_in_time_constants(time_s, tau_s))))


@cites("CLOSED-FORM#series RL step response, square integrated, solved for time")
def moment_of_joule_integral(joule_integral_a2s: Num, source_v: Num, loop_ohm: Num, loop_h: Num) -> FaultMoment:
    """Time at which the fault's I2t reaches a value [s], and the current then [A].

    Inverse of `fault_joule_integral_a2s` to rounding. With the melting I2t of a fuse it is the moment of melting,
    as long as no heat leaves the element meanwhile; `fuses.melting_in_fault` checks that.

    joule_integral_a2s >= 0 (inf gives inf and V/R); the rest as in `rl_fault`. Shapes broadcast. ValueError
    otherwise.
    """
    not_negative(joule_integral_a2s=joule_integral_a2s)
    prospective_a, tau_s = _loop(source_v, loop_ohm, loop_h)
    without_rise_s, tau_s = np.broadcast_arrays(arr(joule_integral_a2s) / prospective_a**2, tau_s)
    target = _in_time_constants(without_rise_s, tau_s)
    rising = (target > 0.0) & (target <= _FULLY_RISEN)
    x = _solve_rise(np.where(rising, target, 1.0))
    time_s = np.where(rising, tau_s * x, np.where(without_rise_s > 0.0, without_rise_s + 1.5 * tau_s, 0.0))
    return FaultMoment(same(time_s), fault_current_a(time_s, source_v, loop_ohm, loop_h))


@cites("CLOSED-FORM#series RLC step response")
def capacitor_fault(charge_v: Num, loop_h: Num, loop_ohm: Num, capacitor_f: Num) -> ClosingSurge:
    """Peak [A], time of the peak [s] and I2t over all time [A2 s] of a capacitor shorted through R and L.

    The loop obeys the equation of `closing.closing_surge` with the charge voltage as the difference; there the
    forms stand. I2t = C V^2/(2 R): all of the stored energy ends in R.

    charge_v any finite sign; loop_h [H] >= 0; loop_ohm [ohm] > 0; capacitor_f [F] > 0. Shapes broadcast.
    ValueError otherwise. Where diodes take the current over as the voltage turns round, part of R is passed by:
    the resistance that the current keeps then gives the upper bound of I2t; the peak lies before and stays.
    """
    return closing_surge(charge_v, loop_h, loop_ohm, capacitor_f)


@cites("FUSE-GUIDE#I2t of pulse shapes")
def pulse_joule_integral_a2s(shape: str, peak_a: Num, duration_s: Num, base_a: Num = 0.0) -> Num:
    """I2t of a current pulse [A2 s].

    "constant" ip^2 t; "exponential" ip^2 t/2 over all time, t its time constant; "triangle" ip^2 t/3, wherever its
    top lies; "half-sine" ip^2 t/2; "trapezoid" (ip^2 + ip ib + ib^2) t/3, straight from ib to ip; "parabola" ip^2
    t/5, i = ip (t'/t)^2 (no arch: an arch has more).

    peak_a ip, base_a ib [A] >= 0, duration_s t [s] >= 0. base_a belongs to the trapezoid alone. Shapes broadcast.
    ValueError for an unknown shape, a base elsewhere, or a negative value.
    """
    if shape not in PULSE_SHAPES:
        raise ValueError(f"{shape!r} is no pulse shape; known: {', '.join(PULSE_SHAPES)}")
    not_negative(peak_a=peak_a, duration_s=duration_s, base_a=base_a)
    peak, base = arr(peak_a), arr(base_a)
    if shape != "trapezoid" and bool(np.any(base != 0.0)):
        raise ValueError("base_a belongs to the trapezoid alone")
    return same(PULSE_SHAPES[shape] * (peak**2 + peak * base + base**2) * arr(duration_s))


def _columns(steps: Steps) -> tuple[FloatArray, FloatArray]:
    """Currents and durations of a profile, checked."""
    table = np.asarray(steps, dtype=np.float64)
    if table.ndim != 2 or table.shape[1] != 2:
        raise ValueError("steps must be rows of (current, duration)")
    if not (bool(np.all(np.isfinite(table))) and bool(np.all(table[:, 1] >= 0.0)) and float(table[:, 1].sum()) > 0.0):
        raise ValueError("steps must be finite, with durations of zero or more that add up to more than zero")
    return table[:, 0], table[:, 1]


@cites("CLOSED-FORM#mean square of a piecewise constant current")
def rms_a(steps: Steps) -> float:
    """Root mean square of a whole profile [A]: sqrt( sum(I^2 t) / sum(t) ).

    steps: rows of (current [A] of either sign, duration [s] >= 0), rests included as rows of 0 A. ValueError for
    another form, for values that are not finite, or for no duration at all.
    """
    current, duration = _columns(steps)
    return float(np.sqrt(np.sum(current**2 * duration) / np.sum(duration)))


def _worst_window(square: FloatArray, duration: FloatArray, window_s: float, repeats: bool) -> tuple[float, float]:
    """Largest RMS over one window and a start of it.

    The integral over a sliding window is piecewise linear in its start: its maximum lies where either end of the
    window is on an edge of the profile.
    """
    total_s, whole, part_s = float(duration.sum()), 0.0, window_s
    if repeats:
        whole, part_s = divmod(window_s, total_s)
        whole *= float(square @ duration)
        square, duration = np.tile(square, 2), np.tile(duration, 2)
    elif window_s > total_s * (1.0 + 1e-12):
        raise ValueError(
            f"the window of {window_s:g} s is longer than the profile of {total_s:g} s, which is known alone"
        )
    edges = np.concatenate(([0.0], np.cumsum(duration)))
    heat = np.concatenate(([0.0], np.cumsum(square * duration)))
    last_s = total_s if repeats else max(float(edges[-1]) - part_s, 0.0)
    starts = np.unique(np.clip(np.concatenate((edges, edges - part_s)), 0.0, last_s))
    gained = np.interp(starts + part_s, edges, heat) - np.interp(starts, edges, heat)
    start_s = float(starts[np.argmax(gained)])
    # Summed afresh for the window found: the difference of two running sums loses digits on long profiles.
    shared = np.minimum(edges[1:], start_s + part_s) - np.maximum(edges[:-1], start_s)
    worst = float(np.clip(shared, 0.0, None) @ square)
    return math.sqrt((whole + worst) / window_s), start_s % total_s if repeats else start_s


@cites("CLOSED-FORM#mean square of a piecewise constant current")
def largest_rolling_rms(steps: Steps, window_s: Num, repeats: bool = False) -> RollingRms:
    """Largest RMS of a profile over all positions of a window [A], and where one such window begins [s].

    max over s of sqrt( (1/w) * integral of i^2 from s to s + w ); exact: every position is covered, not a grid.

    steps as in `rms_a`; window_s [s] > 0, finite, any shape. repeats: the profile follows itself without end, and a
    window may be of any length. Otherwise a window longer than the profile is a ValueError: nothing is known of the
    current before and after, and rest must be written into the profile to count.
    """
    positive(window_s=window_s)
    finite(window_s=window_s)
    current, duration = _columns(steps)
    windows = arr(window_s)
    found = [_worst_window(current**2, duration, float(w), repeats) for w in windows.ravel()]
    pairs = np.array(found, dtype=np.float64).reshape((*windows.shape, 2))
    return RollingRms(same(pairs[..., 0]), same(pairs[..., 1]))
