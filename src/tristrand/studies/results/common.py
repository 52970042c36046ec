"""What every study's result is made of: workings that can be checked by hand, missing data, series for plots.

Small records are named tuples: they are made by the hundred in every check, and a class of them loads in a tenth of the
time of a data class.
"""

from collections.abc import Callable, Mapping, Sequence
from functools import cached_property
from types import MappingProxyType
from typing import Any, TypeVar, overload

from tristrand.records import NamedTuple


class Input(NamedTuple):
    """A number put into a formula: its symbol, value and unit."""

    symbol: str
    value: float
    unit: str


class Working(NamedTuple):
    """One line of calculation about one object.

    ``formula`` is plain arithmetic over the inputs' symbols (``ln``, ``exp``, ``sqrt``, ``min``, ``max``, ``log10``
    allowed) and gives ``value`` in ``unit`` when the inputs are put in as shown. Where the value comes from the circuit
    solver or from a printed table, ``formula`` is empty and ``method`` says so.
    """

    about: str
    symbol: str
    words: str
    formula: str
    inputs: tuple[Input, ...]
    value: float
    unit: str
    source: str
    method: str = ""


class Missing(NamedTuple):
    """A datum that a study needs and the design does not give: where it belongs, and what it is."""

    pointer: str
    what: str

    def text(self) -> str:
        """One phrase for a list of open points."""
        return f"{self.pointer} ({self.what})" if self.what else self.pointer


class Series(NamedTuple):
    """A curve for a plot: named, with axis quantities and units, and where it applies."""

    name: str
    x_quantity: str
    x_unit: str
    y_quantity: str
    y_unit: str
    x: tuple[float, ...]
    y: tuple[float, ...]
    about: str = ""


Line = TypeVar("Line")


class Later(Sequence[Line]):
    """Workings or curves that are written out when they are first looked at: judging a change needs none."""

    def __init__(self, make: Callable[[], Sequence[Line]]) -> None:
        self._make = make

    @cached_property
    def _made(self) -> Sequence[Line]:
        return self._make()

    def __len__(self) -> int:
        return len(self._made)

    @overload
    def __getitem__(self, at: int) -> Line: ...

    @overload
    def __getitem__(self, at: slice) -> Sequence[Line]: ...

    def __getitem__(self, at: int | slice) -> Line | Sequence[Line]:
        """One of them, or some."""
        return self._made[at]


NONE: Mapping[str, Any] = MappingProxyType({})
"""What a result holds by name where it holds nothing."""


def facts(result: Any) -> tuple[object, ...]:
    """What another study can take from a result: every field but the workings and the series."""
    return tuple(v for name, v in zip(result._fields, result, strict=True) if name not in ("workings", "series"))


def working(
    about: str,
    symbol: str,
    words: str,
    formula: str,
    value: float,
    unit: str,
    source: str,
    /,
    **inputs: tuple[float, str],
) -> Working:
    """A working with its inputs as keyword arguments: ``R=(68.0, "Ω")``."""
    given = tuple(Input(name, float(number), unit_) for name, (number, unit_) in inputs.items())
    return Working(about, symbol, words, formula, given, float(value), unit, source)


def found(about: str, symbol: str, words: str, value: float, unit: str, source: str, method: str) -> Working:
    """A working whose value was looked up or solved for, not put into a formula."""
    return Working(about, symbol, words, "", (), float(value), unit, source, method)
