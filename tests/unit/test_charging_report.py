"""The section of the report on charging: what its tables and its plot say, and that they say nothing unknown."""

import pytest

from tests.unit.test_charging_study import Change, design, studied
from tristrand.papers.charging_plots import charging as plot
from tristrand.papers.charging_tables import charging_remarks, charging_tables
from tristrand.papers.tables import Table
from tristrand.rules.charging_view import WITH_AC, WITH_DC

HV = "high_voltage.yaml"


def cells(tables: list[Table]) -> dict[str, list[str]]:
    """Every row by caption and head."""
    return {
        f"{t.caption}: {r.group} {r.head.text}".replace(":  ", ": "): [c.text for c in r.cells]
        for t in tables
        for r in t.rows
    }


def test_the_chain_names_what_sets_the_current_and_what_bears_it() -> None:
    rows = cells(charging_tables(studied(*WITH_AC, (HV, "charging/supplies/box/pilot_duty", "25 %"))))
    chain = "Currents of the charging chain: "
    # 25 % is 15 A, the 220 Ω resistor 32 A, a circuit of 40 A feeds 32 A for ever.
    assert rows[f"{chain}What sets the current Pilot"] == ["15 A"]
    assert rows[f"{chain}What sets the current Coding of the cable"] == ["32 A"]
    assert rows[f"{chain}What must bear it Its circuit over 1.25"] == ["32 A"]
    assert rows[f"{chain}So it is Drawn"] == ["15 A, set by pilot"]


def test_a_session_that_is_not_allowed_says_so() -> None:
    table = "{temperature: [50 °C, 60 °C], state_of_charge: [0 %, 100 %], current: [[9 A, 9 A], [9 A, 9 A]]}"
    rows = cells(charging_tables(studied(*WITH_AC, ("parts/pack-84s.yaml", "charge_table", table))))
    assert rows["Charging sessions: At box Cells mild"][:3] == ["25 °C", "", "not allowed"]


def test_direct_current_shows_its_way_and_directions() -> None:
    rows = cells(charging_tables(studied(*WITH_DC)))
    assert rows["Direct current at dc_inlet: Largest current"][0] == "38 A"
    assert rows["Direct current at dc_inlet: Live with its contactors open"][0] == "nothing"
    assert rows["Direct current at dc_inlet: k_dc_plus"][0] == "forward"
    assert rows["Direct current at dc_inlet: k_plus"][0] == "backward"


@pytest.mark.parametrize("changes", [WITH_AC, WITH_DC], ids=["alternating", "direct"])
def test_nothing_unknown_is_printed_where_all_is_given(changes: tuple[Change, ...]) -> None:
    tables = charging_tables(studied(*changes))
    text = " ".join(cell for row in cells(tables).values() for cell in row)
    assert text
    assert "not known" not in text
    assert "nan" not in text


def test_standby_and_what_is_left_out_are_remarked() -> None:
    changes = (*WITH_AC, ("parts/obc.yaml", "standby", "5 W"))
    remarks = charging_remarks(studied(*changes), design(*changes))
    # 5 W for 24 h.
    assert any("0.12 kWh a day" in text for text in remarks)
    assert any("messages" in text for text in remarks)
    assert charging_remarks(studied(), design()) == []


def test_the_plot_says_in_words_where_the_session_ends() -> None:
    drawn = plot(studied(*WITH_AC))
    assert drawn is not None
    assert "95 % after" in drawn.alternative
    assert plot(studied(*WITH_DC)) is None
