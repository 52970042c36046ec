"""Resolve every version and write requirements.lock: versions and hashes only, no address, no path.

Runs pip-compile in a throw-away environment, so that a broken lock can always be made anew. Personal
pip settings are put aside: what a machine keeps locally must not decide what everybody else installs.
"""

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
import venv
from pathlib import Path

from check_texts import lock_faults

ROOT = Path(__file__).resolve().parent.parent
LOCK = ROOT / "requirements.lock"
LOWEST = (3, 11)
HEADER = """\
# Versions and hashes of everything the package, its tests and its tools need; made by `make lock`.
# Resolved with CPython 3.11 on Linux. All files of a release are listed: other processors find theirs.
"""
OPTIONS = [
    "--quiet",
    "--generate-hashes",
    "--allow-unsafe",  # pip and setuptools too: with hashes, nothing may come in unpinned
    "--strip-extras",
    "--no-header",
    "--no-emit-index-url",
    "--no-emit-find-links",
    "--no-emit-trusted-host",
    "--no-emit-options",
    "--extra=test",
    "--extra=dev",
]
# Settings that would let one machine's own store of packages decide.
PERSONAL = {"PIP_FIND_LINKS", "PIP_EXTRA_INDEX_URL", "PIP_NO_INDEX", "PIP_CONSTRAINT", "PIP_REQUIRE_HASHES"}


def quiet_settings() -> dict[str, str]:
    """Return the environment without personal indexes; certificates, proxies and timeouts stay."""
    kept = {name: value for name, value in os.environ.items() if name not in PERSONAL}
    return kept | {"PIP_CONFIG_FILE": os.devnull, "PIP_DISABLE_PIP_VERSION_CHECK": "1"}


def resolve(upgrade: bool) -> str:
    """Return the text pip-compile writes, starting from the present lock unless told to upgrade."""
    with tempfile.TemporaryDirectory() as folder:
        room = Path(folder)
        venv.create(room / "venv", with_pip=True)
        python = str(next((room / "venv").glob("[bS]*/python*")))
        subprocess.run([python, "-m", "pip", "install", "--quiet", "pip-tools>=7.4"], check=True, env=quiet_settings())
        out = room / "requirements.lock"
        if LOCK.exists():
            shutil.copy(LOCK, out)
        command = [python, "-m", "piptools", "compile", *OPTIONS, "--output-file", str(out), "pyproject.toml"]
        subprocess.run(
            command + ["--upgrade"] * upgrade,
            check=True,
            cwd=ROOT,
            env=quiet_settings(),
            stdout=subprocess.DEVNULL,
        )
        return out.read_text(encoding="utf-8")


def main() -> int:
    """Make the lock, look it over, put it in place."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--upgrade", action="store_true", help="take the newest versions allowed")
    arguments = parser.parse_args()
    if sys.version_info[:2] != LOWEST:
        print("The lock is made with the lowest Python we support, 3.11: make lock PYTHON=python3.11")
        return 1
    body = resolve(arguments.upgrade)
    text = HEADER + "\n" + body.removeprefix(HEADER).lstrip("\n")
    faults = lock_faults(text)
    if faults:
        print(*faults, sep="\n")
        return 1
    LOCK.write_text(text, encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
