"""Interlock and shutdown loops: voltage left at their end, what they open, and what a hand can then still reach.

Loops at least supply, hottest wire and coldest coils; live parts with every cell at its highest voltage. Only single
failures are looked at. Switching times, economisers and the supervisor's logic are not in it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from tristrand.design import Design
from tristrand.physics.conductor_tables import class5_resistance_ohm_per_m
from tristrand.physics.conductors import COPPER_ALPHA, resistance_at_ohm
from tristrand.physics.discharge import TOUCH_LIMIT_V
from tristrand.physics.loops import LoopElement, loop_resistance_ohm, loop_with_load, voltage_left_v
from tristrand.records import NamedTuple
from tristrand.studies.circuits import ambient_of, hv_circuit
from tristrand.studies.live_parts import NO_IDS, Bared, Net, State, bared, held, net_of, state
from tristrand.studies.loop_failures import LoopData, LoopsInputs, OpenData, PointData, WireData, faults, fires, opening
from tristrand.studies.opening import Groups
from tristrand.studies.results import (
    DischargeResult,
    Exposure,
    Failing,
    Later,
    LoopFigures,
    LoopsResult,
    MeasuredAt,
    Missing,
    PackResult,
    Pulled,
    Welded,
    Working,
    found,
    working,
)

if TYPE_CHECKING:
    from tristrand.design.loops import Loop

NAN = math.nan
HV = "high_voltage"
OHM = "CLOSED-FORM#voltages round a loop"


def inputs(design: Design) -> LoopsInputs:
    """Collect loops and topology; a gap in a loop's data is noted with the loop."""
    hv = design.high_voltage
    return LoopsInputs(
        net_of(hv_circuit(design)),
        tuple((key, part.kind) for key, part in hv.parts.items()),
        tuple(_loop(design, key, loop) for key, loop in hv.loops.items()),
        tuple(OpenData(key, item.kind, tuple(item.opens)) for key, item in hv.openable.items()),
        tuple(
            PointData(key, p.plus, p.minus, _end(p.resistor, "low"), _end(p.resistor_power, "low"))
            for key, p in hv.measuring_points.items()
        ),
    )


def _end(datum: Any, end: str) -> float:
    return NAN if datum is None else float(getattr(datum, end))


def _loop(design: Design, key: str, loop: Loop) -> LoopData:
    base, missing = f"{HV}/loops/{key}", []
    for field, datum, what in (
        ("supply", loop.supply, "supply voltage"),
        ("load", loop.load or loop.current, "load, or current of a fixed input"),
        ("least_voltage", loop.least_voltage, "least voltage at its end that counts as closed"),
        ("wire", loop.wire, "wire"),
    ):
        if datum is None:
            missing.append(Missing(f"{base}/{field}", f"{what} of loop {key}"))
    elements = []
    for name, element in loop.elements.items():
        if element.resistance is None:
            missing.append(Missing(f"{base}/elements/{name}/resistance", f"resistance of {name} in loop {key}"))
        ohm = 0.0 if element.resistance is None else element.resistance.high
        elements.append(LoopElement(name, ohm, 0.0 if element.drop is None else element.drop.high))
    wire = WireData(NAN, NAN, NAN, NAN)
    if loop.wire is not None:
        hot_c = ambient_of(design, loop.wire.ambient)
        size = NAN if loop.wire.cross_section is None else round(loop.wire.cross_section.to("mm²"), 6)
        wire = WireData(_end(loop.wire.resistance, "high"), _end(loop.wire.length, "high"), size, hot_c)
        missing += _wire_gaps(f"{base}/wire", key, wire)
    return LoopData(
        key,
        loop.kind,
        loop.by,
        loop.interrupts,
        NAN if loop.supply is None else loop.supply.minimum.low,
        _end(loop.load, "low"),
        _coils_ohm(design, loop),
        _end(loop.current, "high"),
        _end(loop.least_voltage, "high"),
        wire,
        # One that rests closed closes as its coil loses its current.
        tuple(c for c in loop.opens if getattr(design.high_voltage.parts[c], "rests", "") == "open"),
        tuple(elements),
        tuple(element.kind for element in loop.elements.values()),
        tuple(tuple(element.watches) for element in loop.elements.values()),
        tuple(element.contact_of or "" for element in loop.elements.values()),
        tuple(missing),
    )


