"""Do the fuses outlive the starts? The surge of every closing against the melting I2t that so many pulses leave.

Each fuse takes of the surge what the capacitors behind it take: currents of capacitors side by side go as their
capacitances, I2t as the square. What fuses of packs side by side share is counted for each in full, the harder reading.
"""

import math
from collections.abc import Iterator
from functools import lru_cache
from typing import NamedTuple

from tristrand.design import Design
from tristrand.physics.fuses import PULSE_LIFE, largest_pulse_share
from tristrand.studies.circuits import HvCircuit, hv_circuit
from tristrand.studies.fuse_ways import fuse_ways
from tristrand.studies.results import FusePulse, FusePulsesResult, Later, PrechargeResult, Working, found, working

SURGE = "CLOSED-FORM#current divider of capacitors"
PULSES = "FUSE-GUIDE#pulse cycle life"


class FusePulseInputs(NamedTuple):
    """The circuit, the low melting I2t of every fuse, and the starts in the vehicle's life (nan: not given)."""

    circuit: HvCircuit
    melting_a2s: tuple[tuple[str, float], ...]
    starts: float


def inputs(design: Design) -> FusePulseInputs:
    """Collect what the sheets and the design say."""
    melting = []
    for part_id in design.parts_of("fuse"):
        datum = design.sheet_of(part_id).melting_joule_integral
        melting.append((part_id, math.nan if datum is None else datum.low))
    duty = design.high_voltage.switching_duty
    starts = math.nan if duty is None or duty.starts is None else float(duty.starts + (duty.charges or 0))
    return FusePulseInputs(hv_circuit(design), tuple(melting), starts)


def study(data: FusePulseInputs, precharge: PrechargeResult) -> FusePulsesResult:
    """Every fuse with a capacitor behind it."""
    surge = precharge.surge_joule_integral_a2s
    if math.isnan(surge):
        return FusePulsesResult(missing=precharge.missing)
    shares = _shares(data.circuit, precharge.fed_directly)
    fuses = {
        name: FusePulse(surge * shares[name] ** 2, melting, data.starts, _allowed(data.starts))
        for name, melting in data.melting_a2s
        if shares.get(name, 0.0) > 0
    }
    lines = Later(lambda: [line for name, pulse in fuses.items() for line in _workings(name, pulse, surge, shares)])
    return FusePulsesResult(lines, (), (), fuses)


def _shares(circuit: HvCircuit, apart: tuple[str, ...]) -> dict[str, float]:
    """For every fuse the capacitance behind it over that of the whole bus, 0 where it is not known."""
    farad = {d.id: d.farad.value for d in circuit.devices if d.id not in apart and d.farad.value > 0}
    whole = sum(farad.values())
    ways = fuse_ways(circuit)
    return (
        {name: sum(farad.get(d, 0.0) for d in (*way.behind, *way.shared)) / whole for name, way in ways.items()}
        if whole
        else {}
    )


@lru_cache(maxsize=64)
def _allowed(starts: float) -> float:
    """Share of the melting I2t; below 100 pulses that of 100, above what is printed nan."""
    least, most = min(PULSE_LIFE), max(PULSE_LIFE)
    if math.isnan(starts) or starts > most:
        return math.nan
    return float(largest_pulse_share(max(starts, least)))


def _workings(name: str, pulse: FusePulse, surge: float, shares: dict[str, float]) -> Iterator[Working]:
    yield working(
        name, "I2t_f", "of one closing's surge through it", "I2t*c**2", pulse.surge_a2s, "A²s", SURGE,
        I2t=(surge, "A²s"), c=(shares[name], ""),
    )  # fmt: skip
    if not math.isnan(pulse.allowed_share):
        words = f"share of the melting I²t that each of {pulse.starts:g} pulses may bring"
        yield found(name, "p", words, pulse.allowed_share, "", PULSES, "between printed points straight on log axes")
