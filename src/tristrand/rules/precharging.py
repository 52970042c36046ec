"""HV13x and HV14x: precharge, its resistor, its windows, and the closing of the main contactor."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from typing import Any

from tristrand.findings import Edit, Evidence, WayOut
from tristrand.rules.rule import Context, NotApplicable, Outcome, rule
from tristrand.rules.view import HV_FILE, circuit_of, other_sheets, sheet_pointer
from tristrand.studies.results import Missing, PrechargeResult

PARTS = "high_voltage/parts"
SETTINGS = "high_voltage/precharge"
NEEDS = ("pack", "precharge")


def _result(ctx: Context) -> PrechargeResult | None:
    """The precharge, or None where it could not be computed."""
    result: PrechargeResult = ctx.results["precharge"]
    return result if result.attempts else None


def _cannot(ctx: Context) -> Outcome:
    result = ctx.results["precharge"]
    if not result.bypassed and not result.missing:
        return NotApplicable("there is no precharge path")
    return ctx.open(result.missing)


@rule(
    "HV130",
    "precharge-target",
    "error",
    limit="precharge_share",
    checks="The target at which the last main contactor closes is at least the share the rule sets ask for.",
    why=(
        "What is left between pack and bus when the contactor closes flows through its contacts in microseconds: "
        "twice the rest, a thousandth of the life."
    ),
    sources=("FSAE-2026#EV.5.6.1a", "FS-FAMILY-OLDER#EV5.7.1", "CONTACTOR-NOTE#precharge"),
    failing=((HV_FILE, "precharge/target", "85 %"),),
)
def precharge_target(ctx: Context) -> Iterable[Outcome]:
    """The setting itself; what the sensors make of it is judged by HV141."""
    limit = ctx.limit()
    if limit is None:
        yield ctx.no_limit()
        return
    target = ctx.design.high_voltage.precharge.target
    if target is None:
        yield ctx.open([Missing(f"{SETTINGS}/target", "share of pack voltage at which the last main contactor closes")])
        return
    yield ctx.compare(
        f"{SETTINGS}/target",
        "precharge target",
        100 * target.value,
        "%",
        ">=",
        100 * limit.value,
        limit.source,
        subject="the precharge target",
        bad="lies below the share that the rules ask for",
        good="meets the share that the rules ask for",
        ways_out=lambda: [
            WayOut(
                f"close at {100 * limit.value:g} %", (Edit(HV_FILE, "precharge/target", f"{100 * limit.value:g} %"),)
            )
        ],
    )


@rule(
    "HV131",
    "precharge-never-ends",
    "error",
    needs=NEEDS,
    checks="With everything that loads the bus, the bus reaches the target, sensor tolerance included.",
    why="A load on the bus holds it below the target: the car does not start, and the resistor cooks while it waits.",
    sources=("CLOSED-FORM#constant-power load in precharge",),
    failing=((HV_FILE, "parts/dcdc/starts", "with_bus"),),
)
def precharge_never_ends(ctx: Context) -> Iterable[Outcome]:
    """The plateau of the worst lane against the target as the sensors may read it at worst."""
    result = _result(ctx)
    if result is None:
        yield _cannot(ctx)
        return
    loads = ", ".join(f"{name} {watts:.0f} W" for name, watts in result.loads.items())
    needed = _late_share(ctx, result)
    yield ctx.compare(
        f"{PARTS}/{result.resistor}",
        "plateau of the bus, share of pack voltage",
        100 * result.plateau_share,
        "%",
        ">",
        100 * needed,
        "CLOSED-FORM#constant-power load in precharge",
        subject="precharge",
        bad=f"never reaches its target: the bus settles at {100 * result.plateau_share:.1f} % of the pack"
        + (f" with {loads} on it" if loads else ""),
        good="reaches its target",
        related=tuple((f"{PARTS}/{name}", "loads the bus") for name in result.loads),
        ways_out=_release(ctx, result),
        note=f"target {100 * result.target:g} % with both sensors at the ends of their tolerance",
    )


def _late_share(ctx: Context, result: PrechargeResult) -> float:
    settings = ctx.design.high_voltage.precharge
    pack = settings.pack_sensor.value if settings.pack_sensor is not None else 0.0
    bus = settings.bus_sensor.value if settings.bus_sensor is not None else 0.0
    return result.target * (1 + pack) / (1 - bus)


def _release(ctx: Context, result: PrechargeResult) -> Callable[[], Iterable[WayOut]]:
    def ways() -> Iterable[WayOut]:
        for name in sorted(result.loads, key=lambda key: -result.loads[key]):
            part: Any = ctx.design.high_voltage.parts.get(name)
            if part is not None and getattr(part, "starts", "") == "with_bus":
                most = f"; up to {result.tolerable_load_w:.0f} W may stay" if 0 < result.tolerable_load_w < math.inf else ""
                text = f"let {name} start only when released after the main contactors have closed{most}"
                yield WayOut(text, (Edit(HV_FILE, f"parts/{name}/starts", "when_released"),))

    return ways


@rule(
    "HV132",
    "precharge-time-out-too-short",
    "error",
    needs=NEEDS,
    checks="The slowest healthy precharge ends before the time-out.",
    why="A time-out inside the healthy range strands the car on a cold day or with an aged resistor.",
    sources=("CLOSED-FORM#RC charging",),
    failing=((HV_FILE, "precharge/timeout", "120 ms"),),
)
def precharge_time_out_too_short(ctx: Context) -> Iterable[Outcome]:
    """Tolerance ends of resistor, capacitance and sensors."""
    result = _result(ctx)
    if result is None:
        yield _cannot(ctx)
    elif math.isnan(result.timeout_s):
        yield ctx.open([Missing(f"{SETTINGS}/timeout", "time after which precharge is given up")])
    elif math.isnan(result.slowest_s):
        yield NotApplicable("precharge does not reach its target at all (HV131)")
    else:
        longer = f"{math.ceil(1.25 * result.slowest_s * 20) / 20:g} s"
        yield ctx.compare(
            f"{SETTINGS}/timeout",
            "slowest healthy precharge",
            result.slowest_s,
            "s",
            "<",
            result.timeout_s,
            "CLOSED-FORM#RC charging",
            subject="precharge",
            bad="may take longer than its time-out",
            good="ends before its time-out",
            ways_out=lambda: [WayOut(f"set the time-out to {longer}", (Edit(HV_FILE, "precharge/timeout", longer),))],
        )


@rule(
    "HV133",
    "precharge-window-too-fast",
    "error",
    needs=NEEDS,
    checks="The fastest healthy precharge is not taken for a fault.",
    why="A healthy car that trips its own fault detection gets the detection switched off.",
    sources=("CLOSED-FORM#RC charging",),
    failing=((HV_FILE, "precharge/earliest", "300 ms"),),
)
def precharge_window_too_fast(ctx: Context) -> Iterable[Outcome]:
    """`earliest` against the fastest healthy lane."""
    result = _result(ctx)
    if result is None:
        yield _cannot(ctx)
    elif math.isnan(result.earliest_s):
        yield ctx.open([Missing(f"{SETTINGS}/earliest", "time before which the target counts as a fault")])
    elif math.isnan(result.fastest_s):
        yield NotApplicable("precharge does not reach its target at all (HV131)")
    else:
        sooner = f"{math.floor(0.8 * result.fastest_s * 1000):g} ms"
        yield ctx.compare(
            f"{SETTINGS}/earliest",
            "fastest healthy precharge",
            result.fastest_s,
            "s",
            ">",
            result.earliest_s,
            "CLOSED-FORM#RC charging",
            subject="precharge",
            bad="may end sooner than the window allows",
            good="never ends sooner than the window allows",
            ways_out=lambda: [WayOut(f"set earliest to {sooner}", (Edit(HV_FILE, "precharge/earliest", sooner),))],
        )


@rule(
    "HV134",
    "missing-capacitor-unseen",
    "warning",
    needs=NEEDS,
    checks=(
        "With the largest bus capacitance missing, precharge ends sooner than the window allows, so that it is seen."
    ),
    why=(
        "A bus that fills too fast means a device is not connected, or the resistor is bridged: the next closing "
        "may be onto it."
    ),
    sources=("CLOSED-FORM#RC charging",),
    failing=((HV_FILE, "precharge/earliest", "1 ms"),),
)
def missing_capacitor_unseen(ctx: Context) -> Iterable[Outcome]:
    """The fault lane of the precharge study."""
    result = _result(ctx)
    if result is None:
        yield _cannot(ctx)
    elif math.isnan(result.earliest_s):
        yield ctx.open([Missing(f"{SETTINGS}/earliest", "time before which the target counts as a fault")])
    elif math.isnan(result.fastest_fault_s):
        yield NotApplicable("there is no fault lane to compare with")
    else:
        yield ctx.compare(
            f"{SETTINGS}/earliest",
            f"precharge {result.fastest_fault_words}",
            result.fastest_fault_s,
            "s",
            "<",
            result.earliest_s,
            "CLOSED-FORM#RC charging",
            subject=f"precharge {result.fastest_fault_words}",
            bad="ends inside the healthy window and is not noticed",
            good="ends too soon and is noticed",
        )


def _resistor_rule(ctx: Context, field: str, what: str) -> tuple[PrechargeResult | None, Any, Outcome | None]:
    """The result, the datum of the resistor's sheet, and what to say instead where one of them is missing."""
    result = _result(ctx)
    if result is None:
        return None, None, _cannot(ctx)
    datum = getattr(ctx.design.sheet_of(result.resistor), field)
    if datum is None:
        return (
            result,
            None,
            ctx.open([Missing(sheet_pointer(ctx, result.resistor, field), f"{what} of {result.resistor}")]),
        )
    return result, datum, None


