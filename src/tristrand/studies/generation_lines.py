"""Machines and road of the study of uncontrolled generation as numbers, and its workings and curves."""

import math
from collections.abc import Iterator, Mapping

from tristrand.physics.discharge import TOUCH_LIMIT_V
from tristrand.records import NamedTuple
from tristrand.studies.results import ActiveShort, MachineFigures, Missing, OnBus, Series, Working, found, working

EMF = "CLOSED-FORM#EMF of a sinusoidal three-phase machine"
ROLLING = "CLOSED-FORM#rolling without slip"
SHORTED = "CLOSED-FORM#steady dq equations of a permanent-magnet machine with zero voltage"
UNDAMPED = "CLOSED-FORM#undamped swing after shorting a machine without current"
LINEAR = "CLOSED-FORM#flux of magnets linear in temperature"
HELD = "CLOSED-FORM#EMF falling to rest, then first-order RC discharging"
# Flux linkage from the value of each form with the symbols it takes beside K, and the form in words.
FLUX = {
    "line_rms_per_krpm": (("K*sqrt(2)/(sqrt(3)*p*k)", "pk"), "between two phases, rms, at 1000 rpm"),
    "line_peak_per_krpm": (("K/(sqrt(3)*p*k)", "pk"), "between two phases, peak, at 1000 rpm"),
    "phase_peak_per_mechanical_rad_per_s": (("K/p", "p"), "phase to star point, peak, at 1 rad/s of the shaft"),
    "phase_peak_per_electrical_rad_per_s": (("K", ""), "phase to star point, peak, at 1 electrical rad/s"),
}
KRPM_RAD_PER_S = 1000 * 2 * math.pi / 60
KMH = 3.6


class Road(NamedTuple):
    """Speeds and wheels of the vehicle; nan where not given."""

    fastest_m_per_s: float
    towed_m_per_s: float
    tyre_m: float
    braking_s: float


class Drive(NamedTuple):
    """One inverter and its machine, each number at the end of its tolerance that asks more; nan where not given."""

    id: str
    machine: str
    magnets: bool | None
    machines: int
    pole_pairs: int
    emf: float
    form: str
    at_c: float
    per_k: float
    cold_c: float
    d_h: float
    q_h: float
    ohm: float
    spin_rad_per_s: float
    gear: float
    gaps: tuple[tuple[str, Missing], ...]


def workings(drives: Mapping[str, Drive], road: Road, machines: Mapping[str, MachineFigures]) -> Iterator[Working]:
    """Every step for every inverter, as far as its data go."""
    for name, figures in machines.items():
        if math.isnan(figures.flux_wb):
            continue
        drive = drives[name]
        yield from _flux_lines(drive, figures)
        if not math.isnan(figures.fastest_v):
            yield from _speed_lines(drive, road, figures)
        if not math.isnan(figures.held_s):
            words = "time to 60 V after the contactors open at the fastest road speed, brakes on hard"
            how = f"EMF from {figures.road_v:.0f} V straight to rest in {road.braking_s:g} s, then by the discharge"
            yield found(name, "t_60", words, figures.held_s, "s", HELD, how)
        if figures.short is not None:
            yield from _short_lines(drive, figures, figures.short)


def _flux_lines(drive: Drive, figures: MachineFigures) -> Iterator[Working]:
    (formula, symbols), words = FLUX[drive.form]
    known = {"k": (KRPM_RAD_PER_S, "rad/s"), "p": (float(drive.pole_pairs), "1")}
    given = {"K": (drive.emf, "V")} | {symbol: known[symbol] for symbol in symbols}
    flux = figures.flux_wb / (1.0 + drive.per_k * min(drive.cold_c - drive.at_c, 0.0))
    yield working(drive.id, "psi", f"flux linkage, from {drive.emf:.4g} V {words}", formula, flux, "Wb", EMF, **given)
    yield working(
        drive.id, "psi_cold", "flux linkage with the magnets as cold as the air gets",
        "psi*(1 + a*min(T_cold - T, 0))", figures.flux_wb, "Wb", LINEAR,
        psi=(flux, "Wb"), a=(drive.per_k, "1/K"), T_cold=(drive.cold_c, "°C"), T=(drive.at_c, "°C"),
    )  # fmt: skip


