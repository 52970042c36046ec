"""Resistance of conductors at temperature, metal area, voltage drop and mass."""

from tristrand.physics._num import Num, arr, finite, not_negative, positive, same
from tristrand.records import NamedTuple
from tristrand.sources import cites


class ResistanceLaw(NamedTuple):
    """A straight law of resistance against temperature: R = R20 * (1 + alpha * (T - 20))."""

    name: str
    alpha_per_k: float
    source: str

    @classmethod
    def from_zero(cls, name: str, zero_c: float, source: str) -> "ResistanceLaw":
        """Give the law written R = R20 * (zero + T)/(zero + 20): the same line with alpha = 1/(zero + 20)."""
        return cls(name, 1.0 / (zero_c + 20.0), source)


COPPER_ALPHA = ResistanceLaw("copper, 0.00393 per K", 0.00393, "IEC-60028#temperature coefficient at 20 °C")
COPPER_234_5 = ResistanceLaw.from_zero("copper, 234.5 + T", 234.5, "IEC-60364-5-54#β of copper")
COPPER_ANNEX_0_004 = ResistanceLaw("copper, 0.004 per K", 0.004, "IEC-60228#temperature correction, rounded form")
ALUMINIUM_ALPHA = ResistanceLaw("aluminium, 0.00403 per K", 0.00403, "IEC-60889#temperature coefficient at 20 °C")
ALUMINIUM_228_1 = ResistanceLaw.from_zero("aluminium, 228.1 + T", 228.1, "IEC-60889#228.1 form of the coefficient")
ALUMINIUM_238_1 = ResistanceLaw.from_zero("aluminium, 238.1 + T", 238.1, "AC43-13-1B#chapter 11, wire length")

COPPER_RESISTIVITY_OHM_MM2_PER_M = 1.0 / 58.0
"""Annealed copper at 20 degC, IEC 60028: 1/58 = 0.017241 ohm mm2/m."""
ALUMINIUM_RESISTIVITY_OHM_MM2_PER_M = 0.028264
"""Electrical aluminium at 20 degC, IEC 60889."""
COPPER_DENSITY_KG_PER_M3 = 8890.0
"""Annealed copper at 20 degC, from memory of IEC 60028, not confirmed."""


@cites("IEC-60028#temperature coefficient at 20 °C", "IEC-60364-5-54#β of copper")
def resistance_ratio(temperature_c: Num, law: ResistanceLaw = COPPER_ALPHA) -> Num:
    """Resistance at `temperature_c` over resistance at 20 degC: 1 + alpha*(T - 20).

    The laws in this module differ by up to 1 % at 100 degC, so a sheet names the one it used. Range: -50..250
    degC (up to 350 degC with growing error). Raises ValueError where the ratio would not be above zero.
    """
    ratio = 1.0 + law.alpha_per_k * (arr(temperature_c) - 20.0)
    positive(resistance_ratio=same(ratio))
    return same(ratio)


@cites("IEC-60028#temperature coefficient at 20 °C", "IEC-60364-5-54#β of copper")
def resistance_at_ohm(resistance_20_ohm: Num, temperature_c: Num, law: ResistanceLaw = COPPER_ALPHA) -> Num:
    """Resistance at `temperature_c` [ohm; ohm/m in gives ohm/m]: R20 * `resistance_ratio`."""
    not_negative(resistance_20_ohm=resistance_20_ohm)
    return same(arr(resistance_20_ohm) * arr(resistance_ratio(temperature_c, law)))


@cites("IEC-60028#resistivity at 20 °C")
def metal_area_mm2(
    resistance_20_ohm_per_m: Num, resistivity_ohm_mm2_per_m: float = COPPER_RESISTIVITY_OHM_MM2_PER_M
) -> Num:
    """Metal area that a conductor's resistance at 20 degC stands for [mm2]: rho/R.

    About 11 % below the nominal size of class 5 conductors. Arguments > 0. Shapes broadcast. ValueError
    otherwise.
    """
    positive(resistance_20_ohm_per_m=resistance_20_ohm_per_m, resistivity_ohm_mm2_per_m=resistivity_ohm_mm2_per_m)
    return same(resistivity_ohm_mm2_per_m / arr(resistance_20_ohm_per_m))


@cites("IEC-60028#resistivity at 20 °C")
def solid_resistance_ohm_per_m(
    area_mm2: Num, resistivity_ohm_mm2_per_m: float = COPPER_RESISTIVITY_OHM_MM2_PER_M
) -> Num:
    """Resistance at 20 degC of solid metal of a true area [ohm/m]: rho/A.

    Never call it with a nominal size.
    """
    positive(area_mm2=area_mm2, resistivity_ohm_mm2_per_m=resistivity_ohm_mm2_per_m)
    return same(resistivity_ohm_mm2_per_m / arr(area_mm2))


@cites("CLOSED-FORM#Ohm's law")
def loop_drop_v(
    current_a: Num,
    resistance_20_ohm_per_m: Num,
    loop_length_m: Num,
    temperature_c: Num = 20.0,
    law: ResistanceLaw = COPPER_ALPHA,
) -> Num:
    """Voltage lost along a loop, out AND return [V]: I * R20 * (1 + alpha (T - 20)) * length.

    loop_length_m: length of both conductors together [m] >= 0. Shapes broadcast. Contacts and terminals not
    counted.
    """
    finite(current_a=current_a, loop_length_m=loop_length_m)
    not_negative(loop_length_m=loop_length_m)
    hot = arr(resistance_at_ohm(resistance_20_ohm_per_m, temperature_c, law))
    return same(arr(current_a) * hot * arr(loop_length_m))


@cites("IEC-60028#density", unverified="density from memory, not confirmed")
def copper_mass_kg(area_mm2: Num, length_m: Num) -> Num:
    """Mass of the copper in a conductor [kg]: 8890 kg/m3 * area * length.

    area_mm2: metal, not nominal. length [m].
    The density is from memory, not confirmed. Arguments >= 0. Shapes broadcast. ValueError otherwise.
    """
    not_negative(area_mm2=area_mm2, length_m=length_m)
    return same(COPPER_DENSITY_KG_PER_M3 * arr(area_mm2) * 1e-6 * arr(length_m))
