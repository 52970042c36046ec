"""The high-voltage circuit of a design as plain frozen data: what the studies hand to the circuit solver.

Nothing here computes an answer. A study sees only this data and its own settings, so a result can be kept by its
inputs.
"""

import math
from typing import Any, TypeVar

from tristrand.design import Datum, Design
from tristrand.physics.conductor_tables import aluminium_resistance_ohm_per_m, class5_resistance_ohm_per_m
from tristrand.records import NamedTuple
from tristrand.studies.results import Missing

CASES = ("idle", "precharge", "charge", "continuous", "peak", "heat", "regeneration")
DEFAULT_AMBIENT_C = 40.0

Given = TypeVar("Given")


class Span3(NamedTuple):
    """A number with the low and high end of its tolerance."""

    low: float
    value: float
    high: float


class Lead(NamedTuple):
    """A connection. ``ohm_20c`` is for the whole length; ``inductance_h`` is nan where the design does not give it."""

    id: str
    a: str
    b: str
    ohm_20c: float
    inductance_h: float
    cable: str
    metal: str
    length_m: float
    limit_c: float


class Series2(NamedTuple):
    """A fuse or service disconnect: a resistance between a and b."""

    id: str
    kind: str
    a: str
    b: str
    ohm: float


class Contact(NamedTuple):
    """A contactor."""

    id: str
    role: str
    rests_closed: bool
    a: str
    b: str
    ohm: float
    close_s: float
    open_s: float


class Resist(NamedTuple):
    """A precharge or discharge resistor."""

    id: str
    role: str
    a: str
    b: str
    ohm: Span3


class Device(NamedTuple):
    """A part across the bus, seen from its two terminals. ``bleed_ohm`` is inf where it has none."""

    id: str
    kind: str
    plus: str
    minus: str
    farad: Span3
    bleed_ohm: float
    with_bus: bool
    turn_on_v: float
    turn_off_v: float
    soft_start_s: float
    limit_a: float
    fixed_ohm: float
    power_w: tuple[tuple[str, float], ...]

    def power_in(self, case: str) -> float:
        """Power at the bus terminals in a case; 0 where none is given."""
        return dict(self.power_w).get(case, 0.0)


class PackEnds(NamedTuple):
    """A pack's terminals."""

    id: str
    plus: str
    minus: str


class HvCircuit(NamedTuple):
    """The whole topology. ``missing`` lists what keeps it from being solved."""

    packs: tuple[PackEnds, ...]
    leads: tuple[Lead, ...]
    series: tuple[Series2, ...]
    contacts: tuple[Contact, ...]
    resistors: tuple[Resist, ...]
    devices: tuple[Device, ...]
    missing: tuple[Missing, ...]

    def role(self, role: str) -> tuple[Contact, ...]:
        """The contactors of a role, in the order of the file."""
        return tuple(c for c in self.contacts if c.role == role)


class Needs:
    """Reads data of a design and notes what is missing."""

    def __init__(self, design: Design) -> None:
        self.design = design
        self.missing: list[Missing] = []

    def sheet(self, part_id: str, field: str, what: str, *, optional: bool = False) -> Datum | None:
        """A datum of the part's sheet, or None (noted as missing unless optional)."""
        part: Any = self.design.high_voltage.parts[part_id]
        datum: Datum | None = getattr(self.design.sheets[part.sheet], field)
        return self.of(f"parts/{part.sheet}/{field}", datum, f"{what} of {part_id}", optional)

    def of(self, pointer: str, datum: Given | None, what: str, optional: bool = False) -> Given | None:
        """``datum`` itself, noted as missing where it is None."""
        if datum is None and not optional and all(m.pointer != pointer for m in self.missing):
            self.missing.append(Missing(pointer, what))
        return datum

    def number(self, part_id: str, field: str, what: str, default: float | None = None) -> float:
        """The value of a sheet's datum; ``default`` where it may be absent, else nan with the gap noted."""
        datum = self.sheet(part_id, field, what, optional=default is not None)
        return datum.value if datum is not None else (math.nan if default is None else default)

    def span(self, part_id: str, field: str, what: str) -> Span3:
        """Value with both ends of its tolerance; nan where missing."""
        datum = self.sheet(part_id, field, what)
        return Span3(datum.low, datum.value, datum.high) if datum is not None else Span3(math.nan, math.nan, math.nan)


def ambient_of(design: Design, own: Datum | None) -> float:
    """Air temperature [degC] round a part or cable, at its high end: its own, else the vehicle's hottest, else nan."""
    if own is not None:
        return own.high
    ambient = design.vehicle.ambient
    return ambient.maximum.high if ambient is not None else math.nan


def hv_circuit(design: Design) -> HvCircuit:
    """The circuit of a design, made once for each. Missing numbers are nan in it and are listed."""
    return design.once(_circuit)


def with_inlets(design: Design) -> HvCircuit:
    """The same with every inlet for direct current across its own contacts, for questions of who is joined with whom.

    It has no capacitance and draws nothing: what a supply drives through it stands in the study of charging.
    """
    return design.once(_with_inlets)


def _with_inlets(design: Design) -> HvCircuit:
    circuit, none = hv_circuit(design), Span3(0.0, 0.0, 0.0)
    inlets = tuple(
        Device(name, "inlet", f"{name}.plus", f"{name}.minus", none, math.inf, False, 0.0, 0.0, 0.0, math.inf,
               math.inf, ())
        for name in design.parts_of("inlet")
    )  # fmt: skip
    return circuit._replace(devices=(*circuit.devices, *inlets)) if inlets else circuit


