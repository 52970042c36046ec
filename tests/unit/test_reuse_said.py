"""What is taken over from the design before, against asking anew: random designs, readers and lines in any order."""

import random
from types import SimpleNamespace
from typing import Any

import pytest

from tristrand.app import reuse
from tristrand.app.reuse import Memory, Reader
from tristrand.design import Key, piece
from tristrand.design.record import Record

PARTS, SHEETS, FIELDS = [f"p{k}" for k in range(4)], "mno", [f"f{k}" for k in range(5)]
KEYS: list[Key] = [
    *(("vehicle", name) for name in FIELDS), ("high_voltage", "g"), ("high_voltage", "parts"),
    *(("part", name) for name in PARTS), ("kind", "a"), ("kind", "b"),
    *(("sheet", name, field) for name in SHEETS for field in ("kind", "r")), ("sheets", "x"), ("sheets", ""),
    ("result", "r0"), ("result", "r1"),
]  # fmt: skip
THINGS = 25


class Small(SimpleNamespace):
    """As much of a design as is read here."""

    def parts_of(self, kind: str) -> dict[str, Any]:
        return {name: part for name, part in self.high_voltage.parts.items() if part[0] == kind}

    def sheets_of_kind(self, kind: str) -> dict[str, Any]:
        return {name: sheet for name, sheet in self.sheets.items() if sheet.kind == kind}


class World:
    """Designs whose files are taken from a small pool, so that much is met again, and things made from them."""

    def __init__(self, seed: int, nested: bool) -> None:
        self.random, self.nested, self.memory = random.Random(seed), nested, Memory()
        pick, draw = self.random.choice, self.random.randrange
        self.vehicles = [Record("Vehicle", {name: draw(3) for name in FIELDS}) for _ in range(6)]
        self.circuits = [
            Record("HighVoltage", {
                "parts": {name: (pick("ab"), draw(2)) for name in self.random.sample(PARTS, draw(4) + 1)}, "g": draw(3),
            })
            for _ in range(6)
        ]  # fmt: skip
        self.sheets = [Record("Sheet", {"kind": pick("xy"), "r": draw(3)}) for _ in range(6)]
        self.reads = [self.random.sample(KEYS, draw(5) + 1) for _ in range(THINGS)]
        self.alive: list[Small] = []
        self.readers: list[_Reader] = []

    def design(self) -> Any:
        pick = self.random.choice
        names = self.random.sample(SHEETS, self.random.randint(1, 3))
        return Small(
            vehicle=pick(self.vehicles), high_voltage=pick(self.circuits), sheets={n: pick(self.sheets) for n in names}
        )

    def begin(self) -> None:
        line = self.random.choice([(), (), ("w", 0), ("w", 1), ("x", 2), ("y", 3)])
        reader = _Reader(self, line)
        if self.random.random() < 0.8:
            reader.follow()
        self.readers.append(reader)
        if len(self.readers) > 6:
            self.readers.pop(self.random.randrange(6))

    def said(self, design: Any, key: Key) -> Any:
        """What a piece or a result says, asked anew."""
        if key[0] == "result":
            own = ("vehicle", "f0" if key[1] == "r0" else "f1")
            return "result", key[1], self.said(design, own), self.said(design, ("high_voltage", "g"))
        value = piece(design, key)
        return "absent" if type(value) is object else value

    def thing(self, design: Any, number: int, log: set[Key]) -> Any:
        """Made of pieces one after the other; which come next hangs on what the last one says."""
        out = []
        for key in self.reads[number]:
            log.add(key)
            out.append((key, self.said(design, key)))
            if len(repr(out[-1])) % 3 == 0:
                break
        return tuple(out)


class _Reader(Reader):
    def __init__(self, world: World, line: tuple[Any, ...]) -> None:
        super().__init__(world.memory, world.design(), line)
        self.world = world
        self.results: dict[str, int] = {}

    def result_token(self, name: str) -> int:
        if name not in self.results:
            if self.world.nested and self.world.random.random() < 0.3:
                self.world.begin()

            def study() -> Any:
                self.log.update([("vehicle", "f0" if name == "r0" else "f1"), ("high_voltage", "g")])
                return self.world.said(self.plain, ("result", name))

            self.results[name] = self.memory.token(("result", name), self.made(("study", name), study))
        return self.results[name]


@pytest.mark.parametrize(("lines", "versions"), [(100, 12), (3, 4), (2, 2)])
@pytest.mark.parametrize("nested", [False, True])
@pytest.mark.parametrize("seed", [1, 2])
def test_what_is_recalled_is_what_would_be_made(
    seed: int, nested: bool, lines: int, versions: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(reuse, "LINES", lines)
    monkeypatch.setattr(reuse, "VERSIONS", versions)
    world = World(seed, nested)
    world.begin()
    made = 0
    for _ in range(6000):
        if world.random.random() < 0.1:
            world.begin()
        reader, number = world.random.choice(world.readers), world.random.randrange(THINGS)

        def make(reader: _Reader = reader, number: int = number) -> Any:
            nonlocal made
            made += 1
            return world.thing(reader.plain, number, reader.log)

        assert reader.made(("thing", number), make) == world.thing(reader.plain, number, set())
    # Most is recalled: a memory that kept nothing would pass too.
    assert made < 5000
    assert len(world.memory.lines) <= lines
