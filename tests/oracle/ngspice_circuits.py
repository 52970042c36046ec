"""Circuits compared with ngspice. Every netlist is written by hand, beside the same circuit in our own words."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from tristrand.physics.circuit import (
    At,
    Battery,
    Capacitor,
    Circuit,
    Crossing,
    Diode,
    Inductor,
    Integral,
    Peak,
    PowerLoad,
    Probe,
    Resistor,
    Switch,
    Transient,
    amp,
    transient,
    volt,
)


@dataclass(frozen=True)
class Case:
    """One comparison: a netlist with its measures, and the function that gives ours under the same names."""

    name: str
    body: str
    duration_s: float
    step_s: float
    measures: dict[str, str]
    ours: Callable[[], dict[str, float]] = field(repr=False)
    absolute: str = "abstol=1e-10 vntol=1e-8"


def _numbers(run: Transient) -> dict[str, float]:
    out = {name: float(value[0]) for name, value in run.crossings.items()}
    out |= {name: float(value[0][0]) for name, value in run.peaks.items()}
    return out | {name: float(value[0]) for name, value in run.integrals.items()}


def _switched(name: str, a: str, b: str, ohm: float, edges: str) -> str:
    """A contact as a conductance that a source swings between 1e-12 and 1/ohm within 1 ns.

    i(V<name>) is its current.
    """
    return (
        f"V{name} {a} x{name} 0\nB{name} x{name} {b} I=(v(x{name})-v({b}))*v(k{name})/{ohm}\n"
        f"Vk{name} k{name} 0 PWL({edges})"
    )


def _integrated(name: str, expression: str) -> str:
    """The integral of an expression as the voltage of 1 F."""
    return f"B{name} 0 {name} I={expression}\nC{name} {name} 0 1 ic=0\nR{name} {name} 0 1e12"


def _bleeder() -> dict[str, float]:
    circuit = Circuit(
        (
            Battery("pack", "p", "m", 400.0, 0.1),
            Resistor("pre", "p", "bus", 100.0),
            Capacitor("c", "bus", "m", 1e-3),
            Resistor("bleeder", "bus", "m", 900.0),
        )
    )
    probes: list[Probe] = [
        Crossing("t340", volt("bus", "m"), 340.0),
        Integral("epre", amp("pre"), volt("p", "bus")),
        Integral("epack", amp("pack"), volt("p", "m")),
    ]
    return _numbers(transient(circuit, 0.5, probes=probes))


BLEEDER = Case(
    "precharge beside a bleeder",
    "V1 o 0 400\nRs o p 0.1\nRp p b 100\nC1 b 0 1m ic=0\nRb b 0 900\n"
    + _integrated("ep", "(v(p)-v(b))*(v(p)-v(b))/100")
    + "\n"
    + _integrated("ek", "v(p)*(400-v(p))/0.1"),
    0.5,
    2e-5,
    {"t340": "when v(b)=340", "epre": "find v(ep) at=0.4999999999", "epack": "find v(ek) at=0.4999999999"},
    _bleeder,
)


def _surge() -> dict[str, float]:
    circuit = Circuit(
        (
            Battery("pack", "p", "m", 400.0, 0.015),
            Inductor("cable", "p", "a", 2e-6, 0.004),
            Switch("main", "a", "bus", 0.001),
            Capacitor("c", "bus", "m", 1e-3, 380.0),
            Resistor("meter", "a", "m", 2e3),
        )
    )
    probes: list[Probe] = [
        Peak("ipk", amp("cable")),
        Integral("i2t", amp("main"), amp("main")),
        Peak("vpk", volt("bus", "m")),
    ]
    return _numbers(transient(circuit, 4e-3, [At(1e-4, "main", True)], probes))


SURGE = Case(
    "closing surge through a cable with inductance",
    "V1 o 0 400\nRs o p 0.015\nL1 p q 2u ic=0\nRl q a 0.004\nRm a 0 2k\n"
    + _switched("main", "a", "b", 0.001, "0 1e-12 1e-4 1e-12 1.00001e-4 1")
    + "\nC1 b 0 1m ic=380\n"
    + _integrated("sq", "i(Vmain)*i(Vmain)"),
    4e-3,
    4e-7,
    {"ipk": "max i(L1)", "i2t": "find v(sq) at=3.99999e-3", "vpk": "max v(b)"},
    _surge,
    "abstol=1e-8 vntol=1e-6",
)


def _two_packs() -> dict[str, float]:
    circuit = Circuit(
        (
            Battery("a", "ap", "g", 400.0, 0.08),
            Battery("b", "bp", "g", 404.0, 0.15),
            Inductor("la", "ap", "a1", 2e-6, 2e-3),
            Inductor("lb", "bp", "b1", 3e-6, 3e-3),
            Switch("pre", "a1", "r", 0.01),
            Resistor("rp", "r", "bus", 20.0),
            Switch("main_a", "a1", "bus", 5e-4),
            Switch("main_b", "b1", "bus", 5e-4),
            Inductor("l1", "bus", "i1", 1e-6, 1e-3),
            Inductor("l2", "bus", "i2", 1.5e-6, 2e-3),
            Capacitor("c1", "i1", "g", 8e-4),
            Capacitor("c2", "i2", "g", 5e-4),
            Resistor("ma", "a1", "g", 2e3),
            Resistor("mb", "b1", "g", 2e3),
            Resistor("bleeder", "i1", "g", 2e4),
            Capacitor("cy", "bus", "g", 1e-6),
            Resistor("rx", "bus", "g", 5e4),
        ),
        reference="g",
    )
    probes: list[Probe] = [
        Crossing("t300", volt("i1", "g"), 300.0),
        Peak("ia", amp("a")),
        Peak("ib", amp("b")),
        Peak("i2pk", amp("l2"), start_s=0.049),
        Peak("v2", volt("i2", "g")),
        Integral("erp", amp("rp"), volt("r", "bus")),
        Integral("i2ta", amp("main_a"), amp("main_a")),
        Integral("i2tb", amp("main_b"), amp("main_b")),
    ]
    orders = [At(1e-3, "pre", True), At(0.05, "main_a", True), At(0.053, "pre", False), At(0.056, "main_b", True)]
    return _numbers(transient(circuit, 0.06, orders, probes))


TWO_PACKS = Case(
    "two packs of different resistance, two inverters of unequal capacitance",
    """VA ao 0 400
