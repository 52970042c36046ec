"""What does a turning machine do when nothing controls it? Voltage on the bus, charging of the pack, active short.

A permanent-magnet machine makes its voltage whenever it turns. With the gates off the inverter's diodes pass it on: to
the pack where the contactors are closed, to everything on the bus where they are open. Counted with the magnets cold,
the high end of the back-EMF and no diode drop: the harder side for all but the short circuit's own resistance.
"""

import math
from collections.abc import Iterator
from typing import Any

import numpy as np

from tristrand.design import Datum, Design
from tristrand.physics import generation as physics
from tristrand.physics.discharge import TOUCH_LIMIT_V
from tristrand.records import NamedTuple
from tristrand.studies.circuits import HvCircuit, hv_circuit
from tristrand.studies.generation_lines import Drive, Road, curves, workings
from tristrand.studies.opening import Groups, conductors
from tristrand.studies.results import (
    ActiveShort,
    DischargeResult,
    GenerationResult,
    Later,
    MachineFigures,
    Missing,
    OnBus,
    OperatingResult,
    PackResult,
)
from tristrand.studies.slices import wiring
from tristrand.studies.topology import edges, feeds

NAN = math.nan
LINE = "vehicle/drive_line"
SALIENT_FROM = 0.01
"""Inductances of the axes further apart than this share count as different."""


class Rating(NamedTuple):
    """What a part or a cable stands by its sheet: the pointer there, and the low end of the value."""

    pointer: str
    volts: float


class GenerationInputs(NamedTuple):
    """The circuit, every inverter's machine, the road, and what each part and cable stands."""

    circuit: HvCircuit
    drives: tuple[Drive, ...]
    road: Road
    parts: tuple[tuple[str, Rating], ...]
    cables: tuple[tuple[str, Rating], ...]


def inputs(design: Design) -> GenerationInputs:
    """Collect the machines, the road and the ratings of a design."""
    line = design.vehicle.drive_line
    road = Road(
        max(_end(line.top_speed, "high"), _end(line.downhill_speed, "high", 0.0)),
        _end(line.towed_speed, "high"),
        _end(line.tyre_radius, "low"),
        _end(line.braking_time, "high"),
    )
    drives = tuple(_drive(design, part_id, part) for part_id, part in design.parts_of("inverter").items())
    parts = tuple(
        (part_id, _rating(design, part_id, part))
        for part_id, part in design.high_voltage.parts.items()
        if part.kind not in ("pack", "junction")
    )
    names = dict.fromkeys(lead.cable for lead in design.high_voltage.connections.values() if lead.cable)
    cables = tuple(
        (name, Rating(f"parts/{name}/rated_voltage", _end(design.sheets[name].rated_voltage, "low"))) for name in names
    )
    return GenerationInputs(wiring(hv_circuit(design)), drives, road, parts, cables)


def _end(datum: Datum | None, end: str, default: float = NAN) -> float:
    return default if datum is None else float(getattr(datum, end))


def _rating(design: Design, part_id: str, part: Any) -> Rating:
    sheet = design.sheet_of(part_id)
    if part.kind == "inverter":
        return Rating(f"parts/{part.sheet}/bus_voltage_withstand", _end(sheet.bus_voltage_withstand, "low"))
    if part.kind in ("dcdc", "heater", "charger"):
        return Rating(f"parts/{part.sheet}/voltage", _end(sheet.voltage.maximum if sheet.voltage else None, "low"))
    return Rating(f"parts/{part.sheet}/rated_voltage", _end(sheet.rated_voltage, "low"))


