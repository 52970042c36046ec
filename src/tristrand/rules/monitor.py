"""HV273 to HV278: what the battery monitor reads and where it trips, against the cells' own limits."""

from collections.abc import Iterable, Iterator
from typing import Any

from tristrand.findings import Edit, Relation, WayOut
from tristrand.records import NamedTuple
from tristrand.rules.rule import Context, Outcome, rule
from tristrand.rules.view import HV_FILE, PARTS, counted, highest_v
from tristrand.studies.results import CellFigures, Missing

CELLS = ("pack", "operating", "cells")
RACE = ("vehicle.yaml", "rule_sets", "[fsae-2026]")
CELL_VOLTAGE = "DATASHEET#cell voltage"
CELL_COUNT = "CLOSED-FORM#series and parallel"
CELL_TEMPERATURE = "DATASHEET#cell temperature"


class Watched(NamedTuple):
    """A pack with its sheet, its monitor (None without one) and the study's figures."""

    id: str
    sheet: Any
    monitor: Any
    figures: CellFigures
    sheet_name: str

    def at(self, field: str) -> str:
        """Pointer of a value of the monitor."""
        return f"{PARTS}/{self.id}/monitor/{field}"

    def on_sheet(self, field: str) -> str:
        """Pointer of a value of the pack's sheet."""
        return f"parts/{self.sheet_name}/{field}"

    def gaps(self, monitor: tuple[str, ...] = (), sheet: tuple[str, ...] = ()) -> list[Missing]:
        """What is missing of the named values."""
        found = []
        if monitor and self.monitor is None:
            found.append(Missing(f"{PARTS}/{self.id}/monitor", f"battery monitor of {self.id}"))
        elif monitor:
            found += [
                Missing(self.at(name), f"{_words(name)} of the battery monitor of {self.id}")
                for name in monitor
                if getattr(self.monitor, name) is None
            ]
        return found + [
            Missing(self.on_sheet(name), f"{_words(name)} of {self.id}")
            for name in sheet
            if getattr(self.sheet, name) is None
        ]


def _words(name: str) -> str:
    return name.replace("_", " ")


def watched(ctx: Context) -> Iterator[Watched]:
    """Every pack of the design."""
    figures = ctx.results["cells"].packs
    for pack_id, part in ctx.design.parts_of("pack").items():
        yield Watched(pack_id, ctx.design.sheet_of(pack_id), part.monitor, figures[pack_id], part.sheet)


def _set(pack: Watched, field: str, value: float, unit: str) -> list[WayOut]:
    """A way out: another trip."""
    text = f"{value:.6g} {unit}"
    return [WayOut(f"set {_words(field)} to {text}", (Edit(HV_FILE, f"parts/{pack.id}/monitor/{field}", text),))]


def _trip(
    ctx: Context, pack: Watched, field: str, what: str, value: float, unit: str, relation: Relation,
    limit: float, source: str, *, bad: str, good: str, basis: str = "", related: str = "", ways: bool = True,
) -> Outcome:  # fmt: skip
    """What passes the monitor unseen against a limit of the cell."""
    trip = getattr(pack.monitor, field).value
    step = 1e-3 if unit == "V" else 1.0
    # The new trip leaves the error of the reading, and where the limit itself may not be reached one step more.
    extra = 0.0 if relation in ("<=", ">=") else step
    to = trip - (value - limit) - extra if relation in ("<=", "<") else trip + (limit - value) + extra
    return ctx.compare(
        pack.at(field),
        what,
        value,
        unit,
        relation,
        limit,
        source,
        basis=basis,
        subject=f"the monitor of {pack.id}",
        bad=bad,
        good=good,
        related=((related, "the cell's own limit"),) if related else (),
        ways_out=(lambda: _set(pack, field, to, unit)) if ways else None,
        note="its trip and the error of its reading",
    )


