"""What a contactor's sheet says of coil, auxiliary contact and life, and how contactors are driven and watched."""

from itertools import pairwise
from typing import Annotated, Literal, Self, TypeAlias

from pydantic import Field, model_validator

from tristrand.design.base import Current, Duration, Resistance, Share, Strict, Voltage, empty_list
from tristrand.design.datum import Datum
from tristrand.design.quantity import Q, fault

NoVoltage: TypeAlias = Annotated[Datum, Q("voltage", least=0)]
Wiring: TypeAlias = Annotated[Datum, Q("resistance", least=0)]
Winding: TypeAlias = Annotated[Datum, Q("temperature", least=-50, most=250)]
Rise: TypeAlias = Annotated[Datum, Q("temperature_difference", least=0, most=200)]
Count: TypeAlias = Annotated[int, Field(strict=True, ge=0, le=100_000_000)]
End: TypeAlias = Annotated[str, Field(pattern=r"^[A-Za-z][A-Za-z0-9_-]*\.[A-Za-z0-9_+-]+$")]
PartId: TypeAlias = Annotated[str, Field(pattern=r"^[A-Za-z][A-Za-z0-9_-]{0,39}$")]


class Coil(Strict):
    """The coil: its resistance and its voltages, all at the reference temperature, and how hot it gets."""

    resistance: Resistance | None = None
    reference: Winding | None = Field(
        default=None, description="winding temperature at which resistance and voltages hold; else 20 °C"
    )
    pull_in_voltage: Voltage | None = Field(default=None, description="the most that it may need to pull in")
    hold_voltage: Voltage | None = Field(default=None, description="the most that it may need to stay closed")
    release_voltage: Voltage | None = Field(default=None, description="below it the coil has released for certain")
    maximum_voltage: Voltage | None = Field(default=None, description="the most that it stands for ever")
    hottest: Winding | None = Field(
        default=None, description="of the winding in steady hold at the vehicle's hottest ambient; or give rise"
    )
    rise: Rise | None = Field(
        default=None, description="of the winding above the air round the contactor, in steady hold; or give hottest"
    )
    suppression: NoVoltage | None = Field(
        default=None, description="least voltage of the clamp across the coil for which the opening time holds"
    )

    @model_validator(mode="after")
    def _order(self) -> Self:
        names = ("release_voltage", "hold_voltage", "pull_in_voltage", "maximum_voltage")
        known = [(name, datum) for name in names if (datum := getattr(self, name)) is not None]
        for (low, one), (high, two) in pairwise(known):
            if one.value > two.value:
                raise fault(
                    f"{low} {one.text} is above {high} {two.text}",
                    f"they rise in the order {', '.join(names)}: check which is which",
                )
        if self.hottest is not None and self.rise is not None:
            raise fault("both hottest and rise are given", "keep rise, or keep hottest where it was measured")
        return self


class Economiser(Strict):
    """What cuts the coil's power back once the contactor has closed."""

    saving: Annotated[Datum, Q("fraction", least=0, most=0.99)] = Field(
        description="share of the pull-in power that it saves"
    )
    after: Duration | None = Field(default=None, description="time from the command to the cut")
    fitted: Literal["inside", "outside"] = Field(
        default="inside",
        description="inside: the maker's, the hold voltage counts at the contactor's terminals; outside: the vehicle "
        "switches the coil, so that only part of the supply reaches it on average",
    )


class AuxiliaryContact(Strict):
    """A contact moved by the armature."""

    kind: Literal["mirror", "plain"] = Field(
        description="mirror: the maker warrants that it cannot close while a main contact is closed"
    )
    least_voltage: Voltage | None = Field(default=None, description="below it the contact may not be wetted")
    least_current: Current | None = Field(default=None, description="below it the contact may not be wetted")


class SwitchingLife(Strict):
    """Operations until the end of life: one row for each voltage, one column for each current."""

    voltage: list[Voltage] = Field(min_length=1)
    current: list[Current] = Field(min_length=1)
    operations: list[list[Annotated[int, Field(strict=True, ge=1)]]] = Field(min_length=1)

    @model_validator(mode="after")
    def _shape(self) -> Self:
        if len(self.operations) != len(self.voltage):
            raise fault(
                f"{len(self.voltage)} voltages but {len(self.operations)} rows of operations: one row each is needed",
                "add what is missing, or remove what is too many",
            )
        for row in self.operations:
            if len(row) != len(self.current):
                raise fault(
                    f"{len(self.current)} currents but a row of {len(row)} operations",
                    "give each row one number of operations for each current",
                )
        for name, column in (("voltage", self.voltage), ("current", self.current)):
            if any(b.value <= a.value for a, b in pairwise(column)):
                raise fault(
                    f"the values of '{name}' must rise from one to the next", "put them in rising order, none twice"
                )
        return self


class CoilSupply(Strict):
    """The 12 V supply of the coils, measured where their wiring begins."""

    least: Voltage | None = Field(default=None, description="in the sag of the worst moment")
    most: Voltage | None = Field(default=None, description="for ever")
    wiring: Wiring | None = Field(default=None, description="out and return of one coil, with its driver and the loop")
    current: Current | None = Field(default=None, description="the most that supply and fuse give all coils together")
    residual: NoVoltage | None = Field(
        default=None, description="the most that is left at a coil switched off: leakage and test pulses of its driver"
    )
    clamp: NoVoltage | None = Field(
        default=None, description="voltage of the clamp across a coil as it is switched off; 0.7 V for a plain diode"
    )

    @model_validator(mode="after")
    def _order(self) -> Self:
        if self.least is not None and self.most is not None and self.least.value > self.most.value:
            raise fault(f"least {self.least.text} is above most {self.most.text}", "set least below most")
        return self


class SwitchingDuty(Strict):
    """What the contactors go through in the vehicle's life, as predicted."""

    starts: Count | None = Field(default=None, description="closings after precharge to drive, opened without current")
    charges: Count | None = Field(default=None, description="closings after precharge to charge")
    openings_under_load: Count | None = Field(
        default=None, description="openings at the largest current of any driving case"
    )
    openings_while_charging: Count | None = Field(default=None, description="openings at the largest charging current")


class VoltageSensor(Strict):
    """A voltage that the supervisor reads, each sensor parted from the others."""

    plus: End
    minus: End
    error: Share | None = Field(default=None, description="tolerance, share of the reading")
    offset: NoVoltage | None = Field(default=None, description="tolerance beside the share; none where left out")
    settling: Duration | None = Field(
        default=None,
        description="time in which its own input pulls an end that hangs on nothing else from the pack's voltage to "
        "below the weld check's ratio",
    )


class AuxiliaryInput(Strict):
    """What the input that reads an auxiliary contact puts through it, at the least."""

    voltage: Voltage | None = None
    current: Current | None = None


class WeldCheck(Strict):
    """How the supervisor finds a welded contactor."""

    ratio: Annotated[Datum, Q("fraction", above=0, most=0.99)] | None = Field(
        default=None, description="share of the pack's voltage; what reads above it is taken for a weld"
    )
    delay: Duration | None = Field(default=None, description="from the command to open to the reading")
    first: list[PartId] = Field(
        default_factory=empty_list,
        min_length=1,
        description="contactors that take turns to open alone and first, the others held until the reading",
    )
    discharge: bool = Field(
        default=True, description="whether the discharge contactor is closed while one contactor opens first"
    )
    auxiliary: AuxiliaryInput | None = Field(
        default=None, description="only where the supervisor reads the auxiliary contacts"
    )
