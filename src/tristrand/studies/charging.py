"""Charging: what each link of the chain lets pass, how long a session takes, and what direct-current charging meets.

One charger, one pack. A session has one temperature and one resistance; the charger's loss is a straight line through
its efficiencies at rated and at small power. Digital messages between car and supply are not looked at.
"""

import math
from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from tristrand.physics.charging import branch_circuit_least_a, low_voltage_energy_j, smallest_link, supply_power_w
from tristrand.physics.discharge import TOUCH_LIMIT_V, time_to_voltage_s
from tristrand.physics.pack import short_circuit_current_a
from tristrand.physics.pilot import (
    CABLE_CURRENT_A,
    FIRST_LAW_LARGEST_A,
    LARGEST_CURRENT_A,
    LEAST_CURRENT_A,
    SECOND_LAW_ABOVE_A,
    TYPE_1_CONNECTOR_OHM,
    cable_current_a,
    duty_percent,
    offered_current_a,
)
from tristrand.studies.charging_plan import (
    ChargerData,
    ChargingInputs,
    Ends,
    FastData,
    PackCharge,
    SupplyData,
    inputs,
)
from tristrand.studies.charging_session import FINE, Drive, run, session, table_allows, temperatures
from tristrand.studies.results import (
    ChargingResult,
    FastFigures,
    Later,
    PackResult,
    Series,
    SessionFigures,
    SupplyFigures,
    Working,
    found,
    working,
)
from tristrand.studies.topology import Edge, edges, joined, on_loops

__all__ = ["inputs", "study"]

PROXIMITY_TOLERANCE = 0.1
"""Allowance for reading a coded resistor, on top of its own tolerance: common practice, no source."""
CHAIN = "CLOSED-FORM#a chain carries what its weakest link carries"
BALANCE = "CLOSED-FORM#energy balance of the charger"
PIECES = "CLOSED-FORM#charging through a resistance, open-circuit voltage straight by pieces"


def study(data: ChargingInputs, packs: PackResult) -> ChargingResult:
    """Every supply, the sessions at it, and direct current; what cannot be computed is nan or left out."""
    if data.charger is None and data.fast is None:
        return ChargingResult(missing=data.missing)
    pack, charger = data.pack, data.charger
    figures = packs.packs.get(pack.id) if pack is not None else None
    supplies = {s.id: _supply(data, charger, s) for s in data.supplies} if charger is not None else {}
    base = ChargingResult(missing=data.missing, charger=charger.id if charger else "", target_soc=data.target_soc)
    if pack is not None:
        base = _of_pack(base, data, pack)
        base = base._replace(lowest_v=figures.minimum_v if figures else math.nan)
    if charger is not None:
        base = base._replace(
            supplies=supplies,
            own_discharge_s=_own_discharge_s(charger, base.limit_v),
            on_discharged_bus=_on_discharged_bus(data, charger.id),
            bus_a=_largest_bus_a(data, charger, supplies),
        )
    if data.fast is not None and pack is not None:
        least = min(c.resistance_low_ohm for c in figures.corners) if figures else math.nan
        base = base._replace(fast=_fast(data, data.fast, pack, least))
    return base._replace(
        workings=Later(lambda: list(_workings(data, base))), series=Later(lambda: tuple(_curves(data, base)))
    )


def _of_pack(base: ChargingResult, data: ChargingInputs, pack: PackCharge) -> ChargingResult:
    (cold, hot), warm = pack.temperature_c, pack.table.temperature_c
    # Without a target the table is read up to the full pack.
    end = 1.0 if math.isnan(data.target_soc) else data.target_soc
    return base._replace(
        pack=pack.id,
        limit_v=pack.series * pack.cell_v,
        table_least_a=_table_least_a(pack, data.target_soc),
        cold=cold < warm[0] or not table_allows(pack, cold, end),
        hot=hot > warm[-1] or not table_allows(pack, hot, end),
        start_soc=pack.start_soc,
    )


# ---------------------------------------------------------------- alternating current
class Loss(NamedTuple):
    """Loss of a charger: idle_w + per_w P at a supply power P."""

    idle_w: float
    per_w: float

    def bus_w(self, supply_w: float) -> float:
        """Power into the bus, not below 0."""
        return max(supply_w * (1.0 - self.per_w) - self.idle_w, 0.0)

    def supply_w(self, bus_w: float) -> float:
        """Power from the supply."""
        return (bus_w + self.idle_w) / (1.0 - self.per_w)


