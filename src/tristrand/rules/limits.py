"""The rule sets as parameters: one row for each limit a set sets, with edition and clause.

The logic stands in the rules. How each source was read stands in sources.toml. Where two sets in force differ, the
stricter one counts and is named.

The keys in FLOOR guard life. For them the workshop's row is a floor: it is considered whatever sets are in force, so
that to choose other sets can make such a limit stricter but never switch its rule off or loosen it. Where the floor is
the stricter one, the finding's source shows it.
"""

from functools import lru_cache
from typing import Literal, NamedTuple

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
        ("un-r100", 1500.0, "UN-R100#cl. 2"),
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
    *_rows("insulation_c", "least", ("fsae-2026", 90.0, "FSAE-2026#EV.6.2.1")),
    *_rows(
        "fuse_not_above_cable",
        "least",
        ("fsae-2026", 1.0, "FSAE-2026#EV.6.6.2b"),
        ("workshop", 1.0, "PRACTICE#fuse protects cable"),
    ),
    *_rows("orange", "least", ("fsae-2026", 1.0, "FSAE-2026#EV.6.3.4"), ("un-r100", 1.0, "UN-R100#5.1.1.5.3")),
    *_rows("drop_share", "most", ("workshop", 0.03, "ABYC-E11#voltage drop")),
    *_rows("branch_circuit_share", "least", ("workshop", 1.25, "NEC-625#625.42")),
    *_rows(
        "charge_opening_s",
        "most",
        ("fsae-2026", 5.0, "FSAE-2026#EV.8.4.2"),
        ("workshop", 5.0, "IEC-60204-1#6.2.4"),
    ),
    *_rows("charge_reset_by_hand", "least", ("fsae-2026", 1.0, "FSAE-2026#EV.8.4.2")),
    *_rows("fuse_share", "most", ("workshop", 0.75, "FUSE-GUIDE#continuous derating")),
)


FLOOR_SET = "workshop"
FLOOR: frozenset[str] = frozenset(
    {
        "both_poles",
        "charge_opening_s",
        "discharge_time_s",
        "fuse_not_above_cable",
        "fuse_share",
        "pack_fuse",
        "precharge_share",
        "service_disconnect",
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
