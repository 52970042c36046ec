"""HV128 and HV129: each fuse between the cable it protects and the load it carries."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable

from tristrand.design import Datum
from tristrand.findings import Edit, Evidence, WayOut
from tristrand.rules.rule import Context, Outcome, rule
from tristrand.rules.timed import Allowed, judge_timed, overloads, timed
from tristrand.rules.view import (
    CONDUCTORS,
    HV_FILE,
    LEADS,
    OPERATING,
    PARTS,
    circuit_of,
    sheet_pointer,
    sheets_of_kind,
    thicker_cables,
)
from tristrand.studies.results import ConductorFigures, Missing
from tristrand.studies.topology import REDUCED_M, feeding_fuses, protecting_fuses, resistor_limited


@rule(
    "HV128",
    "fuse-above-cable",
    "error",
    needs=CONDUCTORS,
    limit="fuse_not_above_cable",
    checks=(
        "The smallest fuse that protects a cable is rated at most what the cable carries for ever, whether the cable "
        "is loaded or not; for a plus-side cable only fuses between it and the packs count."
    ),
    why="A fuse larger than the cable lets the cable be the fuse.",
    sources=("FSAE-2026#EV.6.6.2b", "FSAE-2026#EV.6.6.6", "PRACTICE#fuse protects cable"),
    failing=((HV_FILE, "parts/fuse_dcdc/sheet", "fuse-160"),),
    waivable=False,
)
def fuse_above_cable(ctx: Context) -> Iterable[Outcome]:
    """What protects is said in ``protecting_fuses``; where packs in parallel feed a cable one fuse of each adds up.

    Left out, and said so: minus-side leads all of whose loops pass a resistor, and reduced conductors up to 150 mm,
    each lead by itself. Where the cable cannot even carry its own current, HV125 speaks and its way out is checked
    against this rule too.
    """
    limit = ctx.limit()
    if limit is None:
        yield ctx.no_limit()
        return
    conductors = ctx.results["conductors"]
    if not conductors.conductors:
        yield ctx.open(conductors.missing)
        return
    circuit = circuit_of(ctx)
    guarded, shared, resisted = protecting_fuses(circuit), feeding_fuses(circuit), resistor_limited(circuit)
    for figure in conductors.conductors.values():
        name = figure.connection
        if name in resisted:
            yield _spared(ctx, figure, "a resistor in every loop limits what it can carry")
        elif name in guarded and not figure.sustained_a > figure.ampacity.current_a:
            ways = (guarded[name],) if guarded[name] else shared.get(name, ())
            yield _guarded(ctx, figure, ways, limit.source)
    cables = {name for name, lead in ctx.design.high_voltage.connections.items() if lead.cable}
    unknown = sorted(cables - set(conductors.conductors))
    if unknown:
        yield ctx.open(Missing(f"{LEADS}/{name}", "its ampacity; HV125 says what is missing") for name in unknown)


def _length_m(ctx: Context, figure: ConductorFigures) -> float:
    length = ctx.design.high_voltage.connections[figure.connection].length
    return length.high if length is not None else math.inf


def _spared(ctx: Context, figure: ConductorFigures, why: str) -> Outcome:
    evidence = Evidence(
        "length of the lead",
        _length_m(ctx, figure),
        "m",
        "",
        None,
        "PRACTICE#fuse protects cable",
        note=why,
    )
    message = f"cable {figure.connection} ({figure.cable}) needs no fuse of its size: {why}"
    return ctx.finding("pass", f"{LEADS}/{figure.connection}", message, evidence)


def _guarded(ctx: Context, figure: ConductorFigures, ways: tuple[tuple[str, ...], ...], source: str) -> Outcome:
    """One cable against the smallest of its fuses; ``ways``: for each pack, or for all as one, the fuses to choose."""
    at = f"{LEADS}/{figure.connection}"
    if not ways:
        evidence = Evidence("fuses that protect it", 0.0, "", ">=", 1.0, source)
        return ctx.finding("fail", at, f"no fuse protects cable {figure.connection}", evidence)
    rated: dict[str, Datum | None] = {f: ctx.design.sheet_of(f).rated_current for way in ways for f in way}
    amps = {f: datum.high for f, datum in rated.items() if datum is not None}
    unknown = [f for f in rated if f not in amps]
    if unknown:
        return ctx.open(Missing(sheet_pointer(ctx, f, "rated_current"), f"rated current of {f}") for f in unknown)
    smallest = [min(way, key=amps.__getitem__) for way in ways]
    total_a = sum(amps[f] for f in smallest)
    length_m = _length_m(ctx, figure)
    if total_a > figure.ampacity.current_a and length_m <= REDUCED_M:
        evidence = Evidence(
            "length of the reduced conductor",
            length_m,
            "m",
            "<=",
            REDUCED_M,
            "FSAE-2026#EV.6.6.6",
            note=f"{' and '.join(smallest)}: {total_a:g} A, the cable carries {figure.ampacity.current_a:.1f} A",
        )
        message = f"cable {figure.connection} ({figure.cable}) is a reduced conductor of at most 150 mm behind "
        return ctx.finding("pass", at, message + " and ".join(smallest), evidence)
    several = len(smallest) > 1
    return ctx.compare(
        at,
        f"rating of {' and '.join(smallest)} together" if several else f"rating of {smallest[0]}",
        total_a,
        "A",
        "<=",
        figure.ampacity.current_a,
        source,
        subject=f"{' and '.join(smallest)} ({total_a:g} A)",
        bad=f"{'are' if several else 'is'} larger than cable {figure.connection} ({figure.cable}) carries for ever",
        good=f"{'protect' if several else 'protects'} cable {figure.connection}",
        related=tuple((f"{PARTS}/{f}", "the fuse") for f in smallest),
        ways_out=thicker_cables(ctx, figure, total_a) if several else _fuse_or_cable(ctx, figure, smallest[0], total_a),
        note=figure.ampacity.name,
    )


def _fuse_or_cable(ctx: Context, figure: ConductorFigures, fuse: str, rated_a: float) -> Callable[[], Iterable[WayOut]]:
    def ways() -> Iterable[WayOut]:
        yield from thicker_cables(ctx, figure, rated_a)()
        smaller = [
            (sheet.rated_current.value, name, sheet.rated_current.text)
            for name, sheet in sheets_of_kind(ctx, "fuse").items()
            if sheet.rated_current is not None and sheet.rated_current.high <= figure.ampacity.current_a
        ]
        for _, name, text in sorted(smaller, reverse=True):
            yield WayOut(
                f"a {text} fuse protects it: fit {name} as {fuse}",
                (Edit(HV_FILE, f"parts/{fuse}/sheet", name),),
            )

    return ways


@rule(
    "HV129",
    "fuse-carries-load",
    "error",
    needs=OPERATING,
    limit="fuse_share",
    checks=(
        "Each fuse carries its largest sustained current within its continuous share of the rating, and the current of "
        "a case with a duration within its rating or an overload entry of its sheet that lasts as long."
    ),
    why="A fuse run near its rating ages and opens one day without a fault, perhaps in traffic.",
    sources=(
        "FUSE-GUIDE#continuous derating",
        "DATASHEET#continuous share",
        "DATASHEET#rated current",
        "DATASHEET#overload",
    ),
    failing=((HV_FILE, "parts/main_fuse/sheet", "fuse-15"),),
)
def fuse_carries_load(ctx: Context) -> Iterable[Outcome]:
    """The sheet's own continuous share where it gives one, else that of the rule sets.

    The fuse's derating in hot air is not included: it must be in the share that the sheet gives.
    """
    operating = ctx.results["operating"]
    if not operating.cases:
        yield ctx.open(operating.missing)
        return
    for part_id in ctx.design.parts_of("fuse"):
        yield from _sustained(ctx, part_id)
        sheet = ctx.design.sheet_of(part_id)
        allowed = Allowed(
            sheet.rated_current, "rated_current", overloads(sheet), rated_source="DATASHEET#rated current"
        )
        for case in timed(operating.cases.values(), part_id):
            yield from judge_timed(ctx, part_id, case, allowed)


def _sustained(ctx: Context, part_id: str) -> Iterable[Outcome]:
    steady = [
        (c.flows[part_id].current_a, c.case)
        for c in ctx.results["operating"].cases.values()
        if c.duration_s == 0 and part_id in c.flows
    ]
    current, case = max(steady, default=(0.0, ""))
    if current <= 0:
        return
    sheet, limit = ctx.design.sheet_of(part_id), ctx.limit()
    if sheet.rated_current is None:
        yield ctx.open([Missing(sheet_pointer(ctx, part_id, "rated_current"), f"rated current of {part_id}")])
        return
    share, source = (
        (sheet.continuous_share.low, "DATASHEET#continuous share")
        if sheet.continuous_share
        else (limit.value, limit.source)
        if limit
        else (math.nan, "")
    )
    if math.isnan(share):
        yield ctx.open([Missing(sheet_pointer(ctx, part_id, "continuous_share"), f"continuous share of {part_id}")])
        return
    yield ctx.compare(
        f"{PARTS}/{part_id}",
        "largest sustained current",
        current,
        "A",
        "<=",
        share * sheet.rated_current.low,
        source,
        basis=sheet.rated_current.basis,
        subject=f"{part_id} ({sheet.rated_current.text})",
        bad=f"carries more than {100 * share:.0f} % of its rating in case {case}",
        good="carries its load",
        ways_out=_larger_fuse(ctx, part_id, current / share),
        note=f"{100 * share:.0f} % of the rating; derating of the fuse in hot air is not included",
    )


def _larger_fuse(ctx: Context, part_id: str, least: float) -> Callable[[], Iterable[WayOut]]:
    def ways() -> Iterable[WayOut]:
        fitting = [
            (s.rated_current.value, name, s.rated_current.text)
            for name, s in sheets_of_kind(ctx, "fuse").items()
            if s.rated_current is not None and s.rated_current.value >= least
        ]
        for _, name, text in sorted(fitting):
            yield WayOut(
                f"a {text} fuse carries it: fit {name} as {part_id}",
                (Edit(HV_FILE, f"parts/{part_id}/sheet", name),),
            )

    return ways
