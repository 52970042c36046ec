"""One section of the report for each study: its question, what is missing, tables, plots, workings."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from tristrand.design import Design
from tristrand.papers import (
    bars,
    cells_tables,
    charging_plots,
    charging_tables,
    contactor_tables,
    fuse_tables,
    generation_tables,
    insulation_tables,
    loops_tables,
    plots,
    protection_tables,
    tables,
    time_current,
    transient_tables,
)
from tristrand.papers.frame import Plot, render_svg
from tristrand.papers.workings import Line, lines_by_object
from tristrand.rules.limits import strictest
from tristrand.sources import describe
from tristrand.studies.results import Missing
from tristrand.units import show


@dataclass(frozen=True, slots=True)
class Section:
    """What the page prints about one study. ``plots`` pairs each plot with its SVG."""

    name: str
    title: str
    question: str
    missing: tuple[str, ...]
    remarks: tuple[str, ...] = ()
    tables: tuple[tables.Table, ...] = ()
    plots: tuple[tuple[Plot, str], ...] = ()
    workings: tuple[tuple[str, list[Line]], ...] = ()

    @property
    def empty(self) -> bool:
        """Whether the study has nothing to show and misses nothing."""
        return not (self.missing or self.remarks or self.tables or self.plots or self.workings)


@dataclass(frozen=True, slots=True)
class _Study:
    title: str
    question: str
    show: Callable[[Any, Design], tuple[list[str], list[tables.Table], list[Plot]]]


def _pack(result: Any, design: Design) -> tuple[list[str], list[tables.Table], list[Plot]]:
    limit = design.high_voltage.power_limit
    return [], tables.pack_tables(result), plots.pack(result, limit.value if limit is not None else math.nan)


def _operating(result: Any, design: Design) -> tuple[list[str], list[tables.Table], list[Plot]]:
    return tables.operating_remarks(result), tables.operating_tables(result, design), []


def _conductors(result: Any, design: Design) -> tuple[list[str], list[tables.Table], list[Plot]]:
    plot = bars.ampacity(result.conductors)
    return [], tables.conductor_tables(result), [plot] if plot else []


def _precharge(result: Any, design: Design) -> tuple[list[str], list[tables.Table], list[Plot]]:
    remarks = []
    if result.other_paths:
        remarks.append(f"Not looked at: precharge by {', '.join(result.other_paths)}.")
    if result.fed_directly:
        remarks.append(f"On the poles of a pack with no contactor between: {', '.join(result.fed_directly)}.")
    if result.held_open:
        remarks.append(f"Held open until the bus is up: {', '.join(result.held_open)}.")
    plot = plots.precharge(result)
    return remarks, transient_tables.precharge_tables(result), [plot] if plot else []


def _discharge(result: Any, design: Design) -> tuple[list[str], list[tables.Table], list[Plot]]:
    limit_s, words = discharge_limit(design)
    plot = plots.discharge(result, limit_s)
    return [], transient_tables.discharge_tables(result, words), [plot] if plot else []


def discharge_limit(design: Design) -> tuple[float, str]:
    """The shortest time to 60 V that a rule set in force or the owner allows, and words for it; nan for none."""
    limit = strictest("discharge_time_s", tuple(design.vehicle.rule_sets))
    own = design.high_voltage.discharge.within
    if own is not None and (limit is None or own.value < limit.value):
        return own.value, f"Allowed: {show(own.value, 's')}, the design's own limit."
    if limit is None:
        return math.nan, "No rule set in force limits this time."
    return limit.value, f"Allowed: {show(limit.value, 's')}, {describe(limit.source)}."


def _faults(result: Any, design: Design) -> tuple[list[str], list[tables.Table], list[Plot]]:
    return [], [*protection_tables.fault_tables(result), *fuse_tables.charger_tables(result)], []


def _protection(result: Any, design: Design) -> tuple[list[str], list[tables.Table], list[Plot]]:
    found = [*protection_tables.protection_tables(result), *fuse_tables.chain_tables(result)]
    found += fuse_tables.overload_tables(result, design)
    return [], found, time_current.fuses(result)


def _fuse_loads(result: Any, design: Design) -> tuple[list[str], list[tables.Table], list[Plot]]:
    return [], fuse_tables.load_tables(result), []


def _contactors(result: Any, design: Design) -> tuple[list[str], list[tables.Table], list[Plot]]:
    return contactor_tables.contactor_remarks(result), contactor_tables.contactor_tables(result, design), []


def _cells(result: Any, design: Design) -> tuple[list[str], list[tables.Table], list[Plot]]:
    return [], cells_tables.cells_tables(result, design), []


def _branches(result: Any, design: Design) -> tuple[list[str], list[tables.Table], list[Plot]]:
    return [], cells_tables.branches_tables(result, design), []


def _generation(result: Any, design: Design) -> tuple[list[str], list[tables.Table], list[Plot]]:
    remarks = generation_tables.generation_remarks(result)
    return remarks, generation_tables.generation_tables(result, design), generation_tables.generation_plots(result)


def _insulation(result: Any, design: Design) -> tuple[list[str], list[tables.Table], list[Plot]]:
    inlet = bool(design.parts_of("inlet"))
    return insulation_tables.insulation_remarks(result, inlet), insulation_tables.insulation_tables(result), []


def _spacings(result: Any, design: Design) -> tuple[list[str], list[tables.Table], list[Plot]]:
    student = "fsae-2026" in design.vehicle.rule_sets
    return [], insulation_tables.spacing_tables(result, student), []


def _loops(result: Any, design: Design) -> tuple[list[str], list[tables.Table], list[Plot]]:
    return loops_tables.loops_remarks(result, design), loops_tables.loops_tables(result, design), []


def _charging(result: Any, design: Design) -> tuple[list[str], list[tables.Table], list[Plot]]:
    plot = charging_plots.charging(result)
    remarks = charging_tables.charging_remarks(result, design)
    return remarks, charging_tables.charging_tables(result), [plot] if plot else []


STUDIES: dict[str, _Study] = {
    "pack": _Study("Pack", "What can the pack give?", _pack),
    "operating": _Study("Operating currents", "What flows where in each case?", _operating),
    "conductors": _Study("Conductors", "Do the cables carry it?", _conductors),
    "faults": _Study("Short circuits", "What does a dead short drive, and where?", _faults),
    "protection": _Study("Protection", "Do the fuses protect?", _protection),
    "fuse_loads": _Study("Fuses under load", "Do the fuses carry their loads?", _fuse_loads),
    "precharge": _Study("Precharge", "Does precharge end well?", _precharge),
    "discharge": _Study("Discharge", "Does the bus go dead in time?", _discharge),
    "contactors": _Study("Contactors", "Do the contactors close, open and last?", _contactors),
    "cells": _Study("Cells and modules", "Does the monitor guard the cells?", _cells),
    "branches": _Study("Branches of the bus", "What hangs on the bus?", _branches),
    "generation": _Study(
        "Uncontrolled generation", "What does a turning machine do when nothing controls it?", _generation
    ),
    "insulation": _Study("Insulation", "Is the bus insulated, and would the monitor see a fault?", _insulation),
    "spacings": _Study("Spacings", "Are conductors far enough apart?", _spacings),
    "loops": _Study("Loops and live parts", "What can be opened, and what is then live?", _loops),
    "charging": _Study("Charging", "How fast and how safely does it charge?", _charging),
}


def sections(design: Design, results: Mapping[str, Any]) -> list[Section]:
    """Every known study in the order of the page, then any other result by its name."""
    names = [*STUDIES, *(name for name in results if name not in STUDIES)]
    return [_section(name, design, results.get(name)) for name in names]


def _section(name: str, design: Design, result: Any) -> Section:
    study = STUDIES.get(name)
    title, question = (study.title, study.question) if study else (name.replace("_", " ").capitalize(), "")
    if result is None:
        return Section(name, title, question, ("the study itself: it was not run",))
    missing = tuple(dict.fromkeys(_missing_text(m) for m in result.missing))
    groups = tuple(lines_by_object(result.workings))
    if study is None:
        return Section(name, title, question, missing, workings=groups)
    remarks, found, drawn = study.show(result, design)
    pictures = tuple((plot, render_svg(plot)) for plot in drawn)
    return Section(name, title, question, missing, tuple(remarks), tuple(found), pictures, groups)


def _missing_text(missing: Missing) -> str:
    return f"{missing.what}, at {missing.pointer}" if missing.what else missing.pointer
