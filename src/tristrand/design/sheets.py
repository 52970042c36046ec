"""Data sheets (parts/*.yaml): what a part of a kind can do. A field left out leaves the studies that need it open."""

from itertools import pairwise
from typing import Annotated, Any, Literal, Self, TypeAlias

from pydantic import BaseModel, ConfigDict, Field, model_validator

from tristrand.design.contactors import AuxiliaryContact, Coil, Economiser, SwitchingLife
from tristrand.design.datum import Basis, Datum, Q, fault
from tristrand.design.poles import AlternatingInsulation, PoleInsulation

Voltage: TypeAlias = Annotated[Datum, Q("voltage", above=0)]
Current: TypeAlias = Annotated[Datum, Q("current", above=0)]
Resistance: TypeAlias = Annotated[Datum, Q("resistance", above=0)]
Capacitance: TypeAlias = Annotated[Datum, Q("capacitance", above=0)]
Inductance: TypeAlias = Annotated[Datum, Q("inductance", least=0)]
Power: TypeAlias = Annotated[Datum, Q("power", least=0)]
Energy: TypeAlias = Annotated[Datum, Q("energy", above=0)]
Duration: TypeAlias = Annotated[Datum, Q("time", least=0)]
Temperature: TypeAlias = Annotated[Datum, Q("temperature", least=-273.15)]
Share: TypeAlias = Annotated[Datum, Q("fraction", least=0, most=1)]
Length: TypeAlias = Annotated[Datum, Q("length", above=0)]
Area: TypeAlias = Annotated[Datum, Q("area", above=0)]
# Strict: true, "96" and 96.0 are slips, not counts.
Count: TypeAlias = Annotated[int, Field(strict=True)]

SWAP = "set minimum below maximum"


# Of `list` and `dict` themselves the signature would be worked out from their text at every start.
def empty_list() -> list[Any]:
    """A new empty list."""
    return []


def empty_dict() -> dict[Any, Any]:
    """A new empty mapping."""
    return {}


class Strict(BaseModel):
    """Base of every design model: unknown keys are errors, values never change after reading."""

    model_config = ConfigDict(extra="forbid", frozen=True, defer_build=True)


class SheetHead(Strict):
    """What every data sheet starts with."""

    schema_version: Literal[1] = 1
    title: str = Field(default="", description="what the part is, in words")
    basis: Basis = Field(default="assumed", description="how the values are known, where they do not say so themselves")
    source: str = Field(default="", description="where the values come from")


class VoltageTable(Strict):
    """Open-circuit voltage of one cell against state of charge."""

    state_of_charge: list[Share] = Field(min_length=2)
    voltage: list[Voltage] = Field(min_length=2)

    @model_validator(mode="after")
    def _shape(self) -> Self:
        if len(self.voltage) != len(self.state_of_charge):
            raise fault(
                f"{len(self.state_of_charge)} states of charge but {len(self.voltage)} voltages: one each is needed",
                "add what is missing, or remove what is too many",
            )
        _rising("state_of_charge", self.state_of_charge)
        return self


class ResistanceTable(Strict):
    """Direct-current resistance of one cell: one row for each temperature, one column for each state of charge."""

    temperature: list[Temperature] = Field(min_length=1)
    state_of_charge: list[Share] = Field(min_length=1)
    resistance: list[list[Resistance]] = Field(min_length=1)

    @model_validator(mode="after")
    def _shape(self) -> Self:
        if len(self.resistance) != len(self.temperature):
            raise fault(
                f"{len(self.temperature)} temperatures but {len(self.resistance)} rows: one row each is needed",
                "add what is missing, or remove what is too many",
            )
        for row in self.resistance:
            if len(row) != len(self.state_of_charge):
                raise fault(
                    f"{len(self.state_of_charge)} states of charge but a row of {len(row)} resistances",
                    "give each row one resistance for each state of charge",
                )
        _rising("temperature", self.temperature)
        _rising("state_of_charge", self.state_of_charge)
        return self


