"""Which sensor sees a contactor welded, in which step, and after what wait: from who is joined with whom.

A contactor told to open joins nothing; one that is welded still does. A sensor sees the weld where its two ends then
lie at the two ends of a pack, or of packs in series, and without the weld do not. One welded contactor alone does not
keep the link live while the other pole is open: between the link's own poles no weld can be seen then.
"""

import math
from collections.abc import Iterator, Mapping
from functools import lru_cache

from tristrand.design import Datum, Design
from tristrand.physics import contactors as physics
from tristrand.records import NamedTuple
from tristrand.studies.circuits import HvCircuit
from tristrand.studies.opening import Groups, conductors
from tristrand.studies.results import Missing, PackFigures, WeldFigures, WeldWay, Working, working

JUDGED = ("main", "charge")
RC = "CLOSED-FORM#first-order RC discharging, solved for time"
ALL_OPEN = "all told to open"
FIRST = "opens first, the others held"
INLET_SHUT = "main contactors closed, nothing charging"
Pair = tuple[str, str]


class Sensor(NamedTuple):
    """A voltage sensor; nan where its error or its settling is not given."""

    id: str
    plus: str
    minus: str
    error: float
    offset_v: float
    settling_s: float


class Switch(NamedTuple):
    """A contactor as the weld check sees it."""

    id: str
    role: str
    a: str
    b: str
    rests_closed: bool
    open_s: float
    close_s: float
    sheet: str
    mirror: bool


class WeldInputs(NamedTuple):
    """What conducts at all times, what switches, what drains and what stores, the sensors and the check's settings."""

    wires: tuple[Pair, ...]
    switches: tuple[Switch, ...]
    packs: tuple[tuple[str, str, str], ...]
    drains: tuple[tuple[str, str, float], ...]
    stores: tuple[tuple[str, str, float], ...]
    sensors: tuple[Sensor, ...]
    first: tuple[str, ...]
    with_discharge: bool
    ratio: float
    delay_s: float


def weld_inputs(design: Design, circuit: HvCircuit) -> WeldInputs:
    """Collect sensors, settings and the circuit round the contactors."""
    check = design.high_voltage.weld_check
    read = check is not None and check.auxiliary is not None
    switches = []
    for c in circuit.contacts:
        sheet = design.sheet_of(c.id)
        mirror = read and sheet.auxiliary is not None and sheet.auxiliary.kind == "mirror"
        part = design.high_voltage.parts[c.id]
        name = getattr(part, "sheet", "")
        switches.append(Switch(c.id, c.role, c.a, c.b, c.rests_closed, c.open_s, c.close_s, name, mirror))
    drains = [(d.plus, d.minus, d.bleed_ohm) for d in circuit.devices if math.isfinite(d.bleed_ohm)]
    drains += [(r.a, r.b, r.ohm.high) for r in circuit.resistors if r.role == "discharge"]
    sensors = tuple(
        Sensor(name, s.plus, s.minus, _high(s.error), _high(s.offset) if s.offset else 0.0, _high(s.settling))
        for name, s in design.high_voltage.voltage_sensors.items()
    )
    return WeldInputs(
        tuple(conductors(circuit)),
        tuple(switches),
        tuple((p.id, p.plus, p.minus) for p in circuit.packs),
        tuple(drains),
        tuple((d.plus, d.minus, d.farad.high) for d in circuit.devices),
        sensors,
        tuple(check.first) if check is not None else (),
        check is None or check.discharge,
        math.nan if check is None or check.ratio is None else check.ratio.value,
        math.nan if check is None or check.delay is None else check.delay.low,
    )


def _high(datum: Datum | None) -> float:
    return math.nan if datum is None else datum.high


def allowed_error(ratio: float) -> float:
    """Largest error of both sensors, share of the pack's voltage, with which the check can tell at all.

    From the two conditions of `physics.contactors.weld_test_delay_s`, each solved for the error.
    """
    return min(ratio, 1.0 - ratio) / (1.0 + ratio)


class _Step(NamedTuple):
    words: str
    held: tuple[str, ...]
    drained: bool


def welds(data: WeldInputs, packs: Mapping[str, PackFigures]) -> dict[str, WeldFigures]:
    """Every main and charge contactor with the sensors that see it welded."""
    return dict(_welds(data, tuple(packs.items())))


@lru_cache(maxsize=64)
def _welds(data: WeldInputs, packs: tuple[tuple[str, PackFigures], ...]) -> dict[str, WeldFigures]:
    """Kept: an edit of a coil or of the life of a contact changes nothing here."""
    finder = _Finder(data, dict(packs))
    return {s.id: finder.figures(s) for s in data.switches if s.role in JUDGED}


