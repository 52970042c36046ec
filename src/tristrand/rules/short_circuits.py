"""HV201 to HV206: what fuses clear in a short circuit, and what they let through cables."""

import math
from collections.abc import Callable, Iterable, Iterator
from functools import wraps
from typing import Any

from tristrand.design import Datum
from tristrand.findings import Edit, WayOut
from tristrand.rules.clearing import PROTECTION, clearing_unproven
from tristrand.rules.rule import PASSED, Check, Context, NotApplicable, Outcome, rule
from tristrand.rules.view import (
    HV_FILE,
    LEADS,
    PARTS,
    against_sheet,
    better,
    sheet_pointer,
    sheets_of_kind,
)
from tristrand.studies.results import LetThrough, Missing, ProtectionResult, shorted


def of_protection(check: Callable[[Context, ProtectionResult], Iterable[Outcome]]) -> Check:
    """A rule on the protection study: where that has nothing to say it is open, or does not apply."""

    @wraps(check)
    def on(ctx: Context) -> Iterable[Outcome]:
        result: ProtectionResult = ctx.results["protection"]
        if result.fuses:
            return check(ctx, result)
        missing = result.missing
        return (ctx.open(missing) if missing else NotApplicable("no fuse lies in the way of a short circuit"),)

    return on


def sheet_datum(ctx: Context, part_id: str, field: str, what: str) -> tuple[Datum | None, Missing]:
    """A datum of a part's sheet, and what to say where it is missing."""
    datum: Datum | None = getattr(ctx.design.sheet_of(part_id), field)
    return datum, Missing(sheet_pointer(ctx, part_id, field), f"{what} of {part_id}")


@rule(
    "HV201",
    "fuse-breaking-capacity",
    "error",
    needs=PROTECTION,
    checks="Every fuse clears the largest prospective current that the packs can drive through it.",
    why="Above its breaking capacity a fuse bursts and the arc stands on in its holder.",
    sources=("FSAE-2026#EV.6.6.2", "DATASHEET#breaking capacity"),
    failing=(("parts/fuse-160.yaml", "breaking_capacity", "2 kA"),),
    waivable=False,
)
@of_protection
def fuse_breaking_capacity(ctx: Context, result: ProtectionResult) -> Iterable[Outcome]:
    """Fullest pack, least resistance, cold conductors."""
    for name, duty in result.fuses.items():
        yield against_sheet(
            ctx,
            name,
            "breaking_capacity",
            "breaking capacity",
            "DATASHEET#breaking capacity",
            "largest prospective current through it",
            duty.largest_a,
            "A",
            "<",
            bad=f"cannot clear the short circuit {shorted(duty.largest_at)}",
            good="clears the largest short circuit that can flow through it",
            mark="its breaking capacity",
            ways_out=better(ctx, name, "breaking_capacity", duty.largest_a),
        )


@rule(
    "HV202",
    "fuse-breaking-time-constant",
    "error",
    needs=PROTECTION,
    checks="No short circuit through a fuse rises more slowly than the time constant its breaking capacity holds for.",
    why="The more inductance drives the arc, the longer it burns: printed capacity and clearing I²t no longer hold.",
    sources=("FUSE-GUIDE#arcing grows with voltage and L/R", "DATASHEET#time constant of the breaking capacity"),
    failing=(("parts/hv-4.yaml", "inductance", "2 mH/m"),),
)
@of_protection
def fuse_breaking_time_constant(ctx: Context, result: ProtectionResult) -> Iterable[Outcome]:
    """The slowest rise of any fault through the fuse, strongest packs; every pack and cable on its way counts."""
    unknown = dict(ctx.results["faults"].no_inductance)
    for name, duty in result.fuses.items():
        gaps = {unknown[part] for part in _together(ctx, name) if part in unknown} if unknown else ()
        if gaps:
            yield ctx.open([Missing(pointer, "inductance in the way of short circuits") for pointer in sorted(gaps)])
            continue
        yield against_sheet(
            ctx,
            name,
            "breaking_time_constant",
            "time constant of the breaking capacity",
            "DATASHEET#time constant of the breaking capacity",
            "slowest rise to 63 % of a short circuit through it",
            duty.rise_s,
            "s",
            "<=",
            bad=f"was not proven for the inductance in the short circuit {shorted(duty.rise_at)}",
            good="was proven for circuits with more inductance",
            mark="the time constant",
        )


