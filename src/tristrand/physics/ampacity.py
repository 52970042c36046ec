"""Current rating of a cable from the printed tables: which row, which column, which factors, and why.

A table is read DOWN: the row whose size is not larger than the metal the cable really has, and the column
whose temperature is not above the conductor's limit.
"""

import math
from functools import cache, lru_cache

import numpy as np

from tristrand.physics._num import Num, arr, between, not_negative, positive, same
from tristrand.physics.ampacity_tables import RATING_TABLES, RatingTable
from tristrand.physics.conductor_tables import (
    CLASS5_TINNED_OHM_PER_M,
    MM2_PER_CIRCULAR_MIL,
    SAE_CIRCULAR_MILS,
    awg_area_mm2,
    awg_number,
    sae_area_mm2,
)
from tristrand.physics.conductors import COPPER_RESISTIVITY_OHM_MM2_PER_M
from tristrand.records import NamedTuple
from tristrand.sources import cites

_ROUNDING = 0.995
"""Areas are worked back from resistances printed to three digits."""


@cites("CLOSED-FORM-HEAT#rise of temperature goes with the square of the current")
def ambient_factor(conductor_c: Num, ambient_c: Num, reference_c: Num = 30.0) -> Num:
    """Factor on a rating for another ambient: sqrt((Tc - Ta)/(Tc - Tref)); 0 where Ta >= Tc.

    The code tables print this to two digits (90 degC, 30 to 40: 0.91). Above 1 for a cooler ambient.
    conductor_c > reference_c, degC. Shapes broadcast. Raises ValueError otherwise.
    """
    positive(conductor_less_reference=same(arr(conductor_c) - arr(reference_c)))
    left = np.maximum(arr(conductor_c) - arr(ambient_c), 0.0)
    return same(np.sqrt(left / (arr(conductor_c) - arr(reference_c))))


@cites("33CFR183#183.435(b)")
def bundle_factor(count: int) -> float:
    """Factor for current-carrying conductors bundled together, circuits of 50 V and more.

    1 or 2 conductors 1.0; 3: 0.70; 4 to 6: 0.60; 7 to 24: 0.50; 25 and more: 0.40. ValueError below 1.
    """
    if count < 1:
        raise ValueError("count must be 1 or more")
    steps = ((25, 0.40), (7, 0.50), (4, 0.60), (3, 0.70))
    return next((factor for least, factor in steps if count >= least), 1.0)


class TableRating(NamedTuple):
    """The rating one printed table gives a cable."""

    table: str
    source: str
    condition: str
    row: str
    row_area_mm2: float
    """What the row stands for: metal area for AWG and kcmil rows, the nominal number for metric rows."""
    column_c: float
    base_a: float
    ambient_factor: float
    bundle_factor: float
    result_a: float
    column_gap_k: float
    """How far the column lies below the conductor's limit: large gaps make the rating needlessly low."""
    note: str = ""


class SetAside(NamedTuple):
    """A printed table that does not hold for this cable, and the reason."""

    table: str
    reason: str


class TableRatings(NamedTuple):
    """All printed ratings of one cable, and the tables that do not hold for it."""

    candidates: tuple[TableRating, ...]
    set_aside: tuple[SetAside, ...]

    @property
    def governing(self) -> TableRating | None:
        """Lowest rating of the candidates with the column nearest the conductor's limit; None without any."""
        if not self.candidates:
            return None
        nearest = min(rating.column_gap_k for rating in self.candidates)
        return min((r for r in self.candidates if r.column_gap_k == nearest), key=lambda r: r.result_a)


@cache
def _inch_area_mm2(size: str) -> float:
    if size.endswith("kcmil"):
        return float(size.removesuffix("kcmil")) * 1000.0 * MM2_PER_CIRCULAR_MIL
    return awg_area_mm2(size)


@cache
def _needs_mm2(size: str, named: bool) -> float:
    """Metal a cable needs to be read as this row: the SAE least area if sold by that name, else AWG."""
    if named and size in SAE_CIRCULAR_MILS:
        return sae_area_mm2(size)
    return _inch_area_mm2(size)


def _inch_row(table: RatingTable, area_mm2: float, awg: str | None) -> tuple[str, float] | None:
    named = None if awg is None else awg_number(awg)
    fitting = [
        (_inch_area_mm2(size), size)
        for size in table.rows
        if area_mm2
        >= _ROUNDING * _needs_mm2(size, named is not None and size[-1].isdigit() and awg_number(size) == named)
    ]
    if not fitting:
        return None
    area, size = max(fitting)
    return size, area


def _metric_row(table: RatingTable, area_mm2: float, nominal_mm2: float | None) -> tuple[str, float] | None:
    fitting = []
    for size in table.rows:
        nominal = float(size)
        class5_mm2 = COPPER_RESISTIVITY_OHM_MM2_PER_M / CLASS5_TINNED_OHM_PER_M[nominal]
        # Sold by its nominal size the cable needs only the metal the conductor standard asks of that size.
        by_name = nominal_mm2 is not None and nominal <= nominal_mm2 and area_mm2 >= _ROUNDING * class5_mm2
        if by_name or area_mm2 >= _ROUNDING * nominal:
            fitting.append((nominal, size))
    if not fitting:
        return None
    nominal, size = max(fitting)
    return size, nominal


def _column(table: RatingTable, row: str, conductor_c: float) -> tuple[int, float] | None:
    printed = zip(table.columns_c, table.rows[row], strict=True)
    usable = [(column, amps) for column, amps in printed if amps is not None and column <= conductor_c]
    return max(usable) if usable else None


