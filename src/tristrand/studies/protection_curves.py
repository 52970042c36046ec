"""The curves behind one picture of each fuse: what it does, what it protects, and where the short circuits lie."""

import math
from collections.abc import Iterator, Mapping

import numpy as np

from tristrand.physics.fuses import TimeCurrentCurve, melting_time_s
from tristrand.studies.results import ConductorsResult, FuseDuty, LetThrough, Series

LONGEST_S, SHORTEST_S = 1e4, 1e-4
ADIABATIC_S = 5.0
"""Up to this time the heat of a short circuit stays in the conductor (IEC-60364-5-54#adiabatic equation)."""


def fuse_curves(
    fuses: Mapping[str, TimeCurrentCurve],
    clearing_a2s: Mapping[str, float],
    duties: Mapping[str, FuseDuty],
    leads: Mapping[str, LetThrough],
    contactors: Mapping[str, LetThrough],
    conductors: ConductorsResult,
) -> Iterator[Series]:
    """Time over current for every fuse that has a curve: melting, clearing, the thinnest cable, contactor, faults."""
    for name, curve in fuses.items():
        duty = duties.get(name)
        if duty is None:
            continue
        most = max(duty.largest_a, curve.currents_a[-1])
        amps = np.geomspace(curve.currents_a[0], most, 80)
        yield _series(name, "melts", amps, np.asarray(melting_time_s(curve, amps)))
        clears = clearing_a2s.get(name, math.nan)
        if math.isfinite(clears):
            fast = np.geomspace(math.sqrt(clears / 0.01), most, 20) if clears / 0.01 < most**2 else np.zeros(0)
            yield _series(name, "cleared", fast, clears / np.maximum(fast, 1e-9) ** 2)
        yield from _limits(name, most, leads, contactors, conductors)
        points = (("strongest short circuit", duty.largest_a), ("weakest that it has to clear", duty.smallest_a))
        for words, current in points:
            if math.isfinite(current):
                yield _series(name, words, np.full(2, current), np.array([SHORTEST_S, LONGEST_S]))


def _limits(
    name: str,
    most: float,
    leads: Mapping[str, LetThrough],
    contactors: Mapping[str, LetThrough],
    conductors: ConductorsResult,
) -> Iterator[Series]:
    """The cable that bears least, by its ampacity and by k2S2 where heat stays in it, and the contactor."""
    mine = {
        k: v for k, v in leads.items() if v.fuse == name and math.isfinite(v.limit_a2s) and k in conductors.conductors
    }
    if mine:
        lead = min(mine, key=lambda k: mine[k].limit_a2s)
        bears, carries = mine[lead].limit_a2s, conductors.conductors[lead].ampacity.current_a
        # The steady limit up to where the adiabatic one is the lower: joined to one line.
        knee_a = max(math.sqrt(bears / ADIABATIC_S), carries)
        amps = np.geomspace(knee_a, max(most, 1.01 * knee_a), 40)
        cable = conductors.conductors[lead].cable
        x = np.concatenate([[carries, carries], amps])
        y = np.concatenate([[LONGEST_S, bears / knee_a**2], bears / amps**2])
        yield _series(name, f"cable {lead} ({cable})", x, y)
    stands = {k: v.limit_a2s for k, v in contactors.items() if v.fuse == name and math.isfinite(v.limit_a2s)}
    if stands:
        contactor = min(stands, key=stands.__getitem__)
        amps = np.geomspace(math.sqrt(stands[contactor] / 1.0), max(most, 2 * math.sqrt(stands[contactor])), 20)
        yield _series(name, f"contactor {contactor}", amps, stands[contactor] / amps**2)


def _series(about: str, name: str, amps: np.ndarray, seconds: np.ndarray) -> Series:
    inside = np.isfinite(seconds) & (seconds >= SHORTEST_S) & (seconds <= LONGEST_S)
    x, y = tuple(amps[inside].tolist()), tuple(seconds[inside].tolist())
    return Series(name, "current", "A", "time", "s", x, y, about)
