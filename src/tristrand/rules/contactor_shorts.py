"""HV207, HV208, HV306 and HV307: contactors in a short circuit, and short circuits that no fuse ends."""

from collections.abc import Iterable
from typing import Any

from tristrand.rules.clearing import PROTECTION
from tristrand.rules.rule import Context, NotApplicable, Outcome, Verdict, rule
from tristrand.rules.short_circuits import of_protection
from tristrand.rules.view import (
    HV_FILE,
    PARTS,
    WITH_CHARGER,
    against_sheet,
    circuit_of,
    feeds_back_unsaid,
    sheet_pointer,
)
from tristrand.studies.results import NO_ARC_A, CaseFlows, Missing, ProtectionResult, shorted

NO_SUPPLY = "while charging from direct current the supply's own capacitance would add to it: no design holds that"


@rule(
    "HV207",
    "contactor-opens-below-fuse",
    "error",
    needs=PROTECTION,
    checks=(
        "Main contactors, and charge contactors where no main contactor parts the same current, may open every "
        "current, in either direction, at which a fuse that alone has to clear it is still below its minimum breaking "
        "current."
    ),
    why="Between overload and minimum breaking current the fuse cannot be relied on: there the contactors must open.",
    sources=("DATASHEET#largest current it may open", "DATASHEET#minimum breaking current"),
    failing=(("parts/contactor-200.yaml", "break_current", "300 A"),),
    waivable=False,
)
@of_protection
def contactor_opens_below_fuse(ctx: Context, result: ProtectionResult) -> Iterable[Outcome]:
    """Where packs stand side by side every fuse has its share, so the contactor may carry the minimum of all.

    Where a fuse gives no minimum the largest of the others can fail, but not pass.
    """
    for name, currents in result.left.items():
        unknown = {left.reverse for left in currents if left.current_a != left.current_a}
        for left in currents:
            if left.current_a != left.current_a:
                pointer = sheet_pointer(ctx, left.fuse, "minimum_breaking_current")
                yield ctx.open([Missing(pointer, f"minimum breaking current of {left.fuse}")])
                continue
            way, where = "backward" if left.reverse else "forward", shorted(left.fault)
            sheet = ctx.design.sheet_of(name)
            alike = sheet.polarised is False and sheet.break_current_reverse is None
            said = against_sheet(
                ctx,
                name,
                "break_current_reverse" if left.reverse and not alike else "break_current",
                f"largest current it may open {way}",
                "DATASHEET#largest current it may open",
                f"current below the minimum breaking current of a fuse, {way}",
                left.current_a,
                "A",
                "<=",
                bad=f"may not open what {left.fuse} may fail to clear: short circuit {where} with resistance",
                good="may open every current that its fuses may fail to clear",
                mark=f"what it may open {way}",
            )
            if left.reverse not in unknown or not _passes(said):
                yield said


def _passes(said: Outcome) -> bool:
    return isinstance(said, Verdict) and said.finding.kind == "pass"


@rule(
    "HV208",
    "contactor-opens-charge",
    "error",
    needs=("pack", "operating"),
    checks=(
        "Main contactors may open the largest current of charging and of regeneration that runs against the direction "
        "they are made for: against their mark, or whichever way where no mark counts."
    ),
    why="A polarised contactor blows a reversed arc into its housing: opened while charging or braking it burns.",
    sources=("DATASHEET#largest current it may open",),
    failing=(*WITH_CHARGER, ("parts/contactor-200.yaml", "break_current_reverse", "5 A")),
    passing=WITH_CHARGER,
)
def contactor_opens_charge(ctx: Context) -> Iterable[Outcome]:
    """The cases charge and regeneration; open where an inverter does not say what it feeds back.

    What runs with the mark is judged by HV216. Less than keeps an arc does not count.
    """
    operating = ctx.results["operating"]
    unsaid = feeds_back_unsaid(ctx)
    if unsaid:
        yield ctx.open(unsaid)
    cases = [case for case in operating.cases.values() if not case.drives]
    if not cases:
        words = "no mode uses the case charge or regeneration"
        yield ctx.open(operating.missing) if operating.missing else NotApplicable(words)
        return
    for name in ctx.design.parts_of("contactor", role="main"):
        against = [(_against(ctx, name, case), case.case) for case in cases if name in case.back]
        current_a, case = max(against, default=(0.0, ""))
        if current_a < NO_ARC_A:
            with_it = [case.case for case in cases if name in case.back and max(case.back[name]) >= NO_ARC_A]
            if with_it:
                words = f"{name} meets the current of case {with_it[0]} with its mark, where HV216 judges it"
                yield ctx.finding("pass", f"{PARTS}/{name}", words)
            continue
        sheet = ctx.design.sheet_of(name)
        alike = sheet.polarised is False and sheet.break_current_reverse is None
        yield against_sheet(
            ctx,
            name,
            "break_current" if alike else "break_current_reverse",
            "largest current it may open backward",
            "DATASHEET#largest current it may open",
            f"largest current back through it, in case {case}",
            current_a,
            "A",
            "<=",
            bad=f"may not open the current of case {case}, which runs against its marked direction",
            good=f"may open the current of case {case}",
            mark="what it may open backward",
        )


