"""Conductive AC charging: power of the supply, the weakest link, current into the pack, and how long it takes.

A session here has one temperature and one pack resistance. A real pack's resistance grows near full and with cold,
so the last part takes longer than computed.
"""

from collections.abc import Iterable, Mapping
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from tristrand.physics._num import FloatArray, Num, arr, not_negative, positive, same, share_of_one
from tristrand.physics.pack import current_for_power_a, interpolate_table, terminal_voltage_v
from tristrand.records import NamedTuple
from tristrand.sources import cites

CONTINUOUS_LOAD_FACTOR = 1.25
"""Branch circuit over current of the supply equipment: NEC 625.42, which counts charging as continuous load."""
_ROUNDING = 1e-9


# ---------------------------------------------------------------- supply and chain
@cites("CLOSED-FORM#power of one and of three phases")
def supply_power_w(supply_v: Num, current_a: Num, phases: Literal[1, 3] = 1, power_factor: Num = 1.0) -> Num:
    """Power of an AC supply [W]: V I pf for one phase, sqrt(3) V I pf for three.

    supply_v: between the two conductors of one phase, or between two lines of three; current_a: rms in each line.
    Both >= 0; 0 < power_factor <= 1. Shapes broadcast. ValueError otherwise and for another number of phases.
    """
    not_negative(supply_v=supply_v, current_a=current_a)
    share_of_one(power_factor=power_factor)
    if phases not in (1, 3):
        raise ValueError(f"phases must be 1 or 3, not {phases}")
    return same(np.sqrt(float(phases)) * arr(supply_v) * arr(current_a) * arr(power_factor))


@cites("NEC-625#625.42")
def branch_circuit_least_a(equipment_a: Num) -> Num:
    """Least rating of the branch circuit for a charging supply of `equipment_a` [A]: 1.25 I. equipment_a >= 0."""
    not_negative(equipment_a=equipment_a)
    return same(CONTINUOUS_LOAD_FACTOR * arr(equipment_a))


@cites("NEC-625#625.42")
def branch_circuit_a(equipment_a: float, standard_sizes_a: Iterable[float]) -> float:
    """Smallest of the given standard sizes that is at least 1.25 times the supply's current [A].

    standard_sizes_a: the sizes that count, in any order; none is built in. equipment_a >= 0. ValueError where no
    size is large enough.
    """
    least = float(branch_circuit_least_a(equipment_a))
    # A size met but for rounding counts as met.
    fitting = [size for size in standard_sizes_a if size >= least * (1.0 - _ROUNDING)]
    if not fitting:
        raise ValueError(f"no given size reaches {least:g} A")
    return min(fitting)


class Link(NamedTuple):
    """A limit in a chain and its name."""

    name: str
    value: float


@cites("CLOSED-FORM#a chain carries what its weakest link carries")
def smallest_link(limits: Mapping[str, float]) -> Link:
    """Name and value of the smallest of several limits in one unit; of equal ones the first named.

    E.g. supply, cable, onboard charger and pack, all in amperes per phase. inf: this link sets no limit. ValueError
    for an empty chain, NaN or a negative limit.
    """
    if not limits:
        raise ValueError("limits must name at least one link")
    not_negative(**limits)
    return Link(*min(limits.items(), key=lambda item: item[1]))


# ---------------------------------------------------------------- onboard charger, 12 V supply
@cites("CLOSED-FORM#energy balance of the charger")
def pack_power_w(ac_w: Num, efficiency: Num, low_voltage_w: Num = 0.0, converter_efficiency: Num = 1.0) -> Num:
    """Power that reaches the pack's terminals [W]: eta P - P12/eta12; negative where the 12 V side takes more.

    efficiency: of the charger at this very power (it is lower at low current); low_voltage_w: what pumps, control
    units and the 12 V battery take meanwhile; converter_efficiency: of the DC-DC converter. Powers >= 0,
    efficiencies above 0 to 1. Shapes broadcast. ValueError otherwise.
    """
    not_negative(ac_w=ac_w)
    share_of_one(efficiency=efficiency)
    taken = low_voltage_energy_j(low_voltage_w, 1.0, converter_efficiency)
    return same(arr(efficiency) * arr(ac_w) - arr(taken))