@rule(
    "HV203",
    "fuse-minimum-breaking",
    "error",
    needs=PROTECTION,
    checks="The weakest short circuit that a fuse alone has to clear is above its minimum breaking current.",
    why="A fuse that melts below its minimum breaking current goes on arcing inside until it burns through its body.",
    sources=("DATASHEET#minimum breaking current", "PRACTICE#aged pack, twice the resistance"),
    failing=(("parts/fuse-160.yaml", "minimum_breaking_current", "1.5 kA"),),
    waivable=False,
)
@of_protection
def fuse_minimum_breaking(ctx: Context, result: ProtectionResult) -> Iterable[Outcome]:
    """Emptiest and aged pack, hot conductors."""
    for name, duty in result.fuses.items():
        if math.isnan(duty.smallest_a):
            continue
        yield against_sheet(
            ctx,
            name,
            "minimum_breaking_current",
            "minimum breaking current",
            "DATASHEET#minimum breaking current",
            "weakest short circuit that it has to clear",
            duty.smallest_a,
            "A",
            ">=",
            bad=f"may not clear the short circuit {shorted(duty.smallest_at)} with the pack empty and aged",
            good="clears the weakest short circuit it has to",
            mark="its minimum breaking current",
            ways_out=_sooner(ctx, name, "minimum_breaking_current", duty.smallest_a),
        )


def _together(ctx: Context, fuse: str) -> set[str]:
    """Whatever carries current in a short circuit that flows through a fuse."""
    found: set[str] = set()
    for fault in ctx.results["faults"].faults.values():
        carried = {name for name, _ in fault.strongest.through}
        if fuse in carried:
            found |= carried
    return found


def _sooner(ctx: Context, fuse: str, field: str, most: float) -> Callable[[], Iterable[WayOut]]:
    """Ways out for a fuse: the folder's other fuses with ``field`` at most ``most``, the largest rating first."""

    def ways() -> Iterator[WayOut]:
        own: Any = ctx.design.high_voltage.parts[fuse]
        fitting = []
        for name, sheet in sheets_of_kind(ctx, "fuse").items():
            datum = getattr(sheet, field)
            if name != own.sheet and datum is not None and datum.high <= most and sheet.rated_current is not None:
                fitting.append((-sheet.rated_current.value, name, datum.text))
        for _, name, text in sorted(fitting):
            yield WayOut(
                f"fit {name} as {fuse} ({field.replace('_', ' ')} {text})",
                (Edit(HV_FILE, f"parts/{fuse}/sheet", name),),
            )

    return ways


@rule(
    "HV204",
    "fuse-saves-cable-in-short",
    "error",
    needs=PROTECTION,
    checks=(
        "What the fuse lets through in any short circuit, strong or weak, is less than what heats the cable from its "
        "working limit to the end temperature of its insulation."
    ),
    why="A cable that outlasts every overload still burns in the instant of a short if its fuse is too slow for it.",
    sources=("IEC-60364-5-54#adiabatic equation", "DATASHEET#I2t of the fuse"),
    failing=(("parts/fuse-160.yaml", "clearing_joule_integral", "300000 A²s"),),
    waivable=False,
)
@of_protection
def fuse_saves_cable_in_short(ctx: Context, result: ProtectionResult) -> Iterable[Outcome]:
    """Adiabatic: k²S² from the conductor's temperature limit, metal area as its resistance gives it."""
    for name, found in result.leads.items():
        lead: Any = ctx.design.high_voltage.connections[name]
        if lead.cable is None:
            continue
        pointer = f"parts/{lead.cable}/short_circuit_temperature"
        if ctx.design.sheets[lead.cable].short_circuit_temperature is None:
            yield ctx.open([Missing(pointer, f"end temperature in a short circuit of {lead.cable}")])
            continue
        yield _borne(ctx, f"{LEADS}/{name}", f"cable {name} ({lead.cable})", found, "IEC-60364-5-54#adiabatic equation")


@rule(
    "HV205",
    "fuse-saves-contactor-in-short",
    "error",
    needs=PROTECTION,
    checks=(
        "What the fuse lets through in any short circuit is less than what main and charge contactors withstand closed."
    ),
    why="Blown open by the current and shut again on the arc, a contactor welds, and then nothing parts the pack.",
    sources=("DATASHEET#short-circuit withstand", "DATASHEET#I2t of the fuse"),
    failing=(("parts/contactor-200.yaml", "withstand", "{current: 1 kA, time: 20 ms}"),),
    waivable=False,
)
@of_protection
def fuse_saves_contactor_in_short(ctx: Context, result: ProtectionResult) -> Iterable[Outcome]:
    """I²t of the withstand point of the sheet: current squared times its time."""
    for name, found in result.contactors.items():
        if ctx.design.sheet_of(name).withstand is None:
            yield ctx.open([Missing(sheet_pointer(ctx, name, "withstand"), f"short-circuit withstand of {name}")])
            continue
        yield _borne(ctx, f"{PARTS}/{name}", name, found, "DATASHEET#short-circuit withstand")


