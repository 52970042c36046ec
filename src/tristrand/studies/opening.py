"""What precharge and discharge share: ways through contactors, lean netlists, resistors as heat stores."""

import math
from collections.abc import Collection, Iterable, Sequence
from typing import Any

from tristrand.design import Datum, Design
from tristrand.physics.circuit import Inductor, Resistor
from tristrand.records import NamedTuple
from tristrand.studies.circuits import Contact, Device, HvCircuit, ambient_of
from tristrand.studies.results import Corner, Missing, PackFigures

LATER_S = 0.1
"""How much later the other main contactors open in the orders where one goes first."""

SPREAD = Missing(
    "high_voltage/parts",
    "resistances, inductances and capacitances less far apart: over these the solver cannot keep its accuracy",
)


class Groups:
    """Terminals that are joined by conductors; grows by ``join``."""

    def __init__(self, pairs: Iterable[tuple[str, str]] = ()) -> None:
        self._above: dict[str, str] = {}
        for a, b in pairs:
            self.join(a, b)

    def of(self, terminal: str) -> str:
        """The terminal that stands for the group."""
        above = self._above
        while (up := above.get(terminal, terminal)) != terminal:
            above[terminal] = above.get(up, up)
            terminal = up
        return terminal

    def join(self, a: str, b: str) -> None:
        """Note that a conductor joins two terminals."""
        self._above[self.of(a)] = self.of(b)

    def same(self, a: str, b: str) -> bool:
        """Whether the two are joined."""
        return self.of(a) == self.of(b)


def conductors(circuit: HvCircuit) -> list[tuple[str, str]]:
    """Ends of everything that conducts at all times: connections, fuses, service disconnects."""
    return [(lead.a, lead.b) for lead in circuit.leads] + [(item.a, item.b) for item in circuit.series]


class Path(NamedTuple):
    """A way round a main contactor: precharge contactors and resistors in series with each other."""

    bypassed: Contact
    contactors: tuple[str, ...]
    resistors: tuple[str, ...]


def precharge_paths(circuit: HvCircuit) -> tuple[Path, ...]:
    """Main contactors whose ends precharge contactors and resistors join, all other contactors taken out."""
    wires = conductors(circuit)
    parts = [(c.id, c.a, c.b) for c in circuit.role("precharge")]
    parts += [(r.id, r.a, r.b) for r in circuit.resistors if r.role == "precharge"]
    found = []
    for main in circuit.role("main"):
        if Groups(wires).same(main.a, main.b):
            continue
        whole = Groups([*wires, *((a, b) for _, a, b in parts)])
        if not whole.same(main.a, main.b):
            continue
        on = _between(wires, parts, main)
        contactors = tuple(c.id for c in circuit.role("precharge") if c.id in on)
        resistors = tuple(r.id for r in circuit.resistors if r.id in on)
        if contactors:
            found.append(Path(main, contactors, resistors))
    return tuple(found)


def _between(wires: list[tuple[str, str]], parts: list[tuple[str, str, str]], main: Contact) -> set[str]:
    """Parts on a way from end to end of the contactor: without dead ends, parallel parts kept."""
    groups = Groups(wires)
    edges = {name: (groups.of(a), groups.of(b)) for name, a, b in parts}
    ends = {groups.of(main.a), groups.of(main.b)}
    while True:
        degree: dict[str, int] = {}
        for pair in edges.values():
            for group in pair:
                degree[group] = degree.get(group, 0) + 1
        dead = [name for name, pair in edges.items() if any(degree[g] == 1 and g not in ends for g in pair)]
        loose = [name for name, (a, b) in edges.items() if a == b]
        if not dead and not loose:
            break
        for name in {*dead, *loose}:
            del edges[name]
    live = Groups(edges.values())
    return {name for name, (a, _) in edges.items() if live.same(a, groups.of(main.a))}


def stack(circuit: HvCircuit, groups: Groups, device: Device) -> tuple[str, str, tuple[str, ...]]:
    """Top and bottom terminal of the packs in series that feed a device, and the packs' ids, if any."""
    at, bottom, top = groups.of(device.plus), groups.of(device.minus), ""
    chain: list[str] = []
    while len(chain) <= len(circuit.packs):
        pack = next((p for p in circuit.packs if groups.of(p.plus) == at and p.id not in chain), None)
        if pack is None:
            break
        top = top or pack.plus
        chain.append(pack.id)
        at = groups.of(pack.minus)
        if at == bottom:
            return top, pack.minus, tuple(chain)
    return "", "", ()


def fed(circuit: HvCircuit, groups: Groups) -> tuple[Device, ...]:
    """Devices with both poles on a pack, or on packs in series. The others carry nothing and are left out."""
    return tuple(d for d in circuit.devices if stack(circuit, groups, d)[2])


