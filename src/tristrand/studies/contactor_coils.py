"""Coils at the ends of their supply: hot at the least, cold at the most."""

import math
from collections.abc import Iterator, Mapping
from functools import lru_cache
from typing import Any

from tristrand.design import Datum, Design
from tristrand.physics import contactors as physics
from tristrand.records import NamedTuple
from tristrand.studies.circuits import ambient_of
from tristrand.studies.results import CoilFigures, Missing, Working, working

COPPER = "IEC-60028#temperature coefficient at 20 °C"
DIVIDER = "CLOSED-FORM#voltage divider"
DRIVING = ("main", "discharge")
"""Roles whose coils carry current while the vehicle drives: a discharge contactor rests closed and is held open."""
INSIDE = "electronics inside: the hold voltage counts as printed, at the terminals"
QUESTIONS = ("pull_in", "hold", "release", "power")


class CoilData(NamedTuple):
    """A coil's sheet and temperatures; nan where not given. Ends of tolerances that ask more are taken."""

    ohm_low: float
    reference_c: float
    pull_in_v: float
    hold_v: float
    release_v: float
    hottest_c: float
    coldest_c: float
    saving: float
    most_saving: float
    outside: bool


class Supply(NamedTuple):
    """The coils' supply; nan where not given."""

    least_v: float
    most_v: float
    wiring_ohm: float


class CoilInputs(NamedTuple):
    """Every contactor's coil with its role and what is missing for each question, and the supply."""

    coils: tuple[tuple[str, str, CoilData, tuple[tuple[str, tuple[Missing, ...]], ...]], ...]
    supply: Supply


def coil_inputs(design: Design) -> CoilInputs:
    """Collect coils and supply of a design; what is missing is named for each question."""
    given = design.high_voltage.coil_supply
    least, most, wiring = (getattr(given, name, None) for name in ("least", "most", "wiring"))
    supply = Supply(_end(least, "low"), _end(most, "high"), _end(wiring, "high"))
    bare = {
        "least": [] if least else [Missing("high_voltage/coil_supply/least", "least supply of the coils")],
        "most": [] if most else [Missing("high_voltage/coil_supply/most", "largest supply of the coils")],
        "wiring": [] if wiring else [Missing("high_voltage/coil_supply/wiring", "resistance of a coil's wiring")],
    }
    coils = []
    for name, part in design.parts_of("contactor").items():
        data, gaps = _coil(design, name, part, bare)
        coils.append((name, part.role, data, tuple((q, tuple(gaps[q])) for q in QUESTIONS if gaps[q])))
    return CoilInputs(tuple(coils), supply)


def _end(datum: Datum | None, end: str) -> float:
    return math.nan if datum is None else float(getattr(datum, end))


def _coil(
    design: Design, name: str, part: Any, bare: Mapping[str, list[Missing]]
) -> tuple[CoilData, dict[str, list[Missing]]]:
    sheet: Any = design.sheets[part.sheet]
    coil, base = sheet.coil, f"parts/{part.sheet}/coil"

    def need(field: str, what: str) -> list[Missing]:
        return [] if getattr(coil, field, None) else [Missing(f"{base}/{field}", f"{what} of {name}")]

    ambient = ambient_of(design, part.ambient)
    if coil is not None and coil.hottest is not None:
        # A winding is never colder than the air round it, whatever a sheet made for a milder place says.
        hottest, heat = max(coil.hottest.high, ambient) if ambient == ambient else coil.hottest.high, []
    else:
        hottest, heat = ambient + _end(getattr(coil, "rise", None), "high"), need("rise", "heating of the winding")
        if math.isnan(ambient):
            heat = [*heat, Missing("vehicle/ambient", f"air temperature round {name}")]
    air = design.vehicle.ambient
    cold = [] if air is not None else [Missing("vehicle/ambient", f"least air temperature round {name}")]
    ohm = need("resistance", "coil resistance")
    gaps = {
        "pull_in": [*bare["least"], *bare["wiring"], *ohm, *need("pull_in_voltage", "pull-in voltage"), *heat],
        "hold": [*bare["least"], *bare["wiring"], *ohm, *need("hold_voltage", "hold voltage"), *heat],
        "release": [*need("release_voltage", "release voltage"), *cold],
        "power": [*bare["most"], *ohm, *cold],
    }
    reference = getattr(coil, "reference", None)
    economiser = sheet.economiser
    data = CoilData(
        ohm_low=_end(getattr(coil, "resistance", None), "low"),
        reference_c=reference.value if reference is not None else 20.0,
        pull_in_v=_end(getattr(coil, "pull_in_voltage", None), "high"),
        hold_v=_end(getattr(coil, "hold_voltage", None), "high"),
        release_v=_end(getattr(coil, "release_voltage", None), "low"),
        hottest_c=hottest,
        coldest_c=air.minimum.low if air is not None else math.nan,
        saving=economiser.saving.low if economiser is not None else 0.0,
        most_saving=economiser.saving.high if economiser is not None else 0.0,
        outside=economiser is not None and economiser.fitted == "outside",
    )
    return data, gaps


def coil_figures(data: CoilInputs) -> dict[str, CoilFigures]:
    """Figures of every coil; contactors of one sheet in one place are worked out once."""
    return {
        name: _figures(coil, data.supply, tuple(q for q, _ in gaps))._replace(missing=dict(gaps))
        for name, _, coil, gaps in data.coils
    }


