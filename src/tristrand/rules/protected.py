"""HV302 to HV304: chargers and supplies that feed a fault, the order of I2t in a fuse's way, parts and their fuse."""

import math
from collections.abc import Iterable
from typing import Any

from tristrand.design import Datum
from tristrand.design.terminals import TERMINALS
from tristrand.findings import Evidence
from tristrand.rules.charging_view import FAST
from tristrand.rules.clearing import PROTECTION, clearing_unproven
from tristrand.rules.fuses import Guard, lead_guards
from tristrand.rules.rule import Context, NotApplicable, Outcome, rule
from tristrand.rules.view import LEADS, PARTS, WITH_CHARGER, better, counted, sheet_pointer
from tristrand.studies.results import FaultsResult, Missing, shorted

SUPPLY_STOPS = "DESIGN#output in a short circuit"
STOPS = (("parts/obc.yaml", "output_in_short", "stops"),)
# Sheets name the continuous current of a part by its kind.
RATED = {"contactor": "continuous_current", "service_disconnect": "continuous_current", "inlet": "rated_current"}


@rule(
    "HV302",
    "charger-feeds-fault",
    "error",
    needs=("pack", "faults"),
    checks=(
        "A charger, and a supply at an inlet for direct current, stops by itself in a short circuit that it feeds, "
        "with the main contactors open too."
    ),
    why="Its current is too small for any fuse that carries it for ever: unless it stops, the fault burns on.",
    sources=("DATASHEET#output in a short circuit", SUPPLY_STOPS),
    failing=(*WITH_CHARGER, ("parts/obc.yaml", "output_in_short", "holds")),
    passing=(*WITH_CHARGER, *STOPS),
    waivable=False,
)
def charger_feeds_fault(ctx: Context) -> Iterable[Outcome]:
    """What the sheet says; no fuse lies between a charger and a short circuit at its own terminals."""
    result: FaultsResult = ctx.results["faults"]
    chargers, inlets = ctx.design.parts_of("charger"), ctx.design.parts_of("inlet")
    if not chargers and not inlets:
        yield NotApplicable("there is neither a charger nor an inlet for direct current")
    for name in inlets:
        yield _supply(ctx, name)
    for name in chargers:
        at = sheet_pointer(ctx, name, "output_in_short")
        says = ctx.design.sheet_of(name).output_in_short
        if says is None:
            yield ctx.open([Missing(at, f"what {name} does into a short circuit at its output: stops or holds")])
        elif says == "stops":
            yield ctx.finding("pass", f"{PARTS}/{name}", f"{name} stops by itself in a short circuit at its output")
        else:
            reach = [shorted(f.fault) for f in result.from_chargers if f.charger == name and f.alone_a > 0]
            note = (
                f"short circuits that it feeds alone with the main contactors open: {', '.join(reach)}" if reach else ""
            )
            evidence = Evidence(
                "fuses between it and a short circuit at its terminals", 0.0, "", ">=", 1.0,
                "DATASHEET#output in a short circuit", note=note,
            )  # fmt: skip
            words = f"{name} feeds a short circuit at its output for ever: it does not stop, and no fuse lies between"
            near = ((at, "what it does in a short circuit"),)
            yield ctx.finding("fail", f"{PARTS}/{name}", words, evidence, related=near)


def _supply(ctx: Context, inlet: str) -> Outcome:
    """The supply at an inlet: what the design says of it."""
    section: Any = ctx.design.high_voltage.fast_charging
    supply = section.supply if section is not None and section.inlet == inlet else None
    if supply is None or supply.output_in_short is None:
        at = FAST if section is None else f"{FAST}/supply" if supply is None else f"{FAST}/supply/output_in_short"
        return ctx.open([Missing(at, f"what the supply at {inlet} does into a short circuit: stops or holds")])
    at = f"{FAST}/supply"
    if supply.output_in_short == "stops":
        return ctx.finding("pass", at, f"the supply at {inlet} stops by itself in a short circuit")
    evidence = counted("short circuits in which it stops", 0, ">=", 1, SUPPLY_STOPS)
    words = f"the supply at {inlet} feeds a short circuit for ever: it does not stop, and its current melts no fuse"
    return ctx.finding("fail", at, words, evidence, related=((f"{PARTS}/{inlet}", "the inlet"),))