def _circuit(design: Design) -> HvCircuit:
    needs = Needs(design)
    packs, series, contacts, resistors, devices = [], [], [], [], []
    for part_id, part in design.high_voltage.parts.items():
        a, b = f"{part_id}.a", f"{part_id}.b"
        if part.kind == "pack":
            packs.append(PackEnds(part_id, f"{part_id}.plus", f"{part_id}.minus"))
        elif part.kind == "fuse":
            series.append(Series2(part_id, part.kind, a, b, needs.number(part_id, "resistance", "cold resistance")))
        elif part.kind == "service_disconnect":
            ohm = needs.number(part_id, "contact_resistance", "contact resistance")
            series.append(Series2(part_id, part.kind, a, b, ohm))
        elif part.kind == "contactor":
            contacts.append(_contact(needs, part_id, part))
        elif part.kind == "resistor":
            resistors.append(Resist(part_id, part.role, a, b, needs.span(part_id, "resistance", "resistance")))
        elif part.kind in ("inverter", "dcdc", "heater", "charger"):
            devices.append(_device(needs, part_id, part))
    leads = tuple(_lead(needs, lead_id, lead) for lead_id, lead in design.high_voltage.connections.items())
    return HvCircuit(
        tuple(packs),
        leads,
        tuple(series),
        tuple(contacts),
        tuple(resistors),
        tuple(devices),
        tuple(needs.missing),
    )


def _contact(needs: Needs, part_id: str, part: Any) -> Contact:
    return Contact(
        id=part_id,
        role=part.role,
        rests_closed=part.rests == "closed",
        a=f"{part_id}.a",
        b=f"{part_id}.b",
        ohm=needs.number(part_id, "contact_resistance", "contact resistance"),
        close_s=needs.span(part_id, "close_time", "closing time").high,
        open_s=needs.span(part_id, "open_time", "opening time").high,
    )


_CAPACITANCE = {
    "inverter": "bus_capacitance",
    "dcdc": "input_capacitance",
    "heater": "input_capacitance",
    "charger": "output_capacitance",
}


def _device(needs: Needs, part_id: str, part: Any) -> Device:
    sheet: Any = needs.design.sheets[part.sheet]
    farad = needs.span(part_id, _CAPACITANCE[part.kind], "capacitance across the bus")
    bleed = getattr(sheet, "bleed_resistance", None)
    fixed = math.inf
    if part.kind == "heater" and sheet.control == "resistance":
        fixed = needs.span(part_id, "resistance", "resistance").low
    # The low end of the thresholds: the converter then loads the bus longest.
    turn_on = _optional(sheet, "turn_on_voltage", 0.0, "low")
    return Device(
        id=part_id,
        kind=part.kind,
        plus=f"{part_id}.plus",
        minus=f"{part_id}.minus",
        farad=farad,
        bleed_ohm=bleed.high if bleed else math.inf,
        with_bus=getattr(part, "starts", "when_released") == "with_bus",
        turn_on_v=turn_on,
        # Without a turn-on voltage the threshold is unknown as a whole; the studies that need it stay open.
        turn_off_v=min(_optional(sheet, "turn_off_voltage", turn_on, "low"), turn_on),
        soft_start_s=_optional(sheet, "soft_start", 0.0, "low"),
        limit_a=_optional(sheet, "input_current_limit", math.inf, "high"),
        fixed_ohm=fixed,
        power_w=tuple((case, datum.high) for case, datum in part.power.items()),
    )


def _optional(sheet: Any, field: str, default: float, end: str) -> float:
    """One end of a datum's tolerance, or the default where the sheet has none."""
    datum = getattr(sheet, field, None)
    return getattr(datum, end) if datum is not None else default


def _lead(needs: Needs, lead_id: str, lead: Any) -> Lead:
    inductance = lead.inductance.value if lead.inductance is not None else math.nan
    if lead.cable is None:
        return Lead(lead_id, lead.from_, lead.to, lead.resistance.value, inductance, "", "", 0.0, math.nan)
    sheet: Any = needs.design.sheets[lead.cable]
    pointer = f"high_voltage/connections/{lead_id}"
    length = needs.of(f"{pointer}/length", lead.length, f"length of {lead_id}")
    metres = length.value if length is not None else math.nan
    per_metre = cable_ohm_per_m(needs, lead.cable)
    if math.isnan(inductance) and sheet.inductance is not None:
        inductance = sheet.inductance.value * metres
    limits = [d.value for d in (sheet.temperature_rating, lead.terminal_limit) if d is not None]
    if sheet.temperature_rating is None:
        needs.of(f"parts/{lead.cable}/temperature_rating", None, f"temperature rating of {lead.cable}")
    return Lead(
        id=lead_id,
        a=lead.from_,
        b=lead.to,
        ohm_20c=per_metre * metres,
        inductance_h=inductance,
        cable=lead.cable,
        metal=sheet.conductor,
        length_m=metres,
        limit_c=min(limits) if limits else math.nan,
    )


def cable_ohm_per_m(needs: Needs, name: str) -> float:
    """Resistance per metre at 20 degC of a cable sheet.

    Its own value, else the largest of IEC 60228; nan where neither is there.
    """
    sheet: Any = needs.design.sheets[name]
    if sheet.resistance is not None:
        return float(sheet.resistance.high)
    if sheet.cross_section is None:
        needs.of(f"parts/{name}/cross_section", None, f"cross-section or resistance of {name}")
        return math.nan
    size = round(sheet.cross_section.to("mm²"), 6)
    try:
        if sheet.conductor == "aluminium":
            return aluminium_resistance_ohm_per_m(size)
        return class5_resistance_ohm_per_m(size, sheet.conductor == "copper_tinned")
    except ValueError:
        needs.of(
            f"parts/{name}/resistance",
            None,
            f"resistance of {name}: IEC 60228 has no {sheet.cross_section.text}",
        )
        return math.nan
