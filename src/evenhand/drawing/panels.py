"""The two panels of the evenness chart, drawn as the inside of an SVG."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache

import numpy as np

from evenhand.colourmath.white import kelvin_duv
from evenhand.drawing import marks
from evenhand.drawing.evenness_record import Evenness, EvennessPoint
from evenhand.drawing.marks import Labels, Point, Scale
from evenhand.drawing.spread import measured, unmeasured

WIDTH, HEIGHT = 440.0, 392.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 58.0, 430.0, 42.0, 288.0
_MIDDLE = (_LEFT + _RIGHT) / 2
_LANE = _BOTTOM + 13.0  # where clips without a measurement stand
_LEGEND = HEIGHT - 32.0
_LEGEND_2 = HEIGHT - 8.0
_EVEN_STOPS = 0.03  # clips nearer than this to the reference count as even
_EVEN_MIRED = 3.0
_LEAST_STOPS = 0.25  # the chart never zooms in further than this
_LEAST_MIRED = 15.0
_UV_PER_MIRED = 3.68e-4  # step along the Planckian locus at D65
# The nominal 6500 K bin of ANSI C78.377: half width by its formula, and ±0.006 in Duv.
_BIN_KELVIN = (6500.0 - 504.0, 6500.0 + 504.0)
_BIN_DUV = 0.006
_D65 = (0.3127, 0.3290)
_MOST_NAMES = 16


def exposure_panel(evenness: Evenness) -> str:
    """Exposure in stops from the reference, clips in their order."""
    points = measured(evenness)
    values = _known(v for p in points for v in (p.before_stops, p.after_stops))
    reach = max([_LEAST_STOPS, *(abs(v) for v in values)]) * 1.18
    up = Scale(-reach, reach, _BOTTOM, _TOP)
    across = Scale(-0.5, max(len(evenness.clips), 1) - 0.5, _LEFT, _RIGHT)
    parts = [marks.text((_LEFT, 20), "Exposure", "ev-title", "start"), *_stop_grid(up, reach)]
    for place, point in enumerate(evenness.clips):
        x = across(place)
        if point.before_stops is None:
            parts.append(marks.absent((x, _LANE), f"{point.clip}: no shared view"))
            continue
        parts += _exposure_marks(evenness, point, x, up)
    parts += _names(evenness, across)
    parts.append(_legend(evenness))
    return "".join(parts)


def white_panel(evenness: Evenness) -> str:
    """White as distance from the reference; a step is as long as it is in CIE 1960 uv."""
    plane = _plane(evenness)
    labels = Labels([], (_LEFT, _TOP, _RIGHT, _BOTTOM))
    parts = [marks.text((_LEFT, 20), "White", "ev-title", "start"), *_white_grid(plane)]
    points = [p for p in measured(evenness) if None not in (p.before_mired, p.before_duv)]
    places = [(p, *_white_places(plane, p)) for p in points]
    for _, before, after in places:
        labels.keep_free(before)
        labels.keep_free(after or before)
    parts += [marks.arrow(before, after) for _, before, after in places if after]
    for point, before, _ in places:
        if point.clip == evenness.outlier:
            parts.append(marks.ring(before))
        parts.append(_mark(evenness, point, "before", before))
    parts += [_mark(evenness, p, "after", after) for p, _, after in places if after]
    # The outlier is named first, so that it is never the one without room.
    for point, before, _ in sorted(places, key=lambda item: item[0].clip != evenness.outlier):
        style = "ev-out" if point.clip == evenness.outlier else "ev-name"
        parts.append(labels.add(before, marks.shortened(point.clip), style))
    parts.append(_scale_note())
    return "".join(parts)


def _known(values: Iterable[float | None]) -> list[float]:
    return [v for v in values if v is not None]


def _stop_grid(up: Scale, reach: float) -> list[str]:
    step = marks.tick_step(reach, 4)
    digits = 2 if step < 0.1 else 1 if step < 1 else 0
    parts = []
    for tick in marks.ticks(reach, 4):
        style = "ev-zero" if tick == 0 else "ev-grid"
        parts.append(marks.line((_LEFT, up(tick)), (_RIGHT, up(tick)), style))
        label = marks.signed(tick, digits)
        parts.append(marks.text((_LEFT - 8, up(tick) + 4.5), label, anchor="end"))
    # At least two pixels, so that the band is seen where the faults are large.
    half = max(up(0) - up(_EVEN_STOPS), 1.0)
    parts.insert(0, marks.rect((_LEFT, up(0) - half), (_RIGHT - _LEFT, 2 * half), "ev-band"))
    parts.append(marks.text((_RIGHT, 20), "stops from the reference; band ±0.03", anchor="end"))
    parts.append(marks.text((_LEFT, _TOP + 4), "↑ brighter", anchor="start"))
    return parts


def _exposure_marks(evenness: Evenness, point: EvennessPoint, x: float, up: Scale) -> list[str]:
    parts = []
    before = (x, up(point.before_stops or 0.0))
    after = None if point.after_stops is None else (x, up(point.after_stops))
    if after:
        parts.append(marks.arrow(before, after))
    if point.clip == evenness.outlier:
        parts.append(marks.ring(before))
    parts.append(_mark(evenness, point, "before", before))
    if after:
        parts.append(_mark(evenness, point, "after", after))
    return parts


def _mark(evenness: Evenness, point: EvennessPoint, when: marks.When, at: Point) -> str:
    stops, mired, duv = (
        (point.before_stops, point.before_mired, point.before_duv)
        if when == "before"
        else (point.after_stops, point.after_mired, point.after_duv)
    )
    figures = [f"{marks.signed(stops, 2)} stop"] if stops is not None else []
    if mired is not None and duv is not None:
        figures.append(f"{marks.signed(mired, 1)} mired, Duv {marks.signed(duv, 4)}")
    title = f"{point.clip} {when}: {', '.join(figures)}"
    return marks.marker(at, when, title, point.clip == evenness.reference)


def _names(evenness: Evenness, across: Scale) -> list[str]:
    """Clip names under the columns: level where they fit, else on a slant, else some of them."""
    names = [marks.shortened(p.clip) for p in evenness.clips]
    if not names:
        return []
    room = across(1) - across(0)
    level = max(map(len, names)) * 7.4 <= room
    every = -(-len(names) // _MOST_NAMES)
    parts = []
    for place, (point, name) in enumerate(zip(evenness.clips, names, strict=True)):
        told = point.clip == evenness.outlier
        if place % every and not told:
            continue
        style = "ev-out" if told else "ev-name"
        at = (across(place), _BOTTOM + (36 if level else 32))
        parts.append(
            marks.text(at, name, style)
            if level
            else marks.text((at[0] + 4, at[1]), name, style, "end", -38)
        )
    return parts


def _legend(evenness: Evenness) -> str:
    y = _LEGEND - 4.5
    parts = [
        marks.key((_LEFT + 6, y), "before"),
        marks.text((_LEFT + 18, _LEGEND), "as shot", anchor="start"),
        marks.key((_LEFT + 86, y), "after"),
        marks.text((_LEFT + 98, _LEGEND), "levelled", anchor="start"),
        marks.key((_LEFT + 170, y), "after", reference=True),
        marks.text((_LEFT + 184, _LEGEND), "reference", anchor="start"),
    ]
    lost = [marks.shortened(p.clip) for p in unmeasured(evenness)]
    if lost:
        shown = ", ".join(lost[:3]) + (f" and {len(lost) - 3} more" if len(lost) > 3 else "")
        parts.append(marks.absent_key((_LEFT + 6, _LEGEND_2 - 4.5)))
        words = f"no shared view, not measured: {shown}"
        parts.append(marks.text((_LEFT + 18, _LEGEND_2), words, anchor="start"))
    return "".join(parts)


@dataclass(frozen=True, slots=True)
class _Plane:
    """Mired and Duv from the reference to the picture, at one scale in CIE 1960 uv."""

    pixels_per_uv: float
    centre: Point

    def __call__(self, mired: float, duv: float) -> Point:
        k = self.pixels_per_uv
        return self.centre[0] + mired * _UV_PER_MIRED * k, self.centre[1] - duv * k


def _plane(evenness: Evenness) -> _Plane:
    points = measured(evenness)
    mired = _known(v for p in points for v in (p.before_mired, p.after_mired))
    duv = _known(v for p in points for v in (p.before_duv, p.after_duv))
    wide = max([_LEAST_MIRED, *(abs(v) for v in mired)]) * _UV_PER_MIRED
    high = max([_BIN_DUV * 0.75, *(abs(v) for v in duv)])
    half_wide, half_high = (_RIGHT - _LEFT) / 2 - 18, (_BOTTOM - _TOP) / 2 - 18
    return _Plane(min(half_wide / wide, half_high / high), (_MIDDLE, (_TOP + _BOTTOM) / 2))


def _white_places(plane: _Plane, point: EvennessPoint) -> tuple[Point, Point | None]:
    before = plane(point.before_mired or 0.0, point.before_duv or 0.0)
    if point.after_mired is None or point.after_duv is None:
        return before, None
    return before, plane(point.after_mired, point.after_duv)


def _white_grid(plane: _Plane) -> list[str]:
    parts = []
    reach = (_RIGHT - _LEFT) / 2 / plane.pixels_per_uv
    for tick in marks.ticks(reach / _UV_PER_MIRED):
        x = plane(tick, 0)[0]
        style = "ev-zero" if tick == 0 else "ev-grid"
        parts.append(marks.line((x, _TOP), (x, _BOTTOM), style))
        parts.append(marks.text((x, _BOTTOM + 17), marks.signed(tick, 0)))
    for tick in marks.ticks((_BOTTOM - _TOP) / 2 / plane.pixels_per_uv):
        y = plane(0, tick)[1]
        if tick:  # at zero runs daylight itself
            parts.append(marks.line((_LEFT, y), (_RIGHT, y), "ev-grid"))
        parts.append(marks.text((_LEFT - 8, y + 4.5), marks.signed(tick, 3), anchor="end"))
    parts += _references(plane)
    parts.append(marks.text((_RIGHT, 20), "mired and Duv from the reference", anchor="end"))
    parts.append(marks.text((_LEFT, _BOTTOM + 36), "← cooler", anchor="start"))
    parts.append(marks.text((_RIGHT, _BOTTOM + 36), "warmer →", anchor="end"))
    parts.append(marks.text((_MIDDLE, _BOTTOM + 36), "mired"))
    parts.append(marks.text((_LEFT, _TOP + 4), "↑ greener (Duv)", anchor="start"))
    return parts


def _references(plane: _Plane) -> list[str]:
    """Daylight, the 6500 K bin and the circle of 3 mired, as if the reference were D65."""
    inside = [p for p in (plane(*offset) for offset in _daylight()) if _in_plot(p)]
    locus = " ".join(f"{x:.1f},{y:.1f}" for x, y in inside)
    corners = [plane(m, d) for m, d in _bin()]
    quad = " ".join(f"{x:.1f},{_clip_y(y):.1f}" for x, y in corners)
    x, y = plane(0, 0)
    radius = _EVEN_MIRED * _UV_PER_MIRED * plane.pixels_per_uv
    return [
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{radius:.1f}" class="ev-band"/>',
        f'<polyline points="{locus}" class="ev-locus"/>',
        f'<polygon points="{quad}" class="ev-bin"/>',
        marks.text((_RIGHT, inside[-1][1] - 6), "daylight", anchor="end") if inside else "",
    ]


def _in_plot(point: Point) -> bool:
    return _LEFT <= point[0] <= _RIGHT and _TOP <= point[1] <= _BOTTOM


def _clip_y(y: float) -> float:
    return min(max(y, _TOP), _BOTTOM)


def _scale_note() -> str:
    y = _LEGEND - 4.5
    return "".join(
        (
            marks.line((_LEFT, y), (_LEFT + 24, y), "ev-bin"),
            marks.text(
                (_LEFT + 32, _LEGEND), "one 6500 K lamp class, ANSI C78.377", anchor="start"
            ),
            f'<circle cx="{_LEFT + 12:.1f}" cy="{_LEGEND_2 - 4.5:.1f}" r="7" class="ev-band"/>',
            marks.text((_LEFT + 32, _LEGEND_2), "3 mired: too near to see apart", anchor="start"),
        )
    )


@cache
def _daylight() -> tuple[Point, ...]:
    """The CIE daylight locus as (mired, Duv) from D65, 4500 K to 15 000 K (CIE 15)."""
    start = _relative(_D65)
    kelvin = 1e6 / np.linspace(1e6 / 15000, 1e6 / 4500, 48)
    t = 1e3 / kelvin
    low = -4.6070 * t**3 + 2.9678 * t**2 + 0.09911 * t + 0.244063
    high = -2.0064 * t**3 + 1.9018 * t**2 + 0.24748 * t + 0.237040
    x = np.where(kelvin <= 7000, low, high)
    y = -3.0 * x**2 + 2.87 * x - 0.275
    found = [_relative((float(a), float(b))) for a, b in zip(x, y, strict=True)]
    return tuple((m - start[0], d - start[1]) for m, d in found)


@cache
def _bin() -> tuple[Point, ...]:
    """Corners of the ANSI C78.377 6500 K quadrangle as (mired, Duv) from D65."""
    mired, duv = _relative(_D65)
    corners = []
    for kelvin, side in zip((*_BIN_KELVIN, *reversed(_BIN_KELVIN)), (1, 1, -1, -1), strict=True):
        middle = 57700.0 / kelvin**2 - 44.6 / kelvin + 0.00854
        corners.append((1e6 / kelvin - mired, middle + side * _BIN_DUV - duv))
    return tuple(corners)


def _relative(xy: Point) -> Point:
    kelvin, duv = kelvin_duv(xy)
    return 1e6 / kelvin, duv
