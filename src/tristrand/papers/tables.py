"""The results of the studies as tables of text: what a page prints, without how it looks."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from tristrand.design import Design
from tristrand.papers.plots import share_words
from tristrand.studies.results import (
    CaseFlows, ConductorFigures, ConductorsResult, DischargeResult, OperatingResult, PackResult, PrechargeResult,
)
from tristrand.units import engineering, number_text, show

NOT_KNOWN = "not known"
# Leakage of the solver's open contacts and bleeds; below it nothing is printed but 0.
LEAST_A = 5e-4


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell: its text, a smaller second line, and a word that marks it ("over")."""

    text: str
    small: str = ""
    mark: str = ""


@dataclass(frozen=True, slots=True)
class Row:
    """A row with its header cell; ``group`` opens a new group of rows where it changes."""

    head: Cell
    cells: tuple[Cell, ...]
    group: str = ""


@dataclass(frozen=True, slots=True)
class Table:
    """A table with a caption; ``columns`` names the header column too. ``wide`` tables are set smaller on paper."""

    caption: str
    columns: tuple[str, ...]
    rows: tuple[Row, ...]
    note: str = ""
    wide: bool = False


def value(number: float, unit: str, digits: int = 4) -> str:
    """A value with unit; nan in words, a share in percent, residues of the solver as 0."""
    if math.isnan(number):
        return NOT_KNOWN
    if unit == "share":
        return share_words(number) if 0.995 < number < 1.005 else f"{number_text(100 * number, min(digits, 3))} %"
    if unit == "A" and abs(number) < LEAST_A:
        return "0 A"
    if unit in ("Ω", "F", "s") and number > 0:
        return engineering(number, unit, digits)
    return show(number, unit, digits)


def _row(head: str, *cells: Cell | str, group: str = "", small: str = "") -> Row:
    return Row(Cell(head, small), tuple(c if isinstance(c, Cell) else Cell(c) for c in cells), group)


def _pairs(caption: str, rows: Iterable[tuple[str, str, str]], note: str = "") -> Table:
    return Table(caption, ("Figure", "Value", "What it means"), tuple(_row(a, Cell(b), Cell(c)) for a, b, c in rows), note)


def pack_tables(result: PackResult) -> list[Table]:
    """Range, energy and largest power of each pack, and its four corners."""
    tables = []
    for pack in result.packs.values():
        rows = [
            ("Cells", f"{pack.series} in series, {pack.parallel} in parallel", ""),
            ("Voltage", f"{value(pack.minimum_v, 'V')} to {value(pack.maximum_v, 'V')}", f"nominal {value(pack.nominal_v, 'V')}"),
            ("Capacity", value(pack.capacity_ah, "Ah"), "all parallel cells together"),
            ("Energy", value(pack.energy_kwh, "kWh"), "at nominal voltage"),
            ("Largest power", value(pack.largest_power_w / 1e3, "kW"), f"{pack.weakest}, at {value(pack.largest_power_current_a, 'A')}"),
            ("Short-circuit current", value(pack.short_circuit_a, "A"), "at its terminals, the strongest corner"),
        ]
        tables.append(_pairs(f"Pack {pack.pack}", rows))
        corners = tuple(
            _row(
                c.name, value(c.state_of_charge, "share"), value(c.temperature_c, "°C"), value(c.open_circuit_v, "V"), value(c.resistance_ohm, "Ω"),
                "beyond the table, its end value taken" if c.outside_table else "inside the table",
            )
            for c in pack.corners
        )  # fmt: skip
        columns = ("Corner", "State of charge", "Temperature", "Open-circuit voltage", "Resistance", "Cell data")
        tables.append(Table(f"Ends of charge and temperature of {pack.pack}", columns, corners))
    return tables


def operating_tables(result: OperatingResult, design: Design) -> list[Table]:
    """Current of every part and cable in every case with the corner it occurs at, and voltages at the devices."""
    cases = list(result.cases.values())
    if not cases:
        return []
    heads = tuple(_case_head(c) for c in cases)
    names = list(dict.fromkeys(n for c in cases for n in c.flows))
    parts = [n for n in design.high_voltage.parts if n in names]
    runs = [n for n in design.high_voltage.connections if n in names]
    own = {*parts, *runs}
    groups = (("Parts", parts), ("Cables and busbars", runs), ("Built-in resistances", [n for n in names if n not in own]))
    rows = [
        _row(name.replace(":R", " (built in)"), *(_flow(c, name) for c in cases), group=group, small=_run_words(design, name))
        for group, members in groups
        for name in members
    ]
    note = "Largest size of the current over the corners of the pack; the small words name the corner."
    tables = [Table("Currents, case by case", ("Part or cable", *heads), tuple(rows), note, wide=len(cases) > 3)]
    volts = [n for n in design.high_voltage.parts if any(n in c.lowest_v for c in cases)]
    rows = [_row(n, *(_volts(c, n) for c in cases)) for n in volts]
    note = "Lowest and highest over the corners; the small words give the largest drop from the pack to the device."
    tables.append(Table("Voltages at the devices, case by case", ("Part", *heads), tuple(rows), note, wide=len(cases) > 3))
    packs = [n for n in design.high_voltage.parts if any(n in c.pack_power_w for c in cases)]
    rows = [_row(n, *(_power(c, n) for c in cases)) for n in packs]
    tables.append(Table("Power the pack delivers", ("Pack", *heads), tuple(rows), "Negative: the pack is charged."))
    return tables


