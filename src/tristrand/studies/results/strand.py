"""Results of the high-voltage studies. Every number carries its unit in the field's name.

What every study returns beside its own fields: the workings, what was missing, and the series for plots.
"""

from collections.abc import Mapping, Sequence
from typing import Final

from tristrand.records import NamedTuple
from tristrand.studies.results.common import NONE, Missing, Series, Working


class Corner(NamedTuple):
    """One state of a pack: where its open-circuit voltage and resistance were read.

    ``resistance_aged_ohm``: the same at the end of its life, the cells' share grown, the links as new.
    """

    name: str
    state_of_charge: float
    temperature_c: float
    open_circuit_v: float
    resistance_ohm: float
    outside_table: bool
    resistance_low_ohm: float = float("nan")
    resistance_aged_ohm: float = float("nan")


class PackFigures(NamedTuple):
    """One pack. ``corners`` holds the four ends of its range of charge and temperature.

    ``charge_least_a``: the least that its charge table allows anywhere in that range, as far as the monitor lets it be
    charged or braked into; 0 where the table does not reach, nan without one.
    """

    pack: str
    series: int
    parallel: int
    capacity_ah: float
    energy_kwh: float
    minimum_v: float
    nominal_v: float
    maximum_v: float
    corners: tuple[Corner, ...]
    weakest: str
    largest_power_w: float
    largest_power_current_a: float
    short_circuit_a: float
    fault_ohm: float = float("nan")
    aged_ohm: float = float("nan")
    charge_least_a: float = float("nan")


class PackResult(NamedTuple):
    """Every pack of the design, by id."""

    workings: Sequence[Working] = ()
    missing: tuple[Missing, ...] = ()
    series: Sequence[Series] = ()
    packs: Mapping[str, PackFigures] = NONE


class Flow(NamedTuple):
    """The largest current of one part or connection in one case, and the corner of the pack at which it flows."""

    current_a: float
    corner: str


class Lifted(NamedTuple):
    """Where braking lifts a pack furthest: the corner, the current into it, and its resistance there."""

    corner: str
    current_a: float
    resistance_ohm: float


class Starved(NamedTuple):
    """The worst corner of a device that draws, but gets less than the power that a case asks of it.

    Its input current limit holds it back, or it hovers at its threshold.
    """

    corner: str
    current_a: float
    power_w: float
    asked_w: float


BRAKING: Final = "regeneration"
INTO_PACK = ("charge", BRAKING)
"""Cases in which current flows into the packs."""


class CaseFlows(NamedTuple):
    """One high-voltage case solved at every corner of the pack.

    ``flows`` is keyed by element (a connection or a part); ``lowest_v`` and ``highest_v`` by part with two poles.
    ``drop_v`` is the largest voltage of the packs in series that feed a device less the device's voltage,
    ``drop_share`` the same as a share of it. ``duration_s`` is 0 for a sustained case. ``failed`` names the corners
    without an operating point, with the reason; ``stays_off`` the devices that are asked for power in the case but draw
    nothing, with the corners; ``starved`` those that draw, but get less than what is asked. ``through`` holds for every
    contactor the largest current [A] from its terminal a to b and the largest from b to a, over the corners.

    While a case charges or brakes, other loads may be on or off: everything here is the worse of both, and in
    regeneration the worse of packs new and at the end of their life. ``into_pack`` and ``out_of_pack``: the largest
    current each way, out with other loads on; ``back``: as ``through``, with other loads off, in cases that charge or
    brake; ``lifted``: where a pack's voltage is highest, in regeneration.
    """

    case: str
    modes: tuple[str, ...]
    duration_s: float
    flows: dict[str, Flow]
    lowest_v: dict[str, float]
    highest_v: dict[str, float]
    drop_v: dict[str, float]
    drop_share: dict[str, float]
    pack_power_w: dict[str, float]
    worst_corner: str
    failed: dict[str, str]
    stays_off: dict[str, tuple[str, ...]]
    starved: Mapping[str, Starved] = NONE
    through: Mapping[str, tuple[float, float]] = NONE
    into_pack: Mapping[str, Flow] = NONE
    out_of_pack: Mapping[str, Flow] = NONE
    back: Mapping[str, tuple[float, float]] = NONE
    lifted: Mapping[str, Lifted] = NONE

    @property
    def drives(self) -> bool:
        """Whether the pack gives; else it is charged or braked into."""
        return self.case not in INTO_PACK

    def gives(self, pack: str) -> bool:
        """Whether a pack gives current: where it is charged or braked into, because other loads take more."""
        if self.drives and not self.takes(pack):
            return True
        return pack in self.out_of_pack and self.out_of_pack[pack].current_a > 0

    def takes(self, pack: str) -> bool:
        """Whether current flows into a pack: while driving because another one beside it is fuller."""
        return pack in self.into_pack and (not self.drives or self.into_pack[pack].current_a > 0)

    def into_packs(self) -> "CaseFlows":
        """The case with what flows into its packs as their current."""
        return self._replace(flows={name: self.into_pack.get(name, flow) for name, flow in self.flows.items()})

    def out_of_packs(self) -> "CaseFlows":
        """The case with what its packs give as their current."""
        return self._replace(flows={name: self.out_of_pack.get(name, flow) for name, flow in self.flows.items()})


class OperatingResult(NamedTuple):
    """Currents and voltages in every case that the modes of vehicle.yaml use."""

    workings: Sequence[Working] = ()
    missing: tuple[Missing, ...] = ()
    series: Sequence[Series] = ()
    cases: Mapping[str, CaseFlows] = NONE


class Ampacity(NamedTuple):
    """What one table, or the heat balance, lets a conductor carry for ever."""

    name: str
    current_a: float
    source: str
    detail: str


