"""Small overcurrents in the protection study: the band that a fuse leaves, and the order of I2t in its way."""

import math
from collections.abc import Iterator, Mapping
from functools import lru_cache

from tristrand.physics.fuses import OverloadGap, TimeCurrentCurve, coordination, melting_time_s, overload_gap
from tristrand.records import NamedTuple
from tristrand.studies.fuse_ways import Way
from tristrand.studies.results import (
    DIRECT,
    ChainOrder,
    ChargingResult,
    ConductorsResult,
    LetThrough,
    OperatingResult,
    OverloadBand,
    Working,
    found,
    working,
)

ALLOWED_S = 5.0
"""Longest that an overload of a cable may last: so long its heat stays in it (IEC-60364-5-54#adiabatic equation)."""
CHAIN = "CLOSED-FORM#parts in series carry the same I2t"
GAP = "CLOSED-FORM#interpolation on logarithmic scales, minimum breaking current"


class Slow(NamedTuple):
    """A fuse at small overcurrents: its rating, its curve at its late and its early end, and what it cannot clear."""

    id: str
    rated_a: float
    late: TimeCurrentCurve | None
    early: TimeCurrentCurve | None
    minimum_breaking_a: float


def guarded(fuse: str, rated_a: float, leads: Mapping[str, LetThrough], conductors: ConductorsResult) -> list[str]:
    """The cables that a fuse protects in full, thinnest ampacity first; thinner ones are left to HV128."""
    mine = [
        (figure.ampacity.current_a, name)
        for name, let in leads.items()
        if let.fuse == fuse and (figure := conductors.conductors.get(name)) is not None
    ]
    return [name for amps, name in sorted(mine) if amps >= rated_a]


def load_of(part: str, operating: OperatingResult, charging: ChargingResult) -> tuple[float, str]:
    """The largest current of a part in any case, however short, or from a supply at the inlet, and the case."""
    loads = [(c.flows[part].current_a, c.case) for c in operating.cases.values() if part in c.flows]
    fast = charging.fast
    # Charging and driving exclude each other, so they do not add up. A current that is not known the rules name.
    if fast is not None and part in fast.path and not math.isnan(fast.largest_a):
        loads.append((fast.largest_a, DIRECT))
    return max(loads, default=(0.0, ""))


def bands(
    fuses: tuple[Slow, ...],
    ways: Mapping[str, Way],
    leads: Mapping[str, LetThrough],
    conductors: ConductorsResult,
    operating: OperatingResult,
    charging: ChargingResult,
) -> dict[str, OverloadBand]:
    """The band of every fuse that a pack feeds and whose curve and minimum breaking current are known."""
    out = {}
    for fuse in fuses:
        if fuse.late is None or fuse.early is None or math.isnan(fuse.minimum_breaking_a) or fuse.id not in ways:
            continue
        load_a, case = load_of(fuse.id, operating, charging)
        cables = guarded(fuse.id, fuse.rated_a, leads, conductors)
        allowed_s = ALLOWED_S if cables else fuse.late.times_s[0]
        gap, before_s = _gap(fuse.late, fuse.early, fuse.minimum_breaking_a, load_a, allowed_s)
        out[fuse.id] = OverloadBand(
            fuse.id,
            load_a,
            case,
            cables[0] if cables else "",
            conductors.conductors[cables[0]].ampacity.current_a if cables else math.nan,
            allowed_s,
            float(gap.slow_below_a),
            float(gap.uncleared_below_a),
            float(gap.to_a),
            float(gap.longest_s),
            before_s,
            ways[fuse.id].in_series,
            ways[fuse.id].behind,
            ways[fuse.id].openers,
            ways[fuse.id].together,
            ways[fuse.id].beyond,
        )
    return out


@lru_cache(maxsize=1024)
def _gap(
    late: TimeCurrentCurve, early: TimeCurrentCurve, breaking_a: float, load_a: float, allowed_s: float
) -> tuple[OverloadGap, float]:
    """The gap by the late end of the curve, and the earliest melting at the minimum breaking current."""
    return overload_gap(late, breaking_a, load_a, allowed_s), float(melting_time_s(early, breaking_a))


def chains(
    fuses: Mapping[str, tuple[float, float]],
    leads: Mapping[str, LetThrough],
    contactors: Mapping[str, LetThrough],
    conductors: ConductorsResult,
) -> tuple[ChainOrder, ...]:
    """For every contactor the cable of the same fuse that bears least; ``fuses``: rating and clearing I2t."""
    out = []
    for contactor, let in contactors.items():
        if not let.fuse:
            continue
        rated_a, clearing = fuses[let.fuse]
        cables = [(leads[name].limit_a2s, name) for name in guarded(let.fuse, rated_a, leads, conductors)]
        known = [pair for pair in cables if not math.isnan(pair[0])]
        if known and not math.isnan(let.limit_a2s):
            bears, cable = min(known)
            out.append(ChainOrder(let.fuse, contactor, cable, clearing, let.limit_a2s, bears))
    return tuple(out)


def chain_workings(found_: tuple[ChainOrder, ...]) -> Iterator[Working]:
    """How far each link of the chain fuse, contactor, cable lies above the one before."""
    for chain in found_:
        if math.isnan(chain.clearing_a2s):
            continue
        ratios = coordination(chain.clearing_a2s, chain.contactor_a2s, chain.cable_a2s)
        yield working(
            chain.contactor, "c_1", f"what it withstands over what {chain.fuse} lets through", "I2t_c/I2t_f",
            float(ratios.contactor_to_fuse), "", CHAIN,
            I2t_c=(chain.contactor_a2s, "A²s"), I2t_f=(chain.clearing_a2s, "A²s"),
        )  # fmt: skip
        yield working(
            chain.contactor, "c_2", f"what cable {chain.cable} bears over what it withstands", "k2S2/I2t_c",
            float(ratios.cable_to_contactor), "", CHAIN,
            k2S2=(chain.cable_a2s, "A²s"), I2t_c=(chain.contactor_a2s, "A²s"),
        )  # fmt: skip


def band_workings(found_: Mapping[str, OverloadBand]) -> Iterator[Working]:
    """Both ends of every band."""
    for name, band in found_.items():
        if band.to_a <= band.load_a:
            continue
        method = f"melting curve at {band.allowed_s:g} s, and the minimum breaking current: the larger"
        study = "study of charging" if band.load_case == DIRECT else "operating study"
        yield found(name, "I_load", f"largest load, case {band.load_case}", band.load_a, "A", GAP, study)
        yield found(name, "I_gap", "another device opens or limits up to", band.to_a, "A", GAP, method)
        if math.isfinite(band.open_before_s):
            words = "earliest melting at the minimum breaking current"
            yield found(name, "t_before", words, band.open_before_s, "s", GAP, "melting curve, early end")
