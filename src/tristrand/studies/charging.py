"""Charging: what each link of the chain lets pass, how long a session takes, and what direct-current charging meets.

One charger, one pack. A session has one temperature and one resistance; the charger's loss is a straight line through
its efficiencies at rated and at small power. Digital messages between car and supply are not looked at.
"""

import math

from tristrand.design import Design
from tristrand.physics.discharge import TOUCH_LIMIT_V, time_to_voltage_s
from tristrand.studies.charging_chain import largest_bus_a, sessions_of, supply_figures, table_least_a
from tristrand.studies.charging_lines import curves, workings
from tristrand.studies.charging_plan import ChargerData, ChargingInputs, FastData, PackCharge, collect
from tristrand.studies.charging_session import Drive, conditions
from tristrand.studies.inlet_closing import surge
from tristrand.studies.results import ChargingResult, FastFigures, Later, Missing, PackResult
from tristrand.studies.topology import Edge, edges, joined, on_loops


def inputs(design: Design) -> ChargingInputs:
    """Collect what charging needs; a design with neither charger nor inlet needs nothing."""
    return collect(design)


def study(data: ChargingInputs, packs: PackResult) -> ChargingResult:
    """Every supply, the sessions at it, and direct current; what cannot be computed is nan or left out."""
    if data.charger is None and data.fast is None:
        return ChargingResult(missing=data.missing)
    pack, charger = data.pack, data.charger
    figures = packs.packs.get(pack.id) if pack is not None else None
    supplies = {s.id: supply_figures(data, charger, s) for s in data.supplies} if charger is not None else {}
    base = ChargingResult(missing=data.missing, charger=charger.id if charger else "", target_soc=data.target_soc)
    if pack is not None:
        base = _of_pack(base, data, pack)
        base = base._replace(lowest_v=figures.minimum_v if figures else math.nan)
    if charger is not None:
        base = base._replace(
            supplies=supplies,
            own_discharge_s=_own_discharge_s(charger, base.limit_v),
            on_discharged_bus=_on_discharged_bus(data, charger.id),
            bus_a=largest_bus_a(data, charger, supplies),
        )
    if data.fast is not None:
        base = base._replace(fast=_fast(data, data.fast, packs))
    return base._replace(
        workings=Later(lambda: list(workings(data, base))), series=Later(lambda: tuple(curves(data, base)))
    )


def _of_pack(base: ChargingResult, data: ChargingInputs, pack: PackCharge) -> ChargingResult:
    (cold, hot), warm = pack.temperature_c, pack.table.temperature_c
    # Without a target the table is read up to the full pack.
    end = 1.0 if math.isnan(data.target_soc) else data.target_soc
    at = conditions(pack, end)
    return base._replace(
        pack=pack.id,
        limit_v=pack.series * pack.cell_v,
        table_least_a=table_least_a(pack, data.target_soc),
        # Where the ranges do not meet no session begins at either end.
        cold=cold < warm[0] or not at[0].begins,
        hot=hot > warm[-1] or not at[-1].begins,
        start_soc=pack.start_soc,
    )


def _own_discharge_s(charger: ChargerData, from_v: float) -> float:
    """Time in which the charger's output falls to 60 V through its own resistance; inf without one."""
    if math.isnan(charger.farad) or math.isnan(from_v):
        return math.nan
    if from_v <= TOUCH_LIMIT_V:
        return 0.0
    if math.isnan(charger.bleed_ohm):
        return math.inf
    return float(time_to_voltage_s(from_v, TOUCH_LIMIT_V, charger.bleed_ohm, charger.farad))


def _on_discharged_bus(data: ChargingInputs, charger: str) -> bool:
    """Whether the discharge resistor lies across the charger with main and charge contactors open."""
    roles = {c.id: c.role for c in data.circuit.contacts}
    resistors = {r.id for r in data.circuit.resistors if r.role == "discharge"}
    some = tuple(
        e
        for e in edges(data.circuit)
        if e.kind in ("lead", "fuse") or roles.get(e.id) == "discharge" or e.id in resistors
    )
    return bool(on_loops(some, f"{charger}.plus", f"{charger}.minus") & resistors)


# ---------------------------------------------------------------- direct current
def _fast(data: ChargingInputs, fast: FastData, known: PackResult) -> FastFigures:
    circuit = data.circuit
    mains = {c.id for c in circuit.role("main")}
    plus, minus = f"{fast.inlet}.plus", f"{fast.inlet}.minus"
    way = tuple(
        e
        for e in edges(circuit)
        if e.kind in ("lead", "fuse", "service_disconnect")
        or e.id in mains
        or e.id in fast.contactors
        or e.kind == "pack"
    )
    loop = on_loops(way, plus, minus)
    packs = [p.id for p in circuit.packs if p.id in loop]
    path = tuple(e.id for e in way if e.id in loop) if packs else ()
    # With the inlet's contactors open whatever else conducts may be closed, and a resistor keeps a contact live too.
    idle = [e for e in edges(circuit) if e.id not in fast.contactors and e.kind not in _ACROSS]
    poles = [end for p in circuit.packs for end in (p.plus, p.minus)]
    live = tuple(t for t in (plus, minus) if any(joined(idle, t, pole) for pole in poles))
    marks = dict(fast.marked)
    contactors = [e for e in way if e.id in path and e.kind == "contactor"]
    bare = [e for e in way if e.kind != "pack"]
    turned = any(joined(bare, plus, p.minus) or joined(bare, minus, p.plus) for p in circuit.packs if p.id in loop)
    forward = tuple((e.id, _forward(way, e, fast.inlet, marks.get(e.id, ""))) for e in contactors)
    closing = surge(fast.closing, known.packs, known.missing, fast.difference_v)
    if not path and not closing.missing:
        # Onto nothing no current flows, which is no reason to call a contactor able.
        nowhere = Missing("high_voltage/connections", f"a way from {fast.inlet} to the pack")
        closing = closing._replace(peak_a=math.nan, missing=(nowhere,))
    drive = None
    if not math.isnan(fast.amp) and fast.by_table is not None:
        drive = Drive(math.inf, fast.amp, 0.0, 0.0, 0.0, fast.by_table)
    return FastFigures(
        fast.inlet, fast.amp, fast.by_table, path, live, turned, forward, closing.peak_a, sessions_of(data, drive),
        fast.contactors, closing.missing, closing.unknown,
    )  # fmt: skip


# Parts across the bus: through them no contact is live, and no current of charging goes round.
_ACROSS = frozenset({"inverter", "dcdc", "heater", "charger", "pack"})


def _forward(way: tuple[Edge, ...], contactor: Edge, inlet: str, mark: str) -> bool | None:
    """Whether charging enters a contactor at its marked terminal: from the inlet's plus, or out to its minus."""
    if not mark:
        return None
    rest = [e for e in way if e.id != contactor.id and e.kind != "pack"]
    at_a = joined(rest, contactor.a, f"{inlet}.plus") or joined(rest, contactor.b, f"{inlet}.minus")
    return at_a == (mark == "a")
