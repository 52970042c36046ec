"""The clause table of FSAE-2026: every clause once, every rule named cites it, and nothing is claimed besides."""

import json
import re
import subprocess
import sys
from collections import Counter
from itertools import groupby

import pytest

from tristrand.rules import RULES
from tristrand.rules.coverage.table import (
    BY_RULES,
    IN_PART,
    KINDS,
    Row,
    _parsed,
    answered,
    coverage_rows,
    coverage_text,
    load_coverage,
)
from tristrand.sources import load_sources, locator_faults

ROWS = load_coverage("fsae-2026")
BY_CLAUSE = {row.clause: row for row in ROWS}

# Counted from the rows of the clause index by a one-off script: computed, declared, inspection, procedure.
COUNTED = {
    "T.4": (5, 12, 0, 0),
    "T.9": (4, 7, 2, 1),
    "EV.1": (0, 3, 0, 0),
    "EV.2": (0, 0, 0, 4),
    "EV.3": (4, 6, 0, 6),
    "EV.4": (3, 14, 6, 2),
    "EV.5": (14, 27, 3, 2),
    "EV.6": (13, 13, 5, 2),
    "EV.7": (10, 32, 3, 2),
    "EV.8": (1, 9, 1, 2),
    "EV.9": (1, 9, 0, 1),
    "EV.10": (0, 0, 0, 3),
    "EV.11": (1, 0, 1, 12),
    "EV.12": (0, 0, 0, 2),
}
# The last number of every run of clauses in the index: a clause left out and another put twice would not hide here.
LAST = {
    "T.4.2": 12,
    "T.9.2": 6,
    "EV.3.2": 6,
    "EV.4.10": 4,
    "EV.5.6": 5,
    "EV.5.8": 5,
    "EV.5.11": 5,
    "EV.6.3": 5,
    "EV.6.5": 9,
    "EV.6.6": 7,
    "EV.7.2": 3,
    "EV.7.5": 7,
    "EV.7.6": 6,
    "EV.7.10": 5,
    "EV.8.2": 7,
    "EV.11.5": 5,
}
# A rule may cite a clause for its sense and still not compare what the clause asks.
CITED_BUT_NOT_COMPARED = {
    ("HV142", "EV.5.4.3"): "it compares how a contactor rests, not what stays live outside the container",
}


def _cited(code: str) -> set[str]:
    """The FSAE-2026 clauses that a rule cites, sub-letters off: a row holds all letters of its clause."""
    sources = next(rule.sources for rule in RULES if rule.code == code)
    places = [source.partition("#")[2] for source in sources if source.startswith("FSAE-2026#")]
    return {re.sub(r"(?<=\d)[a-z]$", "", place) for place in places}


def test_rows_of_every_section() -> None:
    found = {}
    for section, group in groupby(ROWS, key=lambda row: row.section):
        kinds = Counter(row.kind for row in group)
        found[section] = tuple(kinds[kind] for kind in KINDS)
    assert found == COUNTED
    assert list(found) == list(COUNTED)
    assert len(ROWS) == 248


def test_every_clause_stands_once() -> None:
    assert len(BY_CLAUSE) == len(ROWS)
    for run, last in LAST.items():
        numbers = [int(c.removeprefix(f"{run}.")) for c in BY_CLAUSE if re.fullmatch(rf"{re.escape(run)}\.\d+", c)]
        assert numbers == list(range(1, last + 1)), run
    merged = {clause for clause in BY_CLAUSE if not re.fullmatch(r"(EV|T)(\.\d+){2,3}", clause)}
    assert merged == {"EV.1.1 to EV.1.5", "EV.3.5.1 to EV.3.5.4", "EV.10.2.1, EV.10.2.2"}


def test_doubtful_clauses_say_so() -> None:
    displaced = {row.clause for row in ROWS if row.note == "number displaced"}
    t4 = {f"T.4.3.{n}" for n in (1, 2, 3, 4)}
    t9 = {f"T.9.2.{n}" for n in range(1, 7)} | {"T.9.3.1", "T.9.3.2"} | {f"T.9.4.{n}" for n in (1, 2, 3)}
    assert displaced == t4 | t9
    assert {row.clause for row in ROWS if row.note == "ambiguous wording"} == {
        "EV.3.4.1",
        "EV.5.1.2",
        "EV.5.6.1",
        "EV.6.5.4",
        "EV.6.5.5",
        "EV.6.5.7",
        "EV.7.3.1",
        "EV.7.8.1",
        "EV.9.2",
    }


