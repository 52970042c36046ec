"""Design files read before, kept between processes in a folder of the user's own.

As with compiled Python, the text stays the truth: what is kept stands under the hash of the text's bytes and of the
code that read it, so a changed text, a changed model or another release of a library is read anew.
"""

from __future__ import annotations

import hashlib
import io
import os
import pickle
import sys
from collections.abc import Iterator, Mapping
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from tristrand.design.yamltext import Span, Tree
from tristrand.records import NamedTuple

MOST_KEPT = 2000
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
        self._new: dict[str, tuple[str, Known]] = {}
        try:
            self._usable = _own(folder)
            if self._usable:
                self._code = _code()
        except OSError:
            self._usable = False

    def get(self, file: str, digest: str) -> Known | None:
        """What the file of this name and SHA-256 says, where it was read before by the code of now."""
        if not self._usable:
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
        """Have a file kept, once it is known that the whole design is sound."""
        if self._usable:
            self._new[self._name(file, digest)] = file, known

    def write(self) -> None:
        """Keep what was added."""
        new, self._new = self._new, {}
        try:
            if new:
                self.folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            for name, (_, known) in new.items():
                _put(self.folder / name, known)
            if new:
                self._tidy()
        except OSError:
            self._usable = False

    def _name(self, file: str, digest: str) -> str:
        return hashlib.sha256(self._code + f"{file}\0{digest}".encode()).hexdigest()

    def _tidy(self) -> None:
        """Remove the older half where too much is kept."""
        with os.scandir(self.folder) as found:
            files = sorted((entry.stat().st_mtime, entry.path) for entry in found if entry.is_file())
        for _, path in files[: len(files) // 2 if len(files) > MOST_KEPT else 0]:
            Path(path).unlink(missing_ok=True)


def _put(path: Path, known: Known) -> None:
    places = {key: span[1:] for key, span in known.spans.items()}
    data = pickle.dumps((known.value, known.written, known.tree, places), protocol=5)
    part = path.with_name(f"{path.name}.{os.getpid()}")
    part.write_bytes(hashlib.sha256(data).digest() + data)
    part.replace(path)


def _own(folder: Path) -> bool:
    """Whether nobody else can have put anything there."""
    if not hasattr(os, "getuid"):
        return True
    try:
        found = folder.stat()
    except FileNotFoundError:
        return True
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


def users_folder() -> Path | None:
    """Where this user's compiled files are kept; None where the user wants none.

    The variable TRISTRAND_CACHE names another folder, or says "off".
    """
    said = os.environ.get("TRISTRAND_CACHE", "")
    if said:
        return None if said == "off" else Path(said)
    base = Path(os.environ.get("LOCALAPPDATA" if os.name == "nt" else "XDG_CACHE_HOME", ""))
    if base.is_absolute():
        return base / "tristrand"
    try:
        return Path.home() / ".cache" / "tristrand"
    except RuntimeError:  # this user has no home
        return None
