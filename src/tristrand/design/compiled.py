"""Design files read before, kept between processes in a folder of the user's own.

As with compiled Python, the text stays the truth: what is kept stands under the hash of the text's bytes and of the
code that read it, so a changed text, a changed model or another release of a library is read anew.
"""

from __future__ import annotations

import hashlib
import io
import os
import pickle
import re
import sys
from collections.abc import Iterator, Mapping
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from tristrand.design.yamltext import Span, Tree
from tristrand.records import NamedTuple

MOST_KEPT, MOST_BYTES = 2000, 50_000_000
_OURS = re.compile(r"[0-9a-f]{64}(\.[0-9]+)?\Z")
_SUM = 32  # bytes of a SHA-256
# Nothing else is made from what stands in a file of the cache.
_MADE = {
    ("tristrand.design.record", "Record"),
    ("tristrand.design.datum", "Datum"),
    ("datetime", "date"),
}


class Known(NamedTuple):
    """What one sound file says: its record, the tree as written, the tree as read (migrated), the places."""

    value: Any
    written: Tree
    tree: Mapping[str, Tree]
    spans: dict[str, Span]


class _Unpickler(pickle.Unpickler):
    def find_class(self, module: str, name: str) -> Any:
        if (module, name) not in _MADE:
            raise pickle.UnpicklingError(f"{module}.{name} has no place in a design")
        return super().find_class(module, name)


class Compiled:
    """Sound files by name and hash. It never raises: a folder that cannot be used keeps nothing."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._code = b""
        self._new: dict[str, Known] = {}
        self._readable = False
        try:
            self._code = _code()
            self._readable = _own(folder)
        except Exception:
            # An installation of an unusual kind: the text itself is at hand.
            self._code = b""

    def get(self, file: str, digest: str) -> Known | None:
        """What the file of this name and SHA-256 says, where it was read before by the code of now."""
        if not self._readable:
            return None
        try:
            data = (self.folder / self._name(file, digest)).read_bytes()
            if hashlib.sha256(data[_SUM:]).digest() != data[:_SUM]:
                return None
            value, written, tree, places = _Unpickler(io.BytesIO(data[_SUM:])).load()
        except Exception:
            # Whatever a damaged file holds, the text itself is at hand.
            return None
        return Known(value, written, tree, {key: Span(file, *place) for key, place in places.items()})

    def add(self, file: str, digest: str, known: Known) -> None:
        """Have a file kept, if the design that it belongs to turns out to be sound."""
        if self._code:
            self._new[self._name(file, digest)] = known

    def write(self) -> None:
        """Keep what was added: the design is sound."""
        new, self._new = self._new, {}
        if not new:
            return
        try:
            self.folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            # Asked again: somebody else may have made it meanwhile.
            if _own(self.folder):
                for name, known in new.items():
                    _put(self.folder / name, known)
                self._tidy()
        except Exception:
            # A full disk, a file in the way: the next check reads the text again.
            self._code = b""

    def forget(self) -> None:
        """Keep nothing of what was added: the design is not sound."""
        self._new.clear()

    def _name(self, file: str, digest: str) -> str:
        return hashlib.sha256(self._code + f"{file}\0{digest}".encode()).hexdigest()

    def _tidy(self) -> None:
        """Remove the oldest where too much is kept; of what is not ours nothing."""
        with os.scandir(self.folder) as found:
            ours = [(entry.stat(), entry.path) for entry in found if _OURS.match(entry.name)]
        size = 0
        for number, (about, path) in enumerate(sorted(ours, key=lambda item: -item[0].st_mtime)):
            size += about.st_size
            if number >= MOST_KEPT or size > MOST_BYTES:
                Path(path).unlink(missing_ok=True)


def _put(path: Path, known: Known) -> None:
    places = {key: span[1:] for key, span in known.spans.items()}
    data = pickle.dumps((known.value, known.written, known.tree, places), protocol=5)
    part = path.with_name(f"{path.name}.{os.getpid()}")
    try:
        # As private as a design may be.
        with os.fdopen(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "wb") as file:
            file.write(hashlib.sha256(data).digest() + data)
        part.replace(path)
    except OSError:
        part.unlink(missing_ok=True)
        raise


def _own(folder: Path) -> bool:
    """Whether the folder is there and, where the system tells, nobody else can put anything into it."""
    if not folder.is_dir():
        return False
    if not hasattr(os, "getuid"):
        return True
    found = folder.stat()
    return found.st_uid == os.getuid() and not found.st_mode & 0o022


def _code() -> bytes:
    """What stands for the code that reads: its text, and the releases of the libraries that it leans on."""
    total = hashlib.sha256(sys.version.encode())
    for path in _sources():
        total.update(f"{path}\0".encode())
        total.update(path.read_bytes())
    return total.digest()


def _sources() -> Iterator[Path]:
    design = Path(__file__).parent
    for folder in (design, design.parent / "units"):
        yield from sorted(path for path in folder.iterdir() if path.suffix == ".py")
    yield design.parent / "records.py"
    for library, said in (("pydantic", "version.py"), ("yaml", "__init__.py")):
        found = find_spec(library)
        if found is None or found.origin is None:
            raise FileNotFoundError(library)
        yield Path(found.origin).with_name(said)


def users_folder(design: Path) -> Path | None:
    """Where this user's compiled files are kept; None where the user wants none, or where it would lie in ``design``.

    The variable TRISTRAND_CACHE names the folder in which that folder stands (an absolute path), or says "off".
    """
    said = os.environ.get("TRISTRAND_CACHE", "")
    if said.casefold() == "off":
        return None
    try:
        base = Path(said).expanduser() if said else _usual()
        if not base.is_absolute():
            return None
        folder = base / "tristrand"
        return None if Path(os.path.realpath(folder)).is_relative_to(os.path.realpath(design)) else folder
    except (OSError, RuntimeError, ValueError):  # this user has no home; a name that is none
        return None


def _usual() -> Path:
    base = Path(os.environ.get("LOCALAPPDATA" if os.name == "nt" else "XDG_CACHE_HOME", ""))
    return base if base.is_absolute() else Path.home() / ".cache"
