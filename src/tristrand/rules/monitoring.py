"""HV240 to HV242, HV244 to HV247, HV256 and HV257: the insulation monitor, where it hangs and what it sees."""

import math
from collections.abc import Callable, Iterable
from functools import wraps
from typing import Any

from tristrand.findings import Edit, Evidence, WayOut
from tristrand.rules.limits import Limit
from tristrand.rules.rule import Check, Context, NotApplicable, Open, Outcome, rule
from tristrand.rules.view import HV_FILE, counted
from tristrand.studies.results import InsulationResult, Missing

NEEDS = ("pack", "insulation")
MONITOR = "high_voltage/insulation/monitor"
WITHOUT = ((HV_FILE, "insulation", "{fittings: {resistance: 50 MΩ, y_capacitance: 5 nF, withstand: 2 kV}}"),)
FSAE = ("vehicle.yaml", "rule_sets", "[fsae-2026]")


def high(result: InsulationResult) -> bool:
    """Whether the bus, or what an inverter makes of it, is high voltage as UN R100 uses the word."""
    return result.highest_v > 60.0 or result.alternating_v > 30.0


def _on_monitor(check: Callable[[Context, InsulationResult, Any], Iterable[Outcome]]) -> Check:
    """A rule on the monitor: without one HV240 or HV241 speaks, and there is nothing to compare."""

    @wraps(check)
    def on(ctx: Context) -> Iterable[Outcome]:
        monitor = ctx.design.high_voltage.insulation.monitor
        if monitor is None:
            return (NotApplicable("there is no insulation monitor, which HV240 or HV241 says"),)
        return check(ctx, ctx.results["insulation"], monitor)

    return on


def insulation_gaps(ctx: Context, result: InsulationResult) -> Open | None:
    """What keeps the legs from being summed; None where they are."""
    if result.legs is not None:
        return None
    return ctx.open(result.missing or (Missing("high_voltage/parts", "a pack on the bus"),))


def no_voltage(ctx: Context) -> Open:
    """What keeps the highest pack voltage from being known."""
    return ctx.open(ctx.results["pack"].missing or (Missing("high_voltage/parts", "a pack on the bus"),))


def _field(ctx: Context, monitor: Any, field: str, what: str) -> Any:
    """A datum of the monitor, or what to say where it is missing."""
    datum = getattr(monitor, field)
    return ctx.open([Missing(f"{MONITOR}/{field}", f"{what} of the insulation monitor")]) if datum is None else datum


def _fitted(ctx: Context, source: str) -> Outcome:
    fitted = ctx.design.high_voltage.insulation.monitor is not None
    evidence = counted("insulation monitors", int(fitted), ">=", 1, source)
    if fitted:
        return ctx.finding("pass", MONITOR, "an insulation monitor watches the bus", evidence)
    words = "no insulation monitor watches the bus: a first fault to the chassis stays unseen until the second"
    return ctx.finding("fail", MONITOR, words, evidence)


@rule(
    "HV240",
    "insulation-monitor-asked-for",
    "error",
    needs=NEEDS,
    limit="insulation_monitor",
    checks="An insulation monitor watches the bus, where a rule set in force asks for one.",
    why="A first fault to the chassis does nothing; with the second a person, or the whole pack, is in the circuit.",
    sources=("FSAE-2026#EV.7.6.1", "FS-FAMILY-2026#EV6.3"),
    failing=(FSAE, *WITHOUT),
    passing=(FSAE,),
    waivable=False,
)
def insulation_monitor_asked_for(ctx: Context) -> Iterable[Outcome]:
    """Declared in the design; its wiring into the shutdown circuit is not looked at.

    Asked for whatever the voltage: to the student rules a tractive system is always high voltage (EV.1.6).
    """
    yield _fitted(ctx, ctx.limit().source)


@rule(
    "HV241",
    "insulation-monitor",
    "warning",
    needs=NEEDS,
    checks="An insulation monitor watches a high-voltage bus, also where no rule set in force asks for one.",
    why="Without it a first fault to the chassis waits unseen for the second, which is a shock or a short circuit.",
    sources=("PRACTICE#insulation monitor on every high-voltage bus",),
    failing=WITHOUT,
)
def insulation_monitor(ctx: Context) -> Iterable[Outcome]:
    """Where a rule set asks for one HV240 speaks instead."""
    if ctx.limit_if_set("insulation_monitor") is not None:
        yield NotApplicable("a rule set in force asks for a monitor: HV240 speaks")
        return
    result: InsulationResult = ctx.results["insulation"]
    if ctx.design.high_voltage.insulation.monitor is None:
        if math.isnan(result.highest_v):
            yield no_voltage(ctx)
            return
        if not high(result):
            yield NotApplicable("the bus is no high voltage")
            return
    yield _fitted(ctx, "PRACTICE#insulation monitor on every high-voltage bus")


