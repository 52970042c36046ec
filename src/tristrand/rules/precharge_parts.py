"""HV135 to HV142: what precharge and the closing after it ask of resistor and contactors."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from typing import Any

from tristrand.findings import Edit, Evidence, WayOut
from tristrand.rules.rule import Context, NotApplicable, Outcome, rule
from tristrand.rules.view import (
    HV_FILE,
    PARTS,
    PRECHARGE,
    SETTINGS,
    circuit_of,
    no_precharge_result,
    other_sheets,
    precharge_of,
    release_loads,
    sheet_pointer,
)
from tristrand.studies.results import Missing, PrechargeResult


def _resistor_rule(ctx: Context, field: str, what: str) -> tuple[PrechargeResult | None, Any, Outcome | None]:
    """The result, the datum of the resistor's sheet, and what to say instead where one of them is missing."""
    result = precharge_of(ctx)
    if result is None:
        return None, None, no_precharge_result(ctx)
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
    needs=PRECHARGE,
    checks="The resistor takes the energy of one precharge from cold.",
    why="The wire inside heats in milliseconds; a resistor sized by its watts alone opens on its first start.",
    sources=("DATASHEET#pulse energy", "RESISTOR-NOTE#pulse energy"),
    failing=(("parts/resistor-100r.yaml", "pulse_energy", "20 J"),),
)
def precharge_pulse_energy(ctx: Context) -> Iterable[Outcome]:
    """Largest energy of a healthy attempt."""
    result, rated, instead = _resistor_rule(ctx, "pulse_energy", "pulse energy")
    if result is None or instead is not None:
        yield instead or no_precharge_result(ctx)
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
    needs=PRECHARGE,
    checks="After the allowed attempts in a row the resistor stays below its temperature limit.",
    why="A driver who turns the key again and again must not be able to burn the resistor.",
    sources=("CLOSED-FORM#one-node thermal model",),
    failing=((HV_FILE, "precharge/attempts", "400"), (HV_FILE, "precharge/pause", "500 ms")),
)
def precharge_repeated_attempts(ctx: Context) -> Iterable[Outcome]:
    """One-node model of the resistor's body; the wire itself is judged by its pulse rating (HV135)."""
    result, rated, instead = _resistor_rule(ctx, "temperature_limit", "temperature limit")
    if result is None or instead is not None:
        yield instead or no_precharge_result(ctx)
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
    needs=PRECHARGE,
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
        yield instead or no_precharge_result(ctx)
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
    needs=PRECHARGE,
    checks="The first current of precharge is within the making current of the precharge contactor.",
    why="It closes onto empty capacitors every time: the resistor alone limits that current.",
    sources=("DATASHEET#making current",),
    failing=(("parts/contactor-20.yaml", "make_current", "2 A"),),
)
def precharge_contactor_current(ctx: Context) -> Iterable[Outcome]:
    """Peak of the solved precharge at full pack and lowest resistance."""
    result = precharge_of(ctx)
    if result is None:
        yield no_precharge_result(ctx)
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
    needs=PRECHARGE,
    checks="What loads the bus during precharge stays within half of what the target tolerates.",
    why="A load near the limit turns a warm day or a tired pack into a car that will not start.",
    sources=("CLOSED-FORM#constant-power load in precharge", "PRACTICE#half of the tolerable load"),
    failing=((HV_FILE, "parts/dcdc/starts", "with_bus"), (HV_FILE, "parts/dcdc/power/precharge", "20 W")),
)
def precharge_load_margin(ctx: Context) -> Iterable[Outcome]:
    """Constant-power loads that start with the bus against the tolerable power at the lowest pack voltage."""
    result = precharge_of(ctx)
    if result is None:
        yield no_precharge_result(ctx)
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
            ways_out=release_loads(ctx, result),
            note=f"tolerable: {result.tolerable_load_w:.0f} W, or a resistance of {result.tolerable_load_ohm:.0f} Ω",
        )


@rule(
    "HV140",
    "closing-surge",
    "error",
    needs=PRECHARGE,
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
    result = precharge_of(ctx)
    if result is None:
        yield no_precharge_result(ctx)
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
    needs=PRECHARGE,
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
    """True residual against twice the residual that the limit's share leaves.

    Common practice; no source for the factor.
    """
    limit = ctx.limit()
    if limit is None:
        yield ctx.no_limit()
        return
    result = precharge_of(ctx)
    if result is None:
        yield no_precharge_result(ctx)
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