def loss_of(charger: ChargerData) -> Loss:
    """The straight line through both efficiencies; without the small one, or with that the better, a plain share."""
    full_w = charger.rated_w[1] / charger.share
    if math.isnan(charger.low_share) or not charger.low_w < full_w:
        return Loss(0.0, 1.0 - charger.share)
    low, full = charger.low_w * (1.0 - charger.low_share), full_w * (1.0 - charger.share)
    per = (full - low) / (full_w - charger.low_w)
    idle = low - per * charger.low_w
    if idle < 0.0 or per < 0.0:
        return Loss(0.0, 1.0 - min(charger.share, charger.low_share))
    return Loss(idle, per)


def _supply(data: ChargingInputs, charger: ChargerData, supply: SupplyData) -> SupplyFigures:
    phases = min(supply.phases, data.inlet_phases, charger.phases)
    # Three phases: the voltage between lines over sqrt(3) is that of one phase.
    low_v, mid_v, high_v = (volt / math.sqrt(supply.phases) for volt in supply.volt)
    least_v, most_v = (volt / math.sqrt(charger.phases) for volt in charger.volt)
    loss = loss_of(charger)
    watt = _per_amp_w(mid_v, phases, charger.power_factor)
    offered = _offered(supply)
    coded = _coded_a(supply, data.inlet_type)
    links: dict[str, Ends] = {}
    if not math.isnan(supply.pilot[1]):
        links["pilot"] = offered
    if data.inlet_type == "type_2" or coded == 0.0:
        links["coding of the cable"] = (coded, coded, coded)
    links["charger, by current"] = charger.amp
    low, mid, high = (loss.supply_w(w) / watt for w in charger.rated_w)
    links["charger, by power"] = (low, mid, high)
    drawn = _smallest(links)
    named = {name: ends[1] for name, ends in links.items()}
    known = not any(math.isnan(x) for x in named.values())
    supply_w = drawn[1] * watt
    # A smaller current ends in nothing for the pack, not in a negative efficiency.
    bus = loss.bus_w(supply_w) if known else math.nan
    beside = _beside_w(data)
    own = min(LEAST_CURRENT_A, named["charger, by current"], named["charger, by power"])
    floor = loss.bus_w(own * watt) - beside if known else math.nan
    figures = SupplyFigures(
        supply=supply.id,
        kind=supply.kind,
        phases=phases,
        phase_v=(low_v, mid_v, high_v),
        charger_v=(least_v, most_v),
        phases_fit=phases == charger.phases or charger.one_phase_too,
        offered_a=offered,
        coded_a=coded,
        links=tuple(named.items()),
        bears=_bears(data, supply),
        smallest=smallest_link(named).name if known else "",
        fitting_duty=_fitting_duty(supply),
        fitting_ohm=_fitting_ohm(supply, data.inlet_type),
        drawn_a=drawn,
        supply_w=supply_w,
        bus_w=bus,
        low_voltage_w=beside,
        pack_w=bus - beside,
        floor_pack_w=floor if not math.isnan(charger.low_share) else math.nan,
        sessions=(),
    )
    return figures._replace(sessions=_sessions(data, _drive(data, figures)))


def _bears(data: ChargingInputs, supply: SupplyData) -> tuple[tuple[str, float], ...]:
    """What has no say in the current and must bear it."""
    # The factor as the code gives it: 1.25 times the current at most fills the circuit.
    circuit = supply.circuit_a / float(branch_circuit_least_a(1.0))
    return (
        ("supply", supply.amp[0]),
        ("its circuit over 1.25", circuit),
        ("cable", supply.cable_a),
        ("inlet", data.inlet_a),
    )


def _per_amp_w(phase_v: float, phases: int, power_factor: float) -> float:
    """Power of one ampere per phase; nan where voltage or power factor is not given."""
    if math.isnan(phase_v) or math.isnan(power_factor):
        return math.nan
    if phases == 3:
        return float(supply_power_w(phase_v * math.sqrt(3.0), 1.0, 3, power_factor))
    return float(supply_power_w(phase_v, 1.0, 1, power_factor))


def _offered(supply: SupplyData) -> Ends:
    # Rounded: 0.5333 * 100 must stay the 53.33 % that was written.
    low, mid, high = (
        math.nan if math.isnan(d) else float(offered_current_a(round(100.0 * d, 9))) for d in supply.pilot
    )
    return (low, mid, high)


def _fitting_duty(supply: SupplyData) -> float:
    """Duty that offers what supply and circuit give [%], the next lower tenth; nan where no duty does."""
    gives = min(supply.amp[0], supply.circuit_a, LARGEST_CURRENT_A)
    # From 51 to 52.5 A no duty offers anything: the next lower offer counts.
    gives = FIRST_LAW_LARGEST_A if FIRST_LAW_LARGEST_A < gives <= SECOND_LAW_ABOVE_A else gives
    if math.isnan(gives) or math.isnan(supply.circuit_a) or gives < LEAST_CURRENT_A:
        return math.nan
    return math.floor(10.0 * float(duty_percent(gives)) + 1e-9) / 10.0


