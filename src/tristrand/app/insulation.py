"""Insulation resistance from readings taken on a car by the two-reading procedure."""

import math
import textwrap
from typing import Any, NamedTuple

from tristrand.physics.insulation import (
    Interval,
    MeasuredLegs,
    Refusal,
    Tolerance,
    TwoReadings,
    known_resistor_ohm,
    reduce_two_readings,
)
from tristrand.sources import describe
from tristrand.units import UnitError, parse

CAUTION = (
    "Readings on a live pack can kill: they are taken by a qualified person with insulated leads rated for the pack, "
    "one hand free, and never alone."
)
# A direct-current bus alone, and one that an inverter joins to its machine; the larger one unless the machine's side
# has double insulation of its own.
PER_VOLT = ((100.0, "UN-R100#5.1.3.1", "direct-current bus alone"), (500.0, "UN-R100#5.1.3.2", "bus with its machine"))


class BadReading(ValueError):
    """A value that was given cannot be read; the message names the option and a way to mend it."""


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
    highest: str
    tolerance: str
    per_volt: float


def _read(text: str, dimension: str, option: str) -> float:
    try:
        value = parse(text, dimension).value
    except UnitError as error:
        raise BadReading(f"{option}: {error.message}" + (f" ({error.hint})" if error.hint else "")) from None
    if not (math.isfinite(value) and value >= 0):
        raise BadReading(f"{option}: {text} is below zero; enter magnitudes")
    return value


def reduce(given: Readings) -> dict[str, Any]:
    """Legs, monitor's reading and verdict as plain data; ``refused`` says why where the readings say nothing.

    Raises BadReading for texts that cannot be read or instruments that cannot be.
    """
    pack_v = _read(given.pack, "voltage", "--pack")
    highest_v = _read(given.highest, "voltage", "--highest") if given.highest else pack_v
    leg: Any = {"minus": "negative", "plus": "positive"}[given.leg]
    readings = TwoReadings(
        pack_v,
        _read(given.minus, "voltage", "--minus"),
        _read(given.plus, "voltage", "--plus"),
        _read(given.with_resistor, "voltage", "--with-resistor"),
        _read(given.resistor, "resistance", "--resistor"),
        leg,
        _read(given.meter, "resistance", "--meter"),
        given.both_meters,
    )
    off = _read(given.tolerance, "fraction", "--tolerance")
    try:
        found = reduce_two_readings(readings, Tolerance(off, 0.0, 0.0, 0.0))
    except ValueError as error:
        raise BadReading(str(error)) from None
    told: dict[str, Any] = {"format_version": 1, "caution": CAUTION, "highest_v": highest_v}
    if isinstance(found, Refusal):
        return told | {"refused": found.reason, "fault": found.fault}
    return told | _told(found, readings, highest_v, given.per_volt)


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
    lines = [*_noted("CAUTION", told["caution"]), ""]
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
    lines += [f"{name:<24}{_ohms(value):<38}{words}".rstrip() for name, value, words in rows]
    share = told["ohm_per_volt"]["low"]
    per_volt = "no leak found" if share is None else f"{share:.0f} Ω/V"
    lines.append(f"{'per volt, low end':<24}{per_volt} at {told['highest_v']:g} V")
    lines.append("")
    for item in told["required"]:
        verdict = "meets" if item["met"] else "MISSES"
        lines.append(f"{verdict:<8}{item['ohm_per_volt']:g} Ω/V = {item['ohm'] / 1e3:.4g} kΩ, {item['for']}")
        lines.append(f"        {item['source']}")
    remarks = list(told["remarks"])
    if not told["resistor_fits"]:
        remarks.append(
            "the known resistor is far from the required resistance: any may be used, one near it reads best"
        )
    lines += [line for remark in remarks for line in _noted("note", remark)]
    verdict = "MEETS" if told["met"] else "MISSES"
    lines.append(f"{verdict} the {told['asked_ohm_per_volt']:g} Ω/V asked for, tolerances at their bad end.")
    return "\n".join(lines) + "\n"


def _noted(head: str, words: str) -> list[str]:
    return textwrap.wrap(words, 100, initial_indent=f"{head:<9}", subsequent_indent=" " * 9)


def _ohms(value: dict[str, float | None]) -> str:
    if value["value"] is None:
        return "no leak found"
    high = "no bound" if value["high"] is None else f"{value['high'] / 1e3:.4g}"
    low = 0.0 if value["low"] is None else value["low"]
    return f"{value['value'] / 1e3:.4g} kΩ ({low / 1e3:.4g} to {high})"
