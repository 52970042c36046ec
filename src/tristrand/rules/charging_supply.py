"""HV258 to HV262: whether pilot, supply, cable and inlet fit the current that is drawn, and the charger the supply."""

import math
from collections.abc import Callable, Iterable, Iterator
from typing import Any

from tristrand.design import Datum
from tristrand.findings import Edit, WayOut
from tristrand.physics.pilot import LEAST_CURRENT_A
from tristrand.rules.charging_view import CHARGING, NEEDS, SUPPLIES, WITH_AC, of_charging
from tristrand.rules.rule import Context, NotApplicable, Outcome, rule
from tristrand.rules.view import HV_FILE, sheet_pointer
from tristrand.studies.results import ChargingResult, Missing, SupplyFigures

DUTY = "IEC-61851-1#duty cycle to current"
CODE = "IEC-61851-1#proximity resistor to cable current"
ROUNDED = "read to 0.1 A, as a duty with one decimal gives it"


def _section(ctx: Context) -> Any:
    return ctx.design.high_voltage.charging


def _tenth(amps: tuple[float, float]) -> tuple[float, float]:
    """A duty written with one decimal cannot say less than about a tenth of an ampere."""
    return (round(amps[0], 1), round(amps[1], 1))


def _cable(ctx: Context, supply: str) -> tuple[Any, str]:
    """The cable used at a supply, and its pointer."""
    section = _section(ctx)
    own = section.supplies[supply].cable
    return (own, f"{SUPPLIES}/{supply}/cable") if own is not None else (section.cable, f"{CHARGING}/cable")


@rule(
    "HV258",
    "pilot-codes-supply",
    "error",
    needs=NEEDS,
    checks="The control pilot of each supply offers a current, and no more than the supply and its circuit give.",
    why="A vehicle draws what the pilot offers: above what the supply gives it trips the breaker, or heats a socket.",
    sources=(DUTY,),
    failing=(*WITH_AC, (HV_FILE, "charging/supplies/box/pilot_duty", "66.7 %")),
    passing=WITH_AC,
    waivable=False,
)
@of_charging("pilot_duty", "current", "branch_circuit")
def pilot_codes_supply(ctx: Context, result: ChargingResult) -> Iterable[Outcome]:
    """The offered current against the supply's current and the rating of the circuit ahead of it."""
    piloted = [s for s in result.supplies.values() if not math.isnan(s.offered_a[1])]
    if not piloted:
        yield NotApplicable("no supply has a control pilot")
    for supply in piloted:
        pointer = f"{SUPPLIES}/{supply.supply}/pilot_duty"
        given = _section(ctx).supplies[supply.supply]
        offered, subject = (min(supply.offered_a), max(supply.offered_a)), f"the pilot of {supply.supply}"
        # At the edge of a band one end of the duty offers nothing: then the vehicle may not charge at all.
        yield ctx.compare(
            pointer,
            "current offered by the pilot",
            offered,
            "A",
            ">=",
            LEAST_CURRENT_A,
            DUTY,
            subject=subject,
            bad="offers no current by its duty: an error, no offer yet, or one by messages, which are not looked at",
            good="offers a current",
            ways_out=_other_duty(supply),
        )
        for datum, what in ((given.current, "the supply gives"), (given.branch_circuit, "its circuit is rated for")):
            if datum is not None:
                yield ctx.compare(
                    pointer,
                    "current offered by the pilot",
                    _tenth(offered),
                    "A",
                    "<=",
                    datum.low,
                    DUTY,
                    basis=datum.basis,
                    subject=subject,
                    bad=f"offers more than {what}",
                    good=f"offers no more than {what}",
                    ways_out=_other_duty(supply),
                    note=ROUNDED,
                )


def _other_duty(supply: SupplyFigures) -> Callable[[], Iterable[WayOut]]:
    """The duty that offers what supply and circuit give."""

    def ways() -> Iterable[WayOut]:
        if not math.isnan(supply.fitting_duty):
            text = f"set the pilot of {supply.supply} to {supply.fitting_duty:.1f} %"
            at = f"charging/supplies/{supply.supply}/pilot_duty"
            yield WayOut(text, (Edit(HV_FILE, at, f"{supply.fitting_duty:.1f} %"),))

    return ways


