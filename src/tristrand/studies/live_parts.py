"""Which terminals stay live when contactors open, a connector is parted or a disconnect pulled. Graph questions only.

Potentials follow from the packs: what conductors join has one potential, a pack lifts its plus above its minus, and
what only loads join takes the potentials of both their ends. Capacitors are asked for apart.
"""

from collections.abc import Iterable, Iterator
from functools import lru_cache
from math import inf, nan
from typing import TypeAlias

from tristrand.design.terminals import TERMINALS
from tristrand.physics.discharge import TOUCH_LIMIT_V, time_to_voltage_s
from tristrand.records import NamedTuple
from tristrand.studies.circuits import HvCircuit
from tristrand.studies.opening import Groups
from tristrand.studies.results import Held

Branch: TypeAlias = tuple[str, str, str]
Ids: TypeAlias = frozenset[str]
NO_IDS: Ids = frozenset()


class Capacitive(NamedTuple):
    """A device across the bus: its capacitance at the high end, and the resistance built in (inf: none)."""

    id: str
    plus: str
    minus: str
    farad: float
    bleed_ohm: float


class Net(NamedTuple):
    """The topology alone: branches as (id, terminal, terminal). Limits of precharge resistors do not make them safe."""

    packs: tuple[Branch, ...]
    wires: tuple[Branch, ...]
    contacts: tuple[Branch, ...]
    precharge: tuple[Branch, ...]
    discharge: tuple[Branch, ...]
    devices: tuple[Capacitive, ...]


@lru_cache(maxsize=64)
def net_of(circuit: HvCircuit) -> Net:
    """The topology of a circuit."""
    return Net(
        tuple((p.id, p.plus, p.minus) for p in circuit.packs),
        (*((w.id, w.a, w.b) for w in circuit.leads), *((s.id, s.a, s.b) for s in circuit.series)),
        tuple((c.id, c.a, c.b) for c in circuit.contacts),
        tuple((r.id, r.a, r.b) for r in circuit.resistors if r.role == "precharge"),
        tuple((r.id, r.a, r.b) for r in circuit.resistors if r.role == "discharge"),
        tuple(Capacitive(d.id, d.plus, d.minus, d.farad.high, d.bleed_ohm) for d in circuit.devices),
    )


class Joined(NamedTuple):
    """The topology with every group of conductors as one node: ``node`` leads from a terminal to it."""

    node: dict[str, str]
    packs: tuple[tuple[str, str], ...]
    contacts: tuple[Branch, ...]
    loads: tuple[tuple[str, str], ...]


@lru_cache(maxsize=256)
def joined(net: Net, parted: Ids) -> Joined:
    """What conductors and precharge resistors join at all times, some branches parted."""
    pairs = [(a, b) for name, a, b in net.wires if name not in parted]
    groups = Groups([*pairs, *((a, b) for _, a, b in net.precharge)])
    of = groups.of
    return Joined(
        {end: of(end) for _, a, b in (*net.wires, *net.contacts, *net.precharge) for end in (a, b)},
        tuple((of(plus), of(minus)) for _, plus, minus in net.packs),
        tuple((name, of(a), of(b)) for name, a, b in net.contacts if name not in parted),
        tuple((of(a), of(b)) for a, b in _loads_of(net)),
    )


def _loads_of(net: Net) -> Iterator[tuple[str, str]]:
    yield from ((a, b) for _, a, b in net.discharge)
    yield from ((d.plus, d.minus) for d in net.devices)


class State:
    """Potentials with some contactors open and some branches parted."""

    def __init__(self, net: Net, volts: tuple[float, ...], opened: Ids, parted: Ids) -> None:
        self.net, self.joined = net, joined(net, parted)
        self.groups = Groups((a, b) for name, a, b in self.joined.contacts if name not in opened)
        self._sources(volts)
        self._loads()
        self._ties()

    def of(self, terminal: str) -> str:
        """The node that stands for the group of a terminal."""
        return self.groups.of(self.joined.node.get(terminal, terminal))

    def _sources(self, volts: tuple[float, ...]) -> None:
        """Potential of every group that a pack's pole belongs to, over the lowest it is joined with by packs."""
        of = self.groups.of
        ends = [(of(plus), of(minus)) for plus, minus in self.joined.packs]
        near: dict[str, list[tuple[str, float]]] = {}
        for (plus, minus), rise in zip(ends, volts, strict=True):
            near.setdefault(minus, []).append((plus, rise))
            near.setdefault(plus, []).append((minus, -rise))
        self.at: dict[str, tuple[int, float]] = {}
        self.poles: dict[str, list[str]] = {}
        for start in near:
            if start in self.at:
                continue
            number = len(self.at)
            self.at[start] = (number, 0.0)
            todo = [start]
            for here in todo:
                for there, rise in near[here]:
                    if there not in self.at:
                        self.at[there] = (number, self.at[here][1] + rise)
                        todo.append(there)
        for (_, *poles), groups in zip(self.net.packs, ends, strict=True):
            for pole, group in zip(poles, groups, strict=True):
                self.poles.setdefault(group, []).append(pole)

    def _loads(self) -> None:
        """Groups that only loads join to a source: every source's group that they reach."""
        of, at = self.groups.of, self.at
        ends = [(of(a), of(b)) for a, b in self.joined.loads]
        self.between = [(a, b) for a, b in ends if a in at and b in at]
        self.floating = Groups((a, b) for a, b in ends if a not in at and b not in at)
        self.fed: dict[str, set[str]] = {}
        for a, b in ends:
            for one, other in ((a, b), (b, a)):
                if one not in at and other in at:
                    self.fed.setdefault(self.floating.of(one), set()).add(other)

    def _ties(self) -> None:
        """Sources that only a load joins share its potential: with nothing else between them no current flows."""
        for tied in (*self.between, *map(sorted, self.fed.values())):
            for other in tied[1:]:
                (first, potential), (second, own) = self.at[tied[0]], self.at[other]
                if first != second:
                    moved = {g: (first, v + potential - own) for g, (s, v) in self.at.items() if s == second}
                    self.at |= moved

    def reached(self, terminal: str) -> tuple[str, ...]:
        """Groups with a pack's pole that reach a terminal: its own, else those that loads join it to."""
        group = self.of(terminal)
        if group in self.at:
            return (group,)
        return tuple(sorted(self.fed.get(self.floating.of(group), ())))

    def poles_at(self, terminals: Iterable[str]) -> tuple[str, ...]:
        """Pack terminals that reach any of the terminals, in the order of the packs."""
        nodes = {self.of(t) for t in terminals}
        found = {pole for node in nodes for group in self.reached(node) for pole in self.poles.get(group, ())}
        return tuple(p for pack in self.net.packs for p in pack[1:] if p in found)

    def conducts(self, terminal: str) -> tuple[str, ...]:
        """Pack terminals that reach a terminal through conductors, contacts and precharge resistors alone."""
        return tuple(self.poles.get(self.of(terminal), ()))

    def voltage(self, terminals: Iterable[str]) -> float:
        """Largest voltage that the packs hold between any two of the terminals [V]."""
        low: dict[int, float] = {}
        high: dict[int, float] = {}
        for node in {self.of(terminal) for terminal in terminals}:
            for group in self.reached(node):
                source, potential = self.at[group]
                low[source] = min(low.get(source, potential), potential)
                high[source] = max(high.get(source, potential), potential)
        return max((high[source] - low[source] for source in high), default=0.0)


