"""The data sheet of a pack: cells, tables, limits, modules."""

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from tristrand.design.base import (
    SWAP,
    Count,
    Current,
    Inductance,
    Resistance,
    Share,
    SheetHead,
    Strict,
    Temperature,
    Voltage,
    rising,
)
from tristrand.design.datum import Datum
from tristrand.design.poles import PoleInsulation
from tristrand.design.quantity import Q, fault


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
        rising("state_of_charge", self.state_of_charge)
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
        rising("temperature", self.temperature)
        rising("state_of_charge", self.state_of_charge)
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
        rising("temperature", self.temperature)
        rising("state_of_charge", self.state_of_charge)
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
    cell_capacity: Annotated[Datum, Q("charge", least=1800)] | None = None  # 0.5 Ah
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