def _borne(ctx: Context, pointer: str, subject: str, found: LetThrough, source: str) -> Outcome:
    """A part against the I²t that its fuse lets through."""
    field = "clearing_joule_integral"
    unproven = clearing_unproven(ctx, found.fuse) if found.fuse else None
    if unproven is not None:
        return ctx.open([unproven])
    if ctx.brief and found.worst_a2s <= found.limit_a2s:
        return PASSED
    if math.isnan(found.worst_a2s):
        fuse: Any = ctx.design.sheet_of(found.fuse)
        if fuse.clearing_joule_integral is None:
            return ctx.open([Missing(sheet_pointer(ctx, found.fuse, field), f"clearing I²t of {found.fuse}")])
        gap = Missing(sheet_pointer(ctx, found.fuse, "melting"), f"melting curve of {found.fuse}: {found.words}")
        return ctx.open([gap])
    if not found.fuse:
        return ctx.compare(
            pointer, "I²t that no fuse ends", found.worst_a2s, "A²s", "<=", found.limit_a2s, source, subject=subject,
            bad=f"carries the {_which(found)} {shorted(found.fault)}, in whose way lies no fuse", good="",
        )  # fmt: skip
    return ctx.compare(
        pointer,
        f"I²t that {found.fuse} lets through",
        found.worst_a2s,
        "A²s",
        "<=",
        found.limit_a2s,
        source,
        subject=subject,
        bad=f"takes more than it bears before {found.fuse} has cleared the {_which(found)} {shorted(found.fault)}",
        good=f"bears what {found.fuse} lets through",
        related=((f"{PARTS}/{found.fuse}", "the fuse"),),
        ways_out=_sooner(ctx, found.fuse, field, found.limit_a2s),
        note=found.words,
    )


def _which(found: LetThrough) -> str:
    return "weak short circuit (pack empty and aged)" if found.weakest else "short circuit"


@rule(
    "HV206",
    "fuse-selectivity",
    "warning",
    needs=PROTECTION,
    checks="In a short circuit through two fuses, the one ahead does not begin to melt before the other has cleared.",
    why="When a fault in one branch also takes the fuse ahead of it the car stands in the road; it is hard to find.",
    sources=("CLOSED-FORM#fuses in series carry the same I2t", "DATASHEET#I2t of the fuse"),
    failing=(("parts/fuse-15.yaml", "clearing_joule_integral", "9000 A²s"),),
)
@of_protection
def fuse_selectivity(ctx: Context, result: ProtectionResult) -> Iterable[Outcome]:
    """Melting I²t ahead against clearing I²t behind; in the weakest faults their times, each at its worse end."""
    if not result.pairs:
        yield NotApplicable("no short circuit flows through a fuse and another one ahead of it")
    for pair in result.pairs:
        unproven = clearing_unproven(ctx, pair.downstream)
        gaps = [unproven] if unproven is not None else []
        for name, field, what in (
            (pair.upstream, "melting_joule_integral", "melting I²t"),
            (pair.downstream, "clearing_joule_integral", "clearing I²t"),
        ):
            datum, gap = sheet_datum(ctx, name, field, what)
            if datum is None:
                gaps.append(gap)
        if gaps:
            yield ctx.open(gaps)
            continue
        yield ctx.compare(
            f"{PARTS}/{pair.downstream}",
            f"clearing I²t against the melting I²t of {pair.upstream}",
            pair.clearing_a2s,
            "A²s",
            "<",
            pair.melting_a2s,
            "DATASHEET#I2t of the fuse",
            subject=f"{pair.downstream} behind {pair.upstream}",
            bad="clears so late that the fuse ahead melts too",
            good="clears before the fuse ahead begins to melt",
            related=((f"{PARTS}/{pair.upstream}", "the fuse ahead"),),
        )
        if not math.isnan(pair.ahead_s):
            yield ctx.compare(
                f"{PARTS}/{pair.downstream}",
                f"latest melting in the weak short circuit against the earliest of {pair.upstream}",
                pair.behind_s,
                "s",
                "<",
                pair.ahead_s,
                "DATASHEET#melting curve of the fuse",
                subject=f"{pair.downstream} behind {pair.upstream}",
                bad=f"melts so late that the fuse ahead may melt first, weak short circuit {shorted(pair.closest_at)}",
                good="melts before the fuse ahead in weak short circuits too",
                related=((f"{PARTS}/{pair.upstream}", "the fuse ahead"),),
            )
