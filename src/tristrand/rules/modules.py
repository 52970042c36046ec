"""HV279 to HV281: what a person handles of a pack, and the links of cells in parallel."""

import math
from collections.abc import Iterable, Iterator

from tristrand.rules.monitor import CELLS, RACE, Watched, watched
from tristrand.rules.rule import Context, NotApplicable, Outcome, rule
from tristrand.rules.view import PARTS, counted
from tristrand.studies.results import Missing, Portion

FOURS = ", ".join(["4"] * 21)
IN_PARALLEL = (
    ("parts/pack-84s.yaml", "cells_in_parallel", "4"),
    ("parts/pack-84s.yaml", "cell_capacity", "18 Ah"),
    ("parts/pack-84s.yaml", "cell_fuse", "{rated_current: 130 A}"),
    ("high_voltage.yaml", "parts/pack/monitor/finds_open_link", "true"),
)


def _within(ctx: Context, pointer: str, subject: str, portion: Portion, gaps: list[Missing]) -> Iterator[Outcome]:
    """A module or piece against voltage, energy and mass."""
    for key, quantity, value, unit, bad in (
        ("module_voltage_v", "highest voltage", portion.volts, "V", "has more voltage than a person may handle"),
        ("module_energy_j", "energy", portion.energy_j / 1e6, "MJ", "holds more energy than a person may handle"),
        ("module_mass_kg", "mass", portion.mass_kg, "kg", "is heavier than a person may handle"),
    ):
        limit = ctx.limit_if_set(key)
        if limit is None:
            continue
        if math.isnan(value):
            if gaps:
                yield ctx.open(gaps)
            continue
        yield ctx.compare(
            pointer, quantity, value, unit, "<=", limit.value / (1e6 if unit == "MJ" else 1.0), limit.source,
            subject=subject, bad=bad, good=f"stays within the {quantity} that the rules allow",
            note="maximum voltage times rated capacity" if unit == "MJ" else "",
        )  # fmt: skip


SIZED = ("cells_in_series", "cells_in_parallel", "cell_voltage", "cell_capacity", "modules", "module_mass")


@rule(
    "HV279",
    "module-size",
    "error",
    needs=CELLS,
    limit="module_voltage_v",
    checks="The largest module stays within the voltage, energy and mass that the rule sets in force allow.",
    why="A module is carried by hand: what it holds is what a dropped spanner or a dropped module sets free.",
    sources=("FSAE-2026#EV.5.1.1", "FSAE-2026#EV.11.4.4"),
    failing=(RACE, ("parts/pack-84s.yaml", "modules", "12")),
    passing=(RACE,),
    waivable=False,
)
def module_size(ctx: Context) -> Iterable[Outcome]:
    """Cells in series over modules, rounded up. Energy is maximum voltage times rated capacity."""
    ctx.limit()
    for pack in watched(ctx):
        gaps = pack.gaps((), SIZED)
        if pack.figures.module is None:
            yield ctx.open(gaps)
            continue
        subject = f"the largest module of {pack.id} ({pack.figures.module.groups} cells in series)"
        yield from _within(ctx, pack.on_sheet("modules"), subject, pack.figures.module, gaps)


@rule(
    "HV280",
    "maintenance-plugs",
    "error",
    needs=CELLS,
    limit="module_voltage_v",
    checks=(
        "With the maintenance plugs out every piece of the pack stays within voltage, energy and mass that the rule "
        "sets in force allow, and is parted at both poles."
    ),
    why="Work on an open pack is only as safe as its largest piece: a piece still joined at one pole is no piece.",
    sources=("FSAE-2026#EV.5.3.1", "FSAE-2026#EV.5.1.1"),
    failing=(RACE, ("parts/pack-84s.yaml", "maintenance_plugs", "{pieces: [42, 42], both_poles: true}")),
    passing=(RACE, ("parts/pack-84s.yaml", "maintenance_plugs", f"{{pieces: [{FOURS}], both_poles: true}}")),
    waivable=False,
)
def maintenance_plugs(ctx: Context) -> Iterable[Outcome]:
    """The largest piece; its mass is that of its share of the modules."""
    ctx.limit()
    for pack in watched(ctx):
        gaps = pack.gaps((), (*SIZED, "maintenance_plugs"))
        plugs = pack.sheet.maintenance_plugs
        if plugs is None:
            yield ctx.open(gaps)
            continue
        at, largest = pack.on_sheet("maintenance_plugs"), max(pack.figures.pieces, key=lambda piece: piece.groups)
        subject = f"the largest piece of {pack.id} ({largest.groups} cells in series)"
        yield from _within(ctx, at, subject, largest, gaps)
        ok = plugs.both_poles
        yield ctx.finding(
            "pass" if ok else "fail",
            f"{at}/both_poles",
            f"the maintenance plugs of {pack.id} part {'both poles' if ok else 'only one pole'} of every piece",
            counted("poles parted", 2 if ok else 1, ">=", 2, "FSAE-2026#EV.5.3.1"),
        )


