"""Small views of the design that several rules share. Lookups and graph questions only."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from tristrand.findings import Edit, WayOut
from tristrand.rules.rule import Context
from tristrand.studies.circuits import HvCircuit, Resist, hv_circuit
from tristrand.studies.topology import Edge, edges, joined

HV_FILE = "high_voltage.yaml"


def circuit_of(ctx: Context) -> HvCircuit:
    """The circuit of the design, made once for all rules of one check."""
    if "circuit" not in ctx.cache:
        ctx.cache["circuit"] = hv_circuit(ctx.design)
    circuit: HvCircuit = ctx.cache["circuit"]
    return circuit


def path_ids(
    circuit: HvCircuit, *, without: tuple[str, ...] = (), opened: tuple[str, ...] = (), pulled: bool = False
) -> list[Edge]:
    """Edges that conduct: no devices, no packs, no resistors, no contactors of the opened roles, no disconnects where pulled."""
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
    return {name: sheet for name, sheet in ctx.design.sheets.items() if sheet.kind == kind}


def other_sheets(ctx: Context, part_id: str, field: str, least: float) -> Iterator[WayOut]:
    """Ways out for a part: the folder's other sheets of its kind whose ``field`` is at least ``least``, smallest first."""
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


def set_value(ctx: Context, part_id: str, field: str, text: str, words: str) -> WayOut:
    """A way out that asks for another value on the part's own sheet (another part of the same series)."""
    part: Any = ctx.design.high_voltage.parts[part_id]
    return WayOut(words, (Edit(f"parts/{part.sheet}.yaml", field, text),))


def first(items: Iterable[WayOut], count: int = 6) -> list[WayOut]:
    """At most ``count`` ways out: each costs a whole check."""
    result = []
    for item in items:
        result.append(item)
        if len(result) == count:
            break
    return result