def _coils_ohm(design: Design, loop: Loop) -> float:
    coils: list[Any] = [design.sheet_of(name).coil for name in loop.opens]
    if loop.by != "coil_current" or any(coil is None or coil.resistance is None for coil in coils):
        return NAN
    ohms: list[float] = [coil.resistance.value for coil in coils]
    return 1.0 / math.fsum(1.0 / ohm for ohm in ohms)


def _wire_gaps(base: str, key: str, wire: WireData) -> Iterator[Missing]:
    if not math.isnan(wire.ohm):
        return
    if math.isnan(wire.length_m):
        yield Missing(f"{base}/length", f"length of the wire of loop {key}")
    if math.isnan(wire.hot_c):
        yield Missing("vehicle/ambient", f"air temperature along loop {key}")
    if math.isnan(wire.size_mm2):
        yield Missing(f"{base}/cross_section", f"cross-section of the wire of loop {key}")
    elif math.isnan(_per_metre(wire.size_mm2)):
        yield Missing(f"{base}/resistance", f"resistance of loop {key}: IEC 60228 has no {wire.size_mm2:g} mm²")


def _per_metre(size_mm2: float) -> float:
    try:
        return class5_resistance_ohm_per_m(size_mm2)
    except ValueError:
        return NAN


def study(data: LoopsInputs, packs: PackResult, discharge: DischargeResult) -> LoopsResult:
    """Every loop, and where the packs are known every openable, service disconnect and pair of measuring points."""
    loops = {loop.id: _figures(loop) for loop in data.loops}
    result = LoopsResult(missing=tuple(m for f in loops.values() for m in f.missing), loops=loops)
    volts = tuple(packs.packs[name].maximum_v if name in packs.packs else NAN for name, _, _ in data.net.packs)
    if not volts or any(math.isnan(v) for v in volts):
        gaps = packs.missing or (Missing(f"{HV}/parts", "a pack"),)
        return result._replace(missing=(*result.missing, *gaps), workings=Later(lambda: list(_drops(data, loops))))
    live = _live(data, volts, _bus_s(discharge))
    opened = {loop.id: loops[loop.id]._replace(**live.opened[loop.id]) for loop in data.loops}
    result = result._replace(loops=opened, exposures=live.exposures, pulled=live.pulled, measured=live.measured)
    return result._replace(
        workings=Later(lambda: [*_drops(data, opened), *_times(live.exposures), *_powers(live.measured)])
    )


def _bus_s(discharge: DischargeResult) -> tuple[float, float]:
    """Time of the bus to 60 V with its resistor and without: nan where not computed, inf where it never gets there."""
    if not discharge.cases:
        return NAN, NAN
    active, passive = discharge.slowest_active_s, discharge.passive_s
    return math.inf if math.isnan(active) else active, math.inf if math.isnan(passive) else passive


@lru_cache(maxsize=256)
def _figures(loop: LoopData) -> LoopFigures:
    """Voltage at a loop's end. Kept: nothing else of the design changes it."""
    wire = loop.wire.ohm
    cold = _per_metre(loop.wire.size_mm2) * loop.wire.length_m
    if math.isnan(wire) and not math.isnan(cold + loop.wire.hot_c):
        wire = float(resistance_at_ohm(cold, loop.wire.hot_c))
    members = tuple(zip((e.name for e in loop.elements), loop.kinds, strict=True))
    drop, ohm, current, left = sum(e.drop_v for e in loop.elements), NAN, NAN, NAN
    if not any(not m.pointer.endswith("/least_voltage") for m in loop.missing):
        chain = (*loop.elements, LoopElement("wire", wire))
        ohm = loop_resistance_ohm(chain)
        if math.isnan(loop.current_a):
            at = loop_with_load(loop.supply_v, chain, loop.load_ohm)
            current, left = float(at.current_a), float(at.left_v)
        else:
            current, left = loop.current_a, float(voltage_left_v(loop.supply_v, chain, loop.current_a))
    return LoopFigures(
        loop.kind, ohm, wire, drop, current, left, loop.needed_v, loop.opens, members, loop.missing,
        load_ohm=loop.load_ohm, coils_ohm=loop.coils_ohm,
    )  # fmt: skip


