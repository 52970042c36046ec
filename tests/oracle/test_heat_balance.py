"""The heat balance against worked vectors and against two other programs run live: CoolProp and ht.

The live comparison builds the balance anew: CoolProp for air, ht for the Churchill-Chu number,
scipy's bracketing root finder for the surface temperature. Nothing of our solver or of our air is in it.
"""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from scipy.constants import Stefan_Boltzmann, g, zero_Celsius
from scipy.optimize import brentq

from tests.evidence import covers
from tristrand.physics import air, heat_balance
from tristrand.physics.ampacity_tables import NEC_310_17_COPPER
from tristrand.physics.conductor_tables import awg_area_mm2, awg_diameter_m
from tristrand.physics.conductors import solid_resistance_ohm_per_m

pytestmark = pytest.mark.live
FIFTY = (0.386e-3, 9.0e-3, 13.0e-3)
NINETY_FIVE = (0.206e-3, 12.5e-3, 17.0e-3)


def library_film(outer_m: float, surface_c: float, ambient_c: float, pressure_pa: float) -> float:
    from CoolProp.CoolProp import PropsSI
    from ht.conv_free_immersed import Nu_horizontal_cylinder_Churchill_Chu

    film_k = 0.5 * (surface_c + ambient_c) + zero_Celsius
    read = lambda what: PropsSI(what, "T", film_k, "P", pressure_pa, "Air")  # noqa: E731
    nu = read("viscosity") / read("Dmass")
    grashof = g * read("isobaric_expansion_coefficient") * (surface_c - ambient_c) * outer_m**3 / nu**2
    return Nu_horizontal_cylinder_Churchill_Chu(read("Prandtl"), grashof) * read("conductivity") / outer_m


def library_balance(
    conductor_c: float,
    ambient_c: float,
    cable: tuple[float, float, float],
    emissivity: float,
    pressure_pa: float,
) -> tuple[float, float]:
    """Current and surface temperature."""
    ohm, inner, outer = cable
    wall = math.log(outer / inner) / (2.0 * math.pi * 0.25)

    def shed(surface_c: float) -> float:
        glow = (surface_c + zero_Celsius) ** 4 - (ambient_c + zero_Celsius) ** 4
        film = library_film(outer, surface_c, ambient_c, pressure_pa)
        return math.pi * outer * (film * (surface_c - ambient_c) + emissivity * Stefan_Boltzmann * glow)

    surface = brentq(lambda t: (conductor_c - t) / wall - shed(t), ambient_c + 1e-9, conductor_c, xtol=1e-10)
    return math.sqrt(shed(surface) / (ohm * (1.0 + 0.00393 * (conductor_c - 20.0)))), surface


@covers("physics.heat_balance.current_for_temperature")
@pytest.mark.parametrize(
    ("conductor", "ambient", "cable", "emissivity", "amps", "surface"),
    [
        (105.0, 40.0, FIFTY, 0.9, 274.74, 95.90),
        (105.0, 40.0, FIFTY, 0.8, 268.52, None),
        (105.0, 40.0, FIFTY, 0.95, 277.75, None),
        (150.0, 85.0, FIFTY, 0.9, 278.35, 139.42),
        (150.0, 85.0, NINETY_FIVE, 0.9, 426.01, 138.94),
    ],
)
def test_worked_vectors_within_one_in_a_thousand(
    conductor: float,
    ambient: float,
    cable: tuple[float, float, float],
    emissivity: float,
    amps: float,
    surface: float | None,
) -> None:
    found = heat_balance.current_for_temperature(conductor, ambient, *cable, emissivity=emissivity)
    assert found.current_a == pytest.approx(amps, rel=1e-3)
    if surface is not None:
        assert found.surface_c == pytest.approx(surface, abs=0.02)


@covers("physics.heat_balance.current_for_temperature", "physics.heat_balance.film_coefficient_w_per_m2k")
def test_worked_heat_and_film() -> None:
    found = heat_balance.current_for_temperature(105.0, 40.0, *FIFTY)
    assert found.heat_w_per_m == pytest.approx(38.87, rel=1e-3)
    assert found.film_w_per_m2k == pytest.approx(8.869, rel=1e-3)
    assert heat_balance.film_coefficient_w_per_m2k(13e-3, 95.90, 40.0) == pytest.approx(8.869, rel=1e-3)


@covers(
    "physics.heat_balance.current_for_temperature",
    "physics.heat_balance.temperature_for_current",
    "physics.heat_balance.film_coefficient_w_per_m2k",
)
@pytest.mark.parametrize("emissivity", [0.3, 0.9])
@pytest.mark.parametrize("pressure_pa", [101325.0, 70e3])
def test_live_balance(emissivity: float, pressure_pa: float) -> None:
    cables = np.array([FIFTY, NINETY_FIVE, (26e-3, 1.1e-3, 2.0e-3), (0.129e-3, 16.0e-3, 24.0e-3)])
    climates = [(60.0, -30.0), (90.0, 30.0), (105.0, 85.0), (125.0, 60.0), (180.0, 40.0), (200.0, 125.0)]
    for conductor, ambient in climates:
        found = heat_balance.current_for_temperature(
            conductor, ambient, *cables.T, emissivity=emissivity, pressure_pa=pressure_pa
        )
        back = heat_balance.temperature_for_current(
            found.current_a, ambient, *cables.T, emissivity=emissivity, pressure_pa=pressure_pa
        )
        assert back.conductor_c == pytest.approx(conductor, rel=1e-8)
        for place, cable in enumerate(cables):
            amps, surface = library_balance(conductor, ambient, tuple(cable), emissivity, pressure_pa)
            assert found.current_a[place] == pytest.approx(amps, rel=1e-3)
            assert found.surface_c[place] == pytest.approx(surface, abs=0.05)
            film = library_film(cable[2], surface, ambient, pressure_pa)
            ours = heat_balance.film_coefficient_w_per_m2k(cable[2], surface, ambient, pressure_pa)
            assert ours == pytest.approx(film, rel=2e-3)


