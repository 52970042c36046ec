"""The studies in their order, and results kept by what they were made from.

A study sees only its inputs and the results it names here, so the pair is the whole truth about its result: an edit
that leaves them equal leaves the result standing.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from tristrand.app.reuse import Line, Memory, Reader
from tristrand.design import Design
from tristrand.records import NamedTuple
from tristrand.studies import (
    branches,
    cells,
    charging,
    conductors,
    contactors,
    discharge,
    faults,
    fuse_loads,
    generation,
    insulation,
    loops,
    operating,
    pack,
    precharge,
    protection,
    spacings,
)
from tristrand.studies.results import (
    BranchesResult,
    CellsResult,
    ChargingResult,
    ConductorsResult,
    ContactorsResult,
    DischargeResult,
    FaultsResult,
    FuseLoadsResult,
    GenerationResult,
    InsulationResult,
    LoopsResult,
    Missing,
    OperatingResult,
    PackResult,
    PrechargeResult,
    ProtectionResult,
    SpacingsResult,
    facts,
)

# Some results hold their run for the curves, so not too many are kept.
KEPT = 1000


class Step(NamedTuple):
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
        "charging",
        "How fast and how safely does it charge?",
        charging.inputs,
        charging.study,
        ("pack",),
        ChargingResult,
    ),
    Step(
        "conductors",
        "Do the cables carry it?",
        conductors.inputs,
        conductors.study,
        ("operating", "charging"),
        ConductorsResult,
    ),
    Step("faults", "What does a dead short drive, and where?", faults.inputs, faults.study, ("pack",), FaultsResult),
    Step(
        "protection",
        "Do the fuses protect?",
        protection.inputs,
        protection.study,
        ("faults", "conductors", "operating", "charging"),
        ProtectionResult,
    ),
    Step(
        "fuse_loads",
        "Do the fuses carry their loads?",
        fuse_loads.inputs,
        fuse_loads.study,
        ("operating", "charging"),
        FuseLoadsResult,
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
    Step(
        "contactors",
        "Do the contactors close, open and last?",
        contactors.inputs,
        contactors.study,
        ("pack", "operating", "precharge", "charging"),
        ContactorsResult,
    ),
    Step("cells", "Does the monitor guard the cells?", cells.inputs, cells.study, ("pack", "operating"), CellsResult),
    Step(
        "branches",
        "What hangs on the bus?",
        branches.inputs,
        branches.study,
        ("pack", "operating", "precharge"),
        BranchesResult,
    ),
    Step(
        "generation",
        "What does a turning machine do when nothing controls it?",
        generation.inputs,
        generation.study,
        ("pack", "operating", "discharge"),
        GenerationResult,
    ),
    Step(
        "insulation",
        "Is the bus insulated, and would the monitor see a fault?",
        insulation.inputs,
        insulation.study,
        ("pack",),
        InsulationResult,
    ),
    Step(
        "spacings",
        "Are conductors far enough apart?",
        spacings.inputs,
        spacings.study,
        ("insulation",),
        SpacingsResult,
    ),
    Step(
        "loops",
        "What can be opened, and what is then live?",
        loops.inputs,
        loops.study,
        ("pack", "discharge"),
        LoopsResult,
    ),
)
BY_NAME: Mapping[str, Step] = {step.name: step for step in STEPS}


@dataclass(slots=True, eq=False, repr=False)
class Pipeline:
    """Runs studies and keeps their results in this process."""

    memory: Memory = field(default_factory=Memory)
    kept: dict[Any, tuple[int, Any]] = field(default_factory=dict)
    ran: int = 0

    def run(self, design: Design, wanted: Iterable[str] | None = None) -> "Results":
        """Results by study name: all studies, or the wanted ones and what they take, run now."""
        results = Results(self, design)
        results.follow()
        for step in STEPS:
            if wanted is None or step.name in wanted:
                results[step.name]
        return results

    def later(self, design: Design, line: Line = ()) -> "Results":
        """Results by study name; a study runs when its result is first asked for. ``line`` says what is tried."""
        results = Results(self, design, line)
        if line:
            results.follow()
        return results

    def one(self, step: Step, results: "Results") -> tuple[int, Any]:
        """The token and the result of one study."""
        name = step.name
        try:
            given, number = results.made(("inputs", name), lambda: self._given(step, results.design))
            key = (name, number, tuple(results.result_token(taken) for taken in step.takes))
            if key not in self.kept:
                if len(self.kept) >= KEPT:
                    self.kept.clear()
                result = step.study(given, *(results.of(taken) for taken in step.takes))
                self.ran += 1
                # A result that says the same as another has its token, and what follows from it stands.
                self.kept[key] = self.memory.token(("result", name), facts(result)), result
            return self.kept[key]
        except (ValueError, ArithmeticError) as error:
            # Numbers outside a formula's range are the design's business: the study stays open and says why.
            self.ran += 1
            missing = (Missing(f"studies/{name}", f"cannot be computed: {error}"),)
            return self.memory.new_token(), step.empty(missing=missing)

    def _given(self, step: Step, design: Design) -> tuple[Any, int]:
        """The inputs of a study, with their token."""
        given = step.inputs(design)
        return given, self.memory.token(("inputs", step.name), given)


class Results(Reader, Mapping[str, Any]):
    """The results of one design by study name. Each is made when it is first asked for, and only once."""

    def __init__(self, pipeline: Pipeline, design: Design, line: Line = ()) -> None:
        super().__init__(pipeline.memory, design, line)
        self._pipeline = pipeline
        self._results: dict[str, tuple[int, Any]] = {}

    def __getitem__(self, name: str) -> Any:
        self.log.add(("result", name))
        return self.of(name)

    def __iter__(self) -> Iterator[str]:
        return iter(BY_NAME)

    def __len__(self) -> int:
        return len(BY_NAME)

    def of(self, name: str) -> Any:
        """A result that nobody needs to know was asked for."""
        if name not in self._results:
            self._results[name] = self._pipeline.one(BY_NAME[name], self)
        return self._results[name][1]

    def result_token(self, name: str) -> int:
        """A number that stands for what the result says; equal numbers mean equal facts."""
        self.of(name)
        return self._results[name][0]
