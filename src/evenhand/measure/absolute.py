"""What the exposure and the white of a place really are: by a chart, or by a grey card.

A chart that was found comes first, then a grey card that a person pointed at. Statistics never set
anything. Both tell the light where they lie: a chart in a shadow is as dark as the shadow.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from evenhand.colourmath.adaptation import xy_to_xyz
from evenhand.colourmath.primaries import rgb_to_xyz
from evenhand.colourmath.white import kelvin_duv, white_xy
from evenhand.measure import ratios
from evenhand.measure.decisions import ChartSample, GreySample, Status
from evenhand.reasons import Reason, Why, because

Floats = NDArray[np.float64]

GREY_LIGHT = 0.18
GREY_DUV, GREY_SPREAD, GREY_STOPS = 0.03, 0.15, 4.0
GREY_STOPS_ERROR, GREY_MIRED_ERROR = 0.01, 1.0
NEUTRAL = ratios.white_of(np.zeros(3))


@dataclass(frozen=True, slots=True)
class Anchor:
    """What the chart or the grey card of a clip says.

    gains: log2 CAT16 cone gains by which a clip differs from a right one; those of the clip it lies
    in, or once referred to it those of the reference. kept: mired of warmth that are left in;
    spread: stops within a card's sample.
    """

    clip: str
    by: Status
    gains: Floats
    stops_error: float
    mired_error: float
    chart: ChartSample | None = None
    kept: float = 0.0
    spread: float = 0.0


def grey_refusal(sample: GreySample) -> Reason | None:
    """Why a grey sample cannot be used; None where it can."""
    clip = sample.clip
    if sample.clipped:
        return because("card.clipped", clip=clip)
    if min(sample.light) <= 0:
        return because("card.no-light", clip=clip)
    if sample.spread > GREY_SPREAD:
        return because("card.uneven", clip=clip, stops=sample.spread, limit=GREY_SPREAD)
    x, y, z = ratios.xyz_of(np.array(sample.light))
    _, duv = kelvin_duv((x / (x + y + z), y / (x + y + z)))
    if abs(duv) > GREY_DUV:
        return because("card.coloured", clip=clip, duv=float(duv), limit=GREY_DUV)
    stops = ratios.stops_of(_grey_gains(sample))
    return (
        because("card.far-from-grey", clip=clip, stops=stops) if abs(stops) > GREY_STOPS else None
    )


def _grey_gains(sample: GreySample) -> Floats:
    return ratios.gains_of(np.array(sample.light) / GREY_LIGHT)


def anchors(charts: Sequence[ChartSample], greys: Sequence[GreySample]) -> tuple[Anchor, ...]:
    """All that can be used, the most trusted first; grey samples that are refused are left out."""
    by_charts = [
        Anchor(c.clip, "chart", np.array(c.gains), c.stops_error, c.mired_error, c)
        for c in sorted(charts, key=lambda c: c.stops_error / 0.03 + c.mired_error / 3)
    ]
    by_greys = [
        Anchor(
            g.clip, "grey_card", _grey_gains(g), GREY_STOPS_ERROR, GREY_MIRED_ERROR, spread=g.spread
        )
        for g in sorted(greys, key=lambda g: g.spread)
        if not grey_refusal(g)
    ]
    return (*by_charts, *by_greys)


def referred(anchor: Anchor, own: Floats, keep_warmth: float) -> Anchor:
    """The anchor as the reference has it. own: gains of its clip relative to the reference.

    keep_warmth: the share 0..1 of the light's warmth that stays. Warmth is the mireds along the
    Planckian locus by which the measured white is warmer than D65; what is off the locus, a light
    that is cooler, and the exposure are corrected in full.
    """
    gains = anchor.gains - own
    warmth = ratios.difference_of(gains).mired
    kept = keep_warmth * max(warmth, 0.0)
    if kept > 0:
        gains = gains - _gains_of_warmth(kept)
    return replace(anchor, gains=gains, kept=kept)


def _gains_of_warmth(mired: float) -> Floats:
    """Gains that make a D65 neutral warmer by `mired` at its own luminance, with D65's Duv."""
    kelvin = 1e6 / (1e6 / NEUTRAL.kelvin + mired)
    xyz = xy_to_xyz(white_xy(kelvin, NEUTRAL.duv))
    light = np.linalg.solve(rgb_to_xyz("bt2020"), xyz).astype(np.float64)
    return ratios.gains_of(light)


def disagreement(used: Anchor, others: Sequence[Anchor], own: Mapping[str, Floats]) -> Why:
    """How far the other charts and cards of a place are from the one that was used.

    own: gains by which each clip differs from the reference, as shot.
    """
    told = []
    mine = used.gains + _gains_of_warmth(used.kept) if used.kept else used.gains
    for other in others:
        if (other.clip, other.by) == (used.clip, used.by) or other.clip not in own:
            continue
        off = ratios.difference_of(other.gains - own[other.clip] - mine)
        told.append(
            because(
                "anchor.compared",
                by=other.by,
                clip=other.clip,
                stops=abs(off.stops),
                mired=abs(off.mired),
            )
        )
    return tuple(told)


def anchor_told(clip: str, anchor: Anchor, fault: Floats) -> Why:
    """What an anchor says of a clip. fault: the gains that are corrected in the clip."""
    white = ratios.white_of(fault)
    stops, kelvin, duv = ratios.stops_of(fault), white.kelvin, white.duv
    kept = (because("anchor.warmth-kept", mired=float(anchor.kept)),) if anchor.kept else ()
    if clip != anchor.clip:
        by, other = anchor.by, anchor.clip
        found = because("anchor.elsewhere", by=by, clip=other, stops=stops, kelvin=kelvin, duv=duv)
        return (found, *kept)
    sample = anchor.chart
    if sample is None:
        neutral = not anchor.kept
        own = because("anchor.own-card", neutral=neutral, stops=stops, kelvin=kelvin, duv=duv)
        return (own, *kept)
    found = because("anchor.own-chart", seconds=sample.time, stops=stops, kelvin=kelvin, duv=duv)
    left = because("anchor.chart-left", difference=sample.patch_difference)
    return (found, *kept, left, *sample.why)
