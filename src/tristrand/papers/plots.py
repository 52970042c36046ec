"""Plots as Vega-Lite specs: plain dicts built from results, so that a test can read what is drawn.

They are rendered to static SVG when the report is made. A static picture prints as it looks, needs no script and no
network, and keeps the page small; the numbers stand in the tables beside it. Curves differ by dash and width and carry
their names at the line itself, so that nothing is said by colour alone.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from tristrand.studies.results import ConductorFigures, DischargeResult, PackResult, PrechargeResult, Series
from tristrand.units import show

Spec = dict[str, Any]

WIDTH = 600
# Metric-compatible families: text measured with one fits when the reader's machine has another.
FONT = "Liberation Sans, Arial, Helvetica, sans-serif"
INK, SOFT, STRONG, PALE, ALARM = "#1c2b33", "#5a6870", "#174a5c", "#c9d6da", "#7a2318"
SAFE_V = 60.0
MOST_BARS = 40
LINE_GAP_PX = 14.0
DASHES: tuple[list[int], ...] = ([1, 0], [9, 4], [9, 3, 2, 3], [2, 3])

CONFIG: Spec = {
    "font": FONT,
    "background": "transparent",
    "view": {"stroke": SOFT, "strokeWidth": 0.8},
    "axis": {
        "labelColor": INK, "titleColor": INK, "labelFontSize": 12, "titleFontSize": 12, "titleFontWeight": "normal", "gridColor": "#dfe5e6",
        "gridWidth": 0.7, "domainColor": SOFT, "tickColor": SOFT, "labelFlush": False, "labelOverlap": True,
    },
    "title": {"color": INK, "fontSize": 13, "fontWeight": "bold", "anchor": "start", "offset": 8},
    "text": {"color": INK, "fontSize": 12},
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Plot:
    """A spec with its caption and the text that stands for it where it cannot be seen."""

    name: str
    spec: Spec
    caption: str
    alternative: str


def render_svg(plot: Plot) -> str:
    """The plot as one inline ``<svg>`` element with its text alternative; the same bytes for the same spec."""
    import re
    from html import escape

    import vl_convert

    svg = str(vl_convert.vegalite_to_svg(plot.spec, vl_version="5.20", allowed_base_urls=[]))
    svg = svg[svg.index("<svg") :].rstrip()
    head, _, body = svg.partition(">")
    box = re.search(r'viewBox="([^"]*)"', head)
    if box is None:
        raise ValueError("the plot has no viewBox")
    width = float(box.group(1).split()[2])
    # Two plots on one page must not share the ids of their clip paths.
    body = re.sub(r'(\bid="|url\(#)', rf"\g<1>{plot.name}-", body)
    label = escape(plot.alternative, quote=True)
    return f'<svg viewBox="{box.group(1)}" width="{width:g}" role="img" aria-label="{label}">{body}'


def _spec(body: Spec) -> Spec:
    return {"$schema": "https://vega.github.io/schema/vega-lite/v5.json", "config": CONFIG, "padding": 6, **body}


def _num(value: float) -> float:
    return float(f"{value:.6g}")


def _points(x: Iterable[float], y: Iterable[float]) -> list[Spec]:
    return [{"x": _num(a), "y": _num(b)} for a, b in zip(x, y, strict=True) if math.isfinite(a) and math.isfinite(b)]


@dataclass(frozen=True, slots=True)
class _Frame:
    """The axes of one panel, shared by its layers."""

    x_title: str
    y_title: str
    x_top: float
    y_low: float
    y_top: float
    height: int

    def channels(self) -> Spec:
        return {
            "x": {
                "field": "x", "type": "quantitative", "title": self.x_title, "scale": {"domain": [0, _num(self.x_top)], "nice": False},
                "axis": {"tickCount": 7},
            },
            "y": {
                "field": "y", "type": "quantitative", "title": self.y_title, "axis": {"tickCount": 5},
                "scale": {"domain": [_num(self.y_low), _num(self.y_top)], "nice": False, "zero": False},
            },
        }  # fmt: skip

    def line(self, name: str, x: Sequence[float], y: Sequence[float], dash: list[int], width: float, color: str = INK) -> Spec:
        mark = {"type": "line", "strokeDash": dash, "strokeWidth": width, "color": color, "clip": True}
        return {"name": name, "data": {"values": _points(x, y)}, "mark": mark, "encoding": self.channels()}

    def text(self, name: str, rows: list[Spec], **mark: Any) -> Spec:
        channels = {**self.channels(), "text": {"field": "text", "type": "nominal"}}
        return {"name": name, "data": {"values": rows}, "mark": {"type": "text", "align": "left", "dx": 6, **mark}, "encoding": channels}

    def dot(self, name: str, x: float, y: float, shape: str = "circle") -> Spec:
        mark = {"type": "point", "shape": shape, "size": 60, "filled": True, "color": INK, "opacity": 1}
        return {"name": name, "data": {"values": [{"x": _num(x), "y": _num(y)}]}, "mark": mark, "encoding": self.channels()}

    def upright(self, name: str, x: float, words: str, row: int = 0) -> list[Spec]:
        """A vertical line with its words above the frame; ``row`` lifts them over another's."""
        share = x / self.x_top
        align = "left" if share < 0.12 else "right" if share > 0.88 else "center"
        line = self.line(name, [x, x], [self.y_low, self.y_top], [5, 3], 1.4, SOFT)
        rows = [{"x": _num(x), "y": _num(self.y_top), "text": words}]
        return [line, self.text(f"{name} label", rows, align=align, dx=0, dy=-7 - LINE_GAP_PX * row, color=INK)]

    def apart(self, values: Sequence[float]) -> list[float]:
        """Heights for labels at these values, moved so that no two lie closer than a line of text."""
        per_px = (self.y_top - self.y_low) / self.height
        order = sorted(range(len(values)), key=lambda i: (values[i], i))
        placed = list(values)
        for before, this in zip(order, order[1:], strict=False):
            placed[this] = max(placed[this], placed[before] + LINE_GAP_PX * per_px)
        # Pushed beyond the frame: the whole stack comes down again.
        above = max(0.0, max(placed) - self.y_top) if placed else 0.0
        return [v - above for v in placed]