def _against(ctx: Context, name: str, case: CaseFlows) -> float:
    """The largest current [A] against a contactor's mark in a case, other loads on or off.

    Where no mark counts, whichever way it runs with the other loads off, and with them on where there is none.
    """
    part: Any = ctx.design.high_voltage.parts[name]
    from_a, from_b = case.through[name]
    if ctx.design.sheet_of(name).polarised and part.marked_plus:
        return from_b if part.marked_plus == "a" else from_a
    alone_a = max(case.back[name])
    return alone_a if alone_a >= NO_ARC_A else max(from_a, from_b)


@rule(
    "HV306",
    "contactor-stays-shut-in-short",
    "error",
    needs=(*PROTECTION, "charging"),
    checks=(
        "The largest current of any short circuit, of packs and bus capacitors together where both flow through the "
        "contactor, does not throw the contacts open."
    ),
    why="Blown open by its own current a contactor draws an arc and welds as it falls shut, however short the current.",
    sources=("DATASHEET#short-circuit withstand",),
    failing=(("parts/contactor-200.yaml", "withstand_peak", "4 kA"),),
    waivable=False,
)
@of_protection
def contactor_stays_shut_in_short(ctx: Context, result: ProtectionResult) -> Iterable[Outcome]:
    """The prospective current, as if the fuse did not cut it off; the sheet's peak, else its withstand current.

    What the capacitance of a supply at an inlet adds is in no design: it is not counted, and the finding says so.
    """
    fast = ctx.results["charging"].fast
    # A capacitance that is not known may be the largest source of all.
    gaps = [m for m in circuit_of(ctx).missing if m.pointer.endswith("_capacitance")]
    if gaps:
        yield ctx.open(gaps)
    for name, peak in result.peaks.items():
        sheet = ctx.design.sheet_of(name)
        field = "withstand_peak" if sheet.withstand_peak is not None else "withstand"
        pointer = sheet_pointer(ctx, name, field)
        if sheet.withstand_peak is None and sheet.withstand is None:
            yield ctx.open([Missing(pointer, f"short-circuit withstand of {name}")])
            continue
        datum = sheet.withstand_peak if sheet.withstand_peak is not None else sheet.withstand.current
        yield ctx.compare(
            f"{PARTS}/{name}",
            "largest current through it in a short circuit",
            peak.current_a,
            "A",
            "<=",
            datum.low,
            "DATASHEET#short-circuit withstand",
            basis=datum.basis,
            subject=name,
            bad=f"may be blown open by the short circuit {shorted(peak.fault)}, driven by {peak.source}",
            good="stays shut in every short circuit",
            related=((pointer, "what it withstands"),),
            note=NO_SUPPLY if fast is not None and name in fast.path else "",
        )


@rule(
    "HV307",
    "short-circuit-meets-fuse",
    "error",
    needs=("pack", "operating", "conductors", "faults", "protection"),
    checks="A short circuit across any device or inlet meets a fuse on every way from the packs.",
    why="What no fuse ends burns until the pack is empty or something melts that was not meant to.",
    sources=("PRACTICE#pack fuse",),
    failing=((HV_FILE, "connections/W1/to", "k_plus.a"),),
    waivable=False,
)
def short_circuit_meets_fuse(ctx: Context) -> Iterable[Outcome]:
    """Short circuits ahead of the first fuse, between a pack's own poles, are listed in the report."""
    faults, result = ctx.results["faults"], ctx.results["protection"]
    if not faults.faults:
        yield ctx.open(faults.missing) if faults.missing else NotApplicable("no pack feeds anything")
        return
    for fault in faults.faults.values():
        if not fault.across:
            continue
        bare = fault.name in result.unfused
        message = f"short circuit across {fault.across} of {fault.strongest.current_a:.0f} A "
        message += "is fed past every fuse" if bare else "meets a fuse"
        yield ctx.finding("fail" if bare else "pass", f"{PARTS}/{fault.across}", message)
