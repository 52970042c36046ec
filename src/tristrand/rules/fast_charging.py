"""HV270 to HV272: charging from direct current: contacts dead when idle, ratings, and what its contactors switch."""

import math
from collections.abc import Iterable, Iterator
from typing import Any

from tristrand.design import Datum
from tristrand.rules.charging_view import FAST, WITH_DC, of_charging
from tristrand.rules.contactor_welds import BY_GRAPH, CHECK, SENSORS, between_words, open_first, undeclared
from tristrand.rules.contactors import CONTACTORS
from tristrand.rules.limits import strictest
from tristrand.rules.rule import Context, Outcome, rule
from tristrand.rules.view import HV_FILE, LEADS, PARTS, circuit_of, counted, path_ids, sheet_pointer
from tristrand.studies.contactor_welds import FIRST
from tristrand.studies.results import ChargingResult, ContactorsResult, FastFigures, Missing, WeldFigures, WeldWay
from tristrand.studies.topology import joined

DEAD = "PRACTICE#inlet contacts dead when not charging"
RATED = "DATASHEET#rated current"
DELAY = "DESIGN#weld check"


def _fast(result: ChargingResult) -> FastFigures:
    assert result.fast is not None  # of_charging(fast=True) calls no rule without it
    return result.fast


@rule(
    "HV270",
    "fast-charge-inlet-dead",
    "error",
    needs=(*CONTACTORS, "charging"),
    checks=(
        "With its contactors open no contact of the direct-current inlet reaches the pack, the contactors rest open, "
        "and a weld of each alone shows, within the wait of the weld check, at a sensor that the declared check of "
        "the inlet reads, or at a mirror contact."
    ),
    why="Anyone may touch the contacts of an open inlet: one welded contactor nobody sees is half of a shock.",
    sources=(DEAD, "PRACTICE#a weld in one pole alone is seen only against the other pole", BY_GRAPH, DELAY),
    failing=(*WITH_DC, (HV_FILE, "voltage_sensors/inlet_minus/minus", "bus_minus.bar")),
    passing=WITH_DC,
    waivable=False,
)
@of_charging("weld_check", fast=True)
def fast_charge_inlet_dead(ctx: Context, result: ChargingResult) -> Iterable[Outcome]:
    """Main contactors may be closed meanwhile: the inlet must be dead while driving too."""
    fast, section = _fast(result), ctx.design.high_voltage.fast_charging
    assert section is not None
    for pole in ("plus", "minus"):
        live = f"{fast.inlet}.{pole}" in fast.live
        yield ctx.finding(
            "fail" if live else "pass",
            f"{PARTS}/{fast.inlet}",
            f"the {pole} contact of {fast.inlet} reaches the pack with its contactors open"
            if live
            else f"the {pole} contact of {fast.inlet} is parted from the pack",
            counted(f"contactors that part the {pole} contact", int(not live), ">=", 1, DEAD),
        )
    for name in section.contactors:
        part: Any = ctx.design.high_voltage.parts[name]
        closed = part.rests == "closed"
        yield ctx.finding(
            "fail" if closed else "pass",
            f"{PARTS}/{name}",
            f"{name} rests closed: without 12 V the inlet is live" if closed else f"{name} rests open",
            counted("contactor rests open", int(not closed), ">=", 1, DEAD),
        )
    yield from _welds(ctx, fast)


def _welds(ctx: Context, fast: FastFigures) -> Iterator[Outcome]:
    """The declared check is a claim: every contactor needs a way in which its weld, alone, shows to that check."""
    section: Any = ctx.design.high_voltage.fast_charging
    if section.weld_check is None:
        yield ctx.open([Missing(f"{FAST}/weld_check", "how a welded contactor of the inlet is seen")])
        return
    if section.weld_check == "none":
        evidence = counted("checks for a welded contactor of the inlet", 0, ">=", 1, DEAD)
        yield ctx.finding("fail", f"{FAST}/weld_check", "a welded contactor of the inlet is never seen", evidence)
        return
    result: ContactorsResult = ctx.results["contactors"]
    for name in section.contactors:
        found = result.welds.get(name)
        if found is None:
            yield ctx.open(result.blocking or [Missing(f"{PARTS}/{name}", f"where a weld of {name} would show")])
            continue
        ways = [way for way in found.ways if section.weld_check == "each_pole" or _across(ctx, way, fast)]
        yield _weld(ctx, name, found, ways, result)


