"""The rule sets as parameters: one row for each limit a set sets, with edition and clause.

The logic stands in the rules. How each source was read stands in sources.toml. Where two sets in force differ, the
stricter one counts and is named.

The keys in FLOOR guard life. For them the workshop's row is a floor: it is considered whatever sets are in force, so
that to choose other sets can make such a limit stricter but never switch its rule off or loosen it. Where the floor is
the stricter one, the finding's source shows it.
"""

from functools import lru_cache
from typing import Literal

from tristrand.records import NamedTuple

RULE_SETS: dict[str, str] = {
    "fsae-2026": "Formula SAE Rules 2026, version 1.0",
    "fs-family-2026": "Formula Student family rules, 2026 text of one organiser",
    "un-r100": "UN Regulation No. 100, revision 3",
    "workshop": "workshop practice: machinery standard, maker's notes and common practice",
}

Sense = Literal["most", "least"]


class Limit(NamedTuple):
    """``most``: the value may not be above; ``least``: not below. Values in SI base units, shares as 0..1."""

    key: str
    rule_set: str
    value: float
    sense: Sense
    source: str


def _rows(key: str, sense: Sense, *rows: tuple[str, float, str]) -> tuple[Limit, ...]:
    return tuple(Limit(key, rule_set, value, sense, source) for rule_set, value, source in rows)


