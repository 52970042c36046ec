"""What the study of charging needs of a design, as plain frozen data, and what the design leaves out."""

import math
from itertools import pairwise
from typing import Any

from tristrand.design import Datum, Design
from tristrand.records import NamedTuple
from tristrand.studies.circuits import HvCircuit, Needs, hv_circuit
from tristrand.studies.inlet_closing import ClosingData
from tristrand.studies.inlet_closing import collect as closing_of
from tristrand.studies.results import Missing
from tristrand.studies.slices import wiring

MILD_C = 25.0
Ends = tuple[float, float, float]
UNKNOWN: Ends = (math.nan, math.nan, math.nan)


class SupplyData(NamedTuple):
    """One supply and its cable; nan where something is not given. ``pilot`` is a duty of 0 to 1."""

    id: str
    kind: str
    phases: int
    volt: Ends
    amp: Ends
    circuit_a: float
    pilot: Ends
    cable_a: float
    proximity_ohm: Ends


class ChargerData(NamedTuple):
    """The charger. ``low_w`` and ``low_share``: its efficiency at a small power, nan where not given.

    ``share_ends`` and ``power_factor_ends``: low and high end; ``output_most_a``: high end of its output current.
    """

    id: str
    phases: int
    one_phase_too: bool
    volt: tuple[float, float]
    amp: Ends
    power_factor: float
    power_factor_ends: tuple[float, float]
    rated_w: Ends
    output_a: float
    output_most_a: float
    share: float
    share_ends: tuple[float, float]
    low_w: float
    low_share: float
    farad: float
    bleed_ohm: float


class CellTable(NamedTuple):
    """A table by temperature and state of charge."""

    temperature_c: tuple[float, ...]
    soc: tuple[float, ...]
    rows: tuple[tuple[float, ...], ...]


class PackCharge(NamedTuple):
    """The pack as charging sees it; currents are of the whole pack."""

    id: str
    series: int
    parallel: int
    charge_c: float
    ocv_soc: tuple[float, ...]
    ocv_v: tuple[float, ...]
    ohm: CellTable
    link_ohm: float
    cell_v: float
    cutoff_a: float
    table: CellTable
    limit_a: float
    start_soc: float
    temperature_c: tuple[float, float]


class FastData(NamedTuple):
    """Charging from direct current. ``by_table``: whether the pack's table holds the current; None: not said.

    ``closing``: the circuit that the inlet's contactors close.
    """

    inlet: str
    contactors: tuple[str, ...]
    amp: float
    difference_v: float
    by_table: bool | None
    marked: tuple[tuple[str, str], ...]
    closing: ClosingData = ClosingData()


class ChargingInputs(NamedTuple):
    """Everything, with the gaps: of the whole, of alternating current (``ac_missing``) and of direct current."""

    circuit: HvCircuit
    pack: PackCharge | None = None
    target_soc: float = math.nan
    charger: ChargerData | None = None
    supplies: tuple[SupplyData, ...] = ()
    inlet_type: str = ""
    inlet_a: float = math.nan
    inlet_phases: int = 1
    by_table: bool = False
    low_voltage_w: float = math.nan
    converter_share: float = 1.0
    fast: FastData | None = None
    missing: tuple[Missing, ...] = ()


def collect(design: Design) -> ChargingInputs:
    """Collect what charging needs; a design with neither charger nor inlet needs nothing."""
    circuit = wiring(hv_circuit(design))
    high_voltage = design.high_voltage
    section, fast = high_voltage.charging, high_voltage.fast_charging
    chargers, inlets = design.parts_of("charger"), design.parts_of("inlet")
    if not (chargers or inlets or section or fast):
        return ChargingInputs(circuit)
    needs = Needs(design)
    if chargers:
        needs.of("high_voltage/charging", section, f"how {', '.join(chargers)} is used: supplies, cable, inlet")
    if inlets:
        needs.of("high_voltage/fast_charging", fast, f"how {', '.join(inlets)} is used: contactors, supply, current")
    _only_one(needs, chargers, section.charger if section else None, "charging/charger")
    _only_one(needs, inlets, fast.inlet if fast else None, "fast_charging/inlet")
    pack = _pack(design, needs)
    found = ChargingInputs(circuit, pack)
    if section is not None:
        found = _alternating(design, needs, section, found)
    if fast is not None:
        found = found._replace(fast=_direct(design, needs, fast))
        if section is None and pack is not None:
            found = found._replace(target_soc=_top(design, pack.id))
    if pack is not None and not rises_to(pack, found.target_soc):
        part: Any = high_voltage.parts[pack.id]
        what = f"open-circuit voltage of {pack.id} from its least charge to the target, nowhere falling"
        needs.missing.append(Missing(f"parts/{part.sheet}/open_circuit_voltage", what))
    return found._replace(missing=tuple(needs.missing))


