"""The parts that a fuse names as those that open where it does not: they must be there, and be of a kind that can."""

from collections.abc import Iterator, Mapping
from typing import Any

from tristrand.design.names import hint
from tristrand.design.yamltext import Problem, Span, visible

ABLE = ("contactor", "inverter", "dcdc", "heater", "charger")
"""Kinds that open a circuit on command, or limit the current they take or give."""


def overload_problems(fuse: str, named: Any, parts: Mapping[str, Any], spans: Mapping[str, Span]) -> list[Problem]:
    """Broken names in ``overload_by`` of a fuse. What has the wrong shape is left to validation."""
    if not isinstance(named, list):
        return []
    return list(_problems(fuse, named, parts, spans))


def _problems(fuse: str, named: list[Any], parts: Mapping[str, Any], spans: Mapping[str, Span]) -> Iterator[Problem]:
    base = f"high_voltage/parts/{fuse}/overload_by"
    kinds = {key: part.get("kind") if isinstance(part, dict) else None for key, part in parts.items()}
    able = [key for key, kind in kinds.items() if kind in ABLE]
    for k, name in enumerate(named):
        if not isinstance(name, str):
            continue
        span = spans.get(f"{base}/{k}") or spans.get(base)
        line, column = (span.line, span.column) if span else (1, 1)
        shown = visible(name, 60)
        if name not in parts:
            message, mend = f"there is no part '{shown}'", hint(name, able, "contactors and devices")
        elif isinstance(kinds[name], str) and kinds[name] not in ABLE:
            words = str(kinds[name]).replace("_", " ")
            message = f"{shown} is a {words}: it neither opens on command nor limits its current"
            mend = "name contactors in its way, or the device behind the fuse that limits its own current"
        elif name in named[:k]:
            message, mend = f"'{shown}' stands twice in overload_by", "name it once"
        else:
            continue
        yield Problem("high_voltage.yaml", line, column, message, mend)
