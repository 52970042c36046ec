"""What the pack can give: voltage range, energy, largest power, resistance at the ends of charge and temperature."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from tristrand.design import Design
from tristrand.physics import pack as physics
from tristrand.records import NamedTuple
from tristrand.studies.circuits import Needs
from tristrand.studies.results import (
    Corner,
    Later,
    Missing,
    PackFigures,
    PackResult,
    Series,
    Working,
    found,
    working,
)

if TYPE_CHECKING:
    from tristrand.design.model import Pack
    from tristrand.design.pack_sheets import ChargeTable

CLOSED = "CLOSED-FORM#series and parallel"
INTERPOLATION = "CLOSED-FORM#bilinear interpolation"
GROWN = "PRACTICE#aged pack, twice the resistance"
MOST_POWER = "CLOSED-FORM#maximum power transfer"

# What a pack's sheet must give, and its name in words.
NEEDED = (
    ("cells_in_series", "number of cells in series"),
    ("cells_in_parallel", "number of cells in parallel"),
    ("cell_capacity", "capacity of a cell"),
    ("cell_voltage", "voltage range of a cell"),
    ("open_circuit_voltage", "open-circuit voltage table"),
    ("cell_resistance", "resistance table of a cell"),
    ("link_resistance", "resistance of the links"),
)

AGED = 2.0
"""Resistance at the end of life over that when new, where the sheet does not say (common practice, no source)."""


class ChargeLimits(NamedTuple):
    """The charge table [A], low ends, the cell temperatures [degC] at which the monitor lets current in, the charge."""

    temperature_c: tuple[float, ...]
    soc: tuple[float, ...]
    rows_a: tuple[tuple[float, ...], ...]
    span_c: tuple[float, float]
    soc_span: tuple[float, float]


class PackData(NamedTuple):
    """One pack as numbers: the cell's tables and the range it is used in.

    ``r_ohm`` and ``link_ohm`` hold the high end of their tolerances, for sag; the low ends are for surges.
    """

    id: str
    series: int
    parallel: int
    cell_as: float
    cell_minimum_v: float
    cell_nominal_v: float
    cell_maximum_v: float
    ocv_soc: tuple[float, ...]
    ocv_low_v: tuple[float, ...]
    ocv_high_v: tuple[float, ...]
    r_temperature_c: tuple[float, ...]
    r_soc: tuple[float, ...]
    r_low_ohm: tuple[tuple[float, ...], ...]
    r_ohm: tuple[tuple[float, ...], ...]
    link_low_ohm: float
    link_ohm: float
    soc: tuple[float, float]
    temperature_c: tuple[float, float]
    discharge_a: float = math.nan
    power_limit_w: float = math.nan
    ohmic_ohm: float = math.nan
    growth: float = AGED
    charge: ChargeLimits | None = None


class PackInputs(NamedTuple):
    """Every pack of the design, and what its sheets lack."""

    packs: tuple[PackData, ...]
    missing: tuple[Missing, ...]


def inputs(design: Design) -> PackInputs:
    """Collect the packs of a design."""
    needs = Needs(design)
    packs = []
    for pack_id, part in design.parts_of("pack").items():
        before = len(needs.missing)
        data = _data(design, needs, pack_id, part)
        if len(needs.missing) == before and data is not None:
            packs.append(data)
    return PackInputs(tuple(packs), tuple(needs.missing))


def _data(design: Design, needs: Needs, pack_id: str, part: Pack) -> PackData | None:
    sheet = design.sheet_of(pack_id)
    base = f"parts/{part.sheet}"
    for field, what in NEEDED:
        needs.of(f"{base}/{field}", getattr(sheet, field), f"{what} of {pack_id}")
    here = f"high_voltage/parts/{pack_id}"
    soc = needs.of(f"{here}/state_of_charge", part.state_of_charge, f"range of charge of {pack_id}")
    temperature = needs.of(f"{here}/temperature", part.temperature, f"range of temperature of {pack_id}")
    if any(m.pointer.startswith((base, here)) for m in needs.missing) or soc is None or temperature is None:
        return None
    table, ohm = sheet.open_circuit_voltage, sheet.cell_resistance
    return PackData(
        id=pack_id,
        series=sheet.cells_in_series,
        parallel=sheet.cells_in_parallel,
        cell_as=sheet.cell_capacity.value,
        cell_minimum_v=sheet.cell_voltage.minimum.high,
        cell_nominal_v=sheet.cell_voltage.nominal.value,
        cell_maximum_v=sheet.cell_voltage.maximum.high,
        ocv_soc=tuple(d.value for d in table.state_of_charge),
        ocv_low_v=tuple(d.low for d in table.voltage),
        ocv_high_v=tuple(d.high for d in table.voltage),
        r_temperature_c=tuple(d.value for d in ohm.temperature),
        r_soc=tuple(d.value for d in ohm.state_of_charge),
        r_low_ohm=tuple(tuple(d.low for d in row) for row in ohm.resistance),
        r_ohm=tuple(tuple(d.high for d in row) for row in ohm.resistance),
        link_low_ohm=sheet.link_resistance.low,
        link_ohm=sheet.link_resistance.high,
        soc=(soc.minimum.value, soc.maximum.value),
        temperature_c=(temperature.minimum.value, temperature.maximum.value),
        discharge_a=sheet.discharge_current.value if sheet.discharge_current is not None else math.nan,
        power_limit_w=_power_limit(design),
        ohmic_ohm=sheet.cell_ohmic_resistance.low if sheet.cell_ohmic_resistance is not None else math.nan,
        growth=sheet.resistance_growth.high if sheet.resistance_growth is not None else AGED,
        charge=_charge(
            sheet.charge_table,
            part,
            (temperature.minimum.low, temperature.maximum.high),
            (soc.minimum.low, soc.maximum.high),
        ),
    )


def _charge(
    table: ChargeTable | None, part: Pack, span_c: tuple[float, float], soc_span: tuple[float, float]
) -> ChargeLimits | None:
    """The pack's range of temperature, cut where the monitor allows no charging and no regeneration any more.

    A reading whose error is not known shuts nothing out.
    """
    if table is None:
        return None
    monitor, (cold, hot) = part.monitor, span_c
    if monitor is not None and monitor.temperature_error is not None:
        error = monitor.temperature_error.high
        if monitor.under_temperature_charge is not None:
            cold = max(cold, monitor.under_temperature_charge.low - error)
        if monitor.over_temperature_charge is not None:
            hot = min(hot, monitor.over_temperature_charge.high + error)
    return ChargeLimits(
        tuple(d.value for d in table.temperature),
        tuple(d.value for d in table.state_of_charge),
        tuple(tuple(d.low for d in row) for row in table.current),
        (cold, max(cold, hot)),
        soc_span,
    )


def _power_limit(design: Design) -> float:
    limit = design.high_voltage.power_limit
    return limit.value if limit is not None and len(design.parts_of("pack")) == 1 else math.nan


def study(data: PackInputs) -> PackResult:
    """Series and parallel arithmetic at the four ends of charge and temperature of every pack."""
    figures = {pack.id: _figures(pack) for pack in data.packs}
    lines = Later(lambda: [line for pack in data.packs for line in _workings(pack, figures[pack.id])])
    curves = Later(lambda: tuple(curve for pack in data.packs for curve in _curves(pack)))
    return PackResult(lines, data.missing, curves, figures)


def _corner(pack: PackData, name: str, soc: float, temperature_c: float, *, full: bool) -> Corner:
    """One end of the range. An empty pack has the low end of its cells' voltage, a full one the high end."""
    cell_v = float(np.interp(soc, pack.ocv_soc, pack.ocv_high_v if full else pack.ocv_low_v))
    rows, columns = np.array(pack.r_temperature_c), np.array(pack.r_soc)
    high = physics.interpolate_table(rows, columns, np.array(pack.r_ohm), temperature_c, soc)
    low = physics.interpolate_table(rows, columns, np.array(pack.r_low_ohm), temperature_c, soc)
    outside = bool(high.clamped_row) or bool(high.clamped_column) or not pack.ocv_soc[0] <= soc <= pack.ocv_soc[-1]
    cells = (pack.series, pack.parallel)
    new_ohm = float(physics.pack_resistance_ohm(*cells, high.value, pack.link_ohm))
    return Corner(
        name=name,
        state_of_charge=soc,
        temperature_c=temperature_c,
        open_circuit_v=float(physics.pack_voltage_v(pack.series, cell_v)),
        resistance_ohm=new_ohm,
        outside_table=outside,
        resistance_low_ohm=float(physics.pack_resistance_ohm(*cells, low.value, pack.link_low_ohm)),
        resistance_aged_ohm=pack.growth * (new_ohm - pack.link_ohm) + pack.link_ohm,
    )


