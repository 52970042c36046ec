"""Short circuits, fuses and what they let through as tables of text."""

import math

from tristrand.papers.tables import Row, Table, row, value
from tristrand.studies.results import Fault, FaultsResult, LetThrough, ProtectionResult, shorted

# Faster than light runs round the loop: no inductance lies in it.
INSTANT_S = 1e-9


def fault_tables(result: FaultsResult) -> list[Table]:
    """Every fault with its current at both ends of what the packs can drive."""
    if not result.faults:
        return []
    rows = tuple(
        row(
            fault.across or fault.name,
            fault.start if fault.end == fault.name else fault.end,
            value(fault.strongest.current_a, "A", 3),
            value(fault.strongest.rise_s, "s", 2) if fault.strongest.rise_s > INSTANT_S else "at once",
            value(fault.least_a, "A", 3),
            _capacitors(fault),
            group="Across a device" if fault.across else "To the other pole at the pack",
        )
        for fault in result.faults.values()
    )
    note = "All contactors closed, nothing opens. Strongest: pack full, least resistance, conductors at 20 °C. "
    note += "Packs side by side feed each other's faults: through a string's own parts flows what the others give. "
    note += "Each terminal counts in its own pole: plus-side ones to the pack's minus, minus-side ones to its plus. "
    note += "Weakest: pack empty and aged, conductors at their limit. "
    note += "Capacitors, fully charged: each alone, and at once those that meet in a contactor."
    if result.no_inductance:
        note += f" Of unknown inductance, taken as none: {', '.join(name for name, _ in result.no_inductance)}."
    columns = ("Short circuit at", "To", "Strongest", "Time to 63 % of it", "Weakest", "Largest peak from a capacitor")
    return [Table("Short circuits", columns, rows, note, wide=True)]


def _capacitors(fault: Fault) -> str:
    if not fault.capacitors:
        return "none"
    most = max(fault.capacitors, key=lambda c: c.peak_a)
    return f"{value(most.peak_a, 'A', 3)} ({most.device})"


def protection_tables(result: ProtectionResult) -> list[Table]:
    """What each fuse must clear, and the I2t that reaches cables and contactors."""
    if not result.fuses:
        return []
    duties = tuple(
        row(
            name,
            f"{value(duty.largest_a, 'A', 3)} {shorted(duty.largest_at)}",
            f"{value(duty.rise_s, 's', 2)} {shorted(duty.rise_at)}",
            "none" if math.isnan(duty.smallest_a) else f"{value(duty.smallest_a, 'A', 3)} {shorted(duty.smallest_at)}",
        )
        for name, duty in result.fuses.items()
    )
    columns = ("Fuse", "Largest current through it", "Slowest rise to 63 %", "Weakest that it alone has to clear")
    bare = f"Fed past every fuse, or ahead of the first: {', '.join(map(shorted, result.unfused))}. Nothing ends these."
    tables = [Table("What short circuits ask of the fuses", columns, duties, bare if result.unfused else "", wide=True)]
    borne = [_borne(name, found, "Cables") for name, found in result.leads.items()]
    borne += [_borne(name, found, "Main and charge contactors") for name, found in result.contactors.items()]
    borne_columns = ("Part", "I²t let through", "Bears", "By fuse", "In the short circuit", "Found from")
    tables.append(
        Table("I²t until the fuse has cleared, worst of all short circuits", borne_columns, tuple(borne), wide=True)
    )
    return tables


def _borne(name: str, found: LetThrough, group: str) -> Row:
    let = "never cleared" if math.isinf(found.worst_a2s) else value(found.worst_a2s, "A²s", 3)
    where = shorted(found.fault) + (", weak" if found.weakest else "")
    return row(name, let, value(found.limit_a2s, "A²s", 3), found.fuse, where, found.words, group=group)