@pytest.mark.parametrize("row", [row for row in ROWS if row.rules], ids=lambda row: row.clause)
def test_every_rule_named_cites_the_clause_or_its_parent(row: Row) -> None:
    parent = row.clause.rpartition(".")[0]
    for code in row.rules:
        assert _cited(code) & {row.clause, parent}, f"{code} does not cite {row.clause}"


@pytest.mark.parametrize("code", [rule.code for rule in RULES if _cited(rule.code)])
def test_every_clause_that_a_rule_cites_names_the_rule(code: str) -> None:
    for clause in _cited(code):
        named = code in BY_CLAUSE[clause].rules
        excepted = (code, clause) in CITED_BUT_NOT_COMPARED
        assert named != excepted, f"fsae-2026.toml, row {clause}: say whether {code} compares what it asks"


def test_exceptions_are_still_needed() -> None:
    assert all(clause in _cited(code) for code, clause in CITED_BUT_NOT_COMPARED)


def test_answers_fit_the_kinds() -> None:
    for row in ROWS:
        way = answered(row)
        if row.kind == "computed":
            assert row.rules or way == "not covered" or way == f"later: {row.strand}", row.clause
        elif row.kind == "inspection":
            assert (way, row.strand) == ("by inspection", "build"), row.clause
        elif row.kind == "procedure":
            assert (way, row.strand) == ("by procedure", "none"), row.clause
        else:
            assert way not in ("by inspection", "by procedure"), row.clause


def test_the_strand_that_is_there_is_never_later() -> None:
    # The high-voltage strand has rules today: what it does not compare is not covered, and not a promise.
    strands = {row.strand for row in ROWS if row.rules}
    assert "high_voltage" in strands
    assert [row.clause for row in ROWS if "later: high_voltage" in row.answer] == []


def test_what_is_claimed_wholly() -> None:
    # Each was read beside its rules; whoever adds one here does the same.
    assert {row.clause for row in ROWS if answered(row) == BY_RULES} == {"EV.5.4.2", "EV.5.5"}


def test_locators() -> None:
    assert "FSAE-2026" in load_sources()
    assert [fault for row in ROWS for fault in locator_faults(f"{row.source}#{row.clause}")] == []


@pytest.mark.parametrize("width", [80, 100, 120])
def test_text(width: int) -> None:
    text = coverage_text(ROWS, width)
    lines = text.splitlines()
    assert max(map(len, lines)) <= width
    assert not any(line != line.rstrip() for line in lines)
    flat = " ".join(text.split())
    assert "text read in full" in flat
    for section in COUNTED:
        assert any(line.startswith(f"{section}  ") for line in lines)
    for row in ROWS:
        # A merged row may be broken in two lines, so its first clause stands for it.
        assert any(line.startswith(f"  {row.clause.split()[0]} ") for line in lines), row.clause
        if len(row.clause) <= 12:
            assert any(line.split()[:2] == [row.clause, row.kind] for line in lines), row.clause
    assert "in part: HV101" in flat
    assert flat.count("not compared:") == sum(answered(row) == IN_PART for row in ROWS)


def test_totals() -> None:
    table = [line.split() for line in coverage_text(ROWS).splitlines() if re.match(r"  \S.*\s[\d-]+\s+\d+$", line)]
    last = table[-1]
    assert last == ["all", "56", "132", "21", "39", "248"]
    ways = [line for line in table if len(line) >= 6 and line[0] != "all"]
    for column in (-5, -4, -3, -2, -1):
        assert sum(0 if line[column] == "-" else int(line[column]) for line in ways) == int(last[column])
    assert sum(int(line[-1]) for line in ways if line[:2] == ["by", "rules"]) == sum(bool(row.rules) for row in ROWS)


def test_narrow_and_empty_tables() -> None:
    assert max(map(len, coverage_text(ROWS, 10).splitlines())) <= 73
    assert coverage_text(()) == "no clauses\n"


def test_json() -> None:
    rows = coverage_rows(ROWS)
    assert json.loads(json.dumps(rows)) == rows
    assert len(rows) == 248
    power = next(row for row in rows if row["clause"] == "EV.3.3.1")
    assert power["rules"] == ["HV124"]
    assert (power["source"], power["section"], power["kind"], power["answered"]) == (
        "FSAE-2026",
        "EV.3",
        "computed",
        "by rules in part",
    )


HEAD = 'source = "FSAE-2026"\n[[section]]\nnumber = "EV.5"\ntitle = "Energy storage"\n'
GOOD = {"clause": "EV.5.5", "subject": "s", "kind": "declared", "limit": "l", "strand": "high_voltage"}


def _table(*entries: dict[str, object]) -> str:
    # JSON strings and lists are TOML ones too.
    rows = ["{" + ", ".join(f"{key} = {json.dumps(value)}" for key, value in entry.items()) + "}" for entry in entries]
    return f"{HEAD}rows = [{', '.join(rows)}]\n"