def _charge_least_a(pack: PackData) -> float:
    if pack.charge is None:
        return math.nan
    limits = pack.charge
    return physics.table_least(limits.temperature_c, limits.soc, limits.rows_a, limits.span_c, limits.soc_span)


def _figures(pack: PackData) -> PackFigures:
    (low, high), (cold, hot) = pack.soc, pack.temperature_c
    corners = (
        _corner(pack, "empty and cold", low, cold, full=False),
        _corner(pack, "empty and hot", low, hot, full=False),
        _corner(pack, "full and cold", high, cold, full=True),
        _corner(pack, "full and hot", high, hot, full=True),
    )
    power = [float(physics.largest_power_w(c.open_circuit_v, c.resistance_ohm)) for c in corners]
    weakest = corners[int(np.argmin(power))]
    charge = float(physics.pack_charge_c(pack.parallel, pack.cell_as))
    nominal = float(physics.pack_voltage_v(pack.series, pack.cell_nominal_v))
    low_v, high_v = physics.pack_voltage_range_v(pack.series, pack.cell_minimum_v, pack.cell_maximum_v)
    strongest = max(corners, key=lambda c: c.open_circuit_v / c.resistance_low_ohm)
    fault_ohm = min(c.resistance_low_ohm for c in corners)
    if pack.ohmic_ohm > 0:
        ohmic = float(physics.pack_resistance_ohm(pack.series, pack.parallel, pack.ohmic_ohm, pack.link_low_ohm))
        fault_ohm = min(fault_ohm, ohmic)
    return PackFigures(
        pack=pack.id,
        series=pack.series,
        parallel=pack.parallel,
        capacity_ah=charge / 3600,
        energy_kwh=float(physics.pack_energy_j(nominal, charge)) / 3.6e6,
        minimum_v=float(low_v),
        nominal_v=nominal,
        maximum_v=float(high_v),
        corners=corners,
        weakest=weakest.name,
        largest_power_w=min(power),
        largest_power_current_a=float(
            physics.current_at_largest_power_a(weakest.open_circuit_v, weakest.resistance_ohm)
        ),
        short_circuit_a=float(physics.short_circuit_current_a(strongest.open_circuit_v, strongest.resistance_low_ohm)),
        fault_ohm=fault_ohm,
        aged_ohm=max(c.resistance_aged_ohm for c in corners),
        charge_least_a=_charge_least_a(pack),
    )


