"""HV299 and HV301: who opens, or limits the current, where a fuse does not protect."""

import math
from collections.abc import Callable, Iterable, Iterator
from typing import Any

from tristrand.design import Datum
from tristrand.findings import Edit, WayOut
from tristrand.rules.charging_view import FAST, station_gaps
from tristrand.rules.clearing import PROTECTION
from tristrand.rules.rule import Context, NotApplicable, Outcome, rule
from tristrand.rules.view import HV_FILE, PARTS, counted, sheet_pointer
from tristrand.studies.circuits import with_inlets
from tristrand.studies.fuse_ways import acting
from tristrand.studies.results import Missing, OverloadBand, ProtectionResult

# Of each kind of device the field of its sheet that limits the current through its fuse; a rating is no limit.
LIMITS_ITSELF = {
    "inverter": "peak_current",
    "dcdc": "input_current_limit",
    "heater": "current_limit",
    "charger": "output_current",
}


def fuse_bands(ctx: Context) -> Iterator[tuple[str, OverloadBand | None, list[Missing]]]:
    """Every fuse that short circuits flow through, its band, and what is missing: of the band, or of its load.

    Where the current of a supply is missing there is a band all the same: the gap itself can then be judged.
    """
    result: ProtectionResult = ctx.results["protection"]
    operating = ctx.results["operating"]
    for name in result.fuses:
        band, sheet = result.bands.get(name), ctx.design.sheet_of(name)
        gaps = [] if sheet.melting else [Missing(sheet_pointer(ctx, name, "melting"), f"melting curve of {name}")]
        if sheet.minimum_breaking_current is None:
            pointer = sheet_pointer(ctx, name, "minimum_breaking_current")
            gaps.append(Missing(pointer, f"minimum breaking current of {name}"))
        if band is None and not gaps:
            if operating.cases:
                # No device draws through it: a resistor limits what flows there, as in a precharge path.
                continue
            gaps = list(operating.missing) or [Missing(f"{PARTS}/{name}", f"the loads of {name}")]
        if band is not None:
            gaps += station_gaps(ctx, band.inlets)
        yield name, band, gaps


def no_fuse(ctx: Context) -> Outcome:
    """What to say where no fuse is judged."""
    missing = ctx.results["protection"].missing
    return ctx.open(missing) if missing else NotApplicable("no fuse lies in the way of a short circuit")


def _named(ctx: Context, name: str) -> tuple[str, ...]:
    return tuple(ctx.design.high_voltage.parts[name].overload_by)  # type: ignore[union-attr]


def acts_for(ctx: Context, name: str, band: OverloadBand) -> tuple[str, ...]:
    """Who opens or limits: those that the design names, else the contactors that take off the fuse's load."""
    return _named(ctx, name) or band.opening


def kind_of(ctx: Context, part: str) -> str:
    """The kind of a part: contactor, or that of a device."""
    return ctx.design.high_voltage.parts[part].kind


def _reach(band: OverloadBand) -> str:
    return f"between {band.load_a:.3g} A and {band.to_a:.3g} A"


