"""What contactors may have to open, in which direction, and how much of their life a vehicle's switching uses up.

Currents come from the cases that are computed. Of a charging inlet the most that the vehicle asks for there counts, or
the inlet's rated current, and the surge as its contactors close.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from tristrand.design import Datum, Design
from tristrand.physics.contactors import LifeTable, life_operations
from tristrand.records import NamedTuple
from tristrand.studies.circuits import HvCircuit
from tristrand.studies.contactor_ways import JUDGED, bypasses, inlet_entries
from tristrand.studies.results import (
    BRAKING,
    NO_ARC_A,
    CaseFlows,
    ChargingResult,
    InCase,
    LifeFigures,
    LifeShare,
    Missing,
    Opened,
    PrechargeResult,
    Working,
    found,
    working,
)

if TYPE_CHECKING:
    from tristrand.design.contactors import SwitchingLife

FAST = "high_voltage/fast_charging"
INLET = "charge by the inlet"
GIVEN_UP = "precharge given up"
CHARGING = ("charge", INLET)
DAMAGE = "MEMORY#linear damage sum"
LIFE = "CONTACTOR-SHEET-LIFE#make and break life"
NO_CASE = Missing("vehicle/modes", "a mode with a case in which current flows")


class Kind(NamedTuple):
    """One contactor's sheet as far as switching goes; its life tables in the order making, forward, backward."""

    id: str
    role: str
    sheet: str
    polarised: bool | None
    marked: str
    mechanical: int
    tables: tuple[LifeTable | None, LifeTable | None, LifeTable | None]
    first: bool = False
    """Said to close before precharge."""


class Planned(NamedTuple):
    """How often over the vehicle's life; None where not given. Without charger and inlet nothing charges."""

    starts: int | None
    charges: int | None
    openings: int | None
    openings_charging: int | None


class DutyInputs(NamedTuple):
    """Contactors and their planned switching.

    ``inlets``: contactors that an inlet's current runs through, with the terminal it enters and the current, nan where
    one of them is not known. ``bypasses``: each precharge contactor, the main contactor that it lies across, and the
    end of its own that hangs at terminal a of that.
    """

    kinds: tuple[Kind, ...]
    planned: Planned
    inlets: tuple[tuple[str, str, float], ...]
    bypasses: tuple[tuple[str, str, str], ...]
    missing: tuple[Missing, ...]


def duty_inputs(design: Design, circuit: HvCircuit) -> DutyInputs:
    """Collect what a design says about the switching of its contactors."""
    kinds = []
    for name, part in design.parts_of("contactor").items():
        sheet: Any = design.sheets[part.sheet]
        tables = (_table(sheet.making_life), _table(sheet.breaking_life), _table(sheet.breaking_life_reverse))
        life = sheet.mechanical_life or 0
        kinds.append(
            Kind(
                name,
                part.role,
                part.sheet,
                sheet.polarised,
                part.marked_plus or "",
                life,
                tables,
                part.closes == "before_precharge",
            )
        )
    given = design.high_voltage.switching_duty
    no_charge = None if design.parts_of("charger") or design.parts_of("inlet") else 0
    planned = Planned(
        getattr(given, "starts", None),
        getattr(given, "charges", None),
        getattr(given, "openings_under_load", None),
        _or(getattr(given, "openings_while_charging", None), no_charge),
    )
    inlets, missing = inlet_entries(design, circuit)
    return DutyInputs(tuple(kinds), planned, inlets, bypasses(circuit), missing)


def _or(given: int | None, other: int | None) -> int | None:
    return other if given is None else given


def _table(life: SwitchingLife | None) -> LifeTable | None:
    if life is None:
        return None
    return LifeTable(_values(life.voltage), _values(life.current), tuple(tuple(map(float, r)) for r in life.operations))


def _values(column: list[Datum]) -> tuple[float, ...]:
    return tuple(datum.value for datum in column)


