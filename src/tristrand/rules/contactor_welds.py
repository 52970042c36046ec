"""HV220 and HV221: whether a welded contactor is seen, and whether the check waits long enough to know."""

import math
from collections.abc import Callable, Iterable
from typing import Any

from tristrand.findings import Edit, WayOut
from tristrand.rules.contactors import CONTACTORS, of_contactors
from tristrand.rules.rule import Context, NotApplicable, Outcome, rule
from tristrand.rules.view import HV_FILE, PARTS
from tristrand.studies.results import ContactorsResult, Missing, WeldFigures

SENSORS = "high_voltage/voltage_sensors"
CHECK = "high_voltage/weld_check"
BY_GRAPH = "CLOSED-FORM#who is joined with whom"


@rule(
    "HV220",
    "contactor-weld-seen",
    "error",
    needs=CONTACTORS,
    checks=(
        "A weld of each single main or charge contactor shows at a declared voltage sensor in a step of the weld "
        "check, or at a mirror contact that is read."
    ),
    why=(
        "One weld alone does not keep the link live, so nobody notices it; with the second one nothing parts the pack "
        "any more."
    ),
    sources=(BY_GRAPH, "DESIGN#weld check"),
    failing=((HV_FILE, "weld_check/first", "[k_plus]"),),
)
@of_contactors
def contactor_weld_seen(ctx: Context, result: ContactorsResult) -> Iterable[Outcome]:
    """A mirror contact follows the armature: it shows a stuck armature, not contacts that no longer close."""
    yield from _none(ctx, result)
    for name, found in result.welds.items():
        at, ways = f"{PARTS}/{name}", len(found.ways)
        if not ways and not found.mirror and (gaps := undeclared(ctx, name, found, result)):
            yield ctx.open(gaps)
            continue
        words = found.ways[0] if found.ways else None
        yield ctx.compare(
            at,
            "ways in which its weld shows",
            float(ways + found.mirror),
            "",
            ">=",
            1.0,
            BY_GRAPH,
            subject=name,
            bad=f"may weld and no declared sensor sees it: a sensor {between_words(found)} would{_if_first(ctx, name)}",
            good=(f"is seen by {words.sensor} if it welds ({words.step})" if words else "is seen by its mirror contact")
            + (", and by its mirror contact" if words and found.mirror else ""),
            related=((SENSORS, "the sensors"), (CHECK, "the weld check")),
            ways_out=open_first(ctx, name),
        )


def _none(ctx: Context, result: ContactorsResult) -> Iterable[Outcome]:
    if result.welds:
        return
    judged = [p for p in ctx.design.parts_of("contactor").values() if p.role in ("main", "charge")]
    if judged and result.blocking:
        yield ctx.open(result.blocking)
    else:
        yield NotApplicable("there is no pack" if judged else "there is no main or charge contactor")


def undeclared(ctx: Context, name: str, found: WeldFigures, result: ContactorsResult) -> list[Missing]:
    """What is not said at all about how a weld is found; a check that was declared and sees nothing is a fault."""
    gaps = []
    if not result.sensors:
        gaps.append(Missing(SENSORS, f"a sensor that sees {name} welded, {between_words(found)}"))
    if ctx.design.high_voltage.weld_check is None:
        gaps.append(Missing(CHECK, f"how a weld of {name} is looked for"))
    return gaps


def _if_first(ctx: Context, name: str) -> str:
    """What else a contactor needs that the weld check never opens first."""
    check = ctx.design.high_voltage.weld_check
    return "" if check is None or name in check.first else ", once it opens first at times (weld_check/first)"


def between_words(found: WeldFigures) -> str:
    """Where a sensor would have to lie to see the weld."""
    if not found.between[0]:
        return "at its far side"
    return f"from {found.between[0]} to {found.between[1]}"


def open_first(ctx: Context, name: str) -> Callable[[], Iterable[WayOut]]:
    """The way out without a new sensor: let it open first from time to time."""

    def ways() -> Iterable[WayOut]:
        check: Any = ctx.design.high_voltage.weld_check
        if check is not None and name not in check.first:
            names = ", ".join((*check.first, name))
            text = f"let {name} open first from time to time, the others held until the bus has been read"
            yield WayOut(text, (Edit(HV_FILE, "weld_check/first", f"[{names}]"),))

    return ways


@rule(
    "HV221",
    "weld-check-tells",
    "error",
    needs=CONTACTORS,
    checks=(
        "The errors of the sensors leave a difference between welded and opened, and the weld check waits until an "
        "opened contactor has shown it."
    ),
    why=(
        "A check that reads too soon calls every contactor welded until somebody switches it off; one that cannot tell "
        "calls none."
    ),
    sources=("CLOSED-FORM#first-order RC discharging, solved for time", "DESIGN#weld check"),
    failing=((HV_FILE, "weld_check/delay", "300 ms"),),
)
@of_contactors
def weld_check_tells(ctx: Context, result: ContactorsResult) -> Iterable[Outcome]:
    """The quickest way of each contactor; largest capacitance and resistance, the contactor's opening time included."""
    yield from _none(ctx, result)
    for name, found in result.welds.items():
        if not found.ways:
            # A weld that shows nowhere is said by HV220; without sensors nothing can be timed.
            yield _untimed(ctx, name, found, result)
            continue
        way = found.ways[0]
        if way.missing:
            yield ctx.open(way.missing)
            continue
        yield ctx.compare(
            f"{SENSORS}/{way.sensor}",
            "error of the sensors, share of the pack's voltage",
            100.0 * way.error,
            "%",
            "<",
            100.0 * result.allowed_error,
            "CLOSED-FORM#first-order RC discharging, solved for time",
            subject=f"{way.sensor}, for {name},",
            bad="errs too much to tell a welded contactor from an opened one",
            good="is exact enough to tell a weld",
            related=((f"{CHECK}/ratio", "the share that is taken for a weld"),),
        )
        if math.isnan(way.wait_s):
            continue
        yield ctx.compare(
            CHECK,
            f"wait until {way.sensor} proves that {name} opened",
            way.wait_s,
            "s",
            "<=",
            result.delay_s,
            "DESIGN#weld check",
            subject=f"the weld check of {name}",
            bad="reads before an opened contactor could have shown it, and would call it welded",
            good="waits long enough",
            related=((f"{CHECK}/delay", "its wait"),),
            ways_out=_longer(result),
            note=f"{way.step}; {1e6 * way.farad:.0f} µF, {way.ohm:.0f} Ω" if math.isfinite(way.ohm) else way.step,
        )


def _longer(result: ContactorsResult) -> Callable[[], Iterable[WayOut]]:
    """The wait that the quickest way of every contactor asks for, rounded up to a tenth of a second."""

    def ways() -> Iterable[WayOut]:
        waits = [found.ways[0].wait_s for found in result.welds.values() if found.ways and not found.ways[0].missing]
        longest = max((w for w in waits if not math.isnan(w)), default=math.inf)
        if math.isfinite(longest):
            text = f"{math.ceil(10 * longest) / 10:g} s"
            yield WayOut(f"let the weld check wait {text}", (Edit(HV_FILE, "weld_check/delay", text),))

    return ways


def _untimed(ctx: Context, name: str, found: WeldFigures, result: ContactorsResult) -> Outcome:
    if found.mirror:
        return ctx.finding("pass", f"{PARTS}/{name}", f"{name} is watched by its mirror contact, without a wait")
    gaps = undeclared(ctx, name, found, result)
    if gaps:
        return ctx.open(gaps)
    return ctx.finding("not_applicable", f"{PARTS}/{name}", f"no declared sensor sees {name} welded (HV220)")