class _Finder:
    """The circuit in its steps; groups of joined terminals are worked out once for each set of closed contactors."""

    def __init__(self, data: WeldInputs, packs: Mapping[str, PackFigures]) -> None:
        self.data, self.packs = data, packs
        self.ends = {s.id: (s.a, s.b) for s in data.switches}
        self.kept: dict[frozenset[str], Groups] = {}
        self.fixed = self._fixed()

    def groups(self, closed: frozenset[str]) -> Groups:
        if closed not in self.kept:
            self.kept[closed] = Groups([*self.data.wires, *(self.ends[name] for name in closed)])
        return self.kept[closed]

    def steps(self, switch: Switch) -> Iterator[_Step]:
        """The steps in which a weld of the contactor may show."""
        mains = tuple(s.id for s in self.data.switches if s.role == "main")
        resting = any(s.role == "discharge" and s.rests_closed for s in self.data.switches)
        yield _Step(ALL_OPEN, (), resting)
        if switch.role == "charge":
            yield _Step(INLET_SHUT, mains, False)
        if switch.id in self.data.first:
            charge = (s.id for s in self.data.switches if s.role == "charge") if switch.role == "charge" else ()
            held = tuple(name for name in (*mains, *charge) if name != switch.id)
            yield _Step(FIRST, held, self.data.with_discharge)

    def span(self, groups: Groups, plus: str, minus: str) -> tuple[str, ...]:
        """Packs in series from one terminal down to the other, either way round; none where there are none."""
        for top, bottom in ((plus, minus), (minus, plus)):
            chain: list[str] = []
            at = groups.of(top)
            while len(chain) < len(self.data.packs):
                below = [p for p in self.data.packs if groups.of(p[1]) == at and p[0] not in chain]
                if not below:
                    break
                chain.append(below[0][0])
                at = groups.of(below[0][2])
                if at == groups.of(bottom):
                    return tuple(chain)
        return ()

    def figures(self, switch: Switch) -> WeldFigures:
        ways = [way for step in self.steps(switch) for way in self._seen(switch, step)]
        ways.sort(key=lambda way: (bool(way.missing), math.inf if math.isnan(way.wait_s) else way.wait_s))
        return WeldFigures(tuple(ways), switch.mirror, self._between(switch))

    def _seen(self, switch: Switch, step: _Step) -> Iterator[WeldWay]:
        opened, stuck = self.groups(frozenset(step.held)), self.groups(frozenset((*step.held, switch.id)))
        for sensor in self.data.sensors:
            chain = self.span(stuck, sensor.plus, sensor.minus)
            if chain and not self.span(opened, sensor.plus, sensor.minus):
                yield self._way(switch, step, sensor, chain, opened)

    def _way(self, switch: Switch, step: _Step, sensor: Sensor, chain: tuple[str, ...], opened: Groups) -> WeldWay:
        # Told to open all, a discharge contactor closes only if it rests so; else the supervisor closes it.
        every = [s for s in self.data.switches if s.role == "discharge" and step.drained]
        dischargers = [s for s in every if s.rests_closed or step.words == FIRST]
        if dischargers:
            opened = Groups([*self.data.wires, *(self.ends[n] for n in (*step.held, *(s.id for s in dischargers)))])
        farad, ohm, hangs = self._floating(sensor, opened)
        full_v = sum(self.packs[name].maximum_v for name in chain)
        low_v = sum(self.packs[name].minimum_v for name in chain)
        compared = self._compared(chain)
        missing = [*self._unknown(sensor, compared, chain), *self._settings()]
        error = math.nan
        if not missing:
            offset_v = sum(s.offset_v for s in compared)
            error = max(sensor.error + sensor.offset_v / low_v, max(s.error for s in compared) + offset_v / low_v)
        # The link begins to fall when the contactor has opened and the discharge has closed.
        start = max(switch.open_s, *(s.close_s for s in dischargers)) if dischargers else switch.open_s
        missing += [Missing(f"parts/{s.sheet}/close_time", f"closing time of {s.id}")
                    for s in dischargers if math.isnan(s.close_s)]  # fmt: skip
        if math.isnan(switch.open_s):
            missing.append(Missing(f"parts/{switch.sheet}/open_time", f"opening time of {switch.id}"))
        if hangs and math.isnan(sensor.settling_s):
            pointer = f"high_voltage/voltage_sensors/{sensor.id}/settling"
            missing.append(Missing(pointer, f"time in which {sensor.id} pulls a floating end down"))
        settling = sensor.settling_s if hangs else 0.0
        wait = left = math.nan
        if not missing:
            told = error < allowed_error(self.data.ratio)
            wait = start + settling + self._drained_s(ohm, farad, error) if told else math.nan
            passed = max(self.data.delay_s - start, 0.0)
            left = full_v
            if farad == 0.0:
                left = 0.0
            elif math.isfinite(ohm):
                left = float(physics.opened_link_v(passed, full_v, ohm, farad))
        return WeldWay(
            sensor.id, step.words, step.held, full_v, ohm, farad, error, math.nan if missing else wait, left,
            settling, start, tuple(missing),
        )  # fmt: skip

    def _drained_s(self, ohm: float, farad: float, error: float) -> float:
        if farad == 0.0:
            return 0.0
        return float(physics.weld_test_delay_s(self.data.ratio, ohm, farad, error)) if math.isfinite(ohm) else math.inf

    def _floating(self, sensor: Sensor, groups: Groups) -> tuple[float, float, bool]:
        """Capacitance and resistance at the sensor's end that hangs on no pack, and whether only the sensor holds it.

        Farad and ohm are the largest of their tolerance; inf ohm where no resistor and no bleed drains that end.
        """
        poles = {groups.of(end) for _, plus, minus in self.data.packs for end in (plus, minus)}
        floating = next((g for g in (groups.of(sensor.plus), groups.of(sensor.minus)) if g not in poles), "")
        if not floating:
            # At the poles of packs that nothing joins, the sensor alone settles what it reads.
            return 0.0, math.inf, groups.of(sensor.plus) != groups.of(sensor.minus)
        farad, others = 0.0, set()
        for a, b, store in self.data.stores:
            ends = {groups.of(a), groups.of(b)}
            if floating in ends and len(ends) == 2 and store > 0:
                farad += store
                others |= ends - {floating}
        siemens = 0.0
        for a, b, ohm in self.data.drains:
            ends = {groups.of(a), groups.of(b)}
            if floating in ends and ends & others:
                siemens += 1.0 / ohm
        held = bool(others & poles) and siemens > 0.0
        return farad, 1.0 / siemens if siemens > 0.0 else math.inf, not held

    def _fixed(self) -> list[tuple[Sensor, tuple[str, ...]]]:
        """Sensors that read a pack, or packs in series, whatever the contactors do, with these; most exact first."""
        bare = self.groups(frozenset())
        fixed = [(s, chain) for s in self.data.sensors if (chain := self.span(bare, s.plus, s.minus))]
        return sorted(fixed, key=lambda one: math.inf if math.isnan(one[0].error) else one[0].error)

    def _compared(self, chain: tuple[str, ...]) -> tuple[Sensor, ...]:
        """The sensors whose readings together are the voltage of these packs; none where a pack has none.

        Another pack's voltage says nothing: side by side they stand apart as long as their contactors are open.
        """
        found, left = [], set(chain)
        for sensor, packs in sorted(self.fixed, key=lambda one: -len(one[1])):
            if left.issuperset(packs):
                found.append(sensor)
                left -= set(packs)
        return () if left else tuple(found)

    def _unknown(self, sensor: Sensor, compared: tuple[Sensor, ...], chain: tuple[str, ...]) -> Iterator[Missing]:
        base = "high_voltage/voltage_sensors"
        if not compared:
            packs = " and ".join(chain) if len(self.data.packs) > 1 else "the pack"
            yield Missing(base, f"a sensor across {packs}, ahead of all contactors, to compare with")
        for one in {s.id: s for s in (sensor, *compared)}.values():
            if math.isnan(one.error):
                yield Missing(f"{base}/{one.id}/error", f"tolerance of {one.id}")

    def _settings(self) -> Iterator[Missing]:
        if math.isnan(self.data.ratio):
            yield Missing("high_voltage/weld_check/ratio", "share of the pack's voltage taken for a weld")
        if math.isnan(self.data.delay_s):
            yield Missing("high_voltage/weld_check/delay", "time from the command to open to the reading")

    def _between(self, switch: Switch) -> Pair:
        """Two terminals between which a sensor would see the weld: the contactor's far side, and the other pole."""
        mains = frozenset(s.id for s in self.data.switches if s.role == "main" and s.id != switch.id)
        for closed in (frozenset[str](), mains):
            opened, stuck = self.groups(closed), self.groups(closed | {switch.id})
            for end in (switch.b, switch.a):
                for _, plus, minus in self.data.packs:
                    for pole in (minus, plus):
                        if self.span(stuck, end, pole) and not self.span(opened, end, pole):
                            return end, pole
        return "", ""


def weld_workings(data: WeldInputs, figures: Mapping[str, WeldFigures]) -> Iterator[Working]:
    """The wait of every way that has one."""
    for name, weld in figures.items():
        for n, way in enumerate(weld.ways, 1):
            if math.isnan(way.wait_s) or not math.isfinite(way.ohm) or way.farad == 0.0:
                continue
            given = {"t_0": (way.start_s, "s"), "R": (way.ohm, "Ω"), "C": (way.farad, "F"), "r": (data.ratio, "")}
            given["e"], formula = (way.error, ""), "t_0 - R*C*ln(r*(1 - e) - e)"
            if way.settling_s > 0.0:
                formula, given["t_set"] = f"t_set + {formula}", (way.settling_s, "s")
            words = f"least wait until {way.sensor} proves that it opened, {way.step}"
            yield working(name, f"t_weld_{n}", words, formula, way.wait_s, "s", RC, **given)