@rule(
    "HV299",
    "overload-left-to-nobody",
    "error",
    needs=(*PROTECTION, "charging"),
    checks=(
        "Where a fuse melts too slowly for its cable, or below the current that it clears, contactors in series with "
        "it open or the device behind it limits its own current; a fuse that only a supply at an inlet loads included."
    ),
    why="A fuse that glows below its minimum breaking current burns through its body; somebody else must act there.",
    sources=("DATASHEET#minimum breaking current", "CLOSED-FORM#interpolation on logarithmic scales"),
    failing=(
        (HV_FILE, "parts/fuse_dcdc/overload_by", "[]"),
        (HV_FILE, "parts/main_fuse/overload_by", "[]"),
        (HV_FILE, "parts/k_plus/role", "discharge"),
        (HV_FILE, "parts/k_minus/role", "discharge"),
        (HV_FILE, "weld_check", "null"),
        (HV_FILE, "connections/X1", "{from: k_plus.a, to: k_plus.b, resistance: 1 mΩ}"),
        (HV_FILE, "connections/X2", "{from: k_minus.a, to: k_minus.b, resistance: 1 mΩ}"),
    ),
    waivable=False,
)
def overload_left_to_nobody(ctx: Context) -> Iterable[Outcome]:
    """The band of `overload_gap`, its cable allowed 5 s; whether those named are able is judged by HV207 and HV301."""
    seen = False
    for name, band, gaps in fuse_bands(ctx):
        seen = True
        if gaps:
            yield ctx.open(gaps)
        if band is None:
            continue
        pointer, acts = f"{PARTS}/{name}", acts_for(ctx, name, band)
        if band.to_a <= band.load_a:
            yield ctx.finding("pass", pointer, f"{name} leaves no current above its load to anybody else")
            continue
        unparted = [about for about, names in band.together if not names and about in dict(band.beyond)]
        number = 0 if unparted else len(acts)
        evidence = counted("parts that open or limit there", number, ">=", 1, "DATASHEET#minimum breaking current")
        if acts and not unparted:
            how = "in series with it" if band.in_series else "in series with it only together"
            how = "named in the design" if _named(ctx, name) else how
            verb = "act" if len(acts) > 1 else "acts"
            message = f"{' and '.join(acts)} ({how}) {verb} where {name} does not protect, {_reach(band)}"
            yield ctx.finding("pass", pointer, message, evidence)
            yield from _left_to_nobody(ctx, name, band)
            continue
        message = f"nothing opens or limits the current where {name} does not protect, {_reach(band)}"
        for about in unparted:
            own = " or ".join(dict(band.beyond)[about])
            message += f": the pack feeds a fault between {name} and {own}, and no contactor parts it"
            message += f"; put a contactor of {about} on the pack's side of {name}"
        yield ctx.finding("fail", pointer, message, evidence, ways_out=_others(name, band))
    if not seen:
        yield no_fuse(ctx)


def _left_to_nobody(ctx: Context, name: str, band: OverloadBand) -> Iterator[Outcome]:
    """A way from a fuse ahead of the main contactors to those of an inlet: a person has to look how it is laid."""
    for about, own in band.beyond:
        words = f"the pack feeds a fault between {name} and {' or '.join(own)}, and no contactor parts it, "
        words += f"{_reach(band)}: look that this way to {about} is short and guarded, or let main contactors part it"
        near = tuple((f"{PARTS}/{part}", "a contactor of the inlet") for part in own)
        yield ctx.finding("review", f"{PARTS}/{name}", words, related=near)


def _others(fuse: str, band: OverloadBand) -> Callable[[], Iterable[WayOut]]:
    """Ways out: let the devices behind the fuse limit themselves, or the contactors in series open."""
    pointer = f"parts/{fuse}/overload_by"

    def ways() -> Iterator[WayOut]:
        if band.behind:
            names = ", ".join(band.behind)
            yield WayOut(f"let {names} limit the current, if it does", (Edit(HV_FILE, pointer, f"[{names}]"),))
        if band.opening:
            names = ", ".join(band.opening)
            words = f"let {names} open, and say at what current and in what time"
            yield WayOut(words, (Edit(HV_FILE, pointer, f"[{names}]"),))

    return ways


