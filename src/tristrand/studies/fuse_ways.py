"""Where each fuse lies: the contactors that take its load off, and the devices that it alone connects to the packs.

A supply at an inlet for direct current loads a fuse as a device does, and behind it the packs feed what breaks there.
"""

from collections.abc import Iterable, Mapping
from functools import lru_cache
from itertools import combinations
from types import MappingProxyType

from tristrand.records import NamedTuple
from tristrand.studies.circuits import HvCircuit
from tristrand.studies.opening import Groups
from tristrand.studies.topology import CONDUCTING, Edge, edges, joined, on_loops

DEVICES = frozenset({"inverter", "dcdc", "heater", "charger"})
INLET = "inlet"
OPENING = ("main", "charge")
MOST_NAMED = 8
"""Of more contactors named for one fuse all are taken to help where all together part it."""


class Way(NamedTuple):
    """How a fuse lies between packs, devices and inlets.

    ``in_series``: contactors each of which takes off some of its load, none where some load no single one takes off;
    ``behind``: devices fed through it alone; ``shared``: devices that draw through it and another way, as through the
    strings of packs side by side. The rest for its devices (named "") and for each inlet whose supply feeds through it.
    ``openers``: the contactors without each of which none of that flows, nor what the packs feed into a fault there;
    ``together``: those that may help, none where all of them at once do not part it; ``beyond``: those of an inlet
    that part the supply alone, where nothing parts the packs from a fault between the fuse and them.
    """

    in_series: tuple[str, ...]
    behind: tuple[str, ...]
    shared: tuple[str, ...]
    openers: tuple[tuple[str, tuple[str, ...]], ...] = ()
    together: tuple[tuple[str, tuple[str, ...]], ...] = ()
    beyond: tuple[tuple[str, tuple[str, ...]], ...] = ()


class _Load(NamedTuple):
    """What one fuse carries for its devices ("") or for one inlet: their loops, and the contactors that count there."""

    about: str
    loops: tuple[tuple[Edge, tuple[Edge, ...]], ...]
    usable: tuple[str, ...]
    beyond: tuple[str, ...] = ()

    def parted(self, fuse: str, names: Iterable[str]) -> bool:
        """Whether with these contactors open none of it flows through the fuse."""
        gone = frozenset(names) & {*self.usable}
        return bool(gone) and not any(fuse in _without(*loop, gone) for loop in self.loops)


def fuse_ways(circuit: HvCircuit) -> Mapping[str, Way]:
    """For every fuse through which some device draws from a pack, or a supply at an inlet feeds one.

    Contactors of precharge and discharge are open. Inlets are looked at where the circuit holds them (`with_inlets`).
    """
    return _ways(*_graph(circuit))


def acting(circuit: HvCircuit, fuse: str, names: tuple[str, ...]) -> tuple[frozenset[str], tuple[str, ...]]:
    """Of contactors named to open for a fuse those that help, and the loads ("" or inlets) that they leave on it.

    One helps where it belongs to a smallest set of those named that parts some load.
    """
    return _acting(*_graph(circuit), fuse, names)


def _graph(circuit: HvCircuit) -> tuple[tuple[Edge, ...], frozenset[str], frozenset[str]]:
    resting = frozenset(c.id for c in circuit.contacts if c.role not in OPENING)
    return edges(circuit), resting, frozenset(c.id for c in circuit.role("main"))


@lru_cache(maxsize=64)
def _ways(every: tuple[Edge, ...], resting: frozenset[str], mains: frozenset[str]) -> Mapping[str, Way]:
    found = {}
    for fuse, loads in _loads(every, resting, mains).items():
        drawn = next((load.loops for load in loads if not load.about), ())
        behind = tuple(device.id for device, loop in drawn if not _without(device, loop, frozenset({fuse})))
        openers = tuple((load.about, tuple(k for k in load.usable if load.parted(fuse, (k,)))) for load in loads)
        together = tuple((load.about, load.usable if load.parted(fuse, load.usable) else ()) for load in loads)
        every_one = {name for _, opens in openers for name in opens} if all(opens for _, opens in openers) else set()
        found[fuse] = Way(
            tuple(e.id for e in every if e.id in every_one),
            behind,
            tuple(device.id for device, _ in drawn if device.id not in behind),
            openers,
            together,
            tuple((load.about, load.beyond) for load in loads if load.beyond),
        )
    return MappingProxyType(found)