class ChargeTable(Strict):
    """Largest charge current of the whole pack: one row for each cell temperature, one column for each charge."""

    temperature: list[Temperature] = Field(min_length=1)
    state_of_charge: list[Share] = Field(min_length=1)
    current: list[list[Annotated[Datum, Q("current", least=0)]]] = Field(min_length=1)

    @model_validator(mode="after")
    def _shape(self) -> Self:
        if len(self.current) != len(self.temperature):
            raise fault(
                f"{len(self.temperature)} temperatures but {len(self.current)} rows: one row each is needed",
                "add what is missing, or remove what is too many",
            )
        for row in self.current:
            if len(row) != len(self.state_of_charge):
                raise fault(
                    f"{len(self.state_of_charge)} states of charge but a row of {len(row)} currents",
                    "give each row one current for each state of charge",
                )
        _rising("temperature", self.temperature)
        _rising("state_of_charge", self.state_of_charge)
        return self


def _rising(name: str, column: list[Datum]) -> None:
    if any(b.value <= a.value for a, b in pairwise(column)):
        raise fault(f"the values of '{name}' must rise from one to the next", "put them in rising order, none twice")


class VoltageRange(Strict):
    """The bus voltage a device works at."""

    minimum: Voltage
    maximum: Voltage

    @model_validator(mode="after")
    def _order(self) -> Self:
        if self.minimum.value >= self.maximum.value:
            raise fault(f"minimum {self.minimum.text} is not below maximum {self.maximum.text}", SWAP)
        return self


class CellVoltage(Strict):
    """Voltage of one cell: the least and the most its maker allows, and the nominal value."""

    minimum: Voltage
    nominal: Voltage
    maximum: Voltage

    @model_validator(mode="after")
    def _order(self) -> Self:
        if not self.minimum.value < self.nominal.value < self.maximum.value:
            raise fault("minimum, nominal and maximum must rise in this order", "check the three voltages of one cell")
        return self


class Overload(Strict):
    """A current above the continuous rating, and how long the part stands it starting warm from that rating."""

    current: Current
    time: Annotated[Datum, Q("time", above=0)]


# Every entry is one point of the maker's overload curve; a shorter time than the entry's is covered by it.
OVERLOAD: Any = Field(default_factory=empty_list, description="currents above the rating, each with its longest time")


class CellSpan(Strict):
    """The least and the most temperature of a cell."""

    minimum: Temperature
    maximum: Temperature

    @model_validator(mode="after")
    def _order(self) -> Self:
        if self.minimum.value >= self.maximum.value:
            raise fault(f"minimum {self.minimum.text} is not below maximum {self.maximum.text}", SWAP)
        return self


class CellTemperature(Strict):
    """Temperatures of a cell between which its maker allows it to be discharged and to be charged."""

    discharge: CellSpan
    charge: CellSpan


class CellFuse(Strict):
    """A fuse or fusible link of each cell in parallel, or a device inside the cell."""

    rated_current: Current | None = None
    rated_voltage: Voltage | None = Field(default=None, description="direct voltage that it interrupts")
    breaking_capacity: Current | None = Field(default=None, description="leave out where it is not known")
    inside: bool = Field(default=False, description="built into the cell by its maker")


class MaintenancePlugs(Strict):
    """What is left of the pack when all maintenance plugs are out."""

    pieces: list[Annotated[Count, Field(ge=1, le=2000)]] = Field(
        min_length=1, description="groups of cells in series of each piece, in their order from minus to plus"
    )
    both_poles: bool = Field(description="whether they part every piece at both of its poles")


