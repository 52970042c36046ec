"""The HTML report: its structure, what it says about missing results, escaping, and its plots."""

import math
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from tristrand.app.check import Checked, Workspace
from tristrand.design.record import Record
from tristrand.findings import Coverage, DesignInfo, Edit, Evidence, Finding, Place, Report, RuleNote, WaivedBy, WayOut
from tristrand.papers import bars, plots
from tristrand.papers.frame import Frame, Plot, render_svg
from tristrand.papers.report import render_html
from tristrand.papers.sections import STUDIES
from tristrand.papers.tables import LONG, Table, row, share_words, value
from tristrand.papers.workings import formula, line, put_in, symbol
from tristrand.studies.results import (
    Ampacity,
    ConductorFigures,
    ConductorsResult,
    DischargeCase,
    DischargeResult,
    Input,
    Missing,
    OperatingResult,
    PackResult,
    PrechargeAttempt,
    PrechargeResult,
    Series,
    Working,
)

DEMO = Path(__file__).parents[2] / "demos" / "van"
HOSTILE = "<script>alert('x')</script><img src=x onerror=y> \"&'"
VOID = {"meta", "link", "br", "img", "input", "hr", "wbr"}


class Page(HTMLParser):
    """Tags with attributes, headings, and the text a reader sees (style left out, aria-labels put in)."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.headings: list[int] = []
        self.words: list[str] = []
        self.open: list[str] = []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        self.words += [v or "" for k, v in attrs if k in ("aria-label", "title", "alt")]
        if re.fullmatch(r"h[1-6]", tag):
            self.headings.append(int(tag[1]))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self.open, f"</{tag}> closes nothing"
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if "style" not in self.open:
            self.words.append(data)

    @property
    def visible(self) -> str:
        return " ".join(" ".join(self.words).split())

    def count(self, tag: str) -> int:
        return sum(name == tag for name, _ in self.tags)

    def values(self, attribute: str) -> list[str]:
        return [a[attribute] or "" for _, a in self.tags if attribute in a]


@pytest.fixture(scope="module")
def demo() -> Checked:
    return Workspace().check(DEMO, today=date(2026, 11, 20))


@pytest.fixture(scope="module")
def html(demo: Checked) -> str:
    return render_html(demo.report, demo.design, demo.results)


@pytest.fixture(scope="module")
def page(html: str) -> Page:
    return Page(html)


# ---------------------------------------------------------------- structure


def test_landmarks_language_and_title(page: Page) -> None:
    for landmark in ("header", "main", "nav", "footer", "aside"):
        assert page.count(landmark) == 1, landmark
    assert dict(page.tags)["html"]["lang"] == "en"
    assert page.count("title") == 1
    assert page.open == []


def test_headings_never_skip_a_level(page: Page) -> None:
    assert page.headings[0] == 1
    assert page.headings.count(1) == 1
    assert all(after - before <= 1 for before, after in pairwise(page.headings))


def test_every_header_cell_has_a_scope_and_every_table_a_caption(page: Page) -> None:
    assert all(a.get("scope") in ("col", "row", "rowgroup") for tag, a in page.tags if tag == "th")
    assert page.count("caption") == page.count("table") > 8


def test_ids_are_unique_and_every_reference_is_met(page: Page) -> None:
    ids = Counter(page.values("id"))
    assert max(ids.values()) == 1
    inside = [h[1:] for h in page.values("href") if h.startswith("#")]
    inside += [i for v in page.values("aria-labelledby") for i in v.split()]
    inside += [i for _, a in page.tags for v in a.values() if v for i in re.findall(r"url\(#([^)]*)\)", v)]
    assert set(inside) <= set(ids)
    assert page.tags[[t for t, _ in page.tags].index("body") + 1][1] == {"class": "skip", "href": "#main"}


def test_nothing_is_fetched_and_nothing_runs(html: str, page: Page) -> None:
    assert not any(
        tag in ("script", "link", "img", "iframe", "object", "embed", "base", "form") for tag, _ in page.tags
    )
    assert all(h.startswith("#") for a in ("href", "src", "xlink:href", "action") for h in page.values(a))
    assert not any(name.startswith("on") for _, a in page.tags for name in a)
    assert "http:" not in html
    assert "https:" not in html
    assert "@import" not in html
    assert not re.search(r"url\((?!#)", html)
    policy = next(a for tag, a in page.tags if tag == "meta" and "http-equiv" in a)
    assert (policy["content"] or "").startswith("default-src 'none'")


def test_caution_comes_before_the_verdict(page: Page) -> None:
    said = page.visible
    assert said.index("high voltage can kill") < said.index("Not checked is not passed")
    assert "prove with a tested instrument that no voltage is present" in said


# ---------------------------------------------------------------- what it says


def test_every_finding_stands_with_code_name_and_sentence(demo: Checked, page: Page) -> None:
    assert any(f.kind == "fail" for f in demo.report.findings)
    for finding in demo.report.findings:
        assert f"{finding.code} {finding.name}" in page.visible
        assert " ".join(finding.message.split()) in page.visible


def test_every_way_out_and_edit_stands(demo: Checked, page: Page) -> None:
    ways = [f.way_out for f in demo.report.findings if f.way_out]
    assert ways
    for way in ways:
        assert way.text in page.visible
        for edit in way.edits:
            assert edit.pointer in page.visible
            assert edit.new in page.visible


def test_title_block_and_rule_sets(page: Page, demo: Checked) -> None:
    assert "Harbour shuttle van" in page.visible
    assert "2026-11-20" in page.visible
    assert demo.design.digest[:12] in page.visible
    assert "UN Regulation No. 100, revision 3" in page.visible


def test_no_unknown_number_leaks_as_nan_or_none(page: Page) -> None:
    assert not re.search(r"\b(nan|NaN|None|inf|Infinity|undefined)\b", page.visible)


def test_two_renders_are_equal(demo: Checked, html: str) -> None:
    assert render_html(demo.report, demo.design, demo.results) == html


def finding(code: str, kind: Any = "fail", severity: Any = "error", **more: Any) -> Finding:
    return Finding(
        code,
        f"rule-{code.lower()}",
        kind,
        severity,
        f"sentence of {code}",
        Place("high_voltage.yaml", 3, 1, f"parts/{code}"),
        **more,
    )


def report(*findings: Finding, **coverage: Any) -> Report:
    notes = tuple(RuleNote(f.code, f.name, f.severity, "checks", f"why {f.code} matters") for f in findings)
    codes = tuple(f.code for f in findings)
    return Report(DesignInfo("Test car", "A", "0" * 64), "0.0.0", findings, Coverage(codes, **coverage), notes)


def rendered(given: Report, demo: Checked, results: dict[str, Any] | None = None) -> Page:
    return Page(render_html(given, demo.design, results or {}))


def test_verdict_counts_each_kind_in_words(demo: Checked) -> None:
    signed = WaivedBy("measured on the car", "the builder", date(2026, 1, 2))
    given = report(
        finding("HV201"),
        finding("HV202"),
        finding("HV203", severity="warning"),
        finding("HV204", "review"),
        finding("HV205", "open"),
        finding("HV206", waived=signed),
        finding("HV207", "pass"),
        open={"HV205": ("parts/x",), "HV208": ("the resistor's value",)},
        disabled={"HV209": "not this year"},
    )
    said = rendered(given, demo).visible
    assert "2 errors, 1 warning, 1 to review, 2 open, 1 waived. Not checked is not passed." in said
    assert "the resistor's value HV208" in said
    assert "parts/x HV205 rule-hv205" in said
    assert "not this year" in said
    assert "measured on the car" in said
    assert "why HV201 matters" in said
    assert said.index("sentence of HV201") < said.index("sentence of HV203") < said.index("sentence of HV204")


def test_a_failure_without_a_way_out_says_so_and_an_acknowledged_one_stays(demo: Checked) -> None:
    signed = WaivedBy("known, to be mended", "the builder", date(2026, 1, 2))
    page = rendered(report(finding("HV301", acknowledged=signed)), demo)
    assert "1 error, no warnings" in page.visible
    assert "this needs a decision" in page.visible
    assert "a danger to life stays a failure" in page.visible


def test_sources_are_only_those_used_and_memory_is_marked(demo: Checked) -> None:
    evidence = Evidence("current", 12.0, "A", "<=", 10.0, "ISO-6469-3#6.3", basis="measured")
    page = rendered(report(finding("HV301", evidence=(evidence,))), demo)
    assert "ISO 6469-3" in page.visible
    assert "From memory" in page.visible
    assert "Formula SAE" not in page.visible
    assert "current: 12 A, allowed is at most 10 A" in page.visible
    seen = evidence._replace(source="FS-FAMILY-OLDER#EV5.7.1")
    assert "EV5.7.1: text read in full" in rendered(report(finding("HV301", evidence=(seen,))), demo).visible
    bare = rendered(report(finding("HV301", evidence=(evidence._replace(source="NO-SUCH-SOURCE#1"),))), demo)
    assert "unknown source" in bare.visible


# ---------------------------------------------------------------- margins


def test_the_tightest_pass_stands_near_the_top(demo: Checked) -> None:
    # 99 of 100 leaves 1 %; 100.02 against 100 leaves 0.02 %, and the numbers are told apart.
    wide = Evidence("current", 99.0, "A", "<=", 100.0, "")
    close = Evidence("voltage", 100.02, "V", ">=", 100.0, "")
    page = rendered(
        report(finding("HV301", "pass", evidence=(wide,)), finding("HV302", "pass", evidence=(close,))), demo
    )
    said = page.visible
    assert "HV302 parts/HV302 voltage 100.02 V at least 100 V 0.02 %" in said
    assert "HV301 parts/HV301 current 99 A at most 100 A 1 %" in said
    assert said.index("100.02 V") < said.index("99 A") < said.index("Errors and warnings", said.index("99 A"))
    assert "No comparison with a margin passed." in rendered(report(finding("HV301")), demo).visible


# ---------------------------------------------------------------- paper


def test_only_long_tables_may_go_over_several_pages(page: Page) -> None:
    short, long = (Table("c", ("a",), tuple(row(str(k)) for k in range(count))) for count in (LONG, LONG + 1))
    assert (short.classes, long.classes) == ("", "long")
    assert replace(long, wide=True).classes == "wide long"
    marked = [attributes.get("class") or "" for tag, attributes in page.tags if tag == "table"]
    assert any("long" in classes for classes in marked)
    assert any("long" not in classes for classes in marked)


def test_nearly_square_pictures_are_marked_so_that_two_share_a_page(html: str) -> None:
    sizes = re.findall(r'<svg viewBox="0 0 ([0-9.]+) ([0-9.]+)" width="[0-9.]+"( class="tall")?', html)
    assert len(sizes) == 10
    assert {bool(tall) for _, _, tall in sizes} == {True, False}
    for width, height, tall in sizes:
        assert bool(tall) == (float(height) > 0.7 * float(width))


# ---------------------------------------------------------------- open studies


def test_studies_that_were_not_run_are_open(demo: Checked) -> None:
    page = rendered(report(finding("HV301")), demo)
    assert page.visible.count("the study itself: it was not run") == len(STUDIES)
    assert page.count("svg") == 0


def test_studies_that_miss_data_name_it(demo: Checked) -> None:
    gap = (Missing("high_voltage/precharge/target", "target of precharge"),)
    results = {
        "pack": PackResult(missing=gap),
        "operating": OperatingResult(missing=gap),
        "conductors": ConductorsResult(missing=gap),
        "precharge": PrechargeResult(missing=gap),
        "discharge": DischargeResult(),
    }
    page = rendered(report(finding("HV301")), demo, results)
    assert page.visible.count("target of precharge, at high_voltage/precharge/target") == 4
    assert "Nothing in this design asks for this study." in page.visible
    assert not re.search(r"\b(nan|None)\b", page.visible)


def test_precharge_that_was_not_run_is_open_and_not_called_never_reached(demo: Checked) -> None:
    gap = (Missing("high_voltage/precharge/target", "target of precharge"),)
    result = PrechargeResult(missing=gap, contactor="k_pre", bypassed="k_plus", resistor="r_pre", timeout_s=1.2)
    said = rendered(report(finding("HV301")), demo, {"precharge": result}).visible
    assert "target of precharge, at high_voltage/precharge/target" in said
    assert "never" not in said


def test_voltage_left_is_not_known_without_sensor_tolerances(demo: Checked) -> None:
    nan = math.nan
    lane = PrechargeAttempt("full pack", 400.0, 60.0, 1e-3, 1.0, 0.2, 0.2, nan, nan, 80.0, nan, 6.0, 2400.0)
    result = PrechargeResult(
        contactor="k_pre", resistor="r_pre", target=0.95, attempts=(lane,), fastest_s=0.2, slowest_s=0.2
    )
    said = rendered(report(finding("HV301")), demo, {"precharge": result}).visible
    assert "does not close" not in said
    assert "200 ms 200 ms not known 80 J" in said


def test_precharge_that_never_ends_says_never(demo: Checked) -> None:
    nan = math.nan
    lane = PrechargeAttempt("full pack", 400.0, 60.0, 1e-3, 0.6, nan, nan, nan, nan, nan, 280.0, 6.0, 2400.0)
    result = PrechargeResult(
        contactor="k_pre", bypassed="k_plus", resistor="r_pre", target=0.95, attempts=(lane,), plateau_share=0.6
    )
    said = rendered(report(finding("HV301")), demo, {"precharge": result}).visible
    assert "never reached" in said
    assert "280 J to the time-out" in said
    assert "does not close" in said
    assert not re.search(r"\bnan\b", said)


# ---------------------------------------------------------------- escaping


def test_hostile_text_is_only_text(demo: Checked) -> None:
    evidence = Evidence(HOSTILE, 2.0, HOSTILE, "<=", 1.0, HOSTILE, basis=HOSTILE, note=HOSTILE)
    bad = replace(
        finding(
            "HV301", evidence=(evidence,), notes=(HOSTILE,), way_out=WayOut(HOSTILE, (Edit(HOSTILE, HOSTILE, HOSTILE),))
        ),
        message=HOSTILE,
        place=Place(HOSTILE, 1, 1, HOSTILE),
    )
    waived = replace(finding("HV302"), waived=WaivedBy(HOSTILE, HOSTILE, date(2026, 1, 2)))
    given = replace(report(bad, waived), design=DesignInfo(HOSTILE, HOSTILE, "<b>"))
    vehicle: Any = Record("Vehicle", {**vars(demo.design.vehicle), "note": HOSTILE, "use": HOSTILE})
    design = replace(demo.design, vehicle=vehicle)
    text = render_html(given, design, hostile_results())
    page = Page(text)
    assert "<script" not in text
    assert "<img" not in text
    assert not any(name.startswith("on") for _, a in page.tags for name in a)
    assert HOSTILE in page.visible
    assert page.open == []


def hostile_results() -> dict[str, Any]:
    odd = Working(
        HOSTILE, HOSTILE, HOSTILE, f"a*{HOSTILE}", (Input("a", 1.0, HOSTILE),), 1.0, HOSTILE, HOSTILE, HOSTILE
    )
    curve = Series(f"discharge, {HOSTILE}", "time", HOSTILE, "voltage", HOSTILE, (0.0, 1.0, 2.0), (400.0, 100.0, 20.0))
    case = DischargeCase(HOSTILE, True, 1.5, HOSTILE, 20.0)
    gap = (Missing(HOSTILE, HOSTILE),)
    return {
        "discharge": DischargeResult(
            workings=(odd,), missing=gap, series=(curve,), cases=(case,), resistors=(HOSTILE,)
        ),
        "conductors": ConductorsResult(conductors={HOSTILE: cable(HOSTILE, 10.0, 20.0)}),
        HOSTILE: PackResult(workings=(odd,), missing=gap),
    }


def test_control_characters_and_lone_surrogates_do_not_stop_a_report(demo: Checked) -> None:
    given = replace(report(finding("HV301")), design=DesignInfo("a\x00\x1b[31m\u202eb\ud800", "A", "0"))
    text = render_html(given, demo.design, {})
    text.encode("utf-8")
    assert not set(text) & {"\x00", "\x1b", "\u202e"}


# ---------------------------------------------------------------- plots


def layers(plot: Plot) -> Iterator[dict[str, Any]]:
    panels = plot.spec.get("vconcat", [plot.spec])
    for panel in panels:
        yield from panel["layer"]


def values(plot: Plot, name: str) -> list[dict[str, Any]]:
    return next(layer["data"]["values"] for layer in layers(plot) if layer["name"] == name)


def falling(tau_s: float, start_v: float, name: str) -> Series:
    times = [3 * tau_s * k / 60 for k in range(61)]
    return Series(name, "time", "s", "voltage", "V", tuple(times), tuple(start_v * math.exp(-t / tau_s) for t in times))


def test_discharge_plot_marks_60_v_where_the_closed_form_has_it() -> None:
    # First-order RC: t = RC ln(V0/60).
    cases = (DischargeCase("all", True, 4.0, "drive", 5.0), DischargeCase("all", False, 100.0, "drive", 5.0))
    result = DischargeResult(
        series=(falling(2.0, 400.0, "discharge, all"), falling(60.0, 400.0, "built in, all")), cases=cases
    )
    plot = plots.discharge(result, limit_s=5.0)
    assert plot is not None
    for name, tau in (("discharge, all", 2.0), ("built in, all", 60.0)):
        (dot,) = values(plot, f"{name} reached")
        assert dot["x"] == pytest.approx(tau * math.log(400 / 60), rel=1e-5)
        assert dot["y"] == 60
        assert len(values(plot, f"{name} bus")) == 61
    assert [v["x"] for v in values(plot, "discharge, all limit")] == [5.0, 5.0]
    # The time allowed for the resistor says nothing about the built-in resistances.
    assert not any(layer["name"] == "built in, all limit" for layer in layers(plot))
    assert "discharge, all: 60 V after 3.79 s" in plot.alternative


def test_discharge_plot_of_a_bus_that_stays_live() -> None:
    flat = Series("discharge, all", "time", "s", "voltage", "V", (0.0, 3600.0), (400.0, 380.0))
    plot = plots.discharge(
        DischargeResult(series=(flat,), cases=(DischargeCase("all", True, math.nan, "drive", 380.0),))
    )
    assert plot is not None
    assert "not down to 60 V" in plot.alternative
    assert not any(layer["name"].endswith("reached") for layer in layers(plot))


def rising(word: str, tau_s: float, pack_v: float) -> list[Series]:
    times = tuple(5 * tau_s * k / 100 for k in range(101))
    bus = tuple(pack_v * (1 - math.exp(-t / tau_s)) for t in times)
    flat = (pack_v,) * 101
    curves = (("bus", bus), ("pack", flat), ("target", tuple(0.95 * v for v in flat)))
    return [Series(f"{n}, {word}", "time", "s", "voltage", "V", times, y, "precharge") for n, y in curves]


def test_precharge_plot_has_both_attempts_target_and_windows() -> None:
    series = (*rising("slowest", 0.1, 300.0), *rising("fastest", 0.05, 400.0))
    slow_s, fast_s = 0.1 * math.log(20), 0.05 * math.log(20)
    result = PrechargeResult(
        series=series, target=0.95, slowest_s=slow_s, fastest_s=fast_s, earliest_s=0.03, timeout_s=0.8
    )
    plot = plots.precharge(result)
    assert plot is not None
    assert len(plot.spec["vconcat"]) == 2
    # 1 - exp(-ln 20) = 0.95, so the dot lies on the target.
    for word, at, pack_v in (("slowest", slow_s, 300.0), ("fastest", fast_s, 400.0)):
        (dot,) = values(plot, f"{word} reached")
        assert dot["x"] == pytest.approx(at, rel=1e-5)
        assert dot["y"] == pytest.approx(0.95 * pack_v, rel=1e-3)
        assert {v["y"] for v in values(plot, f"{word} target")} == {0.95 * pack_v}
        assert [v["x"] for v in values(plot, f"{word} earliest")] == [0.03, 0.03]
        assert [v["x"] for v in values(plot, f"{word} time-out")] == [0.8, 0.8]
        assert values(plot, f"{word} time-out label")[0]["text"] == "time-out 800 ms"


def test_precharge_plot_draws_one_panel_when_nothing_reaches_the_target() -> None:
    slow = rising("slowest", 0.1, 300.0)
    same = [s._replace(name=s.name.replace("slowest", "fastest")) for s in slow]
    plot = plots.precharge(PrechargeResult(series=(*slow, *same), target=0.95, timeout_s=40.0))
    assert plot is not None
    (panel,) = plot.spec["vconcat"]
    assert panel["title"]["text"].startswith("No attempt reaches the target")
    assert "time-out 40 s beyond the edge" in panel["title"]["text"]
    assert "never reached" in plot.alternative


def test_precharge_plot_tells_where_a_stalled_attempt_is_cut_and_lifts_close_labels() -> None:
    cut = [s._replace(name=f"{s.name}, up to where a load first stops") for s in rising("slowest", 0.1, 300.0)]
    result = PrechargeResult(series=tuple(cut), target=0.95, earliest_s=0.05, rise_after_s=0.06, timeout_s=0.5)
    plot = plots.precharge(result)
    assert plot is not None
    assert "up to where a load first stops" in plot.spec["vconcat"][0]["title"]["text"]
    assert "up to where a load first stops" in plot.alternative
    heights = {layer["name"]: layer["mark"]["dy"] for layer in layers(plot) if layer["name"].endswith(" label")}
    assert heights["slowest earliest label"] != heights["slowest early look label"]
    assert heights["slowest earliest label"] == heights["slowest time-out label"]


def test_no_two_layers_share_a_name(demo: Checked) -> None:
    # Vega-Lite draws layers of one name from one another's data.
    drawn = [plots.precharge(demo.results["precharge"]), plots.discharge(demo.results["discharge"], 5.0)]
    drawn += [bars.ampacity(demo.results["conductors"].conductors), *plots.pack(demo.results["pack"], 62e3)]
    for plot in drawn:
        assert plot is not None
        names = Counter(layer["name"] for layer in layers(plot))
        assert max(names.values()) == 1


def cable(name: str, sustained_a: float, ampacity_a: float, short_a: float = 0.0) -> ConductorFigures:
    limit = Ampacity("heat balance", ampacity_a, "", "")
    return ConductorFigures(
        name, "hv", 16.0, 15.0, 1e-3, 40.0, 105.0, (limit,), limit, sustained_a, "heat", 60.0, short_a,
        "peak" if short_a else "", 30.0, 70.0, 0.1, 0.001, "heat",
    )  # fmt: skip


def test_ampacity_plot_is_sorted_by_load_and_says_what_is_over() -> None:
    given = {"W1": cable("W1", 20.0, 100.0, 90.0), "W2": cable("W2", 30.0, 20.0), "W3": cable("W3", 5.0, math.nan)}
    plot = bars.ampacity(given)
    assert plot is not None
    assert [v["run"] for v in values(plot, "words")] == ["W3 · hv", "W2 · hv", "W1 · hv"]
    assert [v["text"] for v in values(plot, "words")] == ["ampacity not known", "150 % of 20 A, OVER", "20 % of 100 A"]
    assert [(v["run"], v["ampacity_a"]) for v in values(plot, "ampacity")] == [("W2 · hv", 20.0), ("W1 · hv", 100.0)]
    assert [(v["run"], v["short_a"]) for v in values(plot, "short")] == [("W1 · hv", 90.0)]
    assert "Above their ampacity: W2 · hv." in plot.alternative


def test_pack_plot_has_a_curve_of_its_own_dash_for_each_corner(demo: Checked) -> None:
    (plot,) = plots.pack(demo.results["pack"], 62e3)
    curves = [layer for layer in layers(plot) if layer["mark"]["type"] == "line" and "limit" not in layer["name"]]
    assert len(curves) == 4
    assert len({tuple(layer["mark"]["strokeDash"]) for layer in curves}) == 4
    assert {v["text"] for v in values(plot, "pack labels")} == {
        "empty and cold",
        "empty and hot",
        "full and cold",
        "full and hot",
    }
    assert [v["x"] for v in values(plot, "pack limit")] == [62.0, 62.0]


def test_labels_are_moved_apart_and_stay_inside() -> None:
    frame = Frame("p", "x", "y", 1.0, 0.0, 420.0, 190)
    placed = sorted(frame.apart([400.0, 395.0, 380.0]))
    gap = 14.0 * 420.0 / 190  # a line of text of 12 px, and a little
    assert all(b - a >= gap * 0.999 for a, b in pairwise(placed))
    assert placed[-1] < 420.0


def test_svg_is_inline_labelled_and_the_same_each_time(demo: Checked) -> None:
    plot = plots.precharge(demo.results["precharge"])
    assert plot is not None
    svg = render_svg(replace(plot, alternative='bus & "pack"'))
    assert svg == render_svg(replace(plot, alternative='bus & "pack"'))
    assert svg.startswith("<svg ")
    assert 'role="img" aria-label="bus &amp; &quot;pack&quot;"' in svg
    assert svg.endswith("</svg>")


def test_plots_of_the_demo_stand_in_the_page(page: Page) -> None:
    drawn = [a for tag, a in page.tags if tag == "svg"]
    # Pack, ampacity, precharge, discharge, the turning machine and charging, and one for each of the four fuses.
    assert len(drawn) == 10
    assert all(a["role"] == "img" and a["aria-label"] for a in drawn)


# ---------------------------------------------------------------- workings and numbers


def test_formula_and_numbers_put_in() -> None:
    assert symbol("V_max") == "<i>V</i><sub>max</sub>"
    assert formula("V**2/(4*R)") == "<i>V</i>² / (4 · <i>R</i>)"
    numbers = {"V": (398.4, "V"), "R": (0.1338, "Ω"), "f": (-2.0, "1")}
    assert put_in("V**2/(4*R)", numbers) == "(398.4 V)² / (4 · 0.1338 Ω)"
    assert put_in("f*1e-3*ln(V)", numbers) == "(-2) · 1e-3 · ln(398.4 V)"
    assert formula("a<b>c") == "<i>a</i>&lt;<i>b</i>&gt;<i>c</i>"


def test_a_working_without_value_says_so() -> None:
    shown = line(Working("k", "t", "time", "", (), math.nan, "s", "CLOSED-FORM#x", "circuit solver"))
    assert "never reached or not known" in shown.value
    assert shown.formula_html == "circuit solver"


@pytest.mark.parametrize(
    ("share", "text"), [(0.5, "50 %"), (1.0, "100 %"), (1.0004, "100.04 %"), (0.9996, "100 %"), (1.5, "150 %")]
)
def test_a_share_above_one_never_reads_as_the_whole(share: float, text: str) -> None:
    assert share_words(share) == text


@pytest.mark.parametrize(
    ("number", "unit", "text"),
    [
        (math.nan, "V", "not known"),
        (math.inf, "W", "unlimited"),
        (0.9993, "share", "99.93 %"),
        (1e-12, "A", "0 A"),
        (0.0017, "A", "1.7 mA"),
        (0.0012, "F", "1.2 mF"),
        (5.7e-14, "V", "0 V"),
        (38.506, "A", "38.51 A"),
    ],
)
def test_values_in_words(number: float, unit: str, text: str) -> None:
    assert value(number, unit) == text