@lru_cache(maxsize=64)
def _loads(every: tuple[Edge, ...], resting: frozenset[str], mains: frozenset[str]) -> Mapping[str, tuple[_Load, ...]]:
    paths = tuple(e for e in every if (e.kind in CONDUCTING or e.kind == "pack") and e.id not in resting)
    kinds = {e.id: e.kind for e in paths}
    # Of every device alone what lies on a way from its plus through the packs to its minus.
    loops: dict[str, tuple[Edge, tuple[Edge, ...]]] = {}
    for device in (e for e in every if e.kind in DEVICES or e.kind == INLET):
        on = on_loops(paths, device.a, device.b)
        if any(kinds[name] == "pack" for name in on):
            loops[device.id] = (device, tuple(e for e in paths if e.id in on))
    found = {}
    for fuse in (e.id for e in paths if e.kind == "fuse"):
        through = [(device, loop) for device, loop in loops.values() if any(e.id == fuse for e in loop)]
        drawn = tuple(x for x in through if x[0].kind != INLET)
        loads = [_Load("", drawn, _on_all(paths, drawn))] if drawn else []
        for pair in (x for x in through if x[0].kind == INLET):
            loads.append(
                _of_inlet(paths, fuse, _Load(pair[0].id, (pair,), _on_all(paths, (pair,))), mains, bool(drawn))
            )
        if loads:
            found[fuse] = tuple(loads)
    return MappingProxyType(found)


def _on_all(paths: tuple[Edge, ...], loops: tuple[tuple[Edge, tuple[Edge, ...]], ...]) -> tuple[str, ...]:
    """The contactors that lie on the loops of all of these devices."""
    return tuple(e.id for e in paths if e.kind == "contactor" and all(e in loop for _, loop in loops))


def _of_inlet(paths: tuple[Edge, ...], fuse: str, load: _Load, mains: frozenset[str], shared: bool) -> _Load:
    """The load with those of its contactors that help where the packs feed a fault between fuse and inlet too.

    A contactor of the inlet beyond the fuse parts the supply, but leaves the fuse, and the cable behind it, on the
    pack. Where nothing helps, as at an inlet ahead of the main contactors, those of the inlet still count for a fuse
    that feeds devices too: as with its main contactors, what lies between it and them is left to nobody.
    """
    conducting = tuple(e for e in paths if e.kind != "pack")
    poles = [end for e in paths if e.kind == "pack" for end in (e.a, e.b)]
    at = next(e.a for e in paths if e.id == fuse)

    def helps(name: str) -> bool:
        left = tuple(e for e in conducting if e.id != name)
        return name in mains or not any(joined(left, at, pole) for pole in poles)

    better = load._replace(usable=tuple(name for name in load.usable if helps(name)))
    if better.parted(fuse, better.usable) or not load.parted(fuse, load.usable):
        return better
    beyond = tuple(name for name in load.usable if load.parted(fuse, (name,)))
    return load._replace(usable=beyond if shared else (), beyond=beyond)


@lru_cache(maxsize=256)
def _acting(
    every: tuple[Edge, ...], resting: frozenset[str], mains: frozenset[str], fuse: str, names: tuple[str, ...]
) -> tuple[frozenset[str], tuple[str, ...]]:
    loads = _loads(every, resting, mains).get(fuse, ())
    helping: set[str] = set()
    for load in loads:
        some = tuple(name for name in names if name in load.usable)
        least: list[frozenset[str]] = []
        if len(some) > MOST_NAMED and load.parted(fuse, some):
            helping |= {*some}
            continue
        for size in range(1, len(some) + 1):
            sets = [frozenset(few) for few in combinations(some, size)]
            least += [few for few in sets if not any(x <= few for x in least) and load.parted(fuse, few)]
        helping.update(*least)
    return frozenset(helping), tuple(load.about for load in loads if not load.parted(fuse, names))


@lru_cache(maxsize=64)
def past_fuses(
    circuit: HvCircuit, faults: tuple[tuple[str, str, str, str], ...]
) -> tuple[tuple[str, frozenset[str]], ...]:
    """Faults (name, start, end, device across) that a pack feeds past every fuse, all contactors closed.

    With each the parts on that way for faults across a device, none for others. Resistors carry nothing here.
    """
    some = tuple(e for e in edges(circuit) if e.kind in CONDUCTING and e.kind != "fuse")
    packs = tuple(e for e in edges(circuit) if e.kind == "pack")
    wires = Groups((e.a, e.b) for e in some)
    fed = Groups((wires.of(e.a), wires.of(e.b)) for e in packs)
    out = []
    for name, start, end, across in faults:
        one, two = wires.of(start), wires.of(end)
        if one != two and fed.same(one, two):
            on = on_loops((*packs, *some), start, end) if across else set()
            out.append((name, frozenset(on)))
    return tuple(out)


@lru_cache(maxsize=1024)
def _without(device: Edge, loop: tuple[Edge, ...], gone: frozenset[str]) -> frozenset[str]:
    """What still lies on a way of a device once edges of it are gone; nothing if that parts it from the packs."""
    if not gone.isdisjoint(e.id for e in loop) and len({end for e in loop for end in (e.a, e.b)}) == len(loop) + 1:
        # One plain path: whatever is taken out breaks it.
        return frozenset()
    return frozenset(on_loops(tuple(e for e in loop if e.id not in gone), device.a, device.b))