class PackSheet(SheetHead):
    """A battery pack of like cells in series and parallel."""

    kind: Literal["pack"]
    cells_in_series: Count | None = Field(default=None, ge=1, le=2000)
    cells_in_parallel: Count | None = Field(default=None, ge=1, le=20000)
    cell_capacity: Annotated[Datum, Q("charge", above=0)] | None = None
    cell_voltage: CellVoltage | None = None
    open_circuit_voltage: VoltageTable | None = None
    cell_resistance: ResistanceTable | None = None
    link_resistance: Annotated[Datum, Q("resistance", least=0)] | None = Field(
        default=None, description="all links, busbars and joints inside the pack together"
    )
    cell_ohmic_resistance: Resistance | None = Field(
        default=None,
        description="of one cell at 1 kHz, cold or warm, the least: what limits the first millisecond of a short",
    )
    resistance_growth: Annotated[Datum, Q("fraction", least=1)] | None = Field(
        default=None, description="resistance of the cells at the end of their life over that when new"
    )
    inductance: Inductance | None = Field(default=None, description="of the pack between its terminals")
    discharge_current: Current | None = Field(default=None, description="continuous limit of the pack")
    discharge_current_peak: Current | None = Field(default=None, description="limit for cases with a duration")
    discharge_peak_time: Annotated[Datum, Q("time", above=0)] | None = Field(
        default=None, description="how long the peak may last"
    )
    charge_current: Current | None = Field(default=None, description="continuous limit, charging or braking")
    charge_current_peak: Current | None = Field(default=None, description="limit for regeneration with a duration")
    charge_peak_time: Annotated[Datum, Q("time", above=0)] | None = Field(
        default=None, description="how long that peak may last"
    )
    cell_temperature: CellTemperature | None = None
    cell_fuse: CellFuse | None = None
    modules: Count | None = Field(default=None, ge=1, le=2000, description="modules in series that make up the pack")
    module_mass: Annotated[Datum, Q("mass", above=0)] | None = None
    maintenance_plugs: MaintenancePlugs | None = None
    charge_voltage: Voltage | None = Field(default=None, description="of one cell: charging holds no more than this")
    charge_table: ChargeTable | None = Field(
        default=None, description="largest charge current of the whole pack; outside the table none is allowed"
    )
    charge_cutoff_current: Current | None = Field(
        default=None, description="of the whole pack: charging ends when less flows"
    )
    insulation: PoleInsulation | None = None

    @model_validator(mode="after")
    def _whole(self) -> Self:
        series, plugs = self.cells_in_series, self.maintenance_plugs
        if series is not None and self.modules is not None and self.modules > series:
            raise fault(
                f"{self.modules} modules in series, but only {series} cells in series",
                "count the modules that lie in series",
            )
        if series is not None and plugs is not None and sum(plugs.pieces) != series:
            raise fault(
                f"the pieces hold {sum(plugs.pieces)} cells in series, the pack {series}",
                "count the cells in series of every piece",
            )
        return self


class MeltingPoint(Strict):
    """One point of a maker's time-current curve: the average time to melt at a constant current."""

    current: Current
    time: Annotated[Datum, Q("time", above=0)]


class FuseSheet(SheetHead):
    """A fuse for direct current."""

    kind: Literal["fuse"]
    rated_current: Current | None = None
    rated_voltage: Voltage | None = None
    resistance: Resistance | None = Field(default=None, description="cold resistance")
    continuous_share: Annotated[Datum, Q("fraction", above=0, most=1)] | None = Field(
        default=None, description="share of the rated current it may carry for ever"
    )
    overload: list[Overload] = OVERLOAD
    breaking_capacity: Current | None = Field(
        default=None, description="largest prospective direct current that it clears at its rated voltage"
    )
    breaking_time_constant: Duration | None = Field(
        default=None, description="largest L/R of the circuit at which it clears that, and for which clearing I²t holds"
    )
    minimum_breaking_current: Current | None = Field(
        default=None, description="least current that it clears; below it may melt and go on arcing"
    )
    melting: list[MeltingPoint] = Field(default_factory=empty_list, description="time-current curve, rising currents")
    melting_joule_integral: Annotated[Datum, Q("joule_integral", above=0)] | None = Field(
        default=None, description="I²t up to melting at large currents"
    )
    clearing_joule_integral: Annotated[Datum, Q("joule_integral", above=0)] | None = Field(
        default=None, description="I²t of melting and arcing together at its rated voltage"
    )
    clearing_voltage: Voltage | None = Field(
        default=None, description="voltage up to which clearing I²t holds; else its rated voltage"
    )
    reference_ambient: Temperature | None = Field(
        default=None, description="air for which rating and continuous share hold; else 25 °C"
    )
    hottest_element: Temperature | None = Field(
        default=None, description="the maker's temperature in the factor for hot air, 130 to 150 °C; else 130 °C"
    )

    @model_validator(mode="after")
    def _order(self) -> Self:
        air, hottest = self.reference_ambient, self.hottest_element
        if air and hottest and air.value >= hottest.value:
            raise fault(
                f"reference_ambient {air.text} is not below hottest_element {hottest.text}",
                "check the two temperatures of the factor for hot air",
            )
        if len(self.melting) == 1:
            raise fault("a melting curve of one point", "give two points or more, or none")
        _rising("melting: current", [point.current for point in self.melting])
        _rising("melting: time, from the last point to the first", [p.time for p in reversed(self.melting)])
        melts, clears = self.melting_joule_integral, self.clearing_joule_integral
        if melts and clears and melts.value > clears.value:
            raise fault(
                f"melting_joule_integral {melts.text} is above clearing_joule_integral {clears.text}",
                "clearing is melting and arcing together: check which is which",
            )
        return self


