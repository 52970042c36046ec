"""Who closes when during precharge, and between which terminals pack and bus are measured."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from tristrand.physics.circuit import Battery, Resistor, Signal, Switch, When, const, volt
from tristrand.studies.circuits import Device, HvCircuit
from tristrand.studies.opening import Body, Groups, Path, conductors, fed, precharge_paths, stack
from tristrand.studies.results import Missing


@dataclass(frozen=True, slots=True)
class PrechargeInputs:
    """The circuit, the supervisor's settings (nan or 0 where not given) and the resistors' thermal data."""

    circuit: HvCircuit
    bodies: tuple[Body, ...]
    target: float
    timeout_s: float
    earliest_s: float
    pack_sensor: float
    bus_sensor: float
    attempts: int
    pause_s: float
    missing: tuple[Missing, ...]
    rise_after_s: float = math.nan
    rise_share: float = math.nan

    @property
    def sensed(self) -> bool:
        """Whether both sensors' tolerances are given."""
        return not (math.isnan(self.pack_sensor) or math.isnan(self.bus_sensor))

    @property
    def late(self) -> float:
        """Largest true share at which the supervisor first sees the target; without tolerances the target."""
        tp, tb = (0.0 if math.isnan(t) else t for t in (self.pack_sensor, self.bus_sensor))
        return self.target * (1 + tp) / (1 - tb)

    @property
    def rise_late(self) -> float:
        """Largest true share at which the supervisor first sees the share of its early look."""
        return self.rise_share * self.late / self.target

    @property
    def early(self) -> float:
        """Smallest true share at which it may see the target."""
        tp, tb = (0.0 if math.isnan(t) else t for t in (self.pack_sensor, self.bus_sensor))
        return self.target * (1 - tp) / (1 + tb)


def watt_of(device: Device) -> float:
    """What a device draws by itself as the bus rises; 0 for a plain resistance: no constant power."""
    return device.power_in("precharge") if device.with_bus and math.isinf(device.fixed_ohm) else 0.0


@dataclass(frozen=True, slots=True)
class Plan:
    """Who closes when, and between which terminals pack and bus are measured."""

    path: Path
    others: tuple[str, ...]
    closed: tuple[str, ...]
    held_open: tuple[str, ...]
    fed_directly: tuple[str, ...]
    device: Device
    pack: Signal
    chain: tuple[str, ...]
    ends: tuple[str, str]
    devices: tuple[Device, ...]

    @property
    def bus(self) -> Signal:
        """Voltage of the bus at the largest capacitance."""
        return volt(self.device.plus, self.device.minus)


def plan_of(circuit: HvCircuit) -> Plan | str:
    """The sequence, or in words what the circuit lacks for one.

    All main contactors close before the precharge contactor but for those that a precharge path bypasses and
    those that would put a device straight onto a pack (a second pack waits until the bus is up).
    """
    paths = precharge_paths(circuit)
    if not paths:
        return "a contactor of role precharge that bypasses a main contactor"
    path, others = paths[0], paths[1:]
    if not path.resistors:
        return f"a resistor of role precharge in series with {path.contactors[0]}"
    direct = tuple(d.id for d in fed(circuit, Groups(conductors(circuit))))
    closed: list[str] = []
    held: list[str] = []
    for main in circuit.role("main"):
        if main.id not in {p.bypassed.id for p in paths}:
            straight = {d.id for d in fed(circuit, _joined(circuit, {*closed, main.id}))} - set(direct)
            (held if straight else closed).append(main.id)
    live = _joined(circuit, {*closed, path.bypassed.id})
    bus = fed(circuit, live)
    behind = [d for d in bus if d.id not in direct]
    for device in sorted(behind, key=lambda d: -d.farad.value if d.farad.value > 0 else 0.0):
        top, bottom, chain = stack(circuit, live, device)
        if chain:
            return Plan(
                path,
                tuple(p.contactors[0] for p in others),
                tuple(closed),
                tuple(held),
                direct,
                device,
                volt(top, bottom),
                chain,
                (top, bottom),
                tuple(replace(d, with_bus=False) if d.id in direct else d for d in bus),
            )
    return f"a device that {path.bypassed.id} connects to a pack"


def _joined(circuit: HvCircuit, closed: set[str]) -> Groups:
    """Terminals joined with these contactors closed."""
    return Groups([*conductors(circuit), *((c.a, c.b) for c in circuit.contacts if c.id in closed)])


HAIR_V = 1e-3
"""How far before a threshold a stall is noted, so that it is noted before the load acts on it."""
GATE_V = 1e4


@dataclass(frozen=True, slots=True)
class Latch:
    """A note taken inside the solver: which lanes have a load that started and is about to stop again.

    Such a load would go on stopping and starting for hundreds of cycles. The note is two ideal relays for each
    load, hung on one node of the circuit so that they carry no current of it: the first picks up as the load
    starts, the second as the bus then falls to the load's lower threshold. ``stalled`` is 1 V from then on, else 0 V.
    """

    elements: tuple[Any, ...]
    commands: tuple[When, ...]
    stalled: Signal


def latch(loads: Sequence[Device], node: str) -> Latch:
    """The note for these loads; nothing at all where there are none."""
    if not loads:
        return Latch((), (), const(0.0))
    volts = 1 / (1 + 2 * HAIR_V)
    flag = "~stalled"
    items: list[Any] = [Battery("~", "~", node, 1.0, HAIR_V), Resistor(f"{flag}:R", flag, node, 1e6)]
    commands = []
    for d in loads:
        on, seen = f"~{d.id}", volt(d.plus, d.minus)
        items += [
            Battery(f"{on}:E", f"{on}:E", node, 1.0, HAIR_V), Switch(f"{on}:on", f"{on}:E", on, HAIR_V),
            Resistor(f"{on}:R", on, node, 1.0), Switch(f"{on}:off", "~", flag, HAIR_V),
        ]  # fmt: skip
        # With equal thresholds the load has started for good only once the bus is past them.
        start_v = d.turn_on_v - HAIR_V if d.turn_on_v - d.turn_off_v > 10 * HAIR_V else d.turn_on_v + 100 * HAIR_V
        falls = seen + GATE_V * (const(1.0) - (1 / volts) * volt(on, node))
        commands += [
            When(seen, start_v, True, f"{on}:on", True), When(falls, d.turn_off_v + HAIR_V, False, f"{on}:off", True),
        ]  # fmt: skip
    return Latch(tuple(items), tuple(commands), volt(flag, node))
