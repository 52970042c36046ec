"""One picture for each fuse: time over current on logarithmic axes, with what the fuse protects and the faults."""

import math
from collections.abc import Sequence
from itertools import pairwise

from tristrand.papers.frame import INK, PALE, SOFT, STRONG, WIDTH, Plot, Spec, document, rounded
from tristrand.papers.label_places import Frame, Name, Place, places
from tristrand.studies.results import ProtectionResult, Series, shorted
from tristrand.units import show

HEIGHT = 400
MOST = 12
GAP = "overload gap"
# Dash and width by the first word of a curve's name; "duty" is drawn when a study gives such a curve.
LOOKS: dict[str, tuple[list[int], float, str]] = {
    "melts": ([1, 0], 2.6, INK),
    "cleared": ([1, 0], 1.3, INK),
    "contactor": ([2, 3], 1.6, INK),
    "duty": ([7, 2, 1, 2, 1, 2], 1.8, STRONG),
}
CABLES = ([9, 4], [9, 3, 2, 3])
UPRIGHT = ([5, 3], 1.2, SOFT)


def fuses(result: ProtectionResult) -> list[Plot]:
    """A plot for every fuse that has a curve, at most MOST."""
    names = list(dict.fromkeys(series.about for series in result.series))
    return [_plot(result, name, [s for s in result.series if s.about == name and s.x]) for name in names[:MOST]]


def _plot(result: ProtectionResult, fuse: str, every: Sequence[Series]) -> Plot:
    curves = [s for s in every if s.name != GAP]
    gap = next((s for s in every if s.name == GAP), None)
    x = [v for s in every for v in s.x]
    y = [v for s in curves for v in s.y]
    ends = 10 ** math.floor(math.log10(min(y))), 10 ** math.ceil(math.log10(max(y)))
    frame = Frame((0.7 * min(x), 1.5 * max(x)), ends, WIDTH, HEIGHT)
    axes = _axes(frame.x, frame.y)
    layers = _areas(curves, gap, axes, frame)
    layers += [
        _line(series, axes, look, k) for k, (series, look) in enumerate(zip(curves, _looks(curves), strict=True))
    ]
    named = [Name(s.name, s.x, s.y, len(set(s.x)) == 1) for s in curves]
    if gap is not None:
        middle, low = math.sqrt(gap.x[0] * gap.x[1]), frame.y[0] * 4
        named.append(Name("left to others", (gap.x[0], middle, gap.x[1]), (low, low, low)))
    for k, (name, place) in enumerate(zip(named, places(named, frame), strict=True)):
        layers += _words(name, place, frame, axes, k)
    told = _told(result, fuse)
    caption = f"{fuse}: time over current, both axes logarithmic. {_CAPTION} {'; '.join(told)}."
    spec = document({"width": WIDTH, "height": HEIGHT, "title": f"{fuse} and what it protects", "layer": layers})
    return Plot(f"fuse-{fuse}", spec, caption, f"Time-current picture of {fuse}. {'; '.join(told)}.")


_CAPTION = (
    "Thick: average melting time; thin: cleared, by the clearing I²t, at large currents; what lies between is shaded. "
    "Where a part's line lies above the fuse's, the fuse saves it; left of where they cross it does not. In the shaded "
    "band of currents the fuse is too slow or may not clear: contactors open there, or the device limits its current. "
    "Of the cables the thinnest behind the fuse and that of the largest load. Upright lines:"
)


def _told(result: ProtectionResult, fuse: str) -> list[str]:
    duty, band = result.fuses[fuse], result.bands.get(fuse)
    told = [f"strongest short circuit {show(duty.largest_a, 'A', 3)} {shorted(duty.largest_at)}"]
    if math.isfinite(duty.smallest_a):
        told.append(f"weakest that it has to clear {show(duty.smallest_a, 'A', 3)} {shorted(duty.smallest_at)}")
    if band is not None and band.load_case:
        told.insert(0, f"largest load {show(band.load_a, 'A', 3)}, case {band.load_case}")
    if band is not None and band.to_a > band.load_a:
        told.append(f"left to others: {show(band.load_a, 'A', 3)} to {show(band.to_a, 'A', 3)}")
    blank = [name for name, let in result.contactors.items() if let.fuse == fuse and math.isnan(let.limit_a2s)]
    if blank:
        told.append(f"not drawn, since its sheet gives no withstand: {', '.join(blank)}")
    return told


def _axes(x: tuple[float, float], y: tuple[float, float]) -> Spec:
    def axis(field: str, title: str, ends: tuple[float, float]) -> Spec:
        scale = {"type": "log", "domain": [rounded(v) for v in ends], "nice": False}
        labels = {"labelExpr": "format(datum.value, '~s')", "values": ticks(*ends)}
        return {"field": field, "type": "quantitative", "title": title, "scale": scale, "axis": labels}

    return {"x": axis("x", "current (A)", x), "y": axis("y", "time (s)", y)}


