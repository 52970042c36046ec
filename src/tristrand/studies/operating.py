"""Currents through every part and cable, and voltages at every part, in each high-voltage case of the vehicle's modes.

The real topology is solved at every corner of the pack with its conductors hot; the largest current and the lowest
voltage are kept with the corner they occur at. What charges or brakes is solved with the other loads on and off, for a
thermostat switches when it likes; braking also with the pack at the end of its life, whose voltage it lifts further.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from tristrand.design import Design
from tristrand.physics.circuit import Circuit, CurrentSource, OperatingPoint, Resistor, operating_point
from tristrand.records import NamedTuple
from tristrand.studies.circuits import Device, HvCircuit, PackEnds, hv_circuit
from tristrand.studies.netlist import batteries, bleeds, lead_ohm, leads, load, switch
from tristrand.studies.operating_flows import Lanes, case_flows, gives
from tristrand.studies.results import (
    BRAKING,
    INTO_PACK,
    CaseFlows,
    Flow,
    Later,
    Missing,
    OperatingResult,
    PackResult,
    Working,
    found,
    working,
)
from tristrand.studies.slices import steady
from tristrand.studies.topology import feeds

if TYPE_CHECKING:
    from tristrand.design.model import Case

SOLVED: tuple[Case, ...] = ("charge", "continuous", "peak", "heat", BRAKING)
# The name of what an inverter feeds back, beside what it draws.
BACK = " back"
SOLVER = "NUMERICS#circuit solver, operating point"
LOOP = "CLOSED-FORM#Ohm's law in a loop"
METHOD = "circuit solver on the whole topology, conductors at their temperature limit"
# A part that is off: of no weight beside any built-in resistance across the bus.
OFF_OHM = 1e9


class OperatingInputs(NamedTuple):
    """The circuit, and the cases that the vehicle's modes use: each with the modes and its duration (0: sustained).

    ``braking_cell_v``: voltage of one cell at which regeneration is held, nan where nothing holds it.
    """

    circuit: HvCircuit
    cases: tuple[tuple[str, tuple[str, ...], float], ...]
    charge_limit_a: tuple[tuple[str, float], ...]
    missing: tuple[Missing, ...]
    braking_cell_v: float = math.nan


class Turn(NamedTuple):
    """One way in which a case is solved at every corner: with the other loads on or off, the packs new or aged."""

    case: str
    loads: bool
    aged: bool


class Packs(NamedTuple):
    """Open-circuit voltage and resistance of every pack, one value a lane."""

    open_v: dict[str, NDArray[np.float64]]
    ohm: dict[str, NDArray[np.float64]]


def inputs(design: Design) -> OperatingInputs:
    """Collect circuit and cases of a design."""
    circuit = hv_circuit(design)
    cases = []
    for case in SOLVED:
        modes = tuple(key for key, mode in design.vehicle.modes.items() if case in mode.high_voltage)
        duration = design.high_voltage.case_duration.get(case)
        if modes:
            cases.append((case, modes, duration.high if duration is not None else 0.0))
    limits, missing = [], list(circuit.missing)
    for part_id in design.parts_of("charger"):
        current = design.sheet_of(part_id).output_current
        if current is not None:
            limits.append((part_id, current.high))
    powerless = [key for key in circuit.devices if not key.power_w]
    missing += [Missing(f"high_voltage/parts/{d.id}/power", f"power of {d.id} in each case") for d in powerless]
    missing = [m for m in missing if "capacitance" not in m.pointer and not m.pointer.endswith("_time")]
    held = design.high_voltage.regeneration
    cell_v = held.cell_voltage.high if held is not None and held.cell_voltage is not None else math.nan
    return OperatingInputs(steady(circuit), tuple(cases), tuple(limits), tuple(missing), cell_v)


def study(data: OperatingInputs, packs: PackResult) -> OperatingResult:
    """Solve every case at every corner, all in one batch."""
    missing = (*data.missing, *packs.missing)
    if missing or not data.cases or not data.circuit.packs:
        return OperatingResult(missing=missing)
    corners = [c.name for c in next(iter(packs.packs.values())).corners]
    turns = {case: _turns(data.circuit, case) for case, _, _ in data.cases}
    every = [turn for ways in turns.values() for turn in ways]
    ends = _ends(packs, every)
    point = _solve(data, packs, every, ends, len(corners))
    cases, start = {}, 0
    for case, modes, duration in data.cases:
        many = len(turns[case])
        loads = np.repeat([turn.loads for turn in turns[case]], len(corners))
        lanes = Lanes(slice(start, start := start + many * len(corners)), corners * many, loads)
        cases[case] = case_flows(data.circuit, point, case, modes, duration, lanes, ends.ohm)
    lines = Later(lambda: [line for flows in cases.values() for line in _workings(data.circuit, flows, packs)])
    return OperatingResult(lines, (), (), cases)


def _turns(circuit: HvCircuit, case: str) -> list[Turn]:
    """With the other loads, unless there are none; without them too where they take from what enters the packs."""
    if case not in INTO_PACK:
        return [Turn(case, loads=True, aged=False)]
    others = any(device.power_in(case) > 0 and not gives(device, case) for device in circuit.devices)
    turns = [Turn(case, loads=True, aged=False)] if others else []
    turns.append(Turn(case, loads=False, aged=False))
    return [*turns, Turn(case, loads=False, aged=True)] if case == BRAKING else turns


def _ends(packs: PackResult, turns: list[Turn]) -> Packs:
    """Every pack at every corner of every turn."""
    open_v = {k: np.tile([c.open_circuit_v for c in f.corners], len(turns)) for k, f in packs.packs.items()}
    ohm = {
        k: np.array([c.resistance_aged_ohm if turn.aged else c.resistance_ohm for turn in turns for c in f.corners])
        for k, f in packs.packs.items()
    }
    return Packs(open_v, ohm)


def _solve(data: OperatingInputs, packs: PackResult, turns: list[Turn], ends: Packs, corners: int) -> OperatingPoint:
    circuit = data.circuit
    elements = leads(circuit, hot=True)
    elements += batteries(circuit, ends.open_v, ends.ohm)
    elements += [switch(c, closed=c.role == "main") for c in circuit.contacts]
    fed = feeds(circuit)
    for device in circuit.devices:
        asked = [device.power_in(turn.case) if turn.loads or gives(device, turn.case) else 0.0 for turn in turns]
        power = np.repeat(asked, corners)
        if device.kind == "charger":
            if fed[device.id].way == "right":
                elements.append(_charger(data, device, power, packs, ends, fed[device.id].packs))
        elif math.isfinite(device.fixed_ohm):
            # A plain resistance draws what the voltage drives through it where a power is given; else it is off.
            ohm = np.where(power > 0, device.fixed_ohm, OFF_OHM)
            elements.append(Resistor(device.id, device.plus, device.minus, ohm))
        elif power.any():
            back = np.repeat([turn.case == BRAKING for turn in turns], corners) & (device.kind == "inverter")
            elements.append(load(device, np.where(back, 0.0, power)))
            if back.any() and fed[device.id].way == "right":
                given = np.where(back, power, 0.0)
                elements.append(_braking(data, device, given, packs, ends, fed[device.id].packs))
    return _joined(operating_point(Circuit((*elements, *bleeds(circuit.devices)))))


def _joined(point: OperatingPoint) -> OperatingPoint:
    """The currents with what an inverter feeds back counted as its own, against what it draws."""
    currents = dict(point.currents_a)
    for name in [name for name in currents if name.endswith(BACK)]:
        own = name.removesuffix(BACK)
        currents[own] = currents[own] - currents.pop(name)
    return point._replace(currents_a=currents)


def _braking(
    data: OperatingInputs,
    device: Device,
    power_w: NDArray[np.float64],
    packs: PackResult,
    ends: Packs,
    stack: tuple[str, ...],
) -> CurrentSource:
    """What an inverter feeds back: the current I with P = I (V + I R) for all inverters' power P together, its share.

    It tapers as charging does only where the design says at which cell voltage it is held: a monitor opens the
    contactors, it holds nothing. Strings side by side share the current in a way that is solved for afterwards: then
    I = P/V, which is no less, and no taper.
    """
    volts, ohm = _in_series(ends, stack)
    fed = feeds(data.circuit)
    fellows = [d for d in data.circuit.devices if d.kind == "inverter" and fed[d.id].packs == stack]
    every_w = sum(d.power_in(BRAKING) for d in fellows)
    share = np.divide(power_w, every_w) if every_w > 0 else power_w
    if len(packs.packs) > len(stack):
        return CurrentSource(device.id + BACK, device.minus, device.plus, share * every_w / volts)
    held_v = sum(packs.packs[name].series for name in stack) * data.braking_cell_v
    current_a = share * _driven_in(every_w, volts, ohm, math.inf if math.isnan(held_v) else held_v)
    return CurrentSource(device.id + BACK, device.minus, device.plus, current_a)


def _in_series(ends: Packs, stack: tuple[str, ...]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Open-circuit voltage and resistance of packs in series, one value a lane."""
    open_v = np.sum([ends.open_v[name] for name in stack], axis=0)
    return open_v, np.sum([ends.ohm[name] for name in stack], axis=0)


