"""Insulation resistance from readings taken on a car by the two-reading procedure."""

import math
import re
import textwrap
from collections.abc import Callable
from contextlib import suppress
from typing import Any

from tristrand.physics.insulation import (
    Interval,
    MeasuredLegs,
    Refusal,
    TwoReadings,
    known_resistor_ohm,
    reduce_between,
)
from tristrand.physics.spacing import voltage_class
from tristrand.records import NamedTuple
from tristrand.sources import describe
from tristrand.units import Quantity, UnitError, engineering, number_text, parse
from tristrand.units.errors import quoted

CAUTION = (
    "Readings on a live pack can kill: they are taken by a qualified person with insulated leads rated for the pack, "
    "one hand free, and never alone."
)
# A direct-current bus alone, and one that an inverter joins to its machine; the larger one unless the machine's side
# has double insulation of its own.
PER_VOLT = ((100.0, "UN-R100#5.1.3.1", "direct-current bus alone"), (500.0, "UN-R100#5.1.3.2", "bus with its machine"))


# Far above any requirement; beyond it lies a slip of the pen.
MOST_PER_VOLT = 1e9
# Likewise the known resistor and the voltmeter: "10 mΩ" is meant to be 10 MΩ.
OHMS = (1.0, 1e12)
_BARE = re.compile(r"\s*[+-]?\s?[0-9.]+(?:[eE][+-]?[0-9]+)?\s*")
_DIGITS = re.compile(r"[+-]?\s?[0-9]*\.?([0-9]*)(?:[eE]([+-]?[0-9]+))?")


class BadReading(ValueError):
    """Values that were given cannot be read; the message names each option and a way to mend it, one a line."""


class Readings(NamedTuple):
    """What a person wrote down, as texts with units. ``leg``: the pole that the known resistor was put on."""

    pack: str
    minus: str
    plus: str
    with_resistor: str
    resistor: str
    leg: str
    meter: str
    both_meters: bool
    highest: str | None
    tolerance: str
    per_volt: str


class Taken(NamedTuple):
    """The same as numbers, each with the ends that it may truly lie between."""

    pack_v: Interval
    minus_v: Interval
    plus_v: Interval
    with_resistor_v: Interval
    resistor_ohm: Interval
    meter_ohm: Interval


NAMES = ("pole to pole", "minus to chassis", "plus to chassis", "with the resistor", "known resistor", "voltmeter")


def _quantity(text: str, dimension: str, option: str) -> Quantity:
    try:
        return parse(text, dimension)
    except UnitError as error:
        # A key is what a design file has.
        hint = f" ({error.hint})" if error.hint and "the key" not in error.hint else ""
        raise BadReading(f"{option}: {error.message}{hint}") from None


def _voltage(text: str, option: str, share: float) -> Interval:
    """A reading: its own ± or, without one, half its last digit; and the share of every reading on top."""
    read = _quantity(text, "voltage", option)
    if read.value < 0.0:
        raise BadReading(f"{option}: {quoted(text)} is below zero; enter magnitudes")
    below, above = read.value - read.low, read.high - read.value
    if below == above == 0.0:
        below = above = _half_a_digit(read)
    low, high = read.value * (1.0 - share) - below, read.value * (1.0 + share) + above
    if not (math.isfinite(low) and math.isfinite(high)):
        raise BadReading(f"{option}: {quoted(text)} is too large a number")
    return Interval(read.value, max(low, 0.0), high)


def _half_a_digit(read: Quantity) -> float:
    """Half of one in the last digit that was written [base unit]: "97.1 V" may be 97.05 V to 97.15 V."""
    found = _DIGITS.match(read.text)
    places, power = (len(found[1]), int(found[2] or 0)) if found else (0, 0)
    return 0.5 * float(f"1e{power - places}") * parse(f"1 {read.unit}", read.dimension).value


def _bus_voltage(text: str, option: str, share: float) -> Interval:
    read = _voltage(text, option, share)
    if read.value <= 0.0:
        raise BadReading(f"{option}: {quoted(text)} must be above zero")
    try:
        voltage_class(read.value)
    except ValueError as error:
        raise BadReading(f"{option}: {error}; look at the unit") from None
    return read


def _resistance(text: str, option: str) -> Interval:
    read = _quantity(text, "resistance", option)
    if read.value <= 0.0:
        raise BadReading(f"{option}: {quoted(text)} must be above zero")
    if not OHMS[0] <= read.value <= OHMS[1]:
        raise BadReading(f"{option}: {quoted(text)} is not from 1 Ω to 1 TΩ; look at the unit")
    if read.low <= 0.0:
        raise BadReading(
            f"{option}: a tolerance of the whole value or more, as in {quoted(text)}, leaves nothing to reduce"
        )
    return Interval(read.value, read.low, read.high)


