"""Contactors: the coil when it is hot, electrical life, overload points, marked polarity, and the test for a weld.

The values of a sheet are handed in, none is kept here. Outside the points of a sheet every look-up gives nan:
a study then stays open. The surge of closing is in `tristrand.physics.closing`.
"""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from tristrand.physics import discharge
from tristrand.physics._num import FloatArray, Num, arr, between, finite, not_negative, positive, same
from tristrand.physics.conductors import resistance_ratio
from tristrand.records import NamedTuple
from tristrand.sources import cites

Truth = bool | NDArray[np.bool_]

ECONOMISER_SAVING = (0.70, 0.85)
"""Share of the pull-in power that an economiser saves, CONTACTOR-COIL-NOTE (written about mains contactors)."""


# ---------------------------------------------------------------- coil
def _copper(temperature_c: Num, reference_c: Num) -> FloatArray:
    finite(temperature_c=temperature_c, reference_c=reference_c)
    return arr(resistance_ratio(temperature_c)) / arr(resistance_ratio(reference_c))


def _truth(values: NDArray[np.bool_]) -> Truth:
    return bool(values) if values.ndim == 0 else values


@cites("IEC-60028#temperature coefficient at 20 °C")
def coil_resistance_ohm(resistance_ohm: Num, temperature_c: Num, reference_c: Num = 20.0) -> Num:
    """Resistance of a copper coil at its own temperature [ohm]: R (1 + 0.00393 (T - 20))/(1 + 0.00393 (Tref - 20)).

    resistance_ohm > 0: the sheet's, at reference_c (20 degC unless the sheet says otherwise). temperature_c: of
    the winding, which stands above the ambient once it has carried current; -50..250 degC. Shapes broadcast.
    ValueError otherwise.
    """
    positive(resistance_ohm=resistance_ohm)
    return same(arr(resistance_ohm) * _copper(temperature_c, reference_c))


@cites("CLOSED-FORM#Ohm's law", "IEC-60028#temperature coefficient at 20 °C")
def coil_current_a(coil_v: Num, resistance_ohm: Num, temperature_c: Num, reference_c: Num = 20.0) -> Num:
    """Current of a coil without economiser [A]: V/R(T), R(T) from `coil_resistance_ohm`.

    coil_v >= 0: at the coil's own terminals [V]. A cold coil draws the most, a hot one pulls the least. Other
    arguments as in `coil_resistance_ohm`. Shapes broadcast. ValueError otherwise.
    """
    not_negative(coil_v=coil_v)
    return same(arr(coil_v) / arr(coil_resistance_ohm(resistance_ohm, temperature_c, reference_c)))


@cites("CLOSED-FORM#Joule's law", "IEC-60028#temperature coefficient at 20 °C")
def coil_power_w(coil_v: Num, resistance_ohm: Num, temperature_c: Num, reference_c: Num = 20.0) -> Num:
    """Power of a coil without economiser [W]: V^2/R(T). Arguments as in `coil_current_a`."""
    return same(arr(coil_v) * arr(coil_current_a(coil_v, resistance_ohm, temperature_c, reference_c)))


@cites("CLOSED-FORM#a coil pulls by its current", "IEC-60028#temperature coefficient at 20 °C")
def coil_threshold_v(threshold_v: Num, temperature_c: Num, reference_c: Num = 20.0) -> Num:
    """Pull-in, hold or release voltage of a coil at another temperature [V]: V (1 + 0.00393 (T - 20)).

    The armature moves at a current, and the voltage for that current goes with the copper's resistance (over
    its value at reference_c where the sheet does not speak of 20 degC). Magnet and springs are taken as they
    are at reference_c. Not for a coil behind electronics that set its current. threshold_v >= 0: the sheet's, at
    reference_c; -50..250 degC. Shapes broadcast. ValueError otherwise.
    """
    not_negative(threshold_v=threshold_v)
    return same(arr(threshold_v) * _copper(temperature_c, reference_c))


class CoilSupply(NamedTuple):
    """What reaches a coil, what it needs at its temperature, and whether that is enough."""

    coil_v: Num
    needed_v: Num
    current_a: Num
    enough: Truth


