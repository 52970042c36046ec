"""Insulation, Y-capacitances, the search for a fault and spacings as tables of text."""

import math
from collections.abc import Iterator

from tristrand.papers.tables import Cell, Row, Table, pairs, row, share_words, value
from tristrand.physics.insulation_budget import UnplugStep
from tristrand.studies.results import InsulationResult, SpacingFigures, SpacingsResult
from tristrand.units import engineering

BETWEEN = {"poles": "both poles", "chassis": "high voltage, chassis", "low_voltage": "high voltage, 12 V circuits"}
NOT_JUDGED = "not judged"


def insulation_remarks(result: InsulationResult, inlet: bool) -> list[str]:
    """What must be known beside the figures; ``inlet``: whether there is one for direct current."""
    remarks = []
    if inlet and result.watches:
        remarks.append(
            "While charging with direct current the station's own monitor hangs on the same bus; two monitors at once "
            "disturb each other, so one of them must be switched off (from memory)."
        )
    if result.watches:
        remarks.append(f"With the main contactors open the monitor watches {result.watches}; closed, all of it.")
    if result.joined:
        names = " and ".join(result.joined)
        remarks.append(f"Joined to the bus on the alternating side, or not said: {names}. So 500 Ω/V counts.")
    return remarks


def insulation_tables(result: InsulationResult) -> list[Table]:
    """Parts, legs, single faults, Y-capacitances and the search."""
    return [*_budget(result), *_faults(result), *_energies(result), *_search(result)]


def _budget(result: InsulationResult) -> Iterator[Table]:
    legs = result.legs
    if legs is None:
        return
    rows = [
        row(
            part.name,
            value(part.negative_ohm, "Ω", 3),
            value(part.positive_ohm, "Ω", 3),
            f"{share_words(max(minus, plus))}",
            value(part.negative_f, "F", 3) if part.negative_f else "none",
            value(part.positive_f, "F", 3) if part.positive_f else "none",
        )
        for part, minus, plus in zip(result.parts, legs.negative_shares, legs.positive_shares, strict=True)
    ]
    rows.append(
        row(
            "whole bus",
            value(legs.negative_ohm, "Ω", 4),
            value(legs.positive_ohm, "Ω", 4),
            "",
            value(legs.negative_f, "F", 3),
            value(legs.positive_f, "F", 3),
            group="Together",
        )
    )
    columns = ("Part", "Minus pole", "Plus pole", "Share of the leak", "Capacitance, minus", "Capacitance, plus")
    note = "To the chassis: every part at its least resistance and its most capacitance. The monitor counts with its "
    note += "own resistance, half of the leak at each pole."
    yield Table("Insulation and Y-capacitance, part by part", columns, tuple(rows), note, wide=True)
    person = engineering(1.0 / result.ohm_per_volt, "A", 3)
    figures = [
        (
            "Weaker leg",
            value(legs.weaker_ohm, "Ω"),
            f"{legs.weaker_leg} pole; what a person who touches the other pole has in series",
        ),
        (
            "By the highest pack voltage",
            f"{value(result.ohm_per_volt, 'Ω/V')}",
            f"at {value(result.highest_v, 'V')}; {person} at most through a person",
        ),
        ("Least that is asked", value(result.least_ohm, "Ω"), "by UN Regulation No. 100 at that voltage"),
        (
            "Monitor reads",
            value(result.shows_ohm, "Ω"),
            "both legs in parallel; it is taken to know its own resistance (common practice)",
        ),
    ]
    yield pairs("The bus against the chassis", figures)


def _faults(result: InsulationResult) -> Iterator[Table]:
    if not result.faults or not result.watches:
        return
    rows = tuple(
        row(
            fault.name,
            Cell(value(fault.one_leg_ohm, "Ω", 3), _tripped(fault.trips_one_leg)),
            Cell(value(fault.both_legs_ohm, "Ω", 3), _tripped(fault.trips_both_legs)),
            "never" if math.isinf(fault.trips_below_ohm) else value(fault.trips_below_ohm, "Ω", 3),
        )
        for fault in result.faults
    )
    least = value(result.least_ohm, "Ω", 3)
    columns = ("Part that fails", f"One pole falls to {least}", "Both poles fall to it", "Trips when one pole is below")
    note = (
        "What the monitor reads, all other parts at their least. Low end of its trip level. A dead short of a pole to "
    )
    note += "the chassis reads zero and always trips."
    yield Table("What the monitor makes of a single fault", columns, rows, note)


def _tripped(trips: bool) -> str:
    return "trips" if trips else "does not trip"


