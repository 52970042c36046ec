"""Loops and live parts: numbers worked by hand on the starter, and potentials against the circuit solver."""

import math
from itertools import chain, combinations

import pytest

from tests.workings import evaluate
from tristrand.app.pipeline import Pipeline
from tristrand.app.starter import starter_files
from tristrand.design import Design, apply_edits, load_files
from tristrand.findings import Edit
from tristrand.physics.circuit import Battery, Circuit, Resistor, operating_point
from tristrand.studies import loops
from tristrand.studies.live_parts import NO_IDS, Net, state
from tristrand.studies.results import Exposure, LoopsResult

HV = "high_voltage.yaml"
# 84 cells of 4.15 V.
PACK_V = 348.6
ELEMENTS = "loops/shutdown/elements"


def design(*edits: tuple[str, str]) -> Design:
    loaded = load_files(apply_edits(starter_files(), [Edit(HV, *edit) for edit in edits]), "starter")
    assert loaded.design is not None, loaded.problems
    return loaded.design


def studied(*edits: tuple[str, str]) -> LoopsResult:
    result = Pipeline().run(design(*edits), ("loops",))["loops"]
    assert isinstance(result, LoopsResult)
    return result


def opened(*edits: tuple[str, str], name: str = "plug_drive") -> Exposure:
    found: Exposure = studied(*edits).exposures[name]
    return found


def left(found: Exposure) -> dict[str, float]:
    return {failure.words: failure.left_v for failure in found.failures}


# ---------------------------------------------------------------- voltage along the loop
def test_voltage_left_for_coils_by_hand() -> None:
    found = studied().loops["shutdown"]
    # 12 m of 0.75 mm²: 26.0 Ω/km printed at 20 °C, 40 °C where it is hottest; contacts 50 + 50 + 3 x 20 mΩ.
    wire = 12 * 0.026 * (1 + 0.00393 * 20)
    ohm = wire + 0.16
    coils = 12 * 0.95
    assert found.wire_ohm == pytest.approx(wire, rel=1e-9)
    assert found.ohm == pytest.approx(ohm, rel=1e-9)
    assert found.current_a == pytest.approx(11.5 / (ohm + coils), rel=1e-9)
    assert found.left_v == pytest.approx(11.5 * coils / (ohm + coils), rel=1e-9)
    assert found.needed_v == pytest.approx(9.5)


def test_fixed_current_and_a_diode_by_hand() -> None:
    found = studied(
        ("loops/shutdown", "{kind: shutdown, supply: {minimum: 10 V ± 2 %, maximum: 15 V}, current: 0.2 A ± 10 %, "
         "least_voltage: 8 V ± 5 %, wire: {resistance: 1.5 Ω ± 10 %}, opens: [k_plus], by: supervisor, elements: "
         "{a: {kind: button, resistance: 0.1 Ω ± 50 %}, d: {kind: diode, resistance: 0 Ω, drop: 0.7 V ± 0.1 V}}}"),
    ).loops["shutdown"]  # fmt: skip
    # Every end of a tolerance that leaves less: 9.8 V, 0.22 A, 1.65 Ω and 0.15 Ω, 0.8 V; 8.4 V needed.
    assert found.left_v == pytest.approx(9.8 - 0.8 - 0.22 * (1.65 + 0.15), rel=1e-9)
    assert found.needed_v == pytest.approx(8.4)


def test_a_route_hotter_than_the_vehicle_counts() -> None:
    found = studied(("loops/shutdown/wire/ambient", "85 °C")).loops["shutdown"]
    assert found.wire_ohm == pytest.approx(12 * 0.026 * (1 + 0.00393 * 65), rel=1e-9)


def test_workings_repeat_the_numbers() -> None:
    result = studied(
        ("measuring_points", "{m: {plus: bus_plus.bar, minus: bus_minus.bar, resistor: 10 kΩ, resistor_power: 5 W}}"),
        ("loops/stop", "{kind: shutdown, supply: {minimum: 11 V, maximum: 15 V}, current: 0.2 A, least_voltage: 8 V, "
         "wire: {resistance: 1 Ω}, opens: [k_plus], by: relay, elements: {a: {kind: button, resistance: 0.1 Ω}}}"),
    )  # fmt: skip
    formulas = [line for line in result.workings if line.formula]
    assert {line.symbol for line in formulas} == {"R_w", "V_end", "t_60", "P"}
    for line in formulas:
        assert evaluate(line) == pytest.approx(line.value, rel=1e-9), line


