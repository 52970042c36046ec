"""Which fuses end a short circuit, and what they let through until then.

Where fuses carry all of a fault the one that melts first ends it; where none does (packs side by side) every fuse that
carries a share has to clear its own. The strong fault counts with the maker's clearing I2t, the weak one with the time
that the fuse then takes to melt, at the late end of its curve. What cannot be told counts as the harder case.
"""

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import lru_cache

import numpy as np

from tristrand.physics.fuses import TimeCurrentCurve, melting_time_s
from tristrand.records import NamedTuple
from tristrand.studies.results import (
    Fault,
    FaultCurrent,
    FuseDuty,
    FusePair,
    LeftToOpen,
    LetThrough,
    PeakCurrent,
)
from tristrand.units import engineering

CARRIES_ALL = 1 - 1e-6
# Time constants after which the current is taken to have risen: each gives a true bound of the time to melt.
RISES = (1.0, 3.0, 9.0)
# A curve that reaches up to here tells that a smaller current does not melt the fuse in a short circuit's time.
LONG_CURVE_S = 100.0


class FuseData(NamedTuple):
    """One fuse; nan and None stand for what its sheet does not give.

    I2t of melting (low end) and clearing (high end), the L/R up to which clearing holds, the melting curve at its late
    and early end, the most that it may fail to clear, and how far in current the curve may lie off beyond that.
    """

    id: str
    rated_a: float
    melting_a2s: float
    clearing_a2s: float
    curve: TimeCurrentCurve | None
    early: TimeCurrentCurve | None = None
    minimum_breaking_a: float = math.nan
    constant_s: float = math.nan
    spread: float = 0.0


class Scan(NamedTuple):
    """What all faults together ask of the fuses and let through every part, whatever the parts bear.

    ``unfused``: faults that some pack feeds past every fuse; ``left``: what each contactor may have to open where
    fuses are unable to.
    """

    duties: Mapping[str, FuseDuty]
    worst: Mapping[str, LetThrough]
    pairs: tuple[FusePair, ...]
    peaks: Mapping[str, PeakCurrent]
    left: Mapping[str, tuple[LeftToOpen, ...]]
    unfused: tuple[str, ...]


@lru_cache(maxsize=64)
def scan(
    every: tuple[FuseData, ...],
    contactors: tuple[str, ...],
    faults: tuple[Fault, ...],
    bare: tuple[tuple[str, frozenset[str]], ...] = (),
    charge: tuple[tuple[str, float], ...] = (),
    marks: tuple[tuple[str, float], ...] = (),
) -> Scan:
    """Go through every fault; kept, since what a cable bears changes nothing here.

    ``bare``: faults that some pack feeds past every fuse, and the parts on that way (only for faults across devices).
    ``charge``: charge contactors, each with the sign of a current that enters at its marked terminal, 0 unmarked. They
    have to open only what no main contactor carries whole. ``marks``: main contactors, likewise with a sign, that no
    driving current shows the right way round of; of all others that is the direction of the discharging current.
    """
    past = dict(bare)
    fuses = {f.id: f for f in every}
    faults, most = _with_packs_alone(faults)
    times = _melting_times(every, faults)
    duties: dict[str, FuseDuty] = {}
    worst: dict[str, LetThrough] = {}
    left: dict[tuple[str, bool, str], LeftToOpen] = {}
    unfused = []
    forward = {**_forward(contactors, faults)}
    forward |= {name: sign for name, sign in marks if name in forward}
    for fault, largest in zip(faults, most, strict=True):
        strong, weak = (_enders(fuses, times, fault, weakest) for weakest in (False, True))
        _duty(duties, fuses, largest, weak)
        if (fault.name in past or not strong) and not fault.name.endswith(" alone"):
            unfused.append(fault.name)
        never = [
            (name, LetThrough(math.inf, math.nan, "", fault.name, False, "no fuse lies in its way"))
            for name in sorted(past.get(fault.name, ()))
        ]
        for name, found in (*never, *_let_through(fuses, times, contactors, fault, strong, weak)):
            # What is not known counts as worst.
            before = worst.get(name)
            if before is None or math.isnan(found.worst_a2s) or found.worst_a2s > before.worst_a2s:
                worst[name] = found
        ends = tuple(dict.fromkeys((*_enders(fuses, times, largest, False), *weak)))
        for item in _left(fuses, forward, largest, ends, dict(charge)):
            # What is not known stands beside the largest that is: neither hides the other.
            key = (item.contactor, item.reverse, "" if item.current_a == item.current_a else item.fuse)
            if key not in left or item.current_a > left[key].current_a:
                left[key] = item
    pairs = tuple(_pairs(fuses, times, faults))
    by_contactor = {c: tuple(x for (name, *_), x in left.items() if name == c) for c in contactors}
    return Scan(duties, worst, pairs, _peaks(contactors, most), by_contactor, tuple(unfused))


