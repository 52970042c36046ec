"""HV130 to HV134, HV142, HV143: whether precharge ends, whether its windows tell a fault, how contactors rest."""

from __future__ import annotations

import math
from collections.abc import Iterable

from tristrand.findings import Edit, Evidence, WayOut
from tristrand.rules.rule import Context, NotApplicable, Outcome, rule
from tristrand.rules.view import (
    HV_FILE,
    PARTS,
    PRECHARGE,
    SETTINGS,
    circuit_of,
    no_precharge_result,
    precharge_of,
    release_loads,
    sheet_pointer,
)
from tristrand.studies.results import Missing, PrechargeResult

LOAD_LINE = "CLOSED-FORM#constant-power load in precharge"


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
    needs=PRECHARGE,
    checks="With everything that loads the bus, the bus reaches the target, sensor tolerance included.",
    why="A load on the bus holds it below the target: the car does not start, and the resistor cooks while it waits.",
    sources=("CLOSED-FORM#constant-power load in precharge",),
    failing=((HV_FILE, "parts/dcdc/starts", "with_bus"),),
)
def precharge_never_ends(ctx: Context) -> Iterable[Outcome]:
    """The plateau of the worst lane against the target as the sensors may read it at worst."""
    result = precharge_of(ctx)
    if result is None:
        yield no_precharge_result(ctx)
        return
    loads = ", ".join(f"{name} {watts:.0f} W" for name, watts in result.loads.items())
    needed = _late_share(ctx, result)
    reached = all(math.isfinite(a.target_late_s) for a in result.attempts)
    if reached and result.plateau_share <= needed:
        words = f"precharge reaches its target, but {loads} may start just then and pull the bus back down to "
        words += f"{100 * result.plateau_share:.1f} % before {result.bypassed} has closed"
        share = 100 * result.plateau_share
        evidence = Evidence("bus after the load has started", share, "%", ">", 100 * needed, LOAD_LINE)
        yield ctx.finding("review", f"{PARTS}/{result.resistor}", words, evidence)
        return
    yield ctx.compare(
        f"{PARTS}/{result.resistor}",
        "plateau of the bus, share of pack voltage",
        100 * result.plateau_share,
        "%",
        ">",
        100 * needed,
        LOAD_LINE,
        subject="precharge",
        bad=f"never reaches its target: the bus settles at {100 * result.plateau_share:.1f} % of the pack"
        + (f" with {loads} on it" if loads else ""),
        good="reaches its target",
        related=tuple((f"{PARTS}/{name}", "loads the bus") for name in result.loads),
        ways_out=release_loads(ctx, result),
        note=f"target {100 * result.target:g} % with both sensors at the ends of their tolerance",
    )


def _late_share(ctx: Context, result: PrechargeResult) -> float:
    settings = ctx.design.high_voltage.precharge
    pack = settings.pack_sensor.value if settings.pack_sensor is not None else 0.0
    bus = settings.bus_sensor.value if settings.bus_sensor is not None else 0.0
    return result.target * (1 + pack) / (1 - bus)


