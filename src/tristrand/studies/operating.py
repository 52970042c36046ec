"""Currents through every part and cable, and voltages at every part, in each high-voltage case of the vehicle's modes.

The real topology is solved at every corner of the pack with its conductors hot; the largest current and the lowest
voltage are kept with the corner they occur at.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from tristrand.design import Design
from tristrand.physics.circuit import Circuit, CurrentSource, OperatingPoint, Resistor, operating_point
from tristrand.records import NamedTuple
from tristrand.studies.circuits import Device, HvCircuit, PackEnds, hv_circuit
from tristrand.studies.netlist import batteries, bleeds, lead_ohm, leads, load, switch
from tristrand.studies.results import (
    BRAKING,
    INTO_PACK,
    CaseFlows,
    Flow,
    Later,
    Missing,
    OperatingResult,
    PackFigures,
    PackResult,
    Starved,
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
# Below this the solver's rounding is no current of the car's.
LEAST_A = 1e-3
# A device that gets less than this share of its power is short of it; the rest is rounding.
STARVED = 0.99
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
    point = _solve(data, packs, len(corners))
    cases = {}
    for k, (case, modes, duration) in enumerate(data.cases):
        lanes = slice(k * len(corners), (k + 1) * len(corners))
        cases[case] = _flows(data.circuit, point, case, modes, duration, corners, lanes)
    lines = Later(lambda: [line for flows in cases.values() for line in _workings(data.circuit, flows, packs)])
    return OperatingResult(lines, (), (), cases)


def _solve(data: OperatingInputs, packs: PackResult, corners: int) -> OperatingPoint:
    names = [case for case, _, _ in data.cases]
    tile = len(names)
    circuit = data.circuit
    elements = leads(circuit, hot=True)
    elements += batteries(
        circuit,
        {k: np.tile([c.open_circuit_v for c in f.corners], tile) for k, f in packs.packs.items()},
        {k: np.tile([c.resistance_ohm for c in f.corners], tile) for k, f in packs.packs.items()},
    )
    elements += [switch(c, closed=c.role == "main") for c in circuit.contacts]
    fed = feeds(circuit)
    for device in circuit.devices:
        power = np.repeat([device.power_in(case) for case in names], corners)
        if device.kind == "charger":
            if fed[device.id].way == "right":
                elements.append(_charger(data, device, power, packs, fed[device.id].packs))
        elif math.isfinite(device.fixed_ohm):
            # A plain resistance draws what the voltage drives through it where a power is given; else it is off.
            ohm = np.where(power > 0, device.fixed_ohm, OFF_OHM)
            elements.append(Resistor(device.id, device.plus, device.minus, ohm))
        elif power.any():
            back = np.repeat([case == BRAKING for case in names], corners) & (device.kind == "inverter")
            elements.append(load(device, np.where(back, 0.0, power)))
            if back.any() and fed[device.id].way == "right":
                elements.append(_braking(data, device, np.where(back, power, 0.0), packs, fed[device.id].packs))
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
    stack: tuple[str, ...],
) -> CurrentSource:
    """What an inverter feeds back: the current I with P = I (V + I R) for all inverters' power P together, its share.

    It tapers as charging does only where the design says at which cell voltage it is held: a monitor opens the
    contactors, it holds nothing. Strings side by side share the current in a way that is solved for afterwards: then
    I = P/V, which is no less, and no taper.
    """
    figures, volts, series = _in_series(packs, stack, len(power_w))
    fed = feeds(data.circuit)
    fellows = [d for d in data.circuit.devices if d.kind == "inverter" and fed[d.id].packs == stack]
    every_w = sum(d.power_in(BRAKING) for d in fellows)
    share = np.divide(power_w, every_w) if every_w > 0 else power_w
    if len(packs.packs) > len(stack):
        return CurrentSource(device.id + BACK, device.minus, device.plus, share * every_w / volts)
    held_v = sum(f.series for f in figures) * data.braking_cell_v
    current_a = share * _driven_in(every_w, volts, series, math.inf if math.isnan(held_v) else held_v)
    return CurrentSource(device.id + BACK, device.minus, device.plus, current_a)


def _in_series(
    packs: PackResult, stack: tuple[str, ...], lanes: int
) -> tuple[list[PackFigures], NDArray[np.float64], NDArray[np.float64]]:
    """Packs in series, with their open-circuit voltage and resistance at every corner, once for each case."""
    figures = [packs.packs[name] for name in stack]
    open_v = np.sum([[c.open_circuit_v for c in f.corners] for f in figures], axis=0)
    ohm = np.sum([[c.resistance_ohm for c in f.corners] for f in figures], axis=0)
    cases = lanes // len(open_v)
    return figures, np.tile(open_v, cases), np.tile(ohm, cases)


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
    stack: tuple[str, ...],
) -> CurrentSource:
    """The current I with P = I (V + I R) at the packs in series that it charges, at most its rated current.

    Near the pack's highest voltage the current tapers to what the resistance leaves: (V_max - V)/R.
    """
    figures, volts, series = _in_series(packs, stack, len(power_w))
    limit = dict(data.charge_limit_a).get(device.id, np.inf)
    current_a = np.minimum(_driven_in(power_w, volts, series, sum(f.maximum_v for f in figures)), limit)
    return CurrentSource(device.id, device.minus, device.plus, current_a)


def _flows(
    circuit: HvCircuit,
    point: OperatingPoint,
    case: str,
    modes: tuple[str, ...],
    duration: float,
    corners: list[str],
    lanes: slice,
) -> CaseFlows:
    failed = {c: r for c, r, ok in zip(corners, point.reason[lanes], point.converged[lanes], strict=True) if not ok}
    good = np.asarray(point.converged[lanes], dtype=bool)
    flows: dict[str, Flow] = {}
    lowest: dict[str, float] = {}
    highest: dict[str, float] = {}
    drop_v: dict[str, float] = {}
    drop_share: dict[str, float] = {}
    power: dict[str, float] = {}
    off: dict[str, tuple[str, ...]] = {}
    starved: dict[str, Starved] = {}
    worst = ""
    if good.any():
        sizes = np.where(good, np.abs([current[lanes] for current in point.currents_a.values()]), -1.0)
        for name, size, at in zip(point.currents_a, sizes.tolist(), sizes.argmax(axis=1).tolist(), strict=True):
            flows[name] = Flow(size[at], corners[at]) if size[at] >= LEAST_A else Flow(0.0, "")
        # A charger with an open end is in no loop that the solver sees.
        devices = [d for d in circuit.devices if d.plus in point.voltages_v and d.minus in point.voltages_v]
        poled: tuple[Device | PackEnds, ...] = (*devices, *circuit.packs)
        for part in poled:
            volts = (point.voltages_v[part.plus] - point.voltages_v[part.minus])[lanes]
            lowest[part.id], highest[part.id] = float(volts[good].min()), float(volts[good].max())
        for pack in circuit.packs:
            volts = (point.voltages_v[pack.plus] - point.voltages_v[pack.minus])[lanes]
            watts = np.where(good, volts * point.currents_a[pack.id][lanes], 0.0)
            power[pack.id] = float(watts[int(np.argmax(np.abs(watts)))])
        for device in devices:
            _device(circuit, device, point, lanes, good, drop_v, drop_share)
            idle = _idle(circuit, device, point, case, lanes, good)
            if idle.any():
                off[device.id] = tuple(name for name, none in zip(corners, idle, strict=True) if none)
            got = _got(circuit, device, point, case, lanes, good & ~idle)
            if got[at := int(np.argmin(got))] < STARVED * device.power_in(case):
                drawn = float(point.currents_a[device.id][lanes][at])
                starved[device.id] = Starved(corners[at], drawn, float(got[at]), device.power_in(case))
        worst = max((flows[p.id] for p in circuit.packs), key=lambda flow: flow.current_a).corner
    solved = [c.id for c in circuit.contacts if c.id in flows]
    through = {name: _both_ways(point.currents_a[name][lanes][good].tolist()) for name in solved}
    return CaseFlows(
        case, modes, duration, flows, lowest, highest, drop_v, drop_share, power, worst, failed, off, starved, through
    )


def _both_ways(currents_a: list[float]) -> tuple[float, float]:
    """The largest current from a to b and the largest from b to a, the solver's rounding taken as none."""
    forward, backward = max(0.0, *currents_a), max(0.0, *(-amps for amps in currents_a))
    return forward if forward >= LEAST_A else 0.0, backward if backward >= LEAST_A else 0.0


