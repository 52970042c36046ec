"""The charging sections of high_voltage.yaml: supplies, cable, inlet, and what must keep charging from starting.

The talk between car and supply beyond the pilot's duty (digital messages of fast charging) is no part of this.
"""

from typing import Annotated, Literal, Self, TypeAlias

from pydantic import Field, model_validator

from tristrand.design.base import Current, Duration, Power, Resistance, Share, Strict, Voltage, VoltageRange, empty_dict
from tristrand.design.datum import Datum
from tristrand.design.quantity import Q, fault

Blocker: TypeAlias = Literal[
    "drive_enabled", "vehicle_moving", "insulation_fault", "interlock_open", "cell_fault", "proximity_without_pilot",
    "pack_cold", "pack_hot", "charger_fault", "inlet_hot",
]  # fmt: skip
PartId: TypeAlias = Annotated[str, Field(pattern=r"^[A-Za-z][A-Za-z0-9_-]{0,39}$")]


def _once(name: str, entries: list[str]) -> None:
    twice = sorted({entry for entry in entries if entries.count(entry) > 1})
    if twice:
        raise fault(f"{', '.join(twice)} stands twice in '{name}'", "name each once")


class ChargingCable(Strict):
    """The cable between supply and inlet."""

    current: Current | None = Field(default=None, description="what its conductors carry for ever, per phase")
    proximity: Resistance | None = Field(
        default=None, description="resistor from proximity to earth in the plug at the vehicle"
    )


class Supply(Strict):
    """One alternating-current supply at which the vehicle is charged."""

    kind: Literal["socket", "wall_box", "three_phase"]
    voltage: Voltage | None = Field(
        default=None, description="one phase: between its two conductors; three: between two lines"
    )
    phases: Literal[1, 3] = 1
    current: Current | None = Field(default=None, description="what the supply equipment may give for ever, per phase")
    branch_circuit: Current | None = Field(default=None, description="rating of the breaker ahead of it")
    pilot_duty: Annotated[Datum, Q("fraction", least=0, most=1)] | None = Field(
        default=None, description="duty of its control pilot; a supply without a pilot leaves it out"
    )
    cable: ChargingCable | None = Field(default=None, description="its own cable, in place of the vehicle's")


class AcInlet(Strict):
    """The vehicle's inlet for alternating current."""

    type: Literal["type_1", "type_2"]
    rated_current: Current | None = Field(default=None, description="of its contacts, per phase, continuous")
    phases: Literal[1, 3] = 1

    @model_validator(mode="after")
    def _one_phase(self) -> Self:
        if self.type == "type_1" and self.phases == 3:
            raise fault("a type_1 inlet has contacts for one phase only", "set phases to 1, or fit a type_2 inlet")
        return self


class Opening(Strict):
    """What follows when the shutdown circuit opens while charging."""

    off_after: Duration = Field(description="from the opening until the charger drives no current")
    reset: Literal["manual", "automatic"] = Field(description="how charging is allowed again")


class Regeneration(Strict):
    """Braking back into the pack; how much each inverter feeds back stands with its power."""

    current_control: Literal["table", "fixed"] = Field(
        description="table: the supervisor holds it to what the pack's charge table allows; fixed: the power counts "
        "at every temperature and charge"
    )
    cell_voltage: Voltage | None = Field(
        default=None, description="of one cell: the supervisor takes braking back so that none goes above it"
    )


class Charging(Strict):
    """Charging from alternating current."""

    charger: PartId | None = Field(default=None, description="a part of kind charger")
    inlet: AcInlet | None = None
    cable: ChargingCable | None = Field(default=None, description="the cable carried in the vehicle")
    target: Share | None = Field(default=None, description="state of charge at which a session ends")
    current_control: Literal["table", "fixed"] = Field(
        default="fixed",
        description="table: the charger is told what the pack's charge table allows; fixed: it gives all it can",
    )
    low_voltage_draw: Power | None = Field(default=None, description="of the 12 V side while charging")
    blocked_when: list[Blocker] | None = Field(
        default=None, min_length=1, description="states in which charging does not start, and stops"
    )
    plug_blocks_drive: bool | None = Field(
        default=None, description="whether the proximity contact alone keeps the drive off, also at a dead supply"
    )
    on_opening: Opening | None = None
    supplies: dict[PartId, Supply] = Field(default_factory=empty_dict, description="the first is the main one")

    @model_validator(mode="after")
    def _unique(self) -> Self:
        _once("blocked_when", list(self.blocked_when or ()))
        return self


class Station(Strict):
    """The direct-current supply."""

    voltage: VoltageRange
    current: Current = Field(description="the most it gives")
    output_in_short: Literal["stops", "holds"] | None = Field(
        default=None,
        description="stops: it drives no current into a short circuit at its output for long; holds: it does",
    )


class FastCharging(Strict):
    """Charging from a direct-current supply past the on-board charger."""

    inlet: PartId = Field(description="a part of kind inlet")
    contactors: list[PartId] = Field(min_length=1, description="contactors of role charge, both poles")
    fuse: PartId | None = Field(default=None, description="the fuse between inlet and pack")
    supply: Station | None = None
    current: Current | None = Field(default=None, description="the most that the vehicle asks for")
    current_control: Literal["table", "fixed"] | None = Field(
        default=None,
        description="table: the supply is asked for no more than the pack's charge table allows; fixed: for the "
        "current above throughout; where left out, that of charging counts here too",
    )
    closing_difference: Annotated[Datum, Q("voltage", least=0)] | None = Field(
        default=None, description="the contactors close only when the voltages on both sides differ by less"
    )
    blocked_when: list[Blocker] | None = Field(
        default=None, min_length=1, description="as in charging; where left out, that list counts here too"
    )
    plug_blocks_drive: bool | None = Field(default=None, description="as in charging, likewise")
    weld_check: Literal["each_pole", "together", "none"] | None = Field(
        default=None,
        description="each_pole: each inlet contact is measured against the other pole of the pack; together: only the "
        "voltage between the two inlet contacts is; voltage_sensors names the sensors that do it",
    )

    @model_validator(mode="after")
    def _unique(self) -> Self:
        _once("contactors", self.contactors)
        _once("blocked_when", list(self.blocked_when or ()))
        return self
