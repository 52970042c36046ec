"""What the unit edge takes, what it refuses, and what it says then."""

import math
import pickle

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from tristrand.units import (
    DIMENSIONS,
    MAX_TEXT_LENGTH,
    UnitError,
    engineering,
    find_unit,
    known_units,
    parse,
    show,
)
from tristrand.units.table import dimension_of

# text, dimension, value in the base unit (worked by hand from the meaning of the prefixes)
TAKEN = [
    ("350 V", "voltage", 350.0),
    ("350V", "voltage", 350.0),
    ("1e3 V", "voltage", 1000.0),
    ("+5 V", "voltage", 5.0),
    (" 5\n\tV", "voltage", 5.0),
    ("- 5 V", "voltage", -5.0),
    (".5 V", "voltage", 0.5),
    ("5. V", "voltage", 5.0),
    ("50 mm²", "area", 50e-6),
    ("50 mm2", "area", 50e-6),
    ("50 mm^2", "area", 50e-6),
    ("0.5 K/W", "thermal_resistance", 0.5),
    ("20 J/K", "heat_capacity", 20.0),
    ("100 Ω/V", "resistance_per_voltage", 100.0),
    ("100 \u2126/V", "resistance_per_voltage", 100.0),
    ("100 ohm/V", "resistance_per_voltage", 100.0),
    ("6.6 kW", "power", 6600.0),
    ("2 \u00b5F", "capacitance", 2e-6),
    ("2 \u03bcF", "capacitance", 2e-6),
    ("2 uF", "capacitance", 2e-6),
    ("10 A²s", "joule_integral", 10.0),
    ("10 A^2 s", "joule_integral", 10.0),
    ("10 A2s", "joule_integral", 10.0),
    ("10 A²·s", "joule_integral", 10.0),
    ("0.25 W/(m K)", "thermal_conductivity", 0.25),
    ("95 %", "fraction", 0.95),
    ("95%", "fraction", 0.95),
    ("0.95", "fraction", 0.95),
    (0.95, "fraction", 0.95),
    (1, "fraction", 1.0),
    ("125 %", "fraction", 1.25),
    ("96", "count", 96.0),
    ("120 Ah", "charge", 432000.0),
    ("3 min", "time", 180.0),
    ("250 ms", "time", 0.25),
    ("12 h", "time", 43200.0),
    ("4.95 mΩ/m", "resistance_per_length", 4.95e-3),
    ("4.95 Ω/km", "resistance_per_length", 4.95e-3),
    ("0.6 µH/m", "inductance_per_length", 0.6e-6),
    ("250 pF/m", "capacitance_per_length", 250e-12),
    ("0.3 nF/m", "capacitance_per_length", 0.3e-9),
    ("500 MΩ km", "resistance_times_length", 500e9),
    ("36 km/h", "speed", 10.0),
    ("250 N m", "torque", 250.0),
    ("250 Nm", "torque", 250.0),
    ("42 kWh", "energy", 151.2e6),
    ("40 °C", "temperature", 40.0),
    ("40 degC", "temperature", 40.0),
    ("-10 °C", "temperature", -10.0),
    ("\u221210 °C", "temperature", -10.0),
    ("313.15 K", "temperature", 40.0),
    ("10 K", "temperature_difference", 10.0),
    ("0.393 %/K", "temperature_coefficient", 0.00393),
]


@pytest.mark.parametrize(("text", "dimension", "value"), TAKEN)
def test_taken(text: str | float, dimension: str, value: float) -> None:
    read = parse(text, dimension)
    assert read.value == pytest.approx(value, rel=1e-15, abs=1e-12 if dimension == "temperature" else 0)
    assert read.low == read.value == read.high
    assert read.dimension == dimension
    assert read.text == str(text).strip()


