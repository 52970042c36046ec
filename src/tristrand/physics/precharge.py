"""Precharge of one bus capacitance through one resistor: the closed forms.

Topology of every function here: a pack of constant voltage, `series_ohm` (precharge resistor plus pack and
wires) and one capacitance `bus_f`, with at most one load across it. Any other topology belongs to
`tristrand.physics.circuit`.
"""

from __future__ import annotations

import numpy as np

from tristrand.physics._num import FloatArray, Num, arr, between, finite, not_negative, positive, same
from tristrand.sources import cites

INFINITE_OHM = float("inf")


def _parallel_time_constant(series_ohm: Num, bus_f: Num, load_ohm: Num) -> FloatArray:
    # Written with conductances so that an infinite load resistance needs no special case.
    return arr(bus_f) / (1.0 / arr(series_ohm) + 1.0 / arr(load_ohm))


@cites("CLOSED-FORM#first-order RC charging")
def time_constant_s(series_ohm: Num, bus_f: Num, load_ohm: Num = INFINITE_OHM) -> Num:
    """Time constant of the charging bus [s]: tau = C * Rs*RL/(Rs + RL); without load C * Rs.

    series_ohm: resistor plus pack and wires [ohm], > 0. bus_f: [F], > 0. load_ohm: across the bus [ohm], > 0
    or inf. Shapes broadcast. Raises ValueError for values that are not above zero.
    """
    positive(series_ohm=series_ohm, bus_f=bus_f, load_ohm=load_ohm)
    return same(_parallel_time_constant(series_ohm, bus_f, load_ohm))


@cites("CLOSED-FORM#voltage divider")
def plateau_v(pack_v: Num, series_ohm: Num, load_ohm: Num = INFINITE_OHM) -> Num:
    """Voltage at which a bus with a resistive load settles [V]: V * RL/(Rs + RL).

    pack_v [V] >= 0; series_ohm, load_ohm [ohm] > 0 (load may be inf). Shapes broadcast. ValueError otherwise.
    """
    not_negative(pack_v=pack_v)
    positive(series_ohm=series_ohm, load_ohm=load_ohm)
    return same(arr(pack_v) / (1.0 + arr(series_ohm) / arr(load_ohm)))


@cites("CLOSED-FORM#first-order RC charging")
def bus_voltage_v(
    time_s: Num, pack_v: Num, series_ohm: Num, bus_f: Num, start_v: Num = 0.0, load_ohm: Num = INFINITE_OHM
) -> Num:
    """Bus voltage at `time_s` after the precharge relay closed [V]: Vinf - (Vinf - v0) * exp(-t/tau).

    Vinf is `plateau_v`, tau is `time_constant_s`. time_s [s] >= 0. Shapes broadcast. ValueError for bad
    values.
    """
    not_negative(time_s=time_s, start_v=start_v)
    end_v = arr(plateau_v(pack_v, series_ohm, load_ohm))
    decay = np.exp(-arr(time_s) / arr(time_constant_s(series_ohm, bus_f, load_ohm)))
    return same(end_v - (end_v - arr(start_v)) * decay)


@cites("CLOSED-FORM#first-order RC charging")
def time_between_s(
    pack_v: Num, series_ohm: Num, bus_f: Num, start_v: Num, end_v: Num, load_ohm: Num = INFINITE_OHM
) -> Num:
    """Time for the bus to rise from `start_v` to `end_v` [s]: tau * ln((Vinf - v0)/(Vinf - v1)).

    Vinf is `plateau_v`, tau is `time_constant_s`. Returns 0 where the bus is at or above `end_v` at the start
    and nan (never) where end_v >= Vinf. All volts >= 0, ohms and farads > 0. Shapes broadcast. ValueError
    otherwise.
    """
    not_negative(start_v=start_v, end_v=end_v)
    settled_v = arr(plateau_v(pack_v, series_ohm, load_ohm))
    tau_s = arr(time_constant_s(series_ohm, bus_f, load_ohm))
    v0, v1 = arr(start_v), arr(end_v)
    reachable = v1 < settled_v
    there = v0 >= v1
    # log1p of the covered share keeps full precision for short times; masked lanes get a harmless 1.
    left_v = np.where(reachable & ~there, settled_v - v1, 1.0)
    ratio = np.where(reachable & ~there, (v1 - v0) / left_v, 0.0)
    rise_s = tau_s * np.log1p(ratio)
    return same(np.where(there, 0.0, np.where(reachable, rise_s, np.nan)))