@lru_cache(maxsize=1024)
def state(net: Net, volts: tuple[float, ...], opened: Ids = NO_IDS, parted: Ids = NO_IDS) -> State:
    """The state, kept: many questions are about the same one."""
    return State(net, volts, opened, parted)


class Bared(NamedTuple):
    """The terminals that an openable bares, one of each group of conductors, and the branches that it parts."""

    terminals: tuple[str, ...]
    nodes: tuple[str, ...]
    parted: Ids


def bared(net: Net, kinds: dict[str, str], kind: str, opens: tuple[str, ...]) -> Bared:
    """A cover bares and parts nothing; a connector parts connections, or all that end at a part; a disconnect itself.

    A motor's cable bares what its inverter lies at: semiconductors join a phase to either pole, and part it from none.
    The halves of a connector have the potentials of the ends of the connections that it parts.
    """
    ends = {name: (a, b) for name, a, b in net.wires}
    terminals: dict[str, None] = {}
    parted: set[str] = set()
    for name in opens:
        own = tuple(f"{name}.{pole}" for pole in TERMINALS.get(kinds.get(name, ""), ()))
        terminals |= dict.fromkeys(own or ends.get(name, ()))
        if kind in ("cover", "motor_cable"):
            continue
        if kind == "connector" and own:
            at = [(lead, a, b) for lead, a, b in net.wires if a in own or b in own]
            parted |= {lead for lead, _, _ in at}
            terminals |= dict.fromkeys(end for _, a, b in at for end in (a, b))
        else:
            parted.add(name)
    node = joined(net, frozenset(parted)).node
    return Bared(tuple(terminals), tuple(dict.fromkeys(node.get(t, t) for t in terminals)), frozenset(parted))


def held(now: State, before: State, terminals: Iterable[str], bus_s: tuple[float, float]) -> tuple[Held, ...]:
    """Capacitors at the bared terminals that were charged before, island by island, with their time to 60 V [s].

    An island across which a discharge resistor lies falls with the bus: ``bus_s`` gives its time with the resistor and
    without. Any other falls through what is built into its own devices. An island counts where two bared groups touch
    charged capacitors.
    """
    of = now.of
    ends = {d: (of(d.plus), of(d.minus)) for d in now.net.devices}
    touched = {of(t) for t in terminals} & {end for pair in ends.values() for end in pair}
    if len(touched) < 2:
        return ()
    islands: dict[tuple[str, str], list[Capacitive]] = {}
    for device, pair in ends.items():
        if touched & set(pair) and not device.farad <= 0 and now.voltage((device.plus, device.minus)) <= TOUCH_LIMIT_V:
            islands.setdefault(pair, []).append(device)
    # A discharge contactor stands closed here; whether it does close is in the time of the bus.
    across = [{of(a), of(b)} for _, a, b in now.net.discharge]
    found = []
    for pair, devices in islands.items():
        start = max(before.voltage((d.plus, d.minus)) for d in devices)
        if start <= TOUCH_LIMIT_V:
            continue
        names = tuple(d.id for d in devices)
        if set(pair) in across:
            found.append(Held(names, start, bus_s[0], "the discharge resistor", bus_s[1]))
            continue
        siemens = sum(1.0 / d.bleed_ohm for d in devices)
        ohm, farad = 1.0 / siemens if siemens > 0 else inf, sum(d.farad for d in devices)
        # A capacitance that is not given is not none: the time is not known.
        seconds = nan if farad != farad else float(time_to_voltage_s(start, TOUCH_LIMIT_V, ohm, farad))
        found.append(Held(names, start, seconds, "what is built in" if siemens > 0 else "nothing", nan, ohm, farad))
    return tuple(found)
