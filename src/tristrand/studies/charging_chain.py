"""The chain of alternating current: what each link lets pass, the charger's loss, and what drives a session."""

import math

import numpy as np

from tristrand.physics.charging import branch_circuit_least_a, low_voltage_energy_j, smallest_link, supply_power_w
from tristrand.physics.pack import table_least
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
from tristrand.records import NamedTuple
from tristrand.studies.charging_plan import ChargerData, ChargingInputs, Ends, PackCharge, SupplyData, rises_to
from tristrand.studies.charging_session import Drive, sessions
from tristrand.studies.results import SessionFigures, SupplyFigures

PROXIMITY_TOLERANCE = 0.1
"""Allowance for reading a coded resistor, on top of its own tolerance: common practice, no source."""


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


def supply_figures(data: ChargingInputs, charger: ChargerData, supply: SupplyData) -> SupplyFigures:
    """Chain, power and sessions at one supply; nan where something is not given."""
    phases = min(supply.phases, data.inlet_phases, charger.phases)
    # Three phases: the voltage between lines over sqrt(3) is that of one phase.
    low_v, mid_v, high_v = (volt / math.sqrt(supply.phases) for volt in supply.volt)
    least_v, most_v = (volt / math.sqrt(charger.phases) for volt in charger.volt)
    loss = loss_of(charger)
    watt = _per_amp_w(mid_v, phases, charger.power_factor)
    least_watt = _per_amp_w(low_v, phases, charger.power_factor_ends[0])
    most_watt = _per_amp_w(high_v, phases, charger.power_factor_ends[1])
    offered = _offered(supply)
    coded = _coded_a(supply, data.inlet_type)
    links: dict[str, Ends] = {}
    if not math.isnan(supply.pilot[1]):
        links["pilot"] = offered
    if data.inlet_type == "type_2" or coded == 0.0:
        links["coding of the cable"] = (coded, coded, coded)
    links["charger's current"] = charger.amp
    worse, better = (loss_of(charger._replace(share=share)) for share in charger.share_ends)
    low, mid, high = charger.rated_w
    # The same power at a low voltage and with the worse efficiency takes the most current.
    links["charger's power"] = (
        better.supply_w(low) / most_watt, loss.supply_w(mid) / watt, worse.supply_w(high) / least_watt,
    )  # fmt: skip
    drawn = _smallest(links)
    free_a = min(ends[2] for name, ends in links.items() if name != "charger's power")
    bus_most = min(better.bus_w(free_a * most_watt), high)
    named = {name: ends[1] for name, ends in links.items()}
    known = not any(math.isnan(x) for x in named.values())
    supply_w = drawn[1] * watt
    # A smaller current ends in nothing for the pack, not in a negative efficiency.
    bus = loss.bus_w(supply_w) if known else math.nan
    beside = beside_w(data)
    own = min(LEAST_CURRENT_A, named["charger's current"], named["charger's power"])
    floor = worse.bus_w(own * least_watt) - beside if known else math.nan
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
        bus_most_w=bus_most if known else math.nan,
        low_voltage_w=beside,
        pack_w=bus - beside,
        floor_pack_w=floor if not math.isnan(charger.low_share) else math.nan,
        sessions=(),
    )
    return figures._replace(sessions=sessions_of(data, drive_of(data, figures)))


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
    if supply.pilot[0] == supply.pilot[2]:
        amps = float(offered_current_a(round(100.0 * supply.pilot[1], 9)))
        return (amps, amps, amps)
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


def beside_w(data: ChargingInputs) -> float:
    """Power that the 12 V side takes from the bus."""
    if math.isnan(data.low_voltage_w) or math.isnan(data.converter_share):
        return math.nan
    return float(low_voltage_energy_j(data.low_voltage_w, 1.0, data.converter_share))


def drive_of(data: ChargingInputs, supply: SupplyFigures) -> Drive | None:
    """What drives a session at this supply; None where something is not known."""
    pack, charger = data.pack, data.charger
    if pack is None or charger is None or math.isnan(charger.output_a) or math.isnan(supply.pack_w):
        return None
    # At the start the voltage is lowest and the 12 V side takes the most current: the harder reading throughout.
    start_v = pack.series * float(np.interp(pack.start_soc, pack.ocv_soc, pack.ocv_v))
    loss = loss_of(charger)
    left_a = charger.output_a - supply.low_voltage_w / start_v
    return Drive(supply.pack_w, left_a, supply.low_voltage_w, loss.idle_w, loss.per_w, data.by_table)


def sessions_of(data: ChargingInputs, drive: Drive | None) -> tuple[SessionFigures, ...]:
    """Sessions at the three temperatures; none where something is not known."""
    pack, target = data.pack, data.target_soc
    if drive is None or pack is None or not pack.start_soc < target or not rises_to(pack, target):
        return ()
    return sessions(pack, target, drive)


def largest_bus_a(data: ChargingInputs, charger: ChargerData, supplies: dict[str, SupplyFigures]) -> float:
    """The largest current the charger drives at any supply, at the pack's voltage at the start."""
    if data.pack is None or not supplies:
        return math.nan
    start_v = data.pack.series * float(np.interp(data.pack.start_soc, data.pack.ocv_soc, data.pack.ocv_v))
    watts = [s.bus_most_w for s in supplies.values()]
    return math.nan if any(math.isnan(w) for w in watts) else min(max(watts) / start_v, charger.output_most_a)


def table_least_a(pack: PackCharge, target: float) -> float:
    """The smallest current of the charge table over the temperatures and charges at which the pack may be charged."""
    if math.isnan(target):
        return math.nan
    table = pack.table
    (cold, hot), warm = pack.temperature_c, table.temperature_c
    low, high = max(cold, warm[0]), min(hot, warm[-1])
    if low > high:
        return 0.0
    ends = sorted((pack.start_soc, target))
    return table_least(warm, table.soc, table.rows, (low, high), (ends[0], ends[1]))
