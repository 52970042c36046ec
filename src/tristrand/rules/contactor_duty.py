"""HV216 to HV219: what contacts open and which way it flows, how long they last, and auxiliary contacts."""

from collections.abc import Iterable
from typing import Any

from tristrand.findings import Edit, WayOut
from tristrand.rules.contactors import CONTACTORS, of_contactors
from tristrand.rules.rule import Context, NotApplicable, Outcome, rule
from tristrand.rules.view import HV_FILE, PARTS, against_sheet, better, feeds_back_unsaid, sheet_pointer
from tristrand.studies.contactor_duty import NO_CASE
from tristrand.studies.results import NO_ARC_A, ContactorsResult, LifeFigures, Missing, Opened

MARK = "DATASHEET#marked polarity"
BREAKS = "DATASHEET#largest current it may open"
MIRROR = "parts/contactor-200.yaml", "auxiliary", "{kind: mirror, least_voltage: 8 V, least_current: 10 mA}"


@rule(
    "HV216",
    "contactor-opens-operating-current",
    "error",
    needs=CONTACTORS,
    checks=(
        "Every main and charge contactor may open the largest current of any case that flows through it in its marked "
        "direction, or in either where none is marked; the precharge contactor that of a precharge given up at once."
    ),
    why="An emergency stop opens the contactors at whatever flows: an arc not blown out burns through them.",
    sources=("FSAE-2026#EV.7.2.2", BREAKS),
    failing=(("parts/contactor-200.yaml", "break_current", "100 A"),),
    waivable=False,
)
@of_contactors
def contactor_opens_operating_current(ctx: Context, result: ContactorsResult) -> Iterable[Outcome]:
    """Driving, braking back into the pack and charging. HV207 asks for the currents of a fault.

    Open where an inverter does not say what it feeds back.
    """
    yield from _unsaid(ctx, any(found.role != "precharge" for found in result.opened.values()))
    for name, found in result.opened.items():
        if found.missing:
            yield ctx.open(found.missing)
        if found.forward.current_a <= 0.0:
            continue
        yield against_sheet(
            ctx,
            name,
            "break_current",
            "largest current it may open",
            BREAKS,
            "largest current that it may have to open",
            found.forward.current_a,
            "A",
            "<=",
            bad=f"may not open the current of case {found.forward.case}",
            good="may open the largest current of its cases",
            mark="what it may open",
            ways_out=better(ctx, name, "break_current", found.forward.current_a),
        )
    yield from _nothing(ctx, result)


def _unsaid(ctx: Context, asked: bool) -> Iterable[Outcome]:
    """What is missing about braking, where it is asked for."""
    gaps = feeds_back_unsaid(ctx) if asked else []
    if gaps:
        yield ctx.open(gaps)


def _nothing(ctx: Context, result: ContactorsResult) -> Iterable[Outcome]:
    """What to say where no main or charge contactor was judged."""
    if result.opened:
        return
    judged = [p for p in ctx.design.parts_of("contactor").values() if p.role in ("main", "charge")]
    gaps = result.blocking or ((NO_CASE,) if judged else ())
    yield ctx.open(gaps) if gaps else NotApplicable("there is no main or charge contactor")


@rule(
    "HV217",
    "contactor-polarity",
    "error",
    needs=CONTACTORS,
    checks=(
        "A polarised main or precharge contactor stands so that driving current enters at its marked terminal, and a "
        "current that runs against the mark of a main or charge contactor is within what it may open backward."
    ),
    why="The magnets of a polarised contactor blow a reversed arc into its housing: it opens once, and burns.",
    sources=(MARK, BREAKS, "CONTACTOR-SHEET-OVERLOAD#break rating forward and in reverse"),
    failing=((HV_FILE, "parts/k_plus/marked_plus", "b"),),
    waivable=False,
)
@of_contactors
def contactor_polarity(ctx: Context, result: ContactorsResult) -> Iterable[Outcome]:
    """What runs back through a main contactor that stands right, charging or braking, is judged by HV208.

    Less than keeps an arc does not count. One that meets nothing but braking may stand either way, within what it may
    open backward; what a short circuit drives through it against its mark is judged by HV207.
    """
    turns = any(found.role != "precharge" and found.polarised is not False for found in result.opened.values())
    yield from _unsaid(ctx, turns)
    for name, found in result.opened.items():
        if found.missing and found.polarised is not False:
            yield ctx.open(found.missing)
        if found.polarised is None:
            pointer = sheet_pointer(ctx, name, "polarised")
            yield ctx.open([Missing(pointer, f"whether {name} breaks current in its marked direction only")])
        elif not found.polarised:
            yield ctx.finding("pass", f"{PARTS}/{name}", f"{name} breaks alike in both directions")
        elif not found.marked:
            yield ctx.open([Missing(f"{PARTS}/{name}/marked_plus", f"which terminal of {name} is marked plus")])
        elif max(found.driving, found.charging, found.braking).current_a > 0.0:
            yield _marked(ctx, name, found)
    yield from _nothing(ctx, result)