def _driven_in(
    power_w: float | NDArray[np.float64], volts: NDArray[np.float64], ohm: NDArray[np.float64], most_v: float
) -> NDArray[np.float64]:
    """The current I with P = I (V + I R), at most what the resistance leaves below ``most_v``: (most_v - V)/R."""
    by_power = (np.sqrt(volts**2 + 4 * ohm * power_w) - volts) / (2 * ohm)
    return np.asarray(np.minimum(by_power, np.maximum(most_v - volts, 0.0) / ohm))


def _charger(
    data: OperatingInputs,
    device: Device,
    power_w: NDArray[np.float64],
    packs: PackResult,
    ends: Packs,
    stack: tuple[str, ...],
) -> CurrentSource:
    """The current I with P = I (V + I R) at the packs in series that it charges, at most its rated current.

    Near the pack's highest voltage the current tapers to what the resistance leaves: (V_max - V)/R.
    """
    volts, ohm = _in_series(ends, stack)
    most_v = sum(packs.packs[name].maximum_v for name in stack)
    limit = dict(data.charge_limit_a).get(device.id, np.inf)
    current_a = np.minimum(_driven_in(power_w, volts, ohm, most_v), limit)
    return CurrentSource(device.id, device.minus, device.plus, current_a)


def _workings(circuit: HvCircuit, flows: CaseFlows, packs: PackResult) -> list[Working]:
    """What the solver found, and the pack voltage and each lead's drop that follow from it by hand."""
    lines = [line for pack in circuit.packs for line in _pack_lines(pack, flows, packs)]
    for lead in circuit.leads:
        flow = flows.flows.get(lead.id)
        if flow is None or flow.current_a <= 0.01:
            continue
        lines.append(found(lead.id, "I", f"current, {flows.case}, {flow.corner}", flow.current_a, "A", SOLVER, METHOD))
        ohm = lead_ohm(lead, lead.limit_c) if lead.cable else lead.ohm_20c
        given = {"I": (flow.current_a, "A"), "R": (ohm, "Ω")}
        words = f"drop along it, conductor hot, {flows.case}"
        lines.append(working(lead.id, "dV", words, "I*R", flow.current_a * ohm, "V", LOOP, **given))
    return lines


