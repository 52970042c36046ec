"""Interlock and shutdown loops, what can be opened, bonding and measuring points: their models in high_voltage.yaml."""

from typing import Annotated, Any, Literal, Self, TypeAlias

from pydantic import Field, model_validator

from tristrand.design.base import (
    Area,
    Current,
    Duration,
    Length,
    Resistance,
    Strict,
    Temperature,
    Voltage,
    VoltageRange,
    empty_dict,
    empty_list,
)
from tristrand.design.datum import Datum
from tristrand.design.quantity import Q, fault

Touch: TypeAlias = Literal["IPXXD", "IPXXB", "none"]
# As Id and Terminal in model.py, which imports this module.
Name: TypeAlias = Annotated[str, Field(pattern=r"^[A-Za-z][A-Za-z0-9_-]{0,39}$")]
Stud: TypeAlias = Annotated[str, Field(pattern=r"^[A-Za-z][A-Za-z0-9_-]*\.[A-Za-z0-9_+-]+$")]
# References are plain words: the cross-check names those that lead nowhere, and a pattern costs time at every start.
Names: TypeAlias = Annotated[list[str], Field(min_length=1)]


class LoopWire(Strict):
    """The wire of a loop, out and back: length and cross-section, or its resistance."""

    length: Length | None = Field(default=None, description="out and back")
    cross_section: Area | None = Field(default=None, description="of fine-stranded copper")
    ambient: Temperature | None = Field(default=None, description="hottest along the route; else the vehicle's maximum")
    resistance: Resistance | None = Field(default=None, description="in place of length and cross-section")

    @model_validator(mode="after")
    def _one_form(self) -> Self:
        if self.resistance is not None and (self.length is not None or self.cross_section is not None):
            raise fault("both a resistance and a size are given", "keep length and cross_section, or keep resistance")
        return self


ElementKind: TypeAlias = Literal[
    "connector", "cover", "service_disconnect", "motor_cable", "interlock", "button", "inertia_switch",
    "brake_over_travel", "low_voltage_master_switch", "high_voltage_master_switch", "battery_monitor",
    "insulation_monitor", "brake_plausibility", "relay", "fuse", "diode",
]  # fmt: skip


class LoopElement(Strict):
    """One element of a loop, in the order in which the current meets them."""

    kind: ElementKind = Field(description="interlock: the contact of another loop's relay")
    contact_of: str | None = Field(default=None, description="for the kind interlock: the loop of that relay")
    resistance: Annotated[Datum, Q("resistance", least=0)] | None = Field(
        default=None, description="of its contacts, both of a pair together"
    )
    drop: Annotated[Datum, Q("voltage", least=0)] | None = Field(
        default=None, description="fixed drop of a diode or an electronic switch"
    )
    watches: list[str] = Field(default_factory=empty_list, description="what it opens for: ids under openable")
    run: Literal["harness", "connector", "housing", "separated"] | None = Field(
        default=None, description="how its wires lie to high voltage: inside its harness or connector, in a housing"
    )
    run_length: Length | None = Field(default=None, description="in a housing: from the high-voltage connector")
    note: str = ""

    @model_validator(mode="after")
    def _contact(self) -> Self:
        if (self.kind == "interlock") != (self.contact_of is not None):
            raise fault(
                "an interlock names the loop whose relay it is a contact of, and nothing else does",
                "add contact_of to an interlock; remove it from any other kind",
            )
        return self


class Loop(Strict):
    """A series loop of the 12 V side that opens contactors when any element opens."""

    kind: Literal["interlock", "shutdown", "charging"]
    supply: VoltageRange | None = Field(default=None, description="least and most at the loop's beginning")
    load: Resistance | None = Field(default=None, description="coils or relay at its end, together; coldest counts")
    current: Current | None = Field(default=None, description="in place of load: an input of fixed current")
    least_voltage: Voltage | None = Field(default=None, description="at its end that still counts as closed")
    wire: LoopWire | None = None
    opens: Names = Field(description="contactors that lose their coil current with it")
    by: Literal["coil_current", "relay", "supervisor"] = Field(
        description="coil_current: it feeds the coils itself; relay: one at its end does; supervisor: software does"
    )
    interrupts: Literal["supply", "ground"] = Field(
        default="supply", description="ground: it stands between the coils and the vehicle's body"
    )
    tested: Literal["never", "each_start", "always"] = Field(
        default="never", description="how soon an element that is bridged, or a shorted wire, is found"
    )
    elements: dict[Name, LoopElement] = Field(min_length=1, description="from the supply to the coils")
    note: str = ""

    @model_validator(mode="after")
    def _one_load(self) -> Self:
        if self.load is not None and self.current is not None:
            raise fault("both a load and a current are given", "keep load for coils, or current for a fixed input")
        return self


class Openable(Strict):
    """A connector, cover or disconnect that a person can open, and the live parts that this bares."""

    kind: Literal["connector", "cover", "disconnect", "motor_cable"] = Field(
        description="motor_cable: to a motor that moves on its upright, and may tear"
    )
    opens: Names = Field(description="connections it parts or bares, or parts whose terminals it bares")
    opened_with: Literal["hand", "tool"]
    place: Literal["cabin", "luggage", "outside", "enclosure"]
    touch_closed: Touch | None = Field(default=None, description="protection against touch while it is closed")
    touch_open: Touch | None = Field(default=None, description="with it open, the worse of both halves")
    bared_after: Duration | None = Field(
        default=None, description="least time from the loop's opening until a hand can reach a live part"
    )
    outside_housing: Annotated[bool, Field(strict=True)] = False
    unwatched_because: str = Field(default="", description="why no loop watches it")
    note: str = ""


class Bond(Strict):
    """Equipotential bonding of one or more housings to the vehicle's body, as measured or asked for."""

    parts: Names
    resistance: Annotated[Datum, Q("resistance", least=0)] | None = Field(
        default=None, description="from the housing to the body, the largest of these parts"
    )
    test_current: Current | None = Field(default=None, description="with which it is measured")
    surface: Literal["metal", "coated"] = Field(default="metal", description="coated: carbon fibre or coated metal")
    note: str = ""


class Bonding(Strict):
    """Every housing of a high-voltage device: bonded, or of insulating material."""

    bonds: dict[Name, Bond] = Field(default_factory=empty_dict)
    insulating: list[str] = Field(default_factory=empty_list, description="parts whose housing conducts nowhere")


class MeasuringPoints(Strict):
    """A pair of sockets at which the bus voltage can be measured, each behind its own resistor."""

    plus: Stud
    minus: Stud
    resistor: Resistance | None = Field(default=None, description="of each point")
    resistor_power: Annotated[Datum, Q("power", above=0)] | None = Field(
        default=None, description="continuous, of each resistor as mounted"
    )
    note: str = ""


LOOPS: Any = Field(default_factory=empty_dict, description="series loops of the 12 V side that open contactors")
OPENABLE: Any = Field(default_factory=empty_dict, description="what a person can open, and what it bares")
MEASURING: Any = Field(default_factory=empty_dict, description="sockets for measuring the bus voltage")
