"""What a dead short drives through every part: at every terminal to the other poles, and across every device.

All contactors are closed. The strongest case is the fullest pack at its least resistance with cold conductors, the
weakest the emptiest pack grown old with conductors at their temperature limit; where packs stand side by side the
weakest may come from one of them alone. Whatever the bus draws or holds is left out here; a capacitor's own discharge
into the fault is worked out beside it.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from tristrand.physics.fault import capacitor_fault
from tristrand.physics.fault_loops import FaultCourse, fault_course, joule_integral_a2s, rise_time_s
from tristrand.physics.fault_sources import added_fault_current_a
from tristrand.records import NamedTuple
from tristrand.studies.fault_inputs import Branch, FaultInputs, inputs, strings_of
from tristrand.studies.opening import Groups, emptiest, fullest
from tristrand.studies.results import (
    Fault,
    FaultCurrent,
    FaultsResult,
    FromCapacitor,
    FromCharger,
    Later,
    PackFigures,
    PackResult,
    Working,
    found,
)

SOLVER = "NUMERICS#loop equations of a network with resistance and inductance, solved in its modes"
METHOD = "loop equations of the whole topology, main contactors closed, loads and capacitors left out"
LOOKED_AT_S = 1.0
OFF_OHM = 1e9
"""A pack that is not connected."""
LEAST_SHARE = 1e-9
"""A branch with less than this share of the fault current carries none of it but rounding."""

Floats = NDArray[np.float64]

__all__ = ["Branch", "FaultInputs", "inputs", "study"]


def study(data: FaultInputs, packs: PackResult) -> FaultsResult:
    """Every fault at both ends of what the packs can drive, in one batch."""
    missing = (*data.missing, *packs.missing)
    if missing or not packs.packs:
        return FaultsResult(missing=missing)
    faults, chargers = _faults(data, tuple(packs.packs.items()))
    lines = Later(lambda: [*(line for f in faults.values() for line in _workings(f)), *_charger_workings(chargers)])
    return FaultsResult(lines, (), (), faults, data.no_inductance, chargers)


class _Graph:
    """A spanning forest of the branches: for every terminal the branches on the way to it from the forest's root."""

    def __init__(self, ends: Iterable[tuple[str, str]]) -> None:
        pairs = tuple(ends)
        near: dict[str, list[tuple[str, int, float]]] = {}
        for k, (a, b) in enumerate(pairs):
            near.setdefault(a, []).append((b, k, 1.0))
            near.setdefault(b, []).append((a, k, -1.0))
        self.row = {terminal: row for row, terminal in enumerate(near)}
        self.root = np.full(len(near), -1)
        self.steps = np.zeros((len(near), len(pairs)))
        used: set[int] = set()
        for start, own in self.row.items():
            if self.root[own] >= 0:
                continue
            self.root[own] = own
            queue = [start]
            for at in queue:
                for other, k, sense in near[at]:
                    row = self.row[other]
                    if self.root[row] < 0:
                        self.root[row] = own
                        self.steps[row] = self.steps[self.row[at]]
                        self.steps[row, k] = sense
                        used.add(k)
                        queue.append(other)
        self.chords = [k for k, (a, b) in enumerate(pairs) if k not in used and a != b]
        self.ends = pairs

    def joined(self, start: Sequence[str], end: Sequence[str]) -> NDArray[np.bool_]:
        """Whether the two terminals of each pair are joined."""
        rows = [[self.row.get(name, -1) for name in names] for names in (start, end)]
        first, second = np.array(rows, dtype=np.intp).reshape(2, -1)
        return np.asarray((first >= 0) & (second >= 0) & (self.root[first] == self.root[second]))

    def way(self, start: Sequence[str], end: Sequence[str]) -> Floats:
        """Branches (pairs, branches) from start to end with their sense, for pairs that are joined."""
        return self.steps[[self.row[name] for name in end]] - self.steps[[self.row[name] for name in start]]

    def loops(self) -> Floats:
        """The loops (m, branches) that close without a fault: one for each branch beside the forest."""
        out = np.zeros((len(self.chords), len(self.ends)))
        if self.chords:
            ends = [self.ends[k] for k in self.chords]
            out[:] = self.way([b for _, b in ends], [a for a, _ in ends])
            out[np.arange(len(ends)), self.chords] += 1.0
        return out


class _Spot(NamedTuple):
    """Where a fault is: the terminals it joins, and what it is called."""

    name: str
    start: str
    end: str
    across: str