class _Live(NamedTuple):
    """What the topology answers for loops, openables, disconnects and measuring points."""

    opened: Mapping[str, Mapping[str, Any]]
    exposures: Mapping[str, Exposure]
    pulled: Mapping[str, Pulled]
    measured: Mapping[str, MeasuredAt]


@lru_cache(maxsize=128)
def _live(data: LoopsInputs, volts: tuple[float, ...], bus_s: tuple[float, float]) -> _Live:
    net, kinds = data.net, dict(data.kinds)
    closed = state(net, volts)
    # A charging loop is closed, and watched, only while charging: nothing else may rest on it.
    always = data._replace(loops=tuple(loop for loop in data.loops if loop.kind != "charging"))
    exposures = {
        item.id: _exposure(always, volts, bared(net, kinds, item.kind, item.opens), item.id, bus_s)
        for item in data.openable
    }
    measured = {point.id: _measured(data, closed, volts, point) for point in data.points}
    pulled = {name: _pulled(net, volts, name) for name, kind in data.kinds if kind == "service_disconnect"}
    return _Live({loop.id: _opened(data, volts, loop) for loop in data.loops}, exposures, pulled, measured)


def _measured(data: LoopsInputs, closed: State, volts: tuple[float, ...], point: PointData) -> MeasuredAt:
    """One pair of measuring points."""
    # A precharge resistor is no conductor here: behind it a short of the points is not what was computed.
    of = Groups((a, b) for _, a, b in data.net.wires).of
    ends = (of(point.plus), of(point.minus))
    inverters = tuple(
        name for name, kind in data.kinds if kind == "inverter" and (of(f"{name}.plus"), of(f"{name}.minus")) == ends
    )
    across = closed.voltage((point.plus, point.minus))
    # Both resistors lie in the short: each takes half the voltage.
    return MeasuredAt(across, point.ohm, (across / 2) ** 2 / point.ohm, point.rated_w, inverters)


def _largest(names: Iterable[str], at: State) -> tuple[float, str]:
    """The largest voltage at a device, and which."""
    return max(((at.voltage((f"{n}.plus", f"{n}.minus")), n) for n in names), default=(0.0, ""), key=lambda p: p[0])


def _parted(data: LoopsInputs, loop: LoopData) -> tuple[str, ...]:
    """What a loop is to part from the packs: every device; a charging loop chargers and inlets, where there are any."""
    ports = tuple(name for name, kind in data.kinds if kind in ("charger", "inlet"))
    return ports if ports and loop.kind == "charging" else tuple(d.id for d in data.net.devices)


def _opened(data: LoopsInputs, volts: tuple[float, ...], loop: LoopData) -> dict[str, Any]:
    """What a loop leaves at the devices once it has opened its contactors, and with one of them welded."""
    net, opens, names = data.net, fires(data, loop, None), _parted(data, loop)
    after = state(net, volts, opens)
    most, where = _largest(names, after)
    welded = tuple(Welded(c, _largest(names, state(net, volts, opens - {c}))[0]) for c in sorted(opens))
    poles = after.poles_at(f"{name}.{pole}" for name in names for pole in ("plus", "minus"))
    return {"open_device_v": most, "open_device": where, "open_poles": poles, "welded": welded}


def _exposure(
    data: LoopsInputs, volts: tuple[float, ...], bare: Bared, name: str, bus_s: tuple[float, float]
) -> Exposure:
    """One openable, before and after, and under every single failure of its loops and their contactors."""
    net, parted = data.net, bare.parted
    before = state(net, volts)
    opens = opening(data, name)
    after = state(net, volts, opens, parted)
    kept: dict[frozenset[str], tuple[float, tuple[str, ...]]] = {}

    def left(still_open: frozenset[str]) -> tuple[float, tuple[str, ...]]:
        if still_open not in kept:
            at = state(net, volts, still_open, parted)
            kept[still_open] = at.voltage(bare.nodes), at.poles_at(bare.nodes)
        return kept[still_open]

    failures = [Failing(f"{contactor} welded", "weld", "", *left(opens - {contactor})) for contactor in sorted(opens)]
    for fault in faults(data, name):
        failures.append(Failing(fault.words, "loop", fault.loop, *left(opening(data, name, fault))))
    return Exposure(
        bare.terminals,
        tuple(loop.id for loop in data.loops if any(name in names for names in loop.watches)),
        max(before.voltage(bare.terminals), left(NO_IDS)[0]),
        before.poles_at(bare.terminals),
        *left(opens),
        held(after, before, bare.nodes, bus_s),
        tuple(failures),
    )