@cites("CLOSED-FORM#voltage divider", "CONTACTOR-SHEET-COIL#pull-in and hold voltage")
def coil_at_supply(
    supply_v: Num,
    threshold_v: Num,
    resistance_ohm: Num,
    temperature_c: Num,
    *,
    sag_v: Num = 0.0,
    wiring_ohm: Num = 0.0,
    reference_c: Num = 20.0,
) -> CoilSupply:
    """Whether a sagging supply pulls a coil in (threshold: pull-in voltage) or keeps it closed (hold voltage).

    coil_v = (supply - sag) R(T)/(R(T) + wiring), needed_v = `coil_threshold_v`, enough where coil_v >= needed_v.
    supply_v >= sag_v >= 0 [V]; wiring_ohm >= 0: out and return, driver and loop; without an economiser.
    threshold_v, resistance_ohm at reference_c. Shapes broadcast. ValueError otherwise.
    """
    not_negative(sag_v=sag_v, wiring_ohm=wiring_ohm, supply_less_sag=same(arr(supply_v) - arr(sag_v)))
    hot = arr(coil_resistance_ohm(resistance_ohm, temperature_c, reference_c))
    current = (arr(supply_v) - arr(sag_v)) / (hot + arr(wiring_ohm))
    needed = arr(coil_threshold_v(threshold_v, temperature_c, reference_c))
    # Written so that a coil without wiring gets the supply itself, not a product rounded below it.
    coil = np.where(arr(wiring_ohm) == 0.0, arr(supply_v) - arr(sag_v), current * hot)
    return CoilSupply(same(coil), same(needed), same(current), _truth(coil >= needed))


@cites("CONTACTOR-COIL-NOTE#hold power")
def economised_power_w(pull_in_w: Num, saving: Num) -> Num:
    """Power a coil takes once its economiser has cut back [W]: P (1 - saving).

    pull_in_w >= 0. 0 <= saving < 1, `ECONOMISER_SAVING` where the sheet gives none. Starts 100 to 300 ms after
    pull-in; until then the coil takes all of it. Shapes broadcast. ValueError otherwise.
    """
    not_negative(pull_in_w=pull_in_w, saving=saving, left=same(1.0 - arr(saving)))
    return same(arr(pull_in_w) * (1.0 - arr(saving)))


@cites("CLOSED-FORM#mean current of a switched coil with freewheeling path")
def switched_hold_power_w(supply_v: Num, coil_ohm: Num, duty: Num) -> Num:
    """Power taken by a coil that is held by switching its supply [W]: (D V)^2/R; mean supply current is that over V.

    Holds with a freewheeling diode without drop and a switching period far below L/R. supply_v >= 0, coil_ohm > 0
    (at its temperature), 0 <= duty <= 1. Saves 1 - D^2 of the pull-in power. Shapes broadcast. ValueError
    otherwise.
    """
    not_negative(supply_v=supply_v, duty=duty, left=same(1.0 - arr(duty)))
    positive(coil_ohm=coil_ohm)
    return same((arr(duty) * arr(supply_v)) ** 2 / arr(coil_ohm))


# ---------------------------------------------------------------- life and overload, between a sheet's points
def _axis(name: str, points: Sequence[float]) -> FloatArray:
    axis = np.asarray(points, dtype=np.float64)
    if axis.ndim != 1 or axis.size < 1 or not bool(np.all(np.isfinite(axis) & (axis > 0.0))):
        raise ValueError(f"{name} must be a list of finite numbers above zero")
    if not bool(np.all(np.diff(axis) > 0.0)):
        raise ValueError(f"{name} must rise from entry to entry")
    return axis


def _inside(axis: FloatArray, wanted: FloatArray) -> NDArray[np.bool_]:
    inside: NDArray[np.bool_] = (wanted >= axis[0]) & (wanted <= axis[-1])
    return inside


def _bracket(axis: FloatArray, wanted: FloatArray) -> tuple[NDArray[np.intp], NDArray[np.intp], FloatArray]:
    """Neighbours of each wanted value and its share of their distance in logarithms; exactly 0 or 1 at a point."""
    left = np.clip(np.searchsorted(axis, wanted, side="right") - 1, 0, max(axis.size - 2, 0))
    right = np.minimum(left + 1, axis.size - 1)
    span = np.where(right > left, np.log(axis[right] / axis[left]), 1.0)
    return left, right, np.where(wanted >= axis[right], 1.0, np.log(wanted / axis[left]) / span)


def _mix(first: FloatArray, second: FloatArray, share: FloatArray) -> FloatArray:
    # Straight in logarithms, but a point of the sheet comes back as it was put in.
    return np.where(share >= 1.0, second, first * (second / first) ** share)