class ContactorSheet(SheetHead):
    """A contactor: a mechanical switch worked by a coil."""

    kind: Literal["contactor"]
    rated_voltage: Voltage | None = None
    continuous_current: Current | None = None
    make_current: Current | None = Field(
        default=None, description="largest current it may close onto (capacitive make)"
    )
    make_joule_integral: Annotated[Datum, Q("joule_integral", above=0)] | None = None
    overload: list[Overload] = OVERLOAD
    withstand: Overload | None = Field(
        default=None, description="largest current that it carries closed in a short circuit, and for how long"
    )
    withstand_peak: Current | None = Field(
        default=None,
        description="largest instantaneous current that does not blow its contacts open; else that of withstand",
    )
    break_current: Current | None = Field(
        default=None, description="largest current that it may open at its rated voltage, forward (discharging)"
    )
    break_current_reverse: Current | None = Field(
        default=None,
        description="the same backward (charging, regeneration); without it the type is taken to be polarised",
    )
    contact_resistance: Resistance | None = None
    close_time: Duration | None = None
    open_time: Duration | None = None
    polarised: bool | None = Field(
        default=None, description="whether one direction of current is marked, in which alone it breaks break_current"
    )
    coil: Coil | None = None
    economiser: Economiser | None = None
    auxiliary: AuxiliaryContact | None = None
    making_life: SwitchingLife | None = Field(
        default=None, description="closings by the largest current of closing, at the pack's voltage"
    )
    breaking_life: SwitchingLife | None = Field(default=None, description="openings, forward")
    breaking_life_reverse: SwitchingLife | None = Field(default=None, description="openings, backward")
    mechanical_life: Annotated[int, Field(strict=True, ge=1)] | None = Field(
        default=None, description="operations without current"
    )


class DisconnectSheet(SheetHead):
    """A service disconnect pulled by hand."""

    kind: Literal["service_disconnect"]
    rated_voltage: Voltage | None = None
    continuous_current: Current | None = None
    overload: list[Overload] = OVERLOAD
    contact_resistance: Resistance | None = None


class ResistorSheet(SheetHead):
    """A power resistor for precharge or discharge."""

    kind: Literal["resistor"]
    resistance: Resistance | None = None
    rated_voltage: Voltage | None = None
    rated_power: Annotated[Datum, Q("power", above=0)] | None = Field(
        default=None, description="continuous, as mounted"
    )
    pulse_energy: Energy | None = Field(default=None, description="single pulse from cold")
    heat_capacity: Annotated[Datum, Q("heat_capacity", above=0)] | None = None
    thermal_resistance: Annotated[Datum, Q("thermal_resistance", above=0)] | None = Field(
        default=None, description="body to ambient"
    )
    temperature_limit: Temperature | None = None


class ShortCircuitCurrent(Strict):
    """Peak phase current that an inverter carries while it shorts its machine: the first swing, and for ever."""

    peak: Current
    continuous: Current

    @model_validator(mode="after")
    def _order(self) -> Self:
        if self.continuous.value > self.peak.value:
            raise fault(
                f"continuous {self.continuous.text} is above peak {self.peak.text}", "set continuous below peak"
            )
        return self


class InverterSheet(SheetHead):
    """An inverter seen from the bus."""

    kind: Literal["inverter"]
    voltage: VoltageRange | None = None
    bus_capacitance: Capacitance | None = None
    bleed_resistance: Resistance | None = Field(default=None, description="built-in resistance across the bus")
    continuous_current: Current | None = Field(default=None, description="direct current at the bus terminals")
    peak_current: Current | None = None
    peak_time: Annotated[Datum, Q("time", above=0)] | None = Field(
        default=None, description="how long the peak may last"
    )
    bus_voltage_withstand: Voltage | None = Field(
        default=None, description="most that its capacitors and switches stand, not switching; not the working range"
    )
    when_contactors_open: Literal["gates_off", "active_short"] | None = Field(
        default=None, description="what it does with its machine then: leave it alone, or short its three phases"
    )
    active_short_needs_12_v: bool | None = Field(
        default=None, strict=True, description="whether the short ends without 12 V; false: it is fed from the bus"
    )
    active_short_least_bus: Annotated[Datum, Q("voltage", least=0)] | None = Field(
        default=None, description="bus voltage below which a short that is fed from the bus lets go"
    )
    short_circuit_current: ShortCircuitCurrent | None = None
    insulation: AlternatingInsulation | None = None

    @model_validator(mode="after")
    def _order(self) -> Self:
        if self.voltage and self.bus_voltage_withstand:
            stands, works = self.bus_voltage_withstand, self.voltage.maximum
            if stands.value < works.value:
                raise fault(
                    f"bus_voltage_withstand {stands.text} is below the highest working voltage {works.text}",
                    "check which is which: what it stands is the higher one",
                )
        return self


