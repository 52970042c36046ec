"""What the study of short circuits takes from a design: branches at both ends of their tolerances, packs, devices."""

import math
from collections.abc import Iterator
from typing import Any

from tristrand.design import Design
from tristrand.records import NamedTuple
from tristrand.studies.circuits import Device, HvCircuit, Lead, hv_circuit
from tristrand.studies.netlist import LEAST_OHM, lead_ohm
from tristrand.studies.opening import Groups, needed
from tristrand.studies.results import Missing


class Branch(NamedTuple):
    """Something that a fault current flows through: resistance [ohm] at its least and hot at its most, inductance [H].

    The high end of the inductance counts: it makes the current rise slowly, which asks most of a fuse.
    """

    id: str
    kind: str
    a: str
    b: str
    cold_ohm: float
    hot_ohm: float
    henry: float


class FaultInputs(NamedTuple):
    """The branches, the poles of packs and devices, chargers with their largest output, and what is missing.

    ``no_inductance``: id of each pack and cable of unknown inductance, and where it belongs. ``bars``: terminals of
    busbars and studs. ``inlets``: the poles of each inlet for direct current, which the packs feed while its contactors
    are closed.
    """

    branches: tuple[Branch, ...]
    packs: tuple[tuple[str, str, str, float], ...]
    devices: tuple[tuple[str, str, str, float], ...]
    missing: tuple[Missing, ...]
    chargers: tuple[tuple[str, str, str, float], ...] = ()
    no_inductance: tuple[tuple[str, str], ...] = ()
    bars: tuple[str, ...] = ()
    inlets: tuple[tuple[str, str, str], ...] = ()


_NOT_NEEDED = ("open_time", "close_time", "bus_capacitance", "input_capacitance", "output_capacitance")


def inputs(design: Design) -> FaultInputs:
    """Collect what conducts with every contactor closed; resistors carry no fault current worth the name."""
    circuit = hv_circuit(design)
    packs, chargers, unknown = [], [], []
    for pack in circuit.packs:
        henry = design.sheet_of(pack.id).inductance
        packs.append((pack.id, pack.plus, pack.minus, 0.0 if henry is None else henry.high))
        if henry is None:
            unknown.append((pack.id, f"parts/{design.high_voltage.parts[pack.id].sheet}/inductance"))  # type: ignore[union-attr]
    for device in (d for d in circuit.devices if d.kind == "charger"):
        most = design.sheet_of(device.id).output_current
        if most is not None:
            chargers.append((device.id, device.plus, device.minus, most.high))
    unknown += [(x.id, f"parts/{x.cable}/inductance") for x in circuit.leads if x.cable and math.isnan(x.inductance_h)]
    devices = tuple((d.id, d.plus, d.minus, _farad(d)) for d in circuit.devices)
    missing = needed(circuit.missing, *_NOT_NEEDED)
    branches = tuple(_branches(design, circuit))
    bars = tuple(f"{part_id}.bar" for part_id in design.parts_of("junction"))
    inlets = tuple((name, f"{name}.plus", f"{name}.minus") for name in design.parts_of("inlet"))
    return FaultInputs(branches, tuple(packs), devices, missing, tuple(chargers), tuple(unknown), bars, inlets)


def _farad(device: Device) -> float:
    return 0.0 if math.isnan(device.farad.high) else device.farad.high


def _branches(design: Design, circuit: HvCircuit) -> Iterator[Branch]:
    for lead in circuit.leads:
        yield _lead(design, lead)
    for item in circuit.series:
        field = "resistance" if item.kind == "fuse" else "contact_resistance"
        yield _contact(item.id, item.kind, item.a, item.b, getattr(design.sheet_of(item.id), field))
    # Closed all: what lies behind a precharge, discharge or charging contactor is live while that is closed.
    for contact in circuit.contacts:
        datum = design.sheet_of(contact.id).contact_resistance
        yield _contact(contact.id, "contactor", contact.a, contact.b, datum)


def _contact(name: str, kind: str, a: str, b: str, ohm: Any) -> Branch:
    if ohm is None:
        return Branch(name, kind, a, b, math.nan, math.nan, 0.0)
    return Branch(name, kind, a, b, max(ohm.low, LEAST_OHM), max(ohm.high, LEAST_OHM), 0.0)


def _lead(design: Design, lead: Lead) -> Branch:
    """A busbar at both ends of its tolerance; a cable cold at its least and at its temperature limit at its most."""
    own: Any = design.high_voltage.connections[lead.id]
    low = high = 1.0
    henry = lead.inductance_h
    if own.resistance is not None:
        low, high = own.resistance.low / own.resistance.value, own.resistance.high / own.resistance.value
    elif (per_metre := design.sheets[own.cable].resistance) is not None:
        # The circuit holds the high end.
        low = per_metre.low / per_metre.high
    if own.inductance is not None:
        henry = own.inductance.high
    elif lead.cable and design.sheets[own.cable].inductance is not None:
        henry = design.sheets[own.cable].inductance.high * lead.length_m
    hot = lead_ohm(lead, lead.limit_c) if lead.cable and not math.isnan(lead.limit_c) else lead.ohm_20c
    henry = 0.0 if math.isnan(henry) else henry
    cold, hot = max(low * lead.ohm_20c, LEAST_OHM), max(high * hot, LEAST_OHM)
    return Branch(lead.id, "lead", lead.a, lead.b, cold, hot, henry)


def strings_of(data: FaultInputs) -> list[tuple[str, str, tuple[int, ...]]]:
    """Packs in series between two points where others join them: plus, minus, and the packs from plus to minus."""
    wires = Groups((b.a, b.b) for b in data.branches)
    strings: list[tuple[str, str, tuple[int, ...]]] = []
    strings += [(wires.of(plus), wires.of(minus), (k,)) for k, (_, plus, minus, _) in enumerate(data.packs)]
    for point in {minus for _, minus, _ in strings}:
        above, below = ([s for s in strings if s[end] == point] for end in (1, 0))
        if len(above) == len(below) == 1 and above != below:
            (one,), (two,) = above, below
            strings = [s for s in strings if s not in (one, two)]
            strings.append((one[0], two[1], (*one[2], *two[2])))
    return sorted(strings, key=lambda string: string[2])
