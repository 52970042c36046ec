"""Contactors: do the coils pull in, hold and let go, what do the contacts open, how long do they last, is a weld seen?

The parts of the answer stand in contactor_coils, contactor_duty and contactor_welds.
"""

import math

from tristrand.design import Design
from tristrand.records import NamedTuple
from tristrand.studies.circuits import HvCircuit, hv_circuit
from tristrand.studies.contactor_coils import DRIVING, CoilInputs, coil_figures, coil_inputs, coil_workings
from tristrand.studies.contactor_duty import NO_CASE, DutyInputs, duty_inputs, life_workings, lives, opened
from tristrand.studies.contactor_welds import WeldInputs, allowed_error, weld_inputs, weld_workings, welds
from tristrand.studies.results import (
    ChargingResult,
    ContactorsResult,
    Later,
    OperatingResult,
    PackResult,
    PrechargeResult,
    Working,
)
from tristrand.studies.slices import steady
from tristrand.studies.topology import chains


class ContactorsInputs(NamedTuple):
    """Coils, switching and weld check of all contactors, and the circuit for who stands on whom."""

    coils: CoilInputs
    duty: DutyInputs
    welds: WeldInputs
    circuit: HvCircuit


def inputs(design: Design) -> ContactorsInputs:
    """Collect what a design says about its contactors."""
    circuit = hv_circuit(design)
    return ContactorsInputs(
        coil_inputs(design), duty_inputs(design, circuit), weld_inputs(design, circuit), steady(circuit)
    )


def study(
    data: ContactorsInputs,
    packs: PackResult,
    operating: OperatingResult,
    precharge: PrechargeResult,
    charging: ChargingResult,
) -> ContactorsResult:
    """Judge every contactor; what is missing keeps only its own question open."""
    if not data.coils.coils:
        return ContactorsResult()
    coils = coil_figures(data.coils)
    currents = opened(data.duty, operating.cases, precharge) if operating.cases else {}
    volts = {name: figures.maximum_v for name, figures in packs.packs.items()}
    known = len(volts) == len(data.circuit.packs) > 0
    pack_v = max((chain.volts for chain in chains(data.circuit, volts)), default=math.nan) if known else math.nan
    unknown = () if operating.cases else operating.missing or (NO_CASE,)
    life = lives(data.duty, currents, precharge, charging, pack_v, unknown)
    seen = welds(data.welds, packs.packs) if known else {}
    blocking = (*packs.missing, *operating.missing)
    gaps = [m for figures in coils.values() for some in figures.missing.values() for m in some]
    gaps += [m for one in currents.values() for m in one.missing]
    gaps += [m for one in life.values() for m in one.missing]
    gaps += [m for weld in seen.values() for way in weld.ways for m in way.missing]
    holding = [coils[name].hold_a for name, role, _, _ in data.coils.coils if role in DRIVING]

    def lines() -> list[Working]:
        return [*coil_workings(data.coils, coils), *life_workings(life), *weld_workings(data.welds, seen)]

    return ContactorsResult(
        workings=Later(lines),
        missing=tuple(dict.fromkeys((*blocking, *gaps))),
        coils=coils,
        peak_a=math.fsum(figures.peak_a for figures in coils.values()),
        hold_a=math.fsum(holding),
        opened=currents,
        life=life,
        welds=seen,
        allowed_error=allowed_error(data.welds.ratio) if not math.isnan(data.welds.ratio) else math.nan,
        ratio=data.welds.ratio,
        delay_s=data.welds.delay_s,
        sensors=len(data.welds.sensors),
        blocking=blocking,
    )
