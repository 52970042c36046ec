"""Creepage, clearance and rule-book spacing from printed tables, and which voltages count as high voltage.

Creepage follows the working voltage, pollution and material; clearance the impulse voltage, pollution and
altitude. A table is read UP: a value between two printed rows takes the larger one unless interpolation is
asked for.
"""

from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from tristrand.physics._num import Num, arr, finite, not_negative, positive, same
from tristrand.sources import cites

MaterialGroup: TypeAlias = Literal["I", "II", "IIIa", "IIIb"]
"""Insulating material by its comparative tracking index (CTI)."""
Category: TypeAlias = Literal["I", "II", "III", "IV"]
"""Overvoltage category."""
BoardGap: TypeAlias = Literal["surface", "air", "coated"]
"""How two areas of a board are kept apart: over the surface, by a slot through air, or under a coating."""

CREEPAGE_ROWS_V = (250.0, 320.0, 400.0, 500.0, 630.0, 800.0, 1000.0)
"""IEC 60664-1 table F.4 (2007) = F.5 (2020): printed rows [V rms or DC]."""
CREEPAGE_MM: Mapping[tuple[int, str], tuple[float, ...]] = MappingProxyType({
    (2, "I"): (1.25, 1.60, 2.0, 2.5, 3.2, 4.0, 5.0),
    (2, "II"): (1.80, 2.20, 2.8, 3.6, 4.5, 5.6, 7.1),
    (2, "III"): (2.50, 3.20, 4.0, 5.0, 6.3, 8.0, 10.0),
    (3, "I"): (3.20, 4.00, 5.0, 6.3, 8.0, 10.0, 12.5),
    (3, "II"): (3.60, 4.50, 5.6, 7.1, 9.0, 11.0, 14.0),
    (3, "III"): (4.00, 5.00, 6.3, 8.0, 10.0, 12.5, 16.0),
})  # fmt: skip
"""IEC 60664-1 table F.4 (2007) = F.5 (2020): (pollution degree, material column) -> creepage by row [mm]."""
BOARD_CREEPAGE_MM: Mapping[int, tuple[float, ...]] = MappingProxyType({
    1: (0.56, 0.75, 1.0, 1.3, 1.8, 2.4, 3.2),
    2: (1.00, 1.60, 2.0, 2.5, 3.2, 4.0, 5.0),
})  # fmt: skip
"""The same table, printed boards: pollution degree -> creepage by row [mm]."""
IIIB_LARGEST_PD3_V = 630.0
"""IEC 60664-1, note to the creepage table: group IIIb is not for pollution degree 3 above this [V]."""

IMPULSE_SYSTEM_ROWS_V = (300.0, 600.0, 1000.0)
"""IEC 60664-1 table F.1: system voltage, up to and including [V]."""
IMPULSE_V: Mapping[str, tuple[float, ...]] = MappingProxyType({
    "I": (1500.0, 2500.0, 4000.0),
    "II": (2500.0, 4000.0, 6000.0),
    "III": (4000.0, 6000.0, 8000.0),
    "IV": (6000.0, 8000.0, 12000.0),
})  # fmt: skip
"""IEC 60664-1 table F.1: overvoltage category -> rated impulse voltage by row [V]."""

CLEARANCE_ROWS_V = (330.0, 1500.0, 2500.0, 4000.0, 6000.0, 8000.0, 10000.0, 12000.0)
"""IEC 60664-1 table F.2: impulse voltage of the rows held here [V]."""
CLEARANCE_MM: Mapping[int, tuple[float, ...]] = MappingProxyType({
    1: (0.01, 0.5, 1.5, 3.0, 5.5, 8.0, 11.0, 14.0),
    2: (0.2, 0.5, 1.5, 3.0, 5.5, 8.0, 11.0, 14.0),
    3: (0.8, 0.8, 1.5, 3.0, 5.5, 8.0, 11.0, 14.0),
})  # fmt: skip
"""IEC 60664-1 table F.2, inhomogeneous field, up to 2000 m: pollution degree -> clearance by row [mm]."""