@pytest.mark.parametrize(
    ("key", "value"),
    [("supply", "supply"), ("load", "load"), ("least_voltage", "least voltage"), ("wire", "wire")],
)
def test_without_a_datum_a_loop_has_no_voltage_but_still_opens_its_contactors(key: str, value: str) -> None:
    text = {
        "supply": "supply: {minimum: 11 V, maximum: 15 V}", "load": "load: 24 Ω", "least_voltage": "least_voltage: 9 V",
        "wire": "wire: {resistance: 1 Ω}",
    }  # fmt: skip
    given = ", ".join(words for name, words in text.items() if name != key)
    whole = f"{{kind: shutdown, {given}, opens: [k_plus, k_minus, k_pre], by: relay, elements: {{a: {{kind: button, resistance: 0 Ω}}}}}}"  # noqa: E501
    found = studied(("loops/shutdown", whole)).loops["shutdown"]
    assert [m.pointer for m in found.missing] == [f"high_voltage/loops/shutdown/{key}"]
    assert value in found.missing[0].what
    assert found.open_device_v == 0.0
    if key != "least_voltage":
        assert math.isnan(found.left_v)


def test_a_size_that_no_table_knows_is_named() -> None:
    found = studied(("loops/shutdown/wire/cross_section", "0.6 mm²")).loops["shutdown"]
    assert [m.pointer for m in found.missing] == ["high_voltage/loops/shutdown/wire/resistance"]
    assert "no 0.6 mm²" in found.missing[0].what


# ---------------------------------------------------------------- what a loop opens
@pytest.mark.parametrize(
    ("opens", "volts", "poles"),
    [
        ("[k_plus, k_minus, k_pre]", 0.0, ()),
        # The precharge resistor still leads from the plus to the bus.
        ("[k_plus, k_minus]", 0.0, ("pack.plus",)),
        ("[k_plus, k_pre]", 0.0, ("pack.minus",)),
        ("[k_plus]", PACK_V, ("pack.plus", "pack.minus")),
        ("[k_minus]", 0.0, ("pack.plus",)),
        # It rests closed: without coil current it closes.
        ("[k_dis]", PACK_V, ("pack.plus", "pack.minus")),
    ],
)
def test_what_a_loop_leaves_at_the_devices(opens: str, volts: float, poles: tuple[str, ...]) -> None:
    found = studied(("loops/shutdown/opens", opens)).loops["shutdown"]
    assert found.open_device_v == pytest.approx(volts)
    assert found.open_poles == poles


def test_one_contactor_welded() -> None:
    both = studied().loops["shutdown"]
    assert {w.contactor: w.device_v for w in both.welded} == {"k_plus": 0.0, "k_minus": 0.0, "k_pre": 0.0}
    one = studied(("loops/shutdown/opens", "[k_plus, k_pre]")).loops["shutdown"]
    assert {w.contactor: w.device_v for w in one.welded} == pytest.approx({"k_plus": PACK_V, "k_pre": PACK_V})


# ---------------------------------------------------------------- what is bared
def test_a_parted_plug_cuts_the_device_off_from_the_discharge_resistor() -> None:
    found = opened()
    assert found.terminals == ("bus_plus.bar", "drive.plus", "bus_minus.bar", "drive.minus")
    assert (found.before_v, found.after_v) == pytest.approx((PACK_V, 0.0))
    assert (found.before_poles, found.after_poles) == (("pack.plus", "pack.minus"), ())
    own, bus = found.held
    # 680 µF + 10 % through the inverter's own 200 kΩ.
    assert own.devices == ("drive",)
    assert own.seconds == pytest.approx(200e3 * 748e-6 * math.log(PACK_V / 60), rel=1e-9)
    assert (bus.devices, bus.way) == (("dcdc",), "the discharge resistor")
    assert found.held_s() == own.seconds


