"""Small pieces of text that the renderers share."""

from __future__ import annotations

import math

from tristrand.findings.model import Evidence, Place
from tristrand.units import number_text, show

RELATION_WORDS = {"<=": "at most", ">=": "at least", "<": "less than", ">": "more than", "=": "exactly"}
KIND_WORDS = {
    "fail": "FAIL",
    "review": "REVIEW",
    "open": "OPEN",
    "not_applicable": "DOES NOT APPLY",
    "pass": "PASS",
}


def plain(text: str) -> str:
    """Text from a design made safe to print: no control characters, no lone surrogates, on one line."""
    return "".join(c if c.isprintable() else " " if c.isspace() else "\ufffd" for c in text)


def known(value: float | None) -> float | None:
    """The value, or None for what JSON cannot hold."""
    return value if value is not None and math.isfinite(value) else None


def evidence_text(evidence: Evidence) -> str:
    """One line, "closing current: 525.5 A (500 to 551 A), allowed is at most 400 A".

    Two numbers that differ are never printed alike: a failure by a hair must show.
    """
    unit = plain(evidence.unit)
    value = math.nan if evidence.value is None else evidence.value
    digits = digits_apart(value, evidence.limit, evidence.low, evidence.high)
    text = f"{plain(evidence.quantity)}: {show(value, unit, digits)}"
    if evidence.low is not None and evidence.high is not None and evidence.low != evidence.high:
        text += f" ({number_text(evidence.low, digits)} to {show(evidence.high, unit, digits)})"
    if evidence.limit is not None and evidence.relation:
        text += f", allowed is {RELATION_WORDS[evidence.relation]} {show(evidence.limit, unit, digits)}"
    return text


def digits_apart(*numbers: float | None) -> int | None:
    """The fewest digits, from the usual number on, that keep unequal numbers apart in print."""
    real = {n for n in numbers if n is not None and not math.isnan(n)}
    for digits in (None, 5, 6, 7, 8, 9, 12, 15, 17):
        if len({number_text(n, digits) for n in real}) == len(real):
            return digits
    return 17


def place_text(place: Place) -> str:
    """ "high_voltage.yaml, line 88: connections/W3/cable", leaving out what is not known."""
    where = plain(place.file)
    if place.line > 0:
        where += f", line {place.line}"
    return f"{where}: {plain(place.object)}" if where and place.object else where or plain(place.object)
