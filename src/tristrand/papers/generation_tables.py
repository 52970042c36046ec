"""Machines that turn while nothing controls them: remarks, tables of text and the plot of voltage over road speed."""

from __future__ import annotations

import math

from tristrand.design import Design
from tristrand.papers.frame import DASHES, INK, STRONG, WIDTH, Frame, Plot, Spec, axis_title, document
from tristrand.papers.label_places import Name
from tristrand.papers.tables import Cell, Table, pairs, row, share_words, value
from tristrand.physics.generation import BELOW_ONSET_NOTE, BELOW_ONSET_SOURCE
from tristrand.sources import describe
from tristrand.studies.results import ActiveShort, GenerationResult, MachineFigures, Series
from tristrand.units import show

KMH = 3.6
SAFE = "60 V"
RPM = 30.0 / math.pi
INDUCTION = "MEMORY#induction machine on the capacitors of the bus"
FIELD = {"voltage": "highest working voltage", "bus_voltage_withstand": "bus voltage withstand"}
REACTION = {
    "gates_off": "it leaves the machine alone",
    "active_short": "it shorts the machine's three phases",
    None: "not known",
}


def generation_remarks(result: GenerationResult) -> list[str]:
    """What no figure of the tables says, each with how it is known."""
    remarks = []
    every = result.machines.values()
    if any(m.magnets and m.salient is not False for m in every):
        remarks.append(f"{BELOW_ONSET_NOTE} Source: {describe(BELOW_ONSET_SOURCE)}.")
    for figures in every:
        if figures.magnets is False:
            remarks.append(
                f"{figures.inverter}: its machine {figures.machine} holds no magnets and makes no voltage by itself. "
                "Already magnetised, an induction machine may hold itself up on the capacitors of the bus; that is not "
                f"judged. Source: {describe(INDUCTION)}."
            )
    if any(not math.isnan(m.fastest_v) for m in every):
        remarks.append(
            "Gates off, a sinusoidal voltage, magnets as cold as the air gets, no diode drop. How much current a "
            "machine then drives into the pack is not computed."
        )
    return remarks


def generation_tables(result: GenerationResult, design: Design) -> list[Table]:
    """For every machine its figures, and what lies on its bus with the contactors open."""
    tables = []
    for figures in result.machines.values():
        if math.isnan(figures.flux_wb):
            continue
        reaction = REACTION[design.sheet_of(figures.inverter).when_contactors_open]
        many = f", {figures.machines} side by side" if figures.machines > 1 else ""
        rows = [
            ("Machine", f"{figures.machine}{many}", f"magnets, {figures.pole_pairs} pole pairs"),
            ("Flux linkage", value(figures.flux_wb, "Wb"), f"magnets at {value(figures.cold_c, '°C')}"),
            *_speed_rows(figures, reaction == REACTION["active_short"]),
            ("When the contactors open", reaction, f"what {figures.inverter} does, by its sheet"),
            *(_short_rows(figures.short) if figures.short is not None else []),
        ]
        tables.append(pairs(f"Machine of {figures.inverter}", rows, "Voltages are peak values between two phases."))
        if not math.isnan(figures.fastest_v):
            tables.append(_bus_table(figures))
    return tables


def kmh(metres_per_second: float) -> str:
    """A road speed in km/h."""
    return "not known" if math.isnan(metres_per_second) else show(metres_per_second * KMH, "km/h", 3)


def _speed_rows(figures: MachineFigures, shorted: bool) -> list[tuple[str, str, str]]:
    if math.isnan(figures.fastest_v):
        return []
    top, air = f"at {kmh(figures.road_m_per_s)}", f"at {figures.spin_rad_per_s * RPM:.0f} rpm, wheels in the air"
    live = "the bus is live above it, whatever the contactors do" + (", unless the short holds" if shorted else "")
    rows = [
        ("Voltage at its highest speed", value(figures.fastest_v, "V"), top if figures.fastest_on_road else air),
        ("Voltage at the fastest road speed", value(figures.road_v, "V"), top),
        ("Over 60 V above", kmh(figures.live_m_per_s), live),
    ]
    if not math.isnan(figures.towed_v):
        towed = f"at {kmh(figures.towed_m_per_s)}" if figures.towed_m_per_s > 0 else "it is never towed on these wheels"
        rows.append(("Voltage when towed", value(figures.towed_v, "V"), towed))
    empty = "Generates with the pack empty" + (", others drawing, above" if figures.loaded else " above")
    for what, speed, volts in (
        (empty, figures.onset_low_m_per_s, figures.lowest_v),
        ("Charges even a full pack above", figures.onset_high_m_per_s, figures.highest_v),
    ):
        if not math.isnan(speed):
            never = ", which it never reaches" if figures.fastest_v <= volts else ""
            rows.append((what, kmh(speed), f"{value(volts, 'V')}{never}"))
    if not math.isnan(figures.held_s):
        rest = f"from {kmh(figures.road_m_per_s)} with the brakes on hard; {value(figures.discharge_s, 's', 3)} at rest"
        rows.append(("60 V after the contactors open", value(figures.held_s, "s", 3), rest))
    return rows