@rule(
    "HV273",
    "cell-voltage-window",
    "error",
    needs=CELLS,
    checks=(
        "The monitor trips, with the error of its reading against it, before a cell leaves the voltages its maker "
        "allows; where a rule set limits the time of its answer, it answers in that time."
    ),
    why="A cell above its voltage plates lithium and may burn; one below it dissolves copper that shorts it later.",
    sources=("FSAE-2026#EV.7.4.2", CELL_VOLTAGE, "FS-FAMILY-2024#EV5.8.7"),
    failing=((HV_FILE, "parts/pack/monitor/over_voltage", "4.149 V"),),
    waivable=False,
)
def cell_voltage_window(ctx: Context) -> Iterable[Outcome]:
    """Trip plus error, and trip less error, against the ends of the sheet's tolerance that ask more."""
    source = "FSAE-2026#EV.7.4.2" if "fsae-2026" in ctx.rule_sets else CELL_VOLTAGE
    answer = ctx.limit_if_set("monitor_answer_s")
    for pack in watched(ctx):
        needed = ("over_voltage", "under_voltage", "voltage_error", *(("answer_time",) if answer else ()))
        gaps = pack.gaps(needed, ("cell_voltage",))
        if gaps:
            yield ctx.open(gaps)
            continue
        cell, at = pack.sheet.cell_voltage, pack.on_sheet("cell_voltage")
        yield _trip(
            ctx, pack, "over_voltage", "highest cell voltage that passes unseen", pack.figures.over_v, "V", "<=",
            cell.maximum.low, source, basis=cell.maximum.basis, related=at,
            bad="may let a cell rise above the highest voltage of its sheet",
            good="trips before a cell is above the highest voltage of its sheet",
        )  # fmt: skip
        yield _trip(
            ctx, pack, "under_voltage", "lowest cell voltage that passes unseen", pack.figures.under_v, "V", ">=",
            cell.minimum.high, source, basis=cell.minimum.basis, related=at,
            bad="may let a cell fall below the lowest voltage of its sheet",
            good="trips before a cell is below the lowest voltage of its sheet",
        )  # fmt: skip
        if answer is not None:
            time = pack.monitor.answer_time
            yield ctx.compare(
                pack.at("answer_time"), "time of its answer", (time.low, time.high), "s", "<=", answer.value,
                answer.source, subject=f"the monitor of {pack.id}", bad="answers later than the rules allow",
                good="answers in the time that the rules allow",
            )  # fmt: skip


@rule(
    "HV274",
    "every-cell-read",
    "error",
    needs=CELLS,
    checks="The monitor reads the voltage of every group of cells in series, cells in parallel counted as one group.",
    why="The cell that nobody reads is the one that is charged past its limit: the sum of all others looks right.",
    sources=("FSAE-2026#EV.7.4.1", "PRACTICE#every cell is read"),
    failing=((HV_FILE, "parts/pack/monitor/cells_read", "83"),),
    waivable=False,
)
def every_cell_read(ctx: Context) -> Iterable[Outcome]:
    """Groups read against cells in series; reading more than there are is an error of the description too."""
    source = "FSAE-2026#EV.7.4.1" if "fsae-2026" in ctx.rule_sets else "PRACTICE#every cell is read"
    for pack in watched(ctx):
        gaps = pack.gaps(("cells_read",), ("cells_in_series",))
        if gaps:
            yield ctx.open(gaps)
            continue
        read, series = pack.monitor.cells_read, pack.sheet.cells_in_series
        few = read < series
        said = "leaves a group of cells unread" if few else "claims to read more groups than lie in series"
        good = read == series
        yield ctx.finding(
            "pass" if good else "fail",
            pack.at("cells_read"),
            f"the monitor of {pack.id} {'reads every group of cells' if good else said}",
            counted("groups read", read, ">=" if few or good else "<=", series, source),
            related=((pack.on_sheet("cells_in_series"), "groups in series"),),
        )


