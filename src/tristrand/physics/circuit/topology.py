"""The numbers of a circuit on its structure, one row per lane."""

from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from tristrand.physics.circuit.elements import (
    FLOOR_V,
    Battery,
    Capacitor,
    Circuit,
    CurrentSource,
    Diode,
    Element,
    Inductor,
    PowerLoad,
    Resistor,
    Switch,
)
from tristrand.physics.circuit.structure import KINDS, Structure, structure_of
from tristrand.records import NamedTuple

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Kind = TypeVar("Kind", bound=Element)


class Loads(NamedTuple):
    """Parameters of the power loads, each (N, k)."""

    power_w: Floats
    on_v: Floats
    off_v: Floats
    soft_s: Floats
    limit_a: Floats
    alive: Bools
    resistive: Bools
    conductance_s: Floats
    sliding: Bools


class Topology(Structure):
    """Structure and parameter arrays of one circuit."""

    def __init__(self, circuit: Circuit) -> None:
        self.__dict__.update(vars(structure_of(circuit)))
        self.circuit = circuit
        self.lanes = circuit.lanes
        self._held: dict[type, list[Any]] = {k: [e for e in circuit.elements if type(e) is k] for k in KINDS}
        self.ocv_v = self._values(Battery, "ocv_v")
        self.battery_s = 1.0 / self._values(Battery, "resistance_ohm")
        self.resistor_s = 1.0 / self._values(Resistor, "resistance_ohm")
        self.inductance_h = self._values(Inductor, "inductance_h")
        self.inductor_ohm = self._values(Inductor, "resistance_ohm")
        self.capacitance_f = self._values(Capacitor, "capacitance_f")
        self.capacitance_log = np.log(self.capacitance_f)
        self.switch_s = 1.0 / self._values(Switch, "on_ohm")
        self.diode_s = 1.0 / self._values(Diode, "on_ohm")
        self.forward_v = self._values(Diode, "forward_v")
        self.source_a = self._values(CurrentSource, "current_a")
        self.load = self._load_parameters()
        self.closed = np.array([e.closed for e in self._of(Switch)], dtype=bool)
        self.close_delay_s = self._values(Switch, "close_delay_s")
        self.open_delay_s = self._values(Switch, "open_delay_s")
        self.inverse_c = self._inverse_c()
        self._branches()

    def _of(self, kind: type[Kind]) -> list[Kind]:
        return self._held[kind]

    def _values(self, kind: type[Kind], name: str) -> Floats:
        """One parameter of all elements of a kind as (N, k)."""
        elements = self._of(kind)
        out = np.empty((self.lanes, len(elements)))
        values = [getattr(element, name) for element in elements]
        if all(type(value) is float for value in values):
            out[:] = values
        else:
            for k, value in enumerate(values):
                out[:, k] = value
        return out

    def _load_parameters(self) -> Loads:
        loads = self._of(PowerLoad)
        power = self._values(PowerLoad, "power_w")
        resistive = np.array([e.below == "resistive" for e in loads], dtype=bool)
        off_v = np.maximum(self._values(PowerLoad, "turn_off_v"), FLOOR_V)
        on_v = np.where(resistive, off_v, np.maximum(self._values(PowerLoad, "turn_on_v"), FLOOR_V))
        soft_s = self._values(PowerLoad, "soft_start_s")
        return Loads(
            power_w=power,
            on_v=on_v,
            off_v=off_v,
            soft_s=soft_s,
            limit_a=self._values(PowerLoad, "current_limit_a"),
            alive=(self._values(PowerLoad, "enabled") > 0) & (power > 0),
            resistive=np.broadcast_to(resistive, power.shape),
            conductance_s=power / off_v**2,
            sliding=(on_v == off_v) & ~resistive & (soft_s == 0),
        )

    def _branches(self) -> None:
        """Conductance and e.m.f. (N, nb) of the branches."""
        parts = (self.battery_s, self.resistor_s, self.switch_s, self.diode_s, self.load.conductance_s)
        self.branch_s = np.concatenate(parts, axis=1)
        self.branch_log = np.log(np.maximum(self.branch_s, 1e-300))
        self.branch_emf = np.zeros_like(self.branch_s)
        fixed, n_sw = len(self.batteries) + len(self.resistors), len(self.switches)
        self.branch_emf[:, : len(self.batteries)] = self.ocv_v
        self.branch_emf[:, fixed + n_sw : fixed + n_sw + len(self.diodes)] = self.forward_v

    def _inverse_c(self) -> Floats:
        """Inverse (N, nz, nz) of the capacitances between the branches of the capacitor tree."""
        if not self.cap_z.shape[1]:
            return np.zeros((self.lanes, 0, 0))
        matrix = np.einsum("ki,gk,kj->gij", self.cap_z, self.capacitance_f, self.cap_z)
        d = 1.0 / np.sqrt(np.diagonal(matrix, axis1=1, axis2=2))
        scale = d[:, :, None] * d[:, None, :]
        return np.asarray(np.linalg.inv(matrix * scale) * scale)

    def initial_states(self) -> tuple[Floats, Floats]:
        """Branch voltages z (N, nz) with the charge of the given capacitor voltages kept; inductor currents."""
        charge = (self.capacitance_f * self._values(Capacitor, "voltage_v")) @ self.cap_z
        return np.einsum("gij,gj->gi", self.inverse_c, charge), self._values(Inductor, "current_a")