def _spots(data: FaultInputs, graph: _Graph) -> list[_Spot]:
    """Every terminal to every other pole of the packs that feed it, then every device and inlet across its own.

    In a pole without a fuse such a fault meets none, yet touched by the other pole's bus a lead there carries what the
    fuses of that one let through: so each of its terminals to the other pole's bus as well.
    """
    wires = Groups((b.a, b.b) for b in data.branches)
    poles: dict[str, str] = {}
    for _, plus, minus, _ in data.packs:
        for pole in (plus, minus):
            poles.setdefault(wires.of(pole), pole)
    level = _levels([(wires.of(plus), wires.of(minus)) for _, plus, minus, _ in data.packs])
    spots: list[_Spot] = []
    for terminal in graph.row:
        group = wires.of(terminal)
        if group not in level:
            continue
        stack, height = level[group]
        others = [at for at, (own, _) in level.items() if own == stack and at != group]
        for at in others:
            name = terminal if len(others) == 1 else f"{terminal} to {poles[at]}"
            ends = (terminal, poles[at]) if height > level[at][1] else (poles[at], terminal)
            spots.append(_Spot(name, *ends, ""))
    spots += _touching_a_bus(data, graph, spots, level, wires)
    across = (*(device[:3] for device in data.devices), *data.inlets)
    spots += [_Spot(f"{name} across", plus, minus, name) for name, plus, minus in across]
    return spots


def _touching_a_bus(
    data: FaultInputs, graph: _Graph, spots: Sequence[_Spot], level: Mapping[str, tuple[int, int]], wires: Groups
) -> list[_Spot]:
    """What of the spots meets no fuse, to every busbar of another pole that lies behind one."""
    met = _meet_fuse(data, graph, spots)
    if all(met) or not any(met):
        return []
    out: dict[str, _Spot] = {}
    for spot in (spot for spot, fuse in zip(spots, met, strict=True) if not fuse):
        own = spot.end if spot.name.startswith(spot.end) else spot.start
        stack, height = level[wires.of(own)]
        for bar in data.bars:
            other, top = level.get(wires.of(bar), (-1, 0))
            if other == stack and top != height:
                ends = (bar, own) if top > height else (own, bar)
                out[f"{own} to {bar}"] = _Spot(f"{own} to {bar}", *ends, "")
    found_ = list(out.values())
    return [spot for spot, fuse in zip(found_, _meet_fuse(data, graph, found_), strict=True) if fuse]


def _meet_fuse(data: FaultInputs, graph: _Graph, spots: Sequence[_Spot]) -> list[bool]:
    """Whether a fuse lies on the way of each fault through conductors and packs."""
    there = graph.joined([s.end for s in spots], [s.start for s in spots]).tolist()
    fed = [spot for spot, joined in zip(spots, there, strict=True) if joined]
    if not fed:
        return [True] * len(spots)
    fuses = [k for k, branch in enumerate(data.branches) if branch.kind == "fuse"]
    ways = graph.way([s.end for s in fed], [s.start for s in fed])
    met = iter(np.asarray(ways[:, fuses].any(axis=1)).tolist())
    return [next(met) if joined else True for joined in there]


def _levels(packs: Sequence[tuple[str, str]]) -> dict[str, tuple[int, int]]:
    """For every pole that packs (plus, minus) have: the stack it belongs to, and how many packs it stands up in it."""
    level: dict[str, tuple[int, int]] = {}
    for number, (_, lowest) in enumerate(packs):
        waiting = [] if lowest in level else [(lowest, 0)]
        while waiting:
            pole, height = waiting.pop()
            if pole in level:
                continue
            level[pole] = (number, height)
            waiting += [(plus, height + 1) for plus, minus in packs if minus == pole]
            waiting += [(minus, height - 1) for plus, minus in packs if plus == pole]
    return level


@lru_cache(maxsize=64)
def _faults(
    data: FaultInputs, packs: tuple[tuple[str, PackFigures], ...]
) -> tuple[Mapping[str, Fault], tuple[FromCharger, ...]]:
    graph = _Graph([*((b.a, b.b) for b in data.branches), *((minus, plus) for _, plus, minus, _ in data.packs)])
    spots = _spots(data, graph)
    fed = graph.joined([s.end for s in spots], [s.start for s in spots])
    spots = [spot for spot, there in zip(spots, fed.tolist(), strict=True) if there]
    if not spots:
        return {}, ()
    ways = graph.way([s.end for s in spots], [s.start for s in spots])
    base = graph.loops()
    loops = np.concatenate([ways[:, None], np.broadcast_to(base, (len(spots), *base.shape))], axis=1)
    ends = _ends(data, dict(packs))
    strong, weak = (_read(data, fault_course(loops, *end)) for end in ends)
    strongest, weakest = (_singly(data, loops, end) for end in ends)
    held = _capacitors(data, graph, spots, ends[0])
    every = {
        spot.name: Fault(spot.name, spot.start, spot.end, spot.across, *currents)
        for spot, *currents in zip(spots, strong, weak, held, weakest, strongest, strict=True)
    }
    return every, tuple(_chargers(data, graph, spots, loops, ends[0][0]))


