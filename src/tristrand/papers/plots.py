"""The plots of curves: precharge, discharge, and the pack's voltage over its power."""

from __future__ import annotations

import math
from collections.abc import Mapping
from itertools import pairwise

from tristrand.papers.frame import (
    DASHES,
    INK,
    LINE_GAP_PX,
    SOFT,
    STRONG,
    WIDTH,
    Frame,
    Plot,
    Spec,
    axis_title,
    document,
    rounded,
)
from tristrand.studies.results import DischargeResult, PackResult, PrechargeResult, Series
from tristrand.units import engineering, show

SAFE_V = 60.0
# Widths of words above the frame and at the end of a curve, in pixels.
LABEL_PX, ROOM_PX = 190.0, 130.0
# A time-out more than so many times the length of the curve is named, not drawn.
FAR = 4.0


# ---------------------------------------------------------------- precharge


def precharge(result: PrechargeResult) -> Plot | None:
    """Bus, pack and target voltage over time, slowest and fastest attempt, with the windows of the supervisor."""
    curves = {s.name: s for s in result.series}
    panels, told = [], []
    drawn = {bus.y for word in ("slowest", "fastest") if (bus := curves.get(f"bus, {word}")) and bus.x}
    alone = len(drawn) == 1
    for word, reached_s in (("slowest", result.slowest_s), ("fastest", result.fastest_s)):
        bus = curves.get(f"bus, {word}")
        # Where no attempt reaches the target, slowest and fastest are one and the same curve.
        if bus is None or bus.y not in drawn:
            continue
        drawn.discard(bus.y)
        panels.append(_precharge_panel(result, curves, word, reached_s, alone))
        told.append(_precharge_words(bus, word, reached_s, alone))
    if not panels:
        return None
    windows = [f"{word} {engineering(at, 's', 3)}" for word, at in _windows(result)]
    caption = (
        "Voltage of the bus (thick), of the pack (dashed) and the target (dotted) over time."
        + (f" Upright lines: {' and '.join(windows)}." if windows else "")
        + (
            " The dot: when the supervisor sees the target, its sensors erring late (slowest) or early (fastest)."
            if len(panels) > 1
            else ""
        )
    )
    return Plot(
        "precharge", document({"vconcat": panels, "spacing": 26}), caption, "Precharge over time. " + " ".join(told)
    )


def _windows(result: PrechargeResult) -> list[tuple[str, float]]:
    return [(w, t) for w, t in (("earliest", result.earliest_s), ("time-out", result.timeout_s)) if math.isfinite(t)]


def _precharge_words(bus: Series, word: str, reached_s: float, alone: bool) -> str:
    which = "Bus" if alone else f"{word.capitalize()} attempt: bus"
    end = f"{which} rises to {show(bus.y[-1], 'V', 3)} after {engineering(bus.x[-1], 's', 3)}"
    return (
        f"{end}; the target is seen after {engineering(reached_s, 's', 3)}."
        if math.isfinite(reached_s)
        else f"{end}; the target is never reached."
    )


