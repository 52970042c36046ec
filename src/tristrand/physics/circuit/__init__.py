"""The circuit solver: operating points and transients of a high-voltage circuit as it is wired, in batches."""

from tristrand.physics.circuit.elements import (
    FLOOR_V,
    LEAK_S,
    Battery,
    Capacitor,
    Circuit,
    CircuitError,
    CurrentSource,
    Diode,
    Element,
    Inductor,
    PowerLoad,
    Resistor,
    Switch,
)
from tristrand.physics.circuit.operating import OperatingPoint, operating_point
from tristrand.physics.circuit.results import Transient
from tristrand.physics.circuit.signals import (
    At,
    Command,
    Crossing,
    Integral,
    Peak,
    Probe,
    Signal,
    When,
    amp,
    const,
    volt,
)
from tristrand.physics.circuit.transient import transient

__all__ = [
    "FLOOR_V",
    "LEAK_S",
    "At",
    "Battery",
    "Capacitor",
    "Circuit",
    "CircuitError",
    "Command",
    "Crossing",
    "CurrentSource",
    "Diode",
    "Element",
    "Inductor",
    "Integral",
    "OperatingPoint",
    "Peak",
    "PowerLoad",
    "Probe",
    "Resistor",
    "Signal",
    "Switch",
    "Transient",
    "When",
    "amp",
    "const",
    "operating_point",
    "transient",
    "volt",
]
