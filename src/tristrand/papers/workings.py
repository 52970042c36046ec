"""Workings made readable: the formula, the formula with its numbers put in, the value, the source."""

from __future__ import annotations

import html
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass

from tristrand.findings.text import source_text
from tristrand.findings.words import plain
from tristrand.studies.results import Working
from tristrand.units import number_text, show

_NAME = re.compile(r"[A-Za-z_][A-Za-z_0-9]*")
_FUNCTIONS = frozenset({"ln", "exp", "sqrt", "min", "max", "log10"})
_POWERS = str.maketrans("0123456789", "⁰¹²³⁴⁵⁶⁷⁸⁹")
# The digits that let a reader repeat the line by hand and meet its value.
DIGITS = 6


@dataclass(frozen=True, slots=True)
class Line:
    """One working as the page prints it. The ``*_html`` fields are escaped markup."""

    symbol_html: str
    words: str
    formula_html: str
    numbers_html: str
    value: str
    source: str


def lines_by_object(workings: Sequence[Working]) -> list[tuple[str, list[Line]]]:
    """The lines of each object, in the order the study gives them."""
    groups: dict[str, list[Line]] = {}
    for item in workings:
        groups.setdefault(plain(item.about), []).append(line(item))
    return list(groups.items())


def line(item: Working) -> Line:
    """One line."""
    value = (
        "no value: the level is never reached or not known"
        if math.isnan(item.value)
        else with_unit(item.value, item.unit)
    )
    source = source_text(item.source) if item.source else "no source named"
    if not item.formula:
        return Line(symbol(item.symbol), plain(item.words), html.escape(plain(item.method)), "", value, source)
    numbers = {i.symbol: (i.value, i.unit) for i in item.inputs}
    return Line(
        symbol(item.symbol), plain(item.words), formula(item.formula), put_in(item.formula, numbers), value, source
    )


def with_unit(value: float, unit: str) -> str:
    """A value with its unit; the unit 1 is not printed."""
    return show(value, "" if unit == "1" else plain(unit), DIGITS)


def symbol(name: str) -> str:
    """ "V_max" with its index set low; escaped."""
    head, _, index = plain(name).partition("_")
    low = f"<sub>{html.escape(index.replace('_', ' '))}</sub>" if index else ""
    return f"<i>{html.escape(head)}</i>{low}" if head else html.escape(plain(name))


def formula(text: str) -> str:
    """The formula with its symbols set as symbols; escaped."""
    return _set(text, {})


def put_in(text: str, numbers: dict[str, tuple[float, str]]) -> str:
    """The formula with numbers and units in place of the symbols; escaped."""
    return _set(text, numbers)


def _set(text: str, numbers: dict[str, tuple[float, str]]) -> str:
    parts, at = [], 0
    text = plain(text)
    for match in _NAME.finditer(text):
        before = text[at : match.start()]
        # "1e-3" and "2.5e6": the letter belongs to the number.
        if before[-1:].isdigit() or before[-1:] == ".":
            continue
        parts.append(_signs(before))
        parts.append(_symbol_or_number(match.group(), numbers, text[match.end() :].lstrip().startswith("**")))
        at = match.end()
    parts.append(_signs(text[at:]))
    return "".join(parts)


def _symbol_or_number(name: str, numbers: dict[str, tuple[float, str]], raised: bool) -> str:
    if name not in numbers:
        return html.escape(name) if name in _FUNCTIONS else symbol(name)
    value, unit = numbers[name]
    shown = f"{number_text(value, DIGITS)} {'' if unit == '1' else plain(unit)}".strip()
    bare = value >= 0 and not raised and "e" not in shown.split(" ")[0]
    return html.escape(shown if bare else f"({shown})")


def _signs(text: str) -> str:
    """Powers raised, the sign of multiplication, spaces round the four operations."""
    text = re.sub(r"\s*\*\*\s*(\d+)", lambda m: m.group(1).translate(_POWERS), text)
    text = text.replace("**", " ^ ").replace("*", " · ")
    return html.escape(re.sub(r"\s*/\s*", " / ", text))
