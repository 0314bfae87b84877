"""The two panels of the evenness chart, drawn as the inside of an SVG."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache

import numpy as np

from evenhand.colourmath.white import kelvin_duv
from evenhand.drawing import marks
from evenhand.drawing.marks import Labels, Point, Scale
from evenhand.drawing.worst import Axis, measured, unmeasured, worst
from evenhand.measure.decisions import Difference, Evenness, EvennessPoint
from evenhand.wording.figures import difference, signed

WIDTH = 440.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 58.0, 430.0, 54.0, 294.0
_NOTE = 44.0  # baseline of the line under the title
_MIDDLE = (_LEFT + _RIGHT) / 2
_LANE = _BOTTOM + 13.0  # where clips without a measurement stand
_LOW_LEGEND, _LEGEND_ROOM = 366.0, 32.0
_LINE = 24.0  # from line to line of the legend
_SLANTED_ROOM = 42.0  # more room where names stand on a slant
_EVEN_STOPS = 0.03  # clips nearer than this to the reference count as even
_EVEN_MIRED = 3.0
SURE = 2.0  # standard errors that a whisker reaches
_LEAST_STOPS = 0.25  # the chart never zooms in further than this
_LEAST_MIRED = 15.0
_LEAST_DUV = 0.0045
_UV_PER_MIRED = 3.68e-4  # step along the Planckian locus at D65
# The 6500 K class of ANSI C78.377: 6530 K ± 510 K, Duv 0.003 ± 0.006.
_CLASS_KELVIN = (6020.0, 7040.0)
_CLASS_DUV = (-0.003, 0.009)
_D65 = (0.3127, 0.3290)
_MOST_NAMES = 16
_MOST_NAMES_IN_PLANE = 12
_LETTER = 7.4  # pixels a letter of a name


def panel_height(evenness: Evenness) -> float:
    """Height of both panels: more where the clips' names do not fit level."""
    return _legend_line(evenness) + _LEGEND_ROOM + (_LINE if _unsure(evenness) else 0.0)


def exposure_panel(evenness: Evenness) -> str:
    """Exposure in stops from the reference, clips in their order."""
    reach = _reach(evenness)
    up = Scale(-reach, reach, _BOTTOM, _TOP)
    across = Scale(-0.5, max(len(evenness.clips), 1) - 0.5, _LEFT, _RIGHT)
    parts = [*_title("Exposure", evenness, "stops"), *_stop_grid(up, reach)]
    for place, point in enumerate(evenness.clips):
        x = across(place)
        if point.before is None:
            parts.append(marks.absent((x, _LANE), f"{point.clip}: no shared view"))
            continue
        parts += _exposure_marks(evenness, point, (x, up))
    parts += _names(evenness, across)
    parts.append(_legend(evenness))
    return "".join(parts)


def _reach(evenness: Evenness) -> float:
    """Stops from the middle of the exposure panel to its edge."""
    found = [abs(d.stops) for d in _differences(measured(evenness))]
    return max([_LEAST_STOPS, *found]) * 1.18


def white_panel(evenness: Evenness) -> str:
    """White as distance from the reference; a step is as long as it is in CIE 1960 uv."""
    plane = _plane(evenness)
    labels = Labels([], (_LEFT, _TOP, _RIGHT, _BOTTOM))
    crowded = len(measured(evenness)) > _MOST_NAMES_IN_PLANE
    parts = [*_title("White", evenness, "mired"), *_white_grid(plane)]
    places = [(p, *_white_places(plane, p)) for p in measured(evenness)]
    for _, before, after in places:
        labels.keep_free(before)
        labels.keep_free(after or before)
    arrow = marks.trail if crowded else marks.arrow
    parts += [arrow(before, after) for _, before, after in places if after]
    for point, before, after in places:
        if point.clip == evenness.outlier:
            parts.append(marks.ring(after or before))
        parts.append(_mark(evenness, point, "before", before))
    parts += [_mark(evenness, p, "after", after) for p, _, after in places if after]
    # The outlier is named first, so that it is never the one without room.
    for point, before, after in sorted(places, key=lambda item: item[0].clip != evenness.outlier):
        if crowded and point.clip not in (evenness.outlier, evenness.reference):
            continue
        name, out = marks.shortened(point.clip), point.clip == evenness.outlier
        if out and after and point.after:
            name = f"{name} {signed(point.after.mired, 0)}"
        at = (after or before) if out else before
        label = labels.add(at, name, "ev-out" if out else "ev-name")
        parts.append(_led(at, name) if out and not label else label)
    parts.append(_scale_note(_legend_line(evenness)))
    return "".join(parts)


