"""The passes that hold only just, as a table for the top of the page."""

from __future__ import annotations

from collections.abc import Iterable

from tristrand.findings import Finding
from tristrand.findings.margins import Margin, binding, tightest
from tristrand.findings.words import RELATION_WORDS, digits_apart
from tristrand.papers.tables import Cell, Row, Table
from tristrand.units import number_text, show

MOST = 10
_NOTE = (
    "What is left up to the limit, as a share of the limit; of each rule the closest comparison, tolerances taken "
    "against it. Left out: plain counts, temperatures in °C, and limits of zero, of which there is no share."
)


def margins_table(findings: Iterable[Finding]) -> Table | None:
    """The ten passes closest to their limit; None where nothing that passed has a margin."""
    rows = tuple(_row(margin) for margin in tightest(findings, MOST))
    columns = ("Rule", "Object", "What was compared", "Value", "Allowed", "Left")
    return Table("Passed with the least to spare", columns, rows, _NOTE, wide=True) if rows else None


def _row(margin: Margin) -> Row:
    evidence, value = margin.evidence, binding(margin.evidence)
    if value is None or evidence.limit is None:
        raise ValueError("a margin stands on a value and a limit")
    digits = digits_apart(value, evidence.limit)
    more = f"and {margin.alike} more just as close" if margin.alike else ""
    return Row(
        Cell(margin.finding.code),
        (
            Cell(margin.finding.place.object.removeprefix("high_voltage/"), more),
            Cell(evidence.quantity),
            Cell(show(value, evidence.unit, digits)),
            Cell(f"{RELATION_WORDS[evidence.relation]} {show(evidence.limit, evidence.unit, digits)}"),
            Cell(_left(margin.share)),
        ),
    )


def _left(share: float) -> str:
    return "nothing" if share < 1e-9 else f"{number_text(100 * share, 2)} %"
