"""Coils, openings, life and weld check of the contactors as tables of text."""

from __future__ import annotations

import math

from tristrand.design import Design
from tristrand.papers.tables import NOT_KNOWN, Cell, Row, Table, row, value
from tristrand.studies.results import CoilFigures, ContactorsResult, InCase, LifeFigures, Opened, WeldFigures, WeldWay


def contactor_remarks(result: ContactorsResult) -> list[str]:
    """What the study does not answer."""
    if not result.coils:
        return []
    return [
        "Not computed: what a discharge contactor opens, and what a contactor of one branch that closes late closes "
        "onto."
    ]


def contactor_tables(result: ContactorsResult, design: Design) -> list[Table]:
    """Every table of the section; none without contactors."""
    if not result.coils:
        return []
    tables = [_coils(result, design)]
    if result.opened:
        tables.append(_opened(result, design))
    if result.life:
        tables.append(_life(result))
    if result.welds:
        tables += [_seen(result), _waits(result)] if any(w.ways for w in result.welds.values()) else [_seen(result)]
    return tables


def _coils(result: ContactorsResult, design: Design) -> Table:
    rows = [_coil(name, got, design) for name, got in result.coils.items()]
    note = (
        f"All coils pulling in at once, cold, at the largest supply: {value(result.peak_a, 'A', 3)}; main and "
        f"discharge contactors held while driving: {value(result.hold_a, 'A', 3)}."
    )
    columns = (
        "Contactor",
        "Winding",
        "To pull in",
        "To stay closed",
        "Released below",
        "Current cold",
        "Power in hold",
    )
    return Table("Coils: hot at the least supply, cold at the largest", columns, tuple(rows), note, wide=True)


def _coil(name: str, got: CoilFigures, design: Design) -> Row:
    economiser = design.sheet_of(name).economiser
    saved = "no economiser"
    if economiser is not None:
        saved = f"economiser {economiser.fitted}" + (f", after {economiser.after.text}" if economiser.after else "")
    return row(
        name,
        f"{value(got.coldest_c, '°C', 3)} to {value(got.hottest_c, '°C', 3)}",
        _gets(got.pull_in_v, got.pull_in_needed_v),
        _gets(got.hold_v, got.hold_needed_v),
        value(got.release_v, "V", 3),
        value(got.peak_a, "A", 3),
        Cell(value(got.hold_w, "W", 3), saved),
        small=str(getattr(design.high_voltage.parts[name], "role", "")),
    )


def _gets(volts: float, needed: float) -> Cell:
    if math.isnan(volts) or math.isnan(needed):
        return Cell(NOT_KNOWN)
    return Cell(f"gets {value(volts, 'V', 3)}", f"needs {value(needed, 'V', 3)}", "short" if volts < needed else "")


def _opened(result: ContactorsResult, design: Design) -> Table:
    rows = []
    for name, found in result.opened.items():
        sheet = design.sheet_of(name)
        forward = sheet.break_current
        back = forward if found.polarised is False else sheet.break_current_reverse
        against = max(found.driving_against, found.charging_against, found.braking_against)
        rows.append(
            row(
                name,
                _direction(found),
                _in_case(found.driving, found),
                _in_case(found.charging, found),
                _in_case(found.braking, found),
                _in_case(found.forward, found),
                NOT_KNOWN if forward is None else forward.text,
                _in_case(against, found) if found.marked and found.polarised else "no mark",
                NOT_KNOWN if back is None else back.text,
                small=found.role,
            )
        )
    columns = (
        "Contactor", "Marked plus", "Driving", "Charging", "Braking", "With the mark", "May open forward",
        "Against the mark", "May open backward",
    )  # fmt: skip
    note = "Largest currents over the cases and the corners of the pack; the first three whichever way they run."
    return Table("Currents that the contacts may have to open", columns, tuple(rows), note, wide=True)


def _direction(found: Opened) -> str:
    if found.polarised is None:
        return "polarity not known"
    if not found.polarised:
        return "alike both ways"
    return f"at {found.marked}" if found.marked else "not said"