def _span(words: str, unit: str) -> str:
    return f"{words} ({unit})"


# ---------------------------------------------------------------- precharge


def precharge(result: PrechargeResult) -> Plot | None:
    """Bus, pack and target voltage over time of the slowest and the fastest attempt, with the windows of the supervisor."""
    curves = {s.name: s for s in result.series}
    panels, told = [], []
    seen: set[tuple[float, ...]] = set()
    for word, reached_s in (("slowest", result.slowest_s), ("fastest", result.fastest_s)):
        bus = curves.get(f"bus, {word}")
        # Where no attempt reaches the target, slowest and fastest are one and the same curve.
        if bus is None or not bus.x or bus.y in seen:
            continue
        seen.add(bus.y)
        alone = curves.get("bus, fastest") is None or curves["bus, fastest"].y == curves["bus, slowest"].y if "bus, slowest" in curves else True
        panels.append(_precharge_panel(result, curves, word, reached_s, alone))
        told.append(_precharge_words(bus, word, reached_s, alone))
    if not panels:
        return None
    windows = [f"{word} {show(at, 's', 3)}" for word, at in _windows(result)]
    caption = (
        "Voltage of the bus (thick), of the pack (dashed) and the target (dotted) over time."
        + (f" Upright lines: {' and '.join(windows)}." if windows else "")
        + (" Both attempts at the ends of all tolerances." if len(panels) > 1 else "")
    )
    return Plot("precharge", _spec({"vconcat": panels, "spacing": 26}), caption, "Precharge over time. " + " ".join(told))


def _windows(result: PrechargeResult) -> list[tuple[str, float]]:
    return [(w, t) for w, t in (("earliest", result.earliest_s), ("time-out", result.timeout_s)) if math.isfinite(t)]


def _precharge_words(bus: Series, word: str, reached_s: float, alone: bool) -> str:
    which = "Bus" if alone else f"{word.capitalize()} attempt: bus"
    end = f"{which} rises to {show(bus.y[-1], 'V', 3)} after {show(bus.x[-1], 's', 3)}"
    return f"{end}; the target is seen after {show(reached_s, 's', 3)}." if math.isfinite(reached_s) else f"{end}; the target is never reached."