@rule(
    "HV135",
    "precharge-pulse-energy",
    "error",
    needs=NEEDS,
    checks="The resistor takes the energy of one precharge from cold.",
    why="The wire inside heats in milliseconds; a resistor sized by its watts alone opens on its first start.",
    sources=("DATASHEET#pulse energy", "RESISTOR-NOTE#pulse energy"),
    failing=(("parts/resistor-100r.yaml", "pulse_energy", "20 J"),),
)
def precharge_pulse_energy(ctx: Context) -> Iterable[Outcome]:
    """Largest energy of a healthy attempt."""
    result, rated, instead = _resistor_rule(ctx, "pulse_energy", "pulse energy")
    if result is None or instead is not None:
        yield instead or _cannot(ctx)
        return
    yield ctx.compare(
        f"{PARTS}/{result.resistor}",
        "energy of one precharge",
        result.pulse_energy_j,
        "J",
        "<=",
        rated.low,
        "DATASHEET#pulse energy",
        basis=rated.basis,
        subject=result.resistor,
        bad="takes more energy in one precharge than its pulse rating",
        good="takes one precharge within its pulse rating",
        related=((sheet_pointer(ctx, result.resistor, "pulse_energy"), "its rating"),),
        ways_out=lambda: other_sheets(ctx, result.resistor, "pulse_energy", result.pulse_energy_j),
    )