def _case_head(case: CaseFlows) -> str:
    lasts = f"at most {value(case.duration_s, 's')}" if case.duration_s > 0 else "sustained"
    return f"{case.case}, {lasts}"


def _run_words(design: Design, name: str) -> str:
    run = design.high_voltage.connections.get(name)
    return f"{run.from_} to {run.to}" if run is not None else ""


def _flow(case: CaseFlows, name: str) -> Cell:
    flow = case.flows.get(name)
    if flow is None:
        return Cell(_unsolved(case))
    if abs(flow.current_a) < LEAST_A:
        return Cell("0 A")
    return Cell(value(flow.current_a, "A"), flow.corner)


def _unsolved(case: CaseFlows) -> str:
    return "no operating point" if case.failed and not case.flows else "not in this case"


def _volts(case: CaseFlows, name: str) -> Cell:
    if name not in case.lowest_v:
        return Cell(_unsolved(case))
    low, high = case.lowest_v[name], case.highest_v.get(name, math.nan)
    drop = case.drop_v.get(name)
    small = "" if drop is None else f"drop {value(drop, 'V', 3)}, {value(case.drop_share.get(name, math.nan), 'share', 3)}"
    return Cell(f"{number_text(low)} to {show(high, 'V')}", small)


def _power(case: CaseFlows, name: str) -> Cell:
    watt = case.pack_power_w.get(name)
    return Cell(_unsolved(case) if watt is None else value(watt / 1e3, "kW"))


def operating_remarks(result: OperatingResult) -> list[str]:
    """Cases in which the circuit has no operating point, with the reason."""
    return [
        f"No operating point in case {case.case}, pack {corner}: {reason}."
        for case in result.cases.values()
        for corner, reason in case.failed.items()
    ]


def conductor_tables(result: ConductorsResult) -> list[Table]:
    """Ampacity by table and by heat balance, the smaller named, and what flows."""
    if not result.conductors:
        return []
    balance = "heat balance"
    rows = []
    for c in result.conductors.values():
        table = next((a for a in c.ampacities if a.name != balance), None)
        heat = next((a for a in c.ampacities if a.name == balance), None)
        rows.append(
            _row(
                c.connection,
                Cell(f"{show(c.sustained_a if abs(c.sustained_a) >= LEAST_A else 0.0, 'A', 3)}", c.sustained_case or "no sustained case"),
                Cell(value(table.current_a, "A", 3), table.name) if table else Cell("no table holds"),
                Cell(value(heat.current_a, "A", 3)) if heat else Cell("diameters not given"),
                _governing(c),
                Cell(_degrees(c.sustained_temperature_c), f"limit {value(c.conductor_limit_c, '°C', 3)}, air {value(c.ambient_c, '°C', 3)}"),
                _short(c),
                Cell(value(c.drop_v, "V", 3), f"{value(c.drop_share, 'share', 3)}, {c.drop_case}" if c.drop_case else ""),
                small=f"{c.cable}" + (f", {value(c.cross_section_mm2, 'mm²')}" if math.isfinite(c.cross_section_mm2) else ""),
            )
        )
    columns = ("Cable", "Sustained current", "Ampacity by table", "By heat balance", "The smaller one", "Conductor at that current", "Short case", "Voltage drop")
    note = "Resistance is taken from tables or data sheets, never from the nominal area. Ampacities include ambient and bundle factors; the workings give them."
    return [Table("Cables", columns, tuple(rows), note, wide=True)]


def _governing(c: ConductorFigures) -> Cell:
    limit = c.ampacity.current_a
    if not math.isfinite(limit) or limit <= 0:
        return Cell(NOT_KNOWN, c.ampacity.detail)
    share = c.sustained_a / limit
    which = "heat balance" if c.ampacity.name == "heat balance" else "table"
    return Cell(value(limit, "A", 3), f"{which}; {share_words(share)} used", "over" if share > 1 else "")


def _degrees(celsius: float) -> str:
    return "above what the formula covers" if math.isinf(celsius) else value(celsius, "°C", 3)


def _short(c: ConductorFigures) -> Cell:
    if not c.short_case or abs(c.short_a) < LEAST_A:
        return Cell("none")
    end = f"; ends at {_degrees(c.short_end_temperature_c)}" if not math.isnan(c.short_end_temperature_c) else ""
    return Cell(value(c.short_a, "A", 3), f"{c.short_case}, {value(c.short_duration_s, 's')}{end}")


