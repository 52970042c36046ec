"""Look through the project's files for what must not be in them; part of `make lint`.

- the address of a package registry: where packages come from is the user's business, not the project's;
- the path of somebody's own machine;
- a line of requirements.lock without its hash, or with an address.

Exit 0 when there is none, 1 with one line for each.
"""

import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
# One letter of each host stands in brackets, so that this list does not find itself.
HOSTS = re.compile(
    r"\b(py[p]i\.(org|io)|test\.py[p]i|py[p]i\.python|python[h]osted|npm[j]s\.|registry\.npm[j]|yarn[p]kg\."
    r"|golan[g]\.org|crate[s]\.io|rubygem[s]\.org|anacon[d]a\.(org|com)|debia[n]\.org|ubunt[u]\.com)",
    re.IGNORECASE,
)
PATHS = re.compile(r"(?<![\w.~$}/])/(?:home|Users|root|work|tmp|opt|mnt)/|\bfile:/{2,3}[\w/]|\b[A-Z]:\\Users\\")
PINNED = re.compile(r"^[a-z0-9][a-z0-9._-]*==\S+( ; .+)? \\$")
HASH = re.compile(r"^    --hash=sha256:[0-9a-f]{64}( \\)?$")


def lock_faults(text: str) -> list[str]:
    """Return what is wrong with a lock: every line is a pin followed by its hashes, or a comment."""
    faults = []
    lines = text.splitlines()
    for number, line in enumerate(lines, 1):
        where = f"requirements.lock:{number}"
        if "://" in line or line.startswith("-"):
            faults.append(f"{where}: an address or an option: {line.strip()}")
        elif not line.strip() or line.lstrip().startswith("#") or HASH.match(line):
            continue
        elif not PINNED.match(line) or number == len(lines) or not HASH.match(lines[number]):
            faults.append(f"{where}: not a pinned version followed by its hash: {line.strip()}")
    return faults


def project_files() -> Iterator[Path]:
    """Yield the tracked files and those about to be; without git, all but hidden folders and builds."""
    try:
        listed = subprocess.run(
            ["git", "ls-files", "--cached", "--others", "--exclude-standard", "-z"],
            cwd=ROOT,
            capture_output=True,
            check=True,
        )
        names = [name for name in listed.stdout.decode().split("\0") if name]
    except (OSError, subprocess.CalledProcessError):
        aside = {".git", ".venv", "build", "dist", "__pycache__"}
        names = [
            path.relative_to(ROOT).as_posix()
            for path in ROOT.rglob("*")
            if not aside.intersection(path.relative_to(ROOT).parts) and not path.parent.name.endswith("_cache")
        ]
    for name in sorted(names):
        path = ROOT / name
        if path.is_file() and not path.is_symlink():
            yield path


def text_faults(path: Path) -> list[str]:
    """Return the lines of one file that hold an address or a machine's path; binary files hold none."""
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except UnicodeDecodeError:
        return []
    faults = []
    for number, line in enumerate(lines, 1):
        for pattern, what in ((HOSTS, "a registry's address"), (PATHS, "a path of one machine")):
            found = pattern.search(line)
            if found:
                where = f"{path.relative_to(ROOT).as_posix()}:{number}"
                faults.append(f"{where}: {what}: {found.group().strip()}")
    return faults


def main() -> int:
    """Look through all files and print the faults."""
    lock = ROOT / "requirements.lock"
    faults = ["requirements.lock is missing"]
    if lock.exists():
        faults = lock_faults(lock.read_text(encoding="utf-8"))
    for path in project_files():
        faults += text_faults(path)
    print(*faults, sep="\n", end="\n" if faults else "")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
