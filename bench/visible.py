"""What of a look can be seen to be wrong, without the health test: the truth that it is held to.

Each truth is worked out from the look itself, never from a table, on other colours than the health
test's own, in CIELAB and IPT where that works in Oklab, by a criterion that was published for
something else: CIEDE2000 about 1 is just visible (CIE 142; Sharma et al. 2005 for the formula), the
contrast threshold of Barten (1999) as ITU-R BT.2246 uses it for steps of grey, order itself.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import Final

import colour
import numpy as np
from numpy.typing import NDArray
from scipy.signal import find_peaks
from scipy.spatial import cKDTree

from evenhand.colourmath.difference import ciede2000, lab
from evenhand.grade.uniform import IPT, lab_to_light, light_to_lab

Floats = NDArray[np.float64]
Transform = Callable[[Floats], Floats]
_LUMA: Final = np.array([0.2126, 0.7152, 0.0722])
_GREYS: Final = np.repeat(np.linspace(0.0, 1.0, 2049)[:, None], 3, axis=1)


@dataclass(frozen=True)
class Truth:
    """One criterion: `visible` above (or below) which the fault is there, and where it is from."""

    title: str
    visible: float
    source: str = "CIEDE2000"
    below: bool = False

    def holds(self, value: float) -> bool:
        return value < self.visible if self.below else value > self.visible


TRUTHS: Final = {
    "order": Truth("a 10-bit grey comes out a code or more under one before it", 0.99, "order"),
    "step_10": Truth(
        "10-bit greys come out over 2 thresholds apart, 3 times the display's own", 3.0, "Barten"
    ),
    "merge": Truth("greys 4 apart (2 to 98 %) come out under 1 apart", 1.0, below=True),
    "dark": Truth("blacks over 2 apart come out within half an 8-bit code", 2.0),
    "light": Truth("whites over 2 apart come out within half an 8-bit code", 2.0),
    "cast": Truth("a grey comes out over 1 from its neutral", 1.0),
    "swings": Truth("a*, b* of greys turn by 1 and more over 4 times", 4.5, "CIELAB"),
    "fold": Truth("hues of an IPT ring come out in wrong order, over 1 apart", 1.0),
    "torn": Truth("colours 1 apart on IPT rings or rays come out over 3 apart", 3.0),
    "drop": Truth("of two saturations on an IPT ray the greater comes out lower by over 1", 1.0),
    "kink": Truth("over 5 % of gradients leave their chord over 8 codes by over 1", 5.0),
    "grey_kink": Truth("greys leave their chord over 8 codes by over 1", 1.0),
    "step_8": Truth(
        "in over 2 % of gradients 8-bit neighbours come out over 1 apart, twice as far as before",
        2.0,
    ),
    "loss": Truth("over 5 % of colours 2 apart come out under 0.5 apart", 5.0),
    "merged": Truth("over 1 % of colours fall on another that was over 5 apart", 1.0),
    "inside_out": Truth("so, or hues or greys in wrong order as above", 0.5),
    "skin_hue": Truth("a skin leaves the hues of measured skins by over 15°", 0.0, "judgement"),
    "skin_apart": Truth("two skins' hues come over 3 further apart than they were", 3.0),
    "skin_pale": Truth("skins keep under half of their chroma (mean)", 0.5, "judgement", True),
    "skin_red": Truth("a skin's chroma grows by over 23 %", 1.23, "TM-30, annex E, P3"),
    "table": Truth("1 % of colours read from 33 nodes miss the look by over 1", 1.0),
}  # fmt: skip


@cache
def barten_thresholds() -> tuple[Floats, Floats]:
    """Luminances 0.01..200 cd/m² and the least visible contrast dL/L there.

    2 / (1.27 · greatest sensitivity), as ITU-R BT.2246 has it; a field of 60 degrees.
    """
    levels, spatial = np.geomspace(0.01, 200.0, 60), np.geomspace(0.2, 40.0, 120)
    csf = colour.contrast.contrast_sensitivity_function_Barten1999
    worst = []
    for level in levels:
        pupil = colour.contrast.pupil_diameter_Barten1999(level, 60.0)
        light = colour.contrast.retinal_illuminance_Barten1999(level, pupil)
        spread = colour.contrast.sigma_Barten1999(0.5 / 60, 0.08 / 60, pupil)
        worst.append(2.0 / (1.27 * float(np.max(csf(spatial, sigma=spread, E=light, X_0=60)))))
    return levels, np.array(worst)


def truths(look: Transform, skins: Floats) -> dict[str, float]:
    """Every criterion's value for a look on signal (n, 3); `skins` (n, 3) are signals."""

    def seen(signal: Floats) -> Floats:
        return np.clip(look(signal), 0.0, 1.0)

    greys = seen(_GREYS)
    found = _of_greys(greys)
    found["order"] = _order(seen)
    found["step_10"] = _barten_steps(seen)
    found |= _of_gradients(seen)
    found |= _of_rings(seen)
    found["drop"] = _saturation(seen)
    found |= _of_pairs(seen)
    found["inside_out"] = float(
        any(TRUTHS[key].holds(found[key]) for key in ("fold", "merged", "order"))
    )
    found |= _of_skins(skins, seen(skins))
    return found


