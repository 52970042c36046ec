"""Charging as tables of text: the chain of each supply, its sessions, and charging from direct current."""

from __future__ import annotations

import math

from tristrand.design import Design
from tristrand.papers.tables import Row, Table, pairs, row, value
from tristrand.studies.results import ChargingResult, FastFigures, SessionFigures, SupplyFigures
from tristrand.units import show

PROTOCOL = "Not looked at: the messages between vehicle and supply beyond the pilot's duty; the supply's own isolation."


def charging_remarks(result: ChargingResult, design: Design) -> list[str]:
    """What the section leaves out, and what a vehicle left plugged in takes."""
    if not (result.charger or result.fast):
        return []
    remarks = [PROTOCOL]
    standby = design.sheet_of(result.charger).standby if result.charger else None
    if standby is not None:
        day = show(24.0 * standby.high / 1e3, "kWh", 2)
        remarks.append(f"Plugged in and not charging, {result.charger} takes {standby.text}: {day} a day.")
    return remarks


def charging_tables(result: ChargingResult) -> list[Table]:
    """The chain and the power at every supply, and the sessions."""
    tables = []
    if result.supplies:
        tables.append(_chain(result))
        tables.append(_power(list(result.supplies.values())))
    sessions = [(s.supply, one) for s in result.supplies.values() for one in s.sessions]
    if sessions:
        tables.append(_sessions(result, sessions))
    if result.fast is not None:
        tables += _fast(result, result.fast)
    return tables


def _chain(result: ChargingResult) -> Table:
    """One column for each supply, one row for each link."""
    supplies = list(result.supplies.values())
    rows: list[Row] = []
    for group, field in (("What sets the current", "links"), ("What must bear it", "bears")):
        names = dict.fromkeys(name for s in supplies for name, _ in getattr(s, field))
        for name in names:
            cells = [dict(getattr(s, field)).get(name, math.inf) for s in supplies]
            rows.append(row(_head(name), *(_amps(amps) for amps in cells), group=group))
    drawn = [f"{value(s.drawn_a[1], 'A', 3)}, set by {s.smallest}" if s.smallest else "not known" for s in supplies]
    rows.append(row("Drawn", *drawn, group="So it is"))
    if any(s.drawn_a[2] > 1.001 * s.drawn_a[1] for s in supplies):
        most = [value(s.drawn_a[2], "A", 3) for s in supplies]
        rows.append(row("Drawn at most, all tolerances", *most, group="So it is"))
    note = "Current per phase. A coding is what the resistor in the plug stands for."
    return Table("Currents of the charging chain", ("Link", *(s.supply for s in supplies)), tuple(rows), note)


def _head(name: str) -> str:
    return name[:1].upper() + name[1:]


def _amps(amps: float) -> str:
    return "none" if math.isinf(amps) else value(amps, "A", 3)


def _power(supplies: list[SupplyFigures]) -> Table:
    """Power from the supply to the pack, one column for each supply."""
    kilowatts = (
        ("From the supply", "supply_w"),
        ("Into the bus, less the charger's loss", "bus_w"),
        ("Taken by the 12 V side, at the bus", "low_voltage_w"),
        ("Left for the pack, at most", "pack_w"),
        ("Left for the pack at 6 A, the least a pilot can offer", "floor_pack_w"),
    )
    phases = [f"{s.phases}, each at {value(s.phase_v[1], 'V', 3)}" for s in supplies]
    rows = [row("Phases", *phases)]
    rows += [row(words, *(value(getattr(s, field) / 1e3, "kW", 3) for s in supplies)) for words, field in kilowatts]
    return Table("Power while charging", ("Figure", *(s.supply for s in supplies)), tuple(rows))


def _sessions(result: ChargingResult, sessions: list[tuple[str, SessionFigures]]) -> Table:
    rows = tuple(
        row(
            f"Cells {one.name}",
            value(one.temperature_c, "°C", 3),
            f"{value(one.first_a, 'A', 3)}, by {one.first_by}" if one.first_by else "",
            _time(one),
            value(one.held_s / 60.0, "min", 2) if one.reached else "",
            value(one.supply_j / 3.6e6, "kWh", 3) if one.reached else "",
            value(one.stored_j / 3.6e6, "kWh", 3) if one.reached else "",
            value(one.heat_j / 3.6e6, "kWh", 2) if one.reached else "",
            value(one.low_voltage_j / 3.6e6, "kWh", 2) if one.reached else "",
            group=f"At {supply}",
        )
        for supply, one in sessions
    )
    columns = (
        "Session", "At", "First current", "Time", "At constant voltage", "From the supply", "Stored", "Pack's heat",
        "12 V side",
    )  # fmt: skip
    note = f"From {value(result.start_soc, 'share', 3)} to {value(result.target_soc, 'share', 3)}. "
    note += (
        "Cold and hot: as far as pack and charge table reach. One resistance, the largest on the way; a real pack's "
    )
    note += "grows near full, so that its end takes longer."
    return Table("Charging sessions", columns, rows, note, wide=True)


def _time(one: SessionFigures) -> str:
    if one.reached:
        return value(one.seconds / 3600.0, "h", 3)
    if one.ended_by == "temperature":
        return "not allowed"
    return f"stops at {value(one.end_soc, 'share', 3)}"


def _fast(result: ChargingResult, fast: FastFigures) -> list[Table]:
    marks = {None: "not marked", True: "forward", False: "backward"}
    rows = [
        (
            "Largest current",
            value(fast.largest_a, "A", 3),
            "the smaller of what is asked for and given",
        ),
        ("Voltage held at", value(result.limit_v, "V"), "every cell at its charging voltage"),
        ("Current at closing", value(fast.surge_a, "A", 3), "at most, onto a supply without resistance of its own"),
        ("On the way", f"{len(fast.path)} parts and connections", ", ".join(fast.path) or "no way to the pack"),
        ("Live with its contactors open", ", ".join(fast.live) or "nothing", "contacts of the inlet"),
    ]
    rows += [(name, marks[forward], "direction of charging through it") for name, forward in fast.forward]
    tables = [pairs(f"Direct current at {fast.inlet}", rows)]
    if fast.sessions:
        columns = ("Session", "At", "Time", "At constant voltage", "Stored", "Heat in the pack")
        sessions = tuple(
            row(
                f"Cells {one.name}",
                value(one.temperature_c, "°C", 3),
                _time(one),
                value(one.held_s / 60.0, "min", 2) if one.reached else "",
                value(one.stored_j / 3.6e6, "kWh", 3) if one.reached else "",
                value(one.heat_j / 3.6e6, "kWh", 2) if one.reached else "",
            )
            for one in fast.sessions
        )
        held = "held to the pack's table" if fast.by_table else "not held to the pack's table"
        tables.append(Table(f"Sessions at {fast.inlet}, {held}", columns, sessions))
    return tables
