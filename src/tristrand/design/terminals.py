"""The kinds of high-voltage parts and their terminals."""

TERMINALS: dict[str, tuple[str, ...]] = {
    "pack": ("plus", "minus"), "fuse": ("a", "b"), "contactor": ("a", "b"), "service_disconnect": ("a", "b"),
    "resistor": ("a", "b"), "inverter": ("plus", "minus"), "dcdc": ("plus", "minus"), "heater": ("plus", "minus"),
    "charger": ("plus", "minus"), "inlet": ("plus", "minus"), "junction": ("bar",),
}  # fmt: skip
