"""Who closes when during precharge, and between which terminals pack and bus are measured."""

import math
from collections.abc import Iterable, Mapping

from tristrand.physics.circuit import Signal, volt
from tristrand.records import NamedTuple
from tristrand.studies.circuits import Device, HvCircuit
from tristrand.studies.opening import Body, Groups, Path, conductors, fed, precharge_paths, stack
from tristrand.studies.results import Missing


class PrechargeInputs(NamedTuple):
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
    close_s: float = math.nan
    open_s: float = math.nan

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


class Plan(NamedTuple):
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
    also_bypassed: tuple[str, ...] = ()

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
                tuple(d._replace(with_bus=False) if d.id in direct else d for d in bus),
                tuple(p.bypassed.id for p in others),
            )
    return f"a device that {path.bypassed.id} connects to a pack"


def _joined(circuit: HvCircuit, closed: set[str]) -> Groups:
    """Terminals joined with these contactors closed."""
    return Groups([*conductors(circuit), *((c.a, c.b) for c in circuit.contacts if c.id in closed)])


def branch_contactors(circuit: HvCircuit, closed: tuple[str, ...]) -> tuple[str, ...]:
    """Main contactors that part only some of the devices: when they close onto a live bus is not looked at."""
    every = {c.id for c in circuit.role("main")}
    return tuple(name for name in closed if fed(circuit, _joined(circuit, every - {name})))


def contradicted(circuit: HvCircuit, plan: Plan, closes: Mapping[str, str]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Main contactors that are said to close too early for precharge, and those that are said to close too late.

    ``closes`` holds what the design says of them. Too early: with all that are said to close first, and those that
    precharge cannot do without, a device with a capacitance lies on a pack with no resistor between. Too late: with
    those that are said to close later left open precharge does not reach the bus.
    """
    first = {name for name, when in closes.items() if when == "before_precharge"}
    later = {name for name, when in closes.items() if when == "after_precharge"} & {*plan.closed}

    def reached(without: set[str]) -> bool:
        return plan.device.id in _powered(circuit, {*plan.closed, plan.path.bypassed.id} - without)

    needed = {name for name in plan.closed if not reached({name})}
    late = () if reached(later) else tuple(n for n in plan.closed if n in later and (n in needed or not later & needed))
    base = (first | needed - later) & {*plan.closed}
    waiting = [n for n in (plan.path.bypassed.id, *plan.also_bypassed, *plan.held_open) if n in first]

    def straight(more: Iterable[str]) -> bool:
        return bool(_powered(circuit, {*base, *more}) - _powered(circuit, set()))

    alone = tuple(dict.fromkeys(n for n in waiting if straight([n])))
    early = alone or (tuple(dict.fromkeys(waiting)) if straight(waiting) else ())
    return early, late


def _powered(circuit: HvCircuit, closed: set[str]) -> set[str]:
    """Devices that may hold a charge and lie across some packs in series, with these main contactors closed."""
    wires = _joined(circuit, closed)
    ends = {p.id: (wires.of(p.plus), wires.of(p.minus)) for p in circuit.packs}

    def leads(top: str, bottom: str, seen: tuple[str, ...] = ()) -> bool:
        return any(
            minus == bottom or leads(minus, bottom, (*seen, name))
            for name, (plus, minus) in ends.items()
            if name not in seen and plus == top
        )

    return {d.id for d in circuit.devices if d.farad.high != 0 and leads(wires.of(d.plus), wires.of(d.minus))}
