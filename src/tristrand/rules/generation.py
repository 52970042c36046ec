"""HV288 to HV293 and HV295: the voltage of a machine that turns while nothing controls it."""

import math
from collections.abc import Callable, Iterable
from functools import wraps
from typing import Any

from tristrand.findings import Edit, Evidence, WayOut
from tristrand.rules.rule import Check, Context, NotApplicable, Outcome, rule
from tristrand.rules.view import HV_FILE, PARTS, other_sheets, sheet_pointer
from tristrand.studies.results import GenerationResult, MachineFigures, Missing

NEEDS = ("pack", "operating", "discharge", "generation")
EMF = "CLOSED-FORM#EMF of a sinusoidal three-phase machine"
GATES_OFF = "contactors closed, gates off; the current is not computed"
BELOW_ONSET = "GENERATION-PAPER-1999#generation below the onset speed"
LINE = "vehicle/drive_line"
KMH = 3.6
RPM = 30.0 / math.pi
SAFE_V = 60.0

OnMachine = Callable[[Context, MachineFigures], Iterable[Outcome]]


def for_machines(*needs: str, magnets: bool = True, shorted: bool = False) -> Callable[[OnMachine], Check]:
    """A rule on every machine, or on those with ``magnets``: open while one of the data that it ``needs`` is missing.

    ``shorted``: the rule looks at the bus alone, so it does not apply where the inverter shorts its machine by itself.
    """

    def wrap(check: OnMachine) -> Check:
        @wraps(check)
        def on(ctx: Context) -> Iterable[Outcome]:
            result: GenerationResult = ctx.results["generation"]
            if not result.machines:
                yield ctx.open(result.missing) if result.missing else NotApplicable("there is no inverter")
            for figures in result.machines.values():
                gaps = [gap for need, gap in figures.gaps if need == "machine" or need in needs]
                if magnets and figures.magnets is False:
                    yield NotApplicable(
                        f"the machine of {figures.inverter} holds no magnets; whether it may keep itself excited from "
                        "the capacitors of the bus is not judged"
                    )
                elif gaps:
                    yield ctx.open(gaps)
                elif shorted and shorts_itself(ctx, figures.inverter):
                    yield NotApplicable(
                        f"{figures.inverter} shorts its machine when the contactors open, also without 12 V: "
                        "HV294 judges the current, nothing here a failure of the short"
                    )
                else:
                    yield from check(ctx, figures)

        return on

    return wrap


def shorts_itself(ctx: Context, inverter: str) -> bool:
    """Whether the inverter shorts its machine when the contactors open, whatever becomes of the 12 V circuit."""
    sheet = ctx.design.sheet_of(inverter)
    return sheet.when_contactors_open == "active_short" and sheet.active_short_needs_12_v is False


def where(figures: MachineFigures) -> str:
    """At which speed the machine makes its highest voltage."""
    if figures.fastest_on_road:
        return f"at {figures.road_m_per_s * KMH:.0f} km/h"
    return f"at {figures.fastest_rad_per_s * RPM:.0f} rpm with the wheels in the air"


def slower(figures: MachineFigures, volts: float) -> Iterable[WayOut]:
    """The way out by a speed limit of the inverter, where the road itself turns the machine slowly enough."""
    most = math.floor(figures.fastest_rad_per_s * volts / figures.fastest_v * RPM / 50) * 50
    if not figures.fastest_on_road and most >= figures.road_rad_per_s * RPM:
        text = f"limit the machine of {figures.inverter} to {most} rpm in the inverter"
        yield WayOut(text, (Edit(HV_FILE, f"parts/{figures.inverter}/speed_limit", f"{most} rpm"),))


