"""What hangs on the bus: the largest lasting current of every device, converters at a low voltage, surges in fuses.

A device regulated to a power takes the most at the lowest voltage at which it runs. Capacitors behind a fuse are
charged through it at every start: by what precharge leaves as the main contactors close, or by the whole voltage where
a contactor of the branch connects them to a bus that is up.
"""

import math
from collections.abc import Iterator, Mapping
from typing import Any, cast

from tristrand.design import Datum, Design
from tristrand.physics.loops import browned_out_w, converter_input_range_a, full_output_from_v
from tristrand.physics.pack import current_for_power_a, terminal_voltage_v
from tristrand.records import NamedTuple
from tristrand.studies.branch_surges import Bus, surge_of
from tristrand.studies.circuits import HvCircuit, hv_circuit
from tristrand.studies.results import (
    Branch,
    BranchesResult,
    BranchFuse,
    CaseFlows,
    Later,
    OperatingResult,
    PackFigures,
    PackResult,
    PrechargeResult,
    Trunk,
    Working,
    found,
    working,
)
from tristrand.studies.separators import needed_by_devices, served_by
from tristrand.studies.topology import chains, closed, feeding_fuses, protecting_fuses

NAN = math.nan

BALANCE = "CLOSED-FORM#power balance of a converter"
CHARGING = "CLOSED-FORM#energy of a capacitance"
PULSE_LIFE = "FUSE-GUIDE#pulse cycle life"


class DeviceData(NamedTuple):
    """A device across the bus; what its sheet does not give is nan, an input limit that is not there inf.

    ``least_v``: lowest voltage at which it may still run. ``off_v``: a converter's turn-off voltage, the end of its
    tolerance that turns off first. ``efficiency``: its low end. ``plain``: a plain resistance of ``ohm``. ``amps``:
    current that the sheet states for it.
    """

    id: str
    kind: str
    starts: str = ""
    least_v: float = NAN
    off_v: float = NAN
    output_w: float = NAN
    efficiency: float = NAN
    limit_a: float = math.inf
    least_limit_a: float = math.inf
    ohm: float = NAN
    plain: bool = False
    amps: float = NAN


class FuseData(NamedTuple):
    """A fuse: the high end of its rating, the low end of its own continuous share (nan where not given)."""

    id: str
    highest_a: float
    share: float


class BranchInputs(NamedTuple):
    """The circuit, its devices and fuses, contactors that close onto an inlet, and the starts in the vehicle's life.

    ``closes_first``: contactors of single branches that the design says are closed before precharge.
    """

    circuit: HvCircuit
    devices: tuple[DeviceData, ...]
    fuses: tuple[FuseData, ...]
    charge_contactors: tuple[str, ...]
    starts: float
    closes_first: tuple[str, ...] = ()


def inputs(design: Design) -> BranchInputs:
    """Collect what sheets say about devices and fuses; the rules name what they leave out."""
    devices = [_device(design, d.id, d.kind) for d in hv_circuit(design).devices]
    fuses = []
    for part_id in design.parts_of("fuse"):
        sheet = design.sheet_of(part_id)
        fuses.append(FuseData(part_id, _end(sheet.rated_current, "high"), _end(sheet.continuous_share, "low")))
    charging = tuple(design.parts_of("contactor", role="charge"))
    duty = design.high_voltage.switching_duty
    # A charge is a start of its own, from a charger outside the vehicle too.
    counts = (None, None) if duty is None else (duty.starts, duty.charges)
    starts = math.fsum(NAN if count is None else count for count in counts)
    first = tuple(k for k, part in design.parts_of("contactor").items() if part.closes == "before_precharge")
    return BranchInputs(hv_circuit(design), tuple(devices), tuple(fuses), charging, starts, first)


def _end(datum: Datum | None, end: str, default: float = NAN) -> float:
    return default if datum is None else float(getattr(datum, end))


def _device(design: Design, part_id: str, kind: str) -> DeviceData:
    """One device; what sheets of its kind do not have is never asked for, since that costs a millisecond."""
    sheet, part = design.sheet_of(part_id), cast("Any", design.high_voltage.parts[part_id])
    floor = sheet.voltage.minimum if sheet.voltage is not None else None
    device = DeviceData(id=part_id, kind=kind, least_v=_end(floor, "low"))
    if kind == "dcdc":
        return _converter(device, sheet, floor)._replace(starts=part.starts)
    if kind == "heater":
        return device._replace(
            starts=part.starts,
            output_w=_end(sheet.rated_power, "high"),
            efficiency=1.0,
            ohm=_end(sheet.resistance, "low") if sheet.control == "resistance" else NAN,
            plain=sheet.control == "resistance",
        )
    return device._replace(amps=_end(sheet.output_current if kind == "charger" else sheet.continuous_current, "high"))


