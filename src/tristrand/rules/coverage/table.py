"""Tables of clauses (fsae-2026.toml): who answers each clause of a rule set today, and what is left of it.

A table claims only what a rule really compares. What no rule compares is said as plainly as what one does.
"""

import pkgutil
import re
import textwrap
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache
from itertools import groupby, zip_longest
from typing import Any

from tristrand.records import NamedTuple
from tristrand.sources import describe

TABLES = ("fsae-2026",)
KINDS = ("computed", "declared", "inspection", "procedure")
STRANDS = ("high_voltage", "low_voltage", "networks", "supervisor", "vehicle", "build", "none")
NOTES = ("number displaced", "ambiguous wording")
LATER = tuple(f"later: {strand}" for strand in STRANDS if strand != "none")
ANSWERS = ("declaration", "by inspection", "by procedure", *LATER, "not covered")
BY_RULES, IN_PART = "by rules", "by rules in part"

_NEEDED = ("clause", "subject", "kind", "limit", "strand")
_TEXTS = (*_NEEDED, "answer", "left", "note")
_COLUMNS = (12, 10, 19)
_LEAST_TEXT = 24
_LEGEND = (
    "The rule text itself governs; a clause that rules answer is still to be read, and an event's own notes with it.",
    "by rules: the rules named compare what the clause asks; in part: what they leave is said below the clause.",
    "declaration: the team states it, the program does not look. later: that strand is to compare it, and does not "
    "yet. not covered: nothing in the program compares it.",
    "number displaced: the number is doubtful in the copy read. ambiguous wording: read the clause itself.",
)


class Row(NamedTuple):
    """One clause, or a few that share a row.

    Attributes:
        source: SRC-ID of the rule set.
        section, heading: number and title of the clause's section.
        clause: its number as printed.
        subject, limit: what it is about and what it asks, in short words of our own.
        kind: one of `KINDS`: how the clause can be shown best.
        strand: one of `STRANDS`: which strand of the program can answer it.
        rules: codes of the rules that compare what it asks.
        answer: one of `ANSWERS`: who answers it where no rule does, or what ``left`` says.
        left: what ``rules`` do not compare; empty where they compare the whole clause.
        note: one of `NOTES`, or empty.
    """

    source: str
    section: str
    heading: str
    clause: str
    subject: str
    kind: str
    limit: str
    strand: str
    rules: tuple[str, ...] = ()
    answer: str = ""
    left: str = ""
    note: str = ""


@lru_cache(maxsize=len(TABLES))
def load_coverage(name: str) -> tuple[Row, ...]:
    """The rows of one table in the order of the rule set.

    Raises ValueError for a name that is not in `TABLES`, and for a table at fault (naming the row).
    """
    if name not in TABLES:
        raise ValueError(f"there is no coverage table '{name}'; there are: {', '.join(TABLES)}")
    return _parsed(name, (pkgutil.get_data(__package__, f"{name}.toml") or b"").decode())


def answered(row: Row) -> str:
    """How a row is answered: `BY_RULES`, `IN_PART`, or its own answer."""
    if not row.rules:
        return row.answer
    return IN_PART if row.left else BY_RULES


def _parsed(name: str, text: str) -> tuple[Row, ...]:
    import tomllib  # read only when somebody asks for a table

    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ValueError(f"{name}.toml: {error}") from None
    source = table.get("source")
    if not isinstance(source, str) or not _tables(table.get("section")) or len(table) != 2:
        raise ValueError(f"{name}.toml: a source and sections are needed, and nothing else")
    rows: list[Row] = []
    for section in table["section"]:
        number, title, entries = (section.get(key) for key in ("number", "title", "rows"))
        if len(section) != 3 or not number or not title or not _tables(entries):
            raise ValueError(f"{name}.toml, section {number}: number, title and rows are needed, and nothing else")
        for place, entry in enumerate(entries, 1):
            where = f"{name}.toml, row {entry.get('clause') or f'{place} of section {number}'}"
            fault = _fault(entry, number)
            if fault:
                raise ValueError(f"{where}: {fault}")
            rows.append(_row(entry, source, number, title))
    twice = [clause for clause, count in Counter(row.clause for row in rows).items() if count > 1]
    if twice:
        raise ValueError(f"{name}.toml, row {twice[0]}: stands twice")
    return tuple(rows)


def _tables(value: object) -> bool:
    return isinstance(value, list) and len(value) > 0 and all(isinstance(item, dict) for item in value)


def _row(entry: Mapping[str, Any], source: str, number: str, title: str) -> Row:
    words = {key: entry[key] for key in _TEXTS if key in entry}
    return Row(source, number, title, **words, rules=tuple(entry.get("rules", ())))