def _precharge_panel(
    result: PrechargeResult, curves: Mapping[str, Series], word: str, reached_s: float, alone: bool
) -> Spec:
    bus = curves[f"bus, {word}"]
    names = [n for n in ("bus", "target", "pack") if f"{n}, {word}" in curves]
    top = max(v for n in names for v in curves[f"{n}, {word}"].y if math.isfinite(v))
    end_s = bus.x[-1]
    # A time-out far beyond the curve would press it flat: it is then named in the title.
    right = max([end_s, *(t for _, t in _windows(result) if t <= FAR * end_s)]) * 1.02 or 1.0
    frame = Frame(
        word, axis_title("time", bus.x_unit), axis_title("voltage", bus.y_unit), right, 0.0, 1.06 * top or 1.0, 190
    )
    style = {"bus": (DASHES[0], 2.6, STRONG), "target": (DASHES[3], 1.6, INK), "pack": (DASHES[1], 1.4, INK)}
    said = {"bus": "bus", "target": f"target, {100 * result.target:.3g} %", "pack": "pack"}
    layers = [frame.line(n, curves[f"{n}, {word}"].x, curves[f"{n}, {word}"].y, *style[n]) for n in names]
    beside = end_s if (frame.x_top - end_s) / frame.x_top * WIDTH > ROOM_PX else frame.x_top
    ends = frame.apart([curves[f"{n}, {word}"].y[-1] for n in names])
    rows = [{"x": rounded(beside), "y": rounded(v), "text": said[n]} for n, v in zip(names, ends, strict=True)]
    layers += frame.clear("labels", rows)
    shown = [(w, t) for w, t in _windows(result) if t <= frame.x_top]
    # Words that would touch stand in two rows.
    lift = len(shown) == 2 and abs(shown[1][1] - shown[0][1]) / frame.x_top * WIDTH < LABEL_PX
    for row, (what, at) in enumerate(shown):
        layers += frame.upright(what, at, f"{what} {engineering(at, 's', 3)}", row * lift)
    never = not math.isfinite(reached_s)
    none = never and not math.isfinite(result.fastest_s)
    head = "No attempt reaches the target" if alone and none else f"{word.capitalize()} attempt"
    if math.isfinite(reached_s) and reached_s <= bus.x[-1]:
        level = _at(bus, reached_s)
        layers += _reached(frame, reached_s, level, f"target seen after {engineering(reached_s, 's', 3)}")
    elif never and not (alone and none):
        head += ": never reaches the target"
    beyond = [f"{w} {engineering(t, 's', 3)}" for w, t in _windows(result) if t > frame.x_top]
    head += f" ({' and '.join(beyond)} beyond the edge)" if beyond else ""
    title = {"text": head, "offset": 12 + LINE_GAP_PX * (len(shown) if lift else min(1, len(shown)))}
    return {"title": title, "width": WIDTH, "height": frame.height, "layer": layers}


def _reached(frame: Frame, x: float, y: float, words: str) -> list[Spec]:
    """A dot, a fine line down to the axis, and the words beside it, clear of the curves above."""
    right = x < 0.6 * frame.x_top
    rows = [{"x": rounded(x), "y": rounded(0.12 * frame.y_top), "text": words}]
    drop = frame.line("reached line", [x, x], [0.0, y], DASHES[3], 1.0, SOFT)
    return [
        drop,
        frame.dot("reached", x, y),
        *frame.clear("reached label", rows, align="left" if right else "right", dx=6 if right else -6),
    ]


def _at(series: Series, x: float) -> float:
    """The curve between its samples."""
    for (x0, y0), (x1, y1) in pairwise(zip(series.x, series.y, strict=True)):
        if x0 <= x <= x1:
            return y0 if x1 == x0 else y0 + (y1 - y0) * (x - x0) / (x1 - x0)
    return series.y[-1]


# ---------------------------------------------------------------- discharge


def discharge(result: DischargeResult, limit_s: float = math.nan) -> Plot | None:
    """Bus voltage after opening: a panel for each curve of the study, with 60 V and, where it helps, the time allowed.

    ``limit_s``: the shortest time that a rule set or the owner allows for the discharge by its resistor; nan for none.
    """
    curves = [s for s in result.series if s.x and s.x[-1] > 0]
    panels = []
    told = []
    # The study gives the curve with the discharge at work first; the limit says nothing about the other.
    working = result.series[0] if any(c.active for c in result.cases) and result.series else None
    for series in curves:
        panels.append(_discharge_panel(series, limit_s if series is working else math.nan))
        down = _crossing(series)
        told.append(
            f"{series.name}: 60 V after {engineering(down, 's', 3)}."
            if math.isfinite(down)
            else f"{series.name}: not down to 60 V in the time shown."
        )
    if not panels:
        return None
    caption = (
        "Bus voltage after the contactors open; the dashed level is 60 V. The two panels have time axes of their own."
    )
    caption = caption if len(panels) > 1 else caption.partition(" The two")[0]
    return Plot(
        "discharge", document({"vconcat": panels, "spacing": 26}), caption, "Discharge over time. " + " ".join(told)
    )