def _with_packs_alone(faults: tuple[Fault, ...]) -> tuple[tuple[Fault, ...], tuple[Fault, ...]]:
    """The faults, and behind them those that each pack of several side by side feeds alone; and all at their largest.

    Alone they are given with the strong current of all packs, which lets the most through, and with its own: with the
    contactors of the others open one pack drives more through its own parts, and all that a common fuse may leave.
    """
    single = [
        (f._replace(name=f"{f.name}, {pack} alone", weakest=weak), dict(f.strong_alone).get(pack, f.strongest))
        for f in faults
        for pack, weak in f.alone
    ]
    own = tuple(fault._replace(strongest=strong) for fault, strong in single)
    return (*faults, *(fault for fault, _ in single)), (*faults, *own)


class _Melting(NamedTuple):
    """Latest and earliest time to melt [s] in one weak fault; nan where the curve does not say."""

    late_s: float
    early_s: float


Times = Mapping[tuple[str, str], _Melting]


def _melting_times(every: Sequence[FuseData], faults: Sequence[Fault]) -> Times:
    """By fault and fuse: the latest time, the current having to rise, and the earliest, in every weak fault."""
    out: dict[tuple[str, str], _Melting] = {}
    for fuse in every:
        if fuse.curve is None or fuse.early is None:
            continue
        met = [
            (f.name, abs(amps), f.weakest.rise_s) for f in faults for name, amps in f.weakest.through if name == fuse.id
        ]
        if not met:
            continue
        amps, rise = np.array([m[1] for m in met]), np.array([m[2] for m in met])
        reached = [(k * rise, amps * -math.expm1(-k) / (1 + fuse.spread)) for k in RISES]
        late = np.min([wait + np.asarray(melting_time_s(fuse.curve, part)) for wait, part in reached], axis=0)
        early = np.asarray(melting_time_s(fuse.early, amps / (1 - fuse.spread)))
        if fuse.curve.times_s[0] < LONG_CURVE_S:
            late = np.where(np.isinf(late), np.nan, late)
        for (name, *_), latest, earliest in zip(met, late.tolist(), early.tolist(), strict=True):
            out[name, fuse.id] = _Melting(latest, earliest)
    return out


def _enders(fuses: Mapping[str, FuseData], times: Times, fault: Fault, weakest: bool) -> tuple[str, ...]:
    """The fuses that have to clear a fault: whichever may melt first."""
    current = fault.weakest if weakest else fault.strongest
    carried = {name: abs(amps) for name, amps in current.through if name in fuses}
    whole = [name for name, amps in carried.items() if amps >= CARRIES_ALL * current.current_a]
    if not whole:
        return tuple(carried)
    if weakest and all((fault.name, name) in times for name in carried):
        known = {name: times[fault.name, name] for name in carried}
        first_s = min((known[name].late_s for name in whole if not math.isnan(known[name].late_s)), default=math.inf)
        # A fuse of one of several strings may melt before the common one.
        return tuple(name for name in carried if math.isnan(known[name].late_s) or known[name].early_s <= first_s)
    return _soonest([fuses[name] for name in whole])


def _soonest(fuses: Sequence[FuseData]) -> tuple[str, ...]:
    """The fuse that melts first at large currents, of equal ones all; all of them where their sheets cannot tell."""
    for sizes in ([f.melting_a2s for f in fuses], [f.rated_a for f in fuses]):
        if not any(map(math.isnan, sizes)):
            return tuple(f.id for f, size in zip(fuses, sizes, strict=True) if size <= min(sizes) * (1 + 1e-9))
    return tuple(f.id for f in fuses)


def _duty(duties: dict[str, FuseDuty], fuses: Mapping[str, FuseData], fault: Fault, clearing: tuple[str, ...]) -> None:
    strong, weak = dict(fault.strongest.through), dict(fault.weakest.through)
    for name in fuses:
        if name not in strong:
            continue
        duty = duties.get(name, FuseDuty(0.0, "", 0.0, "", math.nan, ""))
        if abs(strong[name]) > duty.largest_a:
            duty = duty._replace(largest_a=abs(strong[name]), largest_at=fault.name)
        if fault.strongest.rise_s > duty.rise_s:
            duty = duty._replace(rise_s=fault.strongest.rise_s, rise_at=fault.name)
        if name in clearing and name in weak and not abs(weak[name]) >= duty.smallest_a:
            duty = duty._replace(smallest_a=abs(weak[name]), smallest_at=fault.name)
        duties[name] = duty


