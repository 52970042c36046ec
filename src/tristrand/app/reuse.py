"""What was made before in this process, kept with what was read for it and made again only where that changed.

Whatever is made from a design and its results is made by looking at some of their pieces; where all of these say the
same again, so does what was made.
"""

from abc import ABC, abstractmethod
from collections.abc import Callable
from typing import Any, TypeAlias, TypeVar

from tristrand.design import Design, Key, piece, watched

Thing = TypeVar("Thing")

# A design, its edits and its trial changes in turn: more versions of one thing are seldom met again.
VERSIONS = 12
Numbers: TypeAlias = tuple[int, ...]


class Memory:
    """Things by key, each in some versions; keys by number, and a token for every value."""

    def __init__(self) -> None:
        self.keys: list[Key] = []
        self._numbers: dict[Key, int] = {}
        self._made: dict[Key, dict[Numbers, dict[Numbers, Any]]] = {}
        self._values: dict[Key, list[tuple[Any, int]]] = {}
        self.last: tuple[Design, dict[int, int]] | None = None
        self._count = 0

    def new_token(self) -> int:
        """A number that stands for nothing else."""
        self._count += 1
        return self._count

    def number(self, key: Key) -> int:
        """The number of a key."""
        number = self._numbers.get(key)
        if number is None:
            number = self._numbers[key] = len(self.keys)
            self.keys.append(key)
        return number

    def token(self, key: Key, value: Any) -> int:
        """The number of a value; values of one key that are equal, mappings in order too, have equal numbers."""
        known = self._values.setdefault(key, [])
        for place, (other, token) in enumerate(known):
            if other is value or (other == value and _in_one_order(other, value)):
                if place:
                    known.insert(0, known.pop(place))
                return token
        token = self.new_token()
        known.insert(0, (value, token))
        del known[VERSIONS:]
        return token

    def tokens_for(self, design: Design) -> dict[int, int]:
        """The tokens of what a design has in common with the one before: the very objects, of files unchanged."""
        if self.last is None:
            return {}
        before, tokens = self.last
        same = {"vehicle": before.vehicle is design.vehicle}
        same |= dict.fromkeys(("high_voltage", "part", "kind"), before.high_voltage is design.high_voltage)
        sheets = {name for name, sheet in design.sheets.items() if before.sheets.get(name) is sheet}
        kept = {}
        for number, token in tokens.items():
            key = self.keys[number]
            if same.get(key[0], False) or (key[0] == "sheet" and key[1] in sheets):
                kept[number] = token
        return kept

    def versions(self, key: Key) -> dict[Numbers, dict[Numbers, Any]]:
        """A thing by what was read for it (numbers of keys, the tokens that they had)."""
        return self._made.setdefault(key, {})


class Reader(ABC):
    """Reads one design, and the results made from it, for whoever wants to keep what comes of it."""

    def __init__(self, memory: Memory, design: Design) -> None:
        self.memory, self.plain = memory, design
        self.log: set[Key] = set()
        self._tokens = memory.tokens_for(design)
        self._once: dict[Any, Any] = {}

    @property
    def design(self) -> Design:
        """The design with every reading of it noted. It is not held here: it holds the reader."""
        return watched(self.plain, self)

    @abstractmethod
    def result_token(self, name: str) -> int:
        """A number that stands for what a result says."""

    def token(self, number: int) -> int:
        """What stands for what a piece, a result or a thing made once says in this design."""
        token = self._tokens.get(number)
        if token is None:
            token = self._tokens[number] = self._token(self.memory.keys[number])
        return token

    def _token(self, key: Key) -> int:
        if key[0] == "result":
            return self.result_token(key[1])
        if key[0] == "once":
            return self.memory.token(key, self._made_once(key[1]))
        return self.memory.token(key, piece(self.plain, key))

    def follow(self) -> None:
        """Let the designs that are read next take over what they have in common with this one."""
        self.memory.last = self.plain, self._tokens

    def recall(self, key: Key) -> Any:
        """A thing whose every reading says the same in this design; None where there is none."""
        for reads, versions in self.memory.versions(key).items():
            # Most tokens are known after the first few things: then nothing is called.
            tokens = tuple([self._tokens.get(read) or self.token(read) for read in reads])
            found = versions.get(tokens)
            if found is not None:
                return found
        return None

    def record(self, make: Callable[[], Thing]) -> tuple[Thing, Numbers]:
        """A thing newly made, and the numbers of the keys that were read for it."""
        outer, self.log = self.log, set()
        try:
            thing = make()
            # Results come last: to look at one may mean to compute it.
            reads = tuple(map(self.memory.number, sorted(self.log, key=_late)))
        finally:
            self.log = outer
        return thing, reads

    def keep(self, key: Key, thing: Any, reads: Numbers) -> None:
        """Keep a thing for the next design that reads the same."""
        made = self.memory.versions(key)
        versions = made.setdefault(reads, {})
        versions[tuple(map(self.token, reads))] = thing
        for old, most in ((versions, VERSIONS), (made, VERSIONS)):
            if len(old) > most:
                del old[next(iter(old))]

    def made(self, key: Key, make: Callable[[], Thing]) -> Thing:
        """A thing from before where it still holds, else newly made."""
        found = self.recall(key)
        if found is None:
            thing, reads = self.record(make)
            self.keep(key, thing, reads)
            return thing
        old: Thing = found
        return old

    def once(self, make: Callable[[Design], Thing]) -> Thing:
        """What ``make`` makes of this design; to whoever reads it, one thing read."""
        self.log.add(("once", make))
        thing: Thing = self._made_once(make)
        return thing

    def _made_once(self, make: Callable[[Design], Any]) -> Any:
        if make not in self._once:
            self._once[make] = self.made(("once", make), lambda: make(self.design))
        return self._once[make]


def _late(key: Key) -> int:
    return {"once": 1, "result": 2}.get(key[0], 0)


def _in_one_order(a: Any, b: Any) -> bool:
    """Whether equal values also hold their mappings in one order: the first of several equals is often named."""
    if a is b:
        return True
    if isinstance(a, dict):
        return list(a) == list(b) and all(_in_one_order(item, b[key]) for key, item in a.items())
    if isinstance(a, tuple | list):
        return all(x is y or _plain(x) or _in_one_order(x, y) for x, y in zip(a, b, strict=True))
    return _plain(a) or not hasattr(a, "__dict__") or _in_one_order(vars(a), vars(b))


def _plain(value: Any) -> bool:
    return isinstance(value, float | int | str | None)
