"""Short-circuit heating of a conductor without heat loss: I2t against k2 S2, and the end temperature.

Valid up to about 5 s. S is the metal area: class 5 conductors hold about 11 % less than their nominal size,
which takes 20 % off k2 S2.
"""

import numpy as np

from tristrand.physics._num import Num, arr, not_negative, positive, same
from tristrand.records import NamedTuple
from tristrand.sources import cites


class ConductorMetal(NamedTuple):
    """Constants of the adiabatic equation for one metal."""

    name: str
    k_a_s_per_mm2: float
    """K [A s^0.5 / mm2]."""
    beta_c: float
    """Reciprocal of the temperature coefficient of resistance at 0 degC [K]."""


COPPER = ConductorMetal("copper", 226.0, 234.5)
ALUMINIUM = ConductorMetal("aluminium", 148.0, 228.0)


class PublishedK(NamedTuple):
    """One printed factor: insulation, temperatures, copper and aluminium values, and how the row was read."""

    insulation: str
    initial_c: float
    final_c: float
    copper: float | None
    aluminium: float | None
    from_memory: tuple[str, ...] = ()
    """The columns that were not seen in print."""


_BOTH = ("copper", "aluminium")
PUBLISHED_K: tuple[PublishedK, ...] = (
    PublishedK("PVC up to 300 mm²", 70.0, 160.0, 115.0, 76.0),
    PublishedK("XLPE or EPR", 90.0, 250.0, 143.0, 94.0),
    PublishedK("PVC above 300 mm²", 70.0, 140.0, 103.0, 68.0, _BOTH),
    PublishedK("PVC rated 90 °C", 90.0, 160.0, 100.0, 66.0, _BOTH),
    PublishedK("PVC rated 90 °C above 300 mm²", 90.0, 140.0, 86.0, 57.0, _BOTH),
    PublishedK("rubber rated 60 °C", 60.0, 200.0, 141.0, 93.0, _BOTH),
    PublishedK("rubber rated 85 °C", 85.0, 220.0, 134.0, 89.0, _BOTH),
    PublishedK("separate earth conductor, PVC", 30.0, 160.0, 143.0, 95.0, _BOTH),
    PublishedK("separate earth conductor, XLPE", 30.0, 250.0, 176.0, 116.0, _BOTH),
    PublishedK("separate earth conductor, rubber rated 85 °C", 30.0, 220.0, 166.0, 110.0, _BOTH),
)
"""Factors k [A s^0.5 / mm2] of IEC 60364-5-54; two rows were seen in print, the others are from memory."""


@cites("IEC-60364-5-54#factor k")
def k_factor(initial_c: Num, final_c: Num, metal: ConductorMetal = COPPER) -> Num:
    """Factor k of a conductor between two temperatures [A s^0.5 / mm2]: K sqrt( ln[(b + Tf)/(b + Ti)] ).

    K = 226, b = 234.5 for copper; K = 148, b = 228 for aluminium. -50 <= initial_c <= final_c, final below
    the metal's and the insulation's limit. Shapes broadcast. Raises ValueError where final_c < initial_c or
    initial_c < -50.
    """
    start, end = arr(initial_c), arr(final_c)
    if not bool(np.all((start >= -50.0) & (end >= start))):
        raise ValueError("needs -50 <= initial_c <= final_c")
    return same(metal.k_a_s_per_mm2 * np.sqrt(np.log((metal.beta_c + end) / (metal.beta_c + start))))


@cites("IEC-60364-5-54#k2 S2")
def joule_integral_limit_a2s(k_a_s_per_mm2: Num, area_mm2: Num) -> Num:
    """Largest I2t of a conductor [A2 s]: k^2 S^2.

    k from `k_factor` or the printed table; S metal area [mm2].
    """
    positive(k_a_s_per_mm2=k_a_s_per_mm2, area_mm2=area_mm2)
    return same((arr(k_a_s_per_mm2) * arr(area_mm2)) ** 2)


@cites("IEC-60364-5-54#k2 S2")
def longest_time_s(current_a: Num, k_a_s_per_mm2: Num, area_mm2: Num) -> Num:
    """Time a steady fault current may flow [s]: k^2 S^2/I^2.

    Above about 5 s the result is too short (safe side).
    """
    positive(current_a=current_a)
    return same(arr(joule_integral_limit_a2s(k_a_s_per_mm2, area_mm2)) / arr(current_a) ** 2)


@cites("IEC-60364-5-54#factor k, solved for the final temperature")
def final_temperature_c(joule_integral_a2s: Num, area_mm2: Num, initial_c: Num, metal: ConductorMetal = COPPER) -> Num:
    """Conductor temperature after an I2t without heat loss [degC]: (b + Ti) exp(I2t/(K^2 S^2)) - b.

    Inverse of `k_factor`. joule_integral_a2s >= 0, area_mm2 > 0 (metal), initial_c >= -50. Shapes broadcast;
    inf where the number exceeds the floats. Above 1083 degC copper has melted. ValueError for bad values.
    """
    not_negative(joule_integral_a2s=joule_integral_a2s)
    positive(area_mm2=area_mm2)
    if not bool(np.all(arr(initial_c) >= -50.0)):
        raise ValueError("initial_c must be -50 or more")
    exponent = arr(joule_integral_a2s) / (metal.k_a_s_per_mm2 * arr(area_mm2)) ** 2
    with np.errstate(over="ignore"):
        return same((metal.beta_c + arr(initial_c)) * np.exp(exponent) - metal.beta_c)
