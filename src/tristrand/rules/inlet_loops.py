"""HV310: a direct-current supply is a source as well: what drops the contactors parts it from the bus too."""

from collections.abc import Iterable

from tristrand.rules.charging_view import WITH_DC
from tristrand.rules.loops import DEVICES, LOOPS, loops_of, no_loops, opening_all
from tristrand.rules.rule import Context, NotApplicable, Outcome, rule
from tristrand.rules.view import HV_FILE, circuit_of, counted, path_ids
from tristrand.studies.circuits import HvCircuit
from tristrand.studies.topology import Edge, edges, joined

PARTS_IT = "PRACTICE#a loop parts a direct-current supply too"


@rule(
    "HV310",
    "loop-parts-the-supply",
    "error",
    checks=(
        "Every interlock and shutdown loop also opens all that joins an inlet for direct current to the devices, in "
        "both poles."
    ),
    why=(
        "While it charges, the station holds the bus live however dead the pack is: a stop button that leaves the "
        "inlet's contactors closed, or a plug pulled then, bares its full voltage."
    ),
    sources=(PARTS_IT,),
    failing=(*WITH_DC, (HV_FILE, "loops/shutdown/opens", "[k_plus, k_minus, k_pre]")),
    passing=WITH_DC,
    waivable=False,
)
def loop_parts_the_supply(ctx: Context) -> Iterable[Outcome]:
    """All other contactors taken as closed: that the station is told to stop by a message is no opening."""
    inlets = ctx.design.parts_of("inlet")
    if not inlets:
        yield NotApplicable("the vehicle has no inlet for direct current")
        return
    loops = loops_of(ctx, "interlock", "shutdown")
    if not loops:
        yield no_loops(ctx, "an interlock or shutdown loop that opens the contactors of the inlet")
    devices = [f"{name}.{end}" for kind in DEVICES for name in ctx.design.parts_of(kind) for end in ("plus", "minus")]
    for name, loop in loops.items():
        left = _left(circuit_of(ctx), loop.opens)
        poles = [f"{inlet}.{end}" for inlet in inlets for end in ("plus", "minus")]
        reaching = [pole for pole in poles if any(joined(left, pole, device) for device in devices)]
        words = f"loop {name} parts {' and '.join(inlets)} from the devices in both poles"
        if reaching:
            words = f"loop {name} leaves {', '.join(reaching)} joined to the devices: a supply there keeps the bus live"
        yield ctx.finding(
            "fail" if reaching else "pass",
            f"{LOOPS}/{name}",
            words,
            counted("contacts of an inlet that still reach a device", len(reaching), "<=", 0, PARTS_IT),
            related=((f"{LOOPS}/{name}/opens", "opens"),),
            ways_out=opening_all(ctx, name),
        )


def _left(circuit: HvCircuit, opens: Iterable[str]) -> list[Edge]:
    """What still conducts; a contactor that rests closed stays so, a precharge resistor passes the whole voltage."""
    opened = tuple(c.id for c in circuit.contacts if c.id in set(opens) and not c.rests_closed)
    resistors = {r.id for r in circuit.resistors if r.role == "precharge"}
    return [*path_ids(circuit, without=opened), *(e for e in edges(circuit) if e.id in resistors)]
