"""YAML text to values with places: what is taken, what is refused, and where each value is said to stand."""

import pytest
import yaml as pyyaml
from hypothesis import given
from hypothesis import strategies as st

from tristrand.design.yamltext import MAX_DEPTH, MAX_NODES, Problem, decode, parse_yaml, visible


def only(text: str) -> Problem:
    problems = parse_yaml("f.yaml", text).problems
    assert len(problems) == 1, [p.text() for p in problems]
    return problems[0]


def test_values_are_typed_only_where_they_are_plain_numbers_or_truths() -> None:
    text = 'a: 1\nb: 1.5\nc: "1"\nd: on\ne: 2026-01-02\nf: true\ng:\nh: 0x10\n'
    tree = parse_yaml("f", text + "i: .inf\nj: .5e3\n").tree
    words = {"c": "1", "d": "on", "e": "2026-01-02", "h": "0x10", "i": ".inf"}
    assert tree == {"a": 1, "b": 1.5, "f": True, "g": None, "j": 500.0} | words
    assert isinstance(tree, dict)
    assert type(tree["a"]) is int


@pytest.mark.parametrize("newline", ["\n", "\r\n"])
def test_spans_cut_out_exactly_the_value(newline: str) -> None:
    lines = [
        "# µ: a comment",
        "Ω: {b: 'x y', c: [1, 2 V]}  # tail",
        "list:",
        "  - k: ä",
        "  # between",
        "  - k: |",
        "      t",
        "z: 9",
        "",
    ]
    text = newline.join(lines)
    spans = parse_yaml("f", text).spans
    cut = {pointer: text[span.start : span.end] for pointer, span in spans.items()}
    assert cut["Ω/b"] == "'x y'"
    assert cut["Ω/c"] == "[1, 2 V]"
    assert cut["Ω/c/1"] == "2 V"
    assert cut["list/0"] == "k: ä"
    assert cut["z"] == "9"
    assert cut["list/1/k"].startswith("|")
    # Lines and columns count from 1 and name the key.
    assert (spans["Ω/b"].line, spans["Ω/b"].column) == (2, 5)
    assert (spans["list/1/k"].line, spans["list/1/k"].column) == (6, 5)
    assert (spans["z"].line, spans["z"].column) == (8, 1)


def test_a_block_ends_before_the_comments_that_follow_it() -> None:
    text = "a:\n  b: 1\n  c: 2  # kept\n# next block\nd: 3\n"
    span = parse_yaml("f", text).spans["a"]
    assert text[span.start : span.end] == "b: 1\n  c: 2"


def test_a_key_twice_names_both_lines_and_keeps_the_first() -> None:
    parsed = parse_yaml("f.yaml", "a: {x: 1}\nb: 2\na: {x: 3, y: 4}\n")
    assert parsed.tree == {"a": {"x": 1}, "b": 2}
    assert parsed.complete
    (problem,) = parsed.problems
    assert (problem.line, problem.column) == (3, 1)
    assert "'a' stands twice" in problem.message
    assert "line 1" in problem.message
    # Places below the second one would send the reader to the wrong line.
    assert parsed.spans["a/x"].line == 1
    assert "a/y" not in parsed.spans


@pytest.mark.parametrize(
    ("text", "line", "column", "message", "mend"),
    [
        ("a: 1\nb: &x 2\n", 2, 4, "anchors and aliases", "write the value out"),
        ("a: 1\nb: *x\n", 2, 4, "anchors and aliases", "write the value out"),
        ("a: !!python/object/apply:os.system ['true']\n", 1, 4, "tag", "remove the tag"),
        ("a: !mine 1\n", 1, 4, "tag", "remove the tag"),
        ("a: 1\n---\nb: 2\n", 2, 1, "more than one YAML document", "---"),
        ("a: 1\n...\nb: 2\n", 3, 1, "more than one YAML document", "..."),
        ("a:\n\tb: 1\n", 2, 1, "tab", "spaces"),
        ("\ta: 1\n", 1, 1, "tab", "spaces"),
        ("a: 1\nb: 'open\nc: 2\n", 2, 4, "never closed", "quote"),
        ("a: @x\n", 1, 4, "cannot start with '@'", "quotes"),
        ("a: b: c\n", 1, 5, "second ': '", "quotes"),
        ("a: [1, 2\n", 2, 1, "bracket", "close it"),
        ('a: "b\\q"\n', 1, 6, "double quotes", "single quotes"),
        ("? [1, 2]\n: 3\n", 1, 3, "key", "word"),
        ("a: 1\nb: x\x07y\n", 2, 5, "control character (U+0007)", "delete"),
        ("a: 1\n\ufeffb: 2\n", 2, 1, "U+FEFF", "delete"),
        ('a: "\\x1b[2J"\n', 1, 4, "control character", "remove"),
        ('a: 1\n"b\\0": 2\n', 2, 1, "control character", "remove"),
    ],
)  # fmt: skip
def test_what_is_refused_says_where_and_how_to_mend(text: str, line: int, column: int, message: str, mend: str) -> None:
    problem = only(text)
    assert (problem.line, problem.column) == (line, column), problem.text()
    assert message in problem.message
    assert mend in problem.mend


