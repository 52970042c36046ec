"""HV267 to HV269: whether charging ends, leaves power for the pack, and is over when the shutdown circuit opens."""

import math
from collections.abc import Callable, Iterable, Iterator
from typing import Any

from tristrand.findings import Edit, WayOut
from tristrand.physics.pilot import LEAST_CURRENT_A
from tristrand.records import NamedTuple
from tristrand.rules.charging_view import CHARGING, FAST, NEEDS, SUPPLIES, WITH_AC, of_charging
from tristrand.rules.rule import Context, Outcome, Verdict, rule
from tristrand.rules.view import HV_FILE, PARTS, counted, sheet_pointer
from tristrand.studies.results import ChargingResult, Missing, SessionFigures, SupplyFigures


@of_charging(
    "target",
    "low_voltage_draw",
    "charge_table",
    "charge_cutoff_current",
    "open_circuit_voltage",
    "charge_voltage",
    "output_current",
    "rated_power",
    "efficiency",
    "input",
    "inlet",
    "voltage",
    "pilot_duty",
    "proximity",
)
def _alternating_ends(ctx: Context, result: ChargingResult) -> Iterable[Outcome]:
    for name, supply in result.supplies.items():
        yield from _ends(ctx, result, f"{SUPPLIES}/{name}", name, supply.sessions)


@of_charging(
    "target",
    "supply",
    "current",
    "charge_table",
    "charge_cutoff_current",
    "open_circuit_voltage",
    "charge_voltage",
    fast=True,
)
def _direct_ends(ctx: Context, result: ChargingResult) -> Iterable[Outcome]:
    if result.fast is not None:
        yield from _ends(ctx, result, FAST, result.fast.inlet, result.fast.sessions)


@rule(
    "HV267",
    "charging-ends",
    "warning",
    needs=NEEDS,
    checks="At each supply a session reaches its target with cells cold, mild and hot, as far as the table allows.",
    why="A session that stalls short of its target keeps contactors closed all night and the car where it stands.",
    sources=("CLOSED-FORM#charging through a resistance, open-circuit voltage straight by pieces",),
    failing=(*WITH_AC, (HV_FILE, "charging/target", "100 %")),
    passing=WITH_AC,
)
def charging_ends(ctx: Context) -> Iterable[Outcome]:
    """Alternating current, then direct current held to the pack's table; what stalls is said for each cause once."""
    for outcome in (*_alternating_ends(ctx), *_direct_ends(ctx)):
        if not (isinstance(outcome, Verdict) and outcome.finding.kind == "fail"):
            yield outcome
    result: ChargingResult = ctx.results["charging"]
    if result.start_soc >= result.target_soc:
        yield _no_higher(ctx)
    for pointer, stalls in _stalls(result).items():
        yield _stalled_together(ctx, result, pointer, stalls)


def _no_higher(ctx: Context) -> Outcome:
    return ctx.finding("fail", f"{CHARGING}/target", "the target is no higher than the pack's least charge")


class _Stall(NamedTuple):
    """A session that ends short of the target, and where."""

    name: str
    session: SessionFigures

    def words(self) -> str:
        one = self.session
        return f"{self.name} with cells {one.name} ({one.temperature_c:.0f} °C)"


def _begun(sessions: tuple[SessionFigures, ...]) -> list[SessionFigures]:
    """The sessions that count; those that no row of the table lets begin only where none begins."""
    # A row of no current bounds the table as its edge does, so long as charging starts at all somewhere.
    return [one for one in sessions if one.allowed] or list(sessions)


def _stalls(result: ChargingResult) -> dict[str, list[_Stall]]:
    """Sessions that end short of the target by the place of their cause: a supply that is too weak, else the target."""
    found: dict[str, list[_Stall]] = {}
    every = [(f"{SUPPLIES}/{name}", name, supply.sessions) for name, supply in result.supplies.items()]
    if result.fast is not None:
        every.append((FAST, result.fast.inlet, result.fast.sessions))
    for pointer, name, sessions in every:
        for one in _begun(sessions):
            if not one.reached and one.end_soc < result.target_soc:
                at = pointer if one.ended_by == "power" else f"{CHARGING}/target"
                found.setdefault(at, []).append(_Stall(name, one))
    return found


