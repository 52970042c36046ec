"""The field of a number with a unit: how a value in a file becomes a Datum, and what is refused."""

from typing import Any

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import PydanticCustomError, core_schema

from tristrand.design.datum import BASES, Datum
from tristrand.design.yamltext import visible
from tristrand.units import DIMENSIONS, UnitError, parse

# Beyond these (base unit, zero apart) a number is a slip of the keyboard, not a part of a road vehicle. They are wide
# on purpose: judging a value is the rules' work.
_USUAL = (1e-12, 1e12)
PLAUSIBLE: dict[str, tuple[float, float]] = {
    "voltage": (1e-6, 1e5), "current": (1e-9, 1e6), "resistance": (1e-9, 1e10), "power": (1e-6, 1e9),
    "energy": (1e-9, 1e12), "capacitance": (1e-13, 1e3), "inductance": (1e-12, 1e3), "time": (1e-9, 1e9),
    "length": (1e-7, 1e4), "area": (1e-12, 1.0), "temperature": (0.0, 1e4), "fraction": (1e-9, 1e3),
    "charge": (1e-3, 1e9), "resistance_per_length": (1e-8, 1e4), "inductance_per_length": (1e-10, 1e-2),
    "capacitance_per_length": (1e-14, 1e-6), "resistance_times_length": (1.0, 1e16),
}  # fmt: skip


def fault(said: str, mend: str = "") -> PydanticCustomError:
    """An error of validation in our own words, with its mend."""
    return PydanticCustomError("design", "{said}", {"said": said, "mend": mend})


KEPT = 4096


class Q:
    """Field annotation: a number with a unit of ``dimension``; ``above`` excludes its bound, the others do not."""

    def __init__(
        self,
        dimension: str,
        *,
        above: float | None = None,
        least: float | None = None,
        most: float | None = None,
    ) -> None:
        self.dimension, self.above, self.least, self.most = dimension, above, least, most
        self._kept: dict[tuple[str, str, str], Datum] = {}

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        return core_schema.with_info_plain_validator_function(
            self.read,
            serialization=core_schema.plain_serializer_function_ser_schema(lambda datum: datum.text),
        )

    def __get_pydantic_json_schema__(self, schema: Any, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        example = DIMENSIONS[self.dimension].example
        number = {"type": ["string", "number"] if self.dimension in ("fraction", "count") else "string"}
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
        if isinstance(raw, Datum):
            return raw
        context = info.context or {}
        basis, source = context.get("basis", ""), context.get("source", "")
        if isinstance(raw, str) and (raw, basis, source) in self._kept:
            return self._kept[raw, basis, source]
        if isinstance(raw, dict):
            raw, basis, source = self.detailed(raw, basis, source)
        example = DIMENSIONS[self.dimension].example
        if raw is None or isinstance(raw, (bool, list, dict)):
            said = f"{self.noun()} is needed here, not {_shape(raw)}"
            raise fault(said, f"write for example {example}, or leave the key out if the value is not known")
        try:
            got = parse(raw if isinstance(raw, str) else str(raw), self.dimension)
        except UnitError as error:
            raise fault(error.message, error.hint or f"write for example {example}") from None
        self.check(got.value, got.low, got.high, visible(got.text, 60))
        datum = Datum(got.value, got.low, got.high, got.unit, got.text, self.dimension, basis, source)
        if isinstance(raw, str) and len(self._kept) < KEPT:
            # The same text in the same kind of field is the same value: most of a changed design is unchanged.
            self._kept[raw, basis, source] = datum
        return datum

    def detailed(self, raw: dict[str, Any], basis: str, source: str) -> tuple[Any, str, str]:
        """Value, basis and source of the long form {value, basis, source}."""
        example = f"{{value: {DIMENSIONS[self.dimension].example}, basis: datasheet, source: where it is printed}}"
        unknown = [key for key in raw if key not in ("value", "basis", "source")]
        if unknown:
            raise fault(f"unknown key '{visible(str(unknown[0]), 40)}'", f"write for example {example}")
        if "value" not in raw:
            raise fault("'value' is missing", f"write for example {example}")
        basis, source = raw.get("basis", basis), raw.get("source", source)
        if basis not in ("", *BASES):
            raise fault(f"'{visible(str(basis), 40)}' is no basis", f"use one of {', '.join(BASES)}")
        if not isinstance(source, str):
            raise fault("'source' must be a text", "put it in quotes")
        return raw["value"], basis, source

    def noun(self) -> str:
        """The dimension with its article: "a voltage"."""
        return DIMENSIONS[self.dimension].noun

    def check(self, value: float, low: float, high: float, text: str) -> None:
        """Refuse values outside the physical range of the field, tolerance included."""
        dimension = DIMENSIONS[self.dimension]

        def shown(bound: float) -> str:
            # Nobody thinks of a battery in coulombs.
            return f"{bound / 3600:g} Ah" if self.dimension == "charge" else f"{bound:g} {dimension.base_unit}".rstrip()

        what = dimension.noun.partition(" ")[2]
        said = mend = ""
        if self.above is not None and low <= self.above:
            said = f"must be above {shown(self.above)}" if self.above else "must be greater than zero"
            mend = "leave the key out if the value is not known" if value == 0 else "check the sign"
        elif self.least is not None and low < self.least:
            said = f"must be at least {shown(self.least)}" if self.least else "must not be negative"
            mend = "check the sign" if self.least <= 0 else "check the number and its unit"
        elif self.most is not None and high > self.most:
            said, mend = f"must be at most {shown(self.most)}", "check the number and its unit"
        elif self._slip(low, value, high):
            raise fault(f"'{text}': no vehicle has such a {what}", "check the exponent and the unit")
        if not said:
            return
        inside = self._inside(value)
        raise fault(
            f"'{text}': this {what} {said}" + (", tolerance included" if inside else ""),
            "make the tolerance smaller" if inside else mend,
        )

    def _slip(self, *ends: float) -> bool:
        least, most = PLAUSIBLE.get(self.dimension, _USUAL)
        return any(0 < abs(end) < least or abs(end) > most for end in ends)

    def _inside(self, value: float) -> bool:
        """Whether the value alone would pass, so that only its tolerance is too wide."""
        above = self.above is None or value > self.above
        least = self.least is None or value >= self.least
        return above and least and (self.most is None or value <= self.most)


def _shape(raw: Any) -> str:
    if raw is None:
        return "nothing"
    if isinstance(raw, bool):
        return "true" if raw else "false"
    return "a list" if isinstance(raw, list) else "keys and values"