def _fitting_ohm(supply: SupplyData, inlet: str) -> float:
    """Resistor that stands for the largest current the cable carries [ohm]; nan where none does."""
    fitting = [ohm for ohm, amps in CABLE_CURRENT_A.items() if amps <= supply.cable_a]
    return min(fitting, default=math.nan) if inlet == "type_2" else math.nan


def _coded_a(supply: SupplyData, inlet: str) -> float:
    """Current the resistor in the plug stands for: nan where nothing is coded, 0 where it stands for no cable."""
    if math.isnan(supply.proximity_ohm[1]):
        return math.nan
    if inlet == "type_1":
        latched = TYPE_1_CONNECTOR_OHM["latched"]
        fits = all(abs(ohm - latched) <= PROXIMITY_TOLERANCE * latched for ohm in supply.proximity_ohm)
        return math.nan if fits else 0.0
    read = {cable_current_a(ohm, PROXIMITY_TOLERANCE) for ohm in supply.proximity_ohm}
    return next(iter(read)) or 0.0 if len(read) == 1 else 0.0


def _smallest(links: dict[str, Ends]) -> Ends:
    ends = tuple(zip(*links.values(), strict=True))
    low, mid, high = (math.nan if any(math.isnan(x) for x in end) else min(end) for end in ends)
    return (low, mid, high)


def _beside_w(data: ChargingInputs) -> float:
    """Power that the 12 V side takes from the bus."""
    if math.isnan(data.low_voltage_w) or math.isnan(data.converter_share):
        return math.nan
    return float(low_voltage_energy_j(data.low_voltage_w, 1.0, data.converter_share))


def _drive(data: ChargingInputs, supply: SupplyFigures) -> Drive | None:
    """What drives a session at this supply; None where something is not known."""
    pack, charger = data.pack, data.charger
    if pack is None or charger is None or math.isnan(charger.output_a) or math.isnan(supply.pack_w):
        return None
    # At the start the voltage is lowest and the 12 V side takes the most current: the harder reading throughout.
    start_v = pack.series * float(np.interp(pack.start_soc, pack.ocv_soc, pack.ocv_v))
    loss = loss_of(charger)
    left_a = charger.output_a - supply.low_voltage_w / start_v
    return Drive(
        supply.pack_w, left_a, data.low_voltage_w, data.converter_share, loss.idle_w, loss.per_w, data.by_table
    )


def _sessions(data: ChargingInputs, drive: Drive | None) -> tuple[SessionFigures, ...]:
    """Sessions at the three temperatures; none where something is not known."""
    pack, target = data.pack, data.target_soc
    if drive is None or pack is None or not pack.start_soc < target:
        return ()
    return tuple(session(pack, name, warm_c, target, drive) for name, warm_c in temperatures(pack))


def _largest_bus_a(data: ChargingInputs, charger: ChargerData, supplies: dict[str, SupplyFigures]) -> float:
    """The largest current the charger drives at any supply, at the pack's voltage at the start."""
    if data.pack is None or not supplies:
        return math.nan
    start_v = data.pack.series * float(np.interp(data.pack.start_soc, data.pack.ocv_soc, data.pack.ocv_v))
    watts = [s.bus_w for s in supplies.values()]
    return math.nan if any(math.isnan(w) for w in watts) else min(max(watts) / start_v, charger.output_a)


def _table_least_a(pack: PackCharge, target: float) -> float:
    """The smallest current of the charge table over the temperatures and charges at which the pack may be charged."""
    if math.isnan(target):
        return math.nan
    table = pack.table
    (cold, hot), warm = pack.temperature_c, table.temperature_c
    low, high = max(cold, warm[0]), min(hot, warm[-1])
    if low > high:
        return 0.0
    columns = sorted({pack.start_soc, target, *(s for s in table.soc if pack.start_soc < s < target)})
    if columns[0] < table.soc[0] or columns[-1] > table.soc[-1]:
        return 0.0
    lines = [[float(np.interp(s, table.soc, line)) for s in columns] for line in table.rows]
    rows = sorted({low, high, *(t for t in warm if low < t < high)})
    return min(float(np.interp(t, warm, [line[k] for line in lines])) for t in rows for k in range(len(columns)))


