"""Machines that turn while nothing controls them: mistakes planted in the mended van, and bad input."""

from pathlib import Path

import pytest

from tristrand.app import Workspace
from tristrand.app.starter import starter_files
from tristrand.design import Problem, apply_edits, load_files, read_folder
from tristrand.findings import Edit, Finding, Report
from tristrand.rules.active_short import WITH_SHORT

MENDED = Path(__file__).parents[2] / "demos" / "van-mended"
FILES, _ = read_folder(MENDED)
H, V, M, I = "high_voltage.yaml", "vehicle.yaml", "parts/machine-80.yaml", "parts/inverter-120.yaml"  # noqa: E741
SHORT = (
    (I, "when_contactors_open", "active_short"),
    (I, "active_short_needs_12_v", "false"),
    (I, "active_short_least_bus", "40 V"),
    (I, "short_circuit_current", "{peak: 500 A, continuous: 250 A}"),
)
Changes = tuple[tuple[str, str, str], ...]


def checked(*changes: tuple[str, str, str], files: dict[str, bytes] = FILES) -> Report:
    loaded = load_files(apply_edits(files, [Edit(*change) for change in changes]), "van-mended")
    assert loaded.design is not None, loaded.problems
    return Workspace().check_design(loaded.design).report


def failing(report: Report) -> set[str]:
    return {finding.code for finding in report.findings if finding.kind == "fail"}


def only(report: Report, code: str) -> Finding:
    (finding,) = (f for f in report.findings if f.code == code and f.kind == "fail")
    return finding


PLANTED: dict[str, tuple[Changes, set[str]]] = {
    # 33 V rms at 1000 rpm: 410 V at 8500 rpm and -10 °C, above the 398 V of the full pack.
    "a machine that overcharges the pack": (
        ((M, "back_emf/value", "33 V"), (V, "drive_line/braking_time", "3.5 s")),
        {"HV289"},
    ),
    # 27 V: 335 V, above the 324 V of the empty pack.
    "a machine that charges an empty pack": (((M, "back_emf/value", "27 V"),), {"HV290"}),
    "a constant in the wrong form": (
        ((M, "back_emf/form", "phase_peak_per_mechanical_rad_per_s"),),
        {"HV288", "HV289", "HV293", "HV295"},
    ),
    "a van towed on its wheels": (((V, "drive_line/towed_speed", "50 km/h"),), {"HV291"}),
    "a rotor too slow for the hill": (((V, "drive_line/downhill_speed", "146 km/h"),), {"HV290", "HV292"}),
    "a limit above what the rotor bears": (((M, "maximum_speed", "8400 rpm"),), {"HV292"}),
    "weak brakes": (((V, "drive_line/braking_time", "9 s"),), {"HV293"}),
    "a short that burns the inverter": ((*SHORT, (I, "short_circuit_current/continuous", "200 A")), {"HV294"}),
    "a first swing that burns it": ((*SHORT, (I, "short_circuit_current/peak", "400 A")), {"HV294"}),
    "magnets too weak for the short": ((*SHORT, (M, "demagnetising_current", "400 A")), {"HV294"}),
    "a winding too small for the short": ((*SHORT, (M, "short_circuit_time", "3 s")), {"HV294"}),
    "two machines that one inverter cannot short": ((*SHORT, (H, "parts/drive/machines", "2")), {"HV294"}),
}


@pytest.mark.parametrize(("changes", "expected"), PLANTED.values(), ids=PLANTED)
def test_each_is_caught_by_its_rule_and_no_unrelated_one(changes: Changes, expected: set[str]) -> None:
    assert failing(checked(*changes)) == expected


def test_a_short_that_holds_is_no_mistake() -> None:
    report = checked(*SHORT)
    assert failing(report) == set()
    assert not report.coverage.open