class LifeTable(NamedTuple):
    """Electrical life of one sheet: `operations[i][j]` at `voltages_v[i]` and `currents_a[j]`, both rising.

    One table for one kind of event (making, breaking forward, breaking in reverse) and one kind of load.
    """

    voltages_v: tuple[float, ...]
    currents_a: tuple[float, ...]
    operations: tuple[tuple[float, ...], ...]


@cites(
    "CONTACTOR-SHEET-LIFE#make and break life",
    deviation="between the points of the sheet straight in logarithms of current, voltage and operations: own choice",
)
def life_operations(current_a: Num, voltage_v: Num, table: LifeTable) -> Num:
    """Operations that a contactor survives at one current and voltage; nan outside the points of its sheet.

    log N is bilinear in log I and log V between the points. Never carried on beyond them, not even towards
    smaller currents (from memory: a small direct current can be harder to break than a middling one). A table
    with one voltage or one current answers only there. current_a (its amount), voltage_v >= 0. Shapes broadcast.
    ValueError otherwise, and for a table whose axes do not rise or whose operations are not all above zero.
    """
    not_negative(current_a=current_a, voltage_v=voltage_v)
    volts, amps = _axis("voltages_v", table.voltages_v), _axis("currents_a", table.currents_a)
    life = np.asarray(table.operations, dtype=np.float64)
    if life.shape != (volts.size, amps.size) or not bool(np.all(np.isfinite(life) & (life > 0.0))):
        raise ValueError(f"operations must be {volts.size} rows of {amps.size} numbers above zero")
    v, i = np.broadcast_arrays(arr(voltage_v), arr(current_a))
    known = _inside(volts, v) & _inside(amps, i)
    top, bottom, down = _bracket(volts, np.where(known, v, volts[0]))
    left, right, across = _bracket(amps, np.where(known, i, amps[0]))
    upper = _mix(life[top, left], life[top, right], across)
    lower = _mix(life[bottom, left], life[bottom, right], across)
    return same(np.where(known, _mix(upper, lower, down), np.nan))


class Switching(NamedTuple):
    """One kind of switching in a duty: at which current and voltage, and how often."""

    current_a: float
    voltage_v: float
    operations: float


class LifeUsed(NamedTuple):
    """Share of the life that a duty uses up, whole and by kind of switching; 1 is the end of life, nan not known."""

    total: float
    shares: tuple[float, ...]


@cites(
    "MEMORY#linear damage sum",
    unverified="from memory: that wear of different kinds of switching adds up linearly was not confirmed in any text",
)
def life_used(duty: Sequence[Switching], table: LifeTable) -> LifeUsed:
    """Life used by a duty: sum of n/N(I, V), the linear damage sum, N from `life_operations`.

    A kind of switching that the sheet does not cover is nan, and so is the total, unless it has 0 operations. The
    order of events does not matter. operations >= 0. No duty uses nothing. ValueError as in `life_operations`.
    """
    for kind in duty:
        not_negative(operations=kind.operations)
        finite(operations=kind.operations)
    shares = tuple(
        kind.operations / float(life_operations(kind.current_a, kind.voltage_v, table)) if kind.operations else 0.0
        for kind in duty
    )
    return LifeUsed(math.fsum(shares), shares)


@cites("CLOSED-FORM#Joule integral of a steady current")
def withstand_a2s(current_a: Num, time_s: Num) -> Num:
    """I2t of a sheet's withstand point [A2 s]: I^2 t.

    Compare it with the let-through of a fuse only for times up to the point's own, and the peak with the
    blow-off current: shorter and higher currents throw contacts open before they heat them. Arguments >= 0.
    Shapes broadcast. ValueError otherwise.
    """
    not_negative(current_a=current_a, time_s=time_s)
    return same(arr(current_a) ** 2 * arr(time_s))


class OverloadPoint(NamedTuple):
    """One entry of a sheet's overload curve: this current for this long."""

    current_a: float
    time_s: float


def _overload(points: Sequence[OverloadPoint]) -> tuple[FloatArray, FloatArray]:
    """Times and currents by rising time."""
    ordered = sorted(points, key=lambda point: point[1])
    times = _axis("times of the overload points", [time_s for _, time_s in ordered])
    falling = _axis("currents of the overload points, from long to short,", [amps for amps, _ in reversed(ordered)])
    return times, falling[::-1]


