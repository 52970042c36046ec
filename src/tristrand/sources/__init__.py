"""The bibliography: which sources the program rests on, which edition, and how each was read."""

from tristrand.sources.catalogue import (
    Source,
    describe,
    is_memory,
    load_sources,
    locator_faults,
    reading,
    source_of,
    split_locator,
)
from tristrand.sources.cite import Citation, citation_of, cites

__all__ = [
    "Citation",
    "Source",
    "citation_of",
    "cites",
    "describe",
    "is_memory",
    "load_sources",
    "locator_faults",
    "reading",
    "source_of",
    "split_locator",
]