def lean(elements: Iterable[Any], nodes: Collection[str], names: Collection[str]) -> tuple[Any, ...]:
    """The same circuit with fewer nodes: dead ends dropped, resistances and inductances in series added up.

    ``nodes`` and ``names`` stay; an element that takes up a named one bears its name and direction.
    Currents and voltages that remain are the same.
    """
    kept = {e.name: e for e in elements}
    at: dict[str, set[str]] = {}
    for e in kept.values():
        for terminal in e.terminals:
            at.setdefault(getattr(e, terminal), set()).add(e.name)
    waiting = [node for node in at if node not in nodes]
    while waiting:
        node = waiting.pop()
        touching = [kept[name] for name in at.get(node, ())]
        if not all(isinstance(e, Resistor | Inductor) for e in touching):
            continue
        if len(touching) == 1 and touching[0].name not in names:
            gone = touching[0]
            far = gone.b if gone.a == node else gone.a
            _forget(kept, at, gone)
            if far not in nodes:
                waiting.append(far)
        elif len(touching) == 2 and not all(e.name in names for e in touching):
            one, two = touching if touching[1].name not in names else touching[::-1]
            joined = _in_series(one, two, node)
            if joined.a != joined.b:
                _forget(kept, at, one)
                _forget(kept, at, two)
                kept[joined.name] = joined
                for end in (joined.a, joined.b):
                    at[end].add(joined.name)
    return tuple(kept.values())


def _forget(kept: dict[str, Any], at: dict[str, set[str]], gone: Any) -> None:
    del kept[gone.name]
    at[gone.a].discard(gone.name)
    at[gone.b].discard(gone.name)


def _in_series(one: Any, two: Any, node: str) -> Any:
    """Both as one element with the name and direction of the first."""
    far = two.b if two.a == node else two.a
    a, b = (one.a, far) if one.b == node else (far, one.b)
    ohm = one.resistance_ohm + two.resistance_ohm
    henry = sum(e.inductance_h for e in (one, two) if isinstance(e, Inductor))
    if isinstance(one, Inductor) or isinstance(two, Inductor):
        return Inductor(one.name, a, b, henry, ohm)
    return Resistor(one.name, a, b, ohm)


class Order(NamedTuple):
    """When each main contactor and service disconnect is told to open [s]; those not named stay closed."""

    name: str
    opens: dict[str, float]


def orders_of(circuit: HvCircuit) -> tuple[Order, ...]:
    """Every order in which the circuit may come to be opened."""
    mains = [c.id for c in circuit.role("main")]
    orders = [Order("all main contactors at once", dict.fromkeys(mains, 0.0))]
    if len(mains) > 1:
        orders += [Order(f"{k} first", {m: 0.0 if m == k else LATER_S for m in mains}) for k in mains]
    for item in circuit.series:
        if item.kind == "service_disconnect":
            orders.append(Order(f"{item.id} pulled", {item.id: 0.0, **dict.fromkeys(mains, 0.0)}))
    orders += [Order(f"{k} welded", {m: 0.0 for m in mains if m != k}) for k in mains]
    return tuple(orders)


def fullest(pack: PackFigures) -> Corner:
    """The corner of highest open-circuit voltage; of equal ones that of lowest resistance."""
    return max(pack.corners, key=lambda c: (c.open_circuit_v, -c.resistance_ohm))


def emptiest(pack: PackFigures) -> Corner:
    """The corner of lowest open-circuit voltage; of equal ones that of highest resistance."""
    return min(pack.corners, key=lambda c: (c.open_circuit_v, -c.resistance_ohm))


class Body(NamedTuple):
    """A resistor as one heat store; nan where its sheet is silent."""

    id: str
    pulse_energy_j: float
    heat_j_per_k: float
    thermal_k_per_w: float
    limit_c: float
    ambient_c: float
    missing: tuple[Missing, ...]


_BODY = (
    ("pulse_energy", "energy of a single pulse"), ("heat_capacity", "heat capacity"),
    ("thermal_resistance", "thermal resistance to ambient"), ("temperature_limit", "temperature limit"),
)  # fmt: skip


def bodies(design: Design, role: str) -> tuple[Body, ...]:
    """Thermal data of the resistors of a role, gaps listed with each: they keep only its temperature open."""
    out = []
    for part_id, part in design.parts_of("resistor", role=role).items():
        sheet = design.sheet_of(part_id)
        data: list[Datum | None] = [getattr(sheet, field) for field, _ in _BODY]
        missing = [
            Missing(f"parts/{part.sheet}/{field}", f"{what} of {part_id}")
            for (field, what), datum in zip(_BODY, data, strict=True)
            if datum is None
        ]
        ambient = ambient_of(design, part.ambient)
        if math.isnan(ambient):
            missing.append(Missing("vehicle/ambient", f"air temperature round {part_id}"))
        # The end of each tolerance that makes the resistor hotter or weaker.
        ends = ("low", "low", "high", "low")
        numbers = [getattr(d, end) if d is not None else math.nan for d, end in zip(data, ends, strict=True)]
        out.append(Body(part_id, numbers[0], numbers[1], numbers[2], numbers[3], ambient, tuple(missing)))
    return tuple(out)


def usable(contact: Contact) -> Contact:
    """The contactor with a gap in its times taken as zero, for questions that do not turn on them."""
    close_s = 0.0 if math.isnan(contact.close_s) else contact.close_s
    open_s = 0.0 if math.isnan(contact.open_s) else contact.open_s
    return contact._replace(close_s=close_s, open_s=open_s)


def needed(missing: Iterable[Missing], *without: str) -> tuple[Missing, ...]:
    """Gaps but for those in the named fields."""
    return tuple(m for m in missing if m.pointer.rpartition("/")[2] not in without)


def longest(seconds: Sequence[float]) -> int:
    """Index of the longest time, never (nan) above all; of times alike to a millionth the first."""
    known = [math.inf if math.isnan(s) else s for s in seconds]
    most = max(known)
    return next(k for k, s in enumerate(known) if s >= most * (1 - 1e-6))
