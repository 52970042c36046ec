"""Text to quantity: number, unit, tolerance; every refusal says how to mend the text."""

import math
import re
from functools import lru_cache

from tristrand.records import NamedTuple
from tristrand.units.errors import UnitError, quoted
from tristrand.units.table import (
    DIMENSIONS,
    ZERO_CELSIUS_K,
    Dimension,
    Unit,
    dimension_of,
    find_unit,
    fits,
    fold,
)

MAX_TEXT_LENGTH = 100
_NUMBER = r"[0-9]+(?:\.[0-9]*)?(?:[eE][+-]?[0-9]+)?|\.[0-9]+(?:[eE][+-]?[0-9]+)?"
_HEAD = re.compile(rf"\s*([+-]?\s?(?:{_NUMBER}))(.*)", re.DOTALL)
_SPLIT = re.compile(r"±|\+|(?<!\^)-")
_BOTH = re.compile(rf"(?:±|\+/-|\+-)\s*({_NUMBER})\s*([^0-9.\s].*)?", re.DOTALL)
_SIDE = rf"\s*({_NUMBER})\s*([^0-9.,/+\-]*?)\s*"
# Rarely written, so not compiled before they are met.
_PLUS_MINUS = rf"\+{_SIDE}/?\s*-{_SIDE}"
_MINUS_PLUS = rf"-{_SIDE}/?\s*\+{_SIDE}"
_COMMA = re.compile(r"[0-9],[0-9]")
_NOT_FINITE = re.compile(r"\s*[+-]?\s*\.?(nan|inf|infinity)\b", re.IGNORECASE)
_BARE_ALLOWED = frozenset({"fraction", "count"})


class Quantity(NamedTuple):
    """A value with its unit as the person wrote it.

    `value`, `low` and `high` are in the base unit of the dimension: SI, but °C, and 0..1 for fractions.
    Without a tolerance `low == value == high`.
    """

    value: float
    low: float
    high: float
    unit: str
    text: str
    dimension: str

    def to(self, unit: str) -> float:
        """The value in another unit of the same dimension; UnitError when the unit does not measure it."""
        return self._in(self.value, unit)

    def low_in(self, unit: str) -> float:
        """The lower end in another unit of the same dimension."""
        return self._in(self.low, unit)

    def high_in(self, unit: str) -> float:
        """The upper end in another unit of the same dimension."""
        return self._in(self.high, unit)

    def _in(self, base: float, unit: str) -> float:
        found = find_unit(unit)
        dimension = DIMENSIONS[self.dimension]
        if not fits(found, dimension):
            raise UnitError(
                f"{dimension.noun} cannot be given in {quoted(unit)}",
                f'use for example "{dimension.base_unit}"',
            )
        if self.dimension == "temperature" and not found.celsius:
            base += ZERO_CELSIUS_K
        return base * found.den / found.num


def parse(text: str | float, dimension: str) -> Quantity:
    """Read a quantity of a given dimension.

    Args:
        text: "350 V", "1.2 mΩ ± 10 %", "1.2 mΩ ± 0.1 mΩ", "10 A +10/-5 %", "40 °C ± 2 K"; a bare
            number only for a fraction from -1 to 1 or a count.
        dimension: a name in `DIMENSIONS`.

    Returns:
        The quantity in the base unit of its dimension.

    Raises:
        UnitError: with `.message` and `.hint`, for anything that is no quantity of this dimension.
    """
    if isinstance(text, bool) or not isinstance(text, (str, int, float)):
        what = DIMENSIONS[dimension]
        # The text of a list or a huge number could itself fail, or be endless.
        shown = quoted(str(text)) if text is None or isinstance(text, bool) else f"a {type(text).__name__}"
        raise UnitError(
            f"{shown} is not {what.noun}",
            f'write for example "{what.example}"',
        )
    if not isinstance(text, str):
        try:
            text = repr(text)
        except ValueError:  # an integer with thousands of digits
            raise UnitError("the number is too long to be a quantity") from None
    if len(text) > MAX_TEXT_LENGTH:
        raise UnitError(f"{quoted(text, 30)} is too long for a quantity ({len(text)} characters)")
    return _parse(text, dimension)