def _across(ctx: Context, way: WeldWay, fast: FastFigures) -> bool:
    """Whether the sensor lies between the inlet's two contacts: only with the other pole held it sees a weld there."""
    sensor = ctx.design.high_voltage.voltage_sensors[way.sensor]
    bare = path_ids(circuit_of(ctx), opened=("main", "charge", "precharge", "discharge"))
    plus, minus = f"{fast.inlet}.plus", f"{fast.inlet}.minus"
    return way.step == FIRST and any(
        joined(bare, one, plus) and joined(bare, other, minus)
        for one, other in ((sensor.plus, sensor.minus), (sensor.minus, sensor.plus))
    )


def _weld(ctx: Context, name: str, found: WeldFigures, ways: list[WeldWay], result: ContactorsResult) -> Outcome:
    """One contactor of the inlet: seen by its mirror contact, or by the quickest sensor that the check reads."""
    at = f"{PARTS}/{name}"
    near = ((f"{FAST}/weld_check", "the check that is declared"), (SENSORS, "the sensors"), (CHECK, "its wait"))
    if found.mirror:
        seen = counted("mirror contacts that are read", 1, ">=", 1, DEAD)
        return ctx.finding("pass", at, f"a weld of {name} shows at its mirror contact", seen)
    if not ways:
        if not found.ways and (gaps := undeclared(ctx, name, found, result)):
            return ctx.open(gaps)
        blind = f"a weld of {name} alone shows at no sensor that the check of the inlet reads"
        return ctx.finding(
            "fail", at, f"{blind}: one {between_words(found)} would see it",
            counted("ways in which its weld shows", 0, ">=", 1, BY_GRAPH), related=near, ways_out=open_first(ctx, name),
        )  # fmt: skip
    way = ways[0]
    if way.missing:
        return ctx.open(way.missing)
    if math.isnan(way.wait_s):
        evidence = counted("sensors exact enough to tell a weld", 0, ">=", 1, DELAY)
        return ctx.finding(
            "fail", at, f"{way.sensor} errs too much to tell {name} welded from {name} opened", evidence, related=near
        )
    return ctx.compare(
        at, f"wait until {way.sensor} tells {name} welded from opened", way.wait_s, "s", "<=", result.delay_s, DELAY,
        subject=f"a weld of {name}", bad=f"is not told by {way.sensor} when the weld check reads it",
        good=f"is seen by {way.sensor}, {way.step}", related=near,
    )  # fmt: skip


@rule(
    "HV271",
    "fast-charge-ratings",
    "error",
    needs=("pack", "operating", "conductors", "fuse_loads", "charging"),
    checks=(
        "Inlet, contactors, fuse, cables and pack bear the largest current of direct-current charging; the inlet lies "
        "the right way round and stands the pack's voltage, a fuse lies on the way, and the supply covers the pack."
    ),
    why="Fast charging is the longest full load a car knows: what is too small for it burns at the roadside.",
    sources=(
        RATED,
        "FUSE-GUIDE#continuous derating",
        "FUSE-GUIDE#ambient factor",
        "DATASHEET#rated voltage",
        "PRACTICE#fuse protects cable",
    ),
    failing=(*WITH_DC, ("parts/inlet-100.yaml", "rated_current", "30 A")),
    passing=WITH_DC,
    waivable=False,
)
@of_charging("supply", "current", "charge_voltage", fast=True)
def fast_charge_ratings(ctx: Context, result: ChargingResult) -> Iterable[Outcome]:
    """The larger share of a current that two ways divide is not computed: each way is judged for all of it."""
    fast = _fast(result)
    if not fast.path:
        yield ctx.finding("fail", f"{PARTS}/{fast.inlet}", f"no way leads from {fast.inlet} through the pack")
        return
    yield ctx.finding(
        "fail" if fast.turned else "pass",
        f"{PARTS}/{fast.inlet}",
        f"{fast.inlet} is wired the wrong way round: its plus contact lies on the minus pole of the pack, which "
        "shorts it through the diodes of the supply"
        if fast.turned
        else f"{fast.inlet} lies with plus and minus on the poles of the pack",
        counted("poles on the wrong end", int(fast.turned), "<=", 0, "DESIGN#topology"),
    )
    fuses = [name for name in fast.path if name in ctx.design.parts_of("fuse")]
    yield ctx.finding(
        "pass" if fuses else "fail",
        f"{PARTS}/{fast.inlet}",
        f"a fuse lies between {fast.inlet} and the pack"
        if fuses
        else f"no fuse lies between {fast.inlet} and the pack",
        counted("fuses on the way", len(fuses), ">=", 1, "PRACTICE#fuse protects cable"),
    )
    named = getattr(ctx.design.high_voltage.fast_charging, "fuse", None)
    if named is not None and named not in fuses:
        yield ctx.finding("fail", f"{FAST}/fuse", f"{named} does not lie between {fast.inlet} and the pack")
    yield from _voltages(ctx, result, fast)
    if math.isnan(fast.largest_a):
        return
    for name in (fast.inlet, *fast.path):
        yield from _carries(ctx, name, fast)