def _precharge_panel(result: PrechargeResult, curves: Mapping[str, Series], word: str, reached_s: float, alone: bool) -> Spec:
    bus = curves[f"bus, {word}"]
    names = [n for n in ("bus", "target", "pack") if f"{n}, {word}" in curves]
    top = max(v for n in names for v in curves[f"{n}, {word}"].y if math.isfinite(v))
    frame = _Frame(_span("time", bus.x_unit), _span("voltage", bus.y_unit), bus.x[-1] or 1.0, 0.0, 1.06 * top or 1.0, 190)
    style = {"bus": (DASHES[0], 2.6, STRONG), "target": (DASHES[3], 1.6, INK), "pack": (DASHES[1], 1.4, INK)}
    said = {"bus": "bus", "target": f"target, {100 * result.target:.3g} %", "pack": "pack"}
    layers = [frame.line(n, curves[f"{n}, {word}"].x, curves[f"{n}, {word}"].y, *style[n]) for n in names]
    ends = frame.apart([curves[f"{n}, {word}"].y[-1] for n in names])
    rows = [{"x": _num(curves[f"{n}, {word}"].x[-1]), "y": _num(v), "text": said[n]} for n, v in zip(names, ends, strict=True)]
    layers.append(frame.text("labels", rows))
    shown = [(w, t) for w, t in _windows(result) if t <= frame.x_top * 1.0001]
    for row, (what, at) in enumerate(shown):
        layers += frame.upright(what, at, f"{what} {show(at, 's', 3)}", row)
    head = "No attempt reaches the target" if alone and not math.isfinite(reached_s) else f"{word.capitalize()} attempt"
    if math.isfinite(reached_s) and reached_s <= bus.x[-1]:
        level = _at(bus, reached_s)
        layers.append(frame.dot("reached", reached_s, level))
        layers.append(_reached(frame, reached_s, level, f"target seen after {show(reached_s, 's', 3)}"))
    elif not math.isfinite(reached_s) and not alone:
        head += ": never reaches the target"
    title = {"text": head, "offset": 12 + LINE_GAP_PX * len(shown)}
    return {"title": title, "width": WIDTH, "height": frame.height, "layer": layers}


def _reached(frame: _Frame, x: float, y: float, words: str) -> Spec:
    """Below its dot, on the side where there is room."""
    right = x < 0.6 * frame.x_top
    rows = [{"x": _num(x), "y": _num(y), "text": words}]
    return frame.text("reached label", rows, align="left" if right else "right", dx=6 if right else -6, dy=20)


def _at(series: Series, x: float) -> float:
    for (x0, y0), (x1, y1) in zip(zip(series.x, series.y, strict=True), zip(series.x[1:], series.y[1:], strict=True), strict=False):
        if x0 <= x <= x1:
            return y0 if x1 == x0 else y0 + (y1 - y0) * (x - x0) / (x1 - x0)
    return series.y[-1]


# ---------------------------------------------------------------- discharge


def discharge(result: DischargeResult, limit_s: float = math.nan) -> Plot | None:
    """Bus voltage after opening: one panel for each curve of the study, with 60 V and, where it helps, the time allowed.

    ``limit_s`` is the shortest time that a rule set or the owner allows for the discharge by its resistor; nan for none.
    """
    curves = [s for s in result.series if s.x and s.x[-1] > 0]
    panels = []
    told = []
    for series in curves:
        active = _is_active(result, series)
        panels.append(_discharge_panel(series, limit_s if active else math.nan))
        down = _crossing(series)
        told.append(f"{series.name}: {'60 V after ' + show(down, 's', 3) if math.isfinite(down) else 'never at 60 V in the time shown'}.")
    if not panels:
        return None
    caption = "Bus voltage after the contactors open; the dashed level is 60 V. The two panels have time axes of their own."
    caption = caption if len(panels) > 1 else caption.partition(" The two")[0]
    return Plot("discharge", _spec({"vconcat": panels, "spacing": 26}), caption, "Discharge over time. " + " ".join(told))


def _is_active(result: DischargeResult, series: Series) -> bool:
    """Whether the discharge resistor is at work in this curve: its case's time to 60 V tells."""
    down = _crossing(series)
    same = [c for c in result.cases if series.name.endswith(c.name) and math.isfinite(c.seconds)]
    if not math.isfinite(down) or not same:
        return False
    return min(same, key=lambda c: abs(math.log((c.seconds + 1e-9) / (down + 1e-9)))).active


def _crossing(series: Series) -> float:
    """When the curve falls to 60 V; between samples as an exponential falls. nan when it never does."""
    points = list(zip(series.x, series.y, strict=True))
    for (x0, y0), (x1, y1) in zip(points, points[1:], strict=False):
        if y0 > SAFE_V >= y1 > 0:
            return x0 + (x1 - x0) * math.log(y0 / SAFE_V) / math.log(y0 / y1)
    return math.nan