@lru_cache(maxsize=8192)
def _parse(text: str, dimension: str) -> Quantity:
    kind = DIMENSIONS[dimension]
    # Single spaces only: no pattern below can then be made slow by a run of them.
    folded = " ".join(fold(text).split())
    head = _HEAD.fullmatch(folded)
    if head is None or _NOT_FINITE.match(folded):
        raise _no_number(text, folded, kind)
    if "," in folded and _COMMA.search(folded):
        raise UnitError(
            f"{quoted(text)} has a comma in its number",
            'write a decimal point and no thousands sign: "1.5", "1500"',
        )
    number = _float(head.group(1).replace(" ", ""), text)
    rest = head.group(2)
    cut = _SPLIT.search(rest)
    unit_text, tolerance = (rest[: cut.start()], rest[cut.start() :].strip()) if cut else (rest, "")
    unit_text = unit_text.strip()
    if not unit_text and tolerance:
        unit_text = _unit_of_tolerance(tolerance, kind)
    unit = _unit(unit_text, number, text, kind)
    minus, plus = _tolerance(tolerance, unit, abs(number), text, kind)
    shift = -ZERO_CELSIUS_K if kind.name == "temperature" and not unit.celsius else 0.0
    value, low, high = ((x * unit.num / unit.den) + shift for x in (number, number - minus, number + plus))
    if not (math.isfinite(low) and math.isfinite(value) and math.isfinite(high)):
        raise UnitError(f"{quoted(text)} is too large a number")
    if kind.name == "temperature" and low < -ZERO_CELSIUS_K:
        raise UnitError(
            f"{quoted(text)} is below absolute zero",
            "the lowest temperature is -273.15 °C",
        )
    return Quantity(value, low, high, unit.text, text.strip(), dimension)


def _no_number(text: str, folded: str, kind: Dimension) -> UnitError:
    example = f'write for example "{kind.example}"'
    if not folded.strip():
        return UnitError(f"the text is empty; {kind.noun} is needed", example)
    if _NOT_FINITE.match(folded):
        return UnitError(
            f"{quoted(text)} is not a finite number; {kind.noun} is needed",
            "leave the key out if the value is not known",
        )
    return UnitError(f"{quoted(text)} does not begin with a number; {kind.noun} is needed", example)


def _float(digits: str, text: str) -> float:
    number = float(digits)
    if math.isinf(number):
        raise UnitError(f"{quoted(text)} is too large a number")
    if number == 0.0:
        if any(c in "123456789" for c in re.split("[eE]", digits)[0]):
            raise UnitError(f"{quoted(text)} is too small a number")
        return 0.0  # never -0.0
    return number


def _unit(unit_text: str, number: float, text: str, kind: Dimension) -> Unit:
    if not unit_text:
        if kind.name not in _BARE_ALLOWED:
            raise UnitError(
                f"{quoted(text)} has no unit; {kind.noun} is needed",
                f'give the unit, e.g. "{kind.example}"',
            )
        if kind.name == "fraction" and abs(number) > 1.0:
            raise UnitError(
                f"{quoted(text)} as a fraction would be {number * 100:g} %",
                'write a percentage with its sign, e.g. "95 %", or "0.95"',
            )
        return find_unit("")
    if unit_text[0] in "0123456789" and not re.match(r"1\s*/", unit_text):
        raise UnitError(
            f"{quoted(text)} has a space inside its number, or two numbers",
            f'write for example "{kind.example}"',
        )
    if unit_text[0] in ".,;:'\"":
        raise UnitError(
            f"{quoted(text)} holds a number that cannot be read",
            f'write for example "{kind.example}"',
        )
    try:
        unit = find_unit(unit_text)
    except UnitError as error:
        hint = 'write "°C" or "degC"' if kind.name == "temperature" else error.hint
        raise UnitError(f"{quoted(text)}: {error.message}", hint) from None
    if not fits(unit, kind):
        raise _wrong_dimension(unit, text, kind)
    return unit


