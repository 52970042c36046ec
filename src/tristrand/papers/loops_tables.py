"""Loops, what can be opened and what is then live, as tables of text."""

import math

from tristrand.design import Design
from tristrand.papers.tables import Cell, Row, Table, row, value
from tristrand.physics.discharge import TOUCH_LIMIT_V
from tristrand.studies.results import Exposure, LoopFigures, LoopsResult

BY = {
    "coil_current": "carries the coil current",
    "relay": "by a relay at its end",
    "supervisor": "by the supervisor's software",
}
WITH = {"hand": "by hand", "tool": "with a tool"}


def loops_remarks(result: LoopsResult, design: Design) -> list[str]:
    """What the section leaves out, and what no loop watches."""
    if not (result.loops or result.exposures):
        return []
    unwatched = [(name, design.high_voltage.openable[name]) for name, e in result.exposures.items() if not e.watched]
    return [
        *(f"No loop watches {name}: {item.unwatched_because or 'no reason is given'}." for name, item in unwatched),
        "Packs at their highest voltage; contactors that a loop does not open count as closed, a precharge resistor as "
        "a conductor. One failure at a time. Not looked at: two failures at once, the halves of a pack that a "
        "disconnect splits inside, the voltage that a turning machine makes, economisers and the times of contacts.",
    ]


def loops_tables(result: LoopsResult, design: Design) -> list[Table]:
    """Loops and their elements, openables, single failures, disconnects, measuring points."""
    tables = [_loops(result, design), _elements(design), _openable(result, design), _failures(result, design)]
    tables += [_pulled(result), _measured(result)]
    return [table for table in tables if table.rows]


def _loops(result: LoopsResult, design: Design) -> Table:
    rows = []
    for name, loop in result.loops.items():
        own = design.high_voltage.loops[name]
        left = Cell(value(loop.left_v, "V", 3), mark="over" if loop.left_v < loop.needed_v else "")
        rows.append(
            row(
                name,
                value(loop.ohm, "Ω", 3),
                value(loop.current_a, "A", 3),
                left,
                value(loop.needed_v, "V", 3),
                Cell(", ".join(loop.opens) or "nothing", BY[own.by]),
                _live(loop.open_device_v, loop.open_poles, loop.open_device),
                _welds(loop),
                small=f"{loop.kind}, {len(loop.members)} elements",
            )
        )
    columns = (
        "Loop", "Contacts and wire", "Current", "Left at its end", "Needed", "Opens", "Then live at devices",
        "With one contactor welded",
    )  # fmt: skip
    note = "At the least supply, the hottest wire, the coldest coils and contacts at the high end of their resistance."
    return Table("Series loops", columns, tuple(rows), note, wide=True)


def _live(volts: float, poles: tuple[str, ...], where: str = "", over: bool = True) -> Cell | str:
    if math.isnan(volts):
        return "not known"
    if volts > TOUCH_LIMIT_V:
        return Cell(value(volts, "V", 3), f"at {where}" if where else ", ".join(poles), mark="over" if over else "")
    return Cell("one pole", ", ".join(poles)) if poles else "dead"


def _welds(loop: LoopFigures) -> Cell | str:
    if not loop.welded:
        return "not known" if math.isnan(loop.open_device_v) else "opens none"
    worst = max(loop.welded, key=lambda w: w.device_v)
    if worst.device_v <= TOUCH_LIMIT_V:
        return "at most one pole"
    return Cell(value(worst.device_v, "V", 3), worst.contactor, mark="over")


def _elements(design: Design) -> Table:
    rows = []
    for name, loop in design.high_voltage.loops.items():
        for number, (key, element) in enumerate(loop.elements.items(), 1):
            ohm = "not known" if element.resistance is None else element.resistance.text
            drop = f" and {element.drop.text}" if element.drop is not None else ""
            kind = element.kind.replace("_", " ")
            watches = ", ".join(element.watches) or (f"loop {element.contact_of}" if element.contact_of else "-")
            rows.append(row(f"{number}  {key}", kind, f"{ohm}{drop}", watches, group=f"Loop {name}"))
    columns = ("Element, in the order of the current", "Kind", "Resistance", "Opens with")
    return Table("Elements of the loops", columns, tuple(rows))