LIMITS: tuple[Limit, ...] = (
    *_rows(
        "system_voltage_v",
        "most",
        ("fsae-2026", 600.0, "FSAE-2026#EV.3.3.2"),
        ("fs-family-2026", 600.0, "FS-FAMILY-2026#maximum voltage"),
        ("un-r100", 1500.0, "UN-R100#2"),
    ),
    *_rows(
        "pack_power_w",
        "most",
        ("fsae-2026", 80e3, "FSAE-2026#EV.3.3.1"),
        ("fs-family-2026", 80e3, "FS-FAMILY-2026#EV2.2.1"),
    ),
    *_rows("pack_current_a", "most", ("fs-family-2026", 500.0, "FS-FAMILY-2026#EV2.2.1")),
    *_rows(
        "precharge_share",
        "least",
        ("fsae-2026", 0.90, "FSAE-2026#EV.5.6.1a"),
        ("fs-family-2026", 0.95, "FS-FAMILY-OLDER#EV5.7.1"),
        ("workshop", 0.95, "CONTACTOR-NOTE#precharge"),
    ),
    *_rows(
        "discharge_time_s",
        "most",
        ("fsae-2026", 5.0, "FSAE-2026#EV.7.2.2c"),
        ("fs-family-2026", 5.0, "FS-FAMILY-2026#EV6.1.5"),
        ("workshop", 5.0, "IEC-60204-1#6.2.4"),
    ),
    *_rows("discharge_endurance_s", "least", ("fsae-2026", 15.0, "FSAE-2026#EV.5.6.3d")),
    *_rows(
        "discharge_unfused",
        "least",
        ("fsae-2026", 1.0, "FSAE-2026#EV.5.6.3c"),
        ("fs-family-2026", 1.0, "FS-FAMILY-2026#EV4.9.2"),
    ),
    *_rows("precharge_unfused", "least", ("fsae-2026", 1.0, "FSAE-2026#EV.5.6.1c")),
    *_rows(
        "service_disconnect",
        "least",
        ("fsae-2026", 1.0, "FSAE-2026#EV.5.5"),
        ("fs-family-2026", 1.0, "FS-FAMILY-2026#EV4.8"),
        ("workshop", 1.0, "PRACTICE#service disconnect"),
    ),
    *_rows("pack_fuse", "least", ("fsae-2026", 1.0, "FSAE-2026#EV.5.4.1"), ("workshop", 1.0, "PRACTICE#pack fuse")),
    *_rows(
        "both_poles",
        "least",
        ("fsae-2026", 1.0, "FSAE-2026#EV.5.4.2"),
        ("workshop", 1.0, "PRACTICE#contactor in each pole"),
    ),
    *_rows("free_wheels", "least", ("fsae-2026", 1.0, "FSAE-2026#EV.7.2.2")),
    *_rows("insulation_c", "least", ("fsae-2026", 90.0, "FSAE-2026#EV.6.2.1")),
    *_rows(
        "fuse_not_above_cable",
        "least",
        ("fsae-2026", 1.0, "FSAE-2026#EV.6.6.2b"),
        ("workshop", 1.0, "PRACTICE#fuse protects cable"),
    ),
    *_rows("orange", "least", ("fsae-2026", 1.0, "FSAE-2026#EV.6.3.4"), ("un-r100", 1.0, "UN-R100#5.1.1.5.3")),
    # Cells, modules and what hangs on the bus.
    *_rows(
        "sense_at_cell",
        "least",
        ("fsae-2026", 1.0, "FSAE-2026#EV.7.4.3"),
        ("workshop", 1.0, "PRACTICE#sense fuse"),
    ),
    *_rows("cell_temperature_c", "most", ("fsae-2026", 60.0, "FSAE-2026#EV.7.5.2")),
    *_rows("sensor_distance_m", "most", ("fsae-2026", 0.010, "FSAE-2026#EV.7.5.4")),
    *_rows("temperature_share", "least", ("fsae-2026", 0.20, "FSAE-2026#EV.7.5.5")),
    *_rows("sensor_per_module", "least", ("workshop", 1.0, "PRACTICE#a sensor in every module")),
    *_rows("monitor_answer_s", "most", ("fs-family-2026", 0.5, "FS-FAMILY-2024#EV5.8.7")),
    *_rows("module_voltage_v", "most", ("fsae-2026", 120.0, "FSAE-2026#EV.5.1.1")),
    *_rows("module_energy_j", "most", ("fsae-2026", 6e6, "FSAE-2026#EV.5.1.1")),
    *_rows("module_mass_kg", "most", ("fsae-2026", 12.0, "FSAE-2026#EV.5.1.1")),
    *_rows("fusible_link_share", "most", ("fsae-2026", 1 / 3, "FSAE-2026#EV.6.6.5")),
    *_rows("pack_conductors", "least", ("fsae-2026", 1.0, "FSAE-2026#EV.6.6.4")),
    *_rows("brake_power_w", "most", ("fsae-2026", 5e3, "FSAE-2026#EV.7.7.2")),
    *_rows("brake_time_s", "most", ("fsae-2026", 0.5, "FSAE-2026#EV.7.7.2")),
    *_rows("drop_share", "most", ("workshop", 0.03, "ABYC-E11#voltage drop")),
    *_rows(
        "insulation_monitor",
        "least",
        ("fsae-2026", 1.0, "FSAE-2026#EV.7.6.1"),
        ("fs-family-2026", 1.0, "FS-FAMILY-2026#EV6.3"),
    ),
    *_rows(
        "insulation_ohm_per_v",
        "least",
        ("un-r100", 100.0, "UN-R100#5.1.3.1"),
        ("workshop", 100.0, "ISO-6469-4#insulation resistance after a crash"),
    ),
    *_rows(
        "insulation_joined_ohm_per_v",
        "least",
        ("un-r100", 500.0, "UN-R100#5.1.3.2"),
        ("workshop", 500.0, "ISO-6469-4#insulation resistance after a crash"),
    ),
    *_rows(
        "monitor_trips_ohm_per_v",
        "least",
        ("fsae-2026", 500.0, "FSAE-2026#EV.7.6.3"),
        ("fs-family-2026", 500.0, "FS-FAMILY-2026#EV6.3.3"),
    ),
    *_rows("monitor_vehicle_side", "least", ("fs-family-2026", 1.0, "FS-FAMILY-2026#EV6.3.5")),
    *_rows(
        "monitor_response_s",
        "most",
        ("fsae-2026", 30.0, "FSAE-2026#IN.10.1.2"),
        ("workshop", 30.0, "PRACTICE#insulation monitor reports within the 30 s of a student rule book's test"),
    ),
    *_rows("y_energy_j", "most", ("workshop", 0.2, "ISO-6469-4#touch energy of Y capacitors")),
    *_rows(
        "insulation_withstand",
        "least",
        ("fsae-2026", 1.0, "FSAE-2026#EV.5.2.2"),
        ("workshop", 1.0, "PRACTICE#insulation proven above its working voltage"),
    ),
    *_rows("housing_spacing", "least", ("fsae-2026", 1.0, "FSAE-2026#EV.6.5.5b")),
    *_rows("board_spacing", "least", ("fsae-2026", 1.0, "FSAE-2026#EV.6.5.7")),
    *_rows(
        "high_voltage_above_v",
        "least",
        ("fsae-2026", 60.0, "FSAE-2026#T.9.1.1"),
        ("un-r100", 60.0, "UN-R100#2, high voltage"),
    ),
    *_rows("branch_circuit_share", "least", ("workshop", 1.25, "NEC-625#625.42")),
    *_rows(
        "charge_opening_s",
        "most",
        ("fsae-2026", 5.0, "FSAE-2026#EV.8.4.2"),
        ("workshop", 5.0, "IEC-60204-1#6.2.4"),
    ),
    *_rows("charge_reset_by_hand", "least", ("fsae-2026", 1.0, "FSAE-2026#EV.8.4.2")),
    *_rows("fuse_share", "most", ("workshop", 0.75, "FUSE-GUIDE#continuous derating")),
    *_rows("fuse_peak_share", "most", ("workshop", 0.50, "FUSE-EV-ARTICLE#share of the melting current")),
    *_rows(
        "fuse_not_above_parts",
        "least",
        ("fsae-2026", 1.0, "FSAE-2026#EV.6.6.2b"),
        ("workshop", 1.0, "PRACTICE#fuse protects the parts behind it"),
    ),
    *_rows(
        "bond_ohm",
        "most",
        ("fsae-2026", 0.3, "FSAE-2026#EV.6.7.2"),
        ("fs-family-2026", 0.3, "FS-FAMILY-2026#bonding"),
        ("un-r100", 0.1, "UN-R100#5.1.2.2"),
        ("workshop", 0.1, "PRACTICE#bonding of housings"),
    ),
    *_rows(
        "bond_coated_ohm",
        "most",
        ("fsae-2026", 5.0, "FSAE-2026#EV.6.7.2"),
        ("fs-family-2026", 5.0, "FS-FAMILY-2026#bonding"),
    ),
    *_rows(
        "bond_test_a",
        "least",
        ("fsae-2026", 1.0, "FSAE-2026#EV.6.7.2"),
        ("fs-family-2026", 1.0, "FS-FAMILY-2026#bonding"),
        ("un-r100", 0.2, "UN-R100#5.1.2.2"),
        ("workshop", 0.2, "PRACTICE#bonding of housings"),
    ),
    *_rows(
        "disconnect_interlock",
        "least",
        ("fsae-2026", 1.0, "FSAE-2026#EV.5.5.3"),
        ("workshop", 1.0, "PRACTICE#interlock of the service disconnect"),
    ),
    *_rows(
        "openable_interlock",
        "least",
        ("fsae-2026", 1.0, "FSAE-2026#EV.5.9"),
        ("workshop", 1.0, "PRACTICE#interlock of what a hand can open"),
    ),
    *_rows(
        "touch_protection",
        "least",
        ("un-r100", 1.0, "FMVSS-305#touch protection"),
        ("workshop", 1.0, "FMVSS-305#touch protection"),
    ),
    *_rows("unplugged_s", "most", ("un-r100", 1.0, "FMVSS-305#connectors"), ("workshop", 1.0, "IEC-60204-1#6.2.4")),
    *_rows("emergency_stop", "least", ("workshop", 1.0, "PRACTICE#emergency stop")),
    *_rows("shutdown_members", "least", ("fsae-2026", 1.0, "FSAE-2026#EV.7.1.1")),
    *_rows("shutdown_buttons", "least", ("fsae-2026", 3.0, "FSAE-2026#EV.7.10.1")),
    *_rows("charging_members", "least", ("fsae-2026", 1.0, "FSAE-2026#EV.8.3.1")),
    *_rows("master_switch_last", "least", ("fsae-2026", 1.0, "FSAE-2026#EV.7.9.3")),
    *_rows("interlock_in_supply", "least", ("fsae-2026", 1.0, "FSAE-2026#EV.7.8.3")),
    *_rows("interlock_run_m", "most", ("fsae-2026", 0.075, "FSAE-2026#EV.7.8.4")),
    *_rows("measuring_points", "least", ("fsae-2026", 1.0, "FSAE-2026#EV.5.8.4")),
)


FLOOR_SET = "workshop"
FLOOR: frozenset[str] = frozenset(
    {
        "both_poles",
        "charge_opening_s",
        "discharge_time_s",
        "disconnect_interlock",
        "fuse_not_above_cable",
        "fuse_not_above_parts",
        "fuse_peak_share",
        "fuse_share",
        "insulation_joined_ohm_per_v",
        "insulation_ohm_per_v",
        "insulation_withstand",
        "openable_interlock",
        "pack_fuse",
        "precharge_share",
        "sensor_per_module",
        "service_disconnect",
        "touch_protection",
        "unplugged_s",
        "y_energy_j",
    }
)


@lru_cache(maxsize=512)
def strictest(key: str, rule_sets: tuple[str, ...]) -> Limit | None:
    """The limit of this key that asks most, among the sets in force and the floor; of equals the first of the sets."""
    names = (*rule_sets, FLOOR_SET) if key in FLOOR else rule_sets
    rows = [row for name in names for row in LIMITS if row.key == key and row.rule_set == name]
    if not rows:
        return None
    return min(rows, key=lambda row: row.value) if rows[0].sense == "most" else max(rows, key=lambda row: row.value)
