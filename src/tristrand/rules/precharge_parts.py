"""HV135 to HV141: what precharge and the closing after it ask of resistor and contactors."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from typing import Any

from tristrand.findings import Edit, WayOut
from tristrand.rules.rule import Context, NotApplicable, Outcome, rule
from tristrand.rules.view import (
    HV_FILE,
    PARTS,
    PRECHARGE,
    SETTINGS,
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
    waivable=False,
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
    waivable=False,
)
def precharge_repeated_attempts(ctx: Context) -> Iterable[Outcome]:
    """One-node model of the resistor's body, every attempt on a faulty bus; the wire is judged by HV135 and HV137."""
    result, rated, instead = _resistor_rule(ctx, "temperature_limit", "temperature limit")
    if result is None or instead is not None:
        yield instead or no_precharge_result(ctx)
        return
    if math.isnan(result.temperature_after_faulty_attempts_c):
        yield ctx.open(ctx.results["precharge"].missing or [Missing(f"{SETTINGS}/attempts", "attempts and pause")])
        return
    pause = (
        f"; {result.lockout_faulty_s:.0f} s between attempts would keep it cool for ever"
        if math.isfinite(result.lockout_faulty_s)
        else ""
    )
    yield ctx.compare(
        f"{PARTS}/{result.resistor}",
        "body temperature after the attempts, bus faulty",
        result.temperature_after_faulty_attempts_c,
        "°C",
        "<=",
        rated.low,
        "CLOSED-FORM#one-node thermal model",
        basis=rated.basis,
        subject=result.resistor,
        bad=f"gets too hot after the allowed attempts on a faulty bus{pause}",
        good="stays cool enough over the allowed attempts",
        related=((f"{SETTINGS}/attempts", "attempts"), (f"{SETTINGS}/pause", "pause")),
        ways_out=_longer_pause(result),
    )


def _longer_pause(result: PrechargeResult) -> Callable[[], Iterable[WayOut]]:
    def ways() -> Iterable[WayOut]:
        if math.isfinite(result.lockout_faulty_s):
            text = f"{math.ceil(result.lockout_faulty_s):g} s"
            yield WayOut(f"lock out for {text} between attempts", (Edit(HV_FILE, "precharge/pause", text),))

    return ways


@rule(
    "HV137",
    "precharge-faulty-bus",
    "error",
    needs=PRECHARGE,
    checks="With any short or leak on the bus, precharge is given up before the resistor has its pulse energy.",
    why="On a faulty bus the resistor takes up to the whole pack voltage until precharge is given up: it burns.",
    sources=("CLOSED-FORM#Joule's law", "DATASHEET#pulse energy", "PRACTICE#least share of an early look"),
    failing=((HV_FILE, "precharge/timeout", "2 s"),),
    waivable=False,
)
def precharge_faulty_bus(ctx: Context) -> Iterable[Outcome]:
    """A short until the early look, then a leak that just passes it until the time-out; full pack, low resistance."""
    result, rated, instead = _resistor_rule(ctx, "pulse_energy", "pulse energy")
    if result is None or instead is not None:
        yield instead or no_precharge_result(ctx)
        return
    if math.isnan(result.fault_energy_j):
        own = sheet_pointer(ctx, result.contactor, "open_time")
        gap = Missing(f"{SETTINGS}/timeout", "time after which precharge is given up")
        timed = not math.isnan(result.timeout_s)
        yield ctx.open([Missing(own, f"opening time of {result.contactor}") if timed else gap])
        return
    yield ctx.compare(
        f"{SETTINGS}/timeout",
        "energy in the resistor on a faulty bus",
        result.fault_energy_j,
        "J",
        "<=",
        rated.low,
        "DATASHEET#pulse energy",
        basis=rated.basis,
        subject=result.resistor,
        bad=f"takes more than its pulse energy on a faulty bus ({result.short_power_w:.0f} W on a dead short)",
        good="is saved on a faulty bus",
        related=((f"{PARTS}/{result.resistor}", "the resistor"),),
        ways_out=_give_up_sooner(ctx, result, rated.low),
    )


