"""Data sheets (parts/*.yaml): what a part of a kind can do. A field left out leaves the studies that need it open."""

from itertools import pairwise
from typing import Annotated, Any, Literal, Self, TypeAlias

from pydantic import BaseModel, ConfigDict, Field, model_validator

from tristrand.design.datum import Basis, Datum, Q, fault

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
    charge_current: Current | None = None
    charge_voltage: Voltage | None = Field(default=None, description="of one cell: charging holds no more than this")
    charge_table: ChargeTable | None = Field(
        default=None, description="largest charge current of the whole pack; outside the table none is allowed"
    )
    charge_cutoff_current: Current | None = Field(
        default=None, description="of the whole pack: charging ends when less flows"
    )


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

    @model_validator(mode="after")
    def _order(self) -> Self:
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
    continuous_current: Current | None = None
    overload: list[Overload] = OVERLOAD


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
    output_capacitance: Capacitance | None = None
    bleed_resistance: Resistance | None = None
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
    colour: str = ""


Sheet: TypeAlias = Annotated[
    PackSheet
    | FuseSheet
    | ContactorSheet
    | DisconnectSheet
    | ResistorSheet
    | InverterSheet
    | ConverterSheet
    | HeaterSheet
    | ChargerSheet
    | InletSheet
    | CableSheet,
    Field(discriminator="kind"),
]
