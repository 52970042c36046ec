"""Loops as plain data, what opens when an element opens, and the single failures that hide it."""

from collections.abc import Iterator

from tristrand.physics.loops import LoopElement
from tristrand.records import NamedTuple
from tristrand.studies.live_parts import NO_IDS, Net
from tristrand.studies.results import Missing


class WireData(NamedTuple):
    """A loop's wire: its resistance as given, or length [m], size [mm2] and temperature [degC]; nan where not given."""

    ohm: float
    length_m: float
    size_mm2: float
    hot_c: float


class LoopData(NamedTuple):
    """One loop as the design gives it, each number at the end of its tolerance that leaves least; nan for a gap.

    ``coils_ohm``: the coils that it feeds itself side by side, by their sheets; nan where it feeds none, or not known.
    """

    id: str
    kind: str
    by: str
    interrupts: str
    supply_v: float
    load_ohm: float
    coils_ohm: float
    current_a: float
    needed_v: float
    wire: WireData
    opens: tuple[str, ...]
    elements: tuple[LoopElement, ...]
    kinds: tuple[str, ...]
    watches: tuple[tuple[str, ...], ...]
    contact_of: tuple[str, ...]
    missing: tuple[Missing, ...]


class OpenData(NamedTuple):
    """One thing that can be opened."""

    id: str
    kind: str
    opens: tuple[str, ...]


class PointData(NamedTuple):
    """A pair of measuring points; nan for a gap."""

    id: str
    plus: str
    minus: str
    ohm: float
    rated_w: float


class LoopsInputs(NamedTuple):
    """The topology, the kind of every part, loops, openables and measuring points."""

    net: Net
    kinds: tuple[tuple[str, str], ...]
    loops: tuple[LoopData, ...]
    openable: tuple[OpenData, ...]
    points: tuple[PointData, ...]


class LoopFault(NamedTuple):
    """A single failure of a loop, and the numbers of its elements whose opening it hides."""

    words: str
    loop: str
    hides: frozenset[int]


def fires(data: LoopsInputs, loop: LoopData, fault: LoopFault | None, seen: frozenset[str] = NO_IDS) -> frozenset[str]:
    """Contactors that open when a loop does: through contacts of its relay in other loops, else at once."""
    direct, through = set(loop.opens), set[str]()
    for other in data.loops:
        at = [n for n, of in enumerate(other.contact_of) if of == loop.id]
        if at and other.id not in seen:
            direct -= set(other.opens)
            if not all(_hidden(fault, other, n) for n in at):
                through |= fires(data, other, fault, seen | {loop.id})
    return frozenset(direct | through)


def _hidden(fault: LoopFault | None, loop: LoopData, number: int) -> bool:
    return fault is not None and fault.loop == loop.id and number in fault.hides


def opening(data: LoopsInputs, name: str, fault: LoopFault | None = None) -> frozenset[str]:
    """Contactors that open when ``name`` is opened."""
    found: frozenset[str] = NO_IDS
    for loop in data.loops:
        if any(name in names and not _hidden(fault, loop, n) for n, names in enumerate(loop.watches)):
            found |= fires(data, loop, fault)
    return found


def faults(data: LoopsInputs, name: str) -> Iterator[LoopFault]:
    """Single failures between the opening of ``name`` and the coils, loop by loop, those behind relays with them."""
    links = {loop.id: [n for n, names in enumerate(loop.watches) if name in names] for loop in data.loops}
    todo = [key for key, at in links.items() if at]
    for key in todo:
        for loop in data.loops:
            at = [n for n, of in enumerate(loop.contact_of) if of == key]
            links[loop.id] = sorted({*links[loop.id], *at})
            if at and loop.id not in todo:
                todo.append(loop.id)
    for loop in data.loops:
        if loop.id in todo:
            yield from _loop_faults(loop, links[loop.id])


def _loop_faults(loop: LoopData, at: list[int]) -> Iterator[LoopFault]:
    for number in at:
        yield LoopFault(f"{loop.elements[number].name} of {loop.id} bridged", loop.id, frozenset({number}))
    # A wire shorted behind the last of them feeds the rest of the loop, whatever stands ahead.
    to = "its supply" if loop.interrupts == "supply" else "the body"
    ahead = frozenset(range(at[-1] + 1))
    yield LoopFault(f"wire of {loop.id} shorted to {to} behind {loop.elements[at[-1]].name}", loop.id, ahead)
    whole = frozenset(range(len(loop.elements)))
    if loop.by == "relay":
        yield LoopFault(f"relay of {loop.id} stuck", loop.id, whole)
    elif loop.by == "supervisor":
        yield LoopFault(f"supervisor does not act on {loop.id}", loop.id, whole)
