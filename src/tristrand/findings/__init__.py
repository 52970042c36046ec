"""What the program concludes: findings with their evidence, waivers, and the report that holds them.

The renderers are imported only when one is asked for, so that importing this package stays light.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from tristrand.findings.model import (
    KINDS,
    RELATIONS,
    SEVERITIES,
    Edit,
    Evidence,
    Finding,
    Kind,
    Place,
    Related,
    Relation,
    Severity,
    WaivedBy,
    WayOut,
    judge,
)

if TYPE_CHECKING:
    from collections.abc import Callable

    from tristrand.findings.report import Coverage, DesignInfo, Report, RuleNote, exit_code, in_order
    from tristrand.findings.waivers import Waiver, apply_waivers

__all__ = [
    "FORMATS",
    "KINDS",
    "RELATIONS",
    "SEVERITIES",
    "Coverage",
    "DesignInfo",
    "Edit",
    "Evidence",
    "Finding",
    "Kind",
    "Place",
    "Related",
    "Relation",
    "Report",
    "RuleNote",
    "Severity",
    "WaivedBy",
    "Waiver",
    "WayOut",
    "apply_waivers",
    "exit_code",
    "in_order",
    "judge",
    "render",
]

FORMATS = ("text", "json", "sarif")

# Rules need the record only; what is used once per check is loaded on first use.
_LATER = {
    "Coverage": "report",
    "DesignInfo": "report",
    "Report": "report",
    "RuleNote": "report",
    "exit_code": "report",
    "in_order": "report",
    "Waiver": "waivers",
    "apply_waivers": "waivers",
}


def __getattr__(name: str) -> object:
    if name not in _LATER:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib import import_module

    value: object = getattr(import_module(f"{__name__}.{_LATER[name]}"), name)
    globals()[name] = value
    return value


def render(report: Report, form: str, width: int = 100) -> str:
    """The report as text.

    Args:
        report: what to print.
        form: one of `FORMATS`.
        width: columns of the terminal, for "text" only.

    Raises:
        ValueError: for an unknown form.
    """
    if form == "text":
        from tristrand.findings.text import render_text

        return render_text(report, width)
    renderer: Callable[[Report], str]
    if form == "json":
        from tristrand.findings.as_json import render_json as renderer
    elif form == "sarif":
        from tristrand.findings.as_sarif import render_sarif as renderer
    else:
        raise ValueError(f"'{form}' is not one of {', '.join(FORMATS)}")
    return renderer(report)