@lru_cache(maxsize=256)
def _figures(coil: CoilData, supply: Supply, unknown: tuple[str, ...]) -> CoilFigures:
    found = CoilFigures(coil.hottest_c, coil.coldest_c, economised=coil.saving > 0.0)
    if "pull_in" not in unknown:
        got = _at(coil, supply, coil.pull_in_v, 1.0)
        found = found._replace(pull_in_v=float(got.coil_v), pull_in_needed_v=float(got.needed_v))
    if "hold" not in unknown:
        got = _at(coil, supply, coil.hold_v, duty(coil))
        inside = found.economised and not coil.outside
        found = found._replace(
            hold_v=float(got.coil_v),
            # Electronics inside set the coil's current: the sheet's voltage then counts at the terminals, hot or cold.
            hold_needed_v=coil.hold_v if inside else float(got.needed_v),
            hold_words=INSIDE if inside else _hold_words(coil),
        )
    if "release" not in unknown:
        volts = physics.coil_threshold_v(coil.release_v, coil.coldest_c, coil.reference_c)
        found = found._replace(release_v=float(volts))
    if "power" not in unknown:
        amps = float(physics.coil_current_a(supply.most_v, coil.ohm_low, coil.coldest_c, coil.reference_c))
        watts = amps * supply.most_v
        held = float(physics.economised_power_w(watts, coil.saving))
        found = found._replace(peak_a=amps, peak_w=watts, hold_w=held, hold_a=held / supply.most_v)
    return found


def _hold_words(coil: CoilData) -> str:
    switched = f", {100 * duty(coil):.3g} % of the supply on average" if coil.outside else ""
    return f"winding at {coil.hottest_c:.0f} °C{switched}"


def duty(coil: CoilData) -> float:
    """The least share of the supply that reaches a coil on average where an economiser outside of it switches it."""
    return math.sqrt(1.0 - coil.most_saving) if coil.outside else 1.0


def _at(coil: CoilData, supply: Supply, threshold_v: float, share: float) -> physics.CoilSupply:
    return physics.coil_at_supply(
        share * supply.least_v, threshold_v, coil.ohm_low, coil.hottest_c,
        wiring_ohm=supply.wiring_ohm, reference_c=coil.reference_c,
    )  # fmt: skip


def coil_workings(data: CoilInputs, figures: Mapping[str, CoilFigures]) -> Iterator[Working]:
    """How every figure of every coil came about."""
    for name, _, coil, _ in data.coils:
        yield from _lines(name, coil, data.supply, figures[name])


def _lines(name: str, coil: CoilData, supply: Supply, got: CoilFigures) -> Iterator[Working]:
    copper = "(1 + 0.00393*({} - 20))/(1 + 0.00393*(T_ref - 20))"
    hot, cold = copper.format("T_hot"), copper.format("T_cold")
    reference = (coil.reference_c, "°C")
    if not math.isnan(got.pull_in_v) or not math.isnan(got.hold_v):
        hot_ohm = float(physics.coil_resistance_ohm(coil.ohm_low, coil.hottest_c, coil.reference_c))
        yield working(
            name, "R_hot", "coil resistance with the winding hot, low end of its tolerance", f"R*{hot}", hot_ohm, "Ω",
            COPPER, R=(coil.ohm_low, "Ω"), T_hot=(coil.hottest_c, "°C"), T_ref=reference,
        )  # fmt: skip
        for symbol, words, volts, needed, threshold, share in (
            ("pull_in", "pull in", got.pull_in_v, got.pull_in_needed_v, coil.pull_in_v, 1.0),
            ("hold", "stay closed", got.hold_v, got.hold_needed_v, coil.hold_v, duty(coil)),
        ):
            if math.isnan(volts):
                continue
            yield working(
                name, f"V_{symbol}", f"what reaches the coil at the least supply, to {words}",
                "D*V*R_hot/(R_hot + R_w)", volts, "V", DIVIDER, D=(share, ""), V=(supply.least_v, "V"),
                R_hot=(hot_ohm, "Ω"), R_w=(supply.wiring_ohm, "Ω"),
            )  # fmt: skip
            printed = symbol == "hold" and got.economised and not coil.outside
            if not printed:
                yield working(
                    name, f"V_{symbol}_hot", f"what the hot coil needs to {words}", f"V*{hot}", needed, "V", COPPER,
                    V=(threshold, "V"), T_hot=(coil.hottest_c, "°C"), T_ref=reference,
                )  # fmt: skip
    if not math.isnan(got.release_v):
        yield working(
            name, "V_release_cold", "below this the cold coil has released", f"V*{cold}", got.release_v, "V", COPPER,
            V=(coil.release_v, "V"), T_cold=(coil.coldest_c, "°C"), T_ref=reference,
        )  # fmt: skip
    if not math.isnan(got.peak_a):
        yield working(
            name, "I_peak", "largest current of the coil: most supply, winding cold, no wiring", f"V/(R*{cold})",
            got.peak_a, "A", COPPER, V=(supply.most_v, "V"), R=(coil.ohm_low, "Ω"), T_cold=(coil.coldest_c, "°C"),
            T_ref=reference,
        )  # fmt: skip
        yield working(
            name, "P_hold", "largest power in hold, what an economiser saves taken off", "V*I_peak*(1 - s)",
            got.hold_w, "W", "CONTACTOR-COIL-NOTE#hold power", V=(supply.most_v, "V"), I_peak=(got.peak_a, "A"),
            s=(coil.saving, ""),
        )  # fmt: skip
