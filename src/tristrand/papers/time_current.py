"""One picture for each fuse: time over current on logarithmic axes, with what the fuse protects and the faults."""

import math
from collections.abc import Sequence

from tristrand.papers.frame import DASHES, INK, SOFT, STRONG, WIDTH, Plot, Spec, document, rounded
from tristrand.studies.results import ProtectionResult, Series
from tristrand.units import show

HEIGHT = 330
MOST = 12
# Where along its curve a name stands, as a share of the points, so that names of crossing lines lie apart.
AT = {"melts": 0.15, "cleared": 0.99, "cable": 0.12, "contactor": 0.35}


def fuses(result: ProtectionResult) -> list[Plot]:
    """A plot for every fuse that has a curve, at most MOST."""
    names = list(dict.fromkeys(series.about for series in result.series))
    return [_plot(result, name, [s for s in result.series if s.about == name and s.x]) for name in names[:MOST]]


def _plot(result: ProtectionResult, fuse: str, curves: Sequence[Series]) -> Plot:
    x = [v for s in curves for v in s.x]
    y = [v for s in curves for v in s.y]
    axes = _axes(
        (0.7 * min(x), 1.5 * max(x)), (10 ** math.floor(math.log10(min(y))), 10 ** math.ceil(math.log10(max(y))))
    )
    layers = [layer for k, series in enumerate(curves) for layer in _layers(series, axes, k, max(y))]
    duty = result.fuses[fuse]
    told = [f"strongest short circuit {show(duty.largest_a, 'A', 3)} at {duty.largest_at}"]
    if math.isfinite(duty.smallest_a):
        told.append(f"weakest that it has to clear {show(duty.smallest_a, 'A', 3)} at {duty.smallest_at}")
    caption = (
        f"{fuse}: time over current, both axes logarithmic. Thick: average melting time; cleared: by the clearing "
    )
    caption += (
        "I²t, at large currents. Where a part's line lies above the fuse's, the fuse saves it; left of where they "
    )
    caption += (
        "cross it does not, and what limits or watches the current has to. Upright lines: " + "; ".join(told) + "."
    )
    spec = document({"width": WIDTH, "height": HEIGHT, "title": f"{fuse} and what it protects", "layer": layers})
    return Plot(f"fuse-{fuse}", spec, caption, f"Time-current picture of {fuse}. {'; '.join(told)}.")


def _axes(x: tuple[float, float], y: tuple[float, float]) -> Spec:
    def axis(field: str, title: str, ends: tuple[float, float]) -> Spec:
        scale = {"type": "log", "domain": [rounded(v) for v in ends], "nice": False}
        labels = {"labelExpr": "format(datum.value, '~s')", "tickCount": 7}
        return {"field": field, "type": "quantitative", "title": title, "scale": scale, "axis": labels}

    return {"x": axis("x", "current (A)", x), "y": axis("y", "time (s)", y)}


def _layers(series: Series, axes: Spec, number: int, top: float) -> list[Spec]:
    upright = len(set(series.x)) == 1
    thick = series.name == "melts"
    dash, width, color = ([5, 3], 1.2, SOFT) if upright else (DASHES[number % len(DASHES)], 2.6 if thick else 1.5, INK)
    points = [
        {"x": rounded(a), "y": rounded(b), "k": k} for k, (a, b) in enumerate(zip(series.x, series.y, strict=True))
    ]
    line = {
        "name": f"line {number}",
        "data": {"values": points},
        "mark": {
            "type": "line",
            "strokeDash": [1, 0] if thick else dash,
            "strokeWidth": width,
            "color": color,
            "clip": True,
        },
        "encoding": {**axes, "order": {"field": "k", "type": "quantitative"}},
    }
    if upright:
        # Beside the upright line, high up: written downwards they never meet the curves' names.
        label = {"x": points[0]["x"], "y": rounded(top), "text": series.name}
        look = {"type": "text", "angle": 90, "align": "left", "baseline": "bottom", "dx": 6, "dy": -4, "color": SOFT}
    else:
        share = next((v for key, v in AT.items() if series.name.startswith(key)), 0.5)
        at = points[min(int(share * len(points)), len(points) - 1)]
        label = {"x": at["x"], "y": at["y"], "text": series.name}
        look = {"type": "text", "align": "left", "dx": 7, "dy": -7, "color": STRONG if thick else INK}
    channels = {**axes, "text": {"field": "text", "type": "nominal"}}
    edge = {**look, "stroke": "#ffffff", "strokeWidth": 4, "strokeJoin": "round"}
    return [
        line,
        {"name": f"edge {number}", "data": {"values": [label]}, "mark": edge, "encoding": channels},
        {"name": f"name {number}", "data": {"values": [label]}, "mark": look, "encoding": channels},
    ]