def _workings(pack: PackData, figures: PackFigures) -> list[Working]:
    weak = next(c for c in figures.corners if c.name == figures.weakest)
    lines = _voltage_lines(pack, figures)
    for corner in figures.corners:
        lines += _resistance_lines(pack, corner)
    words = f"largest power at the terminals, {weak.name}"
    given = {"V": (weak.open_circuit_v, "V"), "R": (weak.resistance_ohm, "Ω")}
    lines.append(working(pack.id, "P_max", words, "V**2/(4*R)", figures.largest_power_w, "W", MOST_POWER, **given))
    return lines + _load_lines(pack, weak)


def _load_lines(pack: PackData, weak: Corner) -> list[Working]:
    """Sag at the continuous limit, and the current at the power limit: the smaller root of P = I (V - I R)."""
    lines, ohm, volts = [], (weak.resistance_ohm, "Ω"), (weak.open_circuit_v, "V")
    if pack.discharge_a > 0:
        sag = float(physics.sag_v(pack.discharge_a, weak.resistance_ohm))
        words = f"sag at the continuous limit, {weak.name}"
        lines.append(working(pack.id, "dV", words, "I*R", sag, "V", CLOSED, I=(pack.discharge_a, "A"), R=ohm))
    current = float(physics.current_for_power_a(pack.power_limit_w, weak.open_circuit_v, weak.resistance_ohm))
    if current > 0:
        law, words = "(V - sqrt(V**2 - 4*R*P))/(2*R)", f"current at the power limit, {weak.name}, smaller root"
        given = {"V": volts, "R": ohm, "P": (pack.power_limit_w, "W")}
        lines.append(working(pack.id, "I", words, law, current, "A", "CLOSED-FORM#power equation", **given))
    return lines


