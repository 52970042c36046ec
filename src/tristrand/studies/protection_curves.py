"""The curves behind one picture of each fuse: what it does, what it protects, and where the short circuits lie."""

import math
from collections.abc import Iterator, Mapping

import numpy as np

from tristrand.physics.fuses import TimeCurrentCurve, melting_time_s
from tristrand.studies.results import ConductorFigures, ConductorsResult, FuseDuty, LetThrough, OverloadBand, Series

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
    bands: Mapping[str, OverloadBand],
) -> Iterator[Series]:
    """Time over current for every fuse that has a curve: melting, clearing, two cables, contactor, loads, faults."""
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
        band = bands.get(name)
        if band is not None and band.to_a > band.load_a > 0:
            yield Series("overload gap", "current", "A", "time", "s", (band.load_a, band.to_a), (LONGEST_S,) * 2, name)
        load_a = band.load_a if band is not None and band.load_a > 0 else math.nan
        points = (("largest load", load_a), ("strongest short circuit", duty.largest_a),
                  ("weakest that it has to clear", duty.smallest_a))  # fmt: skip
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
    """The cable that bears least and that of the largest load, by ampacity and k2S2, and the contactor."""
    mine = {
        k: v for k, v in leads.items() if v.fuse == name and math.isfinite(v.limit_a2s) and k in conductors.conductors
    }
    # The second: of the largest load, of equal ones the one that bears most.
    least = min(mine, key=lambda k: mine[k].limit_a2s, default="")
    main = max(mine, key=lambda k: (conductors.conductors[k].sustained_a, mine[k].limit_a2s), default="")
    for lead in dict.fromkeys((least, main)):
        figure = conductors.conductors.get(lead)
        if figure is not None and (lead == least or figure.cable != conductors.conductors[least].cable):
            yield _cable(name, figure, mine[lead].limit_a2s, most)
    stands = {k: v.limit_a2s for k, v in contactors.items() if v.fuse == name and math.isfinite(v.limit_a2s)}
    if stands:
        contactor = min(stands, key=stands.__getitem__)
        amps = np.geomspace(math.sqrt(stands[contactor] / 1.0), max(most, 2 * math.sqrt(stands[contactor])), 20)
        yield _series(name, f"contactor {contactor}", amps, stands[contactor] / amps**2)


def _cable(fuse: str, figure: ConductorFigures, bears_a2s: float, most_a: float) -> Series:
    """The steady limit up to where the adiabatic one is the lower: joined to one line."""
    carries = figure.ampacity.current_a
    knee_a = max(math.sqrt(bears_a2s / ADIABATIC_S), carries)
    amps = np.geomspace(knee_a, max(most_a, 1.01 * knee_a), 40)
    x = np.concatenate([[carries, carries], amps])
    y = np.concatenate([[LONGEST_S, bears_a2s / knee_a**2], bears_a2s / amps**2])
    return _series(fuse, f"cable {figure.connection} ({figure.cable})", x, y)


def _series(about: str, name: str, amps: np.ndarray, seconds: np.ndarray) -> Series:
    inside = np.isfinite(seconds) & (seconds >= SHORTEST_S) & (seconds <= LONGEST_S)
    x, y = tuple(amps[inside].tolist()), tuple(seconds[inside].tolist())
    return Series(name, "current", "A", "time", "s", x, y, about)