def test_an_alias_bomb_is_refused_at_its_first_anchor() -> None:
    bomb = "a0: &a0 [x, x, x, x, x, x, x, x, x]\n" + "".join(
        f"a{i}: &a{i} [{', '.join([f'*a{i - 1}'] * 9)}]\n" for i in range(1, 30)
    )
    problem = only(bomb)
    assert (problem.line, problem.column) == (1, 5)


@pytest.mark.parametrize("opening", ["[", "{a: ", "- "])
def test_ten_thousand_levels_are_refused_without_recursion(opening: str) -> None:
    problem = only("k: " * (opening != "- ") + opening * 10_000)
    assert "nested" in problem.message
    assert problem.mend


def test_depth_and_number_of_values_have_a_limit() -> None:
    fine = "a: " + "[" * (MAX_DEPTH - 1) + "]" * (MAX_DEPTH - 1)
    assert parse_yaml("f", fine).problems == ()
    assert str(MAX_DEPTH) in only("a: " + "[" * MAX_DEPTH + "]" * MAX_DEPTH).message
    assert str(MAX_NODES) in only("a: [" + "1," * (MAX_NODES + 1) + "]").message


def test_decode_drops_one_mark_and_places_the_first_bad_byte() -> None:
    assert decode("f", b"\xef\xbb\xbfa: 1\n") == ("a: 1\n", None)
    text, problem = decode("f", "a: 1\nµ: ".encode() + b"\xff\n")
    assert text == ""
    assert problem is not None
    assert (problem.line, problem.column) == (2, 4)
    assert "UTF-8" in problem.message + problem.mend
    _, wide = decode("f", "a: 1".encode("utf-16"))
    assert wide is not None
    assert "UTF-16" in wide.message


def test_no_control_character_leaves_through_a_problem() -> None:
    problem = Problem("a\x1b.yaml", 1, 1, "x\x07\n", "\x9b")
    assert problem.text().replace("\n    mend", "").isprintable()
    assert visible("x" * 10_000, 50) == "x" * 47 + "..."


@given(st.text(alphabet=st.sampled_from("ab:-[]{},'\"#&*!|>%@`\\ \t\n\r\x00\x1b\ufeffµ019?~.")) | st.text())
def test_any_text_is_read_or_refused_with_a_place_in_the_text(text: str) -> None:
    parsed = parse_yaml("f", text)
    assert parsed.complete or parsed.problems
    lines = text.count("\n") + text.count("\r") + text.count("\x85") + text.count("\u2028") + text.count("\u2029") + 2
    for problem in parsed.problems:
        assert 1 <= problem.line <= lines
        assert problem.message
        assert problem.mend
    for span in parsed.spans.values():
        assert 0 <= span.start <= span.end <= len(text)


PLAIN = st.text(alphabet="abcµΩ ", min_size=1).map(str.strip).filter(bool).map(lambda word: f"{word}!")
TREES = st.recursive(
    PLAIN | st.integers(-999, 999),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(PLAIN, inner, max_size=4),
    max_leaves=12,
)


@given(st.dictionaries(PLAIN, TREES, min_size=1, max_size=4), st.booleans(), st.booleans())
def test_values_are_those_another_reader_finds(tree: object, flow: bool, windows: bool) -> None:
    text = pyyaml.safe_dump(tree, allow_unicode=True, default_flow_style=flow, sort_keys=False)
    parsed = parse_yaml("f", text.replace("\n", "\r\n") if windows else text)
    if not parsed.problems:
        assert parsed.tree == pyyaml.safe_load(text)
    else:
        assert all("nested" in problem.message for problem in parsed.problems)
