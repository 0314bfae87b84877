"""What a clip loses at the ends of its range, over time: a small strip for the report.

Clipped goes up from the middle line, crushed goes down, so that no meaning hangs on colour. Both
have the same scale, in percent of the picture; there is a stem for each sampled frame.
"""

from __future__ import annotations

from typing import Final

from evenhand.drawing import marks
from evenhand.drawing.escaping import escape
from evenhand.measure.ends import EndsOverTime
from evenhand.wording.figures import small_percent

WIDTH, HEIGHT = 300.0, 104.0
_LEFT, _RIGHT = 8.0, 292.0
_MIDDLE, _HALF = 52.0, 30.0
_LEAST_PERCENT: Final = 2.0  # the strip never zooms in further than this

STYLE = """
.ends{--en-ink:#1d1d1d;--en-quiet:#585858;--en-line:#8a8a8a;--en-up:#a64b00;--en-down:#0a5c9e;
font-family:system-ui,sans-serif;font-size:12px;display:block;width:100%;max-width:24rem;height:auto}
.ends text{fill:var(--en-quiet);font-variant-numeric:tabular-nums}
.ends .en-ink{fill:var(--en-ink)}
.ends line{stroke:var(--en-line);stroke-width:1}
.ends .en-up{stroke:var(--en-up);stroke-width:7}
.ends .en-down{stroke:var(--en-down);stroke-width:7;stroke-dasharray:3 1.5}
"""


def ends_svg(ends: EndsOverTime, seconds: float | None, ident: str) -> str:
    """The strip of a clip that lasts `seconds`. `ident` starts the ids inside."""
    last = max([seconds or 0.0, *ends.seconds]) or 1.0
    across = marks.Scale(0.0, last, _LEFT, _RIGHT)
    most = max([_LEAST_PERCENT, *ends.clipped, *ends.crushed])
    parts = []
    for time, up, down in zip(ends.seconds, ends.clipped, ends.crushed, strict=True):
        x = across(time)
        parts += _stem(x, -_HALF * up / most, "en-up", f"{time:.1f} s: {up:.2f} % clipped")
        parts += _stem(x, _HALF * down / most, "en-down", f"{time:.1f} s: {down:.2f} % crushed")
    parts.append(marks.line((_LEFT, _MIDDLE), (_RIGHT, _MIDDLE), "en-zero"))
    parts.append(_text((_LEFT, 13), f"clipped {_told(ends, 'clipped')}", "start", ink=True))
    low = HEIGHT - 4
    parts.append(_text((_LEFT, low), f"crushed {_told(ends, 'crushed')}", "start", ink=True))
    parts.append(_text((_RIGHT, low), f"{last:.1f} s", "end"))
    words = f"Clipped {_told(ends, 'clipped')}, crushed {_told(ends, 'crushed')}."
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:g} {HEIGHT:g}" class="ends" '
        f'role="img" aria-labelledby="{ident}-t"><title id="{ident}-t">'
        f"{escape(words)}</title>{''.join(parts)}</svg>"
    )


def _told(ends: EndsOverTime, what: str) -> str:
    worst = ends.worst_clipped if what == "clipped" else ends.worst_crushed
    if worst.percent == 0:
        return "0 %"
    figure = small_percent(worst.percent)
    return f"{figure} at worst, {worst.seconds:.1f} s"


def _stem(x: float, height: float, style: str, title: str) -> list[str]:
    if abs(height) < 0.05:
        return []
    stem = marks.line((x, _MIDDLE), (x, _MIDDLE + height), style)
    return [f"<g><title>{escape(title)}</title>{stem}</g>"]


def _text(at: marks.Point, words: str, anchor: str, ink: bool = False) -> str:
    style = ' class="en-ink"' if ink else ""
    return f'<text x="{at[0]:g}" y="{at[1]:g}" text-anchor="{anchor}"{style}>{escape(words)}</text>'
