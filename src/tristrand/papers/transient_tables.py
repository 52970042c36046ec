"""Precharge and discharge as tables of text."""

from __future__ import annotations

import math
from collections.abc import Mapping

from tristrand.papers.tables import NOT_KNOWN, Cell, Table, pairs, row, value
from tristrand.studies.results import DischargeResult, PrechargeAttempt, PrechargeResult


def precharge_tables(result: PrechargeResult) -> list[Table]:
    """Times, windows, resistor and surge; then every attempt at the ends of the tolerances."""
    # Without a run nothing was computed: the section names what is missing, and "never" would be untrue.
    if not result.contactor or not result.attempts:
        return []
    never = "never reached"
    rows = [
        (
            "Target",
            value(result.target, "share"),
            f"of pack voltage; {result.bypassed or 'the main contactor'} closes then",
        ),
        (
            "Time to the target",
            _times(result.fastest_s, result.slowest_s),
            "fastest and slowest attempt, sensors erring early and late",
        ),
        (
            "Window",
            f"{_time(result.earliest_s, 'no earliest time')} to {_time(result.timeout_s, 'no time-out')}",
            "sooner is taken as a fault; later gives up",
        ),
        ("Bus comes to rest at", value(result.plateau_share, "share"), "of pack voltage, lowest over the tolerances"),
        ("Load on the bus meanwhile", value(result.connected_load_w, "W"), _loads(result.loads)),
        (
            "Largest tolerable load",
            value(result.tolerable_load_w, "W"),
            "as constant power" + _said("; as a resistance, above {}", result.tolerable_load_ohm, "Ω"),
        ),
        ("Resistor energy", value(result.pulse_energy_j, "J"), f"one attempt, {result.resistor}"),
        (
            "Largest power and current",
            f"{value(result.peak_power_w, 'W')}, {value(result.peak_current_a, 'A')}",
            result.resistor,
        ),
        (
            "Resistor after all attempts",
            value(result.temperature_after_attempts_c, "°C"),
            _said("lock-out needed: {}", result.lockout_s, "s"),
        ),
        (
            "On a shorted bus",
            value(result.short_power_w, "W"),
            _said("a time-out up to {} saves the resistor", result.short_timeout_s, "s"),
        ),
        (
            "Voltage left at closing",
            value(result.residual_v, "V"),
            _said("{} of pack voltage, sensors erring early", result.residual_share, "share") + _if_ever(result),
        ),
        (
            "Closing surge",
            value(result.surge_current_a, "A"),
            _said("I²t {}; ", result.surge_joule_integral_a2s, "A²s") + _surge(result) + _if_ever(result),
        ),
    ]
    if math.isfinite(result.fastest_fault_s):
        words = f"{result.fastest_fault_words}: the earliest time must lie above it"
        rows.insert(3, ("Fault that looks like success", value(result.fastest_fault_s, "s", 3), words))
    if math.isfinite(result.rise_after_s):
        asked = f"{value(result.rise_share, 'share')} after {value(result.rise_after_s, 's', 3)}"
        met = (
            _said("a healthy bus is there after at most {}", result.rise_slowest_s, "s")
            if math.isfinite(result.rise_slowest_s)
            else "not every healthy bus gets there"
        )
        rows.insert(3, ("Early look at the bus", asked, met))
    tables = [pairs(f"Precharge through {result.contactor} and {result.resistor}", rows)]
    attempts = tuple(
        row(
            a.name,
            value(a.pack_v, "V"),
            value(a.resistor_ohm, "Ω"),
            value(a.capacitance_f, "F"),
            value(a.plateau_share, "share"),
            _time(a.target_s, never),
            _time(a.target_late_s, never),
            _left(a),
            _energy(a),
        )
        for a in result.attempts
    )
    columns = (
        "Attempt",
        "Pack",
        "Resistor",
        "Bus capacitance",
        "Comes to rest at",
        "Reaches target",
        "Target seen late",
        "Left at closing",
        "Resistor energy",
    )
    return [*tables, Table("Attempts at the ends of the tolerances", columns, attempts, wide=True)]


