"""Result types of the studies: frozen, with units in their field names."""

from tristrand.studies.results.common import Input, Missing, Outcome, Series, Working, found, working
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
    "Missing",
    "OperatingResult",
    "Outcome",
    "PackFigures",
    "PackResult",
    "PrechargeAttempt",
    "PrechargeResult",
    "Series",
    "Working",
    "found",
    "working",
]
