"""HV011 and HV012: poles wired the wrong way round, and poles joined without a load."""

from __future__ import annotations

from collections.abc import Iterable

from tristrand.rules.rule import Context, NotApplicable, Outcome, rule
from tristrand.rules.view import HV_FILE, PARTS, circuit_of, counted
from tristrand.studies.topology import feeds, islands, shorts


@rule(
    "HV011",
    "device-polarity",
    "error",
    checks=(
        "With fuses in and main contactors closed, every device lies with its plus pole on the plus end of a pack, or "
        "of packs in series, and with its minus pole on the minus end."
    ),
    why="A device wired the wrong way round shorts the pack through its diodes; one without a pole is dead in the car.",
    sources=("DESIGN#topology",),
    failing=(
        (HV_FILE, "connections/W13/to", "dcdc.minus"),
        (HV_FILE, "connections/W14/to", "dcdc.plus"),
    ),
    waivable=False,
)
def device_polarity(ctx: Context) -> Iterable[Outcome]:
    """Without this the studies would leave a device that no pack feeds out of their circuits and say nothing."""
    circuit = circuit_of(ctx)
    if not circuit.devices:
        yield NotApplicable("there is no device on the bus")
    lost = {name for group in islands(circuit) for name in group}
    words = {
        "right": "lies with plus and minus on the ends of {packs}",
        "swapped": "is wired the wrong way round: its plus lies on the minus end of {packs}",
        "none": "hangs loose: no pack feeds it at both poles",
    }
    for name, feed in feeds(circuit).items():
        if name in lost:
            continue
        good = feed.way == "right"
        evidence = counted("poles on the wrong end, or on none", 0 if good else 1, "<=", 0, "DESIGN#topology")
        text = words[feed.way].format(packs=" and ".join(feed.packs))
        yield ctx.finding("pass" if good else "fail", f"{PARTS}/{name}", f"{name} {text}", evidence)


@rule(
    "HV012",
    "dead-short",
    "error",
    checks=(
        "Nothing but a load joins the two poles of a pack, or top and bottom of packs in series: no way of cables, "
        "fuses and contactors leads round."
    ),
    why="The first contactor that closes onto it welds, or the main fuse opens with an arc beside whoever is there.",
    sources=("DESIGN#topology",),
    failing=((HV_FILE, "connections/W10/to", "drive.minus"),),
    waivable=False,
)
def dead_short(ctx: Context) -> Iterable[Outcome]:
    """Loops from pole to pole through leads, fuses, disconnects and contactors, whatever their state.

    Other packs on the loop count where each adds to the voltage that drives it: packs in series with their ends joined,
    or packs side by side with one turned round. Packs side by side with like poles joined are no short.
    """
    circuit = circuit_of(ctx)
    found = shorts(circuit)
    for pack in circuit.packs:
        packs, loop = found.get(pack.id, ((), ()))
        evidence = counted("connections and parts on the short", len(loop), "<=", 0, "DESIGN#topology")
        if len(packs) > 1:
            names = f"{', '.join(packs[:-1])} and {packs[-1]}"
            words = f"{names} drive current round one loop without a load, through {', '.join(loop)}"
        elif packs:
            words = f"the poles of {pack.id} are joined without a load, through {', '.join(loop)}"
        else:
            words = f"nothing but loads joins the poles of {pack.id}"
        yield ctx.finding("fail" if packs else "pass", f"{PARTS}/{pack.id}", words, evidence)
    if not circuit.packs:
        yield NotApplicable("there is no pack")