def opened(data: DutyInputs, cases: Mapping[str, CaseFlows], precharge: PrechargeResult) -> dict[str, Opened]:
    """The largest currents of every main, charge and precharge contactor, with and against its mark."""
    inlets = {name: (end, amps) for name, end, amps in data.inlets}
    found = {k.id: _opened(k, cases, inlets.get(k.id), data.missing) for k in data.kinds if k.role in JUDGED}
    across = {name: (main, end) for name, main, end in data.bypasses}
    for k in data.kinds:
        if k.role == "precharge":
            main, end = across.get(k.id, ("", ""))
            found[k.id] = _given_up(k, precharge, _driving_ways(cases, main), main, end)
    return found


def _driving_ways(cases: Mapping[str, CaseFlows], name: str) -> tuple[float, float]:
    """The largest driving current through a contactor from a to b, and from b to a."""
    ways = [case.through.get(name, (0.0, 0.0)) for case in cases.values() if case.drives]
    return max((a for a, _ in ways), default=0.0), max((b for _, b in ways), default=0.0)


def _given_up(kind: Kind, precharge: PrechargeResult, driving: tuple[float, float], main: str, end: str) -> Opened:
    """Given up on a shorted bus, precharge is opened at the current that it began with."""
    if not main or main != precharge.bypassed or math.isnan(precharge.peak_current_a):
        gap = Missing(f"high_voltage/parts/{kind.id}", f"a precharge current through {kind.id}")
        return Opened(kind.role, kind.polarised, kind.marked, missing=precharge.missing or (gap,))
    current = InCase(precharge.peak_current_a, GIVEN_UP)
    entered = end if driving[0] >= driving[1] else ("b" if end == "a" else "a")
    result = Opened(kind.role, kind.polarised, kind.marked, driving=current, forward=current)
    if kind.polarised and kind.marked and kind.marked != entered:
        return result._replace(forward=InCase(), driving_against=current)
    return result


def _opened(
    kind: Kind, cases: Mapping[str, CaseFlows], inlet: tuple[str, float] | None, missing: tuple[Missing, ...]
) -> Opened:
    ways = [(name, *case.through.get(kind.id, (0.0, 0.0))) for name, case in cases.items()]
    if inlet is not None and inlet[0] and not math.isnan(inlet[1]):
        ways.append((INLET, inlet[1], 0.0) if inlet[0] == "a" else (INLET, 0.0, inlet[1]))
    gaps = missing if inlet is not None else ()
    # What flows at a corner without an operating point is not known, least of all that it is small.
    gaps += tuple(Missing("studies/operating", f"an operating point in case {k}") for k, c in cases.items() if c.failed)
    if kind.role == "charge" and inlet is None and not any(a or b for _, a, b in ways):
        gaps = (*gaps, Missing(f"high_voltage/parts/{kind.id}", f"a current through {kind.id}: no inlet leads to it"))
    elif kind.role == "main" and not gaps and not any(a or b for _, a, b in ways):
        gaps = (Missing(f"high_voltage/parts/{kind.id}", f"a case in which current flows through {kind.id}"),)
    either = [(name, max(a, b)) for name, a, b in ways]
    result = Opened(
        kind.role, kind.polarised, kind.marked, missing=gaps,
        driving=_largest([way for way in either if way[0] not in (*CHARGING, BRAKING)]),
        charging=_largest([way for way in either if way[0] in CHARGING]),
        braking=_largest([way for way in either if way[0] == BRAKING]),
    )  # fmt: skip
    if not (kind.polarised and kind.marked):
        every = kind.polarised is False or kind.role == "charge"
        return result._replace(forward=_largest(either) if every else result.driving)
    ahead = kind.marked == "a"
    against = [(name, b if ahead else a) for name, a, b in ways]
    return result._replace(
        forward=_largest([(name, a if ahead else b) for name, a, b in ways]),
        driving_against=_largest([way for way in against if way[0] not in (*CHARGING, BRAKING)]),
        charging_against=_largest([way for way in against if way[0] in CHARGING]),
        braking_against=_largest([way for way in against if way[0] == BRAKING]),
    )