ALTITUDE_ROWS_M = (2e3, 3e3, 4e3, 5e3, 6e3, 7e3, 8e3, 9e3, 10e3, 15e3, 20e3)
"""IEC 60664-1 table A.2: altitude [m]."""
ALTITUDE_FACTOR = (1.00, 1.14, 1.29, 1.48, 1.70, 1.95, 2.25, 2.62, 3.02, 6.67, 14.5)
"""IEC 60664-1 table A.2: factor on clearance by row."""

FSAE_SPACING_STARTS_V = (0.0, 100.0, 200.0)
"""FSAE 2026 EV.6.5.5b: where each band starts [V]; 100 V and 200 V exactly count to the upper band."""
FSAE_SPACING_MM = (10.0, 20.0, 30.0)
"""FSAE 2026 EV.6.5.5b: spacing between tractive and grounded low-voltage wiring in an enclosure [mm]."""
FSAE_BOARD_STARTS_V = (0.0, 50.0, 150.0, 300.0)
"""FSAE 2026 EV.6.5.7: where each band starts [V]; a shared end counts to the upper band."""
FSAE_BOARD_LARGEST_V = 600.0
"""FSAE 2026 EV.6.5.7: end of the last band [V]."""
FSAE_BOARD_MM: Mapping[str, tuple[float, ...]] = MappingProxyType({
    "surface": (1.6, 6.4, 9.5, 12.7),
    "air": (1.6, 3.2, 6.4, 9.5),
    "coated": (1.0, 2.0, 3.0, 4.0),
})  # fmt: skip
"""FSAE 2026 EV.6.5.7: kind of gap -> spacing by band [mm]."""

HIGH_ABOVE_DC_V = 60.0
"""UN R100, FMVSS 305 and FSAE 2026 T.9.1.1: direct voltage above this is high voltage [V]."""
HIGH_ABOVE_AC_V = 30.0
"""UN R100 and FMVSS 305: alternating voltage above this is high voltage [V rms]."""
FSAE_HIGH_ABOVE_AC_V = 25.0
"""FSAE 2026 T.9.1.1: alternating voltage above this is high voltage [V rms]."""
_CLASS_B_END_V = (1500.0, 1000.0)
"""ISO 6469-3, from memory: end of voltage class B, direct and alternating [V]."""


def _one_of(what: str, value: object, known: Sequence[object]) -> None:
    if value not in known:
        raise ValueError(f"{what} must be one of {', '.join(map(str, known))}, not {value!r}")


def _at_most(largest: float, **values: Num) -> None:
    for name, value in values.items():
        if not bool(np.all(arr(value) <= largest)):
            raise ValueError(f"{name} is above {largest:g}, where the printed table ends")


def _row_above(value: Num, rows: Sequence[float], printed: Sequence[float]) -> Num:
    """The printed value of the first row that is not below `value`."""
    return same(np.asarray(printed)[np.searchsorted(rows, arr(value), side="left")])


def _band(value: Num, starts: Sequence[float], printed: Sequence[float]) -> Num:
    """The printed value of the band that `value` lies in; a shared end counts to the upper band."""
    return same(np.asarray(printed)[np.searchsorted(starts, arr(value), side="right") - 1])


def _creepage(voltage_v: Num, printed: Sequence[float], interpolate: bool, reinforced: bool) -> Num:
    positive(voltage_v=voltage_v)
    _at_most(CREEPAGE_ROWS_V[-1], voltage_v=voltage_v)
    if interpolate:
        basic = np.interp(arr(voltage_v), CREEPAGE_ROWS_V, printed)
    else:
        basic = arr(_row_above(voltage_v, CREEPAGE_ROWS_V, printed))
    return same(basic * (2.0 if reinforced else 1.0))


