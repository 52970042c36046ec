"""What was made before in this process, kept with what was read for it and made again only where that changed.

Whatever is made from a design and its results is made by looking at some of their pieces; where all of these say the
same again, so does what was made.
"""

from abc import ABC, abstractmethod
from collections.abc import Callable, Iterable
from typing import Any, TypeAlias, TypeVar

from tristrand.design import Design, Key, piece, watched

Thing = TypeVar("Thing")

# A design, its edits and its trial changes in turn: more versions of one thing are seldom met again.
VERSIONS = 12
Line: TypeAlias = tuple[Any, ...]
"""Designs that are asked for one after the other and differ little: (), or the trials of one way out."""
LINES = 100
MOST_SETS = 10_000
Numbers: TypeAlias = tuple[int, ...]
Bits: TypeAlias = int
"""A set of numbers of keys: bit k stands for number k."""


class Said:
    """What one design says, as far as it was looked at: tokens by number of key, and what was made of them."""

    def __init__(self, design: Design, before: "Said | None", groups: dict[Any, Bits]) -> None:
        self.design = design
        self.before: Said | None = before
        self.tokens: dict[int, int] = {}
        self.things: dict[Key, tuple[Bits, Any]] = {}
        self.differ: Bits = 0
        """Of those in ``known``, those that say something else than in the design before, while there is one."""
        self.known: Bits = 0
        """The numbers whose token is known."""
        if before is not None:
            before.settle()
            self.known = before.known & _common(before.design, design, groups)

    def settle(self) -> None:
        """Hold by itself what it has in common with the design before, which need not be kept for it."""
        before, self.before = self.before, None
        if before is None:
            return
        for number, token in before.tokens.items():
            if self.known >> number & 1:
                self.tokens.setdefault(number, token)
        same = self.known & ~self.differ
        for key, thing in before.things.items():
            if not thing[0] & ~same:
                self.things.setdefault(key, thing)

    def token(self, number: int) -> int | None:
        """The token of a key, where it is known."""
        token = self.tokens.get(number)
        if token is None and self.before is not None and self.known >> number & 1:
            token = self.before.tokens.get(number)
        return token

    def note(self, number: int, token: int) -> None:
        """Take down the token of a key."""
        self.tokens[number] = token
        self.known |= 1 << number
        if self.before is not None and self.before.tokens.get(number) != token:
            self.differ |= 1 << number


def _common(before: Design, after: Design, groups: dict[Any, Bits]) -> Bits:
    """What two designs have in common: the very objects, of files unchanged."""
    same: Bits = 0
    if before.vehicle is after.vehicle:
        same |= groups.get("vehicle", 0)
    if before.high_voltage is after.high_voltage:
        same |= groups.get("high_voltage", 0) | groups.get("part", 0) | groups.get("kind", 0)
    for name, sheet in after.sheets.items():
        if before.sheets.get(name) is sheet:
            same |= groups.get(("sheet", name), 0)
    return same


class Memory:
    """Things by key, each in some versions; keys by number, and a token for every value."""

    def __init__(self) -> None:
        self.keys: list[Key] = []
        self.groups: dict[Any, Bits] = {}
        self.lines: dict[Line, Said] = {}
        self._numbers: dict[Key, int] = {}
        self._bits: dict[Numbers, Bits] = {}
        self._made: dict[Key, dict[Numbers, dict[Numbers, Any]]] = {}
        self._values: dict[Key, list[tuple[Any, int]]] = {}
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
            group = key[:2] if key[0] == "sheet" else key[0]
            self.groups[group] = self.groups.get(group, 0) | 1 << number
        return number

    def bits(self, reads: Numbers) -> Bits:
        """Numbers as a set."""
        bits = self._bits.get(reads)
        if bits is None:
            if len(self._bits) > MOST_SETS:
                self._bits.clear()
            bits = self._bits[reads] = sum(1 << number for number in set(reads))
        return bits

    def before(self, line: Line) -> Said | None:
        """What the design before in a line said; for the first one of a line, the design that was run last."""
        return self.lines.get(line) or self.lines.get(())

    def remember(self, line: Line, said: Said) -> None:
        """Let the next design of a line be compared with this one."""
        self.lines.pop(line, None)
        self.lines[line] = said
        if len(self.lines) > LINES:
            del self.lines[next(old for old in self.lines if old)]

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

    def versions(self, key: Key) -> dict[Numbers, dict[Numbers, Any]]:
        """A thing by what was read for it (numbers of keys, the tokens that they had)."""
        return self._made.setdefault(key, {})


class Reader(ABC):
    """Reads one design, and the results made from it, for whoever wants to keep what comes of it."""

    def __init__(self, memory: Memory, design: Design, line: Line = ()) -> None:
        self.memory, self.plain, self.line = memory, design, line
        self.log: set[Key] = set()
        self._said = Said(design, memory.before(line), memory.groups)
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
        token = self._said.token(number)
        if token is None:
            token = self._token(self.memory.keys[number])
            self._said.note(number, token)
        return token

    def _token(self, key: Key) -> int:
        if key[0] == "result":
            return self.result_token(key[1])
        if key[0] == "once":
            return self.memory.token(key, self._made_once(key[1]))
        return self.memory.token(key, piece(self.plain, key))

    def follow(self) -> None:
        """Let the next design of the line take over what it has in common with this one."""
        self.memory.remember(self.line, self._said)

    def recall(self, key: Key) -> Any:
        """A thing whose every reading says the same in this design; None where there is none."""
        before = self._said.before
        last = before.things.get(key) if before else None
        # Where another design was begun meanwhile, this one can no longer be compared with the one before.
        if last is not None and self._holds(last[0]) and self._said.before is before:
            self._said.things[key] = last
            return last[1]
        for reads, versions in self.memory.versions(key).items():
            found = versions.get(tuple(map(self.token, reads)))
            if found is not None:
                self._said.things[key] = self.memory.bits(reads), found
                return found
        return None

    def _holds(self, bits: Bits) -> bool:
        """Whether all these say the same as in the design before."""
        said = self._said
        unknown = bits & ~said.known
        while unknown and not bits & said.differ:
            self.token(unknown.bit_length() - 1)
            unknown &= ~said.known
        return not bits & said.differ

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
        self._said.things[key] = self.memory.bits(reads), thing
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
    if a is b or type(a) in _PLAIN:
        return True
    if isinstance(a, dict):
        return list(a) == list(b) and _each_in_one_order(a.values(), b.values())
    if isinstance(a, tuple | list):
        return _each_in_one_order(a, b)
    return not hasattr(a, "__dict__") or _each_in_one_order(vars(a).values(), vars(b).values())


def _each_in_one_order(some: Iterable[Any], others: Iterable[Any]) -> bool:
    for a, b in zip(some, others, strict=True):
        if a is not b and type(a) not in _PLAIN and not _in_one_order(a, b):
            return False
    return True


_PLAIN = frozenset({float, int, str, bool, type(None)})
