"""Steady current of one cable in still air from a heat balance, and the conductor temperature at a current.

One straight horizontal cable, alone, direct current. The bare balance gives MORE than the printed tables
(6 to 9 % on average): a design uses `design_current_a`.
"""

from collections.abc import Callable

import numpy as np

from tristrand.physics._num import FloatArray, Num, arr, between, finite, not_negative, positive, same
from tristrand.physics.air import STANDARD_PRESSURE_PA, ZERO_C_K, film_air
from tristrand.records import NamedTuple
from tristrand.sources import cites

STEFAN_BOLTZMANN_W_PER_M2_K4 = 5.670374419e-8
GRAVITY_M_PER_S2 = 9.80665
HEAT_BALANCE_FACTOR = 0.88
"""Our own choice: the balance gives 1.02 to 1.14 of the printed tables, 6 AWG to 4/0; 1/1.14 = 0.877."""
HOTTEST_CONDUCTOR_C = 300.0
"""No temperature above this is searched for: the insulation is gone and the air properties end."""
_STEPS = 60
_SETTLED_K = 1e-9


class HeatBalance(NamedTuple):
    """A cable in thermal balance."""

    current_a: Num
    conductor_c: Num
    surface_c: Num
    heat_w_per_m: Num
    film_w_per_m2k: Num
    """Convective film coefficient."""


