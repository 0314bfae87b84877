"""Marks shared by the panels of the evenness chart: scales, ticks, markers, arrows, labels.

Everything returns SVG text. Shape tells before (hollow) from after (filled) and the reference
(diamond) from the rest, so that no meaning hangs on colour alone.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from evenhand.drawing.escaping import escape

Point = tuple[float, float]
When = Literal["before", "after"]

RADIUS = 6.0
LEAST_WHISKER = 2 * RADIUS + 2  # pixels; a shorter one is hidden by its mark
_ARROW = 8.0


@dataclass(frozen=True, slots=True)
class Scale:
    """A straight map from a value to a place in the picture: `low` to `start`, `high` to `end`."""

    low: float
    high: float
    start: float
    end: float

    def __call__(self, value: float) -> float:
        share = (value - self.low) / (self.high - self.low)
        return self.start + share * (self.end - self.start)


def tick_step(reach: float, parts: int = 3) -> float:
    """A step of 1, 2 or 5 times a power of ten that cuts `reach` into about `parts` parts."""
    raw = reach / parts
    power = 10.0 ** math.floor(math.log10(raw))
    return next(m * power for m in (1.0, 2.0, 5.0, 10.0) if m * power >= raw * 0.999)


def ticks(reach: float, parts: int = 3) -> list[float]:
    """Multiples of a round step from -reach to reach, zero among them."""
    step = tick_step(reach, parts)
    count = math.floor(reach / step + 1e-9)
    return [i * step for i in range(-count, count + 1)]


def shortened(name: str, most: int = 14) -> str:
    """`name` with its middle left out where it is longer than `most` characters."""
    if len(name) <= most:
        return name
    head = (most - 1) // 2
    return f"{name[:head]}…{name[-(most - 1 - head) :]}"


def text(at: Point, words: str, style: str = "", anchor: str = "middle", turn: float = 0) -> str:
    """A line of text at a point; `style` is a class of the chart's sheet."""
    x, y = at
    turned = f' transform="rotate({turn:g} {x:.1f} {y:.1f})"' if turn else ""
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" class="ev-t {style}" text-anchor="{anchor}"{turned}>'
        f"{escape(words)}</text>"
    )


def line(a: Point, b: Point, style: str) -> str:
    """A straight line."""
    return (
        f'<line x1="{a[0]:.1f}" y1="{a[1]:.1f}" x2="{b[0]:.1f}" y2="{b[1]:.1f}" class="{style}"/>'
    )


def rect(corner: Point, size: Point, style: str) -> str:
    """A rectangle from its upper left corner."""
    return (
        f'<rect x="{corner[0]:.1f}" y="{corner[1]:.1f}" width="{size[0]:.1f}" '
        f'height="{size[1]:.1f}" class="{style}"/>'
    )


def marker(at: Point, when: When, title: str, reference: bool = False) -> str:
    """A clip's mark: circle, or diamond for the reference; hollow before, filled after."""
    x, y = at
    style = f"ev-mark ev-{when}" + (" ev-reference" if reference else "")
    label = f"<title>{escape(title)}</title>"
    if reference:
        r = RADIUS * 1.35
        path = f"M{x:.1f} {y - r:.1f}L{x + r:.1f} {y:.1f}L{x:.1f} {y + r:.1f}L{x - r:.1f} {y:.1f}Z"
        return f'<path d="{path}" class="{style}">{label}</path>'
    r = RADIUS if when == "before" else RADIUS * 0.85
    return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{r:.1f}" class="{style}">{label}</circle>'


def absent(at: Point, title: str) -> str:
    """The mark of a clip that nothing could be measured on: a small dashed square."""
    x, y = at
    return (
        f'<rect x="{x - 5:.1f}" y="{y - 5:.1f}" width="10" height="10" class="ev-absent">'
        f"<title>{escape(title)}</title></rect>"
    )