@rule(
    "HV303",
    "contactor-below-cable",
    "warning",
    needs=PROTECTION,
    checks=(
        "Along one fuse's way a main or charge contactor bears less I²t than the cables that the fuse protects in full."
    ),
    why="When a fault outlasts the fuse the contactor should fail first, in its housing: a burning cable is a fire.",
    sources=("CLOSED-FORM#parts in series carry the same I2t", "IEC-60364-5-54#adiabatic equation"),
    failing=(("parts/contactor-200.yaml", "withstand", "{current: 20 kA, time: 50 ms}"),),
)
def contactor_below_cable(ctx: Context) -> Iterable[Outcome]:
    """The chain fuse, contactor, cable; its first two links are HV205 and HV204."""
    result = ctx.results["protection"]
    if not result.fuses:
        yield (
            ctx.open(result.missing) if result.missing else NotApplicable("no fuse lies in the way of a short circuit")
        )
        return
    known = {chain.contactor for chain in result.chains}
    for name, let in result.contactors.items():
        if math.isnan(let.limit_a2s):
            at = sheet_pointer(ctx, name, "withstand")
            yield ctx.open([Missing(at, f"short-circuit withstand of {name}")])
        elif not let.fuse:
            yield NotApplicable(f"no fuse ends every short circuit through {name}, which HV205 says")
        elif name not in known:
            yield NotApplicable(f"no cable with a known end temperature lies behind {let.fuse}")
    for chain in result.chains:
        unproven = clearing_unproven(ctx, chain.fuse)
        if unproven is not None:
            yield ctx.open([unproven])
            continue
        yield ctx.compare(
            f"{PARTS}/{chain.contactor}",
            f"I²t that it withstands, beside cable {chain.cable}",
            chain.contactor_a2s,
            "A²s",
            "<",
            chain.cable_a2s,
            "IEC-60364-5-54#adiabatic equation",
            subject=chain.contactor,
            bad=f"outlasts cable {chain.cable}: should {chain.fuse} fail, the cable burns first",
            good=f"fails before cable {chain.cable} burns",
            related=((f"{LEADS}/{chain.cable}", "the cable"), (f"{PARTS}/{chain.fuse}", "the fuse")),
            note=f"{chain.fuse} clears with {chain.clearing_a2s:.4g} A²s",
        )


@rule(
    "HV304",
    "fuse-above-parts",
    "error",
    limit="fuse_not_above_parts",
    checks=(
        "Main and charge contactors, service disconnects and inlets carry for ever at least the rating of the smallest "
        "fuse that protects them."
    ),
    why="Between its own rating and the fuse's a contactor cooks unseen, until its contacts weld.",
    sources=("FSAE-2026#EV.6.6.2b", "PRACTICE#fuse protects the parts behind it", "DATASHEET#continuous current"),
    failing=(("parts/disconnect-200.yaml", "continuous_current", "140 A"),),
)
def fuse_above_parts(ctx: Context) -> Iterable[Outcome]:
    """The fuses of the leads at their terminals. Precharge and discharge contactors have a resistor that limits."""
    limit = ctx.limit()
    guards = lead_guards(ctx)
    at: dict[str, list[Guard]] = {}
    for lead, connection in ctx.design.high_voltage.connections.items():
        if lead in guards:
            at.setdefault(connection.from_, []).append(guards[lead])
            at.setdefault(connection.to, []).append(guards[lead])
    for name, part in ctx.design.high_voltage.parts.items():
        if part.kind not in RATED or (part.kind == "contactor" and part.role not in ("main", "charge")):
            continue
        ends = [at[f"{name}.{pole}"] for pole in TERMINALS[part.kind] if f"{name}.{pole}" in at]
        every = dict.fromkeys(f for end in ends for g in end if math.isnan(g.loop_a) for f in g.every)
        unknown = [f for f in every if ctx.design.sheet_of(f).rated_current is None]
        if unknown:
            yield ctx.open([Missing(sheet_pointer(ctx, f, "rated_current"), f"rated current of {f}") for f in unknown])
        elif (guard := _guard_of(ends)) is not None:
            yield _part(ctx, name, RATED[part.kind], guard.loop, guard.loop_a, limit.source)
        elif ends:
            # HV128 names its cables too; the part must not be green for that.
            evidence = counted("fuses that protect it", 0, ">=", 1, limit.source)
            yield ctx.finding("fail", f"{PARTS}/{name}", f"no fuse protects {name}", evidence)


def _guard_of(ends: list[list[Guard]]) -> Guard | None:
    """What limits the current through a part: the only lead at one of its terminals, else the largest of all its leads.

    Where several leads meet at a terminal the part carries the sum of what they bring, and no one of them tells it.
    """
    alone = [end[0] for end in ends if len(end) == 1 and end[0].loop]
    if alone:
        return min(alone, key=lambda guard: guard.loop_a)
    return max((g for end in ends for g in end if g.loop), key=lambda guard: guard.loop_a, default=None)


def _part(ctx: Context, name: str, field: str, fuses: tuple[str, ...], total_a: float, source: str) -> Outcome:
    carries: Datum | None = getattr(ctx.design.sheet_of(name), field)
    at = sheet_pointer(ctx, name, field)
    if carries is None:
        return ctx.open([Missing(at, f"continuous current of {name}")])
    words, several = " and ".join(fuses), len(fuses) > 1
    return ctx.compare(
        f"{PARTS}/{name}",
        f"rating of {words}{' together' if several else ''}",
        total_a,
        "A",
        "<=",
        carries.low,
        source,
        basis=carries.basis,
        subject=f"{words} ({total_a:g} A)",
        bad=f"{'are' if several else 'is'} larger than {name} carries for ever",
        good=f"{'protect' if several else 'protects'} {name}",
        related=((at, "what it carries"), *((f"{PARTS}/{f}", "the fuse") for f in fuses)),
        ways_out=better(ctx, name, field, total_a),
    )