class ConductorFigures(NamedTuple):
    """One cable connection. Currents are the largest over cases and corners; ``sustained`` cases have no end."""

    connection: str
    cable: str
    cross_section_mm2: float
    metal_area_mm2: float
    resistance_20c_ohm: float
    ambient_c: float
    conductor_limit_c: float
    ampacities: tuple[Ampacity, ...]
    ampacity: Ampacity
    sustained_a: float
    sustained_case: str
    sustained_temperature_c: float
    short_a: float
    short_case: str
    short_duration_s: float
    short_end_temperature_c: float
    drop_v: float
    drop_share: float
    drop_case: str


class CableOption(NamedTuple):
    """A cable sheet of the folder judged for one connection: would it carry what flows there?"""

    cable: str
    cross_section_mm2: float
    ampacity_a: float


class ConductorsResult(NamedTuple):
    """Every cable connection by id, and for each the folder's other cables in order of cross-section."""

    workings: Sequence[Working] = ()
    missing: tuple[Missing, ...] = ()
    series: Sequence[Series] = ()
    conductors: Mapping[str, ConductorFigures] = NONE
    options: Mapping[str, tuple[CableOption, ...]] = NONE


class PrechargeAttempt(NamedTuple):
    """One lane of the precharge: pack and tolerances at one combination of their ends.

    Times are nan where the level is never reached. ``target_late_s``: both sensors err so that the supervisor sees the
    target late; ``residual_v``: pack minus bus at the moment the contactor closes with the sensors erring the other
    way, the contactor's own closing time included.
    """

    name: str
    pack_v: float
    resistor_ohm: float
    capacitance_f: float
    plateau_share: float
    target_s: float
    target_late_s: float
    residual_v: float
    residual_share: float
    resistor_energy_j: float
    timeout_energy_j: float
    peak_current_a: float
    peak_power_w: float


class PrechargeResult(NamedTuple):
    """Precharge of the real circuit over the ends of its tolerances, and the surge at closing.

    ``contactor`` is empty where the circuit has no way round a main contactor; ``missing`` then says what it lacks.
    ``reaches``: every attempt, and before the time-out. ``slowest_s`` is nan where a lane never reaches the target.
    ``fastest_fault_s`` is the longest time to the target with the largest bus capacitance missing, of the lanes that
    reach it: ``earliest_s`` must lie between it and ``fastest_s``. ``other_paths``: precharge contactors of further
    paths, not looked at; ``also_bypassed``: the main contactors that those lie across. ``held_open``: main contactors
    that wait until the bus is up, since they would feed it directly. ``fed_directly``: devices on a pack's poles with
    no contactor between: no part of the bus.
    """

    workings: Sequence[Working] = ()
    missing: tuple[Missing, ...] = ()
    series: Sequence[Series] = ()
    contactor: str = ""
    bypassed: str = ""
    resistor: str = ""
    target: float = 0.0
    attempts: tuple[PrechargeAttempt, ...] = ()
    loads: Mapping[str, float] = NONE
    reaches: bool = False
    slowest_s: float = float("nan")
    fastest_s: float = float("nan")
    fastest_fault_s: float = float("nan")
    fastest_fault_words: str = ""
    plateau_share: float = float("nan")
    bus_source_ohm: float = float("nan")
    tolerable_load_ohm: float = float("nan")
    tolerable_load_w: float = float("nan")
    connected_load_w: float = 0.0
    pulse_energy_j: float = float("nan")
    peak_current_a: float = float("nan")
    peak_power_w: float = float("nan")
    temperature_after_attempts_c: float = float("nan")
    lockout_s: float = float("nan")
    short_power_w: float = float("nan")
    fault_energy_j: float = float("nan")
    temperature_after_faulty_attempts_c: float = float("nan")
    lockout_faulty_s: float = float("nan")
    short_timeout_s: float = float("nan")
    earliest_s: float = float("nan")
    timeout_s: float = float("nan")
    rise_after_s: float = float("nan")
    rise_share: float = float("nan")
    rise_slowest_s: float = float("nan")
    close_s: float = float("nan")
    branch_contactors: tuple[str, ...] = ()
    residual_v: float = float("nan")
    residual_share: float = float("nan")
    surge_current_a: float = float("nan")
    surge_time_s: float = float("nan")
    surge_joule_integral_a2s: float = float("nan")
    surge_with_inductance: bool = False
    other_paths: tuple[str, ...] = ()
    held_open: tuple[str, ...] = ()
    fed_directly: tuple[str, ...] = ()
    also_bypassed: tuple[str, ...] = ()


class DischargeCase(NamedTuple):
    """One way in which the circuit opens.

    ``seconds`` is the longest time to 60 V over all bus devices; nan = never within the time looked at.
    """

    name: str
    active: bool
    seconds: float
    slowest_part: str
    final_v: float


class DischargeResult(NamedTuple):
    """Discharge to 60 V after every opening order, by the discharge resistor and by the built-in resistances alone."""

    workings: Sequence[Working] = ()
    missing: tuple[Missing, ...] = ()
    series: Sequence[Series] = ()
    start_v: float = float("nan")
    capacitance_f: float = float("nan")
    cases: tuple[DischargeCase, ...] = ()
    slowest_active_s: float = float("nan")
    slowest_active_case: str = ""
    passive_s: float = float("nan")
    resistors: tuple[str, ...] = ()
    resistor_power_w: Mapping[str, float] = NONE
    resistor_energy_15s_j: Mapping[str, float] = NONE
    resistor_temperature_15s_c: Mapping[str, float] = NONE
    resistor_steady_c: Mapping[str, float] = NONE
    largest_resistance_ohm: Mapping[str, float] = NONE
    limit_s: float = float("nan")
