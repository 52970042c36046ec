"""Results of the study of charging. Every number carries its unit in the field's name."""

from collections.abc import Mapping, Sequence

from tristrand.records import NamedTuple
from tristrand.studies.results.common import NONE, Missing, Series, Working

DIRECT = "direct-current charging"
"""What stands for the name of a case where a supply at an inlet drives the current."""


class SessionFigures(NamedTuple):
    """One session from the pack's least charge to the target, at one cell temperature.

    ``allowed`` says whether the charge table holds the temperature and lets the session begin. ``reached``: the target
    is reached; else ``ended_by`` names the limit that brought the current below the cut-off. ``held_s`` is the time at
    constant voltage, ``first_a`` what flows into the pack at the start, set by ``first_by``. Energies of the supply and
    of the 12 V side count from the start to the end of the session.
    """

    name: str
    temperature_c: float
    resistance_ohm: float
    allowed: bool
    reached: bool
    ended_by: str
    end_soc: float
    seconds: float
    held_s: float
    first_a: float
    first_by: str
    stored_j: float
    heat_j: float
    low_voltage_j: float
    supply_j: float


class SupplyFigures(NamedTuple):
    """One supply: what each link of the chain lets pass per phase, what is drawn, and the sessions.

    ``links`` holds what limits the current by itself (pilot, coding of the cable, charger); ``bears`` what only bears
    it (supply, its circuit, conductors, contacts). ``offered_a`` has three ends (nan without a pilot), ``coded_a`` is
    nan where nothing is coded, 0 where the resistor stands for no cable. ``drawn_a`` and ``phase_v`` (the supply's
    voltage between a phase and neutral): low, value, high; ``charger_v`` is what the charger works at, likewise.
    ``fitting_duty`` [%] offers what the supply gives, ``fitting_ohm`` codes what the cable carries at most; nan where
    there is none. ``floor_pack_w`` is left for the pack at the least current that a pilot offers. ``bus_most_w``: into
    the bus at the ends of all tolerances that give the most.
    """

    supply: str
    kind: str
    phases: int
    phase_v: tuple[float, float, float]
    charger_v: tuple[float, float]
    phases_fit: bool
    offered_a: tuple[float, float, float]
    coded_a: float
    links: tuple[tuple[str, float], ...]
    bears: tuple[tuple[str, float], ...]
    smallest: str
    fitting_duty: float
    fitting_ohm: float
    drawn_a: tuple[float, float, float]
    supply_w: float
    bus_w: float
    bus_most_w: float
    low_voltage_w: float
    pack_w: float
    floor_pack_w: float
    sessions: tuple[SessionFigures, ...]


class FastFigures(NamedTuple):
    """Direct-current charging: the largest current, what it flows through, and which inlet contacts stay live.

    ``by_table``: whether the pack's table holds the current; None where that is not said. ``path`` holds parts and
    connections on the way, empty where there is none; ``live`` the inlet's poles that reach the pack with the inlet's
    contactors open. ``turned``: its plus contact lies on the minus pole of the pack. ``forward`` tells for each
    contactor on the way whether the charging current enters at its marked terminal: None where it is not marked.
    ``surge_a``: the largest current as the inlet's ``contactors`` close with the largest difference of voltage onto a
    supply without resistance of its own; nan with ``surge_missing``, a bound with inductances in ``surge_unknown``.
    """

    inlet: str
    largest_a: float
    by_table: bool | None
    path: tuple[str, ...]
    live: tuple[str, ...]
    turned: bool
    forward: tuple[tuple[str, bool | None], ...]
    surge_a: float
    sessions: tuple[SessionFigures, ...]
    contactors: tuple[str, ...] = ()
    surge_missing: tuple[Missing, ...] = ()
    surge_unknown: tuple[Missing, ...] = ()


class ChargingResult(NamedTuple):
    """Charging at every supply, and from direct current.

    ``lowest_v`` and ``limit_v``: the pack with every cell at its minimum and at the charging voltage.
    ``cold`` and ``hot``: the pack's declared temperatures reach to where the table allows no charge.
    ``own_discharge_s``: the charger's output down to 60 V through its own resistance, from ``limit_v``.
    """

    workings: Sequence[Working] = ()
    missing: tuple[Missing, ...] = ()
    series: Sequence[Series] = ()
    charger: str = ""
    pack: str = ""
    supplies: Mapping[str, SupplyFigures] = NONE
    fast: FastFigures | None = None
    lowest_v: float = float("nan")
    limit_v: float = float("nan")
    table_least_a: float = float("nan")
    bus_a: float = float("nan")
    cold: bool = False
    hot: bool = False
    own_discharge_s: float = float("nan")
    on_discharged_bus: bool = False
    start_soc: float = float("nan")
    target_soc: float = float("nan")
