"""Discharge of one capacitance through one resistor, and the energy a person could touch."""

from __future__ import annotations

import numpy as np

from tristrand.physics._num import Num, arr, not_negative, positive, same
from tristrand.sources import cites

TOUCH_LIMIT_V = 60.0
"""Direct voltage at and below which a bus counts as discharged [V]."""


@cites("CLOSED-FORM#first-order RC discharging")
def voltage_v(time_s: Num, start_v: Num, resistance_ohm: Num, bus_f: Num) -> Num:
    """Voltage left after `time_s` [V]: V * exp(-t/(R C)).

    time_s, start_v >= 0; resistance_ohm, bus_f > 0 (resistance may be inf: nothing leaks). Shapes broadcast.
    Raises ValueError otherwise.
    """
    not_negative(time_s=time_s, start_v=start_v)
    positive(resistance_ohm=resistance_ohm, bus_f=bus_f)
    return same(arr(start_v) * np.exp(-arr(time_s) / (arr(resistance_ohm) * arr(bus_f))))


@cites("CLOSED-FORM#first-order RC discharging")
def time_to_voltage_s(start_v: Num, end_v: Num, resistance_ohm: Num, bus_f: Num) -> Num:
    """Time to fall from `start_v` to `end_v` [s]: R C ln(V/Vend); 0 where the bus is already there.

    start_v >= 0, end_v > 0, resistance_ohm > 0 (may be inf: then inf), bus_f > 0. Shapes broadcast.
    Raises ValueError otherwise.
    """
    not_negative(start_v=start_v)
    positive(end_v=end_v, resistance_ohm=resistance_ohm, bus_f=bus_f)
    above = arr(start_v) > arr(end_v)
    ratio = np.where(above, arr(start_v) / arr(end_v), 1.0)
    # Lanes already below the limit are cut out before the product: inf * 0 would be nan.
    tau_s = np.where(above, arr(resistance_ohm) * arr(bus_f), 0.0)
    return same(tau_s * np.log(ratio))


@cites("CLOSED-FORM#first-order RC discharging")
def resistance_for_time_ohm(start_v: Num, end_v: Num, time_s: Num, bus_f: Num) -> Num:
    """Largest resistance that takes the bus from `start_v` to `end_v` in `time_s` [ohm]: t/(C ln(V/Vend)).

    inf where the bus is already at or below end_v. start_v >= 0; end_v, time_s, bus_f > 0. Shapes broadcast.
    Raises ValueError otherwise.
    """
    not_negative(start_v=start_v)
    positive(end_v=end_v, time_s=time_s, bus_f=bus_f)
    above = arr(start_v) > arr(end_v)
    fall = np.log(np.where(above, arr(start_v) / arr(end_v), np.e))
    return same(np.where(above, arr(time_s) / (arr(bus_f) * fall), np.inf))


@cites("CLOSED-FORM#Joule's law")
def continuous_power_w(bus_v: Num, resistance_ohm: Num) -> Num:
    """Power in a discharge resistor that stays across a live bus [W]: V^2/R.

    resistance_ohm > 0. Shapes broadcast. Raises ValueError otherwise.
    """
    positive(resistance_ohm=resistance_ohm)
    return same(arr(bus_v) ** 2 / arr(resistance_ohm))


@cites("CLOSED-FORM#energy of a capacitance")
def resistor_energy_j(start_v: Num, end_v: Num, bus_f: Num) -> Num:
    """Energy a discharge resistor takes as the bus falls from `start_v` to `end_v` [J]: C/2 (V^2 - Vend^2).

    bus_f > 0, volts >= 0. Negative where the bus rises. Shapes broadcast. Raises ValueError otherwise.
    """
    not_negative(start_v=start_v, end_v=end_v)
    positive(bus_f=bus_f)
    return same(0.5 * arr(bus_f) * (arr(start_v) - arr(end_v)) * (arr(start_v) + arr(end_v)))


@cites("ISO-6469-4#touch energy of Y capacitors", "CLOSED-FORM#energy of a capacitance")
def touch_energy_j(capacitance_f: Num, bus_v: Num) -> Num:
    """Energy stored in a capacitance a person could touch [J]: C V^2/2. Limit in the standard: below 0.2 J.

    capacitance_f >= 0 [F], bus_v [V]. Shapes broadcast. Raises ValueError otherwise.
    """
    not_negative(capacitance_f=capacitance_f)
    return same(0.5 * arr(capacitance_f) * arr(bus_v) ** 2)


@cites("UN-R94#TEy = 0.5 Cy (V^2 - 3600)")
def touch_energy_above_limit_j(capacitance_f: Num, bus_v: Num) -> Num:
    """Energy of a capacitance counted only above 60 V, the crash regulations' form [J]: C/2 (V^2 - 3600).

    Zero at and below 60 V. capacitance_f >= 0 [F], bus_v >= 0 [V]. Shapes broadcast. ValueError otherwise.
    """
    not_negative(capacitance_f=capacitance_f, bus_v=bus_v)
    return same(0.5 * arr(capacitance_f) * np.maximum(arr(bus_v) ** 2 - TOUCH_LIMIT_V**2, 0.0))


@cites("ISO-6469-4#touch energy of Y capacitors", "CLOSED-FORM#energy of a capacitance")
def largest_y_capacitance_f(energy_j: Num, bus_v: Num) -> Num:
    """Largest capacitance that stores no more than `energy_j` at `bus_v` [F]: 2 E/V^2.

    energy_j >= 0, bus_v > 0. Shapes broadcast. Raises ValueError otherwise. Inverse of `touch_energy_j`.
    """
    not_negative(energy_j=energy_j)
    positive(bus_v=bus_v)
    return same(2.0 * arr(energy_j) / arr(bus_v) ** 2)


@cites("UN-R94#TEy = 0.5 Cy (V^2 - 3600)")
def largest_y_capacitance_above_limit_f(energy_j: Num, bus_v: Num) -> Num:
    """Largest capacitance by the crash regulations' form [F]: 2 E/(V^2 - 3600); inf at and below 60 V.

    energy_j >= 0, bus_v >= 0. Shapes broadcast. ValueError otherwise. Inverse of
    `touch_energy_above_limit_j`.
    """
    not_negative(energy_j=energy_j, bus_v=bus_v)
    square = arr(bus_v) ** 2 - TOUCH_LIMIT_V**2
    return same(np.where(square > 0.0, 2.0 * arr(energy_j) / np.where(square > 0.0, square, 1.0), np.inf))
