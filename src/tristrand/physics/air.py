"""Still dry air at one atmosphere, as closed forms: the properties that free convection needs.

The forms are Sutherland's with a third constant, and a cubic for the heat capacity. Their constants are our
own fits to an open fluid-property library's reference equations of air, over 230..520 K.
"""

import numpy as np

from tristrand.physics._num import FloatArray, Num, arr, positive, same
from tristrand.records import NamedTuple
from tristrand.sources import cites

ZERO_C_K = 273.15
STANDARD_PRESSURE_PA = 101325.0
GAS_CONSTANT_J_PER_KG_K = 287.053
"""Dry air: 8.31432 J/(mol K) over 28.9644 g/mol."""


def _sutherland(scale: float, first_k: float, second_k2: float, temperature_k: FloatArray) -> FloatArray:
    root = np.sqrt(temperature_k)
    return np.asarray(scale * temperature_k * root / (temperature_k + first_k + second_k2 / temperature_k))


@cites("AIR-REFERENCE#viscosity at 101 325 Pa", "SUTHERLAND-1893#form", deviation="third constant, own fit")
def viscosity_pa_s(temperature_k: Num) -> Num:
    """Dynamic viscosity [Pa s]: 1.546742e-6 T^1.5/(T + 145.6713 - 3614.594/T).

    230..520 K, fitted within 0.04 %.
    """
    positive(temperature_k=temperature_k)
    return same(_sutherland(1.546742e-6, 145.6713, -3614.594, arr(temperature_k)))


@cites("AIR-REFERENCE#conductivity at 101 325 Pa", "SUTHERLAND-1893#form", deviation="third constant, own fit")
def conductivity_w_per_mk(temperature_k: Num) -> Num:
    """Thermal conductivity [W/(m K)]: 2.544517e-3 T^1.5/(T + 229.2021 - 8368.246/T).

    230..520 K, within 0.1 %.
    """
    positive(temperature_k=temperature_k)
    return same(_sutherland(2.544517e-3, 229.2021, -8368.246, arr(temperature_k)))


@cites("AIR-REFERENCE#heat capacity at 101 325 Pa", deviation="cubic in T/300, own fit")
def heat_capacity_j_per_kg_k(temperature_k: Num) -> Num:
    """Heat capacity at constant pressure [J/(kg K)], t = T/300 K. 230..520 K, fitted within 0.02 %.

    cp = 1035.892 - 72.92638 t + 46.0477 t^2 - 2.67622 t^3.
    """
    positive(temperature_k=temperature_k)
    t = arr(temperature_k) / 300.0
    return same(1035.892 + t * (-72.92638 + t * (46.0477 - t * 2.67622)))


@cites("CLOSED-FORM-HEAT#ideal gas law")
def density_kg_per_m3(temperature_k: Num, pressure_pa: Num = STANDARD_PRESSURE_PA) -> Num:
    """Density [kg/m3]: p/(287.053 T). Up to one atmosphere, 230..520 K, within 0.15 %."""
    positive(temperature_k=temperature_k, pressure_pa=pressure_pa)
    return same(arr(pressure_pa) / (GAS_CONSTANT_J_PER_KG_K * arr(temperature_k)))


class FilmAir(NamedTuple):
    """What free convection takes from air at the film temperature."""

    conductivity_w_per_mk: FloatArray
    prandtl: FloatArray
    kinematic_m2_per_s: FloatArray
    expansion_per_k: FloatArray


@cites("AIR-REFERENCE#air at 101 325 Pa", "CLOSED-FORM-HEAT#ideal gas law")
def film_air(temperature_k: Num, pressure_pa: Num = STANDARD_PRESSURE_PA) -> FilmAir:
    """Conductivity, Prandtl number mu cp/k, kinematic viscosity mu/rho and expansion 1/T at a temperature.

    temperature_k: mean of surface and surroundings [K], 230..520. pressure_pa > 0 (only density depends on
    it).
    """
    viscosity, conductivity = arr(viscosity_pa_s(temperature_k)), arr(conductivity_w_per_mk(temperature_k))
    prandtl = viscosity * arr(heat_capacity_j_per_kg_k(temperature_k)) / conductivity
    kinematic = viscosity / arr(density_kg_per_m3(temperature_k, pressure_pa))
    return FilmAir(conductivity, prandtl, kinematic, 1.0 / arr(temperature_k))