def _short_rows(short: ActiveShort) -> list[tuple[str, str, str]]:
    return [
        (
            "Active short, steady",
            value(short.steady_a, "A", 3),
            f"peak of a phase; at high speed {short.limit_a:.0f} A",
        ),
        ("Active short, first swing", value(short.swing_a, "A", 3), "peak of a phase, from no current, undamped"),
        ("Against the magnets", value(short.against_a, "A", 3), "in the first swing"),
        ("Hardest braking", value(short.torque_nm, "N m", 3), f"at the wheels, at {kmh(short.hardest_m_per_s)}"),
    ]


def _bus_table(figures: MachineFigures) -> Table:
    rows = []
    for item in figures.bus:
        share = figures.fastest_v / item.stands_v
        mark = "over" if share > 1 else ""
        rows.append(
            row(
                item.name,
                value(item.stands_v, "V"),
                Cell("" if math.isnan(share) else share_words(share), mark=mark),
                FIELD.get(item.pointer.rpartition("/")[2], "rated voltage"),
                group="Cables" if item.where else "Parts",
            )
        )
    columns = ("On the bus", "Stands", "Machine's voltage as a share", "By its sheet's")
    note = f"All contactors open; {value(figures.fastest_v, 'V')} from the machine of {figures.inverter}."
    return Table(f"What lies on the bus of {figures.inverter}", columns, tuple(rows), note)


def generation_plots(result: GenerationResult) -> list[Plot]:
    """Voltage over road speed for every machine, with the levels that matter to it."""
    plots = []
    for number, about in enumerate(dict.fromkeys(s.about for s in result.series)):
        curves = [s for s in result.series if s.about == about]
        plots.append(_plot(f"generation{number}", result.machines[about], curves))
    return plots


def _plot(name: str, figures: MachineFigures, curves: list[Series]) -> Plot:
    emf, levels = curves[0], curves[1:]
    top = max(max(s.y) for s in curves)
    frame = Frame(
        name, axis_title("road speed", emf.x_unit), axis_title("voltage", emf.y_unit), emf.x[-1], 0.0, 1.12 * top, 240
    )
    layers: list[Spec] = [frame.line(emf.name, emf.x, emf.y, DASHES[0], 2.6, STRONG)]
    layers += [frame.line(s.name, s.x, s.y, DASHES[1 + i % 3], 1.4, INK) for i, s in enumerate(levels)]
    road = figures.road_m_per_s * KMH
    layers += frame.uprights([("road", road, f"fastest on the road, {kmh(figures.road_m_per_s)}")])
    layers.append(frame.dot("live", figures.live_m_per_s * KMH, 60.0))
    named = [Name(s.name if s.name == SAFE else f"{s.name}, {s.y[0]:.0f} V", tuple(s.x), tuple(s.y)) for s in levels]
    # Named in its upper part, where no level is near; the voltage is in proportion to the speed.
    upper = (0.4, 0.9)
    words = f"machine, up to {emf.y[-1]:.0f} V"
    named.append(Name(words, tuple(k * emf.x[-1] for k in upper), tuple(k * emf.y[-1] for k in upper)))
    nameless = [Name("", tuple(emf.x), tuple(emf.y)), Name("", (road, road), (0.0, frame.y_top))]
    layers += frame.named("levels", named, nameless)
    title = {"text": f"Machine of {figures.inverter}"}
    spec = document({"width": WIDTH, "height": frame.height, "title": title, "layer": layers})
    caption = f"Peak voltage that the machine of {figures.inverter} makes by itself, over road speed (thick)."
    caption += f" The dot: 60 V at {kmh(figures.live_m_per_s)}. Right edge: its highest speed, if need be in the air."
    told = "; ".join(f"{s.name} {s.y[-1]:.0f} V" for s in curves)
    return Plot(name, spec, caption, f"Voltage of the machine of {figures.inverter} over road speed. {told}.")
