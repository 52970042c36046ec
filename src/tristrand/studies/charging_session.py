"""Sessions of one pack at cold, mild and hot cells: time, energies and where the current is held back."""

import math
from functools import lru_cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from tristrand.physics.charge_session import TableSession, table_session
from tristrand.physics.charging import charge_limit_a, charger_current_a, smallest_link
from tristrand.physics.pack import interpolate_table, pack_resistance_ohm
from tristrand.records import NamedTuple
from tristrand.studies.charging_plan import MILD_C, CellTable, PackCharge
from tristrand.studies.results import SessionFigures

FloatArray = NDArray[np.float64]
FINE = 160
"""Points of a curve that is drawn; they change no number, since pieces are cut where the limits meet."""


class Drive(NamedTuple):
    """What drives a session: power and current left for the pack, and what is taken beside.

    ``beside_w`` is what the 12 V side takes from the bus; the charger's loss is idle_w + per_w P at a supply power P.
    ``by_table``: the pack's table and its limit of charge current are kept.
    """

    power_w: float
    current_a: float
    beside_w: float
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

    name: str
    temperature_c: float
    inside: bool
    resistance_ohm: float
    soc: tuple[float, ...]
    allowed_a: tuple[float, ...]

    @property
    def begins(self) -> bool:
        """Whether the table lets a session begin."""
        return self.inside and self.allowed_a[0] > 0.0


@lru_cache(maxsize=64)
def conditions(pack: PackCharge, target: float, fine: int = 0) -> tuple[Conditions, ...]:
    """Cold, mild and hot: resistance [ohm], the harder reading of all charges on the way, and the table's limits [A].

    ``fine`` adds points for a curve.
    """
    named = temperatures(pack)
    # All temperatures in one reading: a column of them against a row of charges.
    column = np.array([warm_c for _, warm_c in named])[:, None]
    inner = [s for s in pack.ohm.soc if pack.start_soc < s < target]
    at = np.array([pack.start_soc, *inner, target])
    cells = np.asarray(interpolate_table(*_arrays(pack.ohm), column, at).value).max(axis=1)
    points = [s for s in pack.table.soc if pack.start_soc < s < target]
    if fine:
        points = sorted({*points, *(float(s) for s in np.linspace(pack.start_soc, target, fine)[1:-1])})
    soc = (pack.start_soc, *points, target)
    allowed = np.asarray(charge_limit_a(*_arrays(pack.table), column, np.array(soc)).current_a)
    ohms = np.asarray(pack_resistance_ohm(pack.series, pack.parallel, cells, pack.link_ohm))
    first, last = pack.table.temperature_c[0], pack.table.temperature_c[-1]
    return tuple(
        Conditions(name, warm_c, first <= warm_c <= last, float(ohm), soc, tuple(float(a) for a in row))
        for (name, warm_c), ohm, row in zip(named, ohms, allowed, strict=True)
    )


def _arrays(table: CellTable) -> tuple[FloatArray, FloatArray, FloatArray]:
    return np.array(table.temperature_c), np.array(table.soc), np.array(table.rows)


@lru_cache(maxsize=256)
def sessions(pack: PackCharge, target: float, drive: Drive) -> tuple[SessionFigures, ...]:
    """The three sessions; kept, since most edits leave them as they were."""
    return tuple(_session(pack, at, target, drive) for at in conditions(pack, target))


def _session(pack: PackCharge, at: Conditions, target: float, drive: Drive) -> SessionFigures:
    head = (at.name, at.temperature_c, at.resistance_ohm, at.begins)
    if not at.begins or not drive.power_w > 0.0 or not drive.current_a > 0.0:
        why = "power" if at.begins else "temperature"
        return SessionFigures(*head, False, why, pack.start_soc, math.inf, 0.0, 0.0, "", 0.0, 0.0, 0.0, 0.0)
    ran = run(pack, at, target, drive)
    seconds = ran.total_s
    beside = drive.beside_w * seconds
    supply = (ran.terminal_j + beside + drive.idle_w * seconds) / (1.0 - drive.per_w)
    reached = ran.ended_by == "target"
    return SessionFigures(
        *head,
        reached,
        ran.ended_by,
        float(ran.soc[-1]),
        seconds if reached else math.inf,
        ran.time_limited_by_s("voltage"),
        float(ran.current_a[0]),
        _first_by(pack, at, drive, ran.limited_by[0] if ran.limited_by else ran.ended_by),
        ran.stored_j,
        ran.heat_j,
        beside,
        supply,
    )


def _first_by(pack: PackCharge, at: Conditions, drive: Drive, law: str) -> str:
    """What sets the current at the start, in words."""
    if law != "current":
        return {"power": "power that is left", "voltage": "charging voltage"}[law]
    return smallest_link(current_links(pack, at, drive)).name


def current_links(pack: PackCharge, at: Conditions, drive: Drive) -> dict[str, float]:
    """What each limit of current lets into the pack at the start of a session [A]."""
    links = {"current of the source": drive.current_a}
    if drive.by_table:
        links["table of the pack"] = at.allowed_a[0]
        if not math.isnan(pack.limit_a):
            links["charge current of the pack"] = pack.limit_a
    return links


def every_link(pack: PackCharge, at: Conditions, drive: Drive) -> dict[str, float]:
    """The same with the limits of power and voltage [A]."""
    links = current_links(pack, at, drive)
    open_v = pack.series * float(np.interp(pack.start_soc, pack.ocv_soc, pack.ocv_v))
    if math.isfinite(drive.power_w):
        links["power that is left"] = float(charger_current_a(drive.power_w, 1.0, open_v, at.resistance_ohm))
    links["charging voltage"] = max(pack.series * pack.cell_v - open_v, 0.0) / at.resistance_ohm
    return links


def _held(pack: PackCharge, at: Conditions, drive: Drive) -> tuple[list[float], list[float]]:
    """Charges and the limit of current at them, a point more wherever the table's line crosses a constant limit."""
    if not drive.by_table:
        return list(at.soc), [drive.current_a] * len(at.soc)
    most = min(drive.current_a, math.inf if math.isnan(pack.limit_a) else pack.limit_a)
    soc, amps = [at.soc[0]], [min(most, at.allowed_a[0])]
    for (s0, a0), (s1, a1) in pairwise(zip(at.soc, at.allowed_a, strict=True)):
        # The smaller of a line and a constant bends inside the piece; straight between its ends it would be too low.
        if (a0 - most) * (a1 - most) < 0.0 and s0 < (bend := s0 + (s1 - s0) * (most - a0) / (a1 - a0)) < s1:
            soc.append(bend)
            amps.append(most)
        soc.append(s1)
        amps.append(min(most, a1))
    return soc, amps


def run(pack: PackCharge, at: Conditions, target: float, drive: Drive) -> TableSession:
    """The session itself."""
    soc, amps = _held(pack, at, drive)
    return table_session(
        np.array(pack.ocv_soc),
        pack.series * np.array(pack.ocv_v),
        at.resistance_ohm,
        pack.charge_c,
        limit_v=pack.series * pack.cell_v,
        current_a=np.array(amps),
        cutoff_a=pack.cutoff_a,
        start_soc=pack.start_soc,
        target_soc=target,
        power_w=drive.power_w,
        current_soc=np.array(soc),
    )