def _let_through(
    fuses: Mapping[str, FuseData],
    times: Times,
    contactors: Sequence[str],
    fault: Fault,
    strong: tuple[str, ...],
    weak: tuple[str, ...],
) -> Iterator[tuple[str, LetThrough]]:
    """I2t through every part of one fault's way, until its fuses have cleared it, weak and strong."""
    for weakest, current, clearing in ((False, fault.strongest, strong), (True, fault.weakest, weak)):
        if not clearing:
            # Between a pack and its first fuse nothing can help; only a device has a right to a fuse.
            if fault.across:
                for name, _ in current.through:
                    yield name, LetThrough(math.inf, math.nan, "", fault.name, weakest, "no fuse lies in its way")
            continue
        through = {name: abs(amps) for name, amps in current.through}
        met = times if weakest else None
        passed = {name: _passed_a2s(fuses[name], through[name], met, fault.name, current.rise_s) for name in clearing}
        for name, amps in through.items():
            a2s, fuse, words = _share(passed, through, amps, current, name in contactors)
            yield name, LetThrough(a2s, math.nan, fuse, fault.name, weakest, words)


def _share(
    passed: Mapping[str, tuple[float, str]],
    through: Mapping[str, float],
    amps: float,
    current: FaultCurrent,
    contactor: bool,
) -> tuple[float, str, str]:
    """What of the fuses' I2t flows through a part, whose it is, and how it was found."""
    slowest = max(passed, key=lambda name: (math.isnan(passed[name][0]), passed[name][0]))
    if max(through[name] for name in passed) >= CARRIES_ALL * current.current_a:
        # Of each fuse the part's share of that fuse's own current: all of what its own string's fuse lets through.
        parts = {k: a2s * (1.0 if contactor else min(1.0, amps / through[k])) ** 2 for k, (a2s, _) in passed.items()}
        slowest = max(parts, key=lambda name: (math.isnan(parts[name]), parts[name]))
        return parts[slowest], slowest, passed[slowest][1]
    alike = [name for name in passed if abs(amps - through[name]) <= 1e-6 * amps]
    if alike:
        slowest = max(alike, key=lambda name: (math.isnan(passed[name][0]), passed[name][0]))
        return passed[slowest][0], slowest, passed[slowest][1]
    # Root of the I2t of a sum is at most the sum of the roots (Minkowski's inequality).
    total = sum(through[name] for name in passed)
    share = 1.0 if contactor else min(1.0, amps / total) ** 2
    whole = sum(math.sqrt(a2s) for a2s, _ in passed.values()) ** 2
    return whole * share, slowest, f"{' and '.join(passed)} together: {passed[slowest][1]}"


def _passed_a2s(fuse: FuseData, amps: float, times: Times | None, fault: str, rise_s: float) -> tuple[float, str]:
    """I2t that a fuse lets through, and how it was found; nan where its sheet does not say it."""
    if rise_s > fuse.constant_s:
        return math.nan, f"L/R of {rise_s:.2g} s is above that of its sheet"
    if times is None:
        return fuse.clearing_a2s, "clearing I²t of its sheet"
    melting = times.get((fault, fuse.id))
    if melting is None or math.isnan(melting.late_s) or math.isnan(fuse.clearing_a2s):
        return math.nan, f"its melting curve does not say what {amps:.0f} A do"
    if math.isinf(melting.late_s):
        return math.inf, f"{amps:.0f} A does not melt it within its curve"
    # Without the melting I²t all of the clearing one counts as arc: the harder reading.
    arcing = fuse.clearing_a2s - (0.0 if math.isnan(fuse.melting_a2s) else fuse.melting_a2s)
    words = f"melts {amps:.0f} A in {engineering(melting.late_s, 's', 3)} at the latest, and its arc"
    return max(amps**2 * melting.late_s + arcing, fuse.clearing_a2s), words