def test_sound_rows_are_taken() -> None:
    whole, part, none = _parsed(
        "x",
        _table(
            GOOD | {"rules": ["HV005"]},
            GOOD | {"clause": "EV.5.5.1", "rules": ["HV005"], "answer": "later: build", "left": "height"},
            GOOD | {"clause": "EV.5.5.2", "answer": "not covered"},
        ),
    )
    assert [answered(row) for row in (whole, part, none)] == [BY_RULES, IN_PART, "not covered"]
    assert (whole.source, whole.section, whole.heading, whole.rules) == (
        "FSAE-2026",
        "EV.5",
        "Energy storage",
        ("HV005",),
    )


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"kind": "guessed", "answer": "not covered"}, "unknown kind 'guessed'"),
        ({"answer": "surely"}, "unknown answer 'surely'"),
        ({"answer": "later: none"}, "unknown answer 'later: none'"),
        ({"strand": "hydraulics", "answer": "not covered"}, "unknown strand 'hydraulics'"),
        ({"note": "maybe", "answer": "not covered"}, "unknown note 'maybe'"),
        ({}, "neither rules nor an answer"),
        ({"rules": []}, "neither rules nor an answer"),
        ({"rules": ["HV999"]}, "HV999, which is no rule"),
        ({"rules": [5]}, "5, which is no rule"),
        ({"rules": "HV005"}, "list of codes"),
        ({"rules": ["HV005", "HV005"]}, "none twice"),
        ({"rules": ["HV005"], "answer": "declaration"}, "both 'left' and an answer"),
        ({"rules": ["HV005"], "left": "height"}, "both 'left' and an answer"),
        ({"left": "height", "answer": "declaration"}, "names no rules"),
        ({"answer": "later: vehicle"}, "another strand"),
        ({"answer": "declaration", "remark": "x"}, "unknown \\['remark'\\]"),
        ({"answer": "declaration", "limit": " "}, "'limit' must be words"),
        ({"answer": "declaration", "limit": 3}, "'limit' must be words"),
    ],
)
def test_malformed_rows_are_refused_by_name(change: dict[str, object], words: str) -> None:
    with pytest.raises(ValueError, match=rf"x\.toml, row EV\.5\.5: .*{words}"):
        _parsed("x", _table(GOOD | change))


def test_rows_that_cannot_be_named_are_counted() -> None:
    entry = {key: value for key, value in GOOD.items() if key != "clause"} | {"answer": "not covered"}
    with pytest.raises(ValueError, match=r"row 2 of section EV\.5: .*missing \['clause'\]"):
        _parsed("x", _table(GOOD | {"answer": "not covered"}, entry))


@pytest.mark.parametrize("clause", ["EV.6.5", "EV.55", "T.5.1"])
def test_a_row_belongs_to_its_section(clause: str) -> None:
    with pytest.raises(ValueError, match=rf"row {re.escape(clause)}: does not belong to section EV\.5"):
        _parsed("x", _table(GOOD | {"clause": clause, "answer": "not covered"}))


def test_a_clause_twice_is_refused() -> None:
    entry = GOOD | {"answer": "not covered"}
    with pytest.raises(ValueError, match=r"row EV\.5\.5: stands twice"):
        _parsed("x", _table(entry, entry))


@pytest.mark.parametrize(
    "text",
    [
        "",
        "source = ",
        'source = "FSAE-2026"\n',
        HEAD,
        HEAD + "rows = []\n",
        HEAD + "rows = [1]\n",
        'source = "FSAE-2026"\nsection = "EV.5"\n',
        'source = "FSAE-2026"\nsection = [1]\n',
        HEAD + "rows = [{}]\nextra = 1\n",
        'edition = "x"\n' + _table(GOOD | {"answer": "not covered"}),
    ],
)
def test_malformed_tables_are_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"x\.toml"):
        _parsed("x", text)


@pytest.mark.parametrize("name", ["un-r100", "", "../limits", "fsae-2026.toml"])
def test_unknown_tables_are_refused(name: str) -> None:
    with pytest.raises(ValueError, match="fsae-2026"):
        load_coverage(name)


def test_the_rules_do_not_load_the_table() -> None:
    code = (
        "import sys, tristrand.rules\n"
        "assert not any(name.startswith('tristrand.rules.coverage') for name in sys.modules)\n"
        "import tristrand.rules.coverage.table\n"
        "assert 'tomllib' not in sys.modules\n"
        "assert not any(name.startswith(('tristrand.app', 'tristrand.papers')) for name in sys.modules)"
    )
    subprocess.run([sys.executable, "-c", code], check=True)
