"""A high-voltage tree after parts or connections were taken out: what named them goes with them."""

from typing import Any


def pruned(circuit: dict[str, Any]) -> dict[str, Any]:
    """The tree itself, without references of loops, openables, bonds and measuring points that lead nowhere."""
    parts = circuit["parts"]
    known = {*parts, *(circuit.get("connections") or {})}
    for item in circuit.get("openable", {}).values():
        item["opens"] = [one for one in item["opens"] if one in known]
    circuit["openable"] = {key: item for key, item in circuit.get("openable", {}).items() if item["opens"]}
    for loop in circuit.get("loops", {}).values():
        loop["opens"] = [one for one in loop["opens"] if one in parts]
        for element in loop["elements"].values():
            element["watches"] = [one for one in element.get("watches", []) if one in circuit["openable"]]
    circuit["loops"] = {key: loop for key, loop in circuit.get("loops", {}).items() if loop["opens"]}
    for bond in circuit.get("bonding", {}).get("bonds", {}).values():
        bond["parts"] = [one for one in bond["parts"] if one in parts]
    if circuit.get("bonding", {}).get("bonds"):
        bonds = circuit["bonding"]["bonds"]
        circuit["bonding"]["bonds"] = {key: bond for key, bond in bonds.items() if bond["parts"]}
    return circuit
