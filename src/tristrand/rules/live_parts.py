"""HV231 to HV235: what a hand can reach when something is opened, and touch protection."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from functools import wraps
from typing import TYPE_CHECKING, TypeAlias

from tristrand.physics.discharge import TOUCH_LIMIT_V
from tristrand.rules.loops import LOOPS, NEEDS, OPENABLE, result_of
from tristrand.rules.rule import Check, Context, NotApplicable, Outcome, Verdict, rule
from tristrand.rules.view import HV_FILE, counted
from tristrand.studies.results import Exposure, Missing

if TYPE_CHECKING:
    from tristrand.design.loops import Openable

DEGREES = {"none": 0, "IPXXB": 1, "IPXXD": 2}
# For examples: lugs of the drive behind a cover that a hand opens.
HAND = (
    "{kind: cover, opens: [drive], opened_with: hand, place: outside, touch_closed: IPXXB, touch_open: none, "
    "bared_after: 4 s}"
)
BARE = (HV_FILE, "openable/plug_drive", HAND)

Judge: TypeAlias = "Callable[[Context, str, Openable, Exposure], Iterable[Outcome]]"


def _at_bare_parts(judge: Judge) -> Check:
    """A rule on every openable whose live parts a hand can reach; protected ones pass, gaps leave it open."""

    @wraps(judge)
    def on(ctx: Context) -> Iterable[Outcome]:
        result, items = result_of(ctx), ctx.design.high_voltage.openable
        if not items:
            yield ctx.open([Missing(OPENABLE, "what a person can open, and what it bares")])
        for name, item in items.items():
            place = f"{OPENABLE}/{name}"
            if item.touch_open is None:
                yield ctx.open([Missing(f"{place}/touch_open", f"protection against touch of {name} when open")])
            elif item.touch_open != "none":
                yield ctx.finding("pass", place, f"{name} stays {item.touch_open} when open")
            elif name not in result.exposures:
                yield ctx.open(result.missing)
            else:
                yield from judge(ctx, name, item, result.exposures[name])

    return on


def _watched(name: str, found: Exposure) -> str:
    return f"{name}, watched by {', '.join(found.watched)}," if found.watched else f"{name}, watched by no loop,"


def _with_tool(ctx: Context, name: str, volts: float) -> Verdict:
    """A tool stands between hand and live part; what stays live behind it is said."""
    return ctx.finding(
        "pass", f"{OPENABLE}/{name}", f"{name} needs a tool; measure before touching: {volts:.0f} V can stay"
    )


@rule(
    "HV231",
    "dead-when-bared",
    "error",
    needs=NEEDS,
    checks=(
        "Where a hand opens something and can touch the live parts behind it, no pack holds more than 60 V between "
        "them once its loop has opened the contactors."
    ),
    why="What the contactors do not part stays live as long as there is charge in the cells.",
    sources=("IEC-60204-1#6.2.4", "FMVSS-305#touch protection"),
    failing=(BARE, (HV_FILE, "loops/shutdown/elements/lock_drive/watches", "[]")),
    waivable=False,
)
@_at_bare_parts
def dead_when_bared(ctx: Context, name: str, item: Openable, found: Exposure) -> Iterator[Outcome]:
    """The fullest cells; contactors that no loop of the openable opens count as closed."""
    if item.opened_with == "tool":
        yield _with_tool(ctx, name, found.after_v)
        return
    yield ctx.compare(
        f"{OPENABLE}/{name}",
        "voltage that stays between bared parts",
        found.after_v,
        "V",
        "<=",
        TOUCH_LIMIT_V,
        "IEC-60204-1#6.2.4",
        subject=_watched(name, found),
        bad="bares live parts that a hand can touch",
        good="bares parts that are dead by then",
        note=f"between {', '.join(found.terminals)}",
    )


@rule(
    "HV232",
    "capacitors-when-bared",
    "error",
    needs=NEEDS,
    limit="unplugged_s",
    checks=(
        "Capacitors at live parts that can be touched have fallen to 60 V when a hand gets there: within 1 s at a "
        "connector pulled by hand, else within the time that opening takes. A parted device is cut off from the "
        "discharge resistor and keeps its charge."
    ),
    why="A capacitor behind a parted plug holds the pack's voltage with nothing to discharge it.",
    sources=("IEC-60204-1#6.2.4", "FMVSS-305#connectors"),
    failing=((HV_FILE, "openable/plug_drive/touch_open", "none"),),
    waivable=False,
)
@_at_bare_parts
def capacitors_when_bared(ctx: Context, name: str, item: Openable, found: Exposure) -> Iterator[Outcome]:
    """The bus by the study of discharge, its slowest opening order; a parted device by its own resistance."""
    limit = ctx.limit()
    allowed, source = math.nan, "DESIGN#bared_after"
    if item.bared_after is not None:
        allowed = item.bared_after.low
    plug = item.kind == "connector" and item.opened_with == "hand"
    if plug and not allowed <= limit.value:
        allowed, source = limit.value, limit.source
    if not found.held:
        if found.after_v > TOUCH_LIMIT_V:
            yield NotApplicable(f"{name} stays fed by a pack, which another rule says")
        else:
            yield ctx.finding("pass", f"{OPENABLE}/{name}", f"{name} bares no charged capacitor")
        return
    if math.isnan(allowed):
        gap = Missing(f"{OPENABLE}/{name}/bared_after", f"time until a hand can touch what {name} bares")
        yield ctx.open([gap])
        return
    worst = max(found.held, key=lambda one: math.inf if math.isnan(one.seconds) else one.seconds)
    if math.isnan(found.held_s()):
        yield ctx.open(ctx.results["discharge"].missing or [Missing("studies/discharge", "time of the bus to 60 V")])
        return
    yield ctx.compare(
        f"{OPENABLE}/{name}",
        "time to 60 V",
        worst.seconds,
        "s",
        "<=",
        allowed,
        source,
        subject=name,
        bad=f"bares the capacitors of {', '.join(worst.devices)} too soon: discharged by {worst.way}",
        good="bares capacitors that are discharged by then",
        note=f"from {worst.start_v:.0f} V; counted from the loop's opening",
    )


@rule(
    "HV233",
    "live-after-one-failure",
    "error",
    needs=NEEDS,
    checks=(
        "Where a hand opens something and can touch live parts, no single failure leaves more than 60 V there: a "
        "welded contactor, a bridged contact, a wire shorted to the supply, a stuck relay, a supervisor that does not "
        "act. Failures of a loop that is tested at each start, or always, are found before."
    ),
    why="A bridged switch shows nothing until the cover comes off a live bus.",
    sources=("PRACTICE#single failure leaves no touchable voltage",),
    failing=(BARE, (HV_FILE, "loops/shutdown/tested", "never")),
    passing=(),
)
@_at_bare_parts
def live_after_one_failure(ctx: Context, name: str, item: Openable, found: Exposure) -> Iterator[Outcome]:
    """One failure at a time; the parts that are live without any failure are the business of another rule."""
    if item.opened_with == "tool":
        yield _with_tool(ctx, name, max([found.after_v, *(f.left_v for f in found.failures)]))
        return
    loops = ctx.design.high_voltage.loops
    bad = [
        failure
        for failure in found.failures
        if failure.left_v > TOUCH_LIMIT_V and not (failure.loop and loops[failure.loop].tested != "never")
    ]
    source = "PRACTICE#single failure leaves no touchable voltage"
    evidence = counted("single failures that leave it live", len(bad), "<=", 0, source)
    words = f"no single failure that goes unseen leaves {name} live"
    if bad:
        more = f", and {len(bad) - 1} more" if len(bad) > 1 else ""
        words = f"{name} bares {bad[0].left_v:.0f} V after one failure: {bad[0].words}{more}"
    related = tuple((f"{LOOPS}/{loop}", "a loop that watches it") for loop in found.watched)
    yield ctx.finding("fail" if bad else "pass", f"{OPENABLE}/{name}", words, evidence, related=related)


@rule(
    "HV234",
    "one-pole-when-bared",
    "warning",
    needs=NEEDS,
    checks="Where a hand opens something and can touch live parts, not even one pole of a pack reaches them.",
    why="One pole alone bites as soon as the insulation of the other has failed, which nobody sees.",
    sources=("PRACTICE#one pole and an insulation fault",),
    failing=((HV_FILE, "openable/handle/touch_open", "none"), (HV_FILE, "openable/handle/bared_after", "2 s")),
)
@_at_bare_parts
def one_pole_when_bared(ctx: Context, name: str, item: Openable, found: Exposure) -> Iterator[Outcome]:
    """After the loop's opening, no failure; both poles are the business of another rule."""
    if item.opened_with == "tool":
        yield _with_tool(ctx, name, found.after_v)
        return
    if found.after_v > TOUCH_LIMIT_V:
        yield NotApplicable(f"{name} is live between both poles, which another rule says")
        return
    poles = ", ".join(found.after_poles)
    evidence = counted(
        "poles that reach it", len(found.after_poles), "<=", 0, "PRACTICE#one pole and an insulation fault"
    )
    words = (
        f"{name} bares {poles}: dangerous with an insulation fault" if poles else f"no pole reaches what {name} bares"
    )
    yield ctx.finding("fail" if poles else "pass", f"{OPENABLE}/{name}", words, evidence)