def _led(at: Point, name: str) -> str:
    """A name in the free corner, with a line to the mark: for a mark that others crowd round."""
    low = at[1] < (_TOP + _BOTTOM) / 2
    corner = (_RIGHT - 4, _BOTTOM - 8 if low else _TOP + 14)
    start = (corner[0] - 20, corner[1] - (14 if low else -5))
    rim = (at[0], at[1] + (marks.RADIUS + 5) * (1 if low else -1))
    return marks.line(start, rim, "ev-lead") + marks.text(corner, name, "ev-out", "end")


def _title(name: str, evenness: Evenness, axis: Axis) -> list[str]:
    """The panel's name, and at a glance how far the furthest clip was off and still is."""
    found = worst(evenness, axis)
    if found.before is None:
        return [marks.text((_LEFT, 20), name, "ev-title", "start")]
    digits, unit = (2, "stop") if axis == "stops" else (1, "mired")
    said = f"{found.before:.{digits}f}"
    if found.after is not None:
        said += f" → {found.after:.{digits}f}"
    return [
        marks.text((_LEFT, 20), name, "ev-title", "start"),
        marks.text((_RIGHT, 20), f"{said} {unit} at worst", "ev-worst", "end"),
    ]


def _differences(points: Iterable[EvennessPoint]) -> list[Difference]:
    """Every difference there is to draw."""
    return [d for p in points for d in (p.before, p.after) if d is not None]


def _level_names(evenness: Evenness) -> bool:
    """Whether the names fit under their columns side by side."""
    longest = max((len(marks.shortened(p.clip)) for p in evenness.clips), default=0)
    return longest * _LETTER * len(evenness.clips) <= _RIGHT - _LEFT


def _legend_line(evenness: Evenness) -> float:
    """Baseline of the first line of the legend."""
    return _LOW_LEGEND + (0.0 if _level_names(evenness) else _SLANTED_ROOM)


def _stop_grid(up: Scale, reach: float) -> list[str]:
    step = marks.tick_step(reach, 4)
    digits = 2 if step < 0.1 else 1 if step < 1 else 0
    parts = []
    for tick in marks.ticks(reach, 4):
        style = "ev-zero" if tick == 0 else "ev-grid"
        parts.append(marks.line((_LEFT, up(tick)), (_RIGHT, up(tick)), style))
        label = signed(tick, digits)
        parts.append(marks.text((_LEFT - 8, up(tick) + 4.5), label, anchor="end"))
    # At least two pixels, so that the band is seen where the faults are large.
    half = max(up(0) - up(_EVEN_STOPS), 1.0)
    parts.insert(0, marks.rect((_LEFT, up(0) - half), (_RIGHT - _LEFT, 2 * half), "ev-band"))
    parts.append(marks.text((_RIGHT, _NOTE), "stops from the reference", anchor="end"))
    parts.append(marks.text((_LEFT, _NOTE), "↑ brighter", anchor="start"))
    return parts


def _exposure_marks(
    evenness: Evenness, point: EvennessPoint, column: tuple[float, Scale]
) -> list[str]:
    x, up = column
    before = None if point.before is None else (x, up(point.before.stops))
    after = None if point.after is None else (x, up(point.after.stops))
    parts = []
    if before and after:
        parts.append(marks.arrow(before, after))
    told = after or before
    if told and point.clip == evenness.outlier:
        parts.append(marks.ring(told))
        if len(evenness.clips) <= _MOST_NAMES_IN_PLANE:
            side = -1 if x > _MIDDLE else 1
            aside = (x + side * (marks.RADIUS + 9), told[1] + 4.5)
            parts.append(marks.text(aside, _out(point), "ev-out", "start" if side > 0 else "end"))
    parts += [_mark(evenness, point, "before", before)] if before else []
    if after and point.after:
        reach = SURE * point.stops_error
        ends = (up(point.after.stops - reach), up(point.after.stops + reach))
        parts.append(marks.whisker(x, *ends))
        parts.append(_mark(evenness, point, "after", after))
    return parts


