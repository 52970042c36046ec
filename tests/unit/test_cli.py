"""The command line: exit codes, one line for a fault of the program, and nothing written where nothing should be."""

import json
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from tristrand.app.check import Workspace
from tristrand.app.explain import rule_list
from tristrand.cli import main


def run(*arguments: str, env: dict[str, str] | None = None) -> Result:
    result = CliRunner().invoke(main, arguments, env=env)
    assert "Traceback" not in result.output
    return result


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    assert run("new", str(tmp_path / "van")).exit_code == 0
    return tmp_path / "van"


def mistaken(folder: Path) -> Path:
    """The starter with a fuse far too large for its cables."""
    path = folder / "high_voltage.yaml"
    path.write_text(
        path.read_text().replace(
            "  W10: {from: bus_plus.bar, to: drive.plus, cable: hv-35",
            "  W10: {from: bus_plus.bar, to: drive.plus, cable: hv-4",
        )
    )
    assert "to: drive.plus, cable: hv-4" in path.read_text()
    return folder


def test_exit_codes(folder: Path) -> None:
    assert run("check", str(folder)).exit_code == 0
    assert run("check", str(mistaken(folder))).exit_code == 1
    (folder / "vehicle.yaml").unlink()
    assert run("check", str(folder)).exit_code == 2


def test_json_of_a_check(folder: Path) -> None:
    result = run("check", str(mistaken(folder)), "--format", "json")
    assert result.exit_code == 1
    data = json.loads(result.stdout)
    assert data["format_version"]
    failed = [f for f in data["findings"] if f["kind"] == "fail" and f["severity"] == "error"]
    assert any("W10" in f["place"]["object"] or "W10" in f["message"] for f in failed)
    text = (folder / "high_voltage.yaml").read_text().split("\n")
    for finding in data["findings"]:
        if finding["place"]["file"] == "high_voltage.yaml" and "/W10" in finding["place"]["object"]:
            assert "W10" in text[finding["place"]["line"] - 1]


@pytest.mark.parametrize("form", ["text", "json", "sarif"])
def test_check_writes_only_where_it_is_told(folder: Path, form: str) -> None:
    before = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    target = folder.parent / "reports" / "out"
    result = run("check", str(folder), "--format", form, "--to", str(target))
    assert (result.exit_code, result.stdout) == (0, "")
    assert target.read_text(encoding="utf-8")
    assert {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()} == before


def test_a_report_never_replaces_a_design_file(folder: Path) -> None:
    before = (folder / "vehicle.yaml").read_bytes()
    result = run("check", str(folder), "--to", str(folder / "vehicle.yaml"))
    assert result.exit_code == 2
    assert "never written over a design file" in result.stderr
    assert (folder / "vehicle.yaml").read_bytes() == before


def test_a_target_that_cannot_be_written(folder: Path) -> None:
    result = run("check", str(folder), "--to", str(folder / "vehicle.yaml" / "out.txt"))
    assert result.exit_code == 2
    assert "cannot be written" in result.stderr