def _voltages(ctx: Context, result: ChargingResult, fast: FastFigures) -> Iterator[Outcome]:
    inlet, section = ctx.design.sheet_of(fast.inlet), ctx.design.high_voltage.fast_charging
    rated, at = inlet.rated_voltage, sheet_pointer(ctx, fast.inlet, "rated_voltage")
    if rated is None:
        yield ctx.open([Missing(at, f"rated voltage of {fast.inlet}")])
    else:
        yield ctx.compare(
            f"{PARTS}/{fast.inlet}", "rated voltage", (rated.low, rated.high), "V", ">=", result.limit_v,
            "DATASHEET#rated voltage", basis=rated.basis, subject=fast.inlet,
            bad="is rated for less than the voltage at which charging is held",
            good="stands the voltage at which charging is held", related=((at, "its data sheet"),),
        )  # fmt: skip
    if section is None or section.supply is None:
        return
    low, high = section.supply.voltage.minimum, section.supply.voltage.maximum
    for end, datum, pack_v in (("minimum", low, result.lowest_v), ("maximum", high, result.limit_v)):
        yield ctx.compare(
            f"{FAST}/supply/voltage/{end}", f"{end} voltage of the supply", (datum.low, datum.high), "V",
            "<=" if end == "minimum" else ">=", pack_v, "DATASHEET#rated voltage", basis=datum.basis,
            subject="the direct-current supply", bad="does not reach the pack at this end of its charge",
            good="reaches the pack at this end of its charge",
        )  # fmt: skip


def _carries(ctx: Context, name: str, fast: FastFigures) -> Iterator[Outcome]:
    """One thing on the way against the largest current."""
    part: Any = ctx.design.high_voltage.parts.get(name)
    if part is None:
        yield from _lead(ctx, name, fast)
        return
    field = {
        "inlet": "rated_current",
        "fuse": "rated_current",
        "contactor": "continuous_current",
        "service_disconnect": "continuous_current",
        "pack": "charge_current",
    }[part.kind]
    datum: Datum | None = getattr(ctx.design.sheet_of(name), field)
    pointer = sheet_pointer(ctx, name, field)
    if datum is None:
        yield ctx.open([Missing(pointer, f"{field.replace('_', ' ')} of {name}")])
        return
    limit, source, words, note = datum.low, RATED, "its rating", ""
    if part.kind == "fuse":
        load = ctx.results["fuse_loads"].fuses.get(name)
        if load is None or math.isnan(load.factor):
            yield ctx.open(ctx.results["fuse_loads"].missing or [Missing(pointer, f"air temperature round {name}")])
            return
        share, source = _fuse_share(ctx, name)
        limit, words = datum.low * share * load.factor, "its continuous share"
        if load.factor < 1.0:
            note = f"{100 * share:.0f} % of the rating times {load.factor:.3f} for air of {load.ambient_c:g} °C"
            note += " (form from memory)"
    yield ctx.compare(
        f"{PARTS}/{name}",
        "largest current of direct-current charging",
        fast.largest_a,
        "A",
        "<=",
        limit,
        source,
        basis=datum.basis,
        subject=name,
        bad=f"carries more than {words} while charging from direct current",
        good="carries the current of direct-current charging",
        related=((pointer, words),),
        note=note,
    )


def _fuse_share(ctx: Context, name: str) -> tuple[float, str]:
    """The smaller of the sheet's continuous share and that of the rule sets, with its source."""
    own = ctx.design.sheet_of(name).continuous_share
    found = [(own.low, "DATASHEET#continuous share")] if own is not None else []
    limit = strictest("fuse_share", ctx.rule_sets)
    if limit is not None:
        found.append((limit.value, limit.source))
    return min(found, default=(1.0, RATED))


def _lead(ctx: Context, name: str, fast: FastFigures) -> Iterator[Outcome]:
    lead = ctx.design.high_voltage.connections[name]
    if lead.cable is None:
        return
    conductors = ctx.results["conductors"]
    figure = conductors.conductors.get(name)
    if figure is None:
        yield ctx.open(conductors.missing or [Missing(f"{LEADS}/{name}", f"what cable {name} carries")])
        return
    yield ctx.compare(
        f"{LEADS}/{name}",
        "largest current of direct-current charging",
        fast.largest_a,
        "A",
        "<=",
        figure.ampacity.current_a,
        figure.ampacity.source,
        subject=f"cable {name} ({lead.cable})",
        bad="carries more than it may as laid while charging from direct current",
        good="carries the current of direct-current charging",
        note=figure.ampacity.detail,
    )