def key(at: Point, when: When, reference: bool = False) -> str:
    """A marker for the legend; it stands for no clip."""
    return marker(at, when, "", reference).replace("ev-mark", "ev-key")


def absent_key(at: Point) -> str:
    """The mark of an unmeasured clip, for the legend."""
    return absent(at, "").replace("ev-absent", "ev-absent ev-key")


def ring(at: Point) -> str:
    """A ring that singles one mark out."""
    return f'<circle cx="{at[0]:.1f}" cy="{at[1]:.1f}" r="{RADIUS + 5:.1f}" class="ev-ring"/>'


def whisker(x: float, low: float, high: float) -> str:
    """How sure a mark is: an upright line with two feet; nothing where the mark hides it."""
    if abs(high - low) < LEAST_WHISKER:
        return ""
    feet = [line((x - 4, y), (x + 4, y), "ev-whisker") for y in (low, high)]
    return line((x, low), (x, high), "ev-whisker") + "".join(feet)


def trail(a: Point, b: Point) -> str:
    """A faint line from before to after, for a plane with many marks."""
    return line(a, b, "ev-trail")


def arrow(a: Point, b: Point) -> str:
    """An arrow between the rims of two marks; nothing where the marks nearly touch."""
    dx, dy = b[0] - a[0], b[1] - a[1]
    length = math.hypot(dx, dy)
    if length < 2 * RADIUS + 4:
        return ""
    ux, uy = dx / length, dy / length
    tail = (a[0] + ux * (RADIUS + 1), a[1] + uy * (RADIUS + 1))
    tip = (b[0] - ux * (RADIUS + 1.5), b[1] - uy * (RADIUS + 1.5))
    head = min(_ARROW, length - 2 * RADIUS - 2)
    neck = (tip[0] - ux * head, tip[1] - uy * head)
    wide = head * 0.42
    points = " ".join(
        f"{x:.1f},{y:.1f}"
        for x, y in (
            tip,
            (neck[0] - uy * wide, neck[1] + ux * wide),
            (neck[0] + uy * wide, neck[1] - ux * wide),
        )
    )
    return line(tail, neck, "ev-arrow") + f'<polygon points="{points}" class="ev-head"/>'


@dataclass(slots=True)
class Labels:
    """Places names beside marks, leaving out those that would run into another."""

    taken: list[tuple[float, float, float, float]]
    bounds: tuple[float, float, float, float]  # left, top, right, bottom

    def add(self, at: Point, name: str, style: str = "ev-name") -> str:
        """The label of a mark, outwards if it can be; empty where no side is free."""
        wide, high, gap = 7.4 * len(name), 14.0, RADIUS + 5
        x, y = at
        tries = (
            ((x + gap, y + 4.5), "start", (x + gap, y - 8)),
            ((x - gap, y + 4.5), "end", (x - gap - wide, y - 8)),
            ((x, y - gap - 1), "middle", (x - wide / 2, y - gap - 13)),
            ((x, y + gap + 10), "middle", (x - wide / 2, y + gap - 1)),
        )
        outwards = x > (self.bounds[0] + self.bounds[2]) / 2
        for place, anchor, (left, top) in tries if outwards else (*tries[1:], tries[0]):
            box = (left, top, left + wide, top + high)
            if self._inside(box) and not any(_meet(box, other) for other in self.taken):
                self.taken.append(box)
                return text(place, name, style, anchor)
        return ""

    def keep_free(self, at: Point) -> None:
        """Reserves the room of a mark."""
        r = RADIUS + 2
        self.taken.append((at[0] - r, at[1] - r, at[0] + r, at[1] + r))

    def _inside(self, box: tuple[float, float, float, float]) -> bool:
        left, top, right, bottom = self.bounds
        return box[0] >= left and box[1] >= top and box[2] <= right and box[3] <= bottom


def _meet(a: tuple[float, float, float, float], b: tuple[float, float, float, float]) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]