@rule(
    "HV301",
    "overload-opener-able",
    "error",
    needs=(*PROTECTION, "charging"),
    checks=(
        "Contactors that are to open where a fuse does not protect take off all of its load, each alone or those of "
        "packs side by side together, and each may open all of that current; devices that limit themselves instead are "
        "all that the fuse feeds, and stay within its rating."
    ),
    why=(
        "Where the fuse does not protect, whoever is named has to be able to: a contactor opened above what it can "
        "break welds, and a device that may draw more than its fuse is rated for limits nothing."
    ),
    sources=("DATASHEET#largest current it may open", "DATASHEET#current limit of the device"),
    failing=((HV_FILE, "parts/fuse_dcdc/overload_by", "[k_pre]"),),
    waivable=False,
)
def overload_opener_able(ctx: Context) -> Iterable[Outcome]:
    """For main contactors and a band that ends at the minimum breaking current HV207 is the judge.

    Of several that part a fuse only together the last to open meets all of the current.
    """
    seen = False
    for name, band, gaps in fuse_bands(ctx):
        seen = True
        if gaps:
            yield ctx.open(gaps)
        if band is None or band.to_a <= band.load_a:
            continue
        acts = acts_for(ctx, name, band)
        contactors = tuple(part for part in acts if kind_of(ctx, part) == "contactor")
        helping, left = acting(with_inlets(ctx.design), name, contactors)
        # Beside others that do not suffice one that could help is not called idle.
        able = {*band.members} if left else helping
        if all(part in able for part in contactors):
            yield from _supplies(ctx, name, acts, left, band)
        for part in contactors:
            yield from _contactor(ctx, name, part, part in able, band)
        devices = [p for p in acts if kind_of(ctx, p) != "contactor"]
        if devices:
            yield from _devices(ctx, name, devices, len(devices) < len(acts), band)
    if not seen:
        yield no_fuse(ctx)


def _supplies(
    ctx: Context, fuse: str, acts: tuple[str, ...], left: tuple[str, ...], band: OverloadBand
) -> Iterator[Outcome]:
    """Loads that those who act do not take off the fuse; devices may limit themselves, a supply is no part."""
    contactors = [part for part in acts if kind_of(ctx, part) == "contactor"]
    for about in left if acts else ():
        if about == "" and len(contactors) < len(acts):
            continue
        alone, together = dict(band.openers)[about], dict(band.together)[about]
        who = " or ".join(alone) or (f"{' and '.join(together)} together" if together else "no contactor")
        what = f"what the supply at {about} drives" if about else "what its devices draw"
        evidence = counted("contactors named that take it off", 0, ">=", 1, "DESIGN#overload_by")
        words = f"nobody who is to act for {fuse} takes off {what}: {who} would"
        yield ctx.finding("fail", f"{PARTS}/{fuse}", words, evidence, ways_out=_others(fuse, band))


def _contactor(ctx: Context, fuse: str, part: str, able: bool, band: OverloadBand) -> Iterator[Outcome]:
    pointer = f"{PARTS}/{fuse}"
    if not able:
        evidence = counted("contactors named that part the fuse from the packs", 0, ">=", 1, "DESIGN#overload_by")
        words = f"{part} is to open where {fuse} does not protect, but {fuse} still carries current with {part} open"
        near = ((f"{PARTS}/{part}", "the contactor"),)
        yield ctx.finding("fail", pointer, words, evidence, related=near, ways_out=_others(fuse, band))
        return
    forward_a, reverse_a, gaps = _directions(ctx, part, band)
    if gaps:
        yield ctx.open(gaps)
    sheet = ctx.design.sheet_of(part)
    if sheet.polarised is False and sheet.break_current_reverse is None:
        # Alike in both directions: a current that is stated once counts for both.
        forward_a, reverse_a = max(forward_a, reverse_a), 0.0
    if reverse_a > 0.0:
        words = f"may not open, against its mark, all of what flows where {fuse} does not protect"
        yield _breaks(ctx, fuse, part, "break_current_reverse", reverse_a, f"{words}, up to {reverse_a:.3g} A")
    duty = ctx.results["protection"].fuses[fuse]
    main = ctx.design.high_voltage.parts[part].role == "main"  # type: ignore[union-attr]
    if main and band.to_a <= band.uncleared_below_a and not math.isnan(duty.smallest_a):
        yield NotApplicable(f"HV207 judges what {part} may open for {fuse}")
        return
    words = f"may not open all the currents at which {fuse} does not protect, up to {forward_a:.3g} A"
    yield _breaks(ctx, fuse, part, "break_current", forward_a, words)