@rule(
    "HV275",
    "sense-wire-protection",
    "error",
    needs=CELLS,
    limit="sense_at_cell",
    checks=(
        "What protects the sense wires is rated for the module's highest voltage, and the wires for the pack's; where "
        "the rule sets in force ask for it, the protection sits at the cell."
    ),
    why="A chafed sense wire shorts a module through a hair of copper: it burns, unless something at the cell opens.",
    sources=("FSAE-2026#EV.7.4.3", "FSAE-2026#EV.5.2.5", "PRACTICE#sense fuse", "DATASHEET#rated voltage"),
    failing=((HV_FILE, "parts/pack/monitor/sense_protection/rated_voltage", "12 V"),),
)
def sense_wire_protection(ctx: Context) -> Iterable[Outcome]:
    """Rated voltages, and the place of the protection."""
    race = "fsae-2026" in ctx.rule_sets
    at_cell = ctx.limit_if_set()
    for pack in watched(ctx):
        gaps = pack.gaps(("sense_protection", "sense_wire_voltage"), ("modules", "cells_in_series", "cell_voltage"))
        guard: Any = pack.monitor.sense_protection if pack.monitor is not None else None
        if guard is not None and guard.rated_voltage is None:
            what = f"rated voltage of the sense wire protection of {pack.id}"
            gaps.append(Missing(pack.at("sense_protection/rated_voltage"), what))
        highest = highest_v(ctx)
        if gaps or highest is None or pack.figures.module is None:
            yield ctx.open(gaps or ctx.results["pack"].missing)
            continue
        wire, volts = pack.monitor.sense_wire_voltage, pack.figures.module.volts
        yield ctx.compare(
            pack.at("sense_protection"), "rated voltage", (guard.rated_voltage.low, guard.rated_voltage.high), "V",
            ">=", volts, "FSAE-2026#EV.7.4.3" if race else "DATASHEET#rated voltage", basis=guard.rated_voltage.basis,
            subject=f"the sense wire protection of {pack.id}", good="interrupts the module's highest voltage",
            bad="is rated for less than the module's highest voltage and may go on arcing",
            related=((pack.on_sheet("modules"), "the modules"),),
        )  # fmt: skip
        yield ctx.compare(
            pack.at("sense_wire_voltage"), "rated voltage", (wire.low, wire.high), "V", ">=", highest,
            "FSAE-2026#EV.5.2.5" if race else "DATASHEET#rated voltage", basis=wire.basis,
            subject=f"the sense wires of {pack.id}", good="stand the pack's highest voltage",
            bad="are rated for less than the pack's highest voltage, which their neighbours have",
        )  # fmt: skip
        if at_cell is not None:
            ok = guard.at == "cell"
            yield ctx.finding(
                "pass" if ok else "fail",
                pack.at("sense_protection/at"),
                f"the sense wires of {pack.id} are protected {'at the cell' if ok else 'only at the monitor'}"
                + ("" if ok else ": the wire itself is then not protected"),
                counted("protections at the cell", int(ok), ">=", 1, at_cell.source),
            )


@rule(
    "HV276",
    "cell-temperature-window",
    "error",
    needs=CELLS,
    checks=(
        "The monitor trips, with the error of its reading against it, before a cell leaves the temperatures its maker "
        "allows for discharging and the highest for charging, and before the most that the rule sets in force allow."
    ),
    why="Past its temperature a cell vents and sets its neighbours alight; nothing on the car puts that out.",
    sources=("FSAE-2026#EV.7.5.2", CELL_TEMPERATURE),
    failing=((HV_FILE, "parts/pack/monitor/over_temperature", "64 °C"),),
    waivable=False,
)
def cell_temperature_window(ctx: Context) -> Iterable[Outcome]:
    """Charging below the cold limit is judged by HV277."""
    rules = ctx.limit_if_set("cell_temperature_c")
    for pack in watched(ctx):
        gaps = pack.gaps(
            ("over_temperature", "over_temperature_charge", "under_temperature", "temperature_error"),
            ("cell_temperature",),
        )
        if gaps:
            yield ctx.open(gaps)
            continue
        span = pack.sheet.cell_temperature
        for field, doing, value, most in (
            ("over_temperature", "discharging", pack.figures.hot_c, span.discharge.maximum),
            ("over_temperature_charge", "charging", pack.figures.hot_charge_c, span.charge.maximum),
        ):
            limits = [(most.low, CELL_TEMPERATURE)] + ([(rules.value, rules.source)] if rules else [])
            limit, source = min(limits, key=lambda pair: pair[0])
            yield _trip(
                ctx, pack, field, f"hottest cell that passes unseen, {doing}", value, "°C", "<", limit, source,
                basis=most.basis if source == CELL_TEMPERATURE else "", related=pack.on_sheet("cell_temperature"),
                bad=f"may let a cell reach its highest temperature for {doing}",
                good=f"trips before a cell is too hot for {doing}",
            )  # fmt: skip
        least = span.discharge.minimum
        yield _trip(
            ctx, pack, "under_temperature", "coldest cell that passes unseen, discharging", pack.figures.cold_c, "°C",
            ">=", least.high, CELL_TEMPERATURE, basis=least.basis, related=pack.on_sheet("cell_temperature"),
            bad="may let a cell be discharged below its lowest temperature",
            good="trips before a cell is too cold to be discharged",
        )  # fmt: skip


