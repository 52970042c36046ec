"""The README shows what the program says: the findings it prints are those of the demo."""

import re
from pathlib import Path

from tristrand.app import Workspace
from tristrand.findings import render

ROOT = Path(__file__).parents[2]


def test_the_readme_shows_what_check_prints() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    shown = next(block for block in re.findall(r"```\n(.*?)\n```", readme, re.DOTALL) if "FAIL HV131" in block)
    printed = render(Workspace().check(ROOT / "demos" / "van").report, "text", 100)
    for part in shown.split("\n\n...\n"):
        assert part in printed


def test_every_command_named_in_the_readme_exists() -> None:
    from tristrand.cli import main

    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    named = set(re.findall(r"^\| `tristrand (\w+)", readme, re.MULTILINE))
    assert named == set(main.commands)
