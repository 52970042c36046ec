"""Results of the studies on faults and protection. Every number carries its unit in the field's name."""

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from tristrand.studies.results.common import NONE, Missing, Series, Working


class FaultCurrent(NamedTuple):
    """One fault with the packs at one end of what they can drive.

    ``rise_s`` is the time to 63 % of the final current; ``joule_integral_a2s`` that of the first second if nothing
    opens. ``through`` holds the final current of every part and connection that carries some of it, in its own
    direction (a pack's from minus to plus).
    """

    current_a: float
    rise_s: float
    joule_integral_a2s: float
    through: tuple[tuple[str, float], ...]


class FromCapacitor(NamedTuple):
    """What the capacitance of one device alone drives into a fault, fully charged; its I2t ends with its energy."""

    device: str
    peak_a: float
    peak_time_s: float
    joule_integral_a2s: float


class Fault(NamedTuple):
    """A dead short between two terminals: of a terminal to the other pole at the pack, or ``across`` a device."""

    name: str
    start: str
    end: str
    across: str
    strongest: FaultCurrent
    weakest: FaultCurrent
    capacitors: tuple[FromCapacitor, ...]


class FaultsResult(NamedTuple):
    """Every fault by name. ``inductive`` says whether the design gives any inductance; without it currents jump."""

    workings: Sequence[Working] = ()
    missing: tuple[Missing, ...] = ()
    series: Sequence[Series] = ()
    faults: Mapping[str, Fault] = NONE
    inductive: bool = False