def _in_case(one: InCase, of: Opened) -> Cell:
    if one.current_a > 0.0:
        return Cell(value(one.current_a, "A", 3), f"{one.case}, not all known" if of.missing else one.case)
    return Cell(NOT_KNOWN if of.missing else "none")


def _life(result: ContactorsResult) -> Table:
    rows = []
    for name, life in result.life.items():
        for share in life.kinds:
            rows.append(
                row(
                    share.kind,
                    f"{share.operations}",
                    f"{value(share.current_a, 'A', 3)}, {value(share.voltage_v, 'V', 3)}",
                    value(share.life, "", 3).strip(),
                    value(share.share, "share", 3),
                    group=name,
                )
            )
        rows.append(_moved(name, life))
    note = (
        "Life between the points of the sheet straight in logarithms. That shares of different kinds add up linearly "
        "is from memory, not confirmed."
    )
    columns = ("Switching", "Times in the vehicle's life", "At", "Sheet's life", "Share used")
    return Table("Life used up", columns, tuple(rows), note)


def _moved(name: str, life: LifeFigures) -> Row:
    whole = life.operations / life.mechanical if life.mechanical > 0.0 else math.nan
    number = NOT_KNOWN if math.isnan(whole) else value(whole, "", 3).strip()
    return row(
        "moving at all", f"{life.operations}", "no current", number, value(life.mechanical, "share", 3), group=name
    )


def _seen(result: ContactorsResult) -> Table:
    rows = tuple(row(name, *_weld(found)) for name, found in result.welds.items())
    note = (
        "One welded contactor alone does not keep the link live while the other pole is open: between the link's own "
        "poles no weld shows then. A mirror contact follows the armature: it shows one that is stuck, not contacts "
        "worn open. Contactors that lie side by side, as main and precharge contactor, look alike to a sensor."
    )
    columns = ("Contactor", "If it welds, it is seen by", "In the step", "A sensor that would see it with all open")
    return Table("Welds: who sees them", columns, rows, note)


def _weld(found: WeldFigures) -> tuple[Cell | str, ...]:
    between = f"{found.between[0]} to {found.between[1]}" if found.between[0] else "none found"
    mirror = "mirror contact" if found.mirror else ""
    if not found.ways:
        return (Cell(mirror) if mirror else Cell("nothing", "", "unseen")), "any", between
    names = list(dict.fromkeys(way.sensor for way in found.ways))
    return Cell(", ".join(names), mirror), found.ways[0].step, between


def _waits(result: ContactorsResult) -> Table:
    rows = [
        row(way.sensor, *_way(way, result), group=name) for name, found in result.welds.items() for way in found.ways
    ]
    told = "a share not given" if math.isnan(result.ratio) else value(result.ratio, "share", 3)
    read = value(result.delay_s, "s", 3)
    note = f"Taken for a weld above {told} of the pack's voltage, read {read} after the command. "
    note += "Resistance and capacitance at their largest; a machine that still turns, or a charger, keeps the link up."
    columns = ("Sensor", "Held closed", "Reads if welded", "Reads if opened", "Drained by", "Errors", "Wait needed")
    return Table("Welds: what must be seen, and when", columns, tuple(rows), note, wide=True)


def _way(way: WeldWay, result: ContactorsResult) -> tuple[Cell | str, ...]:
    drained = "the sensor itself"
    if way.farad > 0.0:
        ohm = value(way.ohm, "Ω", 3) if math.isfinite(way.ohm) else "nothing"
        drained = f"{ohm}, {value(way.farad, 'F', 3)}"
    wait = "never" if math.isinf(way.wait_s) else value(way.wait_s, "s", 3)
    if way.missing:
        wait = "open"
    elif math.isnan(way.wait_s):
        wait = "cannot tell"
    late = not way.missing and not way.wait_s <= result.delay_s
    reads = NOT_KNOWN if math.isnan(way.opened_v) else f"at most {value(way.opened_v, 'V', 3)}"
    return (
        Cell(", ".join(way.held) or "none", way.step),
        value(way.pack_v, "V", 3),
        reads,
        drained,
        value(way.error, "share", 2),
        Cell(wait, "", "late" if late else ""),
    )
