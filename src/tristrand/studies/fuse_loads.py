"""Do the fuses carry their loads? What each carries for ever in the air round it, and its peaks against its curve.

The rating holds at the air temperature of the sheet; hotter air takes from it, cold air gives nothing. Where the sheet
is silent the lowest figures of the guide count: an element of at most 130 degC, and air of 25 degC.
"""

import math
from collections.abc import Iterator
from functools import lru_cache

from tristrand.design import Datum, Design
from tristrand.physics.fuses import (
    CONTINUOUS_SHARE,
    TimeCurrentCurve,
    ambient_factor,
    continuous_current_a,
    melting_current_a,
    required_rating_a,
)
from tristrand.records import NamedTuple
from tristrand.studies.circuits import ambient_of
from tristrand.studies.results import (
    DIRECT,
    ChargingResult,
    FuseLoad,
    FuseLoadsResult,
    Later,
    Missing,
    OperatingResult,
    TimedLoad,
    Working,
    found,
    working,
)

AMBIENT = "FUSE-GUIDE#ambient factor"
DERATING = "FUSE-GUIDE#continuous derating"
CURVE = "CLOSED-FORM#interpolation on logarithmic scales; adiabatic heating at constant current"
HOTTEST_C, REFERENCE_C = 130.0, 25.0
"""The harder ends of what the guide names for hot air: 130 to 150 degC, 25 to 30 degC."""
STANDARD_A = (
    2.0, 4.0, 6.0, 10.0, 16.0, 20.0, 25.0, 32.0, 40.0, 50.0, 63.0, 80.0, 100.0, 125.0, 160.0, 200.0, 250.0, 315.0,
    400.0, 500.0, 630.0, 800.0, 1000.0, 1250.0,
)  # fmt: skip
"""Usual ratings of power fuses (MEMORY#usual ratings of power fuses): named in words only, no rule rests on them."""


class FuseData(NamedTuple):
    """One fuse as its sheet gives it; nan where it does not. ``curve``: its early end."""

    id: str
    rated_a: float
    share: float
    ambient_c: float
    hottest_c: float
    reference_c: float
    curve: TimeCurrentCurve | None


class FuseLoadInputs(NamedTuple):
    """Every fuse, and the air temperatures that are missing."""

    fuses: tuple[FuseData, ...]
    missing: tuple[Missing, ...]


def inputs(design: Design) -> FuseLoadInputs:
    """Collect rating, share, air and curve; every tolerance at the end that carries less."""
    fuses = []
    for part_id, part in design.parts_of("fuse").items():
        sheet = design.sheet_of(part_id)
        points = sheet.melting
        curve = TimeCurrentCurve(tuple(p.current.low for p in points), tuple(p.time.low for p in points))
        fuses.append(
            FuseData(
                part_id,
                _low(sheet.rated_current, math.nan),
                min(_low(sheet.continuous_share, CONTINUOUS_SHARE), CONTINUOUS_SHARE),
                ambient_of(design, part.ambient),
                _low(sheet.hottest_element, HOTTEST_C),
                _low(sheet.reference_ambient, REFERENCE_C),
                curve if points else None,
            )
        )
    missing = [
        Missing("vehicle/ambient", f"air temperature round {fuse.id}") for fuse in fuses if math.isnan(fuse.ambient_c)
    ]
    return FuseLoadInputs(tuple(fuses), tuple(missing))


def _low(datum: Datum | None, default: float) -> float:
    return default if datum is None else datum.low


