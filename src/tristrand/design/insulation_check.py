"""References in the insulation data and spacings to parts and terminals that do not exist."""

from typing import Any

from tristrand.design.yamltext import visible

DEVICES = ("inverter", "dcdc", "heater", "charger", "inlet")


def insulation_problems(checker: Any, tree: Any) -> None:
    """Tell the cross-check of parts and terminals what the insulation data name that does not exist."""
    settings = tree.get("insulation")
    if isinstance(settings, dict):
        monitor, likely = settings.get("monitor"), settings.get("fault_likelihood")
        for key in ("plus", "minus"):
            terminal = monitor.get(key) if isinstance(monitor, dict) else None
            if isinstance(terminal, str) and "." in terminal:
                checker.terminal(f"insulation/monitor/{key}", terminal)
        for name in likely if isinstance(likely, dict) else ():
            _device(checker, f"insulation/fault_likelihood/{name}", name)
    spacings = tree.get("spacings")
    for name, entry in spacings.items() if isinstance(spacings, dict) else ():
        part = entry.get("part") if isinstance(entry, dict) else None
        if isinstance(part, str) and part not in checker.parts:
            _no_part(checker, f"spacings/{name}/part", part)


def _device(checker: Any, pointer: str, name: Any) -> None:
    if name not in checker.parts:
        _no_part(checker, pointer, str(name))
        return
    part = checker.parts[name]
    kind = part.get("kind") if isinstance(part, dict) else None
    if isinstance(kind, str) and kind not in DEVICES:
        said = f"'{name}' is no device that can be unplugged by itself"
        checker.say(pointer, said, "name an inverter, converter, heater, charger or inlet; the rest is one group")


def _no_part(checker: Any, pointer: str, name: str) -> None:
    mend = checker.hint(name, list(checker.parts), "parts")
    checker.say(pointer, f"there is no part '{visible(name, 60)}'", mend)