@covers(
    "physics.air.viscosity_pa_s",
    "physics.air.conductivity_w_per_mk",
    "physics.air.heat_capacity_j_per_kg_k",
    "physics.air.density_kg_per_m3",
    "physics.air.film_air",
)
def test_live_air() -> None:
    """At temperatures between those of the fit, with the tolerances that the docstrings state."""
    from CoolProp.CoolProp import PropsSI

    for kelvin in np.arange(231.3, 520.0, 7.7):
        read = lambda what, t=kelvin: PropsSI(what, "T", t, "P", 101325.0, "Air")  # noqa: E731
        assert air.viscosity_pa_s(kelvin) == pytest.approx(read("viscosity"), rel=4e-4)
        assert air.conductivity_w_per_mk(kelvin) == pytest.approx(read("conductivity"), rel=1e-3)
        assert air.heat_capacity_j_per_kg_k(kelvin) == pytest.approx(read("Cpmass"), rel=2e-4)
        assert air.density_kg_per_m3(kelvin) == pytest.approx(read("Dmass"), rel=1.5e-3)
        film = air.film_air(kelvin)
        assert float(film.prandtl) == pytest.approx(read("Prandtl"), rel=1.2e-3)
        assert float(film.kinematic_m2_per_s) == pytest.approx(read("viscosity") / read("Dmass"), rel=1.9e-3)
        assert float(film.expansion_per_k) == pytest.approx(read("isobaric_expansion_coefficient"), rel=6e-3)


@covers("physics.heat_balance.temperature_for_current")
def test_temperature_and_current_are_inverse() -> None:
    amps = np.array([0.0, -150.0, 150.0, 274.74, 5000.0])
    found = heat_balance.temperature_for_current(amps, 40.0, *FIFTY)
    assert found.conductor_c[0] == pytest.approx(40.0, abs=1e-6)
    assert found.conductor_c[1] == found.conductor_c[2]
    assert found.conductor_c[3] == pytest.approx(105.0, abs=0.05)
    # No balance below 300 degC: inf, so that every comparison with a limit fails.
    assert found.conductor_c[4] == np.inf
    assert found.surface_c[4] == np.inf
    assert heat_balance.current_for_temperature(60.0, 60.0, *FIFTY).current_a == 0.0
    assert heat_balance.current_for_temperature(60.0, 80.0, *FIFTY).current_a == 0.0


@covers("physics.heat_balance.current_for_temperature")
def test_bare_conductor_has_the_surface_of_its_metal() -> None:
    ohm, inner, _ = FIFTY
    bare = heat_balance.current_for_temperature(105.0, 40.0, ohm, inner, inner)
    assert bare.surface_c == pytest.approx(105.0, abs=1e-8)
    amps, _ = library_balance(105.0, 40.0, (ohm, inner, inner * (1 + 1e-9)), 0.9, 101325.0)
    assert bare.current_a == pytest.approx(amps, rel=1e-3)
    # Convection and radiation of the surface found account for the whole loss I2 R.
    found = heat_balance.current_for_temperature(105.0, 40.0, *FIFTY)
    loss = found.current_a**2 * ohm * (1.0 + 0.00393 * 85.0)
    assert found.heat_w_per_m == pytest.approx(loss, rel=1e-12)


@covers("physics.heat_balance.design_current_a")
def test_design_current_stays_at_or_below_the_printed_table() -> None:
    """NEC 310.17 at 75 and 90 degC, 6 AWG to 4/0, walls of 1.14 mm (to 2 AWG) and 1.40 mm, strand
    13 % thicker than solid: the bare balance is above the table, the design current is not."""
    ratios = []
    for size, wall_m in itertools.chain(
        itertools.product(("6", "4", "2"), (1.14e-3,)),
        itertools.product(("1", "1/0", "2/0", "3/0", "4/0"), (1.40e-3,)),
    ):
        inner = 1.13 * awg_diameter_m(size)
        ohm = float(solid_resistance_ohm_per_m(awg_area_mm2(size)))
        for place, celsius in ((1, 75.0), (2, 90.0)):
            table = NEC_310_17_COPPER.rows[size][place]
            assert table is not None
            bare = heat_balance.current_for_temperature(celsius, 30.0, ohm, inner, inner + 2.0 * wall_m)
            ratios.append(float(bare.current_a) / table)
            assert float(heat_balance.design_current_a(bare.current_a)) <= 1.005 * table
    assert min(ratios) > 1.0
    assert max(ratios) < 1.14


def test_heat_balance_refuses() -> None:
    with pytest.raises(ValueError, match="outer_diameter_m"):
        heat_balance.current_for_temperature(105.0, 40.0, 0.386e-3, 13e-3, 9e-3)
    with pytest.raises(ValueError, match="emissivity"):
        heat_balance.current_for_temperature(105.0, 40.0, *FIFTY, emissivity=1.5)
    with pytest.raises(ValueError, match="conductor_c"):
        heat_balance.current_for_temperature(math.nan, 40.0, *FIFTY)
    with pytest.raises(ValueError, match="current_a"):
        heat_balance.temperature_for_current(math.nan, 40.0, *FIFTY)
    with pytest.raises(ValueError, match="resistance_20"):
        heat_balance.temperature_for_current(100.0, 40.0, 0.0, 9e-3, 13e-3)
