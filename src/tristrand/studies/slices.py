"""The part of a circuit that a question depends on, so that an edit of anything else finds the answer kept."""

from __future__ import annotations

import math
from collections.abc import Iterator
from functools import lru_cache
from typing import Any

from tristrand.studies.circuits import Device, HvCircuit, Lead, Series2, Span3
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


# A lead that moves no time of a course by more than this share of it is not felt.
UNFELT = 1e-5
USUAL_OHM = 1e-3


def quiet(circuit: HvCircuit) -> HvCircuit:
    """The circuit with leads that a slow course cannot feel at 1 milliohm each, whatever they are.

    They lead to nothing but one capacitance Ck. Through resistors of R and more the whole, C, moves with RC or slower;
    r before Ck shifts that by r Ck²/(R C²), which is at most UNFELT even with the largest capacitance missing (a fault
    that precharge looks at). A thicker cable there then asks for no new solution.
    """
    least_ohm = min((r.ohm.low for r in circuit.resistors), default=math.nan)
    farads = [d.farad.low for d in circuit.devices]
    total = sum(farads) - max(farads, default=0.0)
    ends = _touching(circuit)
    unfelt: set[str] = set()
    for device in circuit.devices:
        if device.power_w or device.with_bus or not math.isinf(device.fixed_ohm):
            continue
        own = [lead for end in (device.plus, device.minus) for lead in _leading_to(end, device.id, ends)]
        ohm = sum(max(lead.ohm_20c, USUAL_OHM) for lead in own)
        shift = ohm * device.farad.high**2 / (least_ohm * total**2) if total > 0 else math.nan
        if shift <= UNFELT and ohm <= UNFELT * device.bleed_ohm:
            unfelt |= {lead.id for lead in own}
    return circuit._replace(leads=tuple(x._replace(ohm_20c=USUAL_OHM) if x.id in unfelt else x for x in circuit.leads))


def _touching(circuit: HvCircuit) -> dict[str, list[Any]]:
    """What touches each terminal."""
    ends: dict[str, list[Any]] = {}
    series: tuple[Any, ...] = (*circuit.leads, *circuit.series, *circuit.contacts, *circuit.resistors)
    across: tuple[Any, ...] = (*circuit.devices, *circuit.packs)
    for item, pair in [*((x, (x.a, x.b)) for x in series), *((x, (x.plus, x.minus)) for x in across)]:
        for end in pair:
            ends.setdefault(end, []).append(item)
    return ends


def _leading_to(end: str, device: str, ends: dict[str, list[Any]]) -> Iterator[Lead]:
    """Leads in a row from a device's terminal to where something else joins; a fuse between them is passed."""
    before = device
    while True:
        others = [x for x in ends[end] if x.id != before]
        if len(others) != 1 or len(ends[end]) != 2 or not isinstance(others[0], Lead | Series2):
            return
        item, before = others[0], others[0].id
        if isinstance(item, Lead):
            yield item
        end = item.b if item.a == end else item.a


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


@lru_cache(maxsize=64)
def wiring(circuit: HvCircuit) -> HvCircuit:
    """The circuit with only what hangs where: no resistance, capacitance, power or time."""
    return HvCircuit(
        circuit.packs,
        tuple(Lead(x.id, x.a, x.b, 0.0, math.nan, x.cable, "", 0.0, math.nan) for x in circuit.leads),
        tuple(x._replace(ohm=0.0) for x in circuit.series),
        tuple(x._replace(ohm=0.0, close_s=0.0, open_s=0.0) for x in circuit.contacts),
        tuple(x._replace(ohm=NONE_FARAD) for x in circuit.resistors),
        tuple(
            Device(d.id, d.kind, d.plus, d.minus, NONE_FARAD, math.inf, False, 0.0, 0.0, 0.0, math.inf, math.inf, ())
            for d in circuit.devices
        ),
        (),
    )


def _sliced(device: Device, cases: tuple[str, ...]) -> Device:
    """A device that starts with the bus keeps its powers in these cases; any other is a capacitance and a bleed."""
    if cases and device.with_bus:
        return device._replace(power_w=tuple(pair for pair in device.power_w if pair[0] in cases))
    return Device(
        device.id, device.kind, device.plus, device.minus, device.farad, device.bleed_ohm, False,
        0.0, 0.0, 0.0, math.inf, math.inf, (),
    )  # fmt: skip