def test_a_converter_without_a_resistance_of_its_own_never_discharges() -> None:
    found = opened(name="plug_dcdc")
    assert [(one.devices, one.seconds) for one in found.held][-1] == (("dcdc",), math.inf)


def test_behind_a_cover_the_bus_falls_with_its_resistor() -> None:
    cover = "{kind: cover, opens: [drive], opened_with: tool, place: outside}"
    found = opened(("openable/plug_drive", cover))
    assert found.terminals == ("drive.plus", "drive.minus")
    (bus,) = found.held
    assert bus.devices == ("drive", "dcdc")
    pipeline = Pipeline().run(design(("openable/plug_drive", cover)))
    # The discharge study's own number, tested against closed forms there; never computed twice.
    assert bus.seconds == pipeline["discharge"].slowest_active_s
    assert bus.failed_s == pipeline["discharge"].passive_s
    # Without the resistor 781 µF fall through the inverter's own 200 kΩ, far slower.
    assert bus.failed_s == pytest.approx(200e3 * 781e-6 * math.log(PACK_V / 60), rel=0.02)
    # A check from outside: both capacitances at their highest through 2.2 kΩ, as a single RC.
    r_dis = design().sheet_of("r_dis").resistance.high
    assert bus.seconds == pytest.approx(r_dis * 781e-6 * math.log(PACK_V / 60), rel=0.02)


def test_a_plug_in_one_pole_alone() -> None:
    plug = "{kind: connector, opens: [W10], opened_with: hand, place: outside}"
    found = opened(("openable/plug_drive", plug))
    # Before the contactors open, the device's plus follows its capacitors to the other pole.
    assert found.before_v == pytest.approx(PACK_V)
    assert found.after_v == 0.0
    assert {name for one in found.held for name in one.devices} >= {"drive"}


def test_a_connector_named_by_its_part_parts_all_that_ends_there() -> None:
    by_part = opened(("openable/plug_drive", "{kind: connector, opens: [drive], opened_with: hand, place: outside}"))
    assert set(by_part.terminals) == set(opened().terminals)
    assert by_part.held == opened().held


def test_the_pulled_disconnect_leaves_one_pole() -> None:
    found = opened(name="handle")
    assert found.terminals == ("disconnect.a", "disconnect.b")
    # Across it before the contactors open: the bus pulls the far side to the other pole.
    assert found.before_v == pytest.approx(PACK_V)
    assert (found.after_v, found.after_poles) == (0.0, ("pack.minus",))
    pulled = studied().pulled["disconnect"]
    assert dict(pulled.live) == {
        "pack.plus": ("W1", "W2", "W5", "main_fuse", "k_plus", "k_pre"),
        "pack.minus": ("W3", "disconnect"),
    }
    assert pulled.stuck_v == 0.0


def test_a_disconnect_that_parts_nothing_is_seen() -> None:
    result = studied(("connections/S1", "{from: disconnect.a, to: disconnect.b, resistance: 1 mΩ}"))
    assert result.pulled["disconnect"].stuck_v == pytest.approx(PACK_V)


def test_what_no_loop_watches_stays_live() -> None:
    found = opened((f"{ELEMENTS}/lock_drive/watches", "[]"))
    assert (found.watched, found.failures) == ((), ())
    assert found.after_v == pytest.approx(PACK_V)
    # The parted device holds its charge as well.
    assert [one.devices for one in found.held] == [("drive",)]


# ---------------------------------------------------------------- single failures
def test_failures_of_a_loop_that_carries_the_coils() -> None:
    found = opened()
    assert left(found) == pytest.approx(
        {
            "k_minus welded": 0.0,
            "k_plus welded": 0.0,
            "k_pre welded": 0.0,
            "lock_drive of shutdown bridged": PACK_V,
            "wire of shutdown shorted to its supply behind lock_drive": PACK_V,
        }
    )
    poles = {failure.words: failure.poles for failure in found.failures}
    assert poles["k_minus welded"] == ("pack.minus",)
    assert poles["k_plus welded"] == poles["k_pre welded"] == ("pack.plus",)


@pytest.mark.parametrize(
    ("by", "words"), [("relay", "relay of shutdown stuck"), ("supervisor", "supervisor does not act on shutdown")]
)
def test_what_stands_between_loop_and_coils_may_fail(by: str, words: str) -> None:
    assert left(opened(("loops/shutdown/by", by)))[words] == pytest.approx(PACK_V)