def _own_discharge_s(charger: ChargerData, from_v: float) -> float:
    """Time in which the charger's output falls to 60 V through its own resistance; inf without one."""
    if math.isnan(charger.farad) or math.isnan(from_v):
        return math.nan
    if from_v <= TOUCH_LIMIT_V:
        return 0.0
    if math.isnan(charger.bleed_ohm):
        return math.inf
    return float(time_to_voltage_s(from_v, TOUCH_LIMIT_V, charger.bleed_ohm, charger.farad))


def _on_discharged_bus(data: ChargingInputs, charger: str) -> bool:
    """Whether the discharge resistor lies across the charger with main and charge contactors open."""
    roles = {c.id: c.role for c in data.circuit.contacts}
    resistors = {r.id for r in data.circuit.resistors if r.role == "discharge"}
    some = tuple(
        e
        for e in edges(data.circuit)
        if e.kind in ("lead", "fuse") or roles.get(e.id) == "discharge" or e.id in resistors
    )
    return bool(on_loops(some, f"{charger}.plus", f"{charger}.minus") & resistors)


# ---------------------------------------------------------------- direct current
def _fast(data: ChargingInputs, fast: FastData, pack: PackCharge, least_ohm: float) -> FastFigures:
    circuit = data.circuit
    mains = {c.id for c in circuit.role("main")}
    plus, minus = f"{fast.inlet}.plus", f"{fast.inlet}.minus"
    way = tuple(
        e
        for e in edges(circuit)
        if e.kind in ("lead", "fuse", "service_disconnect")
        or e.id in mains
        or e.id in fast.contactors
        or e.kind == "pack"
    )
    loop = on_loops(way, plus, minus)
    path = tuple(e.id for e in way if e.id in loop) if pack.id in loop else ()
    # With the inlet's contactors open whatever else conducts may be closed, and a resistor keeps a contact live too.
    idle = [e for e in edges(circuit) if e.id not in fast.contactors and e.kind not in _ACROSS]
    poles = [end for p in circuit.packs for end in (p.plus, p.minus)]
    live = tuple(t for t in (plus, minus) if any(joined(idle, t, pole) for pole in poles))
    marks = dict(fast.marked)
    contactors = [e for e in way if e.id in path and e.kind == "contactor"]
    forward = tuple((e.id, _forward(way, e, fast.inlet, marks.get(e.id, ""))) for e in contactors)
    surge = math.nan
    if not math.isnan(fast.difference_v) and not math.isnan(least_ohm):
        surge = float(short_circuit_current_a(fast.difference_v, least_ohm))
    drive = None if math.isnan(fast.amp) else Drive(math.inf, fast.amp, 0.0, 1.0, 0.0, 0.0, by_table=True)
    return FastFigures(fast.inlet, pack.id, fast.amp, path, live, forward, surge, _sessions(data, drive))


# Parts across the bus: through them no contact is live, and no current of charging goes round.
_ACROSS = frozenset({"inverter", "dcdc", "heater", "charger", "pack"})


def _forward(way: tuple[Edge, ...], contactor: Edge, inlet: str, mark: str) -> bool | None:
    """Whether charging enters a contactor at its marked terminal: from the inlet's plus, or out to its minus."""
    if not mark:
        return None
    rest = [e for e in way if e.id != contactor.id and e.kind != "pack"]
    at_a = joined(rest, contactor.a, f"{inlet}.plus") or joined(rest, contactor.b, f"{inlet}.minus")
    return at_a == (mark == "a")


# ---------------------------------------------------------------- workings and curves
def _workings(data: ChargingInputs, result: ChargingResult) -> Iterator[Working]:
    pack, charger = data.pack, data.charger
    if pack is not None:
        yield working(
            pack.id, "V_limit", "voltage at which charging is held", "n*v", result.limit_v, "V",
            "CLOSED-FORM#cells in series", n=(pack.series, "1"), v=(pack.cell_v, "V"),
        )  # fmt: skip
    if charger is not None:
        yield from _charger_lines(data, charger, result)
        for supply in result.supplies.values():
            yield from _supply_lines(data, charger, supply)
    if result.fast is not None:
        for one in result.fast.sessions:
            yield from _session_lines(result.fast.inlet, one)