@cites(
    "CONTACTOR-SHEET-OVERLOAD#overload",
    deviation="between the points of the sheet straight in logarithms of current and time: own choice",
)
def overload_current_a(duration_s: Num, points: Sequence[OverloadPoint]) -> Num:
    """Current that a sheet allows for `duration_s` [A]; nan for times outside of its points.

    Straight in log I against log t between the points, which is exact where I2t (or any I^n t) stays constant.
    From a cold start unless the sheet says otherwise, with the cable that the sheet asks for. duration_s >= 0.
    points: in any order, pairs (current, time) above zero, current falling as time rises. Shapes broadcast.
    ValueError otherwise.
    """
    not_negative(duration_s=duration_s)
    times, currents = _overload(points)
    known = _inside(times, arr(duration_s))
    left, right, share = _bracket(times, np.where(known, arr(duration_s), times[0]))
    return same(np.where(known, _mix(currents[left], currents[right], share), np.nan))


@cites(
    "CONTACTOR-SHEET-OVERLOAD#overload",
    deviation="between the points of the sheet straight in logarithms of current and time: own choice",
)
def overload_time_s(current_a: Num, points: Sequence[OverloadPoint]) -> Num:
    """Time for which a sheet allows `current_a` [s]; nan for currents outside of its points.

    Inverse of `overload_current_a`, same arguments. A current below the lowest point may still be above the
    continuous rating: compare that first. current_a >= 0. ValueError otherwise.
    """
    not_negative(current_a=current_a)
    times, currents = _overload(points)
    rising, falling_times = currents[::-1], times[::-1]
    known = _inside(rising, arr(current_a))
    left, right, share = _bracket(rising, np.where(known, arr(current_a), rising[0]))
    return same(np.where(known, _mix(falling_times[left], falling_times[right], share), np.nan))


# ---------------------------------------------------------------- polarity and welds
@cites("CONTACTOR-SHEET-OVERLOAD#break rating forward and in reverse")
def against_polarity(discharge_a: Num, forward_is_discharge: bool = True) -> Truth:
    """Whether a mode's main current runs against the marked polarity of a contactor with one.

    discharge_a: current of the mode, positive out of the pack, negative while charging or braking. As mounted,
    forward is the current of discharge, or of charge where forward_is_discharge is False (a contactor of the
    charging inlet). No current runs against nothing. Shapes broadcast. ValueError unless finite.
    """
    finite(discharge_a=discharge_a)
    current = arr(discharge_a)
    return _truth(current < 0.0 if forward_is_discharge else current > 0.0)


@cites("CLOSED-FORM#first-order RC discharging")
def opened_link_v(time_s: Num, pack_v: Num, discharge_ohm: Num, link_f: Num) -> Num:
    """Voltage that a link must have fallen to, `time_s` after its contactors opened [V]: V exp(-t/(R C)).

    Only the discharge resistor drains it: other loads make it fall faster, a spinning motor or a charger keeps it
    up. One welded pole alone does not keep the link live: this sees only a path through both. time_s, pack_v >= 0;
    discharge_ohm, link_f > 0. Shapes broadcast. ValueError otherwise.
    """
    return discharge.voltage_v(time_s, pack_v, discharge_ohm, link_f)


@cites("CLOSED-FORM#first-order RC discharging, solved for time")
def weld_test_delay_s(ratio: Num, discharge_ohm: Num, link_f: Num, sensor_error: Num = 0.0) -> Num:
    """Time after opening from which "link over pack above `ratio`" proves a path through the contactors [s].

    t = -R C ln(ratio (1 - e) - e): from then on an opened link reads at most `ratio` even if the link's sensor
    reads high and the pack's reads low by e of the pack voltage each (gain and offset together). nan where no
    wait helps: ratio (1 - e) - e <= 0, or a welded link could itself read no more than ratio, (1 - e)/(1 + e)
    <= ratio. Use the largest R and C of their tolerance; bounds of `opened_link_v` hold. 0 < ratio < 1; 0 <=
    sensor_error < 1; discharge_ohm, link_f > 0. Shapes broadcast. ValueError otherwise.
    """
    between(0.0, 1.0, ratio=ratio)
    not_negative(sensor_error=sensor_error, right_of_sensor=same(1.0 - arr(sensor_error)))
    positive(discharge_ohm=discharge_ohm, link_f=link_f)
    error = arr(sensor_error)
    least_true = arr(ratio) * (1.0 - error) - error
    tells = (least_true > 0.0) & ((1.0 - error) > arr(ratio) * (1.0 + error))
    wait = -arr(discharge_ohm) * arr(link_f) * np.log(np.where(tells, least_true, 0.5))
    return same(np.where(tells, wait, np.nan))
