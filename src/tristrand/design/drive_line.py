"""From the road to the shaft: what vehicle.yaml says about speeds and wheels."""

from typing import Annotated, Self

from pydantic import Field, model_validator

from tristrand.design.base import Length, Strict
from tristrand.design.datum import Datum
from tristrand.design.quantity import Q, fault


class DriveLine(Strict):
    """How fast the vehicle can go, driven, down a hill and on a tow bar, and the wheels that its machines turn with."""

    top_speed: Annotated[Datum, Q("speed", above=0)] | None = Field(
        default=None, description="fastest that the machines drive it on the level"
    )
    downhill_speed: Annotated[Datum, Q("speed", above=0)] | None = Field(
        default=None, description="fastest that it may reach down a hill, where that is above the top speed"
    )
    towed_speed: Annotated[Datum, Q("speed", least=0)] | None = Field(
        default=None, description="fastest that it may be towed with the driven wheels turning; 0 km/h: never"
    )
    tyre_radius: Length | None = Field(
        default=None, description="rolling radius of the driven wheels with worn tyres, the smallest"
    )
    braking_time: Annotated[Datum, Q("time", above=0)] | None = Field(
        default=None, description="from the fastest speed to rest with the brakes alone, on hard"
    )

    @model_validator(mode="after")
    def _order(self) -> Self:
        top, hill = self.top_speed, self.downhill_speed
        if top and hill and hill.value < top.value:
            raise fault(
                f"downhill_speed {hill.text} is below top_speed {top.text}",
                "leave downhill_speed out where a hill makes it no faster",
            )
        return self
