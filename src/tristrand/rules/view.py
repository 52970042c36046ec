"""Small views of the design that several rules share. Lookups and graph questions only."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from typing import TYPE_CHECKING, Any

from tristrand.findings import Edit, Evidence, Relation, WayOut
from tristrand.rules.rule import Context, NotApplicable, Outcome
from tristrand.studies.circuits import HvCircuit, Resist, hv_circuit, with_inlets
from tristrand.studies.results import BRAKING, ConductorFigures, Missing, PrechargeResult
from tristrand.studies.topology import Chain, Edge, chains, edges, joined, protecting_fuses

if TYPE_CHECKING:
    from tristrand.design.model import Case

HV_FILE = "high_voltage.yaml"
PARTS = "high_voltage/parts"
LEADS = "high_voltage/connections"
SETTINGS = "high_voltage/precharge"
# The studies whose results a group of rules reads.
OPERATING = ("pack", "operating")
CONDUCTORS = ("pack", "operating", "conductors")
PRECHARGE = ("pack", "precharge")
DRIVING: tuple[Case, ...] = ("continuous", "peak", "heat")
# For examples: the starter with a charger on its bus.
WITH_CHARGER: tuple[tuple[str, str, str], ...] = (
    ("vehicle.yaml", "modes/charging", "{high_voltage: [charge]}"),
    (HV_FILE, "parts/obc", "{kind: charger, sheet: obc, power: {charge: 6 kW}}"),
    (HV_FILE, "connections/W97", "{from: bus_plus.bar, to: obc.plus, cable: hv-16, length: 1 m}"),
    (HV_FILE, "connections/W98", "{from: bus_minus.bar, to: obc.minus, cable: hv-16, length: 1 m}"),
    ("parts/obc.yaml", "", "{schema_version: 1, kind: charger, output_current: 18 A, output_capacitance: 20 µF}"),
)


def circuit_of(ctx: Context) -> HvCircuit:
    """The circuit of the design."""
    return hv_circuit(ctx.design)


def path_ids(
    circuit: HvCircuit, *, without: tuple[str, ...] = (), opened: tuple[str, ...] = (), pulled: bool = False
) -> list[Edge]:
    """Edges that conduct: leads, fuses, contactors not of the opened roles, service disconnects unless pulled."""
    roles = {c.id: c.role for c in circuit.contacts}
    return [
        e
        for e in edges(circuit)
        if e.id not in without
        and e.kind in ("lead", "fuse", "contactor", "service_disconnect")
        and not (e.kind == "contactor" and roles[e.id] in opened)
        and not (pulled and e.kind == "service_disconnect")
    ]


def fuses_between(ctx: Context, role: str, resistor: Resist) -> list[str]:
    """Fuses without which the resistor loses the path it needs: round the bypassed contactor, or across the bus."""
    circuit = circuit_of(ctx)
    opened = ("main",) if role == "precharge" else ("main", "precharge")

    def works(gone: tuple[str, ...]) -> bool:
        paths = path_ids(circuit, without=gone, opened=opened)
        if role == "discharge":
            return any(
                (joined(paths, resistor.a, d.plus) and joined(paths, resistor.b, d.minus))
                or (joined(paths, resistor.b, d.plus) and joined(paths, resistor.a, d.minus))
                for d in circuit.devices
                if d.farad.high == max(o.farad.high for o in circuit.devices)
            )
        return any(
            (joined(paths, resistor.a, c.a) and joined(paths, resistor.b, c.b))
            or (joined(paths, resistor.b, c.a) and joined(paths, resistor.a, c.b))
            for c in circuit.role("main")
        )

    if not works(()):
        return []
    return [s.id for s in circuit.series if s.kind == "fuse" and not works((s.id,))]


def sheets_of_kind(ctx: Context, kind: str) -> dict[str, Any]:
    """Data sheets of a kind in the folder, by name."""
    return ctx.design.sheets_of_kind(kind)


def other_sheets(ctx: Context, part_id: str, field: str, least: float) -> Iterator[WayOut]:
    """Ways out for a part: the folder's other sheets of its kind with ``field`` at least ``least``, smallest first."""
    part: Any = ctx.design.high_voltage.parts[part_id]
    fitting = []
    for name, sheet in sheets_of_kind(ctx, part.kind).items():
        datum = getattr(sheet, field, None)
        if name != part.sheet and datum is not None and datum.low >= least:
            fitting.append((datum.low, name, datum.text))
    for _, name, text in sorted(fitting):
        yield WayOut(
            f"fit {name} as {part_id} ({field.replace('_', ' ')} {text})",
            (Edit(HV_FILE, f"parts/{part_id}/sheet", name),),
        )


def sheet_pointer(ctx: Context, part_id: str, field: str) -> str:
    """Pointer of a value on a part's sheet."""
    part: Any = ctx.design.high_voltage.parts[part_id]
    return f"parts/{part.sheet}/{field}"


def better(ctx: Context, part_id: str, field: str, least: float) -> Callable[[], Iterable[WayOut]]:
    """Ways out by another sheet, looked for only when asked."""
    return lambda: other_sheets(ctx, part_id, field, least)


