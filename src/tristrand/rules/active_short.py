"""HV294 and HV296: an inverter that shorts its machine when the contactors open."""

from collections.abc import Iterable
from typing import Any

from tristrand.rules.generation import KMH, LINE, NEEDS, for_machines
from tristrand.rules.rule import Context, NotApplicable, Outcome, rule
from tristrand.rules.view import PARTS, counted, sheet_pointer
from tristrand.studies.results import ActiveShort, MachineFigures, Missing

SHORTED = "CLOSED-FORM#steady dq equations of a permanent-magnet machine with zero voltage"
UNDAMPED = "CLOSED-FORM#undamped swing after shorting a machine without current"
# For examples: the starter with an inverter that shorts its machine from the bus, and what that takes.
WITH_SHORT: tuple[tuple[str, str, str], ...] = (
    ("parts/inverter-60.yaml", "when_contactors_open", "active_short"),
    ("parts/inverter-60.yaml", "active_short_needs_12_v", "false"),
    ("parts/inverter-60.yaml", "active_short_least_bus", "40 V"),
    ("parts/inverter-60.yaml", "short_circuit_current", "{peak: 600 A, continuous: 280 A}"),
    ("parts/machine-60.yaml", "d_inductance", "0.22 mH"),
    ("parts/machine-60.yaml", "q_inductance", "0.40 mH"),
    ("parts/machine-60.yaml", "phase_resistance", "14 mΩ"),
    ("parts/machine-60.yaml", "demagnetising_current", "500 A"),
    ("parts/machine-60.yaml", "short_circuit_time", "60 s"),
)


def _reaction(ctx: Context, figures: MachineFigures) -> Outcome | None:
    """What to say where the inverter leaves its machine alone, or where that is not known."""
    sheet = ctx.design.sheet_of(figures.inverter)
    if sheet.when_contactors_open is None:
        pointer = sheet_pointer(ctx, figures.inverter, "when_contactors_open")
        return ctx.open([Missing(pointer, f"what {figures.inverter} does when the contactors open")])
    if sheet.when_contactors_open == "gates_off":
        return NotApplicable(f"{figures.inverter} leaves its machine alone when the contactors open")
    return None


@rule(
    "HV294",
    "active-short-current",
    "error",
    needs=NEEDS,
    checks=(
        "An inverter that shorts its machine carries the first swing and the steady current of the short at any speed, "
        "the magnets survive the swing, and the winding bears it until the brakes have stopped the car."
    ),
    why=(
        "The short keeps the machine's voltage off the bus only as long as the switches that make it hold: one that "
        "fails in it leaves the bus to the machine."
    ),
    sources=(SHORTED, UNDAMPED, "DATASHEET#short-circuit current of the inverter", "DATASHEET#demagnetising current"),
    failing=(*WITH_SHORT, ("parts/inverter-60.yaml", "short_circuit_current", "{peak: 600 A, continuous: 150 A}")),
    passing=WITH_SHORT,
    waivable=False,
)
@for_machines("emf", "spin", "road")
def active_short_current(ctx: Context, figures: MachineFigures) -> Iterable[Outcome]:
    """Cold magnets; the swing from no current and undamped, by a load before the short it may be larger."""
    said = _reaction(ctx, figures)
    if said is not None:
        yield said
        return
    short = figures.short
    if short is None:
        yield ctx.open([gap for need, gap in figures.gaps if need == "short"])
        return
    yield from _inverter_carries(ctx, figures, short)
    yield _magnets_survive(ctx, figures, short)
    yield _winding_bears(ctx, figures)


def _inverter_carries(ctx: Context, figures: MachineFigures, short: ActiveShort) -> Iterable[Outcome]:
    sheet = ctx.design.sheet_of(figures.inverter)
    pointer = sheet_pointer(ctx, figures.inverter, "short_circuit_current")
    carries = sheet.short_circuit_current
    if carries is None:
        yield ctx.open([Missing(pointer, f"short-circuit current that {figures.inverter} carries")])
        return
    for what, amps, most in (
        ("steady peak current of the active short", short.steady_a, carries.continuous),
        ("first swing of the active short", short.swing_a, carries.peak),
    ):
        yield ctx.compare(
            f"{PARTS}/{figures.inverter}",
            what,
            amps * figures.machines,
            "A",
            "<=",
            most.low,
            "DATASHEET#short-circuit current of the inverter",
            basis=most.basis,
            subject=figures.inverter,
            bad=f"cannot carry the {what} of its machine",
            good=f"carries the {what}",
            related=((pointer, "what it carries"), (f"parts/{figures.machine}/d_inductance", "what limits it")),
            note=f"{figures.machines} machines together" if figures.machines > 1 else "",
        )


