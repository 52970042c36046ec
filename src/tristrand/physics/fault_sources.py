"""A source of constant current beside the packs in a short circuit: what it adds to the fault."""

import numpy as np

from tristrand.physics._num import FloatArray, finite, not_negative
from tristrand.sources import cites


@cites("CLOSED-FORM#superposition of a current source in loop equations")
def added_fault_current_a(
    loops: FloatArray, resistance_ohm: FloatArray, way: FloatArray, current_a: float
) -> FloatArray:
    """What a source of constant current adds to the first loop of K faults once nothing rises any more [A], (K,).

    loops (K, m, b) and resistance_ohm (b,) as in `fault_loops.fault_course`, the fault itself in the first loop; way
    (b,): the branches, packs among them, that lead from the source's plus to its minus, +1 in their own direction.
    Superposition, all e.m.f. at zero: loops R (loops' x + way I) = 0 for the loop currents x. Below zero: the source
    takes from the loop. ValueError for values that are not finite, a resistance below zero, loops without resistance.
    """
    finite(resistance_ohm=resistance_ohm, way=way, current_a=current_a)
    not_negative(resistance_ohm=resistance_ohm)
    drop = (loops * resistance_ohm) @ loops.swapaxes(1, 2)
    push = loops @ (resistance_ohm * way)
    try:
        return np.asarray(-current_a * np.linalg.solve(drop, push[..., None])[:, 0, 0])
    except np.linalg.LinAlgError:
        raise ValueError("a fault loop has no resistance, or the loops are not independent") from None