def _pairs(fuses: Mapping[str, FuseData], times: Times, faults: Sequence[Fault]) -> Iterator[FusePair]:
    """Every fuse that has to stay whole while another one, behind it, clears: it feeds more devices than that one."""
    across = [f for f in faults if f.across]
    serves = {name: {f.across for f in across if name in dict(f.strongest.through)} for name in fuses}
    for behind in fuses:
        for ahead in fuses:
            if ahead == behind or not serves[behind] <= serves[ahead]:
                continue
            met = [f for f in faults if {behind, ahead} <= dict(f.strongest.through).keys()]
            shares = [abs(dict(f.strongest.through)[ahead] / dict(f.strongest.through)[behind]) for f in met]
            # Two fuses that feed the same are in a row, where either may open; unless one is of one string of several.
            if not shares or (serves[behind] == serves[ahead] and max(shares) >= CARRIES_ALL):
                continue
            yield FusePair(
                ahead,
                behind,
                fuses[ahead].melting_a2s,
                fuses[behind].clearing_a2s * min(1.0, max(shares)) ** 2,
                *_overtaken(times, ahead, behind, met),
            )


def _overtaken(times: Times, ahead: str, behind: str, met: Iterable[Fault]) -> tuple[float, float, str]:
    """Of the weak faults the one where the fuse ahead comes nearest to melting first: both times, and its name."""
    both = [
        (times[f.name, ahead].early_s, times[f.name, behind].late_s, f.name)
        for f in met
        if (f.name, ahead) in times and (f.name, behind) in times
    ]
    known = [x for x in both if x[1] > 0 and not math.isnan(x[1])]
    return min(known, key=lambda x: x[0] / x[1]) if known else (math.nan, math.nan, "")


def _forward(contactors: Sequence[str], faults: Sequence[Fault]) -> Mapping[str, float]:
    """The sign of the discharging current of every contactor: that of a fault across a device."""
    signs: dict[str, float] = {}
    for fault in faults:
        for name, amps in fault.strongest.through if fault.across else ():
            if name in contactors:
                signs.setdefault(name, math.copysign(1.0, amps))
    return signs


def _left(
    fuses: Mapping[str, FuseData],
    forward: Mapping[str, float],
    fault: Fault,
    clearing: tuple[str, ...],
    charge: Mapping[str, float],
) -> Iterator[LeftToOpen]:
    """The largest current of each contactor at which some fuse is below its minimum breaking current.

    Faults of any resistance lie between none and the dead short, shared alike; no more than that one flows. Beside it
    stands nan for every fuse whose minimum is not known.
    """
    through = dict(fault.strongest.through)
    by_mains = max((abs(through[k]) for k in forward if k in through and k not in charge), default=0.0)
    for name, sign in forward.items():
        if name not in through or not clearing:
            continue
        own = abs(through[name])
        if name in charge and by_mains >= CARRIES_ALL * own:
            continue
        # A charge contactor without a mark is taken to be fitted for charging, against the discharging current.
        ahead = (charge[name] or -sign) if name in charge else sign
        most = [(fuses[k].minimum_breaking_a * _ratio(own, abs(through[k])), k) for k in clearing if k in through]
        known = [pair for pair in most if not math.isnan(pair[0])]
        unknown = [pair for pair in most if math.isnan(pair[0])]
        for current, fuse in (*unknown, *sorted(known)[-1:]):
            amps = current if math.isnan(current) else min(current, own)
            yield LeftToOpen(name, amps, fuse, fault.name, through[name] * ahead < 0)


def _ratio(own: float, other: float) -> float:
    """Of two currents; 1 where nothing but rounding, or what leaks through a pack that is off, parts them."""
    return 1.0 if abs(own - other) <= (1 - CARRIES_ALL) * other else own / other


def _peaks(contactors: Sequence[str], faults: Sequence[Fault]) -> Mapping[str, PeakCurrent]:
    """The largest instantaneous current through every contactor, from packs, a capacitance, or both.

    Both drive the fault the same way round. Their sum counts as if both stood at their largest at once: no less than
    the true one, since the circuit is linear, and more where the capacitance is empty before the packs' current rises.
    """
    peaks: dict[str, PeakCurrent] = {}

    def note(name: str, amps: float, fault: Fault, source: str) -> None:
        if name in contactors and (name not in peaks or amps > peaks[name].current_a):
            peaks[name] = PeakCurrent(amps, fault.name, source)

    for fault in faults:
        fed = {name: abs(amps) for name, amps in fault.strongest.through}
        for name, amps in fed.items():
            note(name, amps, fault, "the packs")
        for held in fault.capacitors:
            for name in held.through:
                also = "the packs and " if name in fed else ""
                note(name, held.peak_a + fed.get(name, 0.0), fault, f"{also}the capacitance of {held.device}")
    return peaks