@rule(
    "HV288",
    "emf-above-bus-withstand",
    "error",
    needs=NEEDS,
    checks=(
        "With all contactors open the peak voltage of a machine at its highest speed, magnets cold, stays below what "
        "the inverter and everything else on its bus stands."
    ),
    why=(
        "When the contactors open at speed nothing holds the bus down: it charges to the machine's peak voltage, and "
        "capacitors and switches fail short with all the energy of the moving car behind them."
    ),
    sources=(EMF, "DATASHEET#bus voltage withstand", "DATASHEET#rated voltage"),
    failing=(
        ("parts/inverter-60.yaml", "bus_voltage_withstand", "430 V"),
        ("parts/machine-60.yaml", "back_emf/value", "42 V"),
    ),
    waivable=False,
)
@for_machines("emf", "spin", "road", shorted=True)
def emf_above_bus_withstand(ctx: Context, figures: MachineFigures) -> Iterable[Outcome]:
    """Highest of road speed and shaft speed limit; an active short counts only where it needs no 12 V."""
    ends_with_12_v = ctx.design.sheet_of(figures.inverter).when_contactors_open == "active_short"
    note = "its active short ends with the 12 V, whose loss opens the contactors too" if ends_with_12_v else ""
    for item in figures.bus:
        if math.isnan(item.stands_v):
            yield ctx.open([Missing(item.pointer, f"voltage that {item.name} stands")])
            continue
        name = f"cable {item.name}" if item.where else item.name
        yield ctx.compare(
            item.pointer if item.where else f"{PARTS}/{item.name}",
            f"peak voltage of the machine of {figures.inverter}",
            figures.fastest_v,
            "V",
            "<=",
            item.stands_v,
            "DATASHEET#bus voltage withstand" if item.name == figures.inverter else "DATASHEET#rated voltage",
            subject=name,
            bad=f"does not stand what the machine of {figures.inverter} charges the bus to {where(figures)}",
            good=f"stands what the machine of {figures.inverter} charges the bus to",
            related=((item.pointer, "what it stands"), (f"{PARTS}/{figures.inverter}", "whose machine it is")),
            ways_out=_stands(ctx, figures, item.name, item.pointer.rpartition("/")[2], item.stands_v),
            note=note,
        )


def _stands(
    ctx: Context, figures: MachineFigures, name: str, field: str, volts: float
) -> Callable[[], Iterable[WayOut]]:
    def ways() -> Iterable[WayOut]:
        yield from slower(figures, volts)
        if name in ctx.design.high_voltage.parts and field != "voltage":
            yield from other_sheets(ctx, name, field, figures.fastest_v)

    return ways


@rule(
    "HV289",
    "uncontrolled-overcharge",
    "error",
    needs=NEEDS,
    checks="The peak voltage of a machine at its highest speed stays below the highest voltage of the packs it is on.",
    why=(
        "An inverter that trips at speed passes the machine's voltage on to the pack: above the full pack's voltage it "
        "overcharges cells until the contactors open under that current, and then the bus jumps higher still."
    ),
    sources=(EMF, "CLOSED-FORM#peak line voltage against the bus through two diodes"),
    failing=(("parts/machine-60.yaml", "back_emf/value", "36 V"),),
)
@for_machines("emf", "spin", "road", "pack")
def uncontrolled_overcharge(ctx: Context, figures: MachineFigures) -> Iterable[Outcome]:
    """Every cell at its maximum; gates off, whatever the inverter does when contactors open."""
    bad = f"charges even a full pack {where(figures)} as soon as the inverter trips"
    yield _below_pack(ctx, figures, figures.highest_v, bad, "never reaches the voltage of a full pack", GATES_OFF)


def _below_pack(ctx: Context, figures: MachineFigures, pack_v: float, bad: str, good: str, note: str) -> Outcome:
    """A machine's peak voltage at its highest speed against a voltage of the pack."""
    return ctx.compare(
        f"{PARTS}/{figures.inverter}",
        "peak voltage of its machine",
        figures.fastest_v,
        "V",
        "<=",
        pack_v,
        EMF,
        subject=f"the machine of {figures.inverter}",
        bad=bad,
        good=good,
        related=((f"parts/{figures.machine}/back_emf", "its back-EMF"),),
        ways_out=lambda: slower(figures, pack_v),
        note=note,
    )


@rule(
    "HV290",
    "uncontrolled-charging",
    "warning",
    needs=NEEDS,
    checks=(
        "The peak voltage of a machine at its highest speed stays below that of the emptiest pack at rest, under load "
        "where other inverters go on drawing from it."
    ),
    why=(
        "Above it a tripped inverter brakes the car and charges the pack with a current that nobody controls, and "
        "whether slowing down ends it depends on the machine."
    ),
    sources=(EMF, "CLOSED-FORM#peak line voltage against the bus through two diodes", BELOW_ONSET),
    failing=(("parts/machine-60.yaml", "back_emf/value", "30 V"),),
)
@for_machines("emf", "spin", "road", "pack")
def uncontrolled_charging(ctx: Context, figures: MachineFigures) -> Iterable[Outcome]:
    """Voltage at the least charge; where even a full pack would be charged HV289 speaks."""
    if figures.fastest_v > figures.highest_v:
        yield NotApplicable(f"the machine of {figures.inverter} charges even a full pack: see HV289")
        return
    note = GATES_OFF
    if figures.salient is not False:
        note += "; unless its inductances are alike it may go on generating below this once current flows (from memory)"
    pack = "with the pack empty" + (" and others drawing from it" if figures.loaded else "")
    speed = figures.onset_low_m_per_s * KMH
    bad = f"generates by itself above {speed:.0f} km/h once the inverter trips, {pack}"
    yield _below_pack(ctx, figures, figures.lowest_v, bad, "never generates by itself into the pack", note)


