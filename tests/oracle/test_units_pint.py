"""Every unit and prefix, compared with pint, an independent unit library, which gets it in words."""

import math

import pint
import pytest

from tristrand.units import DIMENSIONS, find_unit, known_units, parse
from tristrand.units.table import dimension_of

REGISTRY = pint.UnitRegistry()

WORDS = {
    "V": "volt",
    "A": "ampere",
    "Ω": "ohm",
    "W": "watt",
    "J": "joule",
    "F": "farad",
    "H": "henry",
    "C": "coulomb",
    "s": "second",
    "min": "minute",
    "h": "hour",
    "d": "day",
    "m": "meter",
    "g": "gram",
    "t": "metric_ton",
    "K": "kelvin",
    "°C": "delta_degree_Celsius",
    "N": "newton",
    "Hz": "hertz",
    "rad": "radian",
    "rev": "turn",
    "rpm": "revolutions_per_minute",
    "Wh": "watt_hour",
    "Ah": "ampere_hour",
    "Nm": "newton * meter",
    "%": "percent",
}
PREFIXES = {
    "p": "pico",
    "n": "nano",
    "µ": "micro",
    "m": "milli",
    "c": "centi",
    "d": "deci",
    "k": "kilo",
    "M": "mega",
    "G": "giga",
}
COMPOUNDS = {
    "mm²": "millimeter ** 2",
    "mm2": "millimeter ** 2",
    "cm^2": "centimeter ** 2",
    "m²": "meter ** 2",
    "K/W": "kelvin / watt",
    "mK/W": "millikelvin / watt",
    "°C/W": "delta_degree_Celsius / watt",
    "J/K": "joule / kelvin",
    "kJ/K": "kilojoule / kelvin",
    "Ω/V": "ohm / volt",
    "kΩ/V": "kiloohm / volt",
    "A²s": "ampere ** 2 * second",
    "A2s": "ampere ** 2 * second",
    "A^2 s": "ampere ** 2 * second",
    "kA² s": "kiloampere ** 2 * second",
    "W/(m K)": "watt / meter / kelvin",
    "W/m/K": "watt / meter / kelvin",
    "W/(m·K)": "watt / (meter * kelvin)",
    "mΩ/m": "milliohm / meter",
    "Ω/km": "ohm / kilometer",
    "µH/m": "microhenry / meter",
    "nH/m": "nanohenry / meter",
    "pF/m": "picofarad / meter",
    "nF/km": "nanofarad / kilometer",
    "MΩ km": "megaohm * kilometer",
    "GΩ m": "gigaohm * meter",
    "km/h": "kilometer / hour",
    "m/s": "meter / second",
    "rad/s": "radian / second",
    "rev/min": "turn / minute",
    "N m": "newton * meter",
    "kN m": "kilonewton * meter",
    "1/K": "1 / kelvin",
    "%/K": "percent / kelvin",
    "W s": "watt * second",
    "A h": "ampere * hour",
    "mohm": "milliohm",
    "uF": "microfarad",
    "μF": "microfarad",
    "degC/W": "delta_degree_Celsius / watt",
    "m s⁻¹": "meter / second",
    "V/A": "volt / ampere",
    "A s": "ampere * second",
    "g/cm^3": "gram / centimeter ** 3",
}


def in_words(symbol: str) -> str:
    """ "mΩ" to "milliohm", built from words that our own table does not hold."""
    if symbol in WORDS:
        return WORDS[symbol]
    prefix, base = PREFIXES[symbol[0]], WORDS[symbol[1:]]
    if base == "newton * meter":
        return f"{prefix}newton * meter"
    if base in ("watt_hour", "ampere_hour"):
        return f"{prefix}{base.replace('_', ' * ')}"
    return prefix + base


def pint_vector(unit: pint.Unit) -> tuple[int, ...]:
    names = ("[length]", "[mass]", "[time]", "[current]", "[temperature]")
    dimensions = REGISTRY.get_dimensionality(unit)
    assert set(dimensions) <= set(names)
    return tuple(int(dimensions.get(n, 0)) for n in names)


CASES = {symbol: in_words(symbol) for symbol in known_units()} | COMPOUNDS


@pytest.mark.parametrize(("ours", "words"), CASES.items(), ids=CASES.keys())
def test_scale_and_dimension_agree(ours: str, words: str) -> None:
    unit = find_unit(ours)
    theirs = REGISTRY.Quantity(1.0, words).to_base_units()
    assert unit.num / unit.den == pytest.approx(theirs.magnitude, rel=1e-14)
    # pint has no dimension for the radian, ours keeps it last to tell rpm from Hz.
    assert unit.vector[:5] == pint_vector(theirs.units)


def test_all_base_symbols_and_prefixes_were_compared() -> None:
    used_prefixes = {s[0] for s in known_units() if s not in WORDS}
    assert used_prefixes == set(PREFIXES)
    assert set(WORDS) <= set(known_units())


@pytest.mark.parametrize("ours", [s for s in CASES if s != "°C" and dimension_of(find_unit(s))])
@pytest.mark.parametrize("number", [3.7, -0.00125, 98765.4321])
def test_parsed_values_agree(ours: str, number: float) -> None:
    unit = find_unit(ours)
    dimension = dimension_of(unit)
    assert dimension is not None
    theirs = REGISTRY.Quantity(number, CASES[ours]).to_base_units().magnitude
    ours_read = parse(f"{number!r} {ours}", dimension.name)
    assert ours_read.value == pytest.approx(theirs, rel=1e-14)
    assert ours_read.to(ours) == pytest.approx(number, rel=1e-14)


@pytest.mark.parametrize("celsius", [-273.15, -40.0, 0.0, 25.0, 105.0, 1234.5])
def test_temperatures_agree(celsius: float) -> None:
    kelvin = REGISTRY.Quantity(celsius, "degree_Celsius").to("kelvin").magnitude
    assert parse(f"{celsius} °C", "temperature").to("K") == pytest.approx(kelvin, abs=1e-12)
    assert parse(f"{kelvin!r} K", "temperature").value == pytest.approx(celsius, abs=1e-12)


@pytest.mark.parametrize("name", sorted(set(DIMENSIONS) - {"fraction", "count", "temperature"}))
def test_base_unit_of_each_dimension_is_coherent(name: str) -> None:
    base = DIMENSIONS[name].base_unit
    unit = find_unit(base)
    assert unit.num == unit.den == 1.0
    assert parse(f"1 {base}", name).value == 1.0


def test_rpm_is_a_full_turn_per_minute() -> None:
    assert parse("60 rpm", "rotational_speed").value == pytest.approx(2 * math.pi, rel=1e-15)
