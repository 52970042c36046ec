"""One number of a design: the value with unit and tolerance, and how it came to be known."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal, get_args

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import PydanticCustomError, core_schema

from tristrand.units import DIMENSIONS, UnitError, find_unit, parse

Basis = Literal["measured", "datasheet", "standard", "estimated", "assumed"]
BASES: tuple[str, ...] = get_args(Basis)


@dataclass(frozen=True, slots=True)
class Datum:
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


class Q:
    """Field annotation: a number with a unit of ``dimension``; ``above`` excludes its bound, ``least`` and ``most`` do not."""

    def __init__(
        self, dimension: str, *, above: float | None = None, least: float | None = None, most: float | None = None
    ) -> None:
        self.dimension, self.above, self.least, self.most = dimension, above, least, most

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        return core_schema.with_info_plain_validator_function(
            self.read, serialization=core_schema.plain_serializer_function_ser_schema(lambda datum: datum.text)
        )

    def __get_pydantic_json_schema__(self, schema: Any, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        example = DIMENSIONS[self.dimension].example
        number = {"type": ["string", "number"] if self.dimension == "fraction" else "string"}
        words = f"{self.dimension.replace('_', ' ')} with its unit, for example '{example}'"
        detail = {
            "type": "object",
            "additionalProperties": False,
            "required": ["value"],
            "properties": {
                "value": number,
                "basis": {"enum": list(BASES)},
                "source": {"type": "string"},
            },
        }
        return {"description": words, "anyOf": [number, detail]}

    def read(self, raw: Any, info: core_schema.ValidationInfo) -> Datum:
        """Read a raw YAML value; the sheet's own basis and source come in through the validation context."""
        context = info.context or {}
        basis, source = context.get("basis", ""), context.get("source", "")
        if isinstance(raw, dict):
            unknown = sorted(set(raw) - {"value", "basis", "source"})
            if unknown or "value" not in raw:
                said = f"unknown key '{unknown[0]}'" if unknown else "'value' is missing"
                raise PydanticCustomError("datum", "{said} here; give value, basis and source", {"said": said})
            basis, source = str(raw.get("basis") or basis), str(raw.get("source") or source)
            if basis not in ("", *BASES):
                raise PydanticCustomError(
                    "datum", "'{basis}' is no basis; use one of {bases}", {"basis": basis, "bases": ", ".join(BASES)}
                )
            raw = raw["value"]
        if isinstance(raw, Datum):
            return raw
        if raw is None or isinstance(raw, (bool, list)):
            raise PydanticCustomError(
                "datum", "a {what} is needed here, for example '{example}'", {"what": self.words(), "example": DIMENSIONS[self.dimension].example}
            )
        try:
            got = parse(raw if isinstance(raw, str) else str(raw), self.dimension)
        except UnitError as error:
            raise PydanticCustomError("datum", "{said}", {"said": error.message, "mend": error.hint}) from None
        self.check(got.low, got.high, got.text)
        return Datum(got.value, got.low, got.high, got.unit, got.text, self.dimension, basis, source)

    def words(self) -> str:
        """The dimension in words."""
        return self.dimension.replace("_", " ")

    def check(self, low: float, high: float, text: str) -> None:
        """Refuse values outside the physical range of the field, tolerance included."""
        what, scale = self.words(), DIMENSIONS[self.dimension].base_unit
        said = ""
        if self.above is not None and low <= self.above:
            said = f"must be above {self.above:g} {scale}" if self.above else "must be greater than zero"
        elif self.least is not None and low < self.least:
            said = f"must be at least {self.least:g} {scale}" if self.least else "must not be negative"
        elif self.most is not None and high > self.most:
            said = f"must be at most {self.most:g} {scale}"
        if said:
            raise PydanticCustomError("datum", "'{text}': this {what} {said}", {"text": text, "what": what, "said": said.rstrip()})