class BackEmf(Strict):
    """Open-circuit voltage of a machine at the speed that ``form`` names: 1000 turns a minute, or one radian a second.

    ``temperature`` is that of the magnets then.
    """

    value: Voltage = Field(description="at 1000 turns a minute, or at 1 rad/s, as the form says")
    form: Literal[
        "line_rms_per_krpm",
        "line_peak_per_krpm",
        "phase_peak_per_mechanical_rad_per_s",
        "phase_peak_per_electrical_rad_per_s",
    ] = Field(description="ask the maker: sheets mean different things by the same words")
    temperature: Temperature | None = Field(default=None, description="of the magnets at this value")


class MachineSheet(SheetHead):
    """The electric machine that an inverter feeds. An induction machine holds no magnets."""

    kind: Literal["machine"]
    type: Literal["permanent_magnet", "induction"] | None = None
    pole_pairs: Count | None = Field(default=None, ge=1, le=200, description="half the number of poles")
    back_emf: BackEmf | None = None
    flux_temperature_coefficient: Annotated[Datum, Q("temperature_coefficient", least=-0.01, most=0)] | None = Field(
        default=None, description="of the magnets, for example -0.11 %/K: cold magnets are the strongest"
    )
    d_inductance: Annotated[Datum, Q("inductance", above=0)] | None = Field(
        default=None, description="per phase, along the magnets, saturated"
    )
    q_inductance: Annotated[Datum, Q("inductance", above=0)] | None = Field(
        default=None, description="per phase, across the magnets, saturated"
    )
    phase_resistance: Resistance | None = Field(default=None, description="per phase, half of that between terminals")
    maximum_speed: Annotated[Datum, Q("rotational_speed", above=0)] | None = Field(
        default=None, description="fastest that its shaft may turn"
    )
    demagnetising_current: Current | None = Field(
        default=None, description="peak current against the magnets that they survive, at their hottest"
    )
    short_circuit_time: Annotated[Datum, Q("time", above=0)] | None = Field(
        default=None, description="how long its winding bears its own short-circuit current"
    )

    @model_validator(mode="after")
    def _magnets(self) -> Self:
        if self.type == "induction" and self.back_emf is not None:
            raise fault("an induction machine has no back_emf", "remove back_emf, or write type: permanent_magnet")
        return self


class ConverterSheet(SheetHead):
    """A DC-DC converter from the bus to 12 V."""

    kind: Literal["dcdc"]
    voltage: VoltageRange | None = None
    input_capacitance: Capacitance | None = None
    rated_power: Annotated[Datum, Q("power", above=0)] | None = Field(default=None, description="at its output")
    efficiency: Annotated[Datum, Q("fraction", above=0, most=1)] | None = None
    turn_on_voltage: Voltage | None = None
    turn_off_voltage: Voltage | None = None
    soft_start: Duration | None = None
    input_current_limit: Current | None = None
    continuous_current: Current | None = None
    overload: list[Overload] = OVERLOAD
    insulation: PoleInsulation | None = None

    @model_validator(mode="after")
    def _order(self) -> Self:
        if self.turn_on_voltage and self.turn_off_voltage and self.turn_off_voltage.value > self.turn_on_voltage.value:
            raise fault(
                f"turn_off_voltage {self.turn_off_voltage.text} is above turn_on_voltage {self.turn_on_voltage.text}",
                "set turn_off_voltage to turn_on_voltage or below",
            )
        return self