def _device(
    circuit: HvCircuit,
    device: Device,
    point: OperatingPoint,
    lanes: slice,
    good: NDArray[np.bool_],
    drop_v: dict[str, float],
    drop_share: dict[str, float],
) -> None:
    """Put down what a device that draws current loses on the way from the packs in series that feed it."""
    feed = feeds(circuit)[device.id]
    drawn = point.currents_a.get(device.id)
    if feed.way != "right" or drawn is None or not (np.abs(drawn[lanes])[good] >= LEAST_A).any():
        return
    pack_v = (point.voltages_v[feed.top] - point.voltages_v[feed.bottom])[lanes]
    loss = np.abs(pack_v - (point.voltages_v[device.plus] - point.voltages_v[device.minus])[lanes])
    drop_v[device.id] = float(loss[good].max())
    drop_share[device.id] = float((loss / pack_v)[good].max())


def _idle(
    circuit: HvCircuit,
    device: Device,
    point: OperatingPoint,
    case: str,
    lanes: slice,
    good: NDArray[np.bool_],
) -> NDArray[np.bool_]:
    """Corners at which a device that is fed and asked for power draws none."""
    drawn = point.currents_a.get(device.id)
    rests = _gives(device, case) or device.power_in(case) <= 0
    if feeds(circuit)[device.id].way != "right" or rests or drawn is None:
        return np.zeros_like(good)
    return np.asarray(good & (np.abs(drawn[lanes]) < LEAST_A))


