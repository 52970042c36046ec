"""The edge between text and numbers: "350 V" in, "350 V" out; inside, everything is a float in SI units."""

from tristrand.units.errors import UnitError
from tristrand.units.parser import MAX_TEXT_LENGTH, Quantity, parse
from tristrand.units.table import DIMENSIONS, Dimension, Unit, find_unit, known_units
from tristrand.units.text import engineering, number_text, show

__all__ = [
    "DIMENSIONS",
    "MAX_TEXT_LENGTH",
    "Dimension",
    "Quantity",
    "Unit",
    "UnitError",
    "engineering",
    "find_unit",
    "known_units",
    "number_text",
    "parse",
    "show",
]