def _fault(entry: Mapping[str, Any], number: str) -> str:
    """What is wrong with one row, in words; empty where nothing is."""
    unknown, missing = sorted(set(entry) - {*_TEXTS, "rules"}), [key for key in _NEEDED if key not in entry]
    if unknown or missing:
        return f"unknown {unknown}, missing {missing}"
    for key in _TEXTS:
        if key in entry and not (isinstance(entry[key], str) and entry[key].strip()):
            return f"'{key}' must be words"
    for key, allowed in (("kind", KINDS), ("strand", STRANDS), ("answer", ANSWERS), ("note", NOTES)):
        if key in entry and entry[key] not in allowed:
            return f"unknown {key} '{entry[key]}'; known are: {', '.join(allowed)}"
    if not re.match(rf"{re.escape(number)}\.\d", entry["clause"]):
        return f"does not belong to section {number}"
    return _answer_fault(entry)


def _answer_fault(entry: Mapping[str, Any]) -> str:
    from tristrand.rules.rule import REGISTRY  # the rules are needed for this question alone

    codes, answer, left = entry.get("rules", []), entry.get("answer"), entry.get("left")
    if not isinstance(codes, list) or len({*map(str, codes)}) != len(codes):
        return "'rules' must be a list of codes, none twice"
    strange = [str(code) for code in codes if str(code) not in REGISTRY]
    if strange:
        return f"names {', '.join(strange)}, which is no rule"
    if not codes and answer is None:
        return "has neither rules nor an answer"
    if not codes and left is not None:
        return "says what is left, but names no rules"
    if codes and (answer is None) != (left is None):
        return "rules that answer in part need both 'left' and an answer for it; those that answer all need neither"
    if not codes and answer in LATER and answer != f"later: {entry['strand']}":
        return f"is left to another strand ({answer}) than the one that can answer it ({entry['strand']})"
    return ""


def coverage_rows(rows: Iterable[Row]) -> list[dict[str, Any]]:
    """The rows as plain data for JSON; ``answered`` says the same as in the totals of `coverage_text`."""
    return [row._asdict() | {"rules": list(row.rules), "answered": answered(row)} for row in rows]


def coverage_text(rows: Sequence[Row], width: int = 100) -> str:
    """A plain table by sections, its totals and what its words mean, in lines of at most ``width`` (at least 73)."""
    if not rows:
        return "no clauses\n"
    width = max(width, 2 + sum(_COLUMNS) + 2 * len(_COLUMNS) + _LEAST_TEXT)
    lines = _filled(f"Clauses of {describe(rows[0].source)}, and who answers them", width)
    for (number, heading), group in groupby(rows, key=lambda row: (row.section, row.heading)):
        lines += ["", f"{number}  {heading}", *_cells(("clause", "kind", "answered by", "what it asks"), width)]
        for row in group:
            lines += _cells((row.clause, row.kind, _who(row), _what(row)), width)
            if row.left:
                lines += _cells(("", "", "", f"not compared: {row.left} ({row.answer})"), width)
    lines += ["", *_totals(rows), ""]
    for words in _LEGEND:
        lines += _filled(words, width)
    return "\n".join(lines) + "\n"


def _who(row: Row) -> str:
    if not row.rules:
        return row.answer
    return ("in part: " if row.left else "") + " ".join(row.rules)


def _what(row: Row) -> str:
    return f"{row.subject}: {row.limit}" + (f" ({row.note})" if row.note else "")


def _filled(words: str, width: int) -> list[str]:
    return textwrap.wrap(words, width, subsequent_indent="  ")


def _cells(cells: tuple[str, str, str, str], width: int) -> list[str]:
    """One row of the table: each cell wrapped within its own column."""
    wide = (*_COLUMNS, width - 2 - sum(_COLUMNS) - 2 * len(_COLUMNS))
    wrapped = [textwrap.wrap(cell, size, break_on_hyphens=False) for cell, size in zip(cells, wide, strict=True)]
    return [
        "  " + "  ".join(f"{part:<{size}}" for part, size in zip(parts, wide, strict=True)).rstrip()
        for parts in zip_longest(*wrapped, fillvalue="")
    ]


def _totals(rows: Sequence[Row]) -> list[str]:
    """How many clauses of each kind are answered in each way."""
    counts = Counter((answered(row), row.kind) for row in rows)
    ways = [way for way in (BY_RULES, IN_PART, *ANSWERS) if any(counts[way, kind] for kind in KINDS)]
    head = f"  {'clauses':<20}" + "".join(f"{kind:>11}" for kind in KINDS) + f"{'all':>6}"
    lines = [head]
    for way in ways:
        each = [counts[way, kind] for kind in KINDS]
        lines.append(f"  {way:<20}" + "".join(f"{n or '-':>11}" for n in each) + f"{sum(each):>6}")
    each = [sum(counts[way, kind] for way in ways) for kind in KINDS]
    return [*lines, f"  {'all':<20}" + "".join(f"{n or '-':>11}" for n in each) + f"{sum(each):>6}"]
