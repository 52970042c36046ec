"""Data sheets of what opens, closes and limits: fuses, contactors, disconnects, resistors."""

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from tristrand.design.base import (
    OVERLOAD,
    Contact,
    Current,
    Duration,
    Energy,
    Overload,
    Resistance,
    SheetHead,
    Strict,
    Temperature,
    Voltage,
    empty_list,
    rising,
)
from tristrand.design.contactors import AuxiliaryContact, Coil, Economiser, SwitchingLife
from tristrand.design.datum import Datum
from tristrand.design.quantity import Q, fault


class MeltingPoint(Strict):
    """One point of a maker's time-current curve: the average time to melt at a constant current."""

    current: Current
    time: Annotated[Datum, Q("time", above=0)]


class FuseSheet(SheetHead):
    """A fuse for direct current."""

    kind: Literal["fuse"]
    rated_current: Current | None = None
    rated_voltage: Voltage | None = None
    resistance: Contact | None = Field(default=None, description="cold resistance")
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
        rising("melting: current", [point.current for point in self.melting])
        rising("melting: time, from the last point to the first", [p.time for p in reversed(self.melting)])
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
    contact_resistance: Contact | None = None
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
    contact_resistance: Contact | None = None


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
