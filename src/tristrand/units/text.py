"""Quantity to text: enough digits, no trailing zeros, never "-0"."""

from __future__ import annotations

import math

from tristrand.units.table import ATOMS, PREFIXES, find_unit

DEFAULT_DIGITS = 4
_STEPS = (
    ("p", -12),
    ("n", -9),
    ("µ", -6),
    ("m", -3),
    ("", 0),
    ("k", 3),
    ("M", 6),
    ("G", 9),
)


def number_text(value: float, digits: int | None = None) -> str:
    """A number as a person writes it.

    Args:
        value: any float; NaN gives "not known", infinities "unlimited" and "-unlimited".
        digits: significant digits; by default four, and whole digits before the point are all kept up to 1e7.
    """
    if math.isnan(value):
        return "not known"
    if math.isinf(value):
        return "unlimited" if value > 0 else "-unlimited"
    if value == 0.0:
        return "0"
    size = abs(value)
    wanted = DEFAULT_DIGITS if digits is None else max(1, digits)
    if 1e-4 <= size < 1e7:
        before = len(str(int(size))) if size >= 1.0 else 0
        if digits is None:
            wanted = max(wanted, before)
        places = wanted - 1 - math.floor(math.log10(size))
        if places <= 0:
            text = f"{round(value, places):.0f}"
        else:
            text = f"{value:.{places}f}".rstrip("0").rstrip(".")
        return "0" if text == "-0" else text
    mantissa, _, exponent = f"{value:.{wanted - 1}e}".partition("e")
    if "." in mantissa:
        mantissa = mantissa.rstrip("0").rstrip(".")
    return f"{mantissa}e{int(exponent)}"


def show(value: float, unit: str, digits: int | None = None) -> str:
    """A value that is already in `unit`, as text: show(350.0, "V") gives "350 V"."""
    number = number_text(value, digits)
    return f"{number} {unit}" if unit and math.isfinite(value) else number


def engineering(value: float, unit: str, digits: int | None = None) -> str:
    """Like `show`, with the prefix that puts the number from 1 to 1000: (0.0012, "Ω") gives "1.2 mΩ".

    Only a single unit without a prefix is given one ("V", "Ω", "s"); anything else is shown as it is.
    """
    if unit not in ATOMS or value == 0.0 or not math.isfinite(value):
        return show(value, unit, digits)
    find_unit(unit)
    taken = ATOMS[unit][3]
    best = ""
    for prefix, power in _STEPS:
        if prefix and prefix not in taken:
            continue
        # Rounding first, so that 999.96 does not become "1000 mV" instead of "1 V".
        if abs(float(f"{value:.{(digits or DEFAULT_DIGITS) - 1}e}")) >= 10.0**power:
            best = prefix
        elif not best and power < 0 and prefix:
            best = prefix  # smaller than the smallest prefix that is taken
            break
    up, down = PREFIXES[best] if best else (1.0, 1.0)
    return show(value * down / up, best + unit, digits)
