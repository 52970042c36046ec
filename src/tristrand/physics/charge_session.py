"""A charging session with a straight or a tabulated open-circuit voltage: constant current, then constant voltage.

One temperature and one pack resistance. A real pack's resistance grows near full and with cold, so the last part takes
longer than computed.
"""

from typing import Literal

import numpy as np
from numpy.typing import NDArray

from tristrand.physics._num import FloatArray, Num, arr, finite, not_negative, positive, same
from tristrand.records import NamedTuple
from tristrand.sources import cites


# ---------------------------------------------------------------- session, straight OCV line
class LineSession(NamedTuple):
    """A session at constant current, then constant voltage, on a straight open-circuit line."""

    cc_end_soc: Num
    cc_s: Num
    tau_s: Num
    """Time constant of the current at constant voltage [s]."""
    cv_s: Num
    end_soc: Num
    stored_j: Num
    """Energy at open-circuit voltage [J]."""
    heat_j: Num
    """Energy turned to heat in the pack [J]."""

    @property
    def total_s(self) -> Num:
        """Both phases [s]."""
        return same(arr(self.cc_s) + arr(self.cv_s))

    @property
    def terminal_j(self) -> Num:
        """Energy through the pack's terminals [J]."""
        return same(arr(self.stored_j) + arr(self.heat_j))


def _session_arguments(
    resistance_ohm: Num, charge_c: Num, limit_v: Num, cutoff_a: Num, start_soc: Num, target_soc: Num
) -> None:
    not_negative(resistance_ohm=resistance_ohm)
    positive(charge_c=charge_c, limit_v=limit_v, cutoff_a=cutoff_a)
    finite(resistance_ohm=resistance_ohm, charge_c=charge_c, limit_v=limit_v, cutoff_a=cutoff_a)
    start, target = arr(start_soc), arr(target_soc)
    if not bool(np.all((start >= 0.0) & (start <= target) & (target <= 1.0))):
        raise ValueError("needs 0 <= start_soc <= target_soc <= 1")


@cites("CLOSED-FORM#charging through a resistance, constant current then constant voltage")
def line_session(
    empty_v: Num,
    slope_v: Num,
    resistance_ohm: Num,
    charge_c: Num,
    *,
    limit_v: Num,
    current_a: Num,
    cutoff_a: Num,
    start_soc: Num,
    target_soc: Num = 1.0,
) -> LineSession:
    """Times, end and energies of a session on OCV(s) = empty_v + slope_v s, s from 0 to 1.

    Constant current I0 to s_cc, where OCV + I0 R = Vmax, in (s_cc - s0) Q/I0; then constant voltage, where
    dI/dt = -I/tau, tau = R Q/slope_v, in tau ln(I1/I2) down to the cut-off, at OCV = Vmax - Icut R. It ends there or
    at `target_soc`, whichever comes first; it starts in the second phase where OCV(s0) + I0 R is above Vmax, and
    not at all where less than the cut-off would flow. Stored: Q times the mean OCV; heat: I^2 R over time.

    empty_v, slope_v [V], charge_c [C], currents [A] all > 0, resistance_ohm >= 0, cutoff_a <= current_a,
    0 <= start_soc <= target_soc <= 1. Shapes broadcast. ValueError otherwise.
    """
    _session_arguments(resistance_ohm, charge_c, limit_v, cutoff_a, start_soc, target_soc)
    positive(empty_v=empty_v, slope_v=slope_v)
    finite(current_a=current_a)
    if not bool(np.all(arr(cutoff_a) <= arr(current_a))):
        raise ValueError("cutoff_a must not be above current_a")
    given = (empty_v, slope_v, resistance_ohm, charge_c, limit_v, current_a, cutoff_a, start_soc, target_soc)
    empty, slope, ohm, charge, limit, current, cutoff, start, target = np.broadcast_arrays(*map(arr, given))
    cutoff_soc = (limit - cutoff * ohm - empty) / slope
    end = np.maximum(start, np.minimum(target, cutoff_soc))
    cc_end = np.clip((limit - current * ohm - empty) / slope, start, end)
    tau = ohm * charge / slope
    # Currents at both ends of the second phase; the known ones as given, free of the rounding of OCV differences.
    tapered = end > cc_end
    divisor = np.where(tapered, ohm, 1.0)
    first = np.where(cc_end > start, current, np.minimum(current, (limit - empty - slope * start) / divisor))
    last = np.where(target < cutoff_soc, np.maximum((limit - empty - slope * target) / divisor, cutoff), cutoff)
    first, last = np.where(tapered, np.maximum(first, last), 1.0), np.where(tapered, last, 1.0)
    cc_s = (cc_end - start) * charge / current
    heat = current**2 * ohm * cc_s + 0.5 * ohm * tau * (first - last) * (first + last)
    stored = charge * (end - start) * (empty + 0.5 * slope * (start + end))
    cv_s = tau * np.log(first / last)
    return LineSession(*map(same, (cc_end, cc_s, tau, cv_s, end, stored, heat)))