def _largest(ways: list[tuple[str, float]]) -> InCase:
    name, amps = max(ways, key=lambda way: way[1], default=("", 0.0))
    return InCase(amps, name) if amps > 0.0 else InCase()


def lives(
    data: DutyInputs,
    currents: Mapping[str, Opened],
    surge: PrechargeResult,
    charging: ChargingResult,
    pack_v: float,
    unknown: tuple[Missing, ...] = (),
) -> dict[str, LifeFigures]:
    """The life that the planned switching uses up of every contactor; ``unknown``: why there are no currents."""
    closings = {k.id: _closing(k, surge, charging) for k in data.kinds}
    lost = {k.id: unknown for k in data.kinds if k.role in JUDGED and k.id not in currents}
    lost |= {name: current.missing for name, current in currents.items() if current.role in JUDGED}
    return {
        k.id: _life(k, data.planned, currents.get(k.id), closings[k.id], pack_v, lost.get(k.id, ())) for k in data.kinds
    }


class Closing(NamedTuple):
    """What a contactor closes onto: in which words, the current (0: none worth the name), and what is missing."""

    name: str
    current_a: float
    missing: tuple[Missing, ...] = ()


def _closing(kind: Kind, surge: PrechargeResult, charging: ChargingResult) -> Closing:
    """The residual of precharge for the contactor that it bypasses; for those of an inlet the supply's difference.

    Of two contactors in the inlet's loop the one that closes last makes the current. Either may: both count it.
    """
    if kind.role == "main":
        gap = Missing("high_voltage/parts", f"a precharge that says what {kind.id} closes onto")
        missing = () if surge.attempts else surge.missing or (gap,)
        unseen = _unseen(kind, surge)
        if unseen:
            return Closing("closings", math.nan, (*missing, unseen))
        return Closing("closings", surge.surge_current_a if kind.id == surge.bypassed else 0.0, missing)
    if kind.role != "charge":
        return Closing("closings", 0.0)
    fast = charging.fast
    if fast is not None and kind.id in fast.contactors:
        return Closing("closings_onto_supply", fast.surge_a, fast.surge_missing)
    gaps = [m for m in charging.missing if m.pointer.startswith(FAST)] if fast is None else []
    what = f"the voltage that {kind.id} closes onto: it is no contactor of the inlet for direct current"
    return Closing("", math.nan, tuple(gaps) or (Missing(f"high_voltage/parts/{kind.id}", what),))


def _unseen(kind: Kind, surge: PrechargeResult) -> Missing | None:
    """Why the current as a main contactor closes is not worked out, where it is not."""
    if kind.id in surge.held_open:
        return Missing("studies/precharge", f"what {kind.id} closes onto: a bus that another pack has charged")
    if kind.id in surge.also_bypassed:
        return Missing("studies/precharge", f"what {kind.id} closes onto: a precharge that is not computed")
    # One that precharge bypasses and that is said to close first closes onto an empty bus: HV006 says so.
    if (kind.id in surge.branch_contactors and not kind.first) or (kind.id == surge.bypassed and kind.first):
        return Missing(f"high_voltage/parts/{kind.id}/closes", f"what {kind.id} closes onto after precharge")
    return None