def _openable(result: LoopsResult, design: Design) -> Table:
    rows = []
    for name, found in result.exposures.items():
        item = design.high_voltage.openable[name]
        bare = item.touch_open == "none"
        reach = "not known" if item.touch_open is None else "bare" if bare else item.touch_open
        watched = ", ".join(found.watched) if found.watched else "no loop"
        rows.append(
            row(
                name,
                Cell(WITH[item.opened_with], f"{reach} when open"),
                watched,
                value(found.before_v, "V", 3),
                _live(found.after_v, found.after_poles, over=bare and item.opened_with == "hand"),
                _held(found),
                small=f"{item.kind.replace('_', ' ')}, {item.place}",
            )
        )
    columns = (
        "What can be opened", "Opened", "Watched by", "Before", "From packs, contactors open",
        "Capacitors above 60 V",
    )  # fmt: skip
    note = "Largest voltage between any two of the live parts that it bares, both halves of a connector among them."
    return Table("What can be opened, and what it bares", columns, tuple(rows), note, wide=True)


def _held(found: Exposure) -> Cell | str:
    if found.after_v > TOUCH_LIMIT_V:
        return "fed by the pack"
    if not found.held:
        return "none there"
    longest = found.held_s()
    worst = max(found.held, key=lambda one: one.seconds)
    if math.isnan(longest):
        return "not known"
    names = f"{', '.join(worst.devices)}; discharged by {worst.way}"
    if not math.isnan(worst.failed_s):
        failed = "for ever" if math.isinf(worst.failed_s) else value(worst.failed_s, "s", 3)
        names += f"; {failed} if that fails"
    return Cell("for ever" if math.isinf(longest) else value(longest, "s", 3), names)


def _failures(result: LoopsResult, design: Design) -> Table:
    rows: list[Row] = []
    for name, found in result.exposures.items():
        item = design.high_voltage.openable[name]
        ends: dict[str, list[str]] = {}
        for one in found.failures:
            if one.left_v > TOUCH_LIMIT_V:
                ends.setdefault(f"both poles, {value(one.left_v, 'V', 3)}", []).append(one.words)
            elif one.poles:
                ends.setdefault(f"one pole: {', '.join(one.poles)}", []).append(one.words)
        bare = "a hand can reach it" if item.touch_open in (None, "none") else f"behind {item.touch_open}"
        with_tool = ", with a tool" if item.opened_with == "tool" else ""
        for end, words in ends.items():
            rows.append(row(end, Cell("; ".join(words)), group=f"{name} ({bare}{with_tool})"))
    note = (
        "Both poles: the full voltage between two parts that are bared. One pole: dangerous only with an insulation "
        "fault at the other. HV233 lets pass what a loop's own test finds at each start, before anybody drives."
    )
    return Table("What one failure leaves at the bared parts", ("Left there", "After"), tuple(rows), note)


def _pulled(result: LoopsResult) -> Table:
    rows = []
    for name, found in result.pulled.items():
        stuck = Cell(value(found.stuck_v, "V", 3), mark="over" if found.stuck_v > TOUCH_LIMIT_V else "")
        for pole, ids in found.live.items():
            rows.append(row(name, pole, ", ".join(ids), stuck))
    columns = ("Disconnect pulled", "Pole", "It still reaches", "At the devices, every contactor stuck closed")
    return Table("What stays live with the disconnect pulled, every contactor open", columns, tuple(rows))


def _measured(result: LoopsResult) -> Table:
    rows = [
        row(
            name,
            value(found.volts, "V", 3),
            value(found.ohm, "Ω", 3),
            value(found.shorted_w, "W", 3),
            value(found.rated_w, "W", 3),
        )
        for name, found in result.measured.items()
    ]
    columns = ("Measuring points", "Highest voltage", "Each resistor", "Its power, points shorted", "Rated")
    return Table("Measuring points", columns, tuple(rows))