@rule(
    "HV291",
    "towing-live-bus",
    "error",
    needs=NEEDS,
    checks="At the fastest speed at which the vehicle may be towed no machine makes more than 60 V.",
    why=(
        "Towed on its driven wheels a machine with magnets makes the bus live though the ignition is off and every "
        "contactor open, and no discharge helps while it turns."
    ),
    sources=(EMF, "IEC-60204-1#6.2.4"),
    failing=(("vehicle.yaml", "drive_line/towed_speed", "50 km/h"),),
)
@for_machines("emf", "road", "spin", "towed")
def towing_live_bus(ctx: Context, figures: MachineFigures) -> Iterable[Outcome]:
    """Whatever the inverter does: a short that feeds itself from the bus lets the bus rise first."""
    most = math.floor(figures.live_m_per_s * KMH)

    def ways() -> Iterable[WayOut]:
        pointer = "drive_line/towed_speed"
        if most >= 1:
            yield WayOut(f"let it be towed at up to {most} km/h only", (Edit("vehicle.yaml", pointer, f"{most} km/h"),))
        yield WayOut("let it be carried on a trailer only", (Edit("vehicle.yaml", pointer, "0 km/h"),))

    yield ctx.compare(
        f"{LINE}/towed_speed",
        f"peak voltage of the machine of {figures.inverter}, towed",
        figures.towed_v,
        "V",
        "<=",
        SAFE_V,
        "IEC-60204-1#6.2.4",
        subject=f"the bus of {figures.inverter}",
        bad=f"is live when towed at {figures.towed_m_per_s * KMH:.0f} km/h: over 60 V from {most} km/h on",
        good="stays below 60 V when towed",
        related=((f"{PARTS}/{figures.inverter}", "whose machine it is"),),
        ways_out=ways,
    )


@rule(
    "HV292",
    "machine-overspeed",
    "error",
    needs=NEEDS,
    checks="Neither the fastest road speed nor the inverter's speed limit turns a machine faster than its maximum.",
    why="Above its maximum speed a rotor throws off its magnets or bursts, and the voltage rises with it.",
    sources=("CLOSED-FORM#rolling without slip", "DATASHEET#maximum speed"),
    failing=(("vehicle.yaml", "drive_line/downhill_speed", "135 km/h"),),
)
@for_machines("road", "spin", magnets=False)
def machine_overspeed(ctx: Context, figures: MachineFigures) -> Iterable[Outcome]:
    """Smallest tyre radius, downhill where that is faster."""
    most = ctx.design.sheets[figures.machine].maximum_speed
    pointer = f"parts/{figures.machine}/maximum_speed"
    if most is None:
        yield ctx.open([Missing(pointer, f"highest shaft speed of the machine of {figures.inverter}")])
        return
    cases = [(f"at {figures.road_m_per_s * KMH:.0f} km/h", figures.road_rad_per_s)]
    part: Any = ctx.design.high_voltage.parts[figures.inverter]
    if part.speed_limit is None:
        # On ice, or with the wheels in the air, the road no longer holds the machine back.
        limit = f"speed to which {figures.inverter} limits its machine"
        yield ctx.open([Missing(f"{PARTS}/{figures.inverter}/speed_limit", limit)])
    else:
        cases.append(("at the inverter's speed limit", figures.spin_rad_per_s))
    for what, shaft in cases:
        yield ctx.compare(
            f"{PARTS}/{figures.inverter}",
            f"shaft speed {what}",
            shaft * RPM,
            "rpm",
            "<=",
            most.low * RPM,
            "DATASHEET#maximum speed",
            basis=most.basis,
            subject=f"the machine of {figures.inverter}",
            bad=f"turns too fast {what}",
            good=f"stays below its maximum speed {what}",
            related=((pointer, "its maximum"),),
        )