def _discharge_panel(series: Series, limit_s: float) -> Spec:
    down = _crossing(series)
    frame = _Frame(_span("time", series.x_unit), _span("bus voltage", series.y_unit), series.x[-1], 0.0, 1.06 * max(*series.y, SAFE_V), 150)
    layers = [
        frame.line("bus", series.x, series.y, DASHES[0], 2.6, STRONG),
        frame.line("60 V", [0.0, frame.x_top], [SAFE_V, SAFE_V], DASHES[1], 1.4),
        frame.text("60 V label", [{"x": _num(frame.x_top), "y": SAFE_V, "text": "60 V"}]),
    ]
    shown = math.isfinite(limit_s) and limit_s <= frame.x_top
    if shown:
        layers += frame.upright("limit", limit_s, f"allowed {show(limit_s, 's', 3)}")
    if math.isfinite(down):
        layers.append(frame.dot("reached", down, SAFE_V))
        rows = [{"x": _num(down), "y": SAFE_V, "text": f"60 V after {show(down, 's', 3)}"}]
        layers.append(frame.text("reached label", rows, dy=-14, align="left" if down < 0.7 * frame.x_top else "right"))
    title = {"text": series.name[:1].upper() + series.name[1:], "offset": 12 + (LINE_GAP_PX if shown else 0)}
    return {"title": title, "width": WIDTH, "height": frame.height, "layer": layers}


# ---------------------------------------------------------------- conductors


def ampacity(conductors: Mapping[str, ConductorFigures]) -> Plot | None:
    """Sustained current of each cable against its ampacity, most loaded first."""
    rows = [_bar(c) for c in sorted(conductors.values(), key=_load_order)]
    if not rows:
        return None
    drawn = rows[:MOST_BARS]
    top = max([v for r in drawn for v in (r["sustained_a"], r["ampacity_a"], r["short_a"]) if v is not None] + [1.0])
    over = [r["run"] for r in drawn if r["over"]]
    order = [r["run"] for r in drawn]
    layers = [_bars(drawn, order, top), _ticks(drawn, order, top), _diamonds(drawn, order, top), _said(drawn, order, top)]
    left = f" The {len(rows) - len(drawn)} least loaded stand in the table only." if len(rows) > len(drawn) else ""
    caption = (
        "Bar: sustained current. Upright stroke: ampacity, the smaller of table and heat balance. Diamond: current of the short case. "
        f"Most loaded first; the words give the sustained current as a share of the ampacity.{left}"
    )
    told = f"Above their ampacity: {', '.join(over)}. " if over else "No cable carries more than its ampacity. "
    told += "Most loaded first: " + "; ".join(f"{r['run']}, {r['text']}" for r in drawn[:6]) + "."
    spec = _spec({"width": WIDTH - 120, "height": {"step": 23}, "layer": layers})
    return Plot("ampacity", spec, caption, f"Currents against ampacity. {told}")


def _load_order(figure: ConductorFigures) -> tuple[float, str]:
    limit = figure.ampacity.current_a
    known = math.isfinite(limit) and limit > 0
    # An ampacity that is not known comes first: nothing says that it is enough.
    return (-figure.sustained_a / limit if known else -math.inf, figure.connection)


def _bar(figure: ConductorFigures) -> Spec:
    limit = figure.ampacity.current_a
    known = math.isfinite(limit) and limit > 0
    share = figure.sustained_a / limit if known else math.nan
    over = share > 1
    text = f"{share_words(share)} of {show(limit, 'A', 3)}{', OVER' if over else ''}" if known else "ampacity not known"
    if not math.isfinite(figure.sustained_a):
        text = "current not known"
    short = figure.short_a if figure.short_case and math.isfinite(figure.short_a) and figure.short_a > 5e-4 else None
    return {
        "run": f"{figure.connection} · {figure.cable}",
        "sustained_a": _num(figure.sustained_a) if math.isfinite(figure.sustained_a) else None,
        "ampacity_a": _num(limit) if known else None,
        "short_a": None if short is None else _num(short),
        "text": text,
        "over": over,
    }


def share_words(share: float) -> str:
    """ "87 %"; never "100 %" for a share above one."""
    for digits in (0, 1, 2, 3):
        text = f"{100 * share:.{digits}f}"
        if (float(text) > 100) == (share > 1):
            return f"{text} %"
    return f"{100 * share:.6g} %"


def _axes(order: list[str], top: float, field: str) -> Spec:
    return {
        "y": {"field": "run", "type": "nominal", "sort": order, "title": None, "axis": {"labelLimit": 230, "ticks": False, "grid": False}},
        "x": {"field": field, "type": "quantitative", "title": "current (A)", "scale": {"domain": [0, _num(1.02 * top)], "nice": False}},
    }