TOLERANCES = [
    ("1.2 mΩ ± 10 %", "resistance", 1.08e-3, 1.32e-3),
    ("1.2 mohm +- 10 %", "resistance", 1.08e-3, 1.32e-3),
    ("1.2 mohm +/- 10%", "resistance", 1.08e-3, 1.32e-3),
    ("1.2 mΩ ± 0.1 mΩ", "resistance", 1.1e-3, 1.3e-3),
    ("1.2 mΩ ± 100 µΩ", "resistance", 1.1e-3, 1.3e-3),
    ("1.2 ± 0.1 mΩ", "resistance", 1.1e-3, 1.3e-3),
    ("1.2mΩ±10%", "resistance", 1.08e-3, 1.32e-3),
    ("10 A +10/-5 %", "current", 9.5, 11.0),
    ("10 A -5/+10 %", "current", 9.5, 11.0),
    ("10 A +10 % / -5 %", "current", 9.5, 11.0),
    ("10 A +0.3/-0.2 A", "current", 9.8, 10.3),
    ("1000 µF +80/-20 %", "capacitance", 800e-6, 1800e-6),
    ("-10 V ± 10 %", "voltage", -11.0, -9.0),
    ("40 °C ± 2 K", "temperature", 38.0, 42.0),
    ("40 °C ± 2 °C", "temperature", 38.0, 42.0),
    ("313.15 K ± 2 K", "temperature", 38.0, 42.0),
    ("0.95 ± 0.01", "fraction", 0.94, 0.96),
    ("100 A ± 0 %", "current", 100.0, 100.0),
]


@pytest.mark.parametrize(("text", "dimension", "low", "high"), TOLERANCES)
def test_tolerances(text: str, dimension: str, low: float, high: float) -> None:
    read = parse(text, dimension)
    assert read.low == pytest.approx(low, rel=1e-14)
    assert read.high == pytest.approx(high, rel=1e-14)
    assert read.low <= read.value <= read.high