@cites("IEC-60664-1#material groups by CTI")
def material_group(cti: float) -> MaterialGroup:
    """Material group of an insulation by its comparative tracking index.

    600 and more: I; 400 to 599: II; 175 to 399: IIIa; 100 to 174: IIIb. ValueError below 100.
    """
    if cti >= 600.0:
        return "I"
    if cti >= 400.0:
        return "II"
    if cti >= 175.0:
        return "IIIa"
    if cti >= 100.0:
        return "IIIb"
    raise ValueError(f"a CTI of {cti:g} belongs to no material group (100 is the least)")


@cites(
    "IEC-60664-1#table F.4 (2007), F.5 (2020)",
    deviation="below 250 V the 250 V row counts, which asks for more than the standard's own rows there",
)
def creepage_mm(
    voltage_v: Num,
    pollution_degree: int,
    group: MaterialGroup,
    *,
    interpolate: bool = False,
    reinforced: bool = False,
) -> Num:
    """Least creepage distance of basic insulation, boards apart [mm]; twice that where `reinforced`.

    voltage_v: highest lasting rms or direct voltage across the insulation, 0 < V <= 1000; pollution_degree 2
    or 3; group from `material_group`. A voltage between rows takes the next printed row, or with
    `interpolate` the straight line between both, which the standard allows. Altitude never changes creepage.
    Shapes broadcast. ValueError outside the table and for group IIIb at degree 3 above 630 V.
    """
    _one_of("pollution_degree", pollution_degree, (2, 3))
    _one_of("group", group, ("I", "II", "IIIa", "IIIb"))
    if group == "IIIb" and pollution_degree == 3 and not bool(np.all(arr(voltage_v) <= IIIB_LARGEST_PD3_V)):
        raise ValueError("material group IIIb is not allowed at pollution degree 3 above 630 V")
    column = "III" if group.startswith("III") else group
    return _creepage(voltage_v, CREEPAGE_MM[pollution_degree, column], interpolate, reinforced)


@cites(
    "IEC-60664-1#table F.4 (2007), F.5 (2020), printed boards",
    deviation="below 250 V the 250 V row counts, which asks for more than the standard's own rows there",
)
def board_creepage_mm(
    voltage_v: Num, pollution_degree: int, *, interpolate: bool = False, reinforced: bool = False
) -> Num:
    """Least creepage distance of basic insulation on a printed board [mm]; twice that where `reinforced`.

    pollution_degree 1 or 2, otherwise as `creepage_mm`. The columns as read name no material group: whether a
    poor one (IIIb) may be used is not checked here.
    """
    _one_of("pollution_degree", pollution_degree, (1, 2))
    return _creepage(voltage_v, BOARD_CREEPAGE_MM[pollution_degree], interpolate, reinforced)


@cites("IEC-60664-1#table F.1", deviation="the rows below 300 V are not held: the 300 V row counts for them")
def rated_impulse_v(system_v: Num, category: Category) -> Num:
    """Rated impulse voltage by system voltage and overvoltage category [V].

    Rows for systems up to and including 300, 600 and 1000 V. 0 < system_v <= 1000. Shapes broadcast.
    ValueError otherwise.
    """
    _one_of("category", category, tuple(IMPULSE_V))
    positive(system_v=system_v)
    _at_most(IMPULSE_SYSTEM_ROWS_V[-1], system_v=system_v)
    return _row_above(system_v, IMPULSE_SYSTEM_ROWS_V, IMPULSE_V[category])


@cites("IEC-60664-1#table F.2, inhomogeneous field", deviation="not every row is held: the next larger one counts")
def clearance_mm(impulse_v: Num, pollution_degree: int) -> Num:
    """Least clearance of basic insulation by impulse voltage, up to 2000 m [mm].

    0 < impulse_v <= 12000; pollution_degree 1 to 3. Never interpolated: the next row that is held counts.
    Shapes broadcast. ValueError otherwise.
    """
    _one_of("pollution_degree", pollution_degree, tuple(CLEARANCE_MM))
    positive(impulse_v=impulse_v)
    _at_most(CLEARANCE_ROWS_V[-1], impulse_v=impulse_v)
    return _row_above(impulse_v, CLEARANCE_ROWS_V, CLEARANCE_MM[pollution_degree])