def _drive(design: Design, part_id: str, part: Any) -> Drive:
    here = f"high_voltage/parts/{part_id}"
    empty = Drive(part_id, "", None, part.machines, 0, NAN, "", NAN, NAN, NAN, NAN, NAN, NAN, NAN, NAN, ())
    if part.machine is None:
        return empty._replace(gaps=(("machine", Missing(f"{here}/machine", f"the machine that {part_id} feeds")),))
    sheet, base = design.sheets[part.machine], f"parts/{part.machine}"
    emf, ambient = sheet.back_emf, design.vehicle.ambient
    spin = part.speed_limit if part.speed_limit is not None else sheet.maximum_speed
    line, mine = design.vehicle.drive_line, f"of the machine of {part_id}"
    per_k, at_c = sheet.flux_temperature_coefficient, emf is None or emf.temperature
    asked: tuple[tuple[str, str, object, str], ...] = (
        ("emf", f"{base}/type", sheet.type, f"whether the machine of {part_id} holds magnets"),
        ("emf", f"{base}/pole_pairs", sheet.pole_pairs, f"number of pole pairs {mine}"),
        ("emf", f"{base}/back_emf", emf, f"back-EMF constant {mine}"),
        ("emf", f"{base}/back_emf/temperature", at_c, f"magnet temperature at the back-EMF {mine}"),
        ("emf", f"{base}/flux_temperature_coefficient", per_k, f"loss of flux by temperature {mine}"),
        ("emf", "vehicle/ambient", ambient, "coldest air"),
        ("spin", f"{base}/maximum_speed", spin, f"highest shaft speed {mine}"),
        ("road", f"{here}/gear_ratio", part.gear_ratio, f"gear ratio of {part_id}"),
        ("road", f"{LINE}/tyre_radius", line.tyre_radius, "rolling radius of the driven wheels"),
        ("road", f"{LINE}/top_speed", line.top_speed, "top speed"),
        ("towed", f"{LINE}/towed_speed", line.towed_speed, "fastest that it may be towed, 0 km/h for never"),
        ("brakes", f"{LINE}/braking_time", line.braking_time, "time from the fastest speed to rest"),
        ("short", f"{base}/d_inductance", sheet.d_inductance, f"inductance along the magnets {mine}"),
        ("short", f"{base}/q_inductance", sheet.q_inductance, f"inductance across the magnets {mine}"),
        ("short", f"{base}/phase_resistance", sheet.phase_resistance, f"resistance of a phase {mine}"),
    )
    magnets = None if sheet.type is None else sheet.type == "permanent_magnet"
    gaps = tuple((need, Missing(at, what)) for need, at, datum, what in asked if datum is None)
    return Drive(
        id=part_id,
        machine=part.machine,
        magnets=magnets,
        machines=part.machines,
        pole_pairs=sheet.pole_pairs or 0,
        emf=NAN if emf is None else emf.value.high,
        form="" if emf is None else emf.form,
        at_c=NAN if emf is None else _end(emf.temperature, "high"),
        per_k=_end(sheet.flux_temperature_coefficient, "low"),
        cold_c=NAN if ambient is None else ambient.minimum.low,
        d_h=_end(sheet.d_inductance, "low"),
        q_h=_end(sheet.q_inductance, "low"),
        ohm=_end(sheet.phase_resistance, "low"),
        spin_rad_per_s=_end(spin, "high"),
        gear=_end(part.gear_ratio, "high"),
        gaps=gaps if magnets is not False else tuple(gap for gap in gaps if gap[0] in ("spin", "road")),
    )


def study(
    data: GenerationInputs, packs: PackResult, operating: OperatingResult, discharge: DischargeResult
) -> GenerationResult:
    """Every inverter by itself: two machines on one bus do not add their voltages."""
    machines = {drive.id: _figures(data, drive, packs, operating, discharge) for drive in data.drives}
    elsewhere = ("short", "pack", "discharge")
    gaps = (gap for m in machines.values() for need, gap in m.gaps if need not in elsewhere)
    drives = {drive.id: drive for drive in data.drives}
    lines = Later(lambda: list(workings(drives, data.road, machines)))
    drawn = Later(lambda: tuple(curves(data.road.tyre_m, drives, machines)))
    return GenerationResult(lines, tuple(dict.fromkeys(gaps)), drawn, machines)


def _figures(
    data: GenerationInputs, drive: Drive, packs: PackResult, operating: OperatingResult, discharge: DischargeResult
) -> MachineFigures:
    figures = MachineFigures(
        drive.id, drive.machine, drive.magnets, drive.machines, drive.cold_c, pole_pairs=drive.pole_pairs,
        bus=tuple(_on_bus(data, drive.id)), gaps=drive.gaps,
    )  # fmt: skip
    needs = {need for need, _ in drive.gaps}
    if not {"machine", "spin", "road"} & needs:
        figures = _shaft(figures, drive, data.road)
    if drive.magnets is False or {"machine", "emf"} & needs:
        return figures
    figures = _pack_ends(figures, data, packs, operating)._replace(flux_wb=cold_flux_wb(drive))
    if math.isnan(figures.fastest_rad_per_s):
        return figures
    figures = _voltages(figures, data.road)
    if "brakes" not in needs:
        figures = _held(figures, data.road.braking_s, discharge)
    if "short" not in needs:
        apart = abs(drive.d_h - drive.q_h) > SALIENT_FROM * max(drive.d_h, drive.q_h)
        figures = figures._replace(salient=apart, short=_short(figures, drive, data.road))
    return figures


