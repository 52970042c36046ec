"""vehicle.yaml, high_voltage.yaml and waivers.yaml as typed, frozen models. Data only; reading stands in loader.py."""

import datetime
import re
from typing import Annotated, Any, Literal, Self, TypeAlias

from pydantic import BeforeValidator, Field, model_validator

from tristrand.design.base import (
    SWAP,
    Count,
    Duration,
    Inductance,
    Length,
    Overload,
    Power,
    Resistance,
    Share,
    Strict,
    Temperature,
    empty_dict,
    empty_list,
)
from tristrand.design.cells import BrakePlausibility, CellMonitor
from tristrand.design.charging import Charging, FastCharging, Regeneration
from tristrand.design.contactors import CoilSupply, SwitchingDuty, VoltageSensor, WeldCheck
from tristrand.design.datum import Datum
from tristrand.design.drive_line import DriveLine
from tristrand.design.fuse_duty import OVERLOAD_BY, OVERLOAD_TRIP
from tristrand.design.insulation import Insulation, Spacing
from tristrand.design.loops import LOOPS, MEASURING, OPENABLE, Bonding, Loop, MeasuringPoints, Openable
from tristrand.design.quantity import Q, fault

RuleSet: TypeAlias = Literal["fsae-2026", "fs-family-2026", "un-r100", "workshop"]
Case: TypeAlias = Literal["idle", "precharge", "charge", "continuous", "peak", "heat", "regeneration"]
Id: TypeAlias = Annotated[str, Field(pattern=r"^[A-Za-z][A-Za-z0-9_-]{0,39}$")]
SheetName: TypeAlias = Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9_.-]{0,59}$")]
Terminal: TypeAlias = Annotated[str, Field(pattern=r"^[A-Za-z][A-Za-z0-9_-]*\.[A-Za-z0-9_+-]+$")]

Filled: TypeAlias = Annotated[str, Field(pattern=r"\S", description="not empty")]
_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}\Z")


def _read_day(raw: Any) -> Any:
    if isinstance(raw, str) and _DAY.match(raw):
        try:
            return datetime.date.fromisoformat(raw)
        except ValueError:
            raise fault(
                f"there is no day {raw} in the calendar", "write year-month-day, for example 2026-11-20"
            ) from None
    if isinstance(raw, datetime.date) and not isinstance(raw, datetime.datetime):
        return raw
    said = "nothing" if raw is None else f"'{raw}'" if isinstance(raw, (str, int, float)) else "a collection"
    raise fault(f"a date is needed here, not {said}", "write year-month-day, for example 2026-11-20")


def _read_optional_day(raw: Any) -> Any:
    return None if raw is None else _read_day(raw)


# A bare number is no date here: it would silently count seconds from 1970.
Day: TypeAlias = Annotated[datetime.date, BeforeValidator(_read_day)]
OptionalDay: TypeAlias = Annotated[datetime.date | None, BeforeValidator(_read_optional_day)]


class TemperatureRange(Strict):
    """The least and the most."""

    minimum: Temperature
    maximum: Temperature

    @model_validator(mode="after")
    def _order(self) -> Self:
        if self.minimum.value > self.maximum.value:
            raise fault(f"minimum {self.minimum.text} is above maximum {self.maximum.text}", SWAP)
        return self


class ShareRange(Strict):
    """The least and the most."""

    minimum: Share
    maximum: Share

    @model_validator(mode="after")
    def _order(self) -> Self:
        if self.minimum.value >= self.maximum.value:
            raise fault(f"minimum {self.minimum.text} is not below maximum {self.maximum.text}", SWAP)
        return self


class Mode(Strict):
    """One operating mode; every strand uses the same list."""

    title: str = ""
    high_voltage: list[Case] = Field(min_length=1, description="the high-voltage cases that occur in this mode")


class Vehicle(Strict):
    """vehicle.yaml"""

    schema_version: Literal[1]
    name: Filled
    revision: str = "A"
    date: OptionalDay = None
    use: Literal["road", "track"]
    rule_sets: list[RuleSet] = Field(min_length=1)
    ambient: TemperatureRange | None = None
    altitude: Annotated[Datum, Q("length", least=0, most=10000)] | None = Field(
        default=None, description="highest place of use, above sea level"
    )
    modes: dict[Id, Mode] = Field(min_length=1)
    drive_line: DriveLine = Field(default_factory=DriveLine)
    note: str = ""


