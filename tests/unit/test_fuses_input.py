"""Bad input about fuses: an exact place, what is wrong, and a way to mend it."""

import pytest

from tristrand.app.starter import starter_files
from tristrand.design import Problem, load_files

H, FUSE = "high_voltage.yaml", "parts/fuse-160.yaml"
NAMED, TRIP = "overload_by: [k_plus, k_minus]", "overload_trip: {current: 180 A, time: 100 ms}"
CASES = [
    (H, NAMED, "overload_by: [k_plus, k_minsu]", "k_minsu", "there is no part 'k_minsu'", "did you mean 'k_minus'"),
    (H, NAMED, "overload_by: [k_plus, k_plus]", "k_plus]", "stands twice", "once"),
    (H, NAMED, "overload_by: [disconnect]", "disconnect", "neither opens on command nor limits", "contactors"),
    (H, NAMED, "overload_by: [pack]", "pack", "neither opens on command nor limits", "contactors"),
    (H, NAMED, "overload_by: k_plus", "k_plus", "list", ""),
    (H, NAMED, "overload_by: [12]", "12", "", ""),
    (H, TRIP, "overload_trip: {current: 180 V, time: 100 ms}", "180 V", "'180 V' is a voltage", "A"),
    (H, TRIP, "overload_trip: {current: 180 A, time: 0 s}", "0 s", "greater than zero", ""),
    (H, TRIP, "overload_trip: {current: 180 A}", "overload_trip", "time", ""),
    (H, "starts: 30000", "starts: many", "starts", "", ""),
    (H, "starts: 30000", "start: 30000", "start", "start", "starts"),
    (FUSE, "reference_ambient: 25 °C", "reference_ambient: 130 °C", "", "is not below hottest_element", "two temperat"),
    (FUSE, "hottest_element: 130 °C", "hottest_element: 130 K/W", "hottest_element", "temperature is needed", ""),
    (FUSE, "clearing_voltage: 500 V", "clearing_voltage: -500 V", "clearing_voltage", "greater than zero", ""),
]  # fmt: skip


def problems_of(file: str, old: str, new: str) -> tuple[str, tuple[Problem, ...]]:
    files = starter_files()
    text = files[file].decode()
    assert text.count(old) == 1
    changed = text.replace(old, new)
    loaded = load_files({**files, file: changed.encode()}, "design")
    assert loaded.design is None
    return changed, loaded.problems


@pytest.mark.parametrize(("file", "old", "new", "mark", "message", "mend"), CASES, ids=[c[2] for c in CASES])
def test_bad_input(file: str, old: str, new: str, mark: str, message: str, mend: str) -> None:
    text, problems = problems_of(file, old, new)
    (problem,) = problems
    assert problem.file == file
    assert message in problem.message
    assert problem.mend
    assert mend in problem.mend
    if mark:
        assert problem.line == text[: text.index(new)].count("\n") + 1


def test_the_column_is_that_of_the_wrong_name() -> None:
    text, (problem,) = problems_of(H, NAMED, "overload_by: [k_plus, k_minsu]")
    line = text.split("\n")[problem.line - 1]
    assert line[problem.column - 1 :].startswith("k_minsu")


def test_a_charger_must_say_one_of_two_words() -> None:
    files = dict(starter_files())
    files["parts/obc.yaml"] = b"schema_version: 1\nkind: charger\noutput_in_short: maybe\n"
    (problem,) = load_files(files, "design").problems
    assert (problem.file, problem.line) == ("parts/obc.yaml", 3)
    assert "stops" in problem.mend