def rises_to(pack: PackCharge, target: float) -> bool:
    """Whether the open-circuit voltage is given, and does not fall, from the least charge to the target (nan: full)."""
    top = 1.0 if math.isnan(target) else target
    covered = pack.ocv_soc[0] <= pack.start_soc and top <= pack.ocv_soc[-1]
    return covered and all(b >= a for a, b in pairwise(pack.ocv_v))


def _only_one(needs: Needs, parts: dict[str, Any], used: str | None, key: str) -> None:
    """A second charger or inlet would go unlooked at: that is said, never passed over."""
    for name in parts:
        if used is not None and name != used:
            needs.missing.append(Missing(f"high_voltage/{key}", f"charging by {name}: one is looked at, {used}"))


def _top(design: Design, pack_id: str) -> float:
    part: Any = design.high_voltage.parts[pack_id]
    return float(part.state_of_charge.maximum.value)


def _number(datum: Datum | None, end: str = "value") -> float:
    return math.nan if datum is None else float(getattr(datum, end))


def _ends(datum: Datum | None) -> Ends:
    return UNKNOWN if datum is None else (datum.low, datum.value, datum.high)


def _pack(design: Design, needs: Needs) -> PackCharge | None:
    packs = design.parts_of("pack")
    if len(packs) != 1:
        what = f"charging of {len(packs)} packs: it is computed for one" if packs else "a pack to be charged"
        needs.missing.append(Missing("high_voltage/parts", what))
        return None
    pack_id, part = next(iter(packs.items()))
    sheet = design.sheet_of(pack_id)
    before = len(needs.missing)
    for field, what in (
        ("cells_in_series", "cells in series"),
        ("cells_in_parallel", "cells in parallel"),
        ("cell_capacity", "cell capacity"),
        ("open_circuit_voltage", "open-circuit voltage"),
        ("cell_resistance", "cell resistance"),
        ("link_resistance", "resistance of links"),
        ("charge_voltage", "charging voltage of one cell"),
        ("charge_table", "largest charge current by temperature and charge"),
        ("charge_cutoff_current", "current at which charging ends"),
    ):
        needs.of(f"parts/{part.sheet}/{field}", getattr(sheet, field), f"{what} of {pack_id}")
    here = f"high_voltage/parts/{pack_id}"
    soc = needs.of(f"{here}/state_of_charge", part.state_of_charge, f"range of charge of {pack_id}")
    warm = needs.of(f"{here}/temperature", part.temperature, f"range of temperature of {pack_id}")
    if len(needs.missing) > before or soc is None or warm is None:
        return None
    ocv, ohm, table = sheet.open_circuit_voltage, sheet.cell_resistance, sheet.charge_table
    return PackCharge(
        id=pack_id,
        series=sheet.cells_in_series,
        parallel=sheet.cells_in_parallel,
        charge_c=sheet.cells_in_parallel * sheet.cell_capacity.value,
        ocv_soc=tuple(d.value for d in ocv.state_of_charge),
        ocv_v=tuple(d.value for d in ocv.voltage),
        ohm=_table(ohm.temperature, ohm.state_of_charge, ohm.resistance, "high"),
        link_ohm=sheet.link_resistance.high,
        cell_v=sheet.charge_voltage.value,
        cutoff_a=sheet.charge_cutoff_current.value,
        # The low end: what is certainly allowed.
        table=_table(table.temperature, table.state_of_charge, table.current, "low"),
        limit_a=_number(sheet.charge_current, "low"),
        start_soc=soc.minimum.value,
        temperature_c=(warm.minimum.value, warm.maximum.value),
    )


def _table(temperatures: list[Datum], socs: list[Datum], rows: list[list[Datum]], end: str) -> CellTable:
    values = tuple(tuple(float(getattr(d, end)) for d in row) for row in rows)
    return CellTable(tuple(d.value for d in temperatures), tuple(d.value for d in socs), values)


def _alternating(design: Design, needs: Needs, section: Any, found: ChargingInputs) -> ChargingInputs:
    here = "high_voltage/charging"
    charger_id = needs.of(f"{here}/charger", section.charger, "the charger that is used")
    target = needs.of(f"{here}/target", section.target, "state of charge at which a session ends")
    draw = needs.of(f"{here}/low_voltage_draw", section.low_voltage_draw, "power of the 12 V side while charging")
    inlet = needs.of(f"{here}/inlet", section.inlet, "inlet for alternating current")
    if inlet is not None:
        needs.of(f"{here}/inlet/rated_current", inlet.rated_current, "rated current of the inlet")
    if not section.supplies:
        needs.of(f"{here}/supplies", None, "a supply at which the vehicle is charged")
    type_2 = inlet is not None and inlet.type == "type_2"
    return found._replace(
        target_soc=_number(target),
        charger=_charger(design, needs, charger_id) if charger_id is not None else None,
        supplies=tuple(_supply(needs, key, s, section.cable, type_2) for key, s in section.supplies.items()),
        inlet_type=inlet.type if inlet is not None else "",
        inlet_a=_number(inlet.rated_current if inlet is not None else None, "low"),
        inlet_phases=inlet.phases if inlet is not None else 1,
        by_table=section.current_control == "table",
        low_voltage_w=_number(draw, "high"),
        converter_share=_converter(design, needs),
    )


