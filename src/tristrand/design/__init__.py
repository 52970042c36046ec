"""The design folder as a typed model: reading, places of values, changes to the text."""

from tristrand.design.compiled import Compiled, users_folder
from tristrand.design.datum import Datum
from tristrand.design.edits import EditError, apply_edits, write_atomic
from tristrand.design.loader import FileCache, Loaded, load_files, load_folder, read_folder
from tristrand.design.tree import Design
from tristrand.design.watched import Key, piece, watched
from tristrand.design.yamltext import Problem

__all__ = [
    "Compiled", "Datum", "Design", "EditError", "FileCache", "Key", "Loaded", "Problem", "apply_edits", "load_files",
    "load_folder", "piece", "read_folder", "users_folder", "watched", "write_atomic",
]  # fmt: skip