def _bars(rows: list[Spec], order: list[str], top: float) -> Spec:
    values = [r for r in rows if r["sustained_a"] is not None]
    encoding = {
        **_axes(order, top, "sustained_a"),
        "color": {"condition": {"test": "datum.over", "value": ALARM}, "value": PALE},
    }
    mark = {"type": "bar", "height": 11, "stroke": INK, "strokeWidth": 0.8}
    return {"name": "sustained", "data": {"values": values}, "mark": mark, "encoding": encoding}


def _ticks(rows: list[Spec], order: list[str], top: float) -> Spec:
    values = [r for r in rows if r["ampacity_a"] is not None]
    mark = {"type": "tick", "size": 19, "thickness": 3, "color": INK}
    return {"name": "ampacity", "data": {"values": values}, "mark": mark, "encoding": _axes(order, top, "ampacity_a")}


def _diamonds(rows: list[Spec], order: list[str], top: float) -> Spec:
    values = [r for r in rows if r["short_a"] is not None]
    mark = {"type": "point", "shape": "diamond", "size": 75, "filled": True, "fill": "#ffffff", "stroke": INK, "strokeWidth": 1.4, "opacity": 1}
    return {"name": "short", "data": {"values": values}, "mark": mark, "encoding": _axes(order, top, "short_a")}


def _said(rows: list[Spec], order: list[str], top: float) -> Spec:
    values = [{"run": r["run"], "end": _num(1.02 * top), "text": r["text"], "over": r["over"]} for r in rows]
    encoding = {
        **_axes(order, top, "end"),
        "text": {"field": "text", "type": "nominal"},
    }
    mark = {"type": "text", "align": "left", "dx": 8, "fontWeight": {"expr": "datum.over ? 'bold' : 'normal'"}}
    return {"name": "words", "data": {"values": values}, "mark": mark, "encoding": encoding}


# ---------------------------------------------------------------- pack


def pack(result: PackResult, limit_w: float = math.nan) -> list[Plot]:
    """Terminal voltage over power at the corners of each pack; ``limit_w`` is the most the supervisor lets it deliver."""
    plots = []
    for number, about in enumerate(dict.fromkeys(s.about for s in result.series)):
        curves = [s for s in result.series if s.about == about and s.x]
        if curves:
            plots.append(_pack_plot(f"pack{number}", about, curves, limit_w))
    return plots


def _pack_plot(name: str, about: str, curves: list[Series], limit_w: float) -> Plot:
    low, top = min(min(s.y) for s in curves), max(max(s.y) for s in curves)
    room = 0.06 * (top - low) or 1.0
    first = curves[0]
    limit = limit_w / 1e3 if first.x_unit == "kW" else limit_w
    right = max(max(s.x[-1] for s in curves), limit if math.isfinite(limit) else 0.0) or 1.0
    frame = _Frame(_span("power at the terminals", first.x_unit), _span(first.y_quantity, first.y_unit), right, low - room, top + room, 220)
    widths = (2.4, 2.0, 2.0, 2.0)
    layers = [frame.line(s.name, s.x, s.y, DASHES[i % 4], widths[i % 4], STRONG) for i, s in enumerate(curves)]
    layers.append(frame.text("labels", _end_labels(frame, curves), dx=7))
    layers += [frame.dot(f"end {s.name}", s.x[-1], s.y[-1]) for s in curves]
    if math.isfinite(limit):
        layers += frame.upright("limit", limit, f"power limit {show(limit, first.x_unit, 3)}")
    told = "; ".join(f"{s.name}: from {show(s.y[0], s.y_unit, 3)} at rest to {show(s.y[-1], s.y_unit, 3)} at {show(s.x[-1], s.x_unit, 3)}" for s in curves)
    spec = _spec({"width": WIDTH, "height": frame.height, "layer": layers})
    caption = f"Voltage of {about} over the power it delivers, at the ends of charge and temperature; each curve ends at 90 % of its largest power."
    return Plot(name, spec, caption, f"Pack voltage over power. {told}.")


def _end_labels(frame: _Frame, curves: list[Series]) -> list[Spec]:
    """Names at the curves' ends; those whose words would touch are moved apart."""
    near: Callable[[Series, Series], bool] = lambda a, b: abs(a.x[-1] - b.x[-1]) < 0.2 * frame.x_top  # noqa: E731
    heights = [s.y[-1] for s in curves]
    for i, this in enumerate(curves):
        group = [j for j, other in enumerate(curves) if near(this, other)]
        if group[0] == i and len(group) > 1:
            for j, height in zip(group, frame.apart([heights[j] for j in group]), strict=True):
                heights[j] = height
    return [{"x": _num(s.x[-1]), "y": _num(h), "text": s.name} for s, h in zip(curves, heights, strict=True)]