def test_the_numbers_are_those_of_the_sums_by_hand() -> None:
    finding = only(checked((M, "back_emf/value", "33 V")), "HV289")
    # 33 V rms x sqrt(2) x 8.5 x (1 + 30 x 0.0011); 96 cells of 4.15 V.
    assert finding.evidence[0].value == pytest.approx(33 * 2**0.5 * 8.5 * 1.033, rel=1e-9)
    assert finding.evidence[0].limit == pytest.approx(96 * 4.15, rel=1e-9)
    towed = only(checked((V, "drive_line/towed_speed", "50 km/h")), "HV291")
    # 50 km/h on 0.31 m and through 8.2.
    rpm = 50 / 3.6 / 0.31 * 8.2 * 30 / 3.141592653589793
    assert towed.evidence[0].value == pytest.approx(25 * 2**0.5 * rpm / 1000 * 1.033, rel=1e-9)


def test_everything_on_the_bus_is_named_when_the_machine_is_too_strong() -> None:
    report = checked((M, "back_emf/value", "48 V"), (H, "parts/drive/speed_limit", "9000 rpm"))
    # 48 V x sqrt(2) x 9 x 1.033 = 631 V: more than all but the resistors stand.
    named = {f.place.object.rpartition("/")[2] for f in report.findings if f.code == "HV288" and f.kind == "fail"}
    assert {"drive", "dcdc", "heater", "charger", "k_plus", "k_minus", "k_dis", "fuse_heater"} <= named
    assert not {"r_dis", "r_pre", "disconnect", "main_fuse", "pack"} & named
    cables = {
        f.place.object
        for f in report.findings
        if f.code == "HV288" and f.kind == "fail" and "parts/hv-" in f.place.object
    }
    assert cables == {f"parts/hv-{size}/rated_voltage" for size in ("50", "2.5", "4", "16", "10")}


@pytest.mark.parametrize("key", ["d_inductance", "phase_resistance", "demagnetising_current", "short_circuit_time"])
def test_a_short_without_a_datum_of_the_machine_is_open(key: str) -> None:
    lines = FILES[M].decode().split("\n")
    kept = "\n".join(line for line in lines if not line.startswith(f"{key}:"))
    report = checked(*SHORT, files={**FILES, M: kept.encode()})
    assert set(report.coverage.open) == {"HV294"}
    assert [text.split(" ")[0] for text in report.coverage.open["HV294"]] == [f"parts/machine-80/{key}"]


@pytest.mark.parametrize("key", ["when_contactors_open", "bus_voltage_withstand"])
def test_an_inverter_without_a_datum_is_open(key: str) -> None:
    lines = FILES[I].decode().split("\n")
    kept = "\n".join(line for line in lines if not line.startswith(f"{key}:"))
    report = checked(files={**FILES, I: kept.encode()})
    named = {text.split(" ")[0] for texts in report.coverage.open.values() for text in texts}
    assert named == {f"parts/inverter-120/{key}"}


def test_a_short_that_dies_with_the_12_v_does_not_count() -> None:
    strong = (M, "back_emf/value", "46 V")
    assert "HV288" in failing(checked(strong))
    lasting = checked(strong, *SHORT)
    assert "HV288" not in failing(lasting)
    assert "HV288" in lasting.coverage.not_applicable
    for said in ("true", None):
        changes = [change for change in SHORT if change[1] != "active_short_needs_12_v"]
        changes += [(I, "active_short_needs_12_v", said)] if said else []
        found = [f for f in checked(strong, *changes).findings if f.code == "HV288" and f.kind == "fail"]
        assert found
        assert "12 V" in found[0].evidence[0].note


def test_a_short_that_lets_go_above_60_v_does_not_keep_the_bus_dead() -> None:
    weak_brakes = (V, "drive_line/braking_time", "9 s")
    assert "HV293" in failing(checked(weak_brakes))
    holds = checked(weak_brakes, *SHORT)
    assert "HV293" not in failing(holds)
    assert "HV293" in holds.coverage.not_applicable
    # Fed from the bus it lets go at 80 V: the machine then keeps the bus between 60 and 80 V.
    assert "HV293" in failing(checked(weak_brakes, *SHORT, (I, "active_short_least_bus", "80 V")))
    unsaid = checked(weak_brakes, *(change for change in SHORT if change[1] != "active_short_least_bus"))
    (gap,) = unsaid.coverage.open["HV293"]
    assert gap.startswith("parts/inverter-120/active_short_least_bus ")