RA ao ap 0.08
VB bo 0 404
RB bo bp 0.15
LA ap aq 2u ic=0
RLA aq a1 2m
LB bp bq 3u ic=0
RLB bq b1 3m
RP r u 20
L1 u v1 1u ic=0
RL1 v1 i1 1m
L2 u v2 1.5u ic=0
RL2 v2 i2 2m
C1 i1 0 800u ic=0
C2 i2 0 500u ic=0
RB1 i1 0 20k
CY u 0 1u ic=0
RX u 0 50k
RMA a1 0 2k
RMB b1 0 2k
"""
    + "\n".join(
        [
            _switched("pre", "a1", "r", 0.01, "0 1e-12 1e-3 1e-12 1.000001e-3 1 0.053 1 0.053000001 1e-12"),
            _switched("ma", "a1", "u", 5e-4, "0 1e-12 0.05 1e-12 0.050000001 1"),
            _switched("mb", "b1", "u", 5e-4, "0 1e-12 0.056 1e-12 0.056000001 1"),
            _integrated("er", "(v(r)-v(u))*(v(r)-v(u))/20"),
            _integrated("qa", "i(Vma)*i(Vma)"),
            _integrated("qb", "i(Vmb)*i(Vmb)"),
        ]
    ),
    0.06,
    5e-7,
    {
        "t300": "when v(i1)=300",
        "ia": "max i(LA)",
        "ib": "max i(LB)",
        "i2pk": "max i(L2) from=0.049",
        "v2": "max v(i2)",
        "erp": "find v(er) at=0.0599999999",
        "i2ta": "find v(qa) at=0.0599999999",
        "i2tb": "find v(qb) at=0.0599999999",
    },
    _two_packs,
    "abstol=1e-8 vntol=1e-6",
)


def _threshold_converter() -> dict[str, float]:
    circuit = Circuit(
        (
            Battery("pack", "p", "m", 400.0, 0.1),
            Resistor("pre", "p", "bus", 100.0),
            Capacitor("c", "bus", "m", 1e-3),
            Inductor("cable", "bus", "d", 5e-6, 0.02),
            Capacitor("cd", "d", "m", 50e-6),
            PowerLoad("converter", "d", "m", 150.0, turn_on_v=250.0, turn_off_v=120.0),
        )
    )
    probes: list[Probe] = [
        Crossing("t240", volt("d", "m"), 240.0),
        Crossing("t300", volt("bus", "m"), 300.0),
        Crossing("t350", volt("bus", "m"), 350.0),
        Integral("epre", amp("pre"), volt("p", "bus")),
        Integral("eload", amp("converter"), volt("d", "m")),
        Integral("epack", amp("pack"), volt("p", "m")),
        Peak("il", amp("cable"), start_s=0.12),
    ]
    return _numbers(transient(circuit, 0.6, probes=probes))


THRESHOLD_CONVERTER = Case(
    "constant-power converter that starts at a threshold during precharge",
    "V1 o 0 400\nRs o p 0.1\nRp p b 100\nC1 b 0 1m ic=0\nL1 b dq 5u ic=0\nRl dq d 0.02\nCd d 0 50u ic=0\n"
    "Vdd s 0 1\nSon s on d 0 mon\n.model mon sw vt=185 vh=65 ron=1 roff=1e12\nRon on 0 1e6\n"
    "Bload d 0 I=v(on)>0.5 ? 150/max(v(d),1) : 0\n"
    + _integrated("ep", "(v(p)-v(b))*(v(p)-v(b))/100")
    + "\n"
    + _integrated("ek", "v(p)*(400-v(p))/0.1")
    + "\n"
    + _integrated("el", "v(on)>0.5 ? 150 : 0"),
    0.6,
    4e-6,
    {
        "t240": "when v(d)=240",
        "t300": "when v(b)=300",
        "t350": "when v(b)=350",
        "epre": "find v(ep) at=0.5999999999",
        "eload": "find v(el) at=0.5999999999",
        "epack": "find v(ek) at=0.5999999999",
        "il": "max i(L1) from=0.12",
    },
    _threshold_converter,
)


def _strings_fault() -> dict[str, float]:
    circuit = Circuit(
        (
            Battery("s1", "p1", "m", 403.2, 0.06),
            Battery("s2", "p2", "m", 398.0, 0.11),
            Inductor("l1", "p1", "j", 6e-6, 0.004),
            Inductor("l2", "p2", "j", 9e-6, 0.006),
            Inductor("l3", "j", "f", 4e-6, 0.003),
            Switch("fault", "f", "m", 0.005),
            Resistor("load", "f", "m", 8.0),
            Capacitor("c", "j", "m", 2e-4, 400.0),
        )
    )
    probes: list[Probe] = [
        Peak("i3", amp("l3")),
        Peak("i1", amp("l1")),
        Integral("q3", amp("l3"), amp("l3")),
        Integral("q2", amp("l2"), amp("l2")),
        Crossing("t3", amp("l3"), 3000.0),
    ]
    return _numbers(transient(circuit, 3e-3, [At(1e-3, "fault", True)], probes))


STRINGS_FAULT = Case(
    "parallel strings into a fault, with a capacitor at the junction",
    "V1 o1 0 403.2\nRs1 o1 p1 0.06\nV2 o2 0 398\nRs2 o2 p2 0.11\nL1 p1 q1 6u ic=0\nR1 q1 j 0.004\nL2 p2 q2 9u ic=0\n"
    "R2 q2 j 0.006\nL3 j q3 4u ic=0\nR3 q3 f 0.003\nRload f 0 8\nC1 j 0 200u ic=400\n"
    + _switched("ft", "f", "0", 0.005, "0 1e-12 1e-3 1e-12 1.000001e-3 1")
    + "\n"
    + _integrated("e3", "i(L3)*i(L3)")
    + "\n"
    + _integrated("e2", "i(L2)*i(L2)"),
    3e-3,
    2e-7,
    {
        "i3": "max i(L3)",
        "i1": "max i(L1)",
        "q3": "find v(e3) at=2.9999999e-3",
        "q2": "find v(e2) at=2.9999999e-3",
        "t3": "when i(L3)=3000",
    },
    _strings_fault,
)


def _discharge() -> dict[str, float]:
    circuit = Circuit(
        (
            Capacitor("c1", "a", "m", 8e-4, 400.0),
            Resistor("bleeder", "a", "m", 2e4),
            Switch("active", "a", "r", 0.5),
            Resistor("rd", "r", "m", 400.0),
            Resistor("feed", "a", "d", 0.2),
            Diode("d1", "d", "h", forward_v=0.0, on_ohm=0.05),
            Capacitor("c2", "h", "m", 3e-4, 395.0),
            Resistor("heater", "h", "m", 1500.0),
        )
    )
    probes: list[Probe] = [
        Crossing("t60a", volt("a", "m"), 60.0, rising=False),
        Crossing("t60h", volt("h", "m"), 60.0, rising=False),
        Integral("erd", amp("rd"), volt("r", "m")),
        Integral("qd", amp("d1")),
        Integral("eh", amp("heater"), volt("h", "m")),
    ]
    return _numbers(transient(circuit, 3.0, [At(0.2, "active", True)], probes))


DISCHARGE = Case(
    "passive then active discharge, a second bus behind a diode",
    "C1 a 0 800u ic=400\nRb a 0 20k\nRd r 0 400\nRf a d 0.2\nC2 h 0 300u ic=395\nRh h 0 1500\n"
    "Bd d h I=max(v(d)-v(h),0)/0.05\n"
    + _integrated("ed", "max(v(d)-v(h),0)/0.05")
    + "\n"
    + _switched("act", "a", "r", 0.5, "0 1e-12 0.2 1e-12 0.200000001 1")
    + "\n"
    + _integrated("er", "v(r)*v(r)/400")
    + "\n"
    + _integrated("eq", "v(h)*v(h)/1500"),
    3.0,
    4e-5,
    {
        "t60a": "when v(a)=60 fall=last",
        "t60h": "when v(h)=60 fall=last",
        "erd": "find v(er) at=2.9999999",
        "qd": "find v(ed) at=2.9999999",
        "eh": "find v(eq) at=2.9999999",
    },
    _discharge,
)


def _limited_load() -> dict[str, float]:
    circuit = Circuit(
        (
            Battery("pack", "p", "m", 400.0, 0.5),
            Inductor("cable", "p", "bus", 8e-6, 25.0),
            Capacitor("c", "bus", "m", 6e-4),
            PowerLoad(
                "heater", "bus", "m", 900.0, turn_off_v=220.0, turn_on_v=220.0, below="resistive", current_limit_a=3.6
            ),
        )
    )
    probes: list[Probe] = [
        Crossing("t200", volt("bus", "m"), 200.0),
        Crossing("t240", volt("bus", "m"), 240.0),
        Crossing("t300", volt("bus", "m"), 300.0),
        Integral("eh", amp("heater"), volt("bus", "m")),
        Peak("ih", amp("heater")),
        Integral("ep", amp("pack"), volt("p", "m")),
    ]
    return _numbers(transient(circuit, 0.12, probes=probes))


LIMITED_LOAD = Case(
    "load that is resistive below its minimum voltage, then current-limited, then of constant power",
    "V1 o 0 400\nRs o p 0.5\nL1 p q 8u ic=0\nRl q b 25\nC1 b 0 600u ic=0\n"
    "Bh b 0 I=min(min(v(b)*900/48400, 3.6), 900/max(v(b),220))\n"
    + _integrated("eh1", "v(b)*min(min(v(b)*900/48400, 3.6), 900/max(v(b),220))")
    + "\n"
    + _integrated("ek", "v(p)*(400-v(p))/0.5")
    + "\nBm im 0 V=min(min(v(b)*900/48400, 3.6), 900/max(v(b),220))",
    0.12,
    4e-6,
    {
        "t200": "when v(b)=200",
        "t240": "when v(b)=240",
        "t300": "when v(b)=300",
        "eh": "find v(eh1) at=0.11999999999",
        "ih": "max v(im)",
        "ep": "find v(ek) at=0.11999999999",
    },
    _limited_load,
)


def _soft_start() -> dict[str, float]:
    circuit = Circuit(
        (
            Battery("pack", "p", "m", 380.0, 0.3),
            Inductor("cable", "p", "bus", 2e-5, 0.05),
            Capacitor("c", "bus", "m", 4e-4, 380.0),
            PowerLoad("a", "bus", "m", 12e3, turn_on_v=250.0, turn_off_v=200.0, soft_start_s=5e-3),
            Inductor("tail", "bus", "d", 3e-6, 0.1),
            Capacitor("cd", "d", "m", 1e-4, 380.0),
            PowerLoad("b", "d", "m", 2e3, turn_on_v=300.0, turn_off_v=280.0, soft_start_s=1e-3, current_limit_a=5.4),
        )
    )
    probes: list[Probe] = [
        Crossing("t375", volt("bus", "m"), 375.0, rising=False),
        Integral("ea", amp("a"), volt("bus", "m")),
        Integral("eb", amp("b"), volt("d", "m")),
        Integral("i2t", amp("cable"), amp("cable")),
        Peak("il", amp("cable")),
        Crossing("t370", volt("d", "m"), 370.0, rising=False),
    ]
    return _numbers(transient(circuit, 0.02, probes=probes))


SOFT_START = Case(
    "two converters with soft start, one at its current limit, on one bus",
    "V1 o 0 380\nRs o p 0.3\nL1 p q 20u ic=0\nRl q b 0.05\nC1 b 0 400u ic=380\n"
    "L2 b dq 3u ic=0\nR2 dq d 0.1\nC2 d 0 100u ic=380\n"
    "Vr r 0 PWL(0 0 5e-3 1 1 1)\nVs s 0 PWL(0 0 1e-3 1 1 1)\n"
    "Ba b 0 I=12e3*v(r)/v(b)\nBb d 0 I=min(2e3*v(s)/v(d), 5.4)\n"
    + _integrated("ga", "12e3*v(r)")
    + "\n"
    + _integrated("gb", "v(d)*min(2e3*v(s)/v(d), 5.4)")
    + "\n"
    + _integrated("sq", "i(L1)*i(L1)"),
    0.02,
    1e-6,
    {
        "t375": "when v(b)=375 fall=1",
        "ea": "find v(ga) at=0.0199999999",
        "eb": "find v(gb) at=0.0199999999",
        "i2t": "find v(sq) at=0.0199999999",
        "il": "max i(L1)",
        "t370": "when v(d)=370 fall=1",
    },
    _soft_start,
)

CASES = (BLEEDER, SURGE, TWO_PACKS, THRESHOLD_CONVERTER, STRINGS_FAULT, DISCHARGE, LIMITED_LOAD, SOFT_START)