def _wrong_dimension(unit: Unit, text: str, kind: Dimension) -> UnitError:
    found = dimension_of(unit)
    what = f"is {found.noun}" if found else f"is in {quoted(unit.text)}, which measures nothing that is used here"
    hint = ""
    if kind.name == "temperature" and unit.text == "C":
        hint = '"C" is the coulomb; write "°C" or "degC"'
    elif kind.name == "temperature_difference" and unit.celsius:
        hint = 'a difference is written in kelvin: "10 K"'
    elif kind.name == "rotational_speed" and found and found.name == "frequency":
        hint = 'write "rpm" or "rad/s"'
    elif kind.name == "thermal_conductivity" and unit.text == "W/mK":
        hint = '"mK" is the millikelvin; write "W/(m K)"'
    return UnitError(
        f"{quoted(text)} {what}; {kind.noun} is needed, for example '{kind.example}'",
        hint,
    )


def _unit_of_tolerance(tolerance: str, kind: Dimension) -> str:
    """For "1.2 ± 0.1 mΩ": the unit stands once, at the end, and holds for both numbers."""
    both = _BOTH.fullmatch(tolerance)
    unit = (both.group(2) or "").strip() if both else ""
    return "" if unit == "%" and kind.name != "fraction" else unit


def _tolerance(tolerance: str, unit: Unit, size: float, text: str, kind: Dimension) -> tuple[float, float]:
    """Distances below and above the value, in the unit of the value."""
    if not tolerance:
        return 0.0, 0.0
    if both := _BOTH.fullmatch(tolerance):
        minus = plus = (both.group(1), both.group(2) or "")
    elif sides := re.fullmatch(_PLUS_MINUS, tolerance):
        plus, minus = (
            (sides.group(1), sides.group(2) or sides.group(4)),
            (sides.group(3), sides.group(4)),
        )
    elif sides := re.fullmatch(_MINUS_PLUS, tolerance):
        minus, plus = (
            (sides.group(1), sides.group(2) or sides.group(4)),
            (sides.group(3), sides.group(4)),
        )
    else:
        raise UnitError(
            f"the tolerance in {quoted(text)} cannot be read",
            'write "± 10 %", "± 0.1 mΩ" in the unit of the value, or "+10/-5 %"',
        )
    return _side(minus, unit, size, text, kind, below=True), _side(plus, unit, size, text, kind, below=False)


def _side(
    side: tuple[str, str],
    unit: Unit,
    size: float,
    text: str,
    kind: Dimension,
    *,
    below: bool,
) -> float:
    number, unit_text = _float(side[0], text), side[1].strip()
    if unit_text == "%":
        if kind.name == "temperature":
            raise UnitError(
                f"{quoted(text)}: a percentage of a temperature has no meaning",
                'write the tolerance in kelvin: "± 2 K"',
            )
        if kind.name == "fraction":
            raise UnitError(
                f"{quoted(text)}: percent of the value or percentage points?",
                'write both as plain fractions: "0.95 ± 0.01"',
            )
        if below and number > 100.0:
            raise UnitError(
                f"{quoted(text)}: the lower tolerance is more than 100 %",
                'write for example "+80/-20 %"',
            )
        return size * number / 100.0
    if not unit_text:
        if kind.name in _BARE_ALLOWED and not unit.percent:
            return number
        raise UnitError(
            f"the tolerance in {quoted(text)} has no unit",
            f'write "± 10 %" or "± {side[0]} {unit.text}"',
        )
    try:
        found = find_unit(unit_text)
    except UnitError as error:
        raise UnitError(f"{quoted(text)}: {error.message}", error.hint) from None
    if found.vector != unit.vector or (found.newton != unit.newton and kind.name in ("energy", "torque")):
        raise UnitError(
            f"the tolerance in {quoted(text)} is not {kind.noun}",
            f'write "± 10 %" or "± {side[0]} {unit.text}"',
        )
    return number * found.num * unit.den / (found.den * unit.num)