def _read(
    table: RatingTable,
    area_mm2: float,
    conductor_c: float,
    ambient_c: float,
    count: int,
    nominal_mm2: float | None,
    awg: str | None,
) -> TableRating | SetAside:
    if table.largest_bundle is not None and count > table.largest_bundle:
        return SetAside(table.name, f"holds for {table.largest_bundle} conductor(s) together at most, here {count}")
    if table.metric:
        row = _metric_row(table, area_mm2, nominal_mm2)
    else:
        row = _inch_row(table, area_mm2, awg)
    if row is None:
        return SetAside(table.name, f"its smallest row is above the {area_mm2:.3g} mm² of metal in the cable")
    size, row_area = row
    found = _column(table, size, conductor_c)
    if found is None:
        return SetAside(table.name, f"nothing is printed for {size} at or below {conductor_c:g} °C")
    column, base = found
    if ambient_c >= column:
        return SetAside(table.name, f"its column of {column} °C is not above the ambient of {ambient_c:g} °C")
    ambient = float(ambient_factor(float(column), ambient_c, table.reference_c))
    bundle = bundle_factor(count) if table.largest_bundle is None else 1.0
    note = table.notes.get((size, column)) or table.notes.get(("", column), "")
    result = base * ambient * bundle
    return TableRating(
        table.name, table.source, table.condition, size, row_area, float(column), base, ambient, bundle,
        result, conductor_c - column, note,
    )  # fmt: skip


@cites(
    "33CFR183#183.425 Table 5",
    "33CFR183#183.435(b)",
    "NEC-2023#Table 310.17",
    "IEC-60364-5-52#method F, single-core cables touching in free air",
)
@lru_cache(maxsize=8192)
def table_ampacity(
    metal_area_mm2: float,
    conductor_temp_c: float,
    ambient_c: float,
    bundled_count: int = 1,
    *,
    material: str = "copper",
    nominal_mm2: float | None = None,
    awg: str | None = None,
) -> TableRatings:
    """Current ratings of one cable from every printed table that holds for it.

    Result = base * ambient factor (at the column's own temperature) * bundle factor (33 CFR 183.435(b), its
    own table only). Rows step down to the metal area of the cable (0.5 % rounding); a cable sold by a nominal
    size (`nominal_mm2`) or an AWG name (`awg`) is read at that row if it holds the metal IEC 60228 class 5 or
    SAE ask of it. Columns step down to `conductor_temp_c`. NEC 310.17 holds for a conductor with space around
    it (count 1), IEC method F for one circuit touching (count up to 3).

    metal_area_mm2 > 0, from resistance (`conductors.metal_area_mm2`); conductor_temp_c and ambient_c [degC];
    bundled_count: conductors that carry current together, this one included. material "copper" or
    "aluminium". Raises ValueError for bad values. Still air at sea level; terminals may allow less.
    """
    positive(metal_area_mm2=metal_area_mm2)
    between(-100.0, 1000.0, conductor_temp_c=conductor_temp_c, ambient_c=ambient_c)
    bundle_factor(bundled_count)
    if material not in {"copper", "aluminium"}:
        raise ValueError(f"material must be copper or aluminium, not {material!r}")
    read = [
        _read(table, metal_area_mm2, conductor_temp_c, ambient_c, bundled_count, nominal_mm2, awg)
        for table in RATING_TABLES
        if table.material == material
    ]
    return TableRatings(
        tuple(item for item in read if isinstance(item, TableRating)),
        tuple(item for item in read if isinstance(item, SetAside)),
    )


@cites("AC43-13-1B#chapter 11, wire temperature T2")
def aircraft_wire_temperature_c(ambient_c: Num, rated_c: Num, current_a: Num, largest_current_a: Num) -> Num:
    """Estimated temperature of a loaded wire as the circular prints it [degC]: T1 + (TR - T1) sqrt(I2/Imax).

    The rise goes with the ROOT of the current here, where heating goes with its square: the estimate is too
    warm below Imax (safe side for resistance) and too cool above it, so current_a <= largest_current_a is
    required. Shapes broadcast. Raises ValueError otherwise.
    """
    not_negative(current_a=current_a)
    positive(largest_current_a=largest_current_a)
    if not bool(np.all(arr(current_a) <= arr(largest_current_a))):
        raise ValueError("current_a must not be above largest_current_a")
    share = np.sqrt(arr(current_a) / arr(largest_current_a))
    return same(arr(ambient_c) + (arr(rated_c) - arr(ambient_c)) * share)


@cites("AC43-13-1B#chapter 11, wire length L2")
def aircraft_wire_length(length_at_20_c: Num, wire_c: Num) -> Num:
    """Length of copper wire that keeps its voltage drop when hot, in the unit given: 254.5 L1/(234.5 + T2).

    length_at_20_c >= 0 in any unit; wire_c > -234.5 degC. Shapes broadcast. Raises ValueError otherwise.
    """
    not_negative(length_at_20_c=length_at_20_c)
    positive(wire_above_zero_resistance=same(234.5 + arr(wire_c)))
    return same(254.5 * arr(length_at_20_c) / (234.5 + arr(wire_c)))


@cites("AC43-13-1B#chapter 11, worked example 2")
def derated_current_a(free_air_a: float, *factors: float) -> float:
    """Current after reading factors (altitude, bundle, ambient) [A]: the product. Each factor in 0..1.

    Altitude and bundle factors of the circular are readings from its charts and are not computed here.
    Raises ValueError for a factor outside 0..1 or a negative current.
    """
    if not free_air_a >= 0.0 or not all(0.0 <= factor <= 1.0 for factor in factors):
        raise ValueError("needs a current of zero or more and factors from 0 to 1")
    return free_air_a * math.prod(factors)
