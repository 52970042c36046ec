"""HV0xx: what the circuit must contain, and how it must hang together."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from tristrand.design.terminals import TERMINALS
from tristrand.findings import Edit, WayOut
from tristrand.rules.rule import Context, NotApplicable, Outcome, Verdict, rule
from tristrand.rules.view import HV_FILE, PARTS, circuit_of, counted, fuses_between, path_ids
from tristrand.studies.precharge_plan import contradicted, plan_of
from tristrand.studies.results import Missing
from tristrand.studies.topology import edges, groups, islands, joined


@rule(
    "HV001",
    "island-without-source",
    "error",
    checks="Every part and connection is joined to a pack.",
    why=(
        "A part on an island is not computed at all: its currents, its precharge and its discharge are blank, not safe."
    ),
    sources=("DESIGN#topology",),
    failing=(
        (HV_FILE, "connections/W13/from", "dcdc.plus"),
        (HV_FILE, "connections/W13/to", "fuse_dcdc.b"),
        (HV_FILE, "parts/spare", "{kind: fuse, sheet: fuse-15}"),
        (HV_FILE, "connections/W99", "{from: spare.a, to: spare.b, resistance: 1 mΩ}"),
    ),
)
def island_without_source(ctx: Context) -> Iterable[Outcome]:
    """Groups of the topology that hold no pack terminal."""
    lost = islands(circuit_of(ctx))
    for group in lost:
        first = group[0]
        pointer = f"{PARTS}/{first}" if first in ctx.design.high_voltage.parts else f"high_voltage/connections/{first}"
        evidence = counted("parts and connections on the island", len(group), "<=", 0, "DESIGN#topology")
        yield ctx.finding("fail", pointer, f"{', '.join(group)}: no source feeds this part of the circuit", evidence)
    if not lost:
        yield ctx.finding("pass", PARTS, "every part and connection is joined to a pack")


@rule(
    "HV002",
    "terminal-unconnected",
    "error",
    checks="Every terminal of every part has at least one connection.",
    why="An open terminal is either a wire forgotten in the plan or a live stud without a home in the car.",
    sources=("DESIGN#topology",),
    failing=(
        (HV_FILE, "parts/spare", "{kind: fuse, sheet: fuse-15}"),
        (HV_FILE, "connections/W99", "{from: bus_plus.bar, to: spare.a, resistance: 1 mΩ}"),
    ),
)
def terminal_unconnected(ctx: Context) -> Iterable[Outcome]:
    """Terminals that no connection names."""
    used = {t for lead in ctx.design.high_voltage.connections.values() for t in (lead.from_, lead.to)}
    open_ends = [
        (part_id, pole)
        for part_id, part in ctx.design.high_voltage.parts.items()
        for pole in TERMINALS[part.kind]
        if f"{part_id}.{pole}" not in used
    ]
    for part_id, pole in open_ends:
        yield ctx.finding("fail", f"{PARTS}/{part_id}", f"terminal {part_id}.{pole} has no connection")
    if not open_ends:
        yield ctx.finding("pass", PARTS, "every terminal has a connection")


@rule(
    "HV003",
    "pack-without-fuse",
    "error",
    limit="pack_fuse",
    checks="Every path from a pack's plus terminal to its minus terminal passes a fuse.",
    why="Without a fuse a short anywhere in the circuit is fed with thousands of amperes until something burns open.",
    sources=("FSAE-2026#EV.5.4.1", "FSAE-2026#EV.6.6.1", "FSAE-2026#EV.6.6.3", "PRACTICE#pack fuse"),
    failing=(
        (HV_FILE, "connections/W1/to", "k_plus.a"),
        (HV_FILE, "connections/W2/from", "k_plus.a"),
        (HV_FILE, "connections/W2/to", "main_fuse.a"),
        (HV_FILE, "connections/W5/from", "main_fuse.b"),
        (HV_FILE, "parts/fuse_dcdc/sheet", "fuse-15"),
    ),
    waivable=False,
)
def pack_without_fuse(ctx: Context) -> Iterable[Outcome]:
    """With every fuse out, nothing may join plus and minus of a pack: no bus device, and no other pack in parallel."""
    limit = ctx.limit()
    circuit = circuit_of(ctx)
    fuses = {s.id for s in circuit.series if s.kind == "fuse"}
    for pack in circuit.packs:
        # Packs in parallel feed each other: the others conduct.
        rest = [e for e in edges(circuit) if e.id not in fuses and e.id != pack.id]
        # A precharge resistor limits a fault by itself, so its branch is no bolted path.
        bolted = [e for e in rest if e.kind != "resistor"]
        bare = joined(bolted, pack.plus, pack.minus)
        evidence = counted("fuses in the least protected path", 0 if bare else 1, ">=", 1, limit.source)
        words = (
            f"{pack.id} feeds the bus or another pack on a path without a fuse"
            if bare
            else f"every path from plus to minus of {pack.id} passes a fuse"
        )
        yield ctx.finding("fail" if bare else "pass", f"{PARTS}/{pack.id}", words, evidence)


@rule(
    "HV004",
    "contactor-in-each-pole",
    "error",
    limit="both_poles",
    checks="With all main contactors open, neither pole of a pack reaches a device on the bus.",
    why="A pole that stays connected makes every first insulation fault on the bus a shock from that pole.",
    sources=("FSAE-2026#EV.5.4.1", "FSAE-2026#EV.5.4.2", "FSAE-2026#EV.5.4.3", "PRACTICE#contactor in each pole"),
    failing=(
        (HV_FILE, "connections/W4/to", "bus_minus.bar"),
        (HV_FILE, "connections/W9/from", "bus_minus.bar"),
        (HV_FILE, "connections/W9/to", "k_minus.b"),
        (HV_FILE, "connections/W98", "{from: k_minus.a, to: k_minus.b, resistance: 1 mΩ}"),
    ),
    waivable=False,
)
def contactor_in_each_pole(ctx: Context) -> Iterable[Outcome]:
    """Reachability with every contactor open."""
    limit = ctx.limit()
    circuit = circuit_of(ctx)
    bus = {d.id for d in circuit.devices}
    inside = tuple(e for e in edges(circuit) if e.kind not in ("contactor", "pack") and e.id not in bus)
    ends = {end for d in circuit.devices for end in (d.plus, d.minus)}
    for pack in circuit.packs:
        live = {node for group in groups(inside) if group & ends for node in group}
        bare = [name for name, pole in (("plus", pack.plus), ("minus", pack.minus)) if pole in live or pole in ends]
        evidence = counted("poles that stay on the bus", len(bare), "<=", 0, limit.source)
        if bare:
            message = f"the {' and '.join(bare)} pole of {pack.id} stays on the bus with every contactor open"
        else:
            message = f"open contactors part both poles of {pack.id} from the bus"
        yield ctx.finding("fail" if bare else "pass", f"{PARTS}/{pack.id}", message, evidence)


@rule(
    "HV005",
    "no-service-disconnect",
    "error",
    limit="service_disconnect",
    checks="A service disconnect lies in the circuit of every pack.",
    why="Whoever works on the car needs a break that is seen with the eye and does not depend on a coil.",
    sources=("FSAE-2026#EV.5.5", "FS-FAMILY-2026#EV4.8", "PRACTICE#service disconnect"),
    failing=((HV_FILE, "parts/disconnect", "{kind: fuse, sheet: fuse-160}"),),
    waivable=False,
)
def no_service_disconnect(ctx: Context) -> Iterable[Outcome]:
    """A part of the kind service_disconnect without which a pack feeds neither the bus nor another pack."""
    limit = ctx.limit()
    circuit = circuit_of(ctx)
    breaks = [s.id for s in circuit.series if s.kind == "service_disconnect"]
    for pack in circuit.packs:
        rest = [e for e in edges(circuit) if e.id not in breaks and e.id != pack.id]
        fed = joined(rest, pack.plus, pack.minus)
        evidence = counted(
            "service disconnects in the circuit of the pack", 0 if fed else len(breaks), ">=", 1, limit.source
        )
        words = (
            f"no service disconnect breaks the circuit of {pack.id}"
            if fed
            else f"{', '.join(breaks)} breaks the circuit of {pack.id}"
        )
        yield ctx.finding("fail" if fed else "pass", f"{PARTS}/{pack.id}", words, evidence)


@rule(
    "HV006",
    "no-precharge",
    "error",
    needs=("precharge",),
    checks=(
        "A bus with capacitors has a precharge path across one of its main contactors, and none of these is said to "
        "close so early that the bus is up without it, or so late that it cannot run."
    ),
    why="A contactor that closes onto empty capacitors takes thousands of amperes and welds.",
    sources=("FSAE-2026#EV.5.6.1", "CONTACTOR-NOTE#precharge"),
    failing=(
        (HV_FILE, "connections/W7/to", "k_pre.a"),
        (HV_FILE, "connections/W98", "{from: r_pre.b, to: r_pre.a, resistance: 1 mΩ}"),
    ),
    waivable=False,
)
def no_precharge(ctx: Context) -> Iterable[Outcome]:
    """The path found by the precharge study."""
    circuit = circuit_of(ctx)
    if not any(d.farad.high > 0 for d in circuit.devices):
        yield NotApplicable("the bus has no capacitors")
        return
    result = ctx.results["precharge"]
    pointer = f"{PARTS}/{result.resistor}" if result.resistor else PARTS
    if result.bypassed:
        wrong = list(_contradicted(ctx))
        yield from wrong or (
            ctx.finding(
                "pass",
                pointer,
                f"{result.contactor} and {result.resistor} precharge the bus across {result.bypassed}",
            ),
        )
        said = {v.finding.place.object.split("/")[2] for v in wrong if isinstance(v, Verdict)}
        held = [name for name in result.held_open if name not in said]
        unseen = [f"{name} closes onto a bus that another pack has charged" for name in held]
        unseen += [f"precharge through {name} is not computed: one path is" for name in result.other_paths]
        gaps = [Missing("studies/precharge", words) for words in unseen]
        gaps += [gap for name in result.branch_contactors if name not in said for gap in _closes_later(ctx, name)]
        if gaps:
            yield ctx.open(gaps)
    elif result.missing and not result.bypassed and circuit.missing:
        yield ctx.open(result.missing)
    else:
        evidence = counted("precharge paths across a main contactor", 0, ">=", 1, "CONTACTOR-NOTE#precharge")
        yield ctx.finding("fail", pointer, "no precharge path leads round a main contactor to the bus", evidence)


def _unfused(ctx: Context, role: str, words: str) -> Iterator[Outcome]:
    limit = ctx.limit()
    resistors = [r for r in circuit_of(ctx).resistors if r.role == role]
    if not resistors:
        yield NotApplicable(f"there is no {role} resistor")
    for resistor in resistors:
        fuses = fuses_between(ctx, role, resistor)
        evidence = counted("fuses in the path", len(fuses), "<=", 0, limit.source)
        message = (
            f"{', '.join(fuses)} lies in the {words} path of {resistor.id}"
            if fuses
            else f"no fuse lies in the {words} path of {resistor.id}"
        )
        yield ctx.finding(
            "fail" if fuses else "pass",
            f"{PARTS}/{resistor.id}",
            message,
            evidence,
            related=tuple((f"{PARTS}/{f}", "the fuse") for f in fuses),
        )


def _contradicted(ctx: Context) -> Iterator[Outcome]:
    """Main contactors whose ``closes`` leaves precharge out, or does not let it run."""
    circuit = circuit_of(ctx)
    plan = plan_of(circuit)
    parts: Mapping[str, Any] = ctx.design.parts_of("contactor", role="main")
    closes = {name: part.closes for name, part in parts.items() if part.closes}
    if isinstance(plan, str) or not closes:
        return
    early, late = contradicted(circuit, plan, closes)
    for name in early:
        yield _turned(ctx, name, "before", "after", "the bus then lies on a pack with no resistor between")
    for name in late:
        yield _turned(ctx, name, "after", "before", "precharge does not reach the bus while it is open")


def _turned(ctx: Context, name: str, when: str, instead: str, words: str) -> Outcome:
    way = WayOut(
        f"let {name} close {instead} precharge", (Edit(HV_FILE, f"parts/{name}/closes", f"{instead}_precharge"),)
    )
    what = f"main contactors that must not close {when} precharge, but do"
    return ctx.finding(
        "fail",
        f"{PARTS}/{name}/closes",
        f"{name} closes {when} precharge: {words}",
        counted(what, 1, "<=", 0, "CONTACTOR-NOTE#precharge"),
        ways_out=lambda: (way,),
    )


def _closes_later(ctx: Context, name: str) -> list[Missing]:
    """What is not known of a contactor that feeds only some devices: precharge is run with it closed."""
    part: Any = ctx.design.high_voltage.parts[name]
    if part.closes == "before_precharge":
        return []
    if part.closes is None:
        return [Missing(f"{PARTS}/{name}/closes", f"whether {name}, which feeds only some devices, closes first")]
    return [Missing("studies/precharge", f"{name} closes onto a live bus: that surge is not computed")]


@rule(
    "HV007",
    "precharge-fused",
    "error",
    limit="precharge_unfused",
    checks="The precharge path holds no fuse of its own (student racing rules).",
    why="A precharge fuse that opens looks to the supervisor like a slow precharge, and invites a bridge across it.",
    sources=("FSAE-2026#EV.5.6.1c",),
    failing=(
        ("vehicle.yaml", "rule_sets", "[fsae-2026]"),
        (HV_FILE, "parts/f_pre", "{kind: fuse, sheet: fuse-15}"),
        (HV_FILE, "connections/W6/to", "f_pre.a"),
        (HV_FILE, "connections/W98", "{from: f_pre.b, to: r_pre.a, resistance: 1 mΩ}"),
    ),
    passing=(("vehicle.yaml", "rule_sets", "[fsae-2026]"),),
)
def precharge_fused(ctx: Context) -> Iterable[Outcome]:
    """Fuses between the precharge resistor and the bypassed contactor's terminals."""
    yield from _unfused(ctx, "precharge", "precharge")