@rule(
    "HV272",
    "fast-charge-contactors",
    "error",
    needs=("pack", "charging"),
    checks=(
        "Every contactor on the way may open the largest charging current in the direction in which it flows there, "
        "and those of the inlet close onto no more than they may make."
    ),
    why="Closed on unequal voltages contactors weld; opened against their direction polarised ones burn.",
    sources=(
        "DATASHEET#largest current it may open",
        "DATASHEET#make current",
        "NUMERICS#circuit solver, transient",
    ),
    failing=(*WITH_DC, (HV_FILE, "fast_charging/closing_difference", "60 V")),
    passing=WITH_DC,
    waivable=False,
)
@of_charging("supply", "current", "closing_difference", fast=True)
def fast_charge_contactors(ctx: Context, result: ChargingResult) -> Iterable[Outcome]:
    """Direction by the marked terminal: plus comes from the inlet's plus contact, or leaves to its minus."""
    fast, section = _fast(result), ctx.design.high_voltage.fast_charging
    if not fast.forward:
        yield ctx.open([Missing("high_voltage/connections", f"a way from {fast.inlet} through contactors to the pack")])
    for name, forward in fast.forward:
        if not math.isnan(fast.largest_a):
            yield _opens(ctx, name, forward, fast)
        if section is not None and name in section.contactors:
            yield _makes(ctx, name, fast)


def _makes(ctx: Context, name: str, fast: FastFigures) -> Outcome:
    """The surge of closing, whichever contactor of the inlet closes last; a mere bound proves no failure."""
    if math.isnan(fast.surge_a):
        return ctx.open(fast.surge_missing)
    makes, pointer = ctx.design.sheet_of(name).make_current, sheet_pointer(ctx, name, "make_current")
    if makes is None:
        return ctx.open([Missing(pointer, f"make current of {name}")])
    if fast.surge_unknown and fast.surge_a > makes.low:
        return ctx.open(fast.surge_unknown)
    return ctx.compare(
        f"{PARTS}/{name}", "largest current at closing", fast.surge_a, "A", "<=", makes.low, "DATASHEET#make current",
        basis=makes.basis, subject=name,
        bad="closes onto more than it may make: the voltages must be nearer to each other first",
        good="closes onto no more than it may make",
        related=((f"{FAST}/closing_difference", "difference allowed at closing"), (pointer, "what it may make")),
        note="bus capacitances and pack onto a supply without resistance of its own, assumed: no design holds a "
        "supply's own capacitance, and any would give less",
    )  # fmt: skip


def _opens(ctx: Context, name: str, forward: bool | None, fast: FastFigures) -> Outcome:
    """Largest current it may open, in the direction of charging; where that is not known, in both."""
    sheet = ctx.design.sheet_of(name)
    both: dict[str, Datum | None] = {
        "break_current": sheet.break_current,
        "break_current_reverse": sheet.break_current_reverse,
    }
    if sheet.polarised is False:
        # Alike in both directions: a current that is stated once counts for both, as in HV208.
        both = {field: datum for field, datum in both.items() if datum is not None or field == "break_current"}
        forward = None
    elif forward is None and sheet.break_current_reverse is None:
        return ctx.open(
            [Missing(f"{PARTS}/{name}/marked_plus", f"marked side of {name}, which opens in one direction only")]
        )
    wanted = list(both) if forward is None else ["break_current" if forward else "break_current_reverse"]
    known = [(datum.low, field, datum) for field, datum in both.items() if field in wanted and datum is not None]
    if len(known) < len(wanted):
        if forward is False:
            return ctx.finding(
                "fail",
                f"{PARTS}/{name}",
                f"{name} is polarised and charging flows against its marked direction: opened under load it burns",
                counted("fitted for the direction of charging", 0, ">=", 1, "DATASHEET#largest current it may open"),
            )
        return ctx.open([Missing(sheet_pointer(ctx, name, "break_current"), f"largest current {name} may open")])
    least, field, datum = min(known)
    return ctx.compare(
        f"{PARTS}/{name}",
        "largest current of direct-current charging",
        fast.largest_a,
        "A",
        "<=",
        least,
        "DATASHEET#largest current it may open",
        basis=datum.basis,
        subject=name,
        bad="may not open the charging current in the direction in which it flows",
        good="may open the charging current in its direction",
        related=((sheet_pointer(ctx, name, field), "what it may open"),),
    )
