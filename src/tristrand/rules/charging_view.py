"""What the rules on charging share: their examples, and what they say where data are missing."""

import math
from collections.abc import Callable, Iterable, Iterator
from functools import wraps

from tristrand.rules.rule import Check, Context, NotApplicable, Outcome
from tristrand.rules.view import HV_FILE, WITH_CHARGER
from tristrand.studies.results import ChargingResult, Missing

CHARGING = "high_voltage/charging"
SUPPLIES = f"{CHARGING}/supplies"
FAST = "high_voltage/fast_charging"
AT_STATION = "while charging from direct current"
NEEDS = ("pack", "charging")
BLOCKED = (
    "[drive_enabled, vehicle_moving, insulation_fault, interlock_open, cell_fault, proximity_without_pilot, pack_cold, "
    "pack_hot]"
)
# Contacts that carry direct current for an hour are watched for heat as well.
BLOCKED_DC = BLOCKED.replace("]", ", inlet_hot]")
# What no rule here can do without: the sections themselves, one pack, numbers that a formula takes.
_ALWAYS = frozenset({"high_voltage/parts", "studies/charging"})

PACK = (
    ("parts/pack-84s.yaml", "charge_voltage", "4.15 V"),
    ("parts/pack-84s.yaml", "charge_cutoff_current", "3 A"),
    (
        "parts/pack-84s.yaml",
        "charge_table",
        "{temperature: [5 °C, 20 °C, 40 °C], state_of_charge: [0 %, 100 %], "
        "current: [[20 A, 12 A], [40 A, 30 A], [40 A, 30 A]]}",
    ),
)
# The starter with a charger, an inlet of type 2, a wall box and a pack that says how it may be charged.
WITH_AC: tuple[tuple[str, str, str], ...] = (
    *WITH_CHARGER[:-1],
    (
        "parts/obc.yaml",
        "",
        "{schema_version: 1, kind: charger, voltage: {minimum: 200 V, maximum: 420 V}, rated_power: 6 kW, "
        "output_current: 18 A, output_capacitance: 20 µF, efficiency: 93 %, "
        "low_power: {input_power: 1.4 kW, efficiency: 88 %}, "
        "input: {voltage: {minimum: 180 V, maximum: 265 V}, current: 32 A, power_factor: 99 %}}",
    ),
    *PACK,
    (
        HV_FILE,
        "charging",
        "{charger: obc, inlet: {type: type_2, rated_current: 32 A}, cable: {current: 32 A, proximity: 220 Ω}, "
        f"target: 95 %, current_control: table, low_voltage_draw: 200 W, blocked_when: {BLOCKED}, "
        "plug_blocks_drive: true, on_opening: {off_after: 100 ms, reset: manual}, "
        "supplies: {box: {kind: wall_box, voltage: 230 V, current: 32 A, branch_circuit: 40 A, pilot_duty: 53.3 %}}}",
    ),
)
_ENDS = "{{from: {}, to: {}, cable: hv-35, length: 1 m}}"
_READ = "{{plus: {}, minus: {}, error: 1 %, settling: 50 ms}}"
# The starter with an inlet for direct current on its bus, each contact of it measured against the pack's other pole.
WITH_DC: tuple[tuple[str, str, str], ...] = (
    *PACK,
    (HV_FILE, "parts/dc_inlet", "{kind: inlet, sheet: inlet-100}"),
    ("parts/inlet-100.yaml", "", "{schema_version: 1, kind: inlet, rated_voltage: 500 V, rated_current: 100 A}"),
    ("parts/contactor-200.yaml", "break_current_reverse", "200 A"),
    (HV_FILE, "parts/fuse_dc", "{kind: fuse, sheet: fuse-160, overload_trip: {current: 180 A, time: 100 ms}}"),
    (HV_FILE, "parts/k_dc_plus", "{kind: contactor, sheet: contactor-200, role: charge, marked_plus: a}"),
    (HV_FILE, "parts/k_dc_minus", "{kind: contactor, sheet: contactor-200, role: charge, marked_plus: a}"),
    (HV_FILE, "connections/D1", _ENDS.format("dc_inlet.plus", "k_dc_plus.a")),
    (HV_FILE, "connections/D2", _ENDS.format("k_dc_plus.b", "fuse_dc.a")),
    (HV_FILE, "connections/D3", _ENDS.format("fuse_dc.b", "bus_plus.bar")),
    (HV_FILE, "connections/D4", _ENDS.format("dc_inlet.minus", "k_dc_minus.b")),
    (HV_FILE, "connections/D5", _ENDS.format("k_dc_minus.a", "bus_minus.bar")),
    (HV_FILE, "voltage_sensors/inlet_plus", _READ.format("dc_inlet.plus", "pack.minus")),
    (HV_FILE, "voltage_sensors/inlet_minus", _READ.format("pack.plus", "dc_inlet.minus")),
    (HV_FILE, "loops/shutdown/opens", "[k_plus, k_minus, k_pre, k_dc_plus, k_dc_minus]"),
    (HV_FILE, "loops/shutdown/load", "6.4 Ω ± 5 %"),
    (
        HV_FILE,
        "fast_charging",
        "{inlet: dc_inlet, contactors: [k_dc_plus, k_dc_minus], fuse: fuse_dc, "
        "supply: {voltage: {minimum: 150 V, maximum: 450 V}, current: 125 A, output_in_short: stops}, "
        "current: 38 A, current_control: table, "
        "closing_difference: 10 V, "
        f"weld_check: each_pole, blocked_when: {BLOCKED_DC}, plug_blocks_drive: true}}",
    ),
)