def _share(text: str, option: str) -> float:
    with suppress(UnitError):
        parse(text, "voltage")
        raise BadReading(
            f"{option}: {quoted(text)} is a voltage, and a share is needed, such as '0.5 %';"
            " volts stand with their reading: '97.1 V ± 0.3 V'"
        )
    read = _quantity(text, "fraction", option)
    if read.low != read.high:
        raise BadReading(f"{option}: {quoted(text)} has a tolerance of its own; give the largest share alone")
    if read.value < 0.0:
        raise BadReading(f"{option}: {quoted(text)} is below zero")
    if read.value >= 1.0:
        raise BadReading(
            f"{option}: {quoted(text)} is a tolerance of the whole value or more, which leaves nothing to reduce"
        )
    return read.value


def _per_volt(text: str, option: str) -> float:
    read = _quantity(f"{text} Ω/V" if _BARE.fullmatch(text) else text, "resistance_per_voltage", option)
    if read.low != read.high:
        raise BadReading(f"{option}: {quoted(text)} has a tolerance, which a requirement has not")
    if not 0.0 < read.value <= MOST_PER_VOLT:
        raise BadReading(f"{option}: {quoted(text)} must be above 0 and at most {number_text(MOST_PER_VOLT)} Ω/V")
    return read.value


def _highest(text: str | None, pack: Interval) -> tuple[float, list[str]]:
    """The voltage that the ohms per volt are counted on, and what has to be said about it."""
    if text is None:
        said = "No --highest was given: judged at the voltage as read. A fuller pack asks for more ohms."
        return pack.value, [said]
    # A highest voltage needs no rounding of a reading, but a ± of its own counts at its upper end.
    highest_v = _quantity(text, "voltage", "--highest").high
    _bus_voltage(text, "--highest", 0.0)
    if highest_v >= pack.value:
        return highest_v, []
    if highest_v < pack.low:
        raise BadReading(
            f"--highest: {quoted(text)} is below the {number_text(pack.value)} V read from pole to pole; give"
            " the highest voltage that the pack can have"
        )
    return pack.value, [f"--highest {quoted(text)} is below the voltage as read, which is used in its place."]


def _take(given: Readings) -> tuple[Taken, float, float, list[str]]:
    """All numbers, or one BadReading that names every option that cannot be read."""
    wrong: list[str] = []

    def tried(read: Callable[..., Any], *arguments: Any) -> Any:
        try:
            return read(*arguments)
        except BadReading as error:
            wrong.append(str(error))
            return None

    share = tried(_share, given.tolerance, "--tolerance") or 0.0
    pack = tried(_bus_voltage, given.pack, "--pack", share)
    taken = Taken(
        pack,
        tried(_voltage, given.minus, "--minus", share),
        tried(_voltage, given.plus, "--plus", share),
        tried(_voltage, given.with_resistor, "--with-resistor", share),
        tried(_resistance, given.resistor, "--resistor"),
        tried(_resistance, given.meter, "--meter"),
    )
    # Without a pack reading the highest voltage is still read, but against nothing.
    highest = tried(_highest, given.highest, pack or Interval(0.0, 0.0, 0.0))
    per_volt = tried(_per_volt, given.per_volt, "--per-volt")
    if wrong:
        raise BadReading("\n".join(wrong))
    highest_v, said = highest
    return taken, highest_v, per_volt, said


def _record(taken: Taken, given: Readings, end: int) -> TwoReadings:
    """As read (0), all at their low ends (1) or all at their high ends (2)."""
    pack, minus, plus, added, resistor, meter = (value[end] for value in taken)
    leg: Any = {"minus": "negative", "plus": "positive"}[given.leg]
    return TwoReadings(pack, minus, plus, added, resistor, leg, meter, given.both_meters)


def reduce(given: Readings) -> dict[str, Any]:
    """Legs, monitor's reading and verdict as plain data; ``refused`` says why where the readings say nothing.

    Raises BadReading for texts that cannot be read or instruments that cannot be.
    """
    taken, highest_v, per_volt, said = _take(given)
    readings = _record(taken, given, 0)
    found = reduce_between(readings, _record(taken, given, 1), _record(taken, given, 2))
    told: dict[str, Any] = {
        "format_version": 1,
        "caution": CAUTION,
        "readings": {name: _interval(value) for name, value in taken._asdict().items()},
        "highest_v": highest_v,
    }
    if isinstance(found, Refusal):
        return told | {"refused": found.reason, "fault": found.fault}
    told |= _told(found, readings, highest_v, per_volt)
    told["remarks"] += said + _taken_as_exact(taken, given)
    if per_volt < PER_VOLT[0][0]:
        least = f"{PER_VOLT[0][0]:g} Ω/V that UN R100 asks of any bus"
        told["remarks"].append(f"The {number_text(per_volt)} Ω/V asked for are below the {least}.")
    return told