def _energies(result: InsulationResult) -> Iterator[Table]:
    y = result.y
    if y is None:
        return
    yield pairs(
        "Energy between the poles and the chassis",
        [
            ("Capacitance of both poles", value(y.total_f, "F", 3), "what the monitor has to measure across"),
            ("Larger pole", engineering(y.leg_j, "J", 3), "charged to the highest pack voltage"),
            ("Larger pole, above 60 V", engineering(y.leg_above_limit_j, "J", 3), "as the crash regulations count it"),
            ("Touch, sound bus", engineering(y.touch_j, "J", 3), "what a person takes from one pole"),
            (
                "Touch, other pole at the chassis",
                engineering(y.touch_fault_j, "J", 3),
                "both poles at the full voltage",
            ),
            ("Settling time", value(y.settling_s, "s", 3), "wait before a hand reading counts, one meter of 10 MΩ"),
        ],
    )


def _search(result: InsulationResult) -> Iterator[Table]:
    plan = result.unplug
    if plan is None or not isinstance(plan.first, UnplugStep):
        return
    steps = _numbered(plan.first)
    numbers = {id(step): n for n, step in enumerate(steps, 1)}

    def then(to: UnplugStep | str) -> str:
        return f"it is {to}" if isinstance(to, str) else f"go to step {numbers[id(to)]}"

    rows = tuple(
        row(
            f"Step {n}",
            " and ".join(step.unplug),
            Cell(then(step.if_gone)),
            Cell(then(step.if_stays)),
            ", ".join(step.suspected),
        )
        for n, step in enumerate(steps, 1)
    )
    columns = ("Step", "Unplugged now, all else plugged in", "Fault gone", "Fault still there", "Suspected")
    note = f"On average {plan.expected_steps:.2g} readings, at most {plan.most_steps}: "
    note += "the fewest on average, likely faults weighing most. "
    note += "Before every plug: switch off, pull the service disconnect, wait, and measure that the bus is dead. One "
    note += "fault at a time: where a reading only gets better, there are two."
    yield Table("Search for an insulation fault", columns, rows, note, wide=True)
    *devices, rest = result.groups
    groups = [row(g.name, ", ".join(g.members) or "nothing but the device", str(g.weight)) for g in devices]
    groups.append(row(rest.name, "all the rest, which stays", str(rest.weight)))
    note = (
        "Parted where the branch leaves the bus, both poles. A plug at the device itself leaves its leads on the bus."
    )
    yield Table("What each plug takes off the bus", ("Group", "With it go", "Likelihood"), tuple(groups), note)


def _numbered(first: UnplugStep) -> list[UnplugStep]:
    """The steps from the top, those after "still there" last: as one reads on."""
    steps: list[UnplugStep] = []
    waiting: list[UnplugStep | str] = [first]
    while waiting:
        step = waiting.pop(0)
        if isinstance(step, UnplugStep):
            steps.append(step)
            waiting += [step.if_gone, step.if_stays]
    return steps


def spacing_tables(result: SpacingsResult, student: bool) -> list[Table]:
    """Every spacing: what it has, what it needs; ``student``: whether the student rules are in force."""
    if not result.spacings:
        return []
    columns = ("Spacing", "Along the surface", "Needed", "Through air", "Needed")
    note = "Needed creepage is interpolated between the printed rows, as the standard allows; the small words give the "
    note += "next row. Highest pack voltage as working voltage and as system voltage."
    if result.altitude_factor > 1.0:
        note += f" Clearances times {result.altitude_factor:.3g} for the altitude."
    rows = tuple(_spacing(one, student) for one in result.spacings.values())
    return [
        Table(
            "Creepage and clearance", (*columns, "By the student rules")[: 6 if student else 5], rows, note, wide=True
        )
    ]


def _spacing(one: SpacingFigures, student: bool) -> Row:
    which = "reinforced" if one.reinforced else "basic"
    needed = Cell(NOT_JUDGED)
    if not math.isnan(one.creepage_mm):
        words = f"next row {value(one.stepped_mm, 'mm', 3)}; {one.creepage_words}"
        needed = Cell(value(one.creepage_mm, "mm", 3), words)
    air = Cell(NOT_JUDGED)
    if not math.isnan(one.clearance_mm):
        air = Cell(value(one.clearance_mm, "mm", 3), f"impulses of {value(one.impulse_v / 1e3, 'kV', 3)}")
    has, gap = value(one.has_creepage_mm, "mm", 3), value(one.has_clearance_mm, "mm", 3)
    cells = (has, needed, gap, air, _student(one))
    words = f"{BETWEEN[one.between]}; {one.kind}, {which} insulation"
    return row(one.name, *cells[: 5 if student else 4], small=words)


def _student(one: SpacingFigures) -> str:
    if one.between != "low_voltage":
        return "none"
    if math.isnan(one.fsae_mm):
        return NOT_JUDGED
    return "barrier" if math.isinf(one.fsae_has_mm) else value(one.fsae_mm, "mm", 3)