def ticks(low: float, high: float) -> list[float]:
    """Where a logarithmic axis is labelled: every decade, and between them where few decades leave room."""
    first, last = math.floor(math.log10(low)), math.ceil(math.log10(high))
    steps = (1, 2, 5) if last - first <= 3 else (1, 3) if last - first <= 4 else (1,)
    return [rounded(k * 10.0**n) for n in range(first, last + 1) for k in steps if low <= k * 10.0**n <= high]


def _looks(curves: Sequence[Series]) -> list[tuple[list[int], float, str]]:
    cables = iter(CABLES)
    out = []
    for series in curves:
        word = series.name.split(" ")[0]
        if len(set(series.x)) == 1:
            out.append(UPRIGHT)
        elif word == "cable":
            out.append((next(cables, CABLES[-1]), 1.5, INK))
        else:
            out.append(LOOKS.get(word, ([3, 2], 1.5, INK)))
    return out


def _areas(curves: Sequence[Series], gap: Series | None, axes: Spec, frame: Frame) -> list[Spec]:
    """Behind the lines: the overload gap, and the fuse from melting to cleared."""
    layers: list[Spec] = []
    if gap is not None:
        box = {"x": rounded(gap.x[0]), "x2": rounded(gap.x[1]), "y": rounded(frame.y[0]), "y2": rounded(frame.y[1])}
        look = {"type": "rect", "color": "#f0d9c8", "opacity": 0.55}
        encoding = {**axes, "x2": {"field": "x2"}, "y2": {"field": "y2"}}
        layers.append({"name": "gap", "data": {"values": [box]}, "mark": look, "encoding": encoding})
    melts = next((s for s in curves if s.name == "melts"), None)
    cleared = next((s for s in curves if s.name == "cleared"), None)
    if melts is not None and cleared is not None:
        rows = [
            {"x": rounded(a), "y": rounded(low), "y2": rounded(t)}
            for a, t in zip(cleared.x, cleared.y, strict=True)
            if (low := _at(melts, a)) <= t
        ]
        look = {"type": "area", "color": PALE, "opacity": 0.8, "clip": True}
        layers.append(
            {"name": "band", "data": {"values": rows}, "mark": look, "encoding": {**axes, "y2": {"field": "y2"}}}
        )
    return layers


def _at(curve: Series, amps: float) -> float:
    """The time of a curve at a current, straight on both logarithmic axes; its end beyond the last point."""
    for (x1, y1), (x2, y2) in pairwise(zip(curve.x, curve.y, strict=True)):
        if x1 <= amps <= x2 and x1 < x2:
            return float(y1 * (y2 / y1) ** (math.log(amps / x1) / math.log(x2 / x1)))
    return curve.y[-1] if amps > curve.x[-1] else curve.y[0]


def _line(series: Series, axes: Spec, look: tuple[list[int], float, str], number: int) -> Spec:
    dash, width, color = look
    points = [
        {"x": rounded(a), "y": rounded(b), "k": k} for k, (a, b) in enumerate(zip(series.x, series.y, strict=True))
    ]
    mark = {"type": "line", "strokeDash": dash, "strokeWidth": width, "color": color, "clip": True}
    encoding = {**axes, "order": {"field": "k", "type": "quantitative"}}
    return {"name": f"line {number}", "data": {"values": points}, "mark": mark, "encoding": encoding}


def _words(name: Name, place: Place, frame: Frame, axes: Spec, number: int) -> list[Spec]:
    """A name on a white edge, so that a line behind it does not cut it."""
    x = frame.x[0] * (frame.x[1] / frame.x[0]) ** (place.x_px / frame.width)
    y = frame.y[1] * (frame.y[0] / frame.y[1]) ** (place.y_px / frame.height)
    label = {"x": rounded(x), "y": rounded(y), "text": name.text}
    strong = name.text == "melts"
    look = {"type": "text", "angle": place.angle, "align": place.align, "baseline": "middle",
            "color": STRONG if strong else SOFT if name.upright else INK}  # fmt: skip
    channels = {**axes, "text": {"field": "text", "type": "nominal"}}
    edge = {**look, "stroke": "#ffffff", "strokeWidth": 4, "strokeJoin": "round"}
    return [
        {"name": f"edge {number}", "data": {"values": [label]}, "mark": edge, "encoding": channels},
        {"name": f"name {number}", "data": {"values": [label]}, "mark": look, "encoding": channels},
    ]
