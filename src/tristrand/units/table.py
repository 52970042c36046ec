"""Which units exist, which dimensions exist, and how a unit expression such as "W/(m K)" is read.

A unit is a scale (numerator and denominator kept apart, both exact where the unit is decimal) and a vector of
exponents over metre, kilogram, second, ampere, kelvin and radian. The radian counts as a base here, so that
"rpm" is not taken where "Hz" is meant. Source of names, prefixes and scales: SI-BROCHURE#tables 2, 4, 7, 8.
"""

import math
import re
from collections.abc import Mapping
from functools import lru_cache
from types import MappingProxyType

from tristrand.records import NamedTuple
from tristrand.units.errors import UnitError, quoted

Vector = tuple[int, int, int, int, int, int]
NONE: Vector = (0, 0, 0, 0, 0, 0)
ZERO_CELSIUS_K = 273.15


class Unit(NamedTuple):
    """A resolved unit: a number in this unit times `num / den` is the number in SI."""

    text: str
    vector: Vector
    num: float
    den: float
    celsius: bool = False
    newton: bool = False
    percent: bool = False


class Dimension(NamedTuple):
    """A kind of quantity, with the words and the example that error messages use."""

    name: str
    noun: str
    base_unit: str
    example: str
    vector: Vector


# symbol: (vector m kg s A K rad, numerator, denominator, prefixes that are taken)
ATOMS: dict[str, tuple[Vector, float, float, str]] = {
    "V": ((2, 1, -3, -1, 0, 0), 1, 1, "nµmkM"),
    "A": ((0, 0, 0, 1, 0, 0), 1, 1, "pnµmk"),
    "Ω": ((2, 1, -3, -2, 0, 0), 1, 1, "nµmkMG"),
    "W": ((2, 1, -3, 0, 0, 0), 1, 1, "nµmkMG"),
    "J": ((2, 1, -2, 0, 0, 0), 1, 1, "nµmkMG"),
    "F": ((-2, -1, 4, 2, 0, 0), 1, 1, "pnµm"),
    "H": ((2, 1, -2, -2, 0, 0), 1, 1, "pnµm"),
    "C": ((0, 0, 1, 1, 0, 0), 1, 1, "pnµmk"),
    "s": ((0, 0, 1, 0, 0, 0), 1, 1, "nµm"),
    "min": ((0, 0, 1, 0, 0, 0), 60, 1, ""),
    "h": ((0, 0, 1, 0, 0, 0), 3600, 1, ""),
    "d": ((0, 0, 1, 0, 0, 0), 86400, 1, ""),
    "m": ((1, 0, 0, 0, 0, 0), 1, 1, "nµmcdk"),
    "g": ((0, 1, 0, 0, 0, 0), 1, 1000, "µmk"),
    "t": ((0, 1, 0, 0, 0, 0), 1000, 1, ""),
    "K": ((0, 0, 0, 0, 1, 0), 1, 1, "m"),
    "°C": ((0, 0, 0, 0, 1, 0), 1, 1, ""),
    "N": ((1, 1, -2, 0, 0, 0), 1, 1, "mkM"),
    "Hz": ((0, 0, -1, 0, 0, 0), 1, 1, "mkMG"),
    "rad": ((0, 0, 0, 0, 0, 1), 1, 1, "m"),
    "rev": ((0, 0, 0, 0, 0, 1), 2 * math.pi, 1, ""),
    "rpm": ((0, 0, -1, 0, 0, 1), 2 * math.pi, 60, ""),
    "Wh": ((2, 1, -2, 0, 0, 0), 3600, 1, "mkM"),
    "Ah": ((0, 0, 1, 1, 0, 0), 3600, 1, "mk"),
    "Nm": ((2, 1, -2, 0, 0, 0), 1, 1, "mk"),
    "%": (NONE, 1, 100, ""),
    "1": (NONE, 1, 1, ""),
}
PREFIXES: dict[str, tuple[float, float]] = {
    "p": (1, 1e12),
    "n": (1, 1e9),
    "µ": (1, 1e6),
    "m": (1, 1e3),
    "c": (1, 1e2),
    "d": (1, 1e1),
    "k": (1e3, 1),
    "M": (1e6, 1),
    "G": (1e9, 1),
}
_CONTAINS_NEWTON = frozenset({"N", "Nm"})


