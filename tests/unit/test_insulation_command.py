"""`tristrand insulation`: no tolerance that was given is dropped, and nothing that cannot be is taken."""

import itertools
import json
import random
from typing import Any

import pytest
from click.testing import CliRunner, Result

from tristrand.cli import main

# Legs of 400 kΩ and 150 kΩ, one 10 MΩ meter moved (section 2 of the check values).
PRINTED = {
    "--pack": "360.0000 V",
    "--minus": "258.9928 V",
    "--plus": "97.1223 V",
    "--with-resistor": "161.9190 V",
    "--resistor": "180 kΩ",
    "--on": "minus",
    "--meter": "10 MΩ",
    "--tolerance": "0 %",
}
VB, V1, V2, AFTER, RO = 360.0, 258.9928, 97.1223, 161.9190, 180e3
# Half of the last of the four decimals.
DIGIT = 0.5e-4


def run(*flags: str, **changed: str | None) -> Result:
    """The printed readings with some changed; None leaves an option out."""
    options = PRINTED | {f"--{name.replace('_', '-')}": value for name, value in changed.items()}
    words = [word for name, value in options.items() if value is not None for word in (name, value)]
    done = CliRunner().invoke(main, ["insulation", *words, *flags])
    assert "internal error" not in done.output
    assert "Traceback" not in done.output
    return done


def told(*flags: str, **changed: str | None) -> dict[str, Any]:
    done = run("--format", "json", *flags, **changed)
    assert done.exit_code in (0, 1), done.output
    return dict(json.loads(done.output))


def refused(**changed: str | None) -> str:
    done = run(**changed)
    assert done.exit_code == 2
    assert "MEETS" not in done.output
    return done.output


# ---------------------------------------------------------------- tolerances
def test_tolerance_of_the_known_resistor_counts() -> None:
    """The example of 20 %: 120 kΩ at worst, 333 Ω/V, which misses 410 Ω/V where 150 kΩ would meet it."""
    found = told(resistor="180 kΩ ± 20 %", per_volt="410")
    assert found["weaker_ohm"] == pytest.approx({"value": 150e3, "low": 120e3, "high": 180e3}, rel=1e-5)
    assert found["ohm_per_volt"]["low"] == pytest.approx(120e3 / 360.0, rel=1e-5)
    assert found["met"] is False
    done = run(resistor="180 kΩ ± 20 %", tolerance="0.01 %", per_volt="410")
    assert done.exit_code == 1
    assert "MISSES the 410 Ω/V" in done.output
    assert "180 kΩ (144 kΩ to 216 kΩ)" in done.output
    assert run(per_volt="410").exit_code == 0


def test_uneven_tolerance_keeps_its_sides() -> None:
    found = told(resistor="180 kΩ +10/-5 %")
    assert found["readings"]["resistor_ohm"] == pytest.approx({"value": 180e3, "low": 171e3, "high": 198e3})
    assert found["weaker_ohm"] == pytest.approx({"value": 150e3, "low": 142.5e3, "high": 165e3}, rel=1e-5)


def test_own_tolerance_of_every_reading_counts() -> None:
    """Far leg Ro Vb (1/V' - 1/V), near leg Ro Vb (V/V' - 1)/Vother, each at the bad ends, worked here."""
    own = told(
        pack="360 V ± 1 V", minus="258.9928 V ± 0.5 V", plus="97.1223 V +0.3/-0.1 V", with_resistor="161.919 V ± 0.5 %"
    )
    before, after, vb = V1 - 0.5, AFTER * 1.005, VB - 1.0
    assert own["plus_ohm"]["low"] == pytest.approx(RO * vb * (1.0 / after - 1.0 / before), rel=1e-9)
    assert own["minus_ohm"]["low"] == pytest.approx(RO * vb * (before / after - 1.0) / (V2 + 0.3), rel=1e-9)
    before, after, vb = V1 + 0.5, AFTER * 0.995, VB + 1.0
    assert own["plus_ohm"]["high"] == pytest.approx(RO * vb * (1.0 / after - 1.0 / before), rel=1e-9)
    assert own["minus_ohm"]["high"] == pytest.approx(RO * vb * (before / after - 1.0) / (V2 - 0.1), rel=1e-9)


