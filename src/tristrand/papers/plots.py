"""The plots of curves: precharge, discharge, and the pack's voltage over its power."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

from tristrand.papers.frame import (
    DASHES,
    INK,
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
from tristrand.papers.label_places import Name
from tristrand.studies.results import DischargeResult, PackResult, PrechargeResult, Series
from tristrand.units import engineering, show

SAFE_V = 60.0
# A time-out more than so many times the length of the curve is named, not drawn.
FAR = 4.0


# ---------------------------------------------------------------- precharge


@dataclass(frozen=True, slots=True)
class _Attempt:
    """One panel's curves. ``note``: what the study says about where they end; ``head``: the panel's title."""

    word: str
    curves: Mapping[str, Series]
    reached_s: float
    head: str
    note: str

    @property
    def bus(self) -> Series:
        return self.curves["bus"]

    def words(self) -> str:
        """The attempt in words, for the text alternative."""
        end = f"{self.head}: the bus is at {show(self.bus.y[-1], 'V', 3)} after {engineering(self.bus.x[-1], 's', 3)}"
        end += f", {self.note}" if self.note else ""
        seen = engineering(self.reached_s, "s", 3)
        return f"{end}; the target is {f'seen after {seen}' if math.isfinite(self.reached_s) else 'never reached'}."


def precharge(result: PrechargeResult) -> Plot | None:
    """Bus, pack and target voltage over time, slowest and fastest attempt, with the windows of the supervisor."""
    attempts = _attempts(result)
    if not attempts:
        return None
    panels = [_precharge_panel(result, attempt) for attempt in attempts]
    windows = [f"{word} {engineering(at, 's', 3)}" for word, at in _windows(result)]
    caption = "Voltage of the bus (thick), of the pack (dashed) and the target (dotted) over time."
    caption += f" Upright lines: {', '.join(windows)}." if windows else ""
    if any(math.isfinite(a.reached_s) for a in attempts):
        caption += (
            " The dot: when the supervisor sees the target, its sensors erring late (slowest) or early (fastest)."
        )
    told = " ".join(attempt.words() for attempt in attempts)
    return Plot("precharge", document({"vconcat": panels, "spacing": 26}), caption, f"Precharge over time. {told}")


def _attempts(result: PrechargeResult) -> list[_Attempt]:
    """The slowest and the fastest attempt; where no attempt reaches the target they are one and the same curve."""
    found: list[_Attempt] = []
    none = not math.isfinite(result.slowest_s) and not math.isfinite(result.fastest_s)
    for word, reached_s in (("slowest", result.slowest_s), ("fastest", result.fastest_s)):
        curves: dict[str, Series] = {}
        note = ""
        for series in result.series:
            # Named "bus, slowest"; the study may add where the curve ends.
            what, _, rest = series.name.partition(", ")
            which, _, ends = rest.partition(", ")
            if which == word and series.x:
                curves[what] = series
                note = note or ends
        if "bus" not in curves or any(a.bus.y == curves["bus"].y for a in found):
            continue
        head = f"{word.capitalize()} attempt"
        if none:
            head = "No attempt reaches the target"
        elif not math.isfinite(reached_s):
            head += ", which never reaches the target"
        found.append(_Attempt(word, curves, reached_s, head, note))
    return found


def _windows(result: PrechargeResult) -> list[tuple[str, float]]:
    given = (("earliest", result.earliest_s), ("early look", result.rise_after_s), ("time-out", result.timeout_s))
    return [(word, at) for word, at in given if math.isfinite(at)]


def _precharge_panel(result: PrechargeResult, attempt: _Attempt) -> Spec:
    bus, curves = attempt.bus, attempt.curves
    names = [n for n in ("bus", "target", "pack") if n in curves]
    top = max(v for n in names for v in curves[n].y if math.isfinite(v))
    end_s = bus.x[-1]
    # A time-out far beyond the curve would press it flat: it is then named in the title.
    right = max([end_s, *(t for _, t in _windows(result) if t <= FAR * end_s)]) * 1.02 or 1.0
    frame = Frame(
        attempt.word,
        axis_title("time", bus.x_unit),
        axis_title("voltage", bus.y_unit),
        right,
        0.0,
        # Room for a name over the highest line.
        1.15 * top or 1.0,
        190,
    )
    style = {"bus": (DASHES[0], 2.6, STRONG), "target": (DASHES[3], 1.6, INK), "pack": (DASHES[1], 1.4, INK)}
    said = {"bus": "bus", "target": f"target, {100 * result.target:.3g} %", "pack": "pack"}
    layers = [frame.line(n, curves[n].x, curves[n].y, *style[n]) for n in names]
    shown = [(word, at, f"{word} {engineering(at, 's', 3)}") for word, at in _windows(result) if at <= frame.x_top]
    layers += frame.uprights(shown)
    named = [Name(said[n], *_drawn(curves[n])) for n in names]
    ends = 0.0, frame.y_top
    nameless = [Name(word, (at, at), ends) for word, at, _ in shown]
    if math.isfinite(attempt.reached_s) and attempt.reached_s <= end_s:
        layers += _reached(frame, attempt.reached_s, _at(bus, attempt.reached_s))
        words = f"target seen after {engineering(attempt.reached_s, 's', 3)}"
        drop = (0.5 * _at(bus, attempt.reached_s), 0.0)
        named.append(Name(words, (attempt.reached_s, attempt.reached_s), drop))
    layers += frame.named("labels", named, nameless)
    beyond = [f"{w} {engineering(t, 's', 3)}" for w, t in _windows(result) if t > frame.x_top]
    head = attempt.head + (f"; drawn {attempt.note}" if attempt.note else "")
    head += f" ({' and '.join(beyond)} beyond the edge)" if beyond else ""
    return {"title": {"text": head}, "width": WIDTH, "height": frame.height, "layer": layers}


def _drawn(series: Series) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """The points of a curve that can be drawn."""
    points = [(x, y) for x, y in zip(series.x, series.y, strict=True) if math.isfinite(x) and math.isfinite(y)]
    return tuple(x for x, _ in points), tuple(y for _, y in points)


def _reached(frame: Frame, x: float, y: float) -> list[Spec]:
    """A dot and a fine line down to the axis."""
    return [frame.line("reached line", [x, x], [0.0, y], DASHES[3], 1.0, SOFT), frame.dot("reached", x, y)]


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
    layers += frame.uprights([("limit", limit_s, f"allowed {engineering(limit_s, 's', 3)}")] if shown else [])
    if math.isfinite(down):
        layers.append(frame.dot("reached", down, SAFE_V))
        nameless = [Name("", tuple(series.x), tuple(series.y)), Name("", (0.0, frame.x_top), (SAFE_V, SAFE_V))]
        nameless += [Name("", (limit_s, limit_s), (0.0, top))] if shown else []
        words = f"60 V after {engineering(down, 's', 3)}"
        layers += frame.named("reached label", [Name(words, (down,), (SAFE_V,))], nameless)
    title = {"text": series.name[:1].upper() + series.name[1:]}
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
        layers += frame.uprights([("limit", limit, f"power limit {show(limit, first.x_unit, 3)}")])
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