def _dimensions() -> dict[str, Dimension]:
    rows = (
        ("voltage", "a voltage", "V", "350 V"),
        ("current", "a current", "A", "200 A"),
        ("resistance", "a resistance", "Ω", "1.2 mΩ"),
        ("power", "a power", "W", "6.6 kW"),
        ("energy", "an energy", "J", "42 kWh"),
        ("capacitance", "a capacitance", "F", "1000 µF"),
        ("inductance", "an inductance", "H", "2 µH"),
        ("time", "a time", "s", "250 ms"),
        ("length", "a length", "m", "350 mm"),
        ("area", "an area", "m²", "50 mm²"),
        ("mass", "a mass", "kg", "1800 kg"),
        ("temperature", "a temperature", "°C", "40 °C"),
        ("temperature_difference", "a temperature difference", "K", "10 K"),
        ("fraction", "a fraction", "", "95 %"),
        ("count", "a plain number", "", "96"),
        ("charge", "a charge", "C", "120 Ah"),
        ("thermal_resistance", "a thermal resistance", "K/W", "0.5 K/W"),
        ("heat_capacity", "a heat capacity", "J/K", "20 J/K"),
        ("resistance_per_length", "a resistance per length", "Ω/m", "4.95 mΩ/m"),
        ("inductance_per_length", "an inductance per length", "H/m", "0.6 µH/m"),
        ("capacitance_per_length", "a capacitance per length", "F/m", "200 pF/m"),
        ("resistance_times_length", "a resistance times length", "Ω m", "500 MΩ km"),
        ("joule_integral", "a joule integral (I²t)", "A² s", "10000 A²s"),
        ("speed", "a speed", "m/s", "80 km/h"),
        ("rotational_speed", "a rotational speed", "rad/s", "6000 rpm"),
        ("frequency", "a frequency", "Hz", "10 kHz"),
        ("torque", "a torque", "N m", "250 N m"),
        ("force", "a force", "N", "200 N"),
        ("resistance_per_voltage", "a resistance per voltage", "Ω/V", "100 Ω/V"),
        ("thermal_conductivity", "a thermal conductivity", "W/(m K)", "0.25 W/(m K)"),
        ("temperature_coefficient", "a temperature coefficient", "1/K", "0.39 %/K"),
        ("angle", "an angle", "rad", "0.5 rad"),
    )
    return {n: Dimension(n, noun, base, ex, find_unit(base).vector) for n, noun, base, ex in rows}


# Written forms folded to one: both mu code points, the ohm sign, words, degree forms, minus signs, dots.
_FOLD = str.maketrans("\u03bc\u2126·⋅×\u2212\u00a0\u202f\u2009", "\u00b5Ω***-   ")
_SUPER = str.maketrans("⁰¹²³⁴⁵⁶⁷⁸⁹⁻", "0123456789-")
_SUPER_RUN = re.compile("[⁰¹²³⁴⁵⁶⁷⁸⁹⁻]+")
_TOKEN = re.compile(r"\s*(?:([A-Za-zµΩ°%]+|1(?![0-9]))(?:\s*\^\s*(-?[0-9])|([0-9]))?|([*/()]))")
_WORDS = (("degC", "°C"), ("ohm", "Ω"), ("Ohm", "Ω"))

# Units a reader may try that are not taken, and what to write instead.
_ELSEWHERE = {
    "°F": "write it in °C: (F - 32) / 1.8",
    "degF": "write it in °C: (F - 32) / 1.8",
    "AWG": "write the conductor's metal area in mm²",
    "in": "1 in is 25.4 mm",
    "ft": "1 ft is 0.3048 m",
    "mi": "1 mi is 1.609344 km",
    "mph": "1 mph is 1.609344 km/h",
    "lb": "1 lb is 0.45359237 kg",
    "hp": "one mechanical horsepower is 745.7 W, one metric 735.5 W",
    "PS": "1 PS is 735.5 W",
    "kmh": 'write "km/h"',
    "kph": 'write "km/h"',
    "sec": 'write "s"',
    "hr": 'write "h"',
    "R": 'write "Ω" or "ohm"',
    "VA": 'an apparent power is not a power; write the power in "W"',
    "kVA": 'an apparent power is not a power; write the power in "kW"',
}


def fold(text: str) -> str:
    """One spelling for the many ways to type the same sign."""
    return text.translate(_FOLD)


def known_units() -> tuple[str, ...]:
    """Every single unit symbol that is taken, prefixed ones included (compounds are built from these)."""
    return tuple(p + s for s, (_, _, _, prefixes) in ATOMS.items() if s != "1" for p in ("", *prefixes))


def _atom(symbol: str, whole: str) -> tuple[str, Vector, float, float]:
    for word, sign in _WORDS:
        if symbol.endswith(word):
            symbol = symbol[: -len(word)] + sign
    if symbol.startswith("u") and symbol[1:] in ATOMS:
        symbol = "µ" + symbol[1:]
    if symbol in ATOMS:
        vector, num, den, _ = ATOMS[symbol]
        return symbol, vector, num, den
    base = symbol[1:]
    if base in ATOMS and symbol[0] in ATOMS[base][3]:
        vector, num, den, _ = ATOMS[base]
        up, down = PREFIXES[symbol[0]]
        return base, vector, num * up, den * down
    raise UnitError(f"unit {quoted(whole)} is not known", _hint_for(symbol))


def _hint_for(symbol: str) -> str:
    if symbol in _ELSEWHERE:
        return _ELSEWHERE[symbol]
    names = known_units()
    slips = [n for n in names if n.casefold() == symbol.casefold()]
    if slips:
        return f"did you mean {' or '.join(slips)}? Upper and lower case matter"
    import difflib  # only needed once something is wrong

    near = difflib.get_close_matches(symbol, names, n=3, cutoff=0.5)
    return f"nearest known: {', '.join(near)}" if near else 'known are, for example, "V", "A", "mΩ", "kW", "mm²", "°C"'


