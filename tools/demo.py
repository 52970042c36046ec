"""Check the demo van as a user would and write its report; `make demo`.

The van carries planted mistakes, so `check` must exit with exactly 1; anything else means the tool is broken.
The last line printed is the place of the report.
"""

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
DESIGN = "demos/van"
REPORT = Path("build/demo/report.html")
FINDINGS = 1
TRISTRAND = str(Path(sys.executable).with_name("tristrand"))


def main() -> int:
    """Print the findings, write the report."""
    shown = subprocess.run([TRISTRAND, "check", DESIGN], cwd=ROOT, check=False)
    if shown.returncode != FINDINGS:
        print(f"check {DESIGN} exited with {shown.returncode}; its planted mistakes ask for {FINDINGS}")
        return 1
    command = [TRISTRAND, "check", DESIGN, "--format", "html"]
    made = subprocess.run(command, cwd=ROOT, stdout=subprocess.PIPE, check=False)
    head = made.stdout[:200].lstrip().lower()
    if made.returncode != FINDINGS or not head.startswith(b"<!doctype html"):
        print(f"the report was not made: exit {made.returncode}, {len(made.stdout)} bytes")
        return 1
    target = ROOT / REPORT
    target.parent.mkdir(parents=True, exist_ok=True)
    target.write_bytes(made.stdout)
    print(f"\nThe van's mistakes are planted, so exit {FINDINGS} is right. The report, for any browser:")
    print(REPORT.as_posix())
    return 0


if __name__ == "__main__":
    sys.exit(main())
