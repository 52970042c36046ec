"""A question on graphs that several studies ask: which edges lie on loops together."""

from collections import defaultdict
from collections.abc import Sequence
from typing import TypeAlias

Count: TypeAlias = dict[str, int]


def blocks(some: Sequence[tuple[str, str, str]]) -> list[set[str]]:
    """Biconnected components of a graph, given by id and both ends of every edge, as sets of these ids.

    Tarjan's algorithm, written without recursion.
    """
    near: dict[str, list[tuple[str, int]]] = defaultdict(list)
    for index, (_, a, b) in enumerate(some):
        near[a].append((b, index))
        near[b].append((a, index))
    order: dict[str, int] = {}
    low: dict[str, int] = {}
    found: list[set[str]] = []
    ids = [edge[0] for edge in some]
    for start in near:
        if start in order:
            continue
        order[start] = low[start] = len(order)
        pending: list[int] = []
        stack = [(start, -1, iter(near[start]))]
        while stack:
            node, came_by, rest = stack[-1]
            step = next(rest, None)
            if step is None:
                stack.pop()
                if stack:
                    _leave(stack[-1][0], node, came_by, low, order, pending, ids, found)
                continue
            other, index = step
            if index == came_by:
                continue
            if other not in order:
                pending.append(index)
                order[other] = low[other] = len(order)
                stack.append((other, index, iter(near[other])))
            elif order[other] < order[node]:
                pending.append(index)
                low[node] = min(low[node], order[other])
    return found


def _leave(
    above: str,
    node: str,
    came_by: int,
    low: Count,
    order: Count,
    pending: list[int],
    ids: list[str],
    found: list[set[str]],
) -> None:
    low[above] = min(low[above], low[node])
    if low[node] >= order[above]:
        block: set[str] = set()
        while True:
            index = pending.pop()
            block.add(ids[index])
            if index == came_by:
                break
        found.append(block)