def _limit(ctx: Context) -> tuple[float, str] | None:
    """The stricter of the rule sets' and the owner's time to 60 V."""
    limit, own = ctx.limit_if_set("discharge_time_s"), ctx.design.high_voltage.discharge.within
    found = [(limit.value, limit.source)] if limit is not None else []
    found += [(own.value, "DESIGN#discharge within")] if own is not None else []
    return min(found, key=lambda pair: pair[0]) if found else None


@rule(
    "HV293",
    "turning-machine-holds-bus",
    "error",
    needs=NEEDS,
    limit="discharge_time_s",
    checks=(
        "When the contactors open at the fastest road speed and the brakes go on hard, the turning machine does not "
        "hold the bus over 60 V for longer than the discharge may last. A short counts only where it holds at 60 V."
    ),
    why=(
        "The discharge is timed for a bus that nothing feeds: a machine that turns charges it again, for as long as "
        "the wheels turn. Without brakes that has no end."
    ),
    sources=(EMF, "FSAE-2026#EV.7.2.2c", "IEC-60204-1#6.2.4"),
    failing=(("vehicle.yaml", "drive_line/braking_time", "9 s"),),
    waivable=False,
)
@for_machines("emf", "road", "spin", "brakes", "discharge")
def turning_machine_holds_bus(ctx: Context, figures: MachineFigures) -> Iterable[Outcome]:
    """EMF falling in a straight line to rest, then the discharge; at rest HV150 judges it."""
    limit = _limit(ctx)
    if limit is None:
        yield ctx.no_limit()
        return
    if shorts_itself(ctx, figures.inverter):
        # Fed from the bus it lets go as the bus falls, and the machine lifts the bus again.
        least = ctx.design.sheet_of(figures.inverter).active_short_least_bus
        if least is None:
            at = sheet_pointer(ctx, figures.inverter, "active_short_least_bus")
            yield ctx.open([Missing(at, f"bus voltage below which the short of {figures.inverter} lets go")])
            return
        if least.high <= SAFE_V:
            yield NotApplicable(
                f"{figures.inverter} shorts its machine down to {least.text} on the bus, also without 12 V"
            )
            return
    pointer = f"{PARTS}/{figures.inverter}"
    live, fast = (f"{speed * KMH:.0f} km/h" for speed in (figures.live_m_per_s, figures.road_m_per_s))
    if figures.held_s <= figures.discharge_s:
        evidence = Evidence("time to 60 V with the brakes on hard", figures.held_s, "s", "<=", figures.discharge_s, EMF)
        words = (
            f"the machine of {figures.inverter} holds the bus up no longer than its capacitors do at rest: see HV150"
        )
        yield ctx.finding("pass", pointer, words, evidence)
        return
    yield ctx.compare(
        pointer,
        "time to 60 V with the brakes on hard",
        figures.held_s,
        "s",
        "<=",
        limit[0],
        limit[1],
        subject=f"the machine of {figures.inverter}",
        bad=f"holds the bus over 60 V until the car is slower than {live}, which braking reaches too late",
        good="lets the bus go dead in time if the brakes stop the car",
        related=((f"{LINE}/braking_time", "braking"),),
        note=f"from {fast}; rolling on without brakes the bus stays live above {live}",
    )


@rule(
    "HV295",
    "system-voltage-at-speed",
    "error",
    needs=NEEDS,
    limit="system_voltage_v",
    checks="Driven at its highest speed no machine lifts the bus above the voltage that the rule sets in force allow.",
    why="The limit holds between any two points at any time, also for the voltage that a machine makes by itself.",
    sources=("FSAE-2026#EV.3.3.2", "UN-R100#2", EMF),
    failing=(("vehicle.yaml", "rule_sets", "[fsae-2026]"), ("parts/machine-60.yaml", "back_emf/value", "68 V")),
    waivable=False,
)
@for_machines("emf", "spin", "road", shorted=True)
def system_voltage_at_speed(ctx: Context, figures: MachineFigures) -> Iterable[Outcome]:
    """Peak between two phases, magnets cold, gates off; braking and charging are not looked at."""
    limit = ctx.limit()
    yield ctx.compare(
        f"{PARTS}/{figures.inverter}",
        "peak voltage of its machine",
        figures.fastest_v,
        "V",
        "<=",
        limit.value,
        limit.source,
        subject=f"the machine of {figures.inverter}",
        bad=f"lifts the bus above the voltage that the rules allow {where(figures)}",
        good="keeps the bus within the voltage that the rules allow",
        related=((f"parts/{figures.machine}/back_emf", "its back-EMF"),),
        ways_out=lambda: slower(figures, limit.value),
    )