def precharge_tables(result: PrechargeResult) -> list[Table]:
    """Times, windows, resistor and surge; then every attempt at the ends of the tolerances."""
    if not result.contactor:
        return []
    never = "never reached"
    rows = [
        ("Target", value(result.target, "share"), f"of pack voltage; {result.bypassed or 'the main contactor'} closes then"),
        ("Time to the target", f"{_time(result.fastest_s, never)} to {_time(result.slowest_s, never)}", "fastest and slowest, sensors erring both ways"),
        ("Window", f"{_time(result.earliest_s, 'no earliest time')} to {_time(result.timeout_s, 'no time-out')}", "sooner is taken as a fault; later gives up"),
        ("Bus comes to rest at", value(result.plateau_share, "share"), "of pack voltage, lowest over the tolerances"),
        ("Load on the bus meanwhile", value(result.connected_load_w, "W"), _loads(result.loads)),
        ("Largest tolerable load", value(result.tolerable_load_w, "W"), f"as constant power; as a resistance, above {value(result.tolerable_load_ohm, 'Ω')}"),
        ("Resistor energy", value(result.pulse_energy_j, "J"), f"one attempt, {result.resistor}"),
        ("Largest power and current", f"{value(result.peak_power_w, 'W')}, {value(result.peak_current_a, 'A')}", result.resistor),
        ("Resistor after all attempts", value(result.temperature_after_attempts_c, "°C"), f"lock-out needed: {value(result.lockout_s, 's')}"),
        ("On a shorted bus", value(result.short_power_w, "W"), f"a time-out up to {value(result.short_timeout_s, 's', 3)} saves the resistor"),
        ("Voltage left at closing", value(result.residual_v, "V"), f"{value(result.residual_share, 'share')} of pack voltage"),
        ("Closing surge", value(result.surge_current_a, "A"), f"I²t {value(result.surge_joule_integral_a2s, 'A²s')}; {_surge(result)}"),
    ]
    if math.isfinite(result.fastest_fault_s):
        words = f"with {result.fastest_fault_words}: the earliest time must lie above it"
        rows.insert(3, ("Fault that looks like success", value(result.fastest_fault_s, "s", 3), words))
    tables = [_pairs(f"Precharge through {result.contactor} and {result.resistor}", rows)]
    attempts = tuple(
        _row(
            a.name, value(a.pack_v, "V"), value(a.resistor_ohm, "Ω"), value(a.capacitance_f, "F"), value(a.plateau_share, "share"),
            _time(a.target_s, never), _time(a.target_late_s, never), Cell(value(a.residual_v, "V", 3), value(a.residual_share, "share", 3)),
            value(a.resistor_energy_j, "J", 3),
        )
        for a in result.attempts
    )  # fmt: skip
    columns = (
        "Attempt", "Pack", "Resistor", "Bus capacitance", "Comes to rest at", "Reaches target", "Target seen late", "Left at closing", "Resistor energy",
    )  # fmt: skip
    if attempts:
        tables.append(Table("Attempts at the ends of the tolerances", columns, attempts, wide=True))
    return tables


def _time(seconds: float, instead: str) -> str:
    return value(seconds, "s", 3) if not math.isnan(seconds) else instead


def _loads(loads: Mapping[str, float]) -> str:
    return ", ".join(f"{name} {value(watt, 'W')}" for name, watt in loads.items()) or "nothing draws power during precharge"


def _surge(result: PrechargeResult) -> str:
    how = "cable inductance counted" if result.surge_with_inductance else "no inductance known, so none counted"
    return f"peak after {value(result.surge_time_s, 's', 3)}, {how}" if math.isfinite(result.surge_time_s) else how


def discharge_tables(result: DischargeResult, allowed: str) -> list[Table]:
    """Time to 60 V after every opening order, and what the discharge resistors take when left on."""
    if not result.cases:
        return []
    rows = tuple(
        _row(
            c.name, "discharge resistor" if c.active else "built-in resistances alone", _time(c.seconds, "never in the time looked at"), c.slowest_part or "none",
            value(c.final_v, "V", 3),
            group="Discharge working" if c.active else "Discharge failed open",
        )
        for c in result.cases
    )  # fmt: skip
    note = f"From {value(result.start_v, 'V')}, {value(result.capacitance_f, 'F')} on the bus. {allowed}".strip()
    columns = ("How the circuit opens", "Discharged by", "Time to 60 V", "Slowest part", "Voltage at the end")
    tables = [Table("Discharge to 60 V", columns, rows, note)]
    held = tuple(
        _row(
            name, value(result.resistor_power_w.get(name, math.nan), "W"), value(result.resistor_energy_15s_j.get(name, math.nan), "J"),
            value(result.resistor_temperature_15s_c.get(name, math.nan), "°C"), value(result.largest_resistance_ohm.get(name, math.nan), "Ω"),
        )
        for name in result.resistors
    )  # fmt: skip
    if held:
        columns = ("Resistor", "Power if left on", "Energy in 15 s", "Temperature after 15 s", "Largest resistance that meets the limit")
        tables.append(Table("Discharge resistors left on a live bus", columns, held))
    return tables
