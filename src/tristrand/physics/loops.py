"""Series loops of the 12 V side (interlock, emergency), and the input of a DC-DC converter.

A loop is a chain of elements, each a resistance and a fixed drop, with coils or relays at its end.
"""

from collections.abc import Sequence

import numpy as np

from tristrand.physics._num import FloatArray, Num, arr, finite, not_negative, positive, same, share_of_one
from tristrand.physics.closing import closing_surge
from tristrand.records import NamedTuple
from tristrand.sources import cites


class LoopElement(NamedTuple):
    """One element of a series loop: a contact, a switch, a diode, a length of wire (out and return)."""

    name: str
    resistance_ohm: float = 0.0
    """At the temperature looked at."""
    drop_v: float = 0.0
    """Fixed drop of a diode or an electronic switch, the same at every current."""


def _sums(elements: Sequence[LoopElement]) -> tuple[float, float]:
    """Resistance and fixed drop of the whole chain."""
    for element in elements:
        if not (0.0 <= element.resistance_ohm < np.inf and 0.0 <= element.drop_v < np.inf):
            raise ValueError(f"{element.name}: resistance_ohm and drop_v must be finite and not negative")
    return sum(e.resistance_ohm for e in elements), sum(e.drop_v for e in elements)


@cites("CLOSED-FORM#resistances in series")
def loop_resistance_ohm(elements: Sequence[LoopElement]) -> float:
    """Resistance of the chain [ohm]: sum of its elements', fixed drops not counted; 0 for none.

    ValueError for an element whose resistance or drop is negative or not finite.
    """
    return float(_sums(elements)[0])


@cites("CLOSED-FORM#Ohm's law")
def element_drops_v(elements: Sequence[LoopElement], current_a: Num) -> tuple[Num, ...]:
    """Voltage lost in each element, in their order [V]: I R + fixed drop.

    A fixed drop counts in full at any current, 0 A as well. current_a >= 0. ValueError otherwise.
    """
    not_negative(current_a=current_a)
    finite(current_a=current_a)
    _sums(elements)
    return tuple(same(arr(current_a) * e.resistance_ohm + e.drop_v) for e in elements)


@cites("CLOSED-FORM#Ohm's law")
def loop_drop_v(elements: Sequence[LoopElement], current_a: Num) -> Num:
    """Voltage lost along the chain at a given current [V]: I sum R + sum of fixed drops. As `element_drops_v`."""
    not_negative(current_a=current_a)
    finite(current_a=current_a)
    ohm, fixed_v = _sums(elements)
    return same(arr(current_a) * ohm + fixed_v)


@cites("CLOSED-FORM#voltages round a loop")
def voltage_left_v(supply_v: Num, elements: Sequence[LoopElement], current_a: Num) -> Num:
    """Voltage left at the end of the chain while it carries `current_a` [V]: supply less `loop_drop_v`.

    For ends whose current is known. Below zero the supply cannot drive that current at all. supply_v >= 0, current_a
    >= 0. Shapes broadcast. ValueError otherwise.
    """
    not_negative(supply_v=supply_v)
    return same(arr(supply_v) - arr(loop_drop_v(elements, current_a)))


class LoopState(NamedTuple):
    """Current of a loop with coils at its end, the voltage lost along it, and the voltage left for the coils."""

    current_a: Num
    drop_v: Num
    left_v: Num


@cites("CLOSED-FORM#voltages round a loop")
def loop_with_load(supply_v: Num, elements: Sequence[LoopElement], load_ohm: Num) -> LoopState:
    """State of a loop that ends in resistive coils: I = (V - fixed drops)/(sum R + load), never below 0.

    load_ohm > 0: all coils at the end together, each at its own temperature; cold coils draw the most and so leave
    the least. supply_v >= 0. Shapes broadcast. ValueError otherwise.
    """
    not_negative(supply_v=supply_v)
    positive(load_ohm=load_ohm)
    finite(load_ohm=load_ohm)
    ohm, fixed_v = _sums(elements)
    current = np.maximum(arr(supply_v) - fixed_v, 0.0) / (ohm + arr(load_ohm))
    left = current * arr(load_ohm)
    return LoopState(same(current), same(arr(supply_v) - left), same(left))


