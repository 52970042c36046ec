"""Fault currents of networks against one loop's closed form, against the circuit solver, and against laws."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.evidence import covers
from tristrand.physics.circuit import Battery, Circuit, Inductor, Integral, Resistor, amp, transient
from tristrand.physics.fault_loops import (
    current_a,
    fault_course,
    joule_integral_a2s,
    rise_time_s,
    time_to_joule_integral_s,
)

FIRST = np.array([0])


@covers("physics.fault_loops.fault_course", "physics.fault_loops.current_a", "physics.fault_loops.rise_time_s")
def test_one_loop_is_the_closed_form() -> None:
    volt, ohm, henry = 403.2, 0.0636, 10e-6
    tau = henry / ohm
    course = fault_course(np.ones((1, 1, 1)), np.array([ohm]), np.array([henry]), np.array([volt]))
    times = np.array([0.0, 1e-6, 1e-4, 1e-3, 0.5])
    assert current_a(course, times)[0, 0] == pytest.approx(volt / ohm * -np.expm1(-times / tau), rel=1e-12)
    assert rise_time_s(course, FIRST)[0] == pytest.approx(tau, rel=1e-12)
    for t in (1e-7, 1e-5, 1e-4, 1e-2):
        peak = volt / ohm
        a2s = peak**2 * (t + 2 * tau * np.expm1(-t / tau) - tau / 2 * np.expm1(-2 * t / tau))
        # The closed form itself cancels for short times; the cubic start does not.
        a2s = (volt / henry) ** 2 * t**3 / 3 * (1 - 0.75 * t / tau) if t < 1e-6 else a2s
        assert joule_integral_a2s(course, FIRST, np.array([t]))[0] == pytest.approx(a2s, rel=1e-6 if t < 1e-6 else 1e-9)


@covers("physics.fault_loops.fault_course", "physics.fault_loops.joule_integral_a2s", "physics.fault_loops.rise_time_s")
@given(
    ohm=st.lists(st.floats(0.01, 0.5), min_size=3, max_size=3),
    henry=st.lists(st.floats(1e-7, 3e-5), min_size=3, max_size=3),
    volt=st.lists(st.floats(250.0, 450.0), min_size=2, max_size=2),
)
@settings(max_examples=25, deadline=None)
def test_two_strings_agree_with_the_circuit_solver(ohm: list[float], henry: list[float], volt: list[float]) -> None:
    loops = np.array([[[1.0, 0.0, 1.0], [0.0, 1.0, 1.0]]])
    course = fault_course(loops, np.array(ohm), np.array(henry), np.array([*volt, 0.0]))
    circuit = Circuit((
        Battery("a", "ap", "g", volt[0], ohm[0] / 2), Inductor("la", "ap", "bus", henry[0], ohm[0] / 2),
        Battery("b", "bp", "g", volt[1], ohm[1] / 2), Inductor("lb", "bp", "bus", henry[1], ohm[1] / 2),
        Inductor("lc", "bus", "arc", henry[2], ohm[2] / 2), Resistor("arc", "arc", "g", ohm[2] / 2),
    ))  # fmt: skip
    for t in (2e-5, 1e-3):
        run = transient(circuit, t, (), (Integral("q", amp("lc"), amp("lc")),))
        ours = current_a(course, np.array([t]))[0, :, 0]
        solver = [float(run.final(amp(name))[0]) for name in ("la", "lb", "lc")]
        assert ours == pytest.approx(solver, rel=1e-7, abs=1e-6 * max(map(abs, solver)))
        a2s = joule_integral_a2s(course, np.array([2]), np.array([t]))[0]
        assert a2s == pytest.approx(float(run.integrals["q"][0]), rel=1e-7)
    rise = rise_time_s(course, np.array([2]))[0]
    assert current_a(course, np.array([rise]))[0, 2, 0] == pytest.approx(
        (1 - np.exp(-1)) * course.final_a[0, 2], rel=1e-9
    )


@covers("physics.fault_loops.time_to_joule_integral_s")
@given(target=st.floats(1e-6, 1e9), ohm=st.floats(1e-3, 1.0), henry=st.floats(1e-9, 1e-3))
@settings(max_examples=60, deadline=None)
def test_the_time_to_an_integral_gives_that_integral(target: float, ohm: float, henry: float) -> None:
    course = fault_course(np.ones((1, 1, 1)), np.array([ohm]), np.array([henry]), np.array([400.0]))
    time = time_to_joule_integral_s(course, FIRST, np.array([target]))
    assert joule_integral_a2s(course, FIRST, time)[0] == pytest.approx(target, rel=1e-9)


@covers("physics.fault_loops.time_to_joule_integral_s", "physics.fault_loops.rise_time_s")
def test_a_branch_without_current_is_never_heated() -> None:
    # Two equal strings: the branch that ties their middles carries nothing.
    loops = np.array([[[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]])
    course = fault_course(loops, np.array([0.1, 0.2, 0.1]), np.array([1e-6, 1e-6, 1e-6]), np.array([400.0, 200.0, 0.0]))
    assert np.isinf(time_to_joule_integral_s(course, np.array([2]), np.array([1.0])))[0]
    assert np.isinf(rise_time_s(course, np.array([2])))[0]
    assert np.isnan(time_to_joule_integral_s(course, np.array([0]), np.array([np.nan])))[0]


def test_what_cannot_be_solved_is_refused() -> None:
    one = np.ones((1, 1, 1))
    with pytest.raises(ValueError, match="no resistance"):
        fault_course(one, np.array([0.0]), np.array([1e-6]), np.array([400.0]))
    with pytest.raises(ValueError, match="not be negative"):
        fault_course(one, np.array([-0.1]), np.array([1e-6]), np.array([400.0]))
    with pytest.raises(ValueError, match="finite"):
        fault_course(one, np.array([0.1]), np.array([np.nan]), np.array([400.0]))
    with pytest.raises(ValueError, match="independent"):
        fault_course(
            np.array([[[1.0, 1.0], [1.0, 1.0]]]), np.array([0.1, 0.1]), np.array([1e-6, 1e-6]), np.array([4.0, 0.0])
        )


@covers("physics.fault_loops.fault_course", "physics.fault_loops.joule_integral_a2s")
def test_loops_without_inductance_jump_and_leave_the_others_exact() -> None:
    # The third loop shares all its inductance with the second, so the matrix of inductances has no inverse.
    loops = np.array([[[1.0, 0.0, 1.0], [0.0, 1.0, 1.0]]])
    course = fault_course(loops, np.array([0.05, 0.1, 0.03]), np.array([0.0, 0.0, 4e-6]), np.array([400.0, 400.0, 0.0]))
    both = 0.05 * 0.1 / 0.15
    tau = 4e-6 / (both + 0.03)
    now = current_a(course, np.array([tau]))[0]
    assert now[2, 0] == pytest.approx(400.0 / (both + 0.03) * (1 - np.exp(-1)), rel=1e-10)
    assert now[0, 0] == pytest.approx(2 * now[1, 0], rel=1e-10)
    bare = fault_course(np.ones((1, 1, 1)), np.array([0.05]), np.array([0.0]), np.array([400.0]))
    assert joule_integral_a2s(bare, FIRST, np.array([2e-3]))[0] == pytest.approx(8000.0**2 * 2e-3, rel=1e-8)
