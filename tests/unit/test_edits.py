"""Edits change one span and nothing else; a file is replaced whole or not at all."""

import os
import stat
import tempfile
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tristrand.app.starter import starter_files
from tristrand.design import EditError, apply_edits, write_atomic
from tristrand.design.edits import scalar, splice
from tristrand.design.yamltext import Tree, parse_yaml
from tristrand.findings import Edit

STARTER = {file: data.decode() for file, data in starter_files().items()}


def value_at(text: str, pointer: str) -> Tree:
    parsed = parse_yaml("f", text)
    assert not parsed.problems, [p.text() for p in parsed.problems]
    tree = parsed.tree
    for step in pointer.split("/"):
        tree = tree[step] if isinstance(tree, dict) else tree[int(step)]  # type: ignore[index]
    return tree


def leaves() -> list[tuple[str, str]]:
    found = []
    for file, text in STARTER.items():
        parsed = parse_yaml(file, text)
        parents = {pointer.rpartition("/")[0] for pointer in parsed.spans}
        found += [(file, pointer) for pointer in parsed.spans if pointer and pointer not in parents]
    return found


LEAVES = leaves()
NEW = st.sampled_from(
    ["20 A", "1.5 mΩ ± 10 %", "with_bus", "true", "7", "{a: 1}", "[1, 2]", "'it''s'", '"a: b # c"', "null"]
)


@given(st.sampled_from(LEAVES), NEW, st.booleans())
def test_text_outside_the_span_stays_and_the_new_value_is_read(leaf: tuple[str, str], new: str, windows: bool) -> None:
    file, pointer = leaf
    text = STARTER[file].replace("\n", "\r\n") if windows else STARTER[file]
    span = parse_yaml(file, text).spans[pointer]
    after = splice(file, text, pointer, new)
    assert after.startswith(text[: span.start])
    assert after.endswith(text[span.end :])
    assert len(after) == len(text) - (span.end - span.start) + len(new)
    assert value_at(after, pointer) == parse_yaml("new", new).tree


@given(st.lists(st.tuples(st.sampled_from(LEAVES), st.sampled_from(["7", "0.5 mm²", "true", "a longer word"]))))
def test_places_that_move_along_are_those_of_a_new_reading(edits: list[tuple[tuple[str, str], str]]) -> None:
    texts = dict(STARTER)
    for (file, pointer), new in edits:
        texts[file] = splice(file, texts[file], pointer, new)
        known = parse_yaml(file, texts[file])
        # Under another name the text is parsed from its first sign on.
        read = parse_yaml("read anew", texts[file])
        assert repr(known.tree) == repr(read.tree)
        assert known.problems == read.problems == ()
        assert {k: s[1:] for k, s in known.spans.items()} == {k: s[1:] for k, s in read.spans.items()}


@given(st.sampled_from(LEAVES), st.text(max_size=30))
def test_any_new_text_is_read_back_as_itself_or_refused(leaf: tuple[str, str], new: str) -> None:
    file, pointer = leaf
    try:
        after = splice(file, STARTER[file], pointer, new)
    except EditError:
        return
    assert value_at(after, pointer) == parse_yaml("new", new).tree
    comments = [line.partition("#")[2] for line in STARTER[file].split("\n") if "#" in line]
    assert all(comment in after for comment in comments)


BLOCK = (
    "# head\na: {x: 1, y: [1, 2]}  # flow\nb:\n  # first\n  c: 3  # three\n  d: 'q'\n\n# tail\ne:\nf: |\n  text\ng: 1\n"
)


@pytest.mark.parametrize(
    ("pointer", "new", "old_line", "new_line"),
    [
        ("a/x", "2 V", "a: {x: 1, y: [1, 2]}  # flow", "a: {x: 2 V, y: [1, 2]}  # flow"),
        ("a/y/1", "9", "a: {x: 1, y: [1, 2]}  # flow", "a: {x: 1, y: [1, 9]}  # flow"),
        ("a/y", "9", "a: {x: 1, y: [1, 2]}  # flow", "a: {x: 1, y: 9}  # flow"),
        ("a/z", "9", "a: {x: 1, y: [1, 2]}  # flow", "a: {x: 1, y: [1, 2], z: 9}  # flow"),
        ("b/c", "4 mΩ", "  c: 3  # three", "  c: 4 mΩ  # three"),
        ("b/d", "word", "  d: 'q'", "  d: word"),
        ("b/new", "5", "  d: 'q'", "  d: 'q'\n  new: 5"),
        ("e", "7", "e:", "e: 7"),
        ("g", "8", "g: 1", "g: 8"),
        ("h", "8", "g: 1", "g: 1\nh: 8"),
        # In flow style a comma would end the value, so it is written in quotes.
        ("a/x", "one, two", "a: {x: 1, y: [1, 2]}  # flow", 'a: {x: "one, two", y: [1, 2]}  # flow'),
    ],
)
@pytest.mark.parametrize("newline", ["\n", "\r\n"])
def test_only_the_line_meant_is_changed(pointer: str, new: str, old_line: str, new_line: str, newline: str) -> None:
    text = BLOCK.replace("\n", newline)
    wanted = BLOCK.replace(f"{old_line}\n", f"{new_line}\n").replace("\n", newline)
    assert splice("f", text, pointer, new) == wanted


