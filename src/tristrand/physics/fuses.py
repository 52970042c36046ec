"""Fuses: melting, clearing, repeated pulses, rating for a load, and what a fuse leaves to other protection.

A fuse is data: its maker's melting curve, melting and clearing I2t. Nothing here guesses them.
"""

from collections.abc import Mapping
from types import MappingProxyType

import numpy as np

from tristrand.physics._num import FloatArray, Num, arr, finite, not_negative, positive, same
from tristrand.physics.fault import fault_current_a, moment_of_joule_integral, rl_fault
from tristrand.records import NamedTuple
from tristrand.sources import cites


class TimeCurrentCurve(NamedTuple):
    """A maker's melting (pre-arcing) curve: points of rising current and falling time, at least two."""

    currents_a: tuple[float, ...]
    times_s: tuple[float, ...]


class FaultMelting(NamedTuple):
    """When a fuse melts in a rising fault: both times are equal as long as no heat leaves its element."""

    earliest_s: Num
    latest_s: Num
    """inf: the curve does not show that the fuse melts at all."""
    current_a: Num
    """Fault current at the latest time."""


class ClearingDatum(NamedTuple):
    """A maker's clearing I2t and the voltage and L/R it was found at; above either, arcing brings more."""

    joule_integral_a2s: float
    at_voltage_v: float
    at_time_constant_s: float


class OverloadGap(NamedTuple):
    """Overload currents that another device must switch off, because the fuse does not do it safely."""

    from_a: Num
    """Largest load: what lies above is overload."""
    slow_below_a: Num
    """Below this current the fuse takes longer than allowed to melt, or does not melt."""
    uncleared_below_a: Num
    """Below this current it may melt and not clear: the minimum breaking current."""
    to_a: Num
    """Upper end of the gap, the larger of the two; equal to `from_a` where there is no gap."""
    longest_s: Num
    """Longest melting time in the gap; inf where the curve shows no melting; 0 without a gap."""
    open_before_s: Num
    """Melting time at the minimum breaking current: slower devices let the fuse melt where it may not clear."""


class Coordination(NamedTuple):
    """Ratios along the chain fuse, contactor, cable; the chain holds where each is above 1."""

    contactor_to_fuse: Num
    cable_to_contactor: Num
    cable_to_fuse: Num


class OpeningLimit(NamedTuple):
    """One printed opening time: load in percent of the rating, range of ratings, longest time."""

    percent: float
    lowest_a: float
    highest_a: float
    longest_s: float


CONTINUOUS_SHARE = 0.75
"""Largest lasting load as a share of the rating at 25 degC: FUSE-GUIDE#continuous derating."""

PULSE_LIFE: Mapping[float, float] = MappingProxyType({1e2: 0.48, 1e3: 0.38, 1e4: 0.29, 1e5: 0.22})
"""Number of pulses -> share of the nominal melting I2t each may bring: FUSE-GUIDE#pulse cycle life."""

UL_248_14: tuple[OpeningLimit, ...] = (
    OpeningLimit(135.0, 0.0, 60.0, 3600.0),
    OpeningLimit(200.0, 0.0, 30.0, 120.0),
    OpeningLimit(200.0, 35.0, 60.0, 240.0),
)
"""Longest opening times; 100 % is carried. Ratings above 60 A are not in the print that was read."""


def _points(curve: TimeCurrentCurve) -> tuple[FloatArray, FloatArray]:
    """Currents and times of a curve, checked."""
    currents, times = arr(np.array(curve.currents_a)), arr(np.array(curve.times_s))
    if currents.ndim != 1 or currents.shape != times.shape or currents.size < 2:
        raise ValueError("a melting curve needs two points or more, each with current and time")
    if not bool(np.all(np.isfinite(currents)) and np.all(np.isfinite(times)) and currents[0] > 0.0 and times[-1] > 0.0):
        raise ValueError("points of a melting curve must be finite and above zero")
    if not bool(np.all(np.diff(currents) > 0.0) and np.all(np.diff(times) < 0.0)):
        raise ValueError("along a melting curve the current must rise and the time must fall")
    return currents, times


