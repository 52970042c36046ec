"""Workings and curves of the study of charging, written out when they are looked at."""

import math
from collections.abc import Iterator

from tristrand.physics.discharge import TOUCH_LIMIT_V
from tristrand.studies.charging_chain import beside_w, drive_of, loss_of
from tristrand.studies.charging_plan import ChargerData, ChargingInputs
from tristrand.studies.charging_session import FINE, conditions, every_link, run
from tristrand.studies.results import (
    ChargingResult,
    FastFigures,
    Series,
    SessionFigures,
    SupplyFigures,
    Working,
    found,
    working,
)

CHAIN = "CLOSED-FORM#a chain carries what its weakest link carries"
BALANCE = "CLOSED-FORM#energy balance of the charger"
SOLVER = "NUMERICS#circuit solver, transient"
PIECES = "CLOSED-FORM#charging through a resistance, open-circuit voltage straight by pieces"


def workings(data: ChargingInputs, result: ChargingResult) -> Iterator[Working]:
    """Every line of the calculation that a reader can check."""
    pack, charger = data.pack, data.charger
    if pack is not None:
        yield working(
            pack.id, "V_limit", "voltage at which charging is held", "n*v", result.limit_v, "V",
            "CLOSED-FORM#cells in series", n=(pack.series, "1"), v=(pack.cell_v, "V"),
        )  # fmt: skip
    if charger is not None:
        yield from _charger_lines(data, charger, result)
        for supply in result.supplies.values():
            yield from _supply_lines(data, charger, supply)
    if result.fast is not None:
        yield from _closing_line(data, result.fast)
        for one in result.fast.sessions:
            yield from _session_lines(result.fast.inlet, one)


def _closing_line(data: ChargingInputs, fast: FastFigures) -> Iterator[Working]:
    if math.isnan(fast.surge_a) or data.fast is None:
        return
    method = "circuit solver on the whole topology: the inlet's contactors close onto a supply without resistance or "
    method += "inductance of its own, off the bus by the difference; bus capacitances at their high ends, pack at its "
    method += "lowest resistance, conductors cold, resistances and inductances at their low ends"
    method += ", some inductance not given: an upper bound" if fast.surge_unknown else ""
    words = f"largest current as the contactors close at {data.fast.difference_v:.4g} V of difference"
    yield found(fast.inlet, "I_close", words, fast.surge_a, "A", SOLVER, method)


def _charger_lines(data: ChargingInputs, charger: ChargerData, result: ChargingResult) -> Iterator[Working]:
    if 0.0 < result.own_discharge_s < math.inf:
        yield working(
            charger.id, "t_60", "its output down to 60 V through its own resistance alone", "R*C*ln(V/V_60)",
            result.own_discharge_s, "s", "CLOSED-FORM#first-order RC discharging", R=(charger.bleed_ohm, "Ω"),
            C=(charger.farad, "F"), V=(result.limit_v, "V"), V_60=(TOUCH_LIMIT_V, "V"),
        )  # fmt: skip
    beside = beside_w(data)
    if not math.isnan(beside):
        yield working(
            charger.id, "P_12", "power that the 12 V side takes from the bus", "P/e", beside, "W",
            "CLOSED-FORM#energy balance of the converter", P=(data.low_voltage_w, "W"), e=(data.converter_share, "1"),
        )  # fmt: skip


