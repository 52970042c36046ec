"""Plots as Vega-Lite specs: plain dicts built from results, so that a test can read what is drawn.

They are rendered to static SVG when the report is made. A static picture prints as it looks, needs no script and no
network, and keeps the page small; the numbers stand in the tables beside it. Curves differ by dash and width and carry
their names at the line itself, so that nothing is said by colour alone.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from tristrand.findings.words import plain
from tristrand.papers import label_places

Spec = dict[str, Any]

WIDTH = 600
# Metric-compatible families: text measured with one fits when the reader's machine has another.
FONT = "Liberation Sans, Arial, Helvetica, sans-serif"
INK, SOFT, STRONG, PALE, ALARM = "#1c2b33", "#5a6870", "#174a5c", "#d3dee1", "#dd9a8c"
LINE_GAP_PX = 15.0
# From the top of a frame to the middle of the words over it.
ABOVE_PX = 10.0
DASHES: tuple[list[int], ...] = ([1, 0], [9, 4], [9, 3, 2, 3], [2, 3])

CONFIG: Spec = {
    "font": FONT,
    "background": "transparent",
    "aria": False,
    "view": {"stroke": SOFT, "strokeWidth": 0.8},
    "axis": {
        "labelColor": INK,
        "titleColor": INK,
        "labelFontSize": 12,
        "titleFontSize": 12,
        "titleFontWeight": "normal",
        "gridColor": "#dfe5e6",
        "gridWidth": 0.7,
        "domainColor": SOFT,
        "tickColor": SOFT,
        "labelFlush": False,
        "labelOverlap": True,
    },
    "title": {"color": INK, "fontSize": 13, "fontWeight": "bold", "anchor": "start", "frame": "group", "offset": 8},
    "text": {"color": INK, "fontSize": 12},
}


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
    width, height = (float(size) for size in box.group(1).split()[2:])
    # What is nearly square is set narrower on paper: two such pictures then share a page.
    tall = ' class="tall"' if height > 0.7 * width else ""
    # The renderer counts clip paths over the whole process: numbered anew, they are the plot's own and stay the same.
    ids = dict.fromkeys(re.findall(r'\bid="([^"]*)"', body))
    for number, old in enumerate(ids):
        body = re.sub(rf'(\bid="|url\(#){re.escape(old)}(?=["\)])', rf"\g<1>{plot.name}-{number}", body)
    label = escape(plain(plot.alternative), quote=True)
    return f'<svg viewBox="{box.group(1)}" width="{width:g}"{tall} role="img" aria-label="{label}">{body}'


def document(body: Spec) -> Spec:
    """A whole spec: the body with schema, look and padding."""
    return {"$schema": "https://vega.github.io/schema/vega-lite/v5.json", "config": CONFIG, "padding": 6, **body}


def rounded(value: float) -> float:
    """Six digits, so that the page stays small and the same."""
    return float(f"{value:.6g}")


def _points(x: Iterable[float], y: Iterable[float]) -> list[Spec]:
    return [
        {"x": rounded(a), "y": rounded(b)} for a, b in zip(x, y, strict=True) if math.isfinite(a) and math.isfinite(b)
    ]


@dataclass(frozen=True, slots=True)
class Frame:
    """The axes of one panel, shared by its layers.

    Vega-Lite mixes up layers of one name, so each carries the panel's name before its own.
    """

    panel: str
    x_title: str
    y_title: str
    x_top: float
    y_low: float
    y_top: float
    height: int

    def channels(self) -> Spec:
        """The encodings of both axes."""
        return {
            "x": {
                "field": "x",
                "type": "quantitative",
                "title": self.x_title,
                "scale": {"domain": [0, rounded(self.x_top)], "nice": False},
                "axis": {"tickCount": 7},
            },
            "y": {
                "field": "y",
                "type": "quantitative",
                "title": self.y_title,
                "axis": {"tickCount": 5, "minExtent": 30},
                "scale": {"domain": [rounded(self.y_low), rounded(self.y_top)], "nice": False, "zero": False},
            },
        }

    def line(
        self, name: str, x: Sequence[float], y: Sequence[float], dash: list[int], width: float, color: str = INK
    ) -> Spec:
        """A curve with its own dash."""
        mark = {"type": "line", "strokeDash": dash, "strokeWidth": width, "color": color, "clip": True}
        return {
            "name": f"{self.panel} {name}",
            "data": {"values": _points(x, y)},
            "mark": mark,
            "encoding": self.channels(),
        }

    def text(self, name: str, rows: list[Spec], **mark: Any) -> Spec:
        """Words at points."""
        channels = {**self.channels(), "text": {"field": "text", "type": "nominal"}}
        look = {"type": "text", "align": "left", "dx": 6, **mark}
        return {"name": f"{self.panel} {name}", "data": {"values": rows}, "mark": look, "encoding": channels}

    def clear(self, name: str, rows: list[Spec], **mark: Any) -> list[Spec]:
        """Words inside the frame, on a white edge so that a line behind them does not cut them."""
        edge = self.text(f"{name} edge", rows, **mark, stroke="#ffffff", strokeWidth=4, strokeJoin="round")
        return [edge, self.text(name, rows, **mark)]

    def dot(self, name: str, x: float, y: float, shape: str = "circle") -> Spec:
        """One marked point."""
        mark = {"type": "point", "shape": shape, "size": 60, "filled": True, "color": INK, "opacity": 1}
        return {
            "name": f"{self.panel} {name}",
            "data": {"values": [{"x": rounded(x), "y": rounded(y)}]},
            "mark": mark,
            "encoding": self.channels(),
        }

    def uprights(self, given: Sequence[tuple[str, float, str]]) -> list[Spec]:
        """Vertical lines with their words above the frame.

        Args:
            given: name of the layer, place on the axis, and words of each.
        """
        words = [text for _, _, text in given]
        placed = label_places.above([x / self.x_top * WIDTH for _, x, _ in given], words, WIDTH)
        layers: list[Spec] = []
        for (name, x, text), (row, align) in zip(given, placed, strict=True):
            layers.append(self.line(name, [x, x], [self.y_low, self.y_top], [5, 3], 1.4, SOFT))
            rows = [{"x": rounded(x), "y": rounded(self.y_top), "text": text}]
            dy = -ABOVE_PX - LINE_GAP_PX * row
            layers.append(self.text(f"{name} label", rows, align=align, dx=0, dy=dy, color=INK))
        return layers

    def named(
        self, name: str, given: Sequence[label_places.Name], nameless: Sequence[label_places.Name] = ()
    ) -> list[Spec]:
        """Names at their curves, off each other and off every line; ``nameless`` lines only keep them away."""
        area = label_places.Frame((0.0, self.x_top), (self.y_low, self.y_top), WIDTH, self.height, log=False)
        rows = []
        for one, place in zip(given, label_places.places(given, area, nameless), strict=True):
            y = self.y_top - place.y_px / self.height * (self.y_top - self.y_low)
            rows.append({"x": rounded(place.x_px / WIDTH * self.x_top), "y": rounded(y), "text": one.text})
        return self.clear(name, rows, dx=0)

    def apart(self, values: Sequence[float]) -> list[float]:
        """Heights for labels at these values, moved so that no two lie closer than a line of text."""
        per_px = (self.y_top - self.y_low) / self.height
        order = sorted(range(len(values)), key=lambda i: (values[i], i))
        placed = list(values)
        for before, this in pairwise(order):
            placed[this] = max(placed[this], placed[before] + LINE_GAP_PX * per_px)
        # Pushed beyond the frame: the whole stack comes down again.
        above = max(0.0, max(placed) - self.y_top + 8 * per_px) if placed else 0.0
        return [v - above for v in placed]


def axis_title(words: str, unit: str) -> str:
    """ "time (s)"."""
    return f"{words} ({unit})"
