"""The panels of a look's health: tone, tint, hues, skins and ramps, each an SVG of its own.

Curves are told apart by weight and dash, and named where they end. Colours that are not ink are the
look's own.
"""

from __future__ import annotations

import base64
from collections.abc import Sequence
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from evenhand.drawing.escaping import escape
from evenhand.drawing.marks import Point, Scale, tick_step
from evenhand.measure.looks.probes import SKIN_LEVELS, SKINS
from evenhand.measure.looks.traces import RAMP_NAMES, Traces
from evenhand.wording.figures import signed

Floats = NDArray[np.float64]

WIDTH: Final = 440.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 52.0, 420.0, 44.0, 340.0
_CARD: Final = 0.18 ** (1.0 / 2.4)
_LEAST_TINT: Final = 4.0
_HUES: Final = (
    ("red", 29), ("yellow", 105), ("green", 145), ("cyan", 200), ("blue", 262), ("magenta", 328),
)  # fmt: skip


def tone_panel(traces: Sequence[Traces], ident: str) -> str:
    """Greys in against greys out at each strength, with where black, 18 % grey and white land."""
    across, up = Scale(0.0, 1.0, _LEFT, _RIGHT), Scale(0.0, 1.0, _BOTTOM, _TOP)
    parts = [_title("Tone"), _words((_RIGHT, 22), "signal in and out, %", "end")]
    for tick in (0.0, 0.25, 0.5, 0.75, 1.0):
        parts.append(_line((across(tick), _TOP), (across(tick), _BOTTOM), "lh-grid"))
        parts.append(_line((_LEFT, up(tick)), (_RIGHT, up(tick)), "lh-grid"))
        parts.append(_words((across(tick), _BOTTOM + 20), f"{100 * tick:.0f}", "middle"))
        parts.append(_words((_LEFT - 8, up(tick) + 5), f"{100 * tick:.0f}", "end"))
    parts.append(_line((across(0), up(0)), (across(1), up(1)), "lh-before"))
    for each in traces:
        weight = 1.0 + 1.8 * each.strength
        parts.append(_path(across, up, each.signal, each.tone, f"stroke-width:{weight:.1f}"))
    last = traces[-1]
    landed = [(x, float(np.interp(x, last.signal, last.tone))) for x in (0.0, _CARD, 1.0)]
    parts += [_circle((across(x), up(y)), 6.0, "lh-mark") for x, y in landed]
    names = ("black", "18 % grey", "white")
    said = "   ".join(f"{n} {100 * y:.1f}" for n, (_, y) in zip(names, landed, strict=True))
    parts.append(_words((14.0, _BOTTOM + 46), f"at {last.strength:.0%}:   {said}", "start"))
    thin = ", ".join(f"{each.strength:.0%}" for each in traces)
    parts.append(_words((14.0, _BOTTOM + 68), f"dashed: untouched; bolder: {thin}", "start"))
    return _svg(parts, ident, f"Tone curve: {said}", _BOTTOM + 80)


def tint_panel(traces: Sequence[Traces], ident: str) -> str:
    """a* and b* of greys along the scale, at the greatest strength, and the greys themselves."""
    last = traces[-1]
    reach = max(_LEAST_TINT, 1.15 * float(np.abs(last.tint).max()))
    across, up = Scale(0.0, 1.0, _LEFT, _RIGHT), Scale(-reach, reach, _BOTTOM - 40, _TOP)
    parts = [_title("Tint of greys"), _words((_RIGHT, 22), "CIELAB a*, b*", "end")]
    step = tick_step(reach, 3)
    for count in range(-int(reach / step), int(reach / step) + 1):
        style = "lh-zero" if count == 0 else "lh-grid"
        parts.append(_line((_LEFT, up(count * step)), (_RIGHT, up(count * step)), style))
        label = signed(count * step, 0 if step >= 1 else 1)
        parts.append(_words((_LEFT - 8, up(count * step) + 5), label, "end"))
    parts.append(_path(across, up, last.signal, last.tint[:, 0], "", "lh-a"))
    parts.append(_path(across, up, last.signal, last.tint[:, 1], "", "lh-b"))
    parts.append(_strip(last.signal[:, None].repeat(3, 1), (_LEFT, _BOTTOM - 28), 14.0))
    parts.append(_strip(last.greys, (_LEFT, _BOTTOM - 14), 14.0))
    parts += [
        _words((across(tick), _BOTTOM + 20), f"{100 * tick:.0f}", "middle")
        for tick in (0.0, 0.5, 1.0)
    ]
    parts.append(_key((_LEFT, _BOTTOM + 42), "lh-a", "a*: up red-purple, down green"))
    parts.append(_key((_LEFT, _BOTTOM + 64), "lh-b", "b*: up yellow, down blue"))
    far = float(np.hypot(*last.tint.T).max())
    return _svg(parts, ident, f"Tint of greys, at most {far:.1f} from neutral", _BOTTOM + 80)