@rule(
    "HV132",
    "precharge-time-out-too-short",
    "error",
    needs=PRECHARGE,
    checks="The slowest healthy precharge ends before the time-out.",
    why="A time-out inside the healthy range strands the car on a cold day or with an aged resistor.",
    sources=("CLOSED-FORM#RC charging",),
    failing=((HV_FILE, "precharge/timeout", "120 ms"),),
)
def precharge_time_out_too_short(ctx: Context) -> Iterable[Outcome]:
    """Tolerance ends of resistor, capacitance and sensors."""
    result = precharge_of(ctx)
    if result is None:
        yield no_precharge_result(ctx)
    elif math.isnan(result.timeout_s):
        yield ctx.open([Missing(f"{SETTINGS}/timeout", "time after which precharge is given up")])
    elif math.isnan(result.slowest_s):
        yield NotApplicable("precharge does not reach its target at all (HV131)")
    elif math.isnan(result.close_s):
        yield ctx.open(
            [Missing(sheet_pointer(ctx, result.contactor, "close_time"), f"closing time of {result.contactor}")]
        )
    else:
        slowest = result.slowest_s + result.close_s
        longer = f"{math.ceil(1.25 * slowest * 20) / 20:g} s"
        yield ctx.compare(
            f"{SETTINGS}/timeout",
            "slowest healthy precharge from the command on",
            slowest,
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
    needs=PRECHARGE,
    checks="The fastest healthy precharge is not taken for a fault.",
    why="A healthy car that trips its own fault detection gets the detection switched off.",
    sources=("CLOSED-FORM#RC charging",),
    failing=((HV_FILE, "precharge/earliest", "300 ms"),),
)
def precharge_window_too_fast(ctx: Context) -> Iterable[Outcome]:
    """`earliest` against the fastest healthy lane."""
    result = precharge_of(ctx)
    if result is None:
        yield no_precharge_result(ctx)
    elif math.isnan(result.earliest_s):
        yield ctx.open([Missing(f"{SETTINGS}/earliest", "time before which the target counts as a fault")])
    elif math.isnan(result.fastest_s):
        yield NotApplicable("precharge does not reach its target at all (HV131)")
    else:
        sooner_s = math.floor(0.8 * result.fastest_s * 1000) / 1000
        # A window that no longer sees a missing capacitor is no way out.
        useful = math.isnan(result.fastest_fault_s) or sooner_s > result.fastest_fault_s
        sooner = f"{sooner_s * 1000:g} ms"
        ways = [WayOut(f"set earliest to {sooner}", (Edit(HV_FILE, "precharge/earliest", sooner),))] if useful else []
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
            ways_out=lambda: ways,
        )


@rule(
    "HV134",
    "missing-capacitor-unseen",
    "warning",
    needs=PRECHARGE,
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
    result = precharge_of(ctx)
    if result is None:
        yield no_precharge_result(ctx)
    elif math.isnan(result.earliest_s):
        yield ctx.open([Missing(f"{SETTINGS}/earliest", "time before which the target counts as a fault")])
    elif math.isnan(result.fastest_fault_s):
        yield NotApplicable("with the largest bus capacitance missing precharge does not reach its target")
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


@rule(
    "HV143",
    "rise-check-too-strict",
    "error",
    needs=PRECHARGE,
    checks="The slowest healthy precharge has reached the share of the early look when it comes.",
    why="An early look that a healthy car fails on a cold day teaches people to bridge it.",
    sources=("CLOSED-FORM#RC charging",),
    failing=((HV_FILE, "precharge/rise_check/share", "90 %"),),
)
def rise_check_too_strict(ctx: Context) -> Iterable[Outcome]:
    """Tolerance ends of resistor, capacitance and sensors."""
    result = precharge_of(ctx)
    if result is None:
        yield no_precharge_result(ctx)
    elif math.isnan(result.rise_after_s):
        yield NotApplicable("no early look is set (precharge/rise_check)")
    elif math.isnan(result.slowest_s):
        yield NotApplicable("precharge does not reach its target at all (HV131)")
    else:
        yield ctx.compare(
            f"{SETTINGS}/rise_check",
            f"longest healthy time to {100 * result.rise_share:g} % from the command on",
            result.rise_slowest_s + result.close_s,
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
    "contactor-rests-wrong",
    "error",
    checks="Main and precharge contactors rest open; discharge contactors rest closed.",
    why="Without coil current the pack must be off the bus and the discharge on it: that is what a broken wire leaves.",
    sources=("FSAE-2026#EV.5.4.2", "FSAE-2026#EV.5.4.3", "FSAE-2026#EV.5.6.3", "PRACTICE#resting states"),
    failing=((HV_FILE, "parts/k_plus/rests", "closed"),),
    waivable=False,
)
def contactor_rests_wrong(ctx: Context) -> Iterable[Outcome]:
    """The field `rests` of every contactor."""
    for contact in circuit_of(ctx).contacts:
        wrong = contact.rests_closed != (contact.role == "discharge")
        state = "closed" if contact.rests_closed else "open"
        effect = "the bus then stays charged" if contact.role == "discharge" else "the bus then stays live"
        evidence = Evidence("rests in the wrong state", float(wrong), "", "<=", 0.0, "PRACTICE#resting states")
        yield ctx.finding(
            "fail" if wrong else "pass",
            f"{PARTS}/{contact.id}",
            f"{contact.id} rests {state} without coil current" + (f": {effect}" if wrong else ""),
            evidence,
        )
    if not circuit_of(ctx).contacts:
        yield NotApplicable("there is no contactor")