def _taken_as_exact(taken: Taken, given: Readings) -> list[str]:
    """A meter that is moved only explains the gap; one that stays on each leg is taken out of the result."""
    looked_at = {"resistor": taken.resistor_ohm} | ({"meter": taken.meter_ohm} if given.both_meters else {})
    return [
        f"--{name} is taken as exact; give its tolerance with it, such as '{engineering(value.value, 'Ω')} ± 1 %'."
        for name, value in looked_at.items()
        if value.low == value.high
    ]


def _told(found: MeasuredLegs, readings: TwoReadings, highest_v: float, per_volt: float) -> dict[str, Any]:
    weakest = found.weaker_ohm
    choice = known_resistor_ohm(per_volt, highest_v)
    return {
        "weaker_leg": "minus" if found.weaker_leg == "negative" else "plus",
        "weaker_ohm": _interval(weakest),
        "minus_ohm": _interval(found.negative_ohm),
        "plus_ohm": _interval(found.positive_ohm),
        "monitor_ohm": _interval(found.parallel_ohm),
        "ohm_per_volt": _interval(Interval(*(value / highest_v for value in weakest))),
        "required": [
            {
                "ohm_per_volt": least,
                "for": words,
                "ohm": least * highest_v,
                "met": weakest.low >= least * highest_v,
                "source": describe(source),
            }
            for least, source, words in PER_VOLT
        ],
        "asked_ohm_per_volt": per_volt,
        "met": weakest.low >= per_volt * highest_v,
        "gap_v": found.gap_v,
        "explained_gap_v": list(found.explained_v),
        "remarks": list(found.remarks),
        "resistor_fits": float(choice.low_ohm) <= readings.resistor_ohm <= float(choice.high_ohm),
    }


def _interval(value: Interval) -> dict[str, float | None]:
    """Low, value and high; None where the readings cannot tell it from no leak at all."""
    return {name: (None if math.isinf(x) else x) for name, x in value._asdict().items()}


def as_text(told: dict[str, Any]) -> str:
    """The same for a person."""
    lines = [*_noted("CAUTION", told["caution"]), "", "taken as read, and the ends that the tolerances give:"]
    lines += [_row(name, value, key, 7) for name, (key, value) in zip(NAMES, told["readings"].items(), strict=True)]
    lines.append("")
    if "refused" in told:
        return "\n".join(
            [*lines, *_noted("REFUSED", told["refused"]), "No resistance may be drawn from these readings.", ""]
        )
    rows = (
        ("insulation resistance", told["weaker_ohm"], f"the weaker leg, {told['weaker_leg']} to chassis"),
        ("minus to chassis", told["minus_ohm"], ""),
        ("plus to chassis", told["plus_ohm"], ""),
        ("a monitor would show", told["monitor_ohm"], "both legs in parallel: less than the weaker leg"),
    )
    lines += [f"{_row(name, value, 'ohm'):<60}{words}".rstrip() for name, value, words in rows]
    share = told["ohm_per_volt"]["low"]
    # Rounded down, so that it never shows a requirement that is missed.
    per_volt = "no leak found" if share is None else f"{math.floor(share)} Ω/V"
    lines.append(f"{'per volt, low end':<24}{per_volt} at {number_text(told['highest_v'])} V")
    lines.append("")
    for item in told["required"]:
        verdict = "meets" if item["met"] else "MISSES"
        lines.append(f"{verdict:<8}{item['ohm_per_volt']:g} Ω/V = {engineering(item['ohm'], 'Ω')}, {item['for']}")
        lines.append(f"        {item['source']}")
    remarks = list(told["remarks"])
    if not told["resistor_fits"]:
        remarks.append(
            "The known resistor is not within 20 % of the required resistance: any may be used, one near it reads best."
        )
    lines += [line for remark in remarks for line in _noted("note", remark)]
    verdict = "MEETS" if told["met"] else "MISSES"
    asked = number_text(told["asked_ohm_per_volt"])
    lines.append(f"{verdict} the {asked} Ω/V asked for, tolerances at their bad end.")
    return "\n".join(lines) + "\n"


def _noted(head: str, words: str) -> list[str]:
    return textwrap.wrap(words, 100, initial_indent=f"{head:<9}", subsequent_indent=" " * 9)


def _row(name: str, value: dict[str, float | None], key: str, digits: int | None = None) -> str:
    """Name, value and its ends; ``key`` ends in the unit, as the keys of the plain data do."""
    unit = "V" if key.endswith("_v") else "Ω"
    low, found, high = (
        None if x is None else engineering(x, unit, digits) for x in (value["low"], value["value"], value["high"])
    )
    if low == found == high:
        ends = ""
    elif found is None:
        ends = f" (at least {low})"
    else:
        ends = f" ({low} to {high or 'no bound'})"
    return f"{name:<24}{found or 'no leak found'}{ends}"
