"""Signals of conductive AC charging: control pilot (duty, levels, states) and proximity contact (both types).

The duty says what the supply can give, the proximity resistor what the cable can carry; a vehicle draws no more
than the smaller of both and of its own limits (`tristrand.physics.charging.smallest_link`). Currents are per phase.
"""

import itertools
import math
from collections.abc import Mapping
from types import MappingProxyType
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from tristrand.physics._num import FloatArray, Num, arr, finite, not_negative, positive, same
from tristrand.records import NamedTuple
from tristrand.sources import cites

LEAST_CURRENT_A = 6.0
"""Smallest current the pilot can offer [A]: there is no duty for less (IEC 61851-1, duty law)."""
LARGEST_CURRENT_A = 80.0
"""Largest current the pilot can offer [A] (IEC 61851-1, duty law)."""
FIRST_LAW_LARGEST_A = 51.0
"""End of the law 0.6 D, at 85 % [A]; the next offer lies above `SECOND_LAW_ABOVE_A`."""
SECOND_LAW_ABOVE_A = 52.5
"""Where the law 2.5 (D - 64) begins, just above 85 % [A]; not itself an offer."""
_LAWS_MEET_PERCENT = 85.0

Band = Literal[
    "error", "digital communication", "6 A", "0.6 A per percent", "2.5 A per percent above 64", "80 A", "steady"
]
"""What a duty says. "steady" is 100 %: no modulation, the supply offers nothing yet."""


def _duty(duty_percent: Num) -> FloatArray:
    duty = arr(duty_percent)
    if not bool(np.all((duty >= 0.0) & (duty <= 100.0))):
        raise ValueError("duty_percent must lie between 0 and 100")
    return duty


@cites(
    "IEC-61851-1#duty cycle to current",
    deviation="the table does not say to which band exactly 7 and 8 % belong; taken as digital communication and 6 A",
)
def pilot_band(duty_percent: float) -> Band:
    """What a pilot duty [%] says to the vehicle.

    Below 3 error; 3 to 7 digital communication (5 nominal); between 7 and 8 error; 8 to below 10: 6 A; 10 to 85:
    0.6 A per percent, 85 included; above 85 to 96: 2.5 A per percent above 64; above 96 to 97: 80 A; above error;
    100 steady. No allowance for a meter's error: ask at both ends of its interval. ValueError outside 0..100.
    """
    duty = float(_duty(duty_percent))
    if duty == 100.0:
        return "steady"
    ends: tuple[tuple[bool, Band], ...] = (
        (duty < 3.0, "error"),
        (duty <= 7.0, "digital communication"),
        (duty < 8.0, "error"),
        (duty < 10.0, "6 A"),
        (duty <= _LAWS_MEET_PERCENT, "0.6 A per percent"),
        (duty <= 96.0, "2.5 A per percent above 64"),
        (duty <= 97.0, "80 A"),
    )
    return next((band for inside, band in ends if inside), "error")


@cites("IEC-61851-1#duty cycle to current")
def offered_current_a(duty_percent: Num) -> Num:
    """Current a vehicle may draw on the word of the pilot's duty [A per phase]; 0 where it offers none.

    8 <= D < 10: 6; 10 <= D <= 85: 0.6 D; 85 < D <= 96: 2.5 (D - 64); 96 < D <= 97: 80. Else 0: an error, a steady
    pilot, or digital communication, whose messages give the current. Any shape. ValueError outside 0..100.
    """
    duty = _duty(duty_percent)
    # 3/5 and 5/2 in this order give the printed decimals exactly; the factor 0.6 does not.
    laws: list[tuple[NDArray[np.bool_], Num]] = [
        (duty < 8.0, 0.0),
        (duty < 10.0, LEAST_CURRENT_A),
        (duty <= _LAWS_MEET_PERCENT, duty * 3.0 / 5.0),
        (duty <= 96.0, 2.5 * (duty - 64.0)),
        (duty <= 97.0, LARGEST_CURRENT_A),
    ]
    return same(np.select([where for where, _ in laws], [arr(amps) for _, amps in laws], 0.0))


@cites("IEC-61851-1#duty cycle to current, solved for the duty")
def duty_percent(current_a: Num) -> Num:
    """Duty that offers `current_a` [%]: I/0.6 from 6 to 51 A, I/2.5 + 64 above 52.5 to 80 A.

    Inverse of `offered_current_a`. Any shape. Raises ValueError below 6 A, above 80 A, and from above 51 to 52.5 A,
    which no duty says: the message names the neighbours.
    """
    finite(current_a=current_a)
    amps = arr(current_a)
    outside = amps[(amps < LEAST_CURRENT_A) | (amps > LARGEST_CURRENT_A)]
    if outside.size:
        raise ValueError(f"no duty offers {outside.flat[0]:g} A: the pilot codes {LEAST_CURRENT_A:g} to 80 A")
    between = amps[(amps > FIRST_LAW_LARGEST_A) & (amps <= SECOND_LAW_ABOVE_A)]
    if between.size:
        raise ValueError(
            f"no duty offers {between.flat[0]:g} A: the nearest are {FIRST_LAW_LARGEST_A:g} A (85 %) "
            f"and just above {SECOND_LAW_ABOVE_A:g} A (just above 85 %)"
        )
    first = np.minimum(amps * 5.0 / 3.0, _LAWS_MEET_PERCENT)
    # A rounding down to 85 % would fall under the first law and offer 51 A.
    second = np.maximum(amps / 2.5 + 64.0, np.nextafter(_LAWS_MEET_PERCENT, 100.0))
    return same(np.where(amps <= FIRST_LAW_LARGEST_A, first, second))