class PartBase(Strict):
    """What every high-voltage part has."""

    sheet: SheetName
    place: str = ""
    ambient: Temperature | None = Field(default=None, description="air round the part; else the vehicle's maximum")
    power: dict[Case, Power] = Field(default_factory=empty_dict, description="at its bus terminals, case by case")
    note: str = ""


class Pack(PartBase):
    """Terminals plus and minus."""

    kind: Literal["pack"]
    state_of_charge: ShareRange | None = None
    temperature: TemperatureRange | None = None
    monitor: CellMonitor | None = Field(default=None, description="the battery monitor: what it reads, where it trips")


class Fuse(PartBase):
    """Terminals a and b."""

    kind: Literal["fuse"]
    overload_by: list[Id] = OVERLOAD_BY
    overload_trip: Overload | None = OVERLOAD_TRIP


class Contactor(PartBase):
    """Terminals a and b."""

    kind: Literal["contactor"]
    role: Literal["main", "precharge", "discharge", "charge"] = Field(
        description="charge: between the bus or the pack and an inlet for direct current"
    )
    marked_plus: Literal["a", "b"] | None = Field(
        default=None, description="terminal marked plus on the housing, as mounted; current enters there when forward"
    )
    rests: Literal["open", "closed"] = Field(default="open", description="its state without coil current")
    closes: Literal["before_precharge", "after_precharge"] | None = Field(
        default=None, description="of a main contactor, above all one that feeds only some devices: when it is closed"
    )


class ServiceDisconnect(PartBase):
    """Terminals a and b."""

    kind: Literal["service_disconnect"]


class ResistorPart(PartBase):
    """Terminals a and b."""

    kind: Literal["resistor"]
    role: Literal["precharge", "discharge"]


class Inverter(PartBase):
    """Terminals plus and minus."""

    kind: Literal["inverter"]
    machine: SheetName | None = Field(default=None, description="sheet of the machine it feeds")
    machines: Count = Field(default=1, ge=1, le=8, description="like machines that it feeds side by side")
    gear_ratio: Annotated[Datum, Q("count", above=0)] | None = Field(
        default=None, description="turns of the machine for one turn of the wheel, all stages together"
    )
    speed_limit: Annotated[Datum, Q("rotational_speed", above=0)] | None = Field(
        default=None, description="of the machine, kept by the inverter also with the wheels in the air"
    )


class Converter(PartBase):
    """Terminals plus and minus."""

    kind: Literal["dcdc"]
    starts: Literal["with_bus", "when_released"] = Field(
        default="with_bus",
        description="with_bus: by itself as the bus rises; when_released: only after the main contactors have closed",
    )


class Heater(PartBase):
    """Terminals plus and minus."""

    kind: Literal["heater"]
    starts: Literal["with_bus", "when_released"] = "when_released"

    @model_validator(mode="after")
    def _says_how_it_starts(self) -> Self:
        drawn = self.power.get("precharge")
        if drawn is not None and drawn.high > 0 and "starts" not in self.model_fields_set:
            said = f"{drawn.text} in case precharge, and not a word on whether it starts with the bus"
            raise fault(said, "add starts: with_bus, or starts: when_released if it rests until precharge is over")
        return self


class Charger(PartBase):
    """Terminals plus and minus, on the direct-current side."""

    kind: Literal["charger"]


class Inlet(PartBase):
    """Terminals plus and minus: the direct-current contacts of a charging inlet."""

    kind: Literal["inlet"]


class Junction(Strict):
    """A busbar or stud where cables meet: one terminal, named bar, for all of them."""

    kind: Literal["junction"]
    place: str = ""
    note: str = ""


Part: TypeAlias = Annotated[
    Pack
    | Fuse
    | Contactor
    | ServiceDisconnect
    | ResistorPart
    | Inverter
    | Converter
    | Heater
    | Charger
    | Inlet
    | Junction,
    Field(discriminator="kind"),
]


class Connection(Strict):
    """A cable between two terminals, or a busbar given by its resistance."""

    from_: Terminal = Field(alias="from")
    to: Terminal
    cable: SheetName | None = Field(default=None, description="a cable sheet")
    length: Length | None = None
    resistance: Resistance | None = Field(
        default=None, description="for a busbar or a bolted joint in place of cable and length"
    )
    inductance: Inductance | None = None
    ambient: Temperature | None = Field(default=None, description="air along the route; else the vehicle's maximum")
    bundled: Count = Field(default=1, ge=1, le=200, description="loaded conductors that run together, this one counted")
    terminal_limit: Temperature | None = Field(default=None, description="hottest the lugs and connectors may get")
    route: str = ""
    note: str = ""

    @model_validator(mode="after")
    def _one_form(self) -> Self:
        if self.cable is not None and self.resistance is not None:
            raise fault(
                "both a cable and a resistance are given", "keep cable and length, or keep resistance for a busbar"
            )
        if self.cable is None and self.resistance is None:
            raise fault("neither a cable nor a resistance is given", "add cable and length, or resistance for a busbar")
        return self


