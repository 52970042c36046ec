"""What the battery monitor of a pack reads and at what it trips, and the trip of a brake plausibility circuit."""

from typing import Annotated, Literal, Self, TypeAlias

from pydantic import Field, model_validator

from tristrand.design.base import Count, Current, Duration, Strict, Temperature, Voltage
from tristrand.design.datum import Datum
from tristrand.design.quantity import Q, fault

VoltageError: TypeAlias = Annotated[Datum, Q("voltage", least=0)]
TemperatureError: TypeAlias = Annotated[Datum, Q("temperature_difference", least=0)]
Distance: TypeAlias = Annotated[Datum, Q("length", least=0)]


class SenseProtection(Strict):
    """What opens a sense wire in a short: a fuse, a fusible resistor, a link on a flexible board."""

    rated_voltage: Voltage | None = Field(default=None, description="direct voltage that it interrupts")
    at: Literal["cell", "board"] = Field(description="cell: in the conductor at the cell tab; board: at the monitor")


class CurrentTrip(Strict):
    """The monitor opens the contactors once this current has flowed this long."""

    current: Current
    time: Duration


class CellMonitor(Strict):
    """The battery monitor of a pack. A field left out leaves the rules that need it open."""

    cells_read: Count | None = Field(
        default=None, ge=1, le=2000, description="groups of cells in series whose voltage is read, each group once"
    )
    over_voltage: Voltage | None = Field(default=None, description="reading of a cell at which it trips")
    under_voltage: Voltage | None = Field(default=None, description="reading of a cell at which it trips")
    voltage_error: VoltageError | None = Field(default=None, description="largest error of a cell's reading, each way")
    over_temperature: Temperature | None = Field(default=None, description="reading at which it trips, discharging")
    over_temperature_charge: Temperature | None = Field(
        default=None, description="reading at which it ends charging and regeneration"
    )
    under_temperature: Temperature | None = Field(default=None, description="reading at which it trips, discharging")
    under_temperature_charge: Temperature | None = Field(
        default=None, description="reading below which it allows no charging and no regeneration"
    )
    temperature_error: TemperatureError | None = Field(
        default=None, description="largest error of a temperature reading, each way"
    )
    temperature_sensors: Count | None = Field(
        default=None, ge=1, le=100000, description="cells whose temperature is read; one sensor may serve several"
    )
    sensor_distance: Distance | None = Field(
        default=None, description="of a sensor on a busbar from the cell's weld or clamp; 0 mm on the terminal itself"
    )
    sense_protection: SenseProtection | None = None
    sense_wire_voltage: Voltage | None = Field(default=None, description="rated voltage of the sense wires")
    over_current_discharge: CurrentTrip | None = None
    over_current_charge: CurrentTrip | None = None
    answer_time: Duration | None = Field(
        default=None, description="from a limit passed at the cell to the opening order, a current's own time left out"
    )
    finds_open_link: bool | None = Field(
        default=None, description="whether it finds one open fusible link among cells in parallel and then trips"
    )

    @model_validator(mode="after")
    def _order(self) -> Self:
        _below("under_voltage", self.under_voltage, "over_voltage", self.over_voltage)
        _below("under_temperature", self.under_temperature, "over_temperature", self.over_temperature)
        _below(
            "under_temperature_charge",
            self.under_temperature_charge,
            "over_temperature_charge",
            self.over_temperature_charge,
        )
        return self


def _below(low: str, least: Datum | None, high: str, most: Datum | None) -> None:
    if least is not None and most is not None and least.value >= most.value:
        raise fault(f"{low} {least.text} is not below {high} {most.text}", f"set {low} below {high}")


class BrakePlausibility(Strict):
    """The circuit that opens the shutdown circuit where the car brakes hard and the motor still draws current."""

    current: Current | None = Field(default=None, description="largest bus current that it lets pass, tolerance added")
    within: Duration | None = Field(default=None, description="longest time from both signals to the opening order")
