"""What the solved circuit says of one case: currents, voltages and drops, and who gets too little.

Every figure is the worst of the case's lanes: the corners of the pack, with other loads on and off, packs new and aged.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from tristrand.physics.circuit import OperatingPoint
from tristrand.records import NamedTuple
from tristrand.studies.circuits import Device, HvCircuit, PackEnds
from tristrand.studies.results import BRAKING, CaseFlows, Flow, Lifted, Starved
from tristrand.studies.topology import feeds

# Below this the solver's rounding is no current of the car's.
LEAST_A = 1e-3
# A device that gets less than this share of its power is short of it; the rest is rounding.
STARVED = 0.99


class Lanes(NamedTuple):
    """The solver's lanes of one case: which, the corner of each, and whether other loads are on in it."""

    at: slice
    corners: list[str]
    loads: NDArray[np.bool_]


def case_flows(
    circuit: HvCircuit,
    point: OperatingPoint,
    case: str,
    modes: tuple[str, ...],
    duration: float,
    lanes: Lanes,
    ohm: Mapping[str, NDArray[np.float64]],
) -> CaseFlows:
    """One case from its lanes; ``ohm``: resistance of every pack [ohm], one value a lane of the whole solution."""
    at, corners = lanes.at, lanes.corners
    failed = {c: r for c, r, ok in zip(corners, point.reason[at], point.converged[at], strict=True) if not ok}
    good = np.asarray(point.converged[at], dtype=bool)
    found = CaseFlows(case, modes, duration, {}, {}, {}, {}, {}, {}, "", failed, {}, {})
    if not good.any():
        return found
    flows = _largest(point.currents_a, lanes, good)
    # A charger with an open end is in no loop that the solver sees.
    devices = [d for d in circuit.devices if d.plus in point.voltages_v and d.minus in point.voltages_v]
    poled: tuple[Device | PackEnds, ...] = (*devices, *circuit.packs)
    lowest, highest = {}, {}
    for part in poled:
        volts = _across(point, part, at)[good]
        lowest[part.id], highest[part.id] = float(volts.min()), float(volts.max())
    starved: dict[str, Starved] = {}
    found = found._replace(flows=flows, lowest_v=lowest, highest_v=highest, starved=starved)
    for device in devices:
        _of_device(circuit, device, point, found, starved, lanes, good)
    found = _of_packs(circuit, point, found, lanes, good, ohm)
    return _of_contactors(circuit, point, found, lanes, good)


def _largest(currents: Mapping[str, NDArray[np.float64]], lanes: Lanes, good: NDArray[np.bool_]) -> dict[str, Flow]:
    """The largest size of every current; the solver's rounding is none."""
    sizes = np.where(good, np.abs([current[lanes.at] for current in currents.values()]), -1.0)
    peaks = zip(currents, sizes.tolist(), sizes.argmax(axis=1).tolist(), strict=True)
    return {name: _flow(size[at], lanes.corners[at]) for name, size, at in peaks}


def _flow(current_a: float, corner: str) -> Flow:
    return Flow(current_a, corner) if current_a >= LEAST_A else Flow(0.0, "")


def _across(point: OperatingPoint, part: Device | PackEnds, at: slice) -> NDArray[np.float64]:
    """Voltage at a part, lane by lane."""
    return np.asarray((point.voltages_v[part.plus] - point.voltages_v[part.minus])[at])


def _of_packs(
    circuit: HvCircuit,
    point: OperatingPoint,
    found: CaseFlows,
    lanes: Lanes,
    good: NDArray[np.bool_],
    ohm: Mapping[str, NDArray[np.float64]],
) -> CaseFlows:
    """Power of the packs, what flows into them and out of them, and in regeneration where they are lifted furthest."""
    power, lifted = {}, {}
    # With the other loads off a pack gives no more than what built-in resistances take.
    asked = good & lanes.loads
    currents = {pack.id: point.currents_a[pack.id] for pack in circuit.packs}
    for pack in circuit.packs:
        volts, given = _across(point, pack, lanes.at), currents[pack.id][lanes.at]
        watts = np.where(good, volts * given, 0.0)
        power[pack.id] = float(watts[int(np.argmax(np.abs(watts)))])
        if found.case == BRAKING:
            top = int(np.argmax(np.where(good, volts, -math.inf)))
            own_ohm = float(ohm[pack.id][lanes.at][top])
            lifted[pack.id] = Lifted(lanes.corners[top], -float(given[top]), own_ohm)
    return found._replace(
        pack_power_w=power,
        worst_corner=max((found.flows[name] for name in currents), key=lambda flow: flow.current_a).corner,
        into_pack=_largest({name: np.minimum(amps, 0.0) for name, amps in currents.items()}, lanes, good),
        out_of_pack=_largest({name: np.maximum(amps, 0.0) for name, amps in currents.items()}, lanes, asked),
        lifted=lifted,
    )


def _of_device(
    circuit: HvCircuit,
    device: Device,
    point: OperatingPoint,
    found: CaseFlows,
    starved: dict[str, Starved],
    lanes: Lanes,
    good: NDArray[np.bool_],
) -> None:
    """Put down a device's drop, and the corners in which it gets none or too little of what it is asked for."""
    case, asked = found.case, good if gives(device, found.case) else good & lanes.loads
    _device(circuit, device, point, lanes.at, asked, found.drop_v, found.drop_share)
    idle = _idle(circuit, device, point, case, lanes.at, asked)
    if idle.any():
        found.stays_off[device.id] = tuple(name for name, none in zip(lanes.corners, idle, strict=True) if none)
    got = _got(circuit, device, point, case, lanes.at, asked & ~idle)
    if got[at := int(np.argmin(got))] < STARVED * device.power_in(case):
        drawn = float(point.currents_a[device.id][lanes.at][at])
        starved[device.id] = Starved(lanes.corners[at], drawn, float(got[at]), device.power_in(case))


def _of_contactors(
    circuit: HvCircuit, point: OperatingPoint, found: CaseFlows, lanes: Lanes, good: NDArray[np.bool_]
) -> CaseFlows:
    """Currents of the contactors each way; what charges or brakes flows back most with the other loads off."""
    through, back = {}, {}
    for name in [c.id for c in circuit.contacts if c.id in found.flows]:
        current = point.currents_a[name][lanes.at]
        through[name] = _both_ways(current[good].tolist())
        if not found.drives:
            back[name] = _both_ways(current[good & ~lanes.loads].tolist())
    return found._replace(through=through, back=back)


def _both_ways(currents_a: list[float]) -> tuple[float, float]:
    """The largest current from a to b and the largest from b to a, the solver's rounding taken as none."""
    forward, backward = max([0.0, *currents_a]), max([0.0, *(-amps for amps in currents_a)])
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
    rests = gives(device, case) or device.power_in(case) <= 0
    if feeds(circuit)[device.id].way != "right" or rests or drawn is None:
        return np.zeros_like(good)
    return np.asarray(good & (np.abs(drawn[lanes]) < LEAST_A))


def gives(device: Device, case: str) -> bool:
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
    other = gives(device, case) or math.isfinite(device.fixed_ohm) or device.power_in(case) <= 0
    if feeds(circuit)[device.id].way != "right" or other or drawn is None:
        return np.full(judged.shape, np.inf)
    volts = point.voltages_v[device.plus] - point.voltages_v[device.minus]
    return np.where(judged, (volts * drawn)[lanes], np.inf)
