"""Files read before in another process: the same design, sooner; and never a wrong one."""

import hashlib
import json
import os
import pickle
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from tristrand.cli import main
from tristrand.design import Compiled, Design, FileCache, compiled, load_files, loader, read_folder, users_folder

DEMOS = Path(__file__).parents[2] / "demos"
VAN = DEMOS / "van"
FILES = len(read_folder(VAN)[0])


def read(folder: Path, kept: Path | None) -> tuple[Design, FileCache]:
    cache = FileCache(compiled=Compiled(kept) if kept else None)
    design = load_files(read_folder(folder)[0], folder.name, cache).design
    assert design is not None
    return design, cache


def check(folder: Path, kept: Path | str, *more: str) -> Result:
    return CliRunner().invoke(
        main,
        ["check", str(folder), *more],
        env={"TRISTRAND_CACHE": kept if isinstance(kept, str) else str(kept.parent)},
    )


def copied(folder: Path, to: Path) -> Path:
    for name, data in read_folder(folder)[0].items():
        (to / name).parent.mkdir(parents=True, exist_ok=True)
        (to / name).write_bytes(data)
    return to


@pytest.fixture
def kept(tmp_path: Path) -> Path:
    return tmp_path / "cache" / "tristrand"


@pytest.mark.parametrize("name", ["van", "van-mended", "hill-climb"])
def test_a_design_kept_says_what_its_files_say(name: str, kept: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    plain, _ = read(DEMOS / name, None)
    read(DEMOS / name, kept)
    monkeypatch.setattr("tristrand.design.loader._parse_file", None)
    again, _ = read(DEMOS / name, kept)
    assert (again.vehicle, again.high_voltage, dict(again.sheets)) == (
        plain.vehicle, plain.high_voltage, dict(plain.sheets),
    )  # fmt: skip
    assert [list(vars(sheet)) for sheet in again.sheets.values()] == [
        list(vars(sheet)) for sheet in plain.sheets.values()
    ]
    assert again.waivers == plain.waivers
    assert dict(again.spans) == dict(plain.spans)
    assert list(again.spans) == list(plain.spans)
    assert again.digest == plain.digest


def test_the_second_process_says_the_same_and_reads_no_text(kept: Path) -> None:
    program = (
        "import sys\nfrom tristrand.cli import main\n"
        f"try: main(['check', {str(VAN)!r}, '--format', 'json'])\nexcept SystemExit: pass\n"
        "print([name for name in ('yaml', 'pydantic') if name in sys.modules], file=sys.stderr)"
    )
    runs = [
        subprocess.run(
            [sys.executable, "-c", program],
            capture_output=True, text=True, check=True, env={**os.environ, "TRISTRAND_CACHE": where},
        )
        for where in ("off", str(kept.parent), str(kept.parent))
    ]  # fmt: skip
    assert [run.stderr.strip() for run in runs] == ["['yaml', 'pydantic']", "['yaml', 'pydantic']", "[]"]
    assert runs[0].stdout == runs[1].stdout == runs[2].stdout
    assert json.loads(runs[0].stdout)["findings"]


def test_after_an_edit_only_the_edited_text_is_read(
    kept: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = copied(VAN, tmp_path / "van")
    check(folder, kept)
    path = folder / "parts" / "hv-50.yaml"
    path.write_text(f"# another comment\n{path.read_text()}")
    plain = {form: check(folder, "off", "--format", form).stdout for form in ("text", "json", "sarif")}
    texts: list[str] = []
    parse = loader._parse_file
    monkeypatch.setattr(loader, "_parse_file", lambda file, *more: texts.append(file) or parse(file, *more))
    read(folder, kept)
    assert texts == ["parts/hv-50.yaml"]
    for form, said in plain.items():
        assert check(folder, kept, "--format", form).stdout == said
    assert texts == ["parts/hv-50.yaml"]


class Planted:
    def __init__(self, path: Path) -> None:
        self.path = path

    def __reduce__(self) -> Any:
        return Path.touch, (self.path,)


@pytest.mark.parametrize("damage", ["empty", "cut", "turned", "planted", "foreign"])
def test_a_damaged_file_is_no_file(damage: str, kept: Path, tmp_path: Path) -> None:
    read(VAN, kept)
    planted = pickle.dumps((Planted(tmp_path / "planted"), None, {}, {}))
    foreign = pickle.dumps(["not", "a", "file"])
    for path in kept.iterdir():
        data = path.read_bytes()
        path.write_bytes(
            {
                "empty": b"",
                "cut": data[:-7],
                "turned": data[:100] + bytes([data[100] ^ 1]) + data[101:],
                "planted": hashlib.sha256(planted).digest() + planted,
                "foreign": hashlib.sha256(foreign).digest() + foreign,
            }[damage]
        )
    again, _ = read(VAN, kept)
    assert again.high_voltage == read(VAN, None)[0].high_voltage
    assert not (tmp_path / "planted").exists()
    # What was damaged has been replaced.
    assert Compiled(kept).get("vehicle.yaml", hashlib.sha256((VAN / "vehicle.yaml").read_bytes()).hexdigest())


@pytest.mark.parametrize("changed", ["quantity.py", "parser.py", "records.py", "version.py"])
def test_other_code_reads_anew(changed: str, kept: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    read(VAN, kept)
    digest = digest_of("vehicle.yaml")
    assert Compiled(kept).get("vehicle.yaml", digest) is not None
    plain = Path.read_bytes
    monkeypatch.setattr(
        Path, "read_bytes", lambda path: plain(path) + (b"\n# changed" if path.name == changed else b"")
    )
    assert Compiled(kept).get("vehicle.yaml", digest) is None


def test_the_same_bytes_under_another_name_are_another_file(kept: Path) -> None:
    read(VAN, kept)
    digest = digest_of("vehicle.yaml")
    assert Compiled(kept).get("waivers.yaml", digest) is None


@pytest.mark.parametrize("broken", ["vehicle.yaml", "high_voltage.yaml", "parts/heater-12k.yaml"])
def test_of_a_folder_that_is_no_design_nothing_is_kept(broken: str, kept: Path, tmp_path: Path) -> None:
    folder = copied(VAN, tmp_path / "van")
    assert (folder / broken).exists()
    (folder / broken).write_text("schema_version: 1\nwrong: 1\n")
    assert check(folder, kept).exit_code == 2
    assert not kept.exists()


def test_off_means_off(kept: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("XDG_CACHE_HOME", str(kept))
    assert check(VAN, "off").exit_code == 1
    assert not kept.exists()


def test_where_it_cannot_be_kept_the_check_is_the_same(kept: Path) -> None:
    kept.parent.mkdir()
    kept.write_text("a file stands in the way")
    done = check(VAN, kept)
    assert (done.exit_code, done.stdout) == (1, check(VAN, "off").stdout)


@pytest.mark.skipif(os.name == "nt", reason="the rights of a folder are those of POSIX")
def test_a_folder_that_others_may_write_to_is_not_trusted(kept: Path) -> None:
    read(VAN, kept)
    digest = digest_of("vehicle.yaml")
    assert kept.stat().st_mode & 0o777 == 0o700
    kept.chmod(0o770)
    assert Compiled(kept).get("vehicle.yaml", digest) is None
    kept.chmod(0o755)
    assert Compiled(kept).get("vehicle.yaml", digest) is not None


def digest_of(file: str) -> str:
    return hashlib.sha256((VAN / file).read_bytes()).hexdigest()


def test_a_folder_that_somebody_else_made_meanwhile_is_not_trusted(kept: Path, tmp_path: Path) -> None:
    read(VAN, tmp_path / "theirs")
    early = Compiled(kept)
    kept.parent.mkdir()
    (tmp_path / "theirs").rename(kept)
    assert early.get("vehicle.yaml", digest_of("vehicle.yaml")) is None
    assert Compiled(kept).get("vehicle.yaml", digest_of("vehicle.yaml")) is not None
    late = Compiled(tmp_path / "late")
    cache = FileCache(compiled=late)
    load_files({**read_folder(VAN)[0], "vehicle.yaml": b"wrong"}, "van", cache)
    (tmp_path / "late").mkdir(mode=0o777)
    (tmp_path / "late").chmod(0o777)
    assert load_files(read_folder(VAN)[0], "van", cache).design is not None
    assert list((tmp_path / "late").iterdir()) == []


def test_the_oldest_go_first_and_nothing_else(kept: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(compiled, "MOST_KEPT", FILES + 1)
    kept.mkdir(mode=0o700, parents=True)
    old = [f"{number:064x}" for number in range(5)]
    for age, name in enumerate([*old, "letter.txt", "README"]):
        (kept / name).write_bytes(b"")
        os.utime(kept / name, (1.0 + age, 1.0 + age))
    read(VAN, kept)
    left = {path.name for path in kept.iterdir()}
    assert left >= {"letter.txt", "README", old[-1]}
    assert not left & set(old[:-1])
    assert len(left) == FILES + 3
    monkeypatch.setattr(compiled, "MOST_BYTES", 0)
    load_files({**read_folder(VAN)[0], "vehicle.yaml": (VAN / "vehicle.yaml").read_bytes() + b"# more"}, "van",
               FileCache(compiled=Compiled(kept)))  # fmt: skip
    assert {path.name for path in kept.iterdir()} == {"letter.txt", "README"}


def test_what_is_kept_is_private_and_whole(kept: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    read(VAN, kept)
    assert {path.stat().st_mode & 0o077 for path in kept.iterdir()} == {0}

    def fails(*_: Any) -> None:
        raise OSError("no space left")

    whole = {path.name for path in kept.iterdir()}
    monkeypatch.setattr(Path, "replace", fails)
    load_files({**read_folder(VAN)[0], "vehicle.yaml": (VAN / "vehicle.yaml").read_bytes() + b"# more"}, "van",
               FileCache(compiled=Compiled(kept)))  # fmt: skip
    assert {path.name for path in kept.iterdir()} == whole


def test_a_way_of_installing_that_shows_no_text_keeps_nothing(kept: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(compiled, "find_spec", lambda _name: None)
    read(VAN, kept)
    assert not kept.exists()


def test_zero_and_minus_zero_are_two_values() -> None:
    entry = "schema_version: 1\nwaivers: [{code: HV127, object: a, reason: long enough to stand, by: A. Builder, "
    entry += "date: 2026-11-20, evidence: {quantity: drop, value: %s}}]\n"
    cache, files = FileCache(), read_folder(VAN)[0]
    for value in ("0.0", "-0.0", "0.0"):
        design = load_files({**files, "waivers.yaml": (entry % value).encode()}, "van", cache).design
        assert design is not None
        assert design.waivers[0].evidence is not None
        assert str(design.waivers[0].evidence.value) == value


@pytest.mark.skipif(os.name == "nt", reason="another variable names the folder there")
def test_where_files_are_kept(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    design = tmp_path / "design"
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("XDG_CACHE_HOME", "")

    def kept_with(said: str) -> Path | None:
        monkeypatch.setenv("TRISTRAND_CACHE", said)
        return users_folder(design)

    assert kept_with(str(tmp_path)) == kept_with("~") == tmp_path / "tristrand"
    assert kept_with("off") is kept_with("OFF") is None
    assert kept_with("here") is kept_with(".") is None
    # Nothing is ever written into the design folder.
    assert kept_with(str(design)) is kept_with(str(design / "parts")) is kept_with(f"{design}/../design") is None
    assert kept_with(f"{design}2") == tmp_path / "design2" / "tristrand"
    assert kept_with("") == tmp_path / ".cache" / "tristrand"
    monkeypatch.setenv("XDG_CACHE_HOME", "relative")
    assert kept_with("") == tmp_path / ".cache" / "tristrand"
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "xdg"))
    assert kept_with("") == tmp_path / "xdg" / "tristrand"
