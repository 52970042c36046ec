"""Printed values of fuse guides, of 30 CFR 28.41 and of UL 248-14, and the examples worked from them."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.evidence import covers
from tests.printed import printed
from tristrand.physics import fault, fuses


@covers("physics.fault.pulse_joule_integral_a2s")
@pytest.mark.parametrize(
    ("shape", "parts"),
    [("constant", 1), ("exponential", 2), ("triangle", 3), ("half-sine", 2), ("parabola", 5)],
)
def test_pulse_shapes(shape: str, parts: int) -> None:
    """A guide's formulas: peak squared times duration, or a half, a third, a fifth of it."""
    assert parts * fault.pulse_joule_integral_a2s(shape, 30.0, 0.02) == pytest.approx(18.0, rel=1e-14)


@covers("physics.fault.pulse_joule_integral_a2s")
def test_trapezoid() -> None:
    """(ip^2 + ip ib + ib^2) t/3 with 30 A and 60 A over 10 ms: (3600 + 1800 + 900)/3 * 0.01."""
    assert fault.pulse_joule_integral_a2s("trapezoid", 60.0, 0.01, 30.0) == pytest.approx(21.0, rel=1e-14)


@covers("physics.fault.pulse_joule_integral_a2s")
def test_contactor_withstand() -> None:
    """A data sheet's 6000 A for 25 ms."""
    assert fault.pulse_joule_integral_a2s("constant", 6000.0, 25e-3) == printed("9.0e5")


@covers("physics.fuses.largest_pulse_share", "physics.fuses.needed_melting_a2s")
@pytest.mark.parametrize(
    ("pulses", "percent", "melting_a2s"),
    [(100_000, "22", "4545"), (10_000, "29", "3448"), (1_000, "38", "2632"), (100, "48", "2083")],
)
def test_pulse_life(pulses: int, percent: str, melting_a2s: str) -> None:
    """A guide's shares; the melting I2t that an inrush of 1000 A2s then needs."""
    assert 100.0 * fuses.largest_pulse_share(pulses) == printed(percent, units=1e-9)
    assert fuses.needed_melting_a2s(1000.0, pulses) == printed(melting_a2s)


@covers("physics.fuses.largest_pulse_share")
@pytest.mark.parametrize("pulses", [99.0, 100_001.0, 0.0, -5.0, math.nan, math.inf])
def test_pulse_life_ends_where_the_print_ends(pulses: float) -> None:
    with pytest.raises(ValueError, match="nothing is printed outside"):
        fuses.largest_pulse_share(np.array([1000.0, pulses]))


@covers("physics.fuses.continuous_current_a", "physics.fuses.required_rating_a")
def test_three_quarters_of_the_rating() -> None:
    assert fuses.continuous_current_a(200.0) == pytest.approx(150.0, rel=1e-15)
    assert fuses.required_rating_a(150.0) == pytest.approx(200.0, rel=1e-15)


@covers("physics.fuses.ambient_factor")
@pytest.mark.parametrize(
    ("ambient_c", "limit_c", "factor"),
    [(60.0, 130.0, "0.8165"), (60.0, 150.0, "0.8485"), (40.0, 130.0, "0.9258"), (40.0, 150.0, "0.9381")],
)
def test_ambient_factor_worked(ambient_c: float, limit_c: float, factor: str) -> None:
    """The guide's ratio, with the root that its copy has lost; the heat balance in tests/analytic shows the root."""
    assert fuses.ambient_factor(ambient_c, limit_c) == printed(factor)


@covers("physics.fuses.required_rating_a")
def test_rating_for_150_a_at_60_c() -> None:
    assert fuses.required_rating_a(150.0, 0.8165) == printed("244.9")
    assert fuses.required_rating_a(150.0, fuses.ambient_factor(60.0, 130.0, 25.0), 0.75) == printed("244.9")


@covers("physics.fault.rms_a")
def test_rms_of_a_load_profile() -> None:
    """500 A for 10 s, 200 A for 90 s, 20 s at rest."""
    assert fault.rms_a([(500.0, 10.0), (200.0, 90.0), (0.0, 20.0)]) == printed("225.46")


@covers("physics.fuses.qualification_time_constant_s")
def test_time_constants_of_30_cfr_28_41() -> None:
    amps = np.array([99.0, 100.0, 999.0, 1000.0, 9999.0, 10e3, 20e3])
    assert fuses.qualification_time_constant_s(amps).tolist() == [2e-3, 6e-3, 6e-3, 8e-3, 8e-3, 16e-3, 16e-3]
    assert fuses.qualification_time_constant_s(6339.62) == 8e-3
    with pytest.raises(ValueError, match="current_a"):
        fuses.qualification_time_constant_s(0.0)


@covers("physics.fuses.longest_opening_s")
@pytest.mark.parametrize(
    ("percent", "rating_a", "seconds"),
    [(100, 10, math.inf), (135, 10, 3600), (135, 60, 3600), (200, 30, 120), (200, 35, 240), (200, 60, 240)],
)
def test_ul_248_14(percent: float, rating_a: float, seconds: float) -> None:
    assert fuses.longest_opening_s(percent, rating_a) == seconds


@covers("physics.fuses.longest_opening_s")
@pytest.mark.parametrize(("percent", "rating_a"), [(150, 10), (200, 32), (200, 61), (135, 80), (100, 80), (100, 0)])
def test_ul_248_14_prints_nothing_else(percent: float, rating_a: float) -> None:
    with pytest.raises(ValueError, match=r"no opening time is printed|rating_a"):
        fuses.longest_opening_s(percent, rating_a)