@rule(
    "HV136",
    "precharge-repeated-attempts",
    "error",
    needs=NEEDS,
    checks="After the allowed attempts in a row the resistor stays below its temperature limit.",
    why="A driver who turns the key again and again must not be able to burn the resistor.",
    sources=("CLOSED-FORM#one-node thermal model",),
    failing=((HV_FILE, "precharge/attempts", "400"), (HV_FILE, "precharge/pause", "500 ms")),
)
def precharge_repeated_attempts(ctx: Context) -> Iterable[Outcome]:
    """One-node model of the resistor's body; the wire itself is judged by its pulse rating (HV135)."""
    result, rated, instead = _resistor_rule(ctx, "temperature_limit", "temperature limit")
    if result is None or instead is not None:
        yield instead or _cannot(ctx)
        return
    if math.isnan(result.temperature_after_attempts_c):
        yield ctx.open(ctx.results["precharge"].missing or [Missing(f"{SETTINGS}/attempts", "attempts and pause")])
        return
    pause = (
        f"; {result.lockout_s:.0f} s between attempts would keep it cool for ever"
        if math.isfinite(result.lockout_s)
        else ""
    )
    yield ctx.compare(
        f"{PARTS}/{result.resistor}",
        "body temperature after the attempts",
        result.temperature_after_attempts_c,
        "°C",
        "<=",
        rated.low,
        "CLOSED-FORM#one-node thermal model",
        basis=rated.basis,
        subject=result.resistor,
        bad=f"gets too hot after the allowed attempts{pause}",
        good="stays cool enough over the allowed attempts",
        related=((f"{SETTINGS}/attempts", "attempts"), (f"{SETTINGS}/pause", "pause")),
        ways_out=_longer_pause(result),
    )


