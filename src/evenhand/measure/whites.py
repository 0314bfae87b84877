"""The white of one clip by its own statistics: a proposal with gates, never applied.

Two estimates that fail in different ways have to agree: a vote of the near-neutral pixels along the
Planckian locus, and the pixels whose contrast is the same in all channels (grey pixels, Yang et
al., CVPR 2015). On 568 raw scenes with known whites the vote alone erred by
20 mired in the middle and by 49 in one case of ten; on 500 good photographs it would have moved
the white of every other one by more than 23. Hence the gates, and hence no more than a proposal.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from evenhand.colourmath.white import kelvin_duv_of_uv, white_uv, xy_to_uv
from evenhand.grade.document import White
from evenhand.measure import ratios
from evenhand.measure.decisions import Proposal
from evenhand.measure.views import Features
from evenhand.reasons import because

Floats = NDArray[np.float64]

SIZE = (96, 64)
D65_WHITE: Final = ratios.white_of(np.zeros(3))
D65_MIRED: Final = 1e6 / D65_WHITE.kelvin
# Whites that are voted for: 90 to 420 mired at four fifths of D65's Duv, where lights lie.
CANDIDATES: Final = np.arange(90.0, 421.0, 5.0)
REACH, PRIOR_MIRED = 0.006, 40.0  # CIE 1960 uv; one standard deviation
AGREE_MIRED, AGREE_SHARE = 15.0, 0.8  # of the frames
LEAST_MIRED, MOST_MIRED = 25.0, 60.0
MOST_DUV = 0.015
NEAR_UV, NEAR_SHARE = 0.012, 0.10
PART, CAP_MIRED = 0.8, 40.0
# Pictures that are meant to be coloured (judgement): night, lamp or sunset, forest or sea.
NIGHT_MEDIAN, NIGHT_P98 = 0.03, 0.40
WARMEST_KELVIN = 2900.0
ONE_HUE_SHARE, HUE_CHROMA = 0.5, 0.010
TYPICAL_ERROR, ONE_IN_TEN = 20.0, 49.0
STOPS_ERROR = 0.7  # at best, of an exposure from one clip alone


@dataclass(frozen=True, slots=True)
class _Vote:
    """What one frame says: both estimates in CIE 1960 uv, and the share of near-neutral pixels."""

    locus: Floats
    grey: Floats
    near: float
    kept: str


def propose_white(frames: Sequence[Features]) -> Proposal | None:
    """A white that a person may want for a clip, or None where its pictures do not agree on one."""
    votes = [v for v in (_vote(f) for f in frames) if v is not None]
    if not votes or any(v.kept for v in votes):
        return None
    agreeing = [v for v in votes if _mired_between(v.locus, v.grey) <= AGREE_MIRED]
    if len(agreeing) < AGREE_SHARE * len(frames):
        return None
    uv = np.median([(v.locus + v.grey) / 2 for v in agreeing], axis=0)
    gains = _gains(uv)
    off = ratios.difference_of(gains)
    size = ratios.mired_size(gains)
    near = float(np.median([v.near for v in agreeing]))
    white = ratios.white_of(gains)
    if not LEAST_MIRED < size <= MOST_MIRED or abs(white.duv) > MOST_DUV:
        return None
    if near < NEAR_SHARE or white.kelvin < WARMEST_KELVIN:
        return None
    share = min(PART, CAP_MIRED / size)
    return Proposal(
        white=ratios.white_of(gains * share),
        mired_error=TYPICAL_ERROR,
        mired_worst=ONE_IN_TEN,
        exposure=(because("proposal.no-exposure", half_within=STOPS_ERROR),),
        why=(
            because(
                "proposal.greys-agree",
                mired=off.mired,
                agreeing=len(agreeing),
                frames=len(frames),
                share=share,
            ),
        ),
    )


def off_neutral(frames: Sequence[Features]) -> float | None:
    """Mireds by which a clip's greys seem to be off D65, or None where the estimates disagree.

    Good enough to choose among clips, not to correct one.
    """
    votes = [v for v in (_vote(f) for f in frames) if v is not None]
    agreeing = [v for v in votes if _mired_between(v.locus, v.grey) <= AGREE_MIRED]
    if not agreeing or len(agreeing) < AGREE_SHARE * len(frames):
        return None
    uv = np.median([(v.locus + v.grey) / 2 for v in agreeing], axis=0)
    return ratios.mired_size(_gains(uv))


def scene_to_keep(luminance: Floats, uv: Floats, white: Floats) -> str:
    """Why a picture is meant to be dark or coloured, in a word; empty where it is not.

    luminance (n,) with 1 for white, uv (n, 2) CIE 1960; white: the estimate (2,), about which hue
    is taken, so that a cast is no hue.
    """
    if np.median(luminance) < NIGHT_MEDIAN and np.percentile(luminance, 98) < NIGHT_P98:
        return "night"
    off = uv - white
    coloured = np.hypot(off[:, 0], off[:, 1]) > HUE_CHROMA
    hue = np.degrees(np.arctan2(off[:, 1], off[:, 0])) % 360.0
    counts, _ = np.histogram(hue[coloured], bins=36, range=(0, 360))
    sector = np.convolve(np.concatenate([counts, counts[:5]]), np.ones(6), mode="valid")
    return "one hue" if sector.max() > ONE_HUE_SHARE * len(uv) else ""


def _vote(frame: Features) -> _Vote | None:
    small = cv2.resize(frame.light.astype(np.float32), SIZE, interpolation=cv2.INTER_AREA)
    light = np.asarray(small, np.float32)
    valid = cv2.resize(frame.valid.astype(np.float32), SIZE, interpolation=cv2.INTER_AREA) > 0.9
    grey = _grey_pixels(light, valid)
    lit = light[valid].astype(np.float64)
    if grey is None or len(lit) < 300:
        return None
    xyz = ratios.xyz_of(lit)
    uv = _uv(xyz)
    weight = np.sqrt(np.minimum(xyz[:, 1] / max(np.percentile(xyz[:, 1], 90), 1e-6), 1.0))
    everything = ratios.xyz_of(light.reshape(-1, 3).astype(np.float64))
    locus = _locus_vote(uv, weight)
    kept = scene_to_keep(everything[:, 1], _uv(everything), locus)
    near = float((np.linalg.norm(uv - locus, axis=1) < NEAR_UV).mean())
    return _Vote(locus, grey, near, kept)


def _locus_vote(uv: Floats, weight: Floats) -> Floats:
    """The white on the locus that most light lies near to, then the mean of what lies near it."""
    squared = ((uv[:, None] - _candidates()[None]) ** 2).sum(axis=2)
    score = (weight[:, None] * np.exp(-squared / (2 * REACH**2))).sum(axis=0) / weight.sum()
    prior = 0.5 * ((CANDIDATES - D65_MIRED) / PRIOR_MIRED) ** 2
    best = int(np.argmax(np.log(score + 0.02) - prior))
    near = squared[:, best] < (2 * REACH) ** 2
    if not near.any():
        chosen: Floats = _candidates()[best]
        return chosen
    mean: Floats = np.average(uv[near], axis=0, weights=weight[near])
    return mean


def grey_index(
    light: NDArray[np.float32], valid: NDArray[np.bool_]
) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
    """How unlike the local contrast of the three channels is, and where there is any (h, w)."""
    logs = np.log(np.maximum(light, 1e-5))
    contrast = cv2.Laplacian(cv2.GaussianBlur(logs, (0, 0), 0.7), cv2.CV_32F)
    green = np.abs(contrast[..., 1])
    unlike = np.hypot(contrast[..., 0] - contrast[..., 1], contrast[..., 2] - contrast[..., 1])
    index = cv2.blur(unlike / np.maximum(green, 1e-4), (3, 3))
    return np.asarray(index, np.float32), valid & (green > 0.02)


def _grey_pixels(light: NDArray[np.float32], valid: NDArray[np.bool_]) -> Floats | None:
    """Mean chromaticity of the pixels whose local contrast is the same in all channels."""
    index, usable = grey_index(light, valid)
    if usable.sum() < 100:
        return None
    chosen = usable & (index <= np.quantile(index[usable], 0.02))
    found: Floats = _uv(ratios.xyz_of(light[chosen].astype(np.float64).mean(axis=0)))
    return found


def _uv(xyz: Floats) -> Floats:
    total = np.maximum(xyz.sum(axis=-1, keepdims=True), 1e-9)
    return xy_to_uv(xyz[..., :2] / total)


@cache
def _candidates() -> Floats:
    return white_uv(1e6 / CANDIDATES, np.full(len(CANDIDATES), 0.8 * D65_WHITE.duv))


def _gains(uv: Floats) -> Floats:
    """Cone gains that take a D65 neutral to this white, its luminance kept."""
    white = _white(uv)
    return -ratios.levelling_gains(0.0, white)


def _white(uv: Floats) -> White:
    kelvin, duv = kelvin_duv_of_uv(uv)
    return White(float(kelvin), float(duv))


def _mired_between(a: Floats, b: Floats) -> float:
    return ratios.mired_size(_gains(a) - _gains(b))
