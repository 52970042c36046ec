"""From the circuit of a design to elements of the circuit solver, named by the ids of parts and connections."""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import lru_cache
from typing import Any

from tristrand.physics.circuit import Battery, Capacitor, Inductor, PowerLoad, Resistor, Switch
from tristrand.physics.conductors import ALUMINIUM_ALPHA, COPPER_ALPHA, resistance_at_ohm
from tristrand.studies.circuits import Contact, Device, HvCircuit, Lead

LEAST_OHM = 1e-7

Numbers = Any


@lru_cache(maxsize=4096)
def lead_ohm(lead: Lead, temperature_c: float) -> float:
    """Resistance of a connection [ohm] with its conductor at a temperature; busbars keep the value they were given."""
    if not lead.cable:
        return lead.ohm_20c
    law = ALUMINIUM_ALPHA if lead.metal == "aluminium" else COPPER_ALPHA
    return float(resistance_at_ohm(lead.ohm_20c, temperature_c, law))


def leads(circuit: HvCircuit, *, hot: bool = False, inductive: bool = False) -> list[Any]:
    """Connections, fuses and disconnects.

    ``hot``: conductors at their temperature limit; ``inductive``: with inductance.
    """
    elements: list[Any] = []
    for lead in circuit.leads:
        ohm = lead_ohm(lead, lead.limit_c) if hot and lead.cable and not math.isnan(lead.limit_c) else lead.ohm_20c
        if inductive and lead.inductance_h > 0:
            elements.append(Inductor(lead.id, lead.a, lead.b, lead.inductance_h, ohm))
        else:
            elements.append(Resistor(lead.id, lead.a, lead.b, max(ohm, LEAST_OHM)))
    elements += [Resistor(item.id, item.a, item.b, max(item.ohm, LEAST_OHM)) for item in circuit.series]
    return elements


def batteries(circuit: HvCircuit, open_v: Mapping[str, Numbers], ohm: Mapping[str, Numbers]) -> list[Any]:
    """One battery for each pack."""
    return [Battery(p.id, p.plus, p.minus, open_v[p.id], ohm[p.id]) for p in circuit.packs]


def switch(contact: Contact, *, closed: bool) -> Switch:
    """A contactor that stays in a given state."""
    return Switch(contact.id, contact.a, contact.b, max(contact.ohm, LEAST_OHM), closed)


def capacitors(devices: tuple[Device, ...], start_v: Numbers = 0.0, end: str = "value") -> list[Any]:
    """Bus capacitances of the devices; ``end`` picks low, value or high of their tolerance."""
    return [
        Capacitor(f"{d.id}:C", d.plus, d.minus, getattr(d.farad, end), start_v)
        for d in devices
        if getattr(d.farad, end) > 0
    ]


def bleeds(devices: tuple[Device, ...]) -> list[Any]:
    """Built-in resistances across the bus."""
    return [Resistor(f"{d.id}:R", d.plus, d.minus, d.bleed_ohm) for d in devices if math.isfinite(d.bleed_ohm)]


def load(device: Device, power_w: Numbers) -> Any:
    """A device drawing constant power (or, for a resistive heater, its fixed resistance)."""
    if math.isfinite(device.fixed_ohm):
        return Resistor(device.id, device.plus, device.minus, device.fixed_ohm)
    return PowerLoad(
        device.id,
        device.plus,
        device.minus,
        power_w,
        device.turn_on_v,
        device.turn_off_v,
        "off",
        device.soft_start_s,
        device.limit_a,
    )