# ---------------------------------------------------------------- levels and states
State = Literal["A", "B", "C", "D", "E", "F"]

STATE_LEVEL_V: Mapping[State, float] = MappingProxyType({"A": 12.0, "B": 9.0, "C": 6.0, "D": 3.0, "E": 0.0, "F": -12.0})
"""Nominal pilot level of each state [V], upper half-wave: A no vehicle, B vehicle, C charging, D charging with
ventilation, E no supply or short circuit, F supply out of order. From memory, not confirmed."""

PILOT_SOURCE_V = 12.0
"""Amplitude of the pilot source [V]. From memory, not confirmed."""
PILOT_SOURCE_OHM = 1000.0
"""Resistance of the pilot source [ohm]. From memory, not confirmed."""
PILOT_DIODE_V = 0.7
"""Forward voltage taken for the vehicle's diode [V]: a usual figure. From memory, not confirmed."""
_STATE_B_OHM = 2740.0
_ADDED_OHM = MappingProxyType({"C": 1300.0, "D": 270.0})


def _share(below_ohm: Num, above_ohm: Num) -> FloatArray:
    """Share of a voltage divider: below/(below + above); 1 for an open circuit below, 0 for a short."""
    not_negative(below_ohm=below_ohm)
    positive(above_ohm=above_ohm)
    finite(above_ohm=above_ohm)
    with np.errstate(divide="ignore", over="ignore"):
        return np.asarray(1.0 / (1.0 + arr(above_ohm) / arr(below_ohm)))


@cites("IEC-61851-1#vehicle resistors", unverified="from memory in part, the resistors 2.74, 1.3 and 0.27 kohm")
def state_resistance_ohm(state: Literal["A", "B", "C", "D"]) -> float:
    """Resistance the vehicle puts behind its diode in a state [ohm]: A open, B 2740, C 2740||1300, D 2740||270.

    Values from memory in part. ValueError for another state: E and F are the supply's.
    """
    if state == "A":
        return math.inf
    if state == "B":
        return _STATE_B_OHM
    if state not in _ADDED_OHM:
        raise ValueError(f"no vehicle resistor belongs to state {state!r}; A, B, C and D have one")
    added = _ADDED_OHM[state]
    return _STATE_B_OHM * added / (_STATE_B_OHM + added)


@cites(
    "CLOSED-FORM#voltage divider behind a diode",
    "IEC-61851-1#pilot source and levels",
    unverified="from memory, the source of 12 V and 1 kohm and the 0.7 V of the diode",
)
def pilot_voltage_v(
    vehicle_ohm: Num,
    source_v: Num = PILOT_SOURCE_V,
    source_ohm: Num = PILOT_SOURCE_OHM,
    diode_v: Num = PILOT_DIODE_V,
) -> Num:
    """Level of the pilot's upper half-wave with the vehicle's resistance behind its diode [V].

    Vd + (Vs - Vd) R/(R + Rs): open circuit gives Vs, a short behind the diode Vd. The lower half-wave stays at -Vs,
    as the diode blocks it. vehicle_ohm >= 0 (inf: nothing connected), source_ohm > 0, 0 <= diode_v < source_v.
    Shapes broadcast. ValueError otherwise.
    """
    not_negative(diode_v=diode_v)
    positive(source_less_diode=same(arr(source_v) - arr(diode_v)))
    return same(arr(diode_v) + (arr(source_v) - arr(diode_v)) * _share(vehicle_ohm, source_ohm))


@cites("IEC-61851-1#pilot source and levels", unverified="from memory, the nominal levels of the six states")
def pilot_state(voltage_v: float, tolerance_v: float) -> State | None:
    """State a pilot level says: the one whose nominal level lies within `tolerance_v` [V]; None between the bands.

    Nominal 12, 9, 6, 3, 0, -12 V for A to F. voltage_v: upper half-wave, or the steady level. tolerance_v: half
    width of every band, 0 to below 1.5 V, so that no two bands meet; where a standard gives several, take the
    smallest. ValueError otherwise.
    """
    finite(voltage_v=voltage_v)
    levels = sorted(STATE_LEVEL_V.values())
    widest = min(high - low for low, high in itertools.pairwise(levels)) / 2.0
    if not 0.0 <= tolerance_v < widest:
        raise ValueError(f"tolerance_v must be zero or more and below {widest:g} V, where the bands would meet")
    return next((state for state, level in STATE_LEVEL_V.items() if abs(voltage_v - level) <= tolerance_v), None)


