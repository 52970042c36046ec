"""What every design model is built on: units of the usual quantities, the frozen base, what sheets share."""

from itertools import pairwise
from typing import Annotated, Any, Literal, Self, TypeAlias

from pydantic import BaseModel, ConfigDict, Field, model_validator

from tristrand.design.datum import Basis, Datum
from tristrand.design.quantity import Q, fault

Voltage: TypeAlias = Annotated[Datum, Q("voltage", above=0)]
Current: TypeAlias = Annotated[Datum, Q("current", above=0)]
Resistance: TypeAlias = Annotated[Datum, Q("resistance", above=0)]
Capacitance: TypeAlias = Annotated[Datum, Q("capacitance", above=0)]
# Beyond these a part of a high-voltage circuit would be no contact, no fuse, no bus: a slip of the prefix.
Contact: TypeAlias = Annotated[Datum, Q("resistance", above=0, most=1)]
BusCapacitance: TypeAlias = Annotated[Datum, Q("capacitance", above=0, most=0.1)]
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


def rising(name: str, column: list[Datum]) -> None:
    """Refuse a column of a table whose values do not rise."""
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


class Overload(Strict):
    """A current above the continuous rating, and how long the part stands it starting warm from that rating."""

    current: Current
    time: Annotated[Datum, Q("time", above=0)]


# Every entry is one point of the maker's overload curve; a shorter time than the entry's is covered by it.
OVERLOAD: Any = Field(default_factory=empty_list, description="currents above the rating, each with its longest time")