class HeaterSheet(SheetHead):
    """A heater on the bus: regulated to a power, or a plain resistance."""

    kind: Literal["heater"]
    voltage: VoltageRange | None = None
    control: Literal["power", "resistance"] = "power"
    rated_power: Annotated[Datum, Q("power", above=0)] | None = None
    resistance: Resistance | None = None
    input_capacitance: Capacitance | None = None
    turn_on_voltage: Voltage | None = None
    current_limit: Current | None = Field(default=None, description="current above which it switches itself off")
    continuous_current: Current | None = None
    overload: list[Overload] = OVERLOAD
    insulation: PoleInsulation | None = None


class ChargerInput(Strict):
    """The alternating-current side of a charger."""

    voltage: VoltageRange = Field(description="one phase: between its conductors; three: between two lines")
    current: Current = Field(description="the most it draws, per phase")
    phases: Literal[1, 3] = 1
    one_phase_too: bool = Field(default=False, description="a charger of three phases that works on one of them too")
    power_factor: Annotated[Datum, Q("fraction", above=0, most=1)]


class LowPower(Strict):
    """The charger's efficiency at a small power."""

    input_power: Annotated[Datum, Q("power", above=0)]
    efficiency: Annotated[Datum, Q("fraction", above=0, most=1)]


class ChargerSheet(SheetHead):
    """An on-board charger seen from the bus."""

    kind: Literal["charger"]
    voltage: VoltageRange | None = None
    rated_power: Annotated[Datum, Q("power", above=0)] | None = Field(default=None, description="into the bus")
    output_current: Current | None = None
    output_in_short: Literal["stops", "holds"] | None = Field(
        default=None, description="what its output does into a short circuit: it stops by itself, or holds its current"
    )
    output_capacitance: Capacitance | None = None
    bleed_resistance: Resistance | None = None
    insulation: AlternatingInsulation | None = None
    input: ChargerInput | None = None
    efficiency: Annotated[Datum, Q("fraction", above=0, most=1)] | None = Field(
        default=None, description="from the supply to the bus at rated power"
    )
    low_power: LowPower | None = Field(default=None, description="efficiency near the least current of a pilot")
    standby: Power | None = Field(default=None, description="from the supply, plugged in and not charging")

    @model_validator(mode="after")
    def _low_below_rated(self) -> Self:
        low, rated = self.low_power, self.rated_power
        if low and rated and low.input_power.value >= rated.value:
            raise fault(
                f"low_power is given at {low.input_power.text}, not below rated_power {rated.text}",
                "give the efficiency at a small power there",
            )
        return self


class InletSheet(SheetHead):
    """A charging inlet on the vehicle."""

    kind: Literal["inlet"]
    rated_voltage: Voltage | None = Field(default=None, description="of its direct-current contacts")
    rated_current: Current | None = Field(default=None, description="of its direct-current contacts, continuous")
    insulation: PoleInsulation | None = None


class CableSheet(SheetHead):
    """A cable by the metre."""

    kind: Literal["cable"]
    cross_section: Area | None = None
    conductor: Literal["copper", "copper_tinned", "aluminium"] = "copper"
    resistance: Annotated[Datum, Q("resistance_per_length", above=0)] | None = Field(
        default=None,
        description="at 20 °C; where absent the largest value of IEC 60228 for the cross-section",
    )
    conductor_diameter: Length | None = None
    outer_diameter: Length | None = None
    temperature_rating: Temperature | None = None
    short_circuit_temperature: Temperature | None = Field(
        default=None, description="hottest that the insulation bears at the end of a short circuit of up to 5 s"
    )
    rated_voltage: Voltage | None = None
    inductance: Annotated[Datum, Q("inductance_per_length", above=0)] | None = Field(
        default=None, description="per metre of run"
    )
    insulation_resistance: Annotated[Datum, Q("resistance_times_length", above=0)] | None = Field(
        default=None, description="of the conductor to its screen or the chassis, times length: half for double length"
    )
    y_capacitance: Annotated[Datum, Q("capacitance_per_length", least=0)] | None = Field(
        default=None, description="of the conductor to its screen or the chassis, per metre of run"
    )
    colour: str = ""


Sheet: TypeAlias = Annotated[
    PackSheet
    | FuseSheet
    | ContactorSheet
    | DisconnectSheet
    | ResistorSheet
    | InverterSheet
    | MachineSheet
    | ConverterSheet
    | HeaterSheet
    | ChargerSheet
    | InletSheet
    | CableSheet,
    Field(discriminator="kind"),
]
