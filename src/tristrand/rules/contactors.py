"""HV210 to HV215: whether coils pull in, hold and let go over their supply and temperature, and what they draw."""

import math
from collections.abc import Callable, Iterable
from functools import wraps
from typing import Any

from tristrand.design import Datum
from tristrand.rules.rule import Check, Context, NotApplicable, Outcome, rule
from tristrand.rules.view import HV_FILE, PARTS, sheet_pointer
from tristrand.studies.results import CoilFigures, ContactorsResult, LoopsResult, Missing

CONTACTORS = ("pack", "operating", "precharge", "contactors")
SUPPLY = "high_voltage/coil_supply"
MOST_HELD_W = 12.0
"""What a plain 12 V coil of a common main contactor takes when cold and on a charging supply; common practice."""


def of_contactors(check: Callable[[Context, ContactorsResult], Iterable[Outcome]]) -> Check:
    """A rule on the study of contactors, which has nothing to say where there is none."""

    @wraps(check)
    def on(ctx: Context) -> Iterable[Outcome]:
        result: ContactorsResult = ctx.results["contactors"]
        if result.coils:
            return check(ctx, result)
        return (ctx.open(result.missing) if result.missing else NotApplicable("there is no contactor"),)

    return on


def _supply(ctx: Context, field: str) -> Datum | None:
    given: Any = ctx.design.high_voltage.coil_supply
    datum: Datum | None = getattr(given, field, None)
    return datum


def _sheet(ctx: Context, name: str, field: str) -> str:
    return sheet_pointer(ctx, name, f"coil/{field}")


def _warm(got: CoilFigures) -> str:
    return f"winding at {got.hottest_c:.0f} °C: what it needs goes with the copper's resistance"


@rule(
    "HV210",
    "coil-pulls-in-hot",
    "error",
    needs=(*CONTACTORS, "discharge", "loops"),
    checks=(
        "With its winding hot and the supply at its least, every coil gets the voltage it needs to pull in, also at "
        "the end of a loop that feeds it, and an economiser of the vehicle's own leaves it that until it has closed."
    ),
    why=(
        "Hot copper passes less current: a contactor that closes cold may chatter in a hot box on a sagging supply, "
        "and chattering contacts weld."
    ),
    sources=("IEC-60028#temperature coefficient at 20 °C", "CONTACTOR-SHEET-COIL#pull-in and hold voltage"),
    failing=((HV_FILE, "coil_supply/least", "9.5 V"),),
)
@of_contactors
def coil_pulls_in_hot(ctx: Context, result: ContactorsResult) -> Iterable[Outcome]:
    """The pull-in voltage of the sheet goes with the copper's resistance; the wiring takes its share of the supply."""
    for name, got in result.coils.items():
        if "pull_in" in got.missing:
            yield ctx.open(got.missing["pull_in"])
            continue
        yield ctx.compare(
            f"{PARTS}/{name}",
            "voltage at the coil at the least supply",
            got.pull_in_v,
            "V",
            ">=",
            got.pull_in_needed_v,
            "DATASHEET#pull-in voltage",
            subject=name,
            bad="may not pull in when its coil is hot and the supply sags",
            good="pulls in hot at the least supply",
            related=((_sheet(ctx, name, "pull_in_voltage"), "at its reference temperature"), (SUPPLY, "the supply")),
            note=_warm(got),
        )
        yield from _cut_back(ctx, name)
        yield from _looped(ctx, name, got)


def _looped(ctx: Context, name: str, got: CoilFigures) -> Iterable[Outcome]:
    """A loop that feeds coils itself loses voltage to the current of all of them."""
    result: LoopsResult = ctx.results["loops"]
    for key, loop in ctx.design.high_voltage.loops.items():
        if loop.by != "coil_current" or name not in loop.opens:
            continue
        figures = result.loops[key]
        if math.isnan(figures.left_v):
            yield ctx.open(figures.missing)
            continue
        yield ctx.compare(
            f"{PARTS}/{name}",
            f"voltage at the end of loop {key} at its least supply",
            figures.left_v,
            "V",
            ">=",
            got.pull_in_needed_v,
            "DATASHEET#pull-in voltage",
            subject=name,
            bad=f"may not pull in hot with what loop {key} leaves it",
            good=f"pulls in hot with what loop {key} leaves it",
            related=((f"high_voltage/loops/{key}", "the loop"), (_sheet(ctx, name, "pull_in_voltage"), "what it asks")),
            note=_warm(got),
        )