def study(
    data: FuseLoadInputs,
    operating: OperatingResult,
    charging: ChargingResult = ChargingResult(),  # noqa: B008 - a named tuple, never changed
) -> FuseLoadsResult:
    """Every fuse against the currents of all cases, and of a supply at the inlet, which lasts."""
    if not operating.cases:
        return FuseLoadsResult(missing=(*data.missing, *operating.missing))
    fuses = {}
    for fuse in data.fuses:
        cases = tuple(
            (c.case, c.duration_s, c.flows[fuse.id].current_a)
            for c in operating.cases.values()
            if fuse.id in c.flows and c.flows[fuse.id].current_a > 0
        )
        fast = charging.fast
        if fast is not None and fuse.id in fast.path and not math.isnan(fast.largest_a):
            cases = (*cases, (DIRECT, 0.0, fast.largest_a))
        fuses[fuse.id] = _load(fuse, cases)
    lines = Later(lambda: [line for name, load in fuses.items() for line in _workings(name, load)])
    return FuseLoadsResult(lines, data.missing, (), fuses)


@lru_cache(maxsize=1024)
def _load(fuse: FuseData, cases: tuple[tuple[str, float, float], ...]) -> FuseLoad:
    """One fuse; kept, since most changes leave most fuses as they were."""
    sustained_a, case = max(((amps, name) for name, seconds, amps in cases if seconds == 0), default=(0.0, ""))
    factor = _factor(fuse)
    allowed_a = required_a = math.nan
    if factor > 0:
        allowed_a = float(continuous_current_a(fuse.rated_a, factor, fuse.share)) if fuse.rated_a > 0 else math.nan
        required_a = float(required_rating_a(sustained_a, factor, fuse.share))
    elif factor == 0:
        allowed_a, required_a = 0.0, math.inf
    standard_a = next((size for size in STANDARD_A if size >= required_a), math.nan)
    timed = tuple(TimedLoad(name, s, amps, _melting_a(fuse, s)) for name, s, amps in cases if s > 0)
    return FuseLoad(
        fuse.rated_a,
        fuse.ambient_c,
        fuse.hottest_c,
        fuse.reference_c,
        factor,
        fuse.share,
        sustained_a,
        case,
        allowed_a,
        required_a,
        standard_a,
        cases,
        timed,
    )


def _factor(fuse: FuseData) -> float:
    """For the air, at most 1; 0 in air as hot as the element may get; nan where a temperature does not fit."""
    if math.isnan(fuse.ambient_c) or fuse.reference_c >= fuse.hottest_c:
        return math.nan
    if fuse.ambient_c >= fuse.hottest_c:
        return 0.0
    return min(float(ambient_factor(fuse.ambient_c, fuse.hottest_c, fuse.reference_c)), 1.0)


def _melting_a(fuse: FuseData, seconds: float) -> float:
    return float(melting_current_a(fuse.curve, seconds)) if fuse.curve is not None else math.nan


def _workings(name: str, load: FuseLoad) -> Iterator[Working]:
    if load.factor > 0:
        yield working(
            name, "A1", "factor for the air round it, at most 1", "min(sqrt((a - Ta)/(a - T0)), 1)", load.factor, "",
            AMBIENT, a=(load.hottest_c, "°C"), Ta=(load.ambient_c, "°C"), T0=(load.reference_c, "°C"),
        )  # fmt: skip
    if load.factor > 0 and not math.isnan(load.allowed_a):
        yield working(
            name, "I_max", "what it may carry for ever there", "I_n*s*A1", load.allowed_a, "A", DERATING,
            I_n=(load.rated_a, "A"), s=(load.share, ""), A1=(load.factor, ""),
        )  # fmt: skip
    if load.factor > 0 and load.sustained_a > 0:
        yield working(
            name, "I_req", f"least rating for its load, case {load.sustained_case}", "I_load/(s*A1)", load.required_a,
            "A", DERATING, I_load=(load.sustained_a, "A"), s=(load.share, ""), A1=(load.factor, ""),
        )  # fmt: skip
    for timed in load.timed:
        if not math.isnan(timed.melting_a):
            words = f"melts it in the {timed.seconds:g} s of case {timed.case}"
            yield found(name, "I_melt", words, timed.melting_a, "A", CURVE, "read off the sheet's curve, early end")
