"""HV225 to HV228 and HV239: what race rules ask of the shutdown and charging loops, member by member."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

from tristrand.rules.loops import INTERLOCKS, LOOPS, count_of, loops_of, no_loops
from tristrand.rules.rule import Context, NotApplicable, Outcome, rule
from tristrand.rules.view import HV_FILE, counted
from tristrand.studies.results import Missing

if TYPE_CHECKING:
    from tristrand.design.loops import Loop

# For examples: the starter's loop as a race car has it.
RACE = ("vehicle.yaml", "rule_sets", "[fsae-2026]")
RACE_ELEMENTS = (
    "{monitor: {kind: battery_monitor, resistance: 0.1 Ω}, insulation: {kind: insulation_monitor, resistance: 0.1 Ω}, "
    "brakes: {kind: brake_plausibility, resistance: 0.1 Ω}, main_switch: {kind: low_voltage_master_switch, "
    "resistance: 10 mΩ}, left: {kind: button, resistance: 50 mΩ}, right: {kind: button, resistance: 50 mΩ}, "
    "cockpit: {kind: button, resistance: 50 mΩ}, pedal: {kind: brake_over_travel, resistance: 50 mΩ}, "
    "crash_switch: {kind: inertia_switch, resistance: 50 mΩ}, hv_switch: {kind: high_voltage_master_switch, "
    "resistance: 10 mΩ}, lock_disconnect: {kind: service_disconnect, resistance: 20 mΩ, watches: [handle], "
    "run: harness}, lock_drive: {kind: connector, resistance: 20 mΩ, watches: [plug_drive], run: housing, "
    "run_length: 60 mm}, lock_dcdc: {kind: connector, resistance: 20 mΩ, watches: [plug_dcdc], run: connector}}"
)
RACE_LOOP = (RACE, (HV_FILE, "loops/shutdown/elements", RACE_ELEMENTS))
CHARGING = (
    "{kind: charging, supply: {minimum: 11 V, maximum: 15 V}, load: 24 Ω, least_voltage: 9 V, wire: {resistance: "
    "0.3 Ω}, opens: [k_plus, k_minus, k_pre], by: relay, elements: {stop: {kind: button, resistance: 50 mΩ}, "
    "monitor: {kind: battery_monitor, resistance: 0.1 Ω}, insulation: {kind: insulation_monitor, resistance: 0.1 Ω}}}"
)
SHUTDOWN_MEMBERS = {
    "battery_monitor": "the battery monitor", "insulation_monitor": "the insulation monitor",
    "brake_plausibility": "the brake plausibility device", "low_voltage_master_switch": "the 12 V master switch",
    "high_voltage_master_switch": "the high-voltage master switch", "button": "the shutdown buttons",
    "brake_over_travel": "the brake over-travel switch", "inertia_switch": "the inertia switch",
}  # fmt: skip


@rule(
    "HV225",
    "shutdown-members",
    "error",
    limit="shutdown_members",
    checks=(
        "One shutdown loop holds all of its members in series: battery monitor, insulation monitor, brake plausibility "
        "device, interlocks, both master switches, three shutdown buttons, brake over-travel switch, inertia switch. "
        "It carries the coil current itself, and its interlocks are contacts, not relays."
    ),
    why="Each member stands for one way in which people were hurt; one left out is found when it is needed.",
    sources=(
        "FSAE-2026#EV.7.1.1",
        "FSAE-2026#EV.7.1.2",
        "FSAE-2026#EV.7.1.5",
        "FSAE-2026#EV.7.10.1",
        "FSAE-2026#T.9.4.1",
    ),
    failing=(RACE,),
    passing=RACE_LOOP,
)
def shutdown_members(ctx: Context) -> Iterable[Outcome]:
    """The shutdown loop that holds most of them is judged; three buttons count as one member."""
    limit, loops = ctx.limit(), loops_of(ctx, "shutdown")
    if not loops:
        yield no_loops(ctx, "a shutdown loop")
        return
    lacks = {name: list(_lacking(ctx, loop)) for name, loop in loops.items()}
    name = min(lacks, key=lambda key: len(lacks[key]))
    evidence = counted("members that it lacks", len(lacks[name]), "<=", 0, limit.source)
    words = f"loop {name} holds every member of a shutdown circuit"
    if lacks[name]:
        words = f"loop {name} lacks {', '.join(lacks[name])}"
    yield _carries(ctx, name, loops[name])
    yield ctx.finding("fail" if lacks[name] else "pass", f"{LOOPS}/{name}", words, evidence)


def _carries(ctx: Context, name: str, loop: Loop) -> Outcome:
    """Whether the coil current flows through the loop, and through every interlock itself."""
    relays = [key for key, element in loop.elements.items() if element.kind in ("interlock", "relay")]
    wrong = [f"it opens the contactors by {loop.by.replace('_', ' ')}"] if loop.by != "coil_current" else []
    wrong += [f"{', '.join(relays)} stands for switches elsewhere"] if relays else []
    words = f"loop {name} carries the coil current through every switch"
    if wrong:
        words = f"the coil current of loop {name} does not flow through every switch: {', and '.join(wrong)}"
    evidence = counted("relays and software between", len(wrong), "<=", 0, "FSAE-2026#EV.7.1.2")
    return ctx.finding("fail" if wrong else "pass", f"{LOOPS}/{name}", words, evidence)


def _lacking(ctx: Context, loop: Loop) -> Iterator[str]:
    buttons = ctx.limit_if_set("shutdown_buttons")
    for kind, words in SHUTDOWN_MEMBERS.items():
        there = count_of(loop, kind)
        if kind == "button" and buttons is not None and 0 < there < buttons.value:
            yield f"{buttons.value - there:.0f} of {buttons.value:.0f} shutdown buttons"
        elif not there:
            yield words
    if not count_of(loop, *INTERLOCKS):
        yield "the interlocks"


@rule(
    "HV226",
    "charging-shutdown-members",
    "error",
    limit="charging_members",
    checks="The charging loop holds stop button, battery monitor and insulation monitor.",
    why="A car that charges unattended has only its monitors to stop the charger.",
    sources=("FSAE-2026#EV.8.3.1",),
    failing=(
        RACE,
        (HV_FILE, "loops/charge_stop", CHARGING.replace("kind: insulation_monitor", "kind: fuse")),
    ),
    passing=(RACE, (HV_FILE, "loops/charge_stop", CHARGING)),
)
def charging_shutdown_members(ctx: Context) -> Iterable[Outcome]:
    """A charger that stays at the wall stands in no design: without a charging loop the rule then does not apply."""
    limit, loops = ctx.limit(), loops_of(ctx, "charging")
    if not loops:
        chargers = ctx.design.parts_of("charger")
        none = NotApplicable("the design has neither a charger nor a charging loop")
        yield no_loops(ctx, f"a charging loop for {', '.join(chargers)}") if chargers else none
    for name, loop in loops.items():
        lacks = [SHUTDOWN_MEMBERS[k] for k in ("battery_monitor", "insulation_monitor") if not count_of(loop, k)]
        lacks += [] if count_of(loop, "button") else ["the stop button"]
        words = f"loop {name} lacks {', '.join(lacks)}" if lacks else f"loop {name} holds its three members"
        evidence = counted("members that it lacks", len(lacks), "<=", 0, limit.source)
        yield ctx.finding("fail" if lacks else "pass", f"{LOOPS}/{name}", words, evidence)


@rule(
    "HV227",
    "master-switch-last",
    "error",
    limit="master_switch_last",
    checks="The high-voltage master switch is the last switch of the shutdown loop but for interlocks.",
    why="A fault behind the switch cannot feed the contactors past it, so that it locks the car off for work.",
    sources=("FSAE-2026#EV.7.9.3",),
    failing=(
        RACE,
        (
            HV_FILE,
            "loops/shutdown/elements",
            RACE_ELEMENTS.replace("crash_switch: {kind: inertia_switch", "x: {kind: fuse").replace(
                "run: connector}}", "run: connector}, crash_switch: {kind: inertia_switch, resistance: 50 mΩ}}"
            ),
        ),
    ),
    passing=RACE_LOOP,
)
def master_switch_last(ctx: Context) -> Iterable[Outcome]:
    """The order of the elements in the file is the order of the current."""
    limit = ctx.limit()
    loops = {k: loop for k, loop in loops_of(ctx, "shutdown").items() if count_of(loop, "high_voltage_master_switch")}
    if not loops:
        yield ctx.open([Missing(f"{LOOPS}", "a high-voltage master switch in a shutdown loop")])
    for name, loop in loops.items():
        kinds = [element.kind for element in loop.elements.values()]
        at = len(kinds) - 1 - kinds[::-1].index("high_voltage_master_switch")
        # A fuse or a diode switches nothing.
        may = (*INTERLOCKS, "fuse", "diode")
        behind = [key for key, kind in list(zip(loop.elements, kinds, strict=True))[at + 1 :] if kind not in may]
        words = f"behind the high-voltage master switch of loop {name} only interlocks follow"
        if behind:
            words = f"{', '.join(behind)} of loop {name} stands behind the high-voltage master switch"
        evidence = counted("elements behind it that are no interlock", len(behind), "<=", 0, limit.source)
        yield ctx.finding("fail" if behind else "pass", f"{LOOPS}/{name}", words, evidence)


@rule(
    "HV228",
    "interlock-in-supply",
    "error",
    limit="interlock_in_supply",
    checks="A loop with interlocks stands on the supply side of the coils, not in their ground.",
    why="A wire in the ground side that rubs through to the body closes the contactors, whatever the loop says.",
    sources=("FSAE-2026#EV.7.8.3",),
    failing=(RACE, (HV_FILE, "loops/shutdown/interrupts", "ground")),
    passing=(RACE,),
)
def interlock_in_supply(ctx: Context) -> Iterable[Outcome]:
    """Every loop that holds an interlock; what it opens is compared by the rule on the poles."""
    limit = ctx.limit()
    loops = {k: loop for k, loop in ctx.design.high_voltage.loops.items() if count_of(loop, *INTERLOCKS)}
    if not loops:
        yield no_loops(ctx, "a loop with interlocks")
    for name, loop in loops.items():
        ground = loop.interrupts == "ground"
        words = f"loop {name} interrupts the {'ground' if ground else 'supply'} side of the coils"
        evidence = counted("interlocks in the ground side", int(ground), "<=", 0, limit.source)
        yield ctx.finding("fail" if ground else "pass", f"{LOOPS}/{name}", words, evidence)


@rule(
    "HV239",
    "interlock-wires-beside-high-voltage",
    "error",
    limit="interlock_run_m",
    checks=(
        "Interlock wires that are not kept apart from high voltage run inside its harness or connector, or in a "
        "housing for less than 75 mm from the connector."
    ),
    why="Only so short a way may 12 V wires lie beside high voltage without their own separation.",
    sources=("FSAE-2026#EV.7.8.4",),
    failing=(
        *RACE_LOOP,
        (HV_FILE, "loops/shutdown/elements/lock_drive/run_length", "90 mm"),
    ),
    passing=RACE_LOOP,
)
def interlock_wires_beside_high_voltage(ctx: Context) -> Iterable[Outcome]:
    """The longest end of the length's tolerance; wires called separated are taken at their word."""
    limit, seen = ctx.limit(), False
    for loop_id, loop in ctx.design.high_voltage.loops.items():
        for name, element in loop.elements.items():
            if element.kind not in INTERLOCKS or element.kind == "interlock":
                continue
            seen, place = True, f"{LOOPS}/{loop_id}/elements/{name}"
            if element.run is None:
                yield ctx.open([Missing(f"{place}/run", f"how the wires of {name} lie to high voltage")])
            elif element.run != "housing":
                yield ctx.finding("pass", place, f"wires of {name}: {element.run.replace('_', ' ')}")
            elif element.run_length is None:
                yield ctx.open([Missing(f"{place}/run_length", f"length of the wires of {name} beside high voltage")])
            else:
                yield ctx.compare(
                    place,
                    "length beside high voltage",
                    element.run_length.high,
                    "m",
                    "<",
                    limit.value,
                    limit.source,
                    subject=f"the wires of {name}",
                    bad="run too far beside high voltage for wires without separation",
                    good="run beside high voltage for a short way only",
                    basis=element.run_length.basis,
                )
    if not seen:
        yield no_loops(ctx, "a loop with interlocks")