def test_general_tolerance_comes_on_top_of_an_own_one_and_of_the_last_digit() -> None:
    both = told(pack="360 V ± 1 V", tolerance="0.5 %")["readings"]
    assert both["pack_v"] == pytest.approx({"value": 360.0, "low": 357.2, "high": 362.8})
    assert both["plus_v"]["high"] == pytest.approx(V2 * 1.005 + DIGIT)
    assert both["plus_v"]["low"] == pytest.approx(V2 * 0.995 - DIGIT)


@pytest.mark.parametrize(
    ("text", "half"),
    [("97 V", 0.5), ("97.1V", 0.05), ("97.12 V", 0.005), (".0971e3 V", 0.05), ("0.09712 kV", 0.005),
     ("97122 mV", 0.5e-3), ("9.7e1 V", 0.5), ("97.1 V ± 0 V", 0.05), ("97.1 V ± 0.2 V", 0.2),
     ("97.12 V ± 0.01 V", 0.01)],
)  # fmt: skip
def test_reading_without_a_tolerance_is_rounded_at_its_last_digit(text: str, half: float) -> None:
    taken = told(plus=text)["readings"]["plus_v"]
    assert (taken["high"] - taken["value"], taken["value"] - taken["low"]) == pytest.approx((half, half), rel=1e-6)


def test_zero_on_the_display_is_no_proof_of_no_leak() -> None:
    """0 V means below half a volt: Ri may be as low as nothing, which an exact zero would make infinite."""
    found = told(pack="360 V", minus="1 V", plus="1 V", with_resistor="0 V", resistor="180 kΩ")
    assert found["weaker_ohm"]["low"] == 0.0
    assert found["met"] is False
    better = told(pack="360 V", minus="1.0 V", plus="1.0 V", with_resistor="0.0 V")
    assert better["weaker_ohm"]["value"] is None
    # The near leg, Ro Vb (V/V' - 1)/Vother, is the lower of both at its bad ends.
    assert better["weaker_ohm"]["low"] == pytest.approx(RO * 359.5 * (0.95 / 0.05 - 1.0) / 1.05, rel=1e-9)
    text = run(pack="360 V", minus="1.0 V", plus="1.0 V", with_resistor="0.0 V").output
    assert "no leak found (at least 1.109 GΩ)" in text


def test_meter_that_stays_has_a_tolerance_that_counts() -> None:
    """With a meter on each leg 147.783 kΩ is leg and meter in parallel: 1/(1/Ri - 1/Rm) at both ends of Rm."""
    given = {"minus": "260.0712 V", "plus": "99.9288 V", "with_resistor": "163.2465 V"}
    found = told("--both-meters", meter="10 MΩ ± 10 %", **given)["plus_ohm"]
    low = RO * (VB - DIGIT) * (1.0 / (163.2465 + DIGIT) - 1.0 / (260.0712 - DIGIT))
    high = RO * (VB + DIGIT) * (1.0 / (163.2465 - DIGIT) - 1.0 / (260.0712 + DIGIT))
    assert found["low"] == pytest.approx(1.0 / (1.0 / low - 1.0 / 11e6), rel=1e-9)
    assert found["high"] == pytest.approx(1.0 / (1.0 / high - 1.0 / 9e6), rel=1e-9)
    remarks = " ".join(told("--both-meters", **given)["remarks"])
    assert "--meter is taken as exact" in remarks
    assert "--resistor is taken as exact" in remarks
    assert "is taken as exact" not in run(resistor="180 kΩ ± 1 %").output


def test_ends_are_those_of_the_corners() -> None:
    """The whole command against all corners of what it says that it took."""
    rng = random.Random(5)
    for _ in range(20):
        own = {
            name.removeprefix("--").replace(
                "-", "_"
            ): f"{PRINTED[name]} +{rng.uniform(0, 2):.3f}/-{rng.uniform(0, 2):.3f} %"
            for name in ("--pack", "--minus", "--plus", "--with-resistor", "--resistor")
        }
        found = told(**own, tolerance=f"{rng.uniform(0, 1):.2f} %")
        ends = [(value["low"], value["high"]) for value in found["readings"].values()][:5]
        corners = [
            (ro * vb * (1.0 / after - 1.0 / v1), ro * vb * (v1 / after - 1.0) / v2)
            for vb, v1, v2, after, ro in itertools.product(*ends)
        ]
        for leg, values in zip(("plus_ohm", "minus_ohm"), zip(*corners, strict=True), strict=True):
            assert (found[leg]["low"], found[leg]["high"]) == pytest.approx((min(values), max(values)), rel=1e-9)
        assert found["met"] is (found["weaker_ohm"]["low"] >= 500.0 * 360.0)


