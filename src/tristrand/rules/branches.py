"""HV283 to HV287: what hangs on the bus, the conductors in front of it, and the brake plausibility circuit."""

import math
from collections.abc import Iterable, Iterator

from tristrand.rules.monitor import CELLS, RACE
from tristrand.rules.rule import Context, NotApplicable, Outcome, rule
from tristrand.rules.view import HV_FILE, LEADS, PARTS, against_sheet, sheet_pointer
from tristrand.studies.results import Branch, BranchFuse, FuseLoad, Missing, Trunk

BRANCHES = ("pack", "operating", "precharge", "branches")
# What the largest lasting current of a device of a kind rests on; for others the rated power.
LASTING_NEEDS = {
    "dcdc": ("rated_power", "efficiency"),
    "charger": ("output_current",),
    "inverter": ("continuous_current",),
}
INPUT_LIMIT = "DATASHEET#input current limit"


@rule(
    "HV283",
    "converter-at-low-voltage",
    "warning",
    needs=BRANCHES,
    checks=(
        "At the lowest bus voltage of any case, with the pack at the end of its life, a DC-DC converter still works "
        "and its input current limit still allows its rated output."
    ),
    why="The 12 V circuit asks most when the pack is cold and empty: there lights, steering and contactors must hold.",
    sources=(INPUT_LIMIT, "DATASHEET#turn-off voltage", "PRACTICE#aged pack, twice the resistance"),
    failing=(("parts/dcdc-1k2.yaml", "input_current_limit", "4 A"),),
)
def converter_at_low_voltage(ctx: Context) -> Iterable[Outcome]:
    """Turn-off voltage and full output against the voltage of the aged pack; a new one is judged by HV105."""
    result = ctx.results["branches"]
    converters = [b for b in result.branches.values() if b.kind == "dcdc"]
    if not converters:
        yield NotApplicable("there is no DC-DC converter")
    for branch in converters:
        volts = branch.low_v if math.isnan(branch.aged_v) else branch.aged_v
        if math.isnan(volts):
            operating = ctx.results["operating"]
            words = f"{branch.device} draws nothing in any driving case"
            none = ctx.finding("not_applicable", f"{PARTS}/{branch.device}", words)
            yield none if operating.cases else ctx.open(operating.missing)
            continue
        yield from _low(ctx, branch, volts)


def _low(ctx: Context, branch: Branch, volts: float) -> Iterator[Outcome]:
    at, name = f"{PARTS}/{branch.device}", branch.device
    aged = " with an aged pack" if not math.isnan(branch.aged_v) else ""
    what = f"lowest voltage at its terminals{aged}, case {branch.low_case}"
    note = "" if aged else "packs as new: their power in this case is not known"
    if math.isnan(branch.off_v):
        yield ctx.open([Missing(sheet_pointer(ctx, name, "turn_off_voltage"), f"turn-off voltage of {name}")])
    else:
        sag = f"turns off on the sag of case {branch.low_case}{aged}"
        if volts <= 0:
            sag = f"goes dark in case {branch.low_case}, whose power an aged pack cannot give"
        yield ctx.compare(
            at, what, volts, "V", ">=", branch.off_v, "DATASHEET#turn-off voltage", subject=name,
            bad=f"{sag}: the 12 V circuit is left to its battery",
            good="stays on at the lowest voltage of the bus", note=note,
            related=((sheet_pointer(ctx, name, "turn_off_voltage"), "its turn-off voltage"),),
        )  # fmt: skip
    if math.isnan(branch.full_from_v):
        yield ctx.open(_power_gaps(ctx, name, "dcdc"))
    elif branch.full_from_v > 0 and not volts < branch.off_v:
        yield ctx.compare(
            at, what, volts, "V", ">=", branch.full_from_v, INPUT_LIMIT, subject=name,
            bad=f"gives only {branch.left_w:.0f} W of its {branch.rated_w:.0f} W at the lowest voltage of the bus",
            good="gives its rated output at the lowest voltage of the bus", note=note,
            related=((sheet_pointer(ctx, name, "input_current_limit"), "its input current limit"),),
        )  # fmt: skip


def _power_gaps(ctx: Context, name: str, kind: str) -> list[Missing]:
    """What a device's largest lasting current needs and its sheet does not give."""
    sheet = ctx.design.sheet_of(name)
    wanted = LASTING_NEEDS.get(kind, ("rated_power",))
    if kind == "heater" and sheet.control == "resistance":
        wanted = ("resistance",)
    absent = [field for field in wanted if getattr(sheet, field) is None]
    gaps = [Missing(sheet_pointer(ctx, name, field), f"{field.replace('_', ' ')} of {name}") for field in absent]
    return gaps or list(ctx.results["pack"].missing)