@pytest.mark.parametrize(
    ("text", "pointer", "new", "wanted"),
    [
        ("a: {}\n", "a/b", "1", "a: {b: 1}\n"),
        ("a: {b: 1, c}\n", "a/c", "2", "a: {b: 1, c: 2}\n"),
        ('{"a":1}', "a", "2 V", '{"a":2 V}'),
        ("- a: 1\n  b: 2\n- c: 3\n", "0/d", "4", "- a: 1\n  b: 2\n  d: 4\n- c: 3\n"),
        ("a:\n  b: {c: 1}  # x\n", "a/b", "2", "a:\n  b: 2  # x\n"),
        ("a:\n  b: 1\n# keep\nc: 2\n", "a", "{d: 1}", "a:\n  {d: 1}\n# keep\nc: 2\n"),
        ("a: |\n  old\n\nb: 1\n", "a", "new", "a: new\n\nb: 1\n"),
        ("a: {b: 1,\n    c: 2 # last\n   }\n", "a/d", "3", "a: {b: 1,\n    c: 2, d: 3 # last\n   }\n"),
    ],
)
def test_unusual_forms(text: str, pointer: str, new: str, wanted: str) -> None:
    assert splice("f", text, pointer, new) == wanted


@pytest.mark.parametrize(
    ("text", "pointer", "new"),
    [
        ("a: 1\n", "b/c", "1"),
        ("a: 1\n", "a/c", "1"),
        ("a: [1]\n", "a/5", "1"),
        ("a: [1]\n", "a/-1", "1"),
        ("a: [1]\n", "a/x", "1"),
        ("a:\n", "a/b", "1"),
        ("a: 1\n", "a/", "1"),
        ("a: 1\n", "b", "[1"),
        ("a: 1\n", "a", "x: y: z"),
        ("a: 1\n", "a", "&x 1"),
        ("a: 1\n", "a", "1\n---\n2"),
        ("a: [1\n", "a", "2"),
        ("a: 1\na: 2\n", "a", "3"),
        ("", "a", "1"),
    ],
)
def test_an_edit_that_leads_nowhere_or_breaks_the_file_is_refused(text: str, pointer: str, new: str) -> None:
    with pytest.raises(EditError):
        splice("f", text, pointer, new)


def test_apply_edits_keeps_the_byte_order_mark_and_every_other_file() -> None:
    files = {"a.yaml": b"\xef\xbb\xbfa: 1\r\n# \xc2\xb5\r\n", "b.yaml": b"\xff"}
    after = apply_edits(files, [Edit("a.yaml", "a", "2"), Edit("a.yaml", "b", "3"), Edit("c.yaml", "", "whole\n")])
    assert after == {"a.yaml": b"\xef\xbb\xbfa: 2\r\nb: 3\r\n# \xc2\xb5\r\n", "b.yaml": b"\xff", "c.yaml": b"whole\n"}
    assert files["a.yaml"] == b"\xef\xbb\xbfa: 1\r\n# \xc2\xb5\r\n"
    with pytest.raises(EditError, match="UTF-8"):
        apply_edits(files, [Edit("b.yaml", "a", "1")])
    with pytest.raises(EditError, match="no file"):
        apply_edits(files, [Edit("d.yaml", "a", "1")])


@given(st.text())
def test_a_scalar_is_read_back_as_the_text_it_was(value: str) -> None:
    parsed = parse_yaml("f", f"a: {scalar(value)}\n")
    if not parsed.problems:
        assert parsed.tree == {"a": value}
    else:  # only what no design file may hold
        assert all("control character" in p.message or "\\" in p.message for p in parsed.problems)


@pytest.mark.parametrize("value", ["1", "true", "null", "~", "", "1e3", "a: b", "# x", " x ", "- a", "{", "x\ny"])
def test_a_text_that_looks_like_something_else_is_quoted(value: str) -> None:
    assert parse_yaml("f", f"a: {scalar(value)}\n").tree == {"a": value}
    assert parse_yaml("f", f"a: [{scalar(value, inside_flow=True)}]\n").tree == {"a": [value]}


def test_write_atomic_keeps_the_mode_and_leaves_nothing_beside(tmp_path: Path) -> None:
    path = tmp_path / "vehicle.yaml"
    write_atomic(path, b"one")
    path.chmod(0o640)
    write_atomic(path, b"two")
    assert path.read_bytes() == b"two"
    assert stat.S_IMODE(path.stat().st_mode) == 0o640
    assert [p.name for p in tmp_path.iterdir()] == ["vehicle.yaml"]


def test_write_atomic_that_fails_leaves_the_old_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "vehicle.yaml"
    path.write_bytes(b"old")

    def full_disk(_handle: int) -> None:
        assert path.read_bytes() == b"old"  # a reader at this moment
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full_disk)
    with pytest.raises(OSError, match="No space"):
        write_atomic(path, b"new and much longer")
    assert path.read_bytes() == b"old"
    assert [p.name for p in tmp_path.iterdir()] == ["vehicle.yaml"]


def test_write_atomic_through_a_link_changes_the_file_it_leads_to(tmp_path: Path) -> None:
    (tmp_path / "real").mkdir()
    target, link = tmp_path / "real" / "a.yaml", tmp_path / "a.yaml"
    target.write_bytes(b"old")
    link.symlink_to(target)
    write_atomic(link, b"new")
    assert link.is_symlink()
    assert target.read_bytes() == b"new"


def test_write_atomic_needs_no_room_for_a_longer_name() -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / ("n" * 250)
        write_atomic(path, b"x")
        assert path.read_bytes() == b"x"