def _pack_lines(pack: PackEnds, flows: CaseFlows, packs: PackResult) -> Iterator[Working]:
    """The pack's current each way it flows, with voltage and power; in regeneration the highest mean cell."""
    into, out = flows.into_pack.get(pack.id), flows.out_of_pack.get(pack.id)
    if out is not None and out.corner:
        words = "pack current" if flows.drives else "current out of the pack, with other loads on"
        yield from _one_way(pack.id, flows.case, words, out, packs, -1.0)
    if into is not None and into.corner:
        yield from _one_way(pack.id, flows.case, "current into the pack, other loads on or off", into, packs, 1.0)
    lifted, figures = flows.lifted.get(pack.id), packs.packs[pack.id]
    if lifted is not None:
        open_v = next(c.open_circuit_v for c in figures.corners if c.name == lifted.corner)
        cell_v = (open_v + lifted.current_a * lifted.resistance_ohm) / figures.series
        given = {"V_oc": (open_v, "V"), "I": (lifted.current_a, "A"), "R": (lifted.resistance_ohm, "Ω")}
        words = f"highest mean cell, {flows.case}, {lifted.corner}, also at the end of the pack's life"
        law, cells = "(V_oc + I*R)/n", {"n": (figures.series, "1")}
        yield working(pack.id, "v", words, law, cell_v, "V", LOOP, **given, **cells)


def _one_way(name: str, case: str, words: str, flow: Flow, packs: PackResult, sign: float) -> Iterator[Working]:
    corner = next(c for c in packs.packs[name].corners if c.name == flow.corner)
    yield found(name, "I", f"{words}, {case}, {flow.corner}", flow.current_a, "A", SOLVER, METHOD)
    volts = corner.open_circuit_v + sign * flow.current_a * corner.resistance_ohm
    given = {"V_oc": (corner.open_circuit_v, "V"), "I": (flow.current_a, "A"), "R": (corner.resistance_ohm, "Ω")}
    law = "V_oc + I*R" if sign > 0 else "V_oc - I*R"
    yield working(name, "V", f"pack voltage at that current, {case}", law, volts, "V", LOOP, **given)
    watts = {"V": (volts, "V"), "I": (flow.current_a, "A")}
    yield working(name, "P", f"pack power, {case}", "V*I", volts * flow.current_a, "W", LOOP, **watts)