@rule(
    "HV259",
    "charging-branch-circuit",
    "warning",
    needs=NEEDS,
    limit="branch_circuit_share",
    checks="The circuit ahead of each supply is rated for at least 125 % of the supply's current.",
    why="Charging loads a breaker fully for hours: at its rated current it warms, ages and trips in the night.",
    sources=("NEC-625#625.42",),
    failing=(*WITH_AC, (HV_FILE, "charging/supplies/box/branch_circuit", "32 A")),
    passing=WITH_AC,
)
def charging_branch_circuit(ctx: Context) -> Iterable[Outcome]:
    """Rating over the supply's current; where another code is in force, that code's factor counts, not this one."""
    if ctx.limit_if_set() is None:
        yield ctx.no_limit()
    else:
        yield from _circuits(ctx)


@of_charging("current", "branch_circuit")
def _circuits(ctx: Context, result: ChargingResult) -> Iterable[Outcome]:
    limit = ctx.limit()
    for name in result.supplies:
        given = _section(ctx).supplies[name]
        if given.current is None or given.branch_circuit is None:
            continue
        yield ctx.compare(
            f"{SUPPLIES}/{name}/branch_circuit",
            "rating of the circuit over the current of the supply",
            (given.branch_circuit.low / given.current.high, given.branch_circuit.high / given.current.low),
            "",
            ">=",
            limit.value,
            limit.source,
            basis=given.branch_circuit.basis,
            subject=f"the circuit ahead of {name}",
            bad="is too small for hours at the supply's current",
            good="carries the supply's current for hours",
            related=((f"{SUPPLIES}/{name}/current", "current of the supply"),),
        )


@rule(
    "HV260",
    "charging-cable-coded",
    "error",
    needs=NEEDS,
    checks="The resistor in the plug of each charging cable stands for a current that the cable bears.",
    why="The resistor is all that vehicle and supply know of the cable: coded too high, it is overloaded for hours.",
    sources=(CODE, "PRACTICE#10 % for reading a coded resistor"),
    failing=(*WITH_AC, (HV_FILE, "charging/cable/proximity", "100 Ω")),
    passing=WITH_AC,
    waivable=False,
)
@of_charging("proximity", "cable", "current", "inlet")
def charging_cable_coded(ctx: Context, result: ChargingResult) -> Iterable[Outcome]:
    """Type 2: the coded current against the cable's; type 1 codes no current, its resistor only says plugged in."""
    section = _section(ctx)
    for name, supply in result.supplies.items():
        cable, pointer = _cable(ctx, name)
        if section.inlet is None or cable is None:
            continue
        if cable.proximity is None:
            if section.inlet.type == "type_1":
                yield NotApplicable("a cable of type 1 codes no current")
            continue
        at, subject = f"{pointer}/proximity", f"the cable at {name} ({cable.proximity.text})"
        if supply.coded_a == 0.0:
            yield ctx.finding(
                "fail",
                at,
                f"{subject} is coded with a resistor that stands for no cable of this type",
                ways_out=_other_resistor(at, supply),
            )
        elif section.inlet.type == "type_1":
            yield ctx.finding("pass", at, f"{subject} says that it is plugged in; type 1 codes no current")
        elif cable.current is not None:
            yield ctx.compare(
                at,
                "current that the resistor in the plug stands for",
                supply.coded_a,
                "A",
                "<=",
                cable.current.low,
                CODE,
                basis=cable.current.basis,
                subject=subject,
                bad="is coded for more than its conductors carry",
                good="is coded for no more than its conductors carry",
                related=((f"{pointer}/current", "what it carries"),),
                ways_out=_other_resistor(at, supply),
            )


def _other_resistor(pointer: str, supply: SupplyFigures) -> Callable[[], Iterable[WayOut]]:
    """The resistor that stands for what the cable carries."""

    def ways() -> Iterable[WayOut]:
        if not math.isnan(supply.fitting_ohm):
            text = f"fit a resistor of {supply.fitting_ohm:.0f} Ω in the plug, at both ends of the cable"
            yield WayOut(text, (Edit(HV_FILE, pointer.removeprefix("high_voltage/"), f"{supply.fitting_ohm:.0f} Ω"),))

    return ways


