"""A checked design as a page."""

from __future__ import annotations

from tristrand.app.check import Checked


def html(checked: Checked) -> str:
    """The self-contained HTML report of one check."""
    from tristrand.papers.report import render_html  # plots and templates load only when a page is asked for

    return render_html(checked.report, checked.design, checked.results)
