"""The skin panel: where the skin of a clip lies on a vectorscope, at each stage of the work.

A wedge of the vectorscope (+Cb to the right, +Cr up) with the skin line, the band and a mark for
each stage; small dots are single faces. Shape tells the stages apart: a hollow circle as shot, a
filled one levelled, a triangle by hand, a square with the look.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final, Literal

from evenhand.drawing import marks
from evenhand.drawing.escaping import escape
from evenhand.drawing.evenness import STYLE
from evenhand.drawing.marks import Point
from evenhand.measure.skin.check import SkinCheck
from evenhand.measure.skin.reading import SkinReading
from evenhand.wording.saying import sentences

Kind = Literal["shot", "levelled", "adjusted", "looked"]

WIDTH: Final = 320.0
_TOP, _HIGH, _SIDE = 14.0, 190.0, 24.0  # where the wedge is drawn
_LINE = 25.0  # of the legend
_BEYOND = 14.0  # degrees shown beyond the band
_LEAST_REACH = 8.0  # percent of saturation: never zoomed in further
_NAMES: Final[dict[Kind, str]] = {
    "shot": "as shot",
    "levelled": "levelled",
    "adjusted": "by hand",
    "looked": "with look",
}
SKIN_STYLE: Final = """
.evenness .sk-wedge{fill:none;stroke:var(--ev-grid);stroke-width:1}
.evenness .sk-line{stroke:var(--ev-ink);stroke-width:1.5;stroke-dasharray:7 4}
.evenness .sk-dot{fill:var(--ev-quiet);opacity:.55}
.evenness .sk-looked,.evenness .sk-adjusted{fill:var(--ev-ink);stroke:var(--ev-ground);
stroke-width:1.25}
"""


@dataclass(frozen=True, slots=True)
class _Wedge:
    """Part of a vectorscope, fitted into the panel: saturation in percent, angle in degrees."""

    start: float
    end: float
    reach: float
    origin: Point
    scale: float

    def __call__(self, angle: float, saturation: float) -> Point:
        turn, radius = math.radians(angle), saturation * self.scale
        x, y = self.origin
        return x + radius * math.cos(turn), y - radius * math.sin(turn)


def skin_svg(check: SkinCheck, ident: str, style: bool = True) -> str:
    """The panel of one clip. `ident` starts the ids inside; `style` puts the sheet in."""
    stages = _stages(check)
    wedge = _wedge(check, [reading for _, reading in stages])
    parts = [*_graticule(check, wedge), *_dots(check, wedge)]
    parts += _marks(wedge, stages)
    parts += _legend(stages)
    high = _TOP + _HIGH + 20.0 + _LINE * len(stages)
    title = f"Skin of {check.clip} on the vectorscope"
    sheet = f"<style>{STYLE}{SKIN_STYLE}</style>" if style else ""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:g} {high:g}" '
        f'class="evenness" role="img" aria-labelledby="{ident}-t {ident}-d">'
        f'<title id="{ident}-t">{escape(title)}</title>'
        f'<desc id="{ident}-d">{escape(sentences(check.why))}</desc>{sheet}{"".join(parts)}</svg>'
    )


def seen_skin(check: SkinCheck) -> str:
    """Where the skin was found, in a line."""
    count, moments = len(check.places), len({place.seconds for place in check.places})
    what = "face" if check.by == "face" else "place pointed at"
    kind = what if count == 1 else what.replace("face", "faces").replace("place ", "places ")
    many = "one frame" if moments == 1 else f"{moments} frames"
    return f"From {count} {kind} in {many}; a hint about white, never what white is set by."


def _stages(check: SkinCheck) -> list[tuple[Kind, SkinReading]]:
    found: list[tuple[Kind, SkinReading | None]] = [
        ("shot", check.shot),
        ("levelled", check.levelled),
        ("adjusted", check.adjusted),
        ("looked", check.looked),
    ]
    return [(kind, reading) for kind, reading in found if reading is not None]


def _wedge(check: SkinCheck, readings: Sequence[SkinReading]) -> _Wedge:
    """The wedge that holds the band and every mark, as large as fits."""
    away = [(r.angle - check.line + 180.0) % 360.0 - 180.0 for r in readings if r.angle is not None]
    start = check.line + min([check.low - check.line - _BEYOND, *(a - 6.0 for a in away)])
    end = check.line + max([check.high - check.line + _BEYOND, *(a + 6.0 for a in away)])
    reach = 1.12 * max([_LEAST_REACH, *(r.saturation for r in readings)])
    rim = [start + (end - start) * i / 40 for i in range(41)]
    x = [0.0, *(math.cos(math.radians(a)) for a in rim)]
    y = [0.0, *(math.sin(math.radians(a)) for a in rim)]
    room = WIDTH - 2 * _SIDE
    scale = min(room / (max(x) - min(x)), _HIGH / (max(y) - min(y))) / reach
    left = _SIDE + (room - scale * reach * (max(x) - min(x))) / 2
    origin = (left - scale * reach * min(x), _TOP + scale * reach * max(y))
    return _Wedge(start, end, reach, origin, scale)


def _sector(wedge: _Wedge, start: float, end: float, reach: float, style: str) -> str:
    steps = max(2, math.ceil((end - start) / 2))
    rim = [wedge(start + (end - start) * i / steps, reach) for i in range(steps + 1)]
    points = " ".join(f"{x:.1f},{y:.1f}" for x, y in [wedge.origin, *rim])
    return f'<polygon points="{points}" class="{style}"/>'


def _graticule(check: SkinCheck, wedge: _Wedge) -> list[str]:
    parts = [_sector(wedge, check.low, check.high, wedge.reach, "ev-band")]
    step = marks.tick_step(wedge.reach, 3)
    for number in range(1, math.floor(wedge.reach / step + 1e-9) + 1):
        parts.append(_sector(wedge, wedge.start, wedge.end, number * step, "sk-wedge"))
        x, y = wedge(wedge.start, number * step)
        parts.append(marks.text((x + 5, y + 10), f"{number * step:g} %", anchor="start"))
    parts.append(marks.line(wedge.origin, wedge(check.line, wedge.reach), "sk-line"))
    for angle in (check.low, check.line, check.high):
        x, y = wedge(angle, wedge.reach)
        anchor = "middle" if angle == check.line else "start" if angle < check.line else "end"
        name = f"skin {angle:g}°" if angle == check.line else f"{angle:g}°"
        shift = 0 if angle == check.line else 5 if angle < check.line else -5
        parts.append(marks.text((x + shift, y - 5), name, "ev-name", anchor))
    return parts


def _dots(check: SkinCheck, wedge: _Wedge) -> list[str]:
    if len(check.places) < 2:
        return []
    parts = []
    for place in check.places:
        for reading in (place.shot, place.levelled, place.adjusted, place.looked):
            if reading is not None and reading.angle is not None:
                x, y = wedge(reading.angle, min(reading.saturation, wedge.reach))
                parts.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="1.8" class="sk-dot"/>')
    return parts


def _marks(wedge: _Wedge, stages: Sequence[tuple[Kind, SkinReading]]) -> list[str]:
    places = [
        (
            kind,
            reading,
            wedge(reading.angle or 0.0, 0.0 if reading.angle is None else reading.saturation),
        )
        for kind, reading in stages
    ]
    parts = [marks.arrow(a[2], b[2]) for a, b in pairwise(places)]
    # The first stage last, so that its hollow mark is seen where nothing was moved.
    parts += [
        _mark(kind, at, f"{_NAMES[kind]}: {_figures(reading)}")
        for kind, reading, at in places[::-1]
    ]
    return parts


def _mark(kind: Kind, at: Point, title: str) -> str:
    x, y = at
    r = marks.RADIUS
    label = f"<title>{escape(title)}</title>" if title else ""
    if kind in ("levelled", "shot"):
        return marks.marker(at, "before" if kind == "shot" else "after", title)
    if kind == "adjusted":
        path = f"M{x:.1f} {y - r:.1f}L{x + r:.1f} {y + r:.1f}L{x - r:.1f} {y + r:.1f}Z"
        return f'<path d="{path}" class="ev-mark sk-adjusted">{label}</path>'
    side = 1.7 * r
    return (
        f'<rect x="{x - side / 2:.1f}" y="{y - side / 2:.1f}" width="{side:.1f}" '
        f'height="{side:.1f}" class="ev-mark sk-looked">{label}</rect>'
    )


def _legend(stages: Sequence[tuple[Kind, SkinReading]]) -> list[str]:
    parts = []
    for row, (kind, reading) in enumerate(stages):
        y = _TOP + _HIGH + 34.0 + row * _LINE
        parts.append(_mark(kind, (_SIDE, y - 4.5), "").replace("ev-mark", "ev-key"))
        parts.append(marks.text((_SIDE + 14, y), _NAMES[kind], "ev-name", "start"))
        parts.append(marks.text((WIDTH - 4, y), _figures(reading), anchor="end"))
    return parts


def _figures(reading: SkinReading) -> str:
    hue = "grey" if reading.angle is None else f"{reading.angle:.0f}°"
    return f"{hue}, chroma {reading.saturation:.0f} %, luma {reading.luma:.0f} %"
