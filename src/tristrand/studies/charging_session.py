"""Sessions of one pack at cold, mild and hot cells: time, energies and where the current is held back."""

import math
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from tristrand.physics.charge_session import TableSession, table_session
from tristrand.physics.charging import charge_limit_a, charger_current_a, low_voltage_energy_j, smallest_link
from tristrand.physics.pack import interpolate_table, pack_resistance_ohm
from tristrand.studies.charging_plan import MILD_C, CellTable, PackCharge
from tristrand.studies.results import SessionFigures

FloatArray = NDArray[np.float64]
FINE = 160
"""Points of a curve that is drawn; they change no number, since pieces are cut where the limits meet."""


class Drive(NamedTuple):
    """What drives a session: power and current left for the pack, and what is taken beside.

    ``idle_w`` and ``per_w``: the charger's loss is idle_w + per_w P at a supply power P. ``by_table``: the pack's table
    and its limit of charge current are kept.
    """

    power_w: float
    current_a: float
    low_voltage_w: float
    converter_share: float
    idle_w: float
    per_w: float
    by_table: bool


def temperatures(pack: PackCharge) -> tuple[tuple[str, float], ...]:
    """Ends of the pack's range as far as the charge table reaches, and 25 degC (or the middle, where that is outside).

    Where range and table do not meet, the ends of the range: no session begins there.
    """
    cold, hot = pack.temperature_c
    low, high = max(cold, pack.table.temperature_c[0]), min(hot, pack.table.temperature_c[-1])
    if low <= high:
        cold, hot = low, high
    mild = MILD_C if cold <= MILD_C <= hot else 0.5 * (cold + hot)
    return (("cold", cold), ("mild", mild), ("hot", hot))


class Conditions(NamedTuple):
    """A pack at one temperature: its largest resistance on the way, and what its table allows at some charges."""

    resistance_ohm: float
    soc: tuple[float, ...]
    allowed_a: tuple[float, ...]


@lru_cache(maxsize=256)
def conditions(pack: PackCharge, temperature_c: float, target: float, fine: int = 0) -> Conditions:
    """Resistance [ohm], the harder reading of all charges between start and target, and the table's limits [A].

    ``fine`` adds points for a curve.
    """
    inner = [s for s in pack.ohm.soc if pack.start_soc < s < target]
    at = np.array([pack.start_soc, *inner, target])
    cell = float(np.max(np.asarray(interpolate_table(*_arrays(pack.ohm), temperature_c, at).value)))
    points = [s for s in pack.table.soc if pack.start_soc < s < target]
    if fine:
        points = sorted({*points, *(float(s) for s in np.linspace(pack.start_soc, target, fine)[1:-1])})
    soc = (pack.start_soc, *points, target)
    allowed = np.asarray(charge_limit_a(*_arrays(pack.table), temperature_c, np.array(soc)).current_a)
    return Conditions(
        float(pack_resistance_ohm(pack.series, pack.parallel, cell, pack.link_ohm)),
        soc,
        tuple(float(a) for a in allowed),
    )


def _arrays(table: CellTable) -> tuple[FloatArray, FloatArray, FloatArray]:
    return np.array(table.temperature_c), np.array(table.soc), np.array(table.rows)


@lru_cache(maxsize=512)
def session(pack: PackCharge, name: str, temperature_c: float, target: float, drive: Drive) -> SessionFigures:
    """One session; kept, since most edits leave it as it was."""
    ohm = conditions(pack, temperature_c, target).resistance_ohm
    allowed = table_allows(pack, temperature_c, target)
    if not allowed or not drive.power_w > 0.0 or not drive.current_a > 0.0:
        why = "power" if allowed else "temperature"
        none = (0.0, "", (), 0.0, 0.0, 0.0, 0.0)
        return SessionFigures(name, temperature_c, ohm, allowed, False, why, pack.start_soc, math.inf, 0.0, *none)
    ran = run(pack, temperature_c, target, drive)
    seconds = ran.total_s
    beside = float(low_voltage_energy_j(drive.low_voltage_w, seconds, drive.converter_share))
    supply = (ran.terminal_j + beside + drive.idle_w * seconds) / (1.0 - drive.per_w)
    reached = ran.ended_by == "target"
    links = _links(pack, temperature_c, target, drive)
    return SessionFigures(
        name,
        temperature_c,
        ohm,
        allowed,
        reached,
        ran.ended_by,
        float(ran.soc[-1]),
        seconds if reached else math.inf,
        ran.time_limited_by_s("voltage"),
        float(ran.current_a[0]),
        smallest_link(links).name,
        tuple(links.items()),
        ran.stored_j,
        ran.heat_j,
        beside,
        supply,
    )


def _links(pack: PackCharge, temperature_c: float, target: float, drive: Drive) -> dict[str, float]:
    """What each limit lets into the pack at the start of a session [A]."""
    at = conditions(pack, temperature_c, target)
    open_v = pack.series * float(np.interp(pack.start_soc, pack.ocv_soc, pack.ocv_v))
    links = {"current of the source": drive.current_a}
    if math.isfinite(drive.power_w):
        links["power that is left"] = float(charger_current_a(drive.power_w, 1.0, open_v, at.resistance_ohm))
    links["charging voltage"] = max(pack.series * pack.cell_v - open_v, 0.0) / at.resistance_ohm
    if drive.by_table:
        links["table of the pack"] = at.allowed_a[0]
        if not math.isnan(pack.limit_a):
            links["charge current of the pack"] = pack.limit_a
    return links


def table_allows(pack: PackCharge, temperature_c: float, target: float) -> bool:
    """Whether the charge table lets a session begin at this temperature."""
    first, last = pack.table.temperature_c[0], pack.table.temperature_c[-1]
    return first <= temperature_c <= last and conditions(pack, temperature_c, target).allowed_a[0] > 0.0


def run(pack: PackCharge, temperature_c: float, target: float, drive: Drive, fine: int = 0) -> TableSession:
    """The session itself; ``fine`` adds points for a curve."""
    at = conditions(pack, temperature_c, target, fine)
    amps = np.full(len(at.soc), drive.current_a)
    if drive.by_table:
        most = pack.limit_a if not math.isnan(pack.limit_a) else math.inf
        amps = np.minimum(np.minimum(amps, most), at.allowed_a)
    return table_session(
        np.array(pack.ocv_soc),
        pack.series * np.array(pack.ocv_v),
        at.resistance_ohm,
        pack.charge_c,
        limit_v=pack.series * pack.cell_v,
        current_a=amps,
        cutoff_a=pack.cutoff_a,
        start_soc=pack.start_soc,
        target_soc=target,
        power_w=drive.power_w,
        current_soc=np.array(at.soc),
    )
