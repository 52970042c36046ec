"""The plot of currents against ampacity: one bar for each cable."""

from __future__ import annotations

import math
from collections.abc import Mapping

from tristrand.papers.frame import ALARM, INK, PALE, WIDTH, Plot, Spec, document, rounded
from tristrand.papers.tables import LEAST_A, share_words
from tristrand.studies.results import ConductorFigures
from tristrand.units import show

MOST_BARS = 40


def ampacity(conductors: Mapping[str, ConductorFigures]) -> Plot | None:
    """Sustained current of each cable against its ampacity, most loaded first."""
    rows = [_bar(c) for c in sorted(conductors.values(), key=_load_order)]
    if not rows:
        return None
    drawn = rows[:MOST_BARS]
    top = max([v for r in drawn for v in (r["sustained_a"], r["ampacity_a"], r["short_a"]) if v is not None] + [1.0])
    over = [r["run"] for r in drawn if r["over"]]
    order = [r["run"] for r in drawn]
    layers = [
        _bars(drawn, order, top),
        _ticks(drawn, order, top),
        _diamonds(drawn, order, top),
        _said(drawn, order, top),
    ]
    left = f" The {len(rows) - len(drawn)} least loaded stand in the table only." if len(rows) > len(drawn) else ""
    caption = (
        "Bar: sustained current. Upright stroke: ampacity, the smaller of table and heat balance. "
        "Diamond: current of the short case, where it is the larger. "
        f"Most loaded first; the words give the sustained current as a share of the ampacity.{left}"
    )
    told = f"Above their ampacity: {', '.join(over)}. " if over else "No cable carries more than its ampacity. "
    told += "Most loaded first: " + "; ".join(f"{r['run']}, {r['text']}" for r in drawn[:6]) + "."
    spec = document({"width": WIDTH - 120, "height": {"step": 23}, "layer": layers})
    return Plot("ampacity", spec, caption, f"Currents against ampacity. {told}")


def _load_order(figure: ConductorFigures) -> float:
    limit = figure.ampacity.current_a
    known = math.isfinite(limit) and limit > 0
    # An ampacity that is not known comes first: nothing says that it is enough.
    # What is nothing but residue of the solver is alike: it keeps the order of the file.
    share = figure.sustained_a / limit if figure.sustained_a > LEAST_A else 0.0
    return -float(f"{share:.9g}") if known else -math.inf


def _bar(figure: ConductorFigures) -> Spec:
    limit = figure.ampacity.current_a
    known = math.isfinite(limit) and limit > 0
    sustained = 0.0 if abs(figure.sustained_a) < LEAST_A else figure.sustained_a
    share = sustained / limit if known else math.nan
    over = share > 1
    text = f"{share_words(share)} of {show(limit, 'A', 3)}{', OVER' if over else ''}" if known else "ampacity not known"
    if not math.isfinite(figure.sustained_a):
        text = "current not known"
    short = (
        figure.short_a
        if figure.short_case and math.isfinite(figure.short_a) and figure.short_a > max(figure.sustained_a, LEAST_A)
        else None
    )
    return {
        "run": f"{figure.connection} · {figure.cable}",
        "sustained_a": rounded(sustained) if math.isfinite(sustained) else None,
        "ampacity_a": rounded(limit) if known else None,
        "short_a": None if short is None else rounded(short),
        "text": text,
        "over": over,
    }


def _axes(order: list[str], top: float, field: str) -> Spec:
    return {
        "y": {
            "field": "run",
            "type": "nominal",
            "sort": order,
            "title": None,
            "axis": {"labelLimit": 230, "ticks": False, "grid": False, "labelPadding": 7},
        },
        "x": {
            "field": field,
            "type": "quantitative",
            "title": "current (A)",
            "scale": {"domain": [0, rounded(1.02 * top)], "nice": False},
        },
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
    mark = {"type": "tick", "size": 19, "thickness": 3, "color": INK, "opacity": 1}
    return {"name": "ampacity", "data": {"values": values}, "mark": mark, "encoding": _axes(order, top, "ampacity_a")}


def _diamonds(rows: list[Spec], order: list[str], top: float) -> Spec:
    values = [r for r in rows if r["short_a"] is not None]
    mark = {
        "type": "point",
        "shape": "diamond",
        "size": 75,
        "filled": True,
        "fill": "#ffffff",
        "stroke": INK,
        "strokeWidth": 1.4,
        "opacity": 1,
    }
    return {"name": "short", "data": {"values": values}, "mark": mark, "encoding": _axes(order, top, "short_a")}


def _said(rows: list[Spec], order: list[str], top: float) -> Spec:
    values = [{"run": r["run"], "end": rounded(1.02 * top), "text": r["text"], "over": r["over"]} for r in rows]
    encoding = {
        **_axes(order, top, "end"),
        "text": {"field": "text", "type": "nominal"},
    }
    mark = {"type": "text", "align": "left", "dx": 8, "fontWeight": {"expr": "datum.over ? 'bold' : 'normal'"}}
    return {"name": "words", "data": {"values": values}, "mark": mark, "encoding": encoding}
