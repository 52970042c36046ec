"""HV222 to HV224, HV229 and HV230: interlock and shutdown loops, what they open and what they watch."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from typing import TYPE_CHECKING

from tristrand.findings import Edit, WayOut
from tristrand.physics.discharge import TOUCH_LIMIT_V
from tristrand.rules.rule import Context, NotApplicable, Outcome, rule
from tristrand.rules.view import HV_FILE, PARTS, counted
from tristrand.studies.results import LoopFigures, LoopsResult, Missing

if TYPE_CHECKING:
    from tristrand.design.loops import Loop

NEEDS = ("pack", "discharge", "loops")
LOOPS = "high_voltage/loops"
OPENABLE = "high_voltage/openable"
INTERLOCKS = ("connector", "cover", "service_disconnect", "motor_cable", "interlock")
SIZES_MM2 = (0.5, 0.75, 1.0, 1.5, 2.5, 4.0)
DEVICES = ("inverter", "dcdc", "heater", "charger")


def result_of(ctx: Context) -> LoopsResult:
    """The study's result."""
    result: LoopsResult = ctx.results["loops"]
    return result


def loops_of(ctx: Context, *kinds: str) -> dict[str, Loop]:
    """Loops of some kinds, by id."""
    return {key: loop for key, loop in ctx.design.high_voltage.loops.items() if loop.kind in kinds}


def no_loops(ctx: Context, what: str) -> Outcome:
    """What to say where no such loop is given: it is missing, not needless."""
    return ctx.open([Missing(LOOPS, what)])


@rule(
    "HV222",
    "loop-voltage-left",
    "warning",
    needs=NEEDS,
    checks=(
        "At the least supply voltage every loop leaves its coils, relay or input the voltage that they need; the load "
        "of one that feeds coils itself is no lighter than these are."
    ),
    why="A contactor whose loop loses too much voltage drops out on a rough road, under load, and burns its contacts.",
    sources=("CLOSED-FORM#voltages round a loop", "DATASHEET#least voltage of the coil", "DATASHEET#coil resistance"),
    failing=((HV_FILE, "loops/shutdown/wire", "{length: 30 m, cross_section: 0.5 mm²}"),
             (HV_FILE, "loops/shutdown/supply/minimum", "10 V")),
)  # fmt: skip
def loop_voltage_left(ctx: Context) -> Iterable[Outcome]:
    """Hottest wire, coldest coils, every contact at the high end of its resistance."""
    result = result_of(ctx)
    loops = result.loops
    if not loops:
        yield ctx.open(result.missing) if result.missing else no_loops(ctx, "the loops that open the contactors")
    for name, figures in loops.items():
        if figures.missing:
            yield ctx.open(figures.missing)
            continue
        yield ctx.compare(
            f"{LOOPS}/{name}",
            "voltage left at its end",
            figures.left_v,
            "V",
            ">=",
            figures.needed_v,
            "DATASHEET#least voltage of the coil",
            subject=f"loop {name}",
            bad=f"leaves its end too little voltage: {figures.ohm:.3g} Ω of contacts and wire carry "
            f"{figures.current_a:.3g} A",
            good="leaves its end the voltage it needs",
            related=((f"{LOOPS}/{name}/least_voltage", "what it needs"), (f"{LOOPS}/{name}/supply", "its supply")),
            ways_out=_thicker(ctx, name),
        )
        if not math.isnan(figures.coils_ohm + figures.load_ohm):
            yield _load(ctx, name, figures)


def _load(ctx: Context, name: str, figures: LoopFigures) -> Outcome:
    """The load counted with, low end, against the coils' own resistance side by side as their sheets print it."""
    text = f"{math.floor(100 * figures.coils_ohm) / 100:g} Ω"
    return ctx.compare(
        f"{LOOPS}/{name}",
        "resistance of its load",
        figures.load_ohm,
        "Ω",
        "<=",
        figures.coils_ohm,
        "DATASHEET#coil resistance",
        subject=f"loop {name}",
        bad=f"is counted with too light a load: by their sheets its coils together have {text}, so that more current "
        "flows and less voltage is left",
        good="is counted with no lighter a load than its coils",
        ways_out=lambda: [WayOut(f"count with the coils' own {text}", (Edit(HV_FILE, f"loops/{name}/load", text),))],
    )


def _thicker(ctx: Context, name: str) -> Callable[[], Iterable[WayOut]]:
    """Ways out for a loop that loses too much: its wire in the next sizes."""

    def ways() -> Iterator[WayOut]:
        wire = ctx.design.high_voltage.loops[name].wire
        own = wire.cross_section.to("mm²") if wire is not None and wire.cross_section is not None else math.inf
        for size in SIZES_MM2:
            if size > own:
                edit = Edit(HV_FILE, f"loops/{name}/wire/cross_section", f"{size:g} mm²")
                yield WayOut(f"{size:g} mm² leaves the end of {name} what it needs", (edit,))

    return ways