def _cut_back(ctx: Context, name: str) -> Iterable[Outcome]:
    """An economiser of the vehicle's own must wait until the armature has moved; the maker's own does."""
    sheet: Any = ctx.design.sheet_of(name)
    if sheet.economiser is None or sheet.economiser.fitted == "inside":
        return
    after, moved = sheet.economiser.after, sheet.close_time
    if after is None or moved is None:
        gaps = (
            [] if after else [Missing(sheet_pointer(ctx, name, "economiser/after"), f"when the coil of {name} is cut")]
        )
        if moved is None:
            gaps.append(Missing(sheet_pointer(ctx, name, "close_time"), f"closing time of {name}"))
        yield ctx.open(gaps)
        return
    yield ctx.compare(
        f"{PARTS}/{name}",
        "time until the coil is cut back",
        after.low,
        "s",
        ">=",
        moved.high,
        "DATASHEET#closing time",
        basis=after.basis,
        subject=name,
        bad="has its coil cut back before it has closed",
        good="has closed before its coil is cut back",
        related=((sheet_pointer(ctx, name, "close_time"), "the time that it needs"),),
    )


@rule(
    "HV211",
    "coil-holds-at-sag",
    "error",
    needs=CONTACTORS,
    checks="With its winding hot and the supply at its least, every coil keeps the voltage it needs to stay closed.",
    why="A main contactor that drops out under load draws its arc at full current, and the bus goes with it.",
    sources=("IEC-60028#temperature coefficient at 20 °C", "CONTACTOR-SHEET-COIL#pull-in and hold voltage"),
    failing=(("parts/contactor-200.yaml", "economiser", "{saving: 80 %, fitted: outside}"),),
)
@of_contactors
def coil_holds_at_sag(ctx: Context, result: ContactorsResult) -> Iterable[Outcome]:
    """Switched from outside, a coil sees the mean of its supply; with electronics inside the sheet's value counts."""
    for name, got in result.coils.items():
        if "hold" in got.missing:
            yield ctx.open(got.missing["hold"])
            continue
        yield ctx.compare(
            f"{PARTS}/{name}",
            "voltage at the coil at the least supply, in hold",
            got.hold_v,
            "V",
            ">=",
            got.hold_needed_v,
            "DATASHEET#hold voltage",
            subject=name,
            bad="may drop out when its coil is hot and the supply sags",
            good="stays closed at the least supply",
            related=((_sheet(ctx, name, "hold_voltage"), "at its reference temperature"), (SUPPLY, "the supply")),
            note=got.hold_words,
        )


@rule(
    "HV212",
    "coil-releases",
    "error",
    needs=CONTACTORS,
    checks=(
        "What is left at a coil that is switched off lies below the voltage at which it has released, winding cold, "
        "and the clamp across it is no lower than what the sheet's opening time asks for."
    ),
    why=(
        "A driver's leakage can hold a cold armature, and a plain diode lets it go slowly: then nothing parts the "
        "pack, or the arc burns in half-open contacts."
    ),
    sources=("FSAE-2026#EV.7.2.2", "DATASHEET#release voltage", "CONTACTOR-SHEET-OVERLOAD#coil clamp"),
    failing=((HV_FILE, "coil_supply/residual", "0.9 V"),),
    waivable=False,
)
@of_contactors
def coil_releases(ctx: Context, result: ContactorsResult) -> Iterable[Outcome]:
    """The coil at the least ambient; a sheet without a word on the clamp asks for none."""
    left, clamp = _supply(ctx, "residual"), _supply(ctx, "clamp")
    for name, got in result.coils.items():
        gaps = list(got.missing.get("release", ()))
        if left is None:
            gaps.append(Missing(f"{SUPPLY}/residual", "voltage left at a coil switched off"))
        asked = getattr(ctx.design.sheet_of(name).coil, "suppression", None)
        if asked is not None and clamp is None:
            gaps.append(Missing(f"{SUPPLY}/clamp", "voltage of the clamp across the coils"))
        if gaps:
            yield ctx.open(gaps)
        if "release" not in got.missing and left is not None:
            yield ctx.compare(
                f"{PARTS}/{name}",
                "voltage left at the coil switched off",
                left.high,
                "V",
                "<",
                got.release_v,
                "DATASHEET#release voltage",
                basis=left.basis,
                subject=name,
                bad="may not let go when its coil is switched off",
                good="lets go when its coil is switched off",
                related=(
                    (_sheet(ctx, name, "release_voltage"), "at its reference temperature"),
                    (SUPPLY, "the supply"),
                ),
                note=f"winding at {got.coldest_c:.0f} °C",
            )
        if asked is not None and clamp is not None:
            yield ctx.compare(
                f"{PARTS}/{name}",
                "voltage of the clamp across the coil",
                clamp.low,
                "V",
                ">=",
                asked.high,
                "DATASHEET#coil clamp",
                basis=clamp.basis,
                subject=name,
                bad="opens more slowly than its sheet says: the clamp lets the coil's current die out slowly",
                good="opens as fast as its sheet says",
                related=((_sheet(ctx, name, "suppression"), "what the sheet asks for"), (SUPPLY, "the supply")),
            )