@cites("CLOSED-FORM#interpolation on logarithmic scales; adiabatic heating at constant current")
def melting_time_s(curve: TimeCurrentCurve, current_a: Num) -> Num:
    """Melting time at a constant current [s]: straight lines between the points, both axes logarithmic.

    Above the last point the melting I2t stays that of the last point: t = t_n (I_n/I)^2. Below the first point inf:
    the fuse does not melt within the curve, that is before its longest time; later it still may, so ask `carries`
    whether a load is safe.

    current_a >= 0, any shape. ValueError otherwise, or for a curve that does not rise in current and fall in time.
    """
    not_negative(current_a=current_a)
    currents, times = _points(curve)
    current = arr(current_a)
    within = np.clip(current, currents[0], currents[-1])
    time_s = np.exp(np.interp(np.log(within), np.log(currents), np.log(times)))
    adiabatic = times[-1] * (currents[-1] / np.maximum(current, currents[-1])) ** 2
    return same(np.where(current < currents[0], np.inf, np.where(current < currents[-1], time_s, adiabatic)))


@cites("CLOSED-FORM#interpolation on logarithmic scales; adiabatic heating at constant current")
def melting_current_a(curve: TimeCurrentCurve, time_s: Num) -> Num:
    """Constant current that melts the fuse in a time [A]: the inverse of `melting_time_s`.

    nan for a time longer than the curve's longest: the current is then below the first point, and unknown.
    time_s > 0, any shape. ValueError otherwise.
    """
    positive(time_s=time_s)
    currents, times = _points(curve)
    time = arr(time_s)
    within = np.clip(time, times[-1], times[0])
    current = np.exp(np.interp(np.log(within), np.log(times[::-1]), np.log(currents[::-1])))
    adiabatic = currents[-1] * np.sqrt(times[-1] / np.minimum(time, times[-1]))
    return same(np.where(time > times[0], np.nan, np.where(time > times[-1], current, adiabatic)))


@cites("CLOSED-FORM#interpolation on logarithmic scales; adiabatic heating at constant current")
def carries(curve: TimeCurrentCurve, current_a: Num, duration_s: Num) -> bool | np.ndarray:
    """Whether the curve shows that the fuse carries a constant current for a time without melting.

    True where the melting time is longer than `duration_s` and `duration_s` is no longer than the curve reaches.
    A fuse ages long before it melts: `continuous_current_a` and `largest_pulse_share` say how far to stay away.
    current_a, duration_s >= 0. Shapes broadcast. ValueError otherwise.
    """
    not_negative(duration_s=duration_s)
    duration = arr(duration_s)
    # A trifle off, so that at a point of the curve itself rounding cannot let the fuse hold.
    held = (arr(melting_time_s(curve, current_a)) * (1.0 - 1e-12) > duration) & (duration <= curve.times_s[0])
    return bool(held) if held.ndim == 0 else held