@pytest.mark.parametrize("command", [["check", "DIR"], ["explain", "DIR", "pack"]])
def test_a_fault_of_the_program_is_one_line(command: list[str], folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(_self: Workspace, _folder: Path) -> None:
        raise KeyError("bus\x1b[31m")

    monkeypatch.setattr(Workspace, "open", broken)
    monkeypatch.delenv("TRISTRAND_DEBUG", raising=False)
    arguments = [str(folder) if word == "DIR" else word for word in command]
    result = run(*arguments)
    assert result.exit_code == 2
    assert result.stdout == ""
    (line,) = result.stderr.splitlines()
    assert line.startswith("tristrand: internal error (KeyError: ")
    assert line.endswith("); please report it with the design folder")
    assert line.isprintable()
    # A developer gets the whole story.
    loud = CliRunner().invoke(main, arguments, env={"TRISTRAND_DEBUG": "1"})
    assert isinstance(loud.exception, KeyError)


@pytest.mark.parametrize("error", [RecursionError("deep"), MemoryError(), AssertionError(), OSError(5, "I/O error")])
def test_every_kind_of_fault_is_caught(error: Exception, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(_self: Workspace, _folder: Path) -> None:
        raise error

    monkeypatch.setattr(Workspace, "open", broken)
    result = run("check", str(folder))
    assert result.exit_code == 2
    assert f"internal error ({type(error).__name__}" in result.stderr


def test_stopping_it_by_hand_is_no_internal_error(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def stopped(_self: Workspace, _folder: Path) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(Workspace, "open", stopped)
    result = run("check", str(folder))
    assert result.exit_code == 1
    assert "internal error" not in result.output


def test_a_folder_that_links_to_itself(tmp_path: Path) -> None:
    (tmp_path / "van").symlink_to(tmp_path / "van")
    result = run("check", str(tmp_path / "van"))
    assert result.exit_code == 2
    assert "the design folder cannot be read" in result.stderr
    assert "internal error" not in result.stderr


def test_new_refuses_what_is_there(folder: Path, tmp_path: Path) -> None:
    before = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    result = run("new", str(folder))
    assert result.exit_code == 2
    assert "is not empty; name a new folder" in result.stderr
    assert {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()} == before
    (tmp_path / "file").write_text("x")
    assert run("new", str(tmp_path / "file")).exit_code == 2
    below = run("new", str(tmp_path / "file" / "van"))
    assert below.exit_code == 2
    assert "cannot be written" in below.stderr
    (tmp_path / "link").symlink_to(tmp_path / "nowhere" / "else")
    assert run("new", str(tmp_path / "link")).exit_code == 2


def test_schema(tmp_path: Path) -> None:
    result = run("schema", str(tmp_path / "s"))
    assert result.exit_code == 0
    for line in result.stdout.splitlines():
        assert json.loads(Path(line).read_text(encoding="utf-8"))["$schema"]
    (tmp_path / "file").write_text("x")
    assert run("schema", str(tmp_path / "file")).exit_code == 2


def test_rules_are_one_a_line_and_each_can_be_explained() -> None:
    lines = run("rules").stdout.splitlines()
    assert [line.split()[0] for line in lines] == [rule["code"] for rule in rule_list()]
    assert json.loads(run("rules", "--format", "json").stdout)["rules"] == rule_list()
    for line in lines[:5]:
        text = run("explain", line.split()[0]).stdout
        assert "Checks" in text
        assert "Why" in text
        by_name = run("explain", line.split()[2].upper()).stdout
        assert by_name == text


def test_a_wrong_name_gets_the_nearest() -> None:
    result = run("explain", "HV12l")
    assert result.exit_code == 2
    assert "there is no rule HV12l; did you mean HV12" in result.stderr
    result = run("explain", ".", "prechrage")
    assert result.exit_code == 2
    assert "did you mean precharge" in result.stderr
    assert run("explain", "a", "b", "c").exit_code == 2
    assert run("chekc", ".").exit_code == 2


@pytest.mark.parametrize("study", ["pack", "operating", "conductors", "precharge", "discharge"])
def test_explain_a_study(folder: Path, study: str) -> None:
    assert run("explain", str(folder), study).exit_code == 0
    data = json.loads(run("explain", str(folder), study, "--format", "json").stdout)
    assert set(data) >= {"format_version", "results", "workings", "series"}
    assert data["workings"]
    assert set(data["workings"][0]) >= {"symbol", "words", "formula", "inputs", "value", "unit", "source"}


def test_explain_of_a_folder_that_is_no_design(tmp_path: Path) -> None:
    result = run("explain", str(tmp_path), "pack")
    assert result.exit_code == 2
    assert "vehicle.yaml: the file is missing" in result.stderr


def test_help_warns_and_loads_nothing_heavy() -> None:
    heavy = "numpy scipy pydantic yaml numba rich jinja2 vl_convert"
    program = (
        "import sys\nfrom tristrand.cli import main\n"
        "try: main(['--help'])\nexcept SystemExit: pass\n"
        f"print([name for name in '{heavy}'.split() if name in sys.modules], file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stderr.strip() == "[]"
    assert "High voltage can kill" in " ".join(done.stdout.split())


def test_rules_lists_who_answers_each_clause() -> None:
    done = run("rules", "--coverage", "fsae-2026")
    assert done.exit_code == 0
    assert "EV.6.6.2" in done.output
    assert "not covered" in done.output
    told = json.loads(run("rules", "--coverage", "fsae-2026", "--format", "json").output)
    assert told["coverage"] == "fsae-2026"
    assert {row["kind"] for row in told["clauses"]} == {"computed", "declared", "inspection", "procedure"}
    wrong = run("rules", "--coverage", "fsae-2025")
    assert wrong.exit_code == 2
    assert "fsae-2026" in wrong.output


READINGS = [
    *("insulation", "--pack", "360V", "--minus", "258.9928V", "--plus", "97.1223V", "--with-resistor", "161.919V"),
    *("--resistor", "180kΩ", "--on", "minus", "--meter", "10MΩ"),
]


def test_insulation_readings_give_the_weaker_leg_with_the_meter_taken_out() -> None:
    # The legs behind these readings are 400 kΩ and 150 kΩ (section 2 of the check values; one meter moved).
    done = run(*READINGS, "--format", "json")
    assert done.exit_code == 1
    told = json.loads(done.output)
    assert told["weaker_leg"] == "plus"
    assert told["weaker_ohm"]["value"] == pytest.approx(150e3, rel=1e-4)
    assert told["minus_ohm"]["value"] == pytest.approx(400e3, rel=1e-4)
    assert told["monitor_ohm"]["value"] == pytest.approx(109.091e3, rel=1e-4)
    assert [item["met"] for item in told["required"]] == [True, False]
    assert run(*READINGS, "--per-volt", "400").exit_code == 0
    text = run(*READINGS).output
    assert text.startswith("CAUTION")
    assert "MISSES the 500 Ω/V" in text
    assert max(map(len, text.splitlines())) <= 110


def test_insulation_readings_on_the_wrong_leg_are_refused() -> None:
    wrong = [("plus" if word == "minus" else word) for word in READINGS]
    done = run(*wrong)
    assert done.exit_code == 2
    assert "REFUSED" in done.output
    assert "kΩ (" not in done.output
    for spoilt in ("360A", "nonsense", "-360 V"):
        bad = run(*[spoilt if word == "360V" else word for word in READINGS])
        assert bad.exit_code == 2, spoilt
        assert "--pack" in bad.output


@pytest.mark.parametrize("setting", [None, "", "some-plugin", "__all__"])
def test_check_runs_whatever_plugins_the_reader_has_switched_off(folder: Path, setting: str | None) -> None:
    import os

    env = {key: value for key, value in os.environ.items() if key != "PYDANTIC_DISABLE_PLUGINS"}
    env |= {} if setting is None else {"PYDANTIC_DISABLE_PLUGINS": setting}
    command = [sys.executable, "-m", "tristrand", "check", str(folder)]
    done = subprocess.run(command, env=env, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