def _gives(device: Device, case: str) -> bool:
    """Whether the device feeds the bus; on a full pack it may rest."""
    return device.kind == "charger" or (device.kind == "inverter" and case == BRAKING)


def _got(
    circuit: HvCircuit,
    device: Device,
    point: OperatingPoint,
    case: str,
    lanes: slice,
    judged: NDArray[np.bool_],
) -> NDArray[np.float64]:
    """Power V*I at the terminals of a device that is to draw constant power; inf where that is not asked of it."""
    drawn = point.currents_a.get(device.id)
    other = _gives(device, case) or math.isfinite(device.fixed_ohm) or device.power_in(case) <= 0
    if feeds(circuit)[device.id].way != "right" or other or drawn is None:
        return np.full(judged.shape, np.inf)
    volts = point.voltages_v[device.plus] - point.voltages_v[device.minus]
    return np.where(judged, (volts * drawn)[lanes], np.inf)


def _workings(circuit: HvCircuit, flows: CaseFlows, packs: PackResult) -> list[Working]:
    """What the solver found, and the pack voltage and each lead's drop that follow from it by hand."""
    lines = []
    for pack in circuit.packs:
        flow = flows.flows.get(pack.id)
        if flow is None or not flow.corner:
            continue
        corner = next(c for c in packs.packs[pack.id].corners if c.name == flow.corner)
        words = f"pack current, {flows.case}, {flow.corner}"
        lines.append(found(pack.id, "I", words, flow.current_a, "A", SOLVER, METHOD))
        charged = flows.case in INTO_PACK
        sign = 1.0 if charged else -1.0
        volts = corner.open_circuit_v + sign * flow.current_a * corner.resistance_ohm
        given = {"V_oc": (corner.open_circuit_v, "V"), "I": (flow.current_a, "A"), "R": (corner.resistance_ohm, "Ω")}
        law = "V_oc + I*R" if charged else "V_oc - I*R"
        lines.append(
            working(pack.id, "V", f"pack voltage at that current, {flows.case}", law, volts, "V", LOOP, **given)
        )
        watts = {"V": (volts, "V"), "I": (flow.current_a, "A")}
        lines.append(
            working(pack.id, "P", f"pack power, {flows.case}", "V*I", volts * flow.current_a, "W", LOOP, **watts)
        )
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