def _stalled_together(ctx: Context, result: ChargingResult, pointer: str, stalls: list[_Stall]) -> Outcome:
    """The worst by name, the others with their ends beside it."""
    worst, *others = sorted(stalls, key=lambda stall: stall.session.end_soc)
    # Rounded down: what is short of the target never reads as the target.
    also = ", ".join(f"{stall.words()} {math.floor(1e3 * stall.session.end_soc) / 10:g} %" for stall in others)
    number = "1 more session ends" if len(others) == 1 else f"{len(others)} more sessions end"
    more = f"; {number} short of it as well" if others else ""
    return ctx.compare(
        pointer,
        "least charge at the end of a session",
        100.0 * worst.session.end_soc,
        "%",
        ">=",
        100.0 * result.target_soc,
        "DESIGN#charging target",
        subject=f"charging at {worst.words()}",
        bad=_stalled(worst.session) + more,
        good="reaches the target",
        note=f"the others: {also}" if also else "",
        related=((f"{CHARGING}/target", "the target"),) if pointer != f"{CHARGING}/target" else (),
        ways_out=_lower_target(result),
    )


def _ends(
    ctx: Context, result: ChargingResult, pointer: str, name: str, sessions: tuple[SessionFigures, ...]
) -> Iterator[Outcome]:
    """End of each session against the target."""
    if result.start_soc >= result.target_soc:
        yield _no_higher(ctx)
    elif not sessions:
        yield ctx.open([Missing(pointer, f"a session at {name}")])
    for one in _begun(sessions):
        yield ctx.compare(
            pointer,
            f"charge at the end, cells {one.name} ({one.temperature_c:.0f} °C)",
            100.0 * result.target_soc if one.reached else 100.0 * one.end_soc,
            "%",
            ">=",
            100.0 * result.target_soc,
            "DESIGN#charging target",
            subject=f"charging at {_Stall(name, one).words()}",
            bad=_stalled(one),
            good="reaches the target",
            related=((f"{CHARGING}/target", "the target"),),
        )


def _lower_target(result: ChargingResult) -> Callable[[], Iterable[WayOut]]:
    """The highest whole percent that every session which begins comes to."""

    def ways() -> Iterable[WayOut]:
        every = [f.sessions for f in (*result.supplies.values(), result.fast) if f is not None]
        ends = [s.end_soc for some in every for s in some if s.end_soc > result.start_soc]
        percent = math.floor(100.0 * min(ends, default=0.0))
        if percent > 100.0 * result.start_soc:
            yield WayOut(f"end at {percent} %", (Edit(HV_FILE, "charging/target", f"{percent} %"),))

    return ways


def _stalled(one: SessionFigures) -> str:
    why = {
        "temperature": "never starts towards the target: the table allows no current there",
        "current": "stops short of the target where the table allows less than the current at which charging ends",
        "power": "stops short of the target: too little power is left for the pack",
        "voltage": "stops short of the target: at the charging voltage the current falls to where charging ends",
    }
    return why.get(one.ended_by, "")


@rule(
    "HV268",
    "charging-power",
    "warning",
    needs=NEEDS,
    checks=(
        "At each supply, and at the least current a pilot offers, the 12 V side leaves power for the pack; and no "
        "supply brings more into the bus than the case charge counts with."
    ),
    why=(
        "Where pumps and control units take all the charger gives, the pack empties while the car seems to charge; and "
        "cables judged for less than the charger gives are not judged."
    ),
    sources=("CLOSED-FORM#energy balance of the charger", "IEC-61851-1#duty cycle to current", "DESIGN#case charge"),
    failing=(*WITH_AC, (HV_FILE, "charging/low_voltage_draw", "1.1 kW")),
    passing=WITH_AC,
)
@of_charging("low_voltage_draw", "low_power", "efficiency", "rated_power", "input", "inlet", "voltage", "pilot_duty",
             "proximity")  # fmt: skip
def charging_power_left(ctx: Context, result: ChargingResult) -> Iterable[Outcome]:
    """Power left at the drawn current and at 6 A, the 12 V side through its converter."""
    for name, supply in result.supplies.items():
        floor = [] if math.isnan(supply.offered_a[1]) else [(supply.floor_pack_w, f"{LEAST_CURRENT_A:.0f} A")]
        for left_w, at in [(supply.pack_w, "drawn current"), *floor]:
            yield ctx.compare(
                f"{SUPPLIES}/{name}",
                f"power left for the pack at {at}",
                left_w,
                "W",
                ">",
                0.0,
                "CLOSED-FORM#energy balance of the charger",
                subject=f"at {name} the charger",
                bad=f"gives less than the 12 V side takes at {at}",
                good=f"gives more than the 12 V side takes at {at}",
                related=((f"{CHARGING}/low_voltage_draw", "power of the 12 V side"),),
            )
        yield _counted_with(ctx, result, supply)