def test_ways_out_hold() -> None:
    towed = only(checked((V, "drive_line/towed_speed", "50 km/h")), "HV291")
    assert towed.way_out is not None
    assert (
        failing(
            checked(
                (V, "drive_line/towed_speed", "50 km/h"), *((e.file, e.pointer, e.new) for e in towed.way_out.edits)
            )
        )
        == set()
    )
    limit = only(checked((M, "back_emf/value", "26 V"), (H, "parts/drive/speed_limit", "9500 rpm")), "HV290")
    assert limit.way_out is not None
    assert limit.way_out.edits[0].pointer == "parts/drive/speed_limit"


def test_a_machine_without_magnets_makes_no_verdict() -> None:
    files = {
        **FILES,
        M: b"schema_version: 1\nkind: machine\nbasis: datasheet\nsource: x\ntype: induction\nmaximum_speed: 9000 rpm\n",
    }
    report = checked(files=files)
    assert failing(report) == set()
    for code in ("HV288", "HV289", "HV290", "HV291", "HV293", "HV294"):
        assert "no magnets" in report.coverage.not_applicable[code]


def test_a_machine_without_magnets_bursts_all_the_same() -> None:
    text = b"schema_version: 1\nkind: machine\nbasis: datasheet\nsource: x\ntype: induction\n"
    slow = checked(files={**FILES, M: text + b"maximum_speed: 8200 rpm\n"})
    assert failing(slow) == {"HV292"}
    unknown = checked(files={**FILES, M: text})
    assert set(unknown.coverage.open) == {"HV292"}
    assert unknown.coverage.open["HV292"] == (
        f"{M.removesuffix('.yaml')}/maximum_speed (highest shaft speed of the machine of drive)",
    )


def test_without_any_limit_of_speed_towing_is_open_and_nothing_stops() -> None:
    files = dict(FILES)
    files[M] = b"\n".join(line for line in files[M].split(b"\n") if not line.startswith(b"maximum_speed"))
    bare = files[H].split(b"\n")
    files[H] = b"\n".join(line for line in bare if not line.strip().startswith(b"speed_limit"))
    assert [len(files[name]) < len(FILES[name]) for name in (M, H)] == [True, True]
    found = {f.code: f for f in checked(files=files).findings if f.kind == "open"}
    assert {"HV288", "HV291", "HV292"} <= set(found)
    assert "parts/machine-80/maximum_speed" in str(found["HV291"])


def test_without_a_limit_of_the_inverter_a_spinning_wheel_is_not_passed_over() -> None:
    kept = [line for line in FILES[H].split(b"\n") if not line.strip().startswith(b"speed_limit")]
    report = checked(files={**FILES, H: b"\n".join(kept)})
    assert set(report.coverage.open) == {"HV292"}
    (gap,) = report.coverage.open["HV292"]
    assert gap.startswith("high_voltage/parts/drive/speed_limit ")


def test_without_a_machine_every_rule_is_open() -> None:
    text = FILES[H].decode()
    assert "    machine: machine-80\n" in text
    report = checked(files={**FILES, H: text.replace("    machine: machine-80\n", "").encode()})
    for code in ("HV288", "HV289", "HV290", "HV291", "HV292", "HV293", "HV294"):
        assert report.coverage.open[code] == ("high_voltage/parts/drive/machine (the machine that drive feeds)",)


def test_free_wheels_are_asked_for_by_one_rule_set_only() -> None:
    starter = starter_files()
    fsae = ("vehicle.yaml", "rule_sets", "[fsae-2026]")
    assert "HV296" in failing(checked(fsae, *WITH_SHORT, files=starter))
    assert "HV296" not in failing(checked(*WITH_SHORT, files=starter))
    assert "HV296" not in failing(checked(fsae, files=starter))


