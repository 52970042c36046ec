"""Which pole a conductor belongs to, and what one plug takes off the bus. Graph questions only."""

from collections import defaultdict
from collections.abc import Iterable
from functools import lru_cache

from tristrand.records import NamedTuple
from tristrand.studies.opening import Groups


class Link(NamedTuple):
    """Something that joins two terminals; ``kind`` as in the design, connections are leads."""

    id: str
    kind: str
    a: str
    b: str


class Poles(NamedTuple):
    """The two poles of the bus as groups of terminals, every contactor closed, precharge resistors conducting."""

    joined: Groups
    positive: frozenset[str]
    negative: frozenset[str]

    def sides(self, terminal: str) -> tuple[bool, bool]:
        """Whether a terminal counts to the negative and to the positive pole.

        What lies on neither, such as the middle of two packs in series, counts to both: the harder reading.
        """
        group = self.joined.of(terminal)
        negative, positive = group in self.negative, group in self.positive
        return (True, True) if negative == positive else (negative, positive)


@lru_cache(maxsize=64)
def poles(links: tuple[Link, ...], packs: tuple[str, ...]) -> Poles:
    """The poles: top ends of packs on which no other stands, and bottom ends of those that stand on none."""
    joined = Groups((x.a, x.b) for x in links if x.kind != "discharge")
    plus = {joined.of(f"{p}.plus") for p in packs}
    minus = {joined.of(f"{p}.minus") for p in packs}
    return Poles(joined, frozenset(plus - minus), frozenset(minus - plus))


def pack_side(links: Iterable[Link], packs: Iterable[str], plus: str, minus: str) -> str:
    """What lies between two terminals while the main contactors are open: the pack, the bus, or one pole of each."""
    still = Groups((x.a, x.b) for x in links if x.kind in ("lead", "fuse", "service_disconnect"))
    ends = {still.of(f"{p}.{pole}") for p in packs for pole in ("plus", "minus")}
    on_pack = [still.of(terminal) in ends for terminal in (plus, minus)]
    return "the pack" if all(on_pack) else "one pole of the pack and one of the bus" if any(on_pack) else "the bus"


@lru_cache(maxsize=64)
def branches(
    links: tuple[Link, ...], packs: tuple[str, ...], devices: tuple[str, ...]
) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """For each device the links that feed it alone, from its own terminals to the first place that feeds others too."""
    at: dict[str, list[Link]] = defaultdict(list)
    for link in links:
        at[link.a].append(link)
        at[link.b].append(link)
    ends = {f"{p}.{pole}" for p in packs for pole in ("plus", "minus")}
    # A terminal of a device holds the device's own body too.
    bodies = {f"{d}.{pole}" for d in devices for pole in ("plus", "minus")}
    found = []
    for device in devices:
        members: dict[str, None] = {}
        for pole in ("plus", "minus"):
            terminal = f"{device}.{pole}"
            others = at[terminal]
            while len(others) == 1 and others[0].id not in members and others[0].kind not in ("main", "precharge"):
                link = others[0]
                terminal = link.b if link.a == terminal else link.a
                if terminal in ends or terminal in bodies:
                    break
                members[link.id] = None
                others = [x for x in at[terminal] if x.id != link.id]
        found.append((device, tuple(members)))
    return tuple(found)
