"""Cells against their monitor, modules and pieces, and the branches of the bus as tables of text."""

import math

from tristrand.design import Datum, Design
from tristrand.papers.tables import Cell, Row, Table, pairs, row, value
from tristrand.studies.results import Branch, BranchesResult, BranchFuse, CellFigures, CellsResult, Portion, Trunk

STARTS = {
    "with_bus": "by itself as the bus rises: it loads precharge",
    "when_released": "when released, after the main contactors",
    "": "not a matter of precharge",
}


def cells_tables(result: CellsResult, design: Design) -> list[Table]:
    """For every pack what passes its monitor unseen beside the cell's limits, then what a person handles."""
    tables = []
    for name, figures in result.packs.items():
        if design.high_voltage.parts[name].kind != "pack":
            continue
        tables.append(_window(name, figures, design))
        sizes = _sizes(figures)
        if sizes:
            columns = ("Part of the pack", "Cells in series", "Highest voltage", "Energy", "Mass")
            note = "Energy: maximum voltage times rated capacity. Modules are taken as alike; the largest counts."
            tables.append(Table(f"Modules and pieces of {name}", columns, sizes, note))
        tables.append(pairs(f"What the monitor of {name} reads", _reads(name, figures, design)))
    return tables


def _window(name: str, figures: CellFigures, design: Design) -> Table:
    sheet = design.sheet_of(name)
    monitor = getattr(design.high_voltage.parts[name], "monitor", None)
    volts, span = sheet.cell_voltage, sheet.cell_temperature
    out, back = (span.discharge, span.charge) if span is not None else (None, None)
    lines = (
        ("Highest voltage", "over_voltage", "voltage_error", figures.over_v, "V", volts and volts.maximum),
        ("Lowest voltage", "under_voltage", "voltage_error", figures.under_v, "V", volts and volts.minimum),
        ("Hottest, discharged", "over_temperature", "temperature_error", figures.hot_c, "°C", out and out.maximum),
        ("Coldest, discharged", "under_temperature", "temperature_error", figures.cold_c, "°C", out and out.minimum),
        (
            "Hottest, charged", "over_temperature_charge", "temperature_error", figures.hot_charge_c, "°C",
            back and back.maximum,
        ),
        (
            "Coldest, charged", "under_temperature_charge", "temperature_error", figures.cold_charge_c, "°C",
            back and back.minimum,
        ),
    )  # fmt: skip
    rows = tuple(
        row(head, _text(monitor, trip), _text(monitor, error), value(true, unit), _datum(limit))
        for head, trip, error, true, unit, limit in lines
    )
    columns = ("Limit of a cell", "Monitor trips at", "Error of the reading", "Passes unseen up to", "The cell allows")
    return Table(f"Cells of {name} and their monitor", columns, rows)


def _text(monitor: object, field: str) -> str:
    return _datum(getattr(monitor, field, None))


def _datum(datum: Datum | None) -> str:
    return "not known" if datum is None else datum.text


def _sizes(figures: CellFigures) -> tuple[Row, ...]:
    portions = [("largest module", figures.module)] if figures.module is not None else []
    portions += [(f"piece {n} with the plugs out", piece) for n, piece in enumerate(figures.pieces, 1)]
    return tuple(_size(words, portion) for words, portion in portions)


def _size(words: str, portion: Portion) -> Row:
    energy = value(portion.energy_j / 1e6, "MJ", 3)
    return row(words, str(portion.groups), value(portion.volts, "V"), energy, value(portion.mass_kg, "kg", 3))


def _reads(name: str, figures: CellFigures, design: Design) -> list[tuple[str, str, str]]:
    monitor = getattr(design.high_voltage.parts[name], "monitor", None)
    read = getattr(monitor, "cells_read", None)
    rows = [
        ("Voltages", "not known" if read is None else str(read), f"of {figures.series} groups of cells in series"),
        ("Cells whose temperature is read", value(figures.share_read, "share", 3), "of all cells"),
        ("Charge at the over-voltage trip", value(figures.full_charge, "share", 3), "cells at rest, error against it"),
        (
            "Lowest mean cell voltage",
            value(figures.loaded_v, "V"),
            f"in case {figures.loaded_case}" if figures.loaded_case else "",
        ),
        ("Under-voltage trip at the earliest", value(figures.earliest_under_v, "V"), "error of the reading added"),
        ("Over-voltage trip at the earliest", value(figures.earliest_over_v, "V"), "error of the reading taken off"),
    ]
    if not math.isnan(figures.links_a):
        rows.append(("Sustained current of one cell", value(figures.link_a, "A", 3), f"in case {figures.link_case}"))
        rows.append(("Links of one group together", value(figures.links_a, "A", 3), "ratings added up"))
    return rows