def test_a_loop_in_the_ground_fails_by_a_short_to_the_body() -> None:
    found = opened(("loops/shutdown/interrupts", "ground"))
    assert left(found)["wire of shutdown shorted to the body behind lock_drive"] == pytest.approx(PACK_V)


def test_two_contacts_in_one_loop_cover_each_other_but_no_short_behind_both() -> None:
    found = opened((f"{ELEMENTS}/second", "{kind: connector, resistance: 20 mΩ, watches: [plug_drive]}"))
    live = {words for words, volts in left(found).items() if volts > 60}
    assert live == {"wire of shutdown shorted to its supply behind second"}


SECOND = (
    "{kind: interlock, supply: {minimum: 11 V, maximum: 15 V}, load: 90 Ω, least_voltage: 8 V, wire: {resistance: "
    "1 Ω}, opens: [k_plus, k_minus, k_pre], by: relay, elements: {lock: {kind: connector, resistance: 20 mΩ, "
    "watches: [plug_drive]}}}"
)


def test_two_loops_cover_each_other() -> None:
    found = opened(("loops/second", SECOND))
    assert found.watched == ("shutdown", "second")
    assert {f.words for f in found.failures if f.loop} == {
        "lock_drive of shutdown bridged",
        "wire of shutdown shorted to its supply behind lock_drive",
        "lock of second bridged",
        "wire of second shorted to its supply behind lock",
        "relay of second stuck",
    }
    assert max(left(found).values()) == 0.0


def test_an_interlock_acts_through_the_contact_of_its_relay() -> None:
    found = opened(
        ("loops/second", SECOND),
        (f"{ELEMENTS}/lock_drive", "{kind: interlock, resistance: 20 mΩ, contact_of: second}"),
    )
    assert found.watched == ("second",)
    assert found.after_v == 0.0
    live = {words for words, volts in left(found).items() if volts > 60}
    # Each of them keeps the coils fed; a fault ahead of the contact in the other loop does not.
    assert live == {
        "lock_drive of shutdown bridged",
        "wire of shutdown shorted to its supply behind lock_drive",
        "lock of second bridged",
        "wire of second shorted to its supply behind lock",
        "relay of second stuck",
    }


def test_a_contact_of_a_loop_that_opens_less_opens_no_more() -> None:
    found = opened(
        ("loops/second", SECOND),
        (f"{ELEMENTS}/lock_drive", "{kind: interlock, resistance: 20 mΩ, contact_of: second}"),
        ("loops/shutdown/opens", "[k_minus]"),
    )
    # The relay of the second loop is said to drop the others as well.
    assert (found.after_v, found.after_poles) == (0.0, ())


def test_loops_that_wait_for_each_other_end() -> None:
    found = studied(
        ("loops/second", SECOND.replace("elements: {", "elements: {x: {kind: interlock, contact_of: shutdown}, ")),
        (f"{ELEMENTS}/lock_drive", "{kind: interlock, resistance: 20 mΩ, contact_of: second}"),
    )
    assert found.loops["second"].open_device_v == 0.0


# ---------------------------------------------------------------- measuring points, gaps
def test_power_of_shorted_measuring_points_by_hand() -> None:
    text = "{m: {plus: bus_plus.bar, minus: bus_minus.bar, resistor: 10 kΩ ± 2 %, resistor_power: 5 W ± 10 %}}"
    found = studied(("measuring_points", text)).measured["m"]
    # Two resistors of 9.8 kΩ in series across the pack: half of V²/(2 R) in each.
    assert found.shorted_w == pytest.approx(PACK_V**2 / (2 * 9.8e3) / 2, rel=1e-9)
    assert (found.volts, found.rated_w) == pytest.approx((PACK_V, 4.5))


def test_without_the_pack_the_loop_has_its_voltage_and_the_rest_is_missing() -> None:
    files = apply_edits(starter_files(), [Edit("parts/pack-84s.yaml", "", "{schema_version: 1, kind: pack}")])
    loaded = load_files(files, "x")
    assert loaded.design is not None
    result = Pipeline().run(loaded.design)["loops"]
    assert result.loops["shutdown"].left_v > 11
    assert math.isnan(result.loops["shutdown"].open_device_v)
    assert not result.exposures
    assert result.missing