def _pulled(net: Net, volts: tuple[float, ...], name: str) -> Pulled:
    """What stays live with a disconnect out: conductors that a pole of a pack reaches, every contactor open."""
    out = frozenset((name,))
    at = state(net, volts, frozenset(key for key, _, _ in net.contacts), out)
    live: dict[str, list[str]] = {}
    for key, a, b in (*net.wires, *net.contacts, *net.precharge):
        for pole in dict.fromkeys((*at.conducts(a), *at.conducts(b))):
            live.setdefault(pole, []).append(key)
    stuck = _largest((d.id for d in net.devices), state(net, volts, NO_IDS, out))[0]
    return Pulled({pole: tuple(keys) for pole, keys in live.items()}, stuck)


# ---------------------------------------------------------------- workings
def _drops(data: LoopsInputs, loops: Mapping[str, LoopFigures]) -> Iterator[Working]:
    for loop in data.loops:
        figures = loops[loop.id]
        if math.isnan(figures.left_v):
            continue
        wire, chain = loop.wire, sum(e.resistance_ohm for e in loop.elements)
        if math.isnan(wire.ohm):
            yield working(
                loop.id, "R_w", "resistance of its wire, hottest", "r*l*(1 + alpha*(T - 20))", figures.wire_ohm, "Ω",
                "IEC-60228#class 5", r=(_per_metre(wire.size_mm2), "Ω/m"),
                l=(wire.length_m, "m"), alpha=(COPPER_ALPHA.alpha_per_k, "1/K"), T=(wire.hot_c, "°C"),
            )  # fmt: skip
        given: dict[str, tuple[float, str]] = {
            "V": (loop.supply_v, "V"), "V_d": (figures.fixed_drop_v, "V"), "R_e": (chain, "Ω"),
            "R_w": (figures.wire_ohm, "Ω"),
        }  # fmt: skip
        if math.isnan(loop.current_a):
            formula, end = "(V - V_d)/(R_e + R_w + R_l)*R_l", {"R_l": (loop.load_ohm, "Ω")}
        else:
            formula, end = "V - V_d - I*(R_e + R_w)", {"I": (loop.current_a, "A")}
        # Where the fixed drops eat the supply, no current flows and no formula of a straight line holds.
        if loop.supply_v > figures.fixed_drop_v:
            words = "voltage left at its end at the least supply"
            yield working(loop.id, "V_end", words, formula, figures.left_v, "V", OHM, **given, **end)


def _times(exposures: Mapping[str, Exposure]) -> Iterator[Working]:
    """How long parted capacitors stay above 60 V; the time of the bus is the discharge study's own."""
    for name, exposure in exposures.items():
        for held_up in exposure.held:
            if not math.isfinite(held_up.ohm) or math.isnan(held_up.farad):
                continue
            words = f"time to 60 V of {', '.join(held_up.devices)} cut off from the discharge resistor"
            yield working(
                name, "t_60", words, "R*C*ln(V/V_60)", held_up.seconds, "s", "CLOSED-FORM#first-order RC discharging",
                R=(held_up.ohm, "Ω"), C=(held_up.farad, "F"), V=(held_up.start_v, "V"), V_60=(TOUCH_LIMIT_V, "V"),
            )  # fmt: skip


def _powers(measured: Mapping[str, MeasuredAt]) -> Iterator[Working]:
    for name, point in measured.items():
        if math.isnan(point.ohm):
            continue
        yield found(
            name, "V", "highest voltage between the points", point.volts, "V", "CLOSED-FORM#cells in series",
            "packs in series, every cell at its highest",
        )  # fmt: skip
        words = "power in each resistor with the points shorted together"
        yield working(
            name, "P", words, "(V/2)**2/R", point.shorted_w, "W", "CLOSED-FORM#Joule's law", V=(point.volts, "V"),
            R=(point.ohm, "Ω"),
        )  # fmt: skip