def _counted_with(ctx: Context, result: ChargingResult, supply: SupplyFigures) -> Outcome:
    """What the charger gives against the power that every other study of charging currents takes it to give."""
    part: Any = ctx.design.high_voltage.parts[result.charger]
    pointer, given = f"{PARTS}/{result.charger}/power", part.power.get("charge")
    if given is None or not any("charge" in mode.high_voltage for mode in ctx.design.vehicle.modes.values()):
        where = f"{pointer}/charge" if given is None else "vehicle/modes"
        return ctx.open([Missing(where, f"case charge: power of {result.charger}, and a mode that uses it")])
    return ctx.compare(
        f"{pointer}/charge",
        f"power into the bus at {supply.supply}",
        # To the watt: a rated power goes there and back through the charger's loss.
        supply.bus_most_w if math.isnan(supply.bus_most_w) else float(round(supply.bus_most_w)),
        "W",
        "<=",
        given.high,
        "DESIGN#case charge",
        basis=given.basis,
        subject=result.charger,
        bad=f"gives more at {supply.supply} than case charge counts with",
        good=f"gives no more at {supply.supply} than case charge counts with",
        ways_out=lambda: [
            WayOut(
                f"count with {supply.bus_most_w:.0f} W in case charge",
                (Edit(HV_FILE, f"parts/{result.charger}/power/charge", f"{math.ceil(supply.bus_most_w)} W"),),
            )
        ],
    )


@rule(
    "HV269",
    "charging-opens-dead",
    "error",
    needs=(*NEEDS, "discharge"),
    limit="charge_opening_s",
    checks=(
        "When the shutdown circuit opens while charging, the charger stops and its terminals are at 60 V in time; "
        "where the rules ask for it, only a reset by hand allows charging again."
    ),
    why="The contactors part the pack, not the charger: until it stops, the bus stays live from the supply.",
    sources=("FSAE-2026#EV.8.4.2", "IEC-60204-1#6.2.4"),
    failing=(*WITH_AC, (HV_FILE, "charging/on_opening/off_after", "6 s")),
    passing=WITH_AC,
    waivable=False,
)
@of_charging("output_capacitance", "charge_voltage")
def charging_opens_dead(ctx: Context, result: ChargingResult) -> Iterable[Outcome]:
    """The declared stop of the charger, then the discharge: by the bus's resistor, or by the charger's own."""
    section: Any = ctx.design.high_voltage.charging
    if section.on_opening is None:
        yield ctx.open([Missing(f"{CHARGING}/on_opening", "what opening the shutdown circuit does to the charger")])
        return
    limit, by_hand = ctx.limit(), ctx.limit_if_set("charge_reset_by_hand")
    seconds, words = result.own_discharge_s, "by the charger's own resistance"
    if result.on_discharged_bus:
        bus = ctx.results["discharge"]
        if not bus.cases:
            yield ctx.open(bus.missing or [Missing("studies/discharge", "how long the bus takes to 60 V")])
            return
        seconds = math.inf if math.isnan(bus.slowest_active_s) else bus.slowest_active_s
        words = "by the resistor of the bus, its slowest opening order"
        if seconds > limit.value:
            # Then HV150 fails for the bus itself; here the charger's own part is left to judge.
            seconds, words = 0.0, "left out: the bus by itself takes too long"
    if math.isnan(seconds):
        yield ctx.open(
            [Missing(sheet_pointer(ctx, result.charger, "output_capacitance"), "capacitance of the charger")]
        )
    else:
        off = section.on_opening.off_after
        yield ctx.compare(
            f"{CHARGING}/on_opening",
            "time from opening to 60 V at the charger",
            (off.low + seconds, off.high + seconds),
            "s",
            "<=",
            limit.value,
            limit.source,
            basis=off.basis,
            subject=result.charger,
            bad="is still live when the time allowed is over",
            good="is dead in time when the shutdown circuit opens",
            note=f"the stop of the charger as declared; the discharge after it {words}",
        )
    if by_hand is not None:
        manual = section.on_opening.reset == "manual"
        yield ctx.finding(
            "pass" if manual else "fail",
            f"{CHARGING}/on_opening/reset",
            "charging is allowed again only by hand" if manual else "charging starts again by itself after an opening",
            counted("reset by hand", int(manual), ">=", 1, by_hand.source),
        )