def _converter(device: DeviceData, sheet: Any, floor: Datum | None) -> DeviceData:
    # Without a turn-off voltage it turns off where it turns on, without both where its working range ends.
    offs = [datum for datum in (sheet.turn_off_voltage, sheet.turn_on_voltage, floor) if datum is not None]
    return device._replace(
        least_v=min((d.low for d in (sheet.turn_off_voltage, floor) if d is not None), default=NAN),
        off_v=offs[0].high if offs else NAN,
        output_w=_end(sheet.rated_power, "high"),
        efficiency=_end(sheet.efficiency, "low"),
        limit_a=_end(sheet.input_current_limit, "high", math.inf),
        least_limit_a=_end(sheet.input_current_limit, "low", math.inf),
    )


def study(
    data: BranchInputs, packs: PackResult, operating: OperatingResult, precharge: PrechargeResult
) -> BranchesResult:
    """Every branch for itself, every fuse with what stands behind it, and conductors in front of several branches."""
    circuit, bus = data.circuit, _bus(data, packs, precharge)
    branches = {d.id: _branch(data, d, bus, operating, packs) for d in data.devices}
    fuses = {
        fuse.id: made
        for fuse in data.fuses
        if (made := surge_of(circuit, fuse.id, fuse.share, data.starts, branches, bus)) is not None
    }
    trunks = _trunks(data, branches, bus)
    lines = Later(lambda: list(_workings(data, branches, fuses, trunks)))
    missing = tuple(packs.missing) if math.isnan(bus.highest_v) else ()
    return BranchesResult(lines, missing, (), branches, fuses, trunks)


def _bus(data: BranchInputs, packs: PackResult, precharge: PrechargeResult) -> Bus:
    needed = needed_by_devices(data.circuit)
    serves = served_by(needed)
    if len(packs.packs) < len(data.circuit.packs) or not packs.packs:
        return Bus(NAN, NAN, NAN, NAN, (), needed, serves, NAN, False)
    ends = ({n: f.minimum_v for n, f in packs.packs.items()}, {n: f.maximum_v for n, f in packs.packs.items()})
    low, high = ([chain.volts for chain in chains(data.circuit, end)] for end in ends)
    left = abs(precharge.residual_v)
    if not precharge.bypassed and not precharge.missing:
        left = max(high)  # without precharge the contactors close on the whole voltage
    surge = precharge.surge_joule_integral_a2s
    # A branch whose contactor is not said to close first is connected to a bus that is up.
    later = (*precharge.held_open, *(c for c in precharge.branch_contactors if c not in data.closes_first))
    # The surge is over before anything but the ohmic part of the cells takes part.
    ohms = [figures.fault_ohm for figures in packs.packs.values()]
    ohm = ohms[0] if len(ohms) == 1 else NAN
    return Bus(min(low), max(high), left, surge, later, needed, serves, ohm, bool(precharge.held_open))


def _branch(data: BranchInputs, device: DeviceData, bus: Bus, operating: OperatingResult, packs: PackResult) -> Branch:
    way = bus.needed.get(device.id, ())
    fuses = tuple(f.id for f in data.fuses if f.id in way)
    contactors = tuple(c.id for c in data.circuit.contacts if c.id in way and bus.part_of_it(c.id))
    live = any(c in data.charge_contactors or c in bus.held_open for c in contactors)
    branch = Branch(device.id, device.kind, device.starts, fuses, contactors, live)
    branch = _lasting(branch, device, bus)
    return _low(branch, device, operating, packs, data.circuit)


def _lasting(branch: Branch, device: DeviceData, bus: Bus) -> Branch:
    """The largest current that the device may take for long, and at which voltage."""
    if device.kind in ("charger", "inverter"):
        words = "output current of its sheet" if device.kind == "charger" else "continuous current of its sheet"
        return branch._replace(lasting_a=device.amps, words=words)
    if device.plain:
        amps = bus.highest_v / device.ohm
        return branch._replace(lasting_a=amps, lasting_v=bus.highest_v, words="plain resistance at the highest voltage")
    # It runs down to its own floor or to the least voltage of the pack, whichever is higher.
    ends = [v for v in (device.least_v, bus.least_v) if not math.isnan(v)]
    if not ends or math.isnan(device.output_w) or math.isnan(device.efficiency) or math.isnan(bus.highest_v):
        return branch._replace(words="")
    low = min(max(ends), bus.highest_v)
    share = device.efficiency
    drawn = converter_input_range_a(device.output_w, low, bus.highest_v, share, share)
    largest, least = float(drawn.largest_a), float(drawn.at_highest_v_a)
    limited = largest > device.limit_a
    return branch._replace(
        lasting_a=min(largest, device.limit_a),
        lasting_v=low,
        least_a=min(least, device.limit_a),
        words="its input current limit" if limited else "rated power at the lowest voltage at which it runs",
    )


