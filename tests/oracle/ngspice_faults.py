"""Short circuits compared with ngspice: one loop, two strings into one fault, a fault inside one of three strings."""

import numpy as np
from numpy.typing import NDArray

from tests.oracle.ngspice_circuits import Case, _integrated
from tristrand.physics.fault_loops import current_a, fault_course, joule_integral_a2s, time_to_joule_integral_s
from tristrand.physics.fault_sources import added_fault_current_a

Floats = NDArray[np.float64]
END_S = 8e-3
AT = "at=0.0079999999"


def _read(
    loops: list[list[float]],
    ohm: list[float],
    henry: list[float],
    volt: list[float],
    asked: dict[str, tuple[int, float]],
) -> dict[str, float]:
    """For each name (branch, time or I2t): i<name> and q<name> at a time, t<name> when the I2t is reached."""
    course = fault_course(np.array([loops]), np.array(ohm), np.array(henry), np.array(volt))
    out = {}
    for name, (branch, number) in asked.items():
        which, given = np.array([branch]), np.array([number])
        if name.startswith("i"):
            out[name] = float(current_a(course, given[None])[0, branch, 0])
        elif name.startswith("q"):
            out[name] = float(joule_integral_a2s(course, which, given)[0])
        else:
            out[name] = float(time_to_joule_integral_s(course, which, given)[0])
    return out


ONE_LOOP = Case(
    "fault of one pack through its fuse",
    "V1 o 0 403.2\nR1 o a 0.0576\nR2 a b 0.006\nL1 b 0 10u ic=0\n" + _integrated("q", "i(L1)*i(L1)"),
    END_S,
    4e-6,
    {
        "i1": "find i(L1) at=5e-4",
        "q1": f"find v(q) {AT}",
        "t1": "when v(q)=1e4",
        "t2": "when v(q)=1e5",
    },
    lambda: _read(
        [[1.0, 1.0]],
        [0.0576, 0.006],
        [0.0, 10e-6],
        [403.2, 0.0],
        {"i1": (0, 5e-4), "q1": (0, END_S), "t1": (1, 1e4), "t2": (1, 1e5)},
    ),
)

TWO_STRINGS = Case(
    "fault behind two strings side by side",
    "V1 o1 0 400\nR1 o1 a1 0.08\nL1 a1 bus 4u ic=0\nV2 o2 0 398\nR2 o2 a2 0.06\nL2 a2 bus 11u ic=0\n"
    "R3 bus c 0.01\nL3 c 0 1.5u ic=0\n" + _integrated("q", "i(L1)*i(L1)") + "\n" + _integrated("p", "i(L3)*i(L3)"),
    END_S,
    4e-6,
    {
        "i1": "find i(L1) at=2e-4",
        "i2": "find i(L2) at=2e-4",
        "i3": "find i(L3) at=1e-3",
        "q1": f"find v(q) {AT}",
        "q3": f"find v(p) {AT}",
        "t1": "when v(q)=2e4",
        "t3": "when v(p)=1e5",
    },
    lambda: _read(
        [[1.0, 0.0, 1.0], [1.0, -1.0, 0.0]],
        [0.08, 0.06, 0.01],
        [4e-6, 11e-6, 1.5e-6],
        [400.0, 398.0, 0.0],
        {
            "i1": (0, 2e-4),
            "i2": (1, 2e-4),
            "i3": (2, 1e-3),
            "q1": (0, END_S),
            "q3": (2, END_S),
            "t1": (0, 2e4),
            "t3": (2, 1e5),
        },
    ),
)

# Between the first string's pack and its fuse: the other two feed back through that fuse.
INSIDE_A_STRING = Case(
    "fault inside one of three strings",
    "V1 o1 0 330\nR1 o1 f 0.05\nL1 f 0 0.2u ic=0\nV2 o2 0 330\nR2 o2 a2 0.12\nL2 a2 bus 6u ic=0\n"
    "V3 o3 0 330\nR3 o3 a3 0.09\nL3 a3 bus 14u ic=0\nR4 bus c 0.004\nL4 c f 3u ic=0\n"
    + _integrated("q", "i(L4)*i(L4)")
    + "\n"
    + _integrated("p", "i(L2)*i(L2)"),
    END_S,
    1e-6,
    {
        "i1": "find i(L2) at=3e-4",
        "i2": "find i(L3) at=3e-4",
        "i4": "find i(L4) at=1e-3",
        "q4": f"find v(q) {AT}",
        "q2": f"find v(p) {AT}",
        "t4": "when v(q)=3e4",
    },
    # Branches: string 1 with its pack, string 2, string 3, the fused lead, the arc's own lead.
    lambda: _read(
        [
            [1.0, 0.0, 0.0, 0.0, 1.0],
            [0.0, 1.0, 0.0, 1.0, 1.0],
            [0.0, 0.0, 1.0, 1.0, 1.0],
        ],
        [0.05, 0.12, 0.09, 0.004, 0.0],
        [0.0, 6e-6, 14e-6, 3e-6, 0.2e-6],
        [330.0, 330.0, 330.0, 0.0, 0.0],
        {
            "i1": (1, 3e-4),
            "i2": (2, 3e-4),
            "i4": (3, 1e-3),
            "q4": (3, END_S),
            "q2": (1, END_S),
            "t4": (3, 3e4),
        },
    ),
)


def _with_charger() -> dict[str, float]:
    """The end of the fault behind two strings and a source of 22 A: what the packs drive, and what the source adds."""
    loops, ohm = [[1.0, 0.0, 1.0, 1.0], [1.0, -1.0, 0.0, 0.0]], [0.08, 0.06, 0.01, 0.03]
    packs = _read(loops, ohm, [4e-6, 11e-6, 1.5e-6, 2e-6], [400.0, 398.0, 0.0, 0.0], {"i4": (3, END_S)})
    added = added_fault_current_a(np.array([loops]), np.array(ohm), np.array([-1.0, 0.0, -1.0, 0.0]), 22.0)
    return {"i4": packs["i4"] + float(added[0])}


# The charger hangs between the strings' common lead and the fault's own.
WITH_CHARGER = Case(
    "charger beside two strings in one fault",
    "V1 o1 0 400\nR1 o1 a1 0.08\nL1 a1 bus 4u ic=0\nV2 o2 0 398\nR2 o2 a2 0.06\nL2 a2 bus 11u ic=0\n"
    "R3 bus c 0.01\nL3 c n 1.5u ic=0\nI1 0 n 22\nR4 n d 0.03\nL4 d 0 2u ic=0",
    END_S,
    4e-6,
    {"i4": f"find i(L4) {AT}"},
    _with_charger,
)

FAULTS = (ONE_LOOP, TWO_STRINGS, INSIDE_A_STRING, WITH_CHARGER)