def _voltage_lines(pack: PackData, figures: PackFigures) -> list[Working]:
    """Voltages, capacity and energy of the whole pack from those of one cell."""
    name, n, p = pack.id, (pack.series, "1"), (pack.parallel, "1")
    top, low, mid = ((v, "V") for v in (pack.cell_maximum_v, pack.cell_minimum_v, pack.cell_nominal_v))
    nominal, charge = (figures.nominal_v, "V"), (figures.capacity_ah, "Ah")
    every = "pack voltage, every cell at its"
    return [
        working(name, "V_max", f"{every} maximum", "n*v", figures.maximum_v, "V", CLOSED, n=n, v=top),
        working(name, "V_min", f"{every} minimum", "n*v", figures.minimum_v, "V", CLOSED, n=n, v=low),
        working(name, "V_nom", "nominal pack voltage", "n*v", figures.nominal_v, "V", CLOSED, n=n, v=mid),
        working(
            name, "Q", "pack capacity", "p*q", figures.capacity_ah, "Ah", CLOSED, p=p, q=(pack.cell_as / 3600, "Ah")
        ),
        working(
            name, "E", "nominal energy", "V_nom*Q/1000", figures.energy_kwh, "kWh", CLOSED, V_nom=nominal, Q=charge
        ),
    ]


def _resistance_lines(pack: PackData, corner: Corner) -> list[Working]:
    """The cell's resistance as read, and the pack's made from it, at one corner."""
    cell = (corner.resistance_ohm - pack.link_ohm) * pack.parallel / pack.series
    read, words = f"resistance of one cell, {corner.name}", f"pack resistance, {corner.name}"
    n, p, links = (pack.series, "1"), (pack.parallel, "1"), (pack.link_ohm, "Ω")
    given = {"n": n, "r": (cell, "Ω"), "p": p, "r_links": links}
    aged, law = f"pack resistance at the end of its life, {corner.name}", "g*n*r/p + r_links"
    return [
        found(pack.id, "r", read, cell, "Ω", INTERPOLATION, "read from the cell's table"),
        working(pack.id, "R", words, "n*r/p + r_links", corner.resistance_ohm, "Ω", CLOSED, **given),
        working(pack.id, "R_aged", aged, law, corner.resistance_aged_ohm, "Ω", GROWN, g=(pack.growth, "1"), **given),
    ]


def _curves(pack: PackData) -> list[Series]:
    """Terminal voltage against power at the four corners, up to 90 % of the largest power."""
    curves = []
    for corner in _figures(pack).corners:
        most = float(physics.largest_power_w(corner.open_circuit_v, corner.resistance_ohm))
        watt = np.linspace(0.0, 0.9 * most, 25)
        amp = physics.current_for_power_a(watt, corner.open_circuit_v, corner.resistance_ohm)
        volt = physics.terminal_voltage_v(corner.open_circuit_v, amp, corner.resistance_ohm)
        kilowatt = tuple(float(x) / 1e3 for x in watt)
        volts = tuple(map(float, np.asarray(volt)))
        curves.append(Series(corner.name, "power", "kW", "pack voltage", "V", kilowatt, volts, pack.id))
    return [c for c in curves if not any(math.isnan(y) for y in c.y)]