@rule(
    "HV213",
    "coil-overvoltage",
    "error",
    needs=CONTACTORS,
    checks="The largest supply of the coils is within what every coil stands for ever.",
    why="A coil above its voltage cooks its winding, and a shorted coil takes the fuse of all contactors with it.",
    sources=("DATASHEET#largest coil voltage",),
    failing=(("parts/contactor-200.yaml", "coil/maximum_voltage", "14 V"),),
)
@of_contactors
def coil_overvoltage(ctx: Context, result: ContactorsResult) -> Iterable[Outcome]:
    """Wiring left out: with little current it takes nothing."""
    most = _supply(ctx, "most")
    for name in result.coils:
        limit: Datum | None = getattr(ctx.design.sheet_of(name).coil, "maximum_voltage", None)
        if most is None or limit is None:
            gaps = [Missing(f"{SUPPLY}/most", "largest supply of the coils")] if most is None else []
            if limit is None:
                gaps.append(Missing(_sheet(ctx, name, "maximum_voltage"), f"largest coil voltage of {name}"))
            yield ctx.open(gaps)
            continue
        yield ctx.compare(
            f"{PARTS}/{name}",
            "largest supply of the coil",
            most.high,
            "V",
            "<=",
            limit.low,
            "DATASHEET#largest coil voltage",
            basis=limit.basis,
            subject=name,
            bad="has a coil that does not stand the supply for ever",
            good="has a coil that stands the supply",
            related=((_sheet(ctx, name, "maximum_voltage"), "what it stands"), (SUPPLY, "the supply")),
        )


@rule(
    "HV214",
    "coil-supply-current",
    "error",
    needs=CONTACTORS,
    checks="The coils' supply and its fuse give the current of all coils pulling in at once, windings cold.",
    why="A fuse that opens as the contactors close drops all of them at once, in the instant of closing.",
    sources=("IEC-60028#temperature coefficient at 20 °C", "DESIGN#coil supply"),
    failing=((HV_FILE, "coil_supply/current", "1.5 A"),),
)
@of_contactors
def coil_supply_current(ctx: Context, result: ContactorsResult) -> Iterable[Outcome]:
    """Upper bound: most supply, coldest winding, no wiring, no economiser yet, every contactor of the vehicle."""
    limit = _supply(ctx, "current")
    gaps = [m for got in result.coils.values() for m in got.missing.get("power", ())]
    if limit is None:
        gaps.append(Missing(f"{SUPPLY}/current", "what the supply gives to all coils together"))
    if limit is None or gaps:
        yield ctx.open(dict.fromkeys(gaps))
        return
    yield ctx.compare(
        SUPPLY,
        "current of all coils pulling in",
        result.peak_a,
        "A",
        "<=",
        limit.low,
        "DESIGN#coil supply",
        basis=limit.basis,
        subject="the coils' supply",
        bad="does not give what all coils draw as they pull in together",
        good="gives what all coils draw as they pull in together",
        note=f"{len(result.coils)} coils; those that hold while driving take {result.hold_a:.2f} A at most",
    )


@rule(
    "HV215",
    "coil-hold-power",
    "warning",
    needs=CONTACTORS,
    checks="In hold no coil takes more power than a plain coil can lose for ever; above it an economiser is fitted.",
    why="Without an economiser the power that pulls the armature in goes on heating the box while the vehicle runs.",
    sources=("CONTACTOR-COIL-NOTE#hold power", "PRACTICE#coil held without economiser"),
    failing=(("parts/contactor-200.yaml", "coil/resistance", "15 Ω"),),
)
@of_contactors
def coil_hold_power(ctx: Context, result: ContactorsResult) -> Iterable[Outcome]:
    """Largest supply, winding cold: the most it can be. 12 W is a habit of the trade, no printed limit."""
    for name, got in result.coils.items():
        if "power" in got.missing:
            yield ctx.open(got.missing["power"])
            continue
        yield ctx.compare(
            f"{PARTS}/{name}",
            "power of the coil in hold",
            got.hold_w,
            "W",
            "<=",
            MOST_HELD_W,
            "PRACTICE#coil held without economiser",
            subject=name,
            bad="heats its box with much power as long as it holds",
            good="holds with little power",
            note="economiser at work" if got.economised else "no economiser",
        )
