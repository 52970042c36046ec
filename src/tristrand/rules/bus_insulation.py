"""HV243, HV248, HV249, HV254 and HV255: the bus against the chassis, energy in its Y-capacitors, test voltages."""

import math
from collections.abc import Iterable, Iterator

from tristrand.findings import Evidence
from tristrand.rules.monitoring import FSAE, NEEDS, insulation_gaps, joined_words, no_voltage, required
from tristrand.rules.rule import Context, Outcome, rule
from tristrand.rules.view import PARTS
from tristrand.studies.results import InsulationResult, Missing

ENERGY = "ISO-6469-4#touch energy of Y capacitors"
WHOLE = "high_voltage/insulation"


@rule(
    "HV243",
    "bus-insulation",
    "error",
    needs=NEEDS,
    limit="insulation_ohm_per_v",
    checks=(
        "The weaker leg of the bus, every part at its least and the monitor counted in, has the insulation by voltage "
        "that the rule sets ask; more where an alternating side hangs on the bus without further protection."
    ),
    why="It limits the current through a person who touches a pole: 100 Ω/V lets 10 mA flow, 500 Ω/V 2 mA.",
    sources=("UN-R100#5.1.3.1", "UN-R100#5.1.3.2", "CLOSED-FORM#parallel resistances and capacitances"),
    failing=(("parts/inverter-60.yaml", "insulation/resistance", "150 kΩ"),),
    waivable=False,
)
def bus_insulation(ctx: Context) -> Iterable[Outcome]:
    """The weaker leg, never both in parallel: a person's current comes back through the other leg."""
    result: InsulationResult = ctx.results["insulation"]
    gaps = insulation_gaps(ctx, result)
    limit = required(ctx, result)
    if gaps is not None or limit is None or result.legs is None:
        yield gaps if gaps is not None else ctx.no_limit()
        return
    leg = result.legs.weaker_leg
    shares = result.legs.negative_shares if leg == "negative" else result.legs.positive_shares
    share, weakest = max(zip(shares, (part.name for part in result.parts), strict=True))
    pointer = f"{PARTS}/{weakest}" if weakest in ctx.design.high_voltage.parts else WHOLE
    yield ctx.compare(
        WHOLE,
        "weaker leg by the highest pack voltage",
        result.ohm_per_volt,
        "Ω/V",
        ">=",
        limit.value,
        limit.source,
        subject=f"the {leg} pole of the bus",
        bad="is insulated too poorly against the chassis when every part is at its least",
        good="is insulated well enough with every part at its least",
        related=((pointer, f"{weakest}: {100 * share:.0f} % of the leak"),),
        note=joined_words(result) if limit.value > 100.0 else "",
    )


@rule(
    "HV248",
    "y-capacitor-energy",
    "error",
    needs=NEEDS,
    limit="y_energy_j",
    checks=(
        "The Y-capacitance of neither pole, charged to the highest pack voltage, holds more than the touch energy, nor "
        "does a touch of one pole of the sound bus take more."
    ),
    why="A person who touches a pole takes this energy at once, whatever the insulation and whatever the monitor does.",
    sources=(ENERGY, "UN-R94#TEy = 0.5 Cy (V^2 - 3600)"),
    failing=(("parts/inverter-60.yaml", "insulation/y_capacitance", "5 µF"),),
    waivable=False,
)
def y_capacitor_energy(ctx: Context) -> Iterable[Outcome]:
    """The whole energy; the crash regulations' form, counted above 60 V, is smaller and stands in the report."""
    result: InsulationResult = ctx.results["insulation"]
    limit = ctx.limit()
    if result.y is None:
        yield insulation_gaps(ctx, result) or ctx.open(result.missing)
        return
    what, joule = "energy of the larger pole's Y-capacitance", result.y.leg_j
    # With legs far from alike one pole has nearly the whole voltage, and a touch takes both capacitances' energy.
    if result.y.touch_j > joule:
        what, joule = "energy that a touch of one pole takes from both Y-capacitances", result.y.touch_j
    yield ctx.compare(
        WHOLE,
        what,
        joule,
        "J",
        "<=",
        limit.value,
        limit.source,
        subject="the bus",
        bad="holds more energy between a pole and the chassis than a person may take",
        good="holds little energy between its poles and the chassis",
        note=f"counted above 60 V, as after a crash: {result.y.leg_above_limit_j:.3g} J",
    )