@cites("CLOSED-FORM#first-order RC charging")
def time_to_fraction_s(
    fraction: Num,
    pack_v: Num,
    series_ohm: Num,
    bus_f: Num,
    start_v: Num = 0.0,
    load_ohm: Num = INFINITE_OHM,
) -> Num:
    """Time until the bus reaches `fraction` of the pack voltage [s]; nan when it never does.

    From an empty bus without load t = -tau * ln(1 - f). fraction in 0..1 (both excluded). See
    `time_between_s`.
    """
    between(0.0, 1.0, fraction=fraction)
    return time_between_s(pack_v, series_ohm, bus_f, start_v, arr(fraction) * arr(pack_v), load_ohm)


@cites("CLOSED-FORM#Ohm's law")
def peak_current_a(pack_v: Num, series_ohm: Num, start_v: Num = 0.0) -> Num:
    """Current at the first instant [A]: (V - v0)/Rs, the largest of the charging.

    series_ohm: resistor plus pack and wires [ohm] > 0. Shapes broadcast. ValueError otherwise.
    """
    not_negative(pack_v=pack_v, start_v=start_v)
    positive(series_ohm=series_ohm)
    return same((arr(pack_v) - arr(start_v)) / arr(series_ohm))


@cites("CLOSED-FORM#Joule's law")
def peak_power_w(pack_v: Num, resistor_ohm: Num, source_ohm: Num = 0.0, start_v: Num = 0.0) -> Num:
    """Power in the precharge resistor at the first instant [W]: ((V - v0)/(R + Rs))^2 * R.

    resistor_ohm: the resistor alone [ohm] > 0; source_ohm: pack and wires [ohm] >= 0. Shapes broadcast.
    """
    not_negative(source_ohm=source_ohm)
    positive(resistor_ohm=resistor_ohm)
    current_a = arr(peak_current_a(pack_v, arr(resistor_ohm) + arr(source_ohm), start_v))
    return same(current_a**2 * arr(resistor_ohm))


@cites("CLOSED-FORM#energy of RC charging")
def resistor_energy_j(
    pack_v: Num,
    bus_f: Num,
    resistor_ohm: Num,
    source_ohm: Num = 0.0,
    start_v: Num = 0.0,
    end_v: Num | None = None,
) -> Num:
    """Energy that ends in the precharge resistor while the bus rises from v0 to v1 [J], no load on the bus.

    E = C/2 * ((V - v0)^2 - (V - v1)^2) * R/(R + Rs). end_v None means charged fully (v1 = V).
    resistor_ohm > 0, source_ohm (pack and wires) >= 0, bus_f > 0, 0 <= v0 <= v1 <= V. Shapes broadcast.
    Raises ValueError outside that range.
    """
    positive(resistor_ohm=resistor_ohm, bus_f=bus_f)
    not_negative(pack_v=pack_v, source_ohm=source_ohm, start_v=start_v)
    top, v0 = arr(pack_v), arr(start_v)
    v1 = top if end_v is None else arr(end_v)
    if not bool(np.all((v0 <= v1) & (v1 <= top))):
        raise ValueError("needs start_v <= end_v <= pack_v")
    share = arr(resistor_ohm) / (arr(resistor_ohm) + arr(source_ohm))
    # (V-v0)^2 - (V-v1)^2 as a product: no cancellation for small steps.
    return same(0.5 * arr(bus_f) * (v1 - v0) * (2.0 * top - v0 - v1) * share)


@cites("CLOSED-FORM#energy of RC charging with load")
def resistor_energy_loaded_j(
    time_s: Num,
    pack_v: Num,
    bus_f: Num,
    resistor_ohm: Num,
    load_ohm: Num,
    source_ohm: Num = 0.0,
    start_v: Num = 0.0,
) -> Num:
    """Energy in the precharge resistor after `time_s` with a resistive load on the bus [J].

    The resistor sees V - v = A + B*exp(-t/tau) with A = V - Vinf, B = Vinf - v0, so
    E = [A^2 t + 2 A B tau (1 - e) + B^2 tau/2 (1 - e^2)] * R/(R + Rs)^2 with e = exp(-t/tau).
    It grows without end while the load draws. time_s >= 0, ohms and farads > 0 (source_ohm >= 0, load_ohm may
    be inf). Shapes broadcast. ValueError otherwise.
    """
    positive(resistor_ohm=resistor_ohm)
    finite(time_s=time_s)
    not_negative(time_s=time_s, source_ohm=source_ohm, start_v=start_v)
    series = arr(resistor_ohm) + arr(source_ohm)
    settled_v = arr(plateau_v(pack_v, series, load_ohm))
    tau_s = arr(time_constant_s(series, bus_f, load_ohm))
    t = arr(time_s)
    rest, swing = arr(pack_v) - settled_v, settled_v - arr(start_v)
    once, twice = -np.expm1(-t / tau_s), -np.expm1(-2.0 * t / tau_s)
    square_v2s = rest**2 * t + 2.0 * rest * swing * tau_s * once + 0.5 * swing**2 * tau_s * twice
    return same(square_v2s * arr(resistor_ohm) / series**2)


