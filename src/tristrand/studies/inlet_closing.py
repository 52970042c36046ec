"""What flows as the contactors of a direct-current inlet close onto a supply that is not quite at the bus's voltage.

The pack lies behind its resistance; the bus capacitances lie bare behind the inlet's contactors and take the most. The
supply's own output capacitance, resistance and inductance are not in any design: it is taken as a source without them,
since every capacitance charged to the same voltage gives less. Inductances that are not given are taken as none.
"""

import math
from collections.abc import Iterator, Mapping
from functools import lru_cache
from typing import Any

from tristrand.design import Datum, Design
from tristrand.physics.circuit import Battery, Capacitor, Circuit, Inductor, Peak, Resistor, amp, transient
from tristrand.records import NamedTuple
from tristrand.studies.circuits import HvCircuit, Lead
from tristrand.studies.netlist import LEAST_OHM
from tristrand.studies.opening import SPREAD, lean, needed
from tristrand.studies.results import Missing, PackFigures

OVER = 6.0
"""Time constants after which only a swing that dies out is left, smaller than its first."""
SUPPLY = "supply"


class Piece(NamedTuple):
    """A conductor on the way, cold: the low ends of its resistance [ohm] and of its inductance [H], 0 if not given."""

    id: str
    a: str
    b: str
    ohm: float
    henry: float


class ClosingData(NamedTuple):
    """The inlet's poles, what conducts once its contactors are closed, packs and capacitances (their high ends).

    ``unknown``: cables whose inductance is not given, which leaves a bound only.
    """

    plus: str = ""
    minus: str = ""
    pieces: tuple[Piece, ...] = ()
    packs: tuple[tuple[str, str, str], ...] = ()
    stores: tuple[tuple[str, str, str, float], ...] = ()
    missing: tuple[Missing, ...] = ()
    unknown: tuple[Missing, ...] = ()


class Surge(NamedTuple):
    """The largest current [A], nan with what is ``missing``; with inductances that are ``unknown`` a bound of it."""

    peak_a: float
    missing: tuple[Missing, ...] = ()
    unknown: tuple[Missing, ...] = ()


def collect(design: Design, circuit: HvCircuit, inlet: str, contactors: tuple[str, ...]) -> ClosingData:
    """Main contactors and those of the inlet are closed, all others open; loads and bleeds take nothing."""
    closed = [c for c in circuit.contacts if c.role == "main" or c.id in contactors]
    pieces = [_lead(design, lead) for lead in circuit.leads]
    for item in circuit.series:
        sheet = design.sheet_of(item.id)
        ohm = sheet.resistance if item.kind == "fuse" else sheet.contact_resistance
        pieces.append(Piece(item.id, item.a, item.b, _least(ohm), 0.0))
    pieces += [Piece(c.id, c.a, c.b, _least(design.sheet_of(c.id).contact_resistance), 0.0) for c in closed]
    return ClosingData(
        f"{inlet}.plus",
        f"{inlet}.minus",
        tuple(pieces),
        tuple((p.id, p.plus, p.minus) for p in circuit.packs),
        tuple((d.id, d.plus, d.minus, d.farad.high) for d in circuit.devices if not d.farad.high <= 0.0),
        needed(circuit.missing, "temperature_rating", "close_time", "open_time"),
        tuple(
            Missing(f"parts/{x.cable}/inductance", f"inductance of {x.id}, without which the surge is but a bound")
            for x in circuit.leads
            if x.cable and math.isnan(x.inductance_h)
        ),
    )


def _least(ohm: Datum | None) -> float:
    return math.nan if ohm is None else max(ohm.low, LEAST_OHM)


def _lead(design: Design, lead: Lead) -> Piece:
    own: Any = design.high_voltage.connections[lead.id]
    share, henry = 1.0, 0.0
    if own.resistance is not None:
        share = own.resistance.low / own.resistance.value if own.resistance.value > 0.0 else 1.0
    elif (per_metre := design.sheets[own.cable].resistance) is not None:
        # The circuit holds the high end.
        share = per_metre.low / per_metre.high
    if own.inductance is not None:
        henry = own.inductance.low
    elif own.cable is not None and design.sheets[own.cable].inductance is not None:
        henry = design.sheets[own.cable].inductance.low * lead.length_m
    return Piece(lead.id, lead.a, lead.b, max(share * lead.ohm_20c, LEAST_OHM), max(henry, 0.0))


def surge(data: ClosingData, packs: Mapping[str, PackFigures], gaps: tuple[Missing, ...], difference_v: float) -> Surge:
    """The largest current that a difference of voltage [V] drives; ``gaps``: why figures of packs are missing."""
    missing = data.missing
    if math.isnan(difference_v):
        gap = Missing("high_voltage/fast_charging/closing_difference", "difference of voltage at closing")
        missing = (*missing, gap)
    if not data.packs or any(name not in packs for name, _, _ in data.packs):
        missing = (*missing, *(gaps or (Missing("high_voltage/parts", "a pack to be charged"),)))
    if missing:
        return Surge(math.nan, missing)
    least = tuple(
        (name, max(min(c.resistance_low_ohm for c in packs[name].corners), LEAST_OHM)) for name, _, _ in data.packs
    )
    # The circuit is linear: at twice the difference flows twice the current, whatever the bus's own voltage.
    per_volt = _per_volt(data, least)
    if math.isnan(per_volt):
        return Surge(math.nan, (SPREAD,))
    return Surge(per_volt * difference_v, (), data.unknown)


@lru_cache(maxsize=256)
def _per_volt(data: ClosingData, packs_ohm: tuple[tuple[str, float], ...]) -> float:
    """Largest current of the supply [A] as it closes 1 V ahead of a bus at rest; nan where the solver gives up."""
    ohm = dict(packs_ohm)
    items = list(_elements(data, ohm))
    small = lean(items, {data.plus, data.minus}, {SUPPLY})
    farad = math.fsum(store for *_, store in data.stores)
    henry = math.fsum(e.inductance_h for e in small if isinstance(e, Inductor))
    every_ohm = math.fsum(float(e.resistance_ohm) for e in small if isinstance(e, Resistor | Inductor))
    slow_s = every_ohm * farad + 2.0 * henry / min(ohm.values())
    until_s = OVER * slow_s + 2.0 * math.pi * math.sqrt(henry * farad) + 1e-9
    run = transient(Circuit(small), until_s, (), (Peak("i", amp(SUPPLY), absolute=True),))
    if run.status[0] != "completed":
        return math.nan
    return float(abs(run.peaks["i"][0][0]))


def _elements(data: ClosingData, packs_ohm: Mapping[str, float]) -> Iterator[Any]:
    """The change alone: whatever is the same before and after the closing is left out of it, the packs' voltage too."""
    yield Battery(SUPPLY, data.plus, data.minus, 1.0, LEAST_OHM)
    for piece in data.pieces:
        if piece.henry > 0.0:
            yield Inductor(piece.id, piece.a, piece.b, piece.henry, piece.ohm)
        else:
            yield Resistor(piece.id, piece.a, piece.b, piece.ohm)
    for name, plus, minus in data.packs:
        yield Resistor(name, plus, minus, packs_ohm[name])
    for name, plus, minus, store in data.stores:
        yield Capacitor(f"{name}:C", plus, minus, store, 0.0)