def against_sheet(
    ctx: Context,
    part_id: str,
    field: str,
    what: str,
    source: str,
    quantity: str,
    value: float,
    unit: str,
    relation: Relation,
    *,
    bad: str,
    good: str,
    mark: str,
    ways_out: Callable[[], Iterable[WayOut]] | None = None,
) -> Outcome:
    """What happens to a part against a datum of its sheet, the end of its tolerance that asks more; open without it."""
    datum = getattr(ctx.design.sheet_of(part_id), field)
    pointer = sheet_pointer(ctx, part_id, field)
    if datum is None:
        return ctx.open([Missing(pointer, f"{what} of {part_id}")])
    return ctx.compare(
        f"{PARTS}/{part_id}",
        quantity,
        value,
        unit,
        relation,
        datum.low if relation in ("<", "<=") else datum.high,
        source,
        basis=datum.basis,
        subject=part_id,
        bad=bad,
        good=good,
        related=((pointer, mark),),
        ways_out=ways_out,
    )


def stacks(ctx: Context) -> tuple[Chain, ...]:
    """For every pack the packs in series with it and their highest voltage, every cell at its maximum."""
    volts = {name: figures.maximum_v for name, figures in ctx.results["pack"].packs.items()}
    return chains(circuit_of(ctx), volts)


def highest_v(ctx: Context) -> float | None:
    """Highest voltage of any pack, or of packs in series; None while a pack is not known."""
    result = ctx.results["pack"]
    if len(result.packs) < len(circuit_of(ctx).packs):
        return None
    return max((chain.volts for chain in stacks(ctx)), default=None)


def precharge_of(ctx: Context) -> PrechargeResult | None:
    """The precharge, or None where it could not be computed."""
    result: PrechargeResult = ctx.results["precharge"]
    return result if result.attempts else None


def no_precharge_result(ctx: Context) -> Outcome:
    """What to say where the precharge could not be computed: there is none, or what is missing."""
    result = ctx.results["precharge"]
    if not result.bypassed and not result.missing:
        return NotApplicable("there is no precharge path")
    return ctx.open(result.missing)


def release_loads(ctx: Context, result: PrechargeResult) -> Callable[[], Iterable[WayOut]]:
    """Ways out for a precharge that loads hold down: let them start later, the largest first."""

    def ways() -> Iterable[WayOut]:
        for name in sorted(result.loads, key=lambda key: -result.loads[key]):
            part: Any = ctx.design.high_voltage.parts.get(name)
            if part is not None and getattr(part, "starts", "") == "with_bus":
                some = 0 < result.tolerable_load_w < math.inf
                most = f"; up to {result.tolerable_load_w:.0f} W may stay" if some else ""
                text = f"let {name} start only when released after the main contactors have closed{most}"
                yield WayOut(text, (Edit(HV_FILE, f"parts/{name}/starts", "when_released"),))

    return ways


def thicker_cables(ctx: Context, figure: ConductorFigures, current_a: float) -> Callable[[], Iterable[WayOut]]:
    """Ways out for a cable: the folder's other cables that carry ``current_a`` as laid there, thinnest first.

    Those that the cable's own fuse would not protect are left out where others are there.
    """

    def ways() -> Iterable[WayOut]:
        every = ctx.results["conductors"].options.get(figure.connection, ())
        options = [o for o in every if o.ampacity_a >= current_a and o.cable != figure.cable]
        names = protecting_fuses(with_inlets(ctx.design)).get(figure.connection, ())
        rated = [ctx.design.sheet_of(name).rated_current for name in names]
        guard_a = min((datum.value for datum in rated if datum is not None), default=0.0)
        for option in [o for o in options if o.ampacity_a >= guard_a] or options:
            text = f"{option.cable} carries it: {option.ampacity_a:.0f} A as laid in {figure.connection}"
            yield WayOut(text, (Edit(HV_FILE, f"connections/{figure.connection}/cable", option.cable),))

    return ways


def counted(quantity: str, value: int, relation: Relation, limit: int, source: str) -> Evidence:
    """Evidence that is a plain count."""
    return Evidence(quantity, float(value), "", relation, float(limit), source)


def feeds_back_unsaid(ctx: Context) -> list[Missing]:
    """What is missing about braking: the power that each inverter feeds back, and a mode in which it does."""
    used = {case for mode in ctx.design.vehicle.modes.values() for case in mode.high_voltage}
    if used.isdisjoint(DRIVING):
        return []
    said = {name: part.power.get(BRAKING) for name, part in ctx.design.parts_of("inverter").items()}
    gaps = [
        Missing(f"{PARTS}/{name}/power/{BRAKING}", f"power that {name} feeds back while braking, 0 W where it does not")
        for name, watts in said.items()
        if watts is None
    ]
    if BRAKING not in used and any(watts is not None and watts.high > 0 for watts in said.values()):
        gaps.append(Missing("vehicle/modes", f"a mode with the case {BRAKING}"))
    return gaps