@cites("CLOSED-FORM#energy balance of the converter")
def low_voltage_energy_j(low_voltage_w: Num, time_s: Num, converter_efficiency: Num = 1.0) -> Num:
    """Energy the 12 V side takes from the high-voltage side in `time_s` [J]: P t/eta.

    low_voltage_w, time_s >= 0; 0 < converter_efficiency <= 1. Shapes broadcast. ValueError otherwise.
    """
    not_negative(low_voltage_w=low_voltage_w, time_s=time_s)
    share_of_one(converter_efficiency=converter_efficiency)
    return same(arr(low_voltage_w) * arr(time_s) / arr(converter_efficiency))


@cites("CLOSED-FORM#power into a source with resistance")
def charger_current_a(ac_w: Num, efficiency: Num, open_v: Num, resistance_ohm: Num = 0.0) -> Num:
    """Current an onboard charger drives into the pack [A]: the root of I (V + I R) = eta P, positive.

    open_v: open-circuit voltage of the pack > 0; resistance_ohm: of the pack >= 0; ac_w >= 0; 0 < efficiency <= 1.
    The charger's own current limit is a link of its own. Shapes broadcast. ValueError otherwise.
    """
    power = pack_power_w(ac_w, efficiency)
    return same(-arr(current_for_power_a(same(-arr(power)), open_v, resistance_ohm)) + 0.0)


@cites("CLOSED-FORM#power into a source with resistance")
def ac_power_for_current_w(current_a: Num, efficiency: Num, open_v: Num, resistance_ohm: Num = 0.0) -> Num:
    """AC power that drives `current_a` into the pack [W]: I (V + I R)/eta. Inverse of `charger_current_a`.

    current_a, resistance_ohm >= 0, open_v > 0, 0 < efficiency <= 1. Shapes broadcast. ValueError otherwise.
    """
    not_negative(current_a=current_a)
    positive(open_v=open_v)
    share_of_one(efficiency=efficiency)
    terminal = terminal_voltage_v(open_v, same(-arr(current_a)), resistance_ohm)
    return same(arr(current_a) * arr(terminal) / arr(efficiency))


@cites("CLOSED-FORM#energy = power times time")
def ac_limited_time_s(
    energy_j: Num, ac_w: Num, efficiency: Num, low_voltage_w: Num = 0.0, converter_efficiency: Num = 1.0
) -> Num:
    """Time to bring `energy_j` to the pack's terminals at constant AC power [s]: E/(eta P - P12/eta12).

    inf where nothing is left for the pack. No taper: `table_session` has it. energy_j >= 0, the rest as in
    `pack_power_w`.
    """
    not_negative(energy_j=energy_j)
    power, energy = np.broadcast_arrays(
        arr(pack_power_w(ac_w, efficiency, low_voltage_w, converter_efficiency)), arr(energy_j)
    )
    taken = np.where(energy > 0.0, np.inf, 0.0)
    return same(np.divide(energy, power, out=taken, where=power > 0.0))


@cites("CLOSED-FORM#energy = power times time")
def ac_limited_energy_j(
    time_s: Num, ac_w: Num, efficiency: Num, low_voltage_w: Num = 0.0, converter_efficiency: Num = 1.0
) -> Num:
    """Energy brought to the pack's terminals in `time_s` at constant AC power [J]: t (eta P - P12/eta12).

    Negative where the 12 V side takes more than the charger gives. time_s >= 0, the rest as in `pack_power_w`.
    """
    not_negative(time_s=time_s)
    return same(arr(time_s) * arr(pack_power_w(ac_w, efficiency, low_voltage_w, converter_efficiency)))


# ---------------------------------------------------------------- limit by temperature and charge
class ChargeLimit(NamedTuple):
    """Charge current allowed by a table, and where the table holds nothing and so allows nothing."""

    current_a: Num
    outside: bool | NDArray[np.bool_]


@cites("NUMERICS#bilinear interpolation")
def charge_limit_a(
    temperatures_c: FloatArray, socs: FloatArray, table_a: FloatArray, temperature_c: Num, soc: Num
) -> ChargeLimit:
    """Largest charge current at a cell temperature and state of charge [A], straight between a table's entries.

    temperatures_c (n,), socs (m,), both rising; table_a (n, m) >= 0, for the same pack as the current. Outside the
    table the limit is 0 and `outside` is true: the edge is NOT carried on, since charging colder than the maker's
    table harms cells. temperature_c, soc broadcast. ValueError for wrong shapes, NaN or negative entries.
    """
    not_negative(table_a=table_a)
    read = interpolate_table(temperatures_c, socs, table_a, temperature_c, soc)
    outside = np.asarray(read.clamped_row) | np.asarray(read.clamped_column)
    return ChargeLimit(same(np.where(outside, 0.0, arr(read.value))), bool(outside) if outside.ndim == 0 else outside)
