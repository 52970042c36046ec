"""How long `check` takes beside what nobody can avoid: the whole process, and a second check after one edit."""

from __future__ import annotations

import os
import re
import shutil
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tristrand.app import Workspace
from tristrand.design import apply_edits, load_files, read_folder
from tristrand.design.yamltext import parse_yaml
from tristrand.findings import Edit

VAN = Path(__file__).parent.parent / "demos" / "van"
IMPORTS = [sys.executable, "-c", "import numpy, scipy, pydantic"]
CHECK = [sys.executable, "-m", "tristrand", "check", str(VAN)]
NUMBER = re.compile(r"[0-9]+(?:\.[0-9]+)?")

Ratio = Callable[..., None]


@pytest.fixture(autouse=True, scope="module")
def _kept(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Files that were read are kept here, not where the user of this machine has them."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("TRISTRAND_CACHE", str(tmp_path_factory.mktemp("kept")))
        yield


def seconds(command: list[str], codes: tuple[int, ...] = (0,), **more: str) -> float:
    start = time.perf_counter()
    # Byte code is kept, as it is for anyone who installs the program, whatever this machine is set to.
    kept = {key: value for key, value in os.environ.items() if key != "PYTHONDONTWRITEBYTECODE"}
    done = subprocess.run(command, capture_output=True, check=False, env={**kept, **more})
    took = time.perf_counter() - start
    assert done.returncode in codes, done.stderr.decode()
    return took


def alternate(count: int) -> tuple[float, float]:
    """Median seconds of the bare imports and of the check, run in turn so that a busy machine meets both."""
    pairs = [(seconds(IMPORTS), seconds(CHECK, (0, 1))) for _ in range(count)]
    return statistics.median(p[0] for p in pairs), statistics.median(p[1] for p in pairs)


def numeric_edits() -> Iterator[Edit]:
    """One edit for every numeric value of the design: its first number made 1 % larger."""
    files, problems = read_folder(VAN)
    assert not problems
    for file, data in files.items():
        text = data.decode()
        for pointer, span in parse_yaml(file, text).spans.items():
            value = text[span.start : span.end]
            plain = pointer and not value.startswith(("{", "[", "-", '"')) and "\n" not in value
            if plain and NUMBER.match(value) and not pointer.endswith(("schema_version", "date")):
                yield Edit(file, pointer, NUMBER.sub(lambda m: larger(m.group()), value, count=1))


def larger(number: str) -> str:
    return str(int(number) + 1) if number.isdigit() and int(number) < 40 else f"{float(number) * 1.01:.6g}"


def after_edits(folder: Path) -> Iterator[float]:
    """Seconds of whole checks, before each of which the circuit's file was edited."""
    shutil.copytree(VAN, folder)
    command = [*CHECK[:-1], str(folder)]
    seconds(command, (0, 1))
    file = folder / "high_voltage.yaml"
    for number in range(5):
        file.write_text(f"# edit {number}\n{file.read_text()}")
        yield seconds(command, (0, 1))


def test_whole_process(ratio: Ratio, tmp_path: Path) -> None:
    seconds(IMPORTS), seconds(CHECK, (0, 1))
    imports, check = alternate(9)
    edited = statistics.median(after_edits(tmp_path / "edited"))
    cold = seconds(CHECK, (0, 1), PYTHONPYCACHEPREFIX=str(tmp_path / "cold"), TRISTRAND_CACHE="off")
    print(f"\nimports {imports * 1e3:.0f} ms, check {check * 1e3:.0f} ms; after an edit {edited * 1e3:.0f} ms")
    print(f"cold (neither byte code nor files read before) {cold * 1e3:.0f} ms")
    ratio("whole-process check over bare imports of numpy, scipy, pydantic", check / imports, "<=", 3.0)
    shutil.rmtree(tmp_path / "cold", ignore_errors=True)


def test_second_check_after_one_edit(ratio: Ratio) -> None:
    _, whole = alternate(7)
    files, _ = read_folder(VAN)
    took = []
    for edit in numeric_edits():
        workspace = Workspace()
        base = load_files(files, "van", workspace.files).design
        assert base is not None
        workspace.check_design(base)
        changed = apply_edits(files, [edit])
        start = time.perf_counter()
        design = load_files(changed, "van", workspace.files).design
        if design is None:
            continue  # the edit made the design invalid (a table that no longer rises): nothing is checked
        workspace.check_design(design)
        took.append(time.perf_counter() - start)
    middle = statistics.median(took)
    times = f"median {middle * 1e3:.1f} ms, worst {max(took) * 1e3:.1f} ms; process {whole * 1e3:.0f} ms"
    print(f"\n{len(took)} edits: {times}")
    ratio("process over second check after one edit (median)", whole / middle, ">=", 20.0, f"{len(took)} edits")
