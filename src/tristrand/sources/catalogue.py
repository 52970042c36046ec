"""sources.toml as typed records, read once when first asked for."""

import pkgutil
import re
from collections.abc import Mapping
from functools import lru_cache
from types import MappingProxyType

from tristrand.records import NamedTuple

KINDS = ("standard", "law", "paper", "handbook", "datasheet", "textbook", "practice", "memory")
READINGS = ("in full", "second-hand", "not seen")
_LOCATOR = re.compile(r"([A-Z0-9][A-Z0-9-]*)(?:#(\S(?:.*\S)?))?")
_UNDATED = "edition not established"
_NEEDS_PLACE = frozenset({"standard", "law", "paper", "handbook"})
_WORDS = {
    "in full": "text read in full",
    "second-hand": "read second-hand",
    "not seen": "text not seen, from memory",
}


class Source(NamedTuple):
    """One source and how it was read.

    Attributes:
        id: the SRC-ID that locators use.
        title, body, edition: as printed; edition is empty where there is none.
        kind: one of `KINDS`.
        read: one of `READINGS`, for the source as a whole.
        note: what exactly was read, in words.
        words: what stands in parentheses after the source in a report; by default it follows from `read`.
        places: readings of single places that differ from `read`.
    """

    id: str
    title: str
    body: str
    edition: str
    kind: str
    read: str
    note: str
    words: str = ""
    places: Mapping[str, str] = MappingProxyType({})


@lru_cache(maxsize=1)
def _text() -> str:
    # A check-out may have turned the line ends.
    return (pkgutil.get_data(__package__, "sources.toml") or b"").decode().replace("\r\n", "\n")


def _parsed(text: str) -> dict[str, Source]:
    import tomllib  # read only when a report or a test asks for words

    return {name: _source(name, entry) for name, entry in tomllib.loads(text).items()}


@lru_cache(maxsize=1)
def load_sources() -> Mapping[str, Source]:
    """Every source by SRC-ID; ValueError when sources.toml itself is at fault."""
    return MappingProxyType(_parsed(_text()))


@lru_cache(maxsize=256)
def source_of(name: str) -> Source:
    """One source; KeyError for an unknown SRC-ID. A report names a few of them: only their tables are parsed."""
    _, heading, rest = _text().partition(f"\n[{name}]\n")
    if not heading:
        raise KeyError(name)
    table = re.split(rf"^\[(?!{re.escape(name)}\.)", rest, maxsplit=1, flags=re.MULTILINE)[0]
    return _parsed(heading + table)[name]


def _source(name: str, entry: Mapping[str, object]) -> Source:
    allowed = {"title", "body", "edition", "kind", "read", "note", "words", "places"}
    missing = {"title", "body", "edition", "kind", "read", "note"} - set(entry)
    extra = set(entry) - allowed
    if missing or extra or not _LOCATOR.fullmatch(name):
        raise ValueError(f"sources.toml, {name}: missing {sorted(missing)}, unknown {sorted(extra)}")
    places = entry.get("places", {})
    if not isinstance(places, dict) or any(v not in READINGS for v in places.values()):
        raise ValueError(f"sources.toml, {name}: places must map a place to one of {READINGS}")
    words = {key: str(entry[key]) for key in ("title", "body", "edition", "kind", "read", "note")}
    if words["kind"] not in KINDS or words["read"] not in READINGS:
        raise ValueError(f"sources.toml, {name}: kind or read is not one of {KINDS}, {READINGS}")
    return Source(id=name, **words, words=str(entry.get("words", "")), places=MappingProxyType(dict(places)))


def split_locator(locator: str) -> tuple[str, str]:
    """("SRC-ID", "place"); the place is empty where none is given. ValueError when it is no locator."""
    match = _LOCATOR.fullmatch(locator)
    if match is None:
        raise ValueError(f"'{locator}' is not of the form SRC-ID#place")
    return match.group(1), match.group(2) or ""


def locator_faults(locator: str) -> tuple[str, ...]:
    """What is wrong with a locator; empty when it names a known source, and a place where one is needed."""
    try:
        name, place = split_locator(locator)
    except ValueError as error:
        return (str(error),)
    try:
        source = source_of(name)
    except KeyError:
        return (f"'{locator}' names no source in sources.toml",)
    if not place and source.kind in _NEEDS_PLACE:
        return (f"'{locator}' names no clause, table or equation",)
    return ()


def reading(locator: str) -> str:
    """How the place was read: one of `READINGS`. KeyError for an unknown source."""
    name, place = split_locator(locator)
    source = source_of(name)
    return source.places.get(place, source.read)


def is_memory(locator: str) -> bool:
    """Whether the value behind this locator is from memory, so that a report must say so.

    Common practice has no text that could have been seen, so it is never from memory.
    """
    source = source_of(split_locator(locator)[0])
    return source.kind == "memory" or (source.kind != "practice" and reading(locator) == "not seen")


def describe(locator: str) -> str:
    """The source in words, for a report: "Formula SAE Rules 2026 v1.0, EV.5.6.1a (text read in full)".

    An unknown source is printed as it stands, marked "unknown source"; a report must not fail for it.
    """
    try:
        name, place = split_locator(locator)
        source = source_of(name)
    except (ValueError, KeyError):
        return f"{locator} (unknown source)"
    undated = source.edition == _UNDATED
    head = source.title if undated else f"{source.title} {source.edition}".strip()
    if place:
        head = f"{head}, {place}"
    # A place read otherwise than the whole source keeps the plain words of its own reading.
    words = source.words if source.words and place not in source.places else _WORDS[reading(locator)]
    return f"{head} ({_UNDATED}; {words})" if undated else f"{head} ({words})"
