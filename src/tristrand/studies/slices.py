"""The part of a circuit that a question depends on, so that an edit of anything else finds the answer kept."""

from __future__ import annotations

import math

from tristrand.studies.circuits import Device, HvCircuit, Lead, Span3
from tristrand.studies.topology import edges, looped


def bare(circuit: HvCircuit, *cases: str, opened: str, timed: bool, inductive: bool) -> HvCircuit:
    """The circuit with only what a transient takes from it.

    Contactors of the role ``opened`` are taken out, and with them whatever then lies on no loop and so carries no
    current. Cable names, lengths and temperature limits go; powers and starting voltages stay for the named cases
    only; contactor times and inductances stay where they matter.
    """
    out = {c.id for c in circuit.contacts if c.role == opened}
    carries = looped(tuple(e for e in edges(circuit) if e.id not in out))
    leads = tuple(
        Lead(x.id, x.a, x.b, x.ohm_20c, x.inductance_h if inductive else math.nan, "", "", 0.0, math.nan)
        for x in circuit.leads
        if x.id in carries
    )
    contacts = tuple(
        c if timed else c._replace(close_s=0.0, open_s=0.0)
        for c in circuit.contacts
        if c.id not in out and (c.role == "main" or c.id in carries)
    )
    devices = tuple(_sliced(d, cases) for d in circuit.devices)
    return circuit._replace(
        leads=leads,
        series=tuple(s for s in circuit.series if s.id in carries),
        contacts=contacts,
        resistors=tuple(r for r in circuit.resistors if r.id in carries),
        devices=devices,
        missing=(),
    )


NONE_FARAD = Span3(0.0, 0.0, 0.0)


def steady(circuit: HvCircuit) -> HvCircuit:
    """The circuit with only what a steady state takes from it.

    Precharge and discharge resistors lie behind open contactors; capacitances, inductances, contactor times and what
    starts a device do not matter.
    """
    return circuit._replace(
        leads=tuple(x._replace(inductance_h=math.nan) for x in circuit.leads),
        contacts=tuple(c._replace(close_s=0.0, open_s=0.0) for c in circuit.contacts),
        resistors=(),
        devices=tuple(d._replace(farad=NONE_FARAD, with_bus=False) for d in circuit.devices),
        missing=(),
    )


def _sliced(device: Device, cases: tuple[str, ...]) -> Device:
    """A device that starts with the bus keeps its powers in these cases; any other is a capacitance and a bleed."""
    if cases and device.with_bus:
        return device._replace(power_w=tuple(pair for pair in device.power_w if pair[0] in cases))
    return Device(
        device.id, device.kind, device.plus, device.minus, device.farad, device.bleed_ohm, False,
        0.0, 0.0, 0.0, math.inf, math.inf, (),
    )  # fmt: skip
