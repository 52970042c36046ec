"""Cases that last only so long: judged by current and time together, never by a peak rating of unknown length."""

import math
from collections.abc import Iterable, Iterator
from typing import TypeAlias

from tristrand.design import Datum
from tristrand.records import NamedTuple
from tristrand.rules.rule import Context, Outcome
from tristrand.rules.view import PARTS, sheet_pointer
from tristrand.studies.results import CaseFlows, Missing

Points: TypeAlias = tuple[tuple[float, float], ...]
Gaps: TypeAlias = tuple[tuple[str, float], ...]


class Allowed(NamedTuple):
    """What a sheet allows beyond its continuous rating.

    ``rated`` and its field; ``points``: each a current [A] and the longest time [s] at it; ``gaps``: fields that are
    missing, each with the current [A] up to which it might allow more.
    """

    rated: Datum | None
    field: str
    points: Points = ()
    gaps: Gaps = ()
    rated_source: str = "DATASHEET#continuous current"
    point_source: str = "DATASHEET#overload"


def timed(cases: Iterable[CaseFlows], part_id: str) -> list[CaseFlows]:
    """Cases with a duration in which the part carries current."""
    return [c for c in cases if c.duration_s > 0 and part_id in c.flows and c.flows[part_id].current_a > 0]


def overloads(sheet: object) -> Points:
    """The overload entries of a sheet: current [A] and time [s], each at the careful end of its tolerance."""
    return tuple((entry.current.low, entry.time.low) for entry in getattr(sheet, "overload", ()))


def peak(sheet: object, current_field: str, time_field: str) -> tuple[Points, Gaps]:
    """A peak rating with its time as one point; what is missing of the two as a gap."""
    current: Datum | None = getattr(sheet, current_field)
    time: Datum | None = getattr(sheet, time_field)
    if current is None:
        return (), ((current_field, math.inf),)
    if time is None:
        return (), ((time_field, current.low),)
    return ((current.low, time.low),), ()


def judge_timed(ctx: Context, part_id: str, case: CaseFlows, allowed: Allowed) -> Iterator[Outcome]:
    """Passes within the rating, or where a point of at least that current lasts at least as long as the case.

    Each pulse is taken to start from the continuous rating's temperature; how often it comes again is not judged.
    """
    flow, rated = case.flows[part_id], allowed.rated
    covering = max((a for a, seconds in allowed.points if seconds >= case.duration_s), default=0.0)
    most = max(covering, rated.low if rated is not None else 0.0)
    if flow.current_a > most:
        gaps = [field for field, up_to in allowed.gaps if flow.current_a <= up_to]
        gaps += [allowed.field] if rated is None else []
        if gaps:
            words = [(sheet_pointer(ctx, part_id, gap), f"{gap.replace('_', ' ')} of {part_id}") for gap in gaps]
            yield ctx.open([Missing(pointer, what) for pointer, what in words])
            return
    span = f"{case.duration_s:g} s"
    over = most == covering and covering > 0
    yield ctx.compare(
        f"{PARTS}/{part_id}",
        f"current for {span} in case {case.case}",
        flow.current_a,
        "A",
        "<=",
        most,
        allowed.point_source if over else allowed.rated_source,
        basis=rated.basis if rated is not None and not over else "",
        subject=part_id,
        bad=f"carries more than its sheet allows for {span} in case {case.case} ({flow.corner})",
        good=f"stands its current for {span} in case {case.case}",
        related=((sheet_pointer(ctx, part_id, allowed.field), "its rating"),),
        note="" if over or flow.current_a <= most else "nothing on the sheet covers it for so long",
    )
