"""What the pack can give: voltage range, resistance at the ends of its charge and temperature, energy, largest power."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from tristrand.design import Design
from tristrand.physics import pack as physics
from tristrand.studies.circuits import Needs
from tristrand.studies.results import (
    Corner,
    Missing,
    PackFigures,
    PackResult,
    Series,
    Working,
    found,
    working,
)

CLOSED = "CLOSED-FORM#series and parallel"


@dataclass(frozen=True, slots=True)
class PackData:
    """One pack as numbers: the cell's tables and the range it is used in."""

    id: str
    series: int
    parallel: int
    cell_as: float
    cell_minimum_v: float
    cell_nominal_v: float
    cell_maximum_v: float
    ocv_soc: tuple[float, ...]
    ocv_v: tuple[float, ...]
    r_temperature_c: tuple[float, ...]
    r_soc: tuple[float, ...]
    r_ohm: tuple[tuple[float, ...], ...]
    link_ohm: float
    soc: tuple[float, float]
    temperature_c: tuple[float, float]


@dataclass(frozen=True, slots=True)
class PackInputs:
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


def _data(design: Design, needs: Needs, pack_id: str, part: object) -> PackData | None:
    sheet = design.sheet_of(pack_id)
    base = f"parts/{part.sheet}"  # type: ignore[attr-defined]
    for field, what in (
        ("cells_in_series", "number of cells in series"), ("cells_in_parallel", "number of cells in parallel"),
        ("cell_capacity", "capacity of a cell"), ("cell_voltage", "voltage range of a cell"),
        ("open_circuit_voltage", "open-circuit voltage table"), ("cell_resistance", "resistance table of a cell"),
        ("link_resistance", "resistance of the links"),
    ):  # fmt: skip
        needs.of(f"{base}/{field}", getattr(sheet, field), f"{what} of {pack_id}")
    here = f"high_voltage/parts/{pack_id}"
    soc = needs.of(f"{here}/state_of_charge", part.state_of_charge, f"range of charge of {pack_id}")  # type: ignore[attr-defined]
    temperature = needs.of(f"{here}/temperature", part.temperature, f"range of temperature of {pack_id}")  # type: ignore[attr-defined]
    if any(m.pointer.startswith((base, here)) for m in needs.missing) or soc is None or temperature is None:
        return None
    table, ohm = sheet.open_circuit_voltage, sheet.cell_resistance
    return PackData(
        pack_id, sheet.cells_in_series, sheet.cells_in_parallel, sheet.cell_capacity.value,
        sheet.cell_voltage.minimum.value, sheet.cell_voltage.nominal.value, sheet.cell_voltage.maximum.value,
        tuple(d.value for d in table.state_of_charge), tuple(d.value for d in table.voltage),
        tuple(d.value for d in ohm.temperature), tuple(d.value for d in ohm.state_of_charge),
        tuple(tuple(d.value for d in row) for row in ohm.resistance), sheet.link_resistance.value,
        (soc.minimum.value, soc.maximum.value), (temperature.minimum.value, temperature.maximum.value),
    )  # fmt: skip


def study(data: PackInputs) -> PackResult:
    """Series and parallel arithmetic at the four ends of charge and temperature of every pack."""
    figures = {pack.id: _figures(pack) for pack in data.packs}
    lines = [line for pack in data.packs for line in _workings(pack, figures[pack.id])]
    curves = [curve for pack in data.packs for curve in _curves(pack)]
    return PackResult(tuple(lines), data.missing, tuple(curves), figures)


def _corner(pack: PackData, name: str, soc: float, temperature_c: float) -> Corner:
    cell_v = float(np.interp(soc, pack.ocv_soc, pack.ocv_v))
    cell = physics.interpolate_table(
        np.array(pack.r_temperature_c), np.array(pack.r_soc), np.array(pack.r_ohm), temperature_c, soc
    )
    outside = bool(cell.clamped_row) or bool(cell.clamped_column) or not pack.ocv_soc[0] <= soc <= pack.ocv_soc[-1]
    return Corner(
        name, soc, temperature_c, float(physics.pack_voltage_v(pack.series, cell_v)),
        float(physics.pack_resistance_ohm(pack.series, pack.parallel, cell.value, pack.link_ohm)), outside,
    )  # fmt: skip