@rule(
    "HV242",
    "insulation-monitor-on-both-poles",
    "error",
    needs=NEEDS,
    checks=(
        "While the car is driven, contactors for charging and discharge open, the monitor's plus lies on the positive "
        "pole of the bus, its minus on the negative."
    ),
    why="A monitor on a terminal that is no pole watches a piece of wire and reports the car as sound.",
    sources=("DESIGN#topology",),
    failing=((HV_FILE, "insulation/monitor/minus", "bus_plus.bar"), (HV_FILE, "insulation/monitor/plus", "pack.plus")),
    waivable=False,
)
@_on_monitor
def insulation_monitor_on_both_poles(ctx: Context, result: InsulationResult, monitor: Any) -> Iterable[Outcome]:
    """Precharge resistors count as conductors here, discharge resistors do not."""
    evidence = counted(
        "monitor leads on the wrong pole, or on none", len(result.wrong_poles), "<=", 0, "DESIGN#topology"
    )
    if result.wrong_poles:
        words = f"the insulation monitor has a lead on the wrong pole, or on none: {' and '.join(result.wrong_poles)}"
        yield ctx.finding("fail", MONITOR, words, evidence, ways_out=lambda: _changed_over(result, monitor))
    else:
        words = f"the insulation monitor lies on both poles; with the main contactors open it watches {result.watches}"
        yield ctx.finding("pass", MONITOR, words, evidence)


def _changed_over(result: InsulationResult, monitor: Any) -> Iterable[WayOut]:
    if len(result.wrong_poles) == 2:
        edits = (
            Edit(HV_FILE, "insulation/monitor/plus", monitor.minus),
            Edit(HV_FILE, "insulation/monitor/minus", monitor.plus),
        )
        yield WayOut("change the monitor's two leads over", edits)


def required(ctx: Context, result: InsulationResult) -> Limit | None:
    """The strictest requirement on the bus's own insulation [Ω/V], joined alternating sides considered."""
    keys = ("insulation_ohm_per_v", "insulation_joined_ohm_per_v") if result.joined else ("insulation_ohm_per_v",)
    found = [limit for limit in (ctx.limit_if_set(key) for key in keys) if limit is not None]
    return max(found, key=lambda limit: limit.value, default=None)


@rule(
    "HV244",
    "insulation-monitor-trips-in-time",
    "error",
    needs=NEEDS,
    limit="monitor_trips_ohm_per_v",
    checks=(
        "The monitor trips, tolerance included, no lower than the insulation that the bus must have and than the rule "
        "sets in force ask of the monitor."
    ),
    why="Between the required insulation and its trip level a monitor lets a fault stand that already can hurt.",
    sources=(
        "FSAE-2026#EV.7.6.3",
        "FS-FAMILY-2026#EV6.3.3",
        "UN-R100#5.1.3.1",
        "UN-R100#5.1.3.2",
        "CLOSED-FORM#parallel resistances",
    ),
    failing=((HV_FILE, "insulation/monitor/trips_at", "150 kΩ"),),
    waivable=False,
)
@_on_monitor
def insulation_monitor_trips_in_time(ctx: Context, result: InsulationResult, monitor: Any) -> Iterable[Outcome]:
    """It reads both legs in parallel, never more than the weaker leg: what trips at the requirement trips in time."""
    trips = _field(ctx, monitor, "trips_at", "trip level")
    own = ctx.limit_if_set()
    limit = max((x for x in (own, required(ctx, result)) if x is not None), key=lambda x: x.value)
    if isinstance(trips, Open) or math.isnan(result.highest_v):
        yield trips if isinstance(trips, Open) else no_voltage(ctx)
        return
    yield ctx.compare(
        MONITOR,
        "trip level by the highest pack voltage",
        trips.low / result.highest_v,
        "Ω/V",
        ">=",
        limit.value,
        limit.source,
        basis=trips.basis,
        subject="the insulation monitor",
        bad="trips only when the insulation is already worse than the bus must have",
        good="trips before the insulation is worse than the bus must have",
        related=((f"{MONITOR}/trips_at", "the trip level"),),
        ways_out=lambda: _trip_higher(trips, limit.value * result.highest_v),
        note=joined_words(result) if limit.value > 100.0 and limit is not own else "",
    )