def _said(words: str, number: float, unit: str) -> str:
    """The words with the value put in; nothing where it is not known."""
    return "" if math.isnan(number) else words.format(value(number, unit, 3))


def _if_ever(result: PrechargeResult) -> str:
    if result.reaches:
        return ""
    in_time = " in time" if math.isfinite(result.slowest_s) else ""
    return f"; if the target were reached{in_time}, which it is not in every attempt"


def _left(attempt: PrechargeAttempt) -> Cell:
    """Voltage left at closing: not known without the sensors' tolerances; without the target it does not close."""
    if math.isnan(attempt.residual_v):
        return Cell("does not close" if math.isnan(attempt.target_s) else NOT_KNOWN)
    return Cell(value(attempt.residual_v, "V", 3), value(attempt.residual_share, "share", 3))


def _energy(attempt: PrechargeAttempt) -> Cell:
    if math.isnan(attempt.resistor_energy_j) and math.isfinite(attempt.timeout_energy_j):
        return Cell(value(attempt.timeout_energy_j, "J", 3), "to the time-out")
    return Cell(value(attempt.resistor_energy_j, "J", 3))


def _times(fastest_s: float, slowest_s: float) -> str:
    if math.isnan(fastest_s):
        return "never reached"
    if math.isnan(slowest_s):
        return f"{value(fastest_s, 's', 3)}; never reached in the slowest attempt"
    return f"{value(fastest_s, 's', 3)} to {value(slowest_s, 's', 3)}"


def _time(seconds: float, instead: str) -> str:
    return value(seconds, "s", 3) if not math.isnan(seconds) else instead


def _loads(loads: Mapping[str, float]) -> str:
    return (
        ", ".join(f"{name} {value(watt, 'W')}" for name, watt in loads.items())
        or "nothing draws power during precharge"
    )


def _surge(result: PrechargeResult) -> str:
    if math.isnan(result.surge_current_a):
        return ""
    how = "cable inductance counted" if result.surge_with_inductance else "no inductance known, so none counted"
    return f"peak after {value(result.surge_time_s, 's', 3)}, {how}" if math.isfinite(result.surge_time_s) else how


def discharge_tables(result: DischargeResult, allowed: str) -> list[Table]:
    """Time to 60 V after every opening order, and what the discharge resistors take when left on."""
    if not result.cases:
        return []
    rows = tuple(
        row(
            c.name,
            "discharge resistor" if c.active else "built-in resistances alone",
            _time(c.seconds, "never in the time looked at"),
            c.slowest_part or "none",
            "below 10 mV" if abs(c.final_v) < 0.01 else value(c.final_v, "V", 3),
            group="Discharge working" if c.active else "Discharge failed open",
        )
        for c in result.cases
    )
    note = f"From {value(result.start_v, 'V')}, {value(result.capacitance_f, 'F')} on the bus. {allowed}".strip()
    columns = ("How the circuit opens", "Discharged by", "Time to 60 V", "Slowest part", "Voltage at the end")
    tables = [Table("Discharge to 60 V", columns, rows, note)]
    held = tuple(
        row(
            name,
            value(result.resistor_power_w.get(name, math.nan), "W"),
            value(result.resistor_energy_15s_j.get(name, math.nan), "J"),
            value(result.resistor_temperature_15s_c.get(name, math.nan), "°C"),
            value(result.largest_resistance_ohm.get(name, math.nan), "Ω"),
        )
        for name in result.resistors
    )
    if held:
        columns = (
            "Resistor",
            "Power if left on",
            "Energy in 15 s",
            "Temperature after 15 s",
            "Largest resistance that meets the limit",
        )
        tables.append(Table("Discharge resistors left on a live bus", columns, held))
    return tables