@lru_cache(maxsize=2048)
def find_unit(text: str) -> Unit:
    """Resolve a unit expression.

    Args:
        text: symbols with optional prefix and power, joined by spaces or dots, divided by "/"; several units
            below one slash stand in parentheses, "W/(m K)". The empty text is the unit one.

    Raises:
        UnitError: the text holds an unknown symbol or cannot be read without guessing.
    """
    folded = _SUPER_RUN.sub(lambda m: "^" + m.group().translate(_SUPER), fold(text)).strip()
    if not folded:
        return Unit("", NONE, 1.0, 1.0)
    if len(folded) > 40:
        raise UnitError(f"unit {quoted(text)} is too long")
    state = _Expression(text)
    at = 0
    while at < len(folded):
        token = _TOKEN.match(folded, at)
        if token is None:
            raise UnitError(
                f"unit {quoted(text)} cannot be read from {quoted(folded[at:])} on",
                "write units as in 'W/(m K)' or 'mm²'",
            )
        symbol, caret, digit, sign = token.groups()
        if sign:
            state.take_sign(sign)
        else:
            state.take_symbol(symbol, int(caret or digit or 1))
        at = token.end()
    return state.finish()


class _Expression:
    """Left-to-right reader of one unit expression."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.vector = [0, 0, 0, 0, 0, 0]
        self.num = self.den = 1.0
        self.bases: list[str] = []
        self.powers: list[int] = []
        self.dividing = self.inside = self.want_symbol = self.ever_divided = False

    def fail(self, why: str) -> UnitError:
        return UnitError(
            f"unit {quoted(self.text)} cannot be read: {why}",
            'write units as in "W/(m K)" or "mm²"',
        )

    def take_sign(self, sign: str) -> None:
        if sign == "/":
            if self.inside or self.want_symbol:
                raise self.fail("a slash is out of place")
            self.dividing = self.want_symbol = self.ever_divided = True
        elif sign == "(":
            if not (self.dividing and self.want_symbol) or self.inside:
                raise self.fail("parentheses may only follow a slash")
            self.inside = True
        elif sign == ")":
            if not self.inside or self.want_symbol:
                raise self.fail("a parenthesis is out of place")
            self.inside = self.dividing = False
        else:
            if self.want_symbol or not self.bases:
                raise self.fail("a multiplication sign is out of place")
            if self.dividing and not self.inside:
                self.dividing = False  # the next symbol is refused as ambiguous by take_symbol
            self.want_symbol = True

    def take_symbol(self, symbol: str, power: int) -> None:
        if self.ever_divided and not self.dividing:
            # "J/kg K" is read in two ways by different people, so it is not read at all.
            raise self.fail("what follows the slash is ambiguous; put it in parentheses")
        base, vector, num, den = _atom(symbol, self.text)
        signed = -power if self.dividing else power
        for i, e in enumerate(vector):
            self.vector[i] += signed * e
        top, bottom = (num, den) if signed >= 0 else (den, num)
        self.num *= top ** abs(signed)
        self.den *= bottom ** abs(signed)
        self.bases.append(base)
        self.powers.append(signed)
        self.want_symbol = False
        if self.dividing and not self.inside:
            self.dividing = False

    def finish(self) -> Unit:
        if self.inside or self.want_symbol:
            raise self.fail("it ends too early")
        alone = len(self.bases) == 1 and self.powers == [1]
        v = self.vector
        num, den = self.num, self.den
        if num.is_integer() and den.is_integer():
            # In lowest terms a value in "kg" is not rounded twice on its way to SI.
            common = math.gcd(int(num), int(den))
            num, den = float(int(num) // common), float(int(den) // common)
        return Unit(
            text=self.text.strip(),
            vector=(v[0], v[1], v[2], v[3], v[4], v[5]),
            num=num,
            den=den,
            celsius=alone and self.bases[0] == "°C",
            newton=any(b in _CONTAINS_NEWTON for b in self.bases),
            percent="%" in self.bases,
        )


def fits(unit: Unit, dimension: Dimension) -> bool:
    """Whether the unit measures this dimension; tells torque from energy, °C from K."""
    if unit.vector != dimension.vector:
        return False
    match dimension.name:
        case "energy":
            return not unit.newton
        case "torque":
            return unit.newton
        case "temperature_difference":
            return not unit.celsius
        case "count":
            return not unit.percent
    return True


def dimension_of(unit: Unit) -> Dimension | None:
    """The dimension a unit belongs to, or None for a combination that no dimension here uses."""
    if unit.celsius:
        return DIMENSIONS["temperature"]
    for dimension in DIMENSIONS.values():
        if dimension.name != "temperature" and fits(unit, dimension):
            return dimension
    return None


DIMENSIONS: Mapping[str, Dimension] = MappingProxyType(_dimensions())