# ---------------------------------------------------------------- session, tabulated OCV
Law = Literal["current", "power", "voltage"]
End = Literal["target", "current", "power", "voltage"]
_LAWS: tuple[Law, ...] = ("current", "power", "voltage")


class TableSession(NamedTuple):
    """A session on a tabulated open-circuit voltage, by pieces over which one limit sets the current."""

    soc: FloatArray
    """State of charge at the ends of the pieces, (n + 1,)."""
    time_s: FloatArray
    """Time at which it is reached [s], (n + 1,)."""
    current_a: FloatArray
    """Current there [A], (n + 1,)."""
    terminal_v: FloatArray
    """Voltage at the pack's terminals there [V], (n + 1,)."""
    limited_by: tuple[Law, ...]
    """What sets the current in each piece, (n,)."""
    ended_by: End
    """The target, or the limit that brought the current below the cut-off."""
    stored_j: float
    heat_j: float

    @property
    def total_s(self) -> float:
        """Whole session [s]."""
        return float(self.time_s[-1])

    @property
    def terminal_j(self) -> float:
        """Energy through the pack's terminals [J]."""
        return self.stored_j + self.heat_j

    def time_limited_by_s(self, law: Law) -> float:
        """Time during which this limit sets the current [s]."""
        return float(np.diff(self.time_s)[np.array(self.limited_by, dtype=object) == law].sum())


class _Limits(NamedTuple):
    """The three limits of a session."""

    ohm: float
    volt: float
    power: float
    cutoff: float


def _currents(open_v: FloatArray, table_a: FloatArray, lim: _Limits) -> FloatArray:
    """Current each limit allows at these open-circuit voltages, (3, n) in the order of `_LAWS`."""
    root = np.sqrt(open_v**2 + 4.0 * lim.ohm * lim.power) if np.isfinite(lim.power) else open_v
    by_power = 2.0 * lim.power / (open_v + root)
    room = lim.volt - open_v
    with np.errstate(over="ignore"):
        by_voltage = room / lim.ohm if lim.ohm > 0.0 else np.where(room >= 0.0, np.inf, -np.inf)
    return np.stack([table_a, by_power, by_voltage])


def _crossings(open_v: FloatArray, table_a: FloatArray, lim: _Limits) -> FloatArray:
    """Where, as a share of each piece, two limits give one current or one gives the cut-off; (k, n), may be nan."""
    v0, i0 = open_v[:-1], table_a[:-1]
    dv, di = np.diff(open_v), np.diff(table_a)
    w0, dw = v0 + lim.ohm * i0, dv + lim.ohm * di
    with np.errstate(all="ignore"):
        shares = [
            (lim.volt - w0) / dw,
            (lim.volt - lim.cutoff * lim.ohm - v0) / dv,
            (lim.cutoff - i0) / di,
        ]
        if np.isfinite(lim.power):
            # (i0 + di u)(w0 + dw u) = P, by the form of the roots that does not cancel.
            a, b, c = di * dw, i0 * dw + di * w0, i0 * w0 - lim.power
            q = -0.5 * (b + np.where(b < 0.0, -1.0, 1.0) * np.sqrt(b**2 - 4.0 * a * c))
            shares += [
                q / a,
                c / q,
                (lim.volt - lim.power * lim.ohm / lim.volt - v0) / dv,
                (lim.power / lim.cutoff - lim.cutoff * lim.ohm - v0) / dv,
            ]
    return np.stack(shares)