def _magnets_survive(ctx: Context, figures: MachineFigures, short: ActiveShort) -> Outcome:
    most = ctx.design.sheets[figures.machine].demagnetising_current
    pointer = f"parts/{figures.machine}/demagnetising_current"
    if most is None:
        return ctx.open([Missing(pointer, f"current that the magnets of the machine of {figures.inverter} survive")])
    return ctx.compare(
        f"{PARTS}/{figures.inverter}",
        "first swing against the magnets",
        short.against_a,
        "A",
        "<=",
        most.low,
        "DATASHEET#demagnetising current",
        basis=most.basis,
        subject=f"the machine of {figures.inverter}",
        bad="loses magnet strength in the first swing of the active short",
        good="keeps its magnets in the first swing of the active short",
        related=((pointer, "what they survive"),),
    )


def _winding_bears(ctx: Context, figures: MachineFigures) -> Outcome:
    bears = ctx.design.sheets[figures.machine].short_circuit_time
    braking = ctx.design.vehicle.drive_line.braking_time
    pointer = f"parts/{figures.machine}/short_circuit_time"
    if bears is None or braking is None:
        gaps = (
            [] if bears else [Missing(pointer, f"how long the machine of {figures.inverter} bears its short circuit")]
        )
        gaps += [] if braking else [Missing(f"{LINE}/braking_time", "time from the fastest speed to rest")]
        return ctx.open(gaps)
    return ctx.compare(
        f"{PARTS}/{figures.inverter}",
        "duration of the active short with the brakes on hard",
        braking.high,
        "s",
        "<=",
        bears.low,
        "DATASHEET#short-circuit time of the winding",
        basis=bears.basis,
        subject=f"the machine of {figures.inverter}",
        bad="gets too hot in the active short before the brakes have stopped the car",
        good="bears the active short until the brakes have stopped the car",
        related=((pointer, "how long it bears it"),),
        note="rolling on without brakes it lasts longer",
    )


@rule(
    "HV296",
    "active-short-brakes",
    "error",
    needs=NEEDS,
    limit="free_wheels",
    checks="Where a rule set asks for motors that turn free once the system is off, no inverter shorts its machine.",
    why="A shorted machine brakes the driven wheels, hardest at a low speed, without the driver having asked for it.",
    sources=("FSAE-2026#EV.7.2.2", SHORTED),
    failing=(("vehicle.yaml", "rule_sets", "[fsae-2026]"), *WITH_SHORT),
    passing=(("vehicle.yaml", "rule_sets", "[fsae-2026]"),),
)
@for_machines("emf")
def active_short_brakes(ctx: Context, figures: MachineFigures) -> Iterable[Outcome]:
    """The inverter's reaction to open contactors as its sheet states it."""
    limit = ctx.limit()
    sheet: Any = ctx.design.sheet_of(figures.inverter)
    said = _reaction(ctx, figures)
    if said is not None and not isinstance(said, NotApplicable):
        yield said
        return
    free = 0 if sheet.when_contactors_open == "active_short" else 1
    words = f"{figures.inverter} leaves its machine free to turn when the contactors open"
    if not free:
        words = f"{figures.inverter} shorts its machine when the contactors open, which brakes the wheels"
        if figures.short is not None:
            short = figures.short
            words += f" with up to {short.torque_nm:.0f} Nm at {short.hardest_m_per_s * KMH:.0f} km/h"
    evidence = counted("machines left free to turn", free, ">=", 1, limit.source)
    pointer = sheet_pointer(ctx, figures.inverter, "when_contactors_open")
    yield ctx.finding(
        "pass" if free else "fail", f"{PARTS}/{figures.inverter}", words, evidence, related=((pointer, "what it does"),)
    )