def _directions(ctx: Context, part: str, band: OverloadBand) -> tuple[float, float, list[Missing]]:
    """What a contactor may have to open forward and backward [A], and what is missing to tell.

    The packs feed all of the band, a supply no more than it gives, each the other way round through the same contact.
    """
    forward_a, reverse_a, gaps = 0.0, 0.0, []
    section: Any = ctx.design.high_voltage.fast_charging
    fast = ctx.results["charging"].fast
    for about, opens in band.together:
        if part not in opens:
            continue
        known = fast is not None and section.inlet == about and section.supply is not None
        with_supply = dict(fast.forward).get(part) if known else None
        if with_supply is not None and fast.turned:
            # An inlet wired the wrong way round, which HV271 says, turns the supply round and not the packs.
            with_supply = not with_supply
        if about and not known:
            gaps.append(Missing(f"{FAST}/supply", f"the most that the supply at {about} gives"))
        if about and with_supply is None:
            return band.to_a, band.to_a, gaps
        given_a = min(section.supply.current.high, band.to_a) if about else 0.0
        forward_a = max(forward_a, given_a if about and with_supply else band.to_a)
        reverse_a = max(reverse_a, band.to_a if about and with_supply else given_a)
    return forward_a, reverse_a, gaps


def _breaks(ctx: Context, fuse: str, part: str, field: str, amps: float, bad: str) -> Outcome:
    """What a contactor may open in one direction against what it may have to."""
    way = "backward" if field.endswith("_reverse") else "forward"
    opens: Datum | None = getattr(ctx.design.sheet_of(part), field)
    at = sheet_pointer(ctx, part, field)
    if opens is None:
        return ctx.open([Missing(at, f"largest current that {part} may open {way}")])
    return ctx.compare(
        f"{PARTS}/{fuse}", f"largest current that {part} may open, {way}", opens.low, "A", ">=", amps,
        "DATASHEET#largest current it may open", basis=opens.basis, subject=part, bad=bad,
        good=f"may open every current at which {fuse} does not protect",
        related=((at, "what it may open"), (f"{PARTS}/{part}", "the contactor")),
    )  # fmt: skip


def _devices(ctx: Context, fuse: str, devices: list[str], opened: bool, band: OverloadBand) -> Iterator[Outcome]:
    """Devices that limit themselves. Beside contactors that open they need not be all."""
    pointer = f"{PARTS}/{fuse}"
    strange = [d for d in devices if d not in band.behind]
    forgotten = [d for d in band.behind if d not in devices and not opened]
    if strange or forgotten:
        evidence = counted(
            "devices behind the fuse that do not limit", len(strange + forgotten), "<=", 0, "DESIGN#overload_by"
        )
        words = (
            f"{', '.join(strange)} is to limit the current of {fuse}, but does not lie behind it alone"
            if strange
            else f"{fuse} also feeds {', '.join(forgotten)}, and nobody limits that where {fuse} does not protect"
        )
        yield ctx.finding("fail", pointer, words, evidence, ways_out=_others(fuse, band))
        return
    known = [(device, *_own_limit(ctx, device)) for device in devices]
    gaps = [Missing(at, f"current to which {device} limits itself") for device, datum, at in known if datum is None]
    rated: Datum | None = ctx.design.sheet_of(fuse).rated_current
    if rated is None:
        gaps.append(Missing(sheet_pointer(ctx, fuse, "rated_current"), f"rated current of {fuse}"))
    if gaps or rated is None:
        yield ctx.open(gaps)
        return
    total = sum(datum.high for _, datum, _ in known if datum is not None)
    yield ctx.compare(
        pointer,
        f"current limit of {' and '.join(devices)}{', together' if len(devices) > 1 else ''}",
        total,
        "A",
        "<=",
        rated.low,
        "DATASHEET#current limit of the device",
        basis=rated.basis,
        subject=", ".join(devices),
        bad=f"may draw more than {fuse} is rated for, where it neither melts in time nor clears",
        good=f"keeps overloads away from {fuse}",
        related=tuple((at, "its limit") for _, _, at in known),
        note=f"a fault inside it that draws less than {band.uncleared_below_a:.3g} A is left to its own protection",
    )


def _own_limit(ctx: Context, device: str) -> tuple[Datum | None, str]:
    """The datum of the device's sheet that limits its current, and its pointer."""
    field = LIMITS_ITSELF[kind_of(ctx, device)]
    return getattr(ctx.design.sheet_of(device), field), sheet_pointer(ctx, device, field)