@rule(
    "HV008",
    "discharge-fused",
    "error",
    limit="discharge_unfused",
    checks="No fuse lies between the bus and a discharge resistor (student racing rules).",
    why="A discharge behind an open fuse leaves the bus charged, and nobody sees it.",
    sources=("FSAE-2026#EV.5.6.3c", "FS-FAMILY-2026#EV4.9.2"),
    failing=(("vehicle.yaml", "rule_sets", "[fsae-2026]"), (HV_FILE, "connections/W15/from", "fuse_dcdc.b")),
    passing=(("vehicle.yaml", "rule_sets", "[fsae-2026]"),),
    waivable=False,
)
def discharge_fused(ctx: Context) -> Iterable[Outcome]:
    """Fuses without which the resistor no longer lies across the largest bus capacitance."""
    yield from _unfused(ctx, "discharge", "discharge")


@rule(
    "HV009",
    "discharge-behind-break",
    "error",
    checks=(
        "A discharge resistor lies on the car's side of the main contactors and the service disconnect, across the "
        "bus capacitors."
    ),
    why="On the pack's side it discharges nothing once the contactors are open, and drains the pack for ever.",
    sources=("FSAE-2026#EV.5.6.3", "FS-FAMILY-2026#EV4.9.2", "PRACTICE#discharge across the bus"),
    failing=((HV_FILE, "connections/W15/from", "k_plus.a"),),
    waivable=False,
)
def discharge_behind_break(ctx: Context) -> Iterable[Outcome]:
    """The resistor must reach both poles of a bus device with main contactors open and disconnects pulled."""
    circuit = circuit_of(ctx)
    resistors = [r for r in circuit.resistors if r.role == "discharge"]
    if not resistors:
        yield NotApplicable("there is no discharge resistor")
    for resistor in resistors:
        ids = path_ids(circuit, without=(resistor.id,), opened=("main", "precharge"), pulled=True)
        reached = any(
            d.farad.high > 0
            and (
                (joined(ids, resistor.a, d.plus) and joined(ids, resistor.b, d.minus))
                or (joined(ids, resistor.b, d.plus) and joined(ids, resistor.a, d.minus))
            )
            for d in circuit.devices
        )
        words = (
            "lies across the bus with every main contactor open"
            if reached
            else "does not lie across a bus capacitor once the main contactors are open"
        )
        sets = {"fsae-2026": "FSAE-2026#EV.5.6.3", "fs-family-2026": "FS-FAMILY-2026#EV4.9.2"}
        source = next((sets[name] for name in ctx.rule_sets if name in sets), "PRACTICE#discharge across the bus")
        evidence = counted("bus capacitors it still reaches", int(reached), ">=", 1, source)
        yield ctx.finding("pass" if reached else "fail", f"{PARTS}/{resistor.id}", f"{resistor.id} {words}", evidence)