def _longer_pause(result: PrechargeResult) -> Callable[[], Iterable[WayOut]]:
    def ways() -> Iterable[WayOut]:
        if math.isfinite(result.lockout_s):
            text = f"{math.ceil(result.lockout_s):g} s"
            yield WayOut(f"lock out for {text} between attempts", (Edit(HV_FILE, "precharge/pause", text),))

    return ways


@rule(
    "HV137",
    "precharge-time-out-on-short",
    "error",
    needs=NEEDS,
    checks="On a shorted bus the time-out comes before the resistor has taken more than its pulse energy.",
    why="With a short on the bus the resistor sees the whole pack voltage until somebody opens the contactor.",
    sources=("CLOSED-FORM#resistor on a shorted bus", "DATASHEET#pulse energy"),
    failing=(("parts/resistor-100r.yaml", "pulse_energy", "120 J"), (HV_FILE, "precharge/timeout", "3 s")),
    passing=((HV_FILE, "precharge/timeout", "250 ms"),),
)
def precharge_time_out_on_short(ctx: Context) -> Iterable[Outcome]:
    """t = E R / V², at full pack and the low end of the resistance."""
    result, rated, instead = _resistor_rule(ctx, "pulse_energy", "pulse energy")
    if result is None or instead is not None:
        yield instead or _cannot(ctx)
        return
    if math.isnan(result.timeout_s) and math.isnan(result.rise_after_s):
        yield ctx.open([Missing(f"{SETTINGS}/timeout", "time after which precharge is given up")])
        return
    looks = [(t, n) for t, n in ((result.timeout_s, "timeout"), (result.rise_after_s, "rise_check")) if t == t]
    ends_s, name = min(looks)
    words = "time-out" if name == "timeout" else "early look at the bus"
    yield ctx.compare(
        f"{SETTINGS}/{name}",
        "time for which a shorted bus is fed",
        ends_s,
        "s",
        "<=",
        result.short_timeout_s,
        "CLOSED-FORM#Joule's law",
        basis=rated.basis,
        subject=f"the {words} of {result.resistor}",
        bad=f"lets a shorted bus put {result.short_power_w:.0f} W into it for too long",
        good="saves the resistor on a shorted bus",
        related=((f"{PARTS}/{result.resistor}", "the resistor"),),
        ways_out=_sooner(ctx, result, name),
    )


def _sooner(ctx: Context, result: PrechargeResult, name: str) -> Callable[[], Iterable[WayOut]]:
    """Look earlier; look at all, at what a healthy bus has reached by then; or a resistor that takes more."""

    def ways() -> Iterable[WayOut]:
        text = f"{math.floor(result.short_timeout_s * 1000):g} ms"
        share = _reached_share(result)
        if name == "timeout" and share > 0:
            look = WayOut(
                f"look at the bus after {text}: give up below {share:g} %",
                (Edit(HV_FILE, "precharge/rise_check", f"{{after: {text}, share: {share:g} %}}"),),
            )
            yield look
            yield WayOut(f"set the time-out to {text}", (Edit(HV_FILE, "precharge/timeout", text),))
        elif name == "rise_check" and share > 0:
            edits = (
                Edit(HV_FILE, "precharge/rise_check/after", text),
                Edit(HV_FILE, "precharge/rise_check/share", f"{share:g} %"),
            )
            yield WayOut(f"look at the bus after {text}: give up below {share:g} %", edits)
        soonest = min(t for t in (result.timeout_s, result.rise_after_s) if t == t)
        yield from other_sheets(ctx, result.resistor, "pulse_energy", result.short_power_w * soonest)

    return ways


def _reached_share(result: PrechargeResult) -> float:
    """A share [%] the slowest healthy bus has surely passed by the latest look: half of its unloaded rise."""
    slowest = max((a.target_late_s for a in result.attempts if a.target_late_s == a.target_late_s), default=math.nan)
    if not slowest > 0 or not 0 < result.target < 1:
        return 0.0
    rate = -math.log(1 - result.target) / slowest
    return 5 * math.floor(10 * (1 - math.exp(-rate * result.short_timeout_s)))


