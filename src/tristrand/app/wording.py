"""Rules and studies as plain text for a terminal."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable
from typing import Any

from tristrand.units import number_text, show

WIDTH = 100


def rule_text(rule: dict[str, Any]) -> str:
    """One rule's page."""
    lines = [f"{rule['code']} {rule['name']} ({rule['severity']})", ""]
    lines += _block("Checks", rule["checks"]) + _block("Why", rule["why"])
    lines += _listed("Limits", [_limit(item) for item in rule["limits"]])
    lines += _listed("Basis", rule["sources"])
    lines += _listed(
        "Fails when the starter design is changed so",
        rule["failing_example"] or ["(the starter design as it is)"],
    )
    lines += _listed("Passes with", rule["passing_example"] or ["(the starter design as it is)"])
    if not rule["waivable"]:
        lines += ["Danger to life: it can be acknowledged, not waived; it stays failed.", ""]
    return "\n".join(lines)


def _limit(item: dict[str, Any]) -> str:
    sense = "at most" if item["sense"] == "most" else "at least"
    unit = item["key"].rpartition("_")[2]
    shown = {"v": "V", "w": "W", "a": "A", "s": "s", "c": "°C"}.get(unit)
    value = f"{100 * item['value']:g} %" if unit == "share" else f"{item['value']:g} {shown}" if shown else "required"
    return f"{value if value == 'required' else f'{sense} {value}'}: {item['rule_set']}; {item['source']}"


def study_text(study: dict[str, Any]) -> str:
    """One study's workings, object by object."""
    design = study["design"]
    lines = [
        f"{study['study']}: {study['question']}",
        f"{design['name']}, revision {design['revision']}, design {design['hash'][:12]}",
        "",
    ]
    lines += _listed("Missing", [f"{m['pointer']}: {m['what']}" for m in study["missing"]])
    about = None
    for line in study["workings"]:
        if line["about"] != about:
            about = line["about"]
            lines.append(about)
        lines += _working(line)
    if not study["workings"] and not study["missing"]:
        lines.append("Nothing in this design asks for this study.")
    return "\n".join(lines) + "\n"


def _working(line: dict[str, Any]) -> list[str]:
    value = "unknown" if line["value"] is None else show(line["value"], _unit(line["unit"]), 6).rstrip()
    head = f"  {line['symbol']} = {value}   {line['words']}"
    if line["formula"]:
        given = ", ".join(_given(item) for item in line["inputs"])
        how = f"{line['formula']}   with {given}"
    else:
        how = line["method"]
    return [
        head,
        *textwrap.wrap(how, WIDTH, initial_indent="      ", subsequent_indent="      "),
        f"      [{line['source']}]",
    ]


def _given(item: dict[str, Any]) -> str:
    number = "unknown" if item["value"] is None else number_text(item["value"], 6)
    return f"{item['symbol']} = {number} {_unit(item['unit'])}".rstrip()


def _unit(unit: str) -> str:
    """A pure number carries no unit on the page."""
    return "" if unit == "1" else unit


def _block(title: str, text: str) -> list[str]:
    return [title, *textwrap.wrap(text, WIDTH, initial_indent="  ", subsequent_indent="  "), ""]


def _listed(title: str, items: Iterable[str]) -> list[str]:
    shown = [
        line for item in items for line in textwrap.wrap(item, WIDTH, initial_indent="  ", subsequent_indent="    ")
    ]
    return [title, *shown, ""] if shown else []
