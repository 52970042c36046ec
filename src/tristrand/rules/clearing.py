"""HV209: for what voltage and inductance the clearing I²t of a fuse holds; where it does not, nothing rests on it."""

from collections.abc import Iterable

from tristrand.design import Datum
from tristrand.rules.rule import Context, NotApplicable, Outcome, rule
from tristrand.rules.view import PARTS, better, highest_v, sheet_pointer
from tristrand.studies.results import Missing, ProtectionResult

PROTECTION = ("pack", "operating", "conductors", "faults", "protection")


def clearing_voltage(ctx: Context, fuse: str) -> tuple[Datum | None, str]:
    """The voltage up to which the clearing I²t of a fuse holds, and the field of its sheet that says so."""
    sheet = ctx.design.sheet_of(fuse)
    field = "clearing_voltage" if sheet.clearing_voltage is not None else "rated_voltage"
    return getattr(sheet, field), field


def clearing_unproven(ctx: Context, fuse: str) -> Missing | None:
    """What to say where the circuit has more voltage or inductance than the fuse's clearing I²t holds for.

    Where the sheet names no voltage or time constant, HV209 and HV202 are open.
    """
    volts, _ = clearing_voltage(ctx, fuse)
    constant: Datum | None = ctx.design.sheet_of(fuse).breaking_time_constant
    most_v, duty = highest_v(ctx), ctx.results["protection"].fuses.get(fuse)
    pointer = sheet_pointer(ctx, fuse, "clearing_joule_integral")
    if volts is not None and most_v is not None and most_v > volts.low:
        return Missing(pointer, f"clearing I²t of {fuse} at {most_v:.0f} V: its own holds up to {volts.low:g} V")
    if constant is not None and duty is not None and duty.rise_s > constant.low:
        own = f"its own holds up to {1e3 * constant.low:g} ms"
        return Missing(pointer, f"clearing I²t of {fuse} for L/R of {1e3 * duty.rise_s:.2g} ms: {own}")
    return None


@rule(
    "HV209",
    "fuse-clearing-voltage",
    "error",
    needs=PROTECTION,
    checks="The clearing I²t of every fuse was found at no less than the highest voltage of the packs.",
    why="More voltage feeds the arc longer: the fuse then lets through more than the sheet says, and parts burn.",
    sources=("FUSE-GUIDE#arcing grows with voltage and L/R", "DATASHEET#voltage of the clearing I2t"),
    failing=(("parts/fuse-160.yaml", "clearing_voltage", "250 V"),),
    waivable=False,
)
def fuse_clearing_voltage(ctx: Context) -> Iterable[Outcome]:
    """Every cell at its maximum; the voltage of the clearing I²t, else the rated voltage."""
    result: ProtectionResult = ctx.results["protection"]
    if not result.fuses:
        missing = result.missing
        yield ctx.open(missing) if missing else NotApplicable("no fuse lies in the way of a short circuit")
    most_v = highest_v(ctx)
    for name in result.fuses:
        volts, field = clearing_voltage(ctx, name)
        pointer = sheet_pointer(ctx, name, field)
        if volts is None or most_v is None:
            yield ctx.open([Missing(pointer, f"voltage for which the clearing I²t of {name} holds")])
            continue
        yield ctx.compare(
            f"{PARTS}/{name}",
            "highest voltage of the packs",
            most_v,
            "V",
            "<=",
            volts.low,
            "DATASHEET#voltage of the clearing I2t",
            basis=volts.basis,
            subject=name,
            bad="was not proven for this voltage: what it lets through is not known",
            good="has a clearing I²t that holds for this voltage",
            related=((pointer, "the voltage for which it holds"),),
            ways_out=better(ctx, name, field, most_v),
        )