@cites("CLOSED-FORM#adiabatic heating, and bounds where heat is lost")
def melting_in_fault(curve: TimeCurrentCurve, source_v: Num, loop_ohm: Num, loop_h: Num) -> FaultMelting:
    """Earliest and latest melting time in a fault that rises with L/R [s], and the current at the latest [A].

    As long as the fault's I2t reaches that of the curve's last point within the last point's time, no heat leaves
    the element and both times are the one of `fault.moment_of_joule_integral`. Where it takes longer, heat is lost
    and I2t alone would promise too early a melting. Then: earliest, never before the I2t is reached, nor before the
    prospective current flowing from the start would melt the fuse; latest, the least over k of k tau plus the
    melting time at the current reached by then, since a larger current, or earlier heat, melts no later.

    Arguments as in `fault.rl_fault`; shapes broadcast. The curve should reach down to 10 ms or less: where heat is
    still lost at its last point, the true melting may come before `earliest_s`, never after `latest_s`. An aged or
    cold pack has more resistance: ask with twice `loop_ohm` too. ValueError for bad values.
    """
    currents, times = _points(curve)
    prospective_a, tau_s, _ = rl_fault(source_v, loop_ohm, loop_h)
    moment = moment_of_joule_integral(float(currents[-1] ** 2 * times[-1]), source_v, loop_ohm, loop_h)
    unlost_s = arr(moment.time_s)
    steady_s = arr(melting_time_s(curve, prospective_a))
    earliest_s = np.maximum(unlost_s, np.where(np.isinf(steady_s), times[0], steady_s))
    latest_s = np.full(unlost_s.shape, np.inf)
    # Any k gives a true bound; by 40 the current has risen to the last digit.
    for k in (1.0, 2.0, 3.0, 4.0, 6.0, 9.0, 14.0, 20.0, 40.0):
        reached_a = -arr(prospective_a) * np.expm1(-k)
        latest_s = np.minimum(latest_s, k * arr(tau_s) + arr(melting_time_s(curve, reached_a)))
    adiabatic = unlost_s <= times[-1]
    latest_s = np.where(adiabatic, unlost_s, np.maximum(latest_s, earliest_s))
    current_a = fault_current_a(latest_s, source_v, loop_ohm, loop_h)
    return FaultMelting(same(np.where(adiabatic, unlost_s, earliest_s)), same(latest_s), current_a)


@cites("CLOSED-FORM#clearing is melting and arcing together")
def arcing_joule_integral_a2s(melting_a2s: Num, clearing_a2s: Num) -> Num:
    """I2t let through while the arc burns [A2 s]: clearing less melting.

    Both >= 0 and of the same fuse. Shapes broadcast. ValueError where clearing is below melting: then the figures
    do not belong together.
    """
    not_negative(melting_a2s=melting_a2s, clearing_a2s=clearing_a2s)
    if not bool(np.all(arr(clearing_a2s) >= arr(melting_a2s))):
        raise ValueError("clearing_a2s is melting and arcing together and must not be below melting_a2s")
    return same(arr(clearing_a2s) - arr(melting_a2s))


@cites("DATASHEET#clearing I2t of the fuse at its voltage and L/R")
def clearing_joule_integral_a2s(datum: ClearingDatum, source_v: Num, time_constant_s: Num) -> Num:
    """The maker's clearing I2t where it holds for a circuit [A2 s]; nan where it does not.

    It holds up to the voltage and the time constant it was found at. It is not scaled: below them the true value
    is smaller, and above them only the maker knows. source_v > 0, time_constant_s >= 0. Shapes broadcast.
    ValueError otherwise.
    """
    positive(source_v=source_v, clearing_a2s=datum.joule_integral_a2s, at_voltage_v=datum.at_voltage_v)
    not_negative(time_constant_s=time_constant_s, at_time_constant_s=datum.at_time_constant_s)
    holds = (arr(source_v) <= datum.at_voltage_v) & (arr(time_constant_s) <= datum.at_time_constant_s)
    return same(np.where(holds, datum.joule_integral_a2s, np.nan))


@cites("FUSE-GUIDE#pulse cycle life", deviation="between the printed points straight lines on logarithmic axes")
def largest_pulse_share(pulses: Num) -> Num:
    """Share of the nominal melting I2t that each of a number of pulses may bring.

    Printed: 0.48 for 100, 0.38 for 1000, 0.29 for 10 000, 0.22 for 100 000 pulses, 10 s or more apart. 100 <=
    pulses <= 100 000, any shape; nothing is printed outside, so ValueError there.
    """
    count, numbers = arr(pulses), np.array(list(PULSE_LIFE))
    if not bool(np.all((count >= numbers[0]) & (count <= numbers[-1]))):
        raise ValueError("pulses must lie between 100 and 100000: nothing is printed outside")
    shares = np.array(list(PULSE_LIFE.values()))
    return same(np.exp(np.interp(np.log(count), np.log(numbers), np.log(shares))))


