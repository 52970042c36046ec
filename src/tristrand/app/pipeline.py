"""The studies in their order, and results kept by what they were made from.

A study sees only its inputs and the results it names here, so the pair is the whole truth about its result: an edit that
leaves them equal leaves the result standing.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from tristrand.design import Design
from tristrand.studies import conductors, discharge, operating, pack, precharge
from tristrand.studies.results import (
    ConductorsResult,
    DischargeResult,
    Missing,
    OperatingResult,
    PackResult,
    PrechargeResult,
)

KEPT = 4000


@dataclass(frozen=True, slots=True)
class Step:
    """One study: how its inputs are collected, how it is run, which results it takes, and its empty result."""

    name: str
    question: str
    inputs: Callable[[Design], Any]
    study: Callable[..., Any]
    takes: tuple[str, ...]
    empty: type[Any]


STEPS: tuple[Step, ...] = (
    Step("pack", "What can the pack give?", pack.inputs, pack.study, (), PackResult),
    Step(
        "operating",
        "What flows where in each case?",
        operating.inputs,
        operating.study,
        ("pack",),
        OperatingResult,
    ),
    Step(
        "conductors",
        "Do the cables carry it?",
        conductors.inputs,
        conductors.study,
        ("operating",),
        ConductorsResult,
    ),
    Step("precharge", "Does precharge end well?", precharge.inputs, precharge.study, ("pack",), PrechargeResult),
    Step(
        "discharge",
        "Does the bus go dead in time?",
        discharge.inputs,
        discharge.study,
        ("pack",),
        DischargeResult,
    ),
)


@dataclass(slots=True)
class Pipeline:
    """Runs studies and keeps their results in this process."""

    kept: dict[Any, tuple[int, Any]] = field(default_factory=dict)
    last: dict[str, tuple[int, Any]] = field(default_factory=dict)
    ran: int = 0

    def run(self, design: Design, wanted: frozenset[str] | None = None) -> Mapping[str, Any]:
        """Results by study name, for all studies or the wanted ones and what they take."""
        needed = _closure(wanted)
        tokens: dict[str, int] = {}
        results: dict[str, Any] = {}
        for step in STEPS:
            if step.name in needed:
                tokens[step.name], results[step.name] = self._one(step, design, tokens, results)
        return results

    def _one(
        self, step: Step, design: Design, tokens: Mapping[str, int], results: Mapping[str, Any]
    ) -> tuple[int, Any]:
        try:
            given = step.inputs(design)
            key = (step.name, given, tuple(tokens[name] for name in step.takes))
            if key not in self.kept:
                if len(self.kept) >= KEPT:
                    self.kept.clear()
                self.ran += 1
                self.kept[key] = self._settled(step.name, step.study(given, *(results[name] for name in step.takes)))
            return self.kept[key]
        except (ValueError, ArithmeticError) as error:
            # Numbers outside a formula's range are the design's business: the study stays open and says why.
            self.ran += 1
            return self.ran, step.empty(missing=(Missing(f"studies/{step.name}", f"cannot be computed: {error}"),))


    def _settled(self, name: str, result: Any) -> tuple[int, Any]:
        """The result with its token; one that says the same as the last gets the same token, so what follows from it stands."""
        last = self.last.get(name)
        if last is not None and last[1].facts() == result.facts():
            return last[0], result
        self.last[name] = (self.ran, result)
        return self.last[name]


def _closure(wanted: frozenset[str] | None) -> set[str]:
    if wanted is None:
        return {step.name for step in STEPS}
    needed = set(wanted)
    for step in reversed(STEPS):
        if step.name in needed:
            needed.update(step.takes)
    return needed
