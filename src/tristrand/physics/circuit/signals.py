"""What may be watched and commanded: signals, probes, switch commands."""

import math
from dataclasses import dataclass

from tristrand.physics.circuit.elements import Number
from tristrand.records import NamedTuple
from tristrand.sources import cites


@dataclass(frozen=True, slots=True)
class Signal:
    """Linear combination of node voltages [V] and element currents [A] plus a constant."""

    volts: tuple[tuple[str, float], ...] = ()
    amps: tuple[tuple[str, float], ...] = ()
    constant: float = 0.0

    def __add__(self, other: "Signal | float") -> "Signal":
        if not isinstance(other, Signal):
            return Signal(self.volts, self.amps, self.constant + other)
        return Signal(_merged(self.volts, other.volts), _merged(self.amps, other.amps), self.constant + other.constant)

    def __mul__(self, factor: float) -> "Signal":
        return Signal(
            tuple((name, factor * c) for name, c in self.volts),
            tuple((name, factor * c) for name, c in self.amps),
            factor * self.constant,
        )

    def __neg__(self) -> "Signal":
        return self * -1.0

    def __sub__(self, other: "Signal | float") -> "Signal":
        return self + (-other)

    def __radd__(self, other: float) -> "Signal":
        return self + other

    def __rsub__(self, other: float) -> "Signal":
        return (-self) + other

    __rmul__ = __mul__


def _merged(
    first: tuple[tuple[str, float], ...], second: tuple[tuple[str, float], ...]
) -> tuple[tuple[str, float], ...]:
    total = dict(first)
    for name, factor in second:
        total[name] = total.get(name, 0.0) + factor
    return tuple(total.items())


@cites("NUMERICS#definition of a probe signal")
def volt(a: str, b: str | None = None) -> Signal:
    """Voltage of node `a` over node `b` (over the reference when b is None) [V]."""
    return Signal(volts=_merged(((a, 1.0),), ((b, -1.0),) if b is not None else ()))


@cites("NUMERICS#definition of a probe signal")
def amp(element: str) -> Signal:
    """Current of an element in its own positive direction [A]."""
    return Signal(amps=((element, 1.0),))


@cites("NUMERICS#definition of a probe signal")
def const(value: float) -> Signal:
    """A constant signal."""
    return Signal(constant=float(value))


class Crossing(NamedTuple):
    """First time [s] from `start_s` on at which the signal is at or above `level` (rising) or at or below it.

    A signal already there at `start_s` gives `start_s`; never gives nan. `level` may have one value per lane.
    """

    name: str
    signal: Signal
    level: Number = 0.0
    rising: bool = True
    start_s: float = 0.0


class Peak(NamedTuple):
    """Largest value of the signal (of its magnitude with `absolute`; the value keeps its sign) and its time [s]."""

    name: str
    signal: Signal
    absolute: bool = False
    start_s: float = 0.0
    stop_s: float = math.inf


class Integral(NamedTuple):
    """Integral over time of the signal, or of signal * other (energy, I²t), between start_s and stop_s."""

    name: str
    signal: Signal
    other: Signal | None = None
    start_s: float = 0.0
    stop_s: float = math.inf


class At(NamedTuple):
    """Order `switch` to close or open at `time_s` [s, one value or one per lane]; its own delay is added."""

    time_s: Number
    switch: str
    closed: bool


class When(NamedTuple):
    """Order `switch` the first time the signal reaches `level`, `after_s` later, plus the switch's own delay."""

    signal: Signal
    level: Number
    rising: bool
    switch: str
    closed: bool
    after_s: Number = 0.0


Probe = Crossing | Peak | Integral
Command = At | When
