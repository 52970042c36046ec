"""HV236 to HV238: bonding of housings, and measuring points."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import TYPE_CHECKING

from tristrand.findings import Evidence
from tristrand.rules.limits import Limit, strictest
from tristrand.rules.loop_members import RACE
from tristrand.rules.loops import DEVICES, NEEDS, result_of
from tristrand.rules.rule import Context, NotApplicable, Outcome, rule
from tristrand.rules.view import HV_FILE, counted
from tristrand.studies.results import Missing

if TYPE_CHECKING:
    from tristrand.design.loops import Bond

BONDING = "high_voltage/bonding"
MEASURING = "high_voltage/measuring_points"
SOCKETS = "{socket: {plus: bus_plus.bar, minus: bus_minus.bar, resistor: 15 kΩ, resistor_power: 3 W}}"


@rule(
    "HV236",
    "bond-resistance",
    "error",
    limit="bond_ohm",
    checks="The housing of the pack and of every device is bonded to the body with low resistance, or insulating.",
    why="A pole that touches a loose housing makes it live for whoever leans on it; bonded, it is a fault that trips.",
    sources=(
        "FSAE-2026#EV.6.7.2",
        "FSAE-2026#EV.4.9.2",
        "FSAE-2026#EV.5.2.2",
        "FS-FAMILY-2026#bonding",
        "UN-R100#5.1.2.2",
        "PRACTICE#bonding of housings",
    ),
    failing=((HV_FILE, "bonding/bonds/G1/resistance", "0.4 Ω"),),
)
def bond_resistance(ctx: Context) -> Iterable[Outcome]:
    """The high end of what was measured; each rule set by its own limit for coated surfaces, if it has one."""
    hv = ctx.design.high_voltage
    told = {*hv.bonding.insulating, *(one for bond in hv.bonding.bonds.values() for one in bond.parts)}
    lost = [key for key, part in hv.parts.items() if part.kind in ("pack", *DEVICES) and key not in told]
    if lost:
        words = f"how the housing of {', '.join(lost)} is bonded, or that it is insulating"
        yield ctx.open([Missing(f"{BONDING}/bonds", words)])
    for name, bond in hv.bonding.bonds.items():
        place = f"{BONDING}/bonds/{name}"
        limit = _bond_limit(ctx, bond)
        if bond.resistance is None:
            yield ctx.open([Missing(f"{place}/resistance", f"resistance of bond {name}")])
            continue
        yield ctx.compare(
            place,
            "resistance to the body",
            (bond.resistance.low, bond.resistance.high),
            "Ω",
            "<",
            limit.value,
            limit.source,
            subject=f"bond {name} ({', '.join(bond.parts)})",
            bad="has too much resistance",
            good="is low enough",
            basis=bond.resistance.basis,
        )


def _bond_limit(ctx: Context, bond: Bond) -> Limit:
    """The strictest limit; a rule set that knows no coated surfaces asks of them what it asks of metal."""
    if bond.surface != "coated":
        return ctx.limit()
    rows = [strictest("bond_coated_ohm", (name,)) or strictest("bond_ohm", (name,)) for name in ctx.rule_sets]
    return min((row for row in rows if row is not None), key=lambda row: row.value, default=None) or ctx.limit()


@rule(
    "HV237",
    "bond-test-current",
    "warning",
    limit="bond_test_a",
    checks="Bonds are measured with at least the current that the rule sets ask for.",
    why="A meter's milliamperes find one strand good that a fault current burns off.",
    sources=("FSAE-2026#EV.6.7.2", "FS-FAMILY-2026#bonding", "UN-R100#5.1.2.2", "PRACTICE#bonding of housings"),
    failing=((HV_FILE, "bonding/bonds/G1/test_current", "10 mA"),),
)
def bond_test_current(ctx: Context) -> Iterable[Outcome]:
    """The low end of the current."""
    limit, bonds = ctx.limit(), ctx.design.high_voltage.bonding.bonds
    if not bonds:
        yield NotApplicable("no bond is given; another rule asks for them")
    for name, bond in bonds.items():
        place = f"{BONDING}/bonds/{name}"
        if bond.test_current is None:
            yield ctx.open([Missing(f"{place}/test_current", f"current with which bond {name} is measured")])
            continue
        yield ctx.compare(
            place,
            "test current",
            bond.test_current.low,
            "A",
            ">=",
            limit.value,
            limit.source,
            subject=f"bond {name}",
            bad="is measured with too little current",
            good="is measured with enough current",
        )


@rule(
    "HV238",
    "measuring-point-resistors",
    "error",
    needs=NEEDS,
    checks=(
        "The points of a pair lie at different poles, each has a resistor that stands them shorted; race rules set its "
        "value: 5 kΩ up to 200 V, 10 kΩ up to 400 V, 15 kΩ up to 600 V, and its place: plus and minus of the inverter."
    ),
    why="Two slipping probes must meet a few milliamperes there, and not the pack's short-circuit current.",
    sources=("FSAE-2026#EV.5.8.4", "FSAE-2026#EV.5.8.1", "CLOSED-FORM#Joule's law", "CLOSED-FORM#cells in series"),
    failing=(
        (HV_FILE, "measuring_points", SOCKETS.replace("power: 3 W", "power: 1 W")),
        RACE,
    ),
    passing=((HV_FILE, "measuring_points", SOCKETS.replace("15 kΩ", "10 kΩ ± 1 %").replace("3 W", "5 W")), RACE),
)
def measuring_point_resistors(ctx: Context) -> Iterable[Outcome]:
    """Voltage with every cell at its highest; the low end of resistance and rated power."""
    result, points = result_of(ctx), ctx.design.high_voltage.measuring_points
    limit = ctx.limit_if_set("measuring_points")
    if not points:
        asked = ctx.open([Missing(MEASURING, "the measuring points of the bus")])
        yield asked if limit is not None else NotApplicable("the design has no measuring points, and no rule set asks")
    for name, point in points.items():
        place = f"{MEASURING}/{name}"
        found = result.measured.get(name)
        gaps = [
            Missing(f"{place}/{field}", f"{words} of {name}")
            for field, words, datum in (
                ("resistor", "resistor", point.resistor),
                ("resistor_power", "rated power of the resistors", point.resistor_power),
            )
            if datum is None
        ]
        if found is None or gaps or point.resistor is None:
            yield ctx.open(gaps or result.missing)
            continue
        if found.volts <= 0.0:
            words = f"the packs put no voltage between the points of {name}: they would call a live bus dead"
            across = Evidence("highest voltage between them", found.volts, "V", ">", 0.0, "CLOSED-FORM#cells in series")
            yield ctx.finding("fail", place, words, across)
            continue
        yield ctx.compare(
            place,
            "power in each resistor, points shorted",
            found.shorted_w,
            "W",
            "<",
            found.rated_w,
            "FSAE-2026#EV.5.8.4" if limit is not None else "CLOSED-FORM#Joule's law",
            subject=f"the resistors of {name}",
            bad=f"burn when the points are shorted together at {found.volts:.0f} V",
            good="stand the points shorted together",
        )
        if limit is not None:
            yield _by_voltage(ctx, place, name, found.volts, point.resistor, limit.source)
            evidence = counted("inverters whose poles they share", len(found.inverters), ">=", 1, "FSAE-2026#EV.5.8.1")
            words = f"{name} measures at the poles of {', '.join(found.inverters)}"
            if not found.inverters:
                words = f"{name} does not measure at plus and minus of an inverter"
            yield ctx.finding("pass" if found.inverters else "fail", place, words, evidence)


def _by_voltage(ctx: Context, place: str, name: str, volts: float, resistor: object, source: str) -> Outcome:
    """The value that the race rules set for the highest voltage; the resistor's own tolerance is its maker's."""
    bands = [(200.0, 5e3), (400.0, 10e3), (600.0, 15e3)]
    ohm = next((asked for most, asked in bands if volts <= most), math.nan)
    return ctx.compare(
        place,
        "resistor of each point",
        float(getattr(resistor, "value", math.nan)),
        "Ω",
        "=",
        ohm,
        source,
        subject=f"the resistors of {name}",
        bad=f"have another value than is asked for at {volts:.0f} V",
        good=f"have the value that is asked for at {volts:.0f} V",
    )
