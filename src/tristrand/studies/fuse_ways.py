"""Where each fuse lies: the contactors that take its load off, and the devices that it alone connects to the packs.

A supply at an inlet for direct current loads a fuse as a device does, and behind it the packs feed what breaks there.
"""

from collections.abc import Mapping
from functools import lru_cache
from types import MappingProxyType

from tristrand.records import NamedTuple
from tristrand.studies.circuits import HvCircuit
from tristrand.studies.opening import Groups
from tristrand.studies.topology import CONDUCTING, Edge, edges, joined, on_loops

DEVICES = frozenset({"inverter", "dcdc", "heater", "charger"})
INLET = "inlet"
OPENING = ("main", "charge")


class Way(NamedTuple):
    """How a fuse lies between packs, devices and inlets.

    ``in_series``: contactors that take off its load, none where some load cannot be taken off; ``behind``: devices fed
    through it alone; ``shared``: devices that draw through it and another way, as through the strings of packs side by
    side. ``openers``: for its devices (named "") and for each inlet whose supply feeds through it the contactors
    without which none of that flows.
    """

    in_series: tuple[str, ...]
    behind: tuple[str, ...]
    shared: tuple[str, ...]
    openers: tuple[tuple[str, tuple[str, ...]], ...] = ()


def fuse_ways(circuit: HvCircuit) -> Mapping[str, Way]:
    """For every fuse through which some device draws from a pack, or a supply at an inlet feeds one.

    Contactors of precharge and discharge are open. Inlets are looked at where the circuit holds them (`with_inlets`).
    """
    resting = frozenset(c.id for c in circuit.contacts if c.role not in OPENING)
    return _ways(edges(circuit), resting, frozenset(c.id for c in circuit.role("main")))


@lru_cache(maxsize=64)
def _ways(every: tuple[Edge, ...], resting: frozenset[str], mains: frozenset[str]) -> Mapping[str, Way]:
    paths = tuple(e for e in every if (e.kind in CONDUCTING or e.kind == "pack") and e.id not in resting)
    kinds = {e.id: e.kind for e in paths}
    # Of every device alone what lies on a way from its plus through the packs to its minus.
    loops: dict[str, tuple[Edge, tuple[Edge, ...]]] = {}
    for device in (e for e in every if e.kind in DEVICES or e.kind == INLET):
        on = on_loops(paths, device.a, device.b)
        if any(kinds[name] == "pack" for name in on):
            loops[device.id] = (device, tuple(e for e in paths if e.id in on))
    lies = {name: {e.id for e in loop} for name, (_, loop) in loops.items()}
    found = {}
    for fuse in (e.id for e in paths if e.kind == "fuse"):
        through = [name for name, ids in lies.items() if fuse in ids]
        if not through:
            continue
        drawn = [name for name in through if loops[name][0].kind != INLET]
        behind = tuple(name for name in drawn if not _without(*loops[name], fuse))
        groups = [("", drawn)] if drawn else []
        groups += [(name, [name]) for name in through if name not in drawn]
        openers = []
        for about, names in groups:
            opens = tuple(
                e.id
                for e in paths
                if e.kind == "contactor"
                and all(e.id in lies[name] and fuse not in _without(*loops[name], e.id) for name in names)
            )
            openers.append((about, opens if about == "" else _off_the_packs(paths, fuse, opens, mains)))
        every_one = {name for _, opens in openers for name in opens} if all(opens for _, opens in openers) else set()
        series = tuple(e.id for e in paths if e.id in every_one)
        found[fuse] = Way(series, behind, tuple(name for name in drawn if name not in behind), tuple(openers))
    return MappingProxyType(found)


def _off_the_packs(
    paths: tuple[Edge, ...], fuse: str, opens: tuple[str, ...], mains: frozenset[str]
) -> tuple[str, ...]:
    """Of the contactors in a supply's way those that help where the packs feed a fault between fuse and inlet too.

    A contactor of the inlet beyond the fuse parts the supply, but leaves the fuse, and the cable behind it, on the
    pack. Where there is no better one, as at an inlet ahead of the main contactors, those of the inlet count.
    """
    conducting = tuple(e for e in paths if e.kind != "pack")
    poles = [end for e in paths if e.kind == "pack" for end in (e.a, e.b)]
    at = next(e.a for e in paths if e.id == fuse)

    def parts(name: str) -> bool:
        left = tuple(e for e in conducting if e.id != name)
        return name in mains or not any(joined(left, at, pole) for pole in poles)

    return tuple(name for name in opens if parts(name)) or opens


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
def _without(device: Edge, loop: tuple[Edge, ...], gone: str) -> frozenset[str]:
    """What still lies on a way of a device once an edge of it is gone; nothing if that parts it from the packs."""
    if len({end for e in loop for end in (e.a, e.b)}) == len(loop) + 1:
        # One plain path: whatever is taken out breaks it.
        return frozenset()
    return frozenset(on_loops(tuple(e for e in loop if e.id != gone), device.a, device.b))