def joined_words(result: InsulationResult) -> str:
    """Which parts make 500 Ω/V count."""
    return f"alternating side joined to the bus without further protection, or not said: {', '.join(result.joined)}"


def _level(kilo_ohm: int, spread: float) -> str:
    """A level of the monitor as the folder writes it, with its tolerance."""
    return f"{kilo_ohm} kΩ" + (f" ± {100 * spread:.3g} %" if spread > 0 else "")


def _trip_higher(trips: Any, least_ohm: float) -> Iterable[WayOut]:
    spread = 1.0 - trips.low / trips.value
    kilo_ohm = math.ceil(least_ohm / (1.0 - spread) / 1e4) * 10
    text = _level(kilo_ohm, spread)
    yield WayOut(f"let the monitor trip at {text}", (Edit(HV_FILE, "insulation/monitor/trips_at", text),))


@rule(
    "HV245",
    "insulation-monitor-false-trips",
    "warning",
    needs=NEEDS,
    checks="A sound car, every part at its least insulation, reads above the level at which the monitor warns.",
    why="A monitor that warns in every wet week is switched off, and then nothing watches.",
    sources=("PRACTICE#a sound bus reads above the warning level", "CLOSED-FORM#parallel resistances"),
    failing=((HV_FILE, "insulation/monitor/warns_at", "2.5 MΩ"),),
)
@_on_monitor
def insulation_monitor_false_trips(ctx: Context, result: InsulationResult, monitor: Any) -> Iterable[Outcome]:
    """Without a warning level the trip level counts; the high end of its tolerance."""
    gaps = insulation_gaps(ctx, result)
    level, field = monitor.warns_at, "warns_at"
    if level is None:
        level, field = _field(ctx, monitor, "trips_at", "trip level"), "trips_at"
    if gaps is not None or isinstance(level, Open):
        yield gaps if gaps is not None else level
        return
    worst = max(result.faults, key=lambda f: f.share)
    yield ctx.compare(
        MONITOR,
        "reading of the sound bus, every part at its least",
        result.shows_ohm / 1e3,
        "kΩ",
        ">",
        level.high / 1e3,
        "PRACTICE#a sound bus reads above the warning level",
        basis=level.basis,
        subject="the insulation monitor",
        bad="warns of a car in which every part is as good as it must be",
        good="stays quiet as long as every part is as good as it must be",
        related=((f"{MONITOR}/{field}", "the level"),),
        note=f"the largest leak is that of {worst.name}",
        ways_out=lambda: _warn_lower(result, monitor),
    )


def _warn_lower(result: InsulationResult, monitor: Any) -> Iterable[WayOut]:
    level, trips = monitor.warns_at, monitor.trips_at
    if level is None or trips is None:
        return
    spread = level.high / level.value - 1.0
    kilo_ohm = math.floor(result.shows_ohm / (1.0 + spread) / 1.05e4) * 10
    if 1e3 * kilo_ohm > trips.value:
        text = _level(kilo_ohm, spread)
        yield WayOut(f"let the monitor warn at {text}", (Edit(HV_FILE, "insulation/monitor/warns_at", text),))


@rule(
    "HV246",
    "insulation-monitor-capacitance",
    "error",
    needs=NEEDS,
    checks="The capacitance of both poles to the chassis is no more than the monitor is made to measure across.",
    why="Beyond its largest capacitance a monitor reads the charging current for a fault, or misses the fault.",
    sources=("DATASHEET#most capacitance of the insulation monitor", "CLOSED-FORM#parallel capacitances"),
    failing=((HV_FILE, "insulation/monitor/most_capacitance", "300 nF"),),
)
@_on_monitor
def insulation_monitor_capacitance(ctx: Context, result: InsulationResult, monitor: Any) -> Iterable[Outcome]:
    """All parts at the high end of their tolerances."""
    most = _field(ctx, monitor, "most_capacitance", "largest capacitance")
    if isinstance(most, Open) or result.y is None:
        yield most if isinstance(most, Open) else insulation_gaps(ctx, result) or ctx.open(())
        return
    yield ctx.compare(
        MONITOR,
        "capacitance of both poles to the chassis",
        result.y.total_f * 1e6,
        "µF",
        "<=",
        most.low * 1e6,
        "DATASHEET#most capacitance of the insulation monitor",
        basis=most.basis,
        subject="the insulation monitor",
        bad="is not made for so much capacitance between bus and chassis: its readings and its time do not hold",
        good="covers the capacitance between bus and chassis",
        related=((f"{MONITOR}/most_capacitance", "what it covers"),),
    )


