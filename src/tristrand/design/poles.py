"""How a part's poles hang on the chassis: resistance, Y-capacitance, test voltage."""

from typing import Annotated, Literal

from pydantic import Field

from tristrand.design.base import Strict
from tristrand.design.datum import Datum
from tristrand.design.quantity import Q


class PoleInsulation(Strict):
    """Insulation of both poles of a part against the chassis."""

    resistance: Annotated[Datum, Q("resistance", above=0)] | None = Field(
        default=None, description="from each pole to the chassis, the least that the part may have"
    )
    minus_resistance: Annotated[Datum, Q("resistance", above=0)] | None = Field(
        default=None, description="of the minus pole, where it differs"
    )
    y_capacitance: Annotated[Datum, Q("capacitance", least=0)] | None = Field(
        default=None, description="from each pole to the chassis: filters, windings and stray together"
    )
    minus_y_capacitance: Annotated[Datum, Q("capacitance", least=0)] | None = Field(
        default=None, description="of the minus pole, where it differs"
    )
    withstand: Annotated[Datum, Q("voltage", above=0)] | None = Field(
        default=None, description="direct test voltage from poles to chassis that it was proven for"
    )


class AlternatingInsulation(PoleInsulation):
    """The same of a part with an alternating-current side; motor and motor cables are counted with the inverter."""

    alternating_side: Literal["joined", "protected", "apart"] | None = Field(
        default=None,
        description="joined: galvanically to the bus; protected: joined, but doubly insulated or in a robust "
        "enclosure; apart: a transformer lies between",
    )