@rule(
    "HV235",
    "touch-protection-closed",
    "error",
    limit="touch_protection",
    checks="Closed, everything that can be opened is IPXXD in cabin and luggage space and at least IPXXB elsewhere.",
    why="A child's finger or a dropped paper clip finds the gap that a grown hand never felt.",
    sources=("FMVSS-305#touch protection",),
    failing=((HV_FILE, "openable/handle/touch_closed", "IPXXB"),),
    waivable=False,
)
def touch_protection_closed(ctx: Context) -> Iterable[Outcome]:
    """A degree once given covers the lower ones: 1 for IPXXB (finger), 2 for IPXXD (wire)."""
    limit, items = ctx.limit(), ctx.design.high_voltage.openable
    if not items:
        yield ctx.open([Missing(OPENABLE, "what a person can open, and how it is protected")])
    for name, item in items.items():
        place = f"{OPENABLE}/{name}"
        if item.touch_closed is None:
            yield ctx.open([Missing(f"{place}/touch_closed", f"protection against touch of {name} when closed")])
            continue
        asked = "IPXXD" if item.place in ("cabin", "luggage") else "IPXXB"
        fine = DEGREES[item.touch_closed] >= DEGREES[asked]
        evidence = counted("degree of protection", DEGREES[item.touch_closed], ">=", DEGREES[asked], limit.source)
        is_what = "unprotected" if item.touch_closed == "none" else item.touch_closed
        words = f"{name} ({item.place}) is {is_what} when closed" + ("" if fine else f"; {asked} is needed there")
        yield ctx.finding("pass" if fine else "fail", place, words, evidence)
