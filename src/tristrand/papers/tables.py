"""The results of the studies as tables of text: what a page prints, without how it looks."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from tristrand.design import Design
from tristrand.studies.results import (
    CaseFlows,
    ConductorFigures,
    ConductorsResult,
    OperatingResult,
    PackResult,
)
from tristrand.units import engineering, number_text, show

NOT_KNOWN = "not known"
# Residue of the solver's open contacts; below it nothing is printed but 0.
LEAST_A = 5e-4
LEAST_V = 1e-9
# A table of more rows may go over several pages; a shorter one stays whole.
LONG = 12


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

    @property
    def classes(self) -> str:
        """How the page sets it: "wide" in smaller type on paper, "long" over several pages if need be."""
        marks = (("wide", self.wide), ("long", len(self.rows) > LONG))
        return " ".join(word for word, holds in marks if holds)


def share_words(share: float) -> str:
    """ "87 %"; never "100 %" for a share above one."""
    for digits in (0, 1, 2, 3):
        text = f"{100 * share:.{digits}f}"
        if (float(text) > 100) == (share > 1):
            return f"{text} %"
    return f"{100 * share:.6g} %"


def value(number: float, unit: str, digits: int = 4) -> str:
    """A value with unit; nan in words, a share in percent, residues of the solver as 0."""
    if math.isnan(number):
        return NOT_KNOWN
    if unit in ("V", "share") and abs(number) < LEAST_V:
        number = 0.0
    if unit == "share":
        # Close to the whole, one digit more keeps 99.93 % from reading as all of it.
        return f"{number_text(100 * number, 4 if 0.99 < number < 1.01 else min(digits, 3))} %"
    if unit == "A" and abs(number) < LEAST_A:
        return "0 A"
    if (unit in ("Ω", "F", "s") and number > 0) or (unit == "A" and abs(number) < 0.1):
        return engineering(number, unit, digits)
    return show(number, unit, digits)


def row(head: str, *cells: Cell | str, group: str = "", small: str = "") -> Row:
    """A row whose cells may be plain text."""
    return Row(Cell(head, small), tuple(c if isinstance(c, Cell) else Cell(c) for c in cells), group)


def pairs(caption: str, rows: Iterable[tuple[str, str, str]], note: str = "") -> Table:
    """A table of single figures: name, value, meaning."""
    return Table(
        caption, ("Figure", "Value", "What it means"), tuple(row(a, Cell(b), Cell(c)) for a, b, c in rows), note
    )


def pack_tables(result: PackResult) -> list[Table]:
    """Range, energy and largest power of each pack, and its four corners."""
    tables = []
    for pack in result.packs.values():
        rows = [
            ("Cells", f"{pack.series} in series, {pack.parallel} in parallel", ""),
            (
                "Voltage",
                f"{value(pack.minimum_v, 'V')} to {value(pack.maximum_v, 'V')}",
                f"nominal {value(pack.nominal_v, 'V')}",
            ),
            ("Capacity", value(pack.capacity_ah, "Ah"), "all parallel cells together"),
            ("Energy", value(pack.energy_kwh, "kWh"), "at nominal voltage"),
            (
                "Largest power",
                value(pack.largest_power_w / 1e3, "kW"),
                f"{pack.weakest}, at {value(pack.largest_power_current_a, 'A')}",
            ),
            ("Short-circuit current", value(pack.short_circuit_a, "A"), "at its terminals, the strongest corner"),
        ]
        tables.append(pairs(f"Figures of {pack.pack}", rows))
        corners = tuple(
            row(
                c.name,
                value(c.state_of_charge, "share"),
                value(c.temperature_c, "°C"),
                value(c.open_circuit_v, "V"),
                value(c.resistance_ohm, "Ω"),
                "beyond the table, its end value taken" if c.outside_table else "inside the table",
            )
            for c in pack.corners
        )
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
    groups = (
        ("Parts", parts),
        ("Cables and busbars", runs),
        ("Built-in resistances", [n for n in names if n not in own]),
    )
    rows = [
        row(
            name.replace(":R", " (built in)"),
            *(_flow(c, name) for c in cases),
            group=group,
            small=_run_words(design, name),
        )
        for group, members in groups
        for name in members
    ]
    note = "Largest size of the current over the corners of the pack; the small words name the corner."
    if not all(c.drives for c in cases):
        note += " While something charges or brakes, the other loads may be on or off: the larger current stands."
    if design.parts_of("inlet"):
        note += " Charging from direct current is none of these cases: see Conductors, Fuses under load and Charging."
    tables = [Table("Currents, case by case", ("Part or cable", *heads), tuple(rows), note, wide=len(cases) > 3)]
    volts = [n for n in design.high_voltage.parts if any(n in c.lowest_v for c in cases)]
    rows = [row(n, *(_volts(c, n) for c in cases)) for n in volts]
    note = "Lowest and highest over the corners; the small words give the largest drop from the pack to the device."
    if any(c.lifted for c in cases):
        note += " In regeneration the pack counts new and at the end of its life."
    tables.append(
        Table("Voltages at the devices, case by case", ("Part", *heads), tuple(rows), note, wide=len(cases) > 3)
    )
    packs = [n for n in design.high_voltage.parts if any(n in c.pack_power_w for c in cases)]
    rows = [row(n, *(_power(c, n) for c in cases)) for n in packs]
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
    small = (
        "" if drop is None else f"drop {value(drop, 'V', 3)}, {value(case.drop_share.get(name, math.nan), 'share', 3)}"
    )
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
            row(
                c.connection,
                Cell(value(c.sustained_a, "A", 3), c.sustained_case or "idle"),
                Cell(value(table.current_a, "A", 3), table.name) if table else Cell("no table holds"),
                Cell(value(heat.current_a, "A", 3)) if heat else Cell("diameters not given"),
                _governing(c),
                Cell(
                    _degrees(c.sustained_temperature_c),
                    f"limit {value(c.conductor_limit_c, '°C', 3)}, air {value(c.ambient_c, '°C', 3)}",
                ),
                _short(c),
                Cell(
                    value(c.drop_v, "V", 3), f"{value(c.drop_share, 'share', 3)}, {c.drop_case}" if c.drop_case else ""
                ),
                small=f"{c.cable}"
                + (f", {value(c.cross_section_mm2, 'mm²')}" if math.isfinite(c.cross_section_mm2) else ""),
            )
        )
    columns = (
        "Cable",
        "Sustained current",
        "Ampacity by table",
        "By heat balance",
        "The smaller one",
        "Conductor at that current",
        "Short case",
        "Voltage drop",
    )
    note = "Resistance is taken from tables or data sheets, never from the nominal area. "
    note += "Ampacities include ambient and bundle factors; the workings give them."
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