class RiseCheck(Strict):
    """An early look at the bus: a short or an open resistor shows long before the time-out."""

    after: Duration = Field(description="time from the command to close the precharge contactor to the look")
    share: Share = Field(
        description="share of pack voltage the bus must have reached by then, else precharge is given up"
    )


class Precharge(Strict):
    """How the supervisor ends precharge."""

    target: Share | None = Field(
        default=None,
        description="bus voltage as a share of pack voltage at which the last main contactor closes",
    )
    timeout: Duration | None = Field(
        default=None, description="precharge is given up this long after the command to close its contactor"
    )
    rise_check: RiseCheck | None = Field(
        default=None, description="an early look that saves the resistor on a shorted bus"
    )
    earliest: Duration | None = Field(
        default=None, description="reaching the target sooner after the command is taken as a fault"
    )
    pack_sensor: Share | None = Field(
        default=None, description="tolerance of the pack voltage reading, share of the reading"
    )
    bus_sensor: Share | None = Field(
        default=None, description="tolerance of the bus voltage reading, share of the reading"
    )
    attempts: Count | None = Field(default=None, ge=1, le=1000, description="attempts in a row before the long pause")
    pause: Duration | None = Field(default=None, description="from the start of one attempt to the start of the next")


class Discharge(Strict):
    """What the discharge must do beyond the rule sets."""

    within: Duration | None = Field(default=None, description="the owner's own limit for the time to 60 V")


class HighVoltage(Strict):
    """high_voltage.yaml"""

    schema_version: Literal[1]
    parts: dict[Id, Part] = Field(min_length=1)
    connections: dict[Id, Connection] = Field(default_factory=empty_dict)
    case_duration: dict[Case, Duration] = Field(
        default_factory=empty_dict, description="cases that last only so long; the others are sustained"
    )
    precharge: Precharge = Field(default_factory=Precharge)
    discharge: Discharge = Field(default_factory=Discharge)
    coil_supply: CoilSupply | None = None
    switching_duty: SwitchingDuty | None = None
    voltage_sensors: dict[Id, VoltageSensor] = Field(default_factory=empty_dict)
    weld_check: WeldCheck | None = None
    power_limit: Annotated[Datum, Q("power", above=0)] | None = Field(
        default=None, description="most the supervisor lets the pack deliver"
    )
    brake_plausibility: BrakePlausibility | None = None
    insulation: Insulation = Field(default_factory=Insulation)
    spacings: dict[Id, Spacing] | None = Field(
        default=None, description="of boxes and boards that you build or change yourself; {} where there are none"
    )
    loops: dict[Id, Loop] = LOOPS
    openable: dict[Id, Openable] = OPENABLE
    bonding: Bonding = Field(default_factory=Bonding)
    measuring_points: dict[Id, MeasuringPoints] = MEASURING
    regeneration: Regeneration | None = Field(default=None, description="what limits braking back into the pack")
    charging: Charging | None = Field(default=None, description="from alternating current, by the on-board charger")
    fast_charging: FastCharging | None = Field(default=None, description="from direct current, past the charger")


class Evidence(Strict):
    """What the finding measured when it was accepted."""

    quantity: Filled
    value: float = Field(strict=True, allow_inf_nan=False, description="in the unit in which the report prints it")


class WaiverEntry(Strict):
    """One accepted finding."""

    code: Annotated[str, Field(pattern=r"^[A-Z]{2,3}[0-9]{3}$")]
    object: Annotated[str, Field(pattern=r"^[^*?\s]+$", description="one object, as the finding names it")]
    reason: Annotated[Filled, Field(min_length=10)]
    by: Filled
    date: Day
    expires: OptionalDay = None
    evidence: Evidence = Field(description="the number accepted; a worse one brings the finding back")


class Waivers(Strict):
    """waivers.yaml"""

    schema_version: Literal[1]
    waivers: list[WaiverEntry] = Field(default_factory=empty_list)