def hue_panel(traces: Sequence[Traces], ident: str) -> str:
    """A ring of even colours and where it goes; crosses where hues turn back."""
    last = traces[-1]
    middle, radius = (WIDTH / 2, (_TOP + _BOTTOM) / 2 + 26), 142.0
    most = max(0.1, 1.06 * float(np.hypot(*np.concatenate([last.ring, last.ring_out]).T).max()))

    def at(ab: Floats) -> Point:
        return middle[0] + radius * ab[0] / most, middle[1] - radius * ab[1] / most

    parts = [_title("Hues"), _words((_RIGHT, 22), "in: ring; out: dots", "end")]
    own = radius * float(np.hypot(*last.ring[0])) / most
    parts.append(_circle(middle, own, "lh-before"))
    parts.append(_line((middle[0] - 5, middle[1]), (middle[0] + 5, middle[1]), "lh-zero"))
    parts.append(_line((middle[0], middle[1] - 5), (middle[0], middle[1] + 5), "lh-zero"))
    closed = "L".join("{:.1f} {:.1f}".format(*at(ab)) for ab in last.ring_out)
    parts.append(f'<path d="M{closed}Z" class="lh-curve" style="stroke-width:1.4"/>')
    for k in range(0, len(last.ring), 6):
        parts.append(_line(at(last.ring[k]), at(last.ring_out[k]), "lh-way"))
        parts.append(_dot(at(last.ring[k]), 3.0, last.ring_signal[k]))
        parts.append(_dot(at(last.ring_out[k]), 6.0, last.ring_out_signal[k]))
    parts += [_cross(at(last.ring_out[k])) for k in _back(last.ring_out)]
    for name, degrees in _HUES:
        far, turn = radius + 12, np.radians(degrees)
        x, y = middle[0] + far * np.cos(turn), middle[1] - far * np.sin(turn) + 5
        anchor = "start" if np.cos(turn) > 0.3 else "end" if np.cos(turn) < -0.3 else "middle"
        parts.append(_words((x, y), name, anchor))
    return _svg(parts, ident, "Hues before and after, on a ring of even colours", _BOTTOM + 80)


def skin_panel(traces: Sequence[Traces], ident: str) -> str:
    """Skins in shade, half lit and lit: before above after, and the turn of each in degrees."""
    last = traces[-1]
    levels, count = len(SKIN_LEVELS), len(SKINS)
    wide, high = (_RIGHT - 14.0) / count, 32.0
    parts = [_title("Skins"), _words((_RIGHT, 22), "above: before, below: after", "end")]
    for row, level in enumerate(SKIN_LEVELS):
        y = _TOP + row * (2 * high + 26)
        for k in range(count):
            x = 14.0 + k * wide
            parts.append(_patch((x, y), (wide - 2, high), last.skins[row, k]))
            parts.append(_patch((x, y + high), (wide - 2, high), last.skins_out[row, k]))
        parts.append(_words((14.0, y + 2 * high + 15), f"{level:.0%} of light", "start", "lh-s"))
    y = _TOP + levels * (2 * high + 26) + 14
    turns = _turns(last)
    if turns is not None:
        for k in range(count):
            said = signed(float(turns[:, k][np.abs(turns[:, k]).argmax()]), 0)
            parts.append(_words((14.0 + (k + 0.5) * wide, y), said, "middle"))
        note = "greatest turn of each, °: + to yellow, − to red"
    else:
        note = "black and white: nothing to turn"
    parts.append(_words((14.0, y + 22), note, "start"))
    return _svg(parts, ident, f"Skins before and after; {note}", y + 36)


def ramp_panel(traces: Sequence[Traces], ident: str) -> str:
    """Ramps of 8-bit steps, rounded to 8 bits after the look: before above after."""
    last = traces[-1]
    parts = [_title("Ramps at 8 bits"), _words((_RIGHT, 22), "above: before, below: after", "end")]
    high = 21.0
    for row, name in enumerate(RAMP_NAMES):
        y = _TOP + row * (2 * high + 10)
        parts.append(_words((_LEFT - 8, y + high + 5), name, "end"))
        parts.append(_strip(last.ramps[row], (_LEFT, y), high))
        parts.append(_strip(last.ramps_out[row], (_LEFT, y + high), high))
    return _svg(parts, ident, "Ramps before and after", _TOP + len(RAMP_NAMES) * (2 * high + 10))


