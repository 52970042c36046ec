"""The rows of everything a transient watches, in one fixed order."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from tristrand.physics.circuit.signals import Crossing, Integral, Peak, Probe, Signal, When
from tristrand.records import NamedTuple

Floats = NDArray[np.float64]


class Watched(NamedTuple):
    """Order of the watched rows: conditions that end a panel, crossings, peaks, integrands."""

    signals: tuple[Signal, ...]
    level: Floats  # (N, W)
    sign: Floats  # (W,)
    conditions: int
    crossings: int
    peaks: int
    peak_of: tuple[tuple[int, float], ...]
    factors: tuple[tuple[int, int | None], ...]


def watched_by(lanes: int, whens: list[When], stop: Crossing | None, probes: Sequence[Probe]) -> Watched:
    """Put the signals of commands, stop and probes in order, with their levels per lane."""
    entries: list[tuple[Signal, object, float]] = []
    for when in whens:
        entries.append((when.signal, when.level, 1.0 if when.rising else -1.0))
    if stop is not None:
        entries.append((stop.signal, stop.level, 1.0 if stop.rising else -1.0))
    conditions = len(entries)
    crossings = [p for p in probes if isinstance(p, Crossing)]
    entries.extend((c.signal, c.level, 1.0 if c.rising else -1.0) for c in crossings)
    peak_of: list[tuple[int, float]] = []
    peaks = [p for p in probes if isinstance(p, Peak)]
    for k, peak in enumerate(peaks):
        for sign in (1.0, -1.0) if peak.absolute else (1.0,):
            entries.append((peak.signal, 0.0, sign))
            peak_of.append((k, sign))
    factors: list[tuple[int, int | None]] = []
    seen: dict[Signal, int] = {}
    for probe in (p for p in probes if isinstance(p, Integral)):
        pair = []
        for signal in (probe.signal, probe.other):
            if signal is not None and signal not in seen:
                seen[signal] = len(entries)
                entries.append((signal, 0.0, 1.0))
            pair.append(None if signal is None else seen[signal])
        assert pair[0] is not None
        factors.append((pair[0], pair[1]))
    level = np.empty((lanes, len(entries)))
    for k, (_, value, _) in enumerate(entries):
        level[:, k] = np.asarray(value, dtype=float)
    return Watched(
        tuple(e[0] for e in entries), level, np.array([e[2] for e in entries]),
        conditions, len(crossings), len(peak_of), tuple(peak_of), tuple(factors),
    )  # fmt: skip