@rule(
    "HV277",
    "cold-charging",
    "error",
    needs=CELLS,
    checks="The monitor allows no charging and no regeneration, error of its reading counted, below the cells' limit.",
    why="Charged too cold a cell plates lithium: unseen from outside, until a spike of it shorts the cell at speed.",
    sources=(CELL_TEMPERATURE,),
    failing=((HV_FILE, "parts/pack/monitor/under_temperature_charge", "-5 °C"),),
    waivable=False,
)
def cold_charging(ctx: Context) -> Iterable[Outcome]:
    """Charging is also what a motor does while it brakes."""
    for pack in watched(ctx):
        gaps = pack.gaps(("under_temperature_charge", "temperature_error"), ("cell_temperature",))
        if gaps:
            yield ctx.open(gaps)
            continue
        least = pack.sheet.cell_temperature.charge.minimum
        yield _trip(
            ctx, pack, "under_temperature_charge", "coldest cell that passes unseen, charging",
            pack.figures.cold_charge_c, "°C", ">=", least.high, CELL_TEMPERATURE, basis=least.basis,
            related=pack.on_sheet("cell_temperature"),
            bad="may let a cell be charged below its lowest temperature for charging",
            good="lets no cell be charged too cold",
        )  # fmt: skip


@rule(
    "HV278",
    "temperature-sensors",
    "error",
    needs=CELLS,
    checks=(
        "The temperature of enough cells is read: the share that a rule set asks for, and one cell in every module; "
        "where a rule set limits it, sensors on a busbar sit near enough to the cell."
    ),
    why="A cell that overheats where nobody reads sets the pack alight before its neighbours grow warm.",
    sources=("FSAE-2026#EV.7.5.4", "FSAE-2026#EV.7.5.5", "PRACTICE#a sensor in every module"),
    failing=((HV_FILE, "parts/pack/monitor/temperature_sensors", "2"),),
    passing=(RACE,),
)
def temperature_sensors(ctx: Context) -> Iterable[Outcome]:
    """Cells read against the cells of the pack and against its modules; the distance of the sensors."""
    share, near = ctx.limit_if_set("temperature_share"), ctx.limit_if_set("sensor_distance_m")
    each = ctx.limit_if_set("sensor_per_module")
    for pack in watched(ctx):
        needed = ("temperature_sensors", *(("sensor_distance",) if near else ()))
        gaps = pack.gaps(needed, ("modules", "cells_in_series", "cells_in_parallel"))
        if gaps:
            yield ctx.open(gaps)
            continue
        read, cells = pack.monitor.temperature_sensors, pack.figures.series * pack.figures.parallel
        at = pack.at("temperature_sensors")
        subject = f"the monitor of {pack.id}"
        if read > cells:
            words = f"the monitor of {pack.id} claims to read the temperature of more cells than the pack holds"
            yield ctx.finding(
                "fail", at, words, counted("cells whose temperature is read", read, "<=", cells, CELL_COUNT)
            )
        if share is not None:
            yield ctx.compare(
                at, "cells whose temperature is read", float(read), "", ">=", share.value * cells, share.source,
                subject=subject, bad=f"reads the temperature of too few of the {cells} cells",
                good="reads the temperature of enough cells", note=f"{100 * share.value:g} % of {cells} cells",
            )  # fmt: skip
        if each is not None:
            yield ctx.compare(
                at, "cells whose temperature is read", float(read), "", ">=", each.value * pack.sheet.modules,
                each.source, subject=subject, bad="cannot read the temperature of every module",
                good="can read the temperature of every module", note=f"{pack.sheet.modules} modules in series",
            )  # fmt: skip
        if near is not None:
            distance = pack.monitor.sensor_distance
            yield ctx.compare(
                pack.at("sensor_distance"), "distance from the cell", (1e3 * distance.low, 1e3 * distance.high), "mm",
                "<", 1e3 * near.value, near.source, basis=distance.basis, subject=f"a sensor of {pack.id}",
                bad="sits so far along the busbar that it reads the busbar", good="sits near the cell's terminal",
            )  # fmt: skip