def _speed_lines(drive: Drive, road: Road, figures: MachineFigures) -> Iterator[Working]:
    name, flux, pairs = drive.id, (figures.flux_wb, "Wb"), (float(drive.pole_pairs), "1")
    gear, tyre = (drive.gear, "1"), (road.tyre_m, "m")
    yield working(
        name, "w_road", "shaft speed at the fastest road speed", "v*i/r", figures.road_rad_per_s, "rad/s", ROLLING,
        v=(road.fastest_m_per_s, "m/s"), i=gear, r=tyre,
    )  # fmt: skip
    where = "at the fastest road speed" if figures.fastest_on_road else "with the wheels in the air"
    yield working(
        name, "V_max", f"peak between two phases, {where}", "sqrt(3)*psi*p*w", figures.fastest_v, "V", EMF,
        psi=flux, p=pairs, w=(figures.fastest_rad_per_s, "rad/s"),
    )  # fmt: skip
    levels = [("v_60", "60 V", TOUCH_LIMIT_V, figures.live_m_per_s)]
    levels += [("v_on", "the lowest voltage of the pack", figures.lowest_v, figures.onset_low_m_per_s)]
    levels += [("v_full", "the highest voltage of the pack", figures.highest_v, figures.onset_high_m_per_s)]
    for symbol, what, volts, speed in levels:
        if not math.isnan(speed):
            yield working(
                name, symbol, f"road speed at which it reaches {what}", "V*r/(sqrt(3)*psi*p*i)", speed, "m/s", EMF,
                V=(volts, "V"), r=tyre, psi=flux, p=pairs, i=gear,
            )  # fmt: skip
    if not math.isnan(figures.towed_v):
        yield working(
            name, "V_tow", "peak between two phases when towed", "sqrt(3)*psi*p*v*i/r", figures.towed_v, "V", EMF,
            psi=flux, p=pairs, v=(road.towed_m_per_s, "m/s"), i=gear, r=tyre,
        )  # fmt: skip


def _short_lines(drive: Drive, figures: MachineFigures, short: ActiveShort) -> Iterator[Working]:
    name, flux, along = drive.id, (figures.flux_wb, "Wb"), (drive.d_h, "H")
    yield working(
        name, "I_sc", "peak current of the active short at high speed", "psi/L_d", short.limit_a, "A", SHORTED,
        psi=flux, L_d=along,
    )  # fmt: skip
    yield found(
        name, "I_st", "largest steady peak current of the active short up to the fastest speed", short.steady_a, "A",
        SHORTED, "w psi sqrt(w²Lq² + R²)/(R² + w²LdLq)",
    )  # fmt: skip
    yield working(
        name, "I_demag", "largest current against the magnets after shorting, undamped", "2*psi/L_d", short.against_a,
        "A", UNDAMPED, psi=flux, L_d=along,
    )  # fmt: skip
    yield found(
        name, "T_brake", f"hardest braking at the wheels, {drive.machines} machine(s)", short.torque_nm, "N m", SHORTED,
        f"at {short.hardest_m_per_s * KMH:.3g} km/h",
    )  # fmt: skip


def curves(tyre_m: float, drives: Mapping[str, Drive], machines: Mapping[str, MachineFigures]) -> Iterator[Series]:
    """Peak voltage between two phases over road speed, and the levels that matter to it."""
    for name, figures in machines.items():
        if math.isnan(figures.fastest_v):
            continue
        top = figures.fastest_rad_per_s * tyre_m / drives[name].gear * KMH
        levels = [("EMF", 0.0, figures.fastest_v)]
        levels += [(f"{TOUCH_LIMIT_V:g} V", TOUCH_LIMIT_V, TOUCH_LIMIT_V)]
        levels += [
            ("pack lowest", figures.lowest_v, figures.lowest_v),
            ("pack highest", figures.highest_v, figures.highest_v),
        ]
        weakest = weakest_on(figures.bus)
        if weakest is not None:
            levels.append((f"{weakest.name} stands", weakest.stands_v, weakest.stands_v))
        for what, start, end in levels:
            if not math.isnan(end):
                yield Series(what, "road speed", "km/h", "voltage", "V", (0.0, top), (start, end), name)


def weakest_on(bus: tuple[OnBus, ...]) -> OnBus | None:
    """What stands least of all on a bus, of those whose sheets say it."""
    known = [item for item in bus if not math.isnan(item.stands_v)]
    return min(known, key=lambda item: item.stands_v, default=None)
