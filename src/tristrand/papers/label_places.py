"""Where names stand in a picture, so that they neither lie on each other nor on a line."""

import math
from collections.abc import Iterator, Sequence
from itertools import combinations, pairwise, product

import numpy as np
from numpy.typing import NDArray

from tristrand.records import NamedTuple

# Wider than the widest letters of the page's type on average, so that a name is never longer than its box.
LETTER_PX, LINE_PX, OFF_PX = 6.6, 14.0, 5.0
Floats = NDArray[np.float64]


class Frame(NamedTuple):
    """The drawing area: ends of both axes, its size in pixels, and whether both axes are logarithmic or both plain."""

    x: tuple[float, float]
    y: tuple[float, float]
    width: float
    height: float
    log: bool = True

    def pixels(self, x: Sequence[float], y: Sequence[float]) -> Floats:
        """Points as pixels from the upper left corner, (n, 2)."""
        if not self.log:
            along = (np.asarray(x) - self.x[0]) / (self.x[1] - self.x[0])
            raised = (np.asarray(y) - self.y[0]) / (self.y[1] - self.y[0])
            return np.column_stack([along * self.width, (1 - raised) * self.height])
        across = (np.log(x) - math.log(self.x[0])) / math.log(self.x[1] / self.x[0])
        up = (np.log(y) - math.log(self.y[0])) / math.log(self.y[1] / self.y[0])
        return np.column_stack([across * self.width, (1 - up) * self.height])


class Name(NamedTuple):
    """A name and the curve it belongs to, in the units of the axes; an upright curve has its name written downwards."""

    text: str
    x: tuple[float, ...]
    y: tuple[float, ...]
    upright: bool = False


class Place(NamedTuple):
    """Where a name stands: its anchor in pixels, how it is turned and aligned; ``box`` is left, top, right, bottom."""

    x_px: float
    y_px: float
    angle: int
    align: str
    box: tuple[float, float, float, float]


def trail(points: Floats) -> Floats:
    """Points of a polyline at most 4 pixels apart."""
    pieces = [points[:1]]
    for a, b in pairwise(points):
        count = max(int(math.dist(a, b) / 4.0), 1)
        pieces.append(a + (b - a) * (np.arange(1, count + 1) / count)[:, None])
    return np.concatenate(pieces)


def places(names: Sequence[Name], frame: Frame, nameless: Sequence[Name] = ()) -> list[Place]:
    """One place for each name, the best of many tried: inside, off other names, off the lines, near its own curve.

    ``nameless``: lines that names must keep off as well.
    """
    trails = [trail(frame.pixels(name.x, name.y)) for name in names]
    lines = np.concatenate([*trails, *(trail(frame.pixels(line.x, line.y)) for line in nameless), np.zeros((0, 2))])
    taken: list[tuple[float, float, float, float]] = []
    found: dict[int, Place] = {}
    # What has fewest places to go comes first: the upright lines, then the longest names.
    for k in sorted(range(len(names)), key=lambda k: (not names[k].upright, -len(names[k].text))):
        tried = _upright(names[k], trails[k], frame) if names[k].upright else _along(names[k], trails[k])
        found[k] = min(tried, key=lambda place: _cost(place.box, lines, taken, frame))
        taken.append(found[k].box)
    return [found[k] for k in range(len(names))]


def _upright(name: Name, points: Floats, frame: Frame) -> Iterator[Place]:
    """Beside the line on either side, from high to low."""
    x, length = float(points[0, 0]), LETTER_PX * len(name.text)
    for top in np.linspace(6.0, max(frame.height - length - 6.0, 6.0), 12).tolist():
        for left in (x + OFF_PX, x - OFF_PX - LINE_PX):
            yield Place(left + LINE_PX / 2, top, 90, "left", (left, top, left + LINE_PX, top + length))


def _along(name: Name, points: Floats) -> Iterator[Place]:
    """At points of its curve: above right, below left, and the other two corners."""
    width = LETTER_PX * len(name.text)
    for x, y in points[:: max(len(points) // 40, 1)].tolist():
        for right in (True, False):
            for above in (True, False):
                left = x + OFF_PX if right else x - OFF_PX - width
                top = y - OFF_PX - LINE_PX if above else y + OFF_PX
                box = (left, top, left + width, top + LINE_PX)
                yield Place(left, top + LINE_PX / 2, 0, "left", box)


def _cost(
    box: tuple[float, float, float, float], lines: Floats, taken: Sequence[tuple[float, ...]], frame: Frame
) -> float:
    """How bad a place is; the first of equal ones is taken."""
    left, top, right, bottom = box
    over = sum(max(0.0, by) for by in (2 - left, 2 - top, right - frame.width + 2, bottom - frame.height + 2))
    clash = 0.0
    for other in taken:
        wide, high = min(right, other[2]) - max(left, other[0]) + 4, min(bottom, other[3]) - max(top, other[1]) + 4
        clash += wide * high if wide > 0 and high > 0 else 0.0
    inside = (lines[:, 0] > left - 2) & (lines[:, 0] < right + 2) & (lines[:, 1] > top - 1) & (lines[:, 1] < bottom + 1)
    return 1000.0 * over + 100.0 * clash + float(np.count_nonzero(inside))


def above(places_px: Sequence[float], texts: Sequence[str], width: float) -> list[tuple[int, str]]:
    """Row over the frame, counted from 0, and alignment for words at upright lines, so that each is read at its own.

    Args:
        places_px: where the lines stand, from the left edge, (n,); n is small, every way is tried.
        texts: the words, (n,).
        width: of the frame, in pixels.
    """
    ways = list(product(range(len(texts)), ("center", "left", "right")))
    best = min(product(ways, repeat=len(texts)), key=lambda tried: _crowding(tried, places_px, texts, width))
    return list(best)


def _crowding(
    tried: Sequence[tuple[int, str]], places_px: Sequence[float], texts: Sequence[str], width: float
) -> tuple[float, ...]:
    """How bad it is: words that touch or leave the page, then words over another's line, then rows, then alignment."""
    spans = []
    for (_, align), x, text in zip(tried, places_px, texts, strict=True):
        length = LETTER_PX * len(text)
        left = x - {"center": length / 2, "left": 0.0, "right": length}[align]
        spans.append((left, left + length))
    rows = [row for row, _ in tried]
    clash = sum(
        rows[i] == rows[j] and spans[i][0] - LINE_PX < spans[j][1] and spans[j][0] - LINE_PX < spans[i][1]
        for i, j in combinations(range(len(rows)), 2)
    )
    outside = sum(left < -30.0 or right > width + 60.0 for left, right in spans)
    astray = sum(
        left - OFF_PX < x < right + OFF_PX
        for i, (left, right) in enumerate(spans)
        for j, x in enumerate(places_px)
        if i != j
    )
    return clash + outside, astray, sum(rows), sum(align != "center" for _, align in tried)
