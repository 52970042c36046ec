"""The sources of a page: their kinds, editions and clauses, and words that a user can read."""

import re

from tristrand.findings import Coverage, DesignInfo, Evidence, Finding, Place, Report
from tristrand.papers.sources_table import GROUPS, UsedSource, used_sources
from tristrand.sources import load_sources


def sources_of(*locators: str) -> list[UsedSource]:
    given = tuple(Evidence("current", 12.0, "A", "<=", 10.0, locator) for locator in locators)
    finding = Finding("HV301", "name", "fail", "error", "it fails", Place("f.yaml", 1, 1, "parts/x"), given)
    report = Report(DesignInfo("Test car", "A", "0" * 64), "0.0.0", (finding,), Coverage(("HV301",)), ())
    return used_sources(report, (), {})


def test_sources_stand_by_kind_with_edition_and_clauses_in_order() -> None:
    found = sources_of(
        "PRACTICE#pack fuse", "FSAE-2026#EV.5.10", "FSAE-2026#EV.5.9", "DESIGN#bared_after", "IEC-60204-1#6.2.4",
        "MEMORY#linear damage sum", "DATASHEET#I2t of the fuse", "FUSE-GUIDE#ambient factor", "NO-SUCH-SOURCE#1",
    )  # fmt: skip
    assert [s.group for s in found] == [*GROUPS[:1] * 2, GROUPS[1], *GROUPS[3:4] * 2, *GROUPS[5:]]
    rules, machines = found[:2]
    assert (rules.name, rules.edition, rules.places) == ("Formula SAE Rules 2026", "v1.0", ("EV.5.9", "EV.5.10"))
    assert (machines.edition, machines.read) == ("not established", "read second-hand, as others print or quote it")
    assert {s.places for s in found[3:5]} == {("bared after",), ("I²t of the fuse",)}
    # Only what stands on memory is marked so: the place of the guide that was not seen, and what nobody could look up.
    assert [s.name for s in found if s.memory] == ["A fuse maker's selection guide", "From memory"]


def test_every_source_has_a_place_in_the_table_and_words_for_a_user() -> None:
    inner = re.compile(r"docstring|\btests?\b(?! house|-adapter)|\bcode[ds]?\b|function|\w_\w", re.IGNORECASE)
    for name, source in load_sources().items():
        (used,) = sources_of(f"{name}#place")
        assert used.group != "Unknown", name
        for text in (source.title, source.body, source.edition, source.words, source.note):
            plainly = text.replace("National Electrical Code", "")
            assert not inner.search(plainly), f"{name}: {text}"