@rule(
    "HV247",
    "insulation-monitor-response",
    "warning",
    needs=NEEDS,
    limit="monitor_response_s",
    checks="The monitor reports a fault within the time that the rule sets in force allow in its test.",
    why="Until it reports, a person may touch the car; a slow one also lets the car drive off before it has spoken.",
    sources=("PRACTICE#insulation monitor reports within the 30 s of a student rule book's test",),
    failing=((HV_FILE, "insulation/monitor/response_time", "60 s"),),
)
@_on_monitor
def insulation_monitor_response(ctx: Context, result: InsulationResult, monitor: Any) -> Iterable[Outcome]:
    """The time of its sheet; in a student rule book's test the fault is half the response value (IN.10.1.2)."""
    limit = ctx.limit()
    time = _field(ctx, monitor, "response_time", "response time")
    if isinstance(time, Open):
        yield time
        return
    yield ctx.compare(
        MONITOR,
        "time to report a fault",
        time.high,
        "s",
        "<=",
        limit.value,
        limit.source,
        basis=time.basis,
        subject="the insulation monitor",
        bad="takes too long to report a fault",
        good="reports a fault in time",
    )


@rule(
    "HV256",
    "insulation-monitor-even-faults",
    "error",
    needs=NEEDS,
    checks="The monitor sees a fault that weakens both poles alike.",
    why="Water and dirt weaken both poles alike, and the poles' voltages then still look balanced.",
    sources=("CLOSED-FORM#Kirchhoff's laws",),
    failing=((HV_FILE, "insulation/monitor/method", "compares_poles"),),
)
@_on_monitor
def insulation_monitor_even_faults(ctx: Context, result: InsulationResult, monitor: Any) -> Iterable[Outcome]:
    """A comparison of the poles' voltages to the chassis is blind to it: V R1/(R1 + R2) stays the half."""
    if monitor.method is None:
        yield ctx.open([Missing(f"{MONITOR}/method", "method of the insulation monitor: injects or compares_poles")])
        return
    blind = monitor.method == "compares_poles"
    evidence: Evidence = counted("kinds of fault it is blind to", int(blind), "<=", 0, "CLOSED-FORM#Kirchhoff's laws")
    if blind:
        words = "the insulation monitor compares the poles' voltages: it cannot see both poles weaken alike"
        yield ctx.finding("fail", MONITOR, words, evidence)
    else:
        yield ctx.finding("pass", MONITOR, "the insulation monitor also sees both poles weaken alike", evidence)


@rule(
    "HV257",
    "insulation-monitor-on-vehicle-side",
    "error",
    needs=NEEDS,
    limit="monitor_vehicle_side",
    checks="The monitor hangs on the vehicle's side of the main contactors, where a rule set in force asks for it.",
    why="On the pack's side it keeps both poles of a parked pack tied to the car, and sees the bus only when live.",
    sources=("FS-FAMILY-2026#EV6.3.5",),
    failing=(
        ("vehicle.yaml", "rule_sets", "[fs-family-2026]"),
        (HV_FILE, "insulation/monitor/plus", "pack.plus"),
        (HV_FILE, "insulation/monitor/minus", "pack.minus"),
    ),
    passing=(("vehicle.yaml", "rule_sets", "[fs-family-2026]"),),
)
def insulation_monitor_on_vehicle_side(ctx: Context) -> Iterable[Outcome]:
    """Main contactors open, all others too."""
    limit, result = ctx.limit(), ctx.results["insulation"]
    if ctx.design.high_voltage.insulation.monitor is None or result.wrong_poles:
        yield NotApplicable("no insulation monitor lies on both poles (HV240, HV241, HV242)")
        return
    right = result.watches == "the bus"
    evidence = counted("monitors on the vehicle's side", int(right), ">=", 1, limit.source)
    words = f"with the main contactors open the insulation monitor hangs on {result.watches}"
    yield ctx.finding("pass" if right else "fail", MONITOR, words, evidence)