# ---------------------------------------------------------------- proximity
CABLE_CURRENT_A: Mapping[float, float] = MappingProxyType({1500.0: 13.0, 680.0: 20.0, 220.0: 32.0, 100.0: 63.0})
"""Type 2: resistor from proximity to earth in the plug [ohm] -> what the cable carries [A]; each end has its own.
Read second-hand as IEC 61851-1; 70 A for 100 ohm in one phase, from memory, is left out: 63 A is the safe one."""

TYPE_1_CONNECTOR_OHM: Mapping[str, float] = MappingProxyType(
    {"latched": 150.0, "button pressed": 480.0, "unplugged": math.inf}
)
"""Type 1: resistance from proximity to earth in the connector [ohm]; the button adds 330 ohm.
Read second-hand, without the clause of a standard."""


class ProximityDivider(NamedTuple):
    """Circuit on the vehicle's side of a proximity contact."""

    supply_v: float
    pull_up_ohm: float
    pull_down_ohm: float


TYPE_1_DIVIDER = ProximityDivider(5.0, 330.0, 2700.0)
"""The usual vehicle circuit for Type 1. From memory, not confirmed."""


@cites("IEC-61851-1#proximity resistor to cable current")
def cable_current_a(proximity_ohm: float, tolerance: float) -> float | None:
    """Current a Type 2 cable carries, from the resistor in its plug [A]; None where no cable is coded so.

    1500 ohm 13 A, 680 ohm 20 A, 220 ohm 32 A, 100 ohm 63 A. None means that charging is not allowed. tolerance:
    relative, of resistor and measurement together, 0 to below the share at which two bands would meet (3/8).
    proximity_ohm >= 0 (inf: no plug). ValueError otherwise.
    """
    not_negative(proximity_ohm=proximity_ohm)
    sizes = sorted(CABLE_CURRENT_A)
    widest = min((high - low) / (high + low) for low, high in itertools.pairwise(sizes))
    if not 0.0 <= tolerance < widest:
        raise ValueError(f"tolerance must be zero or more and below {widest:.3g}, where the bands would meet")
    return next(
        (amps for ohm, amps in CABLE_CURRENT_A.items() if abs(proximity_ohm - ohm) <= tolerance * ohm * (1.0 + 1e-12)),
        None,
    )


@cites("CLOSED-FORM#voltage divider", unverified="from memory, the vehicle's divider of 5 V, 330 ohm and 2.7 kohm")
def type_1_proximity_v(connector_ohm: Num, divider: ProximityDivider = TYPE_1_DIVIDER) -> Num:
    """Voltage on a Type 1 proximity contact [V]: V Rp/(Rp + pull-up), Rp = connector || pull-down.

    connector_ohm from `TYPE_1_CONNECTOR_OHM`; inf unplugged, 0 a short to earth. Any shape. Divider values > 0, or
    ValueError. The usual divider is from memory: give the car's own.
    """
    positive(supply_v=divider.supply_v, pull_down_ohm=divider.pull_down_ohm)
    # connector || pull-down = pull-down * share of the connector above it.
    both = divider.pull_down_ohm * _share(connector_ohm, divider.pull_down_ohm)
    return same(divider.supply_v * _share(same(both), divider.pull_up_ohm))


@cites("CLOSED-FORM#voltage divider")
def proximity_counts(proximity_ohm: Num, pull_up_ohm: Num, full_scale_counts: Num) -> Num:
    """Reading of a converter whose reference also feeds the pull-up [counts]: N R/(R + Rpull-up), not rounded.

    full_scale_counts: N, 1023 for 10 bits. proximity_ohm >= 0 (inf gives N), others > 0. Shapes broadcast.
    ValueError otherwise.
    """
    positive(full_scale_counts=full_scale_counts)
    return same(arr(full_scale_counts) * _share(proximity_ohm, pull_up_ohm))


@cites("CLOSED-FORM#voltage divider")
def resistance_from_counts_ohm(counts: Num, pull_up_ohm: Num, full_scale_counts: Num) -> Num:
    """Resistance behind a converter's reading [ohm]: Rpull-up n/(N - n); inf at full scale.

    Inverse of `proximity_counts`. 0 <= counts <= full_scale_counts, others > 0. Shapes broadcast. ValueError
    otherwise.
    """
    positive(pull_up_ohm=pull_up_ohm, full_scale_counts=full_scale_counts)
    read, full = np.broadcast_arrays(arr(counts), arr(full_scale_counts))
    if not bool(np.all((read >= 0.0) & (read <= full))):
        raise ValueError("counts must lie between 0 and full_scale_counts")
    with np.errstate(divide="ignore", over="ignore"):
        return same(arr(pull_up_ohm) * read / (full - read))