@rule(
    "HV138",
    "precharge-contactor-current",
    "error",
    needs=NEEDS,
    checks="The first current of precharge is within the making current of the precharge contactor.",
    why="It closes onto empty capacitors every time: the resistor alone limits that current.",
    sources=("DATASHEET#making current",),
    failing=(("parts/contactor-20.yaml", "make_current", "2 A"),),
)
def precharge_contactor_current(ctx: Context) -> Iterable[Outcome]:
    """Peak of the solved precharge at full pack and lowest resistance."""
    result = _result(ctx)
    if result is None:
        yield _cannot(ctx)
        return
    rated = ctx.design.sheet_of(result.contactor).make_current
    pointer = sheet_pointer(ctx, result.contactor, "make_current")
    if rated is None:
        yield ctx.open([Missing(pointer, f"making current of {result.contactor}")])
        return
    yield ctx.compare(
        f"{PARTS}/{result.contactor}",
        "first current of precharge",
        result.peak_current_a,
        "A",
        "<=",
        rated.low,
        "DATASHEET#making current",
        basis=rated.basis,
        subject=result.contactor,
        bad="closes onto more current than it may make",
        good="closes onto a current that it may make",
        related=((pointer, "its rating"),),
        ways_out=lambda: other_sheets(ctx, result.contactor, "make_current", result.peak_current_a),
    )


@rule(
    "HV139",
    "precharge-load-margin",
    "warning",
    needs=NEEDS,
    checks="What loads the bus during precharge stays within half of what the target tolerates.",
    why="A load near the limit turns a warm day or a tired pack into a car that will not start.",
    sources=("CLOSED-FORM#constant-power load in precharge", "PRACTICE#half of the tolerable load"),
    failing=((HV_FILE, "parts/dcdc/starts", "with_bus"), (HV_FILE, "parts/dcdc/power/precharge", "20 W")),
)
def precharge_load_margin(ctx: Context) -> Iterable[Outcome]:
    """Constant-power loads that start with the bus against the tolerable power at the lowest pack voltage."""
    result = _result(ctx)
    if result is None:
        yield _cannot(ctx)
    elif result.connected_load_w <= 0:
        yield NotApplicable("nothing draws power from the bus during precharge")
    elif not result.reaches:
        yield NotApplicable("precharge does not reach its target at all (HV131)")
    elif math.isinf(result.tolerable_load_w):
        yield NotApplicable("every load starts above the target")
    else:
        yield ctx.compare(
            f"{PARTS}/{result.resistor}",
            "power drawn from the bus in precharge",
            result.connected_load_w,
            "W",
            "<=",
            0.5 * result.tolerable_load_w,
            "PRACTICE#half of the tolerable load",
            subject="the load on the bus in precharge",
            bad="takes more than half of what the target tolerates",
            good="is small beside what the target tolerates",
            related=tuple((f"{PARTS}/{n}", "loads the bus") for n in result.loads),
            ways_out=_release(ctx, result),
            note=f"tolerable: {result.tolerable_load_w:.0f} W, or a resistance of {result.tolerable_load_ohm:.0f} Ω",
        )


@rule(
    "HV140",
    "closing-surge",
    "error",
    needs=NEEDS,
    checks=(
        "When the last main contactor closes at the true residual voltage, the surge stays within its making current."
    ),
    why=(
        "Closing contacts bounce and arc: above their making current they weld, and a welded contactor is found "
        "when somebody touches the bus."
    ),
    sources=("DATASHEET#making current", "CLOSED-FORM#series RLC"),
    failing=(("parts/contactor-200.yaml", "make_current", "60 A"),),
    waivable=False,
)
def closing_surge(ctx: Context) -> Iterable[Outcome]:
    """Peak current of the closing transient, sensors at the ends of their tolerance."""
    result = _result(ctx)
    if result is None:
        yield _cannot(ctx)
        return
    if math.isnan(result.surge_current_a):
        yield (
            ctx.open(result.missing)
            if result.missing
            else NotApplicable("precharge does not reach its target at all (HV131)")
        )
        return
    rated = ctx.design.sheet_of(result.bypassed).make_current
    pointer = sheet_pointer(ctx, result.bypassed, "make_current")
    if rated is None:
        yield ctx.open([Missing(pointer, f"making current of {result.bypassed}")])
        return
    how = "with the cables' inductance" if result.surge_with_inductance else "without inductance: an upper bound"
    yield ctx.compare(
        f"{PARTS}/{result.bypassed}",
        "closing surge",
        result.surge_current_a,
        "A",
        "<=",
        rated.low,
        "DATASHEET#making current",
        basis=rated.basis,
        subject=result.bypassed,
        bad=f"closes onto a surge above its making current, {result.residual_v:.1f} V left",
        good="closes onto a surge within its making current",
        note=f"residual {result.residual_v:.1f} V, {how}; I²t {result.surge_joule_integral_a2s:.3g} A²s",
        related=((pointer, "its rating"),),
        ways_out=lambda: other_sheets(ctx, result.bypassed, "make_current", result.surge_current_a),
    )


