"""A plot laid out in a box: strokes, dots and words with their places, for SVG and PDF alike."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import ceil, floor, log10
from typing import Literal

from kneewall.records.plots import Mark, Plot

Point = tuple[float, float]
Anchor = Literal["start", "middle", "end"]


@dataclass(frozen=True)
class Box:
    """Whole size, and about how wide a letter and how high a line is, in one unit of length."""

    width: float
    height: float
    letter: float
    line: float


@dataclass(frozen=True)
class Stroke:
    kind: Literal["axis", "limit", "ink"]
    points: list[Point]


@dataclass(frozen=True)
class Dot:
    at: Point
    ring: bool
    """What the others are held against."""


@dataclass(frozen=True)
class Text:
    """`at` is where its baseline begins, ends or has its middle."""

    kind: Literal["axis", "name", "value"]
    at: Point
    anchor: Anchor
    text: str


@dataclass(frozen=True)
class Drawing:
    box: Box
    strokes: list[Stroke]
    dots: list[Dot]
    texts: list[Text]


def lay_out(plot: Plot, box: Box) -> Drawing:
    """The plot in a box; y goes down, as paper and screens have it. At least one figure is known."""
    return _Layout(plot, box).drawing()


class _Layout:
    def __init__(self, plot: Plot, box: Box) -> None:
        self.plot = plot
        self.box = box
        self.ticks_up = _ticks(*_reach(plot))
        ends = [x for curve in plot.curves for x, _ in curve.points]
        ends += [mark.x for mark in plot.marks]
        low, high = min(ends), max(ends)
        # One reading alone stands at the left, with room for the next.
        self.across = (low, high if high > low else low + max(1.0, abs(low)))
        widest = max(len(_written(tick)) for tick in self.ticks_up)
        self.left = box.letter * (widest + 1.5)
        self.right = box.width - box.letter
        self.top = 2.2 * box.line
        self.bottom = box.height - (1.6 if not plot.across else 2.8) * box.line

    def drawing(self) -> Drawing:
        plot, box = self.plot, self.box
        frame = [(self.left, self.top), (self.left, self.bottom), (self.right, self.bottom)]
        strokes = [Stroke("axis", frame), *self._tick_marks()]
        for limit in plot.limits:
            y = self._y(limit.at)
            strokes.append(Stroke("limit", [(self.left, y), (self.right, y)]))
        for curve in plot.curves:
            runs = _runs(curve.points)
            strokes += [Stroke("ink", [self._place(p) for p in run]) for run in runs]
        marks = [mark for mark in plot.marks if self.across[0] <= mark.x <= self.across[1]]
        dots = [Dot(self._place((mark.x, mark.y)), mark.first) for mark in marks]
        texts = [*self._scale_texts(), *_apart(list(self._labels()), box, self.top, self.bottom)]
        return Drawing(box, strokes, dots, texts)

    def _x(self, value: float) -> float:
        low, high = self.across
        left = self.left + (1.5 * self.box.letter if self.plot.visits else 0)
        return left + (value - low) / (high - low) * (self.right - self.box.letter - left)

    def _y(self, value: float) -> float:
        low, high = self.ticks_up[0], self.ticks_up[-1]
        return self.bottom - (value - low) / (high - low) * (self.bottom - self.top)

    def _place(self, point: Point) -> Point:
        return self._x(point[0]), self._y(point[1])

    def _tick_marks(self) -> Iterator[Stroke]:
        length = self.box.line / 3
        for value in self.ticks_up:
            yield Stroke(
                "axis", [(self.left - length, self._y(value)), (self.left, self._y(value))]
            )
        for x, _, _ in self._feet():
            yield Stroke("axis", [(x, self.bottom), (x, self.bottom + length)])

    def _scale_texts(self) -> Iterator[Text]:
        box = self.box
        for value in self.ticks_up:
            at = (self.left - box.line / 2, self._y(value) + box.line / 3.5)
            yield Text("axis", at, "end", _written(value))
        for x, said, anchor in self._feet():
            yield Text("axis", (x, self.bottom + 1.25 * box.line), anchor, said)
        yield Text("axis", (0, self.top - box.line), "start", self.plot.up)
        if self.plot.across:
            yield Text("axis", (self.right, box.height - 0.25 * box.line), "end", self.plot.across)

    def _feet(self) -> Iterator[tuple[float, str, Anchor]]:
        """What stands below the axis: figures, or the days of visits, as many as have room."""
        if not self.plot.visits:
            for tick in _ticks(*self.across):
                if self.across[0] <= tick <= self.across[1]:
                    yield self._x(tick), _written(tick), "middle"
            return
        first, *between = [(self._x(each.at), each.day) for each in self.plot.visits]
        last = between.pop() if between else None
        width = self.box.letter * (len(first[1]) + 1)
        yield *first, "start"
        free = first[0] + width
        end = last[0] - width if last else self.box.width
        for x, said in between:
            if x - width / 2 >= free and x + width / 2 <= end:
                yield x, said, "middle"
                free = x + width / 2
        if last and end >= free:
            yield *last, "end"

    def _falls_beside(self, mark: Mark, before: bool) -> bool:
        """Whether the line falls away from a mark to where its label is written."""
        for curve in self.plot.curves:
            known = [(x, y) for x, y in curve.points if y is not None]
            if (mark.x, mark.y) in known:
                at = known.index((mark.x, mark.y)) + (-1 if before else 1)
                return 0 <= at < len(known) and known[at][1] < mark.y
        return False

    def _labels(self) -> Iterator[Text]:
        letter, line = self.box.letter, self.box.line
        for mark in self.plot.marks:
            if mark.said:
                x, y = self._place((mark.x, mark.y))
                right = x > (self.left + self.right) / 2
                falls = self._falls_beside(mark, right)
                crossed = any(0 < self._y(limit.at) - y < 1.3 * line for limit in self.plot.limits)
                beside = x - letter if right else x + letter
                at = (beside, y - 0.5 * line if crossed or falls else y + 1.2 * line)
                yield Text("value", at, "end" if right else "start", mark.said)
        for limit in self.plot.limits:
            at = (self.left + letter, self._y(limit.at) - line / 3)
            yield Text("name", at, "start", f"{limit.label} {limit.said}")
        for curve in self.plot.curves:
            known = [(x, y) for x, y in curve.points if y is not None]
            if curve.label and known:
                x, y = self._place(known[-1])
                yield Text("name", (x, y - line / 2), "end", curve.label)


def _reach(plot: Plot) -> Point:
    """From zero where the figures come near it; else close around them, so that a small loss shows."""
    all_of_it = [y for _, y in plot.known]
    all_of_it += [limit.at for limit in plot.limits] + [mark.y for mark in plot.marks]
    low, high = min(all_of_it), max(all_of_it)
    room = (high - low or abs(high) or 1) * 0.12
    start = low - room if low > 0 and high - low < low / 2 else min(0.0, low)
    return start, max(high + room, start + room)


def _ticks(low: float, high: float) -> list[float]:
    """Round figures about four apart that hold both ends."""
    rough = (high - low) / 4
    size = 10.0 ** floor(log10(rough))
    step = next(size * n for n in (1, 2, 5, 10) if size * n >= rough * 0.999)
    return [n * step for n in range(floor(low / step + 1e-9), ceil(high / step - 1e-9) + 1)]


def _written(tick: float) -> str:
    return f"{tick:.6g}".replace("-", "−")


def _runs(points: Sequence[tuple[float, float | None]]) -> list[list[Point]]:
    """The stretches between gaps; a point alone is no line."""
    runs: list[list[Point]] = []
    for (x0, y0), (x1, y1) in pairwise(points):
        if y0 is None or y1 is None:
            continue
        if runs and runs[-1][-1] == (x0, y0):
            runs[-1].append((x1, y1))
        else:
            runs.append([(x0, y0), (x1, y1)])
    return runs


def _apart(labels: Sequence[Text], box: Box, top: float, bottom: float) -> list[Text]:
    """Labels that would lie on one placed before go up, or down where there is no more room."""
    placed: list[Text] = []
    for label in labels:
        x, y = label.at
        steps = [n * box.line for n in range(len(labels) + 1)]
        up = [y - step for step in steps if y - step > top]
        down = [y + step for step in steps if y + step < bottom]
        moved = (Text(label.kind, (x, at), label.anchor, label.text) for at in (*up, *down))
        free = (one for one in moved if not any(_touch(one, other, box) for other in placed))
        placed.append(next(free, label))
    return placed


def _touch(one: Text, other: Text, box: Box) -> bool:
    from_one, to_one = _extent(one, box)
    from_other, to_other = _extent(other, box)
    apart = abs(one.at[1] - other.at[1]) >= box.line * 0.99
    return not apart and from_one < to_other and from_other < to_one


def _extent(text: Text, box: Box) -> Point:
    width = len(text.text) * box.letter
    x = text.at[0] - (width if text.anchor == "end" else 0)
    return x, x + width