def cold_flux_wb(drive: Drive) -> float:
    """Flux linkage [Wb] with the magnets as cold as the air gets, never less than that of the sheet's own value."""
    flux = float(physics.flux_linkage_wb(drive.emf, drive.form, drive.pole_pairs))
    return flux * (1.0 + drive.per_k * min(drive.cold_c - drive.at_c, 0.0))


def _pack_ends(
    figures: MachineFigures, data: GenerationInputs, packs: PackResult, operating: OperatingResult
) -> MachineFigures:
    """Lowest and highest voltage of the packs in series that feed an inverter.

    The lowest is that at rest, unless another inverter goes on drawing from the pack when this one trips: then the
    lowest at this one in any case of the operating study, the load of all counted, this one's own too.
    """
    name = figures.inverter
    names = feeds(data.circuit)[name].packs
    gaps: tuple[Missing, ...] = ()
    if not names or any(pack not in packs.packs for pack in names):
        gaps = packs.missing or (Missing(f"high_voltage/parts/{name}", "packs that feed it"),)
    elif len(data.drives) > 1 and not operating.cases:
        gaps = operating.missing
    if gaps:
        return figures._replace(gaps=(*figures.gaps, *(("pack", gap) for gap in gaps)))
    low = sum(min(c.open_circuit_v for c in packs.packs[pack].corners) for pack in names)
    loaded = False
    for case in operating.cases.values() if len(data.drives) > 1 else ():
        if case.lowest_v.get(name, low) < low:
            low, loaded = case.lowest_v[name], True
    high = sum(packs.packs[pack].maximum_v for pack in names)
    return figures._replace(lowest_v=low, highest_v=high, loaded=loaded)


def _shaft(figures: MachineFigures, drive: Drive, road: Road) -> MachineFigures:
    """Shaft speeds: on the road, at the limit, and the higher of the two."""
    on_road = float(physics.motor_speed_rad_per_s(road.fastest_m_per_s, drive.gear, road.tyre_m))
    return figures._replace(
        fastest_rad_per_s=max(on_road, drive.spin_rad_per_s),
        fastest_on_road=on_road >= drive.spin_rad_per_s,
        spin_rad_per_s=drive.spin_rad_per_s,
        road_rad_per_s=on_road,
        road_m_per_s=road.fastest_m_per_s,
        towed_m_per_s=road.towed_m_per_s,
    )


def _voltages(figures: MachineFigures, road: Road) -> MachineFigures:
    """Voltages at the speeds of the shaft, and the road speeds at which they reach what matters."""

    def emf_v(shaft: float) -> float:
        electrical = float(physics.electrical_speed_rad_per_s(shaft, figures.pole_pairs))
        return float(physics.line_peak_v(figures.flux_wb, electrical))

    on_road = emf_v(figures.road_rad_per_s)
    per_volt = figures.road_m_per_s / on_road
    return figures._replace(
        fastest_v=emf_v(figures.fastest_rad_per_s),
        road_v=on_road,
        towed_v=road.towed_m_per_s / per_volt,
        live_m_per_s=TOUCH_LIMIT_V * per_volt,
        onset_low_m_per_s=figures.lowest_v * per_volt,
        onset_high_m_per_s=figures.highest_v * per_volt,
    )


def _held(figures: MachineFigures, braking_s: float, discharge: DischargeResult) -> MachineFigures:
    """How long the turning machine holds the bus over 60 V while the brakes bring the vehicle to rest.

    The EMF falls in a straight line to rest; the bus follows it until the discharge, V/tau, is the slower of the two,
    and goes on by the discharge alone. tau is taken from the discharge study's own time, the opening included.
    """
    slow, start = discharge.slowest_active_s, discharge.start_v
    if math.isnan(slow) or not start > TOUCH_LIMIT_V:
        gaps = discharge.missing or (Missing("studies/discharge", "a discharge that ends at rest"),)
        return figures._replace(gaps=(*figures.gaps, *(("discharge", gap) for gap in gaps)))
    tau = slow / math.log(start / TOUCH_LIMIT_V)
    return figures._replace(held_s=held_s(figures.road_v, braking_s, tau), discharge_s=slow)