# ---------------------------------------------------------------- the highest voltage
def test_highest_below_the_pack_is_refused() -> None:
    assert "--highest: '60 V' is below the 360 V read" in refused(highest="60 V")
    assert "--highest" in refused(highest="0 V")
    assert "--highest" in refused(highest="-403 V")
    assert "--highest" in refused(highest="")
    assert "1500 V" in refused(highest="403 kV")


def test_highest_within_the_tolerance_of_the_pack_gives_way_to_it() -> None:
    found = told(highest="359.9 V", tolerance="0.5 %")
    assert found["highest_v"] == 360.0
    assert any("--highest '359.9 V' is below the voltage as read" in said for said in found["remarks"])
    assert "--highest" in refused(highest="359.9 V")


def test_highest_counts_at_its_upper_end() -> None:
    """403.2 V and 1 % more are 407.232 V; without the option, a word says what was taken."""
    found = told(highest="403.2 V ± 1 %")
    assert found["highest_v"] == pytest.approx(407.232)
    assert [item["ohm"] for item in found["required"]] == pytest.approx([40723.2, 203616.0])
    assert not any("--highest" in said for said in found["remarks"])
    assert "No --highest was given" in run().output


def test_low_end_per_volt_is_rounded_down() -> None:
    """The printed readings times 300/360: 150 kΩ are 500 Ω/V, less the last digits 499.99: shown as 499."""
    done = run(pack="300.0000 V", minus="215.8273 V", plus="80.9353 V", with_resistor="134.9325 V", highest="300 V")
    assert "499 Ω/V at 300 V" in done.output
    assert "MISSES the 500 Ω/V" in done.output


# ---------------------------------------------------------------- the requirement
@pytest.mark.parametrize(
    "text",
    [
        "nan",
        "inf",
        "-inf",
        "0",
        "-500",
        "0 Ω/V",
        "1e308",
        "1e400",
        "0,5",
        "500 Ω",
        "500 V",
        "much",
        "",
        "500 Ω/V ± 1 %",
    ],
)
@pytest.mark.parametrize("form", ["text", "json"])
def test_requirement_that_cannot_be_is_refused(text: str, form: str) -> None:
    done = run("--format", form, per_volt=text)
    assert done.exit_code == 2
    assert "--per-volt: " in done.output


@pytest.mark.parametrize("text", ["410", "410 Ω/V", "0.41 kΩ/V", "4.1e2", " 410 "])
def test_requirement_may_carry_its_unit(text: str) -> None:
    assert told(per_volt=text)["asked_ohm_per_volt"] == pytest.approx(410.0)


def test_requirement_below_every_law_is_said_to_be_so() -> None:
    assert "below the 100 Ω/V" in run(per_volt="99").output
    assert "below the 100 Ω/V" not in run(per_volt="100").output


