"""The plot of a charging session: power into the pack and state of charge over time."""

from __future__ import annotations

from tristrand.papers.frame import DASHES, STRONG, WIDTH, Frame, Plot, Spec, axis_title, document, rounded
from tristrand.studies.results import ChargingResult, Series
from tristrand.units import show


def charging(result: ChargingResult) -> Plot | None:
    """One panel for the power and one for the charge, at the main supply with mild cells."""
    curves = [s for s in result.series if s.x and s.x[-1] > 0]
    if not curves:
        return None
    about = curves[0].about
    panels = [_panel(s) for s in curves]
    told = " ".join(
        f"{s.y_quantity.capitalize()}: {show(s.y[0], s.y_unit, 3)} at the start, "
        f"{show(s.y[-1], s.y_unit, 3)} after {show(s.x[-1], 'h', 3)}."
        for s in curves
    )
    caption = f"A session at {about}, the main supply, cells mild: power into the pack, and state of charge."
    return Plot("charging", document({"vconcat": panels, "spacing": 26}), caption, f"Charging over time. {told}")


def _panel(series: Series) -> Spec:
    top = 100.0 if series.y_unit == "%" else 1.12 * max(series.y)
    frame = Frame(
        series.name,
        axis_title("time", series.x_unit),
        axis_title(series.y_quantity, series.y_unit),
        1.02 * series.x[-1],
        0.0,
        top,
        150,
    )
    end = f"{show(series.y[-1], series.y_unit, 3)} after {show(series.x[-1], series.x_unit, 3)}"
    rows = [{"x": rounded(series.x[-1]), "y": rounded(series.y[-1]), "text": end}]
    layers = [
        frame.line("curve", series.x, series.y, DASHES[0], 2.6, STRONG),
        frame.dot("end", series.x[-1], series.y[-1]),
        # A curve that rises to its end leaves room under itself, further down.
        *frame.clear("end label", rows, align="right", dx=-8, dy=16 if series.y[0] > 0.8 * series.y[-1] else 48),
    ]
    title = series.y_quantity[:1].upper() + series.y_quantity[1:]
    return {"title": {"text": title, "offset": 12}, "width": WIDTH, "height": frame.height, "layer": layers}
