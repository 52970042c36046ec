"""Result types of the studies: frozen, with units in their field names."""

from tristrand.studies.results.common import Input, Later, Missing, Series, Working, facts, found, working
from tristrand.studies.results.strand import (
    Ampacity,
    CableOption,
    CaseFlows,
    ConductorFigures,
    ConductorsResult,
    Corner,
    DischargeCase,
    DischargeResult,
    Flow,
    OperatingResult,
    PackFigures,
    PackResult,
    PrechargeAttempt,
    PrechargeResult,
)

__all__ = [
    "Ampacity",
    "CableOption",
    "CaseFlows",
    "ConductorFigures",
    "ConductorsResult",
    "Corner",
    "DischargeCase",
    "DischargeResult",
    "Flow",
    "Input",
    "Later",
    "Missing",
    "OperatingResult",
    "PackFigures",
    "PackResult",
    "PrechargeAttempt",
    "PrechargeResult",
    "Series",
    "Working",
    "facts",
    "found",
    "working",
]