def _charger_lines(data: ChargingInputs, charger: ChargerData, result: ChargingResult) -> Iterator[Working]:
    if 0.0 < result.own_discharge_s < math.inf:
        yield working(
            charger.id, "t_60", "its output down to 60 V through its own resistance alone", "R*C*ln(V/V_60)",
            result.own_discharge_s, "s", "CLOSED-FORM#first-order RC discharging", R=(charger.bleed_ohm, "Ω"),
            C=(charger.farad, "F"), V=(result.limit_v, "V"), V_60=(TOUCH_LIMIT_V, "V"),
        )  # fmt: skip
    beside = _beside_w(data)
    if not math.isnan(beside):
        yield working(
            charger.id, "P_12", "power that the 12 V side takes from the bus", "P/e", beside, "W",
            "CLOSED-FORM#energy balance of the converter", P=(data.low_voltage_w, "W"), e=(data.converter_share, "1"),
        )  # fmt: skip


def _supply_lines(data: ChargingInputs, charger: ChargerData, supply: SupplyFigures) -> Iterator[Working]:
    if math.isnan(supply.pack_w):
        return
    about, loss = supply.supply, loss_of(charger)
    named = f"current per phase, set by: {supply.smallest}"
    every = ", ".join(f"{name} {amps:.4g} A" for name, amps in supply.links)
    yield found(about, "I", named, supply.drawn_a[1], "A", CHAIN, f"smallest of {every}")
    yield working(
        about, "P_ac", "power from the supply", "n*V*I*pf", supply.supply_w, "W",
        "CLOSED-FORM#power of one and of three phases", n=(supply.phases, "1"), V=(supply.phase_v[1], "V"),
        I=(supply.drawn_a[1], "A"), pf=(charger.power_factor, "1"),
    )  # fmt: skip
    if supply.bus_w > 0:
        yield working(
            about, "P_bus", "power into the bus, less the charger's loss", "P_ac*(1 - k) - P_idle", supply.bus_w, "W",
            BALANCE, P_ac=(supply.supply_w, "W"), k=(loss.per_w, "1"), P_idle=(loss.idle_w, "W"),
        )  # fmt: skip
    yield working(
        about, "P_pack", "power left for the pack", "P_bus - P_12", supply.pack_w, "W", BALANCE,
        P_bus=(supply.bus_w, "W"), P_12=(supply.low_voltage_w, "W"),
    )  # fmt: skip
    for one in supply.sessions:
        yield from _session_lines(about, one)
        if one.reached:
            yield working(
                about, "E_ac", f"energy from the supply, {one.name}", "(E_oc + E_heat + E_12 + P_idle*t)/(1 - k)",
                one.supply_j / 3.6e6, "kWh", BALANCE, E_oc=(one.stored_j / 3.6e6, "kWh"),
                E_heat=(one.heat_j / 3.6e6, "kWh"), E_12=(one.low_voltage_j / 3.6e6, "kWh"),
                P_idle=(loss.idle_w / 1e3, "kW"), t=(one.seconds / 3600.0, "h"), k=(loss.per_w, "1"),
            )  # fmt: skip


def _session_lines(about: str, one: SessionFigures) -> Iterator[Working]:
    yield found(
        about, "R", f"pack resistance, {one.name}, the largest on the way", one.resistance_ohm, "Ω",
        "NUMERICS#bilinear interpolation", "read from the cell's table, then Ns r/Np + links",
    )  # fmt: skip
    if one.links:
        every = ", ".join(f"{name} {amps:.4g} A" for name, amps in one.links)
        words = f"current into the pack at the start, {one.name}, set by: {one.first_by}"
        yield found(about, "I_0", words, one.first_a, "A", CHAIN, f"smallest of {every}")
    if one.reached:
        words = f"{one.seconds / 3600 - one.held_s / 3600:.4g} h by current or power, then {one.held_s / 60:.3g} min"
        yield found(
            about, "t", f"time to the target, {one.name}", one.seconds / 3600.0, "h", PIECES,
            f"summed over pieces between table points and changes of limit: {words} at constant voltage",
        )  # fmt: skip


def _curves(data: ChargingInputs, result: ChargingResult) -> Iterator[Series]:
    """Power into the pack and state of charge over time at the main supply, cells mild."""
    if data.pack is None or not result.supplies:
        return
    main = next(iter(result.supplies.values()))
    drive = _drive(data, main)
    mild = next((s for s in main.sessions if s.name == "mild" and s.end_soc > result.start_soc), None)
    if drive is None or mild is None:
        return
    ran = run(data.pack, mild.temperature_c, data.target_soc, drive, fine=FINE)
    hours = tuple(float(t) / 3600.0 for t in ran.time_s)
    kilowatts = tuple(float(p) / 1e3 for p in ran.current_a * ran.terminal_v)
    percent = tuple(100.0 * float(s) for s in ran.soc)
    yield Series("power", "time", "h", "power into the pack", "kW", hours, kilowatts, main.supply)
    yield Series("charge", "time", "h", "state of charge", "%", hours, percent, main.supply)
