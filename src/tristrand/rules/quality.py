"""HV19x: how far the data carry the verdicts."""

from __future__ import annotations

from collections.abc import Iterable

from tristrand.findings import Evidence
from tristrand.rules.rule import Context, NotApplicable, Outcome, rule
from tristrand.rules.view import PARTS


@rule(
    "HV190",
    "pack-table-left",
    "warning",
    needs=("pack",),
    checks="The pack's range of charge and temperature lies inside the tables of its cells.",
    why="Outside its table a cell's resistance is a guess, and in the cold it is always the wrong way.",
    sources=("DATASHEET#cell tables",),
    failing=(("high_voltage.yaml", "parts/pack/temperature/minimum", "-20 °C"),),
)
def pack_table_left(ctx: Context) -> Iterable[Outcome]:
    """Corners whose table look-up was held at the table's edge."""
    result = ctx.results["pack"]
    if not result.packs:
        yield ctx.open(result.missing)
        return
    for figures in result.packs.values():
        outside = [c.name for c in figures.corners if c.outside_table]
        evidence = Evidence(
            "corners outside the cell's tables", float(len(outside)), "", "<=", 0.0, "DATASHEET#cell tables"
        )
        words = (
            f"is used outside its cells' tables ({', '.join(outside)}): the edge of the table was taken"
            if outside
            else "is used inside its cells' tables"
        )
        yield ctx.finding("fail" if outside else "pass", f"{PARTS}/{figures.pack}", f"{figures.pack} {words}", evidence)


@rule(
    "HV191",
    "values-assumed",
    "note",
    checks="Data sheets hold no values that are only assumed or estimated.",
    why=(
        "A verdict is as good as the numbers under it: what is assumed must be measured or looked up before the "
        "car is built."
    ),
    sources=("DESIGN#basis of values",),
    failing=(),
    passing=tuple(
        (f"parts/{name}.yaml", "basis", "datasheet")
        for name in (
            "contactor-20",
            "contactor-200",
            "dcdc-1k2",
            "disconnect-200",
            "fuse-15",
            "fuse-160",
            "hv-16",
            "hv-35",
            "hv-4",
            "hv-50",
            "inverter-60",
            "pack-84s",
            "resistor-100r",
            "resistor-2k2",
        )
    ),
)
def values_assumed(ctx: Context) -> Iterable[Outcome]:
    """Sheets in use whose head, or any value, is assumed or estimated: to be reviewed."""
    used = {p.sheet for p in ctx.design.high_voltage.parts.values() if p.kind != "junction"}
    used |= {lead.cable for lead in ctx.design.high_voltage.connections.values() if lead.cable}
    weak = sorted(name for name in used if ctx.design.sheets[name].basis in ("assumed", "estimated"))
    if not used:
        yield NotApplicable("no data sheet is used")
        return
    evidence = Evidence(
        "sheets that rest on assumed or estimated values",
        float(len(weak)),
        "",
        "<=",
        0.0,
        "DESIGN#basis of values",
    )
    if weak:
        shown = ", ".join(weak[:4]) + (f" and {len(weak) - 4} more" if len(weak) > 4 else "")
        yield ctx.finding(
            "review",
            f"parts/{weak[0]}/basis",
            f"{len(weak)} of {len(used)} data sheets rest on assumed or estimated values: {shown}",
            evidence,
        )
    else:
        yield ctx.finding("pass", PARTS, "no data sheet in use rests on assumed or estimated values", evidence)