def _figures(pack: PackData) -> PackFigures:
    (low, high), (cold, hot) = pack.soc, pack.temperature_c
    corners = (
        _corner(pack, "empty and cold", low, cold), _corner(pack, "empty and hot", low, hot),
        _corner(pack, "full and cold", high, cold), _corner(pack, "full and hot", high, hot),
    )  # fmt: skip
    power = [float(physics.largest_power_w(c.open_circuit_v, c.resistance_ohm)) for c in corners]
    weakest = corners[int(np.argmin(power))]
    charge = float(physics.pack_charge_c(pack.parallel, pack.cell_as))
    nominal = float(physics.pack_voltage_v(pack.series, pack.cell_nominal_v))
    low_v, high_v = physics.pack_voltage_range_v(pack.series, pack.cell_minimum_v, pack.cell_maximum_v)
    strongest = max(corners, key=lambda c: c.open_circuit_v / c.resistance_ohm)
    return PackFigures(
        pack.id, pack.series, pack.parallel, charge / 3600, float(physics.pack_energy_j(nominal, charge)) / 3.6e6,
        float(low_v), nominal, float(high_v), corners, weakest.name, min(power),
        float(physics.current_at_largest_power_a(weakest.open_circuit_v, weakest.resistance_ohm)),
        float(physics.short_circuit_current_a(strongest.open_circuit_v, strongest.resistance_ohm)),
    )  # fmt: skip


def _workings(pack: PackData, figures: PackFigures) -> list[Working]:
    weak = next(c for c in figures.corners if c.name == figures.weakest)
    n, p = (pack.series, "1"), (pack.parallel, "1")
    lines = [
        working(pack.id, "V_max", "pack voltage, every cell at its maximum", "n*v", figures.maximum_v, "V", CLOSED, n=n, v=(pack.cell_maximum_v, "V")),
        working(pack.id, "V_min", "pack voltage, every cell at its minimum", "n*v", figures.minimum_v, "V", CLOSED, n=n, v=(pack.cell_minimum_v, "V")),
        working(pack.id, "V_nom", "nominal pack voltage", "n*v", figures.nominal_v, "V", CLOSED, n=n, v=(pack.cell_nominal_v, "V")),
        working(pack.id, "Q", "pack capacity", "p*q", figures.capacity_ah, "Ah", CLOSED, p=p, q=(pack.cell_as / 3600, "Ah")),
        working(
            pack.id, "E", "nominal energy", "V_nom*Q/1000", figures.energy_kwh, "kWh", CLOSED,
            V_nom=(figures.nominal_v, "V"), Q=(figures.capacity_ah, "Ah"),
        ),
    ]  # fmt: skip
    for corner in figures.corners:
        cell = (corner.resistance_ohm - pack.link_ohm) * pack.parallel / pack.series
        lines += [
            found(pack.id, "r", f"resistance of one cell, {corner.name}", cell, "Ω", "CLOSED-FORM#bilinear interpolation", "read from the cell's table"),
            working(
                pack.id, "R", f"pack resistance, {corner.name}", "n*r/p + r_links", corner.resistance_ohm, "Ω", CLOSED,
                n=n, r=(cell, "Ω"), p=p, r_links=(pack.link_ohm, "Ω"),
            ),
        ]  # fmt: skip
    lines.append(
        working(
            pack.id, "P_max", f"largest power at the terminals, {weak.name}", "V**2/(4*R)", figures.largest_power_w, "W",
            "CLOSED-FORM#maximum power transfer", V=(weak.open_circuit_v, "V"), R=(weak.resistance_ohm, "Ω"),
        )
    )  # fmt: skip
    return lines


def _curves(pack: PackData) -> list[Series]:
    """Terminal voltage against power at the four corners, up to 90 % of the largest power."""
    curves = []
    for corner in _figures(pack).corners:
        most = float(physics.largest_power_w(corner.open_circuit_v, corner.resistance_ohm))
        watt = np.linspace(0.0, 0.9 * most, 25)
        amp = physics.current_for_power_a(watt, corner.open_circuit_v, corner.resistance_ohm)
        volt = physics.terminal_voltage_v(corner.open_circuit_v, amp, corner.resistance_ohm)
        kilowatt = tuple(float(x) / 1e3 for x in watt)
        curves.append(
            Series(
                corner.name,
                "power",
                "kW",
                "pack voltage",
                "V",
                kilowatt,
                tuple(map(float, np.asarray(volt))),
                pack.id,
            )
        )
    return [c for c in curves if not any(math.isnan(y) for y in c.y)]