@rule(
    "HV010",
    "no-discharge",
    "error",
    checks="Something discharges the bus: a discharge resistor, or a built-in resistance across it.",
    why="Without it the capacitors keep a deadly voltage for hours after the contactors have opened.",
    sources=("FSAE-2026#EV.5.6.3", "IEC-60204-1#6.2.4"),
    failing=((HV_FILE, "parts/r_dis/role", "precharge"), ("parts/inverter-60.yaml", "bleed_resistance", "null")),
    waivable=False,
)
def no_discharge(ctx: Context) -> Iterable[Outcome]:
    """Any resistor of the role discharge, or any finite bleed resistance."""
    circuit = circuit_of(ctx)
    if not any(d.farad.high > 0 for d in circuit.devices):
        yield NotApplicable("the bus has no capacitors")
        return
    means = [r.id for r in circuit.resistors if r.role == "discharge"] + [
        d.id for d in circuit.devices if d.bleed_ohm < float("inf")
    ]
    evidence = counted("means of discharge", len(means), ">=", 1, "IEC-60204-1#6.2.4")
    if means:
        yield ctx.finding("pass", PARTS, f"{', '.join(means)} discharges the bus", evidence)
    else:
        yield ctx.finding("fail", PARTS, "nothing discharges the bus after the contactors open", evidence)
