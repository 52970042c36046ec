"""The bibliography: every block is whole, every locator is checked, every reading is said."""

import subprocess
import sys

import pytest

from tristrand.sources import (
    citation_of,
    cites,
    describe,
    is_memory,
    load_sources,
    locator_faults,
    reading,
    source_of,
    split_locator,
)
from tristrand.sources.catalogue import _source


def test_blocks_are_whole() -> None:
    sources = load_sources()
    assert len(sources) > 30
    for source in sources.values():
        assert source.title, source.id
        assert source.note, source.id
        # A reader must never take a hint of ours for a text that was read.
        if source.read == "not seen" and source.kind not in ("practice", "memory"):
            assert any(w in source.note for w in ("memory", "seen", "read")), source.id


def test_describe_says_how_it_was_read() -> None:
    assert describe("FSAE-2026#EV.5.6.1a") == "Formula SAE Rules 2026 v1.0, EV.5.6.1a (text read in full)"
    assert describe("UN-R100#5.1.3.1") == "UN Regulation No. 100 rev 3, 5.1.3.1 (read second-hand)"
    assert describe("MEMORY") == "from memory (not confirmed)"
    assert describe("CLOSED-FORM") == "circuit theory, closed form (follows from the circuit equations)"


def test_a_place_may_be_read_otherwise_than_its_source() -> None:
    assert reading("FMVSS-305#connectors") == "second-hand"
    assert reading("FMVSS-305#S7.6") == "not seen"
    assert describe("FMVSS-305#S7.6").endswith("(text not seen, from memory)")
    assert is_memory("FMVSS-305#S7.6")
    assert not is_memory("FMVSS-305#connectors")


def test_memory() -> None:
    assert is_memory("MEMORY#any")
    assert is_memory("ISO-6722-1#table")
    assert not is_memory("FSAE-2026#T.9.1.1")
    assert not is_memory("PRACTICE#drop")
    with pytest.raises(KeyError):
        is_memory("NO-SUCH#1")


@pytest.mark.parametrize(
    ("locator", "fault"),
    [
        ("FSAE-2026#EV.5.6.1a", ""),
        ("CLOSED-FORM", ""),
        ("FSAE-2026", "names no clause"),
        ("NO-SUCH#1", "names no source"),
        ("lower#1", "not of the form"),
        ("FSAE-2026#", "not of the form"),
        ("FSAE-2026# 5", "not of the form"),
        ("", "not of the form"),
    ],
)
def test_locator_faults(locator: str, fault: str) -> None:
    found = locator_faults(locator)
    assert bool(found) == bool(fault)
    assert fault in "".join(found)


def test_split_locator() -> None:
    assert split_locator("UN-R94#TEy = 0.5 Cy (V^2 - 3600)") == ("UN-R94", "TEy = 0.5 Cy (V^2 - 3600)")


def test_unknown_source_is_printed_and_not_raised() -> None:
    assert describe("NO-SUCH#1") == "NO-SUCH#1 (unknown source)"
    assert describe("???") == "??? (unknown source)"


GOOD = {"title": "t", "body": "b", "edition": "e", "kind": "law", "read": "in full", "note": "n"}


@pytest.mark.parametrize(
    "change",
    [{"kind": "rumour"}, {"read": "perhaps"}, {"extra": 1}, {"places": {"1": "perhaps"}}, {"places": 3}],
)
def test_a_faulty_block_is_refused(change: dict[str, object]) -> None:
    assert _source("X-1", GOOD).title == "t"
    with pytest.raises(ValueError, match="X-1"):
        _source("X-1", GOOD | change)


def test_a_block_that_lacks_a_field_is_refused() -> None:
    with pytest.raises(ValueError, match="note"):
        _source("X-1", {k: v for k, v in GOOD.items() if k != "note"})


def test_cites_returns_the_same_function() -> None:
    def square(x: float) -> float:
        return x * x

    marked = cites("CLOSED-FORM#area", deviation="none", unverified="only tried")(square)
    assert marked is square
    citation = citation_of(marked)
    assert citation is not None
    assert citation.locators == ("CLOSED-FORM#area",)
    assert (citation.deviation, citation.unverified) == ("none", "only tried")
    assert citation_of(len) is None
    with pytest.raises(ValueError, match="locator"):
        cites()


def test_marking_reads_no_file() -> None:
    code = (
        "import sys\nfrom tristrand.sources import cites\n"
        "cites('A#1')(lambda: 0)\nassert 'tomllib' not in sys.modules\n"
        "from tristrand.sources.catalogue import load_sources\nassert load_sources.cache_info().currsize == 0"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


def test_one_source_reads_like_all_of_them() -> None:
    whole = load_sources()
    assert {name: source_of(name) for name in whole} == dict(whole)
    for unknown in ("NOT-THERE", "FSAE", "FSAE-2026.places", ""):
        with pytest.raises(KeyError):
            source_of(unknown)


def test_turned_line_ends_hide_no_source(monkeypatch: pytest.MonkeyPatch) -> None:
    import pkgutil

    from tristrand.sources import catalogue

    whole = pkgutil.get_data("tristrand.sources", "sources.toml")
    assert whole is not None
    turned = whole.replace(b"\n", b"\r\n")
    monkeypatch.setattr(pkgutil, "get_data", lambda *_: turned)
    catalogue._text.cache_clear()
    source_of.cache_clear()
    try:
        assert source_of("IEC-60204-1").body
    finally:
        catalogue._text.cache_clear()
        source_of.cache_clear()