@rule(
    "HV223",
    "loop-opens-every-pole",
    "error",
    needs=NEEDS,
    checks=(
        "Every interlock and shutdown loop opens all that joins a pack to the devices, a charging loop what joins it "
        "to chargers and inlets: both poles, and the way through the precharge resistor."
    ),
    why="What a loop does not open stays live behind it, and whoever pressed the button believes the car is dead.",
    sources=("FSAE-2026#EV.5.4.3", "PRACTICE#a loop opens every way from the pack"),
    failing=((HV_FILE, "loops/shutdown/opens", "[k_minus]"),),
    waivable=False,
)
def loop_opens_every_pole(ctx: Context) -> Iterable[Outcome]:
    """All other contactors taken as closed: the loop must not rest on the supervisor to open them."""
    result = result_of(ctx)
    if not loops_of(ctx, "interlock", "shutdown"):
        yield no_loops(ctx, "an interlock or shutdown loop that opens the contactors")
    ports = ctx.design.parts_of("charger") or ctx.design.parts_of("inlet")
    for name, loop in ctx.design.high_voltage.loops.items():
        reached = "a charger or inlet" if loop.kind == "charging" and ports else "the devices"
        figures = result.loops.get(name)
        if figures is None or math.isnan(figures.open_device_v):
            yield ctx.open(result.missing)
            continue
        live, poles = figures.open_device_v > TOUCH_LIMIT_V, ", ".join(figures.open_poles)
        source = "PRACTICE#a loop opens every way from the pack"
        words = f"loop {name} opens every way from a pack to {reached}"
        if poles:
            words = f"loop {name} opens {', '.join(figures.opens) or 'nothing'}; {poles} still reaches {reached}"
            words += f", with {figures.open_device_v:.0f} V at {figures.open_device}" if live else ""
        count = counted("pack terminals that still reach a device", len(figures.open_poles), "<=", 0, source)
        yield ctx.finding(
            "fail" if poles else "pass",
            f"{LOOPS}/{name}",
            words,
            count,
            related=((f"{LOOPS}/{name}/opens", "opens"),),
            ways_out=opening_all(ctx, name),
        )


def opening_all(ctx: Context, name: str) -> Callable[[], Iterable[WayOut]]:
    """The way out for a loop that opens too little: every contactor that rests open."""

    def ways() -> Iterator[WayOut]:
        own = ctx.design.high_voltage.loops[name].opens
        contactors = ctx.design.parts_of("contactor").items()
        more = [key for key, part in contactors if part.role in ("main", "precharge", "charge") and key not in own]
        if more:
            edit = Edit(HV_FILE, f"loops/{name}/opens", f"[{', '.join([*own, *more])}]")
            yield WayOut(f"let {name} drop {', '.join(more)} too", (edit,))

    return ways


@rule(
    "HV224",
    "emergency-stop",
    "warning",
    limit="emergency_stop",
    checks="A shutdown loop with a button opens the contactors.",
    why="When something smokes, nobody looks for the disconnect under the floor.",
    sources=("PRACTICE#emergency stop",),
    failing=((HV_FILE, "loops/shutdown/elements/stop_button/kind", "fuse"),),
)
def emergency_stop(ctx: Context) -> Iterable[Outcome]:
    """Race rules ask for more: see the rules on the members of the shutdown loop."""
    limit = ctx.limit()
    if not ctx.design.high_voltage.loops:
        yield no_loops(ctx, "a shutdown loop")
        return
    found = [k for k, loop in loops_of(ctx, "shutdown").items() if count_of(loop, "button")]
    evidence = counted("shutdown loops with a button", len(found), ">=", 1, limit.source)
    words = f"loop {found[0]} has an emergency stop" if found else "no shutdown loop has a button that opens it"
    yield ctx.finding("pass" if found else "fail", f"{LOOPS}/{found[0]}" if found else LOOPS, words, evidence)


def count_of(loop: Loop, *kinds: str) -> int:
    """How many elements of some kinds a loop has."""
    return sum(element.kind in kinds for element in loop.elements.values())


def _watchers(ctx: Context, name: str, *kinds: str) -> list[str]:
    """Elements that watch an openable, in loops of the kinds that open the contactors."""
    return [
        f"{element_id} of {loop_id}"
        for loop_id, loop in loops_of(ctx, "interlock", "shutdown").items()
        for element_id, element in loop.elements.items()
        if name in element.watches and (not kinds or element.kind in kinds)
    ]