# ---------------------------------------------------------------- what cannot be read
@pytest.mark.parametrize(
    ("option", "text", "said"),
    [
        ("pack", "0 V", "above zero"),
        ("pack", "360 kV", "1500 V"),
        ("pack", "360,5 V", "decimal point"),
        ("pack", "1e400 V", "too large"),
        ("pack", "360", "unit"),
        ("minus", "-258.9 V", "magnitudes"),
        ("minus", "259 mA", "a current"),
        ("plus", "0e400 V", "too large"),
        ("plus", "97.1 V ± 1", "tolerance"),
        ("with_resistor", "nan V", "finite"),
        ("resistor", "0 Ω", "above zero"),
        ("resistor", "-180 kΩ", "above zero"),
        ("resistor", "180 mΩ", "look at the unit"),
        ("resistor", "1e300 Ω", "look at the unit"),
        ("resistor", "180 kΩ ± 100 %", "whole value"),
        ("resistor", "180 kΩ ± 200 kΩ", "whole value"),
        ("meter", "10 mΩ", "look at the unit"),
        ("meter", "inf", "finite"),
        ("meter", "10 MΩ ± 120 %", "100 %"),
        ("tolerance", "-1 %", "below zero"),
        ("tolerance", "100 %", "whole value"),
        ("tolerance", "0.5 V", "stand with their reading"),
        ("tolerance", "0.005 ± 0.001", "tolerance of its own"),
        ("tolerance", "nan", "finite"),
    ],
)
def test_value_that_cannot_be_names_its_option(option: str, text: str, said: str) -> None:
    output = refused(**{option: text})
    assert f"--{option.replace('_', '-')}: " in output
    assert said in output
    assert "the key" not in output


def test_all_that_is_wrong_is_named_at_once() -> None:
    output = refused(pack="360 A", meter="0 Ω", per_volt="nan", highest="-1 V", tolerance="0.5 V")
    for option in ("--pack: ", "--meter: ", "--per-volt: ", "--highest: ", "--tolerance: "):
        assert option in output
    assert "--minus: " not in output


def test_what_is_wrong_comes_as_json_where_json_was_asked_for() -> None:
    done = run("--format", "json", pack="360 A", meter="0 Ω")
    assert done.exit_code == 2
    problems = json.loads(done.stdout)["problems"]
    assert [said["message"].partition(":")[0] for said in problems] == ["--pack", "--meter"]
    assert len(json.loads(run("--format", "json", pack="-1\n V").stdout)["problems"]) == 1
    assert "\x1b" not in json.loads(run("--format", "json", pack="1\x1b[2J V\nx").stdout)["problems"][0]["message"]


def test_all_that_is_missing_is_named_at_once() -> None:
    assert "Missing: --minus, --on, --meter." in refused(minus=None, on=None, meter=None)
    assert "Missing: --plus." in refused(plus=None)


def test_refusal_shows_what_was_taken() -> None:
    done = run(plus="80 V ± 1 V")
    assert done.exit_code == 2
    assert "REFUSED" in done.output
    assert "80 V (79 V to 81 V)" in done.output
    data = json.loads(run("--format", "json", plus="80 V ± 1 V").output)
    assert data["fault"] == "gap"
    assert data["readings"]["plus_v"] == {"value": 80.0, "low": 79.0, "high": 81.0}


def test_no_text_crashes_it() -> None:
    """Odd numbers, units and tolerances in any mixture: an answer or a refusal, and JSON that is JSON."""
    rng = random.Random(11)
    numbers = [
        "0",
        "0.0",
        "1e-300",
        "1e-9",
        "1",
        "97.1223",
        "161.919",
        "259",
        "360",
        "1500",
        "1e6",
        "1e308",
        "nan",
        "-3",
    ]
    tails = ["", " ± 1 %", " ± 100 %", " ± 1e-300 V", " +5/-0.1 %", " ± 0.5 V"]
    ohms = ["1 Ω", "1 TΩ", "180 kΩ", "10 MΩ ± 99.999 %", "1e-3 Ω", "180 kΩ +900/-1 %"]
    for _ in range(120):
        changed = {
            name: f"{rng.choice(numbers)} V{rng.choice(tails)}"
            for name in rng.sample(["pack", "minus", "plus", "with_resistor", "highest"], rng.randint(1, 5))
        } | {name: rng.choice(ohms) for name in rng.sample(["resistor", "meter"], rng.randint(0, 2))}
        flags = ["--both-meters"] if rng.random() < 0.4 else []
        done = run("--format", "json", *flags, **changed, tolerance=rng.choice(["0 %", "0.5 %", "99 %"]))
        assert done.exit_code in (0, 1, 2)
        if done.output.startswith("{"):
            data = json.loads(done.output, parse_constant=pytest.fail)
            text = run(*flags, **changed, tolerance="0.5 %").output
            assert ("refused" in data) is (done.exit_code == 2 and "problems" not in data)
            assert "nan" not in text.replace("nan V", "")
