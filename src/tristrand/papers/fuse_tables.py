"""Fuses under load, over starts and small overcurrents, and chargers as a source of faults, as tables of text."""

import math

from tristrand.design import Design
from tristrand.papers.tables import NOT_KNOWN, Cell, Row, Table, row, value
from tristrand.studies.results import (
    FaultsResult,
    FuseLoad,
    FuseLoadsResult,
    OverloadBand,
    ProtectionResult,
    shorted,
)

LEAST_A = 0.01


def load_tables(result: FuseLoadsResult) -> list[Table]:
    """What each fuse carries for ever in the air round it, then its currents case by case."""
    if not result.fuses:
        return []
    rows = tuple(
        row(
            name,
            value(load.rated_a, "A"),
            value(load.ambient_c, "°C", 3),
            NOT_KNOWN if math.isnan(load.factor) else f"{load.factor:.3f}",
            value(load.allowed_a, "A", 3),
            f"{value(load.sustained_a, 'A', 3)} ({load.sustained_case})" if load.sustained_a > LEAST_A else "none",
            _needed(load),
        )
        for name, load in result.fuses.items()
    )
    columns = (
        "Fuse",
        "Rating",
        "Air",
        "Factor",
        "May carry for ever",
        "Sustained load",
        "Least rating for it",
    )
    note = "Factor for hot air: its form is from memory, no text that was read shows it; in cold air it counts as 1. "
    note += "The next size named is from the usual row of ratings, also from memory."
    tables = [Table("Fuses under sustained load", columns, rows, note, wide=True)]
    found = dict.fromkeys(c for load in result.fuses.values() for c, _, amps in load.cases if amps > LEAST_A)
    if found:
        cases = tuple(row(name, *_cases(load, tuple(found))) for name, load in result.fuses.items())
        note = "Second line: how long, and its share of the current that melts the fuse in that time."
        tables.append(Table("Current of every fuse, case by case", ("Fuse", *found), cases, note))
    return tables


def _needed(load: FuseLoad) -> str:
    if not load.sustained_a > LEAST_A or math.isnan(load.required_a):
        return "none" if load.sustained_a <= LEAST_A else NOT_KNOWN
    if math.isinf(load.required_a):
        return "no fuse of this kind: the air is too hot"
    size = "" if math.isnan(load.standard_a) else f", next size {value(load.standard_a, 'A')}"
    return f"{value(load.required_a, 'A', 3)}{size}"


def _cases(load: FuseLoad, names: tuple[str, ...]) -> list[Cell]:
    """One cell for each case."""
    carried = {case: (amps, seconds) for case, seconds, amps in load.cases if amps > LEAST_A}
    melting = {timed.case: timed.melting_a for timed in load.timed}
    cells = []
    for name in names:
        amps, seconds = carried.get(name, (0.0, 0.0))
        small = ""
        if seconds > 0:
            melts = melting.get(name, math.nan)
            share = f"{value(amps / melts, 'share', 2)} of {value(melts, 'A', 3)}" if melts > 0 else NOT_KNOWN
            small = f"for {value(seconds, 's')}: {share}"
        cells.append(Cell(value(amps, "A", 3) if amps else "none", small))
    return cells


def overload_tables(result: ProtectionResult, design: Design) -> list[Table]:
    """Who acts where a fuse does not."""
    rows = tuple(_overload(band, design) for band in result.bands.values())
    if not rows:
        return []
    columns = (
        "Fuse",
        "Largest load",
        "Too slow below",
        "May not clear below",
        "Who acts in between",
        "When",
    )
    note = "Too slow: melts later than 5 s, so long the heat of an overload stays in the cable that it protects. "
    note += "A device that limits its own current does not limit a fault inside itself."
    return [Table("Overloads that the fuses leave to others", columns, rows, note, wide=True)]


def chain_tables(result: ProtectionResult) -> list[Table]:
    """The order in which fuse, contactor and cable give way."""
    rows = tuple(
        row(
            chain.contactor,
            f"{value(chain.clearing_a2s, 'A²s', 3)} ({chain.fuse})",
            value(chain.contactor_a2s, "A²s", 3),
            f"{value(chain.cable_a2s, 'A²s', 3)} ({chain.cable})",
        )
        for chain in result.chains
    )
    if not rows:
        return []
    columns = ("Contactor", "The fuse clears with", "It withstands", "The cable bears")
    note = "From left to right each should be larger: should the fuse fail, the contactor gives way before the cable."
    return [Table("Order of I²t along a fuse's way", columns, rows, note)]


def _overload(band: OverloadBand, design: Design) -> Row:
    load = f"{value(band.load_a, 'A', 3)} ({band.load_case})" if band.load_a > LEAST_A else "none"
    slow, unclear = value(band.slow_below_a, "A", 3), value(band.uncleared_below_a, "A", 3)
    if band.to_a <= band.load_a:
        return row(band.fuse, load, slow, unclear, "nobody: there is no gap", "")
    fuse = design.high_voltage.parts[band.fuse]
    named = tuple(getattr(fuse, "overload_by", ())) or band.opening
    opening = [part for part in named if part in band.members]
    trip = getattr(fuse, "overload_trip", None)
    when = "by itself" if named and not opening else NOT_KNOWN
    if opening and trip is not None:
        when = f"above {trip.current.text} within {trip.time.text}"
        when += f"; {value(band.open_before_s, 's', 2)} at the latest" if math.isfinite(band.open_before_s) else ""
    kinds = {part: design.high_voltage.parts[part].kind for part in named}
    idle = {part: "does not part it" if kinds[part] == "contactor" else "limits itself" for part in named}
    words = [f"{part} {'opens' if part in opening else idle[part]}" for part in named]
    return row(band.fuse, load, slow, unclear, ", ".join(words) or "nobody", when)


def charger_tables(result: FaultsResult) -> list[Table]:
    """What each charger adds to a fault at most, and where it feeds one alone."""
    rows = []
    for name in dict.fromkeys(source.charger for source in result.from_chargers):
        own = [source for source in result.from_chargers if source.charger == name]
        most = max(own, key=lambda source: source.adds_a)
        packs = result.faults[most.fault].strongest.current_a
        rows.append(
            row("beside the packs", value(most.adds_a, "A", 3), shorted(most.fault),
                f"the packs drive {value(packs, 'A', 3)} there", group=name)
        )  # fmt: skip
        rows += [
            row("alone, main contactors open", value(source.alone_a, "A", 3), shorted(source.fault),
                f"through {', '.join(source.fuses)}" if source.fuses else "through no fuse", group=name)
            for source in own
            # With the contactors open a touch of the other pole's bus is the short circuit across the device there.
            if source.alone_a > 0 and result.faults[source.fault].across
        ]  # fmt: skip
    if not rows:
        return []
    columns = ("Charger", "Drives at most", "Short circuit", "Beside or through what")
    note = "At its largest output as a constant current; its output capacitor is among the capacitors above. Alone it "
    note += "seldom melts a fuse made for the pack: whether it stops by itself its sheet must say."
    return [Table("Chargers as a source of short circuits", columns, tuple(rows), note)]
