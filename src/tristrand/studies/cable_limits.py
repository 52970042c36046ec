"""What one cable, as it is laid, may carry and how warm it gets. Solved values are kept by their numbers."""

import math
from collections.abc import Callable, Sequence
from functools import lru_cache
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from tristrand.physics.ampacity import bundle_factor, table_ampacity
from tristrand.physics.conductors import (
    ALUMINIUM_ALPHA,
    ALUMINIUM_RESISTIVITY_OHM_MM2_PER_M,
    COPPER_ALPHA,
    COPPER_RESISTIVITY_OHM_MM2_PER_M,
    metal_area_mm2,
)
from tristrand.physics.heat_balance import HEAT_BALANCE_FACTOR, current_for_temperature, temperature_for_current
from tristrand.records import NamedTuple
from tristrand.studies.results import Ampacity

BALANCE = "heat balance"
KEPT = 20_000


class CableData(NamedTuple):
    """A cable sheet as numbers; diameters are nan where the sheet does not give them."""

    id: str
    nominal_mm2: float
    metal: str
    ohm_per_m: float
    conductor_m: float
    outer_m: float
    rating_c: float
    given: bool = False

    @property
    def metal_mm2(self) -> float:
        """Metal area that gives this resistance."""
        return _metal_mm2(self.metal, self.ohm_per_m)


@lru_cache(maxsize=1024)
def _metal_mm2(metal: str, ohm_per_m: float) -> float:
    rho = ALUMINIUM_RESISTIVITY_OHM_MM2_PER_M if metal == "aluminium" else COPPER_RESISTIVITY_OHM_MM2_PER_M
    return float(metal_area_mm2(ohm_per_m, rho))


class Run(NamedTuple):
    """A cable as laid: which sheet, how long, how hot round it, how many together, and what its ends stand."""

    id: str
    cable: str
    length_m: float
    ambient_c: float
    bundled: int
    terminal_c: float
    fuse_a: float


Numbers: TypeAlias = NDArray[np.float64]


class Kept:
    """A vectorised function whose values are kept: only rows not met before are solved, all in one call."""

    def __init__(self, function: Callable[..., NDArray[np.float64]]) -> None:
        self.function = function
        self.values: dict[tuple[float, ...], float] = {}

    def __call__(self, rows: Sequence[tuple[float, ...]]) -> list[float]:
        """One value for each row of arguments; nan for a row that holds nan."""
        new = list(dict.fromkeys(r for r in rows if r not in self.values and not any(map(math.isnan, r))))
        if len(self.values) > KEPT:
            self.values.clear()
            new = [r for r in dict.fromkeys(rows) if not any(map(math.isnan, r))]
        if new:
            solved = np.atleast_1d(self.function(*np.array(new).T))
            self.values.update(zip(new, solved.tolist(), strict=True))
        return [self.values.get(r, math.nan) for r in rows]


def _current(limit: Numbers, ambient: Numbers, ohm: Numbers, inner: Numbers, outer: Numbers, alpha: Numbers) -> Numbers:
    return np.asarray(current_for_temperature(limit, ambient, ohm, inner, outer, alpha_per_k=alpha).current_a)


def _warmth(
    current: Numbers, ambient: Numbers, ohm: Numbers, inner: Numbers, outer: Numbers, alpha: Numbers
) -> Numbers:
    return np.asarray(temperature_for_current(current, ambient, ohm, inner, outer, alpha_per_k=alpha).conductor_c)


_CURRENTS, _WARMTHS = Kept(_current), Kept(_warmth)


def _row(first: float, run: Run, cable: CableData) -> tuple[float, ...]:
    law = ALUMINIUM_ALPHA if cable.metal == "aluminium" else COPPER_ALPHA
    return (first, run.ambient_c, cable.ohm_per_m, cable.conductor_m, cable.outer_m, law.alpha_per_k)


def limit_c(run: Run, cable: CableData) -> float:
    """The conductor may get as warm as the cooler of insulation and terminals allows."""
    return min(cable.rating_c, run.terminal_c)


def balances(pairs: Sequence[tuple[Run, CableData]]) -> list[float]:
    """Heat-balance ampacity of each run, with the shipped factor and the bundle factor; nan without diameters."""
    bare = _CURRENTS([_row(limit_c(run, cable), run, cable) for run, cable in pairs])
    return [a * HEAT_BALANCE_FACTOR * bundle_factor(run.bundled) for a, (run, _) in zip(bare, pairs, strict=True)]


def temperatures(currents: Sequence[float], pairs: Sequence[tuple[Run, CableData]]) -> list[float]:
    """Steady conductor temperature of each run at its current over the same factors; nan without diameters."""
    scaled = [
        a / (HEAT_BALANCE_FACTOR * bundle_factor(run.bundled)) for a, (run, _) in zip(currents, pairs, strict=True)
    ]
    return _WARMTHS([_row(a, run, cable) for a, (run, cable) in zip(scaled, pairs, strict=True)])


def _as_copper(run: Run, cable: CableData) -> list[Ampacity]:
    """No table for aluminium holds as laid: the copper table at equal area and equal heat in the metal."""
    table = table_ampacity(cable.metal_mm2, limit_c(run, cable), run.ambient_c, run.bundled).governing
    if table is None:
        return []
    factor = math.sqrt(COPPER_RESISTIVITY_OHM_MM2_PER_M / ALUMINIUM_RESISTIVITY_OHM_MM2_PER_M)
    detail = f"copper row {table.row}, {table.column_c:g} °C column: {table.base_a:g} A, aluminium factor {factor:.3f}"
    return [Ampacity(f"{table.table}, as aluminium", table.result_a * factor, table.source, detail)]


@lru_cache(maxsize=8192)
def ampacities(run: Run, cable: CableData, balance_a: float) -> tuple[Ampacity, ...]:
    """Every limit that holds for this run: the governing table first, the heat balance where diameters are known."""
    ratings = table_ampacity(
        cable.metal_mm2,
        limit_c(run, cable),
        run.ambient_c,
        run.bundled,
        material="aluminium" if cable.metal == "aluminium" else "copper",
        nominal_mm2=None if math.isnan(cable.nominal_mm2) else cable.nominal_mm2,
    )
    limits = []
    table = ratings.governing
    if table is not None:
        detail = (
            f"row {table.row}, {table.column_c:g} °C column: {table.base_a:g} A, "
            f"ambient factor {table.ambient_factor:.3f}, bundle factor {table.bundle_factor:.2f}"
        )
        limits.append(Ampacity(table.table, table.result_a, table.source, detail))
    elif cable.metal == "aluminium":
        limits += _as_copper(run, cable)
    if not math.isnan(balance_a):
        detail = f"factor {HEAT_BALANCE_FACTOR:g}, bundle factor {bundle_factor(run.bundled):.2f}"
        limits.append(Ampacity(BALANCE, balance_a, "OWN-COMPARISON#heat balance factor", detail))
    return tuple(limits)
