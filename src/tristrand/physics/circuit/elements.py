"""The parts a circuit is made of.

Every number is a float, or an array with one value per lane (a lane is one variant of the same topology).
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tristrand.records import NamedTuple

Floats = NDArray[np.float64]
Number = float | Floats

#: Conductance [S] from one node of every island without a conductive path to the reference, as the part behind
#: open contactors is. It gives the island a potential and, being its only path, carries no current.
LEAK_S = 1e-6

#: Lowest voltage [V] at which a power load with no threshold of its own still counts as supplied; P/v has no
#: meaning at 0 V.
FLOOR_V = 1e-3


class CircuitError(ValueError):
    """The circuit cannot be solved as given; the message lists every fault."""


class Battery(NamedTuple):
    """Source of `ocv_v` [V] behind `resistance_ohm` [Ω, > 0]. Current positive = discharging, out of `plus`."""

    name: str
    plus: str
    minus: str
    ocv_v: Number
    resistance_ohm: Number

    @property
    def terminals(self) -> tuple[str, str]:
        """Fields that name its nodes."""
        return ("plus", "minus")


class Resistor(NamedTuple):
    """`resistance_ohm` [Ω, > 0] from `a` to `b`. Current positive a -> b."""

    name: str
    a: str
    b: str
    resistance_ohm: Number

    @property
    def terminals(self) -> tuple[str, str]:
        """Fields that name its nodes."""
        return ("a", "b")


class Inductor(NamedTuple):
    """`inductance_h` [H, > 0] in series with `resistance_ohm` [Ω, >= 0]; `current_a` [A] flows a -> b at t = 0."""

    name: str
    a: str
    b: str
    inductance_h: Number
    resistance_ohm: Number = 0.0
    current_a: Number = 0.0

    @property
    def terminals(self) -> tuple[str, str]:
        """Fields that name its nodes."""
        return ("a", "b")


class Capacitor(NamedTuple):
    """`capacitance_f` [F, > 0] charged to `voltage_v` [V] (a over b) at t = 0. Current positive a -> b."""

    name: str
    a: str
    b: str
    capacitance_f: Number
    voltage_v: Number = 0.0

    @property
    def terminals(self) -> tuple[str, str]:
        """Fields that name its nodes."""
        return ("a", "b")


class Switch(NamedTuple):
    """Contact of `on_ohm` [Ω, > 0] when closed, nothing when open. Delays [s, >= 0] run from the command."""

    name: str
    a: str
    b: str
    on_ohm: Number
    closed: bool = False
    close_delay_s: Number = 0.0
    open_delay_s: Number = 0.0

    @property
    def terminals(self) -> tuple[str, str]:
        """Fields that name its nodes."""
        return ("a", "b")


class Diode(NamedTuple):
    """Conducts from `anode` as `forward_v` [V, >= 0] in series with `on_ohm` [Ω, > 0]; blocks otherwise."""

    name: str
    anode: str
    cathode: str
    forward_v: Number = 0.0
    on_ohm: Number = 1e-3

    @property
    def terminals(self) -> tuple[str, str]:
        """Fields that name its nodes."""
        return ("anode", "cathode")


class PowerLoad(NamedTuple):
    """Converter that draws i = min(P(t)/v, `current_limit_a`) between its thresholds.

    It turns on when v rises through `turn_on_v` and off when v falls through `turn_off_v` (turn_off_v <= turn_on_v).
    P(t) climbs linearly from 0 to `power_w` over `soft_start_s` after each turn-on. With below="resistive" it has
    no hysteresis and no soft start: below `turn_off_v` it draws v * power_w / turn_off_v**2. Equal thresholds with
    below="off" and no soft start give a sliding state: v is held at the threshold and the load passes what the
    circuit supplies there. A threshold of 0 counts as FLOOR_V.
    """

    name: str
    plus: str
    minus: str
    power_w: Number
    turn_on_v: Number = 0.0
    turn_off_v: Number = 0.0
    below: str = "off"
    soft_start_s: Number = 0.0
    current_limit_a: Number = math.inf
    enabled: bool | NDArray[np.bool_] = True

    @property
    def terminals(self) -> tuple[str, str]:
        """Fields that name its nodes."""
        return ("plus", "minus")


class CurrentSource(NamedTuple):
    """Drives `current_a` [A] from `a` through itself to `b`, that is into node b."""

    name: str
    a: str
    b: str
    current_a: Number

    @property
    def terminals(self) -> tuple[str, str]:
        """Fields that name its nodes."""
        return ("a", "b")


Element = Battery | Resistor | Inductor | Capacitor | Switch | Diode | PowerLoad | CurrentSource
#: The numbers of each kind of element and what they may be.
LIMITS: dict[type[Any], dict[str, str]] = {
    Battery: {"ocv_v": "any", "resistance_ohm": "positive"},
    Resistor: {"resistance_ohm": "positive"},
    Inductor: {"inductance_h": "positive", "resistance_ohm": "not negative", "current_a": "any"},
    Capacitor: {"capacitance_f": "positive", "voltage_v": "any"},
    Switch: {"on_ohm": "positive", "close_delay_s": "not negative", "open_delay_s": "not negative"},
    Diode: {"forward_v": "not negative", "on_ohm": "positive"},
    PowerLoad: {
        "power_w": "not negative",
        "turn_on_v": "not negative",
        "turn_off_v": "not negative",
        "soft_start_s": "not negative",
        "current_limit_a": "positive or infinite",
        "enabled": "flag",
    },
    CurrentSource: {"current_a": "any"},
}
ELEMENT_TYPES = (Battery, Resistor, Inductor, Capacitor, Switch, Diode, PowerLoad, CurrentSource)


#: For one float, the quick way; nan and what else is refused go the long way to their words.
_LOWEST: dict[str, Callable[[float], bool]] = {
    "any": math.isfinite,
    "positive": lambda value: 0.0 < value < math.inf,
    "not negative": lambda value: 0.0 <= value < math.inf,
    "positive or infinite": lambda value: value > 0.0,
}


def _value_fault(value: object, limit: str) -> str | None:
    """What is wrong with one number, or None."""
    if type(value) is float and _LOWEST[limit](value):
        return None
    try:
        array = np.asarray(value, dtype=float)
    except (TypeError, ValueError):
        return "is not a number"
    if array.ndim > 1:
        return f"has shape {array.shape}; a number or one value per lane is expected"
    if array.size == 0:
        return "has no lanes"
    if np.isnan(array).any() or (limit != "positive or infinite" and not np.isfinite(array).all()):
        return "is not finite"
    if limit.startswith("positive") and not (array > 0).all():
        return f"must be greater than 0, the smallest given is {array.min():g}"
    if limit == "not negative" and not (array >= 0).all():
        return f"must not be negative, the smallest given is {array.min():g}"
    return None


def _element_faults(element: Element) -> list[str]:
    """Every fault of one element, as sentences."""
    kind = type(element).__name__
    faults: list[str] = []
    ends = [getattr(element, terminal) for terminal in element.terminals]
    if not all(isinstance(end, str) and end for end in ends):
        faults.append(f"{kind} {element.name!r}: a terminal has no node name")
    elif ends[0] == ends[1]:
        faults.append(f"{kind} {element.name!r}: both terminals are on node {ends[0]!r}")
    bad = False
    for name, limit in LIMITS[type(element)].items():
        fault = None if limit == "flag" else _value_fault(getattr(element, name), limit)
        if fault:
            bad = True
            faults.append(f"{kind} {element.name!r}: {name} {fault}")
    if isinstance(element, PowerLoad) and not bad:
        if element.below not in ("off", "resistive"):
            faults.append(f"{kind} {element.name!r}: below is {element.below!r}; 'off' or 'resistive' is expected")
        try:
            wrong = bool(np.any(np.asarray(element.turn_off_v, float) > np.asarray(element.turn_on_v, float)))
        except ValueError:
            wrong = False  # unequal lane counts are reported once, for the whole circuit
        if wrong and element.below == "off":
            faults.append(f"{kind} {element.name!r}: turn_off_v is above turn_on_v")
        if element.below == "resistive":
            if not np.all(np.asarray(element.turn_off_v) > 0):
                faults.append(f"{kind} {element.name!r}: below='resistive' needs turn_off_v greater than 0")
            if np.any(np.asarray(element.soft_start_s) > 0):
                faults.append(f"{kind} {element.name!r}: soft_start_s is not defined with below='resistive'")
    return faults


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Circuit:
    """Elements joined at named nodes; voltages are counted from `reference`.

    Without a reference the minus node of the first battery is taken, else the first node. `lanes` is the number of
    variants, `nodes` all node names (the reference first). Raises CircuitError naming every fault at once.
    """

    elements: tuple[Element, ...]
    reference: str | None = None
    nodes: tuple[str, ...] = field(init=False)
    lanes: int = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "elements", tuple(self.elements))
        faults = self._faults()
        if faults:
            raise CircuitError("; ".join(faults))
        order: dict[str, None] = {}
        for element in self.elements:
            for terminal in element.terminals:
                order.setdefault(getattr(element, terminal))
        reference = self.reference
        if reference is None:
            batteries = [e.minus for e in self.elements if isinstance(e, Battery)]
            reference = batteries[0] if batteries else next(iter(order))
            object.__setattr__(self, "reference", reference)
        if reference not in order:
            raise CircuitError(f"reference {reference!r} is not a node; the nodes are {', '.join(order)}")
        object.__setattr__(self, "nodes", (reference, *(node for node in order if node != reference)))

    def _faults(self) -> list[str]:
        if not self.elements:
            return ["the circuit has no elements"]
        faults: list[str] = []
        seen: set[str] = set()
        counts: dict[int, str] = {}
        for element in self.elements:
            if not isinstance(element, ELEMENT_TYPES):
                faults.append(f"{element!r} is not a circuit element")
                continue
            if element.name in seen:
                faults.append(f"two elements are named {element.name!r}")
            seen.add(element.name)
            found = _element_faults(element)
            faults.extend(found)
            for name in LIMITS[type(element)] if not found else ():
                value = getattr(element, name)
                if type(value) is not float and np.ndim(value) and (size := np.asarray(value).size) > 1:
                    counts.setdefault(size, f"{element.name}.{name} has {size}")
        if len(counts) > 1:
            faults.append("the numbers of lanes differ: " + ", ".join(counts.values()))
        object.__setattr__(self, "lanes", max(counts, default=1))
        return faults

    def element(self, name: str) -> Element:
        """The element of that name; CircuitError when there is none."""
        for candidate in self.elements:
            if candidate.name == name:
                return candidate
        raise CircuitError(f"no element is named {name!r}; there are {', '.join(e.name for e in self.elements)}")