def _give_up_sooner(ctx: Context, result: PrechargeResult, most_j: float) -> Callable[[], Iterable[WayOut]]:
    """A shorter time-out; an early look with it; or a resistor that takes more. Each is checked as a whole design."""

    def ways() -> Iterable[WayOut]:
        slowest, watts = result.slowest_s, result.short_power_w
        for share in (0.5, 0.6, 0.7):
            # An unloaded bus rises as 1 - exp(-t/tau); a fifth more than the slowest is allowed for the look.
            tau = slowest / -math.log(1 - result.target) if 0 < result.target < 1 else math.nan
            after = math.ceil(-1.2 * tau * math.log(1 - share) * 200) / 200 if tau > 0 else math.nan
            if math.isnan(after) or watts * after >= most_j:
                continue
            ends = after + (most_j / watts - after) / (1 - 0.96 * share) ** 2
            text = f"{math.floor(ends * 100) * 10:g} ms"
            if ends > 1.05 * slowest:
                look = Edit(
                    HV_FILE, "precharge/rise_check", f"{{after: {after * 1000:g} ms, share: {100 * share:g} %}}"
                )
                yield WayOut(
                    f"look at the bus after {after * 1000:g} ms, give up below {100 * share:g} %, time-out {text}",
                    (look, Edit(HV_FILE, "precharge/timeout", text)),
                )
        yield from other_sheets(ctx, result.resistor, "pulse_energy", result.fault_energy_j)

    return ways


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
    elif math.isnan(result.slowest_s):
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
        yield ctx.open(result.missing)
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
    joule = ctx.design.sheet_of(result.bypassed).make_joule_integral
    if joule is not None:
        yield ctx.compare(
            f"{PARTS}/{result.bypassed}",
            "I²t of the closing surge",
            result.surge_joule_integral_a2s,
            "A²s",
            "<=",
            joule.low,
            "DATASHEET#making I²t",
            basis=joule.basis,
            subject=result.bypassed,
            bad="closes onto more I²t than it may make",
            good="closes onto an I²t that it may make",
        )


@rule(
    "HV141",
    "residual-with-sensor-error",
    "error",
    needs=PRECHARGE,
    limit="precharge_share",
    checks="The bus is truly at the share the rule sets ask for, both voltage sensors at the ends of tolerance.",
    why="One per cent on each of two sensors hides eight volts at four hundred: the contactor sees them.",
    sources=("FSAE-2026#EV.5.6.1a", "CONTACTOR-NOTE#precharge"),
    failing=((HV_FILE, "precharge/pack_sensor", "4 %"), (HV_FILE, "precharge/bus_sensor", "4 %")),
)
def residual_with_sensor_error(ctx: Context) -> Iterable[Outcome]:
    """True share at closing. Below the limit by the sensors alone: review down to twice the residual, then fail.

    The factor two is common practice, no source.
    """
    limit = ctx.limit()
    result = precharge_of(ctx)
    if result is None:
        yield no_precharge_result(ctx)
        return
    if math.isnan(result.residual_share):
        # The study closes at the sensors' ends even where the bus never gets there: only their tolerances can lack.
        yield ctx.open(m for m in result.missing if "sensor" in m.pointer)
        return
    lowest, asked = 1 - result.residual_share, limit.value
    tolerable = 1 - 2 * (1 - asked)
    span = (lowest, result.target) if lowest >= tolerable else lowest
    percent = (100 * span[0], 100 * span[1]) if isinstance(span, tuple) else 100 * span
    yield ctx.compare(
        f"{SETTINGS}/target",
        "true share of pack voltage at closing",
        percent,
        "%",
        ">=",
        100 * asked,
        limit.source,
        subject="the bus",
        bad=f"may still lack {result.residual_v:.1f} V at closing with both sensors at the ends of their tolerance",
        good=f"lacks at most {result.residual_v:.1f} V at closing, sensors at the ends of their tolerance",
        related=((f"{SETTINGS}/pack_sensor", "pack sensor"), (f"{SETTINGS}/bus_sensor", "bus sensor")),
        ways_out=lambda: _higher_target(result, asked),
    )


def _higher_target(result: PrechargeResult, asked: float) -> Iterable[WayOut]:
    """Close later, by as much as the sensors may err."""
    if not result.residual_share < 1:
        return
    share = math.ceil(1000 * result.target * asked / (1 - result.residual_share)) / 10
    if share < 99.5:
        yield WayOut(f"close at {share:g} %", (Edit(HV_FILE, "precharge/target", f"{share:g} %"),))