def _mean_root_v(v0: FloatArray, v1: FloatArray, square: float) -> FloatArray:
    """Mean of sqrt(v^2 + square) for v from v0 to v1, both > 0, in a form that holds for v1 = v0 as well."""
    r0, r1 = np.sqrt(v0**2 + square), np.sqrt(v1**2 + square)
    straight = (v1 + v0) * (v1**2 + v0**2 + square) / (v1 * r1 + v0 * r0)
    w = (v1 + v0) / (v1 * r0 + v0 * r1)
    x = (v1 - v0) * w
    bent = w * np.divide(np.arcsinh(x), x, out=np.ones_like(x), where=x != 0.0)
    return np.asarray(0.5 * (straight + square * bent))


def _seconds_per_coulomb(i0: FloatArray, i1: FloatArray) -> FloatArray:
    """Mean of 1/I for I going straight from i0 to i1, both > 0: ln(i1/i0)/(i1 - i0)."""
    x = (i1 - i0) / i0
    return np.asarray(np.divide(np.log1p(x), x, out=np.ones_like(x), where=x != 0.0) / i0)


def _rising(values: FloatArray) -> FloatArray:
    """The values in rising order, each once; numpy's own `unique` loads a large package at its first call."""
    ordered = np.sort(values)
    return np.asarray(ordered[np.append(True, np.diff(ordered) > 0.0)])


@cites("CLOSED-FORM#charging through a resistance, open-circuit voltage straight by pieces")
def table_session(
    soc: FloatArray,
    ocv_v: FloatArray,
    resistance_ohm: float,
    charge_c: float,
    *,
    limit_v: float,
    current_a: Num,
    cutoff_a: float,
    start_soc: float,
    target_soc: float = 1.0,
    power_w: float = np.inf,
    current_soc: FloatArray | None = None,
) -> TableSession:
    """Session on a tabulated open-circuit voltage, under a limit of current, of terminal power and of voltage.

    The current is the smallest of: the table's; I with I (V + I R) = P; (Vmax - V)/R. The first and the last are
    straight in s wherever V and the table are, and t = Q ds ln(I1/I0)/(I1 - I0); under the power
    t = Q ds mean(V + sqrt(V^2 + 4 R P))/(2 P). The pieces are cut at every table point and wherever two limits meet,
    so nothing is stepped and finer tables of the same curve change nothing. Ends at `target_soc`, or where the
    current first comes below `cutoff_a`, whichever limit brings it there: also at once (a cold pack, say).

    soc (n,) rising, ocv_v (n,) > 0, not falling; must reach from start to target. current_a: a number, or (m,) at
    `current_soc` (m,) (default `soc`), e.g. from `charge_limit_a` at one temperature, its `outside` looked at.
    resistance_ohm >= 0, charge_c [C], limit_v, cutoff_a, power_w > 0. One session per call. ValueError otherwise.
    """
    _session_arguments(resistance_ohm, charge_c, limit_v, cutoff_a, start_soc, target_soc)
    positive(power_w=power_w)
    soc, ocv_v = _table("ocv_v", soc, ocv_v, start_soc, target_soc)
    positive(ocv_v=ocv_v)
    if bool(np.any(np.diff(ocv_v) < 0.0)):
        raise ValueError("ocv_v must not fall from entry to entry")
    at = soc if current_soc is None else current_soc
    at, amps = _table("current_a", at, np.broadcast_to(arr(current_a), np.shape(at)) * 1.0, start_soc, target_soc)
    lim = _Limits(float(resistance_ohm), float(limit_v), float(power_w), float(cutoff_a))

    inner = np.concatenate([soc, at])
    inner = inner[(inner > start_soc) & (inner < target_soc)]
    nodes = _rising(np.concatenate([[start_soc, target_soc], inner]))
    shares = _crossings(np.interp(nodes, soc, ocv_v), np.interp(nodes, at, amps), lim)
    cuts = nodes[:-1] + shares * np.diff(nodes)
    nodes = _rising(np.concatenate([nodes, cuts[(shares > 0.0) & (shares < 1.0)]]))

    middle = 0.5 * (nodes[:-1] + nodes[1:])
    between_nodes = _currents(np.interp(middle, soc, ocv_v), np.interp(middle, at, amps), lim)
    law = np.argmin(between_nodes, axis=0)
    low = between_nodes.min(axis=0) < lim.cutoff * (1.0 - 1e-12)
    count = int(np.argmax(low)) if bool(low.any()) else middle.size
    ended_by: End = _LAWS[int(law[count])] if count < middle.size else "target"
    nodes, law = nodes[: count + 1], law[:count]
    open_v = np.interp(nodes, soc, ocv_v)
    return _integrated(nodes, open_v, np.interp(nodes, at, amps), law, ended_by, lim, float(charge_c))