# ---------------------------------------------------------------- potentials
UPPER = (
    ("parts/upper", "{kind: pack, sheet: pack-84s, state_of_charge: {minimum: 10 %, maximum: 100 %}, temperature: "
     "{minimum: 0 °C, maximum: 45 °C}}"),
    ("parts/middle", "{kind: service_disconnect, sheet: disconnect-200}"),
    ("connections/W1/from", "upper.plus"),
    ("connections/U1", "{from: upper.minus, to: middle.a, resistance: 1 mΩ}"),
    ("connections/U2", "{from: middle.b, to: pack.plus, resistance: 1 mΩ}"),
)  # fmt: skip


def solved_v(
    net: Net, volts: tuple[float, ...], opened_ids: frozenset[str], parted: frozenset[str]
) -> dict[str, float]:
    """Voltage across every device by the circuit solver: conductors of 1 mΩ, loads of 1 MΩ, no capacitance."""
    parts: list[Battery | Resistor] = [
        Battery(name, plus, minus, v, 0.1) for (name, plus, minus), v in zip(net.packs, volts, strict=True)
    ]
    parts += [Resistor(name, a, b, 1e-3) for name, a, b in net.wires if name not in parted]
    parts += [Resistor(name, a, b, 1e-3) for name, a, b in net.contacts if name not in opened_ids]
    parts += [Resistor(name, a, b, 1e-3) for name, a, b in net.precharge]
    parts += [Resistor(name, a, b, 1e6) for name, a, b in net.discharge]
    parts += [Resistor(d.id, d.plus, d.minus, 1e6) for d in net.devices]
    point = operating_point(Circuit(tuple(parts)))
    assert point.converged.all()
    return {d.id: abs(float(point.voltages_v[d.plus][0] - point.voltages_v[d.minus][0])) for d in net.devices}


@pytest.mark.parametrize("edits", [(), UPPER], ids=["one pack", "two packs in series"])
def test_voltages_at_the_devices_are_those_of_the_circuit_solver(edits: tuple[tuple[str, str], ...]) -> None:
    net = loops.inputs(design(*edits)).net
    volts = (PACK_V,) * len(net.packs)
    contacts = [name for name, _, _ in net.contacts]
    pulled = [name for name in ("disconnect", "middle") if any(name == key for key, _, _ in net.wires)]
    orders = list(chain.from_iterable(combinations(contacts, n) for n in range(len(contacts) + 1)))
    assert len(orders) == 16
    seen = set()
    leads = [name for name, _, _ in net.wires if name not in pulled]
    # Every contact order with each disconnect pulled, and the ends of them with each lead and fuse parted.
    cases = [(frozenset(order), frozenset({name})) for order in orders for name in pulled]
    cases += [(frozenset(order), NO_IDS) for order in orders]
    cases += [(frozenset(order), frozenset({name})) for order in (orders[0], ("k_minus", "k_dis")) for name in leads]
    for opened_ids, parted in cases:
        ours = state(net, volts, opened_ids, parted)
        for name, theirs in solved_v(net, volts, opened_ids, parted).items():
            device = next(d for d in net.devices if d.id == name)
            assert ours.voltage((device.plus, device.minus)) == pytest.approx(theirs, abs=1.0), (
                opened_ids,
                parted,
                name,
            )
            seen.add(round(theirs, -1))
    assert seen == {0.0, round(PACK_V * len(net.packs), -1)}


def test_a_disconnect_between_packs_bares_the_whole_voltage_or_the_ends_of_two() -> None:
    item = "{kind: disconnect, opens: [middle], opened_with: hand, place: luggage}"
    found = opened(*UPPER, ("openable/middle_handle", item), name="middle_handle")
    # Contactors closed, the bus joins both outer poles: across the gap stands the sum of both packs.
    assert found.before_v == pytest.approx(2 * PACK_V)
    # No loop watches it: so it stays, with the inner pole of either pack on either side.
    assert found.after_v == pytest.approx(2 * PACK_V)
    assert found.after_poles == ("pack.plus", "upper.minus")