def _singly(
    data: FaultInputs, loops: Floats, end: tuple[Floats, Floats, Floats]
) -> list[tuple[tuple[str, FaultCurrent], ...]]:
    """For every fault, given by its loops, the current of each pack that stands beside others, alone at one end."""
    found_: list[list[tuple[str, FaultCurrent]]] = [[] for _ in loops]
    for names, only in _alone(data, end):
        for currents, current in zip(found_, _read(data, fault_course(loops, *only)), strict=True):
            if not dict(current.through).keys().isdisjoint(names):
                currents.append((" and ".join(names), current))
    return [tuple(currents) for currents in found_]


def _ends(data: FaultInputs, packs: Mapping[str, PackFigures]) -> tuple[tuple[Floats, Floats, Floats], ...]:
    """Resistance, inductance and e.m.f. of every branch and pack, for the strongest and the weakest fault."""
    henry = np.array([*(b.henry for b in data.branches), *(p[3] for p in data.packs)])
    ends = []
    for cold in (True, False):
        ohm = [b.cold_ohm if cold else b.hot_ohm for b in data.branches]
        volt = [0.0] * len(data.branches)
        for name, *_ in data.packs:
            figures = packs[name]
            corner = fullest(figures) if cold else emptiest(figures)
            ohm.append(figures.fault_ohm if cold else figures.aged_ohm)
            volt.append(corner.open_circuit_v)
        ends.append((np.array(ohm), henry, np.array(volt)))
    return tuple(ends)


def _alone(
    data: FaultInputs, every: tuple[Floats, Floats, Floats]
) -> Iterator[tuple[tuple[str, ...], tuple[Floats, Floats, Floats]]]:
    """One end with one pack, or string of packs in series, only of those side by side, for each of them."""
    strings: dict[tuple[str, str], list[tuple[int, ...]]] = {}
    for plus, minus, string in strings_of(data):
        strings.setdefault((plus, minus), []).append(string)
    size = len(data.branches)
    for like in strings.values():
        for own in like if len(like) > 1 else ():
            ohm, henry, volt = (values.copy() for values in every)
            for other in (k for string in like if string is not own for k in string):
                ohm[size + other], volt[size + other] = OFF_OHM, 0.0
            yield tuple(data.packs[k][0] for k in own), (ohm, henry, volt)


def _read(data: FaultInputs, course: FaultCourse) -> list[FaultCurrent]:
    """The fault's own current and those of the branches, fault by fault."""
    names = [*(b.id for b in data.branches), *(p[0] for p in data.packs)]
    own, first = course.of_loop(0), np.zeros(len(course.rate), dtype=np.intp)
    total, final = np.abs(own.final_a[:, 0]), course.final_a
    rise = rise_time_s(own, first)
    whole = joule_integral_a2s(own, first, np.full(len(first), LOOKED_AT_S))
    carried = np.abs(final) > LEAST_SHARE * total[:, None]
    return [
        FaultCurrent(amps, seconds, a2s, tuple((names[j], final[k, j].item()) for j in np.flatnonzero(carried[k])))
        for k, (amps, seconds, a2s) in enumerate(zip(total.tolist(), rise.tolist(), whole.tolist(), strict=True))
    ]


def _capacitors(
    data: FaultInputs, graph: _Graph, spots: Sequence[_Spot], strong: tuple[Floats, Floats, Floats]
) -> list[tuple[FromCapacitor, ...]]:
    """What every device's capacitance drives into each fault, alone and with the others, at the highest voltage.

    A fault across the device's own terminals is left out: what limits it there lies inside the device.
    """
    ohm, henry, volt = strong
    wires = _Graph((b.a, b.b) for b in data.branches)
    size = len(data.branches)
    out: list[list[FromCapacitor]] = [[] for _ in spots]
    volts: dict[str, float] = {}
    start, end = [s.start for s in spots], [s.end for s in spots]
    for name, plus, minus, farad in data.devices:
        if farad <= 0 or not graph.joined([minus], [plus])[0]:
            continue
        charged_v = volts[name] = abs(float((graph.way([minus], [plus]) @ volt)[0]))
        near = wires.joined([plus] * len(spots), start) & wires.joined(end, [minus] * len(spots))
        rows = np.flatnonzero(near)
        if not rows.size:
            continue
        there = wires.way([plus] * rows.size, [start[k] for k in rows])
        back = wires.way([end[k] for k in rows], [minus] * rows.size)
        lie = np.abs(there + back)
        outside = lie.any(axis=1)
        loop_ohm, loop_h = lie @ ohm[:size], lie @ henry[:size]
        surge = capacitor_fault(charged_v, loop_h[outside], loop_ohm[outside], farad)
        numbers = (np.asarray(x, dtype=float).tolist() for x in surge[:3])
        ways = (tuple(data.branches[j].id for j in np.flatnonzero(row)) for row in lie[outside])
        for k, peak_a, when_s, a2s, through in zip(rows[outside].tolist(), *numbers, ways, strict=True):
            out[k].append(FromCapacitor(name, peak_a, when_s, a2s, through))
    _together(data, ohm, henry, volts, out)
    return [tuple(found_) for found_ in out]