def _supply_lines(data: ChargingInputs, charger: ChargerData, supply: SupplyFigures) -> Iterator[Working]:
    if math.isnan(supply.pack_w):
        return
    about, loss = supply.supply, loss_of(charger)
    named = f"current per phase, set by: {supply.smallest}"
    every = ", ".join(f"{name} {amps:.4g} A" for name, amps in supply.links)
    yield found(about, "I", named, supply.drawn_a[1], "A", CHAIN, f"smallest of {every}")
    yield working(
        about, "P_ac", "power from the supply", "n*V*I*pf", supply.supply_w, "W",
        "CLOSED-FORM#power of one and of three phases", n=(supply.phases, "1"), V=(supply.phase_v[1], "V"),
        I=(supply.drawn_a[1], "A"), pf=(charger.power_factor, "1"),
    )  # fmt: skip
    if supply.bus_w > 0:
        yield working(
            about, "P_bus", "power into the bus, less the charger's loss", "P_ac*(1 - k) - P_idle", supply.bus_w, "W",
            BALANCE, P_ac=(supply.supply_w, "W"), k=(loss.per_w, "1"), P_idle=(loss.idle_w, "W"),
        )  # fmt: skip
    yield working(
        about, "P_pack", "power left for the pack", "P_bus - P_12", supply.pack_w, "W", BALANCE,
        P_bus=(supply.bus_w, "W"), P_12=(supply.low_voltage_w, "W"),
    )  # fmt: skip
    for one in supply.sessions:
        yield from _session_lines(about, one)
        yield from _first_line(data, supply, one)
        if one.reached:
            yield working(
                about, "E_ac", f"energy from the supply, {one.name}", "(E_oc + E_heat + E_12 + P_idle*t)/(1 - k)",
                one.supply_j / 3.6e6, "kWh", BALANCE, E_oc=(one.stored_j / 3.6e6, "kWh"),
                E_heat=(one.heat_j / 3.6e6, "kWh"), E_12=(one.low_voltage_j / 3.6e6, "kWh"),
                P_idle=(loss.idle_w / 1e3, "kW"), t=(one.seconds / 3600.0, "h"), k=(loss.per_w, "1"),
            )  # fmt: skip


def _first_line(data: ChargingInputs, supply: SupplyFigures, one: SessionFigures) -> Iterator[Working]:
    """The current at the start, with everything that might have set it."""
    drive = drive_of(data, supply)
    if drive is None or data.pack is None or not one.first_by:
        return
    at = next(c for c in conditions(data.pack, data.target_soc) if c.name == one.name)
    every = ", ".join(f"{name} {amps:.4g} A" for name, amps in every_link(data.pack, at, drive).items())
    words = f"current into the pack at the start, {one.name}, set by: {one.first_by}"
    yield found(supply.supply, "I_0", words, one.first_a, "A", CHAIN, f"smallest of {every}")


def _session_lines(about: str, one: SessionFigures) -> Iterator[Working]:
    yield found(
        about, "R", f"pack resistance, {one.name}, the largest on the way", one.resistance_ohm, "Ω",
        "NUMERICS#bilinear interpolation", "read from the cell's table, then Ns r/Np + links",
    )  # fmt: skip
    if one.reached:
        words = f"{one.seconds / 3600 - one.held_s / 3600:.4g} h by current or power, then {one.held_s / 60:.3g} min"
        yield found(
            about, "t", f"time to the target, {one.name}", one.seconds / 3600.0, "h", PIECES,
            f"summed over pieces between table points and changes of limit: {words} at constant voltage",
        )  # fmt: skip


def curves(data: ChargingInputs, result: ChargingResult) -> Iterator[Series]:
    """Power into the pack and state of charge over time at the main supply, cells mild."""
    if data.pack is None or not result.supplies:
        return
    main = next(iter(result.supplies.values()))
    drive = drive_of(data, main)
    mild = next((s for s in main.sessions if s.name == "mild" and s.end_soc > result.start_soc), None)
    if drive is None or mild is None:
        return
    at = conditions(data.pack, data.target_soc, FINE)[1]
    ran = run(data.pack, at, data.target_soc, drive)
    hours = tuple(float(t) / 3600.0 for t in ran.time_s)
    kilowatts = tuple(float(p) / 1e3 for p in ran.current_a * ran.terminal_v)
    percent = tuple(100.0 * float(s) for s in ran.soc)
    yield Series("power", "time", "h", "power into the pack", "kW", hours, kilowatts, main.supply)
    yield Series("charge", "time", "h", "state of charge", "%", hours, percent, main.supply)