def _low(
    branch: Branch, device: DeviceData, operating: OperatingResult, packs: PackResult, circuit: HvCircuit
) -> Branch:
    """The lowest voltage at the device in any case in which it draws, new and with an aged pack."""
    name = device.id
    cases = [
        c
        for c in operating.cases.values()
        if c.drives and name in c.lowest_v and c.flows.get(name) and c.flows[name].current_a > 0
    ]
    if not cases:
        return branch
    worst = min(cases, key=lambda c: c.lowest_v[name])
    branch = branch._replace(low_v=worst.lowest_v[name], low_case=worst.case)
    if device.kind != "dcdc":
        return branch
    strings = _strings(circuit, name, packs)
    tired = [_aged_v(c, packs, strings, c.drop_v.get(name, 0.0)) for c in cases]
    # A tired pack never does better than a new one.
    aged = NAN if any(map(math.isnan, tired)) else min(*tired, branch.low_v)
    branch = branch._replace(aged_v=aged, off_v=device.off_v)
    if math.isnan(device.output_w) or math.isnan(device.efficiency):
        return branch
    full, at = 0.0, branch.low_v if math.isnan(aged) else aged
    left = device.output_w
    if math.isfinite(device.least_limit_a):
        full = float(full_output_from_v(device.output_w, device.least_limit_a, device.efficiency))
        left = float(browned_out_w(at, device.least_limit_a, device.efficiency, device.output_w))
    return branch._replace(full_from_v=full, rated_w=device.output_w, left_w=0.0 if at < device.off_v else left)


def _strings(circuit: HvCircuit, name: str, packs: PackResult) -> list[tuple[str, ...]]:
    """Packs in series that feed a device; all of the circuit where none has the device across its ends."""
    joined, ends = closed(circuit), {p.id: p for p in circuit.packs}
    device = next(d for d in circuit.devices if d.id == name)
    strings = [chain.packs for chain in chains(circuit, dict.fromkeys(packs.packs, 1.0))]
    across = [
        s for s in strings if joined.same(ends[s[0]].plus, device.plus) and joined.same(ends[s[-1]].minus, device.minus)
    ]
    return across or strings


def _aged_v(case: CaseFlows, packs: PackResult, strings: list[tuple[str, ...]], drop_v: float) -> float:
    """Voltage at a device with every pack emptiest and at the end of its life, its devices taking the same power.

    Strings side by side are taken to age alike; the one that sags most counts.
    """
    return min((_tired_v([packs.packs[p] for p in names], case, drop_v) for names in strings), default=NAN)


def _tired_v(string: list[PackFigures], case: CaseFlows, drop_v: float) -> float:
    """Voltage behind aged packs in series and the way to the device; 0 where they cannot give the power.

    The drop of the new packs' current stands for a resistance, behind which the power is taken.
    """
    open_v = sum(min(c.open_circuit_v for c in figures.corners) for figures in string)
    watts = sum(case.pack_power_w.get(f.pack, NAN) for f in string)
    if not watts > 0:
        return max(open_v - drop_v, 0.0) if watts <= 0 else NAN
    new_a = max(case.flows[f.pack].current_a for f in string)
    way_ohm = drop_v / new_a if new_a > 0 else 0.0
    ohm = sum(figures.aged_ohm for figures in string) + way_ohm
    amps = float(current_for_power_a(watts - drop_v * new_a, open_v, ohm))
    return 0.0 if math.isnan(amps) else float(terminal_voltage_v(open_v, amps, ohm))


def _trunks(data: BranchInputs, branches: Mapping[str, Branch], bus: Bus) -> dict[str, Trunk]:
    """Cables in front of several devices: the fuses behind each, and its own; fuses at the high end of their rating."""
    rated = {f.id: f.highest_a for f in data.fuses}
    guards, ways = protecting_fuses(data.circuit), feeding_fuses(data.circuit)
    made: dict[str, Trunk] = {}
    for lead in data.circuit.leads:
        behind = bus.serves.get(lead.id, ())
        if len(behind) < 2 or not lead.cable:
            continue
        # Where no fuse guards it against all packs at once, one of each pack adds up.
        own = [_least(way, rated) for way in (guards.get(lead.id, ()),) if way]
        own = own or [_least(way, rated) for way in ways.get(lead.id, ())]
        own_a = math.fsum(rated[name] for name in own) if own else NAN
        made[lead.id] = Trunk(lead.id, behind, _sum_a(behind, rated, branches, bus), " and ".join(own), own_a)
    return made