@rule(
    "HV141",
    "residual-with-sensor-error",
    "error",
    needs=NEEDS,
    limit="precharge_share",
    checks=(
        "With both voltage sensors at the ends of their tolerance, the bus is truly at the share the rule sets ask "
        "for, less the tolerance of the readings."
    ),
    why="One per cent on each of two sensors hides eight volts at four hundred: the contactor sees them.",
    sources=("FSAE-2026#EV.5.6.1a", "CONTACTOR-NOTE#precharge"),
    failing=((HV_FILE, "precharge/pack_sensor", "4 %"), (HV_FILE, "precharge/bus_sensor", "4 %")),
)
def residual_with_sensor_error(ctx: Context) -> Iterable[Outcome]:
    """True residual against twice the residual that the limit's share leaves: common practice, no source for the factor."""
    limit = ctx.limit()
    if limit is None:
        yield ctx.no_limit()
        return
    result = _result(ctx)
    if result is None:
        yield _cannot(ctx)
        return
    if math.isnan(result.residual_share):
        missing = [m for m in result.missing if "sensor" in m.pointer]
        yield (ctx.open(missing) if missing else NotApplicable("precharge does not reach its target at all (HV131)"))
        return
    yield ctx.compare(
        f"{SETTINGS}/target",
        "true residual at closing",
        100 * result.residual_share,
        "%",
        "<=",
        200 * (1 - limit.value),
        "PRACTICE#twice the nominal residual",
        subject="the true residual at closing",
        bad=f"may be {result.residual_v:.1f} V with both sensors at the ends of their tolerance",
        good=f"is at most {result.residual_v:.1f} V with both sensors at the ends of their tolerance",
        related=((f"{SETTINGS}/pack_sensor", "pack sensor"), (f"{SETTINGS}/bus_sensor", "bus sensor")),
    )


@rule(
    "HV143",
    "rise-check-too-strict",
    "error",
    needs=NEEDS,
    checks="The slowest healthy precharge has reached the share of the early look when it comes.",
    why="An early look that a healthy car fails on a cold day teaches people to bridge it.",
    sources=("CLOSED-FORM#RC charging",),
    failing=((HV_FILE, "precharge/rise_check/share", "90 %"),),
)
def rise_check_too_strict(ctx: Context) -> Iterable[Outcome]:
    """Tolerance ends of resistor, capacitance and sensors."""
    result = _result(ctx)
    if result is None:
        yield _cannot(ctx)
    elif math.isnan(result.rise_after_s):
        yield NotApplicable("no early look is set (precharge/rise_check)")
    elif not result.reaches:
        yield NotApplicable("precharge does not reach its target at all (HV131)")
    else:
        yield ctx.compare(
            f"{SETTINGS}/rise_check",
            f"longest healthy time to {100 * result.rise_share:g} %",
            result.rise_slowest_s,
            "s",
            "<",
            result.rise_after_s,
            "CLOSED-FORM#RC charging",
            subject="a healthy precharge",
            bad="may fail the early look",
            good="passes the early look",
        )


@rule(
    "HV142",
    "main-contactor-rests-closed",
    "error",
    checks="Main and precharge contactors rest open.",
    why="A main contactor that rests closed keeps the bus live with the key in the drawer.",
    sources=("FSAE-2026#EV.5.4.2", "FSAE-2026#EV.5.4.3"),
    failing=((HV_FILE, "parts/k_plus/rests", "closed"),),
)
def main_contactor_rests_open(ctx: Context) -> Iterable[Outcome]:
    """The field `rests` of main and precharge contactors."""
    for contact in circuit_of(ctx).contacts:
        if contact.role == "discharge":
            continue
        evidence = Evidence("rests closed", float(contact.rests_closed), "", "<=", 0.0, "FSAE-2026#EV.5.4.2")
        words = "rests closed: without coil current the bus stays live" if contact.rests_closed else "rests open"
        yield ctx.finding(
            "fail" if contact.rests_closed else "pass",
            f"{PARTS}/{contact.id}",
            f"{contact.id} {words}",
            evidence,
        )
    if not circuit_of(ctx).contacts:
        yield NotApplicable("there is no contactor")
