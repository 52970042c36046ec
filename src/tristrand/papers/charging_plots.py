"""The plot of a charging session: power into the pack and state of charge over time."""

from __future__ import annotations

from tristrand.papers.frame import DASHES, STRONG, WIDTH, Frame, Plot, Spec, axis_title, document
from tristrand.papers.label_places import Name
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
    frame = Frame(
        series.name,
        axis_title("time", series.x_unit),
        # The title over the panel says what kind of power.
        axis_title(series.y_quantity.partition(" into ")[0], series.y_unit),
        1.02 * series.x[-1],
        0.0,
        # Room for words over the end.
        1.2 * max(series.y),
        150,
    )
    end = f"{show(series.y[-1], series.y_unit, 3)} after {show(series.x[-1], series.x_unit, 3)}"
    layers = [
        frame.line("curve", series.x, series.y, DASHES[0], 2.6, STRONG),
        frame.dot("end", series.x[-1], series.y[-1]),
        *frame.named(
            "end label", [Name(end, (series.x[-1],), (series.y[-1],))], [Name("", tuple(series.x), tuple(series.y))]
        ),
    ]
    title = {"text": series.y_quantity[:1].upper() + series.y_quantity[1:]}
    return {"title": title, "width": WIDTH, "height": frame.height, "layer": layers}