def test_600_v_hold_at_speed_too() -> None:
    fsae, strong = ("vehicle.yaml", "rule_sets", "[fsae-2026]"), ("parts/machine-60.yaml", "back_emf/value", "58 V")
    # 58 V rms x sqrt(2) x 7.2 x 1.033 = 610 V; 57 V make 599.6 V.
    assert "HV295" in failing(checked(fsae, strong, files=starter_files()))
    assert "HV295" not in failing(checked(fsae, (*strong[:2], "57 V"), files=starter_files()))


# ---------------------------------------------------------------- bad input


def problems(*changes: tuple[str, str, str]) -> list[Problem]:
    loaded = load_files(apply_edits(FILES, [Edit(*change) for change in changes]), "van-mended")
    assert loaded.design is None
    return list(loaded.problems)


BAD = {
    "a machine that is not there": ((H, "parts/drive/machine", "machine-81"), "machine-81.yaml", "machine-80"),
    "a sheet of another kind": ((H, "parts/drive/machine", "fuse-20"), "sheet of a fuse; a machine", "machine-80"),
    "a machine in a heater": ((H, "parts/heater/machine", "machine-80"), "unknown key 'machine'", ""),
    "no machines": ((H, "parts/drive/machines", "0"), "at least 1", ""),
    "a ratio of nothing": ((H, "parts/drive/gear_ratio", "0"), "greater than zero", ""),
    "a ratio with a unit": ((H, "parts/drive/gear_ratio", "8 rpm"), "rotational speed", ""),
    "a speed limit in hertz": ((H, "parts/drive/speed_limit", "140 Hz"), "is a frequency", "rpm"),
    "pole pairs by the half": ((M, "pole_pairs", "3.5"), "a whole number is needed", ""),
    "an unknown form": ((M, "back_emf/form", "line_rms_per_rpm"), "line_rms_per_rpm", "line_rms_per_krpm"),
    "a constant without its form": ((M, "back_emf", "{value: 25 V}"), "form", ""),
    "magnets that grow stronger when hot": ((M, "flux_temperature_coefficient", "0.11 %/K"), "at most 0", ""),
    "a speed without unit": ((V, "drive_line/top_speed", "110"), "has no unit", "km/h"),
    "a hill that makes slower": ((V, "drive_line/downhill_speed", "90 km/h"), "is below top_speed", "leave"),
    "a towed speed below zero": ((V, "drive_line/towed_speed", "-5 km/h"), "must not be negative", ""),
    "brakes of no time": ((V, "drive_line/braking_time", "0 s"), "greater than zero", ""),
    "an unknown word": ((I, "when_contactors_open", "shorted"), "shorted", "active_short"),
    "yes for true": ((I, "active_short_needs_12_v", "'yes'"), "active_short_needs_12_v", ""),
    "withstand below the working range": ((I, "bus_voltage_withstand", "400 V"), "below the highest working", "higher"),
    "for ever above the peak": ((I, "short_circuit_current", "{peak: 200 A, continuous: 300 A}"), "above peak", ""),
    "half of the currents": ((I, "short_circuit_current", "{peak: 200 A}"), "continuous", ""),
    "induction with magnets": ((M, "type", "induction"), "no back_emf", "permanent_magnet"),
    "an empty drive line key": ((V, "drive_line/tyre_radius", "[]"), "a length is needed", ""),
}  # fmt: skip


@pytest.mark.parametrize(("change", "said", "mend"), BAD.values(), ids=BAD)
def test_bad_input_is_told_with_its_place(change: tuple[str, str, str], said: str, mend: str) -> None:
    (problem,) = problems(change)
    assert problem.file == change[0]
    # What two keys of a sheet say against each other is told at its head.
    assert problem.line > 1 or "which is which" in problem.mend or "induction" in problem.message
    assert said in problem.message, problem.text()
    assert mend in problem.mend, problem.text()
    for word in ("Input should", "pydantic", "validation", "NoneType"):
        assert word not in problem.text()