def _turns(last: Traces) -> Floats | None:
    """Degrees of CIELAB hue, (levels, skins); None where no skin has a hue left."""
    was, now = last.skin_lab, last.skin_lab_out
    if np.hypot(now[..., 1], now[..., 2]).max() < 2.0:
        return None
    angle = np.arctan2(now[..., 2], now[..., 1]) - np.arctan2(was[..., 2], was[..., 1])
    result: Floats = np.degrees(np.arctan2(np.sin(angle), np.cos(angle)))
    return result


def _back(ring: Floats) -> list[int]:
    """The places of a ring where its hue runs backwards, about the ring's own centre."""
    about = ring - ring.mean(axis=0)
    if np.hypot(*about.T).mean() < 0.006:
        return []
    angle = np.arctan2(about[:, 1], about[:, 0])
    step = np.roll(angle, -1) - angle
    back = np.arctan2(np.sin(step), np.cos(step)) < -1e-3
    return [int(k) for k in np.flatnonzero(back)[::3]]


def _svg(parts: Sequence[str], ident: str, said: str, high: float) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:g} {high:g}" '
        f'class="lookhealth" role="img" aria-labelledby="{ident}">'
        f'<title id="{ident}">{escape(said)}</title>{"".join(parts)}</svg>'
    )


def _title(words: str) -> str:
    return f'<text x="14" y="22" class="lh-title">{escape(words)}</text>'


def _words(at: Point, words: str, anchor: str, style: str = "") -> str:
    return (
        f'<text x="{at[0]:.1f}" y="{at[1]:.1f}" class="lh-t {style}" text-anchor="{anchor}">'
        f"{escape(words)}</text>"
    )


def _line(a: Point, b: Point, style: str) -> str:
    ends = f'x1="{a[0]:.1f}" y1="{a[1]:.1f}" x2="{b[0]:.1f}" y2="{b[1]:.1f}"'
    return f'<line {ends} class="{style}"/>'


def _circle(at: Point, radius: float, style: str) -> str:
    return f'<circle cx="{at[0]:.1f}" cy="{at[1]:.1f}" r="{radius:.1f}" class="{style}"/>'


def _path(
    across: Scale, up: Scale, x: Floats, y: Floats, style: str, name: str = "lh-curve"
) -> str:
    points = "L".join(f"{across(a):.1f} {up(b):.1f}" for a, b in zip(x, y, strict=True))
    return f'<path d="M{points}" class="{name}" style="{style}"/>'


def _key(at: Point, style: str, words: str) -> str:
    sample = _line((at[0], at[1] - 5), (at[0] + 34, at[1] - 5), style)
    return sample + _words((at[0] + 42, at[1]), words, "start")


def _cross(at: Point) -> str:
    x, y = at
    return f'<path d="M{x - 6:.1f} {y - 6:.1f}l12 12m0 -12l-12 12" class="lh-cross"/>'


def _dot(at: Point, radius: float, signal: Floats) -> str:
    return (
        f'<circle cx="{at[0]:.1f}" cy="{at[1]:.1f}" r="{radius:g}" class="lh-dot" '
        f'fill="{_hex(signal)}"/>'
    )


def _patch(corner: Point, size: Point, signal: Floats) -> str:
    return (
        f'<rect x="{corner[0]:.1f}" y="{corner[1]:.1f}" width="{size[0]:.1f}" '
        f'height="{size[1]:.1f}" fill="{_hex(signal)}"/>'
    )


def _hex(signal: Floats) -> str:
    red, green, blue = np.rint(255.0 * signal).astype(int)
    return f"#{red:02x}{green:02x}{blue:02x}"


def _strip(signal: Floats, corner: Point, high: float) -> str:
    """Colours (n, 3) side by side, as a picture one pixel high."""
    pixels = np.rint(255.0 * signal[None, :, ::-1]).astype(np.uint8)
    _, coded = cv2.imencode(".png", pixels)
    data = base64.b64encode(coded.tobytes()).decode()
    return (
        f'<image x="{corner[0]:.1f}" y="{corner[1]:.1f}" width="{_RIGHT - _LEFT:.1f}" '
        f'height="{high:.1f}" preserveAspectRatio="none" style="image-rendering:pixelated" '
        f'href="data:image/png;base64,{data}"/>'
    )