def _crossing(series: Series) -> float:
    """When the curve falls to 60 V; between samples as an exponential falls. nan when it never does."""
    points = list(zip(series.x, series.y, strict=True))
    for (x0, y0), (x1, y1) in pairwise(points):
        if y0 > SAFE_V >= y1:
            share = math.log(y0 / SAFE_V) / math.log(y0 / y1) if y1 > 0 else (y0 - SAFE_V) / (y0 - y1)
            return x0 + (x1 - x0) * share
    return math.nan


def _discharge_panel(series: Series, limit_s: float) -> Spec:
    down = _crossing(series)
    top = 1.06 * max(*series.y, SAFE_V)
    frame = Frame(
        series.name,
        axis_title("time", series.x_unit),
        axis_title("bus voltage", series.y_unit),
        series.x[-1],
        0.0,
        top,
        150,
    )
    layers = [
        frame.line("bus", series.x, series.y, DASHES[0], 2.6, STRONG),
        frame.line("60 V", [0.0, frame.x_top], [SAFE_V, SAFE_V], DASHES[1], 1.4),
        frame.text("60 V label", [{"x": rounded(frame.x_top), "y": SAFE_V, "text": "60 V"}]),
    ]
    shown = math.isfinite(limit_s) and limit_s <= frame.x_top
    if shown:
        layers += frame.upright("limit", limit_s, f"allowed {engineering(limit_s, 's', 3)}")
    if math.isfinite(down):
        layers.append(frame.dot("reached", down, SAFE_V))
        rows = [{"x": rounded(down), "y": SAFE_V, "text": f"60 V after {engineering(down, 's', 3)}"}]
        layers += frame.clear("reached label", rows, dy=-14, align="left" if down < 0.7 * frame.x_top else "right")
    title = {"text": series.name[:1].upper() + series.name[1:], "offset": 12 + (LINE_GAP_PX if shown else 0)}
    return {"title": title, "width": WIDTH, "height": frame.height, "layer": layers}


# ---------------------------------------------------------------- pack


def pack(result: PackResult, limit_w: float = math.nan) -> list[Plot]:
    """Terminal voltage over power at the corners of each pack; ``limit_w``: the most the supervisor lets it deliver."""
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
    right = max(*(s.x[-1] for s in curves), limit if math.isfinite(limit) else 0.0) or 1.0
    frame = Frame(
        about,
        axis_title("power at the terminals", first.x_unit),
        axis_title(first.y_quantity, first.y_unit),
        right,
        low - room,
        top + room,
        220,
    )
    widths = (2.4, 2.0, 2.0, 2.0)
    layers = [frame.line(s.name, s.x, s.y, DASHES[i % 4], widths[i % 4], STRONG) for i, s in enumerate(curves)]
    layers += frame.clear("labels", _end_labels(frame, curves), dx=7)
    layers += [frame.dot(f"end {s.name}", s.x[-1], s.y[-1]) for s in curves]
    if math.isfinite(limit):
        layers += frame.upright("limit", limit, f"power limit {show(limit, first.x_unit, 3)}")
    told = "; ".join(
        f"{s.name}: from {show(s.y[0], s.y_unit, 3)} at rest "
        f"to {show(s.y[-1], s.y_unit, 3)} at {show(s.x[-1], s.x_unit, 3)}"
        for s in curves
    )
    spec = document({"width": WIDTH, "height": frame.height, "layer": layers})
    caption = f"Voltage of {about} over the power it delivers, at the ends of charge and temperature. "
    caption += "Each curve ends at 90 % of its largest power."
    return Plot(name, spec, caption, f"Pack voltage over power. {told}.")


def _end_labels(frame: Frame, curves: list[Series]) -> list[Spec]:
    """Names at the curves' ends; those whose words would touch are moved apart."""
    heights = [s.y[-1] for s in curves]
    for i, this in enumerate(curves):
        group = [j for j, other in enumerate(curves) if abs(this.x[-1] - other.x[-1]) < 0.2 * frame.x_top]
        if group[0] == i and len(group) > 1:
            for j, height in zip(group, frame.apart([heights[j] for j in group]), strict=True):
                heights[j] = height
    return [{"x": rounded(s.x[-1]), "y": rounded(h), "text": s.name} for s, h in zip(curves, heights, strict=True)]