def of_charging(
    *fields: str, fast: bool = False
) -> Callable[[Callable[[Context, ChargingResult], Iterable[Outcome]]], Check]:
    """A rule on the study of charging that needs these fields: what of them is missing keeps it open.

    What can be judged without them is judged all the same. ``fast``: on direct current, else on alternating current.
    """
    wanted = frozenset(fields)

    def wrap(check: Callable[[Context, ChargingResult], Iterable[Outcome]]) -> Check:
        @wraps(check)
        def on(ctx: Context) -> Iterator[Outcome]:
            if not _has(ctx, fast):
                yield NotApplicable(f"the vehicle has no {'inlet for direct current' if fast else 'on-board charger'}")
                return
            result: ChargingResult = ctx.results["charging"]
            gaps = [m for m in result.missing if _concerns(m, wanted, fast)]
            said = list(check(ctx, result)) if (result.fast is not None if fast else result.charger) else []
            if not said and not gaps:
                # Nothing could be judged, and nothing that is missing is this rule's own: then all of it counts.
                gaps = list(result.missing)
            if gaps:
                yield ctx.open(gaps)
            yield from said

        return on

    return wrap


def of_station(ctx: Context, part: str) -> tuple[float, list[Missing]]:
    """The largest current [A] of direct-current charging through a part: 0 off its way, nan with what is missing.

    Where an inlet's section is missing as a whole nobody knows what lies on its way, and every part is taken to.
    """
    result: ChargingResult = ctx.results["charging"]
    if result.fast is None:
        return (math.nan, _unknown(result)) if _has(ctx, True) else (0.0, [])
    if part not in result.fast.path:
        return 0.0, []
    amps = result.fast.largest_a
    return amps, _unknown(result) if math.isnan(amps) else []


def station_gaps(ctx: Context, inlets: tuple[str, ...]) -> list[Missing]:
    """Why the current that supplies at these inlets drive is not known; only one inlet is computed."""
    result: ChargingResult = ctx.results["charging"]
    known = "" if result.fast is None or math.isnan(result.fast.largest_a) else result.fast.inlet
    return _unknown(result) if any(inlet != known for inlet in inlets) else []


def _unknown(result: ChargingResult) -> list[Missing]:
    gaps = [m for m in result.missing if m.pointer == FAST or m.pointer.startswith(f"{FAST}/")]
    return gaps or list(result.missing) or [Missing(FAST, "the current of direct-current charging")]


def _has(ctx: Context, fast: bool) -> bool:
    """Whether the vehicle is charged this way, or says that it is."""
    high_voltage = ctx.design.high_voltage
    section = high_voltage.fast_charging if fast else high_voltage.charging
    return section is not None or bool(ctx.design.parts_of("inlet" if fast else "charger"))


def _concerns(missing: Missing, wanted: frozenset[str], fast: bool) -> bool:
    """Whether a gap keeps a rule open: the section of its kind, its charger or inlet, or a field that it needs."""
    at = missing.pointer
    own, other = (FAST, CHARGING) if fast else (CHARGING, FAST)
    if at in _ALWAYS or at in (own, f"{own}/{'inlet' if fast else 'charger'}", f"{own}/supplies"):
        return True
    return at != other and not at.startswith(f"{other}/") and at.rpartition("/")[2] in wanted