@cites("CLOSED-FORM#voltage divider")
def smallest_load_ohm(fraction: Num, series_ohm: Num) -> Num:
    """Load resistance that just keeps the bus from reaching `fraction` [ohm]: RL = Rs * f/(1 - f).

    The load must have MORE than this. At f = 0.95 it is 19 Rs, at 0.90 9 Rs. fraction in 0..1 (excluded),
    series_ohm > 0. Shapes broadcast. ValueError otherwise.
    """
    between(0.0, 1.0, fraction=fraction)
    positive(series_ohm=series_ohm)
    f = arr(fraction)
    return same(arr(series_ohm) * f / (1.0 - f))


@cites("CLOSED-FORM#constant-power load line")
def largest_power_w(pack_v: Num, series_ohm: Num) -> Num:
    """Largest constant power that has any operating point behind `series_ohm` [W]: V^2/(4 Rs).

    pack_v >= 0, series_ohm > 0. Shapes broadcast. ValueError otherwise.
    """
    not_negative(pack_v=pack_v)
    positive(series_ohm=series_ohm)
    return same(arr(pack_v) ** 2 / (4.0 * arr(series_ohm)))


@cites("CLOSED-FORM#constant-power load line")
def largest_power_load_w(fraction: Num, pack_v: Num, series_ohm: Num, turn_on_v: Num) -> Num:
    """Constant power below which the bus still reaches `fraction` of the pack voltage [W].

    What the resistor can deliver at bus voltage v is v*(V - v)/Rs, a parabola. A load that starts at v_on is
    passed
    only if it asks less than the parabola's lowest value on v_on..f*V, which lies at one of the two ends:
    P < min( f*(1 - f)*V^2/Rs , v_on*(V - v_on)/Rs ). inf where v_on >= f*V: the load starts after the target.
    fraction in 0..1 (excluded), turn_on_v >= 0, series_ohm > 0. Shapes broadcast. ValueError otherwise.
    """
    between(0.0, 1.0, fraction=fraction)
    not_negative(pack_v=pack_v, turn_on_v=turn_on_v)
    positive(series_ohm=series_ohm)
    top, v_on = arr(pack_v), arr(turn_on_v)
    v_end = arr(fraction) * top
    least_w = np.minimum(v_end * (top - v_end), v_on * (top - v_on)) / arr(series_ohm)
    return same(np.where(v_on >= v_end, np.inf, least_w))


@cites("CLOSED-FORM#constant-power load line")
def equilibrium_voltages_v(pack_v: Num, series_ohm: Num, power_w: Num) -> tuple[Num, Num]:
    """Both bus voltages at which a constant power is just delivered [V]: (V -/+ sqrt(V^2 - 4 P Rs))/2.

    Returns (lower, upper); the lower is unstable. Both nan where P > V^2/(4 Rs): there is none.
    pack_v, power_w >= 0, series_ohm > 0. Shapes broadcast. ValueError otherwise.
    """
    not_negative(pack_v=pack_v, power_w=power_w)
    positive(series_ohm=series_ohm)
    top = arr(pack_v)
    product = arr(power_w) * arr(series_ohm)
    inside = top**2 - 4.0 * product
    root = np.sqrt(np.where(inside >= 0.0, inside, np.nan))
    upper = 0.5 * (top + root)
    # lower * upper = P * Rs: avoids the cancellation of V - root for small loads.
    lower = np.divide(product, upper, out=np.where(np.isnan(upper), np.nan, 0.0), where=upper > 0.0)
    return same(lower), same(upper)


@cites("CLOSED-FORM#constant-power load line")
def settled_voltage_v(pack_v: Num, series_ohm: Num, power_w: Num, turn_on_v: Num) -> Num:
    """Where a bus precharged from below settles when a constant-power load starts at `turn_on_v` [V].

    The load has no hysteresis (it stops below turn_on_v). With the equilibria v1 <= v2 of
    `equilibrium_voltages_v`: v2 if v1 <= turn_on_v <= v2; else the bus is held at turn_on_v, where the load
    starts and stops. A load that starts at or above the pack voltage never starts: the bus reaches the pack
    voltage.
    """
    not_negative(turn_on_v=turn_on_v)
    lower, upper = equilibrium_voltages_v(pack_v, series_ohm, power_w)
    v_on = arr(turn_on_v)
    passes = (arr(lower) <= v_on) & (v_on <= arr(upper))
    return same(np.where(passes, arr(upper), np.minimum(v_on, arr(pack_v))))
