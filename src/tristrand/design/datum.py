"""One number of a design: the value with unit and tolerance, and how it came to be known."""

from typing import Literal, get_args

from tristrand.records import NamedTuple
from tristrand.units import find_unit

Basis = Literal["measured", "datasheet", "standard", "estimated", "assumed"]
BASES: tuple[str, ...] = get_args(Basis)


class Datum(NamedTuple):
    """A value in the base unit of its dimension (SI; temperature in degC, fraction as 0..1) with low and high ends.

    ``basis`` and ``source`` come from the value itself, else from the head of its data sheet.
    """

    value: float
    low: float
    high: float
    unit: str
    text: str
    dimension: str
    basis: str = ""
    source: str = ""

    def to(self, unit: str) -> float:
        """The value in another unit of the same dimension."""
        found = find_unit(unit)
        if found.celsius or self.dimension == "temperature":
            raise ValueError("temperatures are kept in degC: use .value")
        return self.value * found.den / found.num