def _life(
    kind: Kind,
    planned: Planned,
    current: Opened | None,
    closing: Closing,
    pack_v: float,
    unknown: tuple[Missing, ...],
) -> LifeFigures:
    missing: list[Missing] = [*unknown] if planned.openings or planned.openings_charging else []
    closings = {"charges": planned.charges}
    if kind.role != "charge":
        closings["starts"] = planned.starts
    missing += [_unplanned(name) for name, number in closings.items() if number is None]
    count = sum(number or 0 for number in closings.values())
    if not kind.mechanical:
        missing.append(Missing(f"parts/{kind.sheet}/mechanical_life", f"mechanical life of {kind.id}"))
    # What never closes needs no word on what it closes onto.
    missing += closing.missing if kind.role == "main" or count else ()
    shares = []
    for name, number, amps, field, table in _events(kind, planned, current, closing, count):
        if number is None:
            missing += [] if name == "openings_braking" else [_unplanned(name)]
            continue
        if number == 0 or amps < NO_ARC_A:
            continue
        pointer = f"parts/{kind.sheet}/{field}"
        if table is None:
            missing.append(Missing(pointer, f"{field.replace('_', ' ')} of {kind.id}"))
            continue
        life = math.nan if math.isnan(amps + pack_v) else _survives(amps, pack_v, table)
        if math.isnan(life):
            words = f"points that cover {amps:.5g} A at {pack_v:.0f} V, for {kind.id}"
            missing.append(Missing(pointer, "a current to look up in it" if math.isnan(amps) else words))
            continue
        shares.append(LifeShare(_WORDS[name], number, amps, pack_v, life, number / life))
    # Opened under load the vehicle drives or brakes: whichever wears more counts for all these openings.
    moving = sorted((s for s in shares if s.kind in MOVING), key=lambda s: s.share)
    shares = [s for s in shares if s not in moving[:-1]]
    mechanical = count / kind.mechanical if kind.mechanical else math.nan
    total = math.fsum(s.share for s in shares)
    return LifeFigures(tuple(shares), total, mechanical, count, tuple(missing))


_WORDS = {
    "closings": "closing after precharge", "closings_onto_supply": "closing onto a supply",
    "openings_under_load": "opening while driving", "openings_while_charging": "opening while charging",
    "openings_braking": "opening while braking",
}  # fmt: skip
MOVING = (_WORDS["openings_under_load"], _WORDS["openings_braking"])


def _unplanned(name: str) -> Missing:
    return Missing(f"high_voltage/switching_duty/{name}", f"{name.replace('_', ' ')} in the vehicle's life")


Event = tuple[str, int | None, float, str, LifeTable | None]


def _events(kind: Kind, planned: Planned, current: Opened | None, closing: Closing, closings: int) -> Iterator[Event]:
    """What wears the contacts of a contactor: name, how often, at which current, field and table of its life."""
    making, forward, backward = kind.tables
    if not closing.missing and closing.current_a != 0.0:
        yield closing.name, closings, closing.current_a, "making_life", making
    if current is None or kind.role not in JUDGED:
        return
    if kind.role == "main":
        turned = current.driving_against.current_a >= current.driving.current_a > 0.0
        yield (
            "openings_under_load", planned.openings, current.driving.current_a,
            *(("breaking_life_reverse", backward) if turned else ("breaking_life", forward)),
        )  # fmt: skip
    for name, number, most, turned_a in (
        ("openings_braking", planned.openings, current.braking.current_a, current.braking_against.current_a),
        (
            "openings_while_charging", planned.openings_charging, current.charging.current_a,
            current.charging_against.current_a,
        ),
    ):  # fmt: skip
        # Where both directions are alike, or where nothing is marked, a sheet may have but one table.
        against = turned_a >= most > 0.0
        if not (kind.polarised and kind.marked):
            against = kind.role == "main" and not (kind.polarised is False and backward is None)
        yield (name, number, most, *(("breaking_life_reverse", backward) if against else ("breaking_life", forward)))


@lru_cache(maxsize=512)
def _survives(amps: float, volts: float, table: LifeTable) -> float:
    return float(life_operations(amps, volts, table))


def life_workings(figures: Mapping[str, LifeFigures]) -> Iterator[Working]:
    """Every look-up of a life and the sum of the shares."""
    for name, life in figures.items():
        for n, share in enumerate(life.kinds, 1):
            where = f"operations that it survives, {share.kind}, {share.current_a:.4g} A at {share.voltage_v:.4g} V"
            method = "between the points of its sheet straight in logarithms"
            yield found(name, f"N_{n}", where, share.life, "", LIFE, method)
            yield working(
                name, f"D_{n}", f"share of its life used up, {share.kind}", "n/N", share.share, "", DAMAGE,
                n=(float(share.operations), ""), N=(share.life, ""),
            )  # fmt: skip