@rule(
    "HV261",
    "charging-current-borne",
    "error",
    needs=NEEDS,
    checks="What is drawn per phase at each supply is borne by the supply, its circuit, the cable and the inlet.",
    why="Contacts and conductors cannot refuse a current: what draws too much chars the plug hours later.",
    sources=("CLOSED-FORM#a chain carries what its weakest link carries", "DATASHEET#rated current"),
    failing=(*WITH_AC, (HV_FILE, "charging/inlet/rated_current", "16 A")),
    passing=WITH_AC,
    waivable=False,
)
@of_charging("current", "branch_circuit", "cable", "inlet", "rated_current", "pilot_duty", "input", "rated_power",
             "efficiency", "voltage", "proximity")  # fmt: skip
def charging_current_borne(ctx: Context, result: ChargingResult) -> Iterable[Outcome]:
    """Drawn is the smallest of pilot, coding of the cable, and the charger's own current and power."""
    for name, supply in result.supplies.items():
        # Each end by itself: a nan (not known) must not hide behind an end that is known.
        drawn = _tenth((supply.drawn_a[0], supply.drawn_a[2]))
        for pointer, datum, what in _bearers(ctx, name):
            if datum is None:
                continue
            yield ctx.compare(
                pointer,
                "current drawn per phase",
                drawn,
                "A",
                "<=",
                datum.low,
                "DATASHEET#rated current",
                basis=datum.basis,
                subject=f"at {name} {what}",
                bad=f"carries more than it is made for: nothing holds the current lower than {_words(supply)}",
                good="carries no more than it is made for",
                note=ROUNDED,
            )


def _bearers(ctx: Context, name: str) -> Iterator[tuple[str, Datum | None, str]]:
    section = _section(ctx)
    given, here = section.supplies[name], f"{SUPPLIES}/{name}"
    cable, at = _cable(ctx, name)
    yield f"{here}/current", given.current, "the supply"
    yield f"{here}/branch_circuit", given.branch_circuit, "the circuit ahead of it"
    yield f"{at}/current", cable.current if cable is not None else None, "the cable"
    yield f"{CHARGING}/inlet/rated_current", section.inlet.rated_current if section.inlet else None, "the inlet"


def _words(supply: SupplyFigures) -> str:
    return f"{supply.smallest} does" if supply.smallest else "the charger does"


@rule(
    "HV262",
    "supply-fits-charger",
    "error",
    needs=NEEDS,
    checks="Voltage and phases of each supply are what the charger works on.",
    why="Above its input voltage a charger fails, at worst short; below it, or short of a phase, it does not start.",
    sources=("DATASHEET#input voltage of the charger", "CLOSED-FORM#power of one and of three phases"),
    failing=(*WITH_AC, (HV_FILE, "charging/supplies/box/voltage", "120 V")),
    passing=WITH_AC,
)
@of_charging("voltage", "input", "inlet")
def supply_fits_charger(ctx: Context, result: ChargingResult) -> Iterable[Outcome]:
    """Voltages are compared between one phase and neutral, so that one and three phases go together."""
    sheet = ctx.design.sheet_of(result.charger)
    if sheet.input is None:
        return
    at = sheet_pointer(ctx, result.charger, "input")
    for name, supply in result.supplies.items():
        pointer = f"{SUPPLIES}/{name}"
        if not supply.phases_fit:
            yield ctx.finding(
                "fail",
                f"{pointer}/phases",
                f"{result.charger} needs three phases, and at {name} it gets one",
                related=((f"{at}/phases", "phases of the charger"),),
            )
        ends = (supply.phase_v[0], supply.phase_v[2])
        for relation, limit, bad, good in (
            ("<=", supply.charger_v[1], "is above what the charger stands", "is not above what the charger stands"),
            (">=", supply.charger_v[0], "is below what the charger works at", "is enough for the charger"),
        ):
            if math.isnan(limit) or math.isnan(ends[0]):
                yield ctx.open([Missing(f"{pointer}/voltage", f"voltage of {name}")])
                continue
            yield ctx.compare(
                f"{pointer}/voltage",
                "voltage of one phase",
                ends,
                "V",
                "<=" if relation == "<=" else ">=",
                limit,
                "DATASHEET#input voltage of the charger",
                subject=f"the voltage at {name}",
                bad=bad,
                good=good,
                related=((f"{at}/voltage", "input voltage of the charger"),),
            )