# ---------------------------------------------------------------- DC-DC converter
@cites("CLOSED-FORM#power balance of a converter")
def converter_input_a(output_w: Num, input_v: Num, efficiency: Num) -> Num:
    """Input current of a converter that gives `output_w` [A]: P/(eta V).

    input_v > 0: at its own terminals, under that load. 0 < efficiency <= 1, at that load and voltage. output_w >= 0.
    Shapes broadcast. ValueError otherwise.
    """
    not_negative(output_w=output_w)
    positive(input_v=input_v)
    share_of_one(efficiency=efficiency)
    return same(arr(output_w) / (arr(efficiency) * arr(input_v)))


class InputRange(NamedTuple):
    """Input current at the ends of the input voltage, and the larger of the two."""

    at_lowest_v_a: Num
    at_highest_v_a: Num
    largest_a: Num


@cites("CLOSED-FORM#power balance of a converter")
def converter_input_range_a(
    output_w: Num, lowest_v: Num, highest_v: Num, efficiency_at_lowest: Num, efficiency_at_highest: Num
) -> InputRange:
    """Input current at the lowest and at the highest input voltage [A], from `converter_input_a`.

    The lowest voltage draws the most, unless the efficiency falls faster than the voltage rises. lowest_v <=
    highest_v, others as in `converter_input_a`. Shapes broadcast. ValueError otherwise.
    """
    if not bool(np.all(arr(lowest_v) <= arr(highest_v))):
        raise ValueError("lowest_v must not be above highest_v")
    low = converter_input_a(output_w, lowest_v, efficiency_at_lowest)
    high = converter_input_a(output_w, highest_v, efficiency_at_highest)
    return InputRange(low, high, same(np.maximum(arr(low), arr(high))))


@cites("CLOSED-FORM#power balance of a converter")
def browned_out_w(input_v: Num, input_limit_a: Num, efficiency: Num, rated_w: Num) -> Num:
    """Output that is left where the input current is limited [W]: the smaller of rated_w and eta V Ilimit.

    input_v >= 0: a sagging pack at the converter's terminals; below its lowest working voltage a real converter
    stops altogether, which is not in it. input_limit_a, rated_w >= 0; 0 < efficiency <= 1. Shapes broadcast.
    ValueError otherwise.
    """
    not_negative(input_v=input_v, input_limit_a=input_limit_a, rated_w=rated_w)
    share_of_one(efficiency=efficiency)
    return same(np.minimum(arr(rated_w), arr(efficiency) * arr(input_v) * arr(input_limit_a)))


@cites("CLOSED-FORM#power balance of a converter")
def full_output_from_v(rated_w: Num, input_limit_a: Num, efficiency: Num) -> Num:
    """Lowest input voltage at which the input limit still allows the rated output [V]: P/(eta Ilimit).

    rated_w >= 0, input_limit_a > 0, 0 < efficiency <= 1. Shapes broadcast. ValueError otherwise.
    """
    not_negative(rated_w=rated_w)
    positive(input_limit_a=input_limit_a)
    share_of_one(efficiency=efficiency)
    return same(arr(rated_w) / (arr(efficiency) * arr(input_limit_a)))


class Inrush(NamedTuple):
    """Charging of an input capacitance: peak current, when, I2t, and energy left in the resistance and stored."""

    peak_a: Num
    peak_time_s: Num
    joule_integral_a2s: Num
    resistance_j: Num
    stored_j: Num


def _joule(capacitance_f: Num, volt: FloatArray) -> FloatArray:
    return 0.5 * arr(capacitance_f) * volt**2


@cites("CLOSED-FORM#series RLC step response", "CLOSED-FORM#energy of a capacitance")
def converter_inrush(supply_v: Num, source_ohm: Num, input_f: Num, start_v: Num = 0.0, source_h: Num = 0.0) -> Inrush:
    """Current surge as a converter's input capacitance is switched onto a live supply.

    Peak, its time and I2t from `tristrand.physics.closing.closing_surge` at dV = supply - start, (dV/R at t = 0
    without inductance); C dV^2/2 heats the resistance whatever its size; the capacitance gains C/2 (V^2 - v0^2).
    The converter itself draws nothing yet and has no inrush limiter. supply_v >= start_v >= 0; source_ohm (supply,
    wires, contacts, capacitor's own), input_f > 0; source_h >= 0. Shapes broadcast. ValueError otherwise.
    """
    step = arr(supply_v) - arr(start_v)
    not_negative(start_v=start_v, supply_less_start=same(step))
    surge = closing_surge(same(step), source_h, source_ohm, input_f)
    stored = _joule(input_f, arr(supply_v)) - _joule(input_f, arr(start_v))
    return Inrush(surge.peak_a, surge.peak_time_s, surge.joule_integral_a2s, same(_joule(input_f, step)), same(stored))