@rule(
    "HV229",
    "service-disconnect-watched",
    "error",
    limit="disconnect_interlock",
    checks="Pulling a service disconnect opens a loop and with it the contactors.",
    why="Pulled under load without it, the disconnect draws an arc of hundreds of volts in somebody's hand.",
    sources=("FSAE-2026#EV.5.5.3", "FSAE-2026#EV.7.8.1", "PRACTICE#interlock of the service disconnect"),
    failing=((HV_FILE, "loops/shutdown/elements/lock_disconnect/watches", "[]"),),
    waivable=False,
)
def service_disconnect_watched(ctx: Context) -> Iterable[Outcome]:
    """A disconnect stands under openable, and an element of an interlock or shutdown loop watches it."""
    limit, hv = ctx.limit(), ctx.design.high_voltage
    disconnects = ctx.design.parts_of("service_disconnect")
    if not disconnects:
        yield NotApplicable("the design has no service disconnect; another rule asks for one")
    for name in disconnects:
        handles = [key for key, item in hv.openable.items() if item.kind == "disconnect" and name in item.opens]
        if not handles:
            yield ctx.open([Missing(OPENABLE, f"{name} as a disconnect that can be pulled")])
            continue
        watchers = [words for key in handles for words in _watchers(ctx, key)]
        evidence = counted("loop elements that watch it", len(watchers), ">=", 1, limit.source)
        words = f"{name} is watched by {watchers[0]}" if watchers else f"no interlock or shutdown loop watches {name}"
        place = f"{PARTS}/{name}"
        related = ((f"{OPENABLE}/{handles[0]}", "how it is pulled"),)
        yield ctx.finding("pass" if watchers else "fail", place, words, evidence, related=related)


@rule(
    "HV230",
    "openable-watched",
    "error",
    limit="openable_interlock",
    checks=(
        "Every connector and cover that can be opened is watched by a loop or named with a reason; every device says "
        "how it is connected. Race rules take no reason for connectors outside a housing and cables of upright motors."
    ),
    why="A plug that nobody thought of is the one pulled with the car live, and its pins arc and bite.",
    sources=(
        "FSAE-2026#EV.5.9",
        "FSAE-2026#EV.7.8.1",
        "FSAE-2026#EV.4.1.3",
        "PRACTICE#interlock of what a hand can open",
    ),
    failing=((HV_FILE, "loops/shutdown/elements/lock_drive/watches", "[]"),),
)
def openable_watched(ctx: Context) -> Iterable[Outcome]:
    """A device none of whose connections is named under openable leaves the rule open: plug, or lugs behind a cover?"""
    limit, hv = ctx.limit(), ctx.design.high_voltage
    named = {one for item in hv.openable.values() for one in item.opens}
    gaps = []
    for part_id, part in hv.parts.items():
        if part.kind in DEVICES and part_id not in named:
            leads = {k for k, lead in hv.connections.items() if part_id in (_part(lead.from_), _part(lead.to))}
            if leads and not leads & named:
                gaps.append(Missing(OPENABLE, f"how {part_id} is connected: by a connector, or by lugs behind a cover"))
    if gaps:
        yield ctx.open(gaps)
    race = ctx.limit_if_set("shutdown_members") is not None
    # A service disconnect has a rule of its own.
    disconnects = set(ctx.design.parts_of("service_disconnect"))
    for name, item in hv.openable.items():
        if item.kind != "disconnect" or not disconnects & set(item.opens):
            reason = item.unwatched_because.strip()
            asked = item.kind == "motor_cable" or (item.kind == "connector" and item.outside_housing)
            taken = not (race and asked)
            yield _one_watched(ctx, name, reason, taken, limit.source)


def _one_watched(ctx: Context, name: str, reason: str, taken: bool, source: str) -> Outcome:
    """One openable: watched, or with a reason that is taken."""
    place, watchers = f"{OPENABLE}/{name}", _watchers(ctx, name)
    if watchers:
        evidence = counted("loop elements that watch it", len(watchers), ">=", 1, source)
        return ctx.finding("pass", place, f"{name} is watched by {watchers[0]}", evidence)
    words = f"no loop watches {name}: {reason}" if reason else f"no loop watches {name}, and no reason is given"
    if reason and taken:
        return ctx.finding("pass", place, words)
    words += "" if taken else " (it needs an interlock)"
    return ctx.finding("fail", place, words, counted("loop elements that watch it", 0, ">=", 1, source))


def _part(terminal: str) -> str:
    return terminal.partition(".")[0]
