"""Mends name the nearest known word, soon even in a file full of slips."""

from typing import Annotated, Any, get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import TypeAdapter, ValidationError

from tristrand.design.datum import BASES, Basis, Datum
from tristrand.design.messages import problem_from
from tristrand.design.model import HighVoltage, Vehicle, Waivers
from tristrand.design.names import MOST_NAMES, WORD, hint, nearest
from tristrand.design.quantity import Q
from tristrand.design.sheets import Sheet
from tristrand.design.yamltext import parse_yaml
from tristrand.units import DIMENSIONS

MODELS: dict[str, Any] = {"vehicle": Vehicle, "high_voltage": HighVoltage, "waivers": Waivers, "sheet": Sheet}


def test_nearest_knows_slips_and_case_but_does_not_guess() -> None:
    names = ["length", "cable", "W10", "k_plus"]
    assert nearest("lenght", names) == "length"
    assert nearest("w10", names) == "W10"
    assert nearest("K_PLUS", names) == "k_plus"
    assert nearest("temperature", names) == ""
    assert nearest("x", []) == ""


@pytest.mark.parametrize(
    ("slip", "meant"),
    [("ambiant", "ambient"), ("ambinet", "ambient"), ("bundeled", "bundled"), ("too", "to"), ("form", "from"),
     ("soft-start", "soft_start"), ("turnon_voltage", "turn_on_voltage"), ("rated_volts", "rated_voltage"),
     ("min_breaking_current", "minimum_breaking_current"), ("cells_series", "cells_in_series")],
)  # fmt: skip
def test_a_real_slip_finds_the_name_that_was_meant(slip: str, meant: str) -> None:
    names = ["ambient", "bundled", "to", "from", "soft_start", "turn_on_voltage", "turn_off_voltage", "rated_voltage",
             "rated_current", "minimum_breaking_current", "breaking_capacity", "cells_in_series"]  # fmt: skip
    assert nearest(slip, names) == meant


@pytest.mark.parametrize(
    ("word", "names"),
    [
        # Each pair shares half of its letters, and yet nobody who wrote the one meant the other.
        ("rating", ["melting"]), ("class", ["basis"]), ("mass", ["basis"]), ("comment", ["ambient"]),
        ("temp", ["note"]), ("ripple", ["title"]), ("title", ["altitude", "date"]), ("charge", ["precharge"]),
        ("components", ["connections"]), ("output_voltage", ["turn_on_voltage"]), ("ambient", ["reference_ambient"]),
        ("resistor", ["earliest"]), ("max_current", ["charge_current"]), ("banana", ["cable", "length", "from"]),
        ("x", ["y"]), ("", ["a"]),
    ],
)  # fmt: skip
def test_a_word_of_its_own_is_no_slip(word: str, names: list[str]) -> None:
    assert nearest(word, names) == ""


def test_of_equally_near_names_two_are_named_and_more_are_listed() -> None:
    assert nearest("W1", ["W11", "W12"]) == ""
    assert hint("k_plu", ["k_plus", "k_plut"]) == "did you mean 'k_plus' or 'k_plut'?"
    assert hint("W1", ["W13", "W12", "W11"], "connections") == "connections: W11, W12, W13"
    # Fewer slips win over more.
    assert nearest("turn_o_voltage", ["turn_off_voltage", "turn_on_voltage"]) == "turn_on_voltage"


def test_the_list_begins_with_what_shares_a_word() -> None:
    assert hint("max_current", ["title", "basis", "rated_current"], "known keys") == (
        "known keys: rated_current, basis, title"
    )


def test_hint_lists_the_names_when_none_is_near() -> None:
    assert hint("lenght", ["length", "cable"]) == "did you mean 'length'?"
    assert hint("zzz", ["b", "a"], "parts") == "parts: a, b"
    assert hint("zzz", [], "parts") == "parts: none yet"
    many = hint("zzz", [f"n{i:02}" for i in range(30)], "parts")
    assert many.endswith("n11, ...")


def test_nearest_looks_at_a_bounded_number_of_names_and_letters() -> None:
    # Comparing every wrong name with every known one would take minutes in a file full of both.
    others = [f"y{number}" for number in range(MOST_NAMES)]
    assert nearest("target", [*others[:-1], "target"]) == "target"
    assert nearest("target", [*others, "target"]) == ""
    assert nearest("z" * 1_000_000, ["a", "z" * WORD]) == "z" * WORD


@pytest.mark.parametrize("dimension", sorted(DIMENSIONS))
def test_the_example_of_every_dimension_is_itself_accepted(dimension: str) -> None:
    adapter: TypeAdapter[Datum] = TypeAdapter(Annotated[Datum, Q(dimension)])
    example = DIMENSIONS[dimension].example
    assert adapter.validate_python(example).text == example


LEAVES = st.none() | st.booleans() | st.integers(-3, 3) | st.floats() | st.text(max_size=6)
WORDS = st.sampled_from(["5 V", "pack", "fuse", "1 m"])
INNER_KEYS = st.sampled_from(
    [
        "kind",
        "value",
        "sheet",
        "from",
        "to",
        "parts",
        "minimum",
    ]
)
VALUES = st.recursive(
    LEAVES | WORDS,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(INNER_KEYS, inner, max_size=4),
    max_leaves=8,
)
KEYS = st.sampled_from(
    [
        "schema_version",
        "kind",
        "parts",
        "connections",
        "waivers",
        "modes",
        "ambient",
        "rule_sets",
        "name",
        "cell_voltage",
        "open_circuit_voltage",
        "cell_resistance",
        "precharge",
        "case_duration",
        "evidence",
        "voltage",
        "basis",
        "date",
    ]
)


@given(st.sampled_from(sorted(MODELS)), st.dictionaries(KEYS, VALUES, max_size=5))
def test_every_validation_error_has_words_of_ours(kind: str, tree: dict[str, object]) -> None:
    model = MODELS[kind]
    try:
        TypeAdapter(model).validate_python(tree, context={"basis": "assumed", "source": ""})
    except ValidationError as error:
        for item in error.errors(include_url=False):
            problem = problem_from(item, parse_yaml("f.yaml", ""), model)
            said = problem.text()
            assert not any(word in said for word in ("Input should", "pydantic", "valid ", "[type", "Error")), said
            assert problem.message
            assert problem.mend, said


def test_the_list_of_bases_is_the_type() -> None:
    assert set(BASES) == set(get_args(Basis)) == {"measured", "datasheet", "standard", "estimated", "assumed"}


def test_a_decimal_comma_is_named_where_it_splits_a_number() -> None:
    from tristrand.app.starter import starter_files
    from tristrand.design import load_files

    files = starter_files()
    text = files["high_voltage.yaml"].decode()
    assert "length: 1.8 m" in text
    files["high_voltage.yaml"] = text.replace("length: 1.8 m", "length: 1,8 m", 1).encode()
    mends = [problem.mend for problem in load_files(files, "x").problems]
    assert any("decimal point" in mend for mend in mends)