# text, dimension, a piece of the message, a piece of the hint
REFUSED = [
    ("350 mm", "voltage", "'350 mm' is a length; a voltage is needed, for example '350 V'", ""),
    ("350", "voltage", "no unit", 'give the unit, e.g. "350 V"'),
    (350, "voltage", "no unit", 'give the unit, e.g. "350 V"'),
    ("", "voltage", "empty", "350 V"),
    ("   ", "voltage", "empty", "350 V"),
    ("nan V", "voltage", "not a finite number", ""),
    (".nan", "fraction", "not a finite number", ""),
    ("-inf V", "voltage", "not a finite number", ""),
    ("Infinity", "count", "not a finite number", ""),
    (float("nan"), "fraction", "not a finite number", ""),
    (float("inf"), "fraction", "not a finite number", ""),
    ("1e999 V", "voltage", "too large", ""),
    ("1e308 kV", "voltage", "too large", ""),
    ("1e-999 V", "voltage", "too small", ""),
    ("1,5 V", "voltage", "comma", "decimal point"),
    ("1,500 V", "voltage", "comma", "thousands"),
    ("1 200 V", "voltage", "space inside", ""),
    ("1.2.3 V", "voltage", "cannot be read", ""),
    ("V", "voltage", "does not begin with a number", "350 V"),
    ("6.6 KW", "power", "unit 'KW' is not known", "did you mean kW"),
    ("350 v", "voltage", "unit 'v' is not known", "did you mean V"),
    ("250 MS", "time", "'MS'", "did you mean ms"),
    ("5 volts", "voltage", "'volts' is not known", ""),
    ("5 mVv", "voltage", "'mVv' is not known", "mV"),
    ("10 AWG", "area", "'AWG' is not known", "mm²"),
    ("90 °F", "temperature", "is not known", "°C"),
    ("40 C", "temperature", "is a charge", "coulomb"),
    ("40 c", "temperature", "is not known", "°C"),
    ("10 °C", "temperature_difference", "is a temperature;", "kelvin"),
    ("-300 °C", "temperature", "absolute zero", "-273.15"),
    ("40 °C ± 5 %", "temperature", "no meaning", "± 2 K"),
    ("95", "fraction", "9500 %", "95 %"),
    (-95, "fraction", "-9500 %", "95 %"),
    ("95 % ± 1 %", "fraction", "percentage points", "0.95 ± 0.01"),
    ("96 %", "count", "is a fraction", ""),
    ("5 J", "torque", "is an energy; a torque is needed", ""),
    ("5 N m", "energy", "is a torque; an energy is needed", ""),
    ("50 Hz", "rotational_speed", "is a frequency", "rpm"),
    ("50 rpm", "frequency", "is a rotational speed", ""),
    ("1 W/m K", "thermal_conductivity", "ambiguous", "W/(m K)"),
    ("1 W/m·K", "thermal_conductivity", "ambiguous", "W/(m K)"),
    ("1 W/mK", "thermal_conductivity", "a thermal conductivity is needed", "millikelvin"),
    ("1 V s", "voltage", "measures nothing", ""),
    ("5 V/", "voltage", "ends too early", ""),
    ("5 V)", "voltage", "parenthesis", ""),
    ("5 (V)", "voltage", "parentheses", ""),
    ("5 W/(m K", "thermal_conductivity", "ends too early", ""),
    ("1 V ± 0.1", "voltage", "has no unit", "± 0.1 V"),
    ("1 V ± 0.1 A", "voltage", "is not a voltage", ""),
    ("1 V ±", "voltage", "cannot be read", "± 10 %"),
    ("1 V ± -5 %", "voltage", "cannot be read", ""),
    ("1 V ± 120 %", "voltage", "more than 100 %", ""),
    ("1 V + 5 %", "voltage", "cannot be read", ""),
    ("5 V \x00", "voltage", "\\x00", ""),
    (True, "count", "is not a plain number", "96"),
    (None, "voltage", "is not a voltage", "350 V"),
    ([1], "voltage", "is not a voltage", "350 V"),
    ([10**5000], "voltage", "a list is not a voltage", "350 V"),
    ("9" * (MAX_TEXT_LENGTH + 1), "voltage", "too long", ""),
    (10**5000, "count", "too long", ""),
    ("५ V", "voltage", "does not begin with a number", ""),
]


@pytest.mark.parametrize(("text", "dimension", "message", "hint"), REFUSED, ids=[str(i) for i in range(len(REFUSED))])
def test_refused_with_a_mend(text: object, dimension: str, message: str, hint: str) -> None:
    with pytest.raises(UnitError) as caught:
        parse(text, dimension)  # type: ignore[arg-type]
    assert message in caught.value.message
    assert hint in caught.value.hint
    assert caught.value.message in str(caught.value)
    assert len(caught.value.message) < 250
    assert caught.value.message.isprintable()


def test_error_survives_pickling() -> None:
    error = pickle.loads(pickle.dumps(UnitError("bad", "mend")))
    assert (error.message, error.hint, str(error)) == ("bad", "mend", "bad (mend)")


def test_to_refuses_another_dimension() -> None:
    with pytest.raises(UnitError, match="a voltage cannot be given in 'A'"):
        parse("5 V", "voltage").to("A")


def test_ends_of_the_interval_convert() -> None:
    read = parse("50 mm² ± 10 %", "area")
    assert (read.low_in("mm²"), read.to("mm²"), read.high_in("mm2")) == pytest.approx((45.0, 50.0, 55.0), rel=1e-14)
    assert parse("40 °C ± 2 K", "temperature").high_in("K") == pytest.approx(315.15)


def test_unknown_dimension_is_a_programming_error() -> None:
    with pytest.raises(KeyError):
        parse("5 V", "voltages")


@pytest.mark.parametrize("name", DIMENSIONS)
def test_every_example_in_a_hint_is_taken(name: str) -> None:
    example = DIMENSIONS[name].example
    assert parse(example, name).text == example