class _Cable(NamedTuple):
    ambient_c: FloatArray
    resistance_20: FloatArray
    outer_m: FloatArray
    insulation_k_m_per_w: FloatArray
    emissivity: FloatArray
    alpha: FloatArray
    pressure_pa: FloatArray

    def hot_resistance(self, conductor_c: FloatArray) -> FloatArray:
        return self.resistance_20 * (1.0 + self.alpha * (conductor_c - 20.0))

    def heat(self, surface_c: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Heat shed per metre, its (close) slope against the surface temperature, and the film h."""
        surface_k, ambient_k = surface_c + ZERO_C_K, self.ambient_c + ZERO_C_K
        rise = np.maximum(surface_c - self.ambient_c, 0.0)
        film, growth = _film(self.outer_m, rise, 0.5 * (surface_k + ambient_k), self.pressure_pa)
        radiating = self.emissivity * STEFAN_BOLTZMANN_W_PER_M2_K4
        around = np.pi * self.outer_m
        heat = around * (film * rise + radiating * (surface_k**4 - ambient_k**4))
        slope = around * (growth * film + 4.0 * radiating * surface_k**3)
        return heat, slope, film


def _film(
    outer_m: FloatArray, rise_k: FloatArray, film_k: FloatArray, pressure_pa: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Film coefficient h, and d(h rise)/d(rise) over h with the properties of air held."""
    air = film_air(film_k, pressure_pa)
    grashof = GRAVITY_M_PER_S2 * air.expansion_per_k * rise_k * outer_m**3 / air.kinematic_m2_per_s**2
    shape = (1.0 + (0.559 / air.prandtl) ** (9.0 / 16.0)) ** (8.0 / 27.0)
    root = 0.60 + 0.387 * (grashof * air.prandtl) ** (1.0 / 6.0) / shape
    return root**2 * air.conductivity_w_per_mk / outer_m, 1.0 + (root - 0.60) / (3.0 * root)


@cites("CHURCHILL-CHU-1975#horizontal cylinder, laminar and turbulent")
def film_coefficient_w_per_m2k(
    outer_diameter_m: Num, surface_c: Num, ambient_c: Num, pressure_pa: Num = STANDARD_PRESSURE_PA
) -> Num:
    """Free-convection film coefficient of a horizontal cylinder in air [W/(m2 K)]: Nu k/D.

    Nu = {0.60 + 0.387 Ra^(1/6) / [1 + (0.559/Pr)^(9/16)]^(8/27)}^2, properties at the mean of surface and
    ambient, Ra = g (Ts - Ta) D^3 Pr/(T nu^2). Range 1e-5 < Ra < 1e12; correlations of this kind differ by 3
    %. A surface below ambient is taken as at ambient. outer_diameter_m > 0. Shapes broadcast. ValueError
    otherwise.
    """
    positive(outer_diameter_m=outer_diameter_m, pressure_pa=pressure_pa)
    finite(surface_c=surface_c, ambient_c=ambient_c)
    mean_k = 0.5 * (arr(surface_c) + arr(ambient_c)) + ZERO_C_K
    rise = np.maximum(arr(surface_c) - arr(ambient_c), 0.0)
    return same(_film(arr(outer_diameter_m), rise, mean_k, arr(pressure_pa))[0])


def _cable(
    ambient_c: Num,
    resistance_20_ohm_per_m: Num,
    conductor_diameter_m: Num,
    outer_diameter_m: Num,
    emissivity: Num,
    insulation_w_per_mk: Num,
    alpha_per_k: Num,
    pressure_pa: Num,
) -> _Cable:
    positive(
        resistance_20_ohm_per_m=resistance_20_ohm_per_m,
        conductor_diameter_m=conductor_diameter_m,
        insulation_w_per_mk=insulation_w_per_mk,
        alpha_per_k=alpha_per_k,
        pressure_pa=pressure_pa,
    )
    between(-90.0, HOTTEST_CONDUCTOR_C, ambient_c=ambient_c)
    between(0.0, 1.0 + 1e-12, emissivity=emissivity)
    if not bool(np.all(arr(outer_diameter_m) >= arr(conductor_diameter_m))):
        raise ValueError("outer_diameter_m must not be below conductor_diameter_m")
    wall = np.log(arr(outer_diameter_m) / arr(conductor_diameter_m)) / (2.0 * np.pi * arr(insulation_w_per_mk))
    return _Cable(
        arr(ambient_c),
        arr(resistance_20_ohm_per_m),
        arr(outer_diameter_m),
        wall,
        arr(emissivity),
        arr(alpha_per_k),
        arr(pressure_pa),
    )


def _shape(cable: _Cable, *others: Num) -> tuple[int, ...]:
    parts = (cable.ambient_c, cable.resistance_20, cable.outer_m, cable.insulation_k_m_per_w)
    more = (cable.emissivity, cable.alpha, cable.pressure_pa, *others)
    return np.broadcast_shapes(*(np.shape(part) for part in (*parts, *more)))


def _solve(
    function: Callable[[FloatArray], tuple[FloatArray, FloatArray]], low: FloatArray, high: FloatArray
) -> FloatArray:
    """Zero of a rising function per lane: Newton, halving the bracket where a step leaves it."""
    x = 0.5 * (low + high)
    for _ in range(_STEPS):
        value, slope = function(x)
        low, high = np.where(value <= 0.0, x, low), np.where(value >= 0.0, x, high)
        step = x - value / np.maximum(slope, 1e-300)
        new = np.where((step >= low) & (step <= high), step, 0.5 * (low + high))
        moved = float(np.max(np.abs(new - x), initial=0.0))
        x = new
        if moved < _SETTLED_K:
            break
    return x


@cites(
    "CHURCHILL-CHU-1975#horizontal cylinder, laminar and turbulent",
    "CLOSED-FORM-HEAT#heat balance of a cable: convection, radiation, conduction through the wall",
)
def current_for_temperature(
    conductor_c: Num,
    ambient_c: Num,
    resistance_20_ohm_per_m: Num,
    conductor_diameter_m: Num,
    outer_diameter_m: Num,
    emissivity: Num = 0.9,
    insulation_w_per_mk: Num = 0.25,
    alpha_per_k: Num = 0.00393,
    pressure_pa: Num = STANDARD_PRESSURE_PA,
) -> HeatBalance:
    """Steady current that holds the conductor at `conductor_c`: I = sqrt(q/R(Tc)).

    q = pi D [h (Ts - Ta) + e s (Ts^4 - Ta^4)] leaves the surface and (Tc - Ts)/Rw = q crosses the wall,
    Rw = ln(D/dc)/(2 pi k); R(Tc) = R20 [1 + alpha (Tc - 20)]; h from `film_coefficient_w_per_m2k`.
    Ts is found by a bracketed Newton to 1e-9 K. Current 0 where conductor_c <= ambient_c.
    Shapes broadcast. Range: ambient -90..300 degC (air properties hold for -25..225), conductor up to 300
    degC. Raises ValueError outside. The result is the bare balance: see `design_current_a`.
    """
    between(-90.0, HOTTEST_CONDUCTOR_C + 1e-9, conductor_c=conductor_c)
    cable = _cable(
        ambient_c, resistance_20_ohm_per_m, conductor_diameter_m, outer_diameter_m,
        emissivity, insulation_w_per_mk, alpha_per_k, pressure_pa,
    )  # fmt: skip
    shape = _shape(cable, conductor_c)
    conductor = np.broadcast_to(arr(conductor_c), shape)
    low = np.broadcast_to(np.minimum(cable.ambient_c, conductor), shape)
    high = np.maximum(conductor, low)

    def excess(surface_c: FloatArray) -> tuple[FloatArray, FloatArray]:
        heat, slope, _ = cable.heat(surface_c)
        return (
            surface_c + heat * cable.insulation_k_m_per_w - conductor,
            1.0 + slope * cable.insulation_k_m_per_w,
        )

    surface = _solve(excess, low, high)
    heat, _, film = cable.heat(surface)
    heat = np.where(conductor > cable.ambient_c, np.maximum(heat, 0.0), 0.0)
    current = np.sqrt(heat / cable.hot_resistance(conductor))
    return HeatBalance(same(current), same(conductor), same(surface), same(heat), same(film))


@cites(
    "CHURCHILL-CHU-1975#horizontal cylinder, laminar and turbulent",
    "CLOSED-FORM-HEAT#heat balance of a cable: convection, radiation, conduction through the wall",
)
def temperature_for_current(
    current_a: Num,
    ambient_c: Num,
    resistance_20_ohm_per_m: Num,
    conductor_diameter_m: Num,
    outer_diameter_m: Num,
    emissivity: Num = 0.9,
    insulation_w_per_mk: Num = 0.25,
    alpha_per_k: Num = 0.00393,
    pressure_pa: Num = STANDARD_PRESSURE_PA,
) -> HeatBalance:
    """Steady temperatures of the cable at `current_a`: the inverse of `current_for_temperature`, same terms.

    Conductor and surface are inf where no balance exists at or below 300 degC conductor temperature, so that
    a comparison with any limit fails. The sign of the current does not matter. Shapes broadcast. Bare
    balance: to be on the side of the printed tables ask for `current_a`/0.88. Raises ValueError for values
    outside the range.
    """
    finite(current_a=current_a)
    given = (
        ambient_c, resistance_20_ohm_per_m, conductor_diameter_m, outer_diameter_m,
        emissivity, insulation_w_per_mk, alpha_per_k, pressure_pa,
    )  # fmt: skip
    cable = _cable(*given)
    limit = current_for_temperature(HOTTEST_CONDUCTOR_C, *given)
    shape = _shape(cable, current_a)
    square = np.broadcast_to(arr(current_a) ** 2, shape)
    exists = np.abs(np.broadcast_to(arr(current_a), shape)) <= arr(limit.current_a)
    wanted = np.where(exists, square, 0.0)

    def excess(surface_c: FloatArray) -> tuple[FloatArray, FloatArray]:
        heat, slope, _ = cable.heat(surface_c)
        hot = cable.hot_resistance(surface_c + heat * cable.insulation_k_m_per_w)
        growth = cable.resistance_20 * cable.alpha * (1.0 + slope * cable.insulation_k_m_per_w)
        return heat / hot - wanted, (slope - heat / hot * growth) / hot

    low, high = np.broadcast_to(cable.ambient_c, shape), np.broadcast_to(arr(limit.surface_c), shape)
    surface = _solve(excess, low, high)
    heat, _, film = cable.heat(surface)
    conductor = surface + heat * cable.insulation_k_m_per_w
    hot_c, skin_c = np.where(exists, conductor, np.inf), np.where(exists, surface, np.inf)
    heat = np.where(exists, heat, np.inf)
    return HeatBalance(same(np.broadcast_to(arr(current_a), shape)), same(hot_c), same(skin_c), same(heat), same(film))


@cites("OWN-COMPARISON#heat balance factor")
def design_current_a(balance_current_a: Num) -> Num:
    """Current of the heat balance brought down to the printed tables [A]: 0.88 * I.

    Our own factor, no standard's: the bare balance lies up to 14 % above the printed tables for conductors
    of 60 to 105 degC between 6 AWG and 4/0. Against the 125 degC column of 33 CFR 183.425 it lies up to 21 %
    above on the thickest sizes, and this result then up to 6 %: where a table holds, take the smaller.
    The factor does not cover bundles, sleeves or engine heat. Argument >= 0.
    """
    not_negative(balance_current_a=balance_current_a)
    return same(HEAT_BALANCE_FACTOR * arr(balance_current_a))