def _order(seen: Transform) -> float:
    codes = np.rint(1023.0 * (seen(np.repeat(np.arange(1024.0)[:, None] / 1023.0, 3, 1)) @ _LUMA))
    return float((np.maximum.accumulate(codes) - codes).max())


def _barten_steps(seen: Transform) -> float:
    signal = np.repeat(np.arange(64, 961)[:, None] / 1023.0, 3, axis=1)
    light = 100.0 * seen(signal) ** 2.4 @ _LUMA
    mean = (light[1:] + light[:-1]) / 2.0
    levels, least = barten_thresholds()
    here = mean > 0.01
    threshold = np.interp(np.log(mean[here]), np.log(levels), least)
    contrast = np.abs(np.diff(light))[here] / mean[here]
    own = 2.4 / (1023.0 * (mean[here] / 100.0) ** (1 / 2.4))  # of the display, at this luminance
    return float(np.where(contrast > 2.0 * threshold, contrast / own, 0.0).max(initial=0.0))


def _of_greys(greys: Floats) -> dict[str, float]:
    before, after = lab(_GREYS), lab(greys)
    inner = np.flatnonzero((_GREYS[:, 0] >= 0.02) & (_GREYS[:, 0] <= 0.98))
    least = 100.0
    for i in inner[::16]:
        apart = ciede2000(before[i], before[i : inner[-1]])
        j = np.flatnonzero(apart >= 4.0)
        if j.size:
            least = min(least, float(ciede2000(after[i], after[i + j[0]])))
    code = 0.5 / 255.0
    at_black = np.flatnonzero((np.abs(greys - greys[0]) < code).all(axis=1))
    at_white = np.flatnonzero((np.abs(greys - greys[-1]) < code).all(axis=1))
    swings = sum(
        len(find_peaks(sign * after[:, axis], prominence=1.0)[0])
        for axis in (1, 2)
        for sign in (1, -1)
    )
    return {
        "merge": least,
        "dark": float(ciede2000(before[0], before[at_black]).max()),
        "light": float(ciede2000(before[-1], before[at_white]).max()),
        "cast": float(ciede2000(after, after * [1.0, 0.0, 0.0]).max()),
        "swings": float(swings),
        "grey_kink": float(_kinks(after[None, ::8]).max()),
    }


@cache
def _gradients() -> Floats:
    """(240, 97, 3): straight lines of 8-bit steps in signal between colours of the cube."""
    rng = np.random.default_rng(11)
    start = rng.random((240, 3)) * 0.9 + 0.05
    way = rng.normal(size=(240, 3))
    way /= np.abs(way).max(axis=1, keepdims=True)
    steps = np.arange(97)[None, :, None] / 255.0
    lines = start[:, None] + way[:, None] * steps
    return np.where((lines < 0.0) | (lines > 1.0), np.nan, lines)


def _of_gradients(seen: Transform) -> dict[str, float]:
    lines = _gradients()
    flat = lines.reshape(-1, 3)
    fine = np.isfinite(flat).all(axis=1)
    out = np.full(flat.shape, np.nan)
    out[fine] = lab(seen(flat[fine]))
    labs = out.reshape(lines.shape)
    own = lab(lines)
    step, was = (ciede2000(each[:, 1:], each[:, :-1]) for each in (labs, own))
    return {
        "step_8": 100.0 * float(((step > 1.0) & (step > 2.0 * was)).any(axis=1).mean()),
        "kink": 100.0 * float((_kinks(labs) > 1.0).mean()),
    }


def _kinks(labs: Floats) -> Floats:
    """Greatest distance of the middle of 8 codes from the chord; (lines, codes, 3) of CIELAB."""
    chord = (labs[:, 8:] + labs[:, :-8]) / 2.0
    return np.nanmax(ciede2000(labs[:, 4:-4], chord), axis=1)


@cache
def _rings() -> tuple[Floats, ...]:
    hue = np.radians(np.arange(0.0, 360.0, 0.5))
    rings = []
    for level in (0.35, 0.5, 0.65, 0.8):
        for far in (0.03, 0.06, 0.1):
            ipt = np.stack([np.full_like(hue, level), far * np.cos(hue), far * np.sin(hue)], -1)
            light = lab_to_light(ipt, IPT)
            if light.min() >= 0.0 and light.max() <= 1.0:
                rings.append(light ** (1 / 2.4))
    return tuple(rings)


def _of_rings(seen: Transform) -> dict[str, float]:
    fold = torn = 0.0
    for ring in _rings():
        before, out = lab(ring), seen(ring)
        after = lab(out)
        about = light_to_lab(out**2.4, IPT)[:, 1:]
        about = about - about.mean(axis=0)
        if np.hypot(*about.T).mean() > 0.003:
            angle = np.unwrap(np.arctan2(about[:, 1], about[:, 0]))
            ahead = np.maximum.accumulate(angle)
            last = np.searchsorted(ahead, ahead, side="left")
            back = ahead - angle > np.radians(0.25)
            if back.any():
                fold = max(fold, float(ciede2000(after[last[back]], after[back]).max()))
        near = ciede2000(before, np.roll(before, -1, axis=0))
        span = max(1, round(1.0 / float(near.mean())))
        torn = max(torn, _torn(before, after, span))
    for ray in _rays():
        torn = max(torn, _torn(lab(ray), lab(seen(ray)), 3))
    return {"fold": fold, "torn": torn}


