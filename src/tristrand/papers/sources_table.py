"""The sources behind a page, for a reader who wants to look them up: what, which edition, which clause, how read."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import chain
from typing import Any

from tristrand.findings import Report
from tristrand.papers.sections import Section
from tristrand.sources import Source, is_memory, load_sources, locator_faults, reading, split_locator

UNDATED = "edition not established"
# In the order of the page; what a reader can look up in print comes first.
GROUPS = (
    "Standards, laws and rule books",
    "Papers and handbooks",
    "Makers' data sheets and notes",
    "Stated in the design itself",
    "Laws of physics and methods of calculation",
    "Common practice, without a text that asks for it",
    "From memory, not confirmed",
    "Unknown",
)
_BY_KIND = {
    "standard": 0,
    "law": 0,
    "paper": 1,
    "handbook": 1,
    "textbook": 1,
    "datasheet": 2,
    "practice": 5,
    "memory": 6,
}
# What the kind alone does not tell: the design's own statements, and what follows from physics.
_BY_NAME = {
    "DATASHEET": 3,
    "DESIGN": 3,
    "CLOSED-FORM": 4,
    "CLOSED-FORM-HEAT": 4,
    "NUMERICS": 4,
    "OWN-COMPARISON": 4,
}
_READ = {
    "in full": "text read in full",
    "second-hand": "read second-hand, as others print or quote it",
    "not seen": "text not seen",
}
# So many places still stand in their column; more are set below, over the width of the table.
_FEW = 6


@dataclass(frozen=True, slots=True)
class UsedSource:
    """One source that a number on the page rests on."""

    group: str
    name: str
    body: str
    edition: str
    places: tuple[str, ...]
    read: str
    note: str
    memory: bool

    @property
    def few(self) -> bool:
        """Whether the places fit into a column."""
        return len(self.places) <= _FEW


def used_sources(report: Report, parts: Iterable[Section], results: Mapping[str, Any]) -> list[UsedSource]:
    """The sources behind what the page prints, each with the places cited and how it was read; only those."""
    locators = [e.source for f in report.findings for e in f.evidence]
    shown = {f.code for f in report.findings if f.kind in ("fail", "review")}
    locators += [s for rule in report.rules if rule.code in shown for s in rule.sources]
    names = {part.name for part in parts}
    locators += [w.source for name, result in results.items() if name in names for w in result.workings]
    by_source: dict[str, set[str]] = {}
    for locator in dict.fromkeys(x for x in locators if x):
        by_source.setdefault(_source_name(locator), set()).add(locator)
    found = [_used(name, sorted(group, key=_natural)) for name, group in by_source.items()]
    return sorted(found, key=lambda used: (GROUPS.index(used.group), used.name.casefold(), used.edition))


def _source_name(locator: str) -> str:
    try:
        return split_locator(locator)[0]
    except ValueError:
        return locator


def _natural(text: str) -> list[tuple[int, str]]:
    """Clause 5.10 after clause 5.9."""
    return [(int(piece), "") if piece.isdecimal() else (-1, piece.casefold()) for piece in re.split(r"(\d+)", text)]


def _used(name: str, locators: list[str]) -> UsedSource:
    known = load_sources().get(name)
    if known is None:
        note = "It is not in the program's list of sources."
        return UsedSource(GROUPS[-1], name, "", "", tuple(locators), "unknown source", note, False)
    group = GROUPS[_BY_NAME.get(name, _BY_KIND[known.kind])]
    places = tuple(place_words(p) for p in (split_locator(x)[1] for x in locators) if p)
    memory = any(not locator_faults(x) and is_memory(x) for x in locators)
    edition = "not established" if known.edition == UNDATED else known.edition
    return UsedSource(
        group, _capital(known.title), known.body, edition, places, _how_read(known, locators), known.note, memory
    )


def _how_read(known: Source, locators: Iterable[str]) -> str:
    """In words; places read otherwise than the whole source are named with the words of their own reading."""
    apart: dict[str, list[str]] = {}
    whole: list[str] = []
    for locator in locators:
        place = split_locator(locator)[1]
        if place in known.places:
            apart.setdefault(_READ[reading(locator)], []).append(place_words(place))
        else:
            whole.append(known.words or _READ[known.read])
    named = (f"{', '.join(places)}: {words}" for words, places in apart.items())
    return "; ".join(dict.fromkeys(chain(whole, named)))


def place_words(place: str) -> str:
    """A place as it is printed: no key of a file, powers raised."""
    words = re.sub(r"(?<=[A-Za-z])_(?=[A-Za-z])", " ", place)
    words = re.sub(r"\bI2t\b", "I²t", words)
    return re.sub(r"\bk2 S2\b", "k² S²", words).replace("^2", "²")


def _capital(title: str) -> str:
    return title[:1].upper() + title[1:]