@cites("FUSE-GUIDE#pulse cycle life", deviation="between the printed points straight lines on logarithmic axes")
def needed_melting_a2s(pulse_a2s: Num, pulses: Num) -> Num:
    """Least nominal melting I2t of a fuse that is to outlive a number of equal pulses [A2 s].

    Pulse I2t over `largest_pulse_share`. pulse_a2s >= 0; pulses as there. Shapes broadcast. ValueError otherwise.
    """
    not_negative(pulse_a2s=pulse_a2s)
    return same(arr(pulse_a2s) / arr(largest_pulse_share(pulses)))


@cites(
    "FUSE-GUIDE#ambient factor",
    unverified="from memory, the root was lost in the copy that was read; a heat balance of one node gives the same",
)
def ambient_factor(ambient_c: Num, limit_c: Num = 130.0, reference_c: Num = 25.0) -> Num:
    """Factor on a fuse's rating for the air around it: A1 = sqrt( (a - Ta)/(a - T0) ).

    limit_c: a, a figure of the fuse's maker, 130 to 150 degC; reference_c: T0, the air the rating holds for, 25 to
    30 degC, below a; ambient_c: Ta, below a. Above 1 in cold air. Shapes broadcast. ValueError otherwise. Heat from
    thin cables and neighbours comes on top.
    """
    finite(ambient_c=ambient_c, limit_c=limit_c, reference_c=reference_c)
    ambient, limit, reference = arr(ambient_c), arr(limit_c), arr(reference_c)
    if not bool(np.all((ambient < limit) & (reference < limit))):
        raise ValueError("ambient_c and reference_c must be below limit_c")
    return same(np.sqrt((limit - ambient) / (limit - reference)))


def _lasting_share(factor: Num, continuous_share: Num) -> FloatArray:
    """Share of the rating that may flow for ever; cold air earns nothing."""
    positive(factor=factor, continuous_share=continuous_share)
    if not bool(np.all(arr(continuous_share) <= 1.0)):
        raise ValueError("continuous_share must not be above 1")
    return arr(continuous_share) * np.minimum(arr(factor), 1.0)


@cites("FUSE-GUIDE#continuous derating", deviation="a factor above 1 (cold air) is counted as 1")
def continuous_current_a(rating_a: Num, factor: Num = 1.0, continuous_share: Num = CONTINUOUS_SHARE) -> Num:
    """Largest current that a fuse may carry for ever [A]: rating * share * factor.

    rating_a >= 0; factor > 0, for example `ambient_factor`; 0 < continuous_share <= 1, 0.75 as the guide says or
    the share of the fuse's own sheet. Shapes broadcast. ValueError otherwise.
    """
    not_negative(rating_a=rating_a)
    return same(arr(rating_a) * _lasting_share(factor, continuous_share))


@cites("FUSE-GUIDE#continuous derating", deviation="a factor above 1 (cold air) is counted as 1")
def required_rating_a(load_a: Num, factor: Num = 1.0, continuous_share: Num = CONTINUOUS_SHARE) -> Num:
    """Least rating of a fuse for a lasting load [A]: load/(share * factor), the inverse of `continuous_current_a`.

    load_a >= 0, a root mean square over the fuse's own time. The rest as there. Shapes broadcast.
    """
    not_negative(load_a=load_a)
    return same(arr(load_a) / _lasting_share(factor, continuous_share))


@cites("CLOSED-FORM#interpolation on logarithmic scales, minimum breaking current")
def overload_gap(curve: TimeCurrentCurve, minimum_breaking_a: Num, load_a: Num, allowed_s: Num) -> OverloadGap:
    """Currents above the load that the fuse melts too slowly for, or melts at and may not clear.

    Another device, as a rule the contactors, must open there: within `allowed_s` where the fuse is slow, and before
    `open_before_s` at currents up to the minimum breaking current, which it must itself be able to break.

    minimum_breaking_a: of the fuse [A] >= 0; load_a: largest lasting load [A] >= 0; allowed_s: longest time that what
    the fuse protects stands an overload [s] > 0. Where that is beyond the curve, everything below the first point
    counts as slow. Shapes broadcast. ValueError otherwise.
    """
    not_negative(minimum_breaking_a=minimum_breaking_a, load_a=load_a)
    positive(allowed_s=allowed_s)
    _, times = _points(curve)
    slow_below = arr(melting_current_a(curve, np.minimum(arr(allowed_s), times[0])))
    low, slow_below, breaking = np.broadcast_arrays(arr(load_a), slow_below, arr(minimum_breaking_a))
    high = np.maximum(low, np.maximum(slow_below, breaking))
    longest_s = np.where(high > low, arr(melting_time_s(curve, low)), 0.0)
    open_before = melting_time_s(curve, breaking)
    return OverloadGap(
        same(low.copy()), same(slow_below.copy()), same(breaking.copy()), same(high), same(longest_s), open_before
    )


