"""From every public physics function to a source and to evidence from outside; no trust in silence.

Public is what `__all__` of a physics module names, or else what has no leading underscore there. A package
below physics (the circuit solver) is judged by what its own `__init__` offers, not by its inner modules.
"""

import ast
import importlib
import inspect
import pkgutil
from collections.abc import Callable, Iterator
from pathlib import Path
from types import ModuleType, SimpleNamespace
from typing import Any

import pytest

import tristrand.physics
from tests.evidence import covers
from tristrand.sources import citation_of, cites, locator_faults, reading

TESTS = Path(__file__).parents[1]
EVIDENCE = ("published", "oracle", "analytic")


def physics_modules() -> list[ModuleType]:
    """The modules directly below physics, packages as one module each; a leading underscore keeps one out."""
    found = pkgutil.iter_modules(tristrand.physics.__path__, "tristrand.physics.")
    return [importlib.import_module(m.name) for m in found if not m.name.rpartition(".")[2].startswith("_")]


def public_functions(module: Any) -> Iterator[tuple[set[str], Callable[..., Any]]]:
    """Each function with the names a test may call it by: where it is offered, and where it is defined."""
    names = getattr(module, "__all__", None)
    for name in names if names is not None else [n for n in vars(module) if not n.startswith("_")]:
        thing = getattr(module, name)
        # A compiled function keeps its plain source in `py_func`.
        plain = getattr(thing, "py_func", thing)
        if not inspect.isfunction(plain):
            continue
        home = plain.__module__
        if home == module.__name__ or home.startswith(f"{module.__name__}."):
            spelt = {f"{module.__name__}.{name}", f"{home}.{plain.__name__}"}
            yield {s.removeprefix("tristrand.") for s in spelt}, thing


def covered_names(folder: Path) -> dict[str, list[str]]:
    """Name of a physics function to the tests that say they are evidence for it, from the source text."""
    found: dict[str, list[str]] = {}
    for file in sorted(folder.rglob("*.py")):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.FunctionDef):
                continue
            for mark in node.decorator_list:
                if isinstance(mark, ast.Call) and ast.unparse(mark.func).split(".")[-1] == "covers":
                    assert node.name.startswith("test_"), f"{file.name}: {node.name} is no test, but covers something"
                    for argument in mark.args:
                        name = ast.literal_eval(argument)
                        found.setdefault(name, []).append(f"{file.name}::{node.name}")
    return found


def all_covered() -> dict[str, list[str]]:
    merged: dict[str, list[str]] = {}
    for folder in EVIDENCE:
        for name, tests in covered_names(TESTS / folder).items():
            merged.setdefault(name, []).extend(tests)
    return merged


def faults_of(names: set[str], function: Callable[..., Any], covered: set[str]) -> list[str]:
    """Everything that keeps a function from being traced."""
    label = min(names, key=len)
    citation = citation_of(function)
    if citation is None:
        return [f"{label}: no source (put @cites on it)"]
    faults = [f"{label}: {fault}" for locator in citation.locators for fault in locator_faults(locator)]
    if faults or citation.unverified:
        return faults
    faults += [
        f"{label}: '{lo}' was not seen, so it must be marked unverified"
        for lo in citation.locators
        if reading(lo) == "not seen"
    ]
    if not names & covered:
        faults.append(f"{label}: no test in {', '.join(EVIDENCE)} covers it, and it is not marked unverified")
    return faults


def test_every_public_physics_function_is_traced() -> None:
    covered = set(all_covered())
    functions = [pair for module in physics_modules() for pair in public_functions(module)]
    assert functions, "no public function was found: the walk is broken"
    faults = [fault for names, function in functions for fault in faults_of(names, function, covered)]
    assert not faults, "\n" + "\n".join(sorted(set(faults)))


def test_every_name_that_a_test_covers_exists() -> None:
    missing = []
    for name, tests in all_covered().items():
        module, _, function = name.rpartition(".")
        try:
            thing = getattr(importlib.import_module(f"tristrand.{module}"), function, None)
        except ModuleNotFoundError:
            thing = None
        if not callable(thing):
            missing.append(f"{name}, named by {', '.join(tests)}")
    assert not missing, "\n" + "\n".join(missing)


# ---------------------------------------------------------------- the check itself can fail


def plain(x: float) -> float:
    return x


def sample(*locators: str, unverified: str = "") -> Callable[..., Any]:
    def function(x: float) -> float:
        return x

    return cites(*locators, unverified=unverified)(function)


@pytest.mark.parametrize(
    ("function", "covered", "fault"),
    [
        (sample("CLOSED-FORM#Ohm"), {"physics.m.f"}, ""),
        (plain, {"physics.m.f"}, "no source"),
        (sample("CLOSED-FORM#Ohm"), {"physics.m.g"}, "no test in published"),
        (sample("NO-SUCH#1"), {"physics.m.f"}, "names no source"),
        (sample("NO-SUCH#1", unverified="yes"), {"physics.m.f"}, "names no source"),
        (sample("FSAE-2026"), {"physics.m.f"}, "names no clause"),
        (sample("MEMORY#x"), {"physics.m.f"}, "was not seen"),
        (sample("FMVSS-305#S7.6"), {"physics.m.f"}, "was not seen"),
        (sample("MEMORY#x", unverified="from memory"), set(), ""),
    ],
)
def test_faults_are_found(function: Callable[..., Any], covered: set[str], fault: str) -> None:
    found = faults_of({"physics.m.f"}, function, covered)
    assert bool(found) == bool(fault)
    assert fault in "".join(found)


def test_only_functions_of_the_module_itself_are_public() -> None:
    own = sample("CLOSED-FORM#x")
    own.__module__ = "tristrand.physics.m"
    inner = sample("CLOSED-FORM#x")
    inner.__module__, inner.__name__ = "tristrand.physics.m.deep", "inner"
    fields = {"f": own, "g": inner, "_h": own, "borrowed": plain, "Number": float, "CONSTANT": 3.0}
    module = SimpleNamespace(__name__="tristrand.physics.m", **fields)
    spelt = {name for names, _ in public_functions(module) for name in names}
    assert spelt == {"physics.m.f", "physics.m.function", "physics.m.g", "physics.m.deep.inner"}
    listed = SimpleNamespace(__all__=["f", "Number"], **vars(module))
    assert [function for _, function in public_functions(listed)] == [own]


def test_covers_is_read_from_the_source_text(tmp_path: Path) -> None:
    (tmp_path / "test_a.py").write_text(
        "@covers('physics.a.b', 'physics.a.c')\ndef test_x(): ...\n"
        "class TestGroup:\n    @evidence.covers('physics.a.b')\n    def test_y(self): ...\n",
        encoding="utf-8",
    )
    found = covered_names(tmp_path)
    assert found == {
        "physics.a.b": ["test_a.py::test_x", "test_a.py::test_y"],
        "physics.a.c": ["test_a.py::test_x"],
    }
    (tmp_path / "test_b.py").write_text("@covers('physics.a.b')\ndef helper(): ...\n", encoding="utf-8")
    with pytest.raises(AssertionError, match="is no test"):
        covered_names(tmp_path)


def test_covers_keeps_the_test_as_it_is_and_refuses_other_names() -> None:
    assert covers("physics.a.b")(plain) is plain
    with pytest.raises(ValueError, match="physics"):
        covers("a.b")
    with pytest.raises(ValueError, match="physics"):
        covers()
