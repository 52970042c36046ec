"""Are conductors far enough apart? Creepage and clearance of boxes and boards against standard and rule book."""

import math
from collections.abc import Iterator
from functools import lru_cache
from typing import Any

from tristrand.design import Datum, Design
from tristrand.physics.spacing import (
    FSAE_BOARD_LARGEST_V,
    IIIB_LARGEST_PD3_V,
    IMPULSE_V,
    BoardGap,
    Category,
    MaterialGroup,
    altitude_factor,
    board_creepage_mm,
    clearance_at_altitude_mm,
    clearance_mm,
    creepage_mm,
    fsae_board_spacing_mm,
    fsae_spacing_mm,
    material_group,
    rated_impulse_v,
)
from tristrand.records import NamedTuple
from tristrand.studies.results import (
    InsulationResult,
    Later,
    Missing,
    SpacingFigures,
    SpacingsResult,
    Working,
    found,
    working,
)

LARGEST_V = 1000.0
"""Where the printed tables end [V]."""
CREEPAGE = "IEC-60664-1#table F.4 (2007), F.5 (2020)"
IMPULSE = "IEC-60664-1#table F.1"
CLEARANCE = "IEC-60664-1#table F.2, inhomogeneous field"
STEP_UP = "MEMORY#clearance of reinforced insulation: the next impulse step up"
BARRIER_MM = math.inf


class SpacingData(NamedTuple):
    """One spacing as the design gives it; distances at their low end in mm, nan where not given."""

    name: str
    between: str
    kind: str
    pollution: int
    group: MaterialGroup | None
    category: Category
    reinforced: bool
    gap: BoardGap | None
    barrier: bool
    creepage_mm: float
    clearance_mm: float


class SpacingInputs(NamedTuple):
    """All spacings; None where the design does not say whether there are any."""

    spacings: tuple[SpacingData, ...] | None
    altitude_m: float
    missing: tuple[Missing, ...]


def inputs(design: Design) -> SpacingInputs:
    """Collect the spacings and the highest place of use."""
    given = design.high_voltage.spacings
    altitude = design.vehicle.altitude
    missing = () if altitude is not None else (Missing("vehicle/altitude", "highest place of use, for clearances"),)
    spacings = None if given is None else tuple(_data(name, entry) for name, entry in given.items())
    return SpacingInputs(spacings, math.nan if altitude is None else altitude.high, missing if given else ())


def _data(name: str, entry: Any) -> SpacingData:
    group = entry.material_group if entry.cti is None else material_group(entry.cti)
    reinforced = entry.between == "low_voltage" if entry.insulation is None else entry.insulation == "reinforced"
    return SpacingData(
        name, entry.between, entry.kind, entry.pollution_degree, group, entry.overvoltage_category, reinforced,
        entry.gap, entry.barrier, _mm(entry.creepage), _mm(entry.clearance),
    )  # fmt: skip


def _mm(datum: Datum | None) -> float:
    return math.nan if datum is None else 1e3 * datum.low


def study(data: SpacingInputs, insulation: InsulationResult) -> SpacingsResult:
    """What each spacing needs at the highest pack voltage."""
    volts = insulation.highest_v
    if data.spacings is None:
        return SpacingsResult(missing=data.missing)
    if math.isnan(volts):
        return SpacingsResult(missing=(*data.missing, *insulation.missing), told=True)
    figures = {one.name: _figures(one, volts, data.altitude_m) for one in data.spacings}
    factor = math.nan if math.isnan(data.altitude_m) else float(altitude_factor(data.altitude_m))
    every = data.spacings
    lines = Later(lambda: [line for one in every for line in _workings(one, figures[one.name], data.altitude_m)])
    return SpacingsResult(lines, data.missing, (), figures, True, factor)


@lru_cache(maxsize=512)
def _figures(one: SpacingData, volts: float, altitude_m: float) -> SpacingFigures:
    creepage, stepped, words = math.nan, math.nan, ""
    gaps = _creepage_gaps(one, volts)
    if not gaps:
        creepage, stepped, words = _needed_creepage(one, volts)
    impulse_v = clearance = math.nan
    clearance_gaps = _clearance_gaps(one, volts, altitude_m)
    if volts <= LARGEST_V:
        impulse_v = float(rated_impulse_v(volts, one.category))
        if one.reinforced:
            impulse_v = _next_impulse(impulse_v)
        if not math.isnan(altitude_m) and not math.isnan(impulse_v):
            sea_level_mm = clearance_mm(impulse_v, one.pollution)
            clearance = float(clearance_at_altitude_mm(sea_level_mm, altitude_m))
    fsae, has, fsae_gaps = _student_rules(one, volts)
    return SpacingFigures(
        one.name, one.between, one.kind, one.reinforced, volts, one.creepage_mm, one.clearance_mm, creepage, stepped,
        words, impulse_v, clearance, fsae, has, gaps, clearance_gaps, fsae_gaps,
    )  # fmt: skip


def _creepage_gaps(one: SpacingData, volts: float) -> tuple[tuple[str, str], ...]:
    gaps = []
    if math.isnan(one.creepage_mm):
        gaps.append(("creepage", "creepage distance"))
    if one.group is None:
        gaps.append(("cti", "cti of the insulation, or its material_group"))
    if volts > LARGEST_V:
        gaps.append(("", f"a table of creepage above {LARGEST_V:g} V, which is not held here"))
    elif one.group == "IIIb" and one.pollution == 3 and volts > IIIB_LARGEST_PD3_V:
        words = f"a better material: group IIIb is not for pollution degree 3 above {IIIB_LARGEST_PD3_V:g} V"
        gaps.append(("material_group", words))
    return tuple(gaps)


