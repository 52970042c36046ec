"""The known name that a word in a design file is a slip for."""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import islice

# Finding the nearest name costs time for each pair: a file full of errors must not take minutes.
MOST_NAMES = 500
WORD = 40


def nearest(word: str, names: Sequence[str]) -> str:
    """The one known name that ``word`` is a slip for; "" where none is near enough, or several are equally near."""
    found = _closest(word, names)
    return found[0] if len(found) == 1 else ""


def _closest(word: str, names: Sequence[str]) -> list[str]:
    """The names with fewest slips between them and ``word``, where those are few for its length."""
    short = _letters(str(word)[:WORD])
    best, found = WORD, list[str]()
    for name in islice(names, MOST_NAMES):
        letters = _letters(name)
        longest = max(len(short), len(letters))
        # One slip in a short word, two from eight letters on, three from twelve: with more it is another word.
        most = min(best, max(min(longest // 4, 3), longest // 5, int(longest > 2)))
        count = _slips(short, letters, most)
        if count > most or _other_rating(str(word)[:WORD], name):
            continue
        best, found = count, [*found, name] if count == best else [name]
    return found


def _letters(name: str) -> str:
    """A name as people hear it: case and the signs between its words do not count."""
    return re.sub(r"[-_ ]", "", name.casefold())


def _slips(one: str, two: str, most: int) -> int:
    """Letters put in, left out, changed or swapped with their neighbour; any number above ``most`` is too many."""
    if abs(len(one) - len(two)) > most:
        return most + 1
    before, row = list[int](), list(range(len(two) + 1))
    for i, x in enumerate(one):
        above, row = row, [i + 1]
        for j, y in enumerate(two):
            count = min(above[j] + (x != y), above[j + 1] + 1, row[j] + 1)
            if i and j and x == two[j - 1] and one[i - 1] == y:
                count = min(count, before[j - 1] + 1)
            row.append(count)
        before = above
        if min(row) > most:
            return most + 1
    return row[-1]


def _other_rating(word: str, name: str) -> bool:
    """Whether two names of sheets differ only in a figure, and widely: fuse-30 is no slip for fuse-160."""
    one, two = (re.fullmatch(r"(.*-)([0-9.]+)", text.casefold()) for text in (word, name))
    if one is None or two is None or one[1] != two[1]:
        return False
    try:
        low, high = sorted((float(one[2]), float(two[2])))
    except ValueError:
        return False
    return high > 1.5 * low


def hint(word: str, names: Sequence[str], what: str = "known names") -> str:
    """A mend line: the nearest name or two, else the list of names, those with a word in common first."""
    close = _closest(word, names)
    if 1 <= len(close) <= 2:
        return f"did you mean {' or '.join(repr(name) for name in close)}?"
    words = set(re.split(r"[-_ .]", str(word)[:WORD].casefold()))
    listed = sorted(names, key=lambda name: (words.isdisjoint(re.split(r"[-_ .]", name.casefold())), name))
    shown = ", ".join(listed[:12]) + (", ..." if len(names) > 12 else "")
    return f"{what}: {shown}" if names else f"{what}: none yet"