@rule(
    "HV284",
    "branch-fuse-current",
    "warning",
    needs=(*BRANCHES, "fuse_loads"),
    limit="fuse_share",
    checks=(
        "A fuse in front of heaters, converters and chargers carries for ever, in the air round it, what they may take "
        "at their rated power and the lowest voltage, whatever the cases ask."
    ),
    why="A device regulated to a power draws more as the pack empties; the fuse then opens on the coldest night.",
    sources=("FUSE-GUIDE#continuous derating", "FUSE-GUIDE#ambient factor", "DATASHEET#continuous share"),
    failing=(("parts/fuse-15.yaml", "rated_current", "7 A"),),
)
def branch_fuse_current(ctx: Context) -> Iterable[Outcome]:
    """The smaller of the sheet's own continuous share and that of the rule sets; cases are judged by HV129."""
    result, limit, none = ctx.results["branches"], ctx.limit(), True
    loads = ctx.results["fuse_loads"]
    for name, fuse in result.fuses.items():
        kinds = {result.branches[device].kind for device in fuse.devices}
        if "inverter" in kinds or not fuse.devices:
            continue
        none = False
        rated = ctx.design.sheet_of(name).rated_current
        if rated is None:
            yield ctx.open([Missing(sheet_pointer(ctx, name, "rated_current"), f"rated current of {name}")])
            continue
        if math.isnan(fuse.lasting_a):
            unknown = [d for d in fuse.devices if math.isnan(result.branches[d].lasting_a)]
            yield ctx.open([gap for d in unknown for gap in _power_gaps(ctx, d, result.branches[d].kind)])
            continue
        load = loads.fuses.get(name)
        if load is None or math.isnan(load.factor):
            yield ctx.open(loads.missing or [Missing(f"{PARTS}/{name}", f"air temperatures of {name} that fit")])
            continue
        # Of equals the sheet's own; a sheet cannot loosen what the rule sets ask.
        share, source = fuse.share, "DATASHEET#continuous share"
        if not share <= limit.value:
            share, source = limit.value, limit.source
        who = " and ".join(fuse.devices)
        yield ctx.compare(
            f"{PARTS}/{name}", f"largest lasting current of {who}", fuse.lasting_a, "A", "<=",
            share * load.factor * rated.low, source, basis=rated.basis, subject=f"{name} ({rated.text})",
            bad=f"carries less for ever than {who} may take", good=f"carries for ever what {who} may take",
            related=((f"{PARTS}/{fuse.devices[0]}", "behind the fuse"),),
            note=f"{100 * share:.0f} % of the rating{_air(load)}; {result.branches[fuse.devices[0]].words}",
        )  # fmt: skip
    if none:
        yield NotApplicable("no fuse stands in front of heaters, converters or chargers alone")


def _air(load: FuseLoad) -> str:
    """What hot air takes from a fuse, in words."""
    return f" times {load.factor:.3f} for air of {load.ambient_c:g} °C (form from memory)" if load.factor < 1 else ""


@rule(
    "HV285",
    "fuse-start-surges",
    "warning",
    needs=BRANCHES,
    checks="The surge of the capacitors behind a fuse does not wear it out over all starts of the vehicle's life.",
    why="Each surge strains the fuse's element a little; worn, it opens years later without a fault.",
    sources=("FUSE-GUIDE#pulse cycle life", "DATASHEET#I2t of the fuse"),
    failing=(("parts/fuse-15.yaml", "melting_joule_integral", "0.5 A²s"),),
)
def fuse_start_surges(ctx: Context) -> Iterable[Outcome]:
    """Surge I²t over the share that so many pulses may bring, against the melting I²t."""
    result, precharge = ctx.results["branches"], ctx.results["precharge"]
    for name, fuse in result.fuses.items():
        if math.isnan(fuse.needed_a2s):
            yield ctx.open(_surge_gaps(ctx, fuse) or precharge.missing or ctx.results["pack"].missing)
            continue
        yield against_sheet(
            ctx, name, "melting_joule_integral", "melting I²t", "FUSE-GUIDE#pulse cycle life",
            f"melting I²t that outlives {fuse.pulses:g} starts", fuse.needed_a2s, "A²s", "<=",
            bad="is worn out by the surge of every start before the vehicle's life is over",
            good="outlives the surges of all starts", mark="its melting I²t",
        )  # fmt: skip


def _no_count(ctx: Context) -> Missing:
    duty = ctx.design.high_voltage.switching_duty
    key = "starts" if duty is None or duty.starts is None else "charges"
    return Missing(f"high_voltage/switching_duty/{key}", f"{key} in the life of the vehicle, each a closing")


def _surge_gaps(ctx: Context, fuse: BranchFuse) -> list[Missing]:
    """Capacitances that the sheets of the devices behind a fuse lack, or why else the surge is not known."""
    duty, gaps = "high_voltage/switching_duty/starts", []
    if math.isnan(fuse.pulses):
        gaps.append(_no_count(ctx))
    elif fuse.pulses > 1e5:
        gaps.append(Missing(duty, f"what {fuse.pulses:g} pulses leave of a fuse: no share is printed above 100 000"))
    for name in fuse.devices:
        kind = ctx.results["branches"].branches[name].kind
        field = {"inverter": "bus_capacitance", "charger": "output_capacitance"}.get(kind, "input_capacitance")
        if getattr(ctx.design.sheet_of(name), field) is None:
            gaps.append(Missing(sheet_pointer(ctx, name, field), f"capacitance across the bus of {name}"))
    if not gaps and not ctx.results["precharge"].missing and not ctx.results["pack"].missing:
        gaps = [Missing("studies/precharge", f"the surge through {fuse.fuse} as the contactors close")]
    return gaps