def held_s(start_v: float, braking_s: float, tau_s: float) -> float:
    """Time [s] until a bus held up by an EMF that falls from ``start_v`` straight to 0 in ``braking_s`` is at 60 V.

    0 where it starts at 60 V or below. The bus leaves the EMF ``tau_s`` before rest, at V = start_v tau/braking, when
    the EMF falls as fast as the discharge takes the bus down; it is at once where braking is quicker than tau.
    """
    if start_v <= TOUCH_LIMIT_V:
        return 0.0
    leaves_s = max(braking_s - tau_s, 0.0)
    leaves_v = start_v * (1.0 - leaves_s / braking_s) if braking_s > 0 else start_v
    if leaves_v <= TOUCH_LIMIT_V:
        return braking_s * (1.0 - TOUCH_LIMIT_V / start_v)
    return leaves_s + tau_s * math.log(leaves_v / TOUCH_LIMIT_V)


def _short(figures: MachineFigures, drive: Drive, road: Road) -> ActiveShort:
    """The active short with the magnets cold; its currents grow with the flux."""
    flux, ends = figures.flux_wb, (drive.d_h, drive.q_h, drive.ohm)
    top = figures.fastest_rad_per_s * drive.pole_pairs
    # Beyond Ld = 2 Lq the largest current lies between: looked for on a fine grid.
    speeds = np.linspace(0.0, top, 400) if drive.d_h > 2 * drive.q_h else top
    steady = physics.short_circuit(speeds, flux, *ends, drive.pole_pairs)
    hardest = min(float(physics.hardest_braking_rad_per_s(*ends)), top)
    brakes = physics.short_circuit(hardest, flux, *ends, drive.pole_pairs)
    swing, against = first_swing_a(flux, drive.d_h, drive.q_h)
    return ActiveShort(
        steady_a=float(np.max(steady.current_a)),
        limit_a=float(physics.short_circuit_limit_a(flux, drive.d_h)),
        swing_a=swing,
        against_a=against,
        hardest_m_per_s=hardest / drive.pole_pairs * road.tyre_m / drive.gear,
        torque_nm=abs(float(brakes.torque_nm)) * drive.gear * drive.machines,
    )


def first_swing_a(flux_wb: float, d_h: float, q_h: float) -> tuple[float, float]:
    """Largest phase current and largest current against the magnets [A, peak] after shorting a machine without current.

    Undamped (R = 0): the flux turns at constant amount, id = -flux (1 - cos)/Ld and iq = -flux sin/Lq. Against the
    magnets 2 flux/Ld, half a turn after the short; the amount is largest there too unless Lq < Ld/sqrt(2).
    """
    against = 2.0 * flux_wb / d_h
    d2, q2 = 1.0 / d_h**2, 1.0 / q_h**2
    cosine = -d2 / (q2 - d2) if q2 > 2.0 * d2 else -1.0
    return flux_wb * math.sqrt(d2 * (1.0 - cosine) ** 2 + q2 * (1.0 - cosine**2)), against


def _on_bus(data: GenerationInputs, inverter: str) -> Iterator[OnBus]:
    """All that touches the inverter's bus with every contactor open: parts, the open contactors, cables.

    Discharge contactors count as closed: what lies behind them, between two of them too, takes the bus's voltage.
    """
    discharge = [(c.a, c.b) for c in data.circuit.role("discharge")]
    wires = Groups([*conductors(data.circuit), *discharge])
    ends = {wires.of(f"{inverter}.plus"), wires.of(f"{inverter}.minus")}
    touching = {node.partition(".")[0] for node in _terminals(data.circuit) if wires.of(node) in ends} | {inverter}
    for name, rating in data.parts:
        if name in touching:
            yield OnBus(name, rating.pointer, rating.volts, "")
    where: dict[str, list[str]] = {}
    for lead in data.circuit.leads:
        if lead.cable and (wires.of(lead.a) in ends or wires.of(lead.b) in ends):
            where.setdefault(lead.cable, []).append(lead.id)
    for name, rating in data.cables:
        if name in where:
            yield OnBus(name, rating.pointer, rating.volts, ", ".join(where[name]))


def _terminals(circuit: HvCircuit) -> Iterator[str]:
    for lead in circuit.leads:
        yield lead.a
        yield lead.b
    for edge in edges(circuit):
        if edge.kind in ("fuse", "service_disconnect", "contactor", "resistor"):
            yield edge.a
            yield edge.b