def _torn(before: Floats, after: Floats, span: int) -> float:
    """How many times further apart colours come out that were `span` places apart."""
    was = ciede2000(before[span:], before[:-span])
    now = ciede2000(after[span:], after[:-span])
    return float((now / np.maximum(was, 0.5)).max())


@cache
def _rays() -> tuple[Floats, ...]:
    rays = []
    for level in (0.3, 0.45, 0.6, 0.75):
        for hue in np.radians(np.arange(5.0, 360.0, 12.0)):
            far = np.linspace(0.0, 0.16, 81)
            ipt = np.stack([np.full_like(far, level), far * np.cos(hue), far * np.sin(hue)], -1)
            light = lab_to_light(ipt, IPT)
            inside = ((light >= 0.0) & (light <= 1.0)).all(axis=1)
            rays.append(light[inside] ** (1 / 2.4))
    return tuple(rays)


def _saturation(seen: Transform) -> float:
    """Lightness is taken out: only the step back towards grey counts."""
    worst = 0.0
    for ray in _rays():
        out = lab(seen(ray))
        # saturation, not chroma: a colour that gets darker has less chroma in any case
        away = np.hypot(*(out[:, 1:] - out[0, 1:]).T) / np.maximum(out[:, 0], 1.0)
        most = np.maximum.accumulate(away)
        back = away < most - 1e-9
        if back.any():
            further = (most / np.maximum(away, 1e-9))[:, None]
            kept = out * [1.0, 0.0, 0.0] + (out - out[0]) * [0.0, 1.0, 1.0] * further
            now = out * [1.0, 0.0, 0.0] + (out - out[0]) * [0.0, 1.0, 1.0]
            worst = max(worst, float(ciede2000(kept[back], now[back]).max()))
    return worst


@cache
def _pairs() -> tuple[Floats, Floats]:
    """Colours of the cube's inside and another 2 CIEDE2000 away from each, in any direction."""
    rng = np.random.default_rng(12)
    first = rng.random((6000, 3)) * 0.96 + 0.02
    way = rng.normal(size=(6000, 3))
    way /= np.linalg.norm(way, axis=1, keepdims=True)
    step = np.full((6000, 1), 0.02)
    for _ in range(6):
        apart = ciede2000(lab(first), lab(np.clip(first + step * way, 0, 1)))
        step = step * (2.0 / np.maximum(apart, 0.1))[:, None].clip(0.3, 3.0)
    second = first + step * way
    inside = ((second > 0.01) & (second < 0.99)).all(axis=1)
    return first[inside], second[inside]


def _of_pairs(seen: Transform) -> dict[str, float]:
    first, second = _pairs()
    outs = lab(seen(first)), lab(seen(second))
    loss = 100.0 * float((ciede2000(*outs) < 0.5).mean())
    points = np.random.default_rng(13).random((12000, 3)) * 0.9 + 0.05
    before, after = lab(points), lab(seen(points))
    near = cKDTree(after).query_pairs(0.7, output_type="ndarray")
    if not len(near):
        return {"loss": loss, "merged": 0.0}
    far = ciede2000(before[near[:, 0]], before[near[:, 1]]) > 5.0
    same = ciede2000(after[near[:, 0]], after[near[:, 1]]) < 0.5
    merged = np.unique(near[far & same])
    return {"loss": loss, "merged": 100.0 * len(merged) / len(points)}


def _of_skins(before: Floats, after: Floats) -> dict[str, float]:
    """The skins of the published charts span hues of 46.8 to 61.7 degrees; 15 more either way."""
    was, now = lab(before), lab(after)
    chroma = np.hypot(*now[:, 1:].T)
    if chroma.max() < 2.0:
        return {"skin_hue": 0.0, "skin_apart": 0.0, "skin_pale": 1.0, "skin_red": 1.0}
    hue = np.degrees(np.arctan2(now[:, 2], now[:, 1]))
    gain = chroma / np.hypot(*was[:, 1:].T)
    return {
        "skin_hue": float(np.maximum(32.0 - hue, hue - 77.0)[chroma > 3.0].max(initial=0.0)),
        "skin_apart": _hue_apart(now) - _hue_apart(was),
        "skin_pale": float(gain.mean()),
        "skin_red": float(gain.max()),
    }


def _hue_apart(labs: Floats) -> float:
    """The greatest CIEDE2000 between two skins once lightness and chroma are made equal."""
    level = labs.mean(axis=0)[0]
    far = float(np.hypot(*labs[:, 1:].T).mean())
    hue = np.arctan2(labs[:, 2], labs[:, 1])
    even = np.stack([np.full_like(hue, level), far * np.cos(hue), far * np.sin(hue)], axis=1)
    return float(ciede2000(even[:, None], even[None]).max())
