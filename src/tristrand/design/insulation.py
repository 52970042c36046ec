"""The insulation monitor, what the search for a fault needs, and the distances in boxes and on boards one builds."""

from typing import Annotated, Literal, Self, TypeAlias

from pydantic import Field, model_validator

from tristrand.design.base import Capacitance, Count, Length, Resistance, Strict, empty_dict
from tristrand.design.datum import Datum
from tristrand.design.poles import PoleInsulation
from tristrand.design.quantity import Q, fault

# As in model.py, which imports this module.
_Terminal: TypeAlias = Annotated[str, Field(pattern=r"^[A-Za-z][A-Za-z0-9_-]*\.[A-Za-z0-9_+-]+$")]
_Id: TypeAlias = Annotated[str, Field(pattern=r"^[A-Za-z][A-Za-z0-9_-]{0,39}$")]


class Monitor(Strict):
    """An insulation monitor between the bus and the chassis."""

    plus: _Terminal = Field(description="terminal on the positive pole where it is joined")
    minus: _Terminal = Field(description="terminal on the negative pole where it is joined")
    trips_at: Resistance | None = Field(default=None, description="it reports a fault at this resistance and below")
    warns_at: Resistance | None = Field(default=None, description="it warns at this resistance and below")
    internal_resistance: Resistance | None = Field(
        default=None, description="its own, from both poles together to the chassis"
    )
    most_capacitance: Capacitance | None = Field(
        default=None, description="most capacitance of both poles to the chassis that it still measures across"
    )
    response_time: Annotated[Datum, Q("time", above=0)] | None = Field(
        default=None, description="from the fault to its report, at that capacitance"
    )
    method: Literal["injects", "compares_poles"] | None = Field(
        default=None, description="injects: drives a test signal; compares_poles: compares the poles' voltages"
    )
    note: str = ""

    @model_validator(mode="after")
    def _order(self) -> Self:
        if self.trips_at and self.warns_at and self.warns_at.value < self.trips_at.value:
            raise fault(
                f"warns_at {self.warns_at.text} is below trips_at {self.trips_at.text}: it would trip before it warns",
                "set warns_at above trips_at",
            )
        if self.plus == self.minus:
            raise fault(f"plus and minus are the same terminal {self.plus}", "name one terminal on each pole")
        return self


class Insulation(Strict):
    """What of the insulation belongs to no single part."""

    fittings: PoleInsulation | None = Field(
        default=None,
        description="fuses, contactors, resistors, busbars, connectors and their boxes, all together",
    )
    monitor: Monitor | None = None
    fault_likelihood: dict[_Id, Annotated[Count, Field(ge=1, le=1000)]] = Field(
        default_factory=empty_dict,
        description="how likely each device's insulation fails, on any scale; 1 where nothing is said",
    )


class Spacing(Strict):
    """The least distance between two conductors in a box or on a board that one builds or changes oneself."""

    between: Literal["poles", "chassis", "low_voltage"] = Field(
        description="high voltage against its other pole, against the chassis, or against 12 V circuits"
    )
    kind: Literal["housing", "board"]
    part: _Id | None = Field(default=None, description="the part it lies in or at")
    creepage: Length | None = Field(default=None, description="along the surface of the insulation, the least")
    clearance: Length | None = Field(default=None, description="through the air, the least")
    pollution_degree: Annotated[Count, Field(ge=1, le=3)]
    overvoltage_category: Literal["I", "II", "III", "IV"]
    cti: Annotated[Count, Field(ge=100, le=1000)] | None = Field(
        default=None, description="comparative tracking index of the insulation"
    )
    material_group: Literal["I", "II", "IIIa", "IIIb"] | None = Field(default=None, description="in place of cti")
    insulation: Literal["basic", "reinforced"] | None = Field(
        default=None, description="else reinforced against 12 V circuits, basic otherwise"
    )
    gap: Literal["surface", "air", "coated"] | None = Field(
        default=None, description="boards: over the surface, by a slot through air, or under a coating"
    )
    barrier: bool = Field(
        default=False, description="housings: a moisture-proof insulating barrier for at least 90 °C lies between"
    )
    place: str = ""
    note: str = ""

    @model_validator(mode="after")
    def _forms(self) -> Self:
        if self.cti is not None and self.material_group is not None:
            raise fault("both cti and material_group are given", "keep one of them")
        if self.creepage and self.clearance and self.creepage.value < self.clearance.value:
            raise fault(
                f"creepage {self.creepage.text} is shorter than clearance {self.clearance.text}",
                "no way along a surface is shorter than the one through air: check which is which",
            )
        if self.gap is not None and self.kind == "housing":
            raise fault("a housing has no gap", "remove the key 'gap', or write kind: board")
        if self.barrier and self.kind == "board":
            raise fault("a board has no barrier", "remove the key 'barrier', or write kind: housing")
        return self
