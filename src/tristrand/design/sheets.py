"""Data sheets (parts/*.yaml): what a part of a kind can do. A field left out leaves the studies that need it open."""

from typing import Annotated, Literal, Self, TypeAlias

from pydantic import Field, model_validator

from tristrand.design.base import (
    OVERLOAD,
    Area,
    BusCapacitance,
    Count,
    Current,
    Duration,
    Length,
    Overload,
    Power,
    Resistance,
    SheetHead,
    Strict,
    Temperature,
    Voltage,
    VoltageRange,
)
from tristrand.design.datum import Datum
from tristrand.design.pack_sheets import PackSheet
from tristrand.design.poles import AlternatingInsulation, PoleInsulation
from tristrand.design.quantity import Q, fault
from tristrand.design.switch_sheets import ContactorSheet, DisconnectSheet, FuseSheet, ResistorSheet


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
    bus_capacitance: BusCapacitance | None = None
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
    input_capacitance: BusCapacitance | None = None
    bleed_resistance: Resistance | None = Field(default=None, description="built-in resistance across the bus")
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
    input_capacitance: BusCapacitance | None = None
    bleed_resistance: Resistance | None = Field(default=None, description="built-in resistance across the bus")
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
    output_capacitance: BusCapacitance | None = None
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