@rule(
    "HV281",
    "fusible-links",
    "error",
    needs=CELLS,
    limit="fusible_link_share",
    checks=(
        "The link of every cell in parallel carries the cell's sustained current. Where a rule set asks for it, links "
        "clear the pack's voltage and short circuit, or a fuse in series of at most a third of their sum does, and "
        "the monitor finds an open link."
    ),
    why="A link not rated for the voltage melts and goes on arcing; one lost unseen loads its neighbours until all go.",
    sources=("FSAE-2026#EV.6.6.5", "FSAE-2026#EV.6.6.7", "DATASHEET#rated current"),
    failing=(RACE, *IN_PARALLEL, ("parts/pack-84s.yaml", "cell_fuse/rated_current", "60 A")),
    passing=(RACE, *IN_PARALLEL),
    waivable=False,
)
def fusible_links(ctx: Context) -> Iterable[Outcome]:
    """Cells share the current evenly. A device inside the cell is judged as a link is."""
    asked = ctx.limit_if_set()
    for pack in watched(ctx):
        if pack.sheet.cells_in_parallel == 1:
            yield NotApplicable("no cells lie in parallel")
            continue
        gaps = pack.gaps((), ("cells_in_parallel",))
        link = pack.sheet.cell_fuse
        if gaps or link is None or link.rated_current is None:
            if asked is None and link is None and not gaps:
                yield NotApplicable("no rule set in force asks for links of cells in parallel, and none is described")
                continue
            field = "cell_fuse" if link is None else "cell_fuse/rated_current"
            if link is None or link.rated_current is None:
                gaps.append(Missing(pack.on_sheet(field), f"fuse or link of each cell in parallel of {pack.id}"))
            yield ctx.open(gaps)
            continue
        yield from _carries(ctx, pack)
        if asked is not None:
            yield from _clears(ctx, pack, asked.value, asked.source)


def _carries(ctx: Context, pack: Watched) -> Iterator[Outcome]:
    rated = pack.sheet.cell_fuse.rated_current
    if math.isnan(pack.figures.link_a):
        yield ctx.open(ctx.results["operating"].missing)
        return
    yield ctx.compare(
        pack.on_sheet("cell_fuse"), f"sustained current of one cell in case {pack.figures.link_case}",
        pack.figures.link_a, "A", "<=", rated.low, "DATASHEET#rated current", basis=rated.basis,
        subject=f"the link of each cell of {pack.id}", good="carries the cell's share of the pack's current",
        bad="carries more than its rating: one opens, and its neighbours take its share until they open too",
        note="shared evenly among the cells in parallel",
    )  # fmt: skip


def _clears(ctx: Context, pack: Watched, share: float, source: str) -> Iterator[Outcome]:
    """Links that clear by themselves, or a fuse in series and a monitor that finds an open link."""
    link, figures, at = pack.sheet.cell_fuse, pack.figures, pack.on_sheet("cell_fuse")
    known = ctx.results["pack"].packs.get(pack.id)
    if known is None:
        yield ctx.open(ctx.results["pack"].missing)
        return
    volts_ok = link.rated_voltage is not None and link.rated_voltage.low >= known.maximum_v
    if volts_ok and link.breaking_capacity is not None and link.breaking_capacity.low > figures.short_a:
        clause = "FSAE-2026#EV.6.6.7" if link.inside else source
        yield ctx.compare(
            at, "breaking capacity", link.breaking_capacity.low, "A", ">", figures.short_a, clause,
            basis=link.breaking_capacity.basis, subject=f"the link of each cell of {pack.id}",
            bad="may not clear the pack's short circuit", good="clears the pack's voltage and short circuit by itself",
        )  # fmt: skip
        return
    gaps = pack.gaps(("finds_open_link",))
    rated = [(amps, name) for name, amps in figures.series_fuses if not math.isnan(amps)]
    if gaps or not rated:
        gone = [
            Missing(f"{PARTS}", f"a fuse with its rating in series with {pack.id}"),
        ]
        yield ctx.open(gaps or gone)
        return
    amps, name = min(rated)
    yield ctx.compare(
        at, f"rating of {name}, in series", amps, "A", "<=", share * figures.links_a, source,
        subject=f"{name}, which has to clear for the links of {pack.id},",
        bad="is rated above a third of the links together: links melt before it, and do not clear",
        good="clears before the links melt", related=((f"{PARTS}/{name}", "the fuse"),),
    )  # fmt: skip
    found = bool(pack.monitor.finds_open_link)
    yield ctx.finding(
        "pass" if found else "fail",
        pack.at("finds_open_link"),
        f"the monitor of {pack.id} {'finds' if found else 'does not find'} an open link among cells in parallel",
        counted("open links found", int(found), ">=", 1, source),
    )
