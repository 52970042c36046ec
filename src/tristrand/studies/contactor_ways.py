"""Which contactors a precharge contactor bridges, and which ones the current of a charging inlet runs through."""

from __future__ import annotations

import math

from tristrand.design import Design
from tristrand.studies.circuits import HvCircuit
from tristrand.studies.opening import Groups, conductors
from tristrand.studies.results import Missing

JUDGED = ("main", "charge")


def bypasses(circuit: HvCircuit) -> tuple[tuple[str, str, str], ...]:
    """Precharge contactors across a main contactor, their resistor taken as a conductor."""
    found = []
    for c in circuit.role("precharge"):
        others = [(o.a, o.b) for o in circuit.role("precharge") if o.id != c.id]
        resistors = [(r.a, r.b) for r in circuit.resistors if r.role == "precharge"]
        groups = Groups([*conductors(circuit), *others, *resistors])
        for main in circuit.role("main"):
            for here, there in ((c.a, c.b), (c.b, c.a)):
                if groups.same(here, main.a) and groups.same(there, main.b):
                    found.append((c.id, main.id, here.rpartition(".")[2]))
    return tuple(found)


def inlet_entries(design: Design, circuit: HvCircuit) -> tuple[tuple[tuple[str, str, float], ...], tuple[Missing, ...]]:
    """For every inlet the contactors its current runs through, and the end at which it enters each."""
    entered: dict[str, tuple[str, float]] = {}
    missing = []
    for name, part in design.parts_of("inlet").items():
        fast = design.high_voltage.fast_charging
        asked = fast.current if fast is not None and fast.inlet == name else None
        limits = [datum.high for datum in (design.sheet_of(name).rated_current, asked) if datum is not None]
        if not limits:
            missing.append(Missing(f"parts/{part.sheet}/rated_current", f"rated current of {name}"))
        amps = min(limits, default=math.nan)
        for contactor, end in _entries(circuit, f"{name}.plus", f"{name}.minus").items():
            if contactor not in entered or not amps <= entered[contactor][1]:
                entered[contactor] = (end, amps)
            if not end:
                words = f"which way the current of {name} runs through {contactor}: it lies at no pole of a pack"
                missing.append(Missing(f"high_voltage/parts/{contactor}", words))
    return tuple((key, end, amps) for key, (end, amps) in entered.items()), tuple(missing)


def _entries(circuit: HvCircuit, plus: str, minus: str) -> dict[str, str]:
    """Contactors that lie at the inlet or at a pack's pole in the way of its current, and where it enters them.

    A main contactor between others, at no pole, is named with "": which way the current runs there is not worked out.
    """
    wires = Groups(conductors(circuit))
    past_mains = Groups([*conductors(circuit), *((c.a, c.b) for c in circuit.role("charge"))])
    plusses = [p.plus for p in circuit.packs if not past_mains.same(p.plus, plus)]
    minuses = [p.minus for p in circuit.packs if not past_mains.same(p.minus, minus)]
    found: dict[str, str] = {}
    for c in circuit.contacts:
        if c.role not in JUDGED:
            continue
        for here, there in (("a", "b"), ("b", "a")):
            end = getattr(c, here)
            if wires.same(end, plus) or (c.role == "main" and any(wires.same(end, p) for p in minuses)):
                found[c.id] = here
            elif wires.same(end, minus) or (c.role == "main" and any(wires.same(end, p) for p in plusses)):
                found[c.id] = there
        poles = [end for p in circuit.packs for end in (p.plus, p.minus)]
        if c.role == "main" and not any(wires.same(end, pole) for end in (c.a, c.b) for pole in poles):
            found[c.id] = ""
    return found
