"""Broken references of voltage sensors and of the weld check: terminals and contactors that do not exist."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from tristrand.design.yamltext import visible

UNWATCHED = ("precharge", "discharge")
"""Roles whose weld is not looked for; one that is not known is told by validation."""


def check_contactors(
    tree: Mapping[str, Any],
    say: Callable[[str, str, str], None],
    terminal: Callable[[str, str], None],
    hint: Callable[[str, list[str], str], str],
) -> None:
    """Name every broken reference; what has the wrong shape is left to validation.

    ``tree`` is high_voltage.yaml as read; ``say`` takes pointer, message and mend, ``terminal`` judges one terminal.
    """
    sensors = tree.get("voltage_sensors")
    for name, sensor in sensors.items() if isinstance(sensors, dict) else ():
        if isinstance(sensor, dict):
            _sensor(f"voltage_sensors/{name}", sensor, say, terminal)
    check = tree.get("weld_check")
    first = check.get("first") if isinstance(check, dict) else None
    if isinstance(first, list):
        _first(first, tree.get("parts"), say, hint)


def _sensor(
    base: str,
    sensor: Mapping[str, Any],
    say: Callable[[str, str, str], None],
    terminal: Callable[[str, str], None],
) -> None:
    ends = [sensor.get(key) for key in ("plus", "minus")]
    for key, end in zip(("plus", "minus"), ends, strict=True):
        if isinstance(end, str) and "." in end:
            terminal(f"{base}/{key}", end)
    if isinstance(ends[0], str) and ends[0] == ends[1]:
        said = f"both ends of the sensor lie at {visible(ends[0], 60)}"
        say(f"{base}/minus", said, "it measures nothing there: put one end at another terminal")


def _first(
    first: list[Any],
    parts: Any,
    say: Callable[[str, str, str], None],
    hint: Callable[[str, list[str], str], str],
) -> None:
    every = parts.items() if isinstance(parts, dict) else ()
    contactors = {key: part for key, part in every if isinstance(part, dict) and part.get("kind") == "contactor"}
    fitting = [key for key, part in contactors.items() if part.get("role") not in UNWATCHED]
    for at, name in enumerate(first):
        pointer = f"weld_check/first/{at}"
        if not isinstance(name, str):
            continue
        shown = visible(name, 60)
        if name not in contactors:
            say(pointer, f"there is no contactor '{shown}'", hint(name, fitting, "main and charge contactors"))
        elif name not in fitting:
            said = f"{shown} is no main or charge contactor: no weld of it is looked for"
            say(pointer, said, "take it out of the list")
        elif name in first[:at]:
            say(pointer, f"{shown} stands twice in the list", "take one of them out")
