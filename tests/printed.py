"""Printed numbers as expected values: the tolerance is half a unit of the last printed digit."""

from __future__ import annotations

from typing import Any

import pytest


def printed(text: str, units: float = 0.5) -> Any:
    """`pytest.approx` of a number as printed ("0.2998728", "5.11e7"), within `units` of its last digit."""
    mantissa, _, power = text.lower().partition("e")
    decimals = len(mantissa.partition(".")[2])
    last_digit = 10.0 ** (int(power or 0) - decimals)
    # One part in 1e9 more, for values that end in an exact half.
    return pytest.approx(float(text), abs=units * last_digit * (1 + 1e-9), rel=0)