def _clearance_gaps(one: SpacingData, volts: float, altitude_m: float) -> tuple[tuple[str, str], ...]:
    gaps = []
    if math.isnan(one.clearance_mm):
        gaps.append(("clearance", "clearance through air"))
    if math.isnan(altitude_m):
        gaps.append(("vehicle/altitude", "highest place of use, for clearances"))
    if volts > LARGEST_V:
        gaps.append(("", f"a table of impulse voltages above {LARGEST_V:g} V, which is not held here"))
    elif one.reinforced and math.isnan(_next_impulse(float(rated_impulse_v(volts, one.category)))):
        gaps.append(("overvoltage_category", "a table of clearances above 12 kV, which is not held here"))
    return tuple(gaps)


def _next_impulse(impulse_v: float) -> float:
    """One step up in the printed impulse voltages; nan above the last."""
    steps = sorted({v for row in IMPULSE_V.values() for v in row})
    return next((v for v in steps if v > impulse_v), math.nan)


def _needed_creepage(one: SpacingData, volts: float) -> tuple[float, float, str]:
    """Interpolated, by the next printed row, and which column."""
    assert one.group is not None
    # The board's columns are not for poor insulation (IIIb), nor for dirt that conducts.
    if one.kind == "board" and one.pollution < 3 and one.group != "IIIb":
        found_ = [
            float(board_creepage_mm(volts, one.pollution, interpolate=between, reinforced=one.reinforced))
            for between in (True, False)
        ]
        return found_[0], found_[1], f"printed board, pollution degree {one.pollution}"
    degree = max(one.pollution, 2)
    found_ = [
        float(creepage_mm(volts, degree, one.group, interpolate=between, reinforced=one.reinforced))
        for between in (True, False)
    ]
    return found_[0], found_[1], f"pollution degree {degree}, material group {one.group}"


def _student_rules(one: SpacingData, volts: float) -> tuple[float, float, tuple[tuple[str, str], ...]]:
    """What FSAE 2026 asks between tractive and 12 V circuits, what there is, and what keeps it from being judged."""
    if one.between != "low_voltage":
        return math.nan, math.nan, ()
    if one.kind == "housing":
        if one.barrier:
            return float(fsae_spacing_mm(volts)), BARRIER_MM, ()
        # Through air or over a surface: the shorter way counts.
        has = min(one.creepage_mm, one.clearance_mm)
        return float(fsae_spacing_mm(volts)), has, _lacking(one, "creepage", "clearance")
    if one.gap is None:
        gap = ("gap", "how the areas of the board are kept apart: surface, air or coated")
        return math.nan, math.nan, (gap,)
    field = "clearance" if one.gap == "air" else "creepage"
    gaps = _lacking(one, field)
    if volts > FSAE_BOARD_LARGEST_V:
        gaps = (*gaps, ("", f"a band above {FSAE_BOARD_LARGEST_V:g} V, which the rules do not have"))
        return math.nan, math.nan, gaps
    return float(fsae_board_spacing_mm(volts, one.gap)), getattr(one, f"{field}_mm"), gaps


def _lacking(one: SpacingData, *fields: str) -> tuple[tuple[str, str], ...]:
    words = {"creepage": "creepage distance", "clearance": "clearance through air"}
    return tuple((field, words[field]) for field in fields if math.isnan(getattr(one, f"{field}_mm")))


def _workings(one: SpacingData, figures: SpacingFigures, altitude_m: float) -> Iterator[Working]:
    times = ", twice that of basic insulation" if one.reinforced else ""
    if not math.isnan(figures.creepage_mm):
        yield found(
            one.name, "s_creep", f"needed creepage at {figures.voltage_v:.4g} V, between the printed rows",
            figures.creepage_mm, "mm", CREEPAGE, f"table, {figures.creepage_words}{times}",
        )  # fmt: skip
        yield found(
            one.name, "s_row", "the same by the next printed row", figures.stepped_mm, "mm", CREEPAGE,
            f"table, {figures.creepage_words}{times}",
        )  # fmt: skip
    if math.isnan(figures.impulse_v):
        return
    basic_v = float(rated_impulse_v(figures.voltage_v, one.category))
    yield found(
        one.name, "U_imp", f"rated impulse voltage, overvoltage category {one.category}", basic_v, "V", IMPULSE,
        f"table, system of {figures.voltage_v:.4g} V",
    )  # fmt: skip
    if one.reinforced:
        words = "impulse voltage that reinforced insulation counts with"
        yield found(one.name, "U_up", words, figures.impulse_v, "V", STEP_UP, "the next step of the table")
    if not math.isnan(figures.clearance_mm):
        sea_level_mm = float(clearance_mm(figures.impulse_v, one.pollution))
        yield found(
            one.name, "d_sea", "clearance up to 2000 m", sea_level_mm, "mm", CLEARANCE,
            f"table, pollution degree {one.pollution}",
        )  # fmt: skip
        yield working(
            one.name, "d_air", f"needed clearance at {altitude_m:.4g} m", "d_sea*k", figures.clearance_mm, "mm",
            "IEC-60664-1#table A.2", d_sea=(sea_level_mm, "mm"), k=(float(altitude_factor(altitude_m)), ""),
        )  # fmt: skip