def branches_tables(result: BranchesResult, design: Design) -> list[Table]:
    """What every device may take for long, converters at a low voltage, fuses against surges, common conductors."""
    tables = [
        _devices(tuple(_branch(branch, design) for branch in result.branches.values())),
        _converters(tuple(_converter(b) for b in result.branches.values() if b.kind == "dcdc")),
        _surges(result, tuple(_fuse(fuse, design) for fuse in result.fuses.values())),
        _trunks(tuple(_trunk(trunk) for trunk in result.trunks.values())),
    ]
    return [table for table in tables if table.rows]


def _devices(rows: tuple[Row, ...]) -> Table:
    columns = ("Device", "Largest lasting current", "Because of", "Fuses in its way", "Starts")
    return Table("Devices on the bus", columns, rows, "What it may take for ever, whatever the cases ask.", wide=True)


def _converters(rows: tuple[Row, ...]) -> Table:
    columns = (
        "DC-DC converter", "Lowest voltage, new pack", "Aged pack", "Turns off below", "Full output from",
        "Output left", "Input current, lowest to highest voltage",
    )  # fmt: skip
    note = "Aged: emptiest, at the end of its life, the same power. Output left: at the aged pack's lowest voltage."
    return Table("Converters at a low bus voltage", columns, rows, note, wide=True)


def _surges(result: BranchesResult, rows: tuple[Row, ...]) -> Table:
    columns = ("Fuse", "Surge at every start", "I²t of it", "Melting I²t needed", "Melting I²t of its sheet")
    pulses = max((fuse.pulses for fuse in result.fuses.values()), default=math.nan)
    note = f"Needed: to outlive {pulses:g} starts. Behind a branch fuse the other capacitors hold the bus up, and the "
    note += "branch alone limits the surge."
    return Table("Fuses and the surge of every start", columns, rows, note, wide=True)


def _trunks(rows: tuple[Row, ...]) -> Table:
    columns = ("Cable", "Feeds", "Sum of what protects these", "Its own fuse")
    return Table("Cables in front of several devices", columns, rows, wide=True)


def _trunk(trunk: Trunk) -> Row:
    fuse = f"{trunk.fuse}, {value(trunk.fuse_a, 'A', 3)}" if trunk.fuse else "none"
    return row(trunk.lead, ", ".join(trunk.devices), value(trunk.sum_a, "A", 3), fuse)


def _branch(branch: Branch, design: Design) -> Row:
    at = "" if math.isnan(branch.lasting_v) else f"at {value(branch.lasting_v, 'V')}"
    starts = "connected to a bus that is up" if branch.live else STARTS[branch.starts]
    soft = design.sheet_of(branch.device).soft_start if branch.kind == "dcdc" else None
    fuses = ", ".join(branch.fuses) or "none"
    return row(
        branch.device,
        Cell(value(branch.lasting_a, "A", 3), at),
        branch.words or "not known",
        fuses,
        Cell(starts, "" if soft is None else f"soft start {soft.text}"),
    )


def _converter(branch: Branch) -> Row:
    case = f"case {branch.low_case}" if branch.low_case else ""
    drawn = f"{value(branch.lasting_a, 'A', 3)} to {value(branch.least_a, 'A', 3)}"
    return row(
        branch.device,
        Cell(value(branch.low_v, "V"), case),
        value(branch.aged_v, "V"),
        value(branch.off_v, "V"),
        "any voltage" if branch.full_from_v == 0 else value(branch.full_from_v, "V"),
        f"{value(branch.left_w, 'W', 3)} of {value(branch.rated_w, 'W', 3)}",
        "not known" if math.isnan(branch.lasting_a) else drawn,
    )


def _fuse(fuse: BranchFuse, design: Design) -> Row:
    step = "" if math.isnan(fuse.step_v) else f"{value(fuse.step_v, 'V', 3)} to charge"
    melts = design.sheet_of(fuse.fuse).melting_joule_integral
    return row(
        fuse.fuse,
        Cell(fuse.words or "not known", step),
        value(fuse.joule_a2s, "A²s", 3),
        value(fuse.needed_a2s, "A²s", 3),
        _datum(melts),
    )