@cites("CLOSED-FORM#fuses in series carry the same I2t")
def selectivity(upstream_melting_a2s: Num, downstream_clearing_a2s: Num, margin: Num = 1.0) -> Num:
    """Upstream melting I2t over margin times downstream clearing I2t: above 1 only the downstream fuse opens.

    Holds for faults so large that neither element loses heat; at small overcurrents compare the curves.
    downstream_clearing_a2s > 0, at the actual voltage and L/R; upstream_melting_a2s >= 0; margin >= 1. Shapes
    broadcast. ValueError otherwise.
    """
    not_negative(upstream_melting_a2s=upstream_melting_a2s)
    positive(downstream_clearing_a2s=downstream_clearing_a2s)
    if not bool(np.all(arr(margin) >= 1.0)):
        raise ValueError("margin must be 1 or more")
    return same(arr(upstream_melting_a2s) / (arr(margin) * arr(downstream_clearing_a2s)))


@cites("CLOSED-FORM#parts in series carry the same I2t")
def coordination(clearing_a2s: Num, contactor_a2s: Num, cable_a2s: Num) -> Coordination:
    """Ratios of the chain: fuse clearing I2t < contactor withstand I2t < cable k^2 S^2.

    Contactor and cable live where their ratio to the fuse is above 1. All > 0 [A2 s]; the clearing I2t at the actual
    voltage and L/R, the cable's from `adiabatic.joule_integral_limit_a2s` with its start temperature and metal area.
    Shapes broadcast. ValueError otherwise.
    """
    positive(clearing_a2s=clearing_a2s, contactor_a2s=contactor_a2s, cable_a2s=cable_a2s)
    fuse, contactor, cable = arr(clearing_a2s), arr(contactor_a2s), arr(cable_a2s)
    return Coordination(same(contactor / fuse), same(cable / contactor), same(cable / fuse))


@cites("30CFR28#28.41", deviation="at 100 A, 1 kA and 10 kA the longer of the two neighbouring values")
def qualification_time_constant_s(current_a: Num) -> Num:
    """Least L/R of the circuit in which direct-current fuses of mining machines are tested [s].

    16 ms from 10 kA, 8 ms from 1 kA, 6 ms from 100 A, 2 ms below. A fuse tested so has cleared slower circuits than
    a vehicle's (0.1 to 2 ms). current_a: prospective current [A] > 0, any shape. ValueError otherwise.
    """
    positive(current_a=current_a)
    current = arr(current_a)
    return same(np.select([current >= 10e3, current >= 1e3, current >= 100.0], [16e-3, 8e-3, 6e-3], 2e-3))


@cites("UL-248-14#opening times")
def longest_opening_s(percent: float, rating_a: float) -> float:
    """Longest opening time of a fuse to UL 248-14 [s] at a load in percent of its rating; inf at 100 %: carried.

    Printed: 135 % 1 h; 200 % 2 min up to 30 A, 4 min for 35 to 60 A. Nothing lies between: ValueError for another
    percentage, and for a rating [A] that the print does not name.
    """
    positive(rating_a=rating_a)
    if percent == 100.0 and rating_a <= 60.0:
        return float("inf")
    found = [r for r in UL_248_14 if r.percent == percent and r.lowest_a <= rating_a <= r.highest_a]
    if not found:
        raise ValueError(f"no opening time is printed for {percent:g} % of {rating_a:g} A")
    return found[0].longest_s
