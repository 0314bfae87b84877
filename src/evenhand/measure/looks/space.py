"""A look of any space as it acts on what a display shows.

A look of a log space is put between the display and itself: display signal goes back to the scene
light that the ACES 2 output transform would have shown so, from there to the look's own signal,
through the look, and the same way forward. What the look does not do, this does not do either: the
way there and back is the identity. The plain output transform will not do: it bends each channel by
itself, so that near white a small move of light goes back and forth as a large turn of hue. For HLG
and PQ, whose peak ACES 2 does not reach, the plain one is what there is.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import Final

import numpy as np

from evenhand.colourmath.encodings import transfer_of
from evenhand.colourmath.primaries import rgb_to_rgb
from evenhand.grade import ocio
from evenhand.grade.output_transforms import PlainSetting, plain_sdr
from evenhand.grade.spaces import DISPLAY, is_display, is_scene, space_named
from evenhand.measure.looks.probes import Floats

Transform = Callable[[Floats], Floats]
_NODES: Final = 1 << 14
_DARKEST: Final = 1e-7
_GAMMA: Final = 2.4
_OUTPUT_TRANSFORM: Final = "aces2-sdr"


def on_display(transform: Transform, expects: str, gives: str) -> Transform:
    """`transform` (signal (n, 3) of `expects` to signal of `gives`) as display signal to itself.

    Raises UsageError for spaces without a name.
    """
    if expects == gives == DISPLAY:
        return transform
    peak = transfer_of(space_named(expects)).peak

    def shown(signal: Floats) -> Floats:
        inside = _from_display(np.clip(signal, 0.0, 1.0), expects)
        return _to_display(transform(inside), gives, peak)

    return shown


def _from_display(signal: Floats, space: str) -> Floats:
    entry = space_named(space)
    transfer = transfer_of(entry)
    if is_scene(space):
        light, primaries = ocio.unrender(_OUTPUT_TRANSFORM, signal).astype(np.float64), "ap1"
    else:
        shows = is_display(space)
        light, primaries = signal**_GAMMA if shows else _scene(signal, transfer.peak), "bt709"
    own = light @ rgb_to_rgb(primaries, entry.primaries).T
    return np.asarray(transfer.to_signal(own, entry.range), np.float64)


def _to_display(signal: Floats, space: str, peak: float) -> Floats:
    leave = space_named(space)
    light = np.asarray(transfer_of(leave).to_light(signal, leave.range), np.float64)
    if is_scene(space):
        working = light @ rgb_to_rgb(leave.primaries, "ap1").T
        return ocio.render(_OUTPUT_TRANSFORM, working).astype(np.float64)
    own = light @ rgb_to_rgb(leave.primaries, "bt709").T
    if is_display(space):
        return np.copysign(np.abs(own) ** (1.0 / _GAMMA), own)
    return plain_sdr(own, PlainSetting(peak, True, False))


def _scene(signal: Floats, peak: float) -> Floats:
    """Scene light, linear BT.709, that `plain-sdr` shows as that signal."""
    shown, light = _curve(peak)
    result: Floats = np.interp(signal, shown, light)
    return result


@cache
def _curve(peak: float) -> tuple[Floats, Floats]:
    """Signal, rising, and the scene light behind it."""
    light = np.concatenate([[0.0], np.geomspace(_DARKEST, peak, _NODES)])
    grey = np.repeat(light[:, None], 3, axis=1)
    return plain_sdr(grey, PlainSetting(peak, True, False))[:, 0], light