def _together(
    data: FaultInputs, ohm: Floats, henry: Floats, volts: Mapping[str, float], out: list[list[FromCapacitor]]
) -> None:
    """Add what several capacitances drive through a contactor at once.

    All as one capacitance behind what their ways share, the rest of the ways side by side: none of them then runs
    empty before the others, so that the peak is no less than the true one. Never more than the sum of their peaks.
    """
    at = {b.id: k for k, b in enumerate(data.branches)}
    contactors = [b.id for b in data.branches if b.kind == "contactor"]
    farads = {name: farad for name, _, _, farad in data.devices}
    loops: list[tuple[int, list[FromCapacitor], set[str], float, float]] = []
    for k, alone in enumerate(out):
        for held in {tuple(x for x in alone if c in x.through) for c in contactors} if len(alone) > 1 else ():
            if len(held) < 2:
                continue
            shared = set.intersection(*(set(x.through) for x in held))
            rest = [[at[n] for n in x.through if n not in shared] for x in held]
            common = [at[n] for n in shared]
            whole = [
                float(per[common].sum()) + _side_by_side([float(per[own].sum()) for own in rest])
                for per in (ohm, henry)
            ]
            loops.append((k, list(held), shared, whole[0], whole[1]))
    if not loops:
        return
    total = np.array([sum(farads[x.device] for x in held) for _, held, *_ in loops])
    most_v = np.array([max(volts[x.device] for x in held) for _, held, *_ in loops])
    surge = capacitor_fault(most_v, np.array([h for *_, h in loops]), np.array([r for *_, r, _ in loops]), total)
    numbers = (np.asarray(x, dtype=float).tolist() for x in surge[:3])
    for (k, held, shared, *_), peak_a, when_s, a2s in zip(loops, *numbers, strict=True):
        name, most_a = " and ".join(x.device for x in held), sum(x.peak_a for x in held)
        out[k].append(FromCapacitor(name, min(peak_a, most_a), when_s, a2s, tuple(sorted(shared))))


def _side_by_side(values: Sequence[float]) -> float:
    return 1.0 / sum(1.0 / v for v in values) if all(v > 0 for v in values) else 0.0


def _chargers(
    data: FaultInputs, graph: _Graph, spots: Sequence[_Spot], loops: Floats, ohm: Floats
) -> Iterator[FromCharger]:
    """Each charger at its largest output: beside the packs, and alone with the main contactors open."""
    beyond = [b for b in data.branches if b.kind != "contactor"]
    wires = _Graph((b.a, b.b) for b in beyond)
    start, end = [s.start for s in spots], [s.end for s in spots]
    for name, plus, minus, most_a in data.chargers:
        added = np.zeros(len(spots))
        if graph.joined([plus], [minus])[0]:
            added = added_fault_current_a(loops, ohm, graph.way([plus], [minus])[0], most_a)
        size = len(spots)
        alone = wires.joined([plus] * size, start) & wires.joined(end, [minus] * size)
        for k, spot in enumerate(spots):
            fuses: tuple[str, ...] = ()
            if alone[k]:
                lies = np.abs(wires.way([plus, end[k]], [start[k], minus])).sum(axis=0)
                fuses = tuple(b.id for b, on in zip(beyond, lies, strict=True) if on and b.kind == "fuse")
            yield FromCharger(name, spot.name, float(added[k]), most_a if alone[k] else 0.0, fuses)


def _charger_workings(chargers: Iterable[FromCharger]) -> Iterator[Working]:
    for source in chargers:
        if abs(source.adds_a) > 0:
            words = f"what {source.charger} at its largest output adds to it beside the packs"
            law = "CLOSED-FORM#superposition of a current source in loop equations"
            yield found(source.fault, "I_chg", words, source.adds_a, "A", law, METHOD)


def _workings(fault: Fault) -> list[Working]:
    lines = []
    for word, case in (("strongest", fault.strongest), ("weakest", fault.weakest)):
        lines += [
            found(fault.name, "I_k", f"current of the fault, {word}", case.current_a, "A", SOLVER, METHOD),
            found(fault.name, "t_63", f"time to 63 % of it, {word}", case.rise_s, "s", SOLVER, METHOD),
        ]
    for source in fault.capacitors:
        words = f"peak from the capacitance of {source.device}"
        lines.append(
            found(fault.name, "I_C", words, source.peak_a, "A", "CLOSED-FORM#series RLC step response", METHOD)
        )
    return lines