def _table(
    name: str, soc: FloatArray, values: FloatArray, start: float, target: float
) -> tuple[FloatArray, FloatArray]:
    axis, column = np.atleast_1d(arr(soc)), np.atleast_1d(arr(values))
    if axis.ndim != 1 or axis.shape != column.shape or not bool(np.all(np.diff(axis) > 0.0)):
        raise ValueError(f"{name} needs one value for each state of charge, and those must rise")
    finite(**{name: column, "soc": axis})
    not_negative(**{name: column})
    if axis[0] > start or axis[-1] < target:
        raise ValueError(f"the table of {name} must reach from start_soc to target_soc")
    return axis, column


def _integrated(
    nodes: FloatArray,
    open_v: FloatArray,
    table_a: FloatArray,
    law: NDArray[np.intp],
    ended_by: End,
    lim: _Limits,
    charge_c: float,
) -> TableSession:
    currents = _currents(open_v, table_a, lim)
    piece = np.arange(law.size)
    # Rounding of a nearly resistance-free pack's voltage room must not leave what the other limits allow.
    i0 = np.clip(currents[law, piece], lim.cutoff, table_a[:-1])
    i1 = np.clip(currents[law, piece + 1], lim.cutoff, table_a[1:])
    v0, v1 = open_v[:-1], open_v[1:]
    charged = charge_c * np.diff(nodes)
    seconds = _seconds_per_coulomb(i0, i1)
    # I R is straight in s but under the power limit, where it is (sqrt(V^2 + 4 R P) - V)/2.
    drop = 0.5 * lim.ohm * (i0 + i1)
    by_power = law == _LAWS.index("power")
    if bool(by_power.any()):
        root = _mean_root_v(v0, v1, 4.0 * lim.ohm * lim.power)
        seconds = np.where(by_power, (0.5 * (v0 + v1) + root) / (2.0 * lim.power), seconds)
        drop = np.where(by_power, 0.5 * (root - 0.5 * (v0 + v1)), drop)
    flowing = np.append(i0, i1[-1:]) if law.size else np.maximum(currents.min(axis=0), 0.0)
    return TableSession(
        soc=nodes,
        time_s=np.concatenate([[0.0], np.cumsum(charged * seconds)]),
        current_a=flowing,
        terminal_v=open_v + lim.ohm * flowing,
        limited_by=tuple(_LAWS[k] for k in law),
        ended_by=ended_by,
        stored_j=float(np.sum(charged * 0.5 * (v0 + v1))),
        heat_j=float(np.sum(charged * drop)),
    )