def _out(point: EvennessPoint) -> str:
    """The outlier's name with how far it is still off."""
    found = point.after or point.before
    stops = f" {signed(found.stops, 2)}" if found else ""
    return f"{marks.shortened(point.clip)}{stops}"


def _mark(evenness: Evenness, point: EvennessPoint, when: marks.When, at: Point) -> str:
    found = point.before if when == "before" else point.after
    title = f"{point.clip} {when}: {difference(found)}"
    return marks.marker(at, when, title, point.clip == evenness.reference)


def _names(evenness: Evenness, across: Scale) -> list[str]:
    """Clip names under the columns: level where they fit, else on a slant, else some of them."""
    names = [marks.shortened(p.clip) for p in evenness.clips]
    if not names:
        return []
    level = _level_names(evenness)
    every = -(-len(names) // _MOST_NAMES)
    outlier = next((i for i, p in enumerate(evenness.clips) if p.clip == evenness.outlier), None)
    parts = []
    for place, (point, name) in enumerate(zip(evenness.clips, names, strict=True)):
        told = point.clip == evenness.outlier
        beside = outlier is not None and 0 < abs(place - outlier) < every
        if (place % every or beside) and not told:
            continue
        style = "ev-out" if told else "ev-name"
        if told and len(names) > _MOST_NAMES_IN_PLANE:
            name = _out(point)
        at = (across(place), _BOTTOM + (36 if level else 32))
        parts.append(
            marks.text(at, name, style)
            if level
            else marks.text((at[0] + 4, at[1]), name, style, "end", -38)
        )
    return parts


def _legend(evenness: Evenness) -> str:
    legend = _legend_line(evenness)
    y, below = legend - 4.5, legend + _LINE
    parts = [
        marks.key((_LEFT + 6, y), "before"),
        marks.text((_LEFT + 18, legend), "as shot", anchor="start"),
        marks.key((_LEFT + 86, y), "after"),
        marks.text((_LEFT + 98, legend), "levelled", anchor="start"),
        marks.key((_LEFT + 170, y), "after", reference=True),
        marks.text((_LEFT + 184, legend), "reference", anchor="start"),
        marks.rect((_LEFT + 262, y - 5), (24, 10), "ev-band"),
        marks.text((_LEFT + 292, legend), "±0.03 stop", anchor="start"),
    ]
    lost = [marks.shortened(p.clip) for p in unmeasured(evenness)]
    if lost:
        fits = 3 if len(lost) == 3 and sum(map(len, lost)) < 20 else 2
        shown = ", ".join(lost[:fits])
        shown += f" and {len(lost) - fits} more" if len(lost) > fits else ""
        parts.append(marks.absent_key((_LEFT + 6, below - 4.5)))
        words = f"no shared view, not measured: {shown}"
        parts.append(marks.text((_LEFT + 18, below), words, anchor="start"))
        below += _LINE
    if _unsure(evenness):
        parts.append(marks.whisker(_LEFT + 6, below - 12.0, below + 3.0))
        words = "as far as two standard errors go"
        parts.append(marks.text((_LEFT + 18, below), words, anchor="start"))
    return "".join(parts)


def _unsure(evenness: Evenness) -> bool:
    """Whether a levelled clip is so unsure that its mark shows it."""
    reach = _reach(evenness)
    least = marks.LEAST_WHISKER * 2 * reach / (_BOTTOM - _TOP)
    return any(p.after is not None and 2 * SURE * p.stops_error >= least for p in evenness.clips)


@dataclass(frozen=True, slots=True)
class _Plane:
    """Mired and Duv from the reference to the picture, at one scale in CIE 1960 uv."""

    pixels_per_uv: float
    centre: Point

    def __call__(self, mired: float, duv: float) -> Point:
        k = self.pixels_per_uv
        return self.centre[0] + mired * _UV_PER_MIRED * k, self.centre[1] - duv * k


def _plane(evenness: Evenness) -> _Plane:
    found = _differences(measured(evenness))
    wide = max([_LEAST_MIRED, *(abs(d.mired) for d in found)]) * _UV_PER_MIRED
    high = max([_LEAST_DUV, *(abs(d.duv) for d in found)])
    half_wide, half_high = (_RIGHT - _LEFT) / 2 - 18, (_BOTTOM - _TOP) / 2 - 18
    return _Plane(min(half_wide / wide, half_high / high), (_MIDDLE, (_TOP + _BOTTOM) / 2))


def _white_places(plane: _Plane, point: EvennessPoint) -> tuple[Point, Point | None]:
    before, after = point.before, point.after
    start = plane(before.mired, before.duv) if before else plane.centre
    return start, plane(after.mired, after.duv) if after else None


def _white_grid(plane: _Plane) -> list[str]:
    parts = []
    reach = (_RIGHT - _LEFT) / 2 / plane.pixels_per_uv
    for tick in marks.ticks(reach / _UV_PER_MIRED):
        x = plane(tick, 0)[0]
        style = "ev-zero" if tick == 0 else "ev-grid"
        parts.append(marks.line((x, _TOP), (x, _BOTTOM), style))
        parts.append(marks.text((x, _BOTTOM + 17), signed(tick, 0)))
    for tick in marks.ticks((_BOTTOM - _TOP) / 2 / plane.pixels_per_uv):
        y = plane(0, tick)[1]
        if tick:  # at zero runs daylight itself
            parts.append(marks.line((_LEFT, y), (_RIGHT, y), "ev-grid"))
        parts.append(marks.text((_LEFT - 8, y + 4.5), signed(tick, 3), anchor="end"))
    parts += _references(plane)
    parts.append(marks.text((_RIGHT, _NOTE), "mired and Duv from the reference", anchor="end"))
    parts.append(marks.text((_LEFT, _BOTTOM + 36), "← cooler", anchor="start"))
    parts.append(marks.text((_RIGHT, _BOTTOM + 36), "warmer →", anchor="end"))
    parts.append(marks.text((_MIDDLE, _BOTTOM + 36), "mired"))
    parts.append(marks.text((_LEFT, _NOTE), "↑ greener (Duv)", anchor="start"))
    return parts


def _references(plane: _Plane) -> list[str]:
    """Daylight, the 6500 K class and the circle of 3 mired, as if the reference were D65."""
    inside = [p for p in (plane(*offset) for offset in daylight_from_d65()) if _in_plot(p)]
    locus = " ".join(f"{x:.1f},{y:.1f}" for x, y in inside)
    corners = [plane(m, d) for m, d in lamp_class_from_d65()]
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


def _scale_note(legend: float) -> str:
    y, below = legend - 4.5, legend + _LINE
    return "".join(
        (
            marks.line((_LEFT, y), (_LEFT + 24, y), "ev-bin"),
            marks.text((_LEFT + 32, legend), "one 6500 K lamp class, ANSI C78.377", anchor="start"),
            f'<circle cx="{_LEFT + 12:.1f}" cy="{below - 4.5:.1f}" r="7" class="ev-band"/>',
            marks.text((_LEFT + 32, below), "3 mired: too near to see apart", anchor="start"),
        )
    )


@cache
def daylight_from_d65() -> tuple[Point, ...]:
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
def lamp_class_from_d65() -> tuple[Point, ...]:
    """Corners of the ANSI C78.377 quadrangle of 6500 K as (mired, Duv) from D65."""
    mired, duv = _relative(_D65)
    warm, cool = (1e6 / kelvin - mired for kelvin in _CLASS_KELVIN)
    low, high = (limit - duv for limit in _CLASS_DUV)
    return (warm, high), (cool, high), (cool, low), (warm, low)


def _relative(xy: Point) -> Point:
    kelvin, duv = kelvin_duv(xy)
    return 1e6 / kelvin, duv