@cites("IEC-60664-1#table A.2", deviation="straight lines between the printed rows, which lie above the true curve")
def altitude_factor(altitude_m: Num) -> Num:
    """Factor on clearance for altitude: 1 up to 2000 m, then table A.2 up to 20 000 m. Never for creepage.

    Shapes broadcast. ValueError above 20 000 m and for what is no finite number.
    """
    finite(altitude_m=altitude_m)
    _at_most(ALTITUDE_ROWS_M[-1], altitude_m=altitude_m)
    return same(np.interp(arr(altitude_m), ALTITUDE_ROWS_M, ALTITUDE_FACTOR))


@cites("IEC-60664-1#table A.2")
def clearance_at_altitude_mm(sea_level_mm: Num, altitude_m: Num) -> Num:
    """Clearance that counts at an altitude [mm]: `clearance_mm` times `altitude_factor`.

    sea_level_mm >= 0 (the value for up to 2000 m); altitude_m <= 20 000. Shapes broadcast. ValueError otherwise.
    """
    not_negative(sea_level_mm=sea_level_mm)
    return same(arr(sea_level_mm) * arr(altitude_factor(altitude_m)))


@cites(
    "FSAE-2026#EV.6.5.5b",
    deviation="exactly 100 V and 200 V, which the rule leaves open, take the larger spacing",
)
def fsae_spacing_mm(voltage_v: Num) -> Num:
    """Spacing of tractive from grounded low-voltage wiring inside an enclosure without a barrier [mm].

    Below 100 V 10; from 100 V 20; from 200 V 30. voltage_v >= 0: highest tractive voltage. Shapes broadcast.
    ValueError otherwise.
    """
    not_negative(voltage_v=voltage_v)
    return _band(voltage_v, FSAE_SPACING_STARTS_V, FSAE_SPACING_MM)


@cites("FSAE-2026#EV.6.5.7", deviation="a voltage at the shared end of two bands takes the larger spacing")
def fsae_board_spacing_mm(voltage_v: Num, gap: BoardGap) -> Num:
    """Spacing between tractive and grounded low-voltage areas of one board [mm], by the kind of gap.

    0 <= voltage_v <= 600. Shapes broadcast. ValueError otherwise.
    """
    _one_of("gap", gap, tuple(FSAE_BOARD_MM))
    not_negative(voltage_v=voltage_v)
    _at_most(FSAE_BOARD_LARGEST_V, voltage_v=voltage_v)
    return _band(voltage_v, FSAE_BOARD_STARTS_V, FSAE_BOARD_MM[gap])


@cites("UN-R100#2, high voltage", "FSAE-2026#T.9.1.1")
def is_high_voltage(voltage_v: Num, *, alternating: bool = False, fsae: bool = False) -> bool | NDArray[np.bool_]:
    """Whether a voltage is high voltage: above 60 V direct, above 30 V rms alternating (FSAE: above 25 V rms).

    voltage_v >= 0, rms where `alternating`. The limit itself is still low voltage. Shapes broadcast.
    ValueError otherwise.
    """
    not_negative(voltage_v=voltage_v)
    alternating_v = FSAE_HIGH_ABOVE_AC_V if fsae else HIGH_ABOVE_AC_V
    above = np.asarray(arr(voltage_v) > (alternating_v if alternating else HIGH_ABOVE_DC_V))
    return bool(above) if above.ndim == 0 else above


@cites("ISO-6469-3#voltage classes", unverified="from memory, names and ends of the voltage classes were not seen")
def voltage_class(voltage_v: float, *, alternating: bool = False) -> Literal["A", "B"]:
    """Voltage class of a circuit: A up to 60 V direct or 30 V rms, B up to 1500 V direct or 1000 V rms.

    voltage_v >= 0. ValueError above class B.
    """
    end_v = _CLASS_B_END_V[alternating]
    if not voltage_v <= end_v:
        raise ValueError(f"{voltage_v:g} V is above voltage class B, which ends at {end_v:g} V")
    return "B" if is_high_voltage(voltage_v, alternating=alternating) else "A"