@rule(
    "HV249",
    "y-capacitor-energy-one-fault",
    "warning",
    needs=NEEDS,
    limit="y_energy_j",
    checks="With one pole at the chassis by a fault, both Y-capacitances together hold no more than the touch energy.",
    why="With the other pole at the chassis a person's touch discharges both capacitances at the full voltage.",
    sources=(ENERGY, "CLOSED-FORM#Kirchhoff's laws"),
    failing=(("parts/inverter-60.yaml", "insulation/y_capacitance", "1.9 µF"),),
)
def y_capacitor_energy_one_fault(ctx: Context) -> Iterable[Outcome]:
    """No regulation asks for it: the monitor is to have reported the first fault by then."""
    result: InsulationResult = ctx.results["insulation"]
    limit = ctx.limit()
    if result.y is None:
        yield insulation_gaps(ctx, result) or ctx.open(result.missing)
        return
    yield ctx.compare(
        WHOLE,
        "energy of both poles' Y-capacitances at the full voltage",
        result.y.touch_fault_j,
        "J",
        "<=",
        limit.value,
        limit.source,
        subject="the bus with one pole at the chassis",
        bad="gives a person who touches the other pole more energy than one may take",
        good="gives a person who touches the other pole little energy",
    )


@rule(
    "HV254",
    "insulation-withstand",
    "error",
    needs=NEEDS,
    limit="insulation_withstand",
    checks="The insulation of every part's poles was proven for at least the highest pack voltage.",
    why="Insulation that was never tried at the voltage it has to hold fails on the first damp day.",
    sources=("FSAE-2026#EV.5.2.2", "PRACTICE#insulation proven above its working voltage"),
    failing=(("parts/pack-84s.yaml", "insulation/withstand", "300 V"),),
    waivable=False,
)
def insulation_withstand(ctx: Context) -> Iterable[Outcome]:
    """Direct test voltages of sheets and fittings; what a standard asks above the working voltage is not compared."""
    limit, result = ctx.limit(), ctx.results["insulation"]
    volts: float = result.highest_v
    if math.isnan(volts):
        yield no_voltage(ctx)
        return
    for pointer, label, place, given in _insulated(ctx):
        datum = getattr(given, "withstand", None)
        if datum is None:
            yield ctx.open([Missing(f"{pointer}/withstand", f"direct test voltage of {label} against the chassis")])
            continue
        yield ctx.compare(
            place,
            "test voltage of its poles against the chassis",
            datum.low,
            "V",
            ">=",
            limit.value * volts,
            limit.source,
            basis=datum.basis,
            subject=label,
            bad="was not proven to hold the highest pack voltage against the chassis",
            good="was proven to hold the highest pack voltage against the chassis",
            related=((f"{pointer}/withstand", "the test voltage"),),
        )


def _insulated(ctx: Context) -> Iterator[tuple[str, str, str, object]]:
    """What has poles against the chassis: pointer of its data, its name, its place, the data or None."""
    for name, part in ctx.design.high_voltage.parts.items():
        if part.kind in ("pack", "inverter", "dcdc", "heater", "charger", "inlet"):
            given = ctx.design.sheet_of(name).insulation
            yield f"parts/{part.sheet}/insulation", name, f"{PARTS}/{name}", given
    pointer = f"{WHOLE}/fittings"
    yield pointer, "the fittings", pointer, ctx.design.high_voltage.insulation.fittings


@rule(
    "HV255",
    "high-voltage-class",
    "note",
    needs=NEEDS,
    limit="high_voltage_above_v",
    checks=(
        "What stands in high_voltage.yaml is high voltage as the rule sets use the word, by the packs' direct voltage "
        "or by what an inverter can make of it."
    ),
    why="A circuit below these voltages needs no more than 12 V care; one above needs all these rules, also at 61 V.",
    sources=("FSAE-2026#T.9.1.1", "UN-R100#2, high voltage", "CLOSED-FORM#six-step voltage of an inverter"),
    failing=(("parts/pack-84s.yaml", "modules", "1"), ("parts/pack-84s.yaml", "cells_in_series", "6")),
    passing=(FSAE,),
)
def high_voltage_class(ctx: Context) -> Iterable[Outcome]:
    """Direct above 60 V; alternating above 25 V rms (FSAE) or 30 V rms (UN R100), line to line, six-step."""
    limit, result = ctx.limit(), ctx.results["insulation"]
    if math.isnan(result.highest_v):
        yield ctx.open(result.missing or (Missing(PARTS, "a pack"),))
        return
    alternating_v = 25.0 if "fsae-2026" in ctx.rule_sets else 30.0
    by_inverter = result.highest_v <= limit.value and result.alternating_v > alternating_v
    if by_inverter:
        quantity, value, bound = "largest voltage behind an inverter, rms", result.alternating_v, alternating_v
    else:
        quantity, value, bound = "highest pack voltage", result.highest_v, limit.value
    evidence = Evidence(quantity, value, "V", ">", bound, limit.source)
    if value > bound:
        yield ctx.finding("pass", PARTS, f"the bus is high voltage: {quantity}", evidence)
    else:
        words = "the bus is no high voltage as the rule sets use the word: these rules ask more than it needs"
        if "fsae-2026" in ctx.rule_sets:
            words = "the bus is no high voltage by its volts, but EV.1.6 treats a tractive system as such all the same"
        yield ctx.finding("fail", PARTS, words, evidence)