def _least(fuses: tuple[str, ...], rated: Mapping[str, float]) -> str:
    return min(fuses, key=lambda name: (math.isnan(rated[name]), rated[name]))


def _sum_a(behind: tuple[str, ...], rated: Mapping[str, float], branches: Mapping[str, Branch], bus: Bus) -> float:
    """What protects the devices behind a conductor: the least fuse of each, counted once; else the device itself."""
    total, fuses = 0.0, set()
    for name in behind:
        between = tuple(f for f in branches[name].fuses if set(bus.serves[f]) < set(behind))
        if between:
            fuses.add(_least(between, rated))
        else:
            total += branches[name].lasting_a
    return total + math.fsum(rated[name] for name in fuses)


def _workings(
    data: BranchInputs,
    branches: Mapping[str, Branch],
    fuses: Mapping[str, BranchFuse],
    trunks: Mapping[str, Trunk],
) -> Iterator[Working]:
    for device in data.devices:
        yield from _device_lines(device, branches[device.id])
    for given in data.fuses:
        if given.id in fuses:
            yield from _fuse_lines(fuses[given.id])
    for trunk in trunks.values():
        if not math.isnan(trunk.sum_a):
            method = f"fuses of {', '.join(trunk.devices)}, or their own current, added up"
            words = "sum of what protects the devices behind it"
            yield found(trunk.lead, "I_sum", words, trunk.sum_a, "A", "FSAE-2026#EV.6.6.4", method)


def _device_lines(device: DeviceData, branch: Branch) -> Iterator[Working]:
    name, power = device.id, (device.output_w, "W")
    if not math.isnan(branch.lasting_a):
        words = f"largest lasting current: {branch.words}"
        if branch.words.startswith("rated power"):
            given = {"P": power, "eta": (device.efficiency, "1"), "V": (branch.lasting_v, "V")}
            yield working(name, "I", words, "P/(eta*V)", branch.lasting_a, "A", BALANCE, **given)
        elif branch.words.startswith("plain"):
            given = {"V": (branch.lasting_v, "V"), "R": (device.ohm, "Ω")}
            yield working(name, "I", words, "V/R", branch.lasting_a, "A", "CLOSED-FORM#Ohm's law", **given)
        else:
            yield found(name, "I", words, branch.lasting_a, "A", "DATASHEET#current of the device", branch.words)
    if branch.full_from_v > 0:
        given = {"P": power, "eta": (device.efficiency, "1"), "I": (device.least_limit_a, "A")}
        words = "lowest voltage at which the input limit allows the rated output"
        yield working(name, "V_full", words, "P/(eta*I)", branch.full_from_v, "V", BALANCE, **given)
    if not math.isnan(branch.aged_v):
        words = "lowest voltage at its terminals, pack emptiest and at the end of its life, same power"
        method = "smaller root of the power equation, less the drop of the leads"
        yield found(name, "V_aged", words, branch.aged_v, "V", "CLOSED-FORM#power equation", method)


def _fuse_lines(fuse: BranchFuse) -> Iterator[Working]:
    if math.isnan(fuse.joule_a2s):
        return
    words = f"I²t of the surge at every start: {fuse.words}"
    if math.isnan(fuse.ohm):
        method = "from the study of precharge"
        yield found(fuse.fuse, "I2t", words, fuse.joule_a2s, "A²s", "CLOSED-FORM#series RLC step response", method)
    else:
        given = {"C": (fuse.farad, "F"), "V": (fuse.step_v, "V"), "R": (fuse.ohm, "Ω")}
        yield working(fuse.fuse, "I2t", words, "C*V**2/(2*R)", fuse.joule_a2s, "A²s", CHARGING, **given)
    words = f"melting I²t that outlives {fuse.pulses:g} such surges"
    share = fuse.joule_a2s / fuse.needed_a2s if fuse.needed_a2s > 0 else 1.0
    given = {"I2t": (fuse.joule_a2s, "A²s"), "k": (share, "1")}
    yield working(fuse.fuse, "I2t_m", words, "I2t/k", fuse.needed_a2s, "A²s", PULSE_LIFE, **given)