def _marked(ctx: Context, name: str, found: Opened) -> Outcome:
    against = found.driving_against
    if found.role != "charge" and against.current_a >= found.driving.current_a >= NO_ARC_A:
        other = "a" if found.marked == "b" else "b"
        return ctx.compare(
            f"{PARTS}/{name}",
            "driving current against the mark",
            against.current_a,
            "A",
            "<=",
            0.0,
            MARK,
            subject=name,
            bad=(
                f"stands the wrong way round: in case {against.case} the current enters at {name}.{other}, plus is "
                f"marked at {name}.{found.marked}, and every fault current would run so too"
            ),
            good="stands the right way round",
            ways_out=lambda: [
                WayOut(f"turn {name} round, so that {other} is marked plus", (
                    Edit(HV_FILE, f"parts/{name}/marked_plus", other),)),
            ],
        )  # fmt: skip
    # The charging current of a case through a main contactor that stands right is judged by HV208.
    elsewhere = found.role == "main" and found.charging_against.case == "charge"
    largest = against if elsewhere else max(against, found.charging_against)
    if found.driving.current_a < NO_ARC_A:
        largest = max(largest, found.charging_against, found.braking_against)
    if largest.current_a >= NO_ARC_A:
        return against_sheet(
            ctx,
            name,
            "break_current_reverse",
            "largest current it may open backward",
            BREAKS,
            "largest current against its mark",
            largest.current_a,
            "A",
            "<=",
            bad=f"may not open the current of {largest.case}, which runs against its mark",
            good="may open what runs against its mark",
            mark="what it may open backward",
        )
    words = "no current of a case runs against its mark" if found.role == "charge" else "it is opened with its mark"
    return ctx.finding("pass", f"{PARTS}/{name}", f"{name} stands the right way round: {words}")


@rule(
    "HV218",
    "contactor-life",
    "warning",
    needs=CONTACTORS,
    checks=(
        "The planned closings, those of an inlet's contactors onto its supply among them, and the openings use up no "
        "more than the electrical and the mechanical life of any contactor."
    ),
    why="Worn contacts get hot, stick and at last weld; nobody sees it coming unless the openings were counted.",
    sources=("CONTACTOR-SHEET-LIFE#make and break life", "MEMORY#linear damage sum"),
    failing=((HV_FILE, "switching_duty/starts", "300000"),),
)
@of_contactors
def contactor_life(ctx: Context, result: ContactorsResult) -> Iterable[Outcome]:
    """Shares n/N of the sheet's operations added up: the linear sum is from memory, and the finding says so.

    Open where an inverter does not say what it feeds back: contactors may have to open that too.
    """
    planned: Any = ctx.design.high_voltage.switching_duty
    yield from _unsaid(ctx, planned is None or planned.openings_under_load != 0)
    for name, life in result.life.items():
        if life.missing:
            yield ctx.open(life.missing)
            continue
        yield _share(ctx, name, "electrical life used up", life.electrical, "MEMORY#linear damage sum", life)
        yield _share(ctx, name, "mechanical life used up", life.mechanical, "DATASHEET#mechanical life", life)


def _share(ctx: Context, name: str, what: str, used: float, source: str, life: LifeFigures) -> Outcome:
    if source.startswith("MEMORY"):
        note = "; ".join(f"{k.operations} x {k.kind} at {k.current_a:.0f} A: {100 * k.share:.3g} %" for k in life.kinds)
    else:
        note = f"{life.operations} closings"
    return ctx.compare(
        f"{PARTS}/{name}",
        what,
        100.0 * used,
        "%",
        "<=",
        100.0,
        source,
        subject=name,
        bad="is worn out before the vehicle is",
        good="lasts the vehicle's life",
        note=note,
    )


@rule(
    "HV219",
    "auxiliary-contact-wetting",
    "warning",
    needs=CONTACTORS,
    checks="What reads an auxiliary contact puts at least the voltage and current through it that its sheet asks for.",
    why="A dry contact grows a film: it then says open while the main contacts are closed, or the other way about.",
    sources=("DATASHEET#least load of the auxiliary contact",),
    failing=((*MIRROR,), (HV_FILE, "weld_check/auxiliary", "{voltage: 12 V, current: 2 mA}")),
    passing=((*MIRROR,), (HV_FILE, "weld_check/auxiliary", "{voltage: 12 V, current: 15 mA}")),
)
@of_contactors
def auxiliary_contact_wetting(ctx: Context, result: ContactorsResult) -> Iterable[Outcome]:
    """Every contactor whose sheet has an auxiliary contact, where the supervisor reads them."""
    check: Any = ctx.design.high_voltage.weld_check
    read = None if check is None else check.auxiliary
    fitted = [name for name in result.coils if ctx.design.sheet_of(name).auxiliary is not None]
    if read is None or not fitted:
        yield NotApplicable("no auxiliary contact is read")
        return
    for name in fitted:
        contact: Any = ctx.design.sheet_of(name).auxiliary
        for field, unit, what in (("voltage", "V", "voltage"), ("current", "A", "current")):
            given, asked = getattr(read, field), getattr(contact, f"least_{field}")
            if given is None or asked is None:
                pointer = sheet_pointer(ctx, name, f"auxiliary/least_{field}")
                gaps = [] if asked is not None else [Missing(pointer, f"least {what} of its auxiliary contact")]
                if given is None:
                    gaps.append(Missing(f"high_voltage/weld_check/auxiliary/{field}", f"{what} through the contacts"))
                yield ctx.open(gaps)
                continue
            yield ctx.compare(
                f"{PARTS}/{name}",
                f"{what} through its auxiliary contact",
                given.low,
                unit,
                ">=",
                asked.high,
                "DATASHEET#least load of the auxiliary contact",
                basis=given.basis,
                subject=f"the auxiliary contact of {name}",
                bad=f"gets too little {what} to stay reliable",
                good=f"gets enough {what}",
            )
