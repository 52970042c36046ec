"""The surge that every start drives through a fuse, and the melting I²t that outlives them all.

Capacitors behind a fuse are charged through it by what precharge leaves as the main contactors close, or by the whole
voltage where a contactor of the branch connects them to a bus that is up.
"""

import math
from collections.abc import Mapping

from tristrand.physics.fuses import needed_melting_a2s
from tristrand.physics.loops import converter_inrush
from tristrand.records import NamedTuple
from tristrand.studies.circuits import HvCircuit
from tristrand.studies.results import Branch, BranchFuse
from tristrand.studies.separators import in_series_with_packs

NAN = math.nan
PULSES, FEWEST = 1e5, 100.0
"""The most and the fewest pulses that the fuse guide prints a share for (FUSE-GUIDE#pulse cycle life)."""


class Bus(NamedTuple):
    """The voltages of the packs that feed the bus, those in series added up, what precharge leaves, and who needs what.

    ``needed``: the conductors that every device cannot do without; ``serves``: the devices behind every conductor;
    ``pack_ohm``: the least resistance of the one pack [Ω], nan where there are several; ``equalises``: a pack is
    connected to a bus that another one has charged, and what flows between them is not worked out.
    """

    least_v: float
    highest_v: float
    residual_v: float
    surge_a2s: float
    held_open: tuple[str, ...]
    needed: Mapping[str, tuple[str, ...]]
    serves: Mapping[str, tuple[str, ...]]
    pack_ohm: float
    equalises: bool

    def part_of_it(self, item: str) -> bool:
        """Whether some devices need this conductor and some do not: it lies in a branch."""
        return len(self.serves.get(item, ())) < len(self.needed)


def surge_of(
    circuit: HvCircuit, fuse: str, share: float, starts: float, branches: Mapping[str, Branch], bus: Bus
) -> BranchFuse | None:
    """The surge through one fuse at every start, and what the devices behind it may take for long.

    ``share``: its own continuous share; ``starts``: closings in the vehicle's life. None where no device and no pack
    has it in its way.
    """
    behind = bus.serves.get(fuse, ())
    ways = in_series_with_packs(circuit).values()
    if not behind and not any(fuse in way for way in ways):
        return None
    kinds = {branches[name].kind for name in behind}
    lasting = NAN if not behind or "inverter" in kinds else math.fsum(branches[name].lasting_a for name in behind)
    made = BranchFuse(fuse, behind, lasting, share, NAN, NAN, NAN, NAN, starts, NAN, "")
    # A fuse of one pack among several in parallel takes a part of the surge of all: the whole counts.
    if not behind or (len(bus.needed) > 1 and not bus.part_of_it(fuse)):
        made = _whole_bus(circuit, made, [b for b in branches.values() if b.live], bus)
    else:
        made = _branch(circuit, made, any(branches[name].live for name in behind), bus)
    if bus.equalises and any(fuse in way for way in ways):
        made = made._replace(joule_a2s=NAN)
    if not math.isnan(made.joule_a2s) and starts <= PULSES:
        made = made._replace(needed_a2s=float(needed_melting_a2s(made.joule_a2s, max(starts, FEWEST))))
    return made


def _whole_bus(circuit: HvCircuit, made: BranchFuse, late: list[Branch], bus: Bus) -> BranchFuse:
    """What precharge leaves, and after it every branch whose contactor connects it to a bus that is up.

    The pack is taken to charge such a branch alone: what the other capacitors give only flattens its current.
    """
    joule, words = bus.surge_a2s, "closing surge of precharge, whole bus"
    farads = {d.id: d.farad.high for d in circuit.devices}
    ohms = ohms_of(circuit)
    for branch in late:
        ohm = bus.pack_ohm + math.fsum(ohms[item] for item in bus.needed[branch.device])
        farad = farads[branch.device]
        if farad == 0:
            continue
        words += f", then {branch.device} connected to it"
        known = ohm > 0 and not math.isnan(bus.highest_v)
        joule += float(converter_inrush(bus.highest_v, ohm, farad).joule_integral_a2s) if known and farad > 0 else NAN
    return made._replace(step_v=bus.residual_v, joule_a2s=joule, words=words)


def _branch(circuit: HvCircuit, made: BranchFuse, live: bool, bus: Bus) -> BranchFuse:
    """Capacitors behind the fuse, charged through the branch alone: the other capacitors hold the bus up."""
    ohms = ohms_of(circuit)
    # What all devices behind the fuse share; what each has for itself would limit its own part further.
    shared = [item for item in bus.needed[made.devices[0]] if bus.serves[item] == made.devices]
    ohm = math.fsum(ohms[item] for item in shared)
    farad = math.fsum(d.farad.high for d in circuit.devices if d.id in made.devices)
    step = bus.highest_v if live else bus.residual_v
    words = "connected to a bus that is up" if live else "what precharge leaves as the main contactors close"
    made = made._replace(step_v=step, ohm=ohm, farad=farad, words=words)
    if not (ohm > 0 and farad > 0) or math.isnan(step):
        return made
    rush = converter_inrush(step, ohm, farad)
    return made._replace(joule_a2s=float(rush.joule_integral_a2s))


def ohms_of(circuit: HvCircuit) -> dict[str, float]:
    """Resistance of every conductor by id [Ω], cables at 20 °C."""
    ohms = {item.id: item.ohm_20c for item in circuit.leads}
    ohms |= {item.id: item.ohm for item in circuit.series}
    return ohms | {item.id: item.ohm for item in circuit.contacts}
