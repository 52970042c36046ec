"""A discharge resistor that nothing switches off: what it takes from the full pack, and how hot it gets."""

import math
from collections.abc import Iterable

from tristrand.physics import discharge as closed_form
from tristrand.studies.circuits import HvCircuit
from tristrand.studies.opening import Body
from tristrand.studies.results import DischargeResult, Working, working

JOULE = "CLOSED-FORM#Joule's law"
HELD_S = 15.0


def left_on(circuit: HvCircuit, made: Iterable[Body], result: DischargeResult) -> DischargeResult:
    """The result with power, energy and temperature of every discharge resistor left on a live bus."""
    power: dict[str, float] = {}
    energy: dict[str, float] = {}
    hot: dict[str, float] = {}
    steady: dict[str, float] = {}
    lines: list[Working] = []
    resistors = {r.id: r for r in circuit.resistors}
    for body in made:
        if body.id not in resistors:
            continue  # it lies on no loop and so never carries current
        ohm = resistors[body.id].ohm.low
        watt = float(closed_form.continuous_power_w(result.start_v, ohm))
        power[body.id], energy[body.id] = watt, watt * HELD_S
        lines += [
            working(
                body.id,
                "P_on",
                "power if left on, highest pack voltage",
                "V**2/R",
                watt,
                "W",
                JOULE,
                V=(result.start_v, "V"),
                R=(ohm, "Ω"),
            ),
            working(
                body.id,
                "E_on",
                f"energy in {HELD_S:g} s if left on",
                "P*t",
                watt * HELD_S,
                "J",
                JOULE,
                P=(watt, "W"),
                t=(HELD_S, "s"),
            ),
        ]
        if math.isfinite(body.thermal_k_per_w) and math.isfinite(body.ambient_c):
            steady[body.id] = body.ambient_c + watt * body.thermal_k_per_w
            words, store = "temperature if left on for ever", "CLOSED-FORM-HEAT#one node, step of power"
            given = {"T_a": (body.ambient_c, "°C"), "P": (watt, "W"), "R_th": (body.thermal_k_per_w, "K/W")}
            lines.append(working(body.id, "T_end", words, "T_a + P*R_th", steady[body.id], "°C", store, **given))
        if all(map(math.isfinite, (body.thermal_k_per_w, body.heat_j_per_k, body.ambient_c))):
            rise = -watt * body.thermal_k_per_w * math.expm1(-HELD_S / (body.thermal_k_per_w * body.heat_j_per_k))
            hot[body.id] = body.ambient_c + rise
            lines.append(
                working(
                    body.id,
                    "T_on",
                    f"temperature after {HELD_S:g} s if left on, from ambient",
                    "T_a + P*R_th*(1 - exp(-t/(R_th*C_th)))",
                    hot[body.id],
                    "°C",
                    "CLOSED-FORM-HEAT#one node, step of power",
                    T_a=(body.ambient_c, "°C"),
                    P=(watt, "W"),
                    R_th=(body.thermal_k_per_w, "K/W"),
                    C_th=(body.heat_j_per_k, "J/K"),
                    t=(HELD_S, "s"),
                )
            )
    return result._replace(
        resistor_power_w=power,
        resistor_energy_15s_j=energy,
        resistor_temperature_15s_c=hot,
        resistor_steady_c=steady,
        workings=(*result.workings, *lines),
    )