def _converter(design: Design, needs: Needs) -> float:
    """Efficiency of the DC-DC converter; 1 where none feeds the 12 V side from the bus."""
    shares = [needs.number(key, "efficiency", "efficiency") for key in design.parts_of("dcdc")]
    return min(shares, default=1.0)


def _charger(design: Design, needs: Needs, charger_id: str) -> ChargerData:
    part: Any = design.high_voltage.parts[charger_id]
    sheet = design.sheet_of(charger_id)
    base = f"parts/{part.sheet}"
    given = needs.of(f"{base}/input", sheet.input, f"supply side of {charger_id}: voltage, current, phases")
    rated = needs.sheet(charger_id, "rated_power", "rated power")
    low = needs.of(f"{base}/low_power", sheet.low_power, f"efficiency at a small power of {charger_id}")
    return ChargerData(
        id=charger_id,
        phases=given.phases if given else 1,
        one_phase_too=bool(given and given.one_phase_too),
        volt=(given.voltage.minimum.high, given.voltage.maximum.low) if given else (math.nan, math.nan),
        amp=_ends(given.current if given else None),
        power_factor=_number(given.power_factor if given else None),
        power_factor_ends=_ends(given.power_factor if given else None)[::2],
        rated_w=_ends(rated),
        output_a=needs.number(charger_id, "output_current", "output current"),
        output_most_a=_number(sheet.output_current, "high"),
        share=needs.number(charger_id, "efficiency", "efficiency"),
        share_ends=(_number(sheet.efficiency, "low"), _number(sheet.efficiency, "high")),
        low_w=_number(low.input_power if low else None),
        low_share=_number(low.efficiency if low else None),
        farad=_number(sheet.output_capacitance, "high"),
        bleed_ohm=_number(sheet.bleed_resistance, "high"),
    )


def _supply(needs: Needs, key: str, supply: Any, carried: Any, type_2: bool) -> SupplyData:
    here = f"high_voltage/charging/supplies/{key}"
    needs.of(f"{here}/voltage", supply.voltage, f"voltage of {key}")
    needs.of(f"{here}/current", supply.current, f"current of {key}")
    needs.of(f"{here}/branch_circuit", supply.branch_circuit, f"rating of the circuit ahead of {key}")
    if supply.kind != "socket":
        needs.of(f"{here}/pilot_duty", supply.pilot_duty, f"pilot duty of {key}")
    cable, at = (
        (supply.cable, f"{here}/cable") if supply.cable is not None else (carried, "high_voltage/charging/cable")
    )
    needs.of(at, cable, f"the cable used at {key}")
    if cable is not None:
        needs.of(f"{at}/current", cable.current, f"what the cable at {key} carries")
        # Type 1 codes no current: its resistor is looked at where it is given.
        needs.of(f"{at}/proximity", cable.proximity, f"resistor in the plug of the cable at {key}", optional=not type_2)
    return SupplyData(
        id=key,
        kind=supply.kind,
        phases=supply.phases,
        volt=_ends(supply.voltage),
        amp=_ends(supply.current),
        circuit_a=_number(supply.branch_circuit, "low"),
        pilot=_ends(supply.pilot_duty),
        cable_a=_number(cable.current if cable is not None else None, "low"),
        proximity_ohm=_ends(cable.proximity if cable is not None else None),
    )


def _direct(design: Design, needs: Needs, fast: Any) -> FastData:
    here = "high_voltage/fast_charging"
    supply = needs.of(f"{here}/supply", fast.supply, "voltage and current of the direct-current supply")
    asked = needs.of(f"{here}/current", fast.current, "the most that the vehicle asks for")
    difference = needs.of(f"{here}/closing_difference", fast.closing_difference, "difference of voltage at closing")
    amp = min(supply.current.high, asked.high) if supply is not None and asked is not None else math.nan
    marked = tuple((key, part.marked_plus or "") for key, part in design.parts_of("contactor").items())
    common = design.high_voltage.charging
    control = fast.current_control or (common.current_control if common is not None else None)
    needs.of(f"{here}/current_control", control, "what holds the current of direct-current charging: table or fixed")
    by_table = None if control is None else control == "table"
    contactors = tuple(fast.contactors)
    closing = closing_of(design, hv_circuit(design), fast.inlet, contactors)
    return FastData(fast.inlet, contactors, amp, _number(difference, "high"), by_table, marked, closing)