SHOWN = [
    (350.0, "V", None, "350 V"),
    (-0.0, "V", None, "0 V"),
    (-1e-30, "V", 3, "-1e-30 V"),
    (0.95, "", None, "0.95"),
    (1.23456, "Ω", None, "1.235 Ω"),
    (1.23456, "Ω", 2, "1.2 Ω"),
    (12345.6, "V", None, "12346 V"),
    (12345.6, "V", 3, "12300 V"),
    (99999.6, "V", None, "100000 V"),
    (9.99996, "V", None, "10 V"),
    (-2.50, "A", None, "-2.5 A"),
    (1e9, "Ω", None, "1e9 Ω"),
    (2.5e-7, "F", None, "2.5e-7 F"),
    (math.nan, "V", None, "not known"),
    (math.inf, "s", None, "unlimited"),
]


@pytest.mark.parametrize(("value", "unit", "digits", "text"), SHOWN)
def test_shown(value: float, unit: str, digits: int | None, text: str) -> None:
    assert show(value, unit, digits) == text


ENGINEERING = [
    (0.0012, "Ω", "1.2 mΩ"),
    (999.96, "V", "1 kV"),
    (6600.0, "W", "6.6 kW"),
    (0.25, "s", "250 ms"),
    (3600.0, "s", "3600 s"),
    (2e-6, "F", "2 µF"),
    (1e-15, "F", "0.001 pF"),
    (0.0, "V", "0 V"),
    (-0.004, "V", "-4 mV"),
    (0.5, "K/W", "0.5 K/W"),
]


@pytest.mark.parametrize(("value", "unit", "text"), ENGINEERING)
def test_engineering(value: float, unit: str, text: str) -> None:
    assert engineering(value, unit) == text


NUMBERS = st.floats(min_value=-1e12, max_value=1e12, allow_nan=False).filter(lambda x: x == 0 or abs(x) > 1e-12)
SYMBOLS = st.sampled_from([u for u in known_units() if dimension_of(find_unit(u)) and u != "%"])


@given(NUMBERS, SYMBOLS)
def test_round_trip(value: float, unit: str) -> None:
    dimension = dimension_of(find_unit(unit))
    assert dimension is not None
    assume(dimension.name != "temperature" or value > -273.0)
    exact = parse(show(value, unit, 17), dimension.name).to(unit)
    assert exact == pytest.approx(value, rel=1e-14, abs=0)
    # By default four digits are printed: half of the last one at most is lost.
    assume(dimension.name != "temperature" or value > -272.0)
    assert parse(show(value, unit), dimension.name).to(unit) == pytest.approx(value, rel=5.0001e-4, abs=0)


@given(NUMBERS, st.sampled_from(["V", "A", "Ω", "W", "J", "F", "H", "s", "Hz", "N"]))
def test_round_trip_engineering(value: float, unit: str) -> None:
    dimension = dimension_of(find_unit(unit))
    assert dimension is not None
    text = engineering(value, unit)
    assert not text.startswith("-0 ")
    assert parse(text, dimension.name).value == pytest.approx(value, rel=5.0001e-4, abs=0)


UNIT_LIKE = st.text("0123456789.,eE+-±/%^²³⁻ ()·*VAmkMµΩWJKsC°hnan\u2212\n\t\x00", max_size=20)


@given(st.one_of(UNIT_LIKE, st.text(max_size=30)), st.sampled_from(sorted(DIMENSIONS)))
def test_any_text_gives_a_quantity_or_a_unit_error(text: str, dimension: str) -> None:
    read, message = None, ""
    try:
        read = parse(text, dimension)
    except UnitError as error:
        message = error.message
    if read is None:
        assert message
        assert message.isprintable()
    else:
        assert all(map(math.isfinite, (read.low, read.value, read.high)))
        assert read.low <= read.value <= read.high