@rule(
    "HV286",
    "pack-conductors",
    "error",
    needs=("conductors", *BRANCHES),
    limit="pack_conductors",
    checks=(
        "Where a rule set asks for it, a cable in front of several devices carries for ever the sum of what protects "
        "them, or has a fuse of its own that is not above what it carries."
    ),
    why="Every branch fuse stays whole while their sum burns the cable that feeds them all.",
    sources=("FSAE-2026#EV.6.6.4",),
    failing=(RACE, (HV_FILE, "connections/W8/cable", "hv-4")),
    passing=(RACE, (HV_FILE, "connections/W8/cable", "hv-50")),
    waivable=False,
)
def pack_conductors(ctx: Context) -> Iterable[Outcome]:
    """The smaller of the sum and the conductor's own fuse against its ampacity."""
    limit, result = ctx.limit(), ctx.results["branches"]
    conductors = ctx.results["conductors"]
    if not result.trunks:
        yield NotApplicable("no cable feeds several devices")
        return
    for name, trunk in result.trunks.items():
        figure = conductors.conductors.get(name)
        if figure is None:
            yield ctx.open(conductors.missing or (Missing(f"{LEADS}/{name}", "its ampacity"),))
            continue
        carries = figure.ampacity.current_a
        own = trunk.fuse_a <= carries
        if not own and math.isnan(trunk.sum_a):
            yield ctx.open(_sum_gaps(ctx, trunk))
            continue
        yield ctx.compare(
            f"{LEADS}/{name}", f"rating of {trunk.fuse}" if own else "sum of what protects the devices behind it",
            trunk.fuse_a if own else trunk.sum_a, "A", "<=", carries, limit.source,
            subject=f"cable {name}", bad="carries less for ever than the devices behind it may take together",
            good=f"is protected by {trunk.fuse}" if own else "carries all devices behind it together",
            related=tuple((f"{PARTS}/{device}", "behind it") for device in trunk.devices),
        )  # fmt: skip


def _sum_gaps(ctx: Context, trunk: Trunk) -> list[Missing]:
    branches = ctx.results["branches"].branches
    gaps = []
    for name in trunk.devices:
        if math.isnan(branches[name].lasting_a):
            gaps += _power_gaps(ctx, name, branches[name].kind)
    fuses = [f for name in trunk.devices for f in branches[name].fuses if ctx.design.sheet_of(f).rated_current is None]
    gaps += [Missing(sheet_pointer(ctx, f, "rated_current"), f"rated current of {f}") for f in fuses]
    return gaps or list(ctx.results["pack"].missing)


@rule(
    "HV287",
    "brake-plausibility-trip",
    "error",
    needs=CELLS,
    limit="brake_power_w",
    checks=(
        "Where a rule set asks for it, the brake plausibility circuit trips at a current worth at most the power it "
        "names at the pack's nominal voltage, and in time."
    ),
    why="A driver who brakes hard against a motor that still pulls has lost the car: the circuit has to part them.",
    sources=("FSAE-2026#EV.7.7.2",),
    failing=(RACE, (HV_FILE, "brake_plausibility", "{current: 17 A, within: 400 ms}")),
    passing=(RACE, (HV_FILE, "brake_plausibility", "{current: 16 A, within: 400 ms}")),
    waivable=False,
)
def brake_plausibility_trip(ctx: Context) -> Iterable[Outcome]:
    """Current times nominal voltage, and the delay."""
    power, time = ctx.limit(), ctx.limit_if_set("brake_time_s")
    at, declared = "high_voltage/brake_plausibility", ctx.design.high_voltage.brake_plausibility
    if declared is None:
        yield ctx.open([Missing(at, "trip of the brake plausibility circuit")])
        return
    if declared.current is None or declared.within is None:
        fields = [name for name in ("current", "within") if getattr(declared, name) is None]
        yield ctx.open([Missing(f"{at}/{name}", "of the brake plausibility circuit") for name in fields])
    trip = ctx.results["cells"].brake
    if trip is not None:
        if math.isnan(trip.power_w):
            yield ctx.open(ctx.results["pack"].missing)
        else:
            yield ctx.compare(
                f"{at}/current", "trip current at nominal voltage", trip.power_w, "W", "<=", power.value, power.source,
                subject="the brake plausibility circuit", bad="lets more power pass while braking than the rules allow",
                good="trips at the power that the rules name", note=f"{trip.current_a:.4g} A at {trip.nominal_v:.4g} V",
            )  # fmt: skip
    if declared.within is not None and time is not None:
        yield ctx.compare(
            f"{at}/within", "time to the opening order", (declared.within.low, declared.within.high), "s", "<=",
            time.value, time.source, subject="the brake plausibility circuit",
            bad="answers later than the rules allow", good="answers in the time that the rules allow",
        )  # fmt: skip
