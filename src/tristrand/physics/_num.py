"""Shared number handling of the closed forms: float in, float out; array in, array out."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

FloatArray: TypeAlias = NDArray[np.float64]
Num: TypeAlias = float | FloatArray
"""A float or an array of floats. Arguments of one call are broadcast against each other."""


def arr(value: Num) -> FloatArray:
    """Give `value` as an array of floats (0-d for a float)."""
    return np.asarray(value, dtype=np.float64)


def same(value: Any) -> Num:
    """Give a 0-d result back as a float, leave arrays as they are."""
    out = np.asarray(value, dtype=np.float64)
    return float(out) if out.ndim == 0 else out


def _all(value: Any, test: Callable[[Any], Any]) -> bool:
    """Whether a test of one number holds for every one given."""
    # Most are single floats, for which numpy takes ten times as long.
    return bool(test(value)) if isinstance(value, float) else bool(test(np.asarray(value)).all())


def positive(**values: Num) -> None:
    """Raise ValueError unless every value is above zero; NaN is refused, infinity is allowed."""
    faults = [name for name, value in values.items() if not _all(value, lambda v: v > 0.0)]
    if faults:
        raise ValueError(f"must be above zero: {', '.join(faults)}")


def not_negative(**values: Num) -> None:
    """Raise ValueError unless every value is zero or more; NaN is refused, infinity is allowed."""
    faults = [name for name, value in values.items() if not _all(value, lambda v: v >= 0.0)]
    if faults:
        raise ValueError(f"must not be negative: {', '.join(faults)}")


def share_of_one(**values: Num) -> None:
    """Raise ValueError unless 0 < value <= 1 for every value; NaN is refused."""
    for name, value in values.items():
        if not _all(value, lambda v: (v > 0.0) & (v <= 1.0)):
            raise ValueError(f"{name} must be above 0 and at most 1")


def finite(**values: Num) -> None:
    """Raise ValueError unless every value is a finite number."""
    faults = [name for name, value in values.items() if not _all(value, np.isfinite)]
    if faults:
        raise ValueError(f"must be a finite number: {', '.join(faults)}")


def between(low: float, high: float, **values: Num) -> None:
    """Raise ValueError unless low < value < high for every value; NaN is refused."""
    for name, value in values.items():
        if not _all(value, lambda v: (v > low) & (v < high)):
            raise ValueError(f"{name} must lie between {low:g} and {high:g}")
