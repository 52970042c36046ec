"""Repeated energy pulses into a part with one heat capacity and one thermal resistance to ambient.

One node: the part's own hot spot (the wire of a wirewound resistor) is hotter; its pulse limit is a separate
check.
"""

from __future__ import annotations

import numpy as np

from tristrand.physics._num import FloatArray, Num, arr, not_negative, positive, same
from tristrand.sources import cites


def _decay_exponent(heat_j_per_k: Num, thermal_k_per_w: Num, period_s: Num) -> FloatArray:
    positive(heat_j_per_k=heat_j_per_k, thermal_k_per_w=thermal_k_per_w, period_s=period_s)
    return arr(period_s) / (arr(thermal_k_per_w) * arr(heat_j_per_k))


@cites("CLOSED-FORM-HEAT#geometric series of decaying pulses")
def rise_after_pulses_k(count: Num, pulse_j: Num, heat_j_per_k: Num, thermal_k_per_w: Num, period_s: Num) -> Num:
    """Temperature rise right after pulse number `count` [K]: (E/C)(1 - a^n)/(1 - a), a = exp(-T/(R C)).

    pulse_j: energy of each pulse [J] >= 0; heat_j_per_k: C [J/K] > 0; thermal_k_per_w: R [K/W] > 0;
    period_s: T [s] > 0; count >= 0. Pulses are short against R*C. Shapes broadcast. ValueError otherwise.
    """
    not_negative(count=count, pulse_j=pulse_j)
    x = _decay_exponent(heat_j_per_k, thermal_k_per_w, period_s)
    return same(arr(pulse_j) / arr(heat_j_per_k) * np.expm1(-arr(count) * x) / np.expm1(-x))


@cites("CLOSED-FORM-HEAT#geometric series of decaying pulses")
def limit_rise_k(pulse_j: Num, heat_j_per_k: Num, thermal_k_per_w: Num, period_s: Num) -> Num:
    """Peak rise that endless repetition approaches [K]: (E/C)/(1 - exp(-T/(R C))).

    Arguments as in `rise_after_pulses_k`.
    """
    not_negative(pulse_j=pulse_j)
    x = _decay_exponent(heat_j_per_k, thermal_k_per_w, period_s)
    return same(-arr(pulse_j) / arr(heat_j_per_k) / np.expm1(-x))


@cites("CLOSED-FORM-HEAT#mean power through a thermal resistance")
def mean_rise_k(pulse_j: Num, thermal_k_per_w: Num, period_s: Num) -> Num:
    """Mean rise of endless repetition [K]: (E/T) R. pulse_j >= 0, others > 0. Shapes broadcast."""
    not_negative(pulse_j=pulse_j)
    positive(thermal_k_per_w=thermal_k_per_w, period_s=period_s)
    return same(arr(pulse_j) / arr(period_s) * arr(thermal_k_per_w))


@cites("CLOSED-FORM-HEAT#geometric series of decaying pulses")
def lockout_s(pulse_j: Num, heat_j_per_k: Num, thermal_k_per_w: Num, rise_cap_k: Num) -> Num:
    """Shortest spacing of pulses that keeps the peak rise within `rise_cap_k` for ever [s].

    T = -R C ln(1 - (E/C)/cap). nan where a single pulse already reaches the cap: no spacing helps.
    pulse_j >= 0, others > 0. Shapes broadcast. ValueError otherwise.
    """
    not_negative(pulse_j=pulse_j)
    positive(heat_j_per_k=heat_j_per_k, thermal_k_per_w=thermal_k_per_w, rise_cap_k=rise_cap_k)
    share = arr(pulse_j) / arr(heat_j_per_k) / arr(rise_cap_k)
    possible = share < 1.0
    wait_s = -arr(thermal_k_per_w) * arr(heat_j_per_k) * np.log1p(-np.where(possible, share, 0.0))
    return same(np.where(possible, wait_s, np.nan))


@cites("CLOSED-FORM-HEAT#geometric series of decaying pulses")
def pulses_within(pulse_j: Num, heat_j_per_k: Num, thermal_k_per_w: Num, period_s: Num, rise_cap_k: Num) -> Num:
    """Most pulses in a row that keep the rise at or below `rise_cap_k`: a whole number or inf.

    n = floor( ln(1 - cap (1 - a)/(E/C)) / ln a ), a = exp(-T/(R C)). Zero where the first pulse is too much.
    pulse_j > 0, others > 0. Shapes broadcast. ValueError otherwise.
    """
    positive(pulse_j=pulse_j, rise_cap_k=rise_cap_k)
    x = _decay_exponent(heat_j_per_k, thermal_k_per_w, period_s)
    share = -arr(rise_cap_k) * np.expm1(-x) / (arr(pulse_j) / arr(heat_j_per_k))
    bounded = share < 1.0
    exact = -np.log1p(-np.where(bounded, share, 0.0)) / x
    count = np.where(bounded, np.floor(exact), 0.0)
    # Near a whole number the logarithms may round past a pulse that meets the cap: try one more.
    next_rise = arr(rise_after_pulses_k(count + 1.0, pulse_j, heat_j_per_k, thermal_k_per_w, period_s))
    count = np.where(next_rise <= arr(rise_cap_k) * (1.0 + 1e-12), count + 1.0, count)
    return same(np.where(bounded, count, np.inf))


@cites("CLOSED-FORM#Joule's law")
def short_circuit_timeout_s(energy_j: Num, pack_v: Num, resistor_ohm: Num, source_ohm: Num = 0.0) -> Num:
    """Time after which a precharge resistor on a shorted bus has taken `energy_j` [s].

    The resistor sees the pack for as long as its relay is closed: t = E (R + Rs)^2/(V^2 R), with Rs = 0 E
    R/V^2. energy_j >= 0; pack_v, resistor_ohm > 0; source_ohm (pack and wires) >= 0. Shapes broadcast.
    ValueError otherwise.
    """
    not_negative(energy_j=energy_j, source_ohm=source_ohm)
    positive(pack_v=pack_v, resistor_ohm=resistor_ohm)
    series = arr(resistor_ohm) + arr(source_ohm)
    return same(arr(energy_j) * series**2 / (arr(pack_v) ** 2 * arr(resistor_ohm)))
